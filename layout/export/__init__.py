"""From a sheet to a file. No geometry is decided here."""

from __future__ import annotations

from typing import Final

FORMATS: Final = ("dxf", "svg", "pdf")
