"""What to tell about taps that can't be used, and about modes that are not sure.

In: onsets and modes. Out: findings, each one sentence that says what to do.
Leaves out: findings about the recording itself (chatter/audio).
"""

from chatter.model.recording import Finding, Severity
from chatter.model.tap import TapMode
from chatter.tap.onsets import Onset

RUNNING = "running-machine"
QUIET_HERE = (
    "The recording is very quiet: hold the phone within a hand's breadth of the part, or against it, and tap "
    "harder."
)
SHORT_HERE = "Under a second of sound: let the recording run two seconds past the last tap."
MOST_LISTED = 4  # times in a sentence
UNSTEADY_SPREAD = 0.05  # of a damping: worth a word; own choice


def of_faults(onsets: tuple[Onset, ...]) -> tuple[Finding, ...]:
    """Say which taps were left out, and why."""
    said = {
        "double": ("double-hit", "hit twice, so left out: let the mallet spring back, and strike once."),
        "clipped": ("clipped-tap", "cut off at full scale, so left out: tap softer or move the phone away."),
        "too-soft": (
            "short-tap",
            "too soft, or without enough quiet after, so left out: tap harder and wait two seconds.",
        ),
        "unlike": (
            "unlike-tap",
            "unlike most in what rings, so left out: tap one place of one part, and lay nothing down.",
        ),
    }
    found = []
    for fault, (code, words) in said.items():
        times = [f"{onset.time_s:.2f} s" for onset in onsets if onset.fault == fault]
        if times:
            listed = _list(times)
            what = "The tap at" if len(times) == 1 else "The taps at"
            verb = "was" if len(times) == 1 else "were"
            sentence = f"{what} {listed} {'' if fault == 'double' else verb + ' '}{words}"
            found.append(_finding(code, "warning", sentence))
    running = [f"{onset.time_s:.2f} s" for onset in onsets if onset.fault == "running"]
    if running:
        sentence = (
            f"What begins at {_list(running)} goes on like a running machine, a rattle or a voice, so it was "
            "left out: stop the spindle and lock it out, and tap in quiet."
        )
        found.append(_finding(RUNNING, "warning", sentence))
    return tuple(found)


def no_tap() -> Finding:
    """Nothing was struck."""
    return _finding(
        "no-tap",
        "error",
        "No tap was found: strike once, sharply, with quiet before it and two seconds of quiet after it.",
    )


def taps_differ() -> Finding:
    """Say that no majority of the taps rings alike."""
    return _finding(
        "taps-differ",
        "warning",
        "The taps ring at different frequencies, and no more than half of them alike: tap one place of one "
        "part, at least three times.",
    )


def rest_not_heard(heard_s: float) -> Finding:
    """Say that a recording is longer than what is listened to."""
    return _finding(
        "rest-not-heard",
        "warning",
        f"Only the first {heard_s:.0f} s were listened to, and taps after them were not: cut the recording "
        "down to its taps, or record them again.",
    )


def only_running() -> Finding:
    """Nothing but a machine that runs."""
    return _finding(
        RUNNING,
        "error",
        "This sounds like a running machine, or someone speaking: blow follows blow, more evenly than a hand "
        "taps, or the sound stays, where a tap dies away. Never tap while anything turns: stop the spindle, "
        "lock it out, and record single taps in quiet.",
    )


def turning(rotation_hz: float) -> Finding:
    """Something turns beside the taps."""
    return _finding(
        "turning-machine",
        "warning",
        f"In the quiet between the taps something turns: harmonics of {rotation_hz:,.1f} Hz, which is "
        f"{60 * rotation_hz:,.0f} rpm or a share of it. If it is the spindle, never tap while it turns: stop "
        "it, lock it out, and tap again.",
    )


def no_usable() -> Finding:
    """Every tap was left out."""
    return _finding(
        "no-usable-tap",
        "error",
        "No tap is left to listen to, so what rings can't be told: tap again, as said above.",
    )


def no_decay() -> Finding:
    """Something was struck, but nothing rang."""
    return _finding(
        "no-decay",
        "error",
        "Nothing rings after the taps: hold the phone nearer, and tap at a place that swings.",
    )


def only_room() -> Finding:
    """Something was struck, but echoes are all that is heard."""
    return _finding(
        "only-room",
        "error",
        "After the taps the room is all that can be heard to ring: hold the phone within a hand's breadth, "
        "or against the part, and tap at a place that swings.",
    )


def not_compared(before: str) -> Finding:
    """No mode here, so no change can be told."""
    return _finding(
        "not-compared", "warning", f"Nothing here could be compared with {before}: it has no mode to compare."
    )


def only_one() -> Finding:
    """One tap has no scatter."""
    return _finding(
        "one-tap",
        "info",
        "Only one tap could be used: tap three to five times, two seconds apart, to be surer.",
    )


def bounded(modes: tuple[TapMode, ...], *, in_room: bool) -> tuple[Finding, ...]:
    """Say where only a bound is known of the damping, and whether that is the room's doing."""
    listed = ", ".join(f"{mode.frequency_hz:,.0f} Hz" for mode in modes if mode.damping_bound == "upper")
    if not listed:
        return ()
    if not in_room:
        sentence = (
            f"The damping at {listed} is known so roughly that it is at most the value given: tap more "
            "often, phone nearer."
        )
        return (_finding("loose-damping", "warning", sentence),)
    sentence = (
        f"The room rings along at {listed}, so the damping there is at most the value given: hold the phone "
        "within a hand's breadth, or against the part, and tap again."
    )
    return (_finding("room", "warning", sentence),)


def bent_decay() -> Finding:
    """Say that one decay needs two dampings."""
    return _finding(
        "bent-decay",
        "warning",
        "The taps die away fast at first and then slower at the same frequency, so the damping given is that "
        "of the later part: switch automatic gain off, look for a loose joint, and see whether it changes "
        "when you tap softer or harder.",
    )


def unsteady(modes: tuple[TapMode, ...]) -> tuple[Finding, ...]:
    """Say where a damping is loose though no bound was needed."""
    loose = [
        f"{mode.frequency_hz:,.0f} Hz"
        for mode in modes
        if mode.damping_bound == "none"
        and (mode.damping_ratio_sd or 0) > UNSTEADY_SPREAD * mode.damping_ratio
    ]
    if not loose:
        return ()
    return (
        _finding(
            "loose-damping",
            "info",
            f"The damping at {', '.join(loose)} is known only roughly: tap more often, phone nearer.",
        ),
    )


def _list(words: list[str]) -> str:
    """Join words; of many only the first ones."""
    if len(words) > MOST_LISTED:
        words = [*words[: MOST_LISTED - 1], f"{len(words) - MOST_LISTED + 1} more"]
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _finding(code: str, severity: Severity, message: str) -> Finding:
    return Finding(code=code, severity=severity, message=message)
