"""Planning: how often does a study of n and n athletes find a gain, how wide is its interval, can it show that there is none?

References
----------
Borm GF, Fransen J, Lemmens WAJG (2007) Journal of Clinical Epidemiology 60:1234 (variance of the analysis of covariance). The
covariate's imbalance is integrated exactly, as in Shieh G (2020) Psychometrika 85:101 [both from memory].
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_number

NODES = 96


def residual_sd(*, sd_between, typical_error, baselines=1, followups=1) -> float:
    """Spread of the follow-up that the baseline leaves: typical errors of the means, regression on the mean baseline."""
    true = sd_between**2
    before, after = true + typical_error**2 / baselines, true + typical_error**2 / followups
    return math.sqrt(max(after - true**2 / before, 0.0)) if before > 0 else 0.0


def ancova_power(
    *,
    n_per_group,
    effect,
    sd_between,
    typical_error,
    alpha=0.05,
    n_control=None,
    baselines=1,
    followups=1,
    drop_out=0.0,
    blocks=1,
) -> float:
    """Compute the exact power of the analysis of covariance for two groups.

    Parameters
    ----------
    n_per_group : int
        Athletes who start in each group.
    effect : float
        True effect of training, in the unit of the outcome.
    sd_between : float
        SD between athletes of their true values.
    typical_error : float
        Error of one test, in the same unit.
    alpha : float
        Two-sided level. Default 0.05.
    n_control : int, optional
        Athletes in the other group, where it differs.
    baselines, followups : int
        Tests before and after, whose means count. Default 1.
    drop_out : float
        Share without a follow-up, alike in both groups. Default 0.
    blocks : int
        Clubs or other blocks in the model. Default 1: none.

    Returns
    -------
    float
        Share of studies that find the effect.

    When to use
    -----------
    Before a study, with a typical error from your own retests. The answer for six and six is often "toss a coin": then plan for
    estimating, or find a second club.

    Notes
    -----
    Given the baselines, the coefficient has variance s² (1/n1 + 1/n2) (1 + F/m) with m the degrees of freedom within groups
    and F the imbalance, which follows an F distribution with 1 and m degrees of freedom; the power of the noncentral t is
    averaged over it, and over the binomial numbers who stay.

    References
    ----------
    Borm et al. (2007) J Clin Epidemiol 60:1234; Shieh (2020) Psychometrika 85:101, from memory.

    Examples
    --------
    >>> round(ancova_power(n_per_group=12, effect=3, sd_between=5, typical_error=2.6), 2)
    0.5
    """
    from scipy.special import nctdtr
    from scipy.stats import t

    given = _Inputs(n_per_group, n_control, sd_between, typical_error, baselines, followups, drop_out, blocks)
    effect = abs(check_number(effect, name="effect"))
    check_number(alpha, name="alpha", low=0, high=1)
    total = 0.0
    for weight, n1, n0 in given.sizes():
        df = n1 + n0 - 2 - given.blocks
        if df < 1 or min(n1, n0) < 1:
            continue
        errors, weights = given.errors(n1, n0)
        limit = t.isf(alpha / 2, df)
        if (errors == 0).any():
            total += weight * (1.0 if effect else alpha)
            continue
        shift = np.minimum(effect / errors, 1e3)
        with np.errstate(all="ignore"):
            misses = nctdtr(df, shift, limit)
            other = nctdtr(df, shift, -limit)
        hit = 1 - np.where(shift > 37, 0.0, misses) + np.where(np.isfinite(other) & (shift < 37), other, 0.0)
        total += weight * float(weights @ np.clip(hit, 0, 1))
    return min(max(total, 0.0), 1.0)


@dataclass(frozen=True)
class TrainingPlan(Result):
    """What studies of several sizes would find.

    Parameters
    ----------
    table : DataFrame
        n_per_group, n_athletes, effect, power, half_width (mean half width of the 95 % interval), smallest_found (effect found in
        80 of 100 studies), equivalence_power (share that shows an effect below `smallest` where there is none).
    smallest, sd_between, typical_error, drop_out, alpha : float
    baselines, followups, blocks : int
    method : str
    """

    table: pd.DataFrame
    smallest: float
    sd_between: float
    typical_error: float
    drop_out: float
    alpha: float
    baselines: int
    followups: int
    blocks: int
    method: str = "exact power of the analysis of covariance, the imbalance of the baseline integrated"


def plan_training(
    *,
    sizes=(6, 8, 10, 12, 16, 20),
    effects=(2.0, 3.0, 4.1, 5.5),
    sd_between,
    typical_error,
    smallest=2.0,
    alpha=0.05,
    baselines=2,
    followups=1,
    drop_out=0.0,
    blocks=1,
) -> TrainingPlan:
    """Tabulate power, precision and the power of equivalence over group sizes and true effects.

    Parameters
    ----------
    sizes : sequence of int
        Athletes per group.
    effects : sequence of float
        True effects of interest.
    smallest : float
        Smallest gain worth the training, in the unit of the outcome.
    sd_between, typical_error, alpha, baselines, followups, drop_out, blocks
        As for `ancova_power`; two baselines by default.

    Returns
    -------
    TrainingPlan

    Examples
    --------
    >>> plan = plan_training(sizes=[6, 12], effects=[3.0], sd_between=5, typical_error=2.6, baselines=1)
    >>> plan.table["power"].round(2).tolist(), plan.table["half_width"].round(1).tolist()
    ([0.25, 0.5], [4.7, 3.0])
    """
    shared = {
        "sd_between": sd_between,
        "typical_error": typical_error,
        "baselines": baselines,
        "followups": followups,
        "drop_out": drop_out,
        "blocks": blocks,
    }
    smallest = check_number(smallest, name="smallest", low=0)
    lines = []
    for n in sizes:
        given = _Inputs(n, None, *shared.values())
        for effect in effects:
            lines.append(
                {
                    "n_per_group": int(n),
                    "n_athletes": 2 * int(n),
                    "effect": float(effect),
                    "power": ancova_power(n_per_group=n, effect=effect, alpha=alpha, **shared),
                    "half_width": given.half_width(alpha),
                    "smallest_found": smallest_found(n_per_group=n, alpha=alpha, **shared),
                    "equivalence_power": given.equivalence_power(smallest, alpha),
                }
            )
    return TrainingPlan(
        table=pd.DataFrame(lines),
        smallest=smallest,
        sd_between=float(sd_between),
        typical_error=float(typical_error),
        drop_out=float(drop_out),
        alpha=float(alpha),
        baselines=int(baselines),
        followups=int(followups),
        blocks=int(blocks),
    )


def smallest_found(*, n_per_group, power=0.8, **options) -> float:
    """Find the true effect that a study of this size finds with a given power, infinite where none does."""
    low, high = 0.0, max(options["sd_between"] + options["typical_error"], 1e-6)
    for _ in range(40):
        if ancova_power(n_per_group=n_per_group, effect=high, **options) >= power:
            break
        high *= 2
    else:
        return float("inf")
    for _ in range(40):
        middle = (low + high) / 2
        if ancova_power(n_per_group=n_per_group, effect=middle, **options) >= power:
            high = middle
        else:
            low = middle
        if high - low < 1e-4 * high:
            break
    return high


class _Inputs:
    """The checked inputs of planning, and what follows for each pair of group sizes."""

    def __init__(
        self, n_per_group, n_control, sd_between, typical_error, baselines, followups, drop_out, blocks
    ):
        self.n1 = check_number(n_per_group, name="n_per_group", low=2, ends=True, whole=True)
        self.n0 = (
            self.n1
            if n_control is None
            else check_number(n_control, name="n_control", low=2, ends=True, whole=True)
        )
        self.blocks = check_number(blocks, name="blocks", low=1, ends=True, whole=True)
        self.drop_out = check_number(drop_out, name="drop_out", low=0, high=0.9, ends=True)
        self.sd = residual_sd(
            sd_between=check_number(sd_between, name="sd_between", low=0, ends=True),
            typical_error=check_number(typical_error, name="typical_error", low=0, ends=True),
            baselines=check_number(baselines, name="baselines", low=1, ends=True, whole=True),
            followups=check_number(followups, name="followups", low=1, ends=True, whole=True),
        )
        if self.n1 + self.n0 - 2 - self.blocks < 1:
            raise KitError(
                f"{self.n1} and {self.n0} athletes are too few for {self.blocks} blocks and a baseline."
            )

    def sizes(self):
        """Probability, trained and control who stay."""
        from scipy.stats import binom

        if self.drop_out == 0:
            return [(1.0, self.n1, self.n0)]
        stay = [
            [(k, float(binom.pmf(k, n, 1 - self.drop_out))) for k in range(n + 1)] for n in (self.n1, self.n0)
        ]
        return [(p * q, a, b) for a, p in stay[0] for b, q in stay[1] if p * q > 1e-7]

    def errors(self, n1, n0):
        """Standard errors of the coefficient over the imbalance of the baseline, and their weights."""
        from scipy.stats import f

        nodes, weights = np.polynomial.legendre.leggauss(NODES)
        m = n1 + n0 - 1 - self.blocks
        imbalance = f.ppf((nodes + 1) / 2, 1, m)
        return self.sd * np.sqrt((1 / n1 + 1 / n0) * (1 + imbalance / m)), weights / 2

    def _each(self):
        for weight, n1, n0 in self.sizes():
            df = n1 + n0 - 2 - self.blocks
            if df >= 1 and min(n1, n0) >= 1:
                yield weight, df, *self.errors(n1, n0)

    def half_width(self, alpha):
        """Mean half width of the interval, the residual SD estimated."""
        from scipy.special import gammaln
        from scipy.stats import t

        total, seen = 0.0, 0.0
        for weight, df, errors, weights in self._each():
            shrink = math.sqrt(2 / df) * math.exp(gammaln((df + 1) / 2) - gammaln(df / 2))
            total += weight * float(weights @ errors) * shrink * t.isf(alpha / 2, df)
            seen += weight
        return total / seen

    def equivalence_power(self, smallest, alpha):
        """Share of studies without any effect whose two one-sided tests show less than `smallest`."""
        from scipy.stats import chi2, norm, t

        nodes, ways = np.polynomial.legendre.leggauss(64)
        total = 0.0
        for weight, df, errors, weights in self._each():
            s = np.sqrt(chi2.ppf((nodes + 1) / 2, df) / df)
            if (errors == 0).any():
                total += weight
                continue
            room = smallest / errors[:, None] - t.isf(alpha, df) * s[None]
            inside = np.where(room > 0, 2 * norm.cdf(room) - 1, 0.0)
            total += weight * float(weights @ inside @ (ways / 2))
        return total
