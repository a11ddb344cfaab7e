"""`chatter noise` with several recordings: ranked, and each told about."""

import hashlib
import json

import numpy as np
import pytest
import soundfile

from tests.interface.noise_made import RATE_HZ, sine, told


def test_several_are_ranked_and_the_quietest_stable_is_named(chatter, tmp_path):
    for name, rms in (("loud", 0.2), ("soft", 0.05), ("middle", 0.1)):
        soundfile.write(tmp_path / f"{name}.wav", sine(700.0, rms), RATE_HZ, subtype="FLOAT")
    for name, verdict, rpm in (
        ("loud", "stable", 9000),
        ("soft", "chatter", 10_000),
        ("middle", "stable", 11_000),
    ):
        content = hashlib.sha256((tmp_path / f"{name}.wav").read_bytes()).hexdigest()
        held = {
            "document": "cut", "version": 1, "recording": {"sha256": content}, "verdict": verdict,
            "spindle": {"programmed_rpm": rpm, "flutes": 2},
        }  # fmt: skip
        (tmp_path / f"{name}.json").write_text(json.dumps(held), encoding="utf-8")
    words = [f"{name}.wav" for name in ("loud", "soft", "middle")]
    cuts = [word for name in ("loud", "soft", "middle") for word in ("--cut", f"{name}.json")]
    document = told(
        chatter(
            "noise",
            *words,
            *cuts,
            "--mic-distance-m",
            1,
            "--neighbour-distance-m",
            20,
            "--limit-db",
            40,
            "--json",
        )
    )
    assert document["document"] == "noise comparison"
    assert [one["file"] for one in document["ranking"]] == ["soft.wav", "middle.wav", "loud.wav"]
    assert document["quietest"] == "soft.wav"
    assert document["quietest_stable"]["file"] == "middle.wav"
    assert document["quietest_stable"]["programmed_rpm"] == 11_000
    assert [noise["document"] for noise in document["noises"]] == ["noise"] * 3
    # The loud one is told to change to the quieter stable speed.
    assert any("11,000 rpm" in text for text in document["noises"][2]["evening"]["helps"])
    ran = chatter("noise", *words, *cuts)
    assert "quietest stable speed recorded is 11,000 rpm" in " ".join(ran.out.split())
    assert max(len(line) for line in ran.out.splitlines()) <= 80


def cut_document(content):
    return json.dumps(
        {
            "document": "cut", "version": 1, "verdict": "stable",
            "recording": {"file": "whole.wav", "sha256": hashlib.sha256(content).hexdigest()},
            "spindle": {"programmed_rpm": 9000, "flutes": 2},
        }
    )  # fmt: skip


def test_cut_document_of_none_of_the_recordings_is_refused_by_name(chatter, tone, tmp_path):
    soundfile.write(tmp_path / "soft.wav", sine(700.0, 0.05), RATE_HZ, subtype="FLOAT")
    (tmp_path / "mine.json").write_text(cut_document(tone.read_bytes()), encoding="utf-8")
    (tmp_path / "other.json").write_text(cut_document(b"another recording"), encoding="utf-8")
    for recordings in ((tone,), (tone, "soft.wav")):
        assert chatter("noise", *recordings, "--cut", "mine.json").code == 0
        ran = chatter("noise", *recordings, "--cut", "mine.json", "--cut", "other.json")
        assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
        assert ran.err.startswith("chatter: cut is 'other.json': give ")
        assert "'whole.wav'" in ran.err


@pytest.mark.parametrize(
    ("there", "odd"),
    [
        ('"flutes": 2', '"flutes": 1e999'),
        ('"flutes": 2', '"flutes": 0'),
        ('"programmed_rpm": 9000', '"programmed_rpm": 0'),
        ('"programmed_rpm": 9000', f'"programmed_rpm": {10**400}'),
        ('"flutes": 2', '"flutes": ' + "[" * 100_000),
    ],
    ids=["endless", "no flutes", "no speed", "huge", "deep"],
)
def test_cut_document_of_an_impossible_spindle_gives_one_line(chatter, tone, tmp_path, there, odd):
    document = cut_document(tone.read_bytes())
    assert there in document
    (tmp_path / "odd.json").write_text(document.replace(there, odd), encoding="utf-8")
    ran = chatter("noise", tone, "--cut", "odd.json")
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert ran.err.startswith("chatter: odd.json: it isn't ")


