"""Texts of plans, changed in one place and left as they were written elsewhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from slotwright.layout.plan.reader import parse_plan

if TYPE_CHECKING:
    from collections.abc import Mapping


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


def stiffened(text: bytes, inharmonicities: Mapping[int, float]) -> bytes:
    """Put the inharmonicity that strings were heard to have into the text of a plan.

    Parameters
    ----------
    text
        A plan file.
    inharmonicities
        B of open strings by number; a `bending` that was stated gives way to it.

    Returns
    -------
    bytes
        The file with the keys of these strings, comments kept.
    """
    import tomlkit  # noqa: PLC0415 - wanted only here

    document = tomlkit.parse(text.decode("utf-8-sig"))
    strings = document["strings"]
    if isinstance(strings, dict):  # a set: what is known better of a string replaces it
        replaced = strings.setdefault("replace", tomlkit.array())
        for number, found in sorted(inharmonicities.items()):
            own = next((each for each in replaced if int(each["string"]) == number), None)
            if own is None:
                own = tomlkit.inline_table()
                own["string"] = number
                own["inharmonicity"] = float(f"{found:.4g}")
                replaced.append(own)
            else:
                own.pop("bending", None)
                own["inharmonicity"] = float(f"{found:.4g}")
    else:
        for number, found in sorted(inharmonicities.items()):
            own = strings[number - 1]
            own.pop("bending", None)
            own["inharmonicity"] = float(f"{found:.4g}")
    written = tomlkit.dumps(document).encode()
    parse_plan(written)
    return written
