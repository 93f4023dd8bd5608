"""The answer on the rounds for every smallest effect that could have been chosen."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..models.bound_curve import BoundCurve, bound_curve
from .steps import label_of_step

STEPS = 60
"""Halvings in the search for the bound of the exact rank test."""


def with_bounds(pairs: pd.DataFrame, wide: pd.DataFrame | None = None, *, alpha: float = 0.05) -> pd.DataFrame:
    """Add to contrasts the interval that equivalence uses and the smallest bound with which each passes.

    `pairs`: later, earlier, and the intervals of level 1 - 2 alpha of both methods: `ci_low` ... as of `equivalence`, or
    `equivalence_ci_low` ... as of the steps. `wide`: athletes by rounds, where the exact signed ranks must agree too.
    `alpha`: of the rank tests. Default 0.05.

    Gives with equivalence_low, equivalence_high, smallest_bound; missing where there is no interval.

    Examples
    --------
    >>> pairs = pd.DataFrame({"ci_low": [-1.0], "ci_high": [4.0], "ci_low_cr2": [-1.5], "ci_high_cr2": [4.5]})
    >>> with_bounds(pairs)["smallest_bound"].tolist()
    [4.5]
    """
    name = "equivalence_ci" if "equivalence_ci_low" in pairs else "ci"
    low = pairs[[f"{name}_low", f"{name}_low_cr2"]].min(axis=1, skipna=False)
    high = pairs[[f"{name}_high", f"{name}_high_cr2"]].max(axis=1, skipna=False)
    bound = np.maximum(low.abs(), high.abs())
    if wide is not None:
        bound = np.maximum(bound, rank_bounds(wide, pairs, alpha))
    return pairs.assign(equivalence_low=low, equivalence_high=high, smallest_bound=bound)


def rounds_by_bound(answer) -> BoundCurve:
    """Say what the answer on the rounds would be with any other smallest effect that matters.

    Every pair of rounds passes as equivalent with a bound beyond the farther end of its interval of level 1 - 2 alpha, by
    each method that must agree. A level stretch passes with the largest of its pairs.
    """
    pairs, labels = answer.equivalence, list(answer.labels)
    wide = _wide(answer) if answer.ordinal else None
    margins = with_bounds(pairs, wide, alpha=answer.alpha)["smallest_bound"].to_numpy()
    position = {label: i for i, label in enumerate(labels)}
    first = np.minimum(pairs["later"].map(position), pairs["earlier"].map(position)).to_numpy()
    changed = bool(answer.changed)
    turns = []
    for start in range(len(labels) - 2, -1, -1):
        inside = margins[first >= start]
        if np.isnan(inside).any():
            break
        reading = {"verdict": label_of_step(changed, start == 0), "plateau_from": labels[start]}
        turns.append((float(inside.max()), reading))
    begin = {"verdict": label_of_step(changed, False), "plateau_from": ""}
    curve = bound_curve(answer.outcome, turns, start=begin, planned=answer.smallest_effect, alpha=answer.alpha)
    if len(turns) < len(labels) - 1:
        return BoundCurve(
            curve.outcome, curve.planned, curve.readings, curve.planned_verdict, float("nan"), curve.level
        )
    return curve


def _wide(answer) -> pd.DataFrame:
    tested = answer.rows[answer.rows["tested"]]
    keys = ["athlete", "round_no"]
    return tested.assign(round_no=tested["round_no"].astype(str)).set_index(keys)["value"].unstack()  # noqa: PD010


def rank_bounds(wide: pd.DataFrame, pairs: pd.DataFrame, alpha: float) -> list[float]:
    """The smallest bound with which the exact signed-rank tests of each pair pass."""
    from ..models import signed_rank, tie_decimals

    decimals = tie_decimals(wide.to_numpy())
    found = []
    for later, earlier in zip(pairs["later"], pairs["earlier"], strict=True):
        d = (wide[later] - wide[earlier]).dropna().to_numpy()

        def passes(bound: float, d=d) -> bool:
            above = signed_rank(d + bound, alternative="greater", decimals=decimals).p
            below = signed_rank(d - bound, alternative="less", decimals=decimals).p
            return max(above, below) < alpha

        high = 2 * float(np.abs(d).max()) + 1 if len(d) else 0.0
        if not len(d) or not passes(high):
            found.append(float("nan"))
            continue
        low = 0.0
        for _ in range(STEPS):
            middle = (low + high) / 2
            low, high = (low, middle) if passes(middle) else (middle, high)
            if high - low < 1e-6 * max(high, 1e-9):
                break
        found.append(high)
    return found
