"""With a measured maximal heart rate missing for some, which way of adjusting keeps its coverage, and how much power is lost.

``python tests/benchmarks/capacity_missing_maximum.py [--save]``: four ways, for clubs in which the missing ones are missing by
chance or since they are the less fit. Balanced rounds, so that the mixed model is regression on athletes' means.
"""

import os
import sys
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np
from scipy.special import stdtrit

SLOPE, STUDIES, DRAWS = -0.6, 2000, 60
CELLS = [(8, 1), (8, 2), (12, 1), (12, 3), (12, 6), (16, 4)]
WAYS = ("all measured", "measured ones only", "predicted put in", "predicted with its error", "age instead")
SAVED = Path(__file__).parents[1] / "references" / "capacity" / "missing_maximum.md"


def regress(columns, y):
    """Return coefficients, their covariance, degrees of freedom and residual variance."""
    inverse = np.linalg.inv(columns.T @ columns)
    beta = inverse @ columns.T @ y
    rest, df = y - columns @ beta, len(y) - columns.shape[1]
    variance = rest @ rest / df
    return beta, inverse * variance, df, variance, inverse


def impute(x, y, maximum, predicted, missing, rng, spread=8.0, prior_df=8):
    """Multiple imputation of the maxima: the club's own offset from the equation, its spread, and what y says; Rubin's rules."""
    known, filled = ~missing, np.where(missing, predicted, maximum)
    away = (maximum - predicted)[known]
    estimates, variances = [], []
    for turn in range(DRAWS + 20):
        design = np.column_stack([np.ones_like(x), x, filled])
        beta, covariance, df, variance, inverse = regress(design, y)
        if turn >= 20:
            estimates.append(beta[1]), variances.append(covariance[1, 1])
        residual = variance * df / rng.chisquare(df)
        drawn = rng.multivariate_normal(beta, inverse * residual)
        squares = ((away - away.mean()) ** 2).sum()
        own = (prior_df * spread**2 + squares) / rng.chisquare(prior_df + len(away) - 1)
        offset = away.mean() + np.sqrt(own / len(away)) * rng.standard_normal()
        precision = 1 / own + drawn[2] ** 2 / residual
        centre = (predicted + offset) / own + drawn[2] * (y - drawn[0] - drawn[1] * x) / residual
        filled = np.where(missing, centre / precision + rng.standard_normal(len(x)) / np.sqrt(precision), filled)
    between, m = np.var(estimates, ddof=1), len(estimates)
    total = np.mean(variances) + (1 + 1 / m) * between
    share = (1 + 1 / m) * between / total
    complete = len(x) - 3
    seen = (complete + 1) / (complete + 3) * complete * (1 - share)
    return np.mean(estimates), np.sqrt(total), 1 / (1 / seen + max(share, 1e-9) ** 2 / (m - 1))


def one_study(n, n_missing, less_fit, offset, rng):
    """Return for each way whether the interval holds the slope, whether it excludes 0, its width and the estimate."""
    age = rng.uniform(19, 35, n)
    predicted = 208 - 0.7 * age
    maximum = predicted + offset + rng.normal(0, 7, n)
    x = 47 - 0.3 * (age - 27) + rng.normal(0, 4.5, n)
    y = 0.85 * maximum + SLOPE * x + rng.normal(0, 4.5, n)
    order = np.argsort(x + rng.normal(0, 2, n)) if less_fit else rng.permutation(n)
    missing = np.isin(np.arange(n), order[:n_missing])
    one = np.ones(n)

    def plain(values, rows=slice(None)):
        beta, covariance, df, *_ = regress(np.column_stack([one, x, values])[rows], y[rows])
        return beta[1], np.sqrt(covariance[1, 1]), df

    fits = (
        plain(maximum),
        plain(maximum, ~missing),
        plain(np.where(missing, predicted, maximum)),
        impute(x, y, maximum, predicted, missing, rng),
        plain(age),
    )
    found = []
    for estimate, error, df in fits:
        reach = stdtrit(df, 0.975) * error
        found.append((abs(estimate - SLOPE) < reach, estimate + reach < 0, 2 * reach, estimate))
    return found


def main():
    """Print the table; save it where asked."""
    lines = [
        "# A measured maximal heart rate is missing for some",
        "",
        f"{STUDIES} simulated clubs a row; true slope {SLOPE} bpm per mL/kg/min at equal maximum. Coverage of the 95 %",
        "interval and power in per cent, mean error of the estimate. The club's maxima lie 6 bpm above 208 - 0.7 age and scatter",
        "by 7 bpm. Written by tests/benchmarks/capacity_missing_maximum.py.",
        "",
        "| n | without | missing | " + " | ".join(WAYS) + " |",
        "|---:|---:|---|" + "---|" * len(WAYS),
    ]
    for n, n_missing in CELLS:
        for less_fit in (False, True):
            rng = np.random.default_rng([n, n_missing, less_fit])
            made = np.array([one_study(n, n_missing, less_fit, 6.0, rng) for _ in range(STUDIES)])
            cells = [
                f"{100 * made[:, w, 0].mean():.1f}, {100 * made[:, w, 1].mean():.0f}, {made[:, w, 3].mean() - SLOPE:+.2f}"
                for w in range(len(WAYS))
            ]
            word = "the less fit" if less_fit else "by chance"
            lines.append(f"| {n} | {n_missing} | {word} | " + " | ".join(cells) + " |")
            print(lines[-1], flush=True)
    lines += [
        "",
        "Measured ones only keeps 95 % throughout. A predicted maximum put in as if measured does not where the less fit are the",
        "ones without; carried with its error it holds, too wide, and gains no power worth its assumptions. Age instead answers",
        "another question, with less power. So the kit takes the measured ones.",
    ]
    if "--save" in sys.argv:
        SAVED.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
