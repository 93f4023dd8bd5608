"""Laboratory tests: gas exchange with a stated averaging rule, plateau and verification bout; reports; metabolic equations."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from .aerobic_model import AVERAGING_NOTE, SEM_PROVENANCE, SEM_SOURCE, AerobicEquation, laboratory_sem
from .submaximal import ERROR_SHARE, metabolic_cost
from .units import COMPUTED, MEMORY, SECONDARY, Estimate, m_min_from_km_h

AVERAGES = {
    "breaths": "highest mean of {n} consecutive breaths",
    "seconds": "highest moving mean of {n} s, breaths interpolated to whole seconds",
    "bins": "highest mean of consecutive bins of {n} s, breaths interpolated to whole seconds",
}
"""Rule -> words, to be printed beside every VO2max."""
_LIMITS = {"breaths": (1, 60), "seconds": (5, 120), "bins": (5, 120)}
AVERAGED_FROM_S = 9.0
LONGEST_GAP_S = 15.0
"""Breaths further apart than this, or than three times the usual distance, are a gap; no window crosses it."""


def parse_average(average: str) -> tuple[str, int]:
    """Read an averaging rule such as "seconds:30"."""
    match = re.fullmatch(r"\s*(breaths|seconds|bins)\s*:\s*(\d+)\s*", str(average))
    if not match:
        raise KitError(f"average is {average!r}: write breaths:15, seconds:30 or bins:30")
    kind, size = match.group(1), int(match.group(2))
    low, high = _LIMITS[kind]
    if not low <= size <= high:
        raise KitError(f"average is {average!r}: {kind} from {low} to {high} are possible")
    return kind, size


def usual_distance_s(table: pd.DataFrame) -> float:
    """Return the median time between samples in seconds."""
    steps = np.diff(table["elapsed_s"].to_numpy())
    return float(np.median(steps[steps > 0])) if np.any(steps > 0) else float("nan")


def is_averaged(table: pd.DataFrame) -> bool:
    """Tell whether rows are averages already: no one in a hard test breathes once in 9 s."""
    return usual_distance_s(table) >= AVERAGED_FROM_S


def average_curve(table: pd.DataFrame, kind: str, size: int) -> pd.DataFrame:
    """Average oxygen uptake by a rule."""
    table = table.dropna(subset=["vo2_ml_min"])
    step = usual_distance_s(table)
    if kind == "breaths" and is_averaged(table):
        raise KitError(
            f"the samples are {step:.0f} s apart, so they are averages and not breaths: use seconds:N or bins:N"
        )
    if kind != "breaths" and step > 1.1 * size:
        raise KitError(f"the samples are averages of about {step:.0f} s: a window of {size} s cannot be had from them")
    if kind == "breaths":
        curve = _rows(table, size)
    elif is_averaged(table):
        rows = max(1, round(size / step))
        curve = _rows(table, rows).iloc[:: rows if kind == "bins" else 1]
    else:
        curve = _seconds(table, kind, size)
    curve = curve.dropna()
    if curve.empty:
        raise KitError(f"no whole window of {size} {'breaths' if kind == 'breaths' else 's'} lies in the samples")
    return curve.reset_index(drop=True)


def _gap_limit(times: np.ndarray) -> float:
    steps = np.diff(times)
    steps = steps[steps > 0]
    return max(LONGEST_GAP_S, 3 * float(np.median(steps))) if len(steps) else LONGEST_GAP_S


def _moving_mean(values: np.ndarray, size: int) -> np.ndarray:
    if len(values) < size:
        return np.array([])
    return np.lib.stride_tricks.sliding_window_view(values, size).mean(axis=1)


def _rows(table: pd.DataFrame, size: int) -> pd.DataFrame:
    times, values = table["elapsed_s"].to_numpy(), table["vo2_ml_min"].to_numpy(dtype=float)
    means = _moving_mean(values, size)
    ends = times[size - 1 :] if len(means) else times[:0]
    crossing = np.r_[0, np.cumsum(np.diff(times) > _gap_limit(times))]
    if len(means):
        means = np.where(crossing[size - 1 :] == crossing[: len(means)], means, np.nan)
    return pd.DataFrame({"elapsed_s": ends, "vo2_ml_min": means})


def _seconds(table: pd.DataFrame, kind: str, size: int) -> pd.DataFrame:
    same_time = table.groupby("elapsed_s", sort=True)["vo2_ml_min"].mean()
    times, values = same_time.index.to_numpy(dtype=float), same_time.to_numpy(dtype=float)
    # whole seconds from 1; a recording that starts late keeps bins at multiples of their length
    first = 1 + size * int(max(times[0] - 1, 0) // size)
    grid = np.arange(first, np.floor(times[-1]) + 1)
    on_grid = np.interp(grid, times, values)
    limit = _gap_limit(times)
    for gap in np.flatnonzero(np.diff(times) > limit):
        on_grid[(grid > times[gap]) & (grid < times[gap + 1])] = np.nan
    if kind == "seconds":
        means = _moving_mean(on_grid, size)
        ends = grid[size - 1 :] if len(means) else grid[:0]
    else:
        padded = np.r_[on_grid, np.zeros(-len(on_grid) % size)].reshape(-1, size)
        means = padded.mean(axis=1)
        ends = np.minimum(grid[0] + size * np.arange(1, len(means) + 1) - 1, grid[-1] if len(grid) else 0)
    return pd.DataFrame({"elapsed_s": ends, "vo2_ml_min": means})


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
    return float(peak["elapsed_s"]) if fallen and curve["elapsed_s"].iloc[-1] - peak["elapsed_s"] > 45 else None


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
    small, halved = (bool(rise <= PLATEAU_ML_MIN), bool(rise < expected / 2)) if can_tell else (None, None)
    rows = [
        ("rise in the last minute", rise, PLATEAU_ML_MIN, "mL/min", small),
        ("rise against half the expected", rise, expected / 2, "mL/min", halved),
    ]
    out = pd.DataFrame(rows, columns=["criterion", "value", "limit", "unit", "met"]).astype({"met": object})
    out["provenance"] = MEMORY
    return (bool(all(r[4] for r in rows)) if can_tell else None), out


def verify(value: float, bout: float) -> str:
    """Compare a verification bout with the test."""
    if abs(bout - value) <= VERIFICATION_SHARE * value:
        return "confirmed"
    return "higher" if bout > value else "lower"


def _at(curve: pd.DataFrame, end_s: float) -> float:
    near = (curve["elapsed_s"] - end_s).abs()
    return float(curve.loc[near.idxmin(), "vo2_ml_min"]) if near.min() <= 5 else float("nan")


COMPARED_RULES = ("breaths:5", "breaths:15", "breaths:30", "seconds:15", "seconds:30", "seconds:60", "bins:15", "bins:30",
                  "bins:60")  # fmt: skip


@dataclass(frozen=True)
class GasExchangeResult(Result):
    """VO2max or VO2peak of a gas-exchange test with the rule that made it."""

    # mL/kg/min, of the test, or of a verification bout that read higher; the error is the retest error of laboratory tests
    value: float
    standard_error: float
    unit: str  # "mL/kg/min"
    label: str  # "VO2max" with a plateau or a confirming verification bout, else "VO2peak"
    rule: str  # The averaging rule, as given ("seconds:30")
    rule_words: str  # The same in words, to be printed beside every use
    vo2_l_min: float  # The same value in L/min
    mass_kg: float  # Body mass used
    plateau: bool | None  # Whether the end of the test was flat; None where it is unknown
    plateau_table: pd.DataFrame  # criterion, value, limit, unit, met, provenance
    verification: str  # "confirmed", "higher", "lower" or "" where no bout was ridden or run
    verification_ml_kg_min: float  # The same rule on the verification bout; not-a-number where there was none
    test_ml_kg_min: float  # The test without the bout: `value`, unless the bout read higher
    time_of_peak_s: float  # When the highest average ended, and how long the test was
    duration_s: float
    by_rule: pd.DataFrame  # rule, vo2max_ml_kg_min: the same test by other rules
    curve: pd.DataFrame  # elapsed_s, vo2_ml_min: the averaged curve
    n_samples: int  # Rows used, and rows without a usable value
    n_left_out: int
    source: str
    provenance: str
    error_kind: str
    error_note: str
    warnings: tuple[str, ...] = ()

    @property
    def estimate(self) -> Estimate:
        """The same value as an Estimate."""
        return Estimate(
            value=self.value, standard_error=self.standard_error, unit=self.unit,
            source=f"{self.source}; {self.rule_words}", error_kind=self.error_kind, equation=self.rule,
            population="the athlete", provenance=self.provenance, error_provenance=SEM_PROVENANCE,
            error_note=self.error_note, label=self.label, inputs=(("mass_kg", self.mass_kg), ("average", self.rule)),
            warnings=self.warnings,
        )  # fmt: skip


def process_gas_exchange(
    samples: pd.DataFrame, mass_kg: float, *, average: str = "seconds:30", verification: pd.DataFrame | None = None
) -> GasExchangeResult:
    """Find VO2max or VO2peak in the gas exchange of a maximal test.

    Parameters
    ----------
    samples : pandas.DataFrame
        elapsed_s, vo2_ml_min, optionally vco2_ml_min and hr_bpm; one row per breath or per averaged interval, in any
        order, at irregular times.
    mass_kg : float
        Body mass, kg, 20 to 250.
    average : str
        "breaths:15" (mean of 15 consecutive breaths), "seconds:30" (moving mean of 30 s) or "bins:30" (consecutive
        bins of 30 s). The default is seconds:30.
    verification : pandas.DataFrame, optional
        Samples of a verification bout. Where it reads more than 3 % higher, its value stands.

    Returns
    -------
    GasExchangeResult

    Raises
    ------
    KitError
        For missing columns, an impossible mass or rule, too few samples, values in L/min; all at once.

    Notes
    -----
    Breaths: the largest mean of N consecutive rows. Seconds and bins: breaths are put on whole seconds from 1 by
    linear interpolation; a moving mean of N of them, or bins that start at second 1; an incomplete last bin is divided
    by its full length, so it cannot win by being short. Windows across a gap in the samples are not used. No plateau and
    no confirming bout: VO2peak. Secondary criteria (exchange ratio, predicted maximal heart rate, lactate) are not used:
    they are often met well below the maximum.

    References
    ----------
    Nolte 2023, Sports Med, doi 10.1007/s40279-023-01903-3 (ramp tests with VO2max by each rule); Midgley 2007, Clin
    Physiol Funct Imaging 27:122; Taylor 1955 (plateau, from memory).

    Examples
    --------
    >>> rise = pd.DataFrame({"elapsed_s": range(2, 602, 2)})
    >>> rise["vo2_ml_min"] = (1000 + 5 * rise["elapsed_s"]).clip(upper=3600)
    >>> result = process_gas_exchange(rise, 72.0, average="seconds:30")
    >>> round(result.value, 1), result.label
    (50.0, 'VO2max')
    """
    kind, size = parse_average(average)
    table, left_out, warnings = _clean(samples, mass_kg)
    curve = average_curve(table, kind, size)
    by_rule = _by_rule(table, mass_kg)
    stop = exercise_end(table)
    if stop is not None:
        table = table[table["elapsed_s"] <= stop]
        warnings.append(f"The samples go on into recovery; exercise was taken to end at {stop:.0f} s.")
    peak = curve.loc[curve["vo2_ml_min"].idxmax()]
    value = float(peak["vo2_ml_min"]) / mass_kg
    if not 5 <= value <= 100:
        raise KitError(f"{value:.1f} mL/kg/min is no athlete's VO2max: check mass_kg and the unit of vo2_ml_min")
    plateau, flatness = plateau_table(table)
    if plateau is None:
        warnings.append(
            "We cannot tell whether there is a plateau: the test is short or flat, or oxygen uptake falls before the samples end."
        )
    verdict, bout = "", float("nan")
    if verification is not None:
        bout = process_gas_exchange(verification, mass_kg, average=average).value
        verdict = verify(value, bout)
        if verdict == "higher":
            warnings.append(
                f"The verification bout read higher ({bout:.1f} against {value:.1f} mL/kg/min): its value stands, and the test "
                "before it was not maximal."
            )
        elif verdict == "lower":
            warnings.append("The verification bout was lower: it does not confirm the value.")
    first = value
    if verdict == "higher":
        value = bout
    flat = bool(plateau) and verdict != "higher"  # a plateau below a later value was none
    label = "VO2max" if flat or verdict == "confirmed" else "VO2peak"
    if label == "VO2peak" and verdict != "higher":
        warnings.append("No plateau and no confirming verification bout: called VO2peak.")
    duration = float(table["elapsed_s"].iloc[-1] - table["elapsed_s"].iloc[0])
    warnings += _remarks(kind, size, duration, table)
    return GasExchangeResult(
        value=value, standard_error=laboratory_sem(value), unit="mL/kg/min", label=label, rule=f"{kind}:{size}",
        rule_words=AVERAGES[kind].format(n=size), vo2_l_min=value * mass_kg / 1000, mass_kg=float(mass_kg),
        plateau=plateau, plateau_table=flatness, verification=verdict, verification_ml_kg_min=bout,
        test_ml_kg_min=first, time_of_peak_s=float(peak["elapsed_s"]), duration_s=duration, by_rule=by_rule,
        curve=curve, n_samples=len(table), n_left_out=left_out, source="the athlete's own gas exchange",
        provenance=COMPUTED, error_kind="retest", error_note=f"retest error of laboratory tests, {SEM_SOURCE}",
        warnings=tuple(warnings),
    )  # fmt: skip


def _clean(samples, mass_kg) -> tuple[pd.DataFrame, int, list[str]]:
    problems, warnings = [], []
    if not isinstance(samples, pd.DataFrame | dict | list):
        raise KitError("samples must be a table with the columns elapsed_s and vo2_ml_min")
    table = pd.DataFrame(samples)
    try:
        mass = float(mass_kg)
    except (TypeError, ValueError):
        mass = float("nan")
    if not 20 <= mass <= 250:
        problems.append(f"mass_kg is {mass_kg!r}: a body mass of 20 to 250 kg is needed")
    missing = [c for c in ("elapsed_s", "vo2_ml_min") if c not in table]
    problems += [f"column {c} is missing" for c in missing]
    if missing:
        raise KitError("; ".join(problems))
    columns = [c for c in ("elapsed_s", "vo2_ml_min", "vco2_ml_min", "hr_bpm") if c in table]
    table = table[columns].apply(pd.to_numeric, errors="coerce")
    usable = (
        table["elapsed_s"].notna()
        & table["vo2_ml_min"].ge(0)
        & np.isfinite(table["vo2_ml_min"])
        & table["elapsed_s"].ge(0)
    )
    left_out = int((~usable).sum())
    table = table[usable].sort_values("elapsed_s", kind="stable").reset_index(drop=True)
    if left_out:
        warnings.append("Some rows have no usable time or oxygen uptake and were set aside.")
    if len(table) < 5:
        problems.append(f"only {len(table)} usable samples: at least five are needed")
    elif table["vo2_ml_min"].max() < 20:
        problems.append("vo2_ml_min never reaches 20 mL/min: is it in L/min? multiply by 1000")
    elif table["vo2_ml_min"].max() < 200:
        problems.append("vo2_ml_min never reaches 200 mL/min: is it in mL/kg/min? multiply by the mass")
    if len(table) and table["elapsed_s"].iloc[-1] - table["elapsed_s"].iloc[0] < 60:
        problems.append("the samples cover less than a minute: are the times in minutes? elapsed_s is in seconds")
    if problems:
        raise KitError("; ".join(problems))
    return table, left_out, warnings


def _remarks(kind: str, size: int, duration: float, table: pd.DataFrame) -> list[str]:
    said = []
    if is_averaged(table):
        said.append(
            f"The samples are averages already, about {usual_distance_s(table):.0f} s each; whole rows were used."
        )
    elif kind == "breaths" and table["elapsed_s"].diff().iloc[1:].std() < 0.01:
        said.append("The samples are evenly spaced, so they may not be single breaths: use seconds:N or bins:N.")
    if size < 15:
        said.append(f"A short window reads high: {AVERAGING_NOTE}.")
    if not 480 <= duration <= 720:
        said.append("A ramp of 8 to 12 min is usual (from memory); this test was shorter or longer.")
    smooth = table["vo2_ml_min"].rolling(7, center=True, min_periods=4).median()
    rest = (table["vo2_ml_min"] - smooth).abs()
    if (rest > 0.5 * smooth.max()).any():
        said.append("Single samples lie far from their neighbours: look at the curve before using a short window.")
    return said


def _by_rule(table: pd.DataFrame, mass_kg: float) -> pd.DataFrame:
    rows = []
    for rule in COMPARED_RULES:
        kind, size = parse_average(rule)
        try:
            best = float(average_curve(table, kind, size)["vo2_ml_min"].max()) / mass_kg
        except KitError:
            best = float("nan")
        rows.append((rule, best))
    return pd.DataFrame(rows, columns=["rule", "vo2max_ml_kg_min"])


def _bruce(v: dict) -> float:
    t = v["time_min"]
    return 14.8 - 1.379 * t + 0.451 * t**2 - 0.012 * t**3 if v["sex"] == "M" else 4.38 * t - 3.9


def _from_samples(v: dict) -> tuple[dict, list[str], list[str]]:
    samples, bout = v["samples"], v.get("verification")
    if bout is None and "verification_from_s" in v:  # test and bout in one file
        later = pd.DataFrame(samples)["elapsed_s"] >= v["verification_from_s"]
        samples, bout = pd.DataFrame(samples)[~later], pd.DataFrame(samples)[later]
        bout = bout.assign(elapsed_s=bout["elapsed_s"] - v["verification_from_s"])
    average = v.get("average", "seconds:30")
    result = process_gas_exchange(samples, v["mass_kg"], average=average, verification=bout)
    return {**v, "vo2max_ml_kg_min": result.value, "verdict": result.label}, [], list(result.warnings)


def _report_check(v: dict, value: float) -> list[str]:
    said = []
    if "averaging" not in v:
        said.append(f"The averaging rule was not given: {AVERAGING_NOTE}.")
    if v.get("verdict") == "VO2peak":
        said.append("The report calls it VO2peak: the true maximum may be higher.")
    return said


def _prepare_report(v: dict) -> tuple[dict, list[str], list[str]]:
    if "vo2max_ml_kg_min" in v or "mass_kg" not in v:
        return v, [], []
    return {**v, "vo2max_ml_kg_min": 1000 * v["vo2max_l_min"] / v["mass_kg"]}, [], []


def _at_last_stage(activity: str):
    def compute(v: dict) -> float:
        if activity in ("walk", "run"):
            speed = m_min_from_km_h(v["speed_kmh"])
            return metabolic_cost(activity, speed_m_min=speed, grade=v.get("grade", 0.0)).value
        if activity == "step":
            return metabolic_cost(activity, steps_min=v["steps_min"], height_m=v["height_m"]).value
        return metabolic_cost(activity, power_w=v["power_w"], mass_kg=v["mass_kg"]).value

    return compute


def _range_check(activity: str):
    def check(v: dict, value: float) -> list[str]:
        if activity == "walk" and not 50 <= m_min_from_km_h(v["speed_kmh"]) <= 100:
            return ["Outside the validity range: 50 to 100 m/min (3 to 6 km/h)."]
        if activity == "run" and m_min_from_km_h(v["speed_kmh"]) <= 134:
            return ["Outside the validity range: above 134 m/min (8 km/h), or slower where truly running."]
        if activity == "leg_cycle" and not 50 <= v["power_w"] <= 200:
            return ["Outside the validity range: 50 to 200 W."]
        return []

    return check


_COST = {
    "walk": ("last walked stage", "3.5 + 0.1 S + 1.8 S G; S m/min, G fraction", ("speed_kmh",), ("grade",), "50 to 100 m/min"),
    "run": ("last run stage", "3.5 + 0.2 S + 0.9 S G; S m/min, G fraction", ("speed_kmh",), ("grade",), "above 134 m/min"),
    "leg_cycle": ("last stage on the cycle", "7 + 10.8 P / M; P W", ("power_w", "mass_kg"), (), "50 to 200 W"),
    "arm_cycle": ("last stage of arm cranking", "3.5 + 18 P / M; P W", ("power_w", "mass_kg"), (), ""),
    "step": ("last stage of stepping", "3.5 + 0.2 f + 1.33 · 1.8 f h", ("steps_min", "height_m"), (), ""),
}  # fmt: skip


def _cost_equation(activity: str) -> AerobicEquation:
    title, formula, needs, optional, validity = _COST[activity]
    known = metabolic_cost(activity, **_EXAMPLE[activity])
    return AerobicEquation(
        test=f"metabolic_{activity}", equation=f"acsm_{activity}", title=f"{title}, by the metabolic equation",
        source=known.source.rsplit(" (", 1)[0], provenance=known.provenance, formula=formula,
        compute=_at_last_stage(activity), needs=(needs,), optional=optional,
        population="adults in steady submaximal work", error=lambda v, y: ERROR_SHARE * y,
        error_note=known.error_note + ", for steady work", error_provenance=MEMORY, validity=validity,
        check=_range_check(activity),
        warning="Steady submaximal work only: taken at a maximal stage the equation reads too high.",
    )  # fmt: skip


_EXAMPLE = {
    "walk": {"speed_m_min": 90.0},
    "run": {"speed_m_min": 200.0},
    "leg_cycle": {"power_kgm_min": 600.0, "mass_kg": 70.0},
    "arm_cycle": {"power_kgm_min": 300.0, "mass_kg": 70.0},
    "step": {"steps_min": 24.0, "height_m": 0.3},
}

_SEM_NOTE = f"retest error of laboratory tests, {SEM_SOURCE}"

EQUATIONS = (
    *(_cost_equation(activity) for activity in _COST),
    AerobicEquation(
        "laboratory", "laboratory_report", "VO2max of a laboratory report", "the laboratory's report", COMPUTED,
        "as reported", lambda v: v["vo2max_ml_kg_min"], (("vo2max_ml_kg_min",), ("vo2max_l_min", "mass_kg")),
        "the athlete", ("averaging", "ergometer", "verdict"), error=lambda v, y: laboratory_sem(y), error_kind="retest",
        error_note=_SEM_NOTE, error_provenance=SEM_PROVENANCE, validity="10 to 100 mL/kg/min", check=_report_check,
        prepare=_prepare_report,
    ),
    AerobicEquation(
        "gas_exchange", "gas_exchange", "gas-exchange samples of a maximal test", "the athlete's own gas exchange", COMPUTED,
        "highest average by the stated rule", lambda v: v["vo2max_ml_kg_min"], (("samples", "mass_kg"),), "the athlete",
        ("average", "verification", "verification_from_s"), error=lambda v, y: laboratory_sem(y), error_kind="retest",
        error_note=_SEM_NOTE, error_provenance=SEM_PROVENANCE, validity="a maximal test", prepare=_from_samples,
    ),
    AerobicEquation(
        "treadmill_bruce", "foster_1984_pollock_1982", "treadmill time, Bruce protocol (3 min a stage, speed and slope rise)",
        "men Foster 1984 Am Heart J 107:1229-1234, women Pollock 1982 Am Heart J 103:363-373", SECONDARY,
        "men 14.8 - 1.379 t + 0.451 t² - 0.012 t³, women 4.38 t - 3.9; t decimal minutes (11:42 is 11.7)",
        _bruce, (("time_min", "sex"),), "not read", error=lambda v, y: 3.35 if v["sex"] == "M" else 2.7,
        error_note="men 3.35, women 2.7 mL/kg/min, from memory", error_provenance=MEMORY, validity="6 to 21 min (our proposal)",
        check=lambda v, y: [] if 6 <= v["time_min"] <= 21 else ["Outside the validity range: 6 to 21 min (our proposal)."],
        warning="Nobody holds the rail: it lengthens the time. In 41 patients the men's equation read 4.0 mL/kg/min low.",
    ),
)  # fmt: skip
