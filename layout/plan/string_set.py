"""Strings of a usual set, some of them replaced: one line of a plan in place of a list of tables."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Final, Self

from pydantic import BeforeValidator

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.limits import MOST_STRINGS
from slotwright.layout.physics import strings
from slotwright.layout.plan import rows
from slotwright.layout.plan.fields import WrongValueError, quoted, whole
from slotwright.layout.plan.sets import SETS
from slotwright.layout.plan.table import Table
from slotwright.layout.plan.tables import Make, String

if TYPE_CHECKING:
    from collections.abc import Iterator

# What belongs to one string alone: another gauge or kind has not the same.
_OF_ITS_OWN: Final = ("winding", "mass", "string_constant")
_NEAR: Final = 3  # names that a misspelt one may have meant


def pitches(tuning: str) -> tuple[str, ...]:
    """Take a tuning apart.

    Parameters
    ----------
    tuning
        Pitches from the highest-numbered string to string 1.

    Returns
    -------
    tuple of str
        Pitches from string 1 on.
    """
    return tuple(reversed(tuning.replace(",", " ").split()))


def nearest_sets(name: str) -> str:
    """Suggest the sets nearest to a name that none has.

    Parameters
    ----------
    name
        As it was written.

    Returns
    -------
    str
        The nearest names, or the families where none is near.
    """
    import difflib  # noqa: PLC0415 - wanted only once something is misspelt

    near = difflib.get_close_matches(name.lower(), SETS, n=_NEAR, cutoff=0.5)
    families = dict.fromkeys(known.rpartition(" ")[0] if known[-1].isdigit() else known for known in SETS)
    return f"nearest: {', '.join(near)}" if near else f"families: {', '.join(families)}"


def _set_name() -> BeforeValidator:
    """Check the name of a set."""

    def check(given: object) -> str:
        if isinstance(given, str) and given in SETS:
            return given
        raise WrongValueError(f"given {quoted(given)}; no set is called so", nearest_sets(str(given)))

    return BeforeValidator(check)


def _tuning() -> BeforeValidator:
    """Check a tuning: pitches with blanks between them."""

    def check(given: object) -> str:
        if not isinstance(given, str) or not pitches(given):
            raise WrongValueError(
                f'given {quoted(given)}; allowed a text such as "E2 A2 D3 G3 B3 E4", highest-numbered string first'
            )
        for pitch in pitches(given):
            try:
                strings.frequency(pitch)
            except ValueError as error:
                raise WrongValueError(str(error)) from None
        return given

    return BeforeValidator(check)


class Replacement(Make):
    """A string that stands in for one of the set; what it does not state stays as the set has it.

    Another gauge or kind takes mass and string constant of the set's string with it, and so does a kind the winding.

    Parameters
    ----------
    string
        Number of the string.
    """

    string: Annotated[int, whole(1, MOST_STRINGS)]


class StringSet(Table):
    """A usual set of strings, in place of a list of them.

    Parameters
    ----------
    set
        Its name, by family and outer gauges; ``new --list`` shows all.
    tuning
        Pitches from the highest-numbered string to string 1, such as ``E2 A2 D3 G3 B3 E4``; that of the set unless
        stated.
    replace
        Strings of another gauge or kind: ``[{ string = 3, gauge = "0.018 in", kind = "wound steel" }]``.
    """

    set: Annotated[str, _set_name()]
    tuning: Annotated[str | None, _tuning()] = None
    replace: Annotated[tuple[Replacement, ...], rows.tables()] = ()

    def clashes(self) -> Iterator[Fault]:
        """Check that tuning and replaced strings fit the set."""
        many = len(SETS[self.set].strings)
        if self.tuning is not None and len(pitches(self.tuning)) != many:
            what = f"{len(pitches(self.tuning))} pitches for the {many} strings of the set"
            yield Fault("tuning", what, f'name one for each, as "{SETS[self.set].tuning}"')
        seen = dict[int, int]()
        for place, other in enumerate(self.replace):
            if other.string > many:
                yield Fault(f"replace[{place + 1}].string", f"string {other.string} of {many}")
            elif other.string in seen:
                yield Fault(f"replace[{place + 1}].string", f"string {other.string} is replaced already", "keep one")
            else:
                yield from self._unfit(place)
            seen[other.string] = place

    def _unfit(self, place: int) -> Iterator[Fault]:
        """Find what a replacement and the string of the set that it stands in for get wrong together."""
        other = self.replace[place]
        try:
            String.model_validate({**self._kept(other.string - 1), **_stated(other)})
        except PlanError as error:
            yield from (
                Fault(f"replace[{place + 1}].{fault.where}", fault.what, fault.mend) for fault in error.faults
            )

    def _other(self, place: int) -> Replacement | None:
        return next((other for other in self.replace if other.string == place + 1), None)

    def _kept(self, place: int) -> dict[str, Any]:
        """Give what the set says of a string and nothing replaces, as a plan states it."""
        made, other = dict(SETS[self.set].strings[place].contents), self._other(place)
        made["gauge"] = f"{made['gauge']!r} mm"
        if other is None:
            return made
        stated = other.model_fields_set
        changed = {"gauge", "kind"} & stated
        gone = set(_OF_ITS_OWN) if changed else set()
        if other.kind in (None, "wound steel"):
            gone.discard("winding")
        made = {key: value for key, value in made.items() if key not in gone | stated}
        if other.kind == "wound steel" and "winding" not in stated and (winding := self._winding):
            made["winding"] = winding
        return made

    @property
    def _winding(self) -> str | None:
        """What wound strings of the set are wound with."""
        return next((made.winding for made in SETS[self.set].strings if made.winding), None)

    def strings(self) -> tuple[String, ...]:
        """Give the strings, string 1 first."""
        found = []
        for place, pitch in enumerate(pitches(self.tuning or SETS[self.set].tuning)):
            other = self._other(place)
            stated = {**self._kept(place), **(_stated(other) if other else {}), "pitch": pitch}
            found.append(String.model_validate(stated))
        return tuple(found)

    def filled(self) -> Iterator[tuple[str, dict[str, Any] | str]]:
        """Yield what the set says and the plan does not: the tuning, and of each string its keys, the gauge in mm."""
        if self.tuning is None:
            yield "strings.tuning", SETS[self.set].tuning
        for place, made in enumerate(SETS[self.set].strings):
            if kept := self._kept(place):
                yield f"strings[{place + 1}]", {**kept, **({"gauge": made.gauge} if "gauge" in kept else {})}

    def where(self, place: int, key: str) -> str:
        """Say where the plan states something of a string, by its place from 0, or what of the set it concerns."""
        for n, other in enumerate(self.replace, start=1):
            if other.string == place + 1:
                return f"strings.replace[{n}].{key}"
        return f"strings.set: string {place + 1}"


class SetStrings(tuple[String, ...]):  # noqa: SLOT001 - a tuple with slots of its own cannot be made
    """The strings of a set, with the set as a plan states it.

    Parameters
    ----------
    stated
        The set.
    """

    stated: StringSet

    @classmethod
    def of(cls, stated: StringSet) -> Self:
        """Give the strings of a set."""
        made = cls(stated.strings())
        made.stated = stated
        return made


def _stated(other: Replacement) -> dict[str, Any]:
    return {key: value for key, value in other.contents().items() if key != "string"}
