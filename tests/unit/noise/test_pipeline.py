"""The whole way, block by block."""

import numpy as np
import pytest

from chatter.audio import Block
from chatter.errors import BadSamplesError
from chatter.noise.pipeline import analyse_blocks

RATE_HZ = 16_000


def blocks(samples, *, seconds=5.0, rate_hz=RATE_HZ):
    values = np.atleast_2d(samples).astype(np.float32)
    step = round(seconds * rate_hz)
    for start in range(0, values.shape[1], step):
        yield Block(start_s=start / rate_hz, rate_hz=rate_hz, samples=values[:, start : start + step])


def analyse(samples, **options):
    return analyse_blocks(blocks(samples, **options), name="made.wav")


def test_block_length_changes_nothing(rng):
    noise = rng.normal(0, 0.05, 12 * RATE_HZ)
    one, other = (analyse(noise, seconds=seconds) for seconds in (5.0, 0.37))
    for name, level in one.levels.to_dict().items():
        # Filters start at the mean of the first block, whose length differs: 0.01 dB.
        assert other.levels.to_dict()[name] == pytest.approx(level, abs=0.02)
    assert [band.Leq_db for band in other.bands] == pytest.approx(
        [band.Leq_db for band in one.bands], abs=0.02
    )


def test_minute_with_a_tone_counts_by_its_energy(rng):
    minute = 60 * RATE_HZ
    t = np.arange(minute) / RATE_HZ
    quiet = rng.normal(0, 0.01, minute)
    toned = rng.normal(0, 0.001, minute) + 0.1 * np.sin(2 * np.pi * 1000 * t)
    alone = analyse(np.concatenate([toned, toned]))
    assert alone.tonal_adjustment_db == pytest.approx(6.0)
    both = analyse(np.concatenate([quiet, toned]))
    # By hand: the tone's minute has A-weighted 5e-3, the noise's about 1e-4 * 0.7, so 6 dB less 10 lg of
    # (5e-3 * 3.98 + 0.7e-4) / (5e-3 + 0.7e-4) = 3.94, that is 5.96 dB.
    assert both.tonal_adjustment_db == pytest.approx(5.96, abs=0.05)
    assert both.tones[0].frequency_hz == pytest.approx(1000.0, abs=0.2)


def test_loudest_channel_is_given(rng):
    noise = rng.normal(0, 0.05, 2 * RATE_HZ)
    found = analyse(np.stack([0.1 * noise, noise, -0.5 * noise]))
    assert found.channel == 1
    assert found.levels.LZeq_db == pytest.approx(20 * np.log10(0.05), abs=0.2)  # of what was built


def test_narrow_band_found_in_the_whole_takes_bands_away(rng):
    noise = rng.normal(0, 0.05, 70 * 48_000)
    spectrum = np.fft.rfft(noise)
    spectrum[np.fft.rfftfreq(len(noise), 1 / 48_000) > 8000] = 0
    found = analyse(np.fft.irfft(spectrum), rate_hz=48_000)
    assert found.bandwidth_hz == pytest.approx(8000, abs=300)  # where it was cut off; a few of its bands
    known = {round(band.midband_hz): band.Leq_db is not None for band in found.bands}
    assert known[6310]  # it ends at 7079 Hz
    assert not known[10_000]


def test_clipping_late_in_a_long_recording_is_found(rng):
    noise = rng.normal(0, 0.02, 130 * RATE_HZ)
    noise[125 * RATE_HZ :] = np.clip(noise[125 * RATE_HZ :] * 100, -1, 1)
    found = analyse(noise)
    assert "clipped" in {finding.code for finding in found.findings}
    assert found.levels.LCpeak_db is None


def test_no_sound_at_all_is_an_error():
    with pytest.raises(BadSamplesError, match=r"0\.1 s"):
        analyse_blocks(iter(()), name="made.wav")
    with pytest.raises(BadSamplesError, match=r"0\.1 s"):
        analyse(np.zeros(100))


def test_progress_is_told_in_seconds(rng):
    seen = []
    analyse_blocks(blocks(rng.normal(0, 0.1, 12 * RATE_HZ)), name="made.wav", progress=seen.append)
    assert seen == [5.0, 10.0, 12.0]
