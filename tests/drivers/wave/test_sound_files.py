"""Sound files as recordings: every layout of a WAV, FLAC, and those that are wrong."""

import struct
import wave

import numpy as np
import pytest
from scipy import signal
from scipy.io import wavfile

from drivers.catalogue import open_input
from drivers.contract import ChannelKind, FileRefused
from drivers.files.reading import read_recording
from drivers.recording import assemble, read_for
from sim.waveform import middles_s, write_wav

RATE_HZ = 48_000
TOOTH_HZ = 100.0


def tone(height=0.5, for_s=3.0, tooth_hz=TOOTH_HZ, noise=0.001):
    time_s = np.arange(round(for_s * RATE_HZ)) / RATE_HZ
    chance = np.random.default_rng(4)
    return height * np.sin(2 * np.pi * tooth_hz * time_s) + noise * chance.standard_normal(
        time_s.size
    )


def packed(samples, code, bits, order="<", extensible=False, size=None, before=b"", after=b""):
    """A WAV's bytes by the layout of 1991, samples (n,) or (n, channels) in full scales."""
    channels = 1 if samples.ndim == 1 else samples.shape[1]
    if code == 3:
        data = samples.astype(f"{order}f{bits // 8}").tobytes()
    elif bits == 8:
        data = np.rint(samples * 127 + 128).astype(np.uint8).tobytes()
    else:
        whole = np.rint(samples * (2 ** (bits - 1) - 1)).astype(np.int64).ravel()
        octets = whole.astype(f"{order}i8").view(np.uint8).reshape(-1, 8)
        data = octets[:, slice(0, bits // 8) if order == "<" else slice(-(bits // 8), None)]
        data = data.tobytes()
    frame = channels * bits // 8
    told = 0xFFFE if extensible else code
    fmt = struct.pack(f"{order}HHIIHH", told, channels, RATE_HZ, RATE_HZ * frame, frame, bits)
    if extensible:
        fmt += struct.pack(f"{order}HHIH", 22, bits, 3, code) + bytes(14)
    length = len(data) if size is None else size
    chunks = b"WAVE" + before + b"fmt " + struct.pack(f"{order}I", len(fmt)) + fmt
    chunks += b"data" + struct.pack(f"{order}I", length) + data + after
    return (b"RIFF" if order == "<" else b"RIFX") + struct.pack(f"{order}I", len(chunks)) + chunks


def read(tmp_path, content, name="sound.wav"):
    path = tmp_path / name
    path.write_bytes(content)
    return read_recording(path)


def check_tone(track, tooth_hz=TOOTH_HZ, for_s=3.0):
    true_s = (np.arange(int(tooth_hz * for_s)) + 0.5) / tooth_hz
    assert track.time_s.size == true_s.size
    assert np.abs(track.time_s - true_s).max() < 3e-5
    assert abs((track.time_s - true_s).mean()) < 1e-6


LAYOUTS = {
    "8 bit": {"code": 1, "bits": 8},
    "16 bit": {"code": 1, "bits": 16},
    "24 bit": {"code": 1, "bits": 24},
    "32 bit": {"code": 1, "bits": 32},
    "float": {"code": 3, "bits": 32},
    "double": {"code": 3, "bits": 64},
    "24 bit, extensible": {"code": 1, "bits": 24, "extensible": True},
    "float, extensible": {"code": 3, "bits": 32, "extensible": True},
    "16 bit, big-endian": {"code": 1, "bits": 16, "order": ">"},
    "24 bit, big-endian": {"code": 1, "bits": 24, "order": ">"},
    "a chunk before": {"code": 1, "bits": 16, "before": b"LIST\x05\x00\x00\x00INFOx\x00"},
    "a chunk after": {"code": 1, "bits": 16, "after": b"LIST\x08\x00\x00\x00" + b"\xff\x7f" * 4},
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_every_layout_gives_the_same_edges(tmp_path, name):
    recording = read(tmp_path, packed(tone(), **LAYOUTS[name]))
    check_tone(recording.edges["left"])
    assert len(recording.warnings) == 1  # that a sound holds no volts
    assert recording.edges["left"].amplitude_v.mean() == pytest.approx(0.5, rel=0.03)
    assert recording.edges["left"].kind is ChannelKind.BELT
    assert np.isnan(recording.edges["left"].u_clock_rel)  # a recorder's clock: nobody tells
    assert np.isnan(recording.edges["left"].fall_s).sum() <= 1


@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.int32, np.float32])
def test_what_scipy_writes_and_python_s_wave_writes_is_read(tmp_path, kind):
    """scipy.io.wavfile 1.17 and the standard library's wave as writers of their own."""
    samples = tone()
    scaled = (
        samples * 127 + 128
        if kind is np.uint8
        else samples * np.iinfo(kind).max * 1.0
        if (np.issubdtype(kind, np.integer))
        else samples
    )
    wavfile.write(tmp_path / "scipy.wav", RATE_HZ, scaled.astype(kind))
    check_tone(read_recording(tmp_path / "scipy.wav").edges["left"])
    with wave.open(str(tmp_path / "python.wav"), "wb") as file:
        file.setparams((1, 2, RATE_HZ, 0, "NONE", ""))
        file.writeframes((samples * 32767).astype("<i2").tobytes())
    check_tone(read_recording(tmp_path / "python.wav").edges["left"])


def test_stereo_is_left_and_right_and_may_be_named(tmp_path):
    both = np.stack([tone(), tone(tooth_hz=40.0)], axis=1)
    recording = read(tmp_path, packed(both, 1, 16))
    check_tone(recording.edges["left"])
    check_tone(recording.edges["right"], 40.0)
    driver = open_input(f"file:{tmp_path / 'sound.wav'}?left=pickup&right=lap")
    named = assemble(read_for(driver, np.inf), driver.notes)
    assert list(named.edges) == ["pickup", "lap"]
    assert named.edges["lap"].kind is ChannelKind.LAP_MARK
    (tmp_path / "mono.wav").write_bytes(packed(tone(), 1, 16))
    with pytest.raises(FileRefused, match=r"one channel only.*expected a recording in stereo"):
        read_for(open_input(f"file:{tmp_path / 'mono.wav'}?right=lap"), 1.0)


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF, 10**9])
def test_a_header_that_was_never_finished_is_read_to_the_end_and_said(tmp_path, size):
    recording = read(tmp_path, packed(tone(), 1, 16, size=size)[:-1])
    assert recording.edges["left"].time_s.size == pytest.approx(3 * TOOTH_HZ, abs=1)
    assert any("do not go together" in warning for warning in recording.warnings)


