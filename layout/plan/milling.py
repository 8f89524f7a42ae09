"""What a plan must say before its board can be milled."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from slotwright.layout.plan.plan import Plan

EXAMPLE: Final = """\
[machine]
wood = "rosewood"
keep_out = []          # clamps: [x1, y1, x2, y2, height above the blank]

[[machine.cutters]]
operations = ["slots"]
diameter = "0.56 mm"
cutting_length = "5 mm"

[[machine.cutters]]
operations = ["outline"]
diameter = "1/8 in"
cutting_length = "12 mm"
"""
_STOCK: Final = """
# Into [blank], beside length and width (measure the blank):
# thickness = "6.6 mm"
"""


def lacking(plan: Plan) -> str | None:
    """Say what a plan lacks to be milled; None when nothing."""
    if plan.machine is None:
        known = plan.blank is not None and plan.blank.thickness is not None
        stock = "" if known else _STOCK
        what = "the plan has no [machine]; nothing is milled that it leaves unsaid"
        return f"{what}. Copy and change:\n\n{EXAMPLE}{stock}"
    if plan.blank is None:
        return "the plan has no [blank]: the machine must know its length, width and thickness"
    if plan.blank.thickness is None:
        return f"blank.thickness: missing; measure the blank (the board is {plan.said(plan.board.thickness)} thick)"
    return None
