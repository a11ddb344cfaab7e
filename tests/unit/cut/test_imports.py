"""What judging a cut loads: each of these libraries would slow the start of every run."""

import subprocess
import sys

SLOW_TO_LOAD = ("scipy.signal", "scipy.stats", "scipy.optimize", "scipy.sparse", "numba")


def test_judging_a_cut_loads_no_large_library():
    code = (
        "import sys, chatter.analysis, chatter.audio, chatter.cut, chatter.advice\n"
        f"print('chatter.cut.pipeline' in sys.modules, [m for m in {SLOW_TO_LOAD!r} if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "True []"
