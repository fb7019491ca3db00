"""How each quantity of a season is called and shown."""

from __future__ import annotations

from workbench.jobs.season.answer import QuantitySeason, SeasonQuantity
from workbench.words.language import N_, _

_SHOWN = {
    SeasonQuantity.RATIO: (N_("Ratio belt ÷ ground"), "ratio"),
    SeasonQuantity.ERROR_AT_WORK: (N_("Readout error as found"), "percent"),
    SeasonQuantity.SETTING: (N_("Setting of the readout"), ""),
    SeasonQuantity.GAP_M: (N_("Gap"), "gap"),
    SeasonQuantity.METRES_PER_PULSE: (N_("Belt travel a pulse"), "gap"),
    SeasonQuantity.BELT_SAG_M: (N_("Belt sag"), "gap"),
    SeasonQuantity.CHAIN_SLACK_REL: (N_("Chain slack, of the span"), "percent"),
    SeasonQuantity.CHAIN_ELONGATION_REL: (N_("Chain longer than new"), "percent"),
    SeasonQuantity.OIL_FLOW_M3_PER_S: (N_("Oil flow"), "flow"),
    SeasonQuantity.TRUE_OVER_SHOWN: (N_("True ÷ shown ground speed"), "ratio"),
}
"""Quantity -> its title, and its kind; a setting is a bare number."""


def season_title(one: QuantitySeason) -> str:
    """'Ratio belt ÷ ground', 'Gap at left'."""
    title = _(_SHOWN[one.quantity][0])
    return _("{title} at {pickup}").format(title=title, pickup=one.pickup) if one.pickup else title


def season_kind(one: QuantitySeason) -> str:
    """The kind of quantity its values are, '' for a bare number."""
    return _SHOWN[one.quantity][1]
