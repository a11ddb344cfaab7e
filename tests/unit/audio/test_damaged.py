"""Files of which a stretch is damaged, or the end is missing: the rest keeps its time."""

import numpy as np
import pytest

from chatter.audio import read_blocks, read_recording
from chatter.audio._containers import adts_gaps, ogg_breaks_off
from tests.unit.audio.encode import encode

CLICKS_S = np.arange(0.5, 10, 0.5)
LENGTH_S = 10.0


def clicks(rng, rate_hz):
    """Give ten seconds of faint noise with a click each half second."""
    time_s = np.arange(round(LENGTH_S * rate_hz)) / rate_hz
    sound = 0.01 * rng.normal(size=len(time_s))
    for at_s in CLICKS_S:
        away = time_s - at_s
        sound += 0.8 * np.exp(-((away / 5e-4) ** 2)) * np.cos(2 * np.pi * 1500 * away)
    return sound[None].astype(np.float32)


def late_s(recording):
    """Give how late each click is that is still there."""
    late = []
    for at_s in CLICKS_S:
        first = round((at_s - 0.2) * recording.rate_hz)
        part = np.abs(recording.samples[0, first : first + round(0.4 * recording.rate_hz)])
        if len(part) and part.max() > 0.4:
            late.append((first + int(np.argmax(part))) / recording.rate_hz - at_s)
    return np.array(late)


def codes(recording):
    return {finding.code for finding in recording.findings}


def spoil(path, *, at=1 / 3, stretch):
    content = bytearray(path.read_bytes())
    start = round(at * len(content))
    content[start : start + len(stretch)] = stretch
    path.write_bytes(content)
    return path


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("a.aac", "aac"),
        ("a.m4a", "aac"),
        ("a.mkv", "aac"),
        ("a.ts", "aac"),
        ("a.mp3", "libmp3lame"),
        ("a.ogg", "libopus"),
        ("a.webm", "libopus"),
        ("a.flac", "flac"),
    ],
)
@pytest.mark.parametrize("filled", ["zeros", "garbage"])
def test_one_damaged_stretch_becomes_silence_and_the_rest_keeps_its_time(tmp_path, rng, name, codec, filled):
    path = encode(tmp_path / name, clicks(rng, 48_000), codec=codec, rate_hz=48_000)
    stretch = bytes(2000) if filled == "zeros" else rng.bytes(2000)
    got = read_recording(spoil(path, stretch=stretch))
    assert codes(got) & {"damaged", "timestamps-jump"}
    assert "truncated" not in codes(got)
    late = late_s(got)
    # 2000 bytes are a quarter of a second at 64 kbit/s; a lost page or cluster of Ogg or WebM is a second or
    # two of sound. All clicks but those are still there.
    assert len(late) >= len(CLICKS_S) - 3
    # A lost packet that was not filled would be 20 ms or more. In files without times the loss is told by
    # bytes, so right within two frames of 24 ms.
    assert np.quantile(np.abs(late), 0.9) < (0.05 if name in {"a.aac", "a.mp3"} else 1e-3)
    assert got.duration_s == pytest.approx(LENGTH_S, abs=0.05)


