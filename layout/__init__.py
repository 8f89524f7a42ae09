"""The engine: from a plan to drawings and their files, from readings to saddle moves. It knows no terminal.

>>> from slotwright.layout import read_plan, lay_out, draw, write, read_readings, intonate
>>> plan = read_plan("heron.toml")
>>> instrument = lay_out(plan)
>>> sheet = draw(instrument, "slots")
>>> write(sheet, "slots.dxf", unit="mm")
>>> write(sheet, "slots.pdf", paper="letter")
>>> for advice in intonate(instrument, read_readings("first.csv", instrument)).advices:
...     _ = advice.string, advice.direction, advice.move

What stands in ``__all__`` keeps its name and its meaning from release to release.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final
from warnings import warn

if TYPE_CHECKING:
    from slotwright.layout.bench.diagnosis import intonate
    from slotwright.layout.drawing.catalogue import draw_sheet as draw
    from slotwright.layout.export.write import write
    from slotwright.layout.instrument.instrument import lay_out
    from slotwright.layout.machine.programs import mill
    from slotwright.layout.plan.reader import read_plan
    from slotwright.layout.readings.notes import read_readings
    from slotwright.layout.sound.readings import hear
    from slotwright.layout.survey.scale import find_scale

    __version__: str

__all__ = [
    "__version__",
    "draw",
    "find_scale",
    "hear",
    "intonate",
    "lay_out",
    "mill",
    "read_plan",
    "read_readings",
    "write",
]

# Where each stands: imported when first asked for, so that importing the engine costs next to nothing.
_HOMES: Final = {
    "draw": ("drawing.catalogue", "draw_sheet"),
    "find_scale": ("survey.scale", "find_scale"),
    "hear": ("sound.readings", "hear"),
    "intonate": ("bench.diagnosis", "intonate"),
    "lay_out": ("instrument.instrument", "lay_out"),
    "mill": ("machine.programs", "mill"),
    "read_plan": ("plan.reader", "read_plan"),
    "read_readings": ("readings.notes", "read_readings"),
    "write": ("export.write", "write"),
}


# Modules that stood here by themselves, and the release in which the old name goes.
_GOES: Final = "0.4"
_MOVED: Final = {
    "compensation": "physics.offsets",
    "crowns": "readings.crowns",
    "dialogue": "bench.dialogue",
    "diagnosis": "bench.diagnosis",
    "fretted": "readings.notes",
    "minimax": "physics.minimax",
    "neck": "instrument.neck",
    "pitch": "physics.pitch",
    "planfile": "plan.reader",
    "plantext": "plan.writer",
    "remedies": "instrument.bridge_findings",
    "slip": "instrument.tolerances",
    "strings": "physics.strings",
    "strung": "instrument.stringing",
    "temperament": "physics.temperament",
}


def __getattr__(name: str) -> Any:  # noqa: ANN401 - as the language has it
    if name == "__version__":
        from importlib.metadata import version  # noqa: PLC0415 - slow to import

        return version("slotwright")
    if name in _MOVED:
        new = f"{__name__}.{_MOVED[name]}"
        warn(f"{__name__}.{name} is {new} now; the old name goes in {_GOES}", DeprecationWarning, stacklevel=2)
        return import_module(new)
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, home = _HOMES[name]
    return getattr(import_module(f"{__name__}.{module}"), home)


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
