"""Prediction, difference, detectability, combination and evidence, held to R and to published tables."""

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.basics import KitError
from analysis.models import correlation_cdf, correlation_quantile
from analysis.replication import combine
from analysis.replication.combine import combine_correlations, combine_estimates
from analysis.replication.evidence import (
    bayes_factor,
    consistency,
    detectability,
    fisher_limits,
    prediction_interval,
    prediction_interval_from_limits,
    smallest_detectable,
)

REFERENCES = Path(__file__).parents[1] / "references" / "replication"
PAIRS = json.loads((REFERENCES / "correlation_pairs.json").read_text())["pairs"]
CHECKS = {c["id"]: c for c in json.loads((REFERENCES / "check_values.json").read_text(encoding="utf-8"))}


def numbers(pair):
    return pair["r_original"], pair["n_original"], pair["r_replication"], pair["n_replication"]


@pytest.mark.parametrize("pair", PAIRS, ids=lambda p: f"{p['r_original']}_{p['r_replication']}")
def test_pairs_agree_with_r(pair):
    near = pytest.approx
    r, n, r_new, n_new = numbers(pair)
    expected = pair["prediction_interval95_for_replication_r"]
    assert tuple(prediction_interval(r, n, n_new)) == near((expected["low"], expected["high"]), rel=1e-9)
    other = pair["prediction_interval95_alternative_combining_the_two_ci_limits"]
    assert tuple(prediction_interval_from_limits(r, n, n_new)) == near((other["low"], other["high"]), rel=1e-9)

    found = consistency(r, n, r_new, n_new)
    assert found.q_cochran == near(pair["heterogeneity_Q"], rel=1e-9)
    assert found.p == near(pair["heterogeneity_p"], rel=1e-9)
    assert found.p_cochran == near(pair["heterogeneity_p"], rel=1e-9)
    assert found.i2 == near(pair["I_squared"], rel=1e-9)
    assert found.q_cohen == near(pair["cohens_q_replication_minus_original"], rel=1e-9)

    seen, expected = detectability(r, n, r_new, n_new), pair["small_telescopes"]
    assert seen.smallest_detectable_r == near(expected["rho33_exact_power_one_third"], rel=1e-8)
    exact = expected["p_one_sided_replication_smaller_than_rho33_exact_distribution"]
    assert seen.p == near(exact, rel=1e-7)
    assert seen.p_fisher == near(expected["p_one_sided_replication_smaller_fisher_z_with_rho33_exact"], rel=1e-7)
    assert seen.ci90_high == near(expected["replication_ci90_upper_in_original_direction"], rel=1e-9)
    assert seen.undetectable is expected["undetectable_at_05_exact"]

    both, expected = combine(r, n, r_new, n_new), pair["fixed_effect_combined"]
    assert both.estimate == near(expected["r"], rel=1e-9)
    assert (both.ci_low, both.ci_high) == near((expected["ci95_low"], expected["ci95_high"]), rel=1e-9)
    assert (both.standard_error, both.statistic) == near((expected["se_fisher_z"], expected["z_test"]), rel=1e-9)
    assert both.p == near(expected["p"], rel=1e-8)
    assert both.weights[0] == near(expected["weight_original"], rel=1e-9)

    evidence, expected = bayes_factor(r, n, r_new, n_new), pair["bayes"]
    assert evidence.replication == near(expected["replication_bf_r0_posterior_of_original_uniform_prior"], rel=1e-9)
    assert evidence.earlier == near(expected["bf10_original_uniform_prior"], rel=1e-9)
    assert evidence.ours == near(expected["bf10_replication_uniform_prior"], rel=1e-9)
    assert evidence.both == near(expected["bf10_both_uniform_prior"], rel=1e-9)


@pytest.mark.parametrize(
    ("check", "function"),
    [
        ("pi_r_published", prediction_interval_from_limits),
        ("pi_r_fisher_small", prediction_interval),
        ("pi_r_mover_small", prediction_interval_from_limits),
    ],
)
def test_published_prediction_intervals(check, function):
    known = CHECKS[check]
    given = known["inputs"]
    assert tuple(function(given["r"], given["n"], given["rep_n"])) == pytest.approx(
        known["expected"], abs=known["tolerance"]
    )


