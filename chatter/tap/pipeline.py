"""From a recording of taps to its modes: the only place that knows the order of the stages.

In: a recording. Out: the taps, the modes that rang after them, and what was noticed.
Method: onsets, decays, modes from the moment on at which nothing touches the part; where a room is heard,
what rings before its first echo, and the other modes weighed again.
Source: each stage names its own; thresholds here are our own.
Leaves out: files, words for a person, comparison of two recordings.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits

from chatter.model.recording import Finding, Recording
from chatter.model.tap import LOWEST_HZ, HeardTap, TapAnalysis, TapMode, TapView
from chatter.tap._fit import Fit, shape_of
from chatter.tap._reverberation import STRENGTH_MIDDLE
from chatter.tap._running import find_turning
from chatter.tap.agree import find_unlike
from chatter.tap.decays import Decays, cut_decays
from chatter.tap.findings import (
    bent_decay,
    bounded,
    no_decay,
    no_tap,
    no_usable,
    of_faults,
    only_one,
    only_room,
    only_running,
    rest_not_heard,
    taps_differ,
    turning,
    unsteady,
)
from chatter.tap.modes import Found, fit_decays
from chatter.tap.onsets import Onset, find_onsets
from chatter.tap.room import LN_60_DB, Room, weigh_in_room
from chatter.tap.spell import Spell, find_spell
from chatter.tap.starts import (
    begin_fit,
    bent_poles,
    energies,
    fit_length_s,
    hasty_poles,
    is_loud,
    told_before_s,
)

Floats = NDArray[np.float64]

LONGEST_S = 120.0  # listened to, and said; a tap test takes half a minute, and twenty minutes take gigabytes
FAINTEST_DB = -25.0  # of a mode, re the strongest: fainter ones are guesses; own choice
FAINTEST_IN_ROOM_DB = -16.0
SLOWEST_1_S = 0.7  # ten seconds for 60 dB: a steady tone, not a tap; own choice
MOST_DAMPING = 0.2  # above it a swing is no tone; own choice
LOOSEST_HZ = 0.05  # spread of a frequency over the frequency: looser, and it is no tone either; own choice
# Spread of ln damping above which only a bound is given, and the same in a loud room, where spreads are too
# narrow: chosen on 480 taps in rooms of seeds that tests/benchmarks/taps.py doesn't use.
SURE_WITHIN, SURE_WITHIN_LOUD = 0.165, 0.1
LOUD_ROOM = 0.15  # its energy over the direct sound's
# How far above the middle the bound lies: with 2.3, one true value in twelve was higher in 80 image-source
# rooms (0 to 10 dB; tests/benchmarks/taps.py draws others), whose few strong echoes are no even crowd.
BOUND_SPREADS = 3.0
STRONGEST_ROOM = 0.2  # over the direct sound, where modes are sought: more would drown them; own choice
MOST_IN_ROOM = 5  # modes; further ones are the room's, as a rule
EXPLAINED = 0.6  # share of a decay's energy that modes must explain
EXPLAINED_IN_ROOM = 0.25  # and where a room adds its own; own choice
LEAST_OVER_NOISE = 12.0  # of a decay's energy in its loudest 10 ms, over the noise
DAMPING_FLOOR = 0.0003  # of the ratio: what the fit's own rounding and the click leave; own choice
# Errors over spreads on 240 simulated taps (seeds that benchmarks/taps.py doesn't use): 60 plain, 60 close,
# 80 of which some hardly excite a mode, 40 of unlike strength.
DAMPING_SCALE = 0.9
ROOM_SCALE = 1.4  # the same for the frequency in 40 simulated rooms
ROOM_DAMPING_SCALE = 1.1  # and for the damping (seeds 0 to 44)
# Before the first echo: errors over spreads on 90 shoebox rooms of seeds that benchmarks/taps.py doesn't use.
SPELL_SCALES = (1.4, 1.3)
SPELL_TURNS = 2.0  # of a mode: what turns less in the spell can't be told from another; own choice
SPELL_LOOSEST_HZ = 0.01  # of the frequency: looser than a room leaves it; own choice
SAME_IN_ROOM = 0.1  # of ln f: a room moves a damped mode so far; own choice


def judge_taps(recording: Recording) -> TapAnalysis:
    """Find the taps of a recording and the modes that rang after them.

    Parameters
    ----------
    recording
        One or many taps; of several channels the one with the loudest taps over its noise is used.

    Returns
    -------
    TapAnalysis
        Without modes, and with a finding that says why, where there are none.
    """
    # Its matrices are small: threads would wait for each other, and all the longer on a busy machine.
    with threadpool_limits(limits=1, user_api="blas"):
        analysis = _judge_taps(recording)
    if recording.duration_s <= LONGEST_S:
        return analysis
    return replace(analysis, findings=(rest_not_heard(LONGEST_S), *analysis.findings))


def _judge_taps(recording: Recording) -> TapAnalysis:
    channel = _best_channel(recording)
    samples = recording.samples[channel, : round(LONGEST_S * recording.rate_hz)].astype(np.float64)
    samples -= samples.mean()
    onsets = find_onsets(samples, rate_hz=recording.rate_hz)
    decays, onsets = _decays(samples, onsets, rate_hz=recording.rate_hz)
    if decays is None or _is_mostly_running(onsets):
        return _nothing(channel, onsets)
    begun = begin_fit(decays, least_power=LEAST_OVER_NOISE * decays.noise_rms**2)
    unlike, differ = find_unlike(begun.found.fit)
    if unlike:
        rest, remaining = _decays(samples, _without(onsets, unlike), rate_hz=recording.rate_hz)
        if rest is not None:
            decays, onsets = rest, remaining
            begun = begin_fit(decays, least_power=LEAST_OVER_NOISE * decays.noise_rms**2)
    findings = _turning(decays) + of_faults(onsets) + ((taps_differ(),) if differ else ())
    whole, decays, found, room = decays, begun.decays, begun.found, begun.room
    if room is None:
        heard = _free_modes(found, decays)
    else:
        found, heard = _modes_in_room(decays, room, length_s=fit_length_s(decays))
        spell = find_spell(decays)
        if spell is not None and (direct := _direct_modes(spell, decays)):
            found, heard = spell.found, _joined(direct, heard, spell=spell)
    if not heard or not _explains(found, share=EXPLAINED if room is None else EXPLAINED_IN_ROOM):
        nothing = _nothing(channel, onsets, in_room=room is not None)
        return replace(nothing, findings=(*_turning(decays), *nothing.findings))
    modes = _ranked(heard, faintest_db=FAINTEST_DB if room is None else FAINTEST_IN_ROOM_DB)
    used = sum(onset.fault is None for onset in onsets)
    findings += (only_one(),) if used == 1 else ()
    findings += bounded(modes, in_room=room is not None)
    findings += (bent_decay(),) if begun.is_bent else ()
    findings += unsteady(modes)
    return TapAnalysis(
        channel=channel,
        taps=_heard_taps(onsets),
        modes=modes,
        findings=findings,
        room_decay_s=room.decay_s if room is not None and room.measured else None,
        view=_view(samples, onsets, whole, rate_hz=recording.rate_hz),
    )


def _best_channel(recording: Recording) -> int:
    """Give the channel whose loudest moment stands highest over its median."""
    if recording.channels == 1:
        return 0
    hop = max(1, round(0.005 * recording.rate_hz))
    over = []
    for channel in recording.samples:
        count = channel.size // hop
        if not count:
            return 0
        power = (channel[: count * hop].astype(np.float64).reshape(count, hop) ** 2).mean(axis=1)
        over.append(float(power.max() / (np.median(power) + 1e-12)))
    return int(np.argmax(over))


def _decays(
    samples: Floats, onsets: tuple[Onset, ...], *, rate_hz: float
) -> tuple[Decays | None, tuple[Onset, ...]]:
    """Cut out the decays of the taps that are no worse than soft; mark the others."""
    times_s = np.array([onset.time_s for onset in onsets])
    good = [onset for onset in onsets if onset.fault is None]
    while good:
        decays = cut_decays(
            samples,
            rate_hz=rate_hz,
            onsets_s=np.array([onset.time_s for onset in good]),
            all_onsets_s=times_s,
        )
        if decays is None:  # the last one breaks off, or two follow closely: without the shortest
            good = _without_shortest(good, times_s, samples.size / rate_hz)
            continue
        loud = is_loud(decays, least_power=LEAST_OVER_NOISE * decays.noise_rms**2)
        if loud.all():
            break
        good = [onset for onset, keep in zip(good, loud, strict=True) if keep]
    else:
        decays = None
    kept = {onset.time_s for onset in good}
    marked = tuple(
        onset
        if onset.fault is not None or onset.time_s in kept
        else Onset(time_s=onset.time_s, fault="too-soft")
        for onset in onsets
    )
    return decays, marked


def _without(onsets: tuple[Onset, ...], unlike: list[int]) -> tuple[Onset, ...]:
    """Mark those of the used taps that ring otherwise than most."""
    used = [onset.time_s for onset in onsets if onset.fault is None]
    out = {used[index] for index in unlike}
    return tuple(replace(onset, fault="unlike") if onset.time_s in out else onset for onset in onsets)


def _without_shortest(good: list[Onset], times_s: Floats, end_s: float) -> list[Onset]:
    ends = np.append(times_s[1:], end_s)
    left = {float(time): float(end - time) for time, end in zip(times_s, ends, strict=True)}
    worst = min(good, key=lambda onset: left[onset.time_s])
    return [onset for onset in good if onset is not worst]


def _free_modes(
    found: Found, decays: Decays, *, scales: tuple[float, float] = (1.0, DAMPING_SCALE)
) -> list[TapMode]:
    """Give the modes of a fit that leaves nothing but noise; `scales` widen the spreads."""
    fit = found.fit
    if not len(fit.poles):
        return []
    spread = np.sqrt(_variances(fit, numbers=2 * found.spectra.values.size)).reshape(-1, 2) * scales
    hasty, bent = hasty_poles(fit), bent_poles(fit)
    told = energies(fit, start_s=told_before_s(decays.start_s))
    for early, late in bent.items():
        told[late] += told[early]
    return [
        mode
        for index in range(len(fit.poles))
        if (
            mode := _mode(
                damped_hz=float(np.exp(fit.poles[index, 0])),
                decay_1_s=float(np.exp(fit.poles[index, 1])),
                frequency_spread=float(spread[index, 0]),
                damping_spread=float(spread[index, 1]),
                energy=float(told[index]),
            )
        )
        is not None
        and index not in hasty
        and index not in bent
    ]


def _variances(fit: Fit, *, numbers: int) -> Floats:
    """Give the variance of each parameter of the poles: as the taps scatter, and no less than noise makes it.

    A tap weighs in the scatter as it weighs in the fit. One where a mode hardly swings tells nothing of it,
    so it counts as no tap there: what it would give alone is noise.
    Source: H. White, Econometrica 50/1, 1982 (the robust covariance). What it misses because the taps agree
    on their own mean is made up for by the noise; with two or three taps, a factor would leave it to chance.

    Returns
    -------
    NDArray
        Shape (2p,).
    """
    inverse = np.linalg.pinv(fit.information.sum(axis=0))
    over = max(1.0, fit.misfit / numbers)  # what is left, over the noise
    scatter = np.sum((fit.pulls @ inverse) ** 2, axis=0)
    says = fit.information @ inverse  # (taps, 2p, 2p): they add up to 1
    missed = over * np.einsum("ij,tjk,tki->i", inverse, says, says)  # 1 / n of the noise, of n taps alike
    return np.asarray(np.maximum(over * np.diag(inverse), scatter + missed))


def _direct_modes(spell: Spell, decays: Decays) -> list[TapMode]:
    """Give the modes that are known well from before the first echo."""
    if not _explains(spell.found, share=EXPLAINED):
        return []
    return [
        mode
        for mode in _free_modes(spell.found, decays, scales=SPELL_SCALES)
        if mode.damping_bound == "none"
        and mode.frequency_sd_hz is not None
        and mode.frequency_sd_hz < SPELL_LOOSEST_HZ * mode.frequency_hz
        and mode.frequency_hz * spell.length_s >= SPELL_TURNS
    ]


def _joined(direct: list[TapMode], in_room: list[TapMode], *, spell: Spell) -> list[TapMode]:
    """Add to the modes of the spell those that it can't tell: too low for it, or hardly known there."""
    known_hz = np.array([mode.frequency_hz for mode in direct])
    spell_hz = np.exp(spell.found.fit.poles[:, 0])
    kept = [
        mode
        for mode in in_room
        if not _is_near(mode, known_hz)
        and (mode.frequency_hz * spell.length_s < SPELL_TURNS or _is_near(mode, spell_hz))
    ]
    return direct + kept


