"""The command line with right and wrong input, each in a process of its own."""

import json
import os
import subprocess
import sys
import wave
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile

ROOT = Path(__file__).parents[2]
RECORDING = ROOT / "fixtures" / "recordings" / "clock-plate-quiet.flac"
SETTING = ("--rpm", "12000", "--flutes", "2")


def is_one_clear_line(ran, *, codes=(1, 2)):
    assert ran.code in codes, ran
    assert ran.out == ""
    lines = ran.err.strip().splitlines()
    assert len(lines) == 1, ran.err
    assert lines[0].startswith("chatter: ")
    assert len(lines[0]) > 20
    assert "Traceback" not in ran.err
    return True


def strict(text):
    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--rpm", "0"),
        ("--rpm", "-1"),
        ("--rpm", "nan"),
        ("--rpm", "inf"),
        ("--rpm", "1e12"),
        ("--rpm", "fast"),
        ("--flutes", "0"),
        ("--flutes", "-2"),
        ("--flutes", "2.5"),
        ("--flutes", "21"),
        ("--depth-mm", "0"),
        ("--depth-mm", "nan"),
        ("--feed-mm-min", "-5"),
        ("--max-rpm", "inf"),
        ("--direction", "sideways"),
    ],
)
def test_bad_value_gives_one_line(chatter, noise_wav, option, value):
    assert is_one_clear_line(chatter("cut", noise_wav, *SETTING, option, value))


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--rpm", "7,000", "leave out units and commas"),
        ("--depth-mm", "0.5mm", "leave out units and commas"),
        ("--flutes", "two", "no whole number"),
        ("--direction", "conventional", "'--direction': 'conventional' is not one of 'up', 'climb'"),
    ],
)
def test_slip_in_a_value_is_told_with_what_to_type_and_the_help_of_its_command(
    chatter, noise_wav, option, value, told
):
    ran = chatter("cut", noise_wav, *SETTING, option, value)
    assert is_one_clear_line(ran, codes=(2,))
    assert told in ran.err
    assert ran.err.strip().endswith("see chatter cut --help")


@pytest.mark.parametrize("group", ["setup", "notebook"])
def test_group_of_commands_alone_shows_its_help(chatter, group):
    ran = chatter(group)
    assert ran.code == 0
    assert len(ran.out.splitlines()) > 5  # laid out, not squeezed into a line
    assert "Commands:" in ran.out
    assert ran.err == ""


@pytest.mark.parametrize(
    "words",
    [
        ("cut",),
        ("cut", "a.wav"),
        ("cut", "a.wav", "--rpm", "9000"),
        ("mill",),
        ("cut", "a.wav", *SETTING, "--loud"),
    ],
)
def test_wrong_command_line_exits_with_2(chatter, words):
    assert is_one_clear_line(chatter(*words), codes=(2,))


def test_limits_that_cross_are_refused(chatter, noise_wav):
    assert is_one_clear_line(
        chatter("cut", noise_wav, *SETTING, "--min-rpm", "9000", "--max-rpm", "8000"), codes=(1,)
    )


def bad_file(tmp_path, kind):
    path = tmp_path / f"{kind}.wav"
    tone = (0.1 * np.sin(np.arange(48_000) / 20)).astype(np.float32)
    if kind == "empty":
        path.touch()
    elif kind == "text":
        path.write_text("This is a list of cuts, and no sound.\n" * 50, encoding="utf-8")
    elif kind == "random":
        path.write_bytes(np.random.default_rng(2).bytes(5000))
    elif kind == "directory":
        path.mkdir()
    elif kind == "header only":
        soundfile.write(path, tone, 48_000)
        path.write_bytes(path.read_bytes()[:30])
    elif kind == "zero rate":
        with wave.open(str(path), "wb") as file:
            file.setparams((1, 2, 8000, 0, "NONE", ""))
            file.writeframes(bytes(16_000))
        data = bytearray(path.read_bytes())
        data[24:28] = bytes(4)  # the sample rate's place in a WAV header
        path.write_bytes(data)
    elif kind == "all nan":
        soundfile.write(path, np.full(48_000, np.nan, np.float32), 48_000, subtype="FLOAT")
    elif kind == "no samples":
        soundfile.write(path, tone[:0], 48_000)
    return path


