"""The report's pages in a real browser: what a phone, a wide screen and a printer make of them.

Needs Chromium with its driver (Debian: chromium, chromium-driver); `.ci/run` installs both, and in CI nothing
is skipped. Contrast and names are judged by axe-core, which the package axe-core-python holds.
"""

import json
import os
import shutil
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import soundfile

FIXTURES = Path(__file__).parents[2] / "fixtures" / "recordings"
CUT = ("--rpm", 12000, "--flutes", 2, "--min-rpm", 6000, "--max-rpm", 24000, "--depth-mm", 1.5)
MAP = ("--flutes", 2, "--min-rpm", 6000, "--max-rpm", 24000, "--width-mm", 3, "--diameter-mm", 6)
HOSTILE = "<img src=x onerror=alert(1)> 深穴 \N{RIGHT-TO-LEFT OVERRIDE}gpj.exe שלום " + "w" * 90
SETUP = "<img src=x onerror=alert(1)> 深穴 שלום " + "w" * 40  # a setup's name is shorter, and printable
NEIGHBOUR = ("--mic-distance-m", 1, "--neighbour-distance-m", 15, "--limit-db", 50, "--minutes", 30)
WORDS = "<script>alert(2)</script>"
PAGES = ("chatter", "stable", "undecided", "hostile", "tap", "map", "card", "noise", "comparison")
PHONE, DESK = 360, 1280
A4, LETTER = 794, 816  # 210 mm and 8.5 in at 96 dots an inch (CSS Values 4)
MARGINS = 2 * 53  # 14 mm each, as the page's own style asks

pytestmark = pytest.mark.filterwarnings("ignore::ResourceWarning")  # the driver's process, ended by quit()


