"""The plan: completed, checked, fixed once, and every deviation from it named."""

import datetime as dt
import json

import pytest
from study_folders import SETTINGS, changed, make_folder, problem_at, rounds, sessions

from analysis.basics import KitError
from analysis.study import OUTCOMES, check_study, freeze_plan, load_study, result_status
from analysis.study.deviations import plan_deviations
from analysis.study.fixed_plan import load_fixed_plan
from analysis.study.outcomes import QUESTIONS

PLAN = """
[sampling]
target_delay_s = 60
tolerance_s = 15

[plan]
primary_session = 1
alpha = 0.05
n_athletes = 4
exclusions = ["athletes on medicine that holds the heart rate down"]
covariates = ["age_years"]

[[plan.hypotheses]]
question = "rounds.lactate"
outcome = "lactate_mmol_l"
direction = "rises"
text = "Lactate rises."

[[plan.hypotheses]]
question = "fitness.heart_rate"
direction = "lower"

[plan.primary_outcomes]
rounds.heart_rate = "hr_late_bpm"
"fitness.heart_rate" = "hr_mean_bpm"

[plan.smallest_effects]
hr_mean_bpm = 4
lactate_mmol_l = { value = 1.5, reason = "twice the error of the analyser" }
"""
TODAY = dt.date(2026, 3, 1)  # before the session of the small study


ETHICS = '[ethics]\ncommittee = "Committee of the faculty"\napproval = "2026-17"\n'
PLAN = ETHICS + PLAN


def empty_study(tmp_path, settings=SETTINGS + PLAN):
    return make_folder(tmp_path, settings=settings, without=("rounds", "aerobic_tests"))


def test_a_plan_is_read_and_completed(tmp_path):
    plan = load_study(empty_study(tmp_path)).plan
    assert plan.primary_session == "1" and plan.n_athletes == 4
    assert plan.primary_outcomes["rounds.heart_rate"] == "hr_late_bpm"
    assert set(plan.primary_outcomes) == set(QUESTIONS)
    assert plan.smallest_effects["lactate_mmol_l"] == 1.5 and plan.smallest_effects["hr_mean_bpm"] == 4
    assert plan.smallest_effect_reasons["lactate_mmol_l"] == "twice the error of the analyser"
    assert plan.smallest_effect_reasons["hr_mean_bpm"] == ""
    assert set(plan.smallest_effects) == set(OUTCOMES)
    assert plan.direction("fitness.heart_rate") == "lower" and plan.direction("rounds.exertion") == "differs"
    assert plan.hypotheses[1].outcome == "hr_mean_bpm" and "aerobic capacity" in plan.hypotheses[1].text
    assert "smallest_effects.exertion" in plan.proposed and "alpha" not in plan.proposed
    assert plan.frozen is None


def test_without_a_plan_everything_is_proposed(tmp_path):
    plan = load_study(empty_study(tmp_path, settings=SETTINGS)).plan
    assert [h.question for h in plan.hypotheses] == list(QUESTIONS)
    assert {"primary_session", "alpha", "hypotheses", "round_variable"} <= set(plan.proposed)


FAULTS = {
    "alpha = 5": ("alpha", "not a significance level"),
    'covariates = [1, "age_years"]': ("covariates", "not a list of texts"),
    'round_variable = "clock"': ("round_variable", "not among"),
    'covariates = ["age"]': ("covariates", "no column of the study"),
    'capacity_unit = "ml per kg"': ("capacity_unit", "not a unit of capacity"),
    "primary_session = 2": ("primary_session", "not in the sessions table"),
    "n_athletes = 0": ("n_athletes", "not a number of athletes"),
    "primary_sessions = 1": ("primary_sessions", "did you mean primary_session"),
    'hypotheses = ["lactate rises"]': ("hypotheses", "not a list of hypotheses"),
    '[[plan.hypotheses]]\nquestion = "rounds.lactat"\ndirection = "rises"': (
        "hypotheses",
        "did you mean rounds.lactate",
    ),
    '[[plan.hypotheses]]\nquestion = "rounds.lactate"\ndirection = "lower"': ("direction", "does not fit"),
    '[[plan.hypotheses]]\nquestion = "rounds.lactate"\ndirection = "rise"': ("direction", "did you mean rises"),
    '[plan.primary_outcomes]\n"rounds.lactate" = "exertion"': ("primary_outcomes", "does not answer"),
    '[plan.primary_outcomes]\n"rounds.lactate" = "lactate"': ("primary_outcomes", "did you mean lactate_mmol_l"),
    "[plan.smallest_effects]\nhr_mean_bpm = -5": ("hr_mean_bpm", "not a size above 0"),
    '[plan.smallest_effects]\nhr_mean_bpm = "5"': ("hr_mean_bpm", "not a size above 0"),
    "[plan.smallest_effects]\nhr_mean = 5": ("smallest_effects", "did you mean hr_mean_bpm"),
}


