"""One round of one athlete in numbers: means, peak, share of maximum, seconds per band, and what was set aside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, format_number
from ..physiology.hr_max import MeasuredHrMax, choose_measured_hr_max
from ..recordings import read_gas_exchange
from ..study.inventory import inside_folder
from .flags import FLAGS, CleaningRules, Spans

BAND_COLUMNS = ("very_light_s", "light_s", "moderate_s", "vigorous_s", "near_maximal_s")
NAN = float("nan")


@dataclass(frozen=True)
class AthleteFacts:
    """What of an athlete turns beats per minute into intensity."""

    hr_max: float = NAN
    hr_max_predicted: float = NAN
    hr_rest: float = NAN
    sex: str = ""
    hr_ceiling: float = NAN


def measure_round(
    spans: Spans, start: float, end: float, rules: CleaningRules, next_start: float
) -> tuple[dict[str, float], dict[str, float]]:
    """Measure one round."""
    length = end - start
    seconds, rates, codes = spans.between(start, end)
    by_code = np.bincount(codes, weights=seconds, minlength=len(FLAGS))
    aside = {FLAGS[i]: float(s) for i, s in enumerate(by_code) if i and s > 1e-9}
    for cause, lost in spans.missing(start, end).items():
        aside[cause] = aside.get(cause, 0.0) + lost
    valid = max(length - sum(aside.values()), 0.0)
    share = valid / length if length > 0 else NAN
    good = np.where(codes == 0, seconds, 0.0)
    enough = good.any() and share >= rules.least_valid_share - 1e-9
    mean = float(good @ rates / good.sum()) if valid > 0 and good.any() else NAN
    shift = spans.bridged_mean(start, end) - mean if enough and aside else 0.0
    late_from = start + min(rules.late_from_s, length / 2)
    late, late_valid = spans.mean(late_from, end)
    late_enough = enough and late_valid >= rules.least_valid_share * (end - late_from) - 1e-9
    values = {
        "hr_mean_bpm": mean if enough and abs(shift) <= rules.gap_shift_bpm else NAN,
        "hr_late_bpm": late if late_enough else NAN,
        "hr_peak_bpm": spans.peak(start, end, rules.peak_window_s) if enough else NAN,
        "valid_s": valid,
        "valid_share": share,
        "hr_recovery_60s_bpm": _recovery(spans, end, next_start),
        "hr_rest_end_bpm": _end_of_rest(spans, end, next_start),
        "hr_drift_bpm_min": spans.slope_per_min(late_from, end) if late_enough else NAN,
    }
    return values, aside


def _recovery(spans: Spans, end: float, next_start: float) -> float:
    """Fall of the heart rate over the first 60 s of rest: mean of the last 5 s minus mean of 55 to 65 s after."""
    if next_start - end < 65.0:
        return NAN
    at_end, valid = spans.mean(end - 5.0, end)
    later, valid_later = spans.mean(end + 55.0, end + 65.0)
    return at_end - later if valid >= 2.5 and valid_later >= 5.0 else NAN


REST_END_S = 10.0
"""Heart rate at the end of a rest is the mean of this many seconds before the next round (our proposal)."""


def _end_of_rest(spans: Spans, end: float, next_start: float) -> float:
    """Heart rate at the end of the rest: mean of its last 10 s."""
    if not np.isfinite(next_start) or next_start - end < REST_END_S:
        return NAN
    mean, valid = spans.mean(next_start - REST_END_S, next_start)
    return mean if valid >= REST_END_S / 2 else NAN


def intensity_of_round(
    spans: Spans, start: float, end: float, mean: float, facts: AthleteFacts, cuts: np.ndarray
) -> dict[str, float]:
    """Shares of maximum and reserve, seconds per band and training impulse of one round."""
    out = dict.fromkeys(
        ("percent_hr_max", "percent_hr_max_predicted", "percent_hr_reserve", *BAND_COLUMNS, "training_impulse"), NAN
    )
    out["percent_hr_max"] = 100.0 * mean / facts.hr_max
    out["percent_hr_max_predicted"] = 100.0 * mean / facts.hr_max_predicted
    if facts.hr_rest < facts.hr_max:
        out["percent_hr_reserve"] = 100.0 * (mean - facts.hr_rest) / (facts.hr_max - facts.hr_rest)
    seconds, rates, codes = spans.between(start, end)
    good = codes == 0
    if np.isnan(facts.hr_max) or np.isnan(mean) or not good.any():
        return out
    band = np.searchsorted(cuts, 100.0 * rates[good] / facts.hr_max, side="right")
    out.update(zip(BAND_COLUMNS, np.bincount(band, weights=seconds[good], minlength=5).tolist(), strict=True))
    if facts.sex in ("M", "F") and facts.hr_rest < facts.hr_max:
        from ..physiology import banister_impulse

        # single beats above the maximum count as the maximum; a whole peak above it blanks the column afterwards
        impulse = banister_impulse(
            np.minimum(rates[good], facts.hr_max), seconds[good], hr_max_bpm=facts.hr_max, hr_rest_bpm=facts.hr_rest,
            sex=facts.sex,
        )  # fmt: skip
        out["training_impulse"] = impulse.value
    return out


def bounds_of_round(spans: Spans, start: float, end: float, lowest: float, highest: float) -> dict[str, float]:
    """The mean of a round with its bad samples set aside, kept, and replaced by the worst and best case."""
    seconds, rates, codes = spans.between(start, end)
    good = np.where(codes == 0, seconds, 0.0)
    valid, length = float(good.sum()), end - start
    out = dict.fromkeys(("mean_bpm", "mean_kept_bpm", "mean_bridged_bpm", "mean_low_bpm", "mean_high_bpm"), NAN)
    out["aside_s"] = max(length - valid, 0.0)
    out["aside_share"] = out["aside_s"] / length if length > 0 else NAN
    if seconds.sum() > 0:
        out["mean_kept_bpm"] = float(seconds @ rates / seconds.sum())
    if valid > 0 and out["aside_s"] < 1e-9:
        mean = float(good @ rates) / valid
        out |= dict.fromkeys(("mean_bpm", "mean_kept_bpm", "mean_bridged_bpm", "mean_low_bpm", "mean_high_bpm"), mean)
    elif valid > 0:
        total = float(good @ rates)
        out["mean_bpm"] = total / valid
        out["mean_bridged_bpm"] = spans.bridged_mean(start, end)
        out["mean_low_bpm"] = (total + out["aside_s"] * min(lowest, float(rates[good > 0].min()))) / length
        out["mean_high_bpm"] = (total + out["aside_s"] * max(highest, float(rates[good > 0].max()))) / length
    return out


def costs_of_round(
    spans: Spans, start: float, end: float, rules: CleaningRules
) -> list[tuple[str, float, float, bool]]:
    """What each flag costs in one round."""
    seconds, rates, codes = spans.between(start, end)
    good = float(seconds[codes == 0].sum())
    total = float(seconds[codes == 0] @ rates[codes == 0])
    need = rules.least_valid_share * (end - start) - 1e-9
    found = []
    for code in np.unique(codes[codes > 0]).tolist():
        mine = codes == code
        lost = float(seconds[mine].sum())
        if lost <= 1e-9:
            continue
        kept = (total + float(seconds[mine] @ rates[mine])) / (good + lost)
        found.append((FLAGS[code], lost, kept - total / good if good > 0 else NAN, good < need <= good + lost))
    lost = spans.missing(start, end).get("no contact", 0.0)
    if lost > 0:
        found.append(("no contact", lost, NAN, good < need <= good + lost))
    return found


NEEDS_MAXIMUM = ("percent_hr_max", "percent_hr_reserve", *BAND_COLUMNS, "training_impulse")


def facts_of(
    athletes: pd.DataFrame, rules: CleaningRules, tests: dict[str, MeasuredHrMax] | None = None
) -> dict[str, AthleteFacts]:
    """Athlete -> AthleteFacts: measured and predicted maximum separately; the highest of a fitness test counts as measured."""
    return {
        row["athlete"]: _facts(row, rules, (tests or {}).get(row["athlete"])) for row in athletes.to_dict("records")
    }


def _facts(row: dict, rules: CleaningRules, test: MeasuredHrMax | None) -> AthleteFacts:
    stated = _number(row.get("hr_max_bpm"))
    source = row.get("hr_max_source", "")
    sex = row.get("sex", "")
    predicted = stated if source == "predicted" else np.nan
    if np.isnan(predicted) and source != "predicted" and row.get("hr_limited") != "yes":
        predicted = _predicted(_number(row.get("age_years")), sex, rules.predicted_hr_max)
    measured = stated if source == "measured" else np.nan
    highest = float(test.value) if test else np.nan
    ceiling = np.fmax(measured, highest)
    if np.isnan(measured):
        measured = highest
    elif highest > measured + rules.peak_tolerance_bpm:
        measured = np.nan  # a problem to resolve: which of the two it is
    return AthleteFacts(
        hr_max=float(measured), hr_max_predicted=predicted, hr_rest=_number(row.get("hr_rest_bpm")),
        sex=sex if sex in ("M", "F") else "", hr_ceiling=float(ceiling),
    )  # fmt: skip


PEAK_OF_TEST_S = 10.0
"""The highest heart rate of a gas-exchange file is a mean over this many seconds (5 to 15 s, never one sample)."""
TYPED_HELD_S = 5.0
"""What a device shows as its highest is smoothed over some seconds (common practice, no source)."""


def maxima_of_tests(study) -> tuple[dict[str, MeasuredHrMax], dict[str, str]]:
    """The highest heart rate of every athlete's fitness tests, typed or in a gas-exchange file, and where it stands."""
    # An athlete whose stated maximum a decision keeps has none: table athletes, measure hr_max_bpm, action
    # keep.
    kept = {
        d.athlete
        for d in study.decisions.itertuples(index=False)
        if d.action == "keep" and d.measure.casefold() == "hr_max_bpm" and d.table.casefold().startswith("athletes")
    }
    efforts: dict[str, list[dict]] = {}
    places: dict[tuple[str, float], str] = {}
    for row in study.aerobic_tests.itertuples(index=False):
        if row.athlete in kept:
            continue
        effort = "graded_cycle" if "cycle" in row.test else "graded_other" if row.file else "field_test"
        found = [(row.hr_max_bpm, TYPED_HELD_S, "hr_max_bpm of aerobic_tests")]
        if row.file and not pd.isna(row.file):
            found.append((_highest_in_file(study.folder, row.file), PEAK_OF_TEST_S, f"the file {row.file}"))
        for value, held, where in found:
            if np.isfinite(_number(value)):
                efforts.setdefault(row.athlete, []).append(
                    {"effort": effort, "hr_peak_bpm": float(value), "sustained_s": held}
                )
                places[row.athlete, float(value)] = where
    chosen = {athlete: choose_measured_hr_max(rows) for athlete, rows in efforts.items()}
    return chosen, {athlete: places[athlete, found.value] for athlete, found in chosen.items()}


