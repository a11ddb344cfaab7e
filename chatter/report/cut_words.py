"""What the answer about a cut says, in sentences that the text and the page share.

In: a `CutDocument` or a part of one. Out: plain sentences.
Leaves out: any judgement, and any layout.
"""

import math

from chatter.model import CutAnalysis, CutDocument, JudgedCut, Line, SpeedWindow, Verdict
from chatter.model.cut import RampPass, end_factor, most_depth_mm, present_depth_mm

SPEEDS_SHOWN = 3
UNLIKELY = 0.2  # own choice: of a speed with less chance is told that it will more likely chatter
UNSURE = 0.2  # own choice: with this much against it a verdict is told with "probably"
DEEP_END_S = 0.5  # own choice: where less of a ramp is left out of the verdict, it is told as a plain cut
LITTLE_MORE = 1.1  # own choice: up to here a depth factor is no invitation to cut deeper
ACTIONS = {
    "keep": "Keep these settings.",
    "change speed": "Change the spindle speed.",
    "reduce depth": "Keep the speed and take less depth.",
    "record again": "Record again before changing anything.",
}
THEN_AGAIN = "Then record again before changing anything else."
NO_CHANGE = "The sound itself asks for no other change."
ELSEWHERE = (
    "No other speed can be suggested from what was heard: begin with a short, shallow cut at one that is "
    "allowed, and record it."
)
OTHER_SPEEDS = "Other speeds are less likely to help; the likeliest of them, at the present depth:"
LINE_NAMES = {
    "tooth passing": "tooth passing",
    "spindle harmonic": "spindle turns (run-out)",
    "chatter": "chatter",
    "chatter sideband": "chatter, beside its main line",
    "background": "also there without cutting",
    "resonance": "the machine rings here (a hump)",
    "unexplained": "not explained",
}
IDLE = "idle-"  # what codes of findings about an idle recording begin with
TYPED = "speed-as-typed"  # code of the finding that thousands may have been meant
FACTS = "facts-do-not-fit"
NO_TEETH = "spindle-not-found"  # code of the finding that what gets louder has another comb or none
UNJUDGED = "not-judged"  # code of the finding that something loud was left out
UNLIKE = "unlike-rest"  # code of the finding that one moment of a cut sounds unlike the rest
HUM = "mains-hum"
JUDGE_AGAIN = "Then judge this recording with the right ones; record again only if that can't tell either."
DOUBTED = frozenset({FACTS, TYPED, NO_TEETH})  # codes of findings on which the whole answer hangs
LONE_TONES = {
    "unknown": "It has no side tones, and a motor, an axis drive or a vacuum that starts with the cut sounds "
    "like that, too: without an air pass that can tell, nobody knows whose it is.",
    "in air": "It has no side tones, and the idle recording has a fainter tone there, too: it may be the "
    "machine's own, which the load makes louder.",
    "only cutting": "It has no side tones, but the idle recording lacks it: where that was the same program "
    "in air, with all that runs beside the cut, the tone is the cut's own.",
}
_ONE_CUT = {
    "stable": "this cut did not chatter",
    "marginal": "this cut is at the edge; it may have begun to chatter",
    "chatter": "this cut chattered",
    "undecided": "this recording can't tell whether the cut chattered",
}


def verdict_of_all(document: CutDocument) -> Verdict:
    """Give the verdict of the worst cut, or that none was found."""
    worst = document.analysis.worst
    return "undecided" if worst is None else worst.verdict


def tell_verdict(analysis: CutAnalysis, verdict: Verdict) -> str:
    """Say in words what was heard, over all cuts where there are several; without a stop."""
    total = len(analysis.cuts)
    probably = "probably " if _is_unsure(analysis.worst) else ""
    if verdict == "stable" and any(finding.code == UNJUDGED for finding in analysis.findings):
        return f"what was judged {probably}did not chatter; not all that is loud was"
    if verdict == "stable" and any(finding.code == UNLIKE for finding in analysis.findings):
        return f"what was judged {probably}did not chatter; one moment of it sounds unlike the rest"
    if total < 2:
        short = " for a moment" if analysis.worst is not None and analysis.worst.chatter_end_s else ""
        return _ONE_CUT[verdict].replace("this cut ", f"this cut {probably}", 1) + short
    share = f"{sum(cut.verdict == verdict for cut in analysis.cuts)} of {total} cuts"
    return {
        "stable": f"{probably}none of the {total} cuts chattered",
        "marginal": f"at the edge in {share}; no cut clearly chattered",
        "chatter": f"{share} {probably}chattered",
        "undecided": f"this recording can't tell whether {share} chattered",
    }[verdict]


