"""We have so many: what can we answer? And the assumptions, attenuation and repeats behind it."""

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.basics import KitError
from analysis.planning import VERDICTS, Assumptions, answer_design, power_curves, published_ranges, replication_sizes
from analysis.planning.correlation import detectability_power, shrunk_correlation, slope_factor
from analysis.planning.design import assumptions_for, round_profile
from analysis.study import Plan, Protocol
from analysis.study.plan import Hypothesis

REFERENCE = json.loads((Path(__file__).parents[1] / "references/planning/replication_design.json").read_text())


def test_every_planned_question_has_a_line_in_words():
    answer = answer_design(Protocol(4, 300.0, 120.0), n=12)
    table = answer.questions
    assert set(table["question"]) == {
        "rounds.heart_rate",
        "rounds.lactate",
        "rounds.exertion",
        "fitness.heart_rate",
        "fitness.lactate",
    }
    assert set(table["verdict"]) <= set(VERDICTS)
    for row in table.itertuples():
        assert row.words.startswith((row.verdict.capitalize(), "Only with a wider margin"))
        assert row.words.endswith(".")
        for bad in ("nan", "None", "no difference", "unbounded", "100\xa0%", "p ="):
            assert bad not in row.words


def test_more_athletes_never_answer_less():
    order = {v: i for i, v in enumerate(VERDICTS)}
    before = None
    for n in (8, 20, 90):
        table = answer_design(4, n=n).questions
        now = table["verdict"].map(order)
        if before is not None:
            assert (now <= before).all()
        before = now
    assert (table.loc[table["part"].isin(["change", "steps", "plateau"]), "power_smallest"] > 0.99).all()


def test_the_size_named_is_the_smallest_that_reaches_eighty_percent():
    for row in answer_design(4, n=12).questions.iloc[[0, 2, 6, 7]].itertuples():
        again = answer_design(4, n=int(row.n_for_80)).question(row.question, row.part)
        below = answer_design(4, n=int(row.n_for_80) - 1).question(row.question, row.part)
        assert again["power_smallest"] >= 0.8 > below["power_smallest"]
        assert again["verdict"] == "answerable"


def test_detectable_effect_is_seen_with_eighty_percent():
    answer = answer_design(4, n=16)
    slope = answer.question("fitness.heart_rate", "slope")
    truth = answer.assumptions.but(heart_rate={"slope": -slope["detectable"] / answer.design.capacity_step})
    seen = answer_design(4, assumptions=truth, n=16).question("fitness.heart_rate", "slope")
    assert seen["power_assumed"] == pytest.approx(0.8, abs=1e-6)
    rise = answer.question("rounds.heart_rate", "change")["detectable"]
    truth = answer.assumptions.but(heart_rate={"rise": rise})
    seen = answer_design(4, assumptions=truth, n=16).question("rounds.heart_rate", "change")
    assert seen["power_assumed"] == pytest.approx(0.8, abs=1e-6)


def test_the_plan_decides_outcomes_sizes_and_alpha():
    plan = Plan(
        alpha=0.01,
        hypotheses=(Hypothesis("rounds.heart_rate", "percent_hr_max", "rises"),),
        primary_outcomes={"rounds.heart_rate": "percent_hr_max", "fitness.heart_rate": "percent_hr_max"},
        smallest_effects={"percent_hr_max": 3.0, "lactate_mmol_l": 1.5},
        covariates=("age_years", "sex"),
        n_athletes=18,
    )
    answer = answer_design(Protocol(5, 300.0, 60.0, "0-100"), plan)
    assert answer.n == 18
    assert answer.design.alpha == 0.01
    assert answer.design.adjust == ("age", "sex")
    assert answer.question("rounds.heart_rate", "change")["unit"] == "%"
    assert answer.question("rounds.heart_rate", "change")["smallest_effect"] == 3.0
    assert answer.question("rounds.lactate", "change")["smallest_effect"] == 1.5
    assert answer.design.smallest_of("lactate") == 1.5
    assert answer.assumptions.exertion.rise == 20.0


def test_tiny_studies_are_told_the_truth():
    for n in (3, 4):
        table = answer_design(2, n=n).questions
        assert "answerable" not in set(table["verdict"])
        assert table["words"].str.len().min() > 40


def test_curves_agree_with_the_answer():
    answer = answer_design(4, n=14)
    for part in ("change", "steps", "plateau", "slope", "correlation"):
        question = "rounds.heart_rate" if part in ("change", "steps", "plateau") else "fitness.heart_rate"
        row = answer.question(question, part)
        curves = power_curves(answer.design, answer.assumptions, part=part)
        assert curves.at(14)["power_smallest"] == pytest.approx(row["power_smallest"])
        assert curves.at(14)["half_width"] == pytest.approx(row["half_width"])
    assert curves.n_left == 13
    with pytest.raises(KitError, match="not to 99"):
        curves.at(99)


def test_losses_are_recruited_for():
    answer = answer_design(4, assumptions=Assumptions().but(leave=0.1), n=12)
    assert answer.n_to_recruit == int(np.ceil(12 / 0.9**3))


