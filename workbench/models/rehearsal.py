"""The simulated scenario that fits what a person is about to do."""

from __future__ import annotations

from enum import Enum
from functools import cache

from drivers.catalogue import ReadyInput, listing
from workbench.models.bench import Bench
from workbench.models.signals.inputs import InputsModel


class Rehearsal(Enum):
    """What can be rehearsed, and on which scenario."""

    PASS = "sim:healthy"
    CALIBRATION = "sim:calibration-shop"
    RAMP = "sim:readout-ramp"
    DROP_OUT = "sim:drop-out-run"


@cache
def scenarios() -> dict[str, ReadyInput]:
    """The simulated ones by their address, read once: it is asked at every frame."""
    return {one.address: one for one in listing("sim")}


def fits(bench: Bench, rehearsal: Rehearsal) -> bool:
    """Whether what comes in will do; what is real always does, and so does nothing at all."""
    in_use = [driver.address.partition("?")[0] for driver in bench.live.drivers]
    if not bench.live.simulated or not in_use:
        return True
    if rehearsal is Rehearsal.PASS:
        return in_use != [Rehearsal.DROP_OUT.value] and not _is_for_calibration(in_use)
    if rehearsal is Rehearsal.CALIBRATION:
        return _is_for_calibration(in_use)
    return in_use == [rehearsal.value]


def _is_for_calibration(in_use: list[str]) -> bool:
    known = [scenarios().get(address) for address in in_use]
    return [one and one.rehearses for one in known] == ["calibration"]


def rehearse(bench: Bench, rehearsal: Rehearsal) -> None:
    """Use the fitting scenario in place of the one in use; where that cannot be, it is said."""
    inputs = InputsModel(bench)
    if not inputs.add(rehearsal.value):
        bench.tell(inputs.said)