def _is_unsure(worst: JudgedCut | None) -> bool:
    """Say whether a verdict of stable or chatter has so much against it that it isn't told as a fact."""
    if worst is None or worst.chatter_probability is None or worst.verdict not in ("stable", "chatter"):
        return False
    against = worst.chatter_probability if worst.verdict == "stable" else 1 - worst.chatter_probability
    return against >= UNSURE


def tell_doubt(document: CutDocument) -> str | None:
    """Say first of all where the sound speaks against the speed or the flutes that were told."""
    doubts = [one["message"] for one in document.recording["findings"] if one["code"] in DOUBTED]
    if doubts and verdict_of_all(document) != "undecided":
        doubts = ["This holds only if speed and flutes are right.", *doubts]
    return " ".join(doubts) if doubts else None


def tell_other_findings(document: CutDocument) -> tuple[tuple[str, str], ...]:
    """Give severity and message of what was noticed, without what is said first of all."""
    findings = document.recording["findings"]
    return tuple((one["severity"], one["message"]) for one in findings if one["code"] not in DOUBTED)


def tell_action(document: CutDocument) -> tuple[str, ...]:
    """Say what to do, last; before it what is unsafe, what to make sure of, and whose a lone tone is."""
    advice = document.advice
    action = ACTIONS[advice.action]
    if advice.urgent and advice.action == "keep":
        action = NO_CHANGE
    elif advice.action == "change speed" and not advice.speeds:  # only where the dialled one is too fast
        action = ELSEWHERE
    codes = {finding["code"] for finding in document.recording["findings"]}
    if advice.action == "record again" and (advice.urgent or TYPED in codes):
        action = THEN_AGAIN
    if codes & {FACTS, NO_TEETH} and advice.action == "record again":
        return ("First make sure of the speed and the flutes.", *advice.urgent, JUDGE_AGAIN)
    if codes & DOUBTED:
        first = "First make sure of the speed and the flutes, and judge again: the rest hangs on them."
        return (first, *advice.urgent, action)
    asked = None if advice.urgent else ask_for_air_pass(document)
    return (*advice.urgent, *([] if asked is None else [asked]), action)


def ask_for_air_pass(document: CutDocument) -> str | None:
    """Say how to find out whose a tone is that may be chatter; None without one, or if it is known."""
    worst = document.analysis.worst
    if worst is None or worst.chatter_hz is None or worst.verdict != "marginal":
        return None
    if any(finding.code == HUM for finding in worst.findings):
        return "First look at the work: what was heard may be the motor's hum. If chatter has left its marks:"
    if worst.tone is None:
        return None
    tone = f"the tone at {worst.chatter_hz:,.0f} Hz"
    if worst.tone == "in air":
        return f"First look at the work: {tone} may be the machine's own. If chatter has left its marks:"
    if any(finding["code"].startswith(IDLE) for finding in document.recording["findings"]):
        return f"First give an idle recording that can tell whose {tone} is. If it is the cut's:"
    if worst.tone == "only cutting":
        return None
    return (
        "First raise the tool clear of the work, run the same program once more, record it, and give it as "
        f"the idle file (--idle). If {tone} is about as loud there, it is no chatter. If it isn't there:"
    )


def tell_counts(document: CutDocument) -> str | None:
    """Say which cuts the notebook counts otherwise than they were heard, if any."""
    if not document.counts:
        return None
    told = " ".join((document.counts[0], *map(to_sentence, document.counts[1:])))
    return f"Compared with the setup's other cuts: {told} The advice below doesn't know; `chatter next` does."


