"""The picture of how loud it is where: that its words and its limit don't lie across each other."""

from dataclasses import replace
from pathlib import Path

import pytest

from chatter import measure_noise
from chatter.report import noise_strip

SINGING = Path(__file__).parents[2] / "fixtures" / "recordings" / "clock-plate-singing.flac"


@pytest.fixture(scope="module")
def measured():
    return measure_noise(
        SINGING, mic_distance_m=1, neighbour_distance_m=15, limit_db=50, ear_distance_m=0.7, minutes=30
    )


# The ranges at the neighbour span some 48 to 78 dB, those at ear and phone up to 98: limits near both ends of
# the scale, at its middle and either side of that.
@pytest.mark.parametrize("limit_db", [30, 50, 56, 62, 68, 71, 73, 75, 82, 90, 100])
def test_limit_is_one_line_that_no_words_and_no_edge_cover(limit_db, measured, monkeypatch):
    kept = []
    monkeypatch.setattr(noise_strip, "to_svg", lambda figure, **_: kept.append(figure))
    noise_strip.draw_noise_strip(replace(measured, evening=replace(measured.evening, limit_db=limit_db)))
    (figure,) = kept
    figure.draw_without_rendering()
    (axes,) = figure.axes
    (limit,) = [line for line in axes.lines if list(line.get_xdata()) == [limit_db, limit_db]]
    line = limit.get_window_extent()
    words = [text for text in axes.texts if "from" in text.get_text()]
    assert len(words) == 5
    for text in words:
        box = text.get_window_extent()
        crosses = box.x0 < line.x0 < box.x1 and box.y1 > line.y0 and box.y0 < line.y1
        assert not crosses, text.get_text()
        assert box.x1 <= figure.bbox.x1
    boxes = [text.get_window_extent() for text in words]
    bars = [bar for bar in axes.lines if bar is not limit]
    assert not any(box.overlaps(bar.get_window_extent()) for box in boxes for bar in bars)
