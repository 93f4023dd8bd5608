"""Planned looks: read, fixed, counted; an unplanned one makes every question exploratory."""

import datetime as dt

import numpy as np
import pytest
from study_folders import SETTINGS, athletes, make_folder, rounds

from analysis.answers import Answers
from analysis.study import Study, StudyError, check_study, freeze_plan
from analysis.study.binding import TAKEN_FILE, look_state, looks_taken, note_look, question_statuses

LOOKS = '\n[plan]\nn_athletes = 9\n\n[plan.looks]\nsizes = [4, 6, 9]\nrule = "pocock"\n'
TODAY = dt.date(2026, 3, 1)


def people(n):
    """Athletes and rounds of the small study, made more: each copy a little off the one it was made from."""
    codes = [f"B{i:02d}" for i in range(n)]
    known, own = athletes(), rounds()
    rows = []
    for i, code in enumerate(codes):
        base = [r for r in own if r["athlete"] == known[i % 4]["athlete"]]
        rows += [
            {
                **r,
                "athlete": code,
                "opponent": "",
                "hr_mean_typed_bpm": r["hr_mean_typed_bpm"] + (i * r["round_no"]) % 5,
            }
            for r in base
        ]
    return [{**known[i % 4], "athlete": c} for i, c in enumerate(codes)], rows


def grown(tmp_path, n, *, looks=LOOKS):
    """The plan fixed on an empty folder, then so many athletes."""
    make_folder(tmp_path, settings=SETTINGS + looks, without=("rounds", "aerobic_tests", "athletes"))
    if not (tmp_path / "plan_fixed.json").exists():
        freeze_plan(Study.load(tmp_path), today=TODAY)
    who, rows = people(n)
    make_folder(tmp_path, settings=SETTINGS + looks, athletes=who, rounds=rows, without=("aerobic_tests",))
    return Study.load(tmp_path)


def test_a_planned_look_is_confirmatory_and_says_what_is_left(tmp_path):
    study = grown(tmp_path, 6)
    state = look_state(study)
    assert (state.number, state.left, state.why_not) == (2, 1, "")
    assert {q.status for q in question_statuses(study)} == {"confirmatory"}
    assert "this is look 2 of 3, 1 look left after it" in check_study(tmp_path).text()


@pytest.mark.parametrize("n", [5, 10])
def test_an_unplanned_look_is_exploratory_everywhere(tmp_path, n):
    study = grown(tmp_path, n)
    statuses = question_statuses(study)
    assert {q.status for q in statuses} == {"exploratory"}
    assert {q.why for q in statuses} == {f"no look was planned at {n} athletes"}
    assert f"no look was planned at {n} athletes" in check_study(tmp_path).text()


def test_an_earlier_unplanned_look_is_remembered(tmp_path):
    grown(tmp_path, 5)
    note_look(Study.load(tmp_path), today=dt.date(2026, 3, 6))
    note_look(Study.load(tmp_path), today=dt.date(2026, 3, 7))  # the same look twice is one
    assert looks_taken(tmp_path) == [5]
    assert (tmp_path / TAKEN_FILE).read_text().splitlines() == ["date,n_athletes", "2026-03-06,5"]
    statuses = question_statuses(grown(tmp_path, 6))
    assert {q.status for q in statuses} == {"exploratory"}
    assert "was taken at 5 athletes" in statuses[0].why
    assert check_study(tmp_path).passed  # the record is no stranger in the folder


def test_looks_changed_after_the_freeze_bind_nobody(tmp_path):
    study = grown(tmp_path, 6)
    grown(tmp_path, 6, looks=LOOKS.replace("pocock", "obrien-fleming"))
    changed = question_statuses(Study.load(study.folder))
    assert {q.status for q in changed} == {"exploratory"}
    assert "the rule of the looks (pocock in the plan, obrien-fleming now)" in changed[0].why


def test_each_look_tests_at_its_own_level_and_corrects_its_estimate(tmp_path):
    answers = Answers(grown(tmp_path, 6))
    answer = answers.rounds("hr_mean_bpm")
    table = answers.looks.set_index("question")
    assert answer.alpha == table.loc["rounds.heart_rate", "level"] < 0.03
    line = table.loc["rounds.heart_rate"]
    assert line["ci_low"] < line["corrected"] < line["ci_high"]
    assert line["repeated_low"] < line["estimate"] < line["repeated_high"]
    assert 0 <= line["chance_at_plan"] <= 1 and line["advice"] in ("go on", "futile")


def test_without_planned_looks_nothing_changes(tmp_path):
    study = grown(tmp_path, 6, looks="")
    assert look_state(study) is None and note_look(study) is None
    answers = Answers(study)
    assert answers.rounds("hr_mean_bpm").alpha == 0.05 and not answers.looks
    assert check_study(tmp_path).looks == ""


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("looks = 8", "write [plan.looks]"),
        ("[plan.looks]\nsizes = [12, 8]", "growing numbers"),
        ("[plan.looks]\nsizes = [8]\nrule = 'often'", "not among obrien-fleming, pocock"),
        ("[plan.looks]\nsizes = [8, 12]\nrules = 'pocock'", "no such part of the looks"),
        ("[plan.looks]\nrule = 'pocock'", "growing numbers"),
    ],
)
def test_looks_that_do_not_fit_are_said(tmp_path, text, words):
    make_folder(tmp_path, settings=SETTINGS + "\n[plan]\n" + text + "\n")
    with pytest.raises(StudyError, match=words.replace("[", r"\[")):
        Study.load(tmp_path)


def test_an_illegible_record_counts_as_a_look(tmp_path):
    study = grown(tmp_path, 6)
    (tmp_path / TAKEN_FILE).write_text("date,n_athletes\n2026-03-06,some\n", encoding="utf-8")
    assert {q.status for q in question_statuses(study)} == {"exploratory"}
    assert np.isin(0, looks_taken(tmp_path))


def test_looks_are_told_in_the_plan_the_notebook_and_the_supplement(tmp_path):
    from analysis.telling.planning.sentences import plain_looks, table_looks
    from analysis.telling.study.tables import looks_table

    answers = Answers(grown(tmp_path, 6))
    assert "The data are looked at with 4, 6 and 9 athletes." in next(tmp_path.glob("plan_*.md")).read_text(
        encoding="utf-8"
    )
    assert "with 4, 6 and 9 athletes, and at no other number" in plain_looks(answers.planned_looks)
    assert table_looks(answers.planned_looks)["Athletes"].tolist() == [4, 6, 9]
    table = looks_table(answers.looks)
    assert "planned look 2, with 6 athletes" in table.caption
    assert len(table.shown) == len(answers.looks)
