"""`evenpace inputs FILE…`: what a file holds, in words and as JSON."""

import json

import pytest

from workbench.cli import main

TABLE = "time_s,source,speed_mps\n0,wheel,1.0\n0,gnss,\n1,wheel,2.0\n2,gnss,\n"
DUMP = "  can0  0CFE48F0   [8]  E8 03 00 00 00 00 01 FD\n" * 3 + "noise\n"


@pytest.fixture
def file(tmp_path):
    def make(name, text):
        path = tmp_path / name
        path.write_text(text)
        return str(path)

    return make


def test_json_of_a_speed_table(file, capsys):
    path = file("speeds.csv", TABLE)
    assert main(["inputs", path, "--json"]) == 0
    (answer,) = json.loads(capsys.readouterr().out)["files"]
    assert answer["name"] == path
    assert answer["kind"] == "speed table"
    wheel, gnss = answer["speeds"]
    assert (wheel["source"], wheel["values"], wheel["no_value"]) == ("wheel", 2, 0)
    assert [wheel[f"{word}_mps"] for word in ("least", "mean", "most")] == [1.0, 1.5, 2.0]
    assert (gnss["values"], gnss["no_value"]) == (0, 2)
    assert (gnss["mean_mps"], gnss["first_s"], gnss["last_s"]) == (None, 0.0, 2.0)
    assert answer["messages"] == {"speeds of wheel": 2, "speeds of gnss": 2}


def test_json_of_edges(file, capsys):
    path = file("edges.csv", "time_s,channel\n" + "".join(f"{i / 50},left\n" for i in range(101)))
    assert main(["inputs", f"file:{path}", "--json"]) == 0
    (answer,) = json.loads(capsys.readouterr().out)["files"]
    (left,) = answer["pulses"]
    assert (left["source"], left["edges"], left["mean_hz"]) == ("left", 101, pytest.approx(50))


def test_words_for_a_person(file, capsys):
    assert main(["inputs", file("speeds.csv", TABLE), file("dump.txt", DUMP)]) == 0
    out, err = capsys.readouterr()
    values = "2 values, 3.60 km/h to 7.20 km/h, mean 5.40 km/h, from 0.000 s to 1.000 s"
    assert f"    wheel\n        {values}" in out
    assert "    gnss\n        2 times 'no value' and nothing else" in out
    what = "65096/240  wheel-based speed (PGN 65096, sender 240)"
    assert f"    {what}\n        3 values, all 3.60 km/h\n" in out
    assert "rejected\n            1  lines not understood" in out
    assert "note: This log has no time stamps" in err


def test_speeds_are_in_the_units_asked_for(file, capsys):
    # 1 m/s = 2.2369 mph (NIST SP 811, appendix B)
    assert main(["inputs", file("dump.txt", DUMP), "--units", "us"]) == 0
    assert "3 values, all 2.24 mph" in capsys.readouterr().out


def test_one_bad_file_does_not_hide_the_others(file, tmp_path, capsys):
    missing = str(tmp_path / "missing.csv")
    assert main(["inputs", missing, file("speeds.csv", TABLE)]) == 2
    out, err = capsys.readouterr()
    assert "speed table" in out
    assert f"note: {missing}: there is no such file" in err
    assert main(["inputs", missing, "--json"]) == 2
    (answer,) = json.loads(capsys.readouterr().out)["files"]
    assert answer["name"] == missing
    assert "there is no such file" in answer["problem"]
