"""What ``slotwright compensate --slip`` prints: what workshop errors cost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from slotwright.cli.console import UNIT_NAMES, length_of, print_table
from slotwright.layout.errors import SlotwrightError
from slotwright.layout.instrument.tolerances import CAUSES, DRAWS
from slotwright.layout.units import cents, show

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.tolerances import Outcome
    from slotwright.layout.units import Unit


def read_sizes(given: Sequence[str], units: Unit) -> dict[str, float]:
    """Read ``action=0.2`` and the like into standard deviations [mm].

    Raises
    ------
    SlotwrightError
        A name is not known, or a length is not one or too large.
    """
    sizes: dict[str, float] = {}
    for text in given:
        name, _, length = text.partition("=")
        if name not in CAUSES:
            raise SlotwrightError(f'--slip-of: given "{text}"; allowed NAME=LENGTH, NAME one of {", ".join(CAUSES)}')
        if name in sizes:
            raise SlotwrightError(f"--slip-of: {name} is given twice; keep one")
        sizes[name] = length_of(f"--slip-of {name}", length, units, 0, CAUSES[name].most)
    return sizes


def print_slips(instrument: Instrument, slips: Outcome) -> None:
    """Print the ranges at the target frets, then what each error costs."""
    plan, strung = instrument.plan, instrument.stringing
    tolerance = plan.compensation.tolerance
    click.echo(
        f"{instrument.title}: {DRAWS} instruments built by this plan, none intonated afterwards; errors in cents"
    )
    columns = (strung.after.total, slips.median, slips.low, slips.high)
    rows = [
        [str(i + 1), str(n + 1), *(cents(each[i, n]) for each in columns)]
        for i, aimed in enumerate(strung.weights > 0)
        for n in aimed.nonzero()[0]
    ]
    print_table(("string", "fret", "as drawn", "median", "5 %", "95 %"), rows)
    click.echo("")
    rows = [
        [
            str(i + 1),
            f"{strung.rms[i]:.2f}",
            f"{slips.rms[i]:.2f}",
            f"{100 * slips.within[i]:.1f} %",
            *(f"{100 * share[i]:.0f} %" for share in slips.shares.values()),
        ]
        for i in range(len(strung.bodies))
    ]
    overall = [f"{100 * share:.0f} %" for share in slips.overall.values()]
    rows.append(["all", "", "", f"{100 * slips.all_within:.1f} %", *overall])
    print_table(("string", "rms as drawn", "as built", "in tune", *CAUSES), rows)
    click.echo(f"in tune: share of the instruments that stay within {tolerance:g} cents at the target frets")
    click.echo(
        "slot to gauge: share of each in the mean square error that they add at the target frets, to first order"
    )
    most = max(slips.overall, key=slips.overall.__getitem__)
    if slips.overall[most]:
        click.echo(f"what matters most: {most}, {CAUSES[most].what}")
    usual = ", ".join(f"{name} {_size(size, plan.units)}" for name, size in slips.sizes.items())
    click.echo(f"standard deviations, in {UNIT_NAMES[plan.units]}: {usual}")


def _size(size: float, units: Unit) -> str:
    return show(size, units, 3 if units == "mm" else 4)
