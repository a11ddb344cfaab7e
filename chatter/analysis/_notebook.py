"""Setups, and cuts, taps and noise measurements that are filed with them.

In: names, facts, documents. Out: frozen setups, and what they knew before a recording is judged.
Leaves out: filing it (_filing.py), what a history tells (_history.py), the file itself (notebook/).
"""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chatter.analysis._folders import default_notebook
from chatter.analysis._halves import as_settled, settle_cuts
from chatter.analysis._onsets import onsets_of
from chatter.analysis._taps import read_tap_document
from chatter.analysis._values import check_reach, checked_setup
from chatter.errors import BadValueError, NotebookError
from chatter.model.notebook import (
    FACT_NAMES,
    WORDS,
    KeptSetup,
    SetupContents,
    SetupFacts,
)
from chatter.model.tap import Tap
from chatter.notebook import Notebook
from chatter.notebook.checks import check_in_use, check_name, check_same_facts
from chatter.notebook.documents import from_onset_on, pick_telling_cuts, read_analysis
from chatter.notebook.exchange import Exchanged, export_lines, export_table, import_lines, read_lines
from chatter.notebook.store import check_folder, is_there, open_or_make

if TYPE_CHECKING:
    from chatter.advice.advise import EarlierCut  # brings scipy, which lists of setups don't need

NotebookPath = str | Path | None
SURER_DB = 0.5  # own choice: less of a difference in uncertainty shows in no answer


def notebook_path(notebook: NotebookPath, *, make: bool = False) -> Path:
    """Give the file of a notebook, the default one where none is named; `make` makes that one's folder."""
    if notebook is not None:
        return Path(notebook)
    path = default_notebook()
    if make:
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)  # mode: XDG specification
        except OSError as error:
            raise NotebookError(
                str(path), "its folder can't be made", "name another notebook, or check the permissions"
            ) from error
    return path


def checked_facts(facts: dict[str, Any]) -> SetupFacts:
    """Check facts of a setup once, here at the public edge."""
    unknown = sorted(set(facts) - set(FACT_NAMES))
    if unknown:
        raise BadValueError(unknown[0], facts[unknown[0]], f"a fact of a setup: {', '.join(FACT_NAMES)}")
    if facts.get("flutes") is None:
        raise BadValueError("flutes", None, "how many cutting edges the tool has")
    checked = checked_setup({"rpm": 1.0, **facts})  # a setup has no one speed
    words: dict[str, Any] = {}
    for key in WORDS:
        value = facts.get(key)
        if value is not None and (not isinstance(value, str) or not value.strip().isprintable()):
            raise BadValueError(key, value, "a few words in one line")
        words[key] = value.strip() or None if value else None
    numbers: dict[str, Any] = {key: getattr(checked, key) for key in FACT_NAMES if key not in WORDS}
    return SetupFacts(**numbers, **words)


def _check_apart(facts: dict[str, Any]) -> SetupFacts:
    """Check each fact by itself: an earlier version may have kept some that don't fit each other."""
    flutes = facts.get("flutes")
    kept = {key: getattr(checked_facts({"flutes": flutes, key: value}), key) for key, value in facts.items()}
    return SetupFacts(**{"flutes": checked_facts({"flutes": flutes}).flutes, **kept})


def add_setup(name: str, *, notebook: NotebookPath = None, **facts: Any) -> KeptSetup:
    """Add a setup to a notebook, which is made where there is none.

    Parameters
    ----------
    name
        One line, such as "6 mm long".
    notebook
        File of the notebook; the one in the user's data folder when not given.
    facts
        Fields of `SetupFacts`: `flutes`, and `machine`, `min_rpm`, `max_rpm`, `spindle_power_w`, `tool`,
        `diameter_mm`, `stick_out_mm`, `tool_max_rpm`, `holder`, `material`, `width_mm`, `direction`,
        `max_depth_mm` as far as known.

    Raises
    ------
    BadValueError
        The name is taken, or a fact is out of its range.
    NotebookError
        The file can't be used.
    """
    given = checked_facts(facts)
    _check_most_depth(given.to_dict())
    check_name(name)
    with Notebook(notebook_path(notebook, make=True), write=True, make=True) as opened:
        return opened.add_setup(name, facts=given)


