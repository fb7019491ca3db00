"""A file is replaced as a whole or not at all."""

from __future__ import annotations

import os
import sys
from pathlib import PureWindowsPath

import pytest

from workbench.base.errors import Message, StoreError, WrongInput
from workbench.base.files import read_json, replacing, safe_name, write_file


def test_the_new_takes_the_place_of_the_old(tmp_path):
    path = tmp_path / "sheet.csv"
    for content, written in (("µ\n", "µ\n".encode()), (b"\xff\n", b"\xff\n")):
        assert write_file(path, content) == path
        assert path.read_bytes() == written
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("why", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_whatever_goes_wrong_the_old_stays_and_nothing_half_written_is_left(tmp_path, why):
    path = tmp_path / "sheet.csv"
    path.write_text("old")

    def write():
        with replacing(path) as fresh:
            fresh.write_text("half")
            raise why

    with pytest.raises((StoreError, KeyboardInterrupt)) as told:
        write()
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]
    if isinstance(why, OSError):
        assert str(told.value) == f"{path} cannot be written: No space left on device."


@pytest.mark.parametrize("refused", [StoreError, WrongInput])
def test_a_place_that_is_none_is_a_sentence_of_the_callers_kind(tmp_path, refused):
    for path in (tmp_path / "no folder" / "x", tmp_path):
        with pytest.raises(refused, match="cannot be written"):
            write_file(path, "x", refused)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="links and devices of POSIX")
def test_a_link_stays_a_link_and_a_pipe_a_pipe(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "there")
    write_file(tmp_path / "link", "x")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "there").read_text() == "x"
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_file(pipe, "x")
        assert os.read(reader, 9) == b"x"
    finally:
        os.close(reader)


@pytest.mark.parametrize(
    ("name", "safe"),
    [
        ("bus.asc", "bus.asc"),
        ("Acker süd, 3. Gang.trc", "Acker süd, 3. Gang.trc"),
        ("/etc/cron.d/job.asc", "job.asc"),
        ("..\\..\\start.blf", "start.blf"),
        ("../..", "_"),
        ("", "_"),
        ("C:stream.asc", "C_stream.asc"),
        ("red\x1b[31m\n\u202e.asc", "red_[31m__.asc"),
        ("NUL.asc", "_NUL.asc"),
        ("com1", "_com1"),
        ("bus.asc. ", "bus.asc"),
        ("\udcff.asc", "_.asc"),
    ],
)
def test_a_name_that_nobody_vouches_for_is_the_name_of_one_file(name, safe):
    assert safe_name(name) == safe


@pytest.mark.parametrize("name", ["ä" * 400 + ".asc", "x" * 999, "x." + "y" * 999])
def test_a_long_name_keeps_its_ending_and_fits(tmp_path, name):
    safe = safe_name(name)
    assert safe.endswith(".asc") is name.endswith(".asc")
    assert write_file(tmp_path / safe, "x").parent == tmp_path
    assert PureWindowsPath(safe).name == safe


@pytest.mark.parametrize("content", [b"", b"[" * 100_000, b"\xff", b'{"a": ', b"9" * 5000])
def test_what_is_no_json_is_told_with_its_path(tmp_path, content):
    path = tmp_path / "settings.json"
    path.write_bytes(content)
    with pytest.raises(WrongInput, match=r"settings\.json: .*; expected settings"):
        read_json(path, Message("settings"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with names: not on Windows")
def test_a_pipe_is_no_json(tmp_path):
    os.mkfifo(tmp_path / "settings.json")
    with pytest.raises(WrongInput, match="a device or a pipe"):
        read_json(tmp_path / "settings.json", Message("settings"))
