"""What an idle recording holds beside a cut: best the same program run in air.

In: its sound, what its file was told to be, the sound beside the cut. Out: its power on the cut's grid, its
tones, and whether it can say that a lone tone is the cut's own.
Source: our own.
Leaves out: idle parts of the cut's own recording (chatter/cut/spectrum.py).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chatter.cut.channel import power_of
from chatter.dsp.spectra import TINY, find_tops, frame_powers, line_reach_bins, line_ring, peak_frequency_hz
from chatter.model import Finding, Recording

Floats = NDArray[np.float64]
FROM_HZ = 300.0  # own choice: hum and rumble don't make a dead recording a loud one
AS_LOUD = 0.1  # own choice: 10 dB below the idle parts beside the cut it lacks what ran there
AS_LOUD_AS_CUT = 1e-4  # own choice, where there are no such parts: no shop is 40 dB below a cut
SLIP = 0.03  # of its frequency: what turns with a spindle that slips under load sounds higher in air
SAME_TEETH = 0.01  # own choice: two takes of one cut differ no more
TONE_NEPERS = 1.8  # 8 dB above its surroundings in the loudest window but one: a tone
WHOLE_BAND = 0.95  # of the bandwidth; a line beyond isn't carried
CLEAR_TEETH = 10.0  # own choice: 10 dB above their surroundings teeth are heard for sure
LOUDER_TEETH = 2.0  # own choice: teeth less than 3 dB louder than in the idle recording cut in both
MOST_TEETH, FEWEST_TEETH = 30, 3
NEAR_COMB = 0.002  # own choice, of its frequency: so near a spindle's line is the spindle's
AS_CLEAR = 0.3  # own choice: what stands out so much of it beside the cut, too, are the spindle's own lines
LEAST_WINDOWS = 2.5  # own choice: in less sound plain noise has a tone now and then
BLOCK_WINDOWS = 25  # transformed at a time: a long recording takes no more memory
CHANGED = frozenset(  # a phone or a codec that may have taken a tone away
    {"clipped", "noise-suppression", "headset-codec", "voice-message", "narrow-band", "damaged"}
)
AGAIN = (
    "raise the tool clear of the work, run the same program with the vacuum and the air blast on, and record "
    "it with the phone in the same place"
)
OTHER_RECORDER = "record the cut and the air pass anew with a recorder that writes uncompressed sound"
IDLE_SHORT = Finding(
    code="idle-short",
    severity="warning",
    message=f"The idle recording is too short to compare with, so it was left out: {AGAIN}.",
)
IDLE_CUTS = Finding(
    code="idle-cuts",
    severity="warning",
    message="The idle recording is as loud where the teeth sound as the cut itself, so it was left out: "
    f"{AGAIN}.",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class IdleSound:
    """One channel of an idle recording."""

    samples: Floats  # shape (n,)
    rate_hz: float
    reach_hz: float  # it carries nothing above
    is_changed: bool  # a tone may have been taken away
    turns_hz: float | None  # of its spindle, where that was measured


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AirPass:
    """An idle recording on the grid of one cut."""

    power: Floats  # shape (f,), mean square per bin; at a tone that of its loudest window but one
    beside: Floats | None  # shape (f,), of the idle parts beside the cut; None without any
    tones_hz: Floats  # shape (n,), of any moment
    off_comb: NDArray[np.bool_]  # shape (n,), which of them are none of the spindle's own lines
    width_hz: float  # of a line
    reach_hz: float  # it carries nothing above
    is_changed: bool  # a tone may have been taken away
    is_quiet: bool  # it lacks what ran beside the cut

    def holds(self, frequency_hz: float) -> bool:
        """Say whether a tone sounds in it, too, however faint: there, or a little higher and off the comb."""
        away_hz = self.tones_hz - frequency_hz
        higher = self.off_comb & (away_hz > 0) & (away_hz < SLIP * frequency_hz)
        return bool(np.any((np.abs(away_hz) < self.width_hz) | higher))

    def lacks(self, frequency_hz: float) -> bool:
        """Say whether it would have held a tone, and doesn't."""
        told = not (self.is_changed or self.is_quiet) and frequency_hz < self.reach_hz
        return told and not self.holds(frequency_hz)


def idle_sound(idle: Recording, channel: int) -> IdleSound:
    """Take the channel of an idle recording that stands for one of the cut's recording, or its loudest."""
    codes = {finding.code for finding in idle.findings}
    same = idle.samples[min(channel, idle.channels - 1)]
    return IdleSound(
        samples=(same if np.any(same) else max(idle.samples, key=power_of)).astype(np.float64),
        rate_hz=idle.rate_hz,
        reach_hz=WHOLE_BAND * idle.bandwidth_hz,
        is_changed=bool(CHANGED & codes),
        turns_hz=None,
    )


