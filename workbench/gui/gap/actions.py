"""What can be done at the bottom of the gap page, beside its one filled button."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtWidgets import QWidget

from workbench.gui.gap.head import GapView
from workbench.gui.parts.basics import button, label, say
from workbench.gui.parts.layout import line_of
from workbench.gui.theme import GRID_PX
from workbench.models.gap.job import GapJob, Step
from workbench.words.language import _

Do = Callable[[], object]


class GapActions(QWidget):
    """Buttons from pickup to pickup on the left, those for results on the right."""

    def __init__(
        self,
        *,
        go_by: Callable[[int], object],
        add: Do,
        remove: Do,
        open_file: Do,
        keep: Do,
        report: Do,
        list_report: Do,
    ) -> None:
        super().__init__()
        self.previous = button("Previous", lambda: go_by(-1))
        self.next = button("Next", lambda: go_by(1))
        self.previous.setAccessibleName(_("Previous pickup"))
        self.next.setAccessibleName(_("Next pickup"))
        self._which = label("", "soft", wrap=False)
        self.add, self.remove = button("Add pickup", add), button("Remove pickup", remove)
        self.open, self.keep = button("Open file", open_file), button("Keep result", keep)
        self.report = button("See report", report)
        self.list_report = button("See list report", list_report)
        line_of(
            self.previous,
            self._which,
            self.next,
            self.add,
            self.remove,
            1,
            self.open,
            self.keep,
            self.report,
            self.list_report,
            on=self,
            gap=GRID_PX,
        )

    def show_job(self, job: GapJob, view: GapView, *, shown: bool, wide: bool) -> None:
        """What can be done now; nothing that is the filled button's. `shown`: a kept answer is
        on the page, `wide`: the list is beside whatever is done."""
        states, at, free = job.list.states(), job.list.at, not job.run.running
        feeler, has_list = view in (GapView.FEELER, GapView.LIST), wide or view is GapView.LIST
        many, filled = len(states) > 1, job.step if view is GapView.FEELER else None
        for one in (self.previous, self._which, self.next):
            one.setVisible(many)
        say(self._which, _("{at} of {count}").format(at=at + 1, count=len(states)))
        self.previous.setEnabled(free and at > 0)
        self.next.setEnabled(free and at < len(states) - 1)
        self.remove.setVisible(feeler and (many or view is GapView.LIST) and has_list)
        self.add.setVisible(feeler and not has_list)
        self.open.setVisible(view is not GapView.LIST)
        can_keep = feeler and job.has_readings and not job.kept_as
        self.keep.setVisible(can_keep and filled is not Step.KEEP)
        self.report.setVisible(shown and filled is not Step.REPORT)
        self.list_report.setVisible(many and any(one.readings or one.runs for one in states))
