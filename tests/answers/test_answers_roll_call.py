"""What roll call and the scales add: ticks described, one planned sensitivity, a bound on drift; clothing and grades."""

import dataclasses
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.answers.describe import SENSITIVITY, TICKS, came_tired_or_unwell, describe_roll_call
from analysis.physiology.published_values import dehydration_hr_rise
from analysis.replication.answer import compare_protocols
from analysis.rounds import answer_rounds
from analysis.study import Protocol, check_study, load_study
from analysis.study.deviations import plan_deviations
from analysis.study.fixed_plan import load_fixed_plan
from analysis.study.settings import rank_grades
from analysis.telling.study.sentences import write_up_conditions, write_up_protocol
from analysis.telling.study.tables import roll_call_table

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module")
def study():
    return load_study(DEMO)


def with_attendance(study, **columns):
    table = study.attendance.copy()
    for name, values in columns.items():
        table[name] = values
    return dataclasses.replace(study, attendance=table)


def test_ticks_are_counted_and_few_people_are_not_told(study):
    here = study.attendance[study.attendance["session"] == "1"]
    seen = describe_roll_call(study, "1")
    assert seen.ticks["tick"].tolist() == list(TICKS)
    for line in seen.ticks.itertuples():
        yes = int((here[line.tick] == "yes").sum())
        assert (line.yes, line.answered) == (yes, 16)
        assert line.shown == (not (0 < yes < 5 or 0 < 16 - yes < 5))
    assert len(describe_roll_call(study, "2").ticks) == 0  # nothing was noted there


def test_loss_of_mass_bounds_the_drift_of_heart_rate(study):
    here = study.attendance[study.attendance["session"] == "1"]
    loss = (100 * (here["mass_kg"] - here["mass_after_kg"]) / here["mass_kg"]).mean()
    seen = describe_roll_call(study, "1")
    assert seen.loss_percent == pytest.approx(loss) and seen.n_weighed == 16
    assert seen.rise_bpm == pytest.approx(dehydration_hr_rise(loss).value) == pytest.approx(3 * loss)
    sweat = (here["mass_kg"] - here["mass_after_kg"] + here["drinks_l"]).mean()
    assert seen.sweat_l == pytest.approx(sweat)
    gained = with_attendance(study, mass_after_kg=study.attendance["mass_kg"] + 0.5)
    assert describe_roll_call(gained, "1").rise_bpm == 0  # whoever drank more than he lost explains no drift
    never = with_attendance(study, mass_after_kg=np.nan)
    assert np.isnan(describe_roll_call(never, "1").rise_bpm)


def test_the_write_up_says_both(demo_answers):
    text = " ".join(write_up_conditions(demo_answers.description.conditions))
    assert "{table:roll_call}" in text
    shown = roll_call_table(demo_answers.description.conditions.roll_call).shown.set_index("Noted")
    assert shown.loc["Caffeine in the last 3 hours", "Athletes"] == "7 of 16"
    assert shown.loc["Hard training in the last 24 hours", "Athletes"] == "fewer than 5, or all but fewer than 5"
    assert "16 athletes lost" in text and "(Adams, 2014" in text and "at most about" in text


def test_one_sensitivity_leaves_out_who_came_tired_or_unwell(demo_answers, study):
    gone = came_tired_or_unwell(study, "1")
    here = study.attendance[study.attendance["session"] == "1"]
    assert set(gone) == set(
        here.loc[(here[["hard_training_24h", "short_sleep", "unwell"]] == "yes").any(axis=1), "athlete"]
    )
    table = demo_answers.rounds("hr_mean_bpm").sensitivity.set_index("analysis")
    left = table.loc[SENSITIVITY]
    rows = demo_answers.rows.query("session == '1' and round_no > 0")
    kept = rows[~rows["athlete"].isin(gone)]
    alone = answer_rounds(kept, "hr_mean_bpm", smallest_effect=5).steps.iloc[-1]
    assert left["estimate"] == pytest.approx(alone["estimate"]) and left["n_athletes"] == kept[
        "athlete"
    ].nunique() == 16 - len(gone)