def test_comparison_has_a_report_too(chatter, tone, tmp_path):
    soundfile.write(tmp_path / "soft.wav", sine(1000.0, 0.01), RATE_HZ)
    ran = chatter("noise", tone, "soft.wav", "--report", tmp_path / "two.html")
    assert ran.code == 0
    html = (tmp_path / "two.html").read_text(encoding="utf-8")
    assert html.index("soft.wav") < html.index("tone.wav")
    rows = told(chatter("noise", tone, "soft.wav", "--json"))["noises"]
    assert "the adjustment for tones, dB" in html
    for row in rows:  # a pure tone has the whole adjustment of 6 dB (ISO 1996-2:2007, Annex C)
        assert row["tonal_adjustment_db"] == pytest.approx(6.0, abs=0.05)
    assert html.count(">6.0<") == 2
    refused = chatter("noise", tone, "soft.wav", "--report", tmp_path / "three.html", "--embed-sound")
    assert (refused.code, refused.out, refused.err.count("\n")) == (1, "", 1)


def test_comparison_names_the_quietest_that_has_sound_and_the_silent_one(chatter, tmp_path):
    soundfile.write(tmp_path / "silence.wav", np.zeros(2 * RATE_HZ), RATE_HZ)
    for name, rms in (("loud", 0.2), ("soft", 0.02)):
        soundfile.write(tmp_path / f"{name}.wav", sine(700.0, rms), RATE_HZ, subtype="FLOAT")
    document = told(chatter("noise", "silence.wav", "loud.wav", "soft.wav", "--json"))
    assert document["quietest"] == "soft.wav"
    assert document["says"][0].startswith("soft.wav is the quietest, 20.0 dB below the next")  # 20 lg 10
    assert document["says"][1].startswith("silence.wav holds nothing but digital silence")
    says = told(chatter("noise", "silence.wav", "loud.wav", "--json"))["says"]
    assert says[0].startswith("loud.wav is the quietest, as the only one")
    assert "silence.wav holds nothing" in says[1]
    (says,) = told(chatter("noise", "silence.wav", "silence.wav", "--json"))["says"]
    assert says == "None of the recordings holds any sound."


def test_comparison_tells_each_recordings_own_range_findings_evening_and_ear(chatter, tmp_path):
    soundfile.write(tmp_path / "whole.wav", sine(440.0, 0.1), RATE_HZ, subtype="FLOAT")
    soundfile.write(tmp_path / "clipped.wav", np.clip(sine(440.0, 1.5), -1, 1), RATE_HZ)
    words = ("noise", "whole.wav", "clipped.wav", "--full-scale-db", 120, "--report", "two.html")
    ran = chatter(*words)
    document = told(chatter("noise", "whole.wav", "clipped.wav", "--full-scale-db", 120, "--json"))
    assert [round(one["uncertainty_db"], 1) for one in document["ranking"]] == [1.0, 3.2]  # sqrt(1 + 9)
    html = (tmp_path / "two.html").read_text(encoding="utf-8")
    for shown in (ran.out, html):
        text = " ".join(shown.split())
        levels_db = [noise["levels"]["LAeq_db"] for noise in document["noises"]]
        assert f"{levels_db[0] - 1:.0f} to {levels_db[0] + 1:.0f}" in text
        assert f"{levels_db[1] - 3.162:.0f} to {levels_db[1] + 3.162:.0f}" in text
        assert "clipped.wav: The loudest parts are cut off at full scale" in text
        assert "±1 dB" in text
        assert "±3 dB" in text
    there = ("--mic-distance-m", 1, "--neighbour-distance-m", 20, "--limit-db", 60, "--ear-distance-m", 1)
    text = " ".join(chatter(*words[:5], *there).out.split())
    assert "whole.wav: " in text.partition("The evening")[2].partition("At your ear")[0]
    assert "clipped.wav: LEX,8h" in text


