"""Simulated studies in memory, from a known truth, for the tests of the write-up: no files, no recordings."""

import contextlib
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.answers import Answers, inputs
from analysis.basics import KitError
from analysis.capacity import answer_capacity
from analysis.cleaning.clean import ROW_COLUMNS, CleanedStudy
from analysis.study import Plan, Protocol, Study
from analysis.study.columns import empty_table
from analysis.study.decisions import Ledger
from analysis.study.outcomes import OUTCOMES, outcome_named, proposed_outcomes
from analysis.study.plan import Hypothesis

KINDS = ("null", "strong", "missing", "tiny", "odd")
"""Nothing happens; everything happens; a third is lost; three or four athletes; constants, ties, two rounds, off-scale values."""


def simulate_answers(seed, kind="strong", *, n=None, changed_after=False):
    """Return the Answers of one simulated study, of n athletes where that is said; not asked yet where its data change after."""
    rng = np.random.default_rng([seed, KINDS.index(kind)])
    n = n or (int(rng.integers(3, 5)) if kind == "tiny" else int(rng.integers(7, 19)))
    rounds = 2 if kind == "odd" and seed % 4 == 0 else int(rng.integers(3, 6))
    effect = {"null": 0.0, "strong": 1.0, "missing": 0.6, "tiny": 0.8, "odd": 0.5}[kind]
    athletes = _athletes(rng, n, kind)
    capacity = _capacity(rng, athletes)
    rows = _rows(rng, athletes, capacity, rounds, effect, kind)
    study = Study(
        folder=Path("simulated"),
        title=f"Simulated study {seed} ({kind})",
        sport="sparring",
        protocol=Protocol(rounds, 300.0, 120.0, "6-20"),
        sessions=_table(
            "sessions", session=["1"], date=["2026-10-07"], temperature_c=[21.5], sample_site=["fingertip"]
        ),
        athletes=athletes,
        rounds=_table("rounds", **{c: rows[c] for c in ("session", "athlete", "round_no", "took_part", "opponent")}),
        plan=_plan(kind, seed, n),
        aerobic_tests=_table("aerobic_tests", athlete=capacity["athlete"], test=capacity["test"]),
        published=_published(seed) if seed % 3 == 0 else empty_table("published"),
    )
    answers = Answers(study)
    answers._kept["cleaned"] = _cleaned(rows)
    answers._kept["capacity"] = capacity
    if not changed_after:
        _answer_fitness_quickly(answers)
    return answers


def _answer_fitness_quickly(answers):
    """Without the chart of all analyses, which takes most of the time and has tests of its own."""
    plan = answers.study.plan
    for outcome in answers.measured_outcomes:
        with contextlib.suppress(KitError):
            made = answer_capacity(
                answers.rows,
                answers.capacity,
                answers.study.athletes,
                outcome,
                smallest_effect=plan.smallest_effects[outcome],
                direction=inputs.fitness_direction(plan, outcome_named(outcome)),
                chart=False,
            )
            answers.keep("fitness", outcome, made)


def _table(name, **columns):
    table = pd.DataFrame(columns)
    blank = empty_table(name)
    for column in blank.columns.difference(table.columns):
        table[column] = "" if blank[column].dtype == "str" else np.nan if blank[column].dtype == "float64" else 0
    return table[list(blank.columns)]


def _athletes(rng, n, kind):
    codes = [f"S{i:02d}" for i in range(1, n + 1)]
    one_sex = kind == "odd" and rng.random() < 0.5
    return _table(
        "athletes",
        athlete=codes,
        club=["the club"] * n,
        age_years=rng.uniform(19, 40, n).round(0),
        sex=["M"] * n if one_sex else list(rng.choice(["F", "M"], n, p=[0.3, 0.7])),
        mass_kg=rng.normal(76, 10, n).round(1),
        experience_years=rng.uniform(1, 12, n).round(0),
        hr_max_bpm=rng.normal(190, 7, n).round(0),
        hr_max_source=list(rng.choice(["measured", "predicted"], n)),
        consent_shared_data=list(rng.choice(["yes", "no"], n, p=[0.8, 0.2])),
        consent_individual_figures=list(rng.choice(["yes", "no"], n)),
    )


def _capacity(rng, athletes):
    n = len(athletes)
    return pd.DataFrame(
        {
            "athlete": athletes["athlete"],
            "capacity": rng.normal(47, 5, n),
            "unit": "mL/kg/min",
            "standard_error": 3.5,
            "error_kind": "prediction",
            "test": "shuttle_run_20m",
            "equation": "leger_1988",
            "source": "Léger 1988 J Sports Sci 6:93-101",
            "uses_heart_rate": False,
            "warnings": [()] * n,
        }
    )


