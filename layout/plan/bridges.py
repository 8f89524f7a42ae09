"""The kinds of bridge, each with its own keys."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any, ClassVar, Final, Literal, get_args

from pydantic import Discriminator, Field, Tag

from slotwright.layout.limits import MOST_HOLES, MOST_STRINGS
from slotwright.layout.names import BRIDGE_KINDS, UNKNOWN_KIND, BridgeKind
from slotwright.layout.plan import rows
from slotwright.layout.plan.fields import mm, number, one_of
from slotwright.layout.plan.rows import mm_row
from slotwright.layout.plan.table import Table

PIN_HOLE: Final = 5.0  # mm, where the plan states none (common practice, from memory)


Origin = Literal["fret 12", "nut line"]
ORIGINS: Final[tuple[Origin, ...]] = get_args(Origin)


class Measured(Table):
    """What was measured on an instrument, from one place along its centre line.

    Parameters
    ----------
    from
        ``fret 12``, the crown at the octave, or ``nut line``: where x is measured from, toward the bridge; y from
        the centre line, treble side positive.
    """

    origin: Annotated[Origin, one_of(ORIGINS)] = Field("fret 12", alias="from")


class Existing(Measured):
    """What is there already where the bridge is to stand.

    Parameters
    ----------
    pins
        Pin holes that stay, ``[x, y, diameter]``, or ``{ treble, bass, diameter }`` by two ruler distances, from the
        ends of fret 12.
    holes
        Other holes, to be covered, plugged or used again, likewise.
    footprint
        Corners of the old bridge, ``[x, y]`` or ``{ treble, bass }``.
    """

    pins: Annotated[tuple[rows.Place, ...], rows.places(MOST_HOLES, across=True)] = ()
    holes: Annotated[tuple[rows.Place, ...], rows.places(MOST_HOLES, across=True)] = ()
    footprint: Annotated[tuple[rows.Place, ...], rows.places(MOST_HOLES, across=False)] = ()


class Under(Measured):
    """A plate or a brace under the top.

    Parameters
    ----------
    name
        ``plate`` or ``brace``.
    outline
        Its corners, ``[x, y]`` or ``{ treble, bass }``.
    """

    name: Annotated[Literal["plate", "brace"], one_of(("plate", "brace"))]
    outline: Annotated[tuple[rows.Place, ...], rows.places(MOST_HOLES, across=False)]


class AnyBridge(Table):
    """What every bridge may have.

    Parameters
    ----------
    kind
        ``individual saddles``, ``saddle slot``, ``two posts`` or ``floating``.
    reserve
        Travel kept free at both ends, for other gauges; only saddles with a travel have it.
    outline
        Size of the bridge, ``[across the strings, along them]``.
    front
        From the foremost contact line to the front edge; a third of its length unless stated.
    holes
        ``[x, y, diameter]`` from the datum, before rotation.
    seat
        ``[diameter, depth]`` that the holes are opened to, for ferrules or ball ends.
    existing
        What is there already.
    existing_holes
        ``[x, y, diameter]`` of holes that are there, from the nominal nut line; the table of what exists says more.
    under
        Plates and braces under the top.
    plane_height
        From the top to a straight edge along the crowns, at the saddle.
    base_height
        Height of the bridge where its saddle stands, above the top.
    """

    needed: ClassVar[tuple[str, ...]] = ()
    """Keys without which such a bridge cannot be placed."""

    kind: Annotated[BridgeKind, one_of(BRIDGE_KINDS)]
    reserve: Annotated[float, mm(0, 20)] = 1.0
    outline: Annotated[tuple[float, float] | None, mm_row(("across", "along"), 1, 500)] = None
    front: Annotated[float | None, mm(-200, 200)] = None
    holes: Annotated[tuple[tuple[float, float, float], ...], rows.holes(MOST_HOLES)] = ()
    seat: Annotated[tuple[float, float] | None, mm_row(("diameter", "depth"), 0.5, 50)] = None
    existing: Existing | None = None
    existing_holes: Annotated[tuple[tuple[float, float, float], ...], rows.holes(MOST_HOLES)] = ()
    under: Annotated[tuple[Under, ...], rows.tables()] = ()
    plane_height: Annotated[float | None, mm(-50, 200)] = None
    base_height: Annotated[float | None, mm(0, 200)] = None

    @property
    def to_front(self) -> float | None:
        """From the foremost contact line to the front edge [mm]; None without an outline."""
        if self.outline is None or self.front is not None:
            return self.front
        return self.outline[1] / 3  # unless stated

    @property
    def per_turn(self) -> float | None:
        """How far a clockwise turn moves a saddle, back positive [mm]; None without a thread."""
        return None

    @property
    def older(self) -> dict[str, str]:
        """Keys that are still read, and what they are called now."""
        return {key: now for key, now in _OLDER.items() if key in self.model_fields_set}


_OLDER: Final = {
    "existing_holes": 'existing = { from = "nut line", holes = [...] }',
    "pin_distance": "pins = { distance = ... }",
    "pin_diameter": "pins = { head = ... }",
}


class Adjustable(AnyBridge):
    """A bridge whose saddles are moved.

    Parameters
    ----------
    travel
        From the foremost place of a contact to the rearmost.
    front_stop
        From the datum back to the foremost place of a contact.
    thread_pitch
        How far one turn of the screw moves a saddle.
    screw_from
        ``rear`` or ``front``: where the heads of the screws are.
    crest_offset
        A saddle turned round moves its contact by twice this.
    groups
        Strings that share a saddle, and so one set-back: ``[[1, 2], [3, 4]]``.
    """

    travel: Annotated[float | None, mm(0.5, 100)] = None
    front_stop: Annotated[float, mm(-100, 100)] = 0.0
    thread_pitch: Annotated[float | None, mm(0.1, 5)] = None
    screw_from: Annotated[Literal["rear", "front"], one_of(("rear", "front"))] = "rear"
    crest_offset: Annotated[float, mm(-20, 20)] = 0.0
    groups: Annotated[tuple[tuple[int, ...], ...], rows.groups(MOST_STRINGS)] = ()

    @property
    def mid_travel(self) -> float:
        """From the datum to the middle of the travel [mm]."""
        return self.front_stop + (self.travel or 0.0) / 2

    @property
    def per_turn(self) -> float | None:
        """How far a clockwise turn moves a saddle, back positive [mm]; None without a thread.

        A right-hand screw draws the saddle toward its own head (common practice, no source).
        """
        if self.thread_pitch is None:
            return None
        return self.thread_pitch if self.screw_from == "rear" else -self.thread_pitch


class IndividualSaddles(Adjustable):
    """A saddle for each string, or for a group of them, on one base or on units of their own.

    Parameters
    ----------
    angle
        Of the base, anticlockwise [degrees].
    """

    needed: ClassVar[tuple[str, ...]] = ("travel",)

    kind: Annotated[Literal["individual saddles"], one_of(BRIDGE_KINDS)]
    angle: Annotated[float, number(-60, 60)] = 0.0


class TwoPosts(Adjustable):
    """A bridge on two posts.

    Parameters
    ----------
    post_spread
        Between the middles of the posts.
    bushing_diameter
        Diameter of the holes for them; 11 mm unless stated.
    """

    needed: ClassVar[tuple[str, ...]] = ("post_spread", "travel")

    kind: Annotated[Literal["two posts"], one_of(BRIDGE_KINDS)]
    post_spread: Annotated[float | None, mm(10, 500)] = None
    bushing_diameter: Annotated[float | None, mm(0.5, 50)] = None


class Pins(Table):
    """Pins that hold the strings behind a saddle.

    Parameters
    ----------
    distance
        From the slot's middle back to the pins, of courses to the front row.
    head
        Diameter below the head, at the bridge's surface.
    taper
        Angle that both sides of a pin include [degrees]; 0 for straight ones.
    through
        Wood that a tapered pin goes through: bridge, top and plate; the base height and 6 mm unless stated.
    line
        ``along the slot``, or ``square``, which is square to the bridge.
    spread
        Between the outer pins; each pin stands on its string unless stated.
    stagger
        How far the thinner string of each course, of two alike the first, has its pin behind the others.
    """

    distance: Annotated[float, mm(0, 100)]
    head: Annotated[float, mm(0.5, 20)] = 5.0
    taper: Annotated[float, number(0, 15)] = 0.0
    through: Annotated[float | None, mm(1, 100)] = None
    line: Annotated[Literal["along the slot", "square"], one_of(("along the slot", "square"))] = "along the slot"
    spread: Annotated[float | None, mm(5, 300)] = None
    stagger: Annotated[float, mm(0, 50)] = 0.0


class Wood(Table):
    """What wood is to stay in a bridge (common practice, no source).

    Parameters
    ----------
    slot_to_pins
        Between the slot and holes, and from the slot to the front and rear edge.
    holes
        Between holes, and from holes to the edges.
    slot_end
        From the ends of the slot to the sides.
    under_slot
        Under the slot.
    """

    slot_to_pins: Annotated[float, mm(0, 20)] = 2.0
    holes: Annotated[float, mm(0, 20)] = 3.0
    slot_end: Annotated[float, mm(0, 50)] = 8.0
    under_slot: Annotated[float, mm(0, 20)] = 2.5


class SaddleSlot(AnyBridge):
    """A glued bridge with a saddle in a slot.

    Parameters
    ----------
    angle
        Of the bridge, anticlockwise; its slot lies at an angle of its own [degrees].
    corner_radius
        Radius of the bridge's corners.
    top_radius
        Radius of the top under the bridge, across the strings; 0: flat.
    slot_width
        Width of the slot, the thickness of the saddle.
    slot_length
        Length of the slot.
    slot_depth
        Depth of the slot.
    slot_lean
        How far the saddle leans, its crest toward the nut [degrees].
    crown_radius
        How much saddle a rounded crest needs behind its contact.
    pins
        Pins that hold the strings.
    pin_distance
        From the slot's middle back to straight pins; a table of pins says more.
    pin_diameter
        Diameter of the holes for them; 5 mm unless stated.
    tie_distance
        From the slot's middle back to the mouths of the tie holes.
    tie_diameter
        Diameter of the tie holes; 1.8 mm unless stated.
    tie_height
        From the top to the middle of the tie holes, which run along the strings.
    wood
        What wood is to stay.
    """

    needed: ClassVar[tuple[str, ...]] = ("slot_width", "slot_length")
    either = (("pins", "pin_distance"), ("pins", "pin_diameter"))

    kind: Annotated[Literal["saddle slot"], one_of(BRIDGE_KINDS)]
    angle: Annotated[float, number(-60, 60)] = 0.0
    corner_radius: Annotated[float, mm(0, 100)] = 0.0
    top_radius: Annotated[float, mm(0, 100_000)] = 0.0
    slot_width: Annotated[float | None, mm(0.5, 20)] = None
    slot_length: Annotated[float | None, mm(5, 400)] = None
    slot_depth: Annotated[float | None, mm(0.5, 50)] = None
    slot_lean: Annotated[float, number(-30, 30)] = 0.0
    crown_radius: Annotated[float, mm(0, 20)] = 0.0
    pins: Pins | None = None
    pin_distance: Annotated[float | None, mm(0, 100)] = None
    pin_diameter: Annotated[float | None, mm(0.5, 20)] = None
    tie_distance: Annotated[float | None, mm(0, 100)] = None
    tie_diameter: Annotated[float | None, mm(0.5, 20)] = None
    tie_height: Annotated[float | None, mm(0, 100)] = None
    wood: Wood = Field(default_factory=Wood)  # made only once it is wanted

    @property
    def all_pins(self) -> Pins | None:
        """The pins, however they are stated."""
        if self.pins is None and self.pin_distance is not None:
            head = PIN_HOLE if self.pin_diameter is None else self.pin_diameter
            return Pins(distance=self.pin_distance, head=head)
        return self.pins


class Floating(AnyBridge):
    """A bridge that the strings hold in its place.

    Parameters
    ----------
    foot
        Size of its foot, ``[across the strings, along them]``.
    """

    needed: ClassVar[tuple[str, ...]] = ("foot",)

    kind: Annotated[Literal["floating"], one_of(BRIDGE_KINDS)]
    foot: Annotated[tuple[float, float] | None, mm_row(("across", "along"), 1, 500)] = None


class _OfNoKind(IndividualSaddles, TwoPosts, SaddleSlot, Floating):
    """A bridge whose kind is missing or misspelt: refused, but its other keys are looked at as well."""

    needed: ClassVar[tuple[str, ...]] = ()

    kind: Annotated[BridgeKind, one_of(BRIDGE_KINDS)]  # type: ignore[assignment]


KINDS: tuple[type[AnyBridge], ...] = (IndividualSaddles, SaddleSlot, TwoPosts, Floating)


def _kind(given: Any) -> str:  # noqa: ANN401 - whatever a plan says
    kind = given.get("kind") if isinstance(given, Mapping) else getattr(given, "kind", None)
    return kind if isinstance(kind, str) and kind in BRIDGE_KINDS else UNKNOWN_KIND


if TYPE_CHECKING:
    Bridge = IndividualSaddles | SaddleSlot | TwoPosts | Floating
else:
    Bridge = Annotated[
        Annotated[IndividualSaddles, Tag("individual saddles")]
        | Annotated[SaddleSlot, Tag("saddle slot")]
        | Annotated[TwoPosts, Tag("two posts")]
        | Annotated[Floating, Tag("floating")]
        | Annotated[_OfNoKind, Tag(UNKNOWN_KIND)],
        Discriminator(_kind),
    ]
