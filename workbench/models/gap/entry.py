"""What a person types at the feeler: a place on the wheel, a gap; or a table of them."""

from __future__ import annotations

import math
from pathlib import Path

from workbench.base.errors import WrongInput
from workbench.base.typed import parse_length_m
from workbench.base.units import INCH_M, UnitSystem
from workbench.calibration.gap.table import MOST_GAP_M, check_angle_deg
from workbench.models.entry import typed_number
from workbench.words.gap_lengths import gap_text


def angle_deg(typed: str) -> float:
    """An angle in degrees. Raises WrongInput."""
    if not typed.strip():
        raise WrongInput("Type the angle in degrees.")
    try:
        return check_angle_deg(typed_number(typed, "an angle", above=-math.inf), "")
    except WrongInput:
        raise WrongInput(
            f"'{typed.strip()}' is no angle: type 0 to 360 degrees, counted from the mark "
            "in the direction of rotation."
        ) from None


def tooth_deg(typed: str, teeth: int) -> float:
    """The angle of a tooth by its number from the mark, 1 to `teeth`. Raises WrongInput."""
    if not teeth:
        raise WrongInput("Teeth can be counted once a machine is in use; see Machine.")
    tooth = typed_number(typed, "the tooth's number, counted from the mark")
    if tooth != round(tooth) or tooth > teeth:
        raise WrongInput(f"'{typed.strip()}': the wheel has teeth 1 to {teeth}.")
    return (tooth - 1) * 360.0 / teeth


def gap_m(typed: str, units: UnitSystem) -> float:
    """A gap as typed ('1/16', '0.062', '1.6 mm'), a bare number in the person's unit.

    Raises WrongInput, with a guess where a number looks like another unit's.
    """
    text = typed.strip()
    if not text:
        raise WrongInput("Type the gap as the feeler shows it.")
    plain = text.replace("0,", "0.", 1) if text[:2] == "0," else text
    gap = parse_length_m(plain, units.gap)
    if gap > MOST_GAP_M:
        most = gap_text(MOST_GAP_M, units)
        raise WrongInput(f"'{text}' is no gap: at most {most}.{_guess(text, units.gap)}")
    return gap


def _guess(typed: str, unit: str) -> str:
    """What a bare number that is too large was probably meant to be."""
    try:
        value = float(typed.replace(",", "."))
    except ValueError:
        return ""
    most_mm = MOST_GAP_M * 1000
    if unit == "in" and value <= most_mm:
        return f" If it is in millimetres, type {value:g} mm."
    if math.isfinite(value) and value * INCH_M / 1000 <= MOST_GAP_M:
        return f" If it is in thousandths of an inch, type {value:g} thou."
    return ""


def table_at(path: Path) -> str:
    """The text of a gap table. Raises WrongInput where the file is none."""
    from workbench.jobs.gap.tables import table_text

    text = table_text(str(path))
    if text is None:
        raise WrongInput(f"{path.name}: expected a table pickup,angle_deg,gap_m.")
    return text
