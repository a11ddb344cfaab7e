"""What is noticed about a noise measurement beside the sound's own quality.

In: the loud part of a recording, where everyone is. Out: findings, as they stand in a document.
Leaves out: what the samples tell about the recorder (audio/, noise/quality.py).
"""

from chatter.analysis._noise_scene import Scene
from chatter.model import Finding
from chatter.model.noise import LoudPart

IDLE_TOLD_DB = 1.0  # own choice: what quiet parts take from the mean before it is told; nobody hears less
FAR_M = 300.0  # own choice: hardly anybody asks for a neighbour farther away, so it may be no metres


def list_noise_findings(
    scene: Scene, *, loud_part: LoudPart | None, mean_db: float | None
) -> list[dict[str, str]]:
    """Give everything that is noticed.

    Parameters
    ----------
    scene
        Where everyone is.
    loud_part
        Its levels re 20 µPa; None without sound.
    mean_db
        LAeq of the whole recording, dB re 20 µPa.
    """
    found: list[Finding] = []
    if loud_part is not None and mean_db is not None:
        found += [*_idle_counts(loud_part, mean_db), *_uneven(loud_part)]
    found += [*_lone_distance(scene), *_swapped_distances(scene), *_far_neighbour(scene)]
    return [finding.to_dict() for finding in found]


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
