"""A recording made at the bench: a file of sound -> one channel of samples, and what is wrong with it."""

from __future__ import annotations

import io
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from slotwright.layout.errors import SlotwrightError
from slotwright.layout.findings import Finding

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

LONGEST: Final = 900.0  # s; a take of every fret of six strings lasts some six minutes
MOST_BYTES: Final = 400_000_000
SHORTEST: Final = 0.5  # s
LOWEST_RATE: Final = 7_500  # per second; a telephone's 8000 still holds the first partials of most notes
WORKING_RATE: Final = 60_000  # per second; no partial that is used lies above a third of it
OFFSET: Final = 0.02  # of full scale, beyond which an offset is told
CLIPPED: Final = 3  # samples in a row at the same extreme
QUIET: Final = 2e-4  # of full scale: a take that never rises above is silence
COMPRESSED: Final = frozenset({".m4a", ".aac", ".mp4", ".3gp", ".amr", ".webm", ".opus", ".wma"})
_SECONDS: Final = 120  # that the conversion of a file may take


@dataclass(frozen=True, slots=True)
class Take:
    """One channel of a recording.

    Parameters
    ----------
    samples
        Full scale is 1, the mean is 0, shape (n,).
    rate
        Samples per second.
    findings
        What is to be said of the recording.
    clipped
        Seconds at which the level was beyond what the recorder holds, shape (k,).
    """

    samples: Samples
    rate: float
    findings: tuple[Finding, ...]
    clipped: NDArray[np.float64]

    @property
    def seconds(self) -> float:
        """How long it is [s]."""
        return len(self.samples) / self.rate


class TakeError(SlotwrightError, ValueError):
    """A recording from which nothing can be read."""


def clock(seconds: float) -> str:
    """Say a time in a take: minutes and seconds."""
    minutes, rest = divmod(round(seconds, 1), 60)
    return f"{int(minutes)}:{rest:04.1f}"


def read_take(path: Path) -> Take:
    """Read a recording.

    Parameters
    ----------
    path
        WAV, FLAC, AIFF or another format that libsndfile reads; what phones save goes through ffmpeg
        where that is installed.

    Returns
    -------
    Take
        The louder channel.

    Raises
    ------
    TakeError
        Nothing can be read from it; the message says why and what helps.
    OSError
        The machine refuses the file.
    """
    size = path.stat().st_size
    if size > MOST_BYTES:
        raise TakeError(f"{path}: {size / 1e6:.0f} MB; a take has at most {MOST_BYTES / 1e6:.0f}, record it in parts")
    contents = _converted(path) if path.suffix.lower() in COMPRESSED else path.read_bytes()
    return parse_take(contents, str(path))