@pytest.mark.parametrize("text", FAULTS)
def test_a_plan_that_cannot_be_is_a_problem(tmp_path, text):
    column, words = FAULTS[text]
    report = check_study(empty_study(tmp_path, settings=f"{SETTINGS}[plan]\n{text}\n"))
    found = problem_at(report.problems, file="study.toml", column=column)
    assert words in found["problem"] and found["row"] >= 10


def test_a_plan_is_fixed_once_with_its_checksum(tmp_path):
    folder = empty_study(tmp_path)
    document = freeze_plan(
        load_study(folder),
        justification={"paragraphs": ["Four athletes answer little."], "n_athletes": 4, "power": 0.31},
        today=TODAY,
    )
    assert [p.name for p in document.files] == ["plan_2026-03-01.md", "plan_fixed.json"]
    text = document.path.read_text(encoding="utf-8")
    assert text == document.markdown() and document.checksum in text
    for words in (
        "Lactate rises.",
        "Four athletes answer little.",
        "twice the error of the analyser",
        "licensed",
        "1.5",
    ):
        assert words in text, words
    assert "nan" not in text.split() and "None" not in text
    fixed = load_fixed_plan(folder)
    assert fixed.intact and fixed.date == "2026-03-01" and fixed.checksum == document.checksum
    assert fixed.fixed["justification"]["power"] == 0.31
    study = load_study(folder)
    assert study.plan.frozen["checksum"] == document.checksum and fixed.protocol == study.protocol
    assert fixed.plan.hypotheses == study.plan.hypotheses
    with pytest.raises(KitError, match="not overwritten"):
        freeze_plan(study, today=dt.date(2026, 3, 2))
    assert plan_deviations(study).empty


def test_the_same_plan_has_the_same_checksum(tmp_path):
    sums = {freeze_plan(load_study(empty_study(tmp_path / name)), today=TODAY).checksum for name in ("one", "other")}
    assert len(sums) == 1


def test_a_plan_changed_by_hand_is_noticed(tmp_path):
    folder = empty_study(tmp_path)
    freeze_plan(load_study(folder), today=TODAY)
    path = folder / "plan_fixed.json"
    content = json.loads(path.read_text())
    content["fixed"]["plan"]["alpha"] = 0.2
    path.write_text(json.dumps(content))
    study = load_study(folder)
    assert not study.plan.frozen["intact"]
    assert "checksum no longer fits" in plan_deviations(study)["done"].iloc[0]
    assert result_status(study, "rounds.lactate", "lactate_mmol_l")[0] == "exploratory"
    path.write_text("{}")
    assert problem_at(check_study(folder).problems, file="plan_fixed.json")["remedy"] == "put the original file back"


def test_every_deviation_is_named(tmp_path):
    folder = empty_study(tmp_path)
    freeze_plan(load_study(folder), today=TODAY)
    changed_plan = (
        PLAN.replace("alpha = 0.05", "alpha = 0.1")
        .replace('direction = "lower"', 'direction = "differs"')
        .replace("hr_mean_bpm = 4", "hr_mean_bpm = 6")
        .replace('covariates = ["age_years"]', "covariates = []")
        .replace("target_delay_s = 60", "target_delay_s = 90")
        .replace("hr_late_bpm", "hr_peak_bpm")
    )
    rows = [row | {"lactate_delay_s": 60} for row in rounds() if row["athlete"] != "NA"]
    rows = [row | ({"opponent": "guest"} if row["opponent"] == "NA" else {}) for row in rows]
    rows = changed(rows, 0, lactate_delay_s=130)
    rows = changed(rows, 1, took_part="part", lactate_mmol_l=7.7)
    rows = [row for row in rows if not (row["athlete"] == "A01" and row["round_no"] == 3)]
    decision = [{"date": "2026-03-06", "decided_by": "study lead", "table": "rounds", "athlete": "A02", "round_no": 2,
                 "measure": "exertion", "action": "set aside", "reason": "misunderstood"}]  # fmt: skip
    make_folder(
        tmp_path,
        settings=SETTINGS.replace("rest_s = 120", "rest_s = 90") + changed_plan,
        rounds=rows,
        sessions=changed(sessions(), 0, date="2026-02-20"),
        without=("aerobic_tests",),
        clock=[
            {"round_no": 1, "start_clock": "19:30:00", "end_clock": "19:35:00"},
            {"round_no": 2, "start_clock": "19:37:00", "end_clock": "19:42:30"},
            {"round_no": 3, "start_clock": "19:45:30", "end_clock": "19:50:30"},
        ],
        decisions=decision,
    )
    (folder / "aerobic_tests.csv").unlink(missing_ok=True)
    study = load_study(folder, today=dt.date(2026, 3, 10))
    found = {(part, planned, done) for part, planned, done, _ in plan_deviations(study).itertuples(index=False)}
    expected = {
        ("protocol: rest", "120", "90"),
        ("plan: alpha", "0.05", "0.1"),
        ("plan: smallest effects: mean heart rate", "4", "6"),
        ("plan: covariates", "age_years", "none"),
        ("plan: primary outcomes: heart rate over the rounds", "mean heart rate late in the round", "peak heart rate"),
        ("sampling: target delay", "60", "90"),
        ("plan before the data", "fixed before session 1", "session on 2026-02-20, plan on 2026-03-01"),
        ("dates of the sessions", "2026-03-05", "2026-02-20"),
        ("number of athletes", "4 athletes", "3 athletes"),
        ("rounds per athlete", "3 rounds", "1 athlete did fewer"),
        ("whole rounds", "whole rounds", "1 round done in part"),
        ("length of a round", "300 s", "1 round of 3: 330 s"),
        ("length of a rest", "120 s", "1 rest of 2: 180 s"),
        ("delay of the blood sample", "60 s, give or take 15 s", "1 sample of 8 outside: 130 to 130 s"),
        ("decision by a person", "as recorded", "1 value of rounds: misunderstood"),
        ("hypothesis: fitness and heart rate", "an aerobic test", "no aerobic test"),
    }
    assert expected <= found, expected - found
    left = found - expected
    assert len(left) == 1 and next(iter(left))[0] == "hypothesis: fitness and heart rate"  # lower became differs
    assert result_status(study, "rounds.lactate", "lactate_mmol_l") == (
        "exploratory",
        "the plan was fixed after the data were collected",
    )


