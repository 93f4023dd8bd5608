"""The random-intercept model where some values are known only to lie beyond a limit (censored values).

The likelihood of an athlete is integrated over the athlete's level by adaptive Gauss-Hermite quadrature. Variances maximise the
likelihood with the coefficients integrated out by Laplace's method, which is REML where nothing is censored. Where the
likelihood says so, the residual spread differs between rounds, by a parabola on the logarithm of the SD.

With eta = x'beta, s = sigma, rho the SD of levels beside s, c = exp(-growth) of a row (`load`; rows are divided by their SD
beside s), h = +1 above a limit and -1 below, z = h (eta + c u - limit) / s, m = phi(z) / Phi(z):

(1) likelihood of an athlete = integral over u ~ N(0, rho^2 s^2) of prod_read c phi((y - eta - c u) / s) / s  prod_censored Phi(z)
(2) what was read, in closed form: -1/2 [n log(2 pi s^2) + log(1 + rho^2 w) + (sum e^2 - k (sum c e)^2) / s^2] + sum log c, with
    e = y - eta, w = sum c^2 and k = rho^2 / (1 + rho^2 w); then u is N(k sum c e, k s^2)
(3) the rest, log of the mean of prod Phi(z) over that u, by Gauss-Hermite points around the most likely u, each with its share
(4) score = sum of shares times sum over rows of x (e - c u) / s^2 where read, x h m / s where censored
(5) information = sum of shares times sum of x x' (1 / s^2 where read, m (m + z) / s^2 where censored), less the variance of (4)'s
    terms over the shares
(6) the most likely u by Newton's method on log phi + sum log Phi(z), which is concave

The numbers are those of this file; (5): Louis TA (1982) Journal of the Royal Statistical Society B 44:226-233 (from memory). The
tests hold (1) to an integral by scipy.

References
----------
Tobin J (1958) Econometrica 26:24-36. Cox DR, Reid N (1987) Journal of the Royal Statistical Society B 49:1-39. Hughes JP
(1999) Biometrics 55:625-629. Vaida F, Liu L (2009) Journal of Computational and Graphical Statistics 18:797-817.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np

from ..basics import KitError, plural
from .mixed_fit import MixedFit, Variances
from .reml import Problem
from .small_sample import SmallSample, _pooled_df

NODES = 31
"""Points of the quadrature, placed around each athlete's most likely level."""
STEP = 0.03
"""Step of the numerical derivatives by the two variance parameters, both on a logarithmic scale."""
LARGEST_T = 12.0
LARGEST_GROWTH = 2.0
GROWS = 0.2
"""Level of the likelihood ratio from which on the residual spread may differ between rounds. Our proposal, by simulation."""


