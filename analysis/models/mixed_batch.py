"""`fit_mixed_batch`: the random-intercept model with Kenward-Roger tests for thousands of studies at once.

The numbers of the likelihood are those of `batch_engine`, of the tests those of `small_sample`. What is added here:

(1) columns centred, X = Xc + 1 m' / c beside a column of the constant c: b = S bc with S = I - e m' / c, e that column's unit
    vector; |S| = 1, so that likelihood and tests are those of X; the mean taken off y goes back to the constant's coefficient
(2) sigma^2 = q0 / df and the variance between athletes g sigma^2, at the g where the deviance is lowest
(3) log-likelihood = -1/2 [log|V| + log|X' V^-1 X| + df (1 + log(2 pi sigma^2))]
(4) the two variances can be told apart where rank X < rank [X Z] < rows: sure where there are more athletes than columns that
    do not vary within them, and more rows than athletes and columns that do; counted exactly where the last is not so

References
----------
The numbers are those of this file. (3) is (3) of `reml` with the log-determinant of X in its own coding; the tests hold every
number of this module to `fit_mixed`, which is held to R.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import Result
from .batch_engine import (
    centred,
    checked,
    columns_within,
    constant_column,
    kenward_roger,
    own_design_sums,
    rank_with_athletes,
    shared_design_sums,
    solve,
    state,
    weights,
)
from .mixed_fit import ByName

BLOCK = 1000
"""Studies worked on at once, so that their arrays stay in the cache."""


@dataclass(frozen=True)
class BatchTest(ByName):
    """One test in every study; arrays over studies, also by name in brackets."""

    estimate: np.ndarray  # Studies, or studies x coefficients where the test has several
    standard_error: np.ndarray
    F: np.ndarray  # This and the rest per study; missing where a study could not be fitted
    df_num: np.ndarray
    df_den: np.ndarray
    p: np.ndarray

    def interval(self, *, level: float = 0.95):
        """Limits of the t interval of every estimate (lower, upper), with the df of the test."""
        from scipy.special import stdtrit

        df = self.df_den if self.estimate.ndim == 1 else self.df_den[:, None]
        half = stdtrit(df, 0.5 + level / 2) * self.standard_error
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True)
class BatchFit(Result):
    """Fits of many studies."""

    # Per study: fitted, variance_group, variance_residual, log_likelihood, n_athletes, n_observations
    studies: pd.DataFrame
    tests: dict  # Name of the test to `BatchTest`; also as fit["name"]
    coefficients: dict  # "beta": studies x terms
    n_studies: int
    n_failed: int
    method: str = "linear mixed model (REML), random intercepts, Kenward-Roger"

    def __getitem__(self, name) -> BatchTest:
        return self.tests[name]

    def __iter__(self):
        return iter(self.tests)

    def __getattr__(self, name):
        """`fit.p["round"]` is `fit["round"].p`, and so for every field of a test."""
        if name in BatchTest.__dataclass_fields__:
            return {test: found[name] for test, found in self.tests.items()}
        raise AttributeError(name)

    @property
    def variance_group(self) -> np.ndarray:
        """Variance between athletes, per study."""
        return self.studies["variance_group"].to_numpy()

    @property
    def variance_residual(self) -> np.ndarray:
        """Variance within athletes, per study."""
        return self.studies["variance_residual"].to_numpy()

    @property
    def log_likelihood(self) -> np.ndarray:
        """Restricted log-likelihood in the coding of the design, per study."""
        return self.studies["log_likelihood"].to_numpy()

    @property
    def beta(self) -> np.ndarray:
        """Coefficients, studies x terms."""
        return self.coefficients["beta"]

    def table(self) -> pd.DataFrame:
        """One row per study and test: study, test, F, df_num, df_den, p, and estimate where it is single."""
        parts = []
        for name, test in self.tests.items():
            single = test.estimate.ndim == 1
            parts.append(
                pd.DataFrame(
                    {
                        "study": np.arange(self.n_studies),
                        "test": name,
                        "estimate": test.estimate if single else np.nan,
                        "standard_error": test.standard_error if single else np.nan,
                        "F": test.F,
                        "df_num": test.df_num,
                        "df_den": test.df_den,
                        "p": test.p,
                    }
                )
            )
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()


def fit_mixed_batch(outcomes, design, group, *, tests: Mapping) -> BatchFit:
    """Fit y = X b + athlete + residual to many outcomes at once, by REML with Kenward-Roger tests.

    Parameters
    ----------
    outcomes : array of float
        Studies x rows, missing (NaN) where a study has no value.
    design : array of float
        Rows x terms, shared by all studies, or studies x rows x terms; with its column of ones.
    group : array
        Athlete of every row.
    tests : mapping
        Name to the columns that are tested to be zero together, for example {"capacity": [4], "round": [1, 2, 3]};
        or to a matrix (hypotheses x terms).

    Returns
    -------
    BatchFit
        `fit["round"].p` and so on; studies that cannot be fitted are missing (NaN) and counted in `n_failed`.

    When to use
    -----------
    Power by simulation, calibration, permutation. For one study with names, contrasts and words use `fit_mixed`, whose
    numbers these are.

    Notes
    -----
    The restricted likelihood is profiled to the variance ratio g; on t = log(1 + n g) it is nearly convex: a short grid, a
    parabola, then Newton steps. Rows enter as sums by athlete and by number of rounds present. A variance at the boundary
    is exactly 0.

    References
    ----------
    Kenward MG, Roger JH (1997) Biometrics 53:983-997.

    Examples
    --------
    >>> rng = np.random.default_rng(0)
    >>> group = np.repeat(np.arange(10), 3)
    >>> X = np.column_stack([np.ones(30), np.tile([0, 1, 0], 10), np.tile([0, 0, 1], 10)])
    >>> fit = fit_mixed_batch(rng.normal(size=(50, 30)), X, group, tests={"round": [1, 2]})
    >>> fit["round"].p.shape, float(fit["round"].df_num[0])
    ((50,), 2.0)
    """
    batch = _Batch(*checked(outcomes, design, group, tests))
    for start in range(0, len(batch.y), BLOCK):
        batch.fit_block(start, min(start + BLOCK, len(batch.y)))
    return batch.collect()


class _Batch:
    """The studies, and what has been found about them so far."""

    def __init__(self, y, X, codes, place, contrasts):
        self.y, self.codes, self.place, self.contrasts = y, codes, place, contrasts
        self.shared = X.ndim == 2
        self.ones = constant_column(X)
        self.X, self.shift = centred(X, self.ones) if self.shared else (X, np.eye(X.shape[-1]))  # (1)
        self.within = columns_within(X, place)
        studies, p = len(y), X.shape[-1]
        self.beta = np.full((studies, p), np.nan)
        self.summary = np.full((5, studies), np.nan)
        self.joint = {k: np.full((3, studies), np.nan) for k in contrasts}
        self.single = {k: np.full((2, len(L), studies), np.nan) for k, L in contrasts.items()}

    def fit_block(self, start, stop):
        """Fit the studies from start to stop and note what is found."""
        part = self.y[start:stop]
        seen = np.isfinite(part)
        n = seen.sum(axis=1)
        if self.ones:  # taken off for accuracy, given back to the coefficient of the constant column
            mean = np.where(seen, part, 0.0).sum(axis=1) / np.maximum(n, 1)
            part = part - mean[:, None]
        sums = self._sums(np.where(seen, part, 0.0), seen, start, stop)
        df = n - float(self.beta.shape[1])
        athletes = sums.count.sum(axis=0)
        studies = np.flatnonzero(self._identified(n, athletes, seen, start))
        ratio = np.full(len(n), np.nan)
        if len(studies):
            ratio[studies] = solve(sums.take(studies), df[studies])
            studies = np.flatnonzero(np.isfinite(ratio))
        if not len(studies):
            return
        sums, df, ratio = sums.take(studies), df[studies], ratio[studies]
        s = state(sums, ratio)
        sigma2 = s.q0 / df  # (2)
        w = weights(s, df)
        good = (s.smallest_pivot > 1e-10) & np.isfinite(w[0]) & (s.q0 > 1e-20 * sums.cross[-1])
        if self.ones:
            s.beta[self.ones[0]] += mean[studies] / self.ones[1]  # (1)
        where = studies[good] + start
        log_det = np.einsum("ls,ls->s", sums.count, np.log1p(ratio * sums.sizes[:, None]))
        log_likelihood = -0.5 * (log_det + s.log_pivots + df * (1 + np.log(2 * np.pi * sigma2)))  # (3)
        rows = np.array([ratio * sigma2, sigma2, log_likelihood, athletes[studies], n[studies]])
        self.summary[:, where] = rows[:, good]
        self.beta[where] = (self.shift @ s.beta).T[good]
        for name, L in self.contrasts.items():
            estimate, error, F, df_den = kenward_roger(s, sigma2, w, L @ self.shift)
            self.joint[name][:, where] = np.array([F, df_den, np.full(len(F), float(len(L)))])[:, good]
            self.single[name][:, :, where] = np.array([estimate, error])[:, :, good]

    def _sums(self, part, seen, start, stop):
        blank = np.zeros((len(part), 1))  # the place of rows that an athlete does not have
        part, here = np.hstack([part, blank]), np.hstack([seen.astype(float), blank])
        if self.shared:
            X = np.vstack([self.X, np.zeros((1, self.X.shape[1]))])[self.place]
            rows = self.place.ravel()
            y, present = (np.ascontiguousarray(v.T)[rows].reshape(*self.place.shape, -1) for v in (part, here))
            return shared_design_sums(X, y, present)
        own = np.concatenate([self.X[start:stop], np.zeros((len(part), 1, self.X.shape[2]))], axis=1)
        return own_design_sums(own[:, self.place], part[:, self.place], here[:, self.place])

    def _identified(self, n, athletes, seen, start):
        """Studies with enough rows within athletes, and enough athletes, to tell the two variances apart."""
        p = self.beta.shape[1]
        between = athletes - (p - self.within) > 0  # (4)
        sure = between & (n - athletes - self.within > 0)
        for study in np.flatnonzero(between & ~sure & (n > p)):  # few: count exactly
            rows = seen[study]
            X = self.X[rows] if self.shared else self.X[start + study][rows]
            sure[study] = p < rank_with_athletes(X, self.codes[rows]) < n[study]
        return sure

    def collect(self) -> BatchFit:
        """Everything found, as a result."""
        from scipy.special import fdtrc

        tests = {}
        for name, L in self.contrasts.items():
            F, df_den, df_num = self.joint[name]
            estimate, error = self.single[name]
            usable = np.isfinite(F) & (df_den > 0)
            p = np.full(len(F), np.nan)
            p[usable] = fdtrc(float(len(L)), df_den[usable], np.maximum(F[usable], 0.0))
            single = len(L) == 1
            tests[name] = BatchTest(
                estimate[0] if single else estimate.T, error[0] if single else error.T, np.where(usable, F, np.nan),
                np.where(usable, df_num, np.nan), np.where(usable, df_den, np.nan), p,
            )  # fmt: skip
        table = pd.DataFrame(
            dict(
                zip(
                    ("variance_group", "variance_residual", "log_likelihood", "n_athletes", "n_observations"),
                    self.summary,
                    strict=True,
                )
            )
        )
        fitted = table["variance_residual"].notna()
        table.insert(0, "fitted", fitted)
        return BatchFit(table, tests, {"beta": self.beta}, len(self.y), int((~fitted).sum()))
