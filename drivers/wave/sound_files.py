"""Sound files as edges: WAV read here, FLAC where the library soundfile is.

WAV is read from its bytes as they come, so that hours fit a small memory and the hash goes along.
Python's own `wave` knows neither floats nor a header that was never finished, which is what a
recorder leaves whose battery went; scipy and soundfile would want the whole file or a second look.
The layout: Multimedia Programming Interface and Data Specifications 1.0, IBM and Microsoft, 1991;
WAVE_FORMAT_EXTENSIBLE as in Microsoft's mmreg.h.
"""

from __future__ import annotations

import importlib.util
import struct
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from drivers.contract import FileRefused, Floats, Item, Note, Notes
from drivers.source_file import HEAD_BYTES, SourceFile
from drivers.wave.channels import WaveChannels, named

EXPECTED = "a WAV of plain samples, 8 to 32 bit or float, or a FLAC"
LEAST_LEVEL = 0.003
"""Of full scale, −50 dB: a tooth below it is not told from a recorder's own noise; chosen."""
FULL_SCALE = 0.9999
_LEAST_STEPS = 2
"""So many steps of a coarse file are no tooth yet."""
_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_COMPRESSED = {2: "ADPCM", 6: "A-law", 7: "µ-law", 17: "ADPCM", 80: "MPEG", 85: "MP3"}
_UNFINISHED = (0, 0xFFFFFFFF)
_NO_END = 1 << 62
_MOST_CHANNELS = 32
_RATES_HZ = (1000, 20_000_000)
_BATCH = 1 << 18
_SCALE_SAID = Note(
    "A sound file holds no volts: heights of teeth are shares of full scale, and can be compared "
    "only between recordings with the same divider and the same input level."
)


@dataclass(frozen=True, slots=True)
class _Format:
    """How the samples of a WAV lie: `place` is the first one's byte, `size` how many bytes there
    are, None where the header does not tell."""

    code: int
    channels: int
    rate_hz: int
    bits: int
    order: str
    place: int = 0
    size: int | None = None

    @property
    def frame_bytes(self) -> int:
        return self.channels * self.bits // 8

    def samples(self, data: bytes) -> Floats:
        """(n, channels) of whole frames, in full scales."""
        if self.code == _FLOAT:
            values = np.frombuffer(data, f"{self.order}f{self.bits // 8}").astype(np.float64)
        elif self.bits == 8:
            values = (np.frombuffer(data, np.uint8) - 128.0) / 128
        elif self.bits == 24:
            octets = np.frombuffer(data, np.uint8).reshape(-1, 3)
            wide = np.zeros((octets.shape[0], 4), np.uint8)
            wide[:, 1:] = octets if self.order == "<" else octets[:, ::-1]
            values = wide.view("<i4").ravel() / 2.0**31
        else:
            whole = np.frombuffer(data, f"{self.order}i{self.bits // 8}")
            values = whole / 2.0 ** (self.bits - 1)
        return values.reshape(-1, self.channels)


def read_wav(
    file: SourceFile, notes: Notes, names: Mapping[str, str] | None = None
) -> Iterator[list[Item]]:
    """Blocks of a WAV. Raises FileRefused where it holds no sound that is known."""
    wav = _wav_format(file)
    notes.kind = Note(
        "sound file, WAV, {channels} × {bits} bit at {rate_hz:.0f} Hz",
        channels=wav.channels,
        bits=wav.bits,
        rate_hz=wav.rate_hz,
    )
    step = 0.0 if wav.code == _FLOAT else 2.0 ** (1 - wav.bits)
    channels = _channels(file, notes, wav.rate_hz, wav.channels, step, names)
    left = wav.size or _NO_END
    rest, skip = b"", wav.place
    for chunk in file.chunks():
        fresh = chunk[skip : skip + left]
        skip, left = max(skip - len(chunk), 0), left - len(fresh)
        part = rest + fresh
        whole = len(part) - len(part) % wav.frame_bytes
        rest = part[whole:]
        yield [*channels.take(wav.samples(part[:whole]), notes)]
    if left:
        notes.warnings.append(
            Note("Its header and its length do not go together: all samples there are were read.")
        )
    yield [*channels.finish(file.path, notes)]