def refit_censored(fit: MixedFit, side) -> MixedFit:
    """Fit the same model with some values known only to lie at or beyond the number that stands for them.

    When to use: where an instrument ended before the value did. When not: for a value that was lost, or where a level of a
    factor holds no value that was read.

    Parameters
    ----------
    fit : MixedFit
        A random-intercept model of the values, with the limit in the place of each censored one.
    side : array
        One entry per row used, in their order: 0 for a value that was read, 1 where it lies above the limit, -1 below.

    Returns
    -------
    MixedFit
        "kenward-roger" gives the model's tests, "cr2" those that leave out one athlete after the other. Its residuals take
        the expected value where a value is censored; `log_likelihood` is the one that was maximised.

    Raises
    ------
    KitError
        Where the model holds more than a random intercept, or the search finds no maximum.

    Notes
    -----
    Standard errors: inverse observed information, with the uncertainty of the variances carried through. Degrees of freedom:
    those of Kenward and Roger for the whole design, times the share of the information on the residual spread that censoring
    leaves. Where the likelihood ratio says so (`GROWS`), the logarithm of the residual SD is a parabola over the levels of the
    first factor, so that what lies beyond the limit is judged by the spread of its own round; degrees of freedom are then no
    more than Satterthwaite's. Without censored values all numbers are those of `fit`. The robust covariance is the jackknife
    over athletes in one Newton step, which is the paired t test on complete data.

    References
    ----------
    Cox DR, Reid N (1987) Journal of the Royal Statistical Society B 49:1-39. Vaida F, Liu L (2009) Journal of
    Computational and Graphical Statistics 18:797-817. Hughes JP (1999) Biometrics 55:625-629.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> from analysis.models import fit_mixed
    >>> rows = pd.DataFrame({"athlete": list("aabbccdd"), "round_no": [1, 2] * 4, "y": [5, 9, 6, 9, 4, 8.0, 5, 7]})
    >>> fit = refit_censored(fit_mixed(rows, "y ~ C(round_no)", group="athlete"), rows["y"] == 9)
    >>> bool(fit.contrasts("round_no")["estimate"].iloc[0] > 3.25)
    True
    """
    structure = fit._tests.problem.structure
    if not structure.simple:
        raise KitError("Censored values need the model with a random intercept alone.")
    design = fit._design
    side = np.asarray(side).astype(int)
    if side.shape != design.y.shape or not np.isin(side, (-1, 0, 1)).all():
        raise KitError(f"side must be {plural(len(design.y), 'entry', 'entries')} of -1, 0 or 1.")
    if not side.any():
        return fit
    likelihood = CensoredLikelihood(design.y, design.X, structure.groups[0], side, _spread_of_rounds(design))
    tests = CensoredTests(likelihood, structure, start=fit._tests)
    done = replace(
        fit,
        variances=Variances(
            group=float(tests.theta[0] ** 2 * tests.sigma2),
            slope=float("nan"),
            covariance=float("nan"),
            residual=tests.sigma2,
            crossed=float("nan"),
        ),
        log_likelihood=float(tests.adjusted),
        method="linear mixed model of censored values, random intercepts, variances as in REML"
        + (", residual spread of each round" if tests.grows else ""),
    )
    for name, value in {
        "_design": replace(design, y=tests.expected), "_tests": tests, "_athlete": fit._athlete,
        "_athlete_names": fit._athlete_names, "_data": fit._data, "_slope": None, "_crossed": (),
    }.items():  # fmt: skip
        object.__setattr__(done, name, value)
    return done


def _spread_of_rounds(design):
    """Straight line and parabola over the levels of the first factor, by which the residual SD may move."""
    factor = next((f for f in design.factors.values() if f.categorical), None)
    if factor is None:
        return None
    place = np.linspace(-1, 1, len(factor.levels))
    basis = np.column_stack([place, place**2 - (place**2).mean()])[:, : len(place) - 1]
    return basis[factor.codes]


@lru_cache(maxsize=1)
def _nodes():
    points, weights = np.polynomial.hermite_e.hermegauss(NODES)
    return points, np.log(weights / np.sqrt(2 * np.pi))


