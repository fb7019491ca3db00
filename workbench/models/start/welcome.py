"""The first page's words: what runs, how belt and ground go together, what to do for one's own."""

from __future__ import annotations

import math
from dataclasses import replace

from workbench.models.bench import Bench
from workbench.models.pace import PaceModel, PaceNow, doubt_sentence
from workbench.words.language import N_, _
from workbench.words.words import Words

SETTLED_S, SETTLED_REL = 4.0, 0.05
"""Both keep their speed so long within this share before it counts how far they come apart;
chosen: longer than a tractor gathers speed within the share, wider than satellite speed's
scatter."""


def pace_sentence(bench: Bench, pace: PaceNow, *, counts: bool = True) -> str:
    """Both speeds, and where they count whether the belt keeps pace with the ground."""
    if pace.belt_lost and pace.ground_lost:
        return _("Nothing is heard from the belt or from the ground.")
    words = Words(bench.settings.units)
    belt = words.fill(N_("Belt {belt_mps:speed}."), {"belt_mps": pace.belt_mps})
    ground = words.fill(N_("Ground {ground_mps:speed}."), {"ground_mps": pace.ground_mps})
    said = [
        _("Belt: no signal.") if pace.belt_lost else belt,
        _("Ground: no signal.") if pace.ground_lost else ground,
        doubt_sentence(pace) or (_together(bench, pace) if counts else ""),
    ]
    return " ".join(filter(None, said))


def settled(model: PaceModel, now_s: float) -> PaceNow | None:
    """Both with their mean speeds of the last seconds; None until belt and ground have settled:
    a belt that is started before the tractor drives off has not run ahead of anything."""
    belt, ground = model.belt(), model.ground()
    if belt is None or ground is None:
        return None
    if not all(one.keeps_speed(now_s, SETTLED_S, SETTLED_REL) for one in (belt, ground)):
        return None
    belt_mps, ground_mps = (one.mean_mps(now_s, SETTLED_S) for one in (belt, ground))
    return replace(model.of(belt, ground), belt_mps=belt_mps, ground_mps=ground_mps)


def _together(bench: Bench, pace: PaceNow) -> str:
    if bench.machine is None or not pace.ground_mps > 0 or not math.isfinite(pace.belt_mps):
        return ""
    limits, ratio = bench.machine.limits, pace.belt_mps / pace.ground_mps
    if limits.ratio_low <= ratio <= limits.ratio_high:
        return _("They keep pace.")
    said = (
        _("The belt falls back {length:.0f} {unit} in every 100.")
        if ratio < 1
        else _("The belt runs ahead {length:.0f} {unit} in every 100.")
    )
    return said.format(length=100 * abs(ratio - 1), unit=bench.settings.units.length)


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
    if pace.belt_lost and pace.ground_lost:
        said = _("{name} is in use. Nothing comes from its belt and ground: see Signals.")
    elif pace.belt_lost:
        said = _("{name} is in use. Nothing comes from its belt: see Signals.")
    elif pace.ground_lost:
        said = _("{name} is in use. Nothing comes from its ground: see Signals.")
    else:
        said = _("{name} is in use, and its belt and ground signals come in.")
    return said.format(name=name)