def tell_which_cut(analysis: CutAnalysis, worst: JudgedCut | None) -> str:
    """Say in one sentence which cut the verdict is about and how sure it is."""
    if worst is None:
        loud = any(finding.code == NO_TEETH for finding in analysis.findings)
        return "no cut with such teeth was found in it." if loud else "no cut was found in it."
    ramp = find_deep_end(analysis)
    span = tell_span(worst.start_s, worst.end_s) if ramp is None else tell_span(ramp.start_s, ramp.end_s)
    if len(analysis.cuts) > 1 and analysis.cut_index is not None:
        deep = "" if ramp is None else f", its deep end from {ramp.deep_from_s:.1f} s on"
        sentence, heard = f"judged by the worst cut, number {analysis.cut_index + 1} ({span}{deep})", ", "
    elif ramp is None:
        sentence, heard = f"the cut {span}", ", "
    else:
        sentence, heard = f"the pass {span}; its deep end, from {ramp.deep_from_s:.1f} s on, is judged", ": "
    if worst.chatter_probability is not None:
        sentence += f"{heard}chatter {tell_chance(worst.chatter_probability)}"
    heard_s = tell_onset(analysis)
    also = "" if ramp is None else "heard "
    return sentence + ("." if heard_s is None else f", {also}{heard_s}.")


def find_deep_end(analysis: CutAnalysis) -> RampPass | None:
    """Give the ramped pass that the answer is about, where only its deep end was judged; else None."""
    ramp = analysis.ramp_pass
    if ramp is None or ramp.cut_index != analysis.cut_index:
        return None
    return None if ramp.deep_from_s - (ramp.start_s or 0.0) < DEEP_END_S else ramp


def find_onset_s(analysis: CutAnalysis) -> float | None:
    """Give when chatter is first heard in the worst cut; of a ramped pass, when its depth was told."""
    worst = analysis.worst
    if worst is None or worst.verdict not in ("chatter", "marginal"):
        return None
    return worst.onset_s if analysis.ramp is None else analysis.ramp.time_s


def tell_onset(analysis: CutAnalysis) -> str | None:
    """Say from when on chatter is heard, or from when to when; None where none is."""
    onset_s, worst = find_onset_s(analysis), analysis.worst
    if onset_s is None or worst is None:
        return None
    end_s = worst.chatter_end_s
    return f"from {onset_s:.1f} s on" if end_s is None else f"only from {onset_s:.1f} s to {end_s:.1f} s"


def tell_span(start_s: float | None, end_s: float | None) -> str:
    """Say from when to when a cut goes; None where the recording begins or ends inside it."""
    start = "from before the recording begins" if start_s is None else f"from {start_s:.1f} s"
    end = "to past its end" if end_s is None else f"to {end_s:.1f} s"
    return f"{start} {end}"


def tell_chance(probability: float) -> str:
    """Give a probability in whole chances out of a hundred, never as certain."""
    if probability > 0.99:
        return "with more than 99 chances in 100"
    if probability < 0.01:
        return "with less than 1 chance in 100"
    chances = round(100 * probability)
    return f"with {chances} chance{'' if chances == 1 else 's'} in 100"


def tell_odds(probability: float) -> str:
    """Give a probability as "86 in 100", never as certain."""
    return tell_chance(probability).removeprefix("with ").replace(" chances", "").replace(" chance", "")


def tell_percent(probability: float | None) -> str:
    """Give a probability in percent, never as certain."""
    if probability is None:
        return "-"
    return "< 1 %" if probability < 0.01 else "> 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def window_to_dial(speed: SpeedWindow) -> tuple[float, float]:
    """Give the lowest and the highest speed of a window as they are dialled, rpm."""
    scale = speed.set_rpm / speed.rpm  # [rpm dialled] / [rpm true]
    return scale * speed.low_rpm, scale * speed.high_rpm


def dial_per_true(document: CutDocument) -> float:
    """Give the dialled speed over the true one, as this cut was heard."""
    worst, spindle = document.analysis.worst, document.analysis.spindle
    measured = None if worst is None else worst.measured_rpm
    return spindle.programmed_rpm / (spindle.best_rpm if measured is None else measured)


