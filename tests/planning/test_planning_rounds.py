"""Power over the rounds: formula against independent values, simulation against the formula where both hold."""

import json
from pathlib import Path

import numpy as np
import pytest

from analysis.basics import KitError
from analysis.planning import compare_covariances
from analysis.planning.rounds import effect_f_of, round_covariance, rounds_power, simulate_rounds_power

REFERENCE = json.loads((Path(__file__).parents[1] / "references/planning/power.json").read_text())


def ar1(case):
    rounds = len(case["means"])
    lag = np.abs(np.subtract.outer(range(rounds), range(rounds)))
    return case["sd_within_round"] ** 2 * case["ar1_correlation"] ** lag


def test_noncentral_f_and_sizes():
    for case in REFERENCE["rm_anova_power"]:
        f = effect_f_of(case["means"], case["sd_within_round"])
        assert f == pytest.approx(case["cohens_f"], rel=1e-12)
        given = {"rounds": len(case["means"]), "effect_f": f, "correlation": case["correlation_among_rounds"]}
        assert rounds_power(n=case["n"], **given) == pytest.approx(case["power_sphericity"], rel=1e-8)
        shrunk = rounds_power(n=case["n"], epsilon=case["epsilon_given"], **given)
        assert shrunk == pytest.approx(case["power_with_epsilon_given"], rel=1e-8)
        for epsilon, n in (
            (1.0, case["n_for_80pct_power_sphericity"]),
            (case["epsilon_given"], case["n_for_80pct_power_with_epsilon"]),
        ):
            few, enough = (rounds_power(n=n - less, epsilon=epsilon, **given) for less in (1, 0))
            assert few < 0.8 <= enough


def test_simulation_agrees_with_the_formula_under_compound_symmetry():
    case = REFERENCE["rm_anova_power"][0]
    sd, rho = case["sd_within_round"], case["correlation_among_rounds"]
    cov = round_covariance(3, sd_between=sd * np.sqrt(rho), sd_within=sd * np.sqrt(1 - rho))
    table = simulate_rounds_power(n=case["n"], means=case["means"], covariance=cov, n_studies=10_000)
    table = table.set_index("test")
    assert table.loc["mixed model", "power"] == pytest.approx(case["power_sphericity"], abs=0.015)
    assert table["formula"].iloc[0] == pytest.approx(case["power_sphericity"], rel=1e-8)


@pytest.mark.parametrize("which", [0, 1])
def test_the_formula_overstates_the_corrected_test_when_neighbours_resemble(which):
    case = REFERENCE["rm_anova_power"][which]
    table = simulate_rounds_power(n=case["n"], means=case["means"], covariance=ar1(case), n_studies=10_000)
    table = table.set_index("test")["power"]
    formula = simulate_rounds_power(n=case["n"], means=case["means"], covariance=ar1(case), n_studies=10)
    approximation = formula["formula"].iloc[0]
    assert approximation == pytest.approx(case["ar1_power_noncentral_F_approximation"], rel=1e-8)
    assert table["Greenhouse-Geisser"] == pytest.approx(case["ar1_power_simulated_20000_gg"], abs=0.015)
    assert table["mixed model"] == pytest.approx(case["ar1_power_simulated_20000_uncorrected"], abs=0.015)
    assert table["Greenhouse-Geisser"] < approximation - 0.03


def test_cluster_robust_test_is_hotellings_and_keeps_its_level():
    cov = round_covariance(4, sd_between=7, sd_within=4, kind="growing")
    table = simulate_rounds_power(n=9, means=[5, 5, 5, 5], covariance=cov, n_studies=10_000)
    share = table.set_index("test").loc["cluster-robust", "power"]
    assert share == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 10_000))


def test_same_seed_same_numbers():
    cov = round_covariance(3, sd_between=7, sd_within=4, kind="autoregressive")
    one, two = (simulate_rounds_power(n=8, means=[0, 1, 2], covariance=cov, n_studies=200, seed=4) for _ in range(2))
    assert one.equals(two)


def test_covariances_side_by_side():
    answer = compare_covariances({"n": 10}, effect=6.0, n_studies=4000)
    table = answer.table.set_index(["covariance", "test"])
    alike = table.loc[("compound", "mixed model")]
    assert alike["ci_low"] - 0.01 < alike["formula"] < alike["ci_high"] + 0.01
    row = table.loc[("autoregressive", "Greenhouse-Geisser")]
    assert row["formula"] > row["ci_high"]
    assert answer.effect == 6.0
    assert compare_covariances({"n": 10, "smallest": {"lactate": 1.5}}, outcome="lactate", n_studies=50).effect == 1.5


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (lambda: rounds_power(n=8, rounds=1, effect_f=0.3, correlation=0.5), "from 2 on"),
        (lambda: rounds_power(n=8, rounds=3, effect_f=-1, correlation=0.5), "0 or more"),
        (lambda: rounds_power(n=8, rounds=3, effect_f=0.3, correlation=1), "correlate between"),
        (lambda: rounds_power(n=8, rounds=3, effect_f=0.3, correlation=0.5, epsilon=0.3), "1/2 and 1"),
        (lambda: simulate_rounds_power(n=8, means=[1, 2], covariance=np.eye(3)), "shape"),
        (lambda: simulate_rounds_power(n=8, means=[1, 2], covariance=np.ones((2, 2))), "positive definite"),
    ],
)
def test_impossible_questions_say_what_to_do(call, hint):
    with pytest.raises(KitError, match=hint):
        call()


@pytest.mark.parametrize("value", ["4", None, [4]])
def test_what_is_no_number_is_named(value):
    from analysis.planning.correlation import correlation_power
    from analysis.planning.rounds import equivalence_power

    for call in (
        lambda: rounds_power(n=12, rounds=4, effect_f=value, correlation=0.5),
        lambda: correlation_power(value, 12),
        lambda: equivalence_power(low=-5, high=5, difference=value, sd_difference=5, n=12),
    ):
        with pytest.raises(KitError, match=r"number|between"):
            call()
