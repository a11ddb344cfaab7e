"""Names of lines, in words."""

import pytest

from chatter.model import Line
from chatter.report.cut_words import name_line


@pytest.mark.parametrize(
    ("order", "named"),
    [
        (None, "chatter, beside its main line"),
        (2, "chatter, at twice its frequency"),
        (5, "chatter, at 5 times its frequency"),
    ],
)
def test_lines_of_the_chatter_are_told_by_what_parts_them_from_it(order, named):
    line = Line(frequency_hz=2575.0, width_hz=None, level_db=-30.0, kind="chatter sideband", order=order)
    assert name_line(line) == named
