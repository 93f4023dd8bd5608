"""Simulated clubs with a known truth, and the reference cases, for the tests of the rounds room."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

REFERENCES = Path(__file__).parents[1] / "references" / "rounds"


def make_club(
    *, n=12, means=(165.0, 171.0, 173.0, 173.5), athlete_sd=8.0, error_sd=3.0, missing=0.0, seed=0, name="hr_mean_bpm"
):
    """One row per athlete and round: round means, spread between athletes, spread within; a share missing at random."""
    rng = np.random.default_rng(seed)
    means = np.asarray(means, dtype=float)
    values = means + rng.normal(0, athlete_sd, (n, 1)) + rng.normal(0, error_sd, (n, len(means)))
    table = pd.DataFrame(
        [(f"A{i + 1:02d}", j + 1, values[i, j]) for i in range(n) for j in range(len(means))],
        columns=["athlete", "round_no", name],
    )
    table.loc[rng.random(len(table)) < missing, name] = np.nan
    return table


def read_case(name):
    """Data with columns athlete, round_no and the outcome; the settings; the results."""
    folder = REFERENCES / name
    settings = json.loads((folder / "params.json").read_text())
    results = json.loads((folder / "results.json").read_text())
    data = None
    if (folder / "data.csv").exists():
        data = pd.read_csv(folder / "data.csv")
        data = data.rename(
            columns={settings.get("id", "athlete"): "athlete", settings.get("within", "trial"): "round_no"}
        )
    return data, settings, results


def cases(start):
    """Names of the reference cases that start so."""
    return sorted(p.name for p in REFERENCES.iterdir() if p.is_dir() and p.name.startswith(start))


@pytest.fixture
def club():
    return make_club


@pytest.fixture
def references():
    return REFERENCES


@pytest.fixture
def case():
    return read_case


def pytest_generate_tests(metafunc):
    """A test with a `*_case` argument runs once for every reference case of that number."""
    for argument in metafunc.fixturenames:
        if argument.endswith("_case") and argument.startswith("r"):
            metafunc.parametrize(argument, cases(argument[1:3]))
