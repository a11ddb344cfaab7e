"""Score what an air pass adds: the same scenes judged without and with the same program run in air.

    PYTHONPATH=. python tests/benchmarks/air_pass.py other 160
    PYTHONPATH=. python tests/benchmarks/air_pass.py workshop 160 --seed 101

In the air pass the axes move, and the shop sounds as it does beside the cut. Both judge the same file of the
cut; the figures are those of tests/benchmarks/suite.py. Results: docs/verdicts.md.
"""

import argparse
import sys
from dataclasses import replace

from chatter.simulate import Scene
from chatter.simulate.school import SchoolScene
from tests.benchmarks.suite import SEEDS, Row, figures, from_scenes, judge, render


def judge_both(scene: Scene | SchoolScene) -> tuple[Row, Row] | None:
    """Judge one scene without and with its air pass; None where it can't be used."""
    made = render(scene, air_pass=True)
    if made is None:
        return None
    rendered, codec = made
    return judge(replace(rendered, air_pass=None), codec=codec), judge(rendered, codec=codec)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("family", choices=["other", "workshop"])
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int)
    given = parser.parse_args()
    seed = SEEDS[given.family] if given.seed is None else given.seed
    both = from_scenes(judge_both, given.family, given.count, seed)
    without, with_air = (figures([pair[place] for pair in both]) for place in (0, 1))
    sys.stdout.write(f"{'':35s} without    with\n")
    for name, value in without.items():
        sys.stdout.write(f"{name:35s}{value:8.3f}{with_air[name]:8.3f}\n")


if __name__ == "__main__":
    main()
