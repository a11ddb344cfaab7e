"""What is noticed about a noise measurement beside the sound's own quality.

In: the loud part of a recording, where everyone is. Out: findings, as they stand in a document.
Leaves out: what the samples tell about the recorder (audio/, noise/quality.py).
"""

import math

from chatter.analysis._noise_scene import Scene
from chatter.model import Finding
from chatter.model.noise import FULL_SCALE_IN_DOUBT, Calibration, LoudPart

IDLE_TOLD_DB = 1.0  # own choice: what quiet parts take from the mean before it is told; nobody hears less
# Own choice, common practice: phones lie at 110 to 130 dB, a recorder turned up for birds near 80, a stage
# microphone on one turned down near 150.
USUAL_FULL_SCALES_DB = (80.0, 160.0)
# Own choice: the highest peak, re full scale, at a metre or nearer; farther away it may be as much lower as
# in the open. That is 61 dB by a typical phone's gain, and cuts bang far louder; 16 bits have 33 steps there.
FAINT_PEAK_DB = -60.0
FAINT_AT_M = 1.0
EAR_M = 5.0  # own choice: whoever runs the machine stands at it
PHONE_M = 20.0  # own choice: farther away a phone hears the street, unless it lies near the neighbour
NEAR_NEIGHBOUR = 0.5  # own choice: of the way to the neighbour
FAR_M = 300.0  # own choice: hardly anybody asks for a neighbour farther away, so it may be no metres


def list_noise_findings(
    scene: Scene, *, full_scale_db: float, loud_part: LoudPart | None, mean_db: float | None
) -> list[dict[str, str]]:
    """Give everything that is noticed.

    Parameters
    ----------
    scene
        Where everyone is.
    full_scale_db
        What digital full scale stands for, dB re 20 µPa.
    loud_part
        Its levels re 20 µPa; None without sound.
    mean_db
        LAeq of the whole recording, dB re 20 µPa.
    """
    found = [*_odd_full_scale(full_scale_db), *_odd_distances(scene)]
    if loud_part is not None and mean_db is not None:
        found += [*_idle_counts(loud_part, mean_db), *_uneven(loud_part)]
    found += [*_lone_distance(scene), *_swapped_distances(scene), *_far_neighbour(scene)]
    return [finding.to_dict() for finding in found]


def doubt_faint(
    peak_db: float | None, *, calibration: Calibration, mic_distance_m: float | None
) -> list[Finding]:
    """Doubt a typical phone's gain where the recording is too faint to be a machine's.

    Parameters
    ----------
    peak_db
        LCpeak re full scale; None where it isn't known.
    calibration
        What the levels stand on.
    mic_distance_m
        Machine to phone, m; a metre where not told.
    """
    if calibration.source != "typical phone" or peak_db is None:
        return []
    away_db = 20 * math.log10(max(1.0, (mic_distance_m or FAINT_AT_M) / FAINT_AT_M))
    if peak_db >= FAINT_PEAK_DB - away_db:
        return []
    message = (
        f"The highest peak lies {-peak_db:.0f} dB below full scale: by a typical phone's gain that is "
        f"{calibration.full_scale_db + peak_db:.0f} dB, and no machine that cuts is so quiet there. So the "
        "gain was turned down or the file was changed, and every level here may be far too low. Calibrate, "
        "or record again with the phone's own recorder."
    )
    return [Finding(code=FULL_SCALE_IN_DOUBT, severity="warning", message=message)]


def _odd_full_scale(full_scale_db: float) -> list[Finding]:
    """Say so where no phone or recorder is likely to have the full scale told."""
    low_db, high_db = USUAL_FULL_SCALES_DB
    if low_db <= full_scale_db <= high_db:
        return []
    message = (
        f"Digital full scale is said to stand for {full_scale_db:g} dB; on a phone or a recorder it lies "
        f"from {low_db:g} to {high_db:g} dB. If that is a slip, every level here is off by as much."
    )
    return [Finding(code=FULL_SCALE_IN_DOUBT, severity="warning", message=message)]


