"""Profile-likelihood intervals of the variances of a fitted mixed model.

In the terms of `reml`, with sigma no longer profiled out and m = df for the restricted likelihood, m = rows for the full one:

(1) deviance(sigma, theta) = log|V| + 2 m log sigma + q0 / sigma^2, restricted: + log|Q' V^-1 Q|; from A = F F' with F lower
    triangular, q0 is the square of its last diagonal entry and log|Q' V^-1 Q| twice the sum of the logs of the others
(2) d deviance / d log sigma = 2 m - 2 q0 / sigma^2
(3) d deviance / dg_k = t_k - v' P_k v / sigma^2, restricted: - tr(Phi P_k);  by theta: J' times that
(4) profile(sd) = the lowest deviance among all (sigma, theta) that give the component this standard deviation
(5) the interval holds every sd with profile(sd) - lowest <= chi^2 with 1 df at the level; its ends are sought on the scale
    sqrt(profile - lowest), which is nearly straight in sd
(6) a component of its own has sd = sigma theta_k, so theta_k = sd / sigma; a slope that varies with the intercept has
    sd = sigma sqrt(theta_1^2 + theta_2^2), so (theta_1, theta_2) = sd / sigma (sin, cos) of a free angle

References
----------
The numbers are those of this file. (1), (4), (5): Bates D, Maechler M, Bolker B, Walker S (2015) Journal of Statistical
Software 67(1), section 5.1; ends held against R on the reference cases. (2), (3): (6) of `reml` with sigma free.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache

import numpy as np
import pandas as pd

from ..basics import check_choice
from .effect_sizes import check_level
from .reml import descend

FARTHEST = 1e6
"""Up to how many times the estimate, or a tenth of the residual SD where that is more, an upper limit is searched for."""
GROWTH = 1.6
"""Each step of that search is so many times the one before."""
LIFTED = 0.1
"""Where a search starts for a relative SD nearer to 0 than this; at 0 itself the likelihood has no slope."""
OUT_OF_REACH = 1e12
"""Stands for the deviance where the numbers cannot be factored."""


def variance_intervals(
    fit, *, level: float = 0.95, likelihood: str = "reml", components: Sequence[str] | None = None
) -> pd.DataFrame:
    """Give the interval of every variance from the profile of the likelihood."""
    from scipy.special import chdtri

    check_level(level)
    check_choice(likelihood, ("reml", "ml"), name="likelihood")
    profile = _Profile(fit._tests, likelihood)
    drop = float(chdtri(1, 1 - level))  # (5)
    inner = [n for n in profile.structure.names if n != "covariance"]
    shown = [fit._crossed[int(n.split()[1])] if n.startswith("crossed") else n for n in inner]
    names = dict(zip([*shown, "residual"], [*inner, "residual"], strict=True))
    for wanted in components or ():
        check_choice(wanted, tuple(names), name="component")
    rows = []
    for component in components or names:
        name = names[component]
        sd, low, high = profile.interval(name, drop)
        scale = profile.structure.scale if name == "slope" else 1.0
        sd, low, high = sd / scale, low / scale, high / scale
        words = [f"profile {likelihood.upper()}"]
        words += ["the data are compatible with 0"] if low == 0 else []
        words += ["the data set no upper limit"] if math.isinf(high) else []
        rows.append(
            {
                "component": component,
                "estimate": sd**2,
                "ci_low": low**2,
                "ci_high": high**2,
                "sd": sd,
                "sd_ci_low": low,
                "sd_ci_high": high,
                "method": "; ".join(words),
            }
        )
    return pd.DataFrame(rows)


class _Profile:
    """Deviance as a function of one standard deviation, minimised over everything else by its exact slopes."""

    def __init__(self, tests, likelihood):
        self.problem = tests.problem
        self.structure = tests.problem.structure
        self.restricted = likelihood == "reml"
        self.count = self.problem.df if self.restricted else self.problem.n
        self.unit = math.sqrt(tests.sigma2)
        self.inverse = None
        self.log_sigma, self.theta = 0.0, np.array(tests.theta, dtype=float)
        if not self.restricted:
            eye = np.eye(1 + len(self.theta))
            _, best = self._minimise(lambda free: (free[0], free[1:], eye), np.append(0.0, self.theta))
            self.log_sigma, self.theta = float(best[0]), best[1:]
        self.lowest = self.deviance(self.log_sigma, self.theta)[0]
        for place in np.flatnonzero(np.abs(self.theta) < LIFTED):  # a search ends beside an exact 0, not on it
            zero = np.where(np.arange(len(self.theta)) == place, 0.0, self.theta)
            if self.deviance(self.log_sigma, zero)[0] <= self.lowest + 1e-9:
                self.theta = zero

    def deviance(self, log_sigma, theta):
        """Minus twice the log-likelihood up to a constant, and its slopes by log sigma and by theta."""
        p = self.problem.p
        pieces = self.problem.pieces(theta)
        factor = np.linalg.cholesky(pieces.A)
        diagonal = np.diag(factor)
        precision = math.exp(-2 * log_sigma) / self.unit**2
        quadratic = float(diagonal[p] ** 2 * precision)
        value = pieces.log_det + 2 * self.count * log_sigma + quadratic  # (1)
        inverse = np.linalg.inv(factor[:p, :p])
        v = np.append(-inverse.T @ factor[p, :p], 1.0)
        by_g = pieces.t - precision * np.array([v @ P @ v for P in pieces.P])  # (3)
        if self.restricted:
            value += 2 * np.log(diagonal[:p]).sum()
            by_g = by_g - np.array([np.sum((inverse @ P[:p, :p]) * inverse) for P in pieces.P])
        by_theta = self.structure.relative(theta)[1].T @ by_g
        return float(value), np.append(2 * self.count - 2 * quadratic, by_theta)  # (2)

    def interval(self, name, drop):
        """Estimate and limits of the standard deviation of one component."""
        from scipy.optimize import brentq

        best, near = self._estimate(name), self._pack(name)
        self.inverse = None  # each component has other free parameters

        @cache
        def gap(sd):
            """How far the profile has fallen beyond what the level allows; nearly straight in sd."""
            nonlocal near
            fallen, near = self._minimise(lambda free: self._unpack(name, sd, free), near)  # (4)
            return math.sqrt(max(fallen - self.lowest, 0.0)) - math.sqrt(drop)  # (5)

        def limit(steps):
            """The crossing before the first step that lies outside; None where none does."""
            inside = best
            for step in map(float, steps):
                if gap(step) > 0:
                    return brentq(gap, inside, step, xtol=1e-9 * max(inside, step), rtol=1e-8)
                inside = step
            return None

        low = None
        if best > 0 and gap(best) < 0:
            low = limit([0.0] if name != "residual" else best / 2.0 ** np.arange(1, 20))
        near = self._pack(name)
        first = max(best, LIFTED * math.exp(self.log_sigma))
        if best > 0 and gap(best) >= 0:  # a level so low that the interval is the estimate
            return best * self.unit, (best if low is None else low) * self.unit, best * self.unit
        high = limit(first * GROWTH ** np.arange(1, math.log(FARTHEST, GROWTH)))
        high = math.inf if high is None else high
        return best * self.unit, (low or 0.0) * self.unit, high * self.unit

    def _minimise(self, unpack, start):
        """Lowest deviance over the free parameters, from a start nearby, and where it is."""

        def both(free):
            log_sigma, theta, slopes = unpack(free)
            try:
                value, by_each = self.deviance(log_sigma, theta)
            except np.linalg.LinAlgError:
                return OUT_OF_REACH, np.zeros(len(free))
            return value, slopes.T @ by_each

        if len(start) == 0:
            return both(start)[0], start
        start = np.where(np.abs(start) < LIFTED, np.copysign(LIFTED, start), start)
        lowest, place, self.inverse = descend(both, start, self.inverse)
        return lowest, place

    def _estimate(self, name):
        if name == "residual":
            return math.exp(self.log_sigma)
        g = self.structure.relative(self.theta)[0]
        return math.sqrt(g[self._place(name)]) * math.exp(self.log_sigma)

    def _pack(self, name):
        """The free parameters at the estimate, beside the standard deviation of this component."""
        theta = self.theta
        if name == "residual":
            return theta.copy()
        if self._turned(name):
            return np.array([self.log_sigma, theta[0], math.atan2(theta[1], theta[2]), *theta[3:]])
        return np.append(self.log_sigma, np.delete(theta, self._place(name)))

    def _unpack(self, name, sd, free):
        """Log sigma and theta from a standard deviation and the free parameters, and their slopes by these."""
        n = len(self.theta)
        slopes = np.zeros((1 + n, len(free)))
        if name == "residual":
            slopes[1:] = np.eye(n)
            return math.log(sd), free, slopes
        ratio = sd * math.exp(-free[0])  # (6)
        slopes[0, 0] = 1.0
        if self._turned(name):  # (6), its second half
            sine, cosine = math.sin(free[2]), math.cos(free[2])
            theta = np.array([free[1], ratio * sine, ratio * cosine, *free[3:]])
            slopes[1, 1] = 1.0
            slopes[2:4, 0] = -theta[1], -theta[2]
            slopes[2:4, 2] = theta[2], -theta[1]
            slopes[4:, 3:] = np.eye(n - 3)
            return free[0], theta, slopes
        place = self._place(name)
        slopes[1 + place, 0] = -ratio
        slopes[1 + np.delete(np.arange(n), place), 1 + np.arange(n - 1)] = 1.0
        return free[0], np.insert(free[1:], place, ratio), slopes

    def _turned(self, name):
        return self.structure.correlated and name == "slope"

    def _place(self, name):
        return self.structure.names.index(name)
