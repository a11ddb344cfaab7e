"""Which part rings: the chatter heard, held against the modes of tapped parts.

In: the judged recording, taps of the tool, the frame, the work. Out: the likely part and why, in words.
Method: regenerative chatter lies a little above the natural frequency of the mode that rings, about one
damping ratio in the middle (stiffest negative real part of one mode: f = f_n sqrt(1 + 2 zeta)), and seldom
more than 5 % below or 20 % above it. Each member of the chatter's family may be the base, the louder the
likelier; each mode of a tapped part may be the one, the louder the likelier; "something not tapped" always
stands beside the parts.
Source: Altintas and Budak, CIRP Annals 44/1, 1995 (chatter frequency on the edge); the spreads are fitted.
Leaves out: the phase between teeth, stiffness, and humps (advice uses them for speeds).
"""

import math
from dataclasses import dataclass

from chatter.model.cut import CutAnalysis, JudgedCut, Rings
from chatter.model.tap import Tap, TapMode, TapPart

# Spread of ln(chatter over natural frequency) about the middle, the likeliest for 128 zero-order limits with
# Hopf chatter (one mode or two alike, damping 0.011 and 0.03, 5 % immersion to full; computed, unpublished).
# Nine tenths of them lie between 0.953 and 1.22; tests/unit/advice/test_rings.py holds it.
BELOW_SPREAD = 0.04
ABOVE_SPREAD = 0.085
OTHER_SETUP_SPREAD = 0.005  # own choice: a tool clamped again, and cutting instead of resting
SIDEBAND_SHARE = 0.5  # own choice: the strongest line is the base more often than not
FAINTEST_SHARE = 0.03  # fainter members say nothing; with power shares, tuned on simulated workshops
LOWEST_HZ, HIGHEST_HZ = 60.0, 20_000.0  # what is not tapped may ring anywhere in here, evenly in log
NAMED_FROM = 0.8  # own choice: with one part tapped, chatter 5 % below to 23 % above its mode names it
NOTHING_FROM = 0.5  # own choice: no tap fits when what isn't tapped has this share
PARTS: tuple[TapPart, ...] = ("tool", "work", "frame")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Match:
    """How well one part fits, and by which of its modes."""

    part: TapPart
    fit: float  # likelihood of the family, per unit of ln(frequency)
    mode: TapMode
    line_hz: float  # member of the family that this mode explains best


def name_ringing(analysis: CutAnalysis, *, taps: tuple[Tap, ...]) -> Rings | None:
    """Say which tapped part most likely rings in the worst cut.

    Parameters
    ----------
    analysis
        The judged recording.
    taps
        Tapped parts; several taps of one part count as one part.

    Returns
    -------
    Rings or None
        None without taps or without chatter. `part` is None where no tap fits, or two fit about as well.
    """
    worst = analysis.worst
    if worst is None or worst.chatter_hz is None or worst.verdict not in ("chatter", "marginal"):
        return None
    matches = [match for part in PARTS if (match := _match(part, taps=taps, cut=worst)) is not None]
    if not matches:
        return None
    matches.sort(key=lambda match: -match.fit)
    elsewhere = 1 / math.log(HIGHEST_HZ / LOWEST_HZ)
    total = sum(match.fit for match in matches) + elsewhere
    best = matches[0]
    if elsewhere / total >= NOTHING_FROM:
        return Rings(part=None, why=_say_nothing_fits(worst.chatter_hz, matches))
    if best.fit / total >= NAMED_FROM:
        return Rings(part=best.part, why=_say_named(best, matches[1:], worst.chatter_hz))
    return Rings(part=None, why=_say_undecided(best, matches[1:], worst.chatter_hz, elsewhere))


def _family(cut: JudgedCut) -> dict[float, float]:
    """Give the heard lines that may be the base of the chatter's family, with weights that add to 1."""
    heard_hz = cut.chatter_hz
    weights: dict[float, float] = {} if heard_hz is None else {heard_hz: 1.0}
    loudest_db = max((line.level_db for line in cut.family), default=0.0)
    for line in cut.family:
        same = heard_hz is not None and abs(line.frequency_hz / heard_hz - 1) < 1e-3
        share = SIDEBAND_SHARE * 10 ** ((line.level_db - loudest_db) / 10)
        if not same and share >= FAINTEST_SHARE and line.frequency_hz >= LOWEST_HZ:
            weights[line.frequency_hz] = max(share, weights.get(line.frequency_hz, 0.0))
    total = sum(weights.values())
    return {hz: weight / total for hz, weight in weights.items()}


