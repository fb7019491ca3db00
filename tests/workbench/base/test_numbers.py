"""One rule for a value and its uncertainty."""

from __future__ import annotations

import math

import pytest

from workbench.base.numbers import Formatter, plain, with_uncertainty


@pytest.mark.parametrize(
    ("value", "U", "text"),
    [
        # JCGM 100, 7.2.6: two digits of the uncertainty, the value to the same place; its own
        # example rounds 10.057 62 Ω with u = 27 mΩ to 10.058 Ω.
        (10.05762, 0.027, "10.058 ± 0.027"),
        (2250.04, 12.6, "2250 ± 13"),
        (-0.004, 0.0996, "0.00 ± 0.10"),
        (0.5, 0.0, "0.5"),
        (0.5, math.nan, "0.5"),
        (math.nan, 0.1, "–"),
    ],
)
def test_a_value_has_no_more_digits_than_its_uncertainty(value, U, text):
    assert with_uncertainty(value, U, -1) == text


def test_a_sign_is_a_true_one_and_nothing_has_none():
    assert plain(-0.25, 1) == "−0.2"
    assert plain(-0.04, 1) == "0.0"
    assert plain(0.04, 1, signed=True) == "0.0"
    assert plain(0.06, 1, signed=True) == "+0.1"


def test_what_was_found_may_stand_in_a_message_as_it_was_written():
    assert Formatter().vformat("it is {found!r}", (), {"found": "a\n"}) == "it is 'a\\n'"
