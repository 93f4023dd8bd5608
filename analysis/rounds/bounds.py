"""Values off the analyser's scale are bounds: the range that every estimate can take, and how far a claim holds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pandas as pd

from ..basics import KitError, Result, plural
from ..basics.errors import need_columns
from ..physiology.lactate import HIGHEST_PUBLISHED_MMOL_L
from .compare import fit_rounds
from .plateau import check_effect, plateau_of
from .prepare import LIMIT_COLUMN, OWN_END, RoundRows, prepare_rounds, read_numbers, widen
from .ranks import MANY_CELLS, Claims, Placings, RoundsRanks, ranks_of
from .steps import all_steps, label_of_step

PLAUSIBLE = (0.0, HIGHEST_PUBLISHED_MMOL_L)
"""Between what lactate can lie: nothing is below 0 mmol/L, and none above the highest value read in combat sports."""
BEYOND = 1.2
"""A value off a scale that reaches the plausible range already may lie this factor beyond it. Our proposal."""


@dataclass(frozen=True)
class OffScale:
    """Which rows are off the scale, and between what they may lie; `end` is where each starts."""

    # That is the scale's end, or the limit that was typed, such as 2 for < 2.

    high: np.ndarray
    low: np.ndarray
    high_range: tuple[float, float]
    low_range: tuple[float, float]
    assumed: bool
    end: np.ndarray

    def placed(self, data: pd.DataFrame, outcome: str) -> pd.DataFrame:
        """Copy the table with each value off the scale at the scale's end, and "high", "low" or "" beside it."""
        values = np.where(self.high | self.low, self.end, read_numbers(data, outcome))
        marks = np.select([self.high, self.low], ["high", "low"], "")
        return data.assign(**{outcome: values, LIMIT_COLUMN: marks})

    def span(self, rows: RoundRows) -> np.ndarray:
        """How far each prepared value may lie beyond the scale's end: above 0, below 0, or 0 where it was read."""
        marks = rows.table[LIMIT_COLUMN].to_numpy()
        placed = rows.table["value"].to_numpy()
        ends = [self.high_range[1] - placed, self.low_range[1] - placed]
        return np.select([marks == "high", marks == "low"], ends, 0.0)


def find_limits(data, outcome: str, *, limit: tuple[float, float] | None = None) -> OffScale | None:
    """Find the values off the scale and their ranges."""
    if LIMIT_COLUMN not in data:
        return None
    need_columns(data, ("athlete", "round_no", outcome))
    marks = data[LIMIT_COLUMN].astype(object).where(data[LIMIT_COLUMN].notna(), "")
    marks = marks.astype(str).str.strip().str.casefold()
    wrong = sorted(set(marks) - {"", "high", "low", "nan"})
    if wrong:
        raise KitError(f"{LIMIT_COLUMN} holds {wrong[0]!r}; it may hold 'high', 'low' or nothing.")
    high, low = (marks == "high").to_numpy(), (marks == "low").to_numpy()
    if not (high | low).any():
        return None
    values = read_numbers(data, outcome)
    read = values[~(high | low) & ~np.isnan(values)]
    if not len(read):
        raise KitError(f"Every value of {outcome} is off the analyser's scale, so nothing can be compared.")
    typed = OWN_END in data and outcome.startswith("lactate")
    own = read_numbers(data, OWN_END) if typed else np.full(len(values), np.nan)
    told = np.isfinite(own)
    stated = _stated_ends(limit)
    seen = [float(read.min()), float(read.max())]
    bottom, top = (s if np.isfinite(s) else v for s, v in zip(stated, seen, strict=True))
    if not bottom < top:
        raise KitError(f"The ends of the analyser's scale must be in order; they are {bottom:g} and {top:g}.")
    lowest, highest = PLAUSIBLE
    end = np.where(told, own, np.where(high, top, bottom))
    highs, lows = end[high] if high.any() else np.array([top]), end[low] if low.any() else np.array([bottom])
    top, bottom = float(highs.max()), float(lows.min())
    return OffScale(
        high=high,
        low=low,
        high_range=(float(highs.min()), highest if highest > top else BEYOND * top),
        low_range=(float(lows.max()), min(lowest, bottom)),
        assumed=bool(((low & ~told).any() and np.isnan(stated[0])) or ((high & ~told).any() and np.isnan(stated[1]))),
        end=end,
    )


def _stated_ends(limit) -> list[float]:
    try:
        low, high = (None, None) if limit is None else limit
        return [np.nan if end is None else float(end) for end in (low, high)]
    except (TypeError, ValueError):
        raise KitError(
            f"limit must be the two ends of the analyser's scale, such as (0.5, 25.0); it is {limit!r}."
        ) from None


