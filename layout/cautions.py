"""What can hurt, and what to do about it: one wording for sheets, pages and the terminal."""

from __future__ import annotations

from typing import Final

EYES_AND_DUST: Final = (
    "Wear eye protection. Extract the dust and wear a mask: hardwood, bone and shell dust harm the lungs."
)
MACHINES: Final = "Use the guards, and follow the instructions of the maker of your saw, cutter or laser."
SAWING: Final = "Sawing: guards and eye protection on, dust extracted; the machine's instructions come first."
STRINGS: Final = "Strings under tension whip when they break: keep your face out of their line."
PRINTS: Final = "Check the scale bars before you cut."
DRY_FIT: Final = (
    "Dry fit the bridge, thread on both outer strings, compare both sides and both diagonals with their figures; "
    "only then drill."
)
TO_LOOK_AT: Final = (
    "This page is to look at: nothing on it is at full size. Cut by a sheet from slotwright draw, after measuring "
    "its scale bars."
)
MILLING: Final = (
    "A router maims: read its maker's instructions, keep its guards on and your hands away.",
    "Wear eye and ear protection: cutters break and fly. Extract the dust and wear a mask.",
    "First board at 60 % feed, after a dry run above the blank with the spindle off. Stay by the emergency stop.",
    "Touch zero again after every change of cutter. Clamp everything; local rules and licensed practice come first.",
)
_LAW: Final = "Local rules and licensed practice come before anything on this {}."

SHEET: Final = (
    "Check both scale bars before you cut; paper moves with damp and wet glue stretches it.",
    EYES_AND_DUST,
    MACHINES,
    _LAW.format("sheet"),
)


def of_page(*, bridge: bool) -> tuple[str, ...]:
    """Give the cautions of a page that is to be looked at.

    Parameters
    ----------
    bridge
        It shows a bridge that is to be drilled for.
    """
    return (
        TO_LOOK_AT,
        EYES_AND_DUST,
        MACHINES,
        *([DRY_FIT] if bridge else []),
        STRINGS,
        _LAW.format("page"),
    )