class CensoredLikelihood:
    """Marginal log-likelihood of rows in athletes, some of them censored, with its derivatives by the coefficients."""

    def __init__(self, y, X, codes, side, spread=None):
        # the logarithm of a row's residual SD, beside sigma, is spread (rows x parameters) @ growth
        self.n, self.p = X.shape
        athletes, width = int(codes.max()) + 1, int(np.bincount(codes).max())
        order = np.argsort(codes, kind="stable")
        starts = np.concatenate([[0], np.cumsum(np.bincount(codes))[:-1]])
        column = np.arange(len(codes)) - starts[codes[order]]
        self.place = np.empty((len(codes), 2), dtype=int)
        self.place[order] = np.column_stack([codes[order], column])

        def lay(values, blank):
            out = np.full((athletes, width, *values.shape[1:]), blank, dtype=float)
            out[codes[order], column] = values[order]
            return out

        self.y_read, self.X_read, self.side = lay(y, 0.0), lay(X, 0.0), lay(side, 0.0)
        self.here = lay(np.ones(len(y)), 0.0)
        self.read = self.here * (self.side == 0)
        self.censored = np.flatnonzero((self.side != 0).any(axis=1))
        self.sign = self.side[self.censored]
        self.mark = self.sign != 0
        self.n_read = self.read.sum(axis=1)
        self.basis = lay(np.empty((self.n, 0)) if spread is None else spread, 0.0)
        self.scale(np.zeros(self.basis.shape[2]))

    def scale(self, growth):
        """Divide every row by what its residual SD is beside sigma; an athlete's level then weighs `load` in it."""
        logs = self.basis @ growth
        self.load = np.exp(-logs) * self.here
        self.y, self.X = self.y_read * self.load, self.X_read * self.load[:, :, None]
        self.log_load = -(logs * self.read).sum(axis=1)
        self.weight = (self.load**2 * self.read).sum(axis=1)

    def evaluate(self, beta, sigma, ratio, *, derivatives=True):
        """Log-likelihood per athlete, score per athlete, information per athlete, expected values (athletes x rows)."""
        s2, at = sigma * sigma, self.censored
        _, rest, shrink, total, scale, t, levels, z, log_tail = self._laid_out(beta, sigma, ratio)
        value = self.log_load - 0.5 * (  # (2)
            self.n_read * np.log(2 * np.pi * s2)
            + np.log1p(ratio**2 * self.weight)
            + ((rest**2).sum(axis=1) - shrink * total**2) / s2
        )
        u, load = (shrink * total)[:, None], self.load[at]
        points, logs = _nodes()
        joint = logs + 0.5 * points**2 - 0.5 * t**2 + np.log(scale)[:, None] + log_tail.sum(axis=1)
        top = joint.max(axis=1, keepdims=True)
        share = np.exp(joint - top)
        mass = share.sum(axis=1, keepdims=True)
        value[at] += (top + np.log(mass))[:, 0]  # (3)
        if not derivatives:
            return value
        share /= mass
        mills = np.where(self.mark[:, :, None], np.exp(-0.5 * z**2 - 0.9189385332046727 - log_tail), 0.0)
        # every athlete by closed form as if nothing were censored, then the censored ones by quadrature
        residual = (rest - u * self.load * self.read) / s2
        score = np.einsum("im,imp->ip", residual, self.X)
        sums = np.einsum("im,imp->ip", self.load * self.read, self.X)
        information = np.einsum("im,imp,imq->ipq", self.read / s2, self.X, self.X)
        information -= (shrink / s2)[:, None, None] * sums[:, :, None] * sums[:, None, :]
        X = self.X[at]
        slope = (rest[at][:, :, None] - levels[:, None] * (load * self.read[at])[:, :, None]) / s2
        slope += self.sign[:, :, None] * mills / sigma
        curve = self.read[at][:, :, None] / s2 + mills * (mills + z) / s2
        each = np.einsum("imq,imp->iqp", slope, X)
        score[at] = np.einsum("iq,iqp->ip", share, each)  # (4)
        off = each - score[at][:, None]
        information[at] = np.einsum("im,imp,imr->ipr", np.einsum("imq,iq->im", curve, share), X, X)
        information[at] -= np.einsum("iq,iqp,iqr->ipr", share, off, off)  # (5)
        return value, score, information

    def expected(self, beta, sigma, ratio):
        """Every value, with its expectation given all that is known where it is censored; in the order of the rows."""
        eta, _, _, _, _, t, levels, z, log_tail = self._laid_out(beta, sigma, ratio)
        at, out = self.censored, self.y_read.copy()
        load = self.load[at]
        points, logs = _nodes()
        joint = logs + 0.5 * points**2 - 0.5 * t**2 + log_tail.sum(axis=1)
        share = np.exp(joint - joint.max(axis=1, keepdims=True))
        share /= share.sum(axis=1, keepdims=True)
        mills = np.exp(-0.5 * z**2 - 0.9189385332046727 - _log_ndtr(z))
        beyond = eta[at][:, :, None] + load[:, :, None] * levels[:, None] + sigma * self.sign[:, :, None] * mills
        given = np.einsum("imq,iq->im", beyond, share) / np.where(self.mark, load, 1.0)
        out[at] = np.where(self.mark, given, out[at])
        return out[self.place[:, 0], self.place[:, 1]]

    def _laid_out(self, beta, sigma, ratio):
        """What was expected and is left of the rows, and the points of the quadrature around each censored athlete's level."""
        eta = self.X @ beta
        rest = (self.y - eta) * self.read
        shrink = ratio**2 / (1 + ratio**2 * self.weight)
        total = (self.load * rest).sum(axis=1)
        mean, spread = shrink * total, np.sqrt(shrink) * sigma
        at = self.censored
        gap = (eta - self.y)[at]
        centre, scale = self._centre(gap, mean[at], spread[at], sigma)
        t = centre[:, None] + scale[:, None] * _nodes()[0]
        levels = mean[at, None] + spread[at, None] * t
        z = self.sign[:, :, None] * (gap[:, :, None] + self.load[at][:, :, None] * levels[:, None]) / sigma
        log_tail = np.where(self.mark[:, :, None], _log_ndtr(z), 0.0)
        return eta, rest, shrink, total, scale, t, levels, z, log_tail

    def _centre(self, gap, mean, spread, sigma):
        """Most likely standardised level of each censored athlete, and the spread around it."""
        t = np.zeros(len(mean))
        load = self.load[self.censored]
        slope = self.sign * load * spread[:, None] / sigma
        for _ in range(50):
            z = self.sign * (gap + load * (mean + spread * t)[:, None]) / sigma
            mills = np.where(self.mark, np.exp(-0.5 * z**2 - 0.9189385332046727 - _log_ndtr(z)), 0.0)
            first = -t + (slope * mills).sum(axis=1)
            second = 1 + (slope**2 * mills * (mills + z)).sum(axis=1)
            step = first / second
            t += step  # (6)
            if np.abs(step).max(initial=0.0) < 1e-6:
                break
        return t, 1 / np.sqrt(second)

    def coefficients(self, beta, sigma, ratio):
        """Coefficients at the maximum for given variances; the log-likelihood is concave in them."""
        for _ in range(100):
            value, score, information = self.evaluate(beta, sigma, ratio)
            total, inner = score.sum(axis=0), information.sum(axis=0)
            try:
                step = np.linalg.solve(inner, total)
            except np.linalg.LinAlgError:
                break
            gain = float(total @ step)
            if not np.isfinite(gain):
                break
            if gain < 1e-12:
                return beta + step, value, score, information
            best = value.sum()
            for _ in range(30):
                if self.evaluate(beta + step, sigma, ratio, derivatives=False).sum() >= best - 1e-9:
                    break
                step = step / 2
            beta = beta + step
        raise KitError("The model of values off the scale finds no maximum: too few values of a round were read.")


