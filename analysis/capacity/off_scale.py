"""Lactate off the analyser's scale ("HI", "LO") in the fitness question: wherever it lies, what is the slope?"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from ..basics import format_ci, format_number, plural
from ..rounds.off_scale import LIMIT_COLUMN, OffScale, find_limits
from ..study.outcomes import OUTCOMES
from .fit import Prepared, fit_prepared
from .guards import guard_row

AT_END = "at the end of the scale"
OFF_SCALE_COLUMNS = (
    "placement", "estimate", "standard_error", "ci_low", "ci_high", "ci90_low", "ci90_high", "df", "p",
)  # fmt: skip


def place_off_scale(data: pd.DataFrame, outcome: str, limit) -> tuple[pd.DataFrame, OffScale | None]:
    """Put readings off the scale at its end, as in the comparison of rounds; None where there are none."""
    if outcome != "lactate_mmol_l" or not {LIMIT_COLUMN, "round_no"} <= set(data.columns):
        return data, None
    off = find_limits(data, outcome, limit=limit)
    return (data, None) if off is None else (off.placed(data, outcome), off)


def off_scale_slopes(planned: Prepared, off: OffScale | None, *, level: float) -> pd.DataFrame:
    """Fit the planned slope with the readings off the scale elsewhere than at its end."""
    rows = planned.rows
    marks = rows[LIMIT_COLUMN] if off is not None else pd.Series("", index=rows.index)
    if not (marks != "").any():
        return pd.DataFrame(columns=list(OFF_SCALE_COLUMNS))
    far = (
        rows[planned.outcome].mask(marks == "high", off.high_range[1]).mask(marks == "low", off.low_range[0])
    )
    fitter = rows[planned.capacity] > rows.groupby("athlete")[planned.capacity].first().mean()
    placings = {
        AT_END: rows[planned.outcome],
        "as far beyond it as is plausible": far,
        "far beyond it for the fitter half alone": rows[planned.outcome].where(~fitter, far),
        "far beyond it for the less fit half alone": rows[planned.outcome].where(fitter, far),
    }
    lines = []
    for placement, values in placings.items():
        fit = fit_prepared(replace(planned, rows=rows.assign(**{planned.outcome: values})), level=level)
        lines.append((placement, *(getattr(fit, name) for name in OFF_SCALE_COLUMNS[1:])))
    return pd.DataFrame(lines, columns=list(OFF_SCALE_COLUMNS))


def widest(slopes: pd.DataFrame) -> tuple[float, float, float, float]:
    """The ends of the two intervals of the slope that hold wherever the readings lie: as `judge` takes them."""
    low, high = slopes[["ci_low", "ci90_low"]].min(), slopes[["ci_high", "ci90_high"]].max()
    return low["ci_low"], high["ci_high"], low["ci90_low"], high["ci90_high"]


def off_scale_guard(planned: Prepared, off: OffScale, slopes: pd.DataFrame, *, step: float) -> dict:
    """Say where the readings stand and between what the effect of a step lies."""
    known = OUTCOMES[planned.outcome]
    marks = planned.rows[LIMIT_COLUMN]
    ranges = {"high": ("up to", off.high_range[1]), "low": ("down to", off.low_range[0])}
    ends = [
        f"{way} {format_number(end, 0, unit=known.unit)}"
        for mark, (way, end) in ranges.items()
        if mark in set(marks)
    ]
    count = int((marks != "").sum())
    stand, lie = ("stands", "it lies") if count == 1 else ("stand", "they lie")
    effects = step * slopes["estimate"]
    effect = format_ci(effects.min(), effects.max(), max(known.digits, 1), unit=known.unit)
    text = (
        f"{plural(count, 'reading')} beyond the analyser's scale {stand} at its end; wherever {' or '.join(ends)} {lie}, the "
        f"effect is {effect}, and the interval that the reading rests on holds for all of these"
    )
    return guard_row("analyser's scale", "warned", planned.rows.loc[marks != "", "athlete"].nunique(), text)