WRONG = {
    "not sound": (b"RIFF\x04\x00\x00\x00AVI " + bytes(80), "not of sound"),
    "no samples": (packed(tone(), 1, 16)[:36], "no sound in the first"),
    "cut in the format": (packed(tone(), 1, 16)[:30], "cut short"),
    "samples first": (b"RIFF\x24\x00\x00\x00WAVEdata\x08\x00\x00\x00" + bytes(8), "come before"),
    "packed": (packed(tone(), 17, 16), "packed (ADPCM, code 17)"),
    "12 bit": (packed(tone(), 1, 16).replace(b"\x02\x00\x10\x00", b"\x02\x00\x0c\x00"), "12 bit"),
    "no channels": (packed(tone()[:, None][:, :0], 1, 16), "0 channels"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_file_is_a_sentence(tmp_path, name):
    content, words = WRONG[name]
    with pytest.raises(FileRefused) as caught:
        read(tmp_path, content)
    assert words in str(caught.value)
    assert "; expected a WAV of plain samples" in str(caught.value)


def test_numbers_that_are_no_levels_are_counted_and_left_out(tmp_path):
    samples = tone()
    samples[1000:1004] = [np.nan, np.inf, -np.inf, 1e300]
    recording = read(tmp_path, packed(samples, 3, 64))
    assert recording.rejects == {"sample that is no level": 4}
    assert recording.edges["left"].time_s.size == 300


def said(recording):
    return " ".join(recording.warnings[1:])


def test_too_low_and_cut_off_are_said_with_how_much(tmp_path):
    quiet = tone(0.02)
    low = read(tmp_path, packed(quiet, 1, 16))
    check_tone(low.edges["left"])
    share = f"{100 * np.abs(quiet).max():.1f} % of full scale"
    assert f"'left' is hardly there: its highest sample is {share}" in said(low)
    loud = np.clip(tone(1.6, noise=0.0), -1, 1)
    cut = read(tmp_path, packed(loud, 1, 16))
    count = int(np.count_nonzero(np.abs(np.rint(loud * 32767)) >= 32767))
    assert f"{count} samples of 'left' are cut off at full scale" in said(cut)
    check_tone(cut.edges["left"])
    assert said(read(tmp_path, packed(tone(0.9), 1, 16))) == ""


def run_up(gain):
    """A belt from 60 Hz to 120 Hz: a coil's height goes with its rate, `gain` changes it."""
    time_s = np.arange(30 * RATE_HZ) / RATE_HZ
    tooth_hz = 60 + 2 * time_s
    return gain(time_s, tooth_hz) * np.sin(2 * np.pi * np.cumsum(tooth_hz) / RATE_HZ)


GAINS = {
    "none": (lambda _, tooth_hz: 0.005 * tooth_hz, False),
    "holds the height": (lambda _, tooth_hz: 0.5 + 0 * tooth_hz, True),
    "creeps up at one speed": (None, True),
    "none at one speed": (None, False),
}


@pytest.mark.parametrize("name", GAINS)
def test_automatic_gain_is_seen_from_the_heights_own_drift(tmp_path, name):
    gain, seen = GAINS[name]
    if gain:
        samples = run_up(gain)
    else:
        steps = np.linspace(0.3, 0.9, 30 * RATE_HZ) if seen else 0.5
        samples = steps * tone(1.0, 30.0)
    told = said(read(tmp_path, packed(samples, 1, 16)))
    assert ("does not go with its rate" in told) is seen
    assert ("Switch off automatic gain" in told) is seen


def test_flac_is_read_where_its_library_is(tmp_path, monkeypatch):
    soundfile = pytest.importorskip("soundfile", reason="soundfile, the extra 'sound', is missing")
    path = tmp_path / "sound.flac"
    soundfile.write(path, np.stack([tone(), tone()], axis=1), RATE_HZ, subtype="PCM_24")
    recording = read_recording(path)
    check_tone(recording.edges["right"])
    assert recording.sha256
    path.write_bytes(path.read_bytes()[:3000] + bytes(2000))
    with pytest.raises(FileRefused, match="cannot be read"):
        read_recording(path)
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(FileRefused, match=r"pip install 'evenpace\[sound\]'"):
        read_recording(path)


def test_a_simulated_pickup_s_wav_gives_its_teeth_and_their_heights(recorded):
    path, run = recorded
    recording = read_recording(path)
    for name in ("left", "right"):
        track, wheel = recording.edges[name], run.truth.wheels[name]
        true_s = middles_s(run, name)
        true_s = true_s[true_s < 30]
        assert track.time_s.size == true_s.size
        off_s = track.time_s - true_s
        assert off_s.std() < 1e-5
        assert abs(off_s.mean()) < 5e-6
        # The amplitude's law: by e lower for every decay length (as tests/sim holds it).
        turns = run.truth.shaft_turns(true_s) / run.truth.built.turns_per_target_turn
        tooth = np.floor((turns + run.start_turns) * wheel.teeth).astype(int) % wheel.teeth
        late = true_s > 15
        height = np.array([np.median(track.amplitude_v[late & (tooth == k)]) for k in range(30)])
        decay_m = wheel.pitch_m / (2 * np.pi)
        law = np.exp(-(wheel.gap_m - wheel.gap_m.mean()) / decay_m)
        assert height / height.mean() == pytest.approx(law / law.mean(), rel=0.02)


def test_scipy_s_spectrum_of_a_simulated_wav_has_its_line_at_the_tooth_frequency(tmp_path):
    run = write_wav(tmp_path / "run.wav", "healthy", seed=2, for_s=60.0)
    rate_hz, samples = wavfile.read(tmp_path / "run.wav")
    part = samples[-20 * rate_hz :, 0]
    frequency_hz, power = signal.welch(part, rate_hz, nperseg=4 * rate_hz, nfft=16 * rate_hz)
    edges_s = read_recording(tmp_path / "run.wav").edges["left"].time_s
    late = edges_s[edges_s > 40]
    tooth_hz = (late.size - 1) / np.ptp(late)
    assert frequency_hz[np.argmax(power)] == pytest.approx(tooth_hz, rel=0.01)
    turns = np.diff(run.truth.shaft_turns([late[0], late[-1]]))[0]
    teeth = run.truth.wheels["left"].teeth / run.truth.built.turns_per_target_turn
    assert tooth_hz == pytest.approx(turns * teeth / np.ptp(late), rel=1e-3)
