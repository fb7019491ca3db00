"""What earlier passes of the same machine say beside the one just judged."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from workbench.base.units import percent
from workbench.match.season import LEAST_VISITS, Visit, chart
from workbench.records.entries import StoredResult
from workbench.records.store import open_store

Answer = Mapping[str, Any]


def earlier_passes(store: str | None, recording: int, answer: Answer) -> list[str]:
    """Sentences on the passes of this machine driven before that recording, [] without a machine.

    Slow: call it away from the screen. Raises BenchError. Simulated passes are held against
    simulated ones only.
    """
    with open_store(store) as opened:
        known = {one.number: one for one in opened.recordings()}
        results = opened.results()
    this = known.get(recording)
    if this is None or not this.machine_name:
        return []
    before: dict[int, StoredResult] = {}
    for result in results:
        other = known.get(result.recording or 0)
        if result.kind != "pass" or other is None or other.number == recording:
            continue
        alike = other.machine_name == this.machine_name and other.simulated == this.simulated
        if alike and other.started_utc <= this.started_utc and _finite(result.answer, "ratio"):
            before.setdefault(other.number, result)
    ordered = sorted(before.items(), key=lambda pair: known[pair[0]].started_utc)
    visits = [_visit(known[number].started_utc, result.answer) for number, result in ordered]
    return _sentences(visits, [result.answer for _, result in ordered], this.started_utc, answer)


def _sentences(
    visits: list[Visit], answers: list[Answer], now_utc: str, answer: Answer
) -> list[str]:
    if not visits:
        return ["This is the first pass kept of this machine; later ones are held against it."]
    values = [visit.value for visit in visits]
    count = "One earlier pass" if len(values) == 1 else f"{len(values)} earlier passes"
    spread = (
        f"{values[0]:.3f}"
        if len(values) == 1
        else f"{min(values):.3f} to {max(values):.3f}, mean {math.fsum(values) / len(values):.3f}"
    )
    said = [f"{count} of this machine: ratio belt ÷ ground {spread}."]
    if _finite(answer, "ratio"):
        said += _against(visits, _visit(now_utc, answer))
    return said + _learned(answers, answer)


def _against(visits: list[Visit], this: Visit) -> list[str]:
    """This pass beside the last one, and beside what the machine's passes scatter by."""
    last = visits[-1]
    change, U = this.value - last.value, 2 * math.hypot(this.u, last.u)
    if abs(change) > U:
        said = [
            f"Since the last one ({last.when_utc[:10]}) the ratio has changed by "
            f"{percent(change / last.value, 1, signed=True)} ± {percent(U / last.value, 1)}: "
            "something was moved, or has moved."
        ]
    else:
        said = [
            f"Against the last one ({last.when_utc[:10]}) no change beyond the uncertainty "
            f"(± {percent(U / last.value, 1)})."
        ]
    found = chart([*visits, this])
    if len(found.visits) > LEAST_VISITS and len(visits) in found.outside:
        said.append(
            f"It lies outside what this machine's passes scatter by ({found.low:.3f} to "
            f"{found.high:.3f})."
        )
    elif len(visits) in found.drifting:
        said.append("The passes of this machine drift slowly one way.")
    return said


def _learned(answers: list[Answer], answer: Answer) -> list[str]:
    """What a step of the flow control did when it was last moved by known steps."""
    for earlier in reversed(answers):
        advice = earlier.get("advice") or {}
        if not _finite(advice, "ratio_per_step"):
            continue
        step = advice["ratio_per_step"]
        size = percent(step, 2, signed=True)
        text = f"Earlier, one step of the flow control changed the ratio by {size}"
        if _finite(answer, "ratio") and step:
            text += f": about {(1 - answer['ratio']) / step:+.1f} steps would bring it to 1"
        return [f"{text}.".replace("-", "−")]
    return []


def _visit(when_utc: str, answer: Answer) -> Visit:
    u = float(answer["u_ratio"]) if _finite(answer, "u_ratio") else 0.0
    return Visit(when_utc, float(answer["ratio"]), u)


def _finite(values: Answer, key: str) -> bool:
    value = values.get(key)
    return isinstance(value, int | float) and math.isfinite(value)
