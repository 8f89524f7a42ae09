"""Whatever a maker writes is drawn whole, or refused with the key that is to blame.

``SLOTWRIGHT_DEEP=20000 python -m pytest tests/properties`` tries as many plans, other ones every time.
"""

import math
import re
import tomllib
import warnings

import pytest
import tomlkit
from helpers import contents as plan_contents
from helpers import parts, prove
from hypothesis import strategies as st
from plan_space import About, bridge, calibration, contents, frets, jig, job, nut, scale, setup, spoilt, string
from plan_space import blank as blank_keys
from plan_space import board as board_keys

from slotwright.layout.drawing.catalogue import described, draw_sheet
from slotwright.layout.drawing.sheet import Text
from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.names import BRIDGE_KINDS
from slotwright.layout.plan.reader import parse_plan
from slotwright.layout.plan.tables import (
    Blank,
    Board,
    Bridge,
    Calibration,
    Frets,
    Jig,
    Job,
    Nut,
    Plan,
    Scale,
    Setup,
    String,
)

ROUNDING = 1e-6  # mm
NO_NUMBER = re.compile(r"(?<![\w.])-?(nan|inf|None)(?![\w.])")


def numbers(value):
    """Go through every number of an entity."""
    if isinstance(value, float | int):
        yield value
    elif isinstance(value, tuple):
        for each in value:
            yield from numbers(each)


def check_drawn(sheet):
    left, bottom, right, top = sheet.box
    assert math.isfinite(right - left)
    assert math.isfinite(top - bottom)
    for entity in sheet.entities:
        assert all(math.isfinite(n) for field in entity.__slots__ for n in numbers(getattr(entity, field))), entity
        box = entity.box()
        assert box[0] >= left - ROUNDING
        assert box[1] >= bottom - ROUNDING
        assert box[2] <= right + ROUNDING
        assert box[3] <= top + ROUNDING
        if isinstance(entity, Text) and sheet.title not in entity.text:
            assert not NO_NUMBER.search(entity.text)


def drawn(made, *, mirrored=False):
    """Draw all that a plan describes; give the sheets, or the refusal."""
    with warnings.catch_warnings(action="error"):  # numpy would tell the maker of its divisions
        try:
            instrument = lay_out(Plan.model_validate(made))
            return [draw_sheet(instrument, name, mirrored=mirrored) for name in described(instrument)], None
        except PlanError as error:
            return [], error


def names_a_key(fault):
    """Tell whether a fault names a key of the plan, or one that no plan has."""
    head = re.match(r"\w*", fault.where)[0]
    return head in Plan.model_fields or (fault.where and fault.what == "unknown key")


def drawn_or_refused(made, mirrored):
    sheets, refusal = drawn(made, mirrored=mirrored)
    for sheet in sheets:
        check_drawn(sheet)
    if refusal is not None:
        assert refusal.faults
        for fault in refusal.faults:
            assert names_a_key(fault), fault
    else:
        assert len(sheets) >= 3  # board, slots and stick ask for nothing


@pytest.mark.parametrize("part", parts(8))
def test_a_plan_is_drawn_or_refused(part):
    prove(lambda made: drawn_or_refused(*made), st.tuples(contents(), st.booleans()), 200, part)


@pytest.mark.parametrize("part", parts(2))
def test_a_plan_with_a_slip_of_the_hand_is_drawn_or_refused(part):
    prove(lambda made: drawn_or_refused(made, mirrored=False), spoilt(), 200, part)


def test_a_board_without_width_at_its_end_is_refused_in_our_words_alone():
    made = plan_contents(strings=1, board={"nut_width": 16, "edge_margin": 0}, frets={"count": 1})
    sheets, refusal = drawn(made)
    assert not sheets
    assert refusal.faults[0].where == "frets.slot_inset"


def test_most_of_these_plans_can_be_drawn():
    # Or else the tests above would hardly draw anything.
    told = []

    def stands(made):
        try:
            lay_out(Plan.model_validate(made))
        except PlanError:
            return False
        return True

    # Examples come in clusters of like ones, so it takes many for a share; what can be laid out can be drawn.
    prove(lambda made: told.append(stands(made)), contents(), 1500, 0)
    assert sum(told) > 0.6 * len(told)


def test_the_plans_know_every_table_and_key():
    about = About(6, 22, "mm", 648.0, 43.0, wild=False, octave=12, zero_fret=False, gauges=(0.3,) * 6)

    def keys(*tables):
        return {key for table in tables for key in table}

    one, square = scale(about, None, None)
    two, _ = scale(about, 628.0, 648.0)
    assert keys(one, two, square) == set(Scale.model_fields)
    assert keys(*frets(about, 12, None), *frets(about, 12, [1200])) == set(Frets.model_fields)
    given, _, rest = board_keys(about, 6)
    assert keys(given, rest, ["edge_margin", "width_at"]) == set(Board.model_fields)
    assert keys(job()) == set(Job.model_fields)
    assert keys(*blank_keys(about)) == set(Blank.model_fields)
    assert keys(jig(about)) == set(Jig.model_fields)
    assert keys(setup(about)[1], ["nut_action", "first_gap"]) == set(Setup.model_fields)
    assert keys(calibration()) == set(Calibration.model_fields)
    assert keys(nut(about)) == set(Nut.model_fields)
    told = []
    prove(told.append, string(about, 0), 1000)
    assert keys(["course"], *told) == set(String.model_fields)
    assert keys(["kind"], *(table for kind in BRIDGE_KINDS for table in bridge(about, kind))) == set(
        Bridge.model_fields
    )


def built(build):
    """Build a plan; give its millimetres, or the faults it was refused for."""
    try:
        return build().model_dump()
    except PlanError as error:
        return [str(fault) for fault in error.faults]


@pytest.mark.parametrize("strategy", [contents, spoilt])
def test_a_plan_is_the_same_however_it_is_built(strategy):
    def holds(made):
        through = built(lambda: Plan.model_validate(made))
        try:
            text = tomlkit.dumps(made).encode()
        except (TypeError, ValueError, OverflowError):
            return  # what no file could hold
        if b"0" * 400 in text:
            return  # 10**400, longer than a number of TOML may be: a file that holds it is no plan at all
        if tomllib.loads(text.decode()) == made:
            assert through == built(lambda: parse_plan(text))

    prove(holds, strategy(), 100)
