"""The table of a template for a router with a guide bush."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Final, Literal, get_args

from pydantic import Field

from slotwright.layout.errors import Fault
from slotwright.layout.plan.fields import mm, one_of
from slotwright.layout.plan.table import Table

if TYPE_CHECKING:
    from collections.abc import Iterator

What = Literal["outline", "saddle slot", "nut groove"]
WHATS: Final[tuple[What, ...]] = get_args(What)


class Template(Table):
    """A template for a hand-held router, whose guide bush follows its edge.

    Parameters
    ----------
    for
        ``outline`` (of the board), ``saddle slot`` or ``nut groove``.
    bush
        Outer diameter of the guide bush.
    cutter
        Diameter of the cutter.
    thickness
        Thickness of the template.
    """

    what: Annotated[What, one_of(WHATS)] = Field(alias="for")
    bush: Annotated[float, mm(3, 100)]
    cutter: Annotated[float, mm(0.5, 50)]
    thickness: Annotated[float, mm(1, 50)] = 12.0

    @property
    def aside(self) -> float:
        """How far the edge of the template lies from the edge that is cut [mm]."""
        return (self.bush - self.cutter) / 2

    def clashes(self) -> Iterator[Fault]:
        """Check that the cutter passes through the bush."""
        if self.bush <= self.cutter:
            yield Fault("bush", "no wider than the cutter, which has to pass through it", "take a wider bush")
