"""A gap check of a gap table: the pickups in it, and the shop's own repeat measurements."""

from __future__ import annotations

from workbench.base.errors import Message, WrongInput
from workbench.base.machine import Machine, Pickup
from workbench.base.statements import statement
from workbench.calibration.gap.feeler import feeler_gap
from workbench.calibration.gap.repeats import repeat_chart
from workbench.calibration.gap.table import GapReadings, parse_gap_table
from workbench.calibration.typed_rows import holds_data
from workbench.jobs.gap.answer import GapAnswer, GapOptions, PickupSays
from workbench.jobs.gap.together import together


def looks_like_gap_table(head: str) -> bool:
    """Whether a file that begins so is a gap table."""
    first = next(filter(holds_data, head.splitlines()), "").lower()
    return "pickup" in first or "gap_m" in first


def of_table(text: str, machine: Machine | None, options: GapOptions) -> GapAnswer:
    """The answer for all pickups of a gap table's text. Raises WrongInput with the line."""
    limits = machine.pickup if machine else Pickup()
    pickups = parse_gap_table(text, options.table_name or "gap table")
    control, pickups = _take_control(pickups, options.control)
    usual = statement(
        PickupSays.LIMITS_OF_PRACTICE, best_m=limits.gap_best_m, most_m=limits.gap_max_m
    )
    chart = None
    if control is not None:
        new_m, earlier_m = control.gap_m.tolist(), options.control_history
        known_m = options.control_target_m
        chart = repeat_chart(control.pickup, earlier_m, new_m, options.blade_step_m, known_m)
    chosen = _only(pickups, options.channel)
    return together(
        [feeler_gap(one, limits, blade_step_m=options.blade_step_m) for one in chosen],
        warnings=[] if machine else [usual],
        source=options.table_name,
        kind="gap table",
        simulated=options.simulated,
        machine=machine,
        blade_step_m=options.blade_step_m,
        control=chart,
    )


def _take_control(
    pickups: list[GapReadings], name: str | None
) -> tuple[GapReadings | None, list[GapReadings]]:
    """The repeat measurements and the pickups; a table of repeats alone is judged as well."""
    if name is None:
        return None, pickups
    found = [one for one in pickups if one.pickup == name]
    if not found:
        raise WrongInput(
            "--control: the table has no pickup '{name}'; it has {known}.",
            name=name,
            known=_names(pickups),
        )
    others = [one for one in pickups if one.pickup != name]
    return found[0], others or found


def _only(pickups: list[GapReadings], name: str | None) -> list[GapReadings]:
    chosen = [one for one in pickups if name is None or one.pickup == name]
    if not chosen:
        raise WrongInput(
            "--channel: the table has no pickup '{name}'; it has {known}.",
            name=name,
            known=_names(pickups),
        )
    return chosen


def _names(pickups: list[GapReadings]) -> list[str | Message]:
    more = [Message("{count} more", count=len(pickups) - 8)] if len(pickups) > 8 else []
    return [*(f"'{one.pickup}'" for one in pickups[:8]), *more]
