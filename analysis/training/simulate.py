"""Simulated whole training studies: drawn, trained, lost and analysed as the real one; how often is a gain claimed?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..basics import Result, check_number
from ..planning.generate import share_interval
from .linear import TIES, many_fits, one_fit
from .randomise import _all_balanced


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

    n = check_number(n_trained, name="n_trained", low=3, ends=True, whole=True) + check_number(
        n_control, name="n_control", low=3, ends=True, whole=True
    )
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