def compared(chatter, tmp_path, *words):
    """Give the document, text and page of a comparison, both in one line."""
    page = tmp_path / "noises.html"
    text = chatter("noise", *words, "--report", page).out
    assert max(len(line) for line in text.splitlines()) <= 80
    document = told(chatter("noise", *words, "--json"))
    return document, " ".join(text.split()), " ".join(page.read_text(encoding="utf-8").split())


def test_recording_whose_level_is_in_doubt_is_ranked_last_and_never_called_the_quietest(chatter, tmp_path):
    for name, rms in (("loud", 0.2), ("soft", 0.05), ("faint-recording-of-it", 0.2 / 3000)):
        soundfile.write(tmp_path / f"{name}.wav", sine(700.0, rms), RATE_HZ, subtype="PCM_24")
    faint, held = "faint-recording-of-it.wav", json.loads(cut_document(b""))
    held["recording"]["sha256"] = hashlib.sha256((tmp_path / faint).read_bytes()).hexdigest()
    (tmp_path / "faint.json").write_text(json.dumps(held), encoding="utf-8")
    document, text, page = compared(chatter, tmp_path, faint, "loud.wav", "soft.wav")
    assert [one["file"] for one in document["ranking"]] == ["soft.wav", "loud.wav", faint]
    assert [one["level_in_doubt"] for one in document["ranking"]] == [False, False, True]
    assert document["quietest"] == "soft.wav"
    said = f"The level of {faint} is in doubt, so it is ranked last."
    # 20 lg 4 = 12.0 dB, by hand
    quietest = "soft.wav is the quietest, of those whose level isn't in doubt, 12.0 dB below the next"
    assert document["says"][0] == said
    assert document["says"][1].startswith(quietest)
    assert f"{faint} (level in doubt)" in text
    assert f"{faint} (level in doubt)" in page
    assert "quietest first, levels in doubt last" in text
    assert said in page
    # Beside one alone nothing can be told, and a stable cut of it is not called the quietest either.
    document, text, page = compared(chatter, tmp_path, faint, "loud.wav", "--cut", "faint.json")
    assert (document["quietest"], document["quietest_stable"]) == (None, None)
    said = f"The level of {faint} is in doubt, so which recording is the quietest can't be told."
    assert document["says"] == [
        said,
        "Which stable speed is the quietest can't be told, because the level is in doubt.",
    ]
    for shown in (text, page):
        assert "is the quietest" not in shown.replace("recording is the quietest can", "").replace(
            "speed is the quietest can", ""
        )
    # Nor is its speed advised as a quieter one.
    place = ("--mic-distance-m", 1, "--neighbour-distance-m", 20, "--limit-db", 40)
    document, _, _ = compared(chatter, tmp_path, faint, "loud.wav", "--cut", "faint.json", *place)
    assert document["noises"][0]["evening"]["helps"]
    assert "9,000 rpm" not in " ".join(document["noises"][0]["evening"]["helps"])


def test_recordings_whose_levels_are_all_in_doubt_have_no_order(chatter, tmp_path):
    for name, rms in (("loud", 0.2), ("soft", 0.05)):
        soundfile.write(tmp_path / f"{name}.wav", sine(700.0, rms), RATE_HZ, subtype="PCM_24")
    document, text, page = compared(chatter, tmp_path, "loud.wav", "soft.wav", "--full-scale-db", 170)
    assert document["quietest"] is None
    (said,) = document["says"]
    assert said.startswith("The levels of soft.wav and loud.wav are in doubt, so which")
    assert "NOISE: 2 recordings, levels in doubt at the phone" in text
    assert "uietest first" not in text + page


def test_comparison_of_recordings_with_long_names_keeps_to_80_columns(chatter, tone, tmp_path):
    names = [f"{'long-name-' * 6}{number}.wav" for number in (1, 2)]
    for name in names:
        (tmp_path / name).write_bytes(tone.read_bytes())
    lines = chatter("noise", *names).out.splitlines()
    assert max(map(len, lines)) <= 80
    assert [line for line in lines if line.strip() in names] == [f"     {name}" for name in names]
