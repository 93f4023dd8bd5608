"""The tables of a survey that are made from simulated shares: thresholds, curve, equations, ages, other choices."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
import pandas as pd

from ..basics import KitError, did_you_mean
from ..physiology import hr_max_equations, predict_hr_max
from ..study.columns import column_rules
from .against import GRID, MEASURES, Carried, carry_error, people_of, typical_values
from .files import for_whom, predict_maxima
from .screen import OTHER_KIND, TWICE_FILE, TWICE_ROW, WRIST

THRESHOLDS = (64.0, 77.0, 90.0, 96.0)
"""Per cent of maximum: the lower edges of moderate, vigorous and near-maximal, and 90 in between."""
MAIN = ("percent_peak", 90.0)
RATES = ("hr_mean_bpm", "hr_peak_bpm")
CARRIED = ("exact", "centre", "low", "high", "total_low", "total_high")
SHARE_COLUMNS = ["measure", "threshold", "estimate", *CARRIED[1:], "n_athletes", "n_observations"]
NO_SHARES = pd.DataFrame(columns=SHARE_COLUMNS)
FEWER_PEOPLE, FEWER_DRAWS = 2000, 200
"""Equations and other choices are simulated with fewer people and draws than the main analysis."""


def share_table(carried: Carried, n_athletes: int, n_observations: int) -> pd.DataFrame:
    """Give the shares at or above THRESHOLDS, with both kinds of interval."""
    lines = [
        [measure, threshold, *carried.at(measure, threshold).values(), n_athletes, n_observations]
        for measure in MEASURES
        for threshold in THRESHOLDS
    ]
    return pd.DataFrame(lines, columns=SHARE_COLUMNS)


def curve_table(carried: Carried) -> pd.DataFrame:
    """Give the whole distribution, from the first point that not all sessions reach to the first that none does."""
    parts = []
    for row, measure in enumerate(MEASURES):
        part = pd.DataFrame({"measure": measure, "percent": GRID} | {n: getattr(carried, n)[row] for n in CARRIED})
        lowest, highest = part[list(CARRIED)].min(axis=1), part[list(CARRIED)].max(axis=1)
        parts.append(part[(lowest < 1 - 1e-9) & (highest > 1e-9)])
    return pd.concat(parts, ignore_index=True).rename(columns={"exact": "estimate"})


def equation_table(main: pd.DataFrame, *, seed: int) -> pd.DataFrame:
    """Give the main shares under each published equation, for the people it can be used for."""
    lines = []
    for known in hr_max_equations().itertuples(index=False):
        maxima = maxima_of_sessions(main, known.equation)
        people = people_of(main["hr_mean_bpm"], main["hr_peak_bpm"], main["code"], maxima, known.standard_error)
        if not people.n:
            continue
        carried = carry_error(people, n_draws=FEWER_DRAWS, seed=seed, most=FEWER_PEOPLE)
        label = f"{known.author} {known.year}"
        for measure, threshold in (MAIN, ("percent_mean", 77.0)):
            lines.append([
                known.equation, label, known.formula, known.standard_error, known.provenance, for_whom(known.equation), measure,
                threshold, *carried.at(measure, threshold).values(), people.n, len(people.codes),
            ])  # fmt: skip
    first = ["equation", "label", "formula", "prediction_error_bpm", "provenance", "sex"]
    return pd.DataFrame(lines, columns=[*first, *SHARE_COLUMNS])


def maxima_of_sessions(sessions: pd.DataFrame, equation: str) -> np.ndarray:
    """Return the predicted maximum of each session's person; not-a-number where age or a needed sex is not known."""
    people = sessions.drop_duplicates("code")
    values = predict_maxima(people["age_years"], people["sex"].astype(object), equation)
    if for_whom(equation) == "F":
        values = np.where(people["sex"] == "F", values, np.nan)
    by_code = np.full(int(sessions["code"].max()) + 1, np.nan)
    by_code[people["code"].to_numpy()] = values
    return by_code[sessions["code"].to_numpy()]


