import hashlib
import shutil

import av
import numpy as np
import pytest
import soundfile

from chatter.audio import read_blocks, read_recording
from chatter.audio._packets import Track, packet_pieces
from chatter.errors import BadSamplesError, BadValueError, FileProblemError
from tests.unit.audio.encode import encode, write_film

RATE_HZ = 48_000


@pytest.fixture
def noise(rng):
    return rng.normal(0, 0.1, 2 * RATE_HZ).astype(np.float32)


@pytest.fixture
def wav(tmp_path, noise):
    soundfile.write(tmp_path / "cut.wav", noise, RATE_HZ)
    return tmp_path / "cut.wav"


def codes(recording):
    return {finding.code for finding in recording.findings}


def cut_short(path, share=0.5):
    content = path.read_bytes()
    path.write_bytes(content[: int(len(content) * share)])
    return path


def test_recording_names_the_file_and_its_content(wav):
    got = read_recording(wav)
    assert got.file == "cut.wav"
    assert got.sha256 == hashlib.sha256(wav.read_bytes()).hexdigest()
    assert not got.samples.flags.writeable


@pytest.mark.parametrize("name", ["two words.m4a", "fräsen é.m4a", "-dash.m4a", "http:x.m4a", "wrong.wav"])
def test_any_file_name_is_read_by_its_content(tmp_path, monkeypatch, noise, name):
    shutil.copy(encode(tmp_path / "in.m4a", noise[None], codec="aac", rate_hz=RATE_HZ), tmp_path / name)
    monkeypatch.chdir(tmp_path)
    assert read_recording(name).rate_hz == RATE_HZ


def test_missing_file_is_refused(tmp_path):
    with pytest.raises(FileProblemError, match=r"no such file: check"):
        read_recording(tmp_path / "none.wav")


def test_folder_is_refused(tmp_path):
    with pytest.raises(FileProblemError, match=r"folder"):
        read_recording(tmp_path)


def test_forbidden_file_is_refused(wav, monkeypatch):
    def forbid(*_, **__):  # a real mode of 0 would not stop root, whom CI may run as
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(wav), "open", forbid)
    with pytest.raises(FileProblemError, match=r"may open it"):
        read_recording(wav)


def test_unreadable_disk_is_refused(wav, monkeypatch):
    def fail(*_):
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(hashlib, "file_digest", fail)
    with pytest.raises(FileProblemError, match=r"can't be read"):
        read_recording(wav)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"", "empty"),
        (b"hello " * 500, "can't be decoded"),
        (b"RIFF\x00\x00\x00\x00WAVE", "can't be decoded"),
        (b"\x00\x00\x00\x18ftypM4A " + bytes(12) + b"\x00\x00\xff\xffmdat" + bytes(400), "before its index"),
    ],
)
@pytest.mark.parametrize("name", ["no sound.wav", "no sound.mp3", "no sound.m4a"])
def test_file_that_is_no_sound_is_refused_in_silence(tmp_path, capfd, name, content, problem):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(FileProblemError, match=problem) as caught:
        read_recording(tmp_path / name)
    assert "\n" not in str(caught.value)
    assert capfd.readouterr() == ("", "")  # decoders write to the descriptors


def test_film_without_sound_is_refused(tmp_path):
    with pytest.raises(FileProblemError, match=r"no sound track: record with sound on"):
        read_recording(write_film(tmp_path / "film.mp4"))


def test_rate_of_zero_is_refused(wav):
    content = bytearray(wav.read_bytes())
    content[24:28] = bytes(4)  # RIFF WAVE: nSamplesPerSec stands at byte 24
    wav.write_bytes(content)
    with pytest.raises(BadSamplesError, match=r"rate of zero"):
        read_recording(wav)


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_samples_that_are_no_numbers_are_refused(tmp_path, noise, value):
    noise[7] = value
    soundfile.write(tmp_path / "bad.wav", noise, RATE_HZ, subtype="FLOAT")
    with pytest.raises(BadSamplesError, match=r"not numbers"):
        read_recording(tmp_path / "bad.wav")
    with pytest.raises(BadSamplesError, match=r"not numbers"):
        list(read_blocks(tmp_path / "bad.wav", block_s=1))


def test_file_without_samples_is_refused(tmp_path, noise):
    soundfile.write(tmp_path / "none.wav", noise[:0], RATE_HZ)
    with pytest.raises(BadSamplesError, match=r"holds no sound"):
        read_recording(tmp_path / "none.wav")


@pytest.mark.parametrize(
    ("name", "codec"), [("cut.wav", "pcm_s16le"), ("cut.flac", "flac"), ("cut.mp3", "libmp3lame")]
)
def test_file_that_breaks_off_gives_what_is_there_and_a_finding(tmp_path, capfd, noise, name, codec):
    sound = np.tile(noise, 10)  # 20 s, longer than one request to a decoder
    path = encode(tmp_path / name, sound[None], codec=codec, rate_hz=RATE_HZ, bit_rate=128_000)
    assert "truncated" not in codes(read_recording(path))
    got = read_recording(cut_short(path, 0.8))
    assert "truncated" in codes(got)
    assert 15 < got.duration_s < 16.5  # 0.8 of 20 s, less a packet or so
    if codec != "libmp3lame":
        np.testing.assert_allclose(got.samples[0], sound[: got.samples.shape[1]], atol=1.01 / 2**15)
    assert capfd.readouterr() == ("", "")


