"""Where machine, phone, neighbour and operator are, and what the noise is there.

In: distances and walls as typed, a measured noise. Out: the same noise with what it does elsewhere.
Leaves out: every formula (noise/).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from chatter.analysis._values import read_number
from chatter.errors import BadValueError
from chatter.model.noise import FULL_SCALE_IN_DOUBT, NoiseDocument
from chatter.model.noise_effects import NeighbourPart
from chatter.noise.exposure import DAY_MIN, LEAST_M
from chatter.noise.exposure import MOST_M as EAR_MOST_M
from chatter.noise.room import LEAST_M3, MOST_M3

if TYPE_CHECKING:
    from chatter.noise.measures import Surroundings
    from chatter.noise.screen import Screen
    from chatter.noise.walls import Opening

Facade = Literal["none", "in front", "on it"]
FACADES = ("none", "in front", "on it")
MOST_M, MOST_DB, MOST_MIN, MOST_H = 2000.0, 140.0, 1440.0, 24.0
LIMITS = {
    "mic_distance_m": MOST_M,
    "neighbour_distance_m": MOST_M,
    "screen_height_m": 100.0,
    "screen_distance_m": MOST_M,
    "machine_height_m": 100.0,
    "neighbour_height_m": 100.0,
    "room_m3": MOST_M3,
    "ear_distance_m": EAR_MOST_M,
    "limit_db": MOST_DB,
    "minutes": MOST_MIN,
    "evening_h": MOST_H,
}
LEAST = {
    "mic_distance_m": LEAST_M,
    "neighbour_distance_m": LEAST_M,
    "ear_distance_m": LEAST_M,
    "room_m3": LEAST_M3,
}
# Findings with which the peaks at the ear aren't known: cut off, turned down, short of high frequencies, or
# reckoned from a full scale or a distance that is hardly right.
LOSE_PEAKS = {
    "clipped",
    "automatic-gain",
    "noise-suppression",
    "narrow-band",
    "headset-codec",
    "voice-message",
    FULL_SCALE_IN_DOUBT,
    "distance-unlikely",
}
FIRST_THE_LEVEL = (
    "First make sure of the level, by a calibration or by a new recording at the recorder's usual gain: "
    "until then how much cutting fits can't be told."
)
IDLE_PART = "quiet parts left out"
_PHONE = "how far the phone lay from the machine, in m"
_NEIGHBOUR = "how far away the neighbour is, in m"
_EITHER_DISTANCE = f"{_NEIGHBOUR}, or how far your ear is from the cut"
_HEIGHT = "the height of the screen, in m"
# What each option needs beside it (one of those named), and what that is in words.
NEEDS = {
    "neighbour_distance_m": (("mic_distance_m",), _PHONE),
    "ear_distance_m": (("mic_distance_m",), _PHONE),
    "limit_db": (("neighbour_distance_m",), _NEIGHBOUR),
    "evening_h": (("limit_db",), "the limit that the evening is held against, in dB"),
    "minutes": (("limit_db", "ear_distance_m"), "a limit in dB, or how far your ear is from the cut, in m"),
    "screen_height_m": (("neighbour_distance_m",), _NEIGHBOUR),
    "screen_distance_m": (("screen_height_m",), _HEIGHT),
    "machine_height_m": (("screen_height_m",), f"{_HEIGHT}: heights count only with one"),
    "neighbour_height_m": (("screen_height_m",), f"{_HEIGHT}: heights count only with one"),
    "facade": (("neighbour_distance_m",), _NEIGHBOUR),
    "opening": (("neighbour_distance_m",), _NEIGHBOUR),
    "indoors": (("neighbour_distance_m", "ear_distance_m"), _EITHER_DISTANCE),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Where everyone is; None where not told."""

    mic_distance_m: float | None
    neighbour_distance_m: float | None
    screen: "Screen | None"
    indoors: bool
    openings: "tuple[Opening, ...]"
    room_m3: float | None
    facade: Facade
    ear_distance_m: float | None
    limit_db: float | None
    minutes: float | None
    evening_h: float | None


