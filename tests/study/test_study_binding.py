"""The plan binds: what is changed after the freeze makes the questions that rest on it exploratory, and says so."""

import datetime as dt
import hashlib
import json

import pytest
from study_folders import SETTINGS, make_folder, rounds

from analysis.study import Study, freeze_plan, result_status
from analysis.study.binding import question_statuses
from analysis.study.deviations import plan_deviations
from analysis.study.fixed_plan import checksum_of, load_fixed_plan
from analysis.study.outcomes import QUESTIONS

PLAN = """
[ethics]
approval = "2026-17"

[plan]
primary_session = 1
alpha = 0.05
n_athletes = 4
exclusions = ["athletes on medicine that holds the heart rate down"]
capacity_unit = "mL/kg/min"
round_variable = "round_no"
multiplicity = "primary"
primary_questions = ["rounds.heart_rate", "fitness.heart_rate"]

[plan.adjustment]
"fitness.heart_rate" = ["hr_max_bpm"]

[plan.primary_outcomes]
"rounds.heart_rate" = "hr_mean_bpm"

[plan.smallest_effects]
hr_mean_bpm = 5
lactate_mmol_l = 1
""" + "".join(
    f'\n[[plan.hypotheses]]\nquestion = "{question}"\ndirection = "{direction}"\n'
    for question, direction in (
        ("rounds.heart_rate", "rises"),
        ("rounds.lactate", "rises"),
        ("rounds.exertion", "rises"),
        ("fitness.heart_rate", "lower"),
        ("fitness.lactate", "lower"),
    )
)
TODAY = dt.date(2026, 3, 1)  # before the session of the small study
ALL = set(QUESTIONS)
FITNESS = {q for q in QUESTIONS if q.startswith("fitness")}
HEART = {"rounds.heart_rate", "fitness.heart_rate"}

TAMPERED = {
    "level": (("alpha = 0.05", "alpha = 0.1"), ALL, "0.05 in the plan, 0.1 now"),
    "smallest effect": (
        ("hr_mean_bpm = 5", "hr_mean_bpm = 12"),
        HEART,
        "the smallest effect that matters (5 in the plan, 12 now) was changed",
    ),
    "adjustment": (
        ('"fitness.heart_rate" = ["hr_max_bpm"]', '"fitness.heart_rate" = ["age_years"]'),
        {"fitness.heart_rate"},
        "the adjustment (hr_max_bpm in the plan, age_years now)",
    ),
    "covariates of all": (("alpha = 0.05", 'alpha = 0.05\ncovariates = ["age_years"]'), set(), ""),
    "direction": (
        ('"rounds.lactate"\ndirection = "rises"', '"rounds.lactate"\ndirection = "falls"'),
        {"rounds.lactate"},
        "the expected direction (rises in the plan, falls now)",
    ),
    "outcome": (
        ('"rounds.heart_rate" = "hr_mean_bpm"', '"rounds.heart_rate" = "hr_peak_bpm"'),
        {"rounds.heart_rate"},
        "the outcome (mean heart rate in the plan, peak heart rate now)",
    ),
    "session": (("primary_session = 1", "primary_session = 2"), ALL, "the primary session (1 in the plan, 2 now)"),
    "order of rounds": (
        ('round_variable = "round_no"', 'round_variable = "bout_no"'),
        ALL,
        "round_no in the plan, bout_no now",
    ),
    "unit": (
        ('capacity_unit = "mL/kg/min"', 'capacity_unit = "L/min"'),
        FITNESS,
        "the unit of capacity (mL/kg/min in the plan, L/min now)",
    ),
    "exclusions": (
        ("athletes on medicine that holds the heart rate down", "athletes who were tired"),
        ALL,
        "the exclusions",
    ),
    "several questions": (
        ('multiplicity = "primary"', 'multiplicity = "all"'),
        ALL,
        "the rule for several questions (primary in the plan, all now) was changed",
    ),
    "primary questions": (
        ('primary_questions = ["rounds.heart_rate", "fitness.heart_rate"]', 'primary_questions = ["rounds.lactate"]'),
        ALL,
        "the primary questions",
    ),
    "rule of cleaning": (
        ("[plan]\n", "[cleaning]\nflat_line_s = 25\n\n[plan]\n"),
        HEART,
        "the rules of cleaning (none in the plan, flat line s 25 now) were changed",
    ),
    "hypothesis dropped": (
        ('\n[[plan.hypotheses]]\nquestion = "rounds.exertion"\ndirection = "rises"\n', ""),
        {"rounds.exertion"},
        "the expected direction (rises in the plan, none now)",
    ),
}
TWO = [
    {"session": "1", "date": "2026-03-05", "start_clock": "19:30:00"},
    {"session": "2", "date": "2026-03-12", "start_clock": "19:30:00"},
]


