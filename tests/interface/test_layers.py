"""The import order of the package's folders: each only from lines above its own."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[2] / "chatter"
LINES = (
    {"errors"},
    {"model"},
    {"dsp", "milling"},
    {"audio"},
    {"cut", "tap", "noise", "advice", "simulate"},
    {"notebook", "report"},
    {"analysis"},
    {"cli", "page"},
    {"__main__"},
)
LINE_OF = {name: number for number, names in enumerate(LINES) for name in names}
DECODERS = {"av", "soundfile"}
TEST_ONLY = {"librosa", "pyoctaveband", "hypothesis", "pytest"}
# `chatter/__init__.py` loads public names lazily, so it may name any part; anyone may read its version.


def part_of(path: Path) -> str:
    inside = path.relative_to(PACKAGE)
    return inside.parts[0] if len(inside.parts) > 1 else inside.stem


def imported_modules(source: str, package: tuple[str, ...] = ()) -> list[str]:
    found: list[str] = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found += [name.name for name in node.names]
        elif isinstance(node, ast.ImportFrom):
            home = package[: len(package) - node.level + 1] if node.level else ()
            module = ".".join([*home, *([node.module] if node.module else [])])
            found += [f"{module}.{name.name}" for name in node.names]
    return found


def wrong_imports(part: str, source: str, package: tuple[str, ...] = ()) -> list[str]:
    wrong = []
    for module in imported_modules(source, package):
        names = module.split(".")
        if names[0] in TEST_ONLY or (names[0] in DECODERS and part not in ("audio", "simulate")):
            wrong.append(module)
        if names[0] != "chatter" or len(names) == 1 or names[1] not in LINE_OF or names[1] == part:
            continue
        if part not in LINE_OF or LINE_OF[names[1]] >= LINE_OF[part]:
            wrong.append(module)
    return wrong


MODULES = sorted(path for path in PACKAGE.rglob("*.py") if path != PACKAGE / "__init__.py")


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_module_imports_only_from_lines_above_its_own(path):
    part = part_of(path)
    assert part in LINE_OF, f"{part} has no line: give it one here and in DEVELOPERS.md"
    package = ("chatter", *path.relative_to(PACKAGE).parts[:-1])
    assert wrong_imports(part, path.read_text(encoding="utf-8"), package) == []


@pytest.mark.parametrize(
    ("part", "source"),
    [
        ("model", "from chatter.cut.pipeline import judge_recording"),  # upward
        ("cut", "import chatter.report.as_text"),  # upward
        ("cut", "from chatter.advice import advise"),  # across
        ("dsp", "from chatter import milling"),  # across
        ("dsp", "from ..milling import speeds"),  # across, said relatively
        (
            "report",
            "def late():\n    from chatter.analysis import analyse_cut",
        ),  # upward, hidden in a function
        ("cut", "import av"),  # a decoder outside audio
        ("dsp", "import librosa"),  # a package that is only installed for tests
    ],
)
def test_wrong_import_is_caught(part, source):
    assert wrong_imports(part, source, ("chatter", part)) != []


@pytest.mark.parametrize(
    ("part", "source"),
    [
        ("cut", "from chatter.dsp.spectra import x"),
        ("cut", "import scipy.signal"),
        ("cli", "import chatter.analysis"),
    ],
)
def test_right_import_is_let_through(part, source):
    assert wrong_imports(part, source, ("chatter", part)) == []


def test_developers_page_draws_every_part_that_exists():
    drawing = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    parts = {part_of(path) for path in MODULES} - {"__main__"}
    assert [part for part in sorted(parts) if f"{part}/" not in drawing and f"{part}.py" not in drawing] == []


def test_no_module_is_longer_than_500_lines():
    root = PACKAGE.parent
    sources = [*PACKAGE.rglob("*.py"), *(root / "tests").rglob("*.py"), *(root / "fixtures").rglob("*.py")]
    lengths = {
        str(path.relative_to(root)): len(path.read_text(encoding="utf-8").splitlines()) for path in sources
    }
    assert {name: length for name, length in lengths.items() if length > 500} == {}
