"""Preparations over the years: followed from visit to visit, two of them side by side."""

import pytest

from workbench.base.machine import parse_machine
from workbench.base.units import US
from workbench.jobs.prepare.answer import PrepareOptions
from workbench.jobs.prepare.stored import judge_table
from workbench.jobs.season.answer import SeasonOptions
from workbench.jobs.season.compute import compute
from workbench.models.records.compare import compared_rows
from workbench.words.season import season_title
from workbench.words.words import Words

MACHINE = parse_machine(
    'name = "Test digger"\n[drive]\ntarget_teeth = 24\nkind = "roll"\nroll_diameter_m = 0.15\n'
    '[[chain]]\nname = "main"\nspan_m = 0.6\npitch_m = 0.0254\n'
)
ROWS = (
    "check,place,value,unit\noil flow,,60,L/min\nbelt sag,left,{sag},mm\nbelt sag,right,{sag},mm\n"
    "chain slack,main,24,mm\nchain length,main,{length},mm\nchain links,main,24,links\n"
    "course length,,100,ft\ncourse time,1 there,27.3,s\ncourse time,2 back,27.3,s\n"
    "radar speed,1 there,2.6,mph\nradar speed,2 back,2.6,mph\n"
)


@pytest.fixture
def sheets(store):
    """A sag that grows and a chain that wears, year by year."""
    address = store.address
    years = ((50, 611.0), (56, 613.0), (62, 617.0))
    return address, [
        judge_table(
            ROWS.format(sag=sag, length=length),
            MACHINE,
            PrepareOptions("sheet.csv", today=f"202{year}-09-01"),
            address,
        )[0]
        for year, (sag, length) in enumerate(years, 4)
    ]


def test_sag_slack_wear_flow_and_scale_are_followed(sheets):
    address, _answers = sheets
    found = compute(SeasonOptions(address, "Test digger")).quantities
    assert set(found) == {
        "belt_sag_m",
        "chain_slack_rel/main",
        "chain_elongation_rel/main",
        "oil_flow_m3_per_s",
        "true_over_shown/radar",
    }
    sag = found["belt_sag_m"]
    assert [visit.value for visit in sag.visits] == pytest.approx([0.050, 0.056, 0.062])
    assert sag.allowed_low < 0.050 < sag.allowed_high
    worn = [visit.value for visit in found["chain_elongation_rel/main"].visits]
    assert worn == pytest.approx([611 / 609.6 - 1, 613 / 609.6 - 1, 617 / 609.6 - 1])
    assert all(season_title(one) for one in found.values())


def test_two_years_side_by_side(sheets):
    _address, (first, _between, last) = sheets
    rows = {row.name: row for row in compared_rows(first, last, Words(US))}
    assert rows["belt sag, mean"].meaning == "larger"
    assert rows["oil flow"].meaning == "no difference to be told"