def _is_near(mode: TapMode, hz: Floats) -> bool:
    return bool(np.any(np.abs(np.log(hz / mode.frequency_hz)) < SAME_IN_ROOM))


def _modes_in_room(decays: Decays, room: Room, *, length_s: float) -> tuple[Found, list[TapMode]]:
    """Fit again, with what the room adds counted as noise, and weigh every mode against the room.

    How strong the room is comes from the loudest mode beside the others, heard in a room of usual strength.
    """
    length_s = min(length_s, max(0.1, room.decay_s))
    usual = fit_decays(
        decays, length_s=length_s, reverberant=float(np.exp(STRENGTH_MIDDLE)), most=MOST_IN_ROOM
    )
    loudest = _loudest_tones(usual, decays)
    if not loudest:
        return usual, []
    strength = float(np.exp(weigh_in_room(decays, usual.fit, index=loudest[0], room=room).log_strength))
    strength = min(strength, STRONGEST_ROOM)
    found = fit_decays(decays, length_s=length_s, reverberant=strength, most=MOST_IN_ROOM)
    modes = []
    told = energies(found.fit, start_s=told_before_s(decays.start_s))
    for index in _loudest_tones(found, decays):
        weighed = weigh_in_room(decays, found.fit, index=index, room=room)
        mode = _mode(
            damped_hz=weighed.frequency_hz,
            decay_1_s=float(np.exp(weighed.log_decay)),
            frequency_spread=ROOM_SCALE * weighed.frequency_sd_hz / weighed.frequency_hz,
            damping_spread=ROOM_DAMPING_SCALE * weighed.log_decay_sd,
            energy=float(told[index]),
            sure_within=SURE_WITHIN if np.exp(weighed.log_strength) < LOUD_ROOM else SURE_WITHIN_LOUD,
        )
        if mode is not None:
            modes.append(mode)
    return found, modes


