"""Runs to an answer, an answer to the store and to a certificate.

Slow: called away from the screen.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from workbench.base.machine import Machine, with_readout_setting
from workbench.calibration.readout.run_table import marked_simulated
from workbench.jobs.at_hand import judge_table, judge_with_prepared, with_prepared
from workbench.jobs.calibrate.answer import CalibrateAnswer, CalibrateOptions
from workbench.jobs.keep import Kept
from workbench.jobs.particulars import NOTHING_SAID, Particulars, particulars_in
from workbench.jobs.source import stored_source
from workbench.jobs.xml_signature import DIGITAL, xml_signer
from workbench.models.calibrate.runs import State, flips_table, run_table
from workbench.words.language import _, ngettext
from workbench.words.words import Words

if TYPE_CHECKING:
    from workbench.reports.document import Document

Worked = tuple[CalibrateAnswer, Kept]
"""An answer, and its number in the store where it was kept."""


def warm_up(store: str | None) -> None:
    """Load what an answer and a certificate need, and open the store once. Raises StoreError.

    The first loading holds everything else up for a moment; let that be before the first
    mark, not while a hand is timing laps.
    """
    import scipy.special  # noqa: F401
    import typst  # noqa: F401

    import workbench.jobs.calibrate.compute
    import workbench.reports.calibrate.certificate  # noqa: F401
    from workbench.records.store import open_store
    from workbench.reports.drawing import new_figure, to_svg

    to_svg(new_figure(50, 50)[0])
    with open_store(store):
        pass


def compute_work(
    state: State,
    machine: Machine,
    store: str | None,
    said: Particulars = NOTHING_SAID,
    *,
    keep: bool,
) -> Callable[[], Worked]:
    """The work that turns runs, or a recorded ramp, into an answer; stored with what is `said`
    of it if `keep`.

    It raises WrongInput and StoreError.
    """
    left = run_table(state.left_runs)
    ramp, text = state.ramp, run_table(state.runs)
    options = CalibrateOptions(
        table_name="" if ramp else _("runs on the bench"),
        flips=flips_table(state.flips) if ramp else "",
        flips_name=_("flips on the bench") if ramp else "",
        as_left=left,
        as_left_name=_("runs as left on the bench") if left else "",
        remarks=_dropped(state),
    )
    work = partial(_from_table, text) if ramp is None else partial(_from_ramp, ramp)
    return lambda: work(as_found(machine, state), store, options, said if keep else None)


def as_found(machine: Machine, state: State) -> Machine:
    """The machine as it was when the runs as found were taken: before a new setting was entered.

    Raises WrongInput where its file holds no setting.
    """
    if math.isnan(state.found_setting):
        return machine
    return with_readout_setting(machine, state.found_setting)


def _from_table(
    text: str,
    machine: Machine,
    store: str | None,
    options: CalibrateOptions,
    said: Particulars | None,
) -> Worked:
    from workbench.jobs.calibrate.compute import compute

    if said is not None:
        return judge_table("calibrate", text, machine, options, store, said)
    options = with_prepared(options, machine, store, simulated=marked_simulated(text))
    return compute(text, machine, options), Kept()


def _from_ramp(
    number: int,
    machine: Machine,
    store: str | None,
    options: CalibrateOptions,
    said: Particulars | None,
) -> Worked:
    from workbench.jobs.calibrate.compute import compute

    source = stored_source(number, machine, store)
    if said is not None:
        return judge_with_prepared("calibrate", source, options, said)
    simulated = source.recording.simulated
    options = with_prepared(options, machine, store, simulated=simulated)
    return compute(source.recording, machine, options), Kept()


@dataclass(frozen=True, slots=True)
class Certificate:
    """The certificate of a stored result; what is `said` of it, unless None, stays with it.

    It can be looked at, printed and saved; all of it slow.
    """

    number: int
    store: str | None
    said: Particulars | None
    words: Words
    file_name: str = "certificate.pdf"
    key_file: str = ""
    password: str = ""

    def signs(self, path: Path) -> bool:
        """Whether it is signed where it is saved so."""
        return bool(self.key_file and self.password) and path.suffix.lower() == DIGITAL

    def said_before(self) -> Particulars:
        """What is said of the result in the store. Raises StoreError."""
        from workbench.records.store import open_store

        with open_store(self.store) as opened:
            return particulars_in(opened.result(self.number).said)

    def pages(self, ppi: float) -> list[bytes]:
        """The pages as PNG. Raises StoreError."""
        from workbench.reports.document import render_pages

        return render_pages(self._document(), ppi)

    def save(self, path: Path) -> Path:
        """Write it as the name's ending says, a digital one signed where there is a key and its
        password. Raises WrongInput, StoreError."""
        from workbench.reports.document import check_report_path, render

        check_report_path(path, digital=True)
        key = xml_signer(Path(self.key_file), self.password) if self.signs(path) else None
        return render(self._document(), path, key)

    def _document(self) -> Document:
        from workbench.records.store import open_store
        from workbench.reports.stored import document_of
        from workbench.reports.testified import testified

        with open_store(self.store) as opened:
            stored = opened.result(self.number)
            if self.said is not None and self.said != particulars_in(stored.said):
                opened.say_of(self.number, self.said.text)
                stored = opened.result(self.number)
        return testified(document_of(stored, self.words), self.store, self.number)


def _dropped(state: State) -> str:
    """A remark on the runs that were dropped by hand, '' where none was."""
    found = [f"{number}" for number, run in enumerate(state.runs, 1) if run.dropped]
    left = _("{number} as left")
    found += [left.format(number=at) for at, run in enumerate(state.left_runs, 1) if run.dropped]
    if not found:
        return ""
    return ngettext(
        "Dropped by the person: run {runs}.", "Dropped by the person: runs {runs}.", len(found)
    ).format(runs=", ".join(found))
