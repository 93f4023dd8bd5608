"""Profile-likelihood intervals of the variances of a fitted mixed model."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ..basics import check_choice
from .intervals import check_level

if TYPE_CHECKING:
    from .mixed_fit import MixedFit


def variance_intervals(fit: MixedFit, *, level: float = 0.95, likelihood: str = "reml") -> pd.DataFrame:
    """Give the interval of every variance from the profile of the likelihood.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    level : float
        Default 0.95.
    likelihood : {"reml", "ml"}
        "reml" allows for the estimated coefficients and suits a dozen athletes; "ml" is what some programs profile.

    Returns
    -------
    DataFrame
        component (group, slope, residual, or the crossed column), estimate, ci_low, ci_high (variances), sd, sd_ci_low,
        sd_ci_high, method. A lower limit of exactly 0 means that no variance at all is compatible with the data.

    Notes
    -----
    The limits are where twice the log-likelihood, maximised over everything else, has fallen by the chi-square quantile
    with 1 degree of freedom. With "ml" the estimate is that of maximum likelihood.

    References
    ----------
    Bates D, Maechler M, Bolker B, Walker S (2015) Journal of Statistical Software 67(1), section 5.1.
    """
    from scipy.special import chdtri

    check_level(level)
    check_choice(likelihood, ("reml", "ml"), name="likelihood")
    profile = _Profile(fit._tests, likelihood)
    drop = float(chdtri(1, 1 - level))
    names = [n for n in profile.structure.names if n != "covariance"]
    labels = iter(fit._crossed)
    rows = []
    for name in [*names, "residual"]:
        sd, low, high = profile.interval(name, drop)
        scale = profile.structure.scale if name == "slope" else 1.0
        sd, low, high = sd / scale, low / scale, high / scale
        rows.append(
            {
                "component": next(labels) if name.startswith("crossed") else name,
                "estimate": sd**2,
                "ci_low": low**2,
                "ci_high": high**2,
                "sd": sd,
                "sd_ci_low": low,
                "sd_ci_high": high,
                "method": f"profile {likelihood.upper()}",
            }
        )
    return pd.DataFrame(rows)


class _Profile:
    """Deviance as a function of one standard deviation, minimised over everything else."""

    def __init__(self, tests, likelihood):
        self.problem = tests.problem
        self.structure = tests.problem.structure
        self.restricted = likelihood == "reml"
        self.count = self.problem.df if self.restricted else self.problem.n
        self.theta = tests.theta if self.restricted else self._search(tests.theta)
        self.log_sigma = self._best_log_sigma(self.theta)
        self.lowest = self.deviance(self.theta, self.log_sigma)

    def _parts(self, theta):
        pieces = self.problem.pieces(theta, derivatives=False)
        diagonal = np.diag(np.linalg.cholesky(pieces.A))
        log_det = pieces.log_det + (2 * np.log(diagonal[:-1]).sum() if self.restricted else 0.0)
        return log_det, diagonal[-1] ** 2

    def deviance(self, theta, log_sigma):
        log_det, q0 = self._parts(theta)
        return log_det + 2 * self.count * log_sigma + q0 * math.exp(-2 * log_sigma)

    def _best_log_sigma(self, theta):
        return 0.5 * math.log(self._parts(theta)[1] / self.count)

    def _search(self, start):
        def profiled(theta):
            return self.deviance(theta, self._best_log_sigma(theta))

        candidates = [_minimise(profiled, np.where(start == 0, s, start)) for s in (0.0, 0.5)]
        return min(candidates, key=profiled)

    def _unpack(self, name, sd, free):
        """Theta and log sigma from the fixed standard deviation and the free parameters."""
        if name == "residual":
            return np.asarray(free), math.log(sd)
        log_sigma, *rest = free
        ratio = sd * math.exp(-log_sigma)
        if self.structure.correlated and name == "slope":
            intercept, angle, *others = rest
            return np.array([intercept, ratio * math.sin(angle), ratio * math.cos(angle), *others]), log_sigma
        return np.insert(np.asarray(rest, dtype=float), self._place(name), ratio), log_sigma

    def _pack(self, name):
        theta = self.theta
        if name == "residual":
            return theta.copy()
        if self.structure.correlated and name == "slope":
            return np.array([self.log_sigma, theta[0], math.atan2(theta[1], theta[2]), *theta[3:]])
        return np.array([self.log_sigma, *np.delete(theta, self._place(name))])

    def _place(self, name):
        return self.structure.names.index(name)

    def estimate(self, name):
        if name == "residual":
            return math.exp(self.log_sigma)
        g = self.structure.relative(self.theta)[0]
        return math.sqrt(g[self._place(name)]) * math.exp(self.log_sigma)

    def interval(self, name, drop):
        from scipy.optimize import brentq

        best = self.estimate(name)
        free = self._pack(name)

        def gap(sd):
            nonlocal free
            free = _minimise(lambda v: self.deviance(*self._unpack(name, sd, v)), free)
            return self.deviance(*self._unpack(name, sd, free)) - self.lowest - drop

        low = 0.0
        if best > 0:
            floor = 0.0 if name != "residual" else best * 1e-3
            if gap(floor) > 0:
                free = self._pack(name)
                low = brentq(gap, floor, best, xtol=1e-9 * best, rtol=1e-10)
        free = self._pack(name)
        high = 1.5 * best if best > 0 else 0.1 * math.exp(self.log_sigma)
        while gap(high) < 0:
            high *= 1.5
        free = self._pack(name)
        return best, low, brentq(gap, best, high, xtol=1e-9 * high, rtol=1e-10)


def _minimise(function, start):
    """Minimise a smooth function from a start nearby."""
    from scipy.optimize import minimize, minimize_scalar

    start = np.asarray(start, dtype=float)
    if len(start) == 0:
        return start
    if len(start) == 1:
        found = minimize_scalar(
            lambda v: function(np.array([v])), bracket=(start[0] - 0.1, start[0] + 0.1), tol=1e-10
        )
        return np.array([found.x])
    # without derivatives: where a variance is 0 the gradient says nothing
    options = {"xatol": 1e-5, "fatol": 1e-9, "maxiter": 4000}
    found = minimize(function, start, method="Nelder-Mead", options=options)
    return found.x
