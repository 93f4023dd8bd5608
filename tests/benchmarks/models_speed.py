"""How fast is the mixed model, and how does that compare?  python tests/benchmarks/models_speed.py

Times single fits and batches on one core and prints ratios against statsmodels and, where Rscript with lme4 and pbkrtest
is installed, against R. Nothing is asserted: the speed of a machine is not a property of the code.
"""

from __future__ import annotations

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import re  # noqa: E402
import shutil  # noqa: E402
import statistics  # noqa: E402
import subprocess  # noqa: E402
import tempfile  # noqa: E402
import time  # noqa: E402
import warnings  # noqa: E402
from pathlib import Path  # noqa: E402

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402

from analysis.models import fit_mixed, fit_mixed_batch  # noqa: E402

N, ROUNDS, MISSING = 14, 4, 0.05

R_SCRIPT = """
suppressMessages({library(lme4); library(pbkrtest)})
d <- read.csv(commandArgs(TRUE)[1]); d$r <- factor(d$r); d <- d[!is.na(d$y), ]
go <- function() {
  m <- lmer(y ~ r + x + (1 | a), d); m1 <- lmer(y ~ x + (1 | a), d); m2 <- lmer(y ~ r + (1 | a), d)
  KRmodcomp(m, m1); KRmodcomp(m, m2) }
invisible(go()); t <- replicate(20, system.time(go())[["elapsed"]]); cat("\\nmilliseconds", 1000 * median(t), "\\n")
"""


def studies(count: int, seed: int = 0):
    """Outcomes, design, athletes and one of the studies as a table."""
    rng = np.random.default_rng(seed)
    athlete, round_no = np.repeat(np.arange(N), ROUNDS), np.tile(np.arange(ROUNDS), N)
    capacity = rng.normal(50, 6, N)[athlete]
    X = np.column_stack([np.ones(N * ROUNDS), *(round_no == j for j in range(1, ROUNDS)), capacity])
    y = 165 + 2 * round_no + 8 * rng.normal(size=(count, N))[:, athlete] + 5 * rng.normal(size=(count, len(athlete)))
    y[rng.random(y.shape) < MISSING] = np.nan
    return y, X, athlete, pd.DataFrame({"y": y[0], "r": round_no, "x": capacity, "a": athlete})


def median_ms(call, repeats: int) -> float:
    """Median milliseconds of a call, after one to warm up."""
    call()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return 1000 * statistics.median(times)


def r_ms(table: pd.DataFrame) -> float | None:
    """Milliseconds of lme4 + pbkrtest for one study, or None without R."""
    if shutil.which("Rscript") is None:
        return None
    with tempfile.TemporaryDirectory() as folder:
        table.to_csv(Path(folder) / "one.csv", index=False)
        (Path(folder) / "time.R").write_text(R_SCRIPT, encoding="utf-8")
        run = subprocess.run(
            ["Rscript", str(Path(folder) / "time.R"), str(Path(folder) / "one.csv")], capture_output=True, text=True
        )
    found = re.findall(r"^milliseconds (\S+)", run.stdout, flags=re.M)
    return float(found[-1]) if run.returncode == 0 and found else None


def main():
    y, X, athlete, table = studies(10_000)
    tests = {"capacity": [ROUNDS], "round": list(range(1, ROUNDS))}

    def single():
        fit = fit_mixed(table, "y ~ C(r) + x", group="a")
        return fit.test("r"), fit.test("x")

    def statsmodels_fit():
        import statsmodels.formula.api as smf

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return smf.mixedlm("y ~ C(r) + x", table.dropna(), groups="a").fit(reml=True)

    batch = median_ms(lambda: fit_mixed_batch(y, X, athlete, tests=tests), 5)
    own = median_ms(lambda: fit_mixed_batch(y, np.repeat(X[None], len(y), 0), athlete, tests=tests), 3)
    one = median_ms(single, 100)
    other = median_ms(statsmodels_fit, 20)
    theirs = r_ms(table)
    print(
        f"{N} athletes x {ROUNDS} rounds, {100 * MISSING:.0f} % missing, one covariate, tests of rounds and covariate\n"
    )
    print("| what | per study |")
    print("|---|---:|")
    print(f"| fit_mixed_batch, 10,000 studies, REML and Kenward-Roger | {batch / len(y) * 1000:.1f} µs |")
    print(f"| the same with a design of its own for each study | {own / len(y) * 1000:.1f} µs |")
    print(f"| fit_mixed with both tests | {one:.2f} ms |")
    print(f"| statsmodels MixedLM, fit alone, no small-sample test | {other:.1f} ms |")
    if theirs is not None:
        print(f"| R: lme4 and pbkrtest, both tests | {theirs:.1f} ms |")
    print(
        f"\nOne statsmodels fit takes as long as {other / batch * len(y):,.0f} batch fits and {other / one:.1f} single fits."
    )
    if theirs is not None:
        print(
            f"One R study takes as long as {theirs / batch * len(y):,.0f} batch fits and {theirs / one:.1f} single fits."
        )
    else:
        print("R is not installed here; no ratio against it.")


if __name__ == "__main__":
    main()
