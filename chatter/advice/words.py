"""What the advice says, in a machinist's words.

In: facts of the advice. Out: sentences.
Leaves out: every decision.
"""

from chatter.milling.limits import SpeedRange

USUAL_CAUTIONS = (
    "Keep the guards closed, and nobody leans in to hold the phone.",
    "Never go above the speed limit of the spindle, the holder or the tool.",
    "Wear hearing protection.",
    "After any change check with a short cut, and record again before you cut deeper.",
)
RECORDING_CAUTIONS = (
    "Record with a recorder app set to uncompressed sound, with gain control and noise suppression off.",
    "Lay the phone behind the guard; never hold it into the machine.",
    "Leave three seconds of idling spindle before and after the cut.",
    "Run the same program once in air, and give that recording as the idle file.",
)


def list_cautions(limits: SpeedRange, *, record_again: bool, gives_speeds: bool) -> tuple[str, ...]:
    """Give the cautions that go with the advice, most pressing first."""
    cautions: list[str] = []
    if record_again:
        cautions.extend(RECORDING_CAUTIONS)
    if gives_speeds and not limits.max_is_known:
        cautions.append(
            f"The spindle's fastest speed isn't known, so nothing above {limits.high_rpm:,.0f} rpm is "
            "suggested: give the spindle's range to have faster speeds looked at."
        )
    return (*cautions, *USUAL_CAUTIONS)


def explain_speed(
    natural_hz: float, *, lobe: int, stable_probability: float, ramp_to_mm: float | None = None
) -> str:
    """Say in one sentence why a speed is worth trying; `ramp_to_mm` is the deep end of a ramped pass."""
    deep = "this depth" if ramp_to_mm is None else f"{ramp_to_mm:g} mm, the deep end of the ramp,"
    swings = "once" if lobe == 1 else "twice" if lobe == 2 else f"{lobe} times"
    return (
        f"What rings seems to swing near {natural_hz:.0f} Hz, about {swings} from tooth to tooth at this "
        f"speed, so each tooth meets the last one's wave nearly in step; stable at {deep} in "
        f"{100 * stable_probability:.0f} of 100 likely machines."
    )
