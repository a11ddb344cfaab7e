"""Every command in README.md and docs/ runs as it stands, from the top folder of a copy of this project."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
import typer

from chatter.cli.app import app

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
OWN_FILE = "my-cut.wav"  # stands for the reader's own recording; the test gives it one
STEADY_FILE = "vacuum.wav"  # stands for one of something steady, to calibrate with


def commands(page):
    """Give the `chatter` commands of a page's shell blocks, each on one line."""
    text = page.read_text(encoding="utf-8")
    blocks = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.DOTALL)).replace("\\\n", " ")
    lines = [line.strip().removeprefix(".venv/bin/") for line in blocks.splitlines()]
    return [line for line in lines if line.startswith("chatter ")]


def named_commands(group):
    """Give every command of the program with its words."""
    for name, command in typer.main.get_command(group).commands.items():
        if hasattr(command, "commands"):
            yield from (f"{name} {inner}" for inner in command.commands)
        else:
            yield name


@pytest.mark.parametrize("page", [page for page in PAGES if commands(page)], ids=lambda page: page.name)
def test_commands_of_a_page_run_one_after_the_other(page, tmp_path):
    (tmp_path / "fixtures").symlink_to(ROOT / "fixtures", target_is_directory=True)
    shutil.copy(ROOT / "fixtures" / "recordings" / "clock-plate-singing.flac", tmp_path / OWN_FILE)
    steady = 0.03 * np.random.default_rng(1).normal(size=4 * 48_000)
    soundfile.write(tmp_path / STEADY_FILE, steady, 48_000)
    kept = {"XDG_DATA_HOME": str(tmp_path / "data"), "HOME": str(tmp_path), "LOCALAPPDATA": str(tmp_path)}
    environment = os.environ | {"PYTHONPATH": str(ROOT)} | kept
    for line in commands(page):
        words, _, out = line.partition(" > ")
        command = [sys.executable, "-m", "chatter", *shlex.split(words)[1:]]
        ran = subprocess.run(
            command, capture_output=True, text=True, cwd=tmp_path, env=environment, timeout=300
        )
        assert ran.returncode == 0, (line, ran.stderr)
        assert "Traceback" not in ran.stderr
        if out:
            (tmp_path / out.strip()).write_text(ran.stdout, encoding="utf-8")
        for option in ("--report", "--plot", "--out"):
            named = re.search(rf"{option} (\S+)", line)
            assert named is None or (tmp_path / named[1]).stat().st_size > 500


def test_every_command_of_the_program_has_an_example_that_runs():
    examples = [line for page in PAGES for line in commands(page)]
    missing = [
        name
        for name in named_commands(app)
        if not any(line.split(" ")[1 : 1 + len(name.split())] == name.split() for line in examples)
    ]
    assert missing == []


def test_pictures_of_the_docs_are_small_and_are_what_the_script_makes(tmp_path):
    kept = ROOT / "docs" / "pictures"
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    subprocess.run(
        [sys.executable, str(ROOT / "docs" / "make_pictures.py"), str(tmp_path)],
        check=True,
        capture_output=True,
        env=environment,
        timeout=300,
    )
    assert sorted(path.name for path in kept.iterdir()) == sorted(path.name for path in tmp_path.iterdir())
    for path in kept.iterdir():
        assert path.stat().st_size < 150_000
        # Another version of the drawing library may place things otherwise; what is told must be the same.
        told = [
            re.findall(r"<(?:title|desc)[^>]*>([^<]*)<", one.read_text(encoding="utf-8"))
            for one in (path, tmp_path / path.name)
        ]
        assert told[0] == told[1]
        assert len(told[0]) == 2
