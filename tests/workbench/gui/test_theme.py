"""Contrast and colours of both themes.

WCAG 2.2, success criteria 1.4.3 (text: at least 4.5:1) and 1.4.11 (edges of fields and the
mark of the focus: at least 3:1). The formula of relative luminance is written here once
more, from the definition in that recommendation, beside the program's own.
"""

from __future__ import annotations

import re

import pytest

from workbench.gui.theme import SMALL_PX, THEMES, contrast, growth_for, style_sheet

TEXT = ("ink", "soft_ink", "belt", "earth", "in_band", "attention", "bad", "no_data")
PILLS = ("in_band", "attention", "bad", "no_data")
EACH_THEME = pytest.mark.parametrize("theme", THEMES.values(), ids=list(THEMES))


def luminance(color):
    def linear(part):
        share = part / 255
        return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4

    red, green, blue = (linear(part) for part in bytes.fromhex(color.removeprefix("#")))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def ratio(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def rules(theme):
    """(selector, its declarations) of the style sheet."""
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", style_sheet(theme)):
        pairs = (line.split(":", 1) for line in body.split(";") if ":" in line)
        yield selector.strip(), {name.strip(): value.strip() for name, value in pairs}


@pytest.mark.parametrize("name", TEXT)
@EACH_THEME
def test_text_can_be_read_on_both_grounds(theme, name):
    color = getattr(theme, name)
    assert ratio(color, theme.ground) >= 4.5
    assert ratio(color, theme.raised) >= 4.5


@pytest.mark.parametrize("name", PILLS)
@EACH_THEME
def test_the_word_in_a_verdicts_pill_can_be_read(theme, name):
    assert ratio(theme.ground, getattr(theme, name)) >= 4.5


@EACH_THEME
def test_every_rule_of_the_style_sheet_leaves_its_text_readable(theme):
    seen = 0
    for selector, said in rules(theme):
        text = said.get("color", theme.ink)
        own = said.get("background", "transparent")
        grounds = [theme.ground, theme.raised] if own == "transparent" else [own]
        if "selection-color" in said:
            grounds.append(said["selection-background-color"])
            assert ratio(said["selection-color"], grounds.pop()) >= 4.5, selector
        if not ({"color", "background"} & said.keys()) or "::" in selector:
            continue  # parts drawn with '::' hold no text, save the head of a table, below
        if selector.startswith("QProgressBar"):
            continue  # its words stand beside it
        seen += 1
        for ground in grounds:
            assert ratio(text, ground) >= 4.5, (selector, text, ground)
    assert seen > 10
    head = dict(rules(theme))["QHeaderView::section"]
    assert ratio(head["color"], head["background"]) >= 4.5


@EACH_THEME
def test_edges_of_fields_and_the_focus_can_be_seen(theme):
    sheet = dict(rules(theme))
    (field,) = [said for selector, said in sheet.items() if selector.startswith("QLineEdit, QCom")]
    for color in (field["border"].split()[-1], theme.belt):
        assert ratio(color, theme.ground) >= 3
        assert ratio(color, theme.raised) >= 3
    filled = '[role="next"]:focus'  # belt on ink is no contrast in the dark: `test_keys.py`
    focused = {selector: said["border"] for selector, said in sheet.items() if ":focus" in selector}
    focused = [border for selector, border in focused.items() if not selector.endswith(filled)]
    assert focused
    assert all(border == f"2px solid {theme.belt}" for border in focused)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    # From memory: the best known examples of WCAG's contrast.
    [("#000000", "#FFFFFF", 21.0), ("#777777", "#FFFFFF", 4.48), ("#FFFFFF", "#FFFFFF", 1.0)],
)
def test_contrast_is_that_of_the_recommendation(one, other, expected):
    assert contrast(one, other) == pytest.approx(expected, abs=0.01)
    assert contrast(one, other) == pytest.approx(ratio(one, other), rel=1e-3)


@pytest.mark.parametrize(
    ("width", "height"),
    [(1920, 1080), (1920, 1200), (2560, 1440), (2560, 1600), (3440, 1440), (3840, 2160)],
)
def test_small_text_is_1_5_per_cent_of_a_large_window_s_height_at_least(width, height):
    assert growth_for(width, height) * SMALL_PX >= 0.015 * height
    assert growth_for(width, height) * 1024 <= width  # a page finds the room it has at 1024 px


@pytest.mark.parametrize(("width", "height"), [(960, 540), (1024, 600), (1366, 768), (1280, 1024)])
def test_text_stays_as_planned_in_a_small_window_but_in_the_cab(width, height):
    assert growth_for(width, height) == pytest.approx(1.0, abs=0.2)
    assert growth_for(width, height, cab=True) >= 2 * growth_for(width, height)
