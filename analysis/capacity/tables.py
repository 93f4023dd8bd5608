"""Tables in, athletes out: which rows can be used, and one value per athlete."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..basics import KitError, left_out_table, plural
from ..basics.errors import need_columns

HEART_RATE_OUTCOMES = (
    "hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve",
    "hr_recovery_60s_bpm", "hr_drift_bpm_min", "hr_mean_typed_bpm", "hr_peak_typed_bpm", "training_impulse",
)  # fmt: skip
"""Columns made from heart rate: a capacity that was estimated from heart rate must not be held against them."""

_SOURCE_COLUMNS = ("file", "row", "session", "athlete", "round_no")


def to_numbers(data: pd.DataFrame, column: str) -> pd.Series:
    """Return a column as floats, blanks as missing; anything that is no number is a KitError that names its rows."""
    values = data[column]
    if isinstance(values, pd.DataFrame):
        raise KitError(f"the table has more than one column {column!r}; keep one.")
    if values.dtype.kind in "cmM":
        raise KitError(f"column {column!r} must hold numbers, but holds {values.dtype}.")
    if pd.api.types.is_numeric_dtype(values):
        return values.astype("float64")
    text = values.astype("string").str.strip()
    numbers = pd.to_numeric(text.where(text != ""), errors="coerce").astype("float64")
    bad = numbers.isna() & text.notna() & ~text.str.casefold().isin(["", "nan", "na", "none"])
    if bad.any():
        shown = ", ".join(repr(str(v)) for v in values[bad].iloc[:3])
        raise KitError(
            f"column {column!r} holds {plural(int(bad.sum()), 'value')} that are not numbers ({shown}). "
            "Correct them, or leave the cell blank where nothing was measured."
        )
    return numbers


def left_out_rows(data: pd.DataFrame, mask: pd.Series, reason: str, measure: str = "") -> list[dict]:
    """Describe the rows of `data` under `mask`, to be put into a `left_out` table."""
    if not mask.any():
        return []
    columns = [c for c in _SOURCE_COLUMNS if c in data.columns]
    rows = data.loc[mask, columns].to_dict("records")
    if "row" not in columns:
        positions = np.flatnonzero(np.asarray(mask)) + 1
        rows = [{**r, "row": int(k)} for r, k in zip(rows or [{}] * len(positions), positions, strict=True)]
    return [{**r, "measure": measure, "reason": reason} for r in rows]


def usable_rows(
    data: pd.DataFrame, numbers: Sequence[str], texts: Sequence[str] = ()
) -> tuple[pd.DataFrame, list[dict]]:
    """Return the rows that have every value, as numbers, and a description of those left out."""
    need_columns(data, [*numbers, *texts])
    table = data.reset_index(drop=True).copy()
    for column in dict.fromkeys(numbers):
        table[column] = to_numbers(table, column)
    if "athlete" in table.columns:
        table["athlete"] = table["athlete"].astype("string").astype(object)
    left: list[dict] = []
    keep = pd.Series(True, index=table.index)
    if "round_no" in table.columns and "round_no" not in numbers and pd.api.types.is_numeric_dtype(table["round_no"]):
        before = (table["round_no"] == 0).fillna(False).astype(bool)
        left += left_out_rows(table, before, "round 0 is before sparring")
        keep &= ~before
    for column in dict.fromkeys([*numbers, *texts]):
        values = table[column]
        missing = ~np.isfinite(values) if column in numbers else values.isna() | (values.astype("string") == "")
        missing = pd.Series(np.asarray(missing, dtype=bool), index=table.index) & keep
        left += left_out_rows(table, missing, f"no value of {column}", column)
        keep &= ~missing
    return table[keep].reset_index(drop=True), left


def athlete_table(
    data: pd.DataFrame, numbers: Sequence[str], texts: Sequence[str] = (), *, left: Sequence[dict] = ()
) -> tuple[pd.DataFrame, pd.DataFrame, tuple[str, ...]]:
    """Return one line per athlete: unadjusted means over the rows that have every value."""
    rows, missing = usable_rows(data, numbers, texts)
    left = [*left, *missing]
    columns = list(dict.fromkeys([*numbers, *texts]))
    if "athlete" not in rows.columns:
        rows = rows.assign(athlete=[str(i + 1) for i in range(len(rows))])
    if rows["athlete"].is_unique:
        table = rows[["athlete", *columns]].assign(n_rows=1)
        return table, left_out_table(left), ()
    for column in texts:
        mixed = rows.groupby("athlete")[column].agg(varies).astype(bool)
        if mixed.any():
            raise KitError(
                f"athlete {mixed.index[mixed][0]!r} has more than one value of {column!r}; an athlete needs one."
            )
    grouped = rows.groupby("athlete", sort=False)
    table = pd.concat(
        [grouped[c].mean() if c in numbers else grouped[c].first() for c in columns]
        + [grouped.size().rename("n_rows")],
        axis=1,
    ).reset_index()
    note = (
        f"{plural(len(rows), 'row')} of {plural(len(table), 'athlete')} were averaged to one value per athlete: "
        "rows of one athlete are not independent athletes"
    )
    return table, left_out_table(left), (note,)


def numeric_design(table: pd.DataFrame, covariates: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    """Return the covariates as columns of numbers (text as 0/1 against its first level) and the names of the columns."""
    columns, names = [], []
    for covariate in covariates:
        values = table[covariate]
        if is_text(values):
            levels = sorted(values.astype(str).unique())
            for level in levels[1:]:
                columns.append((values.astype(str) == level).to_numpy(dtype=float))
                names.append(f"{covariate} {level}")
        else:
            columns.append(values.to_numpy(dtype=float))
            names.append(covariate)
    if not columns:
        return np.empty((len(table), 0)), []
    return np.column_stack(columns), names


def is_text(values: pd.Series) -> bool:
    """Tell whether a column holds words (a factor) and not numbers."""
    return not pd.api.types.is_numeric_dtype(values) or pd.api.types.is_bool_dtype(values)


def varies(values: pd.Series) -> bool:
    """Tell whether a column has more than one value (blanks apart)."""
    return len(values.dropna().unique()) > 1


def by_bout(rows: pd.DataFrame, round_variable: str) -> pd.DataFrame:
    """Put the number that orders the rounds into round_no; what came before sparring keeps its 0."""
    if round_variable == "round_no":
        return rows
    need_columns(rows, [round_variable], what="the table of rounds")
    numbers = rows[round_variable]
    return rows.assign(round_no=numbers.where(rows["round_no"] != 0, 0) if "round_no" in rows else numbers)
