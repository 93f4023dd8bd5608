"""Planning: how often does a study of n and n athletes find a gain, by formula and by whole simulated studies?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_number
from ..models import legendre
from ..planning.ask import share_interval
from .linear import TIES, many_fits, one_fit
from .randomise import _all_balanced

NODES = 32
"""Nodes of the integral over the imbalance: the power is then exact to about 1e-5."""


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
    check_number(alpha, name="alpha", low=0, high=1)
    given = _Inputs(n_per_group, n_control, sd_between, typical_error, baselines, followups, drop_out, blocks)
    return given.power(abs(check_number(effect, name="effect")), alpha)


@dataclass(frozen=True)
class TrainingPlan(Result):
    """What studies of several sizes would find."""

    table: pd.DataFrame  # n_per_group, n_athletes, effect, power, half_width (mean), smallest_found, equivalence_power
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
    smallest = check_number(smallest, name="smallest", low=0)
    lines = []
    for n in sizes:
        given = _Inputs(n, None, sd_between, typical_error, baselines, followups, drop_out, blocks)
        of_any_effect = {
            "half_width": given.half_width(alpha),
            "smallest_found": given.smallest_found(alpha),
            "equivalence_power": given.equivalence_power(smallest, alpha),
        }
        size = {"n_per_group": int(n), "n_athletes": 2 * int(n)}
        for effect in effects:
            power = given.power(abs(effect), alpha)
            lines.append({**size, "effect": float(effect), "power": power, **of_any_effect})
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


class _Inputs:
    """The checked inputs of planning, and what follows for each pair of group sizes."""

    def __init__(self, n_per_group, n_control, sd_between, typical_error, baselines, followups, drop_out, blocks):
        whole = {"ends": True, "whole": True}
        self.n1 = self.n0 = check_number(n_per_group, name="n_per_group", low=2, **whole)
        if n_control is not None:
            self.n0 = check_number(n_control, name="n_control", low=2, **whole)
        self.blocks = check_number(blocks, name="blocks", low=1, **whole)
        self.drop_out = check_number(drop_out, name="drop_out", low=0, high=0.9, ends=True)
        self.sd = residual_sd(
            sd_between=check_number(sd_between, name="sd_between", low=0, ends=True),
            typical_error=check_number(typical_error, name="typical_error", low=0, ends=True),
            baselines=check_number(baselines, name="baselines", low=1, **whole),
            followups=check_number(followups, name="followups", low=1, **whole),
        )
        if self.n1 + self.n0 - 2 - self.blocks < 1:
            raise KitError(f"{self.n1} and {self.n0} athletes are too few for {self.blocks} blocks and a baseline.")
        self._prepare()

    def _sizes(self):
        """Trained and control who stay, with their probability; the two ways round count together."""
        from scipy.stats import binom

        if self.drop_out == 0:
            return {(self.n1, self.n0): 1.0}
        stay = [binom.pmf(range(n + 1), n, 1 - self.drop_out) if n else np.ones(1) for n in (self.n1, self.n0)]
        found: dict[tuple, float] = {}
        for a, p in enumerate(stay[0]):
            for b, q in enumerate(stay[1]):
                pair = (max(a, b), min(a, b))
                found[pair] = found.get(pair, 0.0) + float(p * q)
        return {pair: w for pair, w in found.items() if w > 1e-6}

    def _prepare(self):
        """For every pair of sizes (rows) the errors of the coefficient over the imbalance of the baseline (columns)."""
        from scipy.special import fdtri

        pairs = {pair: w for pair, w in self._sizes().items() if pair[1] >= 1 and sum(pair) - 2 - self.blocks >= 1}
        nodes, weights = legendre(NODES)
        n1, n0 = np.array(list(pairs), dtype=float).T[..., None]
        m = n1 + n0 - 1 - self.blocks
        imbalance = fdtri(1, m, (nodes + 1) / 2)
        self.errors = self.sd * np.sqrt((1 / n1 + 1 / n0) * (1 + imbalance / m))
        self.weights = np.array(list(pairs.values()))[:, None] * weights / 2
        self.df = m - 1

    def power(self, effect, alpha):
        """Share of studies that find the effect."""
        from scipy.special import nctdtr, stdtrit

        if self.sd == 0:
            return 1.0 if effect else float(alpha)
        limit = stdtrit(self.df, 1 - alpha / 2)
        shift = np.minimum(effect / self.errors, 37.0)
        with np.errstate(all="ignore"):
            below, above = nctdtr(self.df, shift, -limit), nctdtr(self.df, shift, limit)
        hit = 1 - np.nan_to_num(above) + np.nan_to_num(below)
        return float(min(max(np.sum(self.weights * np.clip(hit, 0, 1)), 0.0), 1.0))

    def smallest_found(self, alpha, power=0.8):
        """True effect that is found with a given power, infinite where none is."""
        from scipy.optimize import brentq

        far = 60 * float(self.errors.max())
        if self.sd == 0 or self.power(far, alpha) < power:
            return 0.0 if self.sd == 0 else float("inf")
        return float(brentq(lambda effect: self.power(effect, alpha) - power, 0, far, xtol=1e-3 * far / 60))

    def half_width(self, alpha):
        """Mean half width of the interval, the residual SD estimated."""
        from scipy.special import gammaln, stdtrit

        shrink = np.sqrt(2 / self.df) * np.exp(gammaln((self.df + 1) / 2) - gammaln(self.df / 2))
        width = self.errors * shrink * stdtrit(self.df, 1 - alpha / 2)
        return float(np.sum(self.weights * width) / np.sum(self.weights))

    def equivalence_power(self, smallest, alpha):
        """Share of studies without any effect whose two one-sided tests show less than `smallest`."""
        from scipy.special import chdtri, ndtr, stdtrit

        if self.sd == 0:
            return 1.0
        nodes, ways = legendre(NODES)
        s = np.sqrt(chdtri(self.df, (1 - nodes) / 2) / self.df)
        room = smallest / self.errors[..., None] - stdtrit(self.df, 1 - alpha)[..., None] * s[:, None, :]
        inside = np.where(room > 0, 2 * ndtr(room) - 1, 0.0)
        return float(np.sum(self.weights * (inside @ (ways / 2))))


@dataclass(frozen=True)
class SimulatedTraining(Result):
    """What simulated training studies found."""

    claims: float  # share in which interval and randomisation test both find a difference
    ci_low: float
    ci_high: float
    interval_alone: float  # share that each alone would claim
    randomisation_alone: float
    ols: float
    hc3: float
    coverage: float  # of the 95 % intervals
    half_width: float
    mean_estimate: float
    n_studies: int  # that could be analysed
    method: str = "simulated training studies, analysed by the rule of the kit"


def simulate_training(
    *,
    n_trained,
    n_control,
    effect=0.0,
    sd_between=5.0,
    typical_error=2.0,
    response_sd=0.0,
    drop_out=0.0,
    baselines=1,
    followups=1,
    alpha=0.05,
    n_studies=1000,
    seed=0,
) -> SimulatedTraining:
    """Simulate training studies and count how often the kit's rule claims a difference.

    Parameters
    ----------
    n_trained, n_control : int
        Athletes who start in each group.
    effect : float
        True mean effect. Default 0.
    sd_between, typical_error : float
        SD of the true values between athletes, and error of one test.
    response_sd : float
        SD of the athletes' own responses around `effect`. Default 0.
    drop_out : float
        Chance that an athlete has no follow-up. Default 0.
    baselines, followups : int
        Tests before and after. Default 1.
    alpha : float
    n_studies, seed : int

    Returns
    -------
    SimulatedTraining

    Examples
    --------
    >>> bool(simulate_training(n_trained=6, n_control=6, effect=8, typical_error=1.5, n_studies=50).claims > 0.9)
    True
    """
    from scipy.stats import t

    for name, size in (("n_trained", n_trained), ("n_control", n_control)):
        check_number(size, name=name, low=3, ends=True, whole=True)
    n = int(n_trained) + int(n_control)
    rng = np.random.default_rng(seed)
    group = np.r_[np.ones(int(n_trained)), np.zeros(int(n_control))]
    found = {name: 0 for name in ("both", "hc2", "randomisation", "ols", "hc3", "covered")}
    widths, estimates, done = 0.0, 0.0, 0
    kept_sets: dict = {}
    for _ in range(int(n_studies)):
        true = rng.normal(0, sd_between, n)
        x = true + rng.normal(0, typical_error / np.sqrt(baselines), n)
        gain = effect + response_sd * rng.normal(size=n)
        y = true + group * gain + rng.normal(0, typical_error / np.sqrt(followups), n)
        stay = rng.random(n) >= drop_out
        g, x, y = group[stay], x[stay], y[stay]
        if min(g.sum(), len(g) - g.sum()) < 2 or len(g) < 5:
            continue
        done += 1
        rest = np.column_stack([np.ones(len(g)), x])
        sure = {}
        for method in ("hc2", "ols", "hc3"):
            beta, error, df = one_fit(g, y, rest, method=method)
            half = t.isf(alpha / 2, df) * error
            sure[method] = abs(beta[-1]) > half
            if method == "hc2":
                widths, estimates = widths + half, estimates + beta[-1]
                found["covered"] += abs(beta[-1] - effect) <= half
                statistic = abs(beta[-1] / error)
        key = (len(g), int(g.sum()))
        if key not in kept_sets:
            kept_sets[key] = _all_balanced(g, seed)[0]
        estimate, error = many_fits(kept_sets[key], y, rest)
        p = np.mean(np.abs(estimate / error) >= statistic * (1 - TIES))
        found["randomisation"] += p <= alpha
        found["both"] += sure["hc2"] and p <= alpha
        for method, yes in sure.items():
            found[method] += yes
    low, high = share_interval(found["both"], done)
    return SimulatedTraining(
        claims=float(found["both"] / done),
        ci_low=float(low),
        ci_high=float(high),
        interval_alone=found["hc2"] / done,
        randomisation_alone=found["randomisation"] / done,
        ols=found["ols"] / done,
        hc3=found["hc3"] / done,
        coverage=found["covered"] / done,
        half_width=float(widths / done),
        mean_estimate=float(estimates / done),
        n_studies=done,
    )
