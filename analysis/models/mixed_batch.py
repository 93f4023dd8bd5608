"""`fit_mixed_batch`: the random-intercept model with Kenward-Roger tests for thousands of studies at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd

from ..basics import KitError, Result, plural
from .batch_engine import kenward_roger, own_design_sums, shared_design_sums, solve, state, weights

BLOCK = 1000
"""Studies worked on at once, so that their arrays stay in the cache."""


@dataclass(frozen=True)
class BatchTest(Mapping):
    """One test in every study; arrays over studies, also by name in brackets.

    Parameters
    ----------
    estimate, standard_error : ndarray
        Studies, or studies x coefficients where the test has several.
    F, df_num, df_den, p : ndarray
        Per study; missing where a study could not be fitted.
    """

    estimate: np.ndarray
    standard_error: np.ndarray
    F: np.ndarray
    df_num: np.ndarray
    df_den: np.ndarray
    p: np.ndarray

    def __getitem__(self, name):
        if name in self.__dataclass_fields__:
            return getattr(self, name)
        raise KeyError(name)

    def __iter__(self):
        return (f.name for f in fields(self))

    def __len__(self):
        return len(fields(self))

    def interval(self, *, level: float = 0.95):
        """Limits of the t interval of every estimate (lower, upper), with the df of the test."""
        from scipy.special import stdtrit

        df = self.df_den if self.estimate.ndim == 1 else self.df_den[:, None]
        half = stdtrit(df, 0.5 + level / 2) * self.standard_error
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True)
class BatchFit(Result):
    """Fits of many studies.

    Parameters
    ----------
    studies : DataFrame
        Per study: fitted, variance_group, variance_residual, log_likelihood, n_athletes, n_observations.
    tests : dict
        Name of the test to `BatchTest`; also as fit["name"].
    coefficients : dict
        "beta": studies x terms.
    n_studies, n_failed : int
    method : str
    """

    studies: pd.DataFrame
    tests: dict
    coefficients: dict
    n_studies: int
    n_failed: int
    method: str = "linear mixed model (REML), random intercepts, Kenward-Roger"

    def __getitem__(self, name) -> BatchTest:
        return self.tests[name]

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
    y, X, place, contrasts = _checked(outcomes, design, group, tests)
    studies, p = len(y), X.shape[-1]
    out = {
        "beta": np.full((studies, p), np.nan),
        "F": {k: np.full((3, studies), np.nan) for k in contrasts},
        "estimate": {k: np.full((2, len(L), studies), np.nan) for k, L in contrasts.items()},
        "studies": np.full((5, studies), np.nan),
    }
    shared = X.ndim == 2
    ones = _constant_column(X)
    X, shift = _centred(X, ones) if shared else (X, np.eye(p))
    padded = np.vstack([X, np.zeros((1, p))])[place] if shared else None
    within = _columns_within(X, place)
    for start in range(0, studies, BLOCK):
        block = slice(start, min(start + BLOCK, studies))
        part = y[block]
        seen = np.isfinite(part)
        mean = np.where(seen, part, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1) if ones else None
        part = np.where(seen, part if mean is None else part - mean[:, None], 0.0)
        blank = np.zeros((len(part), 1))
        part, here = np.hstack([part, blank]), np.hstack([seen.astype(float), blank])
        if shared:
            sums = shared_design_sums(
                padded,
                np.ascontiguousarray(part.T)[place.ravel()].reshape(*place.shape, -1),
                np.ascontiguousarray(here.T)[place.ravel()].reshape(*place.shape, -1),
            )
        else:
            own = np.concatenate([X[block], np.zeros((len(part), 1, p))], axis=1)
            sums = own_design_sums(own[:, place], part[:, place], here[:, place])
        _fit_block(sums, seen.sum(axis=1), (mean, ones), shift, contrasts, within, out, start)
    return _collect(out, contrasts, studies)


def _fit_block(sums, n, level, shift, contrasts, within, out, start):
    p = sums.q - 1
    df = (n - p).astype(float)
    athletes = sums.count.sum(axis=0)
    # enough rows within athletes, and enough athletes, to tell the two variances apart
    studies = np.flatnonzero((df > 0) & (n - athletes - within > 0) & (athletes - (p - within) > 0))
    if len(studies) < len(n):
        sums, df = sums.take(studies), df[studies]
    ratio = solve(sums, df) if len(studies) else np.empty(0)
    if not np.all(np.isfinite(ratio)):
        found = np.flatnonzero(np.isfinite(ratio))
        sums, df, ratio, studies = sums.take(found), df[found], ratio[found], studies[found]
    if not len(studies):
        return
    s = state(sums, ratio)
    sigma2 = s.q0 / df
    w = weights(s, df)
    good = (s.smallest_pivot > 1e-10) & np.isfinite(w[0]) & (s.q0 > 1e-20 * sums.cross[-1])
    mean, ones = level
    if ones:
        s.beta[ones[0]] += mean[studies] / ones[1]
    where = studies[good] + start
    out["beta"][where] = (shift @ s.beta).T[good]
    log_det = np.einsum("ls,ls->s", sums.count, np.log1p(ratio * sums.sizes[:, None]))
    log_likelihood = -0.5 * (log_det + s.log_pivots + df * (1 + np.log(2 * np.pi * sigma2)))
    rows = np.array([ratio * sigma2, sigma2, log_likelihood, athletes[studies], n[studies]])
    out["studies"][:, where] = rows[:, good]
    for name, L in contrasts.items():
        estimate, error, F, df_den = kenward_roger(s, sigma2, w, L @ shift)
        out["F"][name][:, where] = np.array([F, df_den, np.full(len(F), float(len(L)))])[:, good]
        out["estimate"][name][:, :, where] = np.array([estimate, error])[:, :, good]


def _collect(out, contrasts, studies) -> BatchFit:
    from scipy.special import fdtrc

    tests = {}
    for name, L in contrasts.items():
        F, df_den, df_num = out["F"][name]
        estimate, error = out["estimate"][name]
        usable = np.isfinite(F) & (df_den > 0)
        p = np.full(studies, np.nan)
        p[usable] = fdtrc(float(len(L)), df_den[usable], np.maximum(F[usable], 0.0))
        single = len(L) == 1
        tests[name] = BatchTest(
            estimate[0] if single else estimate.T,
            error[0] if single else error.T,
            np.where(usable, F, np.nan),
            np.where(usable, df_num, np.nan),
            np.where(usable, df_den, np.nan),
            p,
        )
    table = pd.DataFrame(
        dict(
            zip(
                ("variance_group", "variance_residual", "log_likelihood", "n_athletes", "n_observations"),
                out["studies"],
                strict=True,
            )
        )
    )
    fitted = table["variance_residual"].notna()
    table.insert(0, "fitted", fitted)
    return BatchFit(table, tests, {"beta": out["beta"]}, studies, int((~fitted).sum()))


def _checked(outcomes, design, group, tests):
    """Outcomes and design as arrays with the athletes sorted, the place of each row, and the tests as matrices."""
    y, X = np.asarray(outcomes, dtype=float), np.asarray(design, dtype=float)
    y = y[None] if y.ndim == 1 else y
    if y.ndim != 2 or X.ndim not in (2, 3):
        raise KitError("outcomes must be studies x rows, and design rows x terms or studies x rows x terms.")
    rows, p = X.shape[-2:]
    codes = pd.factorize(np.asarray(group))[0]
    if y.shape[1] != rows or len(codes) != rows or (X.ndim == 3 and len(X) != len(y)):
        raise KitError(
            f"outcomes has {plural(y.shape[1], 'row')}, design {rows}, group {len(codes)}"
            + (f", for {len(y)} and {len(X)} studies" if X.ndim == 3 else "")
            + "; they must agree."
        )
    if not np.all(np.isfinite(X)):
        raise KitError(
            "design holds missing or infinite values; leave a row out by making its outcome missing."
        )
    if np.isinf(y).any():
        raise KitError("outcomes holds infinite values.")
    if (codes < 0).any():
        raise KitError("group holds missing values.")
    size = np.bincount(codes)
    place = np.full((len(size), size.max()), rows)
    for athlete in range(len(size)):
        own = np.flatnonzero(codes == athlete)
        place[athlete, : len(own)] = own
    return y, X, place, {str(k): _as_matrix(k, v, p) for k, v in dict(tests).items()}


def _as_matrix(name, columns, p):
    given = np.asarray(columns)
    if given.ndim == 2:
        if given.shape[1] != p:
            raise KitError(f"The test {name!r} needs {plural(p, 'column')}, one per term.")
        L = given.astype(float)
    else:
        picked = np.atleast_1d(given)
        if not len(picked) or not np.issubdtype(picked.dtype, np.integer):
            raise KitError(f"The test {name!r} must list columns of the design as whole numbers.")
        if picked.min() < 0 or picked.max() >= p or len(set(picked.tolist())) < len(picked):
            raise KitError(f"The test {name!r} must list different columns between 0 and {p - 1}.")
        L = np.eye(p)[picked]
    if np.linalg.matrix_rank(L) < len(L):
        raise KitError(f"The rows of the test {name!r} repeat each other.")
    return L


def _constant_column(X):
    """Index and value of a column that is the same everywhere, or None."""
    flat = X.reshape(-1, X.shape[-1])
    same = np.flatnonzero(np.all(flat == flat[0], axis=0) & (flat[0] != 0))
    return (int(same[0]), float(flat[0, same[0]])) if len(same) else None


def _centred(X, ones):
    """Centre the columns beside the constant one, for accuracy; the matrix turns their coefficients back."""
    p = X.shape[1]
    shift = np.eye(p)
    if ones is None:
        return X, shift
    index, value = ones
    mean = X.mean(axis=0)
    mean[index] = 0.0
    shift[index] -= mean / value
    return X - mean, shift


def _columns_within(X, place):
    """How many columns change within an athlete."""
    some = X[None] if X.ndim == 2 else X[:5]
    changes = np.zeros(X.shape[-1], dtype=bool)
    for rows in place:
        own = some[:, rows[rows < X.shape[-2]]]
        changes |= np.any(np.abs(own - own[:, :1]) > 1e-12 * np.abs(own).max(initial=1.0), axis=(0, 1))
    return int(changes.sum())
