"""Do the tests of the mixed model keep their promises in small studies?  python tests/benchmarks/models_calibration.py

Simulates studies in which nothing happens (no change over the rounds, no relation with capacity), counts how often the
tests say otherwise and how often the intervals hold the truth, and prints a Markdown table. Options: --studies, --seed,
--save FILE.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

import numpy as np
from scipy.special import chdtrc, ndtr, stdtr, stdtrit

from analysis.models import fit_mixed_batch

ROUNDS = 4
MISSING = 0.10
TOTAL_VARIANCE = 100.0
SIZES = (8, 12, 16, 24)
WIDE_BOUND = 30.0
"""Equivalence bound so wide that only its upper side can fail; the true difference lies exactly on it."""

SAVED = Path(__file__).resolve().parents[1] / "references" / "models" / "calibration.md"


def covariances() -> dict[str, np.ndarray]:
    """Covariance of the rounds of one athlete, by scenario; the first is what the model assumes."""
    steps = np.arange(ROUNDS)
    same, own = np.ones((ROUNDS, ROUNDS)), np.eye(ROUNDS)

    def icc(share):
        return TOTAL_VARIANCE * (share * same + (1 - share) * own)

    growing = np.diag(np.array([3.0, 5.0, 7.0, 9.0]) ** 2)
    slopes = 60.0 * same + 9.0 * np.outer(steps, steps) + 25.0 * own
    return {
        "compound symmetry, ICC .6": icc(0.6),
        "compound symmetry, ICC .2": icc(0.2),
        "compound symmetry, ICC 0": icc(0.0),
        "autoregression, .7 between neighbours": TOTAL_VARIANCE * 0.7 ** np.abs(steps[:, None] - steps),
        "spread grows threefold": 60.0 * same + growing,
        "athletes with slopes of their own": slopes,
    }


def simulate(covariance, n, studies, missing, rng):
    """Outcomes (studies x rows), design (studies x rows x terms: mean, rounds 2 to 4, capacity) and athletes."""
    y = rng.normal(size=(studies, n, ROUNDS)) @ np.linalg.cholesky(covariance).T
    y = y.reshape(studies, -1)
    if missing:
        y[rng.random(y.shape) < missing] = np.nan
    athlete = np.repeat(np.arange(n), ROUNDS)
    round_no = np.tile(np.arange(ROUNDS), n)
    capacity = np.linspace(-1, 1, n) * 8
    X = np.column_stack([np.ones(n * ROUNDS), *(round_no == j for j in range(1, ROUNDS)), capacity[athlete]])
    return y, X, athlete


def measure(covariance, n, studies, missing, rng) -> dict[str, float]:
    """Error rates and coverages of one scenario."""
    y, X, athlete = simulate(covariance, n, studies, missing, rng)
    last = ROUNDS - 1
    fit = fit_mixed_batch(y, X, athlete, tests={"round": list(range(1, ROUNDS)), "capacity": [ROUNDS], "last": [last]})
    done = fit.studies["fitted"].to_numpy()
    rounds, capacity, contrast = (fit[k] for k in ("round", "capacity", "last"))
    t, error, df = contrast.estimate / contrast.standard_error, contrast.standard_error, contrast.df_den
    out = {
        "round": np.mean(rounds.p[done] < 0.05),
        "capacity": np.mean(capacity.p[done] < 0.05),
        "coverage": np.mean(2 * stdtr(df[done], -np.abs(t[done])) >= 0.05),
        "equivalent": np.mean((contrast.estimate + stdtrit(df, 0.95) * error)[done] < 0),
        "round_z": np.mean(chdtrc(ROUNDS - 1, (ROUNDS - 1) * rounds.F[done]) < 0.05),
        "capacity_z": np.mean(2 * ndtr(-np.sqrt(capacity.F[done])) < 0.05),
        "coverage_z": np.mean(2 * ndtr(-np.abs(t[done])) >= 0.05),
        "zero": np.mean(fit.variance_group[done] == 0),
        "failed": float(fit.n_failed),
    }
    if not missing:  # on complete data the paired t is the cluster-robust CR2 test
        values = y.reshape(studies, n, ROUNDS)
        d = values[:, :, -1] - values[:, :, 0]
        mean, se = d.mean(axis=1), d.std(axis=1, ddof=1) / math.sqrt(n)
        out["coverage_cr2"] = np.mean(np.abs(mean) <= stdtrit(n - 1, 0.975) * se)
        out["equivalent_cr2"] = np.mean(mean + stdtrit(n - 1, 0.95) * se < 0)
    return {k: float(v) for k, v in out.items()}


def percent(value):
    return "" if value is None else f"{100 * value:.1f}"


def table(studies: int, seed: int) -> str:
    """The Markdown table; marks what lies outside three Monte-Carlo standard errors where the model is true."""
    rng = np.random.default_rng(seed)
    margin = 3 * math.sqrt(0.05 * 0.95 / studies)
    lines = [
        f"{studies:,} simulated null studies a row, {ROUNDS} rounds, seed {seed}; percentages. Nominal: 5 for every error,",
        f"95 for coverage; three Monte-Carlo standard errors are {100 * margin:.2f}. "
        f"`Missing`: {100 * MISSING:.0f} % of rounds, at random.",
        "Type I: rounds and capacity tested with Kenward-Roger (KR), and the same statistics judged as chi-square and z.",
        "Coverage: 95 % interval of last minus first round. False equivalence: share of 90 % intervals that lie wholly",
        "inside a bound on which the true difference stands. CR2 is given for complete data, where it is the paired t.",
        "",
        "| truth | n | missing | type I rounds KR | chi-square | type I capacity KR | z | coverage KR | CR2 | z "
        "| false equivalence KR | CR2 | athlete variance 0 |",
        "|---|---:|---|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|",
    ]
    outside = 0
    for name, covariance in covariances().items():
        for n in SIZES:
            for missing in (0.0, MISSING):
                r = measure(covariance, n, studies, missing, rng)
                if name.endswith("ICC .6"):
                    errors = [abs(r["round"] - 0.05), abs(r["capacity"] - 0.05), abs(r["coverage"] - 0.95)]
                    outside += sum(e > margin for e in errors)
                keys = ("round", "round_z", "capacity", "capacity_z", "coverage", "coverage_cr2", "coverage_z")
                cells = [percent(r.get(k)) for k in (*keys, "equivalent", "equivalent_cr2", "zero")]
                lines.append(f"| {name} | {n} | {'yes' if missing else 'no'} | " + " | ".join(cells) + " |")
    lines += [
        "",
        f"Under compound symmetry with ICC .6, {outside} of {3 * len(SIZES) * 2} KR rates lie outside three standard errors.",
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--save", type=Path, nargs="?", const=SAVED)
    given = parser.parse_args()
    text = table(given.studies, given.seed)
    print(text)
    if given.save:
        given.save.write_text(text + "\n", encoding="utf-8")
