"""The gap check by keyboard and on the simulator: to stored results and a report."""

import math

import pytest
from PySide6.QtCore import Qt

from workbench.calibration.decision import Verdict
from workbench.cli.verify import verify
from workbench.errors import WrongInput
from workbench.gui.pages.gap import GapPage
from workbench.gui.theme import BRIGHT, DARK
from workbench.gui.widgets.basics import Caution
from workbench.models.gap_job import GapJob
from workbench.records.store import open_store

ROUND = ((0, "1/16"), (90, "1.6 mm"), (180, "0.062 in"), (270, "1.6mm"))


@pytest.fixture
def page(bench, qtbot):
    bench.use_inputs(["sim:bent-tooth?seed=1"])
    made = GapPage(bench, BRIGHT)
    qtbot.addWidget(made)
    made.resize(880, 540)
    made.show()
    yield made
    made._works.wait()


@pytest.fixture
def worked_out(page, qtbot):
    def wait():
        qtbot.waitUntil(lambda: not page._works.busy, timeout=20_000)

    return wait


def type_round(page, qtbot, readings=ROUND):
    for angle, gap in readings:
        page._angle.setText(str(angle))
        qtbot.keyClicks(page._gap, gap)
        qtbot.keyClick(page._gap, Qt.Key.Key_Return)


def test_the_caution_comes_first(page, qtbot):
    assert not page._gap.isVisible()
    qtbot.keyClick(page.findChild(Caution).understood, Qt.Key.Key_Space)
    assert page._gap.isVisible()


def test_readings_by_keyboard_to_a_stored_result_and_a_report(
    page, bench, qtbot, worked_out, tmp_path
):
    page._caution_read()
    type_round(page, qtbot)
    assert page.job.judged().verdict is Verdict.PASS
    assert page._pill.accessibleName() == "Verdict: pass"
    assert page._angle.text() == "0"
    qtbot.keyClick(page._keep, Qt.Key.Key_Space)
    worked_out()
    number = page.job.answer["result"]
    with open_store(bench.store) as store:
        stored = store.result(number).answer
        assert verify(store, number)["verified"]
    # 1/16 in is 1.5875 mm exactly; 0.062 in 1.5748 mm.
    assert stored["gap_m"] == pytest.approx((1.5875 + 1.6 + 1.5748 + 1.6) / 4000, abs=1e-8)
    path = tmp_path / "gap.html"
    page.save_report(path)
    worked_out()
    assert "Pickup gap" in path.read_text(encoding="utf-8")
    assert page._said.text() == "Saved as gap.html."


def test_a_wrong_gap_says_so_at_the_field_and_nothing_is_lost(page, qtbot):
    page._caution_read()
    type_round(page, qtbot)
    page._gap.setText("1.6 furlong")
    qtbot.keyClick(page._gap, Qt.Key.Key_Return)
    assert page._error.isVisible()
    assert "furlong" in page._error.text()
    assert page._gap.text() == "1.6 furlong"
    assert len(page.job.pickups.current.gap_m) == 4
    page._undo.click()
    assert len(page.job.pickups.current.gap_m) == 3
    assert not page._error.isVisible()


def test_units_change_every_number_at_once(page, bench, qtbot):
    page._caution_read()
    type_round(page, qtbot)
    assert " in " in page._sentence.text()
    bench.settings.change(units="metric")
    page.set_theme(DARK)
    page.refresh()
    assert " mm " in page._sentence.text()
    assert page._gap_name.text() == "Gap, mm"
    page._gap.setText("1.7")
    page._read()
    assert page.job.pickups.current.gap_m[-1] == pytest.approx(0.0017)


def test_a_list_of_pickups_is_worked_through(page, bench, qtbot, worked_out, tmp_path):
    table = tmp_path / "shop.csv"
    rows = [f"{name},{at},0.0016" for name in ("A / left", "A / right") for at in (0, 90, 180, 270)]
    table.write_text("\n".join(["pickup,angle_deg,gap_m", *rows]) + "\n", encoding="utf-8")
    page._caution_read()
    page.open_table(table)
    assert page._list.count() == 2
    page.job.next()
    assert page._name.text() == "A / right"
    page._add.click()
    assert page._list.currentRow() == 2
    page._name.setText("A / left")
    page._rename()
    assert "in the list already" in page._error.text()
    page._keep.click()
    page.job.previous()
    page._keep_result()
    worked_out()
    assert page.job.answer["summary"] == {"pass": 2}
    page.open_table(tmp_path / "none.csv")
    assert "expected a table" in page._error.text()


def test_tooth_run_names_the_bent_tooth_from_the_record(page, bench, qtbot, pass_time, worked_out):
    page._caution_read()
    pass_time(2)
    page._steady.click()
    assert page._run_caution.isVisible()
    assert not page.job.running
    page._run_caution.understood.click()
    page._steady.click()
    assert page.job.running

    def look():
        bench.live.update()
        page.refresh()

    pass_time(14, 0.5, look)
    late, turns = page.job.signature()
    assert late.size == 30
    assert turns > 20
    page._steady.click()
    worked_out()
    # The scenario 'bent-tooth' bends one tooth of the left pickup's wheel.
    assert list(page.job.faults().values()) == ["bent tooth"]
    assert "bent tooth" in page._wheel.accessibleDescription()
    with open_store(bench.store) as store:
        stored = store.result(page.job.answer["result"])
    assert stored.recording == bench.recording.last_number
    assert stored.answer["verdict"] == "fail"


class TestModel:
    def test_next_angle_is_a_quarter_turn_on(self, bench):
        job = GapJob(bench)
        job.read("300", "1.6 mm")
        assert job.next_angle_deg() == 30.0
        job.undo()
        assert job.next_angle_deg() == 0.0
        job.close()

    @pytest.mark.parametrize(
        ("angle", "gap", "said"),
        [
            ("", "1.6 mm", "angle"),
            ("900", "1.6 mm", "900"),
            ("0", "", "''"),
            ("0", "3 in", "gap of"),
        ],
    )
    def test_wrong_readings_are_refused(self, bench, angle, gap, said):
        job = GapJob(bench)
        with pytest.raises(WrongInput, match=said):
            job.read(angle, gap)
        assert job.pickups.current.gap_m == []
        with pytest.raises(WrongInput, match="no reading yet"):
            job.keep_work()
        job.close()

    def test_without_pulses_no_run(self, bench):
        job = GapJob(bench)
        job.start_run(drop_out=True)
        assert "No pulses" in job.said
        assert math.isnan(job.seconds_left())
        assert job.stop_run() is None
        job.close()
