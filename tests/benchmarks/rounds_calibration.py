"""How often do the claims about rounds come out wrong, and how often do they come out at all?

Run: python tests/benchmarks/rounds_calibration.py [--studies 10000] [--missing-studies 400]

Complete data are computed in closed form, where Kenward-Roger contrasts are those of the repeated-measures error and CR2 is
the paired t test; the first lines check that against the kit itself. Studies with missing rounds go through the kit.
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import pandas as pd
from scipy import stats

from analysis.rounds import compare_rounds, find_plateau

BOUND = 5.0
ALPHA = 0.05
SIZES = (8, 12, 16, 24)
ROUNDS = 4
ERROR_SD = 4.0
ICC = 0.6


def errors(kind: str, n: int, k: int, size: int, rng) -> np.ndarray:
    """Errors of `size` studies: n athletes, k rounds, average within-athlete variance ERROR_SD squared."""
    athlete = rng.normal(0, ERROR_SD * np.sqrt(ICC / (1 - ICC)), (size, n, 1))
    noise = rng.normal(0, ERROR_SD, (size, n, k))
    if kind == "compound symmetry":
        return athlete + noise
    if kind == "autoregression .6":
        steps = noise.copy()
        for j in range(1, k):
            steps[..., j] = 0.6 * steps[..., j - 1] + np.sqrt(1 - 0.36) * noise[..., j]
        return athlete + steps
    if kind == "spread grows 1 to 3":
        growth = np.linspace(1, 3, k)
        return athlete + noise * growth / np.sqrt((growth**2).mean())
    if kind == "slopes differ":
        slope = rng.normal(0, ERROR_SD / 2, (size, n, 1)) * np.arange(k)
        return athlete + noise + slope
    raise ValueError(kind)


KINDS = ("compound symmetry", "autoregression .6", "spread grows 1 to 3", "slopes differ")


def pair_tests(values: np.ndarray) -> dict:
    """Every pair (later, earlier): estimate, and p and one-sided p by both methods and by the normal distribution."""
    _, n, k = values.shape
    residual = values - values.mean(axis=1, keepdims=True) - values.mean(axis=2, keepdims=True)
    residual += values.mean(axis=(1, 2), keepdims=True)
    pooled = np.sqrt(2 * (residual**2).sum(axis=(1, 2)) / ((n - 1) * (k - 1)) / n)
    out = {}
    for later in range(1, k):
        for earlier in range(later):
            difference = values[..., later] - values[..., earlier]
            estimate = difference.mean(axis=1)
            own = difference.std(axis=1, ddof=1) / np.sqrt(n)
            line = {"estimate": estimate}
            for name, error, df in (("kr", pooled, (n - 1) * (k - 1)), ("cr2", own, n - 1), ("z", pooled, 1e9)):
                line[f"p_{name}"] = 2 * stats.t.sf(np.abs(estimate) / error, df)
                line[f"tost_{name}"] = np.maximum(
                    stats.t.sf((estimate + BOUND) / error, df), stats.t.cdf((estimate - BOUND) / error, df)
                )
            out[later, earlier] = line
    return out


def plateau_start(tests: dict, k: int, methods=("kr", "cr2"), pairs="every") -> np.ndarray:
    """Position of the first round of the plateau, k - 1 where there is none."""
    start = np.full(len(tests[1, 0]["estimate"]), k - 1)
    going = np.ones(len(start), dtype=bool)
    for first in range(k - 2, -1, -1):
        inside = [(b, a) for b, a in tests if a >= first and (pairs == "every" or b == a + 1)]
        holds = np.all([tests[pair][f"tost_{m}"] < ALPHA for pair in inside for m in methods], axis=0)
        going &= holds
        start[going] = first
    return start


def percent(hits) -> str:
    hits = np.asarray(hits, dtype=float)
    return f"{100 * hits.mean():5.1f}"


def check_against_kit(rng) -> None:
    """The closed forms are the kit's numbers on complete data."""
    worst = 0.0
    for _ in range(20):
        values = 170 + errors("compound symmetry", 10, ROUNDS, 1, rng)
        tests = pair_tests(values)
        table = as_table(values[0])
        found = compare_rounds(table, "y").pairwise.set_index(["later", "earlier"])
        for (later, earlier), line in tests.items():
            kit = found.loc[(str(later + 1), str(earlier + 1))]
            worst = max(worst, abs(kit["p"] - line["p_kr"][0]), abs(kit["p_cr2"] - line["p_cr2"][0]))
        start = find_plateau(table, "y", low=-BOUND, high=BOUND).starts_at
        assert (int(start) - 1 if start else ROUNDS - 1) == plateau_start(tests, ROUNDS)[0]
    print(f"Closed forms against the kit, 20 studies: largest difference of a p value {worst:.1e}\n")


def as_table(values: np.ndarray) -> pd.DataFrame:
    n, k = values.shape
    table = pd.DataFrame(
        {"athlete": np.repeat([f"A{i}" for i in range(n)], k), "round_no": np.tile(np.arange(1, k + 1), n)}
    )
    table["y"] = values.ravel()
    return table


