"""What a machine's season says."""

from __future__ import annotations

from workbench.jobs.season.again import AgainSays
from workbench.jobs.season.answer import SeasonQuantity, SeasonSays
from workbench.words.language import N_, Plural, Template

SENTENCES: dict[str, Template] = {
    AgainSays.NOT_JUDGED_AGAIN: N_("Recording {recording}: {error}"),
    SeasonQuantity.RATIO: N_("ratio belt ÷ ground"),
    SeasonQuantity.ERROR_AT_WORK: N_("readout error"),
    SeasonQuantity.SETTING: N_("setting"),
    SeasonQuantity.GAP_M: N_("gap"),
    SeasonQuantity.METRES_PER_PULSE: N_("belt travel a pulse"),
    SeasonQuantity.BELT_SAG_M: N_("belt sag"),
    SeasonQuantity.CHAIN_SLACK_REL: N_("chain slack, of the span"),
    SeasonQuantity.CHAIN_ELONGATION_REL: N_("chain's elongation"),
    SeasonQuantity.OIL_FLOW_M3_PER_S: N_("oil flow"),
    SeasonQuantity.TRUE_OVER_SHOWN: N_("true ÷ shown ground speed"),
    SeasonSays.STEPPED: N_(
        "Between {before_utc:day} and {after_utc:day} the {quantity} changed from {before} to "
        "{after}, more than both uncertainties explain."
    ),
    SeasonSays.OUTSIDE_USUAL: N_(
        "On {at_utc:day} the {quantity}, {value}, lay outside what this machine's own scatter "
        "explains ({low} to {high})."
    ),
    SeasonSays.CREEPS: N_("Since {since_utc:day} the {quantity} creeps away from its mean."),
    SeasonSays.FEW_VISITS: Plural(
        "{count} visit so far; {more} more show what is usual for this machine.",
        "{count} visits so far; {more} more show what is usual for this machine.",
    ),
    SeasonSays.KEPT_USUAL: N_(
        "Over {count} visits the {quantity} kept within its own scatter ({low} to {high})."
    ),
    SeasonSays.VALUE_RATIO: N_("{value:ratio}"),
    SeasonSays.VALUE_ERROR: N_("{error_rel:percent}"),
    SeasonSays.VALUE_SETTING: N_("{setting:number}"),
    SeasonSays.VALUE_GAP: N_("{gap_m:gap}"),
    SeasonSays.VALUE_FLOW: N_("{flow_m3_per_s:flow}"),
}
