"""Do the models of censored values, of bouts and of ratings, and the planned looks, hold what they promise?

Run: python tests/benchmarks/rounds_models_calibration.py [--part censored] [--studies 1000] [--save]

One table a part: intervals and false claims in per cent. With --save they are written to
tests/references/rounds/calibration_<part>.md, with the number of studies and the date.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import argparse  # noqa: E402
import datetime as dt  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from scipy import stats  # noqa: E402

from analysis.basics import KitError  # noqa: E402
from analysis.models import (  # noqa: E402
    centred_ranks,
    f_of_ranks,
    fit_mixed,
    fit_mixed_batch,
    refit_censored,
    refit_mixed,
    refit_pairs,
    shuffle_within,
)
from analysis.planning import estimate_after_looks, plan_looks  # noqa: E402
from analysis.planning.ask import bout_numbers  # noqa: E402
from analysis.planning.looks import null_p_values  # noqa: E402

FOLDER = Path(__file__).parents[1] / "references" / "rounds"
ROUNDS = 4
RISE = np.array([0.0, 2.0, 3.0, 3.4])
SIZES = (8, 12, 16)
BOUTS = [(n, rho, "equal", 0.0) for n in SIZES for rho in (-0.4, 0.0, 0.2, 0.4)]
BOUTS += [(12, 0.4, "grows", 0.0), (12, 0.4, "equal", 0.1), (9, 0.4, "equal", 0.0)]


def table_of(y) -> pd.DataFrame:
    n, k = y.shape
    return pd.DataFrame({"athlete": np.repeat(range(n), k), "round_no": np.tile(range(k), n), "y": y.ravel()})


def percent(hits) -> str:
    return f"{100 * np.mean(np.asarray(hits, dtype=float)):.1f}"


def last_of(fit, ddf="kenward-roger") -> tuple[float, float, float, float]:
    """Last minus first round: estimate, limits of its 95 % interval, p; without the tables of `contrasts`, for speed."""
    _, rows = fit._mean_rows("round_no")
    L = (rows[-1] - rows[0])[None]
    error, df = fit._tests.single(L, ddf)
    estimate, half = fit._tests.estimates(L)[0], stats.t.isf(0.025, df[0]) * error[0]
    return estimate, estimate - half, estimate + half, 2 * stats.t.sf(abs(estimate) / error[0], df[0])


def censored(studies: int, rng) -> list[dict]:
    """A share of all values above the scale: the change from the first to the last round."""
    lines = []
    cells = [(n, icc, share, None) for n in SIZES for icc in (0.6, 0.2) for share in (0.15,)]
    cells += [(12, 0.6, 0.40, None), (12, 0.0, 0.15, None)]
    cells += [(n, 0.6, 0.15, np.array([0.5, 0.8, 1.1, 1.4])) for n in SIZES]
    cells += [(12, 0.6, 0.15, np.array([1.0, 1.0, 1.0, 3.0]))]
    for n, icc, share, growth in cells:
        between, within = 2 * np.sqrt(icc), 2 * np.sqrt(1 - icc) * (1 if growth is None else growth)
        many = RISE + between * rng.normal(size=(100_000, 1)) + within * rng.normal(size=(100_000, ROUNDS))
        top, kept = np.quantile(many, 1 - share), []
        known = fit_mixed(table_of(rng.normal(size=(n, ROUNDS))), "y ~ C(round_no)", group="athlete")
        for _ in range(studies):
            y = RISE + between * rng.normal(size=(n, 1)) + within * rng.normal(size=(n, ROUNDS))
            try:
                plain = refit_mixed(known, np.minimum(y, top).ravel())
                fit = refit_censored(plain, (y >= top).ravel())
            except KitError:
                continue
            own, robust, end = last_of(fit), last_of(fit, "cr2"), last_of(plain)
            kept.append(
                [
                    own[0] - RISE[-1],
                    own[1] <= RISE[-1] <= own[2],
                    robust[1] <= RISE[-1] <= robust[2],
                    min(own[1], robust[1]) <= RISE[-1] <= max(own[2], robust[2]),
                    end[1] <= RISE[-1] <= end[2],
                    own[2] - own[1],
                ]
            )
        kept = np.array(kept, dtype=float)
        lines.append(
            {
                "athletes": n,
                "ICC": icc,
                "above the scale (%)": f"{100 * share:.0f}",
                "spread": "equal" if growth is None else "grows" if growth[0] < growth[1] else "last thrice",
                "not fitted": studies - len(kept),
                "bias": f"{kept[:, 0].mean():+.2f}",
                "interval holds (model)": percent(kept[:, 1]),
                "interval holds (leave one out)": percent(kept[:, 2]),
                "the wider of them holds (printed)": percent(kept[:, 3]),
                "the same with values at the end of the scale": percent(kept[:, 4]),
                "median width": f"{np.median(kept[:, 5]):.1f}",
            }
        )
        print(lines[-1], flush=True)
    return lines


def bouts(studies: int, rng) -> list[dict]:
    """False changes over all rounds and from first to last, by the correlation of the two of a bout."""
    lines = []
    for n, rho, spread, missing in BOUTS:
        bout = (bout_numbers(n, ROUNDS) * ROUNDS + np.arange(ROUNDS)).ravel()
        first = np.zeros(len(bout), dtype=bool)
        first[np.unique(bout, return_index=True)[1]] = True
        sign = np.where(first | (rho >= 0), 1.0, -1.0)
        growth = np.linspace(1, 3, ROUNDS) / np.sqrt((np.linspace(1, 3, ROUNDS) ** 2).mean())
        scale = np.tile(growth, n) if spread == "grows" else 1.0
        hits, known = [], None
        for _ in range(studies):
            shared = np.sqrt(abs(rho)) * rng.normal(size=bout.max() + 1)[bout] * sign
            own = np.sqrt(1 - abs(rho)) * rng.normal(size=len(bout))
            table = table_of(np.repeat(1.2 * rng.normal(size=(n, 1)), ROUNDS, axis=1)).assign(bout=bout)
            table["y"] += scale * (shared + own)
            if missing or known is None:
                table = table[rng.random(len(table)) >= missing]
                known = plain = fit_mixed(table, "y ~ C(round_no)", group="athlete")
            else:
                plain = refit_mixed(known, table["y"].to_numpy())
            try:
                fit = refit_pairs(plain, table["bout"])
            except KitError:  # too many rows are missing; the kit then keeps the plain model and says so
                continue
            p = [f.test("round_no").p for f in (plain, fit)]
            one, robust, own_p = last_of(plain)[3], last_of(plain, "cr2")[3], last_of(fit)[3]
            hits.append([*p, one, robust, own_p, max(own_p, robust)])
        share = (np.array(hits) < 0.05).mean(axis=0)
        names = (
            "rounds, bouts ignored",
            "rounds, bouts allowed for",
            "last - first, Kenward-Roger, bouts ignored",
            "last - first, CR2 by athlete",
            "last - first, bouts allowed for",
            "last - first, both (as claimed)",
        )
        line = {"athletes": n, "correlation": rho, "spread": spread, "missing": missing}
        line["not fitted"] = studies - len(hits)
        lines.append(line | {k: f"{100 * v:.1f}" for k, v in zip(names, share, strict=True)})
        print(lines[-1], flush=True)
    return lines


def ratings(studies: int, rng) -> list[dict]:
    """False and true changes in whole-point ratings: shuffles, their F distribution, Friedman's test."""
    lines = []
    cells = [(n, missing, 0.0) for n in SIZES for missing in (0.0, 0.1)]
    cells += [(n, missing, 1.0) for n in (12, 16) for missing in (0.0, 0.1, 0.2)]
    for n, missing, rise in cells:
        profile = rise * np.array([0.0, 0.4, 0.7, 1.0])
        y = 13 + profile + 1.5 * rng.normal(size=(studies, n, 1)) + rng.normal(size=(studies, n, ROUNDS))
        y = np.round(y)
        y[rng.random(y.shape) < missing] = np.nan
        shuffled = [shuffle_within(v, n_shuffles=1999, seed=i).p for i, v in enumerate(y)]
        fisher = f_of_ranks(*centred_ranks(y))["p"]
        friedman = []
        for v in y:
            full = v[np.isfinite(v).all(axis=1)]
            varies = len(full) > 1 and (np.ptp(full, axis=1) > 0).any()
            friedman.append(stats.friedmanchisquare(*full.T).pvalue if varies else 1.0)
        line = {"athletes": n, "missing": missing, "true rise": rise}
        shares = {"shuffles": shuffled, "F (planning)": fisher, "Friedman, complete athletes": friedman}
        lines.append(line | {k: percent(np.array(p) < 0.05) for k, p in shares.items()})
        print(lines[-1], flush=True)
    return lines


