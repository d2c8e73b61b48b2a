"""Fixtures shared by all tests."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # digits of sums depend on the number of threads

import pytest
from tests_support import TRIAL_TEXT


@pytest.fixture(autouse=True)
def few_simulated_trials(monkeypatch):
    """A verdict simulates 4,000 trials like its own; tests of everything else are content with a few."""
    monkeypatch.setattr("trials.decide.own_honesty.TRIALS", 10)


@pytest.fixture
def trial_text() -> str:
    """Text of a small, complete trial file."""
    return TRIAL_TEXT