def parse_take(contents: bytes, name: str) -> Take:
    """Understand the contents of a file of sound.

    Parameters
    ----------
    contents
        The file.
    name
        What it is called, for messages.

    Returns
    -------
    Take
        The louder channel.

    Raises
    ------
    TakeError
        Nothing can be read from it.
    """
    import soundfile  # noqa: PLC0415 - this command alone needs it

    try:
        with soundfile.SoundFile(io.BytesIO(contents)) as file:
            rate, frames, promised = float(file.samplerate), file.frames, _promised(contents)
            if rate < LOWEST_RATE:
                raise TakeError(
                    f"{name}: {rate:g} samples a second; at least 8000 are needed, 44100 or 48000 are usual"
                )
            if frames > LONGEST * rate:
                minutes = f"{frames / rate / 60:.0f} minutes"
                raise TakeError(f"{name}: {minutes}; a take has at most {LONGEST / 60:.0f}, cut it in parts")
            sound = file.read(dtype="float32", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise TakeError(f"{name}: no recording that can be read; save it as WAV, 44100 or 48000 Hz") from error
    if not len(sound):
        raise TakeError(
            f"{name}: it holds no sound, or its header says so: a recorder switched off too early leaves such a "
            "file; open it in an editor for sound, save it as WAV and try again, or record again"
        )
    if not np.isfinite(sound).all():
        raise TakeError(f"{name}: it holds values that are no numbers; save it as WAV with 16 or 24 bits")
    found = []
    if promised > len(sound) + rate / 100:
        words = f"the file is cut off: it ends after {clock(len(sound) / rate)} of {clock(promised / rate)}"
        found.append(Finding("truncated", "take", words))
    samples, of_channel = _louder(sound)
    found += of_channel
    return _checked(name, samples, rate, found)


def _checked(name: str, samples: Samples, rate: float, found: list[Finding]) -> Take:
    if len(samples) < SHORTEST * rate:
        raise TakeError(f"{name}: {len(samples) / rate:.2f} s long; a note takes two seconds")
    offset = float(samples.mean())
    clipped = _clipped(samples, rate)
    samples = samples - np.float32(offset)
    if abs(offset) > OFFSET:
        words = f"its middle lies at {100 * offset:+.0f} % of full scale, which is taken off"
        found.append(Finding("offset", "take", words, {"offset": offset}))
    if float(np.abs(samples).max()) < QUIET:
        raise TakeError(f"{name}: it is silent; see that the right input is recorded and its level is up")
    if len(clipped):
        words = f"too loud for the recorder at {_times(clipped)}; turn its level down"
        found.append(Finding("clipped", "take", words))
    samples, rate = _thinned(samples, rate)
    return Take(samples, rate, tuple(found), clipped)


def _times(seconds: NDArray[np.float64], most: int = 4) -> str:
    named = ", ".join(clock(second) for second in seconds[:most])
    return f"{named} and {len(seconds) - most} more" if len(seconds) > most else named


def _promised(contents: bytes) -> int:
    """Give how many samples the header of a WAV file promises; 0 where that is not known."""
    if contents[:4] not in (b"RIFF", b"RF64") or contents[8:12] != b"WAVE":
        return 0
    at, wide = 12, 0
    while at + 8 <= len(contents):
        kind, size = contents[at : at + 4], int.from_bytes(contents[at + 4 : at + 8], "little")
        if kind == b"fmt ":
            wide = int.from_bytes(contents[at + 20 : at + 22], "little")
        if kind == b"data":
            return size // wide if wide and size < 2**32 - 1 and at + 8 + size > len(contents) else 0
        at += 8 + size + size % 2
    return 0


def _louder(sound: NDArray[np.float32]) -> tuple[Samples, list[Finding]]:
    """Take the channel with more sound in it."""
    if sound.shape[1] == 1:
        return sound[:, 0], []
    power = sound.var(axis=0, dtype=np.float64)
    best = int(np.argmax(power))
    others = np.delete(power, best)
    silent = " (the other one is silent)" if others.max() < 1e-8 * max(power[best], 1e-30) else ""
    words = f"channel {best + 1} of {sound.shape[1]} is used, the louder one{silent}"
    return np.ascontiguousarray(sound[:, best]), [Finding("channel", "take", words, {"channel": best + 1})]


def _clipped(samples: Samples, rate: float) -> NDArray[np.float64]:
    """Find where several samples in a row stand at the extreme: seconds, one for each stretch of half a second."""
    top, bottom = samples.max(), samples.min()
    at_end = ((samples >= top) & (top > 0)) | ((samples <= bottom) & (bottom < 0))
    row = np.ones(len(samples) - CLIPPED + 1, dtype=np.bool_)
    for step in range(CLIPPED):
        row &= at_end[step : len(samples) - CLIPPED + 1 + step]
    # A quiet take of few bits also stands still at its extremes.
    if max(top, -bottom) < 0.25 or not row.any():
        return np.zeros(0)
    times = np.flatnonzero(row) / rate
    first = np.concatenate(([True], np.diff(np.floor(times * 2)) > 0))
    found: NDArray[np.float64] = times[first]
    return found


def _thinned(samples: Samples, rate: float) -> tuple[Samples, float]:
    """Keep every second sample, or fewer, of a recording with more than are needed."""
    by = int(rate // WORKING_RATE) + (rate % WORKING_RATE > 0) if rate > WORKING_RATE else 1
    if by == 1:
        return samples, rate
    half = 16 * by
    at = np.arange(-half, half + 1)
    taps = (np.sinc(at / by) / by * np.hanning(len(at) + 2)[1:-1]).astype(np.float32)
    length = 1 << 18
    out = []
    padded = np.concatenate((np.zeros(half, np.float32), samples, np.zeros(half, np.float32)))
    spectrum = np.fft.rfft(taps, length)
    step = (length - 2 * half) // by * by
    for begin in range(0, len(samples), step):
        part = np.fft.irfft(np.fft.rfft(padded[begin : begin + step + 2 * half], length) * spectrum, length)
        out.append(part[2 * half : 2 * half + min(step, len(samples) - begin) : by].astype(np.float32))
    return np.concatenate(out), rate / by


def _converted(path: Path) -> bytes:
    """Turn what a phone saves into WAV."""
    program = shutil.which("ffmpeg")
    if program is None:
        raise TakeError(
            f"{path}: {path.suffix} is compressed in a way that is not read here; install ffmpeg, or save the "
            "recording as WAV on the phone or in an editor for sound"
        )
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "take.wav"
        command = [program, "-nostdin", "-v", "error", "-i", str(path.resolve()), "-vn", "-t", str(LONGEST + 1)]
        command += ["-c:a", "pcm_f32le", str(made)]
        try:
            done = subprocess.run(command, capture_output=True, timeout=_SECONDS, check=False)  # noqa: S603 - found above
        except subprocess.TimeoutExpired:
            raise TakeError(f"{path}: ffmpeg did not end; save the recording as WAV") from None
        if done.returncode or not made.exists():
            raise TakeError(f"{path}: ffmpeg finds no sound in it; save the recording as WAV")
        return made.read_bytes()
