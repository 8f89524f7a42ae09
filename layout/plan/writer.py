"""Texts of plans, changed in one place and left as they were written elsewhere."""

from __future__ import annotations

from slotwright.layout.plan.reader import parse_plan


def recalibrated(text: bytes, stiffness: float, stretch: float, press_depth: float | None = None) -> bytes:
    """Put calibration factors into the text of a plan; everything else stays as it was written.

    Parameters
    ----------
    text
        A plan file.
    stiffness, stretch
        The factors.
    press_depth
        The depth that goes with them [mm]; None leaves the plan's as it was written.

    Returns
    -------
    bytes
        The file with its `[calibration]`, comments kept.
    """
    import tomlkit  # noqa: PLC0415 - wanted only here

    document = tomlkit.parse(text.decode("utf-8-sig"))
    table = document.setdefault("calibration", tomlkit.table())
    for key, factor in (("stiffness", stiffness), ("stretch", stretch)):
        table[key] = round(factor, 4)
    if press_depth is not None:
        setup = document.setdefault("setup", tomlkit.table())
        setup["press_depth"] = f"{press_depth:.3f} mm"
    written = tomlkit.dumps(document).encode()
    parse_plan(written)
    return written
