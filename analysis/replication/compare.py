"""One published correlation and ours, by every method of this room, with a verdict of two fields."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..basics import Result
from .combine import combine_correlations
from .correlations import consistency, prediction_interval, prediction_interval_from_limits
from .evidence import bayes_factor, detectability
from .fisher import fisher_limits

CONSISTENT, SMALLER, LARGER, OPPOSITE = "consistent", "smaller", "larger", "opposite"
WIDE = 0.8
"""A prediction interval wider than this, or one that holds 0, says little (our proposal)."""


@dataclass(frozen=True)
class CorrelationComparison(Result):
    """Our correlation beside a published one.

    Parameters
    ----------
    finding, outcome, source : str
        Which published number.
    r, ci_low, ci_high, n : float, float, float, int
        The published correlation, its interval, its athletes.
    r_new, ci_low_new, ci_high_new, p_new, n_new : float, float, float, float, int
        Ours.
    prediction_low, prediction_high : float
        Where ours would lie in 95 of 100 studies of our size if both study the same truth.
    other_form_low, other_form_high : float
        The other published form of that interval, for a note only.
    impossible_form : bool
        True where that other form leaves -1 to 1.
    difference, q_cohen, q_ci_low, q_ci_high, q_cochran, p_difference, i2 : float
        Of the two correlations.
    smallest_detectable_r, p_undetectable : float
        The correlation that the earlier study could hardly have seen, and the p of "ours is smaller than that".
    bayes_factor : float
        Evidence in ours for the earlier effect against none.
    combined, combined_low, combined_high : float
        Both together, fixed effect.
    signal : bool
        Our 95 % interval excludes 0 in the published direction.
    verdict : str
        "consistent", "smaller", "larger" or "opposite".
    says_little : bool
        True where almost anything would have been consistent.
    note : str
        On the pair, for example that the published value is Spearman's.
    """

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
    impossible_form: bool
    difference: float
    q_cohen: float
    q_ci_low: float
    q_ci_high: float
    q_cochran: float
    p_difference: float
    i2: float
    smallest_detectable_r: float
    p_undetectable: float
    bayes_factor: float
    combined: float
    combined_low: float
    combined_high: float
    signal: bool
    verdict: str
    says_little: bool
    note: str = ""


def compare_correlation(r: float, n: int, r_new: float, n_new: int, **about) -> CorrelationComparison:
    """Compare our correlation with a published one by every method of this room.

    Parameters
    ----------
    r, r_new : float
        The published correlation and ours.
    n, n_new : int
        Athletes of each; at least 4.
    **about
        finding, outcome, source, ci_low, ci_high, ci_low_new, ci_high_new, p_new, note where they are known.

    Returns
    -------
    CorrelationComparison

    Examples
    --------
    >>> compare_correlation(-0.6, 12, -0.2, 16).verdict
    'consistent'
    """
    interval = prediction_interval(r, n, n_new)
    other_form = prediction_interval_from_limits(r, n, n_new)
    difference = consistency(r, n, r_new, n_new)
    both = combine_correlations([r, r_new], [n, n_new])
    seen = detectability(r, n, r_new, n_new) if r != 0 else None
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
        bayes_factor=bayes_factor(r, n, r_new, n_new).replication,
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