def tell_dial(speed: SpeedWindow) -> str:
    """Say what to dial for one suggested speed, and how sure it is."""
    dial = f"Dial {speed.set_rpm:,.0f} rpm"
    if speed.feed_mm_min is not None:
        dial += f", feed {speed.feed_mm_min:,.0f} mm/min"
    but = ", so it will more likely chatter" if speed.stable_probability < UNLIKELY else ""
    return f"{dial}: stable {tell_chance(speed.stable_probability)}{but}."


def tell_window(speed: SpeedWindow) -> str:
    """Say which speeds belong to the window of a suggested one, as they are dialled."""
    if speed.high_rpm - speed.low_rpm < 1:
        return "Window on the dial: next to no room on either side."
    low_rpm, high_rpm = window_to_dial(speed)
    return f"Window on the dial: {low_rpm:,.0f} to {high_rpm:,.0f} rpm."


def tell_unlikely(document: CutDocument) -> str | None:
    """Say that no other speed helps, where less depth is advised and no speed is likely to be stable."""
    speeds = document.advice.speeds
    if document.advice.action != "reduce depth" or not speeds or speeds[0].stable_probability >= UNLIKELY:
        return None
    likeliest = f"the likeliest is {speeds[0].set_rpm:,.0f} rpm, {tell_chance(speeds[0].stable_probability)}"
    return f"No other speed is likely to be stable at the present depth: {likeliest}."


def tell_any(document: CutDocument) -> str | None:
    """Say how likely it is that one of the suggested speeds holds; None where there are no several."""
    chance, speeds = document.advice.any_stable_probability, document.advice.speeds
    if chance is None or len(speeds) < 2:
        return None
    count = "two" if len(speeds) == 2 else "three"
    return (
        f"One of the {count} at least is stable {tell_chance(chance)}: they were chosen so that where one "
        "still chatters another may hold. Try them in turn, a short cut each."
    )


def to_sentence(text: str) -> str:
    """Begin a text with a capital and end it with a stop."""
    text = text.strip()
    text = text[:1].upper() + text[1:]
    return text if not text or text.endswith((".", "!", "?")) else text + "."


def find_told_depths(document: CutDocument) -> tuple[float | None, float | None]:
    """Give a ramp's deep end and the present depth as told, mm; neither of a ramp that doesn't grow."""
    ramp, settings = document.analysis.ramp_pass, document.program["settings"]
    if ramp is not None and not ramp.grows:
        return None, None
    last_mm = settings.get("depth_to_mm")
    return last_mm, present_depth_mm(settings.get("depth_mm"), depth_to_mm=last_mm)


def tell_ramp(document: CutDocument) -> str | None:
    """Say at which depth of a ramped pass chatter began, or that none was heard; None without a ramp."""
    last = document.program["settings"].get("depth_to_mm")
    worst = document.analysis.worst
    if last is None or worst is None:
        return None
    if find_told_depths(document)[0] is None:
        return "At which depth chatter begins can't be told from this pass: it doesn't sound like a ramp."
    onset = document.analysis.ramp
    if onset is not None:
        return (
            f"In this pass chatter began at {onset.depth_mm:.2f} ± {onset.depth_sd_mm:.2f} mm, heard at "
            f"{onset.time_s:.1f} s: at this speed stay clearly below that depth."
        )
    if worst.verdict == "stable":
        return f"No chatter was heard down to {last:g} mm at this speed."
    return "Where in this pass chatter began can't be told: cut a longer ramp, and record it with less noise."


def find_depths_mm(document: CutDocument) -> tuple[float, float] | None:
    """Give the present depth and the most to take at its speed: what is stable, or what ends it before."""
    advice, (_, depth_mm) = document.advice, find_told_depths(document)
    if depth_mm is None or advice.depth_factor is None:
        return None
    end = _find_end(document, advice.depth_factor)
    most_mm = float(round_down(advice.depth_factor)) * depth_mm if end is None else end[1]
    return depth_mm, most_mm if advice.power_depth_mm is None else min(most_mm, advice.power_depth_mm)


