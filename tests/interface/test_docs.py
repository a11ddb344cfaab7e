"""The docs say what the program does: commands, options, errors, public names."""

import ast
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

import chatter
from chatter import errors

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = [
    ROOT / "README.md",
    ROOT / "DEVELOPERS.md",
    *sorted(DOCS.rglob("*.md")),
    ROOT / "fixtures" / "README.md",
]


def docs_text():
    return "\n".join(path.read_text(encoding="utf-8") for path in DOCS.glob("*.md"))


def readme_commands():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return [
        line
        for block in re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
        for line in block.splitlines()
        if line
    ]


def test_cli_page_is_what_the_program_generates(tmp_path):
    fresh = tmp_path / "cli.md"
    command = [sys.executable, "-m", "typer", "chatter.cli.app", "utils", "docs", "--name", "chatter"]
    subprocess.run([*command, "--output", str(fresh)], check=True, capture_output=True, cwd=ROOT)
    assert (DOCS / "cli.md").read_text(encoding="utf-8") == fresh.read_text(encoding="utf-8")


def test_every_error_is_documented():
    page = (DOCS / "errors.md").read_text(encoding="utf-8")
    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type)]
    names = [kind.__name__ for kind in kinds if kind.__module__ == errors.__name__]
    assert names
    assert [name for name in names if f"`{name}`" not in page] == []


def constants(tree):
    """Give the plain values that a module names at its top."""
    return {
        node.targets[0].id: node.value.value
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and isinstance(node.value, ast.Constant)
    }


def finding_codes(tree, *, shared):
    """Give the codes that a module gives its findings: written out, by a constant's name, or in a table."""
    if not any(isinstance(node, ast.Name) and node.id == "Finding" for node in ast.walk(tree)):
        return set()
    named = shared | constants(tree)
    places = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            if node.func.id == "Finding":
                places += [keyword.value for keyword in node.keywords if keyword.arg == "code"]
            elif node.func.id == "_finding":
                places.append(node.args[0])
        elif isinstance(node, ast.Tuple) and len(node.elts) == 2:  # code and words
            first = node.elts[0]
            places += [first] if isinstance(first, ast.Constant) and "-" in str(first.value) else []
    told = {place.value if isinstance(place, ast.Constant) else named.get(place.id) for place in places}
    return {code for code in told if isinstance(code, str) and re.fullmatch(r"[a-z]+(-[a-z]+)*", code)}


def test_every_code_of_a_finding_is_documented():
    trees = {path: ast.parse(path.read_text(encoding="utf-8")) for path in (ROOT / "chatter").rglob("*.py")}
    models = [constants(tree) for path, tree in trees.items() if path.parent.name == "model"]
    shared = {name: value for named in models for name, value in named.items()}
    codes = set().union(*(finding_codes(tree, shared=shared) for tree in trees.values()))
    # One of each way to write a code down, so that none of them is overlooked.
    assert {"cut-at-edge", "clipped", "double-hit", "running-machine", "neighbour-nearer"} <= codes
    assert {"ramp-does-not-grow", "full-scale-unlikely"} <= codes  # by a constant of the model
    text = docs_text()
    assert sorted(code for code in codes if f"`{code}`" not in text) == []


def test_every_public_name_is_documented():
    text = docs_text()
    assert [name for name in chatter.__all__ if f"{name}" not in text] == []


def test_readme_opens_with_the_job_then_the_two_commands_then_an_example():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    places = [
        text.index(part) for part in ("`chatter` listens", "chatter demo", "pytest", "looks like", "can't do")
    ]
    assert places == sorted(places)


def test_first_two_readme_commands_make_their_own_environment():
    demo, tests = readme_commands()[:2]
    for command in (demo, tests):
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install")
    assert demo.endswith(".venv/bin/chatter demo")
    assert ".venv/bin/python -m pytest" in tests


def test_ci_runs_the_test_command_of_the_readme():
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    test_command = readme_commands()[1].rpartition("&& .venv/bin/")[2]
    assert test_command in script


@pytest.mark.parametrize("command", [line for line in readme_commands() if ".venv/bin/chatter" in line])
def test_readme_command_uses_options_that_exist(command):
    words = shlex.split(command.rpartition(".venv/bin/chatter ")[2])
    run = subprocess.run(
        [sys.executable, "-m", "chatter", words[0], "--help"], capture_output=True, text=True, check=True
    )
    for word in words[1:]:
        if word.startswith("--"):
            assert word in run.stdout


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_between_pages_lead_somewhere(page):
    text = page.read_text(encoding="utf-8")
    targets = [
        target.partition("#")[0] for target in re.findall(r"\]\(([^)]+)\)", text) if "://" not in target
    ]
    assert [target for target in targets if target and not (page.parent / target).exists()] == []


def test_readme_says_that_no_real_chatter_was_heard_yet():
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    assert "No real recording of real chatter has been available to this project yet" in text


def test_every_fixture_recording_has_its_origin_and_licence():
    page = (ROOT / "fixtures" / "README.md").read_text(encoding="utf-8")
    recordings = sorted(path.name for path in (ROOT / "fixtures" / "recordings").iterdir() if path.is_file())
    assert len(recordings) >= 2
    rows = {name: [line for line in page.splitlines() if f"`{name}`" in line] for name in recordings}
    assert [name for name, lines in rows.items() if not any("MIT" in line for line in lines)] == []


def test_every_fixture_recording_is_small():
    sizes = {p.name: p.stat().st_size for p in (ROOT / "fixtures" / "recordings").iterdir() if p.is_file()}
    assert {name: size for name, size in sizes.items() if size > 400_000} == {}
