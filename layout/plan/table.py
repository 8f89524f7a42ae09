"""What all tables of a plan have in common: how they check, tell and copy themselves."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator

from slotwright.layout.errors import Fault, PlanError
from slotwright.layout.plan.fields import LengthField, WrongTableError
from slotwright.layout.plan.refusal import faults_of
from slotwright.layout.plan.rows import Place

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic.fields import FieldInfo


class Table(BaseModel):
    """A table of the plan; unknown keys are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    either: ClassVar[tuple[tuple[str, str], ...]] = ()
    """Pairs of keys that state the same thing."""

    def clashes(self) -> Iterator[Fault]:
        """Yield what the keys of this table, each right by itself, get wrong together."""
        yield from ()

    @classmethod
    def model_validate(cls, obj: object, **options: Any) -> Self:  # noqa: ANN401 - pydantic's own
        """Check the contents of a table.

        Parameters
        ----------
        obj
            Keys and tables as TOML gives them; bare lengths are in the `units` that a plan states, else in mm.
        **options
            As of pydantic.

        Returns
        -------
        Table
            The table, every length in mm.

        Raises
        ------
        PlanError
            With all faults that were found.
        """

        def validate(given: object) -> Any:  # noqa: ANN401 - a table of this class
            return super(Table, cls).model_validate(given, **options)

        try:
            checked: Self = validate(obj)
        except ValidationError as error:
            raise PlanError(faults_of(cls, validate, error, obj)) from None
        return checked

    def contents(self) -> dict[str, Any]:
        """Give the keys that were stated as a plan file may have them, whatever its units.

        Returns
        -------
        dict
            Keys and tables that validate to an equal table; lengths are text that says mm.
        """
        kinds = type(self).model_fields
        stated = (key for key in kinds if key in self.model_fields_set)
        return {kinds[key].alias or key: _stated(getattr(self, key), kinds[key]) for key in stated}

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """Copy a table with other values for some of its keys, all of it checked anew.

        Parameters
        ----------
        update
            Keys with their values as a plan file has them, or tables; None takes a key away.
        deep
            As of pydantic.

        Returns
        -------
        Table
            The copy.

        Raises
        ------
        PlanError
            With all that is wrong then.
        """
        if not update:
            return super().model_copy(deep=deep)
        changed = {**self.contents(), **update}
        return self.model_validate({key: value for key, value in changed.items() if value is not None})

    def supposed(self, **values: object) -> Self:
        """Copy a table with other values, in mm and unchecked, to see what would follow from them."""
        return super().model_copy(update=values)

    @model_validator(mode="before")
    @classmethod
    def _say_once(cls, given: object) -> object:
        if isinstance(given, Mapping):
            both = [(kept, other) for kept, other in cls.either if kept in given and other in given]
            if both:
                raise WrongTableError(
                    tuple(Fault(other, f"stated besides {kept}", "keep one of them") for kept, other in both)
                )
        return given

    @model_validator(mode="after")
    def _check_together(self) -> Self:
        if faults := tuple(self.clashes()):
            raise WrongTableError(faults)
        return self


def _stated(value: object, field: FieldInfo) -> object:
    """Write a checked value as a plan file states it."""
    if any(isinstance(mark, LengthField) for mark in field.metadata):
        return _with_unit(value)
    return _plain(value)


def _with_unit(value: object) -> object:
    if isinstance(value, tuple):
        return [_with_unit(each) for each in value]
    if isinstance(value, Place):
        return value.contents()
    return value if isinstance(value, str) else f"{value!r} mm"


def _plain(value: object) -> object:
    if isinstance(value, Table):
        return value.contents()
    if isinstance(value, tuple):
        return [_plain(each) for each in value]
    return "saddle" if value == math.inf else value
