"""Make the pictures of README.md and docs/reports.md: run `python docs/make_pictures.py` in the top folder.

In: the recordings in fixtures/. Out: SVG files in docs/pictures/, as they stand in the reports.
Leaves out: anything that a report doesn't show.
"""

import re
import sys
from pathlib import Path

from chatter import analyse_cut, analyse_tap, map_stability, measure_noise
from chatter.report._svg import to_file_svg
from chatter.report.cut_page import page_of_cut
from chatter.report.map_page import page_of_map
from chatter.report.noise_page import page_of_noise
from chatter.report.page import Page, Picture
from chatter.report.tap_page import page_of_tap

ROOT = Path(__file__).parents[1]
FOLDER = ROOT / "docs" / "pictures"
RECORDINGS = ROOT / "fixtures" / "recordings"


def make_pages() -> dict[str, Page]:
    """Give the pages whose pictures are shown, by the beginning of the pictures' names."""
    machine = {"flutes": 2, "min_rpm": 6000, "max_rpm": 24000, "width_mm": 3, "diameter_mm": 6}
    told = {"rpm": 12000, "feed_mm_min": 480, "direction": "climb", "pictures": True, **machine}
    singing = analyse_cut(RECORDINGS / "clock-plate-singing.flac", depth_mm=1.5, **told)
    quiet = analyse_cut(RECORDINGS / "clock-plate-quiet.flac", depth_mm=0.5, **told)
    del told["feed_mm_min"]
    ramp = analyse_cut(RECORDINGS / "clock-plate-ramp.flac", depth_from_mm=0.4, depth_to_mm=2.8, **told)
    taps = analyse_tap(RECORDINGS / "clock-plate-taps.flac")
    noise = measure_noise(
        RECORDINGS / "clock-plate-singing.flac",
        rpm=12000,
        flutes=2,
        mic_distance_m=1,
        neighbour_distance_m=15,
        limit_db=50,
        minutes=30,
    )
    modes = ("x:680:0.03:2", "y:728:0.03:2.2")
    coast = map_stability(modes=modes, material="brass", direction="climb", **machine)
    return {
        "chatter": page_of_cut(singing),
        "stable": page_of_cut(quiet),
        "ramp": page_of_cut(ramp),
        "tap": page_of_tap(taps),
        "map": page_of_map(coast),
        "noise": page_of_noise(noise),
    }


def list_pictures(page: Page) -> dict[str, Picture]:
    """Give the pictures of a page by the names that their drawing has."""
    blocks = [block for part in page.parts for block in part.blocks]
    pictures = [block for block in blocks if isinstance(block, Picture)]
    named = {re.search(r'aria-labelledby="(\w+)-title', picture.svg): picture for picture in pictures}
    return {found[1]: picture for found, picture in named.items() if found is not None}


def main() -> None:
    """Write every picture and say how large it is."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    folder.mkdir(exist_ok=True)
    for beginning, page in make_pages().items():
        for name, picture in list_pictures(page).items():
            path = folder / f"{beginning}-{name}.svg"
            path.write_text(to_file_svg(picture.svg), encoding="utf-8")
            sys.stdout.write(f"{path.name}: {path.stat().st_size / 1000:.0f} kB\n")


if __name__ == "__main__":
    main()
