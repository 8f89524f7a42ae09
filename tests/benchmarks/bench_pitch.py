"""How long the pitch model takes; run with ``pytest -n0 tests/benchmarks/bench_*.py``."""

import numpy as np
from helpers import random_fretting, starter

from slotwright.layout.instrument.neck import lay_neck
from slotwright.layout.instrument.stringing import string_up
from slotwright.layout.physics.offsets import compensate


def test_one_instrument_saddle_and_nut(benchmark):
    fretting, weights = random_fretting(np.random.default_rng(1), strings=6, frets=24), np.ones((6, 24))
    benchmark(compensate, fretting, weights, nut="per string")
    assert benchmark.stats["median"] < 2e-3  # seconds


def test_from_plan_to_offsets(benchmark):
    plan = starter("nylon-six")
    neck = lay_neck(plan)
    benchmark(string_up, plan, neck)
    assert benchmark.stats["median"] < 4e-3  # seconds; nylon six, saddle and nut, with all findings
