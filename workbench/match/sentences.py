"""What speaks for a cause, in sentences with the numbers it was judged by."""

from __future__ import annotations

import math
from collections.abc import Callable

from workbench.match.causes import Cause
from workbench.match.evidence import NOISE, TOOTH, Evidence
from workbench.match.ratio import Pace

Sentences = list[str]


def evidence_for(cause: Cause, evidence: Evidence, found: Pace) -> Sentences:
    """The sentences for one cause; the ratio first where there is one."""
    return [*_ratio(found), *_SAYS.get(cause.cause, _nothing)(cause, evidence)]


def percent(log: float) -> str:
    """'+3.4 %' for a logarithm of 0.0334."""
    return f"{100 * math.expm1(log):+.1f} %"


def _ratio(found: Pace) -> Sentences:
    if not math.isfinite(found.ratio):
        return []
    away = 100 * (found.ratio - 1)
    way = "fast" if away > 0 else "slow"
    return [
        f"Ratio belt ÷ ground {found.ratio:.3f} ± {found.U_ratio:.3f}: the belt is "
        f"{abs(away):.1f} % {way} over the whole."
    ]


def _measured(evidence: Evidence, name: str, text: str) -> Sentences:
    """`text` with {value} as a per cent and {U}, where the measure is there."""
    measure = evidence.measures.get(name)
    if measure is None:
        return []
    return [text.format(value=percent(measure.value), U=f"{200 * measure.u:.1f} %")]


def _nothing(cause: Cause, evidence: Evidence) -> Sentences:
    return []


def _constant(cause: Cause, evidence: Evidence) -> Sentences:
    bins = evidence.bins
    if bins is None:
        return []
    half = bins.time_s.size // 2
    early, late = bins.belt_log[:half].mean(), bins.belt_log[half:].mean()
    return [
        f"The belt's own speed in the second half against the first: {percent(late - early)}.",
        *_setting(cause, evidence),
    ]


def _oil(cause: Cause, evidence: Evidence) -> Sentences:
    said = []
    bins = evidence.bins
    if bins is not None and bins.oil_c is not None:
        said.append(f"The oil went from {bins.oil_c[0]:.0f} to {bins.oil_c[-1]:.0f} °C.")
    else:
        said.append("Oil temperature was not recorded; the belt slowed as warming oil makes it.")
    if "oil" in cause.sizes:
        said.append(f"The belt's speed changed by {percent(cause.sizes['oil'])} along with it.")
    return said


def _engine(cause: Cause, evidence: Evidence) -> Sentences:
    bins, said = evidence.bins, []
    if bins is not None and bins.engine_log is not None:
        said.append(
            f"Engine speed fell to {percent(float(bins.engine_log.min()))} of its usual highest."
        )
    if "engine" in cause.sizes:
        said.append(
            f"For each per cent of engine speed the belt changed by {cause.sizes['engine']:.2f} %."
        )
    return said


def _laps(cause: Cause, evidence: Evidence) -> Sentences:
    return _measured(
        evidence,
        "lap",
        "By its laps the belt travels {value} ± {U} against what its pulses say.",
    )


def _step(cause: Cause, evidence: Evidence) -> Sentences:
    if "step" not in cause.sizes:
        return []
    return [
        f"About {cause.sizes['step at']:.0f} s into the recording the belt's speed changed by "
        f"{percent(cause.sizes['step'])} at once, and stayed."
    ]


def _unfollowed(cause: Cause, evidence: Evidence) -> Sentences:
    scatter = evidence.measures.get("unfollowed")
    if scatter is None:
        return []
    return [
        f"Ground speed varied by {100 * math.exp(scatter.value):.1f} % (standard deviation) "
        "without the belt."
    ]


def _wheel(cause: Cause, evidence: Evidence) -> Sentences:
    against = evidence.wheel_against or "the ground"
    return _measured(evidence, "wheel", f"Wheel speed reads {{value}} ± {{U}} against {against}.")


def _setting(cause: Cause, evidence: Evidence) -> Sentences:
    return [
        *_measured(
            evidence,
            "setting",
            "The number set makes the readout show {value} ± {U} against the machine file's drive "
            "line.",
        ),
        *_measured(
            evidence, "shown", "The readout showed {value} ± {U} against the belt by pulses."
        ),
    ]


def _wrong_setting(cause: Cause, evidence: Evidence) -> Sentences:
    seen = evidence.teeth
    said = _setting(cause, evidence)
    if evidence.flags.get("teeth") and seen is not None:
        said.insert(
            0,
            f"The pulses' pattern repeats after {seen.teeth} teeth (probability "
            f"{seen.confidence:.3f}); the machine file says {evidence.typed_teeth}.",
        )
    return said


def _lost(cause: Cause, evidence: Evidence) -> Sentences:
    total = evidence.edges + evidence.missed
    said = [f"{evidence.missed} of {total} pulses were not seen."] if total else []
    if math.isfinite(evidence.missed_at_mps):
        said.append(
            f"They were missed at belt speeds around {evidence.missed_at_mps:.2f} m/s; the usual "
            f"speed was {evidence.usual_mps:.2f} m/s."
        )
    return said + _other_pickup(evidence)


def _other_pickup(evidence: Evidence) -> Sentences:
    return _measured(
        evidence, "other pickup", "The second pickup counted {value} against this one's pulses."
    )


def _extra(cause: Cause, evidence: Evidence) -> Sentences:
    named = [fault.sentence for fault in evidence.faults if fault.kind in NOISE]
    return named + _other_pickup(evidence)


def _tooth(cause: Cause, evidence: Evidence) -> Sentences:
    return [fault.sentence for fault in evidence.faults if fault.kind in TOOTH]


def _gnss(cause: Cause, evidence: Evidence) -> Sentences:
    gnss = evidence.gnss
    if gnss is None:
        return []
    said = [f"{100 * (1 - gnss.share):.0f} % of {gnss.source}'s messages came without a fix."]
    if math.isfinite(gnss.noise_rel):
        said.append(f"One of its speeds is good to {100 * gnss.noise_rel:.0f} % only.")
    return said


_SAYS: dict[str, Callable[[Cause, Evidence], Sentences]] = {
    "valve-off": _constant,
    "oil-warming": _oil,
    "engine-droop": _engine,
    "belt-slip": _laps,
    "roll-build-up": _laps,
    "valve-moved": _step,
    "belt-not-following": _unfollowed,
    "wheel-slip": _wheel,
    "wrong-setting": _wrong_setting,
    "losing-pulses": _lost,
    "extra-pulses": _extra,
    "damaged-wheel": _tooth,
    "gnss-unusable": _gnss,
}
