"""What every test has: the recordings made by others, no screen, no thread left behind."""

from __future__ import annotations

import os
import re
import threading
from collections.abc import Generator, Iterator
from pathlib import Path
from typing import TypeVar

import pytest
from hypothesis import HealthCheck, settings

# How fast a machine draws its cases says nothing of what is tested.
settings.register_profile("any machine", suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("any machine")

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

ROOT = Path(__file__).resolve().parent.parent
Report = TypeVar("Report", pytest.TestReport, pytest.CollectReport)
OURS = ("workbench", "drivers", "sim")
IN_CI = os.environ.get("CI") == "true"

MAY_BE_SKIPPED_IN_CI = re.compile(
    r"recordings made by others are not here|only on (Windows|macOS)|not on Linux"
)
"""Reasons that no installing can mend; a test skipped in CI for any other one fails."""


@pytest.fixture(scope="session")
def data_dir() -> Path:
    """The folder of real recordings that lies beside a checkout."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the recordings made by others are not here: no ../shared/data")
    return folder


@pytest.fixture
def quick_slcan(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not the two seconds that an adapter is given to wake up."""
    from drivers.can.listen_only import SILENT  # only what is on a CAN bus needs its library

    monkeypatch.setitem(SILENT, "slcan", SILENT["slcan"] | {"sleep_after_open": 0})


@pytest.fixture(autouse=True)
def no_thread_left_behind() -> Iterator[None]:
    """Fail a test after which a thread lives on that would keep the program from ending."""
    before = set(threading.enumerate())
    yield
    left = [thread for thread in threading.enumerate() if thread not in before and _ours(thread)]
    for thread in left:
        thread.join(timeout=2.0)
    alive = [thread.name for thread in left if thread.is_alive()]
    if alive:
        pytest.fail(f"left behind and still running: {', '.join(alive)}")


def _ours(thread: threading.Thread) -> bool:
    """Whether a thread keeps the program alive, or was started by our own code."""
    target = getattr(thread, "_target", None)
    homes = (type(thread).__module__, getattr(target, "__module__", None) or "")
    return not thread.daemon or any(home.split(".")[0] in OURS for home in homes)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    return no_skip_in_ci((yield), in_ci=IN_CI)


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, pytest.CollectReport, pytest.CollectReport]:
    return no_skip_in_ci((yield), in_ci=IN_CI)


def no_skip_in_ci(report: Report, *, in_ci: bool) -> Report:
    """Turn a skip into a failure in CI, where everything can be installed."""
    if in_ci and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
        if not MAY_BE_SKIPPED_IN_CI.search(reason):
            report.outcome = "failed"
            report.longrepr = f"skipped, which CI does not allow for this reason: {reason}"
    return report
