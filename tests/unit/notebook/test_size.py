"""Ten thousand cuts in one setup: listing and mapping them stays quick, start included."""

import random
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from chatter.model.notebook import SetupFacts
from chatter.notebook import Notebook
from tests.unit.notebook.made import made_cut

ROOT = Path(__file__).parents[3]
CUTS = 10_000
LIMIT_S = 2.0
RUNS = 12


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    path = tmp_path_factory.mktemp("large") / "n.db"
    draws = random.Random(1)
    facts = SetupFacts(flutes=2, min_rpm=3000.0, max_rpm=24_000.0, diameter_mm=6.0, width_mm=3.0)
    with Notebook(path, write=True, make=True) as notebook, notebook.whole():
        notebook.add_setup("a", facts=facts)
        for number in range(CUTS):
            rpm, depth_mm = round(draws.uniform(3000, 24_000), -2), draws.uniform(0.1, 3)  # as dialled
            chatters = depth_mm > 1.5
            document = made_cut(
                str(number),
                set_rpm=rpm,
                depth_mm=depth_mm,
                verdict="chatter" if chatters else "stable",
                chatter_hz=950.0 if chatters else None,
            )
            document["cuts"][0]["half_passing_db"] = -15.0 if number % 3 else 2.0  # all are compared
            document["cuts"][0]["lines"] = document["cuts"][0]["lines"] * 20  # as many as real ones have
            notebook.add_cut("a", document=document)
    return path


@pytest.mark.parametrize(
    "words", [("list",), ("show", "a"), ("map", "a", "--json")], ids=["list", "show", "map"]
)
def test_ten_thousand_cuts_are_listed_and_mapped_in_two_seconds(large, words, untraced):
    command = [sys.executable, "-m", "chatter", "setup", *words, "--notebook", str(large)]
    taken_s = []
    while len(taken_s) < RUNS and min(taken_s, default=LIMIT_S) >= LIMIT_S:
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        done = subprocess.run(
            command,
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
            env=untraced | {"OMP_NUM_THREADS": "1"},
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken_s.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    assert str(CUTS) in done.stdout or done.stdout.count('"cut":') == CUTS
    assert '"stable_probability": null' not in done.stdout  # the chances are worked out, too
    # The limit that the project set itself; of the process's own time, and the quickest of some runs, since
    # the other tests share the processor and slow it down by half.
    assert min(taken_s) < LIMIT_S
