"""What the advice says, in a machinist's words.

In: facts of the advice. Out: sentences.
Leaves out: every decision.
"""

import math
from collections.abc import Sequence

from chatter.milling.kinematics import surface_speed_m_min
from chatter.milling.limits import SpeedRange, feed_at_mm_min, takes_thick_chips
from chatter.milling.materials import find_material
from chatter.model.cut import CutSetup
from chatter.model.notebook import DOUBTFUL

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
# The tool may break or burn, or the spindle stall: told first.
URGENT_CONCERNS = frozenset({"power", "chip-thick", "speed-far"})
BIG_JUMP = 2.0  # own choice: times the present speed and feed, from where on the machine is asked after
IN_STEP = 0.15  # own choice: swings off a whole number, up to which a tooth meets the last one's wave in step
UNLIKELY_THERE = "No allowed speed is likely to be stable at this depth: take less depth there, too."


def list_cautions(limits: SpeedRange, *, record_again: bool, gives_speeds: bool) -> tuple[str, ...]:
    """Give the cautions that go with the advice, most pressing first."""
    cautions: list[str] = []
    if record_again:
        cautions.extend(RECORDING_CAUTIONS)
    if gives_speeds and not limits.max_is_known and limits.tool_ends_it:
        fastest = f"{limits.high_rpm:,.0f} rpm"
        cautions.append(f"Nothing above {fastest} is suggested: the tool may turn no faster.")
    elif gives_speeds and not limits.max_is_known:
        cautions.append(
            f"The spindle's fastest speed isn't known, so nothing above {limits.high_rpm:,.0f} rpm is "
            "suggested: give the spindle's range to have faster speeds looked at."
        )
    return (*cautions, *USUAL_CAUTIONS)


def caution_power(setup: CutSetup, *, limits: SpeedRange, powered_rpm: float) -> tuple[str, ...]:
    """Say above which allowed speed the power ends; nothing where it drives them all."""
    if limits.is_empty or powered_rpm >= limits.high_rpm or setup.spindle_power_w is None:
        return ()
    fed = "fed as is usual" if takes_thick_chips(setup) else "fed to keep the chip load"
    cut = f"at this depth and width, {fed}"
    more = f"more than the spindle's {setup.spindle_power_w:,.0f} W."
    if powered_rpm < limits.low_rpm:
        return (f"No other speed is suggested: {cut}, even {limits.low_rpm:,.0f} rpm needs {more}",)
    ends = math.floor(powered_rpm)
    return (f"Nothing above {ends:,} rpm is suggested: {cut}, faster speeds need {more}",)


def caution_outside(speeds_rpm: Sequence[float]) -> str:
    """Say which speeds were heard stable, and still are no settings."""
    told = " and ".join(f"{rpm:,.0f}" for rpm in speeds_rpm)
    return f"Heard stable but not listed: {told} rpm, outside what spindle and tool may turn as told."


def ask_for_air_pass_first(tone_hz: float) -> str:
    """Ask whose a lone tone in the newest cut is before the next one is made."""
    return (
        f"The newest cut counts as marginal only for a lone tone at {tone_hz:,.0f} Hz, which may be the "
        "machine's own. To find out first, run its program once more clear of the work, record that, and "
        "judge the cut again with it as the idle file (--idle)."
    )


def explain_no_feed(setup: CutSetup, *, set_rpm: float) -> tuple[str, ...]:
    """Say why no feed is given with a speed, and which is usual; nothing where one is given or none known."""
    feed = feed_at_mm_min(setup, set_rpm=set_rpm)
    if feed is None or not takes_thick_chips(setup):
        return ()
    return (
        f"No feed is given before the chip load is mended: at {set_rpm:,.0f} rpm up to {feed:,.0f} mm/min "
        "is usual.",
    )


def caution_jump(setup: CutSetup, *, set_rpm: float, feed_mm_min: float | None) -> tuple[str, ...]:
    """Say what to check before a speed or a feed that is many times the present one; nothing before others.

    The present ones are those of the last cut. The feed may grow by more than the speed, where the chip load
    of another cut is kept.
    """
    cautions = []
    speed_times = feed_times = set_rpm / setup.rpm
    times = f"{speed_times:.1f} times"
    feed = f"At {set_rpm:,.0f} rpm the feed goes up with the speed, to {times} the present one"
    if feed_mm_min is not None:
        if setup.feed_mm_min is not None:
            feed_times = feed_mm_min / setup.feed_mm_min
        feed = f"{feed_mm_min:,.0f} mm/min is {feed_times:.1f} times the present feed"
    if feed_times > BIG_JUMP and not takes_thick_chips(setup):  # else the feed doesn't go up with the speed
        cautions.append(f"{feed}: check that the machine can feed that fast, and go there in steps.")
    carbide = None if setup.material is None else find_material(setup.material).carbide_m_min
    is_known = setup.diameter_mm is not None and carbide is not None and carbide.is_sure
    if speed_times > BIG_JUMP and not is_known:
        edge = f"The edge moves {times} as fast as now"
        if setup.diameter_mm is not None:
            speed = surface_speed_m_min(set_rpm, diameter_mm=setup.diameter_mm)
            edge += f", at {speed:,.0f} m/min"
        cautions.append(
            f"{edge}, and whether the tool stands that in this material isn't known: look it up before you "
            "go there."
        )
    return tuple(cautions)


def explain_speed(
    natural_hz: float, *, swings: float, stable_probability: float, ramp_to_mm: float | None = None
) -> str:
    """Say in one sentence why a speed is worth trying; `ramp_to_mm` is the deep end of a ramped pass.

    `swings` is how often what rings moves to and fro from one tooth to the next.
    """
    deep = "this depth" if ramp_to_mm is None else f"{ramp_to_mm:g} mm, the deep end of the ramp,"
    whole = round(swings)
    if whole >= 1 and abs(swings - whole) <= IN_STEP:
        often = "once" if whole == 1 else "twice" if whole == 2 else f"{whole} times"
        sense = ", so each tooth meets the last one's wave nearly in step;"
    else:
        often = f"{swings:.1f} times"
        sense = ": not in step with the teeth, but"
    return (
        f"What rings seems to swing near {natural_hz:,.0f} Hz, about {often} from tooth to tooth at this "
        f"speed{sense} stable at {deep} in {tell_machines(stable_probability)}."
    )


def tell_machines(probability: float) -> str:
    """Give a chance as a count of likely machines, never as certain: the number that "chances in 100" has."""
    if probability > 0.99:
        return "more than 99 of 100 likely machines"
    if probability < 0.01:
        return "less than 1 of 100 likely machines"
    return f"{round(100 * probability)} of 100 likely machines"


def tell_passed_over(*, set_rpm: float, depth_mm: float, chatter_probability: float) -> str:
    """Say which setting would remove more than the best so far, and why it isn't that."""
    most = round(100 * DOUBTFUL)
    chances = f"{100 * chatter_probability:.0f}"
    if float(chances) <= most:  # it is above, by less than a whole chance
        chances = f"{max(100 * chatter_probability, most + 0.1):.1f}"
    return (
        f"{set_rpm:,.0f} rpm at {depth_mm:g} mm would remove more and was heard stable, but with "
        f"{chances} chances in 100 of chatter; above {most} a "
        "surer setting goes first. Cut and record it again to be sure."
    )