def test_settings_that_came_or_went_are_deviations(tmp_path):
    folder = empty_study(tmp_path, settings=SETTINGS + '[protocol.novice]\nwork = "3:00"\n' + PLAN)
    freeze_plan(load_study(folder), today=TODAY)
    settings = SETTINGS + PLAN + "[cleaning]\nflat_line_s = 25\n"
    settings += '[[plan.hypotheses]]\nquestion = "rounds.lactate"\noutcome = "lactate_mmol_l"\ndirection = "falls"\n'
    study = load_study(empty_study(tmp_path, settings=settings))
    found = {(part, planned, done) for part, planned, done, _ in plan_deviations(study).itertuples(index=False)}
    assert ("cleaning: flat line", "none", "25") in found
    group = next(line for line in found if line[0] == "protocol: groups: novice")
    assert "work 180" in group[1] and group[2] == "none"
    assert any(part == "hypothesis: lactate over the rounds" for part, _, _ in found)


def test_results_are_confirmatory_only_as_planned(tmp_path):
    folder = empty_study(tmp_path)
    assert result_status(load_study(folder), "rounds.lactate", "lactate_mmol_l")[0] == "exploratory"
    freeze_plan(load_study(folder), today=TODAY)
    study = load_study(make_folder(tmp_path, settings=SETTINGS + PLAN))
    assert result_status(study, "rounds.lactate", "lactate_mmol_l")[0] == "confirmatory"
    assert result_status(study, "fitness.heart_rate", "hr_late_bpm")[0] == "exploratory"
    assert "no hypothesis" in result_status(study, "rounds.exertion", "exertion")[1]
    assert plan_deviations(study).empty


def test_a_plan_fixed_after_the_data_says_so(tmp_path):
    folder = make_folder(tmp_path, settings=SETTINGS + PLAN)
    document = freeze_plan(load_study(folder), today=dt.date(2026, 3, 4))
    assert "12 rows of rounds had already been entered" in document.markdown()
    assert result_status(load_study(folder), "rounds.lactate", "lactate_mmol_l")[0] == "exploratory"
    assert plan_deviations(load_study(folder))["done"].str.contains("12 rows").any()


def test_a_primary_session_is_proposed_from_the_sessions_that_there_are(tmp_path):
    autumn = [{**sessions()[0], "session": "autumn"}]
    plan = load_study(make_folder(tmp_path, sessions=autumn, without=("rounds", "aerobic_tests"))).plan
    assert plan.primary_session == "autumn" and "primary_session" in plan.proposed


def test_exponents_are_units_of_capacity(tmp_path):
    plan = load_study(empty_study(tmp_path, settings=SETTINGS + '[plan]\ncapacity_unit = "mL/kg^0.67/min"\n')).plan
    assert plan.capacity_unit == "mL/kg^0.67/min"


def test_a_primary_session_with_next_to_nobody_is_remarked_on(tmp_path):
    alone = [{**r, "session": "2" if r["athlete"] == "A01" else "1"} for r in rounds()]
    folder = make_folder(tmp_path, sessions=[*sessions(), {**sessions()[0], "session": "2"}], rounds=alone)
    settings = (folder / "study.toml").read_text() + '\n[plan]\nprimary_session = "2"\n'
    (folder / "study.toml").write_text(settings)
    remark = problem_at(check_study(folder).remarks, column="primary_session")
    assert "only 1 of " in remark["problem"] and "study.toml, line " in check_study(folder).text()