LONG = "n" * 300  # more than the 255 bytes that a name may have on any usual disk


@pytest.mark.parametrize(
    "words",
    [
        ("cut", f"{LONG}.wav", *SETTING),
        ("tap", f"{LONG}.wav"),
        ("noise", f"{LONG}.wav"),
        ("cut", "noise.wav", *SETTING, "--idle", f"{LONG}.wav"),
        ("cut", "noise.wav", *SETTING, "--plot", f"{LONG}.png"),
        ("cut", "noise.wav", *SETTING, "--report", f"{LONG}.html"),
        ("batch", "table.csv", "--out", f"{LONG}.jsonl"),
        ("synth", *SETTING, "--answer", "stable", "--out", f"{LONG}/x.wav"),
    ],
    ids=["cut", "tap", "noise", "idle", "plot", "report", "batch", "synth"],
)
def test_name_that_no_file_can_have_gives_one_line(chatter, noise_wav, words):
    noise_wav.with_name("table.csv").write_text("file,rpm,flutes\nnoise.wav,12000,2\n", encoding="utf-8")
    ran = chatter(*words)
    assert is_one_clear_line(ran, codes=(1,))
    if words[-2] in ("--plot", "--report", "--out"):  # whatever writes says it alike
        assert ran.err.endswith(": file name too long: choose another place or name\n")


@pytest.mark.parametrize(
    "kind",
    ["missing", "empty", "text", "random", "directory", "header only", "zero rate", "all nan", "no samples"],
)
def test_file_that_is_no_sound_gives_one_line(chatter, tmp_path, kind):
    assert is_one_clear_line(chatter("cut", bad_file(tmp_path, kind), *SETTING), codes=(1,))


def write_phone_file(path, *, sound=None, picture=False):
    with av.open(str(path), "w") as container:
        streams = []
        if picture:
            video = container.add_stream("mpeg4", rate=10)
            video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
            streams.append((video, [av.VideoFrame(64, 48, "yuv420p") for _ in range(10)]))
        if sound is not None:
            audio = container.add_stream("aac", rate=48_000, layout="mono")
            frame = av.AudioFrame.from_ndarray(sound[None, :], format="fltp", layout="mono")
            frame.sample_rate = 48_000
            streams.append((audio, [frame]))
        for stream, frames in streams:
            for packet in (packet for frame in [*frames, None] for packet in stream.encode(frame)):
                container.mux(packet)


def test_video_without_sound_gives_one_line(chatter, tmp_path):
    write_phone_file(tmp_path / "film.mp4", picture=True)
    assert is_one_clear_line(chatter("cut", "film.mp4", *SETTING, cwd=tmp_path), codes=(1,))


