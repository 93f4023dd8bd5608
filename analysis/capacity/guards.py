"""Guards: what would make the answer circular, mixed or over-adjusted is refused or set aside, and said."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from ..basics import KitError, plural
from .tables import HEART_RATE_OUTCOMES, left_out_rows

MINIMUM_RESIDUAL_DF = 8
"""Fewest residual degrees of freedom between athletes with which covariates are accepted."""

CIRCULAR_WHY = (
    "The fitness test estimates capacity from heart rate, so the same heart rates stand on both sides: the two would "
    "be related even if fitness had nothing to do with sparring."
)
CIRCULAR_REMEDY = (
    "use a test that does not read heart rate (a shuttle run, a timed run, an intermittent recovery test or a "
    "laboratory test), or ask the question of lactate instead"
)
SHARE_OUTCOMES = ("percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve")
GUARD_COLUMNS = ("guard", "status", "n_athletes", "text")


class CircularTestError(KitError):
    """Heart rate held against a capacity that was estimated from heart rate."""


def guard_row(guard: str, status: str, n_athletes: int, text: str) -> dict:
    """Describe one guard: status "passed", "applied" (athletes set aside), "warned" or "refused"."""
    return {"guard": guard, "status": status, "n_athletes": n_athletes, "text": text}


def is_yes(values: pd.Series) -> pd.Series:
    """Read a yes/no column, typed as words, numbers or truth values; blank is no."""
    if pd.api.types.is_bool_dtype(values):
        return values.fillna(False).astype(bool)
    text = values.astype("string").fillna("").str.strip().str.casefold()
    return text.isin(["yes", "y", "true", "1", "1.0", "x"]).astype(bool)


def is_heart_rate(outcome: str) -> bool:
    """Tell whether an outcome is made from heart rate."""
    return outcome in HEART_RATE_OUTCOMES


def set_aside_circular(data: pd.DataFrame, capacity: str, outcome: str) -> tuple[pd.DataFrame, list[dict]]:
    """Set athletes aside whose capacity was estimated from heart rate, where the outcome is heart rate too."""
    if "uses_heart_rate" not in data.columns or not is_heart_rate(outcome):
        return data, []
    has_value = data[capacity].notna() if capacity in data.columns else pd.Series(True, index=data.index)
    circular = is_yes(data["uses_heart_rate"]) & has_value
    if not circular.any():
        return data, []
    if not (~circular & has_value).any():
        raise CircularTestError(f"{CIRCULAR_WHY} What to do: {CIRCULAR_REMEDY}.")
    reason = "capacity was estimated from heart rate, and the outcome is heart rate"
    return data[~circular], left_out_rows(data, circular, reason, capacity)


def check_circular_columns(data: pd.DataFrame, x: str, y: str) -> tuple[pd.DataFrame, list[dict]]:
    """Apply `set_aside_circular` where one of two columns is a capacity and the other is made from heart rate."""
    if not isinstance(data, pd.DataFrame):
        return data, []
    for capacity, outcome in ((x, y), (y, x)):
        if is_heart_rate(outcome) and not is_heart_rate(capacity):
            return set_aside_circular(data, capacity, outcome)
    return data, []


def check_residual_df(
    n_athletes: int,
    n_covariate_columns: int,
    covariates: Sequence[str] = (),
    *,
    least: int = MINIMUM_RESIDUAL_DF,
) -> int:
    """Return the residual degrees of freedom between athletes; refuse covariates that leave fewer than 8."""
    df = n_athletes - 2 - n_covariate_columns
    if n_covariate_columns and df < least:
        needed = least + 2 + n_covariate_columns
        raise KitError(
            f"adjusting {n_athletes} athletes for {', '.join(covariates) or plural(n_covariate_columns, 'covariate')} "
            f"leaves {df} residual degrees of freedom between athletes; at least {least} are needed "
            f"({plural(needed, 'athlete')} for these covariates). Use fewer covariates, or an outcome that needs none "
            "(percent of a measured maximal heart rate)."
        )
    return df


def hr_max_source(athletes: pd.DataFrame) -> str:
    """Tell where the maximal heart rates of these athletes come from."""
    if "hr_max_bpm" not in athletes.columns or not len(athletes):
        return "none"
    has = pd.to_numeric(athletes["hr_max_bpm"], errors="coerce").notna()
    if not has.any():
        return "none"
    if not has.all():
        return "incomplete"
    if "hr_max_source" not in athletes.columns:
        return "predicted"
    measured = athletes["hr_max_source"].astype("string").fillna("").str.strip().str.casefold() == "measured"
    return "measured" if measured.all() else "mixed" if measured.any() else "predicted"


def shared_test_warning(outcome: str, capacity: pd.DataFrame, athletes: pd.DataFrame) -> tuple[str, int]:
    """Warn where a share of maximal heart rate and capacity may come from one and the same test."""
    if outcome not in SHARE_OUTCOMES or "maximal" not in capacity.columns:
        return "", 0
    maximal = capacity[is_yes(capacity["maximal"])]
    if not len(maximal):
        return "", 0
    known = 0
    if "hr_max_bpm" in maximal.columns and "hr_max_bpm" in athletes.columns:
        both = maximal[["athlete", "hr_max_bpm"]].merge(
            athletes[["athlete", "hr_max_bpm"]], on="athlete", suffixes=("_test", "")
        )
        test, own = (pd.to_numeric(both[c], errors="coerce") for c in ("hr_max_bpm_test", "hr_max_bpm"))
        known = int((test.notna() & (test == own)).sum())
    text = (
        "an athlete who stops a maximal test early gets both a lower capacity and a lower maximal heart rate, which "
        "by itself makes fitter athletes look lower in percent of maximum; "
    )
    if known:
        return (
            text + f"capacity and maximal heart rate come from one test in {plural(known, 'athlete')}",
            known,
        )
    return text + "take the maximal heart rate from another effort where it came from the fitness test", len(maximal)
