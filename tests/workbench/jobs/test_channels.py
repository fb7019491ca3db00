"""One choice of belt and ground, on a recording's tracks as on live channels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from drivers.contract import ChannelKind, EdgeTrack, Recording, SpeedTrack
from workbench.base.errors import WrongInput
from workbench.jobs import channels
from workbench.jobs.passes.answer import PassOptions
from workbench.jobs.passes.inputs import choose

TIMES = np.arange(0, 60, 0.1)


@dataclass(frozen=True)
class Live:
    """A channel that comes in, as far as the choice looks at it."""

    name: str
    kind: ChannelKind
    is_pulses: bool


def pulses(*names: str, kind: ChannelKind = ChannelKind.UNKNOWN) -> dict[str, EdgeTrack]:
    return {name: EdgeTrack(name, TIMES, kind=kind) for name in names}


def speeds(**kinds: ChannelKind) -> dict[str, SpeedTrack]:
    values = 1.2 + 0.01 * np.sin(TIMES)
    u_mps = np.full(TIMES.size, 0.01)
    return {
        name: SpeedTrack(name, "", TIMES, values, u_mps, kind=kind) for name, kind in kinds.items()
    }


RECORDINGS = {
    "marks first": Recording(
        "x",
        "",
        pulses("radar", "index", "mark", "lap", "wheel", "left"),
        speeds(rmc=ChannelKind.SATELLITE, radar_speed=ChannelKind.RADAR),
    ),
    "named as a mark, said to be the pickup": Recording(
        "x", "", pulses("lap", kind=ChannelKind.BELT), speeds(any=ChannelKind.UNKNOWN)
    ),
    "wheel speed first": Recording(
        "x",
        "",
        pulses("a", "b"),
        speeds(
            w=ChannelKind.WHEEL, s=ChannelKind.SELECTED, r=ChannelKind.RADAR, u=ChannelKind.UNKNOWN
        ),
    ),
    "a belt's speed": Recording(
        "x", "", {}, speeds(g=ChannelKind.SATELLITE, b=ChannelKind.BELT, d=ChannelKind.READOUT)
    ),
}
WANTED = {
    "marks first": ("left", "rmc"),
    "named as a mark, said to be the pickup": ("lap", "any"),
    "wheel speed first": ("a", "r"),
    "a belt's speed": ("b", "g"),
}


@pytest.mark.parametrize("which", RECORDINGS)
def test_command_and_screen_take_the_same_belt_and_ground(which):
    recording = RECORDINGS[which]
    chosen = choose(recording, PassOptions())
    assert chosen.belt is not None
    assert chosen.ground is not None
    tracks = [*recording.edges.values(), *recording.speeds.values()]
    live = [Live(track.name, track.kind, track.is_pulses) for track in tracks]
    belt = channels.belt(live, lambda one: True)
    ground = channels.grounds(live, belt, lambda one: True)[0]
    assert (chosen.belt.name, chosen.ground.name) == (belt.name, ground.name) == WANTED[which]


def test_a_pickup_that_never_gave_a_pulse_comes_last():
    recording = Recording("x", "", {"left": EdgeTrack("left", np.empty(0))} | pulses("right"))
    assert channels.pick_pickup(recording, None).name == "right"
    assert channels.pick_pickup(recording, "left").name == "left"
    live = [Live(name, ChannelKind.BELT, True) for name in ("left", "right")]
    assert channels.belt(live, lambda one: one.name == "right").name == "right"
    assert channels.belt(live, lambda one: False).name == "left"


def test_a_lost_ground_gives_way_to_one_that_is_live():
    live = [
        Live("gnss", ChannelKind.SATELLITE, False),
        Live("wheel", ChannelKind.WHEEL, False),
        Live("radar", ChannelKind.RADAR, True),
    ]
    grounds = channels.grounds(live, None, lambda one: one.name != "gnss")
    assert [one.name for one in grounds] == ["wheel", "gnss"]


def test_one_source_is_never_both():
    recording = RECORDINGS["marks first"]
    for belt, ground in (("rmc", "rmc"), ("left", "left"), (None, "left")):
        with pytest.raises(WrongInput, match="cannot be both belt and ground"):
            choose(recording, PassOptions(belt, ground))
    assert choose(recording, PassOptions("rmc")).ground.name == "radar_speed"


def test_the_grounds_pulses_are_no_speed():
    """Nothing says how far the tractor moves in one: the drive line's metres are the belt's."""
    with pytest.raises(WrongInput, match="'radar' of x holds pulses"):
        choose(RECORDINGS["marks first"], PassOptions(None, "radar"))


def test_a_name_goes_before_every_kind():
    recording = RECORDINGS["marks first"]
    assert choose(recording, PassOptions("radar", "rmc")).belt.name == "radar"
    assert channels.pick_pickup(recording, "index").name == "index"
    assert channels.pick_mark(recording, "left", channels.MARKS).name == "left"
    assert channels.pick_mark(recording, None, channels.MARKS).name == "index"
    assert channels.pick_mark(recording, None, [ChannelKind.LAP_MARK]).name == "lap"


def test_what_is_not_there_is_said_with_what_is():
    recording = Recording("x", "", pulses("radar", "lap"))
    with pytest.raises(WrongInput, match=r"its pulse channels: radar, lap\. If one of them"):
        channels.pick_pickup(recording, None)
    with pytest.raises(WrongInput, match="no channel 'turn'; its pulse channels: radar, lap"):
        channels.pick_mark(recording, "turn", channels.MARKS)
    with pytest.raises(WrongInput, match="no source 'gps'; it holds radar, lap"):
        channels.pick(recording, "gps")
    with pytest.raises(WrongInput, match="no pulses of a pickup; it holds –"):
        channels.pick_pickup(Recording("x", ""), None)