def read_scene(options: dict[str, Any]) -> Scene:
    """Check what was told about the surroundings.

    Raises
    ------
    BadValueError
        A value is out of its range, or lacks another that it needs.
    """
    from chatter.noise.walls import find_opening

    numbers = {
        name: None
        if options[name] is None
        else read_number(name, options[name], limit, least=LEAST.get(name, 0.0))
        for name, limit in LIMITS.items()
    }
    if numbers["ear_distance_m"] is not None and (numbers["mic_distance_m"] or 0.0) > EAR_MOST_M:
        needed = f"a distance not above {EAR_MOST_M:g} m, beside ear_distance_m"
        raise BadValueError("mic_distance_m", numbers["mic_distance_m"], needed)
    openings = tuple(find_opening(text) for text in options["opening"])
    indoors = bool(options["indoors"])
    if openings and not indoors:
        raise BadValueError(
            "opening", options["opening"][0], "indoors beside it: openings lead out of a room"
        )
    if numbers["room_m3"] is not None and not indoors:
        raise BadValueError("room_m3", numbers["room_m3"], "indoors beside it: in the open there is no room")
    if indoors and numbers["neighbour_distance_m"] is not None and not openings:
        raise BadValueError(
            "opening", None, "the walls, doors and windows towards the neighbour, such as 'garage door:5'"
        )
    if options["facade"] not in FACADES:
        raise BadValueError("facade", options["facade"], "none, in front or on it")
    _check_needs(
        {**numbers, "opening": openings, "indoors": indoors, "facade": options["facade"] != FACADES[0]}
    )
    return Scene(
        screen=_screen(numbers, indoors=indoors),
        indoors=indoors,
        openings=openings,
        facade=options["facade"],
        **{
            name: numbers[name]
            for name in Scene.__slots__
            if name not in ("screen", "indoors", "openings", "facade")
        },
    )


def _check_needs(told: dict[str, Any]) -> None:
    """Refuse an option that would go unused, since what it needs wasn't told."""
    for name, (others, words) in NEEDS.items():
        if told[name] and not any(told[other] for other in others):
            raise BadValueError(" or ".join(others), None, f"{words}, beside {name}")


def _screen(numbers: dict[str, float | None], *, indoors: bool) -> "Screen | None":
    from chatter.noise.measures import OPENING_HEIGHT_M
    from chatter.noise.screen import NEIGHBOUR_M, SOURCE_M, Screen, check_heights

    height_m, away_m = numbers["screen_height_m"], numbers["neighbour_distance_m"]
    if height_m is None or away_m is None:
        return None
    machine_m, neighbour_m = numbers["machine_height_m"], numbers["neighbour_height_m"]
    usual_m = OPENING_HEIGHT_M if indoors else SOURCE_M  # indoors the openings are what is heard outside
    screen = Screen(
        height_m=height_m,
        distance_m=numbers["screen_distance_m"],
        source_height_m=usual_m if machine_m is None else machine_m,
        neighbour_height_m=NEIGHBOUR_M if neighbour_m is None else neighbour_m,
    )
    check_heights(screen, neighbour_distance_m=away_m)
    return screen


def spread_noise(
    document: NoiseDocument, *, scene: Scene, others: Sequence[tuple[float, NoiseDocument]] = ()
) -> NoiseDocument:
    """Say what a measured noise does at the neighbour's, over an evening and at the operator's ear.

    Parameters
    ----------
    document
        The noise at the microphone.
    scene
        Where everyone is.
    others
        Speeds (rpm) and noises of the same cut recorded at them, that advice may name.

    Returns
    -------
    NoiseDocument
        With what was asked for, where the recording has a level at all.
    """
    levels = document.levels
    if levels.LAeq_db is None or scene.mic_distance_m is None:
        return document
    if scene.neighbour_distance_m is not None:
        document = _at_neighbour(document, scene, others)
    if scene.ear_distance_m is not None:
        from chatter.noise.exposure import daily_exposure

        exposure = daily_exposure(
            levels.LAeq_db + document.idle_gain_db,
            mic_distance_m=scene.mic_distance_m,
            ear_distance_m=scene.ear_distance_m,
            minutes=DAY_MIN if scene.minutes is None else scene.minutes,
            uncertainty_db=document.calibration.uncertainty_db,
            lasmax_db=levels.LASmax_db,
            lcpeak_db=None if _loses_peaks(document) else levels.LCpeak_db,
            indoors=scene.indoors,
            room_m3=scene.room_m3,
            level_known=not document.level_in_doubt,
        )
        document = replace(document, exposure=exposure)
    return document


