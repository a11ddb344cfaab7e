"""Fixtures for all tests."""

import os

os.environ.setdefault("OMP_NUM_THREADS", "1")  # small matrices: threads of two test processes only collide

import numpy as np
import pytest


@pytest.fixture
def rng() -> np.random.Generator:
    """Give a seeded source of random numbers."""
    return np.random.default_rng(20261125)


@pytest.fixture
def untraced() -> dict[str, str]:
    """Give the environment for a child process whose time is measured: coverage slows what it traces."""
    return {name: value for name, value in os.environ.items() if not name.startswith("COV")}
