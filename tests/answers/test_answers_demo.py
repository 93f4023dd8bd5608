"""The demo is held against the truth it was drawn from, and half-filled folders say what they need."""

import dataclasses
import json
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
from half_filled import DEMO, LEFT_OUT

from analysis.answers import Answers
from analysis.answers.describe import count_flow, describe_study
from analysis.basics import NotYet
from analysis.report.build import build_document
from analysis.study import list_needs

MADE = DEMO / "how_it_was_made"


@pytest.fixture(scope="module")
def demo(demo_answers):
    return demo_answers


@pytest.fixture(scope="module")
def truth():
    return json.loads((MADE / "truth.json").read_text(encoding="utf-8"))


def test_the_demo_is_made_again_byte_for_byte(tmp_path):
    subprocess.run([sys.executable, str(MADE / "make_demo.py"), str(tmp_path)], check=True, timeout=120)
    made = [p for p in tmp_path.rglob("*") if p.is_file()]
    different = [p.name for p in made if p.read_bytes() != (DEMO / p.relative_to(tmp_path)).read_bytes()]
    assert len(made) > 20 and not different


def test_round_means_are_those_that_the_evening_was_drawn_from(demo):
    true = pd.read_csv(MADE / "true_rounds.csv", dtype={"session": str})
    both = demo.rows.merge(true, on=["session", "athlete", "round_no"], suffixes=("", "_true"))
    kept = both[both["hr_source"] == "trace"]
    assert len(kept) > 80
    assert (kept["hr_mean_bpm"] - kept["hr_mean_bpm_true"]).abs().max() < 1.0


def test_every_wart_of_the_evening_is_noticed(demo):
    flags = demo.cleaned.flags_table.groupby("athlete")["flag"].agg(set)
    assert "no contact" in flags["A02"] and "no contact" in flags["A10"]
    assert "out of range" in flags["A03"] and "flat line" in flags["A05"] and "start lag" in flags["A12"]
    rows = demo.rows[demo.rows["session"] == "1"].set_index(["athlete", "round_no"])
    assert np.isnan(rows.loc[("A10", 4), "hr_mean_bpm"]) and np.isnan(rows.loc[("A08", 1), "hr_mean_bpm"])
    assert rows.loc[("A16", 2), "hr_source"] == "typed"
    assert rows.loc[("A04", 2), "took_part"] == "sat_out" and rows.loc[("A09", 4), "took_part"] == "left"
    assert rows.loc[("A04", 3), "rest_before_s"] > rows.loc[("A01", 3), "rest_before_s"] + 300
    assert (rows["lactate_limit"] == "high").sum() == 2 and rows.loc[("A11", 4), "lactate_limit"] == "high"
    assert demo.study.settled["value"].tolist() == ["112"]
    clocks = demo.cleaned.clocks.set_index(["session", "athlete"])["offset_s"]
    assert clocks[("1", "A11")] == 47 and clocks[("1", "A14")] == -63


def test_round_effects_lie_where_the_truth_is(demo, truth):
    for outcome, key in (("hr_mean_bpm", "hr_round_effects_bpm"), ("lactate_mmol_l", "lactate_round_effects_mmol_l")):
        found = demo.rounds(outcome).comparison.contrasts
        assert len(found) >= 3
        for line in found.to_dict("records"):
            true = truth[key][int(line["later"]) - 1] - truth[key][int(line["earlier"]) - 1]
            assert abs(line["estimate"] - true) < 3.5 * line["standard_error"], (outcome, line["contrast"])


def test_the_slope_of_heart_rate_on_fitness_lies_where_the_truth_is(demo, truth):
    planned = demo.fitness("hr_mean_bpm").planned
    assert abs(planned.estimate - truth["hr_slope_per_ml_kg_min"]) < 3 * planned.standard_error
    assert planned.n_athletes == 13 and planned.df < 13  # those with a measured maximal heart rate


def test_bouts_of_the_plan_order_the_rounds_of_fitness(demo_answers):
    """One athlete of the demo sat a round out: the plan's choice changes the slope, as statsmodels fits it too."""
    import statsmodels.formula.api as smf

    study = demo_answers.study
    changed = Answers(dataclasses.replace(study, plan=dataclasses.replace(study.plan, round_variable="bout_no")))
    rows = demo_answers.rows
    rows = rows[(rows["session"] == study.plan.primary_session) & (rows["round_no"] > 0)]
    slopes = []
    for answers, variable in ((demo_answers, "round_no"), (changed, "bout_no")):
        found = answers.fitness("exertion")
        table = rows.merge(answers.capacity[["athlete", "capacity"]], on="athlete")
        table = table.merge(study.athletes[["athlete", *found.adjusted_for]], on="athlete")
        table = table.dropna(subset=["exertion", "capacity", variable, *found.adjusted_for])
        formula = " + ".join([f"exertion ~ C({variable})", "capacity", *found.adjusted_for])
        other = smf.mixedlm(formula, table, groups=table["athlete"]).fit(reml=True)
        assert found.planned.estimate == pytest.approx(other.params["capacity"], rel=1e-3)
        slopes.append(found.planned.estimate)
    assert abs(slopes[0] - slopes[1]) > 1e-3