def _loses_peaks(document: NoiseDocument) -> bool:
    """Say whether the recorder or its codec may have taken peaks away, so that the ear got higher ones."""
    return any(one["code"] in LOSE_PEAKS for one in document.recording["findings"])


def _at_neighbour(
    document: NoiseDocument, scene: Scene, others: Sequence[tuple[float, NoiseDocument]]
) -> NoiseDocument:
    from chatter.noise.evening import EVENING_H, rate_evening
    from chatter.noise.measures import OtherSpeed, try_measures
    from chatter.noise.neighbour import level_at_neighbour

    assert scene.mic_distance_m is not None
    assert scene.neighbour_distance_m is not None
    surroundings: Surroundings = {
        "mic_distance_m": scene.mic_distance_m,
        "neighbour_distance_m": scene.neighbour_distance_m,
        "tonal_adjustment_db": document.tonal_adjustment_db or 0.0,
        "uncertainty_db": document.calibration.uncertainty_db,
        "laeq_db": document.cutting_db,
        "screen": scene.screen,
        "indoors": scene.indoors,
        "openings": scene.openings,
        "room_m3": scene.room_m3,
        "facade": scene.facade,
    }
    neighbour = level_at_neighbour(band_levels(document), **surroundings)
    gain_db = document.idle_gain_db
    if gain_db > 0:  # so that the parts lead from the mean at the phone to the neighbour
        first, *rest = neighbour.parts
        parts = (first, NeighbourPart(name=IDLE_PART, db=gain_db), *rest)
        neighbour = replace(neighbour, parts=parts)
    document = replace(document, neighbour=neighbour)
    if scene.limit_db is None:
        return document
    measures = try_measures(
        band_levels(document),
        other_speeds=[
            OtherSpeed(
                rpm=rpm,
                octave_levels_db=band_levels(other),
                tonal_adjustment_db=other.tonal_adjustment_db or 0.0,
                laeq_db=other.cutting_db,
            )
            for rpm, other in others
            if other.levels.LAeq_db is not None and not other.level_in_doubt
        ],
        calm_adjustment_db=_calm_adjustment_db(document),
        **surroundings,
    )
    evening = rate_evening(
        neighbour,
        limit_db=scene.limit_db,
        minutes=scene.minutes,
        reference_h=EVENING_H if scene.evening_h is None else scene.evening_h,
        measures=measures,
        level_known=not document.level_in_doubt,
    )
    if document.level_in_doubt:
        evening = replace(evening, helps=(FIRST_THE_LEVEL,))
    return replace(document, evening=evening)


def _calm_adjustment_db(document: NoiseDocument) -> float | None:
    """Give the adjustment that the tones other than chatter's make; None where that can't be told."""
    from chatter.noise.pipeline import LISTED
    from chatter.noise.tones import adjust

    now_db, sources = document.tonal_adjustment_db, [tone.source for tone in document.tones]
    if now_db is None or "chatter" not in sources or None in sources:
        return None
    left = [tone.audibility_db for tone in document.tones if tone.source != "chatter"]
    if not left and len(sources) >= LISTED:  # others may stand below those that are listed
        return None
    return min(now_db, adjust(max(left, default=0.0)))


def band_levels(document: NoiseDocument) -> dict[float, float | None]:
    """Give the levels of the bands by their midbands, while it is loud: the quiet adds next to nothing."""
    gain_db = document.idle_gain_db
    return {
        band.midband_hz: None if band.Leq_db is None else band.Leq_db + gain_db for band in document.bands
    }