def test_nothing_is_left_out_where_nobody_ticked():
    data = pd.DataFrame({"athlete": list("AAABBBCCCDDD"), "round_no": [1, 2, 3] * 4,
                         "hr_mean_bpm": [160.0, 171, 172, 150, 160, 160, 171, 180, 179, 152, 163, 164]})  # fmt: skip
    answer = answer_rounds(data, "hr_mean_bpm", smallest_effect=5, leave_out={SENSITIVITY: ()})
    assert SENSITIVITY not in set(answer.sensitivity["analysis"])


def test_clothing_stands_in_the_protocol_and_in_the_comparison(study, demo_answers):
    assert study.protocol.clothing == "no jacket" and load_fixed_plan(DEMO).protocol.clothing == "no jacket"
    assert "without jackets" in write_up_protocol(study, demo_answers.description.conditions)[0]
    theirs = pd.DataFrame(
        [{"finding": "a", "clothing": "jacket"}, {"finding": "b", "clothing": "no jacket"}, {"finding": "c"}]
    )
    table = compare_protocols(theirs.fillna(""), study.protocol).query("aspect == 'clothing'")
    assert table["same"].tolist() == ["no", "yes", "not stated"]
    mixed = Protocol(3, 300.0, 60.0, groups={"n": Protocol(3, 300.0, 60.0, clothing="jacket")}, clothing="no jacket")
    assert "jacket" in compare_protocols(theirs.fillna(""), mixed).query("aspect == 'clothing'")["ours"].iloc[0]


def test_grades_are_ranked_in_the_order_of_the_settings(tmp_path):
    table = pd.DataFrame(
        {"athlete": list("abcd"), "grade": ["Blue", "white", "", "green"], "grade_rank": [np.nan, np.nan, 4, np.nan]}
    )
    ranked, wrong = rank_grades(table, ("white", "blue", "purple"))
    assert ranked["grade_rank"].tolist()[:3] == [2, 1, 4] and np.isnan(ranked["grade_rank"][3])
    assert [(index, column) for index, column, *_ in wrong] == [(3, "grade")]
    unordered = rank_grades(table, ())
    assert unordered[1][0][:2] == (None, "grades") and "write grades" in unordered[1][0][3]
    clash = rank_grades(table.assign(grade_rank=[1.0, 1, 4, np.nan]), ("white", "blue", "green"))[1]
    assert clash[0][:2] == (0, "grade_rank")


def test_check_names_an_unknown_grade_with_its_row_and_a_remedy_that_works(tmp_path):
    (tmp_path / "study.toml").write_text(
        'grades = ["white", "blue"]\n[protocol]\nrounds = 3\nwork_s = 300\nrest_s = 60\n'
    )
    people = "athlete,grade,age_years,consent_measured,cleared\nA01,blu,20,yes,yes\nA02,white,21,yes,yes\n"
    (tmp_path / "athletes.csv").write_text(people)
    found = check_study(tmp_path).problems.query("column == 'grade'").iloc[0]
    assert found["row"] == 2 and "did you mean blue" in found["problem"]
    (tmp_path / "athletes.csv").write_text(people.replace("blu,", "blue,"))
    assert load_study(tmp_path).athletes["grade_rank"].tolist() == [2, 1]


def test_clothing_that_changed_between_the_evenings_is_named():
    from analysis.answers.training import conditions_apart

    study = load_study(DEMO / "training")
    assert not [c for c in conditions_apart(study) if "worn" in c]
    worn = study.sessions["phase"].map({"pre": "no jacket", "post": "jacket"})
    changed = dataclasses.replace(study, sessions=study.sessions.assign(clothing=worn))
    assert "what was worn changed (no jacket before, jacket after)" in conditions_apart(changed)
    blank = study.sessions.assign(clothing=worn.replace("no jacket", ""))  # blank: as study.toml says
    usual = dataclasses.replace(
        study, sessions=blank, protocol=dataclasses.replace(study.protocol, clothing="no jacket")
    )
    assert "what was worn changed (no jacket before, jacket after)" in conditions_apart(usual)


def test_an_evening_in_other_clothes_departs_from_the_fixed_plan(study):
    sessions = study.sessions.assign(clothing=["jacket"] + [""] * (len(study.sessions) - 1))
    found = plan_deviations(dataclasses.replace(study, sessions=sessions)).query("part == 'clothing'")
    assert found[["planned", "done"]].to_numpy().tolist() == [
        ["no jacket", f"jacket in session {sessions['session'].iloc[0]}"]
    ]
    assert plan_deviations(study).query("part == 'clothing'").empty