def looks(studies: int, rng) -> list[dict]:
    """False claims over all looks, and the estimate after stopping, under the kit's tests at these sizes."""
    lines = []
    for sizes in ((8, 12, 16), (6, 12), (8, 10, 12, 14, 16)):
        for rule in ("obrien-fleming", "pocock"):
            plan = plan_looks(sizes, rule=rule)
            seed = int(rng.integers(2**31))
            null = null_p_values(sizes, rounds=ROUNDS, icc=0.6, missing=0.0, n_studies=10_000, seed=seed)
            line = {"looks at": ", ".join(map(str, sizes)), "rule": rule}
            for name, p in null.items():
                for kind in ("level_normal", f"level_{name}"):
                    word = "large-sample" if kind == "level_normal" else "calibrated"
                    limits = plan.table[kind].to_numpy()[:, None]
                    line[f"false, {name}, {word}"] = percent((p < limits).any(axis=0))
            lines.append(line | _after(plan, sizes, max(200, studies // 5), rng))
            print(lines[-1], flush=True)
    return lines


def _after(plan, sizes, studies: int, rng) -> dict:
    """A true rise of 0.9 residual SDs, stopping where all rounds together are shown to differ."""
    n, true = sizes[-1], 0.9
    profile = true * np.array([0.0, 0.6, 1.0, 1.0])
    y = profile + 1.2 * rng.normal(size=(studies, n, 1)) + rng.normal(size=(studies, n, ROUNDS))
    X = np.tile(np.column_stack([np.ones(ROUNDS), np.tril(np.ones((ROUNDS, ROUNDS)), -1)[:, :-1]]), (n, 1))
    tests = {"round": [1, 2, 3], "last": np.array([[0, 1, 1, 1.0]])}
    group = np.repeat(np.arange(n), ROUNDS)
    fits = [
        fit_mixed_batch(y.reshape(studies, -1)[:, : m * ROUNDS], X[: m * ROUNDS], group[: m * ROUNDS], tests=tests)
        for m in sizes
    ]
    out = []
    for s in range(studies):
        stop = next((j for j, f in enumerate(fits) if f["round"].p[s] < plan.level(sizes[j])), len(sizes) - 1)
        last = fits[stop]["last"]
        known = float(last.estimate[s]), float(last.standard_error[s]), float(last.df_den[s])
        found = estimate_after_looks(*known, looks=plan, n_athletes=sizes[stop])
        half = stats.t.isf(0.025, known[2]) * known[1]
        out.append(
            [
                known[0] > true,
                found.corrected > true,
                abs(known[0] - true) <= half,
                found.ci_low <= true <= found.ci_high,
            ]
        )
    share = np.mean(out, axis=0)
    return {
        "estimate above the truth": percent(share[0]),
        "corrected above the truth": percent(share[1]),
        "plain interval holds": percent(share[2]),
        "corrected interval holds": percent(share[3]),
    }


PARTS = {"censored": censored, "bouts": bouts, "ratings": ratings, "looks": looks}


def markdown(lines: list[dict]) -> str:
    names = list(lines[0])
    rows = [names, ["---:"] * len(names), *([str(line[n]) for n in names] for line in lines)]
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--part", choices=list(PARTS))
    parser.add_argument("--studies", type=int, default=1000)
    parser.add_argument("--save", action="store_true")
    given = parser.parse_args()
    for name in [given.part] if given.part else list(PARTS):
        lines = PARTS[name](given.studies, np.random.default_rng(2026))
        error = 100 * np.sqrt(0.05 * 0.95 / given.studies)
        size = (
            f"{given.studies:,} simulated studies a row, {ROUNDS} rounds; nominal 95 and 5 per cent, "
            f"where one Monte Carlo standard error is {error:.1f}."
        )
        said = f"{PARTS[name].__doc__}\n\n{size}\n\n"
        text = f"{said}{markdown(lines)}\n"
        print(text)
        if given.save:
            made = f"Made by `python tests/benchmarks/rounds_models_calibration.py --part {name} --save`, {dt.date.today()}."
            (FOLDER / f"calibration_{name}.md").write_text(f"{text}\n{made}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