@dataclass(frozen=True)
class LimitBounds(Result):
    """What the comparison can be when values off the scale lie anywhere beyond it."""

    outcome: str
    n_high: int  # Values above and below the scale, in the tested rounds
    n_low: int
    high_from: float  # The ranges in which they may lie, in the outcome's unit
    high_to: float
    low_from: float
    low_to: float
    # One line per step and for last minus first: contrast, later, earlier, n_off_scale (values off the scale in its two
    # rounds), estimate_min, estimate_max, ci_low_min, ci_high_max, p_min, p_max (robust, after Holm), changed, equivalent,
    # label (what holds wherever they lie), label_at_scale_end, holds_to_high and holds_to_low: the highest "high" and the
    # lowest "low" with which label_at_scale_end holds (`high_to` and `low_from` where it holds throughout; missing where
    # there is no such value, or nothing is claimed at the scale's end)
    table: pd.DataFrame
    overall_p_max: float  # The largest p of the round test over the corners tried
    plateau_from: str  # The round from which every corner shows a plateau; "" where one of them shows none
    # The round from which there is one with every value at the scale's end; "" where there is none
    plateau_at_scale_end: str
    plateau_holds_to_high: float  # As in the table, for the plateau at the scale's end
    plateau_holds_to_low: float
    # Friedman test with the values off the scale tied at its ends; the steps by exact sign tests
    ranks: RoundsRanks
    n_corners: int  # Combinations that were analysed
    method: str
    left_out: pd.DataFrame  # Rows without a value or a limit
    warnings: tuple[str, ...] = ()