def _rows(rng, athletes, capacity, rounds, effect, kind):
    n = len(athletes)
    table = pd.DataFrame(
        [(a, r) for a in athletes["athlete"] for r in range(1, rounds + 1)], columns=["athlete", "round_no"]
    )
    fit = np.repeat(capacity["capacity"].to_numpy() - 47, rounds)
    climb = np.minimum(table["round_no"].to_numpy() - 1, 2) * effect
    level = np.repeat(rng.normal(0, 7, n), rounds)
    table["session"] = "1"
    table["bout_no"] = table["round_no"]
    table["took_part"], table["opponent"] = "yes", ""
    table["hr_mean_bpm"] = 165 + level - effect * fit + 5 * climb + rng.normal(0, 4, len(table))
    table["hr_source"] = "trace"
    table["lactate_mmol_l"] = (7 + 0.2 * level - 0.1 * effect * fit + 1.5 * climb + rng.normal(0, 1, len(table))).clip(
        1
    )
    table["lactate_limit"] = ""
    table["lactate_delay_s"] = rng.integers(45, 120, len(table)).astype(float)
    table["exertion"] = np.clip(np.round(13 + 0.2 * level + 1.5 * climb + rng.normal(0, 1, len(table))), 6, 20)
    for column in set(ROW_COLUMNS) - set(table):
        table[column] = np.nan
    if kind == "missing":
        for outcome in ("hr_mean_bpm", "lactate_mmol_l", "exertion"):
            table.loc[rng.random(len(table)) < 0.33, outcome] = np.nan
    if kind == "odd":
        _odd(rng, table)
    return table[list(ROW_COLUMNS)]


def _odd(rng, table):
    """Constant ratings, the same rise for everybody, values off the scale, or one athlete with one round."""
    which = rng.integers(0, 5)
    if which == 0:
        table["exertion"] = 15.0
    elif which == 1:
        table["hr_mean_bpm"] = 160.0 + 5 * table["round_no"]
    elif which == 2:
        high = table["lactate_mmol_l"] > table["lactate_mmol_l"].quantile(0.7)
        table.loc[high, "lactate_limit"] = "high"
        table.loc[high, "lactate_mmol_l"] = np.nan
    elif which == 3:
        table["lactate_mmol_l"] = np.nan
    first = table["athlete"] == table["athlete"].iloc[0]
    table.loc[first & (table["round_no"] > 1), ["hr_mean_bpm", "exertion", "took_part"]] = [np.nan, np.nan, "sat_out"]


def _plan(kind, seed, n):
    return Plan(
        primary_session="1",
        hypotheses=(
            Hypothesis("fitness.heart_rate", "hr_mean_bpm", "lower", "Fitter athletes run a lower heart rate."),
            Hypothesis("rounds.lactate", "lactate_mmol_l", "rises", "Lactate rises over the rounds."),
        ),
        primary_outcomes=proposed_outcomes(),
        smallest_effects={o.name: o.smallest_effect for o in OUTCOMES.values()},
        n_athletes=n + seed % 2,
        frozen={"date": "2026-09-01", "checksum": "0"} if seed % 2 else None,
    )


def _published(seed):
    return _table(
        "published",
        finding=["fitness"],
        outcome=["hr_mean_bpm"],
        statistic=["r"],
        value=[-0.55 + 0.01 * (seed % 7)],
        n_athletes=[14.0],
        source=["Invented for this test"],
    )


def _cleaned(rows):
    def nothing(*columns):
        return pd.DataFrame({c: [] for c in columns})

    entries = [
        {"table": "rounds", "session": r.session, "athlete": r.athlete, "round_no": r.round_no}
        | ({"used": False, "cause": "sat the round out"} if r.took_part == "sat_out" else {})
        for r in rows.itertuples()
    ]
    return CleanedStudy(
        rows=rows,
        traces={},
        windows=nothing("session", "athlete", "round_no", "start_s", "end_s", "found_by", "confidence"),
        clocks=nothing("session", "athlete", "file", "settled"),
        flags_table=nothing("session", "athlete", "flag", "seconds", "spans", "decided_by"),
        overrides=nothing("session", "athlete"),
        bounds=nothing("session", "athlete", "round_no"),
        ledger=Ledger().add(entries),
        rules=nothing("rule", "value"),
    )