def _match(part: TapPart, *, taps: tuple[Tap, ...], cut: JudgedCut) -> _Match | None:
    """Hold the family against every mode tapped on one part; None where that part wasn't tapped."""
    modes = [mode for tap in taps if tap.of == part for mode in tap.modes]
    if not modes:
        return None
    loudness = [10 ** (mode.level_db / 20) for mode in modes]
    fit = 0.0
    best: tuple[float, TapMode, float] = (-1.0, modes[0], 0.0)
    for mode, loud in zip(modes, loudness, strict=True):
        for hz, weight in _family(cut).items():
            one = weight * loud / sum(loudness) * _density(hz, mode=mode)
            fit += one
            best = max(best, (one, mode, hz), key=lambda found: found[0])
    if fit < 1e-12:  # nothing near: name the mode nearest the chatter, so that the words can say how far
        near = cut.chatter_hz or 1.0
        mode = min(modes, key=lambda mode: abs(math.log(near / mode.frequency_hz)))
        return _Match(part=part, fit=fit, mode=mode, line_hz=near)
    return _Match(part=part, fit=fit, mode=best[1], line_hz=best[2])


def _density(heard_hz: float, *, mode: TapMode) -> float:
    """Give the likelihood of chatter at this frequency when this mode rings, per unit of ln(frequency)."""
    middle = math.log(mode.frequency_hz) + 0.5 * math.log1p(2 * mode.damping_ratio)
    tap_spread = (mode.frequency_sd_hz or 0.0) / mode.frequency_hz
    below = math.hypot(BELOW_SPREAD, tap_spread, OTHER_SETUP_SPREAD)
    above = math.hypot(ABOVE_SPREAD, tap_spread, OTHER_SETUP_SPREAD)
    off = math.log(heard_hz) - middle
    height = 2 / (math.sqrt(2 * math.pi) * (below + above))  # two half bells, one area
    return height * math.exp(-0.5 * (off / (below if off < 0 else above)) ** 2)


def _say_named(best: _Match, others: list[_Match], chatter_hz: float) -> str:
    line = _line(best, chatter_hz)
    compared = "".join(
        f"; the nearest of the {other.part} lies at {other.mode.frequency_hz:,.0f} Hz" for other in others
    )
    text = f"{line} lies {_beside(best)}, where its chatter would lie{compared}: the {best.part} rings."
    missing = _not_tapped([best, *others])
    return text + _bound_words(best) + (f" Not tapped: {_listed(missing)}." if missing else "")


def _say_nothing_fits(chatter_hz: float, matches: list[_Match]) -> str:
    tapped = _listed([f"{match.mode.frequency_hz:,.0f} Hz ({match.part})" for match in matches])
    nearest = "nearest tapped mode is" if len(matches) == 1 else "nearest tapped modes are"
    missing = _not_tapped(matches)
    todo = f"tap {_listed(missing)} too" if missing else "tap again, at other places"
    return (
        f"No tapped mode fits: the chatter is at {chatter_hz:,.0f} Hz, and the {nearest} at {tapped}. "
        f"Chatter lies from about 5 % below to 20 % above the mode that rings: {todo}."
    )


def _say_undecided(best: _Match, others: list[_Match], chatter_hz: float, elsewhere: float) -> str:
    rivals = [other for other in others if other.fit > elsewhere]
    if not rivals:
        return (
            f"{_line(best, chatter_hz)} lies {_beside(best)}: it may be the {best.part}, but that is not "
            "near enough to say so. Tap again as set up for the cut, and the other parts too."
        )
    modes = _listed([_beside(match) for match in [best, *rivals]])
    return (
        f"The chatter at {chatter_hz:,.0f} Hz fits more than one part about as well: it lies {modes}. "
        "Change one of them (stick-out, clamping), tap and cut again: the chatter moves with what rings."
    )


def _not_tapped(matches: list[_Match]) -> list[str]:
    tapped = {match.part for match in matches}
    return [f"the {part}" for part in PARTS if part not in tapped]


def _line(match: _Match, chatter_hz: float) -> str:
    """Name the member of the family that the mode explains."""
    if abs(match.line_hz / chatter_hz - 1) < 1e-3:
        return f"The chatter at {chatter_hz:,.0f} Hz"
    return f"The chatter's side line at {match.line_hz:,.0f} Hz (the strongest is at {chatter_hz:,.0f} Hz)"


def _beside(match: _Match) -> str:
    """Say where the line lies against the mode."""
    off_percent = 100 * (match.line_hz / match.mode.frequency_hz - 1)
    mode = f"the tapped {match.part} mode at {match.mode.frequency_hz:,.0f} Hz"
    if abs(off_percent) < 0.5:
        return f"on {mode}"
    side = "above" if off_percent > 0 else "below"
    return f"{abs(off_percent):.0f} % {side} {mode}"


def _bound_words(match: _Match) -> str:
    if match.mode.damping_bound == "none":
        return ""
    return " Its damping is known only as an upper bound."


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