def _find_end(document: CutDocument, factor: float) -> tuple[str, float] | None:
    """Give which number that was told ends the depth, and that depth in mm; None where chatter does."""
    settings = document.program["settings"]
    most_told_mm, stick_out_mm = settings.get("max_depth_mm"), settings.get("stick_out_mm")
    _, depth_mm = find_told_depths(document)
    most_mm = most_depth_mm(most_told_mm, stick_out_mm=stick_out_mm)
    if depth_mm is None or most_mm is None or factor < end_factor(most_mm, depth_mm=depth_mm):
        return None
    return "largest depth" if most_mm == most_told_mm else "stick-out", most_mm


def round_down(value: float) -> str:
    """Give a depth or a share of one in hundredths, a tiny one in thousandths, not above the one given.

    >>> round_down(0.348), round_down(1.5), round_down(0.0379)
    ('0.34', '1.5', '0.037')
    """
    step = 100 if value >= 0.1 else 1000
    return f"{math.floor(step * value + 1e-9) / step:g}"


def tell_depth(document: CutDocument) -> str | None:
    """Say how deep the present speed carries; None where the advice doesn't know, or asks for less first."""
    factor = document.advice.depth_factor
    if factor is None:
        return None
    depths = find_depths_mm(document)
    leaves_it = document.advice.action == "change speed" or verdict_of_all(document) == "stable"
    if document.advice.urgent and (leaves_it or (factor if depths is None else depths[1] / depths[0]) >= 1):
        return None
    power_mm = document.advice.power_depth_mm
    if depths is not None and power_mm is not None and depths[1] >= power_mm:
        return _tell_power_depth(factor, *depths)
    return _tell_stable_depth(document, factor)


def _tell_power_depth(factor: float, depth_mm: float, most_mm: float) -> str:
    """Say how deep the spindle's power carries, where that is less than what is stable."""
    text = (
        f"At the present speed and feed take no more than {round_down(most_mm)} mm instead of "
        f"{depth_mm:g} mm: deeper needs more power than the spindle has. By the sound alone "
        f"{_round_down_mm(factor, depth_mm)} mm would be stable with 90 chances in 100."
    )
    return text if most_mm < depth_mm else f"{text} Go deeper in small steps, and record each."


def _round_down_mm(factor: float, depth_mm: float) -> str:
    """Give the depth of a factor as it is told, so that the two fit each other."""
    return round_down(float(round_down(factor)) * depth_mm)


def _tell_stable_depth(document: CutDocument, factor: float) -> str:
    """Say how deep is stable at the present speed."""
    ramp_mm, depth_mm = find_told_depths(document)
    share = f"{round_down(factor)} times the {'present depth' if ramp_mm is None else 'deep end of the ramp'}"
    end = _find_end(document, factor)
    if depth_mm is not None and end is not None:
        told, most_mm = end
        than = f" instead of {depth_mm:g} mm" if most_mm < depth_mm else ""
        return (
            f"Take no more than {most_mm:g} mm{than}: there the {told} that you told ends it. At the present "
            "speed as much is stable with at least 90 chances in 100."
        )
    if factor < 1 and verdict_of_all(document) == "stable":
        return _tell_room(
            document, share if depth_mm is None else f"{share} ({_round_down_mm(factor, depth_mm)} mm)"
        )
    if depth_mm is not None:
        share += f" ({_round_down_mm(factor, depth_mm)} mm instead of {depth_mm:g} mm)"
    if factor >= LITTLE_MORE:
        text = f"At the present speed up to {share} should stay stable with 90 chances in 100: "
        return f"{text}go deeper in small steps, and record each."
    if factor >= 1:
        text = "At the present speed the present depth is about as deep as can be advised from what was heard"
        more = "" if round_down(factor) == "1" else f": up to {share}, with 90 chances in 100"
        if _is_unsure(document.analysis.worst):
            return f"{text}{more}. It isn't sure that it was stable: make it again before you go deeper."
        return f"{text}{more}. To learn how much it bears, go deeper in small steps, and record each."
    return f"At the present speed no more than {share} is stable with 90 chances in 100."


