"""The quality of a recording that streams by."""

import numpy as np
import pytest

from chatter.audio import Block, Watch
from chatter.audio.findings import describe

RATE_HZ = 22_050


def watch(samples, *, rate_hz=RATE_HZ, block_s=5.0, codec="", findings=()):
    values = np.atleast_2d(samples).astype(np.float32)
    seen = Watch()
    step = round(block_s * rate_hz)
    for start in range(0, values.shape[1], step):
        last = start + step >= values.shape[1]
        seen.add(
            Block(
                start_s=start / rate_hz,
                rate_hz=rate_hz,
                samples=values[:, start : start + step],
                codec=codec,
                findings=findings if last else (),
            )
        )
    bandwidth_hz, found = seen.finish()
    return bandwidth_hz, [finding.code for finding in found]


def band_limited(rng, seconds, rate_hz, top_hz):
    spectrum = np.fft.rfft(rng.normal(0, 0.05, round(seconds * rate_hz)))
    spectrum[np.fft.rfftfreq(round(seconds * rate_hz), 1 / rate_hz) > top_hz] = 0
    return np.fft.irfft(spectrum)


@pytest.mark.parametrize("top_hz", [3400, 8000, 24_000])
def test_short_recording_is_judged_as_in_one_piece(top_hz, rng):
    samples = band_limited(rng, 10, 48_000, top_hz)
    whole_hz, whole = describe(samples[None].astype(np.float32), rate_hz=48_000)
    bandwidth_hz, codes = watch(samples, rate_hz=48_000)
    assert bandwidth_hz == pytest.approx(whole_hz, abs=200)  # a band of the spectrum: fewer pieces are taken
    assert codes == [finding.code for finding in whole]


def test_clipping_in_one_block_of_a_long_recording_is_told(rng):
    samples = rng.normal(0, 0.02, 150 * RATE_HZ)
    assert watch(samples)[1] == []
    samples[100 * RATE_HZ : 101 * RATE_HZ] = np.clip(80 * samples[100 * RATE_HZ : 101 * RATE_HZ], -1, 1)
    assert "clipped" in watch(samples)[1]


def test_quiet_means_all_of_it(rng):
    samples = rng.normal(0, 2e-4, 130 * RATE_HZ)
    assert "quiet" in watch(samples)[1]
    samples[70 * RATE_HZ : 75 * RATE_HZ] *= 200
    assert "quiet" not in watch(samples)[1]


def test_steady_tone_has_no_made_up_bands(rng):
    t = np.arange(10 * 48_000) / 48_000
    for codec in ("", "aac"):
        bandwidth_hz, codes = watch(0.1 * np.sin(2 * np.pi * 700 * t), rate_hz=48_000, codec=codec)
        assert (bandwidth_hz, codes) == (24_000, [])


def test_copied_band_of_a_lossy_codec_is_told(rng):
    low = band_limited(rng, 12, 48_000, 6000)
    t = np.arange(len(low)) / 48_000
    flutter = 1 + 0.8 * np.repeat(rng.uniform(-1, 1, len(low) // 480), 480)[: len(low)]
    core = low * flutter
    made = core + 0.3 * core * 2 * np.cos(2 * np.pi * 6500 * t)  # the core, shifted up to 0.5 to 12.5 kHz
    told_hz, codes = watch(made, rate_hz=48_000, codec="aac")
    assert "synthetic-upper-band" in codes
    assert told_hz < 24_000
    assert "synthetic-upper-band" not in watch(made, rate_hz=48_000, codec="pcm_s16le")[1]


def test_findings_of_the_decoder_come_through(rng):
    from chatter.audio._packets import truncated

    assert watch(rng.normal(0, 0.05, 3 * RATE_HZ), findings=(truncated(),))[1] == ["truncated"]


def test_nothing_seen_tells_nothing():
    assert Watch().finish() == (0.0, ())
