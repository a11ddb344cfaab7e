"""The `cut` document has the fields and kinds of value that other programs rely on."""

import json
from numbers import Real

import pytest
import soundfile

from chatter import analyse_cut
from chatter.report import to_json

VERDICTS = {"stable", "marginal", "chatter", "undecided"}
LINE_KINDS = {
    "tooth passing",
    "spindle harmonic",
    "chatter",
    "chatter sideband",
    "background",
    "resonance",
    "unexplained",
}
ACTIONS = {"keep", "change speed", "reduce depth", "record again"}
CUT_FIELDS = {
    "start_s",
    "end_s",
    "measured_rpm",
    "measured_rpm_sd",
    "verdict",
    "chatter_probability",
    "chatter_hz",
    "onset_s",
    "lines",
}


def number_or_null(value):
    return value is None or (isinstance(value, Real) and not isinstance(value, bool))


def follows_the_contract(document):
    assert document["document"] == "cut"
    assert document["version"] == 1
    assert {"name", "version", "settings"} <= set(document["program"])
    recording = document["recording"]
    assert len(recording["sha256"]) == 64
    for name in ("duration_s", "sample_rate_hz", "bandwidth_hz", "channel"):
        assert isinstance(recording[name], Real)
    for finding in recording["findings"]:
        assert set(finding) == {"code", "severity", "message"}
        assert finding["severity"] in {"info", "warning", "error"}
        assert len(finding["message"].split()) >= 4
    spindle = document["spindle"]
    for name in ("programmed_rpm", "measured_rpm", "measured_rpm_sd", "rotation_hz", "tooth_passing_hz"):
        assert number_or_null(spindle[name])
    assert isinstance(spindle["flutes"], int)
    for cut in document["cuts"]:
        assert set(cut) >= CUT_FIELDS
        assert cut["verdict"] in VERDICTS
        assert (cut["chatter_probability"] is None) == (cut["verdict"] == "undecided")
    for line in document["lines"]:
        assert set(line) >= {"frequency_hz", "width_hz", "level_db", "kind", "order"}
        assert line["kind"] in LINE_KINDS
        assert (line["kind"] == "resonance") == (line["width_hz"] is not None)
    if document["cuts"]:
        worst = document["cuts"][document["cut_index"]]
        for name in ("verdict", "chatter_probability", "chatter_hz", "lines"):
            assert document[name] == worst[name]
    else:
        assert document["cut_index"] is None
        assert document["verdict"] == "undecided"
    assert "rings" in document
    advice = document["advice"]
    assert advice["action"] in ACTIONS
    assert number_or_null(advice["depth_factor"])
    assert all(isinstance(caution, str) for caution in advice["cautions"])
    for speed in advice["speeds"]:
        names = {"rpm", "set_rpm", "low_rpm", "high_rpm", "lobe", "stable_probability", "feed_mm_min", "why"}
        assert set(speed) >= names
        assert speed["low_rpm"] <= speed["rpm"] <= speed["high_rpm"]
        assert 0 <= speed["stable_probability"] <= 1
    return True


def test_document_of_noise_follows_the_contract(noise_wav):
    result = analyse_cut(noise_wav, rpm=12_000, flutes=2)
    assert follows_the_contract(json.loads(to_json(result.to_dict())))


@pytest.mark.parametrize("answer", ["stable", "chatter"])
def test_document_of_a_practice_recording_follows_the_contract(tmp_path, answer):
    from chatter.analysis import make_practice_recording

    path = tmp_path / "practice.flac"
    make_practice_recording(path, rpm=9_000, flutes=3, answer=answer, seed=4)
    document = analyse_cut(path, rpm=9_000, flutes=3, max_rpm=18_000, feed_mm_min=500, depth_mm=1).to_dict()
    assert follows_the_contract(json.loads(to_json(document)))
    assert document["cuts"] != ()
    set_speeds = [speed["set_rpm"] for speed in document["advice"]["speeds"]]
    assert all(speed <= 18_000 * 1.000001 for speed in set_speeds)


def test_nothing_is_printed(noise_wav, capsys):
    analyse_cut(noise_wav, rpm=12_000, flutes=2)
    shown = capsys.readouterr()
    assert (shown.out, shown.err) == ("", "")


def test_result_is_the_same_whichever_container_format_holds_it(tmp_path, noise):
    documents = []
    for name in ("a.wav", "a.flac"):
        soundfile.write(tmp_path / name, noise, 48_000, subtype="PCM_16")
        document = analyse_cut(tmp_path / name, rpm=12_000, flutes=2).to_dict()
        documents.append({name: document[name] for name in ("spindle", "cuts", "verdict", "advice")})
    assert documents[0] == documents[1]
