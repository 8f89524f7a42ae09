"""Real notes: the guitars and basses of a bank of sampled instruments, read where it lies and kept nowhere.

A bank is a RIFF file (SoundFont 2.01, technical specification, 1998): all samples one after the other, 16 bits
each, in the chunk `smpl`, and a header of 46 bytes for each of them in `shdr`.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray

HEADER = struct.Struct("<20sIIIIIBbHH")
MONO = 1
# Strings of guitars and basses that are plucked and left to ring, one at a time; by the names of their samples.
PLUCKED = ("Steel ", "Nylon ", "Jazz Guitar ", "Clean ", "Picked Bass ", "Finger Bass ")
SHORTEST = 1.2  # s of a note as it was played, that is before its loop begins


@dataclass(frozen=True)
class Sampled:
    """One note of a bank, up to where it begins to go round in a loop."""

    name: str
    samples: NDArray[np.int16]
    rate: int


def plucked(path: Path) -> list[Sampled]:
    """Give the plucked notes of a bank that last long enough to be read."""
    with path.open("rb") as file:
        places = dict(_chunks(file))
        file.seek(places[b"shdr"][0])
        headers = file.read(places[b"shdr"][1])
        found = []
        for name, start, _, loop, _, rate, *_, kind in HEADER.iter_unpack(headers):
            called = name.rstrip(b"\0").decode("ascii", "replace")
            if kind != MONO or not called.startswith(PLUCKED) or loop - start < SHORTEST * rate:
                continue
            file.seek(places[b"smpl"][0] + 2 * start)
            found.append(Sampled(called, np.frombuffer(file.read(2 * (loop - start)), "<i2"), rate))
    return found


def _chunks(file) -> Iterator[tuple[bytes, tuple[int, int]]]:
    """Name the chunks of a bank, those within lists too, with their place and length [bytes]."""
    at, end = 12, None
    file.seek(4)
    end = 8 + int.from_bytes(file.read(4), "little")
    while at + 8 <= end:
        file.seek(at)
        name, size = file.read(4), int.from_bytes(file.read(4), "little")
        if name == b"LIST":  # what it holds follows its own name
            at += 12
            continue
        yield name, (at + 8, size)
        at += 8 + size + size % 2