def test_phone_file_that_breaks_off_is_refused(tmp_path, noise):
    path = encode(tmp_path / "cut.m4a", noise[None], codec="aac", rate_hz=RATE_HZ)
    with pytest.raises(FileProblemError, match=r"before its index"):
        read_recording(cut_short(path))


def test_hole_in_the_times_becomes_silence_with_a_finding(tmp_path, noise):
    path = encode(
        tmp_path / "hole.mkv", noise[None], codec="pcm_s16le", rate_hz=RATE_HZ, skip=set(range(30, 50))
    )
    got = read_recording(path)
    assert "timestamps-jump" in codes(got)
    # Matroska's times are whole milliseconds: 48 samples.
    silent = np.flatnonzero(np.abs(got.samples[0, : 60 * 1024]) > 0)
    assert silent[np.argmax(np.diff(silent))] == pytest.approx(30 * 1024, abs=50)
    assert np.diff(silent).max() == pytest.approx(20 * 1024, abs=100)


def with_late_frame(path, *, late_s):
    """Write a second of sound at 8 kHz, whose last frame comes this much later."""
    with av.open(str(path), "w") as out:
        stream = out.add_stream("pcm_s16le", rate=8_000, layout="mono")
        for number in range(8):
            frame = av.AudioFrame.from_ndarray(np.full((1, 1000), 9_000, np.int16), "s16", "mono")
            late = round(8_000 * late_s) if number == 7 else 0
            frame.sample_rate, frame.pts = 8_000, 1000 * number + late
            for packet in stream.encode(frame):
                out.mux(packet)
        for packet in stream.encode(None):
            out.mux(packet)
    return path


def test_hole_of_hours_is_filled_a_little_at_a_time(tmp_path):
    path = with_late_frame(tmp_path / "hole.mkv", late_s=3 * 3600)
    track = Track()
    lengths = [piece.shape[1] for piece in packet_pieces(path, track=track)]
    assert track.jumped
    assert sum(lengths) == pytest.approx(8_000 * (3 * 3600 + 1), abs=16)  # Matroska: whole milliseconds
    assert max(lengths) <= 10 * 8_000
    with pytest.raises(FileProblemError, match=r"20 minutes.*holes in its times"):
        read_recording(path)


def test_times_that_leave_holes_of_days_are_refused_in_one_line(tmp_path):
    path = with_late_frame(tmp_path / "hole.mkv", late_s=3 * 86_400)
    for read in (read_recording, lambda path: list(read_blocks(path, block_s=5.0))):
        with pytest.raises(FileProblemError, match=r"holes of more than 12 hours: copy it") as caught:
            read(path)
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("name", "codec"), [("b.wav", "pcm_s16le"), ("b.m4a", "aac"), ("b.ogg", "libopus")])
@pytest.mark.parametrize("block_s", [0.01, 0.3, 1.0, 100.0])
def test_blocks_joined_are_the_recording(tmp_path, noise, name, codec, block_s):
    path = encode(tmp_path / name, np.stack([noise, -noise]), codec=codec, rate_hz=RATE_HZ)
    blocks = list(read_blocks(path, block_s=block_s))
    np.testing.assert_array_equal(
        np.concatenate([block.samples for block in blocks], axis=1), read_recording(path).samples
    )
    lengths = np.array([block.samples.shape[1] for block in blocks])
    assert (lengths[:-1] == round(block_s * RATE_HZ)).all()
    starts_s = np.concatenate([[0], np.cumsum(lengths)[:-1]]) / RATE_HZ
    np.testing.assert_allclose([block.start_s for block in blocks], starts_s, atol=1e-9)


def test_last_block_tells_that_the_file_breaks_off(wav):
    *others, last = read_blocks(cut_short(wav), block_s=0.2)
    assert [finding.code for finding in last.findings] == ["truncated"]
    assert not any(block.findings for block in others)


@pytest.mark.parametrize("block_s", [0, -1, float("nan"), float("inf")])
def test_block_length_that_is_none_is_refused(wav, block_s):
    with pytest.raises(BadValueError, match=r"block_s"):
        read_blocks(wav, block_s=block_s)


@pytest.mark.parametrize(("seconds", "refused"), [(1199, False), (1201, True)])
def test_recording_of_more_than_twenty_minutes_is_refused_in_one_line(tmp_path, seconds, refused):
    path = tmp_path / "long.flac"
    soundfile.write(path, np.full(seconds * 1000, 0.1, dtype=np.float32), 1000)
    if refused:
        with pytest.raises(FileProblemError, match=r"20 minutes.*save the part") as caught:
            read_recording(path)
        assert "\n" not in str(caught.value)
    else:
        assert read_recording(path).duration_s == seconds
    assert sum(block.samples.shape[1] for block in read_blocks(path, block_s=60)) == seconds * 1000


def test_recording_of_too_many_channels_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("chatter.audio.files.MOST_SAMPLES", 8 * 40_000)
    soundfile.write(tmp_path / "wide.wav", np.full((48_000, 8), 0.1), 48_000)
    with pytest.raises(FileProblemError, match=r"too many channels"):
        read_recording(tmp_path / "wide.wav")
