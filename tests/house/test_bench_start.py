"""`start.py` without arguments: the bench where there is a screen, a certificate elsewhere."""

from __future__ import annotations

import shutil
import subprocess
import sys

import pytest


@pytest.fixture
def bench(monkeypatch):
    import bench

    monkeypatch.setattr(bench, "ensure", lambda house, lock: None)
    monkeypatch.setattr(bench, "EVENPACE", (sys.executable, "-P", "-m", "workbench.cli"))
    monkeypatch.setattr(bench, "hand_over", lambda words: handed.append(list(words)) or 7)
    handed = bench.handed = []
    return bench


def test_arguments_go_to_evenpace_as_they_are(bench):
    words = ["pass", "a b.csv", "--json", ""]
    assert bench.main(words) == 7
    assert bench.handed == [[sys.executable, "-P", "-m", "workbench.cli", *words]]


def test_a_screen_opens_the_bench(bench, monkeypatch):
    monkeypatch.setattr(bench, "has_screen", lambda: True)
    monkeypatch.setattr(bench.debian, "provide_qt_libraries", lambda say: True)
    assert bench.main([]) == 7
    assert bench.handed == [[sys.executable, "-P", "-m", "workbench.cli"]]


@pytest.mark.parametrize("screen", [True, False])
def test_without_a_screen_or_its_libraries_a_certificate_is_made(
    bench, monkeypatch, capfd, tmp_path, screen
):
    monkeypatch.setattr(bench, "has_screen", lambda: screen)
    monkeypatch.setattr(bench.debian, "provide_qt_libraries", lambda say: False)
    monkeypatch.setattr(bench.tempfile, "mkdtemp", lambda prefix: str(tmp_path))
    assert bench.main([]) == 0
    out, err = capfd.readouterr()
    certificate = tmp_path / "certificate.pdf"
    assert certificate.read_bytes().startswith(b"%PDF-")
    assert out.splitlines()[-1] == f"The certificate lies in {certificate}"
    assert "Simulated data" in err
    assert bench.handed == []


def test_a_demo_that_fails_says_so_by_its_status(bench, monkeypatch, capfd):
    monkeypatch.setattr(bench, "EVENPACE", (sys.executable, "-c", "raise SystemExit(3)"))
    monkeypatch.setattr(bench, "has_screen", lambda: False)
    assert bench.main([]) == 3
    assert "certificate lies" not in capfd.readouterr().out


def test_set_up_that_fails_is_a_sentence_and_status_3(bench, monkeypatch, capfd):
    def fail(house, lock):
        raise bench.SetUpFailed("The disk is full.")

    monkeypatch.setattr(bench, "ensure", fail)
    assert bench.main(["speed", "x"]) == 3
    assert capfd.readouterr() == ("", "The disk is full.\n")


@pytest.mark.skipif(sys.platform != "linux", reason="not on Linux: a screen is taken for granted")
@pytest.mark.parametrize(
    ("variables", "answer"),
    [({}, False), ({"QT_QPA_PLATFORM": "vnc"}, True), ({"DISPLAY": "no-such-host:99"}, False)],
)
def test_a_screen_is_one_that_answers(bench, monkeypatch, variables, answer):
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert bench.has_screen() is answer


def test_system_libraries_are_named_with_the_command_that_brings_them(bench, monkeypatch):
    """As on Debian without being root."""
    debian, said = bench.debian, []
    monkeypatch.setattr(debian.sys, "platform", "linux")
    monkeypatch.setattr(debian, "_loads", lambda name: name not in ("libEGL.so.1", "libxcb.so.1"))
    monkeypatch.setattr(debian, "is_debian", lambda: True)
    monkeypatch.setattr(debian, "install", lambda packages, say: False)
    assert debian.provide_qt_libraries(said.append) is False
    assert "sudo apt-get install -y libegl1 libxcb1" in said[0]
    monkeypatch.setattr(debian, "install", lambda packages, say: packages == ["libegl1", "libxcb1"])
    assert debian.provide_qt_libraries(said.append) is True


@pytest.mark.skipif(shutil.which("ldd") is None, reason="not on Linux: Qt brings all it needs")
def test_the_list_covers_what_qt_leaves_to_the_system(bench):
    """Read off the wheel's own platform plugin for X with ldd: nothing it needs is missing."""
    from importlib.metadata import files

    plugin = next(path for path in files("PySide6_Essentials") if path.name == "libqxcb.so")
    listed = subprocess.run(
        ["ldd", str(plugin.locate())], capture_output=True, text=True, check=True
    ).stdout
    named = {line.split()[0] for line in listed.splitlines() if "libxcb" in line}
    ours = {name for name in bench.debian.QT_LIBRARIES if "libxcb" in name}
    assert "libxcb-cursor.so.0" in named
    assert named <= ours | {"libxcb-dri2.so.0"}, "a library of X that debian.py does not list"
    assert "not found" not in listed
