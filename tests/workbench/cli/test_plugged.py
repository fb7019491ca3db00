"""`evenpace inputs` without a file: what is plugged in, as a table and as JSON."""

import argparse
import json

import pytest

from drivers import plugged
from drivers.plugged import Found
from workbench.cli.inputs import add_plugged_arguments, show_plugged

PORT = Found("/dev/ttyX1", "Board (USB 1209:0001)")
HEARD = Found(
    "/dev/ttyX1",
    "Board (USB 1209:0001)",
    "looks like NMEA at 9600 baud",
    "gnss:/dev/ttyX1?baud=9600",
)
DENIED = Found("can:can0", "CAN channel", problem="can0 is not known to be listen-only.")


@pytest.fixture
def shown(monkeypatch, capsys):
    """What the command shows for some arguments: (stdout, stderr)."""

    def show(*words, ports=(PORT,), heard=(HEARD,), channels=(DENIED,)):
        monkeypatch.setattr(plugged, "serial_ports", lambda: list(ports))
        monkeypatch.setattr(plugged, "can_channels", lambda: list(channels))
        monkeypatch.setattr(plugged, "hear_ports", lambda _: list(heard))
        monkeypatch.setattr(plugged, "hear_can", lambda given: list(given))
        parser = argparse.ArgumentParser()
        parser.add_argument("--json", action="store_true")
        add_plugged_arguments(parser)
        assert show_plugged(parser.parse_args(words)) == 0
        return capsys.readouterr()

    return show


def test_text_has_the_whole_address_to_use_and_problems_are_notes(shown):
    out, err = shown()
    assert out.splitlines()[:3] == [
        "/dev/ttyX1  Board (USB 1209:0001)",
        "    looks like NMEA at 9600 baud",
        "    address: gnss:/dev/ttyX1?baud=9600",
    ]
    assert "sim:healthy" in out
    assert err == "note: can:can0: can0 is not known to be listen-only.\n"


def test_json(shown):
    answer = json.loads(shown("--json").out)
    assert answer["inputs"][0] == {
        "name": "/dev/ttyX1",
        "what": "Board (USB 1209:0001)",
        "looks_like": "looks like NMEA at 9600 baud",
        "address": "gnss:/dev/ttyX1?baud=9600",
        "problem": "",
    }
    [healthy] = [s for s in answer["simulated"] if s["address"] == "sim:healthy"]
    assert healthy["title"] == "Healthy machine"
    assert healthy["about"]


def test_no_listen_only_names_the_ports(shown):
    answer = json.loads(shown("--json", "--no-listen").out)
    assert [i["looks_like"] for i in answer["inputs"]] == ["", ""]


def test_nothing_plugged_in(shown):
    assert "Nothing is plugged in" in shown(ports=(), heard=(), channels=()).out
