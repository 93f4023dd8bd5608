"""The four honest labels of a step from one round to another, and the answer for every smallest effect that could be chosen."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import replace

import numpy as np
import pandas as pd

from ..basics import KitError
from ..basics.words import format_reach
from ..models.effect_sizes import BoundCurve, bound_curve
from .compare import contrast_table
from .plateau import equivalence_of
from .prepare import RoundRows, widen
from .ranks import order_contrasts

STEP_LABELS = ("changed", "equivalent", "changed but smaller than matters", "not shown")
"""Every step is one of these. A difference that was not shown is not a difference that is absent."""


def label_of_step(changed: bool, equivalent: bool) -> str:
    """Name a step from what was shown of it."""
    if changed:
        return "changed but smaller than matters" if equivalent else "changed"
    return "equivalent" if equivalent else "not shown"


def reading_of_step(step, digits: int = 1, unit: str = "") -> str:
    """Word the reading of a step, with how far values off the analyser's scale may lie where it depends on them."""
    label, near = step["label"], step.get("label_at_scale_end", step["label"])
    if near == label:
        return label
    return f"{near} if {format_reach(step['holds_to_high'], step['holds_to_low'], digits, unit=unit)}, else {label}"


def label_steps(
    contrasts: pd.DataFrame, equivalences: pd.DataFrame, *, ranks: pd.DataFrame | None = None, alpha: float
) -> pd.DataFrame:
    """Label each step: changed, equivalent, changed but smaller than matters, or not shown."""
    # Changed: the Holm-adjusted p of every method is below alpha; for ratings that of the exact test by
    # order. Equivalent: both one-sided tests of every method are below alpha. Each step is equivalent at
    # alpha by itself; the claim about a whole stretch of rounds is `find_plateau`.
    tested = equivalences.set_index("contrast")
    lost = [c for c in contrasts["contrast"] if c not in tested.index]
    if lost:
        raise KitError(f"The equivalence table lacks the contrasts {', '.join(lost)}; use the same kind in both calls.")
    tested = tested.loc[contrasts["contrast"]].reset_index()
    base = ["estimate", "standard_error", "df", "ci_low", "ci_high", "p", "p_adjusted"]
    columns = ["contrast", "later", "earlier", "kind", *base, *[f"{c}_cr2" for c in base[1:]]]
    steps = contrasts[columns].reset_index(drop=True)
    shown = [steps["p_adjusted"] < alpha, steps["p_adjusted_cr2"] < alpha]
    if ranks is not None:
        steps["p_ranks"] = ranks.set_index("contrast")["p_adjusted"].reindex(steps["contrast"]).to_numpy()
        shown = [steps["p_ranks"] < alpha]
    for end in ("", "_cr2"):
        steps[f"equivalence_ci_low{end}"] = tested[f"ci_low{end}"]
        steps[f"equivalence_ci_high{end}"] = tested[f"ci_high{end}"]
        steps[f"p_equivalence{end}"] = tested[f"p{end}"]
    steps["changed"] = np.all(shown, axis=0)
    steps["equivalent"] = tested["equivalent"].astype(bool)
    steps["label"] = list(map(label_of_step, steps["changed"], steps["equivalent"]))
    return steps