def _odd_distances(scene: Scene) -> list[Finding]:
    """Ask whether an ear or a phone far from the machine is told in metres."""
    ear_m, phone_m, neighbour_m = scene.ear_distance_m, scene.mic_distance_m, scene.neighbour_distance_m
    told = []
    if ear_m is not None and ear_m > EAR_M:
        told.append(f"your ear {ear_m:g} m")
    near_neighbour = neighbour_m is not None and (phone_m or 0.0) >= NEAR_NEIGHBOUR * neighbour_m
    if phone_m is not None and phone_m > PHONE_M and not near_neighbour:
        told.append(f"the phone {phone_m:g} m")
    if not told:
        return []
    message = (
        f"You said {' and '.join(told)} from the machine: is that in metres (0.7 stands for 70 cm)? Whoever "
        "runs a machine stands nearer to it, and hears more than is reckoned here."
    )
    return [Finding(code="distance-unlikely", severity="warning", message=message)]


def _idle_counts(loud: LoudPart, mean_db: float) -> list[Finding]:
    """Say so where quiet parts hold the mean at the phone below the level while it is loud."""
    gain_db = loud.LAeq_db - mean_db
    if gain_db < IDLE_TOLD_DB:
        return []
    message = (
        f"The mean at the phone (LAeq) has quiet parts in it, which hold it {gain_db:.1f} dB down. "
        f"{_tell_times(loud)} it is loud, {loud.LAeq_db:.0f} dB(A): that is taken for the cut, at the "
        "neighbour, over the evening and at your ear alike. Count minutes of cutting without pauses. If it "
        "isn't the cut, keep only the cutting in the file."
    )
    return [Finding(code="idle-counts", severity="warning", message=message)]


def _uneven(loud: LoudPart) -> list[Finding]:
    """Say so where the loud part may hold a machine that idles nearly as loud as it cuts."""
    if loud.louder_by_db < IDLE_TOLD_DB:
        return []
    message = (
        f"What counts as cutting is uneven: its loudest stretches alone are {loud.louder_by_db:.1f} dB "
        "louder than its mean. If only they are the cut and the rest is the machine idling, the cut is that "
        "much louder than is said here, and fewer minutes fit: keep only the cutting in the file."
    )
    return [Finding(code="uneven-level", severity="warning", message=message)]


def _tell_times(loud: LoudPart) -> str:
    """Say when it is loud."""
    if loud.stretches == 1:
        return f"From {loud.start_s:.1f} to {loud.end_s:.1f} s"
    return (
        f"For {loud.seconds:.1f} s, in {loud.stretches} stretches between {loud.start_s:.1f} and "
        f"{loud.end_s:.1f} s,"
    )


def _lone_distance(scene: Scene) -> list[Finding]:
    """Say so where the phone's distance was told and nothing to reckon with it."""
    if scene.mic_distance_m is None or scene.neighbour_distance_m or scene.ear_distance_m:
        return []
    message = (
        "The phone's distance changes nothing here: the levels are those at the phone. Tell how far the "
        "neighbour or your ear is, too, and it is reckoned with."
    )
    return [Finding(code="distance-unused", severity="info", message=message)]


def _swapped_distances(scene: Scene) -> list[Finding]:
    """Say so where the neighbour is nearer to the machine than the phone; indoors his way begins outside."""
    phone_m, neighbour_m = scene.mic_distance_m, scene.neighbour_distance_m
    if scene.indoors or phone_m is None or neighbour_m is None or neighbour_m >= phone_m:
        return []
    message = (
        f"The neighbour is said to be {neighbour_m:g} m from the machine and the phone {phone_m:g} m, so the "
        "neighbour would get more noise than the phone did. Were the two distances swapped? If not, record "
        "nearer to the machine."
    )
    return [Finding(code="neighbour-nearer", severity="warning", message=message)]


def _far_neighbour(scene: Scene) -> list[Finding]:
    """Say so where the neighbour is so far away that the distance may be no metres."""
    if scene.neighbour_distance_m is None or scene.neighbour_distance_m <= FAR_M:
        return []
    message = (
        f"The neighbour is said to be {scene.neighbour_distance_m:g} m away, which takes most of the noise: "
        "is that in metres? If so, wind and houses on the way count for more than is reckoned here."
    )
    return [Finding(code="neighbour-far", severity="warning", message=message)]
