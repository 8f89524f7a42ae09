"""How long ten thousand slipped instruments take; run with ``pytest -n0 tests/benchmarks/bench_*.py``."""

from helpers import starter

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.instrument.tolerances import DRAWS, simulate


def test_ten_thousand_instruments(benchmark):
    instrument = lay_out(starter("electric-six"))
    assert (DRAWS, instrument.strung.weights.shape) == (10_000, (6, 22))
    benchmark.pedantic(simulate, args=(instrument, {}), rounds=3, warmup_rounds=1)
    assert benchmark.stats["median"] < 3.0  # seconds, on one core
