"""Does the fitness question keep its promises in small clubs?  python tests/benchmarks/capacity_calibration.py

Prints Markdown tables: how often the slope's test rejects where there is no relation, and how often its interval holds the
truth; the verdicts; each athlete's own slope against the factor interaction, where athletes differ in their rise; and the
coverage of the corrected correlation under both kinds of test error, and of the corrected slope.

Options: --studies, --seed, --save FILE.
"""

from __future__ import annotations

import argparse
import math
from pathlib import Path

import numpy as np
from scipy.special import stdtr, stdtrit

from analysis.capacity.error import correct_for_error, correct_slope
from analysis.capacity.results import VERDICTS, judge
from analysis.models import fit_mixed_batch

ROUNDS, MISSING = 4, 0.10
BETWEEN, WITHIN, CAPACITY_SD = 6.0, 4.0, 5.0
SIZES = (8, 12, 16, 24)
SAVED = Path(__file__).resolve().parents[1] / "references" / "capacity" / "calibration.md"


def draw_clubs(rng, n, studies, *, slope, slopes_sd=0.0):
    """Draw outcomes (studies x rows), capacity (studies x athletes) and the round of every row."""
    capacity = rng.normal(0, CAPACITY_SD, (studies, n))
    level = slope * capacity + rng.normal(0, BETWEEN, (studies, n))
    rise = rng.normal(0, slopes_sd, (studies, n, 1)) * (np.arange(ROUNDS) - (ROUNDS - 1) / 2)
    steps = np.minimum(np.arange(ROUNDS), 2) * 4.0
    rows = level[:, :, None] + rise + steps + rng.normal(0, WITHIN, (studies, n, ROUNDS))
    rows[rng.random(rows.shape) < MISSING] = np.nan
    return rows.reshape(studies, -1), capacity


def design_of(capacity, *, interaction=False):
    """The design of every study: ones, capacity, rounds (and their products with capacity)."""
    studies, n = capacity.shape
    dummies = np.tile(np.eye(ROUNDS)[:, 1:], (n, 1))
    x = np.repeat(capacity, ROUNDS, axis=1)
    parts = [np.ones((studies, n * ROUNDS, 1)), x[:, :, None], np.broadcast_to(dummies, (studies, *dummies.shape))]
    if interaction:
        parts.append(dummies[None] * x[:, :, None])
    return np.concatenate(parts, axis=2)


def slope_table(rng, studies):
    """Rejection where there is nothing, coverage where there is a slope, and the verdicts."""
    lines = ["| athletes | rejects at 5 %, no relation | 95 % interval holds -0.6 | " + " | ".join(VERDICTS) + " |"]
    lines.append("|---" * (3 + len(VERDICTS)) + "|")
    for n in SIZES:
        athletes = np.repeat(np.arange(n), ROUNDS)
        y, x = draw_clubs(rng, n, studies, slope=0.0)
        null = fit_mixed_batch(y, design_of(x), athletes, tests={"capacity": [1]})["capacity"]
        y, x = draw_clubs(rng, n, studies, slope=-0.6)
        fit = fit_mixed_batch(y, design_of(x), athletes, tests={"capacity": [1]})["capacity"]
        b, se, df = (
            np.asarray(v, dtype=float).reshape(studies, -1)[:, 0]
            for v in (fit.estimate, fit.standard_error, fit.df_den)
        )
        wide, narrow = stdtrit(df, 0.975) * se, stdtrit(df, 0.95) * se
        verdicts = [
            judge(*(10 * v for v in (b_ - w, b_ + w, b_ - m, b_ + m)), smallest_effect=5.0)
            for b_, w, m in zip(b, wide, narrow, strict=True)
        ]
        shares = " | ".join(f"{100 * verdicts.count(v) / studies:.1f} %" for v in VERDICTS)
        covered = np.mean(np.abs(b + 0.6) <= wide)
        lines.append(f"| {n} | {100 * np.mean(null.p < 0.05):.1f} % | {100 * covered:.1f} % | {shares} |")
    return lines


def drift_table(rng, studies):
    """Athletes differ in their rise but not by fitness: how often is a relation claimed?"""
    lines = ["| athletes | SD of their rise, bpm a round | own slope, t | factor interaction, F |", "|---|---|---|---|"]
    for n, spread in ((n, spread) for spread in (2.5, 6.0) for n in SIZES):
        y, x = draw_clubs(rng, n, studies, slope=0.0, slopes_sd=spread)
        fit = fit_mixed_batch(
            y, design_of(x, interaction=True), np.repeat(np.arange(n), ROUNDS),
            tests={"interaction": list(range(1 + ROUNDS, 2 * ROUNDS))},
        )["interaction"]  # fmt: skip
        rejected = []
        time = np.arange(ROUNDS, dtype=float)
        for values, capacity in zip(y.reshape(studies, n, ROUNDS), x, strict=True):
            own = [_slope(time[k], v[k]) if (k := np.isfinite(v)).sum() > 1 else np.nan for v in values]
            keep = np.isfinite(own)
            r = np.corrcoef(capacity[keep], np.array(own)[keep])[0, 1]
            m = keep.sum() - 2
            rejected.append(2 * stdtr(m, -abs(r) * math.sqrt(m / (1 - r * r))) < 0.05)
        lines.append(f"| {n} | {spread} | {100 * np.mean(rejected):.1f} % | {100 * np.mean(fit.p < 0.05):.1f} % |")
    return lines


