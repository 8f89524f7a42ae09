"""How much of each thing a plan, or a measured neck, may have."""

from __future__ import annotations

from typing import Final

MOST_STRINGS: Final = 18
MOST_FRETS: Final = 60
MOST_TUNINGS: Final = 12
MOST_HOLES: Final = 100
MOST_CLAMPS: Final = 20
MOST_CUTTERS: Final = 6
MOST_CHORDS: Final = 100
SCALES: Final = (100.0, 2000.0)  # mm
FACTORS: Final = (0.1, 10.0)  # of a calibration