def _highest_in_file(folder, name: str) -> float:
    """The highest mean heart rate over ten seconds of a gas-exchange file; missing where it holds none."""
    path = inside_folder(folder, name, "aerobic_files")
    try:
        table = read_gas_exchange(path) if path is not None else pd.DataFrame()
    except KitError:
        return NAN  # said where the test is read
    if "hr_bpm" not in table:
        return NAN
    there = table["hr_bpm"].between(40, 230).to_numpy()
    time, rates = table["elapsed_s"].to_numpy()[there], table["hr_bpm"].to_numpy()[there]
    if len(time) < 3:
        return NAN
    begin = np.searchsorted(time, time - PEAK_OF_TEST_S)
    total = np.concatenate(([0.0], np.cumsum(rates)))
    count = np.arange(len(time)) + 1 - begin
    full = (count >= 2) & (time - time[0] >= PEAK_OF_TEST_S)
    means = (total[1:] - total[begin]) / count
    return float(means[full].max()) if full.any() else NAN


def disputed_maxima(
    athletes: pd.DataFrame, rules: CleaningRules, tests: dict, places: dict
) -> tuple[list[str], list[str]]:
    """Warnings about stated maxima below the athlete's own test, and remarks about maxima taken from a test."""
    warnings, remarks = [], []
    for row in athletes.to_dict("records"):
        athlete, found = row["athlete"], tests.get(row["athlete"])
        if found is None:
            continue
        stated, source = _number(row.get("hr_max_bpm")), row.get("hr_max_source", "")
        reached = format_number(found.value, 0, unit="bpm")
        if source == "measured" and found.value > stated + rules.peak_tolerance_bpm:
            warnings.append(
                f"{athlete}: the fitness test reached {reached} ({places[athlete]}), above the measured maximum of "
                f"{format_number(stated, 0, unit='bpm')} in athletes. Write hr_max_bpm = {found.value:.0f} there; or, where the "
                "test is wrong, type a row in decisions.csv: table athletes, athlete "
                f"{athlete}, measure hr_max_bpm, action keep. Until then no share of the maximum is given."
            )
        elif source != "measured" or np.isnan(stated):
            remarks.append(
                f"{athlete}: no measured maximum in athletes; the highest of the fitness test, {reached} ({places[athlete]}), "
                "was used. To use another one, write it as hr_max_bpm with hr_max_source = measured."
            )
    return warnings, remarks


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
        stated = facts.get(athlete, AthleteFacts()).hr_ceiling
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