def _tell_room(document: CutDocument, share: str) -> str:
    """Say of a quiet cut that it may be kept, and that how much deeper it would stay so isn't known."""
    which = "This cut was" if len(document.analysis.cuts) == 1 else "These cuts were"
    probably = "probably " if _is_unsure(document.analysis.worst) else ""
    earlier = (document.notebook or {}).get("earlier_cuts_used")
    weighed = " and this setup's earlier cuts" if earlier else ""
    return (
        f"{which} {probably}quiet. How much room is left can't be told from that: don't go deeper without "
        f"another test cut, recorded. The estimate by itself, from machines that may be like yours{weighed}, "
        f"promises 90 chances in 100 only down to {share}."
    )


def tell_spindle(document: CutDocument) -> str:
    """Say what the spindle did."""
    spindle = document.analysis.spindle
    if spindle.measured_rpm is None:
        return f"The spindle's own lines were not found; {spindle.programmed_rpm:,.0f} rpm was dialled."
    off_percent = 100 * (spindle.measured_rpm / spindle.programmed_rpm - 1)
    sd_rpm = spindle.measured_rpm_sd
    spread = "" if sd_rpm is None else f" ± {sd_rpm:.1f}" if sd_rpm >= 0.05 else " ± less than 0.1"
    off = f"{abs(off_percent):.2f} % {'above' if off_percent >= 0 else 'below'} the"
    against = f"{off} {spindle.programmed_rpm:,.0f} dialled"
    if off.startswith("0.00"):
        against = f"as dialled ({spindle.programmed_rpm:,.0f})"
    return (
        f"Spindle: {spindle.measured_rpm:,.1f}{spread} rpm measured, {against}. "
        f"It turns {spindle.measured_rpm / 60:,.1f} times a second; "
        f"{spindle.flutes} {'flutes strike' if spindle.flutes > 1 else 'flute strikes'} at "
        f"{spindle.measured_rpm * spindle.flutes / 60:,.1f} Hz."
    )


def tell_chatter(worst: JudgedCut | None) -> str | None:
    """Say at which frequency it chattered; None where it didn't."""
    if worst is None or worst.chatter_hz is None:
        return None
    what = "Chatter" if worst.verdict == "chatter" else "What may be chatter"
    alone = "" if worst.tone == "in air" else " and not there without cutting"
    return (
        f"{what}: strongest at {worst.chatter_hz:,.1f} Hz, which is not a multiple of the spindle's "
        f"speed{alone}."
    )


def tell_lone_tone(document: CutDocument) -> str | None:
    """Say what a lone tone that may be chatter rests on; None without one."""
    worst = document.analysis.worst
    if worst is None or worst.tone is None or worst.chatter_hz is None:
        return None
    if worst.verdict == "chatter" and worst.tone != "only cutting":  # its broad noise speaks for chatter
        return None
    return LONE_TONES[worst.tone]


def tell_why(document: CutDocument) -> tuple[str, ...]:
    """Say what the answer rests on: spindle, chatter, a lone tone, what rings."""
    worst = document.analysis.worst
    rings = None if document.rings is None or worst is None else f"What rings: {document.rings.why}"
    texts = (tell_spindle(document), tell_chatter(worst), tell_lone_tone(document), rings)
    return tuple(text for text in texts if text is not None)


def choose_lines(lines: tuple[Line, ...], *, count: int) -> tuple[Line, ...]:
    """Give the lines that decide first, then the strongest others."""
    first = [line for line in lines if line.kind == "chatter"]
    rest = sorted((line for line in lines if line.kind != "chatter"), key=lambda line: -line.level_db)
    return tuple([*first, *rest][:count])


def name_line(line: Line) -> str:
    """Say what a line is."""
    name = LINE_NAMES[line.kind]
    if line.kind == "chatter sideband" and line.order is not None:
        times = "twice" if line.order == 2 else f"{line.order} times"
        name = f"chatter, at {times} its frequency"
    elif line.order is not None and line.kind in ("tooth passing", "spindle harmonic"):
        name += f", multiple {line.order}"
    if line.width_hz is not None:
        name += f", {line.width_hz:,.0f} Hz wide"
    return name
