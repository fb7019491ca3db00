"""What a test leaves behind is seen."""

from PySide6.QtCore import QTimer


def test_a_timer_that_runs_is_seen_until_it_stops(qapp, running_timers):
    timer = QTimer(interval=60_000)
    before = running_timers()
    timer.start()
    assert running_timers() - before == {timer}
    timer.stop()
    assert running_timers() == before


def test_the_windows_frames_are_seen(window, running_timers):
    window.timer.start()
    assert window.timer in running_timers()
    window.timer.stop()
