"""Fixtures for all tests."""

import numpy as np
import pytest


@pytest.fixture
def rng() -> np.random.Generator:
    """Give a seeded source of random numbers."""
    return np.random.default_rng(20261125)
