"""Contrast and colours of both themes.

WCAG 2.1 success criterion 1.4.3: at least 4.5:1 for text; the formula of relative luminance
is written here once more, from that recommendation, beside the program's own.
"""

from __future__ import annotations

import pytest

from workbench.gui.theme import THEMES, contrast, style_sheet

TEXT = ("ink", "soft_ink", "belt", "earth", "in_band", "attention", "bad", "no_data")


def luminance(color):
    def linear(part):
        share = part / 255
        return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(part) for part in bytes.fromhex(color.removeprefix("#")))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("name", TEXT)
@pytest.mark.parametrize("theme", THEMES.values(), ids=list(THEMES))
def test_text_can_be_read_on_both_grounds(theme, name):
    color = getattr(theme, name)
    assert ratio(color, theme.ground) >= 4.5
    assert ratio(color, theme.raised) >= 4.5


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    # From memory: the best known examples of WCAG's contrast.
    [("#000000", "#FFFFFF", 21.0), ("#777777", "#FFFFFF", 4.48), ("#FFFFFF", "#FFFFFF", 1.0)],
)
def test_contrast_is_that_of_the_recommendation(one, other, expected):
    assert contrast(one, other) == pytest.approx(expected, abs=0.01)
    assert contrast(one, other) == pytest.approx(ratio(one, other), rel=1e-3)


def test_the_style_sheet_names_the_themes_colours():
    for theme in THEMES.values():
        assert theme.ground in style_sheet(theme)
