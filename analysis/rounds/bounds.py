"""Values off the analyser's scale are bounds: the range that every estimate can take."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd

from ..basics import KitError, Result, plural
from .compare import fit_rounds
from .equivalence import equivalence_of
from .plateau import try_candidates
from .prepare import RoundRows, check_columns, label_of, prepare_rounds, read_numbers
from .ranks import RoundsRanks, ranks_of
from .steps import all_steps, label_of_step

LIMIT_COLUMN = "lactate_limit"
PLAUSIBLE = (0.5, 25.0)
"""How low a "low" and how high a "high" may be, in mmol/L. Our proposal: combat sports report peaks near 21."""
BEYOND = 1.2
"""A value off a scale that reaches the plausible range already may lie this factor beyond it. Our proposal."""
MOST_CELLS = 5
"""Up to this many cells every corner is tried; beyond it, the corners that move each contrast furthest."""


@dataclass(frozen=True)
class LimitBounds(Result):
    """What the comparison can be when values off the scale lie anywhere beyond it.

    Parameters
    ----------
    outcome : str
        The column.
    n_high, n_low : int
        Values above and below the scale.
    high_from, high_to, low_from, low_to : float
        The ranges in which they may lie, in the outcome's unit.
    table : DataFrame
        One line per step and for last minus first: contrast, later, earlier, estimate_min, estimate_max, ci_low_min,
        ci_high_max, p_min, p_max (robust, after Holm), changed, equivalent, label (what holds at every corner),
        label_at_scale_end.
    overall_p_min, overall_p_max : float
        Range of the p of the round test over the corners tried.
    plateau_from : str
        The round from which every corner shows a plateau; "" where one of them shows none.
    ranks : RoundsRanks
        Friedman test with the values off the scale tied at its ends; the steps by exact sign tests.
    n_corners : int
        Combinations that were analysed.
    method : str
        In words.
    left_out : DataFrame
        Rows without a value or a limit.
    warnings : tuple of str
        What the reader should know.
    """

    outcome: str
    n_high: int
    n_low: int
    high_from: float
    high_to: float
    low_from: float
    low_to: float
    table: pd.DataFrame
    overall_p_min: float
    overall_p_max: float
    plateau_from: str
    ranks: RoundsRanks
    n_corners: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def bound_limits(
    data: pd.DataFrame,
    outcome: str,
    *,
    smallest_effect: float,
    alpha: float = 0.05,
    limit: tuple[float, float] | None = None,
    limit_column: str = LIMIT_COLUMN,
    plausible: tuple[float, float] = PLAUSIBLE,
) -> LimitBounds | None:
    """Analyse values off the analyser's scale as bounds: every estimate from its lowest to its highest.

    When to use: where the analyser showed "HI" or "LO". Such a value is neither missing nor a number.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no`, the outcome and the limit column ("high", "low" or "").
    outcome : str
        A numeric column.
    smallest_effect : float
        The smallest change that matters, above 0.
    alpha : float
        Level. Default 0.05.
    limit : (float, float), optional
        Lower and upper end of the analyser's scale. Default: the smallest and largest value that was read.
    limit_column : str
        Where "high" and "low" stand. Default "lactate_limit".
    plausible : (float, float)
        How low a "low" and how high a "high" may be, in the outcome's unit. Default 0.5 and 25 mmol/L, our proposal.

    Returns
    -------
    LimitBounds or None
        None where no value is off the scale.

    Notes
    -----
    A contrast is linear in each value, so its extremes lie at the corners, where each value off the scale is at one end of
    its range. Up to five such values all corners are analysed. Where every value is at the end of the scale, Kenward-Roger
    and CR2 must agree; at the other corners the spread is that of a guess, and the robust test decides alone.

    References
    ----------
    Manski 2003, Partial Identification of Probability Distributions (bounds instead of assumptions).

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AABBCCDD"), "round_no": [1, 2] * 4,
    ...     "lactate_mmol_l": [8, 11, 9, 12.5, 10, np.nan, 7, 12], "lactate_limit": [""] * 5 + ["high", "", ""]})
    >>> bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.8, 23.3))
    >>> bounds.table["estimate_min"].round(2).tolist(), bounds.table["estimate_max"].round(2).tolist()
    ([6.2], [6.62])
    """
    off = find_limits(data, outcome, limit=limit, limit_column=limit_column, plausible=plausible)
    if off is None:
        return None
    return bounds_of(data, outcome, off, smallest_effect=smallest_effect, alpha=alpha)


@dataclass(frozen=True)
class OffScale:
    """Where the values off the scale are, and between what they may lie."""

    high: np.ndarray
    low: np.ndarray
    high_range: tuple[float, float]
    low_range: tuple[float, float]
    assumed: bool

    def placed(
        self, data: pd.DataFrame, outcome: str, *, at_far_end: np.ndarray | None = None
    ) -> pd.DataFrame:
        """Copy the table with each value off the scale at the near end of its range, or at the far end where marked."""
        values = read_numbers(data, outcome).copy()
        far = np.zeros(len(values), dtype=bool) if at_far_end is None else at_far_end
        values[self.high] = np.where(far, self.high_range[1], self.high_range[0])[self.high]
        values[self.low] = np.where(far, self.low_range[0], self.low_range[1])[self.low]
        return data.assign(**{outcome: values})


def find_limits(
    data, outcome: str, *, limit=None, limit_column: str = LIMIT_COLUMN, plausible=PLAUSIBLE
) -> OffScale | None:
    """Find the values off the scale and their ranges.

    Parameters
    ----------
    data, outcome, limit, limit_column, plausible
        As in `bound_limits`.

    Returns
    -------
    OffScale or None
    """
    if limit_column not in data:
        return None
    check_columns(data, ("athlete", "round_no", outcome))
    marks = data[limit_column].fillna("").astype(str).str.strip().str.casefold()
    wrong = sorted(set(marks) - {"", "high", "low", "nan"})
    if wrong:
        raise KitError(f"{limit_column} holds {wrong[0]!r}; it may hold 'high', 'low' or nothing.")
    high, low = (marks == "high").to_numpy(), (marks == "low").to_numpy()
    if not (high | low).any():
        return None
    values = read_numbers(data, outcome)
    read = values[~(high | low) & ~np.isnan(values)]
    if not len(read):
        raise KitError(f"Every value of {outcome} is off the analyser's scale, so nothing can be compared.")
    stated = [np.nan if s is None else float(s) for s in limit or (None, None)]
    seen = [float(read.min()), float(read.max())]
    bottom, top = (s if np.isfinite(s) else v for s, v in zip(stated, seen, strict=True))
    if not bottom < top:
        raise KitError(f"The ends of the analyser's scale must be in order; they are {bottom} and {top}.")
    return OffScale(
        high=high,
        low=low,
        high_range=(float(top), float(plausible[1] if plausible[1] > top else BEYOND * top)),
        low_range=(float(plausible[0] if plausible[0] < bottom else bottom / BEYOND), float(bottom)),
        assumed=bool((low.any() and np.isnan(stated[0])) or (high.any() and np.isnan(stated[1]))),
    )


def bounds_of(
    data, outcome: str, off: OffScale, *, smallest_effect: float, alpha: float = 0.05
) -> LimitBounds:
    """Compute `bound_limits` once the values off the scale are known.

    Parameters
    ----------
    data, outcome, smallest_effect, alpha
        As in `bound_limits`.
    off : OffScale

    Returns
    -------
    LimitBounds
    """
    near = prepare_rounds(off.placed(data, outcome), outcome)
    corners = _corners(data, off, near)
    effect = {"smallest_effect": smallest_effect, "alpha": alpha}
    steps, p_values, starts = [], [], []
    for number, corner in enumerate(corners):
        rows = prepare_rounds(off.placed(data, outcome, at_far_end=corner), outcome)
        fit = fit_rounds(rows)
        table = all_steps(rows, fit, **effect)
        pairs = equivalence_of(
            rows, fit, low=-smallest_effect, high=smallest_effect, kind="pairwise", alpha=alpha
        )
        if (
            number > 0
        ):  # away from the scale's end the pooled spread means little: the robust test decides alone
            table = table.assign(
                changed=table["p_adjusted_cr2"] < alpha, equivalent=table["p_equivalence_cr2"] < alpha
            )
            pairs["equivalent"] = pairs["p_cr2"] < alpha
        steps.append(table)
        p_values.append(fit.test("round_no").p)
        candidates = try_candidates(pairs, rows.labels)
        starts.append(int((candidates["tested"] & candidates["holds"]).sum()))
    held = min(starts)
    warnings = list(near.warnings)
    if off.assumed:
        warnings.append(
            "The ends of the analyser's scale were not stated; the smallest and largest value read stand for them."
        )
    if len(corners) < 2 ** int((off.high | off.low).sum()):
        warnings.append(
            "Many values are off the scale: the range was searched at the corners that move each contrast furthest."
        )
    return LimitBounds(
        outcome=outcome,
        n_high=int(off.high.sum()),
        n_low=int(off.low.sum()),
        high_from=off.high_range[0],
        high_to=off.high_range[1],
        low_from=off.low_range[0],
        low_to=off.low_range[1],
        table=_ranges(steps),
        overall_p_min=float(np.min(p_values)),
        overall_p_max=float(np.max(p_values)),
        plateau_from=near.labels[len(near.labels) - 1 - held] if held else "",
        ranks=_tied_ranks(data, outcome, off),
        n_corners=len(corners),
        method="mixed model at every extreme of the values off the scale; beyond its end the robust (CR2) test decides",
        left_out=near.left_out,
        warnings=tuple(warnings),
    )


def _corners(data, off: OffScale, near: RoundRows) -> list[np.ndarray]:
    cells = np.flatnonzero(off.high | off.low)
    corners = []
    if len(cells) <= MOST_CELLS:
        patterns = product((False, True), repeat=len(cells))
    else:
        labels = np.array([label_of(v) for v in data["round_no"]], dtype=object)[cells]
        raises = off.high[cells]  # at the far end a "high" raises the value, a "low" lowers it
        patterns = [np.zeros(len(cells), bool), np.ones(len(cells), bool), raises, ~raises]
        for label in near.labels:
            up = np.where(labels == label, raises, ~raises)
            patterns += [up, ~up]
    for pattern in patterns:
        corner = np.zeros(len(data), dtype=bool)
        corner[cells] = pattern
        if not any((corner == c).all() for c in corners):
            corners.append(corner)
    return corners


def _ranges(steps: list[pd.DataFrame]) -> pd.DataFrame:
    """Range of each contrast over the corners; the first is the scale's end, where both tests must agree."""
    lines = []
    for i, near in enumerate(steps[0].to_dict("records")):
        part = pd.DataFrame([table.iloc[i] for table in steps])
        low, high = float(part["estimate"].min()), float(part["estimate"].max())
        changed, equivalent = bool(part["changed"].all()), bool(part["equivalent"].all())
        lines.append(
            {
                "contrast": near["contrast"],
                "later": near["later"],
                "earlier": near["earlier"],
                "estimate_min": low,
                "estimate_max": high,
                "ci_low_min": float(min(near["ci_low"], part["ci_low_cr2"].min())),
                "ci_high_max": float(max(near["ci_high"], part["ci_high_cr2"].max())),
                "p_min": float(part["p_adjusted_cr2"].min()),
                "p_max": 1.0 if low <= 0 <= high else float(part["p_adjusted_cr2"].max()),
                "changed": changed,
                "equivalent": equivalent,
                "label": label_of_step(changed, equivalent),
                "label_at_scale_end": near["label"],
            }
        )
    return pd.DataFrame(lines)


def _tied_ranks(data, outcome: str, off: OffScale) -> RoundsRanks:
    """Ranks need only the order: beyond the scale is above, or below, everything read; steps by exact sign tests."""
    from dataclasses import replace

    from scipy import stats

    from ..models import holm

    values = read_numbers(data, outcome).copy()
    values[off.high], values[off.low] = np.inf, -np.inf
    finite = values[np.isfinite(values)]
    beyond = finite.max() - finite.min() + 1
    shown = np.clip(values, finite.min() - beyond, finite.max() + beyond)
    rows = prepare_rounds(data.assign(**{outcome: shown}), outcome)
    ranks = ranks_of(rows, kind="successive")
    lines = []
    for line in ranks.contrasts.itertuples():
        difference = (rows.wide[line.later] - rows.wide[line.earlier]).dropna().to_numpy()
        up, down = int((difference > 0).sum()), int((difference < 0).sum())
        p = float(stats.binomtest(up, up + down).pvalue) if up + down else np.nan
        lines.append(
            {
                "contrast": line.contrast,
                "later": line.later,
                "earlier": line.earlier,
                "n_up": up,
                "n_down": down,
                "n_zero": len(difference) - up - down,
                "p": p,
                "n_athletes": len(difference),
                "method": "exact sign test",
            }
        )
    table = pd.DataFrame(lines)
    table.insert(7, "p_adjusted", holm(table["p"].to_numpy()))
    medians = ranks.medians.copy()
    for name in ("median", "quartile_low", "quartile_high"):
        medians[name] = medians[name].where(medians[name].between(finite.min(), finite.max()))
    return replace(
        ranks,
        contrasts=table,
        medians=medians,
        method=f"Friedman test with {plural(int((off.high | off.low).sum()), 'value')} tied beyond the scale; exact sign tests",
    )
