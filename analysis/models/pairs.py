"""The random-intercept model where the rows of a pair (the two athletes of a bout) may be alike, or opposed.

With Z the athletes, S the pairs (one column each, 1 in its first row and the sign s = 1 or -1 in its second), in units of
sigma^2:

(1) V = I + g ZZ' + c SS', c >= 0: every row has c more, the two rows of a pair covary by s c
(2) at c = 0 the slope of the restricted deviance by c with s = 1, (6) of `reml`, is t_c - tr(Phi P_c) - df v' P_c v / q0; at
    the fitted g, c in every row alike changes nothing (sigma^2 takes it up), so that with s = -1 the slope is minus that
    where every row has a partner: s = -1 where it is above 0
(3) tests: (1) to (7) of `small_sample` with the two components ZZ' and SS', c = 0 included; df are at most athletes - 1

References
----------
The numbers are those of this file. (1): Kenny DA, Kashy DA, Cook WL (2006) Dyadic Data Analysis, chapter 4 (chapter from
memory). (3): Kenward MG, Roger JH (1997) Biometrics 53:983-997; the limit of the df is our proposal, by simulation.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..basics import KitError, plural
from .mixed_fit import MixedFit, Variances
from .reml import Problem, Structure, maximise
from .small_sample import SmallSample

MOST_PAIRS = 200
"""Beyond this many pairs the model takes too long; a test over them hardly depends on it."""


def refit_pairs(fit: MixedFit, pair) -> MixedFit:
    """Fit the same model with a correlation, of either sign, between the rows of a pair.

    When to use: where two athletes face each other in a round, so that their values may rise together or one at the cost of
    the other. When not: for groups of three and more.

    Parameters
    ----------
    fit : MixedFit
        A random-intercept model.
    pair : array
        Number or name of the pair of every row used, in their order; a row without a partner has one of its own.

    Returns
    -------
    MixedFit
        `variances.crossed` is the covariance of the two rows of a pair, below 0 where they are opposed;
        "kenward-roger" allows for it, "cr2" stays that of `fit`, which takes athletes as independent.

    Raises
    ------
    KitError
        Where the pairs cannot be separated from athletes and rows.

    Notes
    -----
    A variance c between pairs adds c to every row and to the two rows of a pair; with the sign of one of them turned it adds
    c to every row and takes c off between the two. The slope of the REML deviance at 0 says which of them is likelier. Kenward
    and Roger's adjustment covers the covariance also where it is estimated as 0. Where few bouts by chance show none, their
    degrees of freedom are too many: they are at most the athletes less one (our proposal, by simulation).

    References
    ----------
    Kenny DA, Kashy DA, Cook WL (2006) Dyadic Data Analysis. Kenward MG, Roger JH (1997) Biometrics 53:983-997.

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> from analysis.models import fit_mixed
    >>> rng = np.random.default_rng(4)
    >>> rows = pd.DataFrame({"athlete": np.repeat(list("abcdef"), 3), "round_no": [1, 2, 3] * 6, "y": rng.normal(size=18)})
    >>> bout = [f"{b}{r}" for b, r in zip("111122213231323332", rows["round_no"])]
    >>> fit = refit_pairs(fit_mixed(rows, "y ~ C(round_no)", group="athlete"), bout)
    >>> fit.test("round_no").df_num
    2.0
    """
    structure = fit._tests.problem.structure
    if not structure.simple:
        raise KitError("Pairs need the model with a random intercept alone.")
    design, athlete = fit._design, structure.groups[0]
    codes = np.unique(np.asarray(pair), return_inverse=True)[1]
    if codes.shape != design.y.shape:
        raise KitError(f"pair must be {plural(len(design.y), 'entry', 'entries')}, one for each row used.")
    sizes = np.bincount(codes)
    if sizes.max() > 2:
        raise KitError("A pair has two rows at most.")
    if len(sizes) > MOST_PAIRS or not (sizes == 2).any():
        raise KitError(f"The model of pairs takes from 1 to {MOST_PAIRS} pairs.")
    first = np.zeros(len(codes), dtype=bool)
    first[np.unique(codes, return_index=True)[1]] = True
    problem = Problem(design.y, design.X, _Signed([athlete, codes], np.ones(len(codes))))
    turned = _slope_at_zero(problem, fit._tests) > 0
    if turned:
        problem = Problem(design.y, design.X, _Signed([athlete, codes], np.where(first, 1.0, -1.0)))
    tests = PairTests(problem, maximise(problem), plain=fit._tests)
    group, crossed = tests.theta**2 * tests.sigma2
    done = replace(
        fit,
        variances=Variances(
            group=float(group),
            slope=float("nan"),
            covariance=float("nan"),
            residual=tests.sigma2,
            crossed=float(-crossed if turned else crossed),
        ),
        log_likelihood=tests.problem.log_likelihood(tests.deviance),
        method="linear mixed model fitted by REML, random intercepts and a correlation between the rows of a pair",
    )
    for name in ("_design", "_athlete", "_athlete_names", "_data", "_slope", "_crossed"):
        object.__setattr__(done, name, getattr(fit, name))
    object.__setattr__(done, "_tests", tests)
    return done


def _slope_at_zero(problem, plain: SmallSample) -> float:
    """Slope of the restricted deviance by the covariance of a pair, where it is 0."""
    pieces = problem.pieces(np.array([plain.theta[0], 0.0]))
    _, v, E, first, _ = problem.contractions(pieces)
    return float(pieces.t[1] - np.trace(E[1]) - problem.df * first[1] / (v @ pieces.A @ v))  # (2)


class _Signed(Structure):
    """Athletes, and pairs whose second row carries the sign."""

    def __init__(self, groups, sign):
        super().__init__(groups)
        self.Z[:, self.slices[1]] *= sign[:, None]  # (1)


class PairTests(SmallSample):
    """Tests that allow for pairs; the robust ones are those of the model without them."""

    def __init__(self, problem, theta, *, plain: SmallSample):
        super().__init__(problem, theta)
        self.plain = plain
        self.most_df = int(problem.structure.groups[0].max())  # (3)

    def covariance(self, ddf):
        """Covariance of beta in the coding of the design, as the method has it."""
        return self.plain.covariance(ddf) if ddf == "cr2" else super().covariance(ddf)

    def single(self, L, ddf, *, df=None):
        """Standard errors and degrees of freedom of each row of L."""
        if ddf == "cr2":
            return self.plain.single(L, ddf, df=df)
        error, found = super().single(L, ddf, df=df)
        return error, (np.minimum(found, self.most_df) if df is None else found)

    def joint(self, L, ddf):
        """F, numerator df, denominator df and p of the hypothesis L beta = 0."""
        from scipy.special import fdtrc

        if ddf == "cr2":
            return self.plain.joint(L, ddf)
        statistic, df_num, df_den, p = super().joint(L, ddf)
        if df_den > self.most_df:
            df_den = float(self.most_df)
            p = float(fdtrc(df_num, df_den, max(statistic, 0.0)))
        return statistic, df_num, df_den, p
