"""What ``slotwright compensate`` tells of several tunings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from slotwright.cli.console import print_table
from slotwright.layout.instrument.tunings import losses

if TYPE_CHECKING:
    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.instrument.stringing import Strung


def print_losses(instrument: Instrument, strung: Strung) -> None:
    """Print what each tuning loses."""
    click.echo(
        "what each tuning loses: cents at the target frets with these contacts, and the least it could have alone"
    )
    rows = [
        [
            loss.tuning if i == 0 else "",
            str(i + 1),
            *(f"{each[i]:.2f}" for each in (loss.rms, loss.own_best_rms, loss.worst, loss.own_best_worst)),
        ]
        for loss in losses(instrument.plan, strung.fretting, strung.weights, strung.offsets, strung.saddles)
        for i in range(len(strung.bodies))
    ]
    print_table(("tuning", "string", "rms", "alone", "worst", "alone"), rows)
