"""Correlation and slope: exact power and sizes against independent quadrature, simulation, and common sense."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.basics import KitError
from analysis.planning import correlation as own
from analysis.planning.correlation import (
    LARGEST_CLUB,
    correlation_interval,
    correlation_power,
    correlation_precision,
    correlation_sample_size,
    smallest_detectable_r,
    smallest_size,
)

REFERENCE = json.loads((Path(__file__).parents[1] / "references/planning/power.json").read_text())


def test_exact_power_two_and_one_sided():
    for case in REFERENCE["correlation_power"]:
        r, n = case["rho"], case["n"]
        assert correlation_power(r, n) == pytest.approx(case["power_exact_two_sided"], rel=1e-8)
        assert correlation_power(-r, n) == pytest.approx(case["power_exact_two_sided"], rel=1e-8)
        one_sided = case["power_exact_one_sided"]
        assert correlation_power(r, n, alternative="greater") == pytest.approx(one_sided, rel=1e-8)
        assert correlation_power(-r, n, alternative="less") == pytest.approx(one_sided, rel=1e-8)


def test_the_exact_power_is_not_the_usual_approximation():
    assert correlation_power(0.8, 8) == pytest.approx(0.755, abs=5e-4)
    assert abs(correlation_power(0.8, 8) - 0.731) > 0.02


def test_power_without_an_effect_is_alpha():
    assert correlation_power(0.0, 11, alpha=0.03) == pytest.approx(0.03, rel=1e-10)


def test_sample_sizes():
    for case in REFERENCE["correlation_sample_size"]:
        assert correlation_sample_size(case["rho"], power=case["power"]) == case["n_exact"]
        one_sided = correlation_sample_size(-case["rho"], power=case["power"], alternative="less")
        assert one_sided == case["n_exact_one_sided"]


def test_textbook_sizes_within_one_athlete():
    # standard Fisher formula ((1.96 + 0.842) / artanh r)^2 + 3: 30, 20 and 14
    for r, n in ((0.5, 30), (0.6, 20), (0.7, 14)):
        assert abs(correlation_sample_size(r, power=0.8) - n) <= 1


@settings(max_examples=15, deadline=None)
@given(st.floats(0.15, 0.95), st.sampled_from([0.5, 0.8, 0.9]))
def test_the_size_is_the_smallest(r, power):
    n = correlation_sample_size(r, power=power)
    assert correlation_power(r, n) >= power
    assert n == 4 or correlation_power(r, n - 1) < power


def test_smallest_detectable_r():
    for case in REFERENCE["correlation_minimal_detectable"]:
        expected = case["smallest_rho_with_80pct_power_exact"]
        assert smallest_detectable_r(case["n"]) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("alternative", ["greater", "less"])
def test_the_smallest_detectable_r_of_a_one_sided_test_has_the_power(alternative):
    r = smallest_detectable_r(14, alternative=alternative)
    assert correlation_power(r if alternative == "greater" else -r, 14, alternative=alternative) == pytest.approx(0.8)
    assert r < smallest_detectable_r(14) - 0.04
    assert smallest_detectable_r(14, power=0.05) == 0.0 and smallest_detectable_r(14, power=0.06) > 0.05


def test_the_search_starts_at_the_size_of_the_textbook_formula(monkeypatch):
    monkeypatch.setattr(own, "smallest_size", lambda power_of, wished, *, guess, least: (guess, least))
    for r, alternative, z in ((0.5, "two-sided", 1.959964), (0.6, "greater", 1.644854), (-0.7, "less", 1.644854)):
        textbook = ((z + 0.841621) / np.arctanh(abs(r))) ** 2 + 3
        assert correlation_sample_size(r, alternative=alternative) == (pytest.approx(textbook, rel=1e-5), 4)


@pytest.mark.parametrize("guess", [1, 4, 40, 499, 500, 501, 3000, 1e9])
@pytest.mark.parametrize("answer", [4, 5, 37, 500, 1000])
def test_the_smallest_size_is_found_in_few_steps_from_any_start(guess, answer):
    asked = []
    power_of = lambda n: asked.append(n) or n / 1000  # noqa: E731
    assert smallest_size(power_of, answer / 1000, guess=guess, least=4) == answer
    assert len(asked) <= 26 and min(asked) >= 4 and max(asked) <= LARGEST_CLUB
    if guess == answer == 500:
        assert len(asked) <= 8


def test_precision_and_size_for_a_width():
    for case in REFERENCE["correlation_sample_size_for_ci_half_width_fisher_z"]:
        n = case["n_smallest_with_half_width_at_most_target"]
        half = correlation_precision(case["rho"], n, level=case["conf"])
        assert half == pytest.approx(case["half_width_at_that_n"], rel=1e-10)
        one_fewer = correlation_precision(case["rho"], n - 1, level=case["conf"])
        assert half <= case["half_width"] < one_fewer


def test_interval_holds_r_and_is_lopsided():
    assert correlation_interval(0.5, 4)[1] < 1 and correlation_precision(0.5, 4) > 0.9
    low, high = correlation_interval(-0.6, 12)
    assert low < -0.6 < high
    assert (-0.6 - low) < (high + 0.6)


def test_power_of_a_slope_is_that_of_its_correlation_with_one_athlete_fewer_per_covariate():
    rng = np.random.default_rng(1)
    n, studies, slope, sd_x, sd_y = 14, 20_000, -0.9, 5.0, 9.0
    x = rng.normal(0, sd_x, (studies, n))
    covariate = rng.normal(0, 1, (studies, n))
    y = slope * x + rng.normal(0, np.sqrt(sd_y**2 - (slope * sd_x) ** 2), (studies, n)) + 3 * covariate
    design = np.stack([np.ones_like(x), x, covariate], axis=2)
    gram = np.linalg.inv(np.einsum("sni,snj->sij", design, design))
    beta = np.einsum("sij,snj,sn->si", gram, design, y)
    residual = y - np.einsum("sni,si->sn", design, beta)
    error = np.sqrt(np.sum(residual**2, axis=1) / (n - 3) * gram[:, 1, 1])
    from scipy.stats import t

    share = np.mean(np.abs(beta[:, 1] / error) > t.isf(0.025, n - 3))
    exact = correlation_power(slope * sd_x / sd_y, n - 1)
    assert share == pytest.approx(exact, abs=4 * np.sqrt(exact * (1 - exact) / studies))


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (lambda: correlation_power(1.0, 10), "between −1 and 1"),
        (lambda: correlation_power(-1.0, 10), "between −1 and 1"),
        (lambda: correlation_interval(1.5, 10), "between −1 and 1"),
        (lambda: correlation_power(0.5, 2), "from 3 on"),
        (lambda: correlation_interval(0.5, 3), "from 4 on"),
        (lambda: smallest_detectable_r(10, power=2), "power"),
        (lambda: smallest_size(lambda n: 0.0, 0.8, guess=5, least=4), "More than 100000 athletes"),
        (lambda: smallest_detectable_r(3), "from 4 on"),
        (lambda: correlation_power(0.5, 10.5), "whole number"),
        (lambda: correlation_power(0.5, "ten"), "whole number"),
        (lambda: correlation_power(0.5, 10, alpha=0), "alpha"),
        (lambda: correlation_power(float("nan"), 10), "r is nan"),
        (lambda: correlation_power(0.5, 10, alternative="lesser"), "Did you mean 'less'"),
        (lambda: correlation_sample_size(0.5, power=0.8, alternative="less"), "side that is tested"),
        (lambda: correlation_sample_size(0.0, power=0.8), "not 0"),
        (lambda: correlation_sample_size(0.0005, power=0.8), "too small"),
    ],
)
def test_impossible_questions_say_what_to_do(call, hint):
    with pytest.raises(KitError, match=hint):
        call()
