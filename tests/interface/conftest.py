"""Sounds and files that people give by mistake, and the command line, here or in a process of its own."""

import io
import os
import subprocess
import sys
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from chatter.cli import main
from tests.interface.noise_made import RATE_HZ, sine

ROOT = Path(__file__).parents[2]


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str


@pytest.fixture
def chatter(tmp_path, monkeypatch):
    """Give the command line in this process, which spares the start; what it prints is read as UTF-8."""

    def run(*words, cwd=tmp_path):
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
        with monkeypatch.context() as patched, chdir(cwd), redirect_stdout(out), redirect_stderr(err):
            patched.setattr(sys, "argv", ["chatter", *map(str, words)])
            with pytest.raises(SystemExit) as stopped:
                main()
        return Ran(stopped.value.code, _read(out), _read(err))

    return run


def _read(stream):
    stream.flush()
    return stream.buffer.getvalue().decode()


@pytest.fixture
def chatter_alone(tmp_path):
    """Give the command line in a process of its own, as a user starts it."""
    environment = os.environ | {"PYTHONPATH": str(ROOT)}  # this checkout, installed or not

    def run(*words, cwd=tmp_path):
        command = [sys.executable, "-m", "chatter", *map(str, words)]
        done = subprocess.run(command, capture_output=True, text=True, cwd=cwd, timeout=120, env=environment)
        return Ran(done.returncode, done.stdout, done.stderr)

    return run


@pytest.fixture
def noise():
    return np.random.default_rng(7).normal(0, 0.05, 2 * 48_000).astype(np.float32)


@pytest.fixture
def noise_wav(tmp_path, noise):
    path = tmp_path / "noise.wav"
    soundfile.write(path, noise, 48_000)
    return path


@pytest.fixture
def tone(tmp_path):
    path = tmp_path / "tone.wav"
    soundfile.write(path, sine(1000.0, 0.1), RATE_HZ, subtype="FLOAT")
    return path


@pytest.fixture
def home(tmp_path, monkeypatch):
    """Give a user's data folder of the test's own; ask before `chatter`, which keeps the environment."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    return tmp_path / "data"