def false_change(studies: int, rng) -> None:
    print("False change, % of studies: last minus first without a true difference (nominal 5)")
    print(f"{'':22}{'n':>4}{'KR alone':>10}{'CR2 alone':>10}{'both':>8}{'z':>8}")
    for kind in KINDS:
        for n in SIZES:
            line = pair_tests(errors(kind, n, ROUNDS, studies, rng))[ROUNDS - 1, 0]
            kr, cr2, z = (line[f"p_{m}"] < ALPHA for m in ("kr", "cr2", "z"))
            print(f"{kind:22}{n:4d}{percent(kr):>10}{percent(cr2):>10}{percent(kr & cr2):>8}{percent(z):>8}")
    print()


def false_equivalence(studies: int, rng) -> None:
    print(f"False equivalence, % of studies: last minus first truly equal to the bound of {BOUND:g} (nominal 5)")
    print(f"{'':22}{'n':>4}{'KR alone':>10}{'CR2 alone':>10}{'both':>8}{'z':>8}")
    for kind in KINDS:
        for n in SIZES:
            values = errors(kind, n, ROUNDS, studies, rng)
            values[..., -1] += BOUND
            line = pair_tests(values)[ROUNDS - 1, 0]
            kr, cr2, z = (line[f"tost_{m}"] < ALPHA for m in ("kr", "cr2", "z"))
            print(f"{kind:22}{n:4d}{percent(kr):>10}{percent(cr2):>10}{percent(kr & cr2):>8}{percent(z):>8}")
    print()


def false_plateau(studies: int, rng) -> None:
    print(
        "Plateau named too early, % of studies: a creeping rise of 0.55 bounds a round, so that no three rounds are level"
    )
    print(f"{'':22}{'n':>4}{'every pair':>12}{'next rounds only':>18}")
    for sd in (1.5, 2.5, 4.0):
        for n in SIZES:
            values = errors("compound symmetry", n, ROUNDS, studies, rng) * sd / ERROR_SD
            values += 0.55 * BOUND * np.arange(ROUNDS)
            tests = pair_tests(values)
            every = plateau_start(tests, ROUNDS) <= ROUNDS - 3
            successive = plateau_start(tests, ROUNDS, pairs="next") <= ROUNDS - 3
            print(f"{f'within-athlete SD {sd:g}':22}{n:4d}{percent(every):>12}{percent(successive):>18}")
    print()


def power(studies: int, rng) -> None:
    print("Plateau found, % of studies: rise from round 1 to 2, level from round 2 on (bound 5)")
    print(f"{'':22}{'n':>4}{'from round 2':>14}{'from 3':>8}{'none':>8}{'too early':>11}")
    for sd in (2.0, 3.0, 4.0, 6.0):
        for n in SIZES:
            values = errors("compound symmetry", n, ROUNDS, studies, rng) * sd / ERROR_SD
            values += np.array([0.0, 2 * BOUND, 2 * BOUND, 2 * BOUND])
            start = plateau_start(pair_tests(values), ROUNDS)
            shares = [percent(start == 1), percent(start == 2), percent(start == 3), percent(start == 0)]
            print(f"{f'within-athlete SD {sd:g}':22}{n:4d}{shares[0]:>14}{shares[1]:>8}{shares[2]:>8}{shares[3]:>11}")
    print()


def with_missing(studies: int, rng) -> None:
    print("With 10 % of rounds missing, through the kit, % of studies (nominal 5)")
    print(f"{'':22}{'n':>4}{'overall':>9}{'overall, eps':>14}{'last-first':>12}{'equivalence':>13}")
    for kind in KINDS[:3]:
        for n in (8, 16):
            hits = []
            for values in errors(kind, n, ROUNDS, studies, rng):
                table = as_table(values)
                gone = rng.random(len(table)) < 0.1
                result = compare_rounds(table.assign(y=table["y"].where(~gone)), "y")
                raised = table["y"] + BOUND * (table["round_no"] == ROUNDS)
                found = find_plateau(table.assign(y=raised.where(~gone)), "y", low=-BOUND, high=BOUND).pairs
                line = result.pairwise[result.pairwise["contrast"] == f"{ROUNDS} - 1"].iloc[0]
                equal = found.loc[found["contrast"] == f"{ROUNDS} - 1", "equivalent"].iloc[0]
                both = max(line["p"], line["p_cr2"]) < ALPHA
                hits.append((result.overall.p < ALPHA, result.overall.p_epsilon < ALPHA, both, equal))
            shares = [percent(h) for h in zip(*hits, strict=True)]
            print(f"{kind:22}{n:4d}{shares[0]:>9}{shares[1]:>14}{shares[2]:>12}{shares[3]:>13}")
    print()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--studies", type=int, default=10_000)
    parser.add_argument("--missing-studies", type=int, default=400)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    started = time.perf_counter()
    error = 100 * np.sqrt(ALPHA * (1 - ALPHA) / given.studies)
    print(
        f"{given.studies} studies a line: a true 5 % shows as 5.0 plus or minus {3 * error:.1f} (3 Monte-Carlo standard errors)\n"
    )
    check_against_kit(rng)
    false_change(given.studies, rng)
    false_equivalence(given.studies, rng)
    false_plateau(given.studies, rng)
    power(given.studies, rng)
    if given.missing_studies:
        with_missing(given.missing_studies, rng)
    print(f"{time.perf_counter() - started:.0f} s")


if __name__ == "__main__":
    main()
