"""Findings: data made once, and the same wherever they are shown."""

import html
import json
import re

from helpers import contents

from slotwright.layout import draw, intonate, lay_out, read_readings
from slotwright.layout.export.report.page import page
from slotwright.layout.plan.plan import Plan
from slotwright.layout.units import cents

# A narrow board with marks in the way, thin strings that may break, a bridge that is too short.
ODD = contents(
    strings=[
        {"pitch": "A4", "gauge": 0.254, "kind": "plain steel"},
        {"pitch": "A2", "gauge": 1.0, "kind": "wound steel"},
    ],
    board={"position_marks": [12], "mark_diameter": 25, "edge_margin": 1.5},
    bridge={"kind": "individual saddles", "travel": 1.0, "reserve": 0.2},
    compensation={"tolerance": 0.05},
)


def test_a_finding_is_the_same_wherever_it_is_shown():
    instrument = lay_out(Plan.model_validate(ODD))
    kinds = {finding.kind for finding in instrument.findings}
    assert {"crowded mark", "near the edge", "load", "beyond travel", "estimated core", "beyond tolerance"} <= kinds
    assert all(finding.subject and finding.words for finding in instrument.findings)
    assert len(instrument.findings) == len({finding.words for finding in instrument.findings})

    text = " ".join(html.unescape(page(instrument).decode()).split()).lower()
    text = re.sub(r" \([^()]* in\)", "", text)  # the page tells lengths in inches too
    sheet = draw(instrument, "bridge")
    drawn = " ".join(entity.text for entity in sheet.entities if hasattr(entity, "text")).lower()
    for finding in instrument.findings:
        first = finding.words.split(";")[0].lower()
        assert first in text, finding
        if finding in (*instrument.warnings, *instrument.bridge_findings):
            assert first in drawn, finding


def test_numbers_of_a_finding_are_those_of_its_words():
    instrument = lay_out(Plan.model_validate(ODD))
    by = {finding.kind: finding for finding in instrument.findings}
    near, short = by["near the edge"], by["beyond travel"]
    assert f"{near.numbers['margin']:.2f} mm" in near.words
    assert near.numbers["margin"] < near.numbers["limit"] == 2
    assert f"{-short.numbers['left']:.2f} mm" in short.words
    stays = by["beyond tolerance"]
    assert f"{cents(stays.numbers['cents'])} cents" in stays.words
    assert abs(stays.numbers["cents"]) > stays.numbers["tolerance"] == 0.05
    json.dumps([finding.data for finding in instrument.findings], allow_nan=False)


def test_findings_of_the_bench_as_data():
    instrument = lay_out(Plan.model_validate(ODD))
    rows = "".join(f"1,{fret},{10 if fret < 4 else 0}\n" for fret in range(1, 15))
    found = intonate(instrument, read_readings(f"string,fret,cents\n{rows}", instrument))
    (stays,) = [finding for finding in found.strings[0].findings if finding.kind == "no position"]
    assert stays.subject == "string 1"
    assert f"below {stays.numbers['least']:.1f} cents" in stays.words
    json.dumps(stays.data, allow_nan=False)