def fixed_folder(tmp_path, plan=PLAN):
    folder = make_folder(tmp_path, settings=SETTINGS + plan, sessions=TWO, without=("rounds", "aerobic_tests"))
    freeze_plan(Study.load(folder), today=TODAY)
    return folder


def with_data(tmp_path, plan=PLAN, settings=SETTINGS):
    rows = rounds() + [row | {"session": "2"} for row in rounds()]
    make_folder(tmp_path, settings=settings + plan, sessions=TWO, rounds=rows)
    return Study.load(tmp_path / "study" if (tmp_path / "study").is_dir() else tmp_path)


def statuses(study):
    return {q.id: q for q in question_statuses(study)}


def test_an_untouched_plan_confirms_every_question_that_it_holds(tmp_path):
    fixed_folder(tmp_path)
    found = statuses(with_data(tmp_path))
    assert {q.status for q in found.values()} == {"confirmatory"} and set(found) == ALL
    assert {q.id for q in found.values() if q.role == "primary"} == HEART
    assert found["fitness.heart_rate"].direction == "lower"


@pytest.mark.parametrize("name", TAMPERED)
def test_a_changed_plan_makes_exploratory_what_rests_on_it_and_nothing_else(tmp_path, name):
    fixed_folder(tmp_path)
    (old, new), concerned, words = TAMPERED[name]
    assert old in PLAN
    found = statuses(with_data(tmp_path, PLAN.replace(old, new)))
    if name == "covariates of all":  # the planned adjustment is named by question; only the others follow the list
        concerned, words = ({"fitness.lactate"}, "the adjustment (age_years and sex in the plan, age_years now)")
    exploratory = {q for q, s in found.items() if s.status == "exploratory"}
    assert exploratory == concerned
    for question in concerned:
        assert words in found[question].why and "after the plan was fixed" in found[question].why


def test_expected_directions_are_those_of_the_fixed_plan(tmp_path):
    fixed_folder(tmp_path)
    flipped = PLAN.replace('direction = "lower"', 'direction = "higher"')
    found = statuses(with_data(tmp_path, flipped))
    assert found["fitness.heart_rate"].direction == "lower" and "lower" in found["fitness.heart_rate"].hypothesis


def test_other_rounds_than_planned_make_everything_exploratory(tmp_path):
    fixed_folder(tmp_path)
    study = with_data(tmp_path, settings=SETTINGS.replace("rounds = 3", "rounds = 4"))
    assert {q.status for q in question_statuses(study)} == {"exploratory"}


def test_a_round_left_out_of_the_table_is_noticed(tmp_path):
    fixed_folder(tmp_path)
    rows = [row for row in rounds() if row["round_no"] != 3]
    folder = make_folder(tmp_path, settings=SETTINGS + PLAN, sessions=TWO, rounds=rows)
    status, why = result_status(Study.load(folder), "rounds.lactate", "lactate_mmol_l")
    assert status == "exploratory" and "the rounds analysed (1 to 3 in the plan, 1 to 2 now) were changed" in why


def test_a_fixed_plan_that_was_rewritten_with_a_new_checksum_is_noticed(tmp_path):
    folder = fixed_folder(tmp_path)
    path = folder / "plan_fixed.json"
    content = json.loads(path.read_text())
    content["fixed"]["plan"]["alpha"] = 0.1
    content["checksum"] = checksum_of(content["fixed"])
    path.write_text(json.dumps(content))
    assert not load_fixed_plan(folder).intact
    document = folder / content["document"]
    content["document_sha256"] = hashlib.sha256(document.read_bytes()).hexdigest()
    path.write_text(json.dumps(content))
    assert not load_fixed_plan(folder).intact  # the document still names the old checksum
    study = with_data(tmp_path, PLAN.replace("alpha = 0.05", "alpha = 0.1"))
    assert {q.status for q in question_statuses(study)} == {"exploratory"}


def test_words_and_planned_numbers_bind_nothing(tmp_path):
    fixed_folder(tmp_path)
    other = PLAN.replace("n_athletes = 4", "n_athletes = 6").replace(
        'direction = "lower"', 'direction = "lower"\ntext = "Fitter athletes run lower."'
    )
    study = with_data(tmp_path, other)
    assert {q.status for q in question_statuses(study)} == {"confirmatory"}
    assert "6" in set(plan_deviations(study)["done"])  # a departure, and listed as one


def test_what_the_settings_leave_out_stays_as_it_was_fixed(tmp_path):
    fixed_folder(tmp_path, PLAN.replace("alpha = 0.05", "alpha = 0.01"))
    study = with_data(tmp_path, PLAN.replace("alpha = 0.05\n", ""))
    assert study.plan.alpha == 0.01
    assert {q.status for q in question_statuses(study)} == {"confirmatory"}