def test_every_question_of_the_demo_has_an_answer(demo):
    assert demo.published() and demo.design() and demo.levels() and demo.reliability("hr_mean_bpm")
    assert {"hr_mean_bpm", "lactate_mmol_l", "exertion"} <= set(demo.measured_outcomes)
    assert list_needs(demo.study)["ready"].sum() == 7


def test_answers_are_computed_once(demo):
    assert demo.rounds("exertion") is demo.rounds("exertion")


@pytest.mark.parametrize("kind", LEFT_OUT)
def test_half_filled_folders_answer_what_they_can(kind, half_filled_answers):
    answers = half_filled_answers[kind]
    lacks = {
        "planning only": {"cleaned", "rows", "capacity", "published", "rounds", "fitness"},
        "heart rate only": {"capacity", "published", "fitness"},
        "no aerobic tests": {"capacity", "fitness"},
        "nothing published": {"published"},
    }[kind]
    given = {
        "cleaned": answers.cleaned, "rows": answers.rows, "capacity": answers.capacity, "published": answers.published(),
        "rounds": answers.rounds("hr_mean_bpm"), "fitness": answers.fitness("hr_mean_bpm"),
    }  # fmt: skip
    assert {name for name, value in given.items() if isinstance(value, NotYet)} == lacks
    for name in lacks:
        assert "needs" in str(given[name]) and given[name].needs
    assert answers.design()


def test_departures_from_the_fixed_plan_of_the_demo_are_found(demo):
    from analysis.study.deviations import plan_deviations

    assert demo.study.plan.frozen["date"] == "2026-10-01" and demo.study.plan.frozen["intact"]
    found = plan_deviations(demo.study)["part"].tolist()
    assert {"sampling: tolerance", "rounds per athlete", "decision by a person"} <= set(found)


def test_tests_that_are_too_old_stand_among_what_was_set_aside(demo):
    study = demo.study
    old = study.aerobic_tests.assign(date=study.aerobic_tests["date"].str.replace("2026", "2025"))
    found = describe_study(study, demo.cleaned, Answers(dataclasses.replace(study, aerobic_tests=old)).capacity)
    aside = found.set_aside.query("table == 'aerobic_tests'")
    assert aside["amount"].sum() == len(old) and aside["cause"].str.contains("more than 42 days").all()


def test_an_evening_of_one_round_keeps_its_question_about_fitness(tmp_path):
    rows = pd.DataFrame({"athlete": [f"A{i:02d}" for i in range(1, 13)], "round_no": 1})
    rows["hr_mean_typed_bpm"] = [181, 170, 176, 165, 172, 168, 179, 163, 174, 171, 167, 177]
    athletes = rows[["athlete"]].assign(
        age_years=25, sex="M", hr_max_bpm=[196, 190, 191, 188, 189, 192, 195, 187, 190, 193, 186, 194],
        hr_max_source="measured", consent_measured="yes", cleared="yes",
    )  # fmt: skip
    tests = rows[["athlete"]].assign(test="run_12_min", date="2026-03-01")
    tests["distance_m"] = [2150, 2500, 2350, 2700, 2450, 2620, 2300, 2800, 2400, 2560, 2640, 2280]
    for name, table in {"rounds": rows, "athletes": athletes, "aerobic_tests": tests}.items():
        table.to_csv(tmp_path / f"{name}.csv", index=False)
    (tmp_path / "sessions.csv").write_text("session,date\n1,2026-03-05\n")
    (tmp_path / "study.toml").write_text(
        'title = "One round"\nsport = "grappling"\nexertion_scale = "6-20"\n'
        "[protocol]\nrounds = 1\nwork_s = 300\nrest_s = 60\n"
    )
    answers = Answers.from_folder(tmp_path)
    assert answers.measured_outcomes == () and answers.fitness_outcomes == ("hr_mean_bpm", "percent_hr_max")
    assert answers.fitness("hr_mean_bpm").verdict == "supported" and not answers.rounds("hr_mean_bpm")
    asked = {q.id: q for q in answers.questions}
    assert asked["fitness.heart_rate"].verdict == "supported" and asked["rounds.heart_rate"].verdict == ""
    needs = list_needs(answers.study).set_index("notebook")["ready"]
    assert needs["05_fitness_and_sparring"] and not needs["04_compare_the_rounds"]
    document = build_document(answers)
    verdict = {s.title: s.verdict for s in document.of_layer("answers")}
    assert verdict["Do fitter athletes run lower?"] == "Shown"
    assert "Fitter athletes run lower: someone 10 mL/kg/min fitter by 11 beats" in spoken(document, "answers")
    paper = spoken(document, "paper")
    assert "The data support a lower mean heart rate in fitter athletes." in paper
    assert "fixed effect of round" not in paper and "Kenward and Roger, 1997" in paper, "only what was done"


def spoken(document, layer):
    return document.text(layer).replace("\N{NO-BREAK SPACE}", " ")


def test_the_flow_of_athletes_ends_in_the_counts_that_the_results_print(demo_answers):
    flow = count_flow(demo_answers)
    assert flow.n_codes >= flow.n_athletes >= flow.n_sparred and flow.n_athletes >= flow.n_tested
    paper = spoken(build_document(demo_answers), "paper")
    assert set(flow.answers["family"]) == {"rounds", "fitness"}
    for line in flow.answers.itertuples():
        assert f"{line.n_athletes} athletes" in paper and f"{line.n_observations} values" in paper