def copy_setup(name: str, new_name: str, *, notebook: NotebookPath = None, **changes: Any) -> KeptSetup:
    """Add a setup that is like another one but for some facts; the other one stays as it is.

    Raises
    ------
    BadValueError
        There is no such setup, the new name is taken, nothing changes, or a fact is out of its range.
    NotebookError
        The file can't be used.
    """
    told = {key: value for key, value in changes.items() if value is not None}
    with Notebook(notebook_path(notebook), write=True) as opened:
        facts = opened.find_setup(name).facts
        changed = checked_facts({**facts.to_dict(), **told})
        if changed == facts:
            raise BadValueError("setup", new_name, "at least one change: else it is the same setup")
        _check_most_depth(changed.to_dict())
        return opened.add_setup(new_name, facts=changed)


def _check_most_depth(
    facts: dict[str, Any], *, known: dict[str, Any] | None = None, name: str | None = None
) -> None:
    """Refuse a largest depth that no cut of a new setup could have; one kept already stays as it is.

    `known` are facts of the setup `name`: what was told beside them is at fault.
    """
    stick_out_mm, most_mm = facts.get("stick_out_mm"), facts.get("max_depth_mm")
    was_told = known is not None and known["stick_out_mm"] is None
    if was_told and stick_out_mm is not None and most_mm is not None and stick_out_mm < most_mm:
        needed = f"one that is not below the largest depth of the setup {name!r} ({most_mm:g} mm), or copy it"
        raise BadValueError("stick_out_mm", stick_out_mm, f"{needed} with a lesser one: chatter setup copy")
    check_reach(facts, names=("max_depth_mm",))


def list_setups(*, notebook: NotebookPath = None, retired: bool = False) -> tuple[KeptSetup, ...]:
    """Give the setups in use, and the retired ones where asked for, oldest first."""
    with Notebook(notebook_path(notebook)) as opened:
        return opened.list_setups(retired=retired)


def show_setup(name: str, *, notebook: NotebookPath = None, earlier_versions: bool = False) -> SetupContents:
    """Give a setup with its cuts, taps and noise measurements, oldest first."""
    with Notebook(notebook_path(notebook)) as opened:
        return SetupContents(
            setup=opened.find_setup(name),
            cuts=settle_cuts(opened.list_cuts(name, earlier_versions=earlier_versions)),
            taps=opened.list_taps(name, earlier_versions=earlier_versions),
            noises=opened.list_noises(name, earlier_versions=earlier_versions),
        )


def retire_setup(name: str, *, notebook: NotebookPath = None, undo: bool = False) -> KeptSetup:
    """Take a setup out of the list, or back into it with `undo`; its cuts stay."""
    with Notebook(notebook_path(notebook), write=True) as opened:
        return opened.bring_back_setup(name) if undo else opened.retire_setup(name)


def export_notebook(path: str | Path, *, notebook: NotebookPath = None) -> Exchanged:
    """Write a notebook to a new file: everything as JSON lines, or its cuts as CSV, by the name's ending.

    Raises
    ------
    BadValueError
        The name ends neither in .jsonl nor in .csv.
    NotebookError, OutputError
        The notebook can't be read, or the file exists or can't be written.
    """
    out = Path(path)
    if out.suffix.lower() not in (".jsonl", ".csv"):
        raise BadValueError("file", out.name, "a name that ends in .jsonl (everything) or .csv (a table)")
    with Notebook(notebook_path(notebook)) as opened:
        write = export_table if out.suffix.lower() == ".csv" else export_lines
        return write(opened, path=out)


