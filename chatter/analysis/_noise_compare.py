"""Several recordings in, ranked by what the neighbour gets.

In: paths of recordings of the same job, `cut` documents of some of them. Out: a `NoiseComparison`.
Method: each recording by its rating (level with the adjustment for tones) at the neighbour, or at the phone
where no neighbour was told, those with a level in doubt last; cuts are matched to recordings by the SHA-256
of their content.
Leaves out: how one recording is measured (_noise.py).
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from chatter.analysis._cut_documents import ReadCut, read_cuts
from chatter.analysis._noise import (
    BESIDE,
    Progress,
    answer,
    begin_filing,
    filed,
    kept_cuts,
    measure,
    with_cut,
)
from chatter.analysis._noise_scene import Scene, spread_noise
from chatter.analysis._parts import program_part
from chatter.analysis._values import as_list
from chatter.errors import BadValueError
from chatter.model.noise import NoiseComparison, NoiseDocument, StableCut

DIFFERENT_DB = 1.0  # own choice: nobody hears less, with the phone in one place


def compare_noise(
    paths: Sequence[str | Path],
    *,
    cut: str | Path | Sequence[str | Path] = (),
    setup: str | None = None,
    notebook: str | Path | None = None,
    progress: Progress | None = None,
    **options: Any,  # those of `measure_noise`, checked there
) -> NoiseComparison:
    """Rank recordings by what the neighbour gets, quietest first.

    Parameters
    ----------
    paths
        Two or more recordings, made with the phone in one place and with the same settings.
    cut
        `cut` documents (JSON files): the quietest stable one that is among the recordings is named, and each
        gives its speed and flutes to its recording.
    setup, notebook, progress
        As for `measure_noise`.
    **options
        Those of `measure_noise`.

    Returns
    -------
    NoiseComparison
        The answer; `to_dict()` gives the `noise comparison` document.

    Raises
    ------
    BadValueError
        Fewer than two recordings, a value is out of its range, or a `cut` document is of none of them.
    FileProblemError, BadSamplesError
        A recording or a document can't be read.
    """
    places, documents = [Path(path) for path in as_list(paths)], as_list(cut)
    if len(places) < 2:
        raise BadValueError("recordings", [place.name for place in places], "two or more to compare")
    wanted, history = begin_filing(all_options(options), setup=setup, notebook=notebook)
    from chatter.audio.files import check_readable

    for place in places:
        check_readable(place)  # before minutes of work on the others
    cuts = read_cuts(documents, recordings=places)
    heard = [measure(place, progress=progress) for place in places]
    cuts += [one for measured in heard for one in kept_cuts(history, measured)]
    each = [with_cut(wanted, one, cuts) for one in heard]
    plain = [answer(one, want, path=place) for one, want, place in zip(heard, each, places, strict=True)]
    noises = plain
    if wanted.scene.limit_db is not None:
        noises = [_with_others(one, plain, cuts, scene=wanted.scene) for one in plain]
    noises.sort(key=_rank)
    stable = _quietest_stable(noises, cuts)
    settings = {**wanted.settings, "cut": [Path(path).name for path in documents]}
    return NoiseComparison(
        program=program_part(settings),
        noises=tuple(filed(noise, history) for noise in noises),
        quietest_stable=stable,
        says=tuple(_say(noises, stable, cuts)),
    )


def all_options(told: dict[str, Any]) -> dict[str, Any]:
    """Give every option of `measure_noise`, the ones that were not told with their defaults."""
    from inspect import signature

    from chatter.analysis._noise import measure_noise

    defaults = {
        name: one.default for name, one in signature(measure_noise).parameters.items() if name not in BESIDE
    }
    unknown = sorted(set(told) - set(defaults))
    if unknown:
        raise TypeError(f"no option of measure_noise: {', '.join(unknown)}")
    return {**defaults, **told}


def _with_others(
    noise: NoiseDocument, plain: list[NoiseDocument], cuts: list[ReadCut], *, scene: Scene
) -> NoiseDocument:
    """Spread a noise anew, with advice that may name the other stable speeds."""
    stable = {one.sha256: one.rpm for one in cuts if one.verdict == "stable"}
    others = [
        (stable[sha256], other)
        for other in plain
        if (sha256 := other.recording["sha256"]) in stable and other is not noise
    ]
    return spread_noise(noise, scene=scene, others=others) if others else noise


def _rank(noise: NoiseDocument) -> tuple[bool, bool, float]:
    """Give the place of a recording: by its rating, but after the others where the level is in doubt."""
    return noise.rated_db is None, noise.level_in_doubt, noise.rated_db or 0.0


def _quietest_stable(noises: list[NoiseDocument], cuts: list[ReadCut]) -> StableCut | None:
    stable = {one.sha256: one for one in cuts if one.verdict == "stable"}
    for noise in noises:
        one = stable.get(noise.recording["sha256"])
        if one is not None and noise.is_ranked:
            return StableCut(
                file=noise.recording["file"],
                sha256=one.sha256,
                programmed_rpm=one.rpm,
                rated_db=noise.rated_db,
            )
    return None


def _say(noises: list[NoiseDocument], stable: StableCut | None, cuts: list[ReadCut]) -> list[str]:
    sounding = [noise for noise in noises if noise.is_ranked]
    doubted = [noise for noise in noises if noise.rated_db is not None and noise.level_in_doubt]
    among = ", of those whose level isn't in doubt," if doubted else ""
    says = _say_doubted(sounding, doubted) if doubted else []
    if len(sounding) > 1 or not doubted:
        says.append(_say_quietest(sounding, among))
    silent = [noise.recording["file"] for noise in noises if noise.rated_db is None]
    if 0 < len(silent) < len(noises):
        holds = "holds" if len(silent) == 1 else "hold"
        says.append(f"{' and '.join(silent)} {holds} nothing but digital silence, so no level.")
    if stable is not None:
        says.append(
            f"The quietest stable speed recorded{among} is {stable.programmed_rpm:,.0f} rpm ({stable.file})."
        )
    elif _has_stable(doubted, cuts):
        says.append("Which stable speed is the quietest can't be told, because the level is in doubt.")
    elif cuts:
        says.append("No stable cut among the cut documents belongs to one of these recordings.")
    if len(sounding) > 1:
        says.append(
            "The order holds only if the phone lay in the same place with the same settings, and its gain "
            "stayed as it was."
        )
    return says


def _has_stable(noises: list[NoiseDocument], cuts: list[ReadCut]) -> bool:
    stable = {one.sha256 for one in cuts if one.verdict == "stable"}
    return any(noise.recording["sha256"] in stable for noise in noises)


def _say_doubted(sounding: list[NoiseDocument], doubted: list[NoiseDocument]) -> list[str]:
    """Name the recordings whose level is in doubt, and say what that leaves of the order."""
    files = " and ".join(noise.recording["file"] for noise in doubted)
    levels, are, they = ("level of", "is", "it is") if len(doubted) == 1 else ("levels of", "are", "they are")
    end = f"{they} ranked last" if len(sounding) > 1 else "which recording is the quietest can't be told"
    return [f"The {levels} {files} {are} in doubt, so {end}."]


def _say_quietest(sounding: list[NoiseDocument], among: str) -> str:
    """Name the quietest of the recordings that have a level; they come quietest first."""
    if not sounding:
        return "None of the recordings holds any sound."
    file = sounding[0].recording["file"]
    if len(sounding) == 1:
        return f"{file} is the quietest, as the only one that holds any sound."
    next_file = sounding[1].recording["file"]
    apart_db = (sounding[1].rated_db or 0.0) - (sounding[0].rated_db or 0.0)
    if apart_db < DIFFERENT_DB:
        return (
            f"{file} and {next_file} differ by less than {DIFFERENT_DB:g} dB: nobody hears which is the "
            "quieter."
        )
    return f"{file} is the quietest{among or ','} {apart_db:.1f} dB below the next, tones counted."