def test_video_with_sound_is_read(chatter, tmp_path, noise):
    write_phone_file(tmp_path / "film.mp4", sound=noise, picture=True)
    ran = chatter("cut", "film.mp4", *SETTING, "--json", cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert strict(ran.out)["recording"]["sample_rate_hz"] == 48_000


def test_truncated_phone_file_gives_one_line(chatter, tmp_path, noise):
    path = tmp_path / "cut.m4a"
    write_phone_file(path, sound=noise)
    path.write_bytes(path.read_bytes()[:5000])  # its table of contents stands at the end
    assert is_one_clear_line(chatter("cut", path, *SETTING), codes=(1,))


def odd_sound(kind, noise):
    rng = np.random.default_rng(3)
    sounds = {
        "silence": (np.zeros(96_000, np.float32), 48_000),
        "one sample": (np.array([0.1], np.float32), 48_000),
        "noise": (noise, 48_000),
        "eight channels": (rng.normal(0, 0.05, (48_000, 8)), 48_000),
        "192 kHz": (rng.normal(0, 0.05, 192_000), 192_000),
        "8 kHz": (rng.normal(0, 0.05, 16_000), 8_000),
        "full scale": (np.sign(noise), 48_000),
        "constant": (np.full(96_000, 0.5), 48_000),
    }
    return sounds[kind]


@pytest.mark.parametrize(
    "kind", ["silence", "one sample", "noise", "eight channels", "192 kHz", "8 kHz", "full scale", "constant"]
)
def test_sound_without_a_cut_is_undecided_or_refused(chatter, tmp_path, noise, kind):
    samples, rate_hz = odd_sound(kind, noise)
    path = tmp_path / "odd.wav"
    soundfile.write(path, samples, rate_hz)
    ran = chatter("cut", path, *SETTING, "--json")
    if ran.code != 0:
        assert is_one_clear_line(ran)
        return
    document = strict(ran.out)
    assert document["verdict"] == "undecided"
    assert document["chatter_probability"] is None
    assert document["advice"]["action"] == "record again"
    assert document["recording"]["findings"] != []


@pytest.mark.parametrize(
    "name", ["two words.wav", "fräsen é 切削.wav", 'it\'s "quoted".wav', "-dash.wav", "--rpm.wav"]
)
def test_any_file_name_is_read(chatter, tmp_path, noise, name):
    soundfile.write(tmp_path / name, noise, 48_000)
    ran = chatter("cut", *SETTING, "--json", "--", name, cwd=tmp_path)
    assert ran.code == 0, ran.err
    assert strict(ran.out)["recording"]["file"] == name


def test_truncated_sound_is_judged_or_refused(chatter, tmp_path, noise):
    path = tmp_path / "cut short.flac"
    soundfile.write(path, noise, 48_000)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    ran = chatter("cut", path, *SETTING, "--json")
    assert is_one_clear_line(ran) if ran.code else strict(ran.out)["verdict"] == "undecided"


def test_text_answer_to_noise_says_how_to_record(chatter, noise_wav):
    ran = chatter("cut", noise_wav, *SETTING)
    assert ran.code == 0
    assert ran.out.startswith("UNDECIDED")
    assert "uncompressed" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80


def test_missing_idle_recording_gives_one_line(chatter, noise_wav):
    assert is_one_clear_line(chatter("cut", noise_wav, *SETTING, "--idle", "nowhere.wav"), codes=(1,))


def test_version_and_help_exit_with_0(chatter):
    assert chatter("--version").out.startswith("chatter 0.")
    for words in (
        (),
        ("--help",),
        ("cut", "--help"),
        ("batch", "--help"),
        ("demo", "--help"),
        ("synth", "--help"),
    ):
        ran = chatter(*words)
        assert ran.code == 0
        assert "Usage" in ran.out


def test_speed_that_the_sound_speaks_against_is_doubted_first_of_all(chatter):
    # The recording was made at 12,000 rpm dialled, fixtures/make_recordings.py.
    quiet = Path(__file__).parents[2] / "fixtures" / "recordings" / "clock-plate-quiet.flac"
    ran = chatter("cut", quiet, "--rpm", "9000", "--flutes", "2")
    told = " ".join(ran.out.split())
    assert told.index("check the speed and the flute count") < told.index(
        "Set next First make sure of the speed"
    )
    document = json.loads(chatter("cut", quiet, "--rpm", "9000", "--flutes", "2", "--json").out)
    assert "facts-do-not-fit" in {finding["code"] for finding in document["recording"]["findings"]}
    # At the speed that the sound favours the cut is stable, as it was made: nothing is said of chatter.
    assert (document["verdict"], document["chatter_probability"]) == ("undecided", None)
    assert not {"chatter", "chatter sideband"} & {line["kind"] for line in document["lines"]}
    right = json.loads(chatter("cut", quiet, "--rpm", "12000", "--flutes", "2", "--json").out)
    assert right["verdict"] == "stable"


QUIET = Path(__file__).parents[2] / "fixtures" / "recordings" / "clock-plate-quiet.flac"


def test_speed_typed_with_a_point_for_thousands_is_asked_about_first_of_all(chatter):
    ran = chatter("cut", QUIET, "--rpm", "12.000", "--flutes", "2")
    told = " ".join(ran.out.split())
    asked = "The speed was taken as 12 rpm, far slower than mills turn: if 12,000 was meant, type 12000"
    assert told.index(asked) < told.index("Set next First make sure of the speed")
    assert told.count(asked) == 1
    assert "Then record again before changing anything else." in told
    assert ran.code == 0  # a legal number


@pytest.mark.parametrize("rpm", ["60", "12000"])
def test_speed_that_a_mill_can_turn_is_not_asked_about(chatter, rpm):
    found = json.loads(chatter("cut", QUIET, "--rpm", rpm, "--flutes", "2", "--json").out)
    assert "speed-as-typed" not in {finding["code"] for finding in found["recording"]["findings"]}


def test_idle_recording_that_is_the_cut_itself_gives_one_line(chatter, noise_wav, tmp_path):
    copy = tmp_path / "air.wav"
    copy.write_bytes(noise_wav.read_bytes())
    ran = chatter("cut", noise_wav, *SETTING, "--idle", copy)
    assert is_one_clear_line(ran, codes=(1,))
    assert ran.err.startswith("chatter: air.wav: it is the recording of the cut itself")


@pytest.mark.parametrize(
    "words", [("cut", ".", *SETTING), ("noise", "."), ("tap", "."), ("cut", "/", *SETTING)]
)
def test_folder_in_place_of_a_recording_is_named(chatter, words):
    ran = chatter(*words)
    assert is_one_clear_line(ran, codes=(1,))
    assert ran.err.startswith(f"chatter: {words[1]}: it is a folder")


@pytest.mark.skipif(
    not Path("/dev/full").exists(), reason="only some systems have a device that is always full"
)
def test_answer_that_cannot_be_written_is_one_line():
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "chatter", "cut", str(RECORDING), *SETTING, "--json"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
            timeout=120,
        )
    assert done.returncode == 1
    assert done.stderr.startswith("chatter: the answer can't be written: ")
    assert len(done.stderr.splitlines()) == 1