def import_notebook(path: str | Path, *, notebook: NotebookPath = None) -> Exchanged:
    """Add what exported JSON lines hold to a notebook, all of it or nothing; what is there is passed over.

    Raises
    ------
    NotebookError
        The lines can't be used, a setup of the same name has other facts, or the notebook can't be written.
    """
    lines = Path(path)
    records = read_lines(lines)  # before a notebook is made for them
    with open_or_make(notebook_path(notebook, make=True)) as opened:
        return import_lines(
            opened, records=records, path=lines, check_facts=_check_apart, check_tap=_check_tap
        )


def _check_tap(document: dict[str, Any]) -> None:
    read_tap_document(document, name="tap")


def back_up_notebook(path: str | Path, *, notebook: NotebookPath = None) -> None:
    """Copy a notebook to a new file, also while other processes use it.

    Raises
    ------
    NotebookError
        The notebook can't be read, or the copy exists or can't be written.
    """
    with Notebook(notebook_path(notebook)) as opened:
        opened.back_up(Path(path))


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """What a setup knew before the present recording."""

    setup: str
    path: Path
    values: dict[str, Any]  # of the present cut, with the setup's facts filled in
    is_new: bool
    near_names: tuple[str, ...]
    earlier: tuple[tuple[str, "EarlierCut"], ...] = ()  # SHA-256 of the recording, and the cut
    taps: tuple[Tap, ...] = ()

    def without(self, sha256: str) -> "tuple[EarlierCut, ...]":
        """Give the earlier cuts, but not the same recording's."""
        return tuple(cut for known, cut in self.earlier if known != sha256)


def begin_history(setup: str, *, notebook: NotebookPath, values: dict[str, Any]) -> History:
    """Look a setup up before a recording is judged; one that is not there yet will be made when it is filed.

    Raises
    ------
    BadValueError
        A value differs from what the setup says, the setup is retired, or its name is no line of text.
    NotebookError
        The file can't be used.
    """
    from chatter.advice.advise import EarlierCut

    path = notebook_path(notebook, make=True)
    name = check_name(setup)
    nothing = History(setup=name, path=path, values=values, is_new=True, near_names=())
    if not is_there(path):
        _check_most_depth(values)
        check_folder(path)
        return nothing
    with Notebook(path, write=True) as opened:
        kept = opened.get_setup(name)
        if kept is None:
            _check_most_depth(values)
            return History(
                setup=name, path=path, values=values, is_new=True, near_names=opened.near_names(name)
            )
        check_in_use(kept)
        facts = kept.facts.to_dict()
        given = {key: values.get(key) for key in FACT_NAMES}
        check_same_facts(kept.name, known=facts, given=given)
        filled = {key: facts[key] if values.get(key) is None else values[key] for key in FACT_NAMES}
        if facts["stick_out_mm"] is None or facts["max_depth_mm"] is None:
            _check_most_depth(filled, known=facts, name=kept.name)
        told = settle_cuts(opened.list_cuts(name))
        onsets = onsets_of(opened, name, told)
        telling = pick_telling_cuts(tuple(from_onset_on(cut) for cut in told))
        earlier = tuple(
            (
                cut.sha256,
                EarlierCut(
                    analysis=as_settled(read_analysis(opened.read_cut(cut.number)), cut),
                    depth_mm=cut.depth_mm,
                    onset_sd_mm=onsets[cut.number].sd_mm if cut.number in onsets else None,
                ),
            )
            for cut in telling
            if cut.depth_mm is not None
        )
        taps = kept_taps(opened, name)
    return History(
        setup=kept.name,
        path=path,
        values={**values, **{key: value for key, value in filled.items() if key in values}},
        is_new=False,
        near_names=(),
        earlier=earlier,
        taps=taps,
    )


def kept_taps(opened: Notebook, setup: str) -> tuple[Tap, ...]:
    """Give the newest tap of each part of a setup."""
    newest = {tap.of: tap for tap in opened.list_taps(setup)}
    return tuple(read_tap_document(opened.read_tap(tap.number), name=tap.file) for tap in newest.values())
