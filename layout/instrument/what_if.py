"""What a change of the setup would do to one string."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from slotwright.layout.errors import needed
from slotwright.layout.instrument.stringing import serve
from slotwright.layout.physics import strings
from slotwright.layout.physics.pitch import parts
from slotwright.layout.units import show

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from slotwright.layout.instrument.neck import Neck
    from slotwright.layout.instrument.stringing import Strung
    from slotwright.layout.plan.plan import Plan
    from slotwright.layout.plan.tables import String

    Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What a change of the setup would do to one string.

    Parameters
    ----------
    change
        The change, in words.
    cents
        Change of the error at each fret while saddle and nut stay where they are, shape (frets,).
    saddle, nut
        Offsets that would serve the aim then [mm].
    """

    change: str
    cents: Floats
    saddle: float
    nut: float


def what_if(plan: Plan, neck: Neck, strung: Strung, string: int) -> tuple[WhatIf, ...]:
    """Try half a millimetre of action, one gauge up and 0.2 mm of nut height on one string.

    Parameters
    ----------
    plan, neck, strung
        The instrument.
    string
        Number of the string.

    Returns
    -------
    tuple of WhatIf
        One for each change.
    """
    f = strung.fretting
    place = string - 1
    thicker = _one_up(plan.strings[place])
    heavier = strings.body(thicker, float(neck.scales[place]))

    def swapped(old: Floats, new: float) -> Floats:
        changed = old.copy()
        changed[place] = new
        return changed

    gauge = f"{show(thicker.gauge or 0.0, 'in')} in"
    changes = {
        f"{plan.said(0.5)} more action": replace(f, action_height=f.action_height + 0.5),
        f"one gauge up, {gauge}": replace(
            f,
            tension=swapped(f.tension, heavier.tension),
            axial=swapped(f.axial, heavier.axial),
            bending=swapped(f.bending, heavier.bending),
        ),
        f"{plan.said(0.2)} higher at the nut": replace(f, nut_height=f.nut_height + 0.2),
    }
    found = []
    for change, fretting in changes.items():
        offsets = serve(plan, fretting, strung.weights, strung.saddles)
        cents = parts(fretting, strung.offsets.saddle, strung.offsets.nut).total - strung.after.total
        found.append(WhatIf(change, cents[place], float(offsets.saddle[place]), float(offsets.nut[place])))
    return tuple(found)


def _one_up(string: String) -> String:
    """Give the next gauge: a thousandth of an inch more, two for wound strings (common practice, no source)."""
    before = needed(string.gauge, "the string's gauge is not stated")
    gauge = before + 25.4e-3 * (2 if string.kind in ("wound steel", "wound nylon") else 1)
    ratio = gauge / before
    stiffer = 1.0 if string.kind == "wound nylon" else ratio**4  # which bends alike, whatever its gauge
    return string.supposed(
        gauge=gauge,
        core=string.core and string.core * ratio,
        mass=string.mass and string.mass * ratio**2,
        bending=string.bending and string.bending * stiffer,
        inharmonicity=string.inharmonicity and string.inharmonicity * stiffer / ratio**2,
    )
