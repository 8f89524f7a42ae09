"""What programs for a router cost, as in ``bench_speed.py``: ``pytest -n0 -s tests/benchmarks/bench_mill.py``."""

import subprocess
import sys
from functools import partial

import numpy as np
from boards import PLAIN
from helpers import least_seconds, say, times

from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.machine.programs import mill
from slotwright.layout.plan.plan import Plan
from slotwright.templates import starters

MEASURED = (
    "import atexit, resource, sys\nfrom slotwright.cli import main\n"
    "atexit.register(lambda: sys.stderr.write(str(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)))\n"
    "main(sys.argv[1:])"
)


def test_programs_against_a_fret_table_and_their_memory(tmp_path):
    (tmp_path / "heron.toml").write_text(starters()["electric-six"], "utf-8")
    peaks = []

    def run(*command):
        done = subprocess.run(
            [sys.executable, "-c", MEASURED, *command], cwd=tmp_path, capture_output=True, text=True, check=True
        )
        peaks.append(int(done.stderr) / 1024)

    ratio, ours = times(
        partial(run, "frets", "heron.toml"), partial(run, "mill", "heron.toml", "--force"), most=12, runs=3
    )
    say(f"mill: {ratio:.1f} times a fret table ({ours:.2f} s), {max(peaks):.0f} MB")
    assert ratio <= 12  # 22 slots, the radius and the outline written and simulated
    assert max(peaks) < 300


def test_cost_grows_in_a_straight_line_with_the_frets():
    sizes = (4, 12, 20, 28)

    def work(count):
        mill(
            lay_out(
                Plan.model_validate(
                    {**PLAIN, "frets": {"count": count}, "blank": {**PLAIN["blank"], "length": 560.0}}
                )
            )
        )

    work(4)
    least = np.full(len(sizes), np.inf)
    for _ in range(4):
        least = np.minimum(least, least_seconds(*(partial(work, count) for count in sizes), runs=2))
        off = np.abs(np.polyval(np.polyfit(sizes, least, 1), sizes) - least)
        if off.max() < 0.15 * max(least):
            break
    say("frets milled: " + ", ".join(f"{n} {1000 * t:.0f} ms" for n, t in zip(sizes, least, strict=True)))
    assert off.max() < 0.15 * max(least)