def age_table(main: pd.DataFrame, equation: str, ages: tuple[float, float]) -> pd.DataFrame:
    """Say, for people without a known age, what each plausible age would mean: a range, not a guess."""
    columns = ["measure", "threshold", "age_years", "share", "n_athletes", "n_sessions"]
    unknown = main[main["age_years"].isna()]
    sexes = {"any": [None], "F": ["F"], "given": ["F", "M"]}[for_whom(equation)]  # both: the mean of their maxima
    lines = []
    for measure, rate in zip(MEASURES, RATES, strict=True):
        there = unknown[unknown[rate].notna()]
        if there.empty:
            continue
        _, codes = np.unique(there["code"], return_inverse=True)
        counts = np.bincount(codes)
        order = np.argsort(there[rate].to_numpy())
        rates, weights = there[rate].to_numpy()[order], (1 / counts[codes] / len(counts))[order]
        below = np.concatenate(([0.0], weights.cumsum()))
        for age in np.arange(ages[0], ages[1] + 0.5):
            top = float(np.mean([predict_hr_max(float(age), equation, sex=s).value for s in sexes]))
            for threshold in THRESHOLDS:
                share = 1 - below[np.searchsorted(rates, top * threshold / 100 - 1e-9)]
                lines.append([measure, threshold, float(age), max(0.0, float(share)), len(counts), len(there)])
    return pd.DataFrame(lines, columns=columns)


def choice_table(sessions: pd.DataFrame, *, error_bpm: float, seed: int) -> pd.DataFrame:
    """Give the main numbers under other choices."""
    main = sessions["reason"] == ""
    plain = {
        "as analysed": main,
        "with sensors at the wrist": main | (sessions["reason"] == WRIST),
        "with every kind of session": main | (sessions["reason"] == OTHER_KIND),
        "with sessions sent twice": main | sessions["reason"].isin([TWICE_FILE, TWICE_ROW]),
        "sparring sessions only": main & (sessions["session_kind"] == "sparring"),
        "chest straps only": main & (sessions["device_kind"] == "chest_strap"),
        "recordings only": main & (sessions["file"] != ""),
    }
    lines, known = [], {}
    for name, kept in plain.items():
        chosen = kept.to_numpy(dtype=bool)
        if chosen.any():
            if (which := chosen.tobytes()) not in known:
                known[which] = _one_choice(sessions[chosen], error_bpm, seed)
            lines.append([name, *known[which]])
    used = sessions[main.to_numpy()]
    for name, other in (
        ("heart rates say nothing about a person's maximum", {"learn": False}),
        ("every session counted as if it were another person", {"once": False}),
    ):
        lines.append([name, *_one_choice(used, error_bpm, seed, **other)])
    columns = ["choice", "n_sessions", "n_athletes", *MEASURES, "estimate", "centre", "low", "high"]
    return pd.DataFrame(lines, columns=columns)


def _one_choice(sessions: pd.DataFrame, error_bpm: float, seed: int, *, learn: bool = True, once: bool = True) -> list:
    codes = sessions["code"] if once else np.arange(len(sessions))
    typical = typical_values(sessions.assign(code=codes), MEASURES)["estimate"].tolist()
    people = people_of(sessions["hr_mean_bpm"], sessions["hr_peak_bpm"], codes, sessions["hr_max_bpm"], error_bpm)
    n = [len(sessions), sessions["code"].nunique(), *typical]
    if not people.n:
        return [*n, *[np.nan] * 4]
    carried = carry_error(people, n_draws=FEWER_DRAWS, seed=seed, most=FEWER_PEOPLE, learn=learn)
    at = carried.at(*MAIN)
    return [*n, at["exact"], at["centre"], at["low"], at["high"]]


KIND_COLUMNS = ["session_kind", "n_sessions", "n_athletes", "n_others", *RATES, *SHARE_COLUMNS[:-2]]
FEWEST_OF_A_KIND = 5
"""With fewer people nothing is said of a kind of session by itself (our proposal)."""