def correction_table(rng, studies):
    """Coverage of the corrected correlation, true value -0.5, and how often it is unbounded."""
    lines = ["| athletes | kind | interval holds -0.5 | unbounded |", "|---|---|---|---|"]
    for n in SIZES:
        for kind, error in (("retest", 2.58), ("prediction", 4.4)):
            covered = unbounded = 0
            for seed in range(studies):
                shown = rng.normal(0, 4.6, n)
                true, spread = shown, 4.6
                if kind == "retest":
                    shown = true + rng.normal(0, error, n)
                else:
                    true, spread = shown + rng.normal(0, error, n), math.hypot(4.6, error)
                y = -0.5 * true / spread + math.sqrt(0.75) * rng.normal(size=n)
                argument = {"retest_sd": error} if kind == "retest" else {"prediction_see": error}
                found = correct_for_error(
                    np.corrcoef(shown, y)[0, 1], n, capacity_sd=shown.std(ddof=1), seed=seed, **argument
                )
                covered += found.ci_low <= -0.5 <= found.ci_high
                unbounded += not found.bounded
            lines.append(f"| {n} | {kind} | {100 * covered / studies:.1f} % | {100 * unbounded / studies:.1f} % |")
    return lines


def corrected_slope_table(rng, studies):
    """Does the interval of a steep slope hold the true one where the test errs by 3 mL/kg/min from day to day?"""
    lines = ["| athletes | SD of capacity | true slope | as measured holds it | corrected holds it | unbounded |"]
    lines.append("|---|---|---|---|---|---|")
    for n, spread, slope in ((8, 6.0, -1.5), (12, 6.0, -1.5), (12, 6.0, -3.0), (16, 4.5, -2.0), (24, 6.0, -3.0)):
        measured = covered = unbounded = 0
        for seed in range(studies):
            true = rng.normal(0, spread, n)
            shown, y = true + rng.normal(0, 3.0, n), slope * true + rng.normal(0, 4.0, n)
            found = _slope(shown, y)
            rest = y - y.mean() - found * (shown - shown.mean())
            error = math.sqrt(rest @ rest / (n - 2) / ((n - 1) * shown.var(ddof=1)))
            options = {"kind": "retest", "error_sd": 3.0, "capacity_sd": shown.std(ddof=1), "n": n, "seed": seed}
            _, low, high = correct_slope(found, error, n - 2, **options)
            measured += abs(found - slope) <= stdtrit(n - 2, 0.975) * error
            covered += low <= slope <= high
            unbounded += not math.isfinite(low) or not math.isfinite(high)
        shares = " | ".join(f"{100 * v / studies:.1f} %" for v in (measured, covered, unbounded))
        lines.append(f"| {n} | {spread} | {slope} | {shares} |")
    return lines


def _slope(x, y):
    u = x - x.mean()
    return float(u @ y / (u @ u))


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--save", type=Path, nargs="?", const=SAVED)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    error = 100 * math.sqrt(0.05 * 0.95 / given.studies)
    text = [
        "# Calibration of the fitness question",
        "",
        f"{given.studies} simulated clubs per line, {ROUNDS} rounds, {100 * MISSING:.0f} % of values missing; seed {given.seed}; "
        f"Monte-Carlo error of a 5 % rate: {error:.1f} points. SD between athletes {BETWEEN} bpm, within {WITHIN} bpm, of "
        f"capacity {CAPACITY_SD} mL/kg/min; verdicts at a true slope of -0.6 bpm per mL/kg/min, smallest effect 5 bpm for 10 "
        "mL/kg/min.",
        "",
        "## The slope (Kenward-Roger)",
        "",
        *slope_table(rng, given.studies),
        "",
        "## Drift over the rounds, athletes differing in their rise but not by fitness",
        "",
        *drift_table(rng, given.studies),
        "",
        "## The corrected correlation",
        "",
        *correction_table(rng, min(given.studies, 1500)),
        "",
        "## The corrected slope: 3 mL/kg/min from test to retest, scatter of 4 bpm around the line",
        "",
        *corrected_slope_table(np.random.default_rng(given.seed + 1), min(given.studies, 500)),
        "",
    ]
    print("\n".join(text))
    if given.save:
        given.save.write_text("\n".join(text), encoding="utf-8")


if __name__ == "__main__":
    main()