def bound_limits(
    data: pd.DataFrame,
    outcome: str,
    *,
    smallest_effect: float,
    alpha: float = 0.05,
    limit: tuple[float, float] | None = None,
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

    Returns
    -------
    LimitBounds or None
        None where no value of a tested round is off the scale.

    Notes
    -----
    A contrast is linear in each value and its robust standard error the length of a vector that is linear in each, so the
    placings at which a claim holds form a convex set (exactly so on complete data): what holds at every corner, where each
    value off the scale is at one end of its range, holds everywhere between. Up to five such values all corners are
    analysed. Where every value is at the end of the scale, Kenward-Roger and CR2 must agree; farther out the spread is that
    of a guess, and the robust test decides alone. A claim that fails at a corner is followed back to where it turns.

    References
    ----------
    Manski 2003, Partial Identification of Probability Distributions (bounds instead of assumptions).

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AABBCCDD"), "round_no": [1, 2] * 4,
    ...     "lactate_mmol_l": [8, 11, 9, 12.5, 10, np.nan, 7, 12], "lactate_limit": [""] * 5 + ["high", "", ""]})
    >>> bounds = bound_limits(data, "lactate_mmol_l", smallest_effect=1, limit=(0.8, 23.3))
    >>> bounds.table["estimate_min"].round(1).tolist(), bounds.table["estimate_max"].round(1).tolist()
    ([6.2], [7.4])
    """
    off = find_limits(data, outcome, limit=limit)
    if off is None:
        return None
    rows = prepare_rounds(off.placed(data, outcome), outcome, keep=[LIMIT_COLUMN])
    fit = fit_rounds(rows)
    effect = {"smallest_effect": check_effect(smallest_effect), "alpha": alpha}
    plateau = plateau_of(rows, fit, low=-smallest_effect, high=smallest_effect, alpha=alpha)
    return bounds_of(rows, fit, off, steps=all_steps(rows, fit, **effect), plateau_from=plateau.starts_at, **effect)


def bounds_of(
    rows: RoundRows, fit, off: OffScale, *, steps: pd.DataFrame, plateau_from: str, smallest_effect: float,
    alpha: float, turns: bool = True,
) -> LimitBounds | None:  # fmt: skip
    """Compute `bound_limits` from what is known with every value at the end of the scale."""
    span = off.span(rows)
    n_high, n_low = int((span > 0).sum()), int((span < 0).sum())
    if not n_high + n_low:
        return None
    if span.all():
        raise KitError(f"Every value of {rows.outcome} in the tested rounds is off the analyser's scale.")
    places = Placings(rows, fit, span, smallest_effect=smallest_effect, alpha=alpha)
    corners = places.corners()
    held = len(rows.labels) - 1 - rows.labels.index(plateau_from) if plateau_from else 0
    throughout = min([held, *(int((places.read(c).plateau > 0).sum()) for c in corners[1:])])
    ends = _Ends(off, n_high, n_low)
    turns = turns or len(places.cells) <= MANY_CELLS
    far = places.holds_to(lambda c: c.plateau[held - 1], corners) if held and turns else None
    plateau_ends = ends.at(far)
    p_values = [places.read(c).p_overall for c in corners]
    warnings = list(rows.warnings)
    if off.assumed:
        warnings.append(
            "The ends of the analyser's scale were not stated; the smallest and largest value read stand for them."
        )
    if len(corners) < 2 ** (n_high + n_low):
        warnings.append(
            "Many values are off the scale: the range was searched at the corners that move each step furthest."
        )
    return LimitBounds(
        outcome=rows.outcome,
        n_high=n_high,
        n_low=n_low,
        high_from=off.high_range[0],
        high_to=off.high_range[1],
        low_from=off.low_range[1],
        low_to=off.low_range[0],
        table=_ranges(steps, places, corners, ends, turns),
        overall_p_max=float(np.max(p_values)),
        plateau_from=rows.labels[len(rows.labels) - 1 - throughout] if throughout else "",
        plateau_at_scale_end=plateau_from,
        plateau_holds_to_high=plateau_ends[0],
        plateau_holds_to_low=plateau_ends[1],
        ranks=_tied_ranks(rows, span),
        n_corners=len(corners),
        method="mixed model at every extreme of the values off the scale; beyond its end the robust (CR2) test decides",
        left_out=rows.left_out,
        warnings=tuple(warnings),
    )


@dataclass(frozen=True)
class _Ends:
    """A share of the ranges as the values at which it ends."""

    off: OffScale
    n_high: int
    n_low: int

    def at(self, share: float | None) -> tuple[float, float]:
        if share is None:
            return np.nan, np.nan
        ranges = (self.off.high_range, self.n_high), (self.off.low_range, self.n_low)
        return tuple(near + share * (far - near) if count else np.nan for (near, far), count in ranges)


def _least(claims: Claims, *, names: tuple[str, ...], step: int) -> float:
    """How clearly all these claims hold of a step."""
    return min(getattr(claims, name)[step] for name in names)


def _ranges(steps: pd.DataFrame, places: Placings, corners, ends: _Ends, turns: bool) -> pd.DataFrame:
    """Range of each contrast over the corners; the first is the scale's end, where both tests must agree."""
    read = [places.read(c) for c in corners]
    marked = places.rows.table["round_no"].astype(str).to_numpy()[places.cells]
    lines = []
    for i, near in enumerate(steps.to_dict("records")):
        low, high = min(r.estimate[i] for r in read), max(r.estimate[i] for r in read)
        p = [r.p[i] for r in read]
        claimed = tuple(name for name in ("changed", "equivalent") if near[name])
        holds = {
            name: name in claimed and all(getattr(r, name)[i] > 0 for r in read[1:])
            for name in ("changed", "equivalent")
        }
        share = places.holds_to(partial(_least, names=claimed, step=i), corners) if claimed and turns else None
        to = ends.at(share)
        lines.append(
            {
                "contrast": near["contrast"],
                "later": near["later"],
                "earlier": near["earlier"],
                "n_off_scale": int(np.isin(marked, (near["later"], near["earlier"])).sum()),
                "estimate_min": float(low),
                "estimate_max": float(high),
                "ci_low_min": float(min(near["ci_low"], *(r.ci_low[i] for r in read))),
                "ci_high_max": float(max(near["ci_high"], *(r.ci_high[i] for r in read))),
                "p_min": float(min(p)),
                "p_max": 1.0 if low <= 0 <= high else float(max(p)),
                **holds,
                "label": label_of_step(**holds),
                "label_at_scale_end": near["label"],
                "holds_to_high": to[0],
                "holds_to_low": to[1],
            }
        )
    return pd.DataFrame(lines)


def _tied_ranks(rows: RoundRows, span: np.ndarray) -> RoundsRanks:
    """Ranks need only the order: beyond the scale is above, or below, everything read; steps by exact sign tests."""
    from scipy import stats

    from ..models import holm

    values = rows.table["value"].to_numpy().copy()
    finite = values[span == 0]
    beyond = 8 * np.abs(finite).max() + 1  # a quarter of it takes a quartile out of what was read
    values[span > 0], values[span < 0] = beyond, -beyond
    table = rows.table.assign(value=values)
    rows = replace(rows, table=table, wide=widen(table))
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
        method=f"Friedman test with {plural(int((span != 0).sum()), 'value')} tied beyond the scale; exact sign tests",
    )