def read_flac(
    file: SourceFile, notes: Notes, names: Mapping[str, str] | None = None
) -> Iterator[list[Item]]:
    """Blocks of a FLAC. Raises FileRefused where it is damaged or soundfile is missing."""
    if importlib.util.find_spec("soundfile") is None:
        found = "it is a FLAC, and the library that reads those is not installed"
        raise FileRefused(file.path, found, "the extra 'sound': pip install 'evenpace[sound]'")
    import soundfile

    try:
        for _ in file.chunks():  # for its hash; the library reads for itself
            pass
        with soundfile.SoundFile(file.path) as sound:
            rate_hz, count = sound.samplerate, sound.channels
            notes.kind = Note(
                "sound file, FLAC, {channels} channels at {rate_hz:.0f} Hz",
                channels=count,
                rate_hz=rate_hz,
            )
            channels = _channels(file, notes, rate_hz, count, 2.0**-15, names)
            for samples in _blocks(sound):
                yield [*channels.take(samples, notes)]
    except soundfile.LibsndfileError as error:
        found = Note("it cannot be read ({error})", error=error)
        raise FileRefused(file.path, found, "a FLAC that is whole") from None
    yield [*channels.finish(file.path, notes)]


def _blocks(sound: Any) -> Iterator[Floats]:
    while (samples := sound.read(_BATCH, dtype="float64", always_2d=True)).size:
        yield samples


def _channels(
    file: SourceFile,
    notes: Notes,
    rate_hz: int,
    count: int,
    step: float,
    names: Mapping[str, str] | None,
) -> WaveChannels:
    if not (1 <= count <= _MOST_CHANNELS and _RATES_HZ[0] <= rate_hz <= _RATES_HZ[1]):
        found = Note("{count} channels at {rate_hz:.0f} Hz", count=count, rate_hz=rate_hz)
        raise FileRefused(file.path, found, "1 to 32 channels at 1 kHz or more")
    notes.origin_s = 0.0
    notes.warnings.append(_SCALE_SAID)
    called = named(file.path, count, names or {})
    least = [max(LEAST_LEVEL, _LEAST_STEPS * step)] * count
    full_scale = min(FULL_SCALE, 1 - 1.5 * step) if step else FULL_SCALE
    return WaveChannels(called, rate_hz, lambda at: at / rate_hz, least, full_scale)


def _wav_format(file: SourceFile) -> _Format:
    """What the chunks before the samples tell. Raises FileRefused."""
    head, at, found = file.head, 12, None
    order = ">" if head[:4] == b"RIFX" else "<"
    if head[8:12] != b"WAVE":
        raise FileRefused(file.path, "it is a RIFF file, and not of sound", EXPECTED)
    while at + 8 <= len(head):
        name, size = struct.unpack(f"{order}4sI", head[at : at + 8])
        at += 8
        if name == b"fmt ":
            found = _format_chunk(file, head[at : at + min(size, 64)], order)
        elif name == b"data" and found:
            told = None if size in _UNFINISHED else size
            return replace(found, place=at, size=told)
        elif name == b"data":
            raise FileRefused(file.path, "its samples come before what tells of them", EXPECTED)
        at += size + size % 2
    what = Note("no sound in the first {head_bytes} bytes", head_bytes=HEAD_BYTES)
    raise FileRefused(file.path, what, EXPECTED)


def _format_chunk(file: SourceFile, chunk: bytes, order: str) -> _Format:
    if len(chunk) < 16:
        raise FileRefused(file.path, "what tells of its samples is cut short", EXPECTED)
    code, channels, rate_hz, _, frame_bytes, bits = struct.unpack(f"{order}HHIIHH", chunk[:16])
    if code == _EXTENSIBLE and len(chunk) >= 26:
        (code,) = struct.unpack(f"{order}H", chunk[24:26])
    if code not in (_PCM, _FLOAT):
        name = _COMPRESSED.get(code, "unknown")
        found = Note("its samples are packed ({name}, code {code})", name=name, code=code)
        raise FileRefused(file.path, found, EXPECTED)
    wav = _Format(code, channels, rate_hz, bits, order)
    known = (32, 64) if code == _FLOAT else (8, 16, 24, 32)
    if bits not in known or not channels or frame_bytes != wav.frame_bytes:
        found = Note(
            "{channels} channels of {bits} bit in {frame_bytes} bytes",
            channels=channels,
            bits=bits,
            frame_bytes=frame_bytes,
        )
        raise FileRefused(file.path, found, EXPECTED)
    return wav