def _chi_square(df, level):
    from scipy.special import chdtri

    return chdtri(df, level) if df else np.inf


def _log_ndtr(z):
    from scipy.special import log_ndtr

    return log_ndtr(z)


CENSORED_WORDS = {
    "kenward-roger": "mixed model of censored values, observed information, Kenward-Roger df times the information left",
    "satterthwaite": "mixed model of censored values, observed information, Satterthwaite df times the information left",
    "cr2": "mixed model of censored values, jackknife over athletes with CR2 df",
}


class CensoredTests(SmallSample):
    """Tests of linear functions of the coefficients at the maximum of a censored likelihood."""

    method_words = CENSORED_WORDS

    def __init__(self, likelihood: CensoredLikelihood, structure, *, start: SmallSample):
        self.likelihood = likelihood
        self.width = likelihood.n / len(likelihood.y)
        self._known: dict = {}
        self._search(start)
        sigma, ratio = self._scales(self.psi)
        likelihood.scale(self.growth)
        self.row_sd = sigma / likelihood.load[likelihood.place[:, 0], likelihood.place[:, 1]]
        expected = likelihood.expected(self.beta_found, sigma, ratio)
        super().__init__(Problem(expected, start.problem.Q @ start.problem.R, structure), np.array([ratio]))
        self.sigma2 = sigma**2
        self.expected = expected

    @property
    def growth(self):
        """How the logarithm of the residual SD moves over the rows; zeros where one SD holds for all."""
        return self.psi[2:]

    def _scales(self, psi):
        return float(np.exp(psi[0])), float(np.sqrt(max(np.expm1(psi[1]), 0.0) / self.width))

    def _at(self, psi):
        """Adjusted log-likelihood, coefficients, log-likelihood and score per athlete, information per athlete."""
        key = tuple(np.round(psi, 12))
        if key not in self._known:
            sigma, ratio = self._scales(psi)
            self.likelihood.scale(psi[2:])
            beta, value, score, information = self.likelihood.coefficients(self.beta_found, sigma, ratio)
            sign, logdet = np.linalg.slogdet(information.sum(axis=0))
            adjusted = value.sum() - 0.5 * logdet if sign > 0 else -np.inf
            self._known[key] = (adjusted, beta, value, score, information)
            self.beta_found = beta
        return self._known[key]

    def _stencil(self, psi, size):
        """Gradient and Hessian by the first parameters, and how coefficients, athletes' values and covariance move."""
        centre = np.append([psi[0], max(psi[1], STEP)], psi[2:])
        e = STEP * np.eye(len(psi))[:size]
        up, down = [self._at(centre + d) for d in e], [self._at(centre - d) for d in e]
        middle = self._at(centre)[0]
        high, low = np.array([a[0] for a in up]), np.array([b[0] for b in down])
        hessian = np.diag((high - 2 * middle + low) / STEP**2)
        for i, j in combinations(range(size), 2):
            cross = self._at(centre + e[i] + e[j])[0] + self._at(centre - e[i] - e[j])[0]
            cross += 2 * middle - high[i] - low[i] - high[j] - low[j]
            hessian[i, j] = hessian[j, i] = cross / (2 * STEP**2)
        gradient = (high - low) / (2 * STEP) + hessian @ (psi - centre)[:size]

        def move(value):
            return np.array([(value(a) - value(b)) / (2 * STEP) for a, b in zip(up, down, strict=True)])

        covariances = move(lambda at: np.linalg.inv(at[4].sum(axis=0)))
        return gradient, hessian, move(lambda at: at[1]).T, move(lambda at: at[2]).T, covariances

    def _search(self, start):
        self.beta_found = start.beta
        one = np.array([0.5 * np.log(start.sigma2), np.log1p(start.theta[0] ** 2 * self.width)])
        more = self.likelihood.basis.shape[2]
        self.psi = psi = self._climb(np.append(one, np.zeros(more)), 2)
        with suppress(KitError):  # a search for a spread of its own that ends nowhere leaves one spread for all
            grown = self._climb(psi, 2 + more) if more else psi
            if 2 * (self._at(grown)[0] - self._at(psi)[0]) > _chi_square(more, GROWS):
                self.psi = psi = grown
        self.grows = bool(psi[2:].any())
        size = len(psi) if self.grows else 2
        _, hessian, self.moves, self.athlete_values, self.covariance_moves = self._stencil(psi, size)
        self.adjusted, self.beta_found, _, self.scores_found, self.information_found = self._at(psi)
        self.free = [i for i in range(size) if i != 1 or psi[1] > 0]
        self.spread_information = -hessian
        self._known.clear()

    def _climb(self, psi, size):
        """Newton steps on the first parameters, made safe by positive curvature and by halving."""
        for _ in range(60):
            with np.errstate(over="ignore", invalid="ignore"):
                gradient, hessian, *_ = self._stencil(psi, size)
            if not (np.isfinite(gradient).all() and np.isfinite(hessian).all()):
                break
            held = psi[1] <= 0 and gradient[1] <= 0
            free = [i for i in range(size) if i != 1 or not held]
            values, vectors = np.linalg.eigh(-hessian[np.ix_(free, free)])
            step = np.zeros(len(psi))
            step[free] = vectors @ ((vectors.T @ gradient[free]) / np.maximum(np.abs(values), 0.5))
            new = psi + np.clip(step, -1.0, 1.0)
            new[1], new[2:] = (np.clip(new[1], 0.0, LARGEST_T), np.clip(new[2:], -LARGEST_GROWTH, LARGEST_GROWTH))
            now = self._at(psi)[0]
            for _ in range(20):
                if self._at(new)[0] >= now - 1e-9:
                    break
                new = psi + (new - psi) / 2
            moved = np.abs(new - psi).max()
            psi = new
            if moved < 1e-5:
                return psi
        raise KitError("The model of values off the scale finds no maximum of its variances.")

    @cached_property
    def _psi_covariance(self):
        inner = self.spread_information[np.ix_(self.free, self.free)]
        values, vectors = np.linalg.eigh(inner)
        keep = values > 1e-6 * max(values.max(), 1e-300)
        return (vectors[:, keep] / values[keep]) @ vectors[:, keep].T

    @cached_property
    def share_left(self) -> float:
        """Share of the information on the residual spread that censoring leaves, 0 to 1."""
        return float(np.clip(self.spread_information[0, 0] / (2 * self.problem.df), 1e-3, 1.0))

    def covariance(self, ddf):
        """Covariance of the coefficients in the coding of the design."""
        if ddf == "cr2":
            return self._scores.T @ self._scores
        moves = self.moves[:, self.free]
        total = np.linalg.inv(self.information_found.sum(axis=0)) + moves @ self._psi_covariance @ moves.T
        extra = self._phi_adjusted - self.sigma2 * self.phi
        return total + self.R_inverse @ extra @ self.R_inverse.T

    def single(self, L, ddf, *, df=None):
        """Standard errors and degrees of freedom of each row of L."""
        L = np.atleast_2d(L)
        if ddf == "cr2":
            df = np.array([self._cr2_eta(row[None]) for row in L]) if df is None else df
            return np.linalg.norm(self._scores @ L.T, axis=0), df
        df = self._df_left(L, ddf) if df is None else df
        return np.sqrt(np.einsum("ij,jk,ik->i", L, self.covariance(ddf), L)), df

    def _df_left(self, L, ddf):
        """Degrees of freedom of each row: those of the design less what censoring takes, or fewer where the spread grows."""
        df = super().single(L, ddf)[1] * self.share_left
        if not self.grows:
            return df
        spread = np.linalg.inv(self.information_found.sum(axis=0))
        value = np.einsum("ij,jk,ik->i", L, spread, L)
        slopes = np.einsum("ij,sjk,ik->is", L, self.covariance_moves[self.free], L)
        return np.minimum(df, 2 * value**2 / np.einsum("is,st,it->i", slopes, self._psi_covariance, slopes))

    def joint(self, L, ddf):
        """F, numerator df, denominator df and p of the hypothesis L beta = 0."""
        from scipy.special import fdtrc

        L = np.atleast_2d(L)
        q = len(L)
        nothing = float("nan"), float(q), float("nan"), float("nan")
        estimate, middle = L @ self.beta, L @ self.covariance(ddf) @ L.T
        sizes = np.linalg.eigvalsh(middle)
        if not sizes[0] > 1e-10 * sizes[-1]:
            return nothing
        wald = float(estimate @ np.linalg.solve(middle, estimate))
        if ddf == "cr2":
            eta = self._cr2_eta(L)
            df_den = eta - q + 1
            statistic = wald * df_den / (eta * q) if df_den > 0 else np.nan
        else:
            df_den, scaling = self._kr_moments(L @ self.R_inverse)
            df_den *= self.share_left
            if self.grows:
                vectors = np.linalg.eigh(middle)[1]
                df_den = min(df_den, _pooled_df(self._df_left(vectors.T @ L, ddf)))
            statistic = scaling * wald / q
        if not (np.isfinite(statistic) and df_den > 0):
            return nothing
        return statistic, float(q), float(df_den), float(fdtrc(q, df_den, max(statistic, 0.0)))

    @cached_property
    def _scores(self):
        """Jackknife: how the coefficients move without each athlete; the covariance is the sum of their squares."""
        total = self.information_found.sum(axis=0)
        moves = self.moves[:, self.free]
        left = -np.linalg.solve(total - self.information_found, self.scores_found[:, :, None])[:, :, 0]
        partial = self.athlete_values - self.scores_found @ self.moves
        left -= partial[:, self.free] @ self._psi_covariance @ moves.T
        n = len(left)
        return np.sqrt((n - 1) / n) * (left - left.mean(axis=0))
