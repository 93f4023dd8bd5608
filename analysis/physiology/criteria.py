"""Was the test maximal? Plateau, secondary criteria, verification bout. The cut-offs are from memory."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError
from .averaging import average_curve, usual_distance_s
from .estimates import MEMORY
from .hr_max import predict_hr_max

PLATEAU_ML_MIN = 150.0
VERIFICATION_SHARE = 0.03
_RECOVERED = 0.80


def exercise_end(table: pd.DataFrame) -> float | None:
    """Find when exercise ended, where the samples go on into recovery."""
    width = max(30, int(np.ceil(usual_distance_s(table))))
    try:
        curve = average_curve(table, "seconds", min(width, 120))
    except KitError:
        return None
    peak = curve.loc[curve["vo2_ml_min"].idxmax()]
    fallen = curve["vo2_ml_min"].iloc[-1] < _RECOVERED * peak["vo2_ml_min"]
    return (
        float(peak["elapsed_s"]) if fallen and curve["elapsed_s"].iloc[-1] - peak["elapsed_s"] > 45 else None
    )


def plateau_table(table: pd.DataFrame) -> tuple[bool | None, pd.DataFrame]:
    """Compare the rise of oxygen uptake in the last minute with what the test before it leads to expect."""
    width = max(30, int(np.ceil(usual_distance_s(table))))
    end, start = table["elapsed_s"].iloc[-1], table["elapsed_s"].iloc[0]
    rise = expected = float("nan")
    if end - start >= 300 and width <= 60:
        try:
            curve = average_curve(table, "seconds", width)
        except KitError:
            curve = None
        if curve is not None:
            rise = _at(curve, end) - _at(curve, end - 60)
            early = curve[curve["elapsed_s"].between(start + 0.25 * (end - start), end - 120)]
            if len(early) > 30:
                expected = 60 * float(np.polyfit(early["elapsed_s"], early["vo2_ml_min"], 1)[0])
    # a clear fall is no plateau: exercise had probably ended before the samples did
    can_tell = np.isfinite(rise) and rise >= -PLATEAU_ML_MIN and np.isfinite(expected) and expected > 60
    rows = [
        (
            "rise in the last minute",
            rise,
            PLATEAU_ML_MIN,
            "mL/min",
            bool(rise <= PLATEAU_ML_MIN) if can_tell else None,
        ),
        (
            "rise against half the expected",
            rise,
            expected / 2,
            "mL/min",
            bool(rise < expected / 2) if can_tell else None,
        ),
    ]
    out = pd.DataFrame(rows, columns=["criterion", "value", "limit", "unit", "met"]).astype({"met": object})
    out["provenance"] = MEMORY
    return (bool(all(r[4] for r in rows)) if can_tell else None), out


def secondary_criteria(
    table: pd.DataFrame, kind, size, age_years, hr_max_equation, lactate_mmol_l, exertion, exertion_scale
) -> pd.DataFrame:
    """List the secondary criteria; each met, not met, or not measured."""
    ratio = float("nan")
    if "vco2_ml_min" in table and table["vco2_ml_min"].notna().any():
        both = table.dropna(subset=["vco2_ml_min"])
        out, taken = (average_curve(both, kind, size, column=c) for c in ("vco2_ml_min", "vo2_ml_min"))
        share = out["vco2_ml_min"] / taken["vo2_ml_min"].where(taken["vo2_ml_min"] > 0)
        # the end of the test: the last fifth, so that the start of a recording cannot win
        ratio = float(share[out["elapsed_s"] >= 0.8 * out["elapsed_s"].iloc[-1]].max())
    peak = predicted = float("nan")
    if "hr_bpm" in table and table["hr_bpm"].gt(0).any():
        beats = table[table["hr_bpm"].gt(0)]
        peak = float(beats["hr_bpm"].rolling(3, min_periods=1).median().max())
    if age_years is not None:
        predicted = predict_hr_max(age_years, hr_max_equation, sex=None).value
    lactate = float("nan") if lactate_mmol_l is None else float(lactate_mmol_l)
    rating = float("nan") if exertion is None or exertion_scale != "6-20" else float(exertion)
    rows = [
        ("respiratory exchange ratio", ratio, 1.10, _met(ratio, ratio >= 1.10)),
        ("respiratory exchange ratio, stricter", ratio, 1.15, _met(ratio, ratio >= 1.15)),
        (
            "heart rate within 10 bpm of predicted",
            peak,
            predicted - 10,
            _met(peak - predicted, peak >= predicted - 10),
        ),
        ("lactate (mmol/L)", lactate, 8.0, _met(lactate, lactate >= 8)),
        ("exertion (6-20)", rating, 17.0, _met(rating, rating >= 17)),
    ]
    out = pd.DataFrame(rows, columns=["criterion", "value", "limit", "met"]).astype({"met": object})
    out["provenance"] = MEMORY
    return out


def verify(value: float, bout: float) -> str:
    """Compare a verification bout with the test."""
    if abs(bout - value) <= VERIFICATION_SHARE * value:
        return "confirmed"
    return "higher" if bout > value else "lower"


def _at(curve: pd.DataFrame, end_s: float) -> float:
    near = (curve["elapsed_s"] - end_s).abs()
    return float(curve.loc[near.idxmin(), "vo2_ml_min"]) if near.min() <= 5 else float("nan")


def _met(measured: float, condition) -> bool | None:
    return bool(condition) if np.isfinite(measured) else None