def test_stretch_too_long_for_the_demuxer_is_passed_too(tmp_path, rng):
    sound = np.tile(clicks(rng, 48_000), 4)
    path = encode(tmp_path / "long.aac", sound, codec="aac", rate_hz=48_000)
    size = path.stat().st_size
    got = read_recording(spoil(path, at=0.25, stretch=bytes(size // 2)))
    assert codes(got) == {"damaged"}
    # Half of the file is 20 s of silence, give or take how evenly the encoder spreads its bytes.
    assert got.duration_s == pytest.approx(40, abs=0.5)
    assert np.abs(got.samples[0, 15 * 48_000 : 25 * 48_000]).max() == 0
    assert np.abs(got.samples[0, -9 * 48_000 :]).max() > 0.4


def test_frame_of_an_adts_file_with_a_good_header_but_bad_content_costs_only_itself(tmp_path, rng):
    path = encode(tmp_path / "one.aac", clicks(rng, 48_000), codec="aac", rate_hz=48_000)
    content = bytearray(path.read_bytes())
    at = 0
    for _ in range(100):
        at += (content[at + 3] & 3) << 11 | content[at + 4] << 3 | content[at + 5] >> 5
    content[at + 7 : at + 60] = b"\xff" * 53
    path.write_bytes(content)
    assert adts_gaps(path)[1] == []
    got = read_recording(path)
    assert len(late_s(got)) >= len(CLICKS_S) - 1
    assert np.abs(late_s(got)).max() < 1e-3
    assert codes(got) == {"damaged"}


def test_whole_adts_file_has_no_gaps(tmp_path, rng):
    path = encode(tmp_path / "whole.aac", clicks(rng, 48_000), codec="aac", rate_hz=48_000)
    assert adts_gaps(path) == ([(0, path.stat().st_size)], [])
    assert codes(read_recording(path)) == set()


def test_gap_of_an_adts_file_is_found_where_it_was_made(tmp_path, rng):
    path = encode(tmp_path / "gap.aac", clicks(rng, 48_000), codec="aac", rate_hz=48_000)
    size = path.stat().st_size
    _, (gap,) = adts_gaps(spoil(path, at=0.5, stretch=bytes(3000)))
    # A frame at 64 kbit/s has about 200 bytes, at most 400: those cut in two are lost whole.
    assert gap.after_bytes == pytest.approx(size / 2, abs=400)
    assert 3000 <= gap.lost_bytes <= 3800


@pytest.mark.parametrize(
    ("name", "codec"), [("a.aac", "aac"), ("a.ogg", "libopus"), ("a.webm", "libopus"), ("a.mkv", "aac")]
)
@pytest.mark.parametrize("share", [0.5, 0.8])
def test_file_that_breaks_off_says_so(tmp_path, rng, name, codec, share):
    path = encode(tmp_path / name, clicks(rng, 48_000), codec=codec, rate_hz=48_000)
    assert codes(read_recording(path)) == set()
    path.write_bytes(path.read_bytes()[: round(share * path.stat().st_size)])
    got = read_recording(path)
    assert "truncated" in codes(got)
    assert "damaged" not in codes(got)
    # Containers write whole pages or clusters; the longest of these here holds a second.
    assert got.duration_s == pytest.approx(share * LENGTH_S, abs=1.1)


def test_ogg_file_cut_between_two_pages_breaks_off(tmp_path, rng):
    path = encode(tmp_path / "a.ogg", clicks(rng, 48_000), codec="libopus", rate_hz=48_000)
    assert not ogg_breaks_off(path)
    content = path.read_bytes()
    path.write_bytes(content[: content.rfind(b"OggS")])  # the last page marks the end (RFC 3533, 6)
    assert ogg_breaks_off(path)
    path.write_bytes(content[: content.rfind(b"OggS") + 20])
    assert ogg_breaks_off(path)
    path.write_bytes(bytes(100))
    assert ogg_breaks_off(path)


@pytest.mark.parametrize("name", ["voice.amr", "voice.3gp"])
def test_telephone_codec_is_neither_early_nor_late(tmp_path, rng, name):
    path = encode(
        tmp_path / name, clicks(rng, 8000), codec="libopencore_amrnb", rate_hz=8000, bit_rate=12_200
    )
    got = read_recording(path)
    late = late_s(got)
    assert len(late) == len(CLICKS_S)
    assert np.abs(late).max() < 2.5e-4  # two samples of 8 kHz; a codec of speech moves a click by one
    assert codes(got) == {"headset-codec"}


def test_damage_in_the_telephone_codec_of_a_film_keeps_the_times(tmp_path, rng):
    path = encode(
        tmp_path / "voice.3gp", clicks(rng, 8000), codec="libopencore_amrnb", rate_hz=8000, bit_rate=12_200
    )
    got = read_recording(spoil(path, stretch=bytes(2000)))
    assert "damaged" in codes(got)
    assert got.duration_s == pytest.approx(LENGTH_S, abs=1e-3)
    assert np.abs(late_s(got)).max() < 1e-3


def test_last_block_tells_of_damage(tmp_path, rng):
    path = encode(tmp_path / "a.m4a", clicks(rng, 48_000), codec="aac", rate_hz=48_000)
    *others, last = read_blocks(spoil(path, stretch=bytes(2000)), block_s=1.0)
    assert [finding.code for finding in last.findings] == ["damaged"]
    assert not any(block.findings for block in others)
