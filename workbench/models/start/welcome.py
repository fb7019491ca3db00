"""The first page's words: what runs, how belt and ground go together, what to do for one's own."""

from __future__ import annotations

import math

from workbench.models.bench import Bench
from workbench.models.passes.pace import PaceModel, PaceNow
from workbench.words.language import _
from workbench.words.numbers import speed_text


def pace_sentence(bench: Bench, pace: PaceNow) -> str:
    """Both speeds, and whether the belt keeps pace with the ground."""
    units = bench.settings.units
    if pace.belt_lost and pace.ground_lost:
        return _("Nothing is heard from the belt or from the ground.")
    speeds = " ".join(
        _("{name}: no signal.").format(name=name)
        if lost
        else f"{name} {speed_text(speed_mps, units)}."
        for name, speed_mps, lost in (
            ("Belt", pace.belt_mps, pace.belt_lost),
            ("Ground", pace.ground_mps, pace.ground_lost),
        )
    )
    return f"{speeds} {_together(bench, pace)}".strip()


def _together(bench: Bench, pace: PaceNow) -> str:
    if bench.machine is None or not pace.ground_mps > 0 or not math.isfinite(pace.belt_mps):
        return ""
    limits, ratio = bench.machine.limits, pace.belt_mps / pace.ground_mps
    if limits.ratio_low <= ratio <= limits.ratio_high:
        return _("They keep pace.")
    way = _("falls back") if ratio < 1 else _("runs ahead")
    return _("The belt {way} {ratio:.0f} {length} in every 100.").format(
        way=way, ratio=100 * abs(ratio - 1), length=bench.settings.units.length
    )


def welcome(bench: Bench) -> str:
    """What runs here, and the next thing to set up where it is not one's own."""
    live, machine = bench.live, bench.machine
    if live.problems:
        return " ".join(live.problems)
    own = machine is not None and not (live.machine_text and machine.text == live.machine_text)
    if live.simulated and not own:
        return _(
            "A demonstration digger runs here on the simulator: nothing you see is real. For "
            "your own, describe it under Machine, then choose its inputs under Signals."
        )
    name = machine.name if machine is not None else ""
    if live.simulated:
        return _(
            "{name} is in use, but what comes in is simulated. Choose its own inputs under Signals."
        ).format(name=name)
    if not live.running:
        return _("{name} waits: no input is open. Choose one under Signals.").format(
            name=name or _("The bench")
        )
    if not name:
        return _("Signals come in, but whose? Describe the machine under Machine.")
    pace = PaceModel(bench).now()
    silent = [
        word for word, lost in (("belt", pace.belt_lost), ("ground", pace.ground_lost)) if lost
    ]
    if silent:
        return _("{name} is in use. Nothing comes from its {silent}: see Signals.").format(
            name=name, silent=" and ".join(silent)
        )
    return _("{name} is in use, and its belt and ground signals come in.").format(name=name)
