"""Instrument to a page: one HTML file to open, send or print, that needs nothing beside it."""

from __future__ import annotations

import base64
import hashlib
from importlib.metadata import version
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FunctionLoader, StrictUndefined

from slotwright import templates
from slotwright.layout import cautions
from slotwright.layout.export.report import facts
from slotwright.layout.export.report.board import board_picture
from slotwright.layout.export.report.bridge import bridge_section
from slotwright.layout.export.report.chords import chord_table
from slotwright.layout.export.report.contacts import contact_table, string_table
from slotwright.layout.export.report.history import history
from slotwright.layout.export.report.pitch import pitch_section
from slotwright.layout.export.report.short import bench_card, customer_page
from slotwright.layout.export.report.side import side_view
from slotwright.layout.export.report.wire import wire_table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from slotwright.layout.instrument.instrument import Instrument
    from slotwright.layout.names import Reader
    from slotwright.layout.readings.notes import Reading


def page(instrument: Instrument, readings: Sequence[Reading] = (), *, reader: Reader = "maker") -> bytes:
    """Write the report of an instrument.

    Parameters
    ----------
    instrument
        What is reported.
    readings
        What was read at the bench; none leaves that section out.
    reader
        Whom it is for: all of it, a card of large figures for the bench, or before and after for the customer;
        these two fit on one sheet of paper.

    Returns
    -------
    bytes
        A whole HTML file in UTF-8 that fetches nothing; the same instrument always gives the same
        bytes.

    Raises
    ------
    SheetError
        Neither the plan nor the readings tell enough for a short page.
    """
    environment = Environment(
        autoescape=True,  # a title is shown as it was written, whatever it looks like
        loader=FunctionLoader(_template),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    if reader == "bench":
        return environment.get_template("bench.html").render(bench_card(instrument, readings)).encode()
    if reader == "customer":
        return environment.get_template("customer.html").render(customer_page(instrument, readings)).encode()
    # The browser is told to run this script and no other.
    script = environment.get_template("report.js").render().encode()
    environment.globals["script_hash"] = base64.b64encode(hashlib.sha256(script).digest()).decode()
    return environment.get_template("report.html").render(_content(instrument, readings)).encode()


def _content(instrument: Instrument, readings: Sequence[Reading]) -> dict[str, Any]:
    picture, layers = board_picture(instrument)
    bridge = bridge_section(instrument)
    return {
        "title": instrument.title,
        "unit": instrument.plan.units,
        "other": facts.other_unit(instrument),
        "octave": instrument.plan.action_fret,
        "version": version("slotwright"),
        "heading": facts.heading(instrument),
        "glance": facts.glance(instrument),
        "picture": picture,
        "layers": layers,
        "frets": facts.fret_table(instrument),
        "widths": facts.widths(instrument),
        "wire": wire_table(instrument),
        "unstated": facts.unstated(instrument),
        "strings": string_table(instrument),
        "pitch": pitch_section(instrument),
        "chords": chord_table(instrument),
        "contacts": contact_table(instrument),
        "bridge": bridge,
        "side": side_view(instrument),
        "history": history(instrument, readings),
        "findings": facts.findings(instrument),
        "assumed": facts.assumed(instrument),
        "cautions": cautions.of_page(bridge=bridge is not None),
    }


def _template(name: str) -> str:
    return (files(templates) / name).read_text("utf-8")
