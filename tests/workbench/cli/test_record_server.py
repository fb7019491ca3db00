"""`record` into a shop's PostgreSQL that goes away, as its user meets it; a real server."""

from __future__ import annotations

import json
import os
import signal
import sys
from contextlib import ExitStack

import pytest

from workbench.cli import main
from workbench.records.recorder import Patience, Recorder
from workbench.records.server import PatientConnection
from workbench.records.store import open_store

if sys.platform == "win32":
    pytest.skip("no such signals there: not on Windows", allow_module_level=True)


@pytest.fixture(autouse=True)
def impatient(monkeypatch):
    """The server may be silent for a moment only, and is not waited for at the end."""
    monkeypatch.setattr(PatientConnection, "silence_s", 0.3)
    monkeypatch.setitem(Recorder.__init__.__kwdefaults__, "patience", Patience(closing_s=0.1))


@pytest.fixture
def record(monkeypatch, capsys, scripted, new_database, until):
    """`record` from a device that follows a script; `record.said(words)` waits in the script
    until those words stand on stderr."""

    class Call:
        out = err = ""

        def look(self):
            out, err = capsys.readouterr()
            self.out, self.err = self.out + out, self.err + err

        def said(self, words):
            def wait():
                until(lambda: self.look() or words in self.err)

            return wait

        def __call__(self, *script):
            driver = scripted(script, address="counter:x")
            monkeypatch.setattr("workbench.cli.record.open_input", lambda _address: driver)
            status = main(
                ["record", driver.address, "--for", "99s", "--json", "--store", new_database]
            )
            self.look()
            return status

    return Call()


@pytest.fixture
def frozen(server):
    """Freezes the server; `close` thaws it."""
    with ExitStack() as stack:
        stack.freeze = lambda: stack.enter_context(server.frozen()) and None
        yield stack


def test_a_server_that_restarts_is_waited_for_and_said_and_nothing_is_lost(
    record, server, new_database, edge_blocks, same_items
):
    blocks = edge_blocks(20)
    goes, comes = record.said("The recording goes on:"), record.said("takes everything again")
    status = record(blocks[:10], server.stop, blocks[10:15], goes, server.start, comes, blocks[15:])
    assert status == 0
    assert record.err.count("The recording goes on") == 1
    assert json.loads(record.out)["inputs"][0]["edges"] == 1000
    with open_store(new_database) as store:
        same_items([item for _, item in store.items(1)], blocks)
        assert not store.check().problems


def test_ctrl_c_ends_a_recording_whose_server_is_frozen(
    record, frozen, new_database, edge_blocks, same_items
):
    blocks = edge_blocks(20)
    goes = record.said("The recording goes on:")
    status = record(
        blocks[:10],
        frozen.freeze,
        blocks[10:],
        goes,
        lambda: os.kill(os.getpid(), signal.SIGINT),
        *([[]] * 1000),
    )
    assert status == 3
    assert "the server does not answer" in record.err
    assert "Recording 1 ends here and keeps all that was stored before" in record.err
    assert "blocks not stored: " in record.err
    assert "Traceback" not in record.err
    frozen.close()
    with open_store(new_database) as store:
        found = [item for _, item in store.items(1)]
        same_items(found, blocks[: len(found)])
        assert not store.check().problems