def _loudest_tones(found: Found, decays: Decays) -> list[int]:
    """Give the poles that are tones and not far fainter than the loudest pole, the loudest first."""
    told = energies(found.fit, start_s=told_before_s(decays.start_s))
    hasty = hasty_poles(found.fit)
    hz, decay_1_s = np.exp(found.fit.poles).T
    tones = [index for index in range(len(told)) if index not in hasty]
    return [
        index
        for index in sorted(tones, key=lambda index: -told[index])
        if told[index] >= max(told[tones]) * 10 ** (FAINTEST_IN_ROOM_DB / 10)
        and decay_1_s[index] <= 2 * np.pi * hz[index] * MOST_DAMPING
        and hz[index] >= LOWEST_HZ
    ]


def _mode(
    *,
    damped_hz: float,
    decay_1_s: float,
    frequency_spread: float,
    damping_spread: float,
    energy: float,
    sure_within: float = SURE_WITHIN,
) -> TapMode | None:
    """Turn a pole into a mode; None where it is none. `level_db` is absolute until the modes are ranked."""
    natural_hz = float(np.hypot(damped_hz, decay_1_s / (2 * np.pi)))
    damping = decay_1_s / (2 * np.pi * natural_hz)
    if damping > MOST_DAMPING or natural_hz < LOWEST_HZ or decay_1_s < SLOWEST_1_S:
        return None
    if frequency_spread > LOOSEST_HZ:
        return None
    damping_spread = float(np.hypot(damping_spread, DAMPING_FLOOR))
    is_bound = damping_spread > sure_within
    shown = min(0.99, damping * float(np.exp(BOUND_SPREADS * damping_spread))) if is_bound else damping
    return TapMode(
        frequency_hz=natural_hz,
        frequency_sd_hz=natural_hz * frequency_spread,
        damping_ratio=shown,
        damping_ratio_sd=min(1.0, damping * damping_spread),
        damping_bound="upper" if is_bound else "none",
        decay_time_s=LN_60_DB / (2 * np.pi * natural_hz * shown),
        level_db=10 * float(np.log10(energy + 1e-30)),
    )


