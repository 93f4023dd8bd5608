"""Two rounds and plateaus: exact power against independent values and simulation."""

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.basics import KitError
from analysis.planning import Assumptions, equivalence_power, paired_power
from analysis.planning.design import Design
from analysis.planning.questions import pose
from analysis.planning.rounds import plateau_power

REFERENCE = json.loads((Path(__file__).parents[1] / "references/planning/power.json").read_text())


def power_of_the_step(d_z, n):
    """Power for the one step of two rounds, whose difference has the standardised mean d_z."""
    truth = Assumptions()
    question = pose("steps", "heart_rate", 5.0, Design(n, rounds=2), truth)
    return question.power(d_z * np.sqrt(2) * truth.size("heart_rate").sd_within, n)


def test_paired_power_is_that_of_an_independent_program():
    for case in REFERENCE["paired_t_power"]:
        assert paired_power(case["d_z"], case["n"]) == pytest.approx(case["power_two_sided_exact"], rel=1e-8)
        one = paired_power(case["d_z"], case["n"], alternative="greater")
        assert one == pytest.approx(case["power_one_sided"], rel=1e-8)
        assert paired_power(-case["d_z"], case["n"], alternative="less") == pytest.approx(one, rel=1e-12)
    for bad, words in (((0.5, 1), "from 2 on"), ((float("inf"), 8), "must be a number")):
        with pytest.raises(KitError, match=words):
            paired_power(*bad)


def test_the_step_between_two_rounds_is_the_paired_t_test():
    for case in REFERENCE["paired_t_power"]:
        found = power_of_the_step(case["d_z"], case["n"])
        assert found == pytest.approx(case["power_two_sided_exact"], rel=1e-8)
    for case in REFERENCE["paired_t_sample_size_two_sided"]:
        few, enough = (power_of_the_step(case["d_z"], n) for n in (case["n"] - 1, case["n"]))
        assert few < case["power"] <= enough


def test_equivalence_power_and_sizes():
    for case in REFERENCE["paired_tost_power"]:
        power = equivalence_power(
            low=case["bound_low"],
            high=case["bound_high"],
            difference=case["true_difference"],
            sd_difference=case["sd_difference"],
            n=case["n"],
        )
        assert power == pytest.approx(case["power_exact"], rel=1e-8)
    for case in REFERENCE["paired_tost_sample_size"]:
        given = {"difference": case["true_difference"], "sd_difference": case["sd_difference"]}
        few, enough = (equivalence_power(low=-4, high=4, n=case["n_exact"] - less, **given) for less in (1, 0))
        assert few < case["power"] <= enough


def test_equivalence_with_lopsided_limits_against_simulation():
    rng = np.random.default_rng(3)
    from scipy.stats import t

    n, draws, sd, delta, low, high = 9, 200_000, 4.0, 1.0, -3.0, 6.0
    mean = rng.normal(delta, sd / np.sqrt(n), draws)
    error = sd * np.sqrt(rng.chisquare(n - 1, draws) / (n - 1)) / np.sqrt(n)
    reach = t.isf(0.05, n - 1) * error
    share = np.mean((mean - reach > low) & (mean + reach < high))
    exact = equivalence_power(low=low, high=high, difference=delta, sd_difference=sd, n=n)
    assert share == pytest.approx(exact, abs=4 * np.sqrt(0.25 / draws))


def test_power_of_equivalence_at_its_limit_is_at_most_alpha():
    assert equivalence_power(low=-4, high=4, difference=4, sd_difference=3, n=30) <= 0.05 + 1e-9


def test_two_rounds_make_the_plateau_rule_the_equivalence_test():
    for true in (0.0, 2.0):
        whole = plateau_power(n=12, rounds=2, bound=5, sd_within=4.5, profile=[0, true])
        pair = equivalence_power(low=-5, high=5, difference=true, sd_difference=4.5 * np.sqrt(2), n=12)
        assert whole == pytest.approx(pair, rel=1e-10)


def test_plateau_power_against_simulation():
    from scipy.stats import t

    rng = np.random.default_rng(5)
    n, k, draws, profile = 12, 4, 100_000, np.array([-9.0, 0, 1, 2])
    means = rng.standard_normal((draws, k)) * 4.5 / np.sqrt(n) + profile
    df = (n - 1) * (k - 1)
    reach = t.isf(0.05, df) * 4.5 * np.sqrt(rng.chisquare(df, draws) / df) * np.sqrt(2 / n)
    found = np.mean(np.ptp(means[:, 1:], axis=1) + reach < 5)
    exact = plateau_power(n=n, rounds=k, bound=5, sd_within=4.5, from_round=2, profile=profile)
    assert found == pytest.approx(exact, abs=4 * np.sqrt(0.25 / draws))


def test_a_creeping_rise_rarely_passes_for_a_plateau():
    flat = plateau_power(n=20, rounds=4, bound=5, sd_within=4, from_round=2)
    creeping = plateau_power(n=20, rounds=4, bound=5, sd_within=4, from_round=2, profile=[0, 3, 6, 9])
    assert flat > 0.8
    assert creeping < 0.05


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (lambda: equivalence_power(low=4, high=-4, difference=0, sd_difference=3, n=9), "low < high"),
        (lambda: equivalence_power(low=-4, high=4, difference=0, sd_difference=0, n=9), "above 0"),
        (lambda: plateau_power(n=9, rounds=4, bound=5, sd_within=4, from_round=4), "from 1 to 3"),
        (lambda: plateau_power(n=9, rounds=4, bound=5, sd_within=4, profile=[0, 1]), "each of the 4 rounds"),
    ],
)
def test_impossible_questions_say_what_to_do(call, hint):
    with pytest.raises(KitError, match=hint):
        call()