@pytest.mark.skipif(sys.platform == "win32", reason="a shell of the other systems closes the streams")
@pytest.mark.parametrize(
    ("words", "closed", "code", "told"),
    [
        (("--version",), ">&-", 1, "chatter: the answer can't be written: standard output is closed: "),
        (("--version",), ">&- <&-", 1, "chatter: the answer can't be written: standard output is closed: "),
        (("cut", "gone.wav", *SETTING), ">&-", 1, "chatter: gone.wav: there is no such file"),
        (("cut", "gone.wav", *SETTING), "2>&-", 1, ""),
        (("cut", "--nonsense"), ">&- 2>&- <&-", 2, ""),
        (("synth", "--out", "OUT", *SETTING, "--answer", "stable"), ">&-", 0, "chatter: wrote "),
    ],
)
def test_closed_streams_give_no_traceback_and_a_true_exit_code(words, closed, code, told, tmp_path):
    words = [str(tmp_path / "new.wav") if word == "OUT" else word for word in words]
    done = subprocess.run(
        ["sh", "-c", f'"$0" "$@" {closed}', sys.executable, "-m", "chatter", *words],
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        timeout=120,
    )
    assert (done.returncode, done.stdout) == (code, "")
    assert done.stderr.startswith(told)
    assert len(done.stderr.splitlines()) == bool(told)
