"""What is passed on of clubs of 1 to 12 tells about no fewer than five people, alone or by subtraction (RANDOM_CLUBS: more)."""

import dataclasses
import os
import re
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from report_simulated import simulate_answers

from analysis.basics import FEWEST_PEOPLE, rounded
from analysis.basics.few import is_safe
from analysis.report.build import build_document
from analysis.report.sharing import SharedAnswers, partly_passed_on
from analysis.telling.document import Table

COLUMNS = ("age_years", "mass_kg", "experience_years", "hr_max_bpm", "capacity")


def random_club(seed):
    """A club of 1 to 12 with women, men and others, some of whom left early, did not say, or have no value."""
    rng = np.random.default_rng([7, seed])
    n = int(rng.integers(1, 13))
    answers = simulate_answers(seed, "missing" if seed % 2 else "strong", n=n, changed_after=True)
    athletes = answers.study.athletes
    athletes["sex"] = list(rng.choice(["F", "M", "X", ""], n, p=[0.35, 0.45, 0.1, 0.1]))
    for column in ("age_years", "mass_kg", "experience_years"):
        athletes[column] = athletes[column].mask(rng.random(n) < 0.2) + rng.random(n).round(3)
    rows = answers.cleaned.rows
    last = rows["round_no"].max()
    gone = rows["athlete"].isin(list(rng.choice(athletes["athlete"], n // 2, replace=False)))
    rows.loc[gone & rows["round_no"].eq(last), ["hr_mean_bpm", "lactate_mmol_l", "exertion"]] = np.nan
    return answers


def groups_behind(answers, name):
    """Who is behind each line of a characteristic."""
    athletes = answers.study.athletes.set_index("athlete")
    if name == "capacity":
        values = answers.capacity.set_index("athlete")["capacity"]
    else:
        values = athletes[name].where(athletes["hr_max_source"].eq("measured") | (name != "hr_max_bpm"))
    known = values.dropna().index
    sex = athletes["sex"]
    return {"all": set(known)} | {s: {a for a in known if sex[a] == s} for s in "FM"}


@pytest.mark.parametrize("seed", range(int(os.environ.get("RANDOM_CLUBS", "12"))))
def test_nothing_of_few_people_is_passed_on(seed):
    answers = random_club(seed)
    shared, n = SharedAnswers(answers), len(answers.study.athletes)
    assert shared.may_share == (n >= FEWEST_PEOPLE)
    if not shared.may_share:
        return
    document = build_document(shared)
    tables = {t.key: t for t in document.blocks(Table)}
    people = tables.get("participants")
    if people is not None:
        assert not {"median", "low", "high"} & set(people.numbers)
        for name in COLUMNS:
            behind = groups_behind(answers, name)
            told = people.numbers.loc[people.numbers["name"] == name, "sex"]
            assert is_safe([behind[s] for s in told]), name
            assert all(len(behind[s]) >= FEWEST_PEOPLE for s in told)
    means = tables.get("round_means")
    if means is not None:
        assert means.numbers["n_athletes"].min() >= FEWEST_PEOPLE
        assert not {"low", "high"} & set(means.numbers)
    for table in tables.values():
        numbers = table.numbers if table.numbers is not None else table.shown
        if "n_athletes" in numbers and table.key != "comparison":
            assert pd.to_numeric(numbers["n_athletes"]).dropna().min() >= FEWEST_PEOPLE, table.key
    text = document.text()
    assert not re.search(r"\bn = [1-4]\b", text)
    assert not re.search(r"\brange \d+ to \d+\)?,? mean|years \(SD [^)]*range", text)
    _what_is_withheld_is_said(answers, shared)
    exact = answers.study.athletes[["age_years", "mass_kg"]].to_numpy().ravel()
    printed = [f"{v:.1f}" for v in exact if v == v]
    characteristics = "" if people is None else people.shown.to_string()
    for value in set(printed):
        for cell in re.findall(r"(?<![\d.])\d+\.\d(?![\d])", characteristics):
            assert cell != value or _also_a_mean(answers, cell)


def _what_is_withheld_is_said(answers, shared):
    counts = answers.cleaned.rows.groupby("round_no")["lactate_mmol_l"].count()
    few = [r for r, n in counts.items() if n < FEWEST_PEOPLE]
    said = " ".join(shared.withheld)
    assert ("blood lactate in round" in said) == bool(few)
    table = answers.description.participants.characteristics
    hidden = table[~table["shown"] & (table["n_athletes"] > 0)]
    assert all(row.label.lower() in said for row in hidden.itertuples())


def _also_a_mean(answers, cell):
    """A mean of five or more may happen to be someone's value."""
    table = answers.description.participants.characteristics
    table = table[table["shown"]]
    return any(f"{v:.1f}" == cell for v in [*table["mean"], *table["sd"]])


def test_a_round_of_few_is_left_out_of_its_outcome_and_of_no_other():
    answers = simulate_answers(3, "strong", n=9)
    rows = answers.cleaned.rows
    last = rows["round_no"].max()
    there = rows["round_no"].eq(last) & rows["athlete"].isin(["S01", "S02", "S03", "S04"])
    rows.loc[rows["round_no"].eq(last) & ~there, "lactate_mmol_l"] = np.nan
    answers._kept = {k: answers._kept[k] for k in ("cleaned", "capacity")}
    shared = SharedAnswers(answers)
    assert shared.rounds("lactate_mmol_l").labels == tuple(str(r) for r in range(1, last))
    assert answers.rounds("lactate_mmol_l").labels[-1] == str(last)  # the owner's own is whole
    assert shared.rounds("exertion").labels[-1] == str(last)
    assert shared.rounds("exertion").comparison.overall.p == answers.rounds("exertion").comparison.overall.p
    assert shared.withheld == (f"blood lactate in round {last}",)
    partly = partly_passed_on(shared, {o: shared.rounds(o) for o in ("lactate_mmol_l", "exertion")})
    assert list(partly) == ["lactate_mmol_l"] and " can be passed on" in partly["lactate_mmol_l"]
    assert partly_passed_on(answers, {"lactate_mmol_l": answers.rounds("lactate_mmol_l")}) == {}


def test_points_of_figures_are_coarse_where_an_equation_takes_age():
    answers = simulate_answers(4, "strong", n=10)
    exact, told = answers.fitness("hr_mean_bpm").points, SharedAnswers(answers).fitness("hr_mean_bpm").points
    assert (told["capacity"] % 5 == 0).all() and not (exact["capacity"] % 5 == 0).any()
    assert (told["outcome"] % 1 == 0).all()
    values = SharedAnswers(answers).rounds("hr_mean_bpm").rows["value"]
    assert (values.dropna() % 1 == 0).all()


def test_numbers_that_are_passed_on_are_rounded():
    table = rounded(pd.DataFrame({"estimate": [172.43218765, float("nan")], "outcome": ["a", "b"], "n": [3, 4]}))
    assert table["estimate"].tolist()[0] == 172.4 and table["n"].tolist() == [3, 4]


def test_pace_is_passed_on_without_few_people_and_with_coarse_points(demo_answers):
    shared = SharedAnswers(demo_answers)
    own, told = demo_answers.activity("hr_mean_bpm"), shared.activity("hr_mean_bpm")
    step = {round(v % 5, 6) for v in told.table["capacity"]}
    assert step == {0.0} and not own.table["capacity"].equals(told.table["capacity"])
    assert told.activity.estimate == own.activity.estimate, "the estimate is that of the data"
    few = dataclasses.replace(demo_answers.pace())
    athletes = sorted(few.rounds["athlete"].unique())[:4]
    few = dataclasses.replace(few, rounds=few.rounds[few.rounds["athlete"].isin(athletes)])
    assert not shared._pace(few)
    rare = few.agreement.assign(n_athletes=4)
    kept = shared._pace(dataclasses.replace(demo_answers.pace(), agreement=rare))
    assert kept.agreement.empty and len(kept.rounds)
    assert any("raters" in words for words in shared.withheld)
