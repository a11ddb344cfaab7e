"""Judged recordings, filed with a setup, and what is told of that.

In: what the setup knew before, the document. Out: the document's `notebook` part, with notes.
Leaves out: what the setup knew (_notebook.py), the file itself (notebook/).
"""

import json
from collections.abc import Callable
from typing import Any

from chatter.analysis._halves import caution_doubling, may_double, settle_cuts, tell_settled
from chatter.analysis._notebook import History, checked_facts
from chatter.model.cut import NO_RAMP, present_depth_mm
from chatter.model.notebook import FACT_NAMES, Filing, KeptCut, KeptNoise, KeptSetup
from chatter.notebook import Notebook
from chatter.notebook.store import is_there

SURER_DB = 0.5  # own choice: less of a difference in uncertainty shows in no answer


def file_cut(
    history: History, *, document: dict[str, Any], facts: dict[str, Any]
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """File a judged cut; give the document's `notebook` part, and what of it the answer itself has to tell.

    Parameters
    ----------
    history
        From `begin_history`.
    document
        The `cut` document.
    facts
        The cut's settings; those that are the setup's and were not told yet are filled in.
    """
    before = settle_cuts(_listed(history))
    sha256 = document["recording"]["sha256"]
    earlier = find_kept_cut(history, sha256)
    filing, notes = _file(history, document=document, facts=facts)
    if filing.filed == "changed" and earlier is not None:
        notes += _say_untold(earlier, document)
    heard = _listed(history)
    counts = tell_settled(before, heard=heard, new=filing.number)
    notes += counts
    now = settle_cuts(heard)
    kept = next((cut for cut in now if cut.number == filing.number), None)
    if kept is not None and kept.verdict == "stable" and may_double(kept, among=now):
        notes.append(caution_doubling((kept.set_rpm,)))
    settings = document["program"]["settings"]
    depth_mm = present_depth_mm(settings["depth_mm"], depth_to_mm=settings["depth_to_mm"])
    if len(document["cuts"]) > 1:
        notes.append(_say_several(document, depth_mm=depth_mm))
    if depth_mm is None:
        notes.append("without its depth this cut can't be used for the next ones: give it and file it again.")
    if any(one["code"] == NO_RAMP for one in document["recording"]["findings"]):
        kept_mm = None if kept is None else kept.depth_mm
        notes.append(
            "the pass doesn't sound like a ramp, so its depth isn't known and it can't be used for the next "
            "cuts: if it was of one depth, give that and file it again."
            if kept_mm is None
            else f"the pass doesn't sound like a ramp, but it was kept as {kept_mm:g} mm deep before that "
            "was asked: if it was of one depth, give that and file it again."
        )
    part = {
        "file": str(history.path),
        "setup": history.setup,
        "cut": filing.number,
        "version": filing.version,
        "filed": filing.filed,
        "earlier_cuts_used": len(history.without(sha256)),
        "taps_used": len(history.taps),
        "notes": notes,
    }
    return part, tuple(counts)


def _say_untold(earlier: dict[str, Any], document: dict[str, Any]) -> list[str]:
    """Say what was told with the earlier version of a cut, and not with the one that counts now."""
    had, has = (one["program"]["settings"] for one in (earlier, document))
    had_mm, has_mm = (
        present_depth_mm(one.get("depth_mm"), depth_to_mm=one.get("depth_to_mm")) for one in (had, has)
    )
    lost = []
    if had_mm is not None and has_mm is None:
        lost.append(f"the depth ({had_mm:g} mm)")
    if had.get("feed_mm_min") is not None and has.get("feed_mm_min") is None:
        lost.append(f"the feed ({had['feed_mm_min']:g} mm/min)")
    if had.get("idle") is not None and has.get("idle") is None:
        lost.append("an idle recording")
    if not lost:
        return []
    return [
        f"the earlier version was told {' and '.join(lost)}, the present one not: file the recording again "
        "with everything that is known of it."
    ]


def _say_several(document: dict[str, Any], *, depth_mm: float | None) -> str:
    """Say that one cut of several stands for the recording, with the one depth that was told."""
    deep = "" if depth_mm is None else f", as {depth_mm:g} mm deep whichever depth it had"
    return (
        f"the recording holds {len(document['cuts'])} cuts, and only the worst of them, number "
        f"{document['cut_index'] + 1}, counts for the setup{deep}: record one cut a file, each with its own "
        "depth."
    )


def _listed(history: History) -> tuple[KeptCut, ...]:
    """Give the cuts of the setup as they were heard; none where it is not there yet."""
    if not is_there(history.path):
        return ()
    with Notebook(history.path) as opened:
        return () if opened.get_setup(history.setup) is None else opened.list_cuts(history.setup)


def file_tap(history: History, *, document: dict[str, Any], facts: dict[str, Any]) -> dict[str, Any]:
    """File the modes of a tapped part, and give the document's `notebook` part; takes as `file_cut`."""
    if not document["modes"]:
        return {
            "file": str(history.path),
            "setup": history.setup,
            "tap": None,
            "version": None,
            "filed": None,
            "notes": ["no tap that rings was heard, so nothing was kept: record the taps again."],
        }
    filing, notes = _file(history, document=document, facts=facts)
    return {
        "file": str(history.path),
        "setup": history.setup,
        "tap": filing.number,
        "version": filing.version,
        "filed": filing.filed,
        "notes": notes,
    }


def file_noise(history: History, *, document: dict[str, Any]) -> dict[str, Any]:
    """File a noise measurement, and give the document's `notebook` part."""
    earlier = _kept_noise(history, document["recording"]["sha256"])
    filing, notes = _file(history, document=document, facts={"flutes": history.values.get("flutes")})
    if filing.filed == "changed" and earlier is not None:
        notes += _say_poorer(earlier, document)
    return {
        "file": str(history.path),
        "setup": history.setup,
        "noise": filing.number,
        "version": filing.version,
        "filed": filing.filed,
        "notes": notes,
    }


def _kept_noise(history: History, sha256: str) -> dict[str, Any] | None:
    """Give the document of the same recording that stands on the setup's card so far."""
    return _kept(history, sha256, listed=Notebook.list_noises, read=Notebook.read_noise)


def _say_poorer(earlier: dict[str, Any], document: dict[str, Any]) -> list[str]:
    """Say what the earlier version of a noise measurement had that the one on the card now lacks."""
    lost = []
    before_db, now_db = (one["calibration"]["uncertainty_db"] for one in (earlier, document))
    if now_db >= before_db + SURER_DB:
        lost.append(f"was surer (±{before_db:.0f} dB, now ±{now_db:.0f})")
    if earlier["neighbour"] is not None and document["neighbour"] is None:
        lost.append("told the level at the neighbour")
    if not lost:
        return []
    what = " and ".join(lost)
    return [
        f"the earlier version {what}; the card shows the present one. File the recording again with its "
        "calibration and distances to have the better one there."
    ]


def find_kept_cut(history: History, sha256: str) -> dict[str, Any] | None:
    """Give the document of the setup's cut that was judged from the same recording."""
    return _kept(history, sha256, listed=Notebook.list_cuts, read=Notebook.read_cut)


def _kept(
    history: History,
    sha256: str,
    *,
    listed: Callable[[Notebook, str], tuple[KeptCut | KeptNoise, ...]],
    read: Callable[[Notebook, int], dict[str, Any]],
) -> dict[str, Any] | None:
    if history.is_new:
        return None
    with Notebook(history.path) as opened:
        same = [one.number for one in listed(opened, history.setup) if one.sha256 == sha256]
        return read(opened, same[-1]) if same else None


def _check_together(kept: KeptSetup, told: dict[str, Any]) -> None:
    """Refuse facts that would fill a setup up to one that no cut can be made with."""
    known = kept.facts.to_dict()
    fresh = {key: value for key, value in told.items() if value is not None and known[key] is None}
    if fresh:
        checked_facts({**known, **fresh})


def _file(history: History, *, document: dict[str, Any], facts: dict[str, Any]) -> tuple[Filing, list[str]]:
    """Add the document to the notebook; give what became of it, and what to tell about the setup."""
    notes: list[str] = []
    kind = document["document"]
    told: dict[str, Any] = {key: facts.get(key) for key in FACT_NAMES}
    from chatter.report import to_json

    plain = json.loads(to_json(document, indent=None))
    with Notebook(history.path, write=True, make=True) as opened, opened.whole():
        # Looked up again: another process may have made it while this recording was judged.
        kept = opened.get_setup(history.setup)
        if kept is None:
            opened.add_setup(history.setup, facts=checked_facts(told))
            notes.append(f"made the setup {history.setup!r} in {history.path}.")
            if history.near_names:
                near = ", ".join(map(repr, history.near_names))
                notes.append(f"there is {near} too: if you meant that, retire the new one and file it there.")
        else:
            _check_together(kept, told)
            fresh = opened.fill_facts(history.setup, facts=told)
            if fresh:
                notes.append(f"the setup {history.setup!r} now also knows {', '.join(fresh)}.")
        add = {"cut": opened.add_cut, "tap": opened.add_tap, "noise": opened.add_noise}[kind]
        filing = add(history.setup, document=plain)
    if filing.other_setups:
        others = ", ".join(map(repr, filing.other_setups))
        notes.append(f"the same recording is in {others} too: check that it belongs here.")
    number = f"{kind} {filing.number}" + (f", version {filing.version}" if filing.version > 1 else "")
    notes.append(
        {
            "new": f"kept in the setup {history.setup!r}, as {number} of the notebook.",
            "again": f"the setup {history.setup!r} holds this recording already, as {number}: nothing added.",
            "changed": f"this recording was there with other facts: kept in the setup {history.setup!r}, as "
            f"{number}; the earlier version stays.",
        }[filing.filed]
    )
    return filing, notes