def _ranked(modes: list[TapMode], *, faintest_db: float) -> tuple[TapMode, ...]:
    """Sort by energy, levels re the strongest; weaker modes whose bound tells nothing are left out."""
    first, *others = sorted(modes, key=lambda mode: -mode.level_db)
    kept = [first, *(mode for mode in others if mode.damping_ratio <= MOST_DAMPING)]
    return tuple(
        replace(mode, level_db=mode.level_db - first.level_db)
        for mode in kept
        if mode.level_db - first.level_db >= faintest_db
    )


def _explains(found: Found, *, share: float) -> bool:
    """Say whether modes explain most of what was heard."""
    spectra, fit = found.spectra, found.fit
    model = np.zeros_like(spectra.values)
    for index, pole in enumerate(fit.poles):
        model += 0.5 * fit.amplitudes[:, index, None] * shape_of(spectra, pole)
        model += 0.5 * np.conj(fit.amplitudes[:, index, None]) * shape_of(spectra, pole, mirrored=True)
    left = float(np.sum(np.abs(spectra.values - model) ** 2))
    noise = 2 * len(spectra.values) * float(np.sum(spectra.noise**2))  # a fan's, which no mode explains
    return left - noise < (1 - share) * (float(np.sum(np.abs(spectra.values) ** 2)) - noise)