@pytest.fixture(scope="module")
def browser():
    found = shutil.which("chromium"), shutil.which("chromedriver")
    if None in found:
        missing = "no chromium with chromedriver here: apt-get install chromium chromium-driver"
        pytest.fail(missing) if os.environ.get("CI") == "true" else pytest.skip(missing)
    from selenium.webdriver import Chrome, ChromeOptions, ChromeService

    options = ChromeOptions()
    options.binary_location = found[0]
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = Chrome(options=options, service=ChromeService(found[1]))
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Give a folder with a page of each kind."""
    from chatter.cli import app as cli

    folder = tmp_path_factory.mktemp("pages")
    hostile = folder / f"{HOSTILE}.flac"
    shutil.copy(FIXTURES / "clock-plate-singing.flac", hostile)
    air = folder / "air" / hostile.name  # a name as bad, and another recording
    air.parent.mkdir()
    shutil.copy(FIXTURES / "clock-plate-quiet.flac", air)
    soundfile.write(folder / "noise.wav", np.random.default_rng(3).normal(0, 0.05, 96_000), 48_000)
    quiet, singing = FIXTURES / "clock-plate-quiet.flac", FIXTURES / "clock-plate-singing.flac"
    taps = FIXTURES / "clock-plate-taps-damped.flac", "--compare", FIXTURES / "clock-plate-taps.flac"
    kept = ("--notebook", folder / "kept.db")
    facts = ("--setup", SETUP, *kept, "--feed-mm-min", 480)
    add = ("--flutes", 2, "--machine", WORDS, "--tool", WORDS, "--holder", WORDS)
    for words in (
        ("setup", "add", SETUP, *kept, *add),
        ("cut", singing, *CUT, "--report", folder / "chatter.html"),
        ("cut", quiet, *CUT, *facts, "--report", folder / "stable.html"),
        ("cut", folder / "noise.wav", "--rpm", 12000, "--flutes", 2, "--report", folder / "undecided.html"),
        ("cut", hostile, *CUT, "--idle", air, "--embed-sound", "--report", folder / "hostile.html"),
        ("tap", *taps, "--flutes", 2, "--report", folder / "tap.html"),
        ("map", *MAP, "--mode", "both:680:0.03:2", "--direction", "climb", "--report", folder / "map.html"),
        ("noise", hostile, *NEIGHBOUR, "--report", folder / "noise.html"),
        ("noise", hostile, quiet, *NEIGHBOUR, "--report", folder / "comparison.html"),
        ("card", SETUP, *kept, "--report", folder / "card.html"),
    ):
        assert cli.app([str(word) for word in words], standalone_mode=False) in (None, 0)
    return folder


@pytest.fixture
def see(browser, pages):
    """Open a page at a width, in a colour scheme, on a screen or on paper."""

    def see(name, *, width=PHONE, scheme="light", medium=""):
        browser.get("about:blank")
        browser.get_log("browser"), browser.get_log("performance")
        browser.execute_cdp_cmd(
            "Emulation.setEmulatedMedia",
            {"media": medium, "features": [{"name": "prefers-color-scheme", "value": scheme}]},
        )
        browser.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": 740, "deviceScaleFactor": 1, "mobile": width == PHONE},
        )
        browser.get((pages / f"{name}.html").as_uri())
        return browser

    return see


@pytest.mark.parametrize("name", PAGES)
def test_page_gives_no_console_message_and_asks_for_nothing_outside(name, see, pages):
    seen = see(name)
    asked = [
        event["params"]["request"]["url"]
        for entry in seen.get_log("performance")
        if (event := json.loads(entry["message"])["message"])["method"] == "Network.requestWillBeSent"
    ]
    page = (pages / f"{name}.html").as_uri()
    assert page in asked
    assert [url for url in asked if url != page and not url.startswith("data:")] == []
    assert seen.get_log("browser") == []


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize(
    ("width", "medium"), [(PHONE, ""), (DESK, ""), (A4 - MARGINS, "print"), (LETTER - MARGINS, "print")]
)
def test_page_fits_the_width_of_phone_desk_and_paper(name, width, medium, see):
    seen = see(name, width=width, medium=medium)
    wide = seen.execute_script("return document.documentElement.scrollWidth")
    assert wide <= width


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_page_passes_the_accessibility_rules_of_axe(name, scheme, see):
    seen = see(name, scheme=scheme)
    seen.execute_script(files("axe_core_python").joinpath("axe.min.js").read_text(encoding="utf-8"))
    # Levels A and AA of WCAG 2.1, with contrast of 4.5 to 1 among them, and what axe itself advises.
    result = seen.execute_async_script(
        "const done = arguments[0];"
        "axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice']})"
        ".then(done, error => done({violations: [String(error)], passes: []}));"
    )
    told = [
        (rule["id"], [node["html"][:120] for node in rule["nodes"]][:3]) if isinstance(rule, dict) else rule
        for rule in result["violations"]
    ]
    assert told == []
    judged = {rule["id"] for rule in result["passes"]}
    pictures = set() if name == "comparison" else {"svg-img-alt"}  # a comparison is a table
    assert {"color-contrast", "heading-order", "page-has-heading-one"} | pictures <= judged


@pytest.mark.parametrize("name", PAGES)
def test_page_has_one_first_heading_and_words_for_every_picture(name, see):
    seen = see(name)
    levels = seen.execute_script(
        "return [...document.querySelectorAll('h1,h2,h3,h4')].map(one => Number(one.tagName[1]))"
    )
    assert levels.count(1) == 1
    assert max(levels) <= 3
    unnamed = seen.execute_script(
        "return [...document.querySelectorAll('figure svg')].filter(one => one.getAttribute('role') != 'img'"
        " || one.querySelector('title').textContent.length < 5"
        " || one.querySelector('desc').textContent.length < 15).length"
    )
    assert unnamed == 0


@pytest.mark.parametrize("name", ["hostile", "card", "noise"])
def test_hostile_name_is_shown_as_text_and_makes_no_element(name, see):
    seen = see(name)
    assert "<img src=x onerror=alert(1)>" in seen.find_element("css selector", ".subject").text
    made = "return document.querySelectorAll('script, iframe, img, object, link, form').length"
    assert seen.execute_script(made) == 0


def test_sound_is_played_from_the_page_itself(see):
    seen = see("hostile")
    length_s = seen.execute_async_script(
        "const done = arguments[0], sound = document.querySelector('audio');"
        "const tell = () => done(sound.duration);"
        "sound.readyState > 0 ? tell() : (sound.onloadedmetadata = tell, sound.onerror = () => done(-1));"
    )
    # The fixture's own length (fixtures/README.md): soundfile reads it, the browser must too.
    assert length_s == pytest.approx(soundfile.info(FIXTURES / "clock-plate-singing.flac").duration, abs=0.01)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_colours_of_a_picture_follow_the_scheme(scheme, see):
    from chatter.report._palette import PAGE_COLOURS

    seen = see("chatter", scheme=scheme)
    drawn = seen.execute_script(
        "return getComputedStyle(document.querySelector('#heard-axes_1 text, figure svg text')).fill"
    )
    ink = next(row for row in PAGE_COLOURS if row[0] == "ink")[1 if scheme == "light" else 2]
    assert drawn == f"rgb({', '.join(str(int(ink[at : at + 2], 16)) for at in (1, 3, 5))})"