def kind_table(main: pd.DataFrame, kinds, *, error_bpm: float, n_draws: int, seed: int) -> pd.DataFrame:
    """Give the main numbers of each kind of session by itself, in the order in which kinds were asked about."""
    people = main.groupby("session_kind", observed=True)["code"].nunique()
    told = [kind for kind in kinds if people.get(kind, 0) >= FEWEST_OF_A_KIND]
    inside = main["session_kind"].isin(told)
    others = len(set(main["code"]) - set(main.loc[inside, "code"]))
    lines = []
    for kind in told:
        chosen = main[(main["session_kind"] == kind).to_numpy()]
        typical = typical_values(chosen, RATES)["estimate"].tolist()
        known = people_of(chosen["hr_mean_bpm"], chosen["hr_peak_bpm"], chosen["code"], chosen["hr_max_bpm"], error_bpm)
        measure, threshold = MAIN if chosen["hr_peak_bpm"].notna().any() else ("percent_mean", 77.0)
        shares = dict.fromkeys(CARRIED, np.nan)
        if known.n >= FEWEST_OF_A_KIND:
            shares = carry_error(known, n_draws=n_draws, seed=seed).at(measure, threshold)
        lines.append([kind, len(chosen), int(people[kind]), others, *typical, measure, threshold, *shares.values()])
    return pd.DataFrame(lines, columns=KIND_COLUMNS)


def as_told(table: pd.DataFrame, told: Mapping, **row) -> pd.DataFrame:
    """Put a share that was simulated with all draws where a table has it with fewer: one share has one number."""
    here = np.logical_and.reduce([(table[name] == value).to_numpy() for name, value in row.items()])
    columns = [c for c in SHARE_COLUMNS[2:-2] if c in table and c in told]
    if not here.any() or not told or np.isnan(told["centre"]):
        return table
    return table.assign(**{c: np.where(here, told[c], table[c]) for c in columns})


AGES = (10.0, 90.0)
"""Years between which the plausible ages may be set."""


def survey_choices(settings: Mapping | None) -> dict:
    """Read the part [survey] of study.toml as arguments of `answer_survey`; every fault of it is named at once."""
    part = (settings or {}).get("survey", {})
    if not isinstance(part, Mapping):
        raise KitError("survey in study.toml is not a part: write [survey] on a line of its own.")
    equation = partial(_one_of, known=list(hr_max_equations()["equation"]))
    checks = {"equation": equation, "session_kinds": _kinds, "plausible_ages": _ages}
    chosen, faults = {}, []
    for name, value in part.items():
        if name not in checks:
            faults.append(f"{name} is not a setting of a survey; there are {', '.join(checks)}.")
            continue
        try:
            chosen[name] = checks[name](value)
        except ValueError as fault:
            faults.append(f"{name} {fault}")
    if faults:
        raise KitError("[survey] in study.toml: " + " ".join(faults))
    return chosen


def _kinds(value) -> tuple[str, ...]:
    known = column_rules()["survey"]["session_kind"].choices
    if not isinstance(value, list) or not value:
        raise ValueError(f'must be a list such as ["{known[0]}", "{known[1]}"].')
    return tuple(_one_of(kind, known) for kind in value)


def _ages(value) -> tuple[float, float]:
    numbers = isinstance(value, list) and len(value) == 2
    numbers = numbers and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
    if not numbers or not AGES[0] <= value[0] < value[1] <= AGES[1]:
        between = f"between {AGES[0]:.0f} and {AGES[1]:.0f}"
        raise ValueError(f"must be the youngest and the oldest, such as [18, 55], {between}.")
    return float(value[0]), float(value[1])


def _one_of(value, known) -> str:
    if value in known:
        return value
    near = did_you_mean(str(value), known)
    hint = f" Did you mean {near}?" if near else ""
    raise ValueError(f"is {value!r}, not one of {', '.join(known)}.{hint}")
