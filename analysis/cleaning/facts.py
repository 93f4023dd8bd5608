"""What of the athletes turns beats per minute into intensity, and the check of peaks against the stated maximum."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError, format_number
from .measure import BAND_COLUMNS, AthleteFacts
from .rules import CleaningRules

NEEDS_MAXIMUM = ("percent_hr_max", "percent_hr_reserve", *BAND_COLUMNS, "training_impulse")


def facts_of(athletes: pd.DataFrame, rules: CleaningRules) -> dict[str, AthleteFacts]:
    """Athlete -> AthleteFacts: measured and predicted maximum are kept apart."""
    return {row["athlete"]: _facts(row, rules) for row in athletes.to_dict("records")}


def _facts(row: dict, rules: CleaningRules) -> AthleteFacts:
    stated = _number(row.get("hr_max_bpm"))
    source = row.get("hr_max_source", "")
    sex = row.get("sex", "")
    predicted = stated if source == "predicted" else np.nan
    if np.isnan(predicted) and source != "predicted" and row.get("hr_limited") != "yes":
        predicted = _predicted(_number(row.get("age_years")), sex, rules.predicted_hr_max)
    return AthleteFacts(
        hr_max=stated if source == "measured" else np.nan,
        hr_max_predicted=predicted,
        hr_rest=_number(row.get("hr_rest_bpm")),
        sex=sex if sex in ("M", "F") else "",
    )


def _number(value) -> float:
    return float("nan") if value is None or pd.isna(value) else float(value)


def _predicted(age: float, sex: str, equation: str) -> float:
    if np.isnan(age):
        return float("nan")
    from ..physiology import predict_hr_max

    try:
        return float(predict_hr_max(age, equation, sex=sex or None).value)
    except KitError:
        return float("nan")


def band_cuts(edition: str) -> np.ndarray:
    """The four inner edges of the intensity bands of an edition, in per cent of the maximum."""
    from ..physiology import intensity_bands

    return intensity_bands(edition)["percent_hr_max_low"].to_numpy()[1:]


def unstated_maximum(athletes: pd.DataFrame) -> list[str]:
    """Sentences about maxima without a statement whether they were measured."""
    rows = athletes[athletes["hr_max_bpm"].notna() & athletes["hr_max_source"].eq("")]
    return [
        f"{a}: hr_max_source does not say whether the maximal heart rate was measured or predicted; it was not used."
        for a in rows["athlete"]
    ]


def resolve_peaks(
    rows: pd.DataFrame, facts: dict[str, AthleteFacts], rules: CleaningRules
) -> tuple[pd.DataFrame, list[str]]:
    """Blank every share of a maximum that the athlete's own sparring peak (or typed mean) shows to be too low."""
    top = np.fmax(rows["hr_peak_bpm"].to_numpy(), rows["hr_mean_bpm"].to_numpy())
    peaks = pd.Series(top).groupby(rows["athlete"].to_numpy()).max()
    problems = []
    for athlete, peak in peaks.items():
        stated = facts.get(athlete, AthleteFacts()).hr_max
        if not peak > stated + rules.peak_tolerance_bpm:
            continue
        rows.loc[rows["athlete"] == athlete, list(NEEDS_MAXIMUM)] = np.nan
        problems.append(
            f"{athlete}: sparring reached {format_number(peak, 0, unit='bpm')}, above the stated maximum of "
            f"{format_number(stated, 0, unit='bpm')}. Correct hr_max_bpm in athletes.csv if the trace is sound, or set "
            "the stretch aside in decisions.csv; until then no share of the maximum is given."
        )
    over = (rows["percent_hr_max_predicted"] > 100).to_numpy()
    if over.any():
        rows.loc[over, "percent_hr_max_predicted"] = np.nan
        who = ", ".join(sorted(set(rows.loc[over, "athlete"])))
        problems.append(
            f"{who}: a round mean lies above the predicted maximum, which is therefore too low for this athlete."
        )
    return rows, problems
