"""`--report` on the command line: what is written, what is refused before the work, how large, how quick."""

import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

FIXTURES = Path(__file__).parents[2] / "fixtures" / "recordings"
SINGING, QUIET = FIXTURES / "clock-plate-singing.flac", FIXTURES / "clock-plate-quiet.flac"
WORDS = ("--rpm", 12000, "--flutes", 2, "--min-rpm", 6000, "--max-rpm", 24000, "--depth-mm", 1.5)
MAP = ("--flutes", 2, "--min-rpm", 6000, "--max-rpm", 24000, "--width-mm", 3, "--diameter-mm", 6)


def test_cut_writes_its_page_and_says_so_on_stderr(chatter, tmp_path):
    page = tmp_path / "cut.html"
    ran = chatter("cut", SINGING, *WORDS, "--report", page, "--json")
    assert ran.code == 0, ran.err
    assert ran.err == f"chatter: wrote {page}\n"
    assert ran.out.startswith("{")  # the document and nothing else
    text = page.read_text(encoding="utf-8")
    for part in ("Chatter: this cut chattered.", "chatter 679 Hz", "12,000 rpm", "chatter from 1.2 s"):
        assert part in text
    assert "<audio" not in text


def test_document_is_the_same_with_and_without_a_page(chatter, tmp_path):
    bare = chatter("cut", SINGING, *WORDS, "--json").out
    assert chatter("cut", SINGING, *WORDS, "--json", "--report", tmp_path / "cut.html").out == bare


def test_sound_is_in_the_page_only_when_asked_for(chatter, tmp_path):
    page = tmp_path / "cut.html"
    assert chatter("cut", SINGING, *WORDS, "--report", page, "--embed-sound").code == 0
    assert '<audio controls preload="metadata" src="data:audio/flac;base64,' in page.read_text(
        encoding="utf-8"
    )
    alone = chatter("cut", SINGING, *WORDS, "--embed-sound")
    assert (alone.code, alone.out) == (1, "")
    assert "report is missing: give the file of the page" in alone.err


@pytest.mark.parametrize(
    "words",
    [
        ("cut", "none.wav", *WORDS),
        ("tap", "none.wav"),
        ("map", *MAP, "--mode", "none"),
        ("card", "none", "--notebook", "none.db"),
    ],
    ids=["cut", "tap", "map", "card"],
)
@pytest.mark.parametrize(
    ("name", "said"), [("cut.pdf", "ends in .html"), ("none/cut.html", "folder doesn't exist")]
)
def test_page_that_cannot_be_written_is_refused_before_the_work(name, said, words, chatter):
    ran = chatter(*words, "--report", name)
    assert (ran.code, ran.out) == (1, "")
    assert said in ran.err
    assert ran.err.count("\n") == 1


def test_page_of_a_minute_is_small_and_quick(tmp_path):
    # 1.5 MB and 3 s beyond the analysis are what the project asks of itself.
    from chatter import analyse_cut
    from chatter.report.cut_page import page_of_cut
    from chatter.report.page import write_page

    parts = [soundfile.read(path, dtype="float32") for path in (QUIET, SINGING)]
    minute = np.concatenate([sound for sound, _ in parts] * 6)
    path = tmp_path / "minute.flac"
    soundfile.write(path, minute, parts[0][1])
    assert len(minute) / parts[0][1] >= 59

    def spent(**options):
        begin = time.process_time()
        document = analyse_cut(path, rpm=12000, flutes=2, min_rpm=6000, max_rpm=24000, **options)
        if options:
            write_page(page_of_cut(document), path=tmp_path / "minute.html")
        return time.process_time() - begin

    spent()  # what is loaded and compiled once
    assert spent(pictures=True) - spent() < 3
    assert (tmp_path / "minute.html").stat().st_size < 1_500_000


def test_recording_without_a_cut_has_a_page_too(chatter, noise_wav, tmp_path):
    page = tmp_path / "cut.html"
    assert chatter("cut", noise_wav, "--rpm", 12000, "--flutes", 2, "--report", page).code == 0
    text = page.read_text(encoding="utf-8")
    assert "Undecided" in text
    assert "Record again" in text
    assert text.count("<figure>") == 1


def test_tap_without_ringing_has_a_page_without_pictures(chatter, noise_wav, tmp_path):
    page = tmp_path / "tap.html"
    assert chatter("tap", noise_wav, "--report", page).code == 0
    text = page.read_text(encoding="utf-8")
    assert "No ringing of the tool was heard." in text
    assert "<figure>" not in text


def test_compared_taps_say_what_changed(chatter, tmp_path):
    page = tmp_path / "tap.html"
    before, after = FIXTURES / "clock-plate-taps.flac", FIXTURES / "clock-plate-taps-damped.flac"
    assert chatter("tap", after, "--compare", before, "--flutes", 2, "--report", page).code == 0
    text = page.read_text(encoding="utf-8")
    # fixtures/make_recordings.py: 680 Hz at 3 % before, 668 Hz at 5.2 % after
    assert "The tool rings at 668.0 Hz." in text
    assert "from 680.0 to 668.0 Hz" in text
    # 60 · 668 / 2 = 20,040 rev/min, told with the digits that a spindle holds
    assert "About 20,000 rpm true: it swings once" in text


def test_map_page_shows_the_coast_in_millimetres_or_multiples(chatter, tmp_path):
    page = tmp_path / "map.html"
    mode = (*MAP, "--mode", "both:680:0.03:2", "--direction", "climb", "--report", page)
    assert chatter("map", *mode, "--material", "brass").code == 0
    assert "as sources differ about the material) should stay quiet from" in page.read_text(encoding="utf-8")
    assert chatter("map", *mode).code == 0
    assert "times the lowest limit should stay quiet from" in page.read_text(encoding="utf-8")


def test_card_page_names_the_setup_and_its_setting(chatter, tmp_path):
    kept = ("--notebook", tmp_path / "kept.db")
    filed = ("--setup", "clock plate", *kept, "--feed-mm-min", 480, "--width-mm", 3, "--diameter-mm", 6)
    words = ("--rpm", 12000, "--flutes", 2, "--depth-mm", 0.5)
    assert chatter("cut", QUIET, *words, *filed).code == 0
    page = tmp_path / "card.html"
    assert chatter("card", "clock plate", *kept, "--report", page).code == 0
    text = page.read_text(encoding="utf-8")
    assert "dial 12,000 rpm, 0.5 mm deep, feed 480 mm/min" in text
    assert "<bdi>clock plate</bdi>" in text
    assert "Every cut so far" in text
    assert "Cuts: 1 stable. Best heard stable: 12,000 rpm, 0.5 mm deep." in text


def test_card_without_cuts_has_a_page_without_pictures(chatter, tmp_path):
    kept = ("--notebook", tmp_path / "kept.db")
    assert chatter("setup", "add", "bare", "--flutes", 2, *kept).code == 0
    page = tmp_path / "card.html"
    assert chatter("card", "bare", *kept, "--report", page).code == 0
    text = page.read_text(encoding="utf-8")
    assert "No setting was heard stable yet." in text
    assert "<figure>" not in text
