"""Lengths as a person types them beside a feeler set."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from workbench.base.errors import WrongInput
from workbench.base.typed import parse_length_m
from workbench.base.units import INCH_M, inch_fraction


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("1/16", INCH_M / 16),
        ("1/16 in", INCH_M / 16),
        ("0.062 in", 0.062 * INCH_M),
        ('.062"', 0.062 * INCH_M),
        ("1.6 mm", 0.0016),
        ("1,6mm", 0.0016),
        ("1.6", 0.0016),
        ("1 1/2 in", 1.5 * INCH_M),
        ('1-1/2"', 1.5 * INCH_M),
        ("1½", 1.5 * INCH_M),
        ("16 thou", 0.016 * INCH_M),
        ("0.0016 m", 0.0016),
        ("  3.2 MM. ", 0.0032),
    ],
)
def test_what_people_type_is_understood(text: str, metres: float) -> None:
    assert parse_length_m(text) == pytest.approx(metres, rel=1e-12)


def test_a_bare_number_takes_the_default_unit_and_a_bare_fraction_inches() -> None:
    assert parse_length_m("0.062", "in") == pytest.approx(0.062 * INCH_M)
    assert parse_length_m("1/16", "mm") == pytest.approx(INCH_M / 16)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "not a length"),
        ("a bit", "not a length"),
        ("1/0", "divides by 0"),
        ("-1.6 mm", "below 0"),
        ("1.6 furlong", "'furlong' is not known"),
        ("1.6.2", "not a length"),
        ("1,600", "not a length"),
        ("nan", "not a length"),
        ("1e999", "beyond any length"),
        ("0x10", "not"),
    ],
)
def test_what_is_no_length_gets_a_sentence(text: str, says: str) -> None:
    with pytest.raises(WrongInput, match=says) as caught:
        parse_length_m(text)
    assert "1/16, 0.062 in or 1.6 mm" in str(caught.value)


@pytest.mark.parametrize("unit", ["ft", "in", "m", "mm"])
@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("32 ft 3 in", 387),
        ("32' 3\"", 387),
        ("32′3½″", 387.5),
        ("32 feet 3 1/2 inches", 387.5),
        ("32ft. 3", 387),
        ("32 ft-3 in", 387),
        ("5' 3/4\"", 60.75),
        ("32 ft", 384),
        ("32 1/2 ft", 390),
    ],
)
def test_feet_and_inches_are_one_length_in_every_field(text: str, inches: float, unit: str) -> None:
    """12 inches a foot, 0.0254 m an inch: NIST SP 811, appendix B (from memory)."""
    assert parse_length_m(text, unit) == pytest.approx(inches * 0.0254, rel=1e-12)


def test_a_dash_parts_feet_from_inches_where_feet_are_meant_only() -> None:
    assert parse_length_m("32-3 1/2", "ft") == pytest.approx(387.5 * INCH_M)
    assert parse_length_m("32-3", "ft") == pytest.approx(387 * INCH_M)
    assert parse_length_m("1-1/2", "in") == pytest.approx(1.5 * INCH_M)
    with pytest.raises(WrongInput, match="not a length"):
        parse_length_m("32-3", "in")


@pytest.mark.parametrize("unit", ["ft", "m"])
@pytest.mark.parametrize("text", ["1/2", "1 1/2", "1-1/2", "½"])
def test_a_bare_fraction_in_a_long_field_is_asked_about(text: str, unit: str) -> None:
    with pytest.raises(WrongInput, match=f"could be in inches or in {unit}: type .* in or"):
        parse_length_m(text, unit)


@pytest.mark.parametrize("text", ["32 ft 13 in", "32' 12\"", "32-13", "32 ft 3 mm", "32 ft 3 ft"])
def test_after_the_feet_come_inches_below_12(text: str) -> None:
    with pytest.raises(WrongInput, match="expected inches below 12"):
        parse_length_m(text, "ft")


@given(st.text(max_size=12))
def test_any_text_is_a_length_or_a_sentence(text: str) -> None:
    with contextlib.suppress(WrongInput):
        assert parse_length_m(text) >= 0


@given(st.integers(0, 256))
def test_a_marked_fraction_comes_back(parts: int) -> None:
    assert parse_length_m(inch_fraction(parts / 64 * INCH_M), "in") == pytest.approx(
        parts / 64 * INCH_M
    )
