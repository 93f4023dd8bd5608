"""Several estimates combined, correlations or others: fixed effect for two studies, random effects from three on.

With k estimates y of variance v:

(1) fixed effect: centre = sum w y / sum w, w = 1 / v;  variance 1 / sum w;  Q = sum w (y - centre)^2, chi^2 with k - 1 df
(2) I^2 = [Q - (k - 1)] / Q, at least 0
(3) random effects: w = 1 / (v + tau^2) with the tau^2 where sum w (y - centre)^2 = k - 1; 0 where Q is no larger
(4) their variance: max(1, sum w (y - centre)^2 / (k - 1)) / sum w, with t on k - 1 df
(5) the next study: centre -+ t on k - 2 df times sqrt(tau^2 + variance of the centre)

References
----------
The numbers are those of this file. (2): Higgins JPT, Thompson SG (2002) Statistics in Medicine 21:1539-1558. (3): Paule RC,
Mandel J (1982) Journal of Research of the National Bureau of Standards 87:377-385. (4): Hartung J, Knapp G (2001) Statistics in
Medicine 20:3875-3889, never below the variance without it. (5): Higgins JPT, Thompson SG, Spiegelhalter DJ (2009) Journal of
the Royal Statistical Society A 172:137-159. Volumes and pages from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..basics import KitError, Result
from . import evidence
from .evidence import fisher_limits

FIXED, RANDOM = "fixed effect", "random effects"


@dataclass(frozen=True)
class Combined(Result):
    """Several estimates combined."""

    # Combined estimate with its 95 % interval (for correlations: turned back from Fisher's z)
    estimate: float
    ci_low: float
    ci_high: float
    standard_error: float  # Of the combined estimate; for correlations of its Fisher's z
    statistic: float  # Estimate by standard error, and its two-sided p (z, or t with the random-effects form)
    p: float
    weights: tuple[float, ...]  # Share of each study
    # Variance between studies, never below 0; 0 for the fixed-effect form. For correlations on Fisher's z.
    tau2: float
    q_cochran: float  # Heterogeneity
    p_cochran: float
    i2: float
    # Where the true value of another such study would lie (from three studies on), else not-a-number
    prediction_low: float
    prediction_high: float
    model: str  # "fixed effect" or "random effects"
    n_studies: int
    n_athletes: int
    method: str


def combine(r: float, n: int, r_new: float, n_new: int) -> Combined:
    """Combine the earlier correlation and ours, as if both had studied the same truth (fixed effect).

    Parameters
    ----------
    r, r_new : float
    n, n_new : int

    Returns
    -------
    Combined
        With two studies a variance between studies cannot be estimated, so that the fixed effect is shown.

    Examples
    --------
    >>> round(combine(-0.69, 14, -0.42, 16).estimate, 3)
    -0.559
    """
    return combine_correlations([r, r_new], [n, n_new])


def combine_correlations(r: Sequence[float], n: Sequence[int]) -> Combined:
    """Combine several correlations: fixed effect for two, random effects from three on."""
    # On Fisher's z, whose variance is 1 / (n - 3).
    z = [evidence.to_z(one) for one in r]
    se = [math.sqrt(evidence.variance_of_z(one)) for one in n]
    on_z = combine_estimates(z, se, n_athletes=n)
    back = {f: math.tanh(on_z[f]) for f in ("estimate", "ci_low", "ci_high", "prediction_low", "prediction_high")}
    return replace(on_z, **back, method=f"{on_z.model} on Fisher's z")


def combine_estimates(
    estimates: Sequence[float], standard_errors: Sequence[float], *, n_athletes: Sequence[int] = ()
) -> Combined:
    """Combine estimates of one quantity by their standard errors, as `combine_correlations`."""
    from scipy.stats import chi2, norm
    from scipy.stats import t as student

    y = np.asarray(list(estimates), dtype=float)
    v = np.asarray(list(standard_errors), dtype=float) ** 2
    k = len(y)
    if k < 2 or len(v) != k:
        raise KitError("Combining needs at least two estimates, each with its standard error.")
    if not (np.isfinite(y).all() and np.isfinite(v).all() and (v > 0).all()):
        raise KitError("Every estimate needs a value and a standard error above 0 before they can be combined.")
    model = FIXED if k < 3 else RANDOM
    fixed = np.sum(y / v) / np.sum(1 / v)
    q = float(np.sum((y - fixed) ** 2 / v))  # (1)
    tau2 = _paule_mandel(y, v) if model == RANDOM else 0.0
    w = 1 / (v + tau2)
    centre = float(np.sum(w * y) / np.sum(w))
    se, quantile = 1 / math.sqrt(np.sum(w)), evidence.normal_quantile(0.95)
    low = high = math.nan
    if model == RANDOM:
        scale = max(1.0, float(np.sum(w * (y - centre) ** 2) / (k - 1)))  # (4)
        se, quantile = se * math.sqrt(scale), float(student.ppf(0.975, k - 1))
        half = float(student.ppf(0.975, k - 2)) * math.sqrt(tau2 + se**2)  # (5)
        low, high = centre - half, centre + half
    statistic = centre / se
    p = 2 * (student.sf(abs(statistic), k - 1) if model == RANDOM else norm.sf(abs(statistic)))
    return Combined(
        estimate=centre,
        ci_low=centre - quantile * se,
        ci_high=centre + quantile * se,
        standard_error=se,
        statistic=statistic,
        p=float(p),
        weights=tuple(float(x) for x in w / w.sum()),
        tau2=tau2,
        q_cochran=q,
        p_cochran=float(chi2.sf(q, k - 1)),
        i2=max(0.0, (q - (k - 1)) / q) if q > 0 else 0.0,  # (2)
        prediction_low=low,
        prediction_high=high,
        model=model,
        n_studies=k,
        n_athletes=int(sum(n_athletes)),
        method=model,
    )


def _paule_mandel(y, v) -> float:
    """Return the Paule-Mandel variance between studies, 0 where the studies vary no more than chance."""
    from scipy.optimize import brentq

    def excess(tau2):
        w = 1 / (v + tau2)
        centre = np.sum(w * y) / np.sum(w)
        return float(np.sum(w * (y - centre) ** 2) - (len(y) - 1))  # (3)

    if excess(0.0) <= 0:
        return 0.0
    high = float(np.ptp(y)) ** 2
    while excess(high) > 0:
        high *= 4
    return float(brentq(excess, 0.0, high, xtol=1e-14 * high))


CONSISTENT, SMALLER, LARGER, OPPOSITE = "consistent", "smaller", "larger", "opposite"
WIDE = 0.8
"""A prediction interval wider than this, or one that holds 0, says little (our proposal)."""


@dataclass(frozen=True)
class CorrelationComparison(Result):
    """Our correlation beside a published one."""

    finding: str
    outcome: str
    source: str
    r: float
    ci_low: float
    ci_high: float
    n: int
    r_new: float
    ci_low_new: float
    ci_high_new: float
    p_new: float
    n_new: int
    prediction_low: float
    prediction_high: float
    other_form_low: float
    other_form_high: float
    impossible_form: bool  # True where that other form leaves -1 to 1
    difference: float
    q_cohen: float
    q_ci_low: float
    q_ci_high: float
    q_cochran: float
    p_difference: float
    i2: float
    smallest_detectable_r: float
    p_undetectable: float
    bayes_factor: float  # evidence in ours for the earlier effect against none
    combined: float
    combined_low: float
    combined_high: float
    signal: bool  # our 95 % interval excludes 0 in the published direction
    verdict: str  # "consistent", "smaller", "larger" or "opposite"
    says_little: bool  # True where almost anything would have been consistent
    note: str = ""  # on the pair, for example that the published value is Spearman's


def compare_correlation(r: float, n: int, r_new: float, n_new: int, **about) -> CorrelationComparison:
    """Compare our correlation with a published one by every method of this room."""
    interval = evidence.prediction_interval(r, n, n_new)
    other_form = evidence.prediction_interval_from_limits(r, n, n_new)
    difference = evidence.consistency(r, n, r_new, n_new)
    both = combine_correlations([r, r_new], [n, n_new])
    seen = evidence.detectability(r, n, r_new, n_new) if r != 0 else None
    published = fisher_limits(r, n, 0.95)
    ours = fisher_limits(r_new, n_new, 0.95)
    facts = {
        "finding": "", "outcome": "", "source": "", "ci_low": published[0], "ci_high": published[1], "ci_low_new": ours[0],
        "ci_high_new": ours[1], "p_new": math.nan, "note": "", **about,
    }  # fmt: skip
    direction = math.copysign(1.0, r)
    return CorrelationComparison(
        r=r, n=n, r_new=r_new, n_new=n_new,
        prediction_low=interval.low, prediction_high=interval.high,
        other_form_low=other_form.low, other_form_high=other_form.high,
        impossible_form=bool(other_form.low < -1 or other_form.high > 1),
        difference=difference.difference, q_cohen=difference.q_cohen, q_ci_low=difference.ci_low, q_ci_high=difference.ci_high,
        q_cochran=difference.q_cochran, p_difference=difference.p, i2=difference.i2,
        smallest_detectable_r=seen.smallest_detectable_r if seen else math.nan, p_undetectable=seen.p if seen else math.nan,
        bayes_factor=evidence.bayes_factor(r, n, r_new, n_new).replication,
        combined=both.estimate, combined_low=both.ci_low, combined_high=both.ci_high,
        signal=bool(facts["ci_low_new"] > 0 if direction > 0 else facts["ci_high_new"] < 0),
        verdict=judge_consistency(r, r_new, interval.low, interval.high),
        says_little=bool(interval.low < 0 < interval.high or interval.high - interval.low > WIDE),
        **facts,
    )  # fmt: skip


def judge_consistency(r: float, r_new: float, low: float, high: float) -> str:
    """Return the verdict: consistent, smaller, larger or opposite."""
    if low <= r_new <= high:
        return CONSISTENT
    if r * r_new < 0:
        return OPPOSITE
    return LARGER if abs(r_new) > abs(r) else SMALLER
