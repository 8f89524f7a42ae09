"""How long the pitch model takes, as ratios; run with ``pytest -n0 tests/benchmarks/bench_*.py``."""

import numpy as np
from helpers import random_fretting, say, starter, times

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.neck import lay_neck
from slotwright.layout.instrument.stringing import string_up
from slotwright.layout.instrument.tolerances import DRAWS, simulate
from slotwright.layout.physics.offsets import compensate
from slotwright.layout.physics.pitch import errors, parts

FRETTING, WEIGHTS = random_fretting(np.random.default_rng(1), strings=6, frets=24), np.ones((6, 24))

MANY = 20


def test_one_instrument_saddle_and_nut():
    """A search is a handful of looks at the model, with what it takes to solve for a step."""
    looks, whole = times(
        lambda: [errors(FRETTING, np.zeros(6), np.zeros(6)) for _ in range(MANY)],
        lambda: [compensate(FRETTING, WEIGHTS, nut="per string") for _ in range(MANY)],
        most=20,
    )
    say(f"offsets of one instrument: {1e3 * whole / MANY:.2f} ms, {looks:.1f} looks at the model")
    assert looks <= 20


def test_from_plan_to_offsets():
    plan = starter("nylon-six")
    neck = lay_neck(plan)
    searches, whole = times(
        lambda: [compensate(FRETTING, WEIGHTS, nut="per string") for _ in range(MANY)],
        lambda: [string_up(plan, neck) for _ in range(MANY)],
        most=6,
    )
    say(f"a plan's strings with all their findings: {1e3 * whole / MANY:.2f} ms, {searches:.1f} searches")
    assert searches <= 6


def test_ten_thousand_instruments():
    """As many instruments cost little more than as many looks at the model."""
    instrument = lay_out(starter("electric-six"))
    strung = instrument.strung
    assert (DRAWS, strung.weights.shape) == (10_000, (6, 22))
    saddle, nut = (np.broadcast_to(each, (DRAWS, 6)) for each in (strung.offsets.saddle, strung.offsets.nut))
    looks, whole = times(lambda: parts(strung.fretting, saddle, nut), lambda: simulate(instrument, {}), most=4)
    say(f"{DRAWS} instruments: {whole:.2f} s, {looks:.1f} times the model alone")
    assert looks <= 4