def all_steps(
    rows: RoundRows, fit, *, smallest_effect: float, alpha: float, ordinal: bool = False,
    known: dict[str, pd.DataFrame] | None = None, only_last: bool = False,
) -> pd.DataFrame:  # fmt: skip
    """Label every step, and last minus first as a step of its own: one family, inside the test of all rounds."""
    parts, family = [], _family(rows, fit, known or {}, ordinal)
    kinds = ["successive"] if len(rows.labels) == 2 else ["successive", "first"]
    for kind in kinds[-1:] if only_last else kinds:
        contrasts = (known or {}).get(kind)
        contrasts = contrast_table(fit, kind=kind) if contrasts is None else contrasts
        bounds = {"low": -smallest_effect, "high": smallest_effect}
        tested = equivalence_of(rows, fit, **bounds, kind=kind, alpha=alpha, ordinal=ordinal, contrasts=contrasts)
        ranks = order_contrasts(rows, kind) if ordinal else None
        if kind == "first":
            contrasts = contrasts.tail(1).assign(kind="last to first")
            tested = tested.tail(1)
        own = family.loc[contrasts["contrast"]]
        contrasts = contrasts.assign(p_adjusted=own["p"].to_numpy(), p_adjusted_cr2=own["p_cr2"].to_numpy())
        if ordinal:
            ranks = ranks[ranks["contrast"].isin(own.index)].assign(
                p_adjusted=lambda table, own=own: own.loc[table["contrast"], "p_ranks"].to_numpy()
            )
        parts.append(label_steps(contrasts, tested, ranks=ranks, alpha=alpha))
    return pd.concat(parts, ignore_index=True)


def most_true(n_rounds: int) -> int:
    """How many steps (last minus first among them) can be without a change where the rounds differ at all."""
    return max(n_rounds - 2, 1)


def _family(rows: RoundRows, fit, known: dict[str, pd.DataFrame], ordinal: bool) -> pd.DataFrame:
    """The p of every step and of last minus first, adjusted together (`models.holm`, at most `most_true`)."""
    from ..models import holm

    parts = []
    for kind in ["successive"] if len(rows.labels) == 2 else ["successive", "first"]:
        table = known.get(kind)
        table = contrast_table(fit, kind=kind) if table is None else table
        part = table.set_index("contrast")[["p", "p_cr2"]]
        if ordinal:
            part = part.assign(p_ranks=order_contrasts(rows, kind).set_index("contrast")["p"])
        parts.append(part.tail(1) if kind == "first" else part)
    family = pd.concat(parts)
    cap = most_true(len(rows.labels))
    return family.apply(lambda p: holm(p.to_numpy(), most_true=cap))


def gate_steps(steps: pd.DataFrame, changed: bool | None) -> pd.DataFrame:
    """Claim a step only inside a change over all rounds: together they are wrong in no more than alpha of null studies."""
    if changed or not len(steps):
        return steps
    inside = steps.assign(changed=False)
    inside["label"] = [label_of_step(False, bool(e)) for e in steps["equivalent"]]
    if "label_at_scale_end" in inside:
        near = inside["label_at_scale_end"]
        same = {"changed": "not shown", "changed but smaller than matters": "equivalent"}
        inside["label_at_scale_end"] = near.replace(same)
    return inside


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
    wide = widen(answer.rows[answer.rows["tested"]]) if answer.ordinal else None
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
    return curve if len(turns) == len(labels) - 1 else replace(curve, smallest_passing=float("nan"))


def rank_bounds(wide: pd.DataFrame, pairs: pd.DataFrame, alpha: float) -> list[float]:
    """The bound beyond which the exact signed-rank tests of each pair pass."""
    # What the tests say changes only where two moved differences become equal in size: at the averages of two differences
    from ..models import signed_rank, tie_decimals

    decimals = tie_decimals(wide.to_numpy())
    found = []
    for later, earlier in zip(pairs["later"], pairs["earlier"], strict=True):
        d = np.round((wide[later] - wide[earlier]).dropna().to_numpy(), decimals)
        if 0.5 ** len(d) >= alpha:  # the p beyond every difference, where all lie on one side
            found.append(float("nan"))
            continue

        def passes(bound: float, d=d) -> bool:
            above, below = signed_rank(d + bound, alternative="greater").p, signed_rank(d - bound, alternative="less").p
            return max(above, below) < alpha

        edges = np.unique(np.round(np.abs(d[:, None] + d) / 2, decimals))
        found.append(float(edges[bisect_left((edges[1:] + edges[:-1]) / 2, True, key=passes)]))
    return found