def test_published_interval_of_a_correlation():
    known = CHECKS["ci_r_published"]
    found = fisher_limits(known["inputs"]["r"], known["inputs"]["n"], 0.95)
    assert found == pytest.approx(known["expected"], abs=known["tolerance"])


def test_smallest_detectable_has_the_power_it_claims():
    # the check value uses Fisher's z; the exact power is one third a little lower
    known = CHECKS["r33_n12"]
    fisher = math.tanh((1.959964 - 0.430727) / 3)  # normal quantiles of .975 and 2/3: both tails but the far one
    assert fisher == pytest.approx(known["expected"], abs=known["tolerance"])
    exact = smallest_detectable(12)
    critical = 0.57598  # published tables of critical correlations, 10 degrees of freedom, two-sided .05
    power = 1 - correlation_cdf(critical, exact, 12) + correlation_cdf(-critical, exact, 12)
    assert power == pytest.approx(1 / 3, abs=1e-4)
    assert 0 < fisher - exact < 0.02


def test_two_and_a_half_times_as_many_athletes_detect_what_the_first_study_could_not_see():
    known = CHECKS["small_telescope_n"]
    n, n_new = known["inputs"]["n_orig"], int(known["expected"])
    smallest = smallest_detectable(n)
    limit = correlation_quantile(0.05, smallest, n_new)
    assert detectability(-0.6, n, -limit, n_new).p == pytest.approx(0.05, abs=1e-6)
    assert 0.80 <= correlation_cdf(limit, 0.0, n_new) < 0.85  # the rule is for two groups; a correlation gains a little


def test_replication_project_of_economics():
    """Camerer and others 2016: the counts that the paper and its supplement report of 18 replications."""
    table = pd.read_csv(REFERENCES / "eerp.csv")
    rows = list(table[["r", "n", "r_new", "n_new"]].itertuples(index=False))
    inside = [low <= r_new <= high for r, n, r_new, k in rows for low, high in [prediction_interval(r, n, k)]]
    ours = [fisher_limits(r_new, k, 0.95) for _, _, r_new, k in rows]
    holds = [low <= row[0] <= high for row, (low, high) in zip(rows, ours, strict=True)]
    beyond = [low > row[0] for row, (low, _) in zip(rows, ours, strict=True)]
    assert sum(inside) == 15
    assert sum(holds) == 12 and sum(holds) + sum(beyond) == 13
    assert sum(combine(*row).p < 0.05 for row in rows) == 14
    assert sum(low > 0 for low, _ in ours) == 11
    impossible = [prediction_interval_from_limits(r, n, k) for r, n, _, k in rows]
    assert sum(i.low < -1 or i.high > 1 for i in impossible) == 6  # the other form, at these sizes


@pytest.mark.parametrize("k", [3, 4, 7])
def test_random_effects_agree_with_statsmodels(k):
    from statsmodels.stats.meta_analysis import combine_effects

    rng = np.random.default_rng(k)
    y, v = rng.normal(0, 0.6, k), rng.uniform(0.02, 0.1, k)
    ours, theirs = combine_estimates(y, np.sqrt(v)), combine_effects(y, v, method_re="iterated")
    assert ours.tau2 == pytest.approx(max(theirs.tau2, 0), abs=1e-5)  # its iteration stops there
    assert ours.q_cochran == pytest.approx(theirs.q, rel=1e-10)
    if ours.tau2 > 0:
        assert ours.estimate == pytest.approx(theirs.mean_effect_re, rel=1e-5)
        assert ours.standard_error == pytest.approx(theirs.sd_eff_w_re_hksj, rel=1e-5)
        w = 1 / (v + ours.tau2)
        assert (w * (y - ours.estimate) ** 2).sum() == pytest.approx(k - 1, rel=1e-9)  # what Paule and Mandel solve


def test_between_study_variance_is_never_negative():
    close = combine_correlations([-0.6, -0.4, -0.5], [14, 16, 12])
    assert close.tau2 == 0.0 and close.model == "random effects"
    assert np.isfinite([close.ci_low, close.ci_high, close.prediction_low]).all()
    alone = combine_correlations([-0.6, -0.4], [14, 16])
    assert alone.model == "fixed effect" and np.isnan(alone.prediction_low)
    same = combine_estimates([1.0, 1.0, 1.0], [0.1, 0.2, 0.3])
    assert same.tau2 == 0.0 and same.i2 == 0.0


