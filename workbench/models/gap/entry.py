"""What a person types at the feeler: a place on the wheel, a gap; or a table of them."""

from __future__ import annotations

import math
import re
import unicodedata
from pathlib import Path

from workbench.base.errors import Message, WrongInput
from workbench.base.typed import parse_length_m
from workbench.base.units import INCH_M, UnitSystem
from workbench.calibration.gap.table import MOST_GAP_M, check_angle_deg
from workbench.models.entry import typed_number

_USUAL_GAP_M = 0.25 * INCH_M
"""No pickup is set as far off (common practice, no source)."""


def angle_deg(typed: str) -> float:
    """An angle in degrees. Raises WrongInput."""
    if not typed.strip():
        raise WrongInput("Type the angle in degrees.")
    try:
        return check_angle_deg(typed_number(typed, Message("an angle"), above=-math.inf), "")
    except WrongInput:
        raise WrongInput(
            "'{typed}' is no angle: type 0 to 360 degrees, counted from the mark in the direction "
            "of rotation.",
            typed=typed.strip(),
        ) from None


def tooth_deg(typed: str, teeth: int) -> float:
    """The angle of a tooth by its number from the mark, 1 to `teeth`. Raises WrongInput."""
    if not teeth:
        raise WrongInput("Teeth can be counted once a machine is in use; see Machine.")
    tooth = typed_number(typed, Message("the tooth's number, counted from the mark"))
    if tooth != round(tooth) or tooth > teeth:
        raise WrongInput(
            "'{typed}': the wheel has teeth 1 to {teeth}.", typed=typed.strip(), teeth=teeth
        )
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
        no_gap = Message(
            "'{typed}' is no gap: at most {most_m:gap}.", typed=text, most_m=MOST_GAP_M
        )
        guess = _guess(text, units.gap)
        if guess is None:
            raise WrongInput(no_gap.template, **no_gap.values)
        raise WrongInput("{no_gap} {guess}", no_gap=no_gap, guess=guess)
    _ask(text, gap, units.gap)
    return gap


def _ask(typed: str, gap_m: float, unit: str) -> None:
    """Ask about what no feeler shows: a slip of the finger. Raises WrongInput.

    Blades are marked in halves of halves of an inch, and a pickup stands within a few
    millimetres (common practice, no source); a unit typed with the number says it is meant.
    """
    if gap_m == 0:
        raise WrongInput(
            "'{typed}': no blade is 0 thick. Where none fits, the pickup touches or nearly "
            "does: stop and set it farther off.",
            typed=typed,
        )
    under = re.search(r"/\s*(\d+)", unicodedata.normalize("NFKC", typed).replace("⁄", "/"))
    if under and int(under[1]).bit_count() != 1:
        raise WrongInput(
            "'{typed}': blades are marked in 1/2, 1/4, 1/8, 1/16, 1/32 or 1/64. If it is meant, "
            "type {gap_in:.3f} in.",
            typed=typed,
            gap_in=gap_m / INCH_M,
        )
    if gap_m > _USUAL_GAP_M and re.fullmatch(r"[\d.,]+", typed):
        raise WrongInput(
            "'{typed}' is {gap_m:gap}, far more than pickups are set to. If it is meant, type "
            "{typed} {unit}.",
            typed=typed,
            gap_m=gap_m,
            unit=unit,
        )


def _guess(typed: str, unit: str) -> Message | None:
    """What a bare number that is too large was probably meant to be."""
    try:
        value = float(typed.replace(",", "."))
    except ValueError:
        return None
    most_mm = MOST_GAP_M * 1000
    if unit == "in" and value <= most_mm:
        return Message("If it is in millimetres, type {value:g} mm.", value=value)
    if math.isfinite(value) and value * INCH_M / 1000 <= MOST_GAP_M:
        return Message("If it is in thousandths of an inch, type {value:g} thou.", value=value)
    return None


def is_table(path: Path) -> bool:
    """Whether a file begins as a gap table does."""
    from workbench.jobs.gap.compute import looks_like_gap_table

    try:
        with path.open("rb") as file:
            return looks_like_gap_table(file.read(4096).decode("utf-8", "replace"))
    except OSError:
        return False  # whoever opens it says why


def table_at(path: Path) -> str:
    """The text of a gap table. Raises WrongInput where the file is none."""
    from workbench.jobs.gap.compute import looks_like_gap_table
    from workbench.jobs.table import table_text

    text = table_text(str(path), looks_like_gap_table)
    if text is None:
        raise WrongInput("{name}: expected a table pickup,angle_deg,gap_m.", name=path.name)
    return text