def hear_air_pass(
    sound: IdleSound,
    *,
    size_s: float,
    hz: Floats,
    cutting: Floats,
    beside: tuple[Floats, ...],
    rotation_hz: float,
) -> AirPass | None:
    """Give what an idle recording holds; None where it is too short.

    Parameters
    ----------
    sound
        Of the same sample rate as the cut.
    size_s, hz
        Window of the cut's spectra and their frequencies, shape (f,).
    cutting
        Shape (n,), the cut.
    beside
        Arrays of shape (m,), the idle parts beside the cut; none where it fills its recording.
    rotation_hz
        Of the cut; the idle recording's own counts where it was measured.
    """
    if len(sound.samples) < LEAST_WINDOWS * size_s * sound.rate_hz:
        return None
    mean, loudest, usual = _moments((sound.samples,), rate_hz=sound.rate_hz, size_s=size_s, hz=hz)
    bin_hz, width_hz = float(hz[1]), 2 / size_s
    reach = line_reach_bins(bin_hz=bin_hz, width_hz=width_hz)
    ring = line_ring(loudest, bin_hz=bin_hz, width_hz=width_hz)
    top = find_tops(loudest)
    top = top[np.log(np.maximum(loudest[top], TINY) / ring[top]) > TONE_NEPERS]
    power = mean.copy()
    for index in top:
        near = slice(max(0, index - reach), index + reach + 1)
        power[near] = loudest[near]
    idle, _, there = _moments(beside, rate_hz=sound.rate_hz, size_s=size_s, hz=hz)
    if there:
        least = AS_LOUD * float(np.median(there))
    else:
        _, _, cut = _moments((cutting,), rate_hz=sound.rate_hz, size_s=size_s, hz=hz)
        least = AS_LOUD_AS_CUT * float(np.median(cut))
    tones_hz = np.array([peak_frequency_hz(loudest, int(index), bin_hz) for index in top])
    turns_hz = rotation_hz if sound.turns_hz is None else sound.turns_hz
    away_hz = np.abs(tones_hz - np.round(tones_hz / turns_hz) * turns_hz)
    return AirPass(
        power=power,
        beside=idle if there else None,
        tones_hz=tones_hz,
        off_comb=away_hz > width_hz + NEAR_COMB * tones_hz,
        width_hz=width_hz,
        reach_hz=sound.reach_hz,
        is_changed=sound.is_changed,
        is_quiet=bool(np.median(usual) < max(least, TINY)),
    )


def has_teeth(air: AirPass, whole: Floats, *, hz: Floats, tooth_hz: float) -> bool:
    """Say whether teeth strike in the idle recording about as loud as in the cut, whole being its power.

    A spindle's own lines may lie there, too: then they stand out beside the cut as well.
    """
    if air.beside is None:  # what fills its recording is louder than the idle one all the way
        return False
    bin_hz = float(hz[1])
    orders = np.arange(1, min(MOST_TEETH, int(0.95 * hz[-1] / tooth_hz)) + 1) * tooth_hz
    orders = orders[orders > FROM_HZ]
    if not orders.size:
        return False

    def lines(power: Floats) -> tuple[Floats, Floats]:
        tops, floors = [], []
        for at_hz in orders:
            reach = max(2, round(SAME_TEETH * at_hz / bin_hz))
            at, wide = round(at_hz / bin_hz), max(4 * reach, round(0.3 * tooth_hz / bin_hz))
            tops.append(power[max(0, at - reach) : at + reach + 1].max())
            floors.append(np.median(power[max(0, at - wide) : at + wide + 1]))
        return np.maximum(tops, TINY), np.maximum(floors, TINY)

    cutting, around = lines(whole)
    idling, floor = lines(air.power)
    clear = cutting / around > CLEAR_TEETH
    if clear.sum() < FEWEST_TEETH:
        return False
    tops, floors = lines(air.beside)
    stand_out = float(np.median((idling / floor)[clear]))
    heard = stand_out > max(CLEAR_TEETH, float(np.median((tops / floors)[clear])) / AS_CLEAR)
    return heard and bool(cutting[clear].sum() < LOUDER_TEETH * idling[clear].sum())


def say_unfit(air: AirPass | None, *, tone_hz: float) -> Finding | None:
    """Say why an idle recording can't tell whose a lone tone is; None where it can, or without one."""
    if air is None or air.holds(tone_hz) or air.lacks(tone_hz):
        return None
    why, then = f"it carries nothing above {air.reach_hz:,.0f} Hz", OTHER_RECORDER
    if air.is_changed:
        why = "the phone or the file changed its sound"
    elif air.is_quiet:
        why, then = "it is far quieter than this one beside the cut", AGAIN
    return Finding(
        code="idle-unfit",
        severity="warning",
        message=f"The idle recording can't tell whose the tone at {tone_hz:,.0f} Hz is, "
        f"because {why}: {then}.",
    )


def _moments(
    parts: tuple[Floats, ...], *, rate_hz: float, size_s: float, hz: Floats
) -> tuple[Floats, Floats, list[float]]:
    """Give the mean power of all windows and the loudest but one, shape (f,), and that of each but rumble.

    Windows overlap by half, so what lasts as long as one of them is in two.
    """
    total, first, second = (np.zeros(len(hz)) for _ in range(3))
    usual: list[float] = []
    size = round(size_s * rate_hz)
    for part in parts:
        for start in range(0, len(part) - size + 1, BLOCK_WINDOWS * size):
            _, at, powers = frame_powers(
                part[start : start + BLOCK_WINDOWS * size + size // 2].astype(np.float32),  # none twice
                rate_hz=rate_hz,
                window_s=size_s,
                hop_s=size_s / 2,
                pad=2,
                top_hz=float(hz[-1]),
            )
            for row in powers:
                power = np.interp(hz, at, row)
                total += power
                second = np.maximum(second, np.minimum(first, power))
                first = np.maximum(first, power)
                usual.append(float(power[hz > FROM_HZ].sum()))
    return total / max(1, len(usual)), second, usual