def test_a_published_correlation_is_sized_too():
    answer = answer_design(4, n=12, published=(-0.6, 12))
    assert answer.replication.n_new == 12


@pytest.mark.parametrize("pair", REFERENCE["pairs"])
def test_repeats_against_independent_values(pair):
    r, n, new = pair["r_original"], pair["n_original"], pair["n_replication"]
    answer = replication_sizes(r, n, n_new=new)
    power = answer.targets.set_index("target")["power"]
    expected = pair["power_of_replication_design"]
    assert power["as published"] == pytest.approx(expected["at_original_r_exact"], rel=1e-8)
    assert power["fraction"] == pytest.approx(expected["at_half_original_r_exact"], rel=1e-8)
    assert power["shrunk"] == pytest.approx(expected["at_lower_60pct_ci_bound_of_original"], rel=1e-8)
    assert answer.smallest_detectable_r == pytest.approx(pair["rho33_exact_power_one_third"], rel=1e-8)
    limits = pair["prediction_interval95_for_replication_r"]
    assert answer.prediction_low == pytest.approx(limits["low"], rel=1e-8)
    assert answer.prediction_high == pytest.approx(limits["high"], rel=1e-8)


def test_two_and_a_half_times_the_earlier_size():
    # Simonsohn (2015) Psychol Sci 26:559-569: about 2.5 times the earlier n for 80 % power
    for n in (12, 20, 40):
        answer = replication_sizes(-0.6, n)
        assert 2.2 * n < answer.n_detectability < 2.7 * n
        assert detectability_power(answer.smallest_detectable_r, answer.n_detectability) >= 0.8


def test_a_published_effect_that_shrinks_to_nothing_says_so():
    answer = replication_sizes(0.2, 8, n_new=20)
    assert shrunk_correlation(0.2, 8) == 0.0
    assert answer.targets.set_index("target")["n_needed"].isna()["shrunk"]
    assert any("reaches zero" in w for w in answer.warnings)


def test_the_slope_after_both_kinds_of_test_error_by_simulation():
    rng = np.random.default_rng(4)
    true = rng.normal(0, 4.0, 400_000)
    y = -0.6 * true + rng.normal(0, 5.0, len(true))
    measured = true + rng.normal(0, 3.0, len(true))
    assert np.polyfit(measured, y, 1)[0] == pytest.approx(-0.6 * slope_factor(capacity_sd=5.0, retest_sd=3.0), abs=0.01)
    predicted = rng.normal(0, 3.0, len(true))
    true = predicted + rng.normal(0, 4.0, len(true))
    y = -0.6 * true + rng.normal(0, 5.0, len(true))
    assert np.polyfit(predicted, y, 1)[0] == pytest.approx(-0.6 * slope_factor(capacity_sd=3.0), abs=0.01)
    # spread 4.6 and a retest error of 2.58, as physiology has them, leave a reliability of .69
    assert slope_factor(capacity_sd=4.6, retest_sd=2.58) == pytest.approx(0.685, abs=5e-4)


def test_round_profiles():
    assert round_profile(2, 6.0).tolist() == [0.0, 6.0]
    assert round_profile(5, 8.0, "creeps").tolist() == [0.0, 2.0, 4.0, 6.0, 8.0]
    assert round_profile(4, 8.0, "steady").tolist() == [0.0] * 4


def test_what_is_proposed_lies_inside_what_was_published():
    table = published_ranges()
    assert table["proposal"].between(table["low"], table["high"]).all()
    assert (table["source"].str.len() > 20).all()


def test_the_age_slope_of_maximal_heart_rate_is_the_published_one():
    from analysis.planning.design import HR_MAX_PER_YEAR

    physiology = pytest.importorskip("analysis.physiology")
    names = physiology.hr_max_equations()["equation"].tolist()
    name = next(e for e in names if "tanaka" in e.casefold())
    at = [physiology.predict_hr_max(age, name).value for age in (20, 40)]
    assert (at[1] - at[0]) / 20 == pytest.approx(HR_MAX_PER_YEAR)


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (lambda: answer_design(1, n=12), "at least 2"),
        (lambda: answer_design(4, n=2), "from 3 on"),
        (lambda: answer_design(4, assumptions={"leave": 1.0}, n=12), "everybody leaves"),
        (lambda: answer_design(4, n=12).question("rounds.mood"), "no question"),
        (lambda: answer_design(4, n=12, adjust=("weight",)), "adjust"),
        (lambda: assumptions_for(scale="1-5"), "scale"),
        (lambda: slope_factor(capacity_sd=4, retest_sd=5), "cannot tell athletes apart"),
        (lambda: replication_sizes(0.0, 12), "correlation of 0"),
        (lambda: replication_sizes(0.5, 3), "from 4 on"),
        (lambda: replication_sizes(0.5, 12, fraction=0), "fraction"),
        (lambda: detectability_power(0.0, 12), "between 0 and 1"),
    ],
)
def test_impossible_questions_say_what_to_do(call, hint):
    with pytest.raises(KitError, match=hint):
        call()