def test_the_prediction_interval_holds_95_of_100_new_correlations():
    rng, rho, n, n_new, repeats = np.random.default_rng(5), -0.55, 12, 16, 6000

    def draw(size):
        x = rng.normal(size=(repeats, size))
        y = rho * x + math.sqrt(1 - rho**2) * rng.normal(size=(repeats, size))
        x, y = (v - v.mean(1, keepdims=True) for v in (x, y))
        return (x * y).sum(1) / np.sqrt((x**2).sum(1) * (y**2).sum(1))

    first, second = draw(n), draw(n_new)
    inside = [
        low <= b <= high for a, b in zip(first, second, strict=True) for low, high in [prediction_interval(a, n, n_new)]
    ]
    assert np.mean(inside) == pytest.approx(0.95, abs=0.012)


@settings(max_examples=30, deadline=None)
@given(
    r=st.floats(-0.95, 0.95).filter(lambda v: abs(v) > 0.01),
    r_new=st.floats(-0.95, 0.95),
    n=st.integers(4, 60),
    n_new=st.integers(4, 60),
)
def test_turning_the_scale_round_changes_only_signs(r, r_new, n, n_new):
    there, back = prediction_interval(r, n, n_new), prediction_interval(-r, n, n_new)
    assert (there.low, there.high) == pytest.approx((-back.high, -back.low))
    assert -1 < there.low <= there.high < 1
    assert consistency(r, n, r_new, n_new).p == pytest.approx(consistency(-r, n, -r_new, n_new).p)
    assert detectability(r, n, r_new, n_new).p == pytest.approx(detectability(-r, n, -r_new, n_new).p)
    assert bayes_factor(r, n, r_new, n_new).replication == pytest.approx(
        bayes_factor(-r, n, -r_new, n_new).replication, rel=1e-6
    )


def test_evidence_of_large_studies_is_finite_where_it_can_be():
    weak = bayes_factor(0.05, 100_000, 0.045, 100_000)
    assert math.isfinite(weak.replication) and weak.replication > 1e20
    none = bayes_factor(0.3, 2000, 0.0, 2000)
    assert 0 <= none.replication < 1e-6


@pytest.mark.parametrize(
    "call",
    [
        lambda: prediction_interval(1.0, 12, 16),
        lambda: prediction_interval(-0.5, 3, 16),
        lambda: prediction_interval(-0.5, 12, float("nan")),
        lambda: prediction_interval(float("nan"), 12, 16),
        lambda: prediction_interval(-0.5, 12, 16, level=1.5),
        lambda: consistency(-0.5, 12, -1.0, 16),
        lambda: detectability(0.0, 12, -0.1, 16),
        lambda: detectability(-0.5, 12, -0.1, 16, power=0.04),
        lambda: bayes_factor(-0.5, 2, -0.1, 16),
        lambda: combine_correlations([-0.5], [12]),
        lambda: combine_estimates([1.0, 2.0], [0.0, 1.0]),
        lambda: combine_estimates([1.0, float("nan")], [1.0, 1.0]),
    ],
)
def test_impossible_input_is_said_to_be_so(call):
    with pytest.raises(KitError):
        call()


@pytest.mark.parametrize("value", ["0.3", None, [0.3]])
def test_what_is_no_number_is_named(value):
    for call in (
        lambda: prediction_interval(value, 14, 20),
        lambda: prediction_interval(0.3, value, 20),
        lambda: detectability(0.3, 14, 0.1, 20, power=value),
        lambda: bayes_factor(0.3, 14, value, 20),
    ):
        with pytest.raises(KitError, match=r"must|cannot|needs"):
            call()


@pytest.mark.parametrize("power", [0.01, 0.05, 1.0, float("nan")])
def test_a_power_that_no_study_has_is_refused(power):
    with pytest.raises(KitError, match=r"between 0\.05 and 1"):
        detectability(0.3, 14, 0.1, 20, power=power)
