"""Reference cases and simulated studies for the tests of this room."""

import json
from pathlib import Path

import numpy as np
import pandas as pd

REFERENCES = Path(__file__).resolve().parents[1] / "references"


def cases(pattern):
    return sorted(path for topic in ("rounds", "models", "capacity") for path in (REFERENCES / topic).glob(pattern))


def unique_cases(pattern):
    return list({path.name: path for path in cases(pattern)}.values())


def load(path):
    data = pd.read_csv(path / "data.csv")
    params, results = (
        json.loads((path / f"{name}.json").read_text(encoding="utf-8")) for name in ("params", "results")
    )
    return data, params, results


def study(n=12, rounds=4, *, sd_athlete=8.0, sd=5.0, missing=0.0, seed=0):
    """Simulated rows: athlete, round_no, capacity, hr."""
    rng = np.random.default_rng(seed)
    athlete, round_no = np.repeat(np.arange(n), rounds), np.tile(np.arange(1, rounds + 1), n)
    rows = pd.DataFrame(
        {
            "athlete": [f"A{i:02d}" for i in athlete],
            "round_no": round_no,
            "capacity": rng.normal(50, 6, n)[athlete].round(1),
            "hr": 160 + 2.0 * round_no + sd_athlete * rng.normal(size=n)[athlete] + sd * rng.normal(size=n * rounds),
        }
    )
    if missing:
        rows.loc[rng.random(len(rows)) < missing, "hr"] = np.nan
    return rows