def _turning(decays: Decays) -> tuple[Finding, ...]:
    """Say whether something turns in the quiet beside the taps."""
    rotation_hz = find_turning(decays.lines_hz)
    return () if rotation_hz is None else (turning(rotation_hz),)


def _is_mostly_running(onsets: tuple[Onset, ...]) -> bool:
    """Say whether more blows belong to something that runs than can be used."""
    faults = [onset.fault for onset in onsets]
    return faults.count("running") > faults.count(None)


def _nothing(channel: int, onsets: tuple[Onset, ...], *, in_room: bool = False) -> TapAnalysis:
    """Say why there is no mode; what a running machine did is no tap."""
    faults = {onset.fault for onset in onsets}
    findings = of_faults(onsets)
    if not onsets:
        findings = (no_tap(),)
    elif "running" in faults:
        onsets, findings = (), (only_running(),)
    elif faults <= {"double", "clipped"}:
        findings += (no_usable(),)
    else:
        findings += (only_room() if in_room else no_decay(),)
    return TapAnalysis(
        channel=channel,
        taps=_heard_taps(onsets),
        modes=(),
        findings=findings,
        room_decay_s=None,
        view=None,
    )


def _heard_taps(onsets: tuple[Onset, ...]) -> tuple[HeardTap, ...]:
    return tuple(HeardTap(time_s=onset.time_s, used=onset.fault is None) for onset in onsets)


def _view(samples: Floats, onsets: tuple[Onset, ...], decays: Decays, *, rate_hz: float) -> TapView:
    """Give what a picture shows: the level after the loudest blow, and the mean spectrum of the decays."""
    loudest = int(np.argmax((decays.pieces**2).sum(axis=1)))
    used = [onset for onset in onsets if onset.fault is None]
    start = round((used[loudest].time_s - 0.02) * rate_hz)
    length = round((0.05 + max(0.06, 1.3 * decays.shown_s)) * rate_hz)
    first = max(0, start)
    part = samples[first : first + length]
    hop = max(1, round(0.001 * rate_hz))
    count = part.size // hop
    level = 10 * np.log10((part[: count * hop] ** 2).reshape(count, hop).mean(axis=1) + 1e-12)
    spectra = decays.spectra(length_s=max(0.03, 1.1 * decays.shown_s), high_hz=8000.0)
    power = (np.abs(spectra.values) ** 2).mean(axis=0)
    return TapView(
        times_s=np.arange(count) * hop / rate_hz + first / rate_hz - used[loudest].time_s,
        levels_db=level,
        frequencies_hz=spectra.hz,
        spectrum_db=10 * np.log10(power / power.max() + 1e-12),
        noise_db=10 * np.log10(2 * spectra.noise**2 / power.max() + 1e-12),
    )
