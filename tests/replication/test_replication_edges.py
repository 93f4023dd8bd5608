"""Edges of the comparison with a paper: Bayes factors by another library, Welch by hand, what is no correlation of ours."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pingouin
import pytest
from scipy import stats

from analysis.basics import KitError
from analysis.replication.answer import (
    SPEARMAN_NOTE,
    _combine_all,
    _compare_slopes,
    answer_replication,
    our_correlation,
)
from analysis.replication.evidence import (
    _log_evidence,
    bayes_factor,
    consistency,
    detectability,
    prediction_interval,
    prediction_interval_from_limits,
    smallest_detectable,
)
from analysis.study import Protocol


@pytest.mark.parametrize(("r", "n"), [(-0.69, 14), (0.15, 20), (0.9, 6)])
def test_bayes_factors_of_one_study_as_pingouin_has_them(r, n):
    """Ly, Verhagen & Wagenmakers 2016 with a uniform prior (kappa 1), in closed form."""
    log = np.log(float(pingouin.bayesfactor_pearson(r, n)))
    assert _log_evidence([(r, n)]) == pytest.approx(log, abs=1e-6)
    both = _log_evidence([(r, n), (0.2, 15)])
    assert float(bayes_factor(r, n, 0.2, 15)) == pytest.approx(math.exp(both - log))


def test_very_large_evidence_stays_a_number():
    assert 1 < float(bayes_factor(0.95, 200, 0.95, 200)) < math.inf
    assert 0 <= float(bayes_factor(0.95, 300, -0.95, 300)) < 1e-50


def test_what_the_earlier_study_could_have_seen():
    found, turned = detectability(-0.6, 14, -0.2, 30), detectability(0.6, 14, 0.2, 30)
    assert turned == found and found.smallest_detectable_r == smallest_detectable(14)
    assert detectability(-0.6, 14, 0.2, 30).p < found.p < detectability(-0.6, 14, -0.4, 30).p
    with pytest.raises(KitError, match="no direction"):
        detectability(0, 14, 0.2, 30)
    for power in (0.05, 1.0):
        with pytest.raises(KitError, match="power"):
            smallest_detectable(14, power=power)
    assert smallest_detectable(14, power=0.0500001) < 0.01
    assert 0 < smallest_detectable(14, power=math.nextafter(0.05, 1)) < 1e-5


def test_what_is_smaller_than_could_have_been_seen_by_hand():
    """Fisher's z of 0.2 with 28 athletes has the variance 1/25; its 90 % interval ends 1.6449 / 5 above it."""
    found = detectability(-0.6, 14, -0.2, 28)
    assert found.ci90_high == pytest.approx(math.tanh(math.atanh(0.2) + 1.644854 / 5), abs=1e-7)
    seen = (math.atanh(0.2) - math.atanh(found.smallest_detectable_r)) * 5
    assert found.p_fisher == pytest.approx(stats.norm.cdf(seen)) and found.p == pytest.approx(found.p_fisher, abs=0.02)
    assert (found.r_same_direction, found.undetectable) == (0.2, False)
    assert detectability(-0.6, 14, 0.5, 28).undetectable is True


def test_two_correlations_by_hand():
    """atanh of 0.6 and 0.2 are 0.693147 and 0.202733; 28 and 103 athletes give the error sqrt(1/25 + 1/100) = 0.223607."""
    q, se = 0.202733 - 0.693147, math.sqrt(0.05)
    found = consistency(0.6, 28, 0.2, 103)
    assert (found.difference, found.q_cohen, found.standard_error) == pytest.approx((-0.4, q, se), abs=2e-6)
    assert (found.ci_low, found.ci_high) == pytest.approx((q - 1.959964 * se, q + 1.959964 * se), abs=2e-6)
    assert (found.q_cochran, found.df, found.n_athletes) == (pytest.approx(q**2 / 0.05, abs=2e-5), 1, 131)
    assert found.i2 == pytest.approx(1 - 0.05 / q**2, abs=2e-6)
    assert found.p == pytest.approx(found.p_cochran) == pytest.approx(2 * stats.norm.sf(-q / se), abs=1e-6)
    for r_new in (0.6, 0.55):  # alike, and less apart than chance alone would have them
        assert consistency(0.6, 28, r_new, 103).i2 == 0.0


def test_where_a_new_correlation_would_lie_by_hand():
    """Same error as above; the other form combines the Fisher limits tanh(z ± 1.96/5) and tanh(z ± 1.96/10)."""
    low, high = prediction_interval(0.6, 28, 103, level=0.9)
    half = 1.644854 * math.sqrt(0.05)
    assert (low, high) == pytest.approx((math.tanh(0.693147 - half), math.tanh(0.693147 + half)), abs=2e-6)
    wide, narrow = ([math.tanh(0.693147 + s * 1.959964 / d) for s in (-1, 1)] for d in (5, 10))
    found = prediction_interval_from_limits(0.6, 28, 103)
    assert found.low == pytest.approx(0.6 - math.hypot(0.6 - wide[0], narrow[1] - 0.6), abs=2e-6)
    assert found.high == pytest.approx(0.6 + math.hypot(wide[1] - 0.6, 0.6 - narrow[0]), abs=2e-6)
    assert found.level == 0.95


def ours(estimate=-0.4, n=12, analysis="Pearson"):
    table = pd.DataFrame(
        [{"analysis": analysis, "estimate": estimate, "ci_low": -0.8, "ci_high": 0.2, "p": 0.2, "n_athletes": float(n)}]
    )
    return SimpleNamespace(correlations=table, planned=SimpleNamespace(
        estimate=-0.5, standard_error=0.3, ci_low=-1.1, ci_high=0.1, df=10.0, unit="mL/kg/min",
        adjusted_for=("sex", "age_years")))  # fmt: skip


def test_what_counts_as_a_correlation_of_ours():
    found = our_correlation(ours(), "Pearson")
    assert found == {"estimate": -0.4, "ci_low": -0.8, "ci_high": 0.2, "p": 0.2, "n_athletes": 12}
    assert isinstance(found["n_athletes"], int)
    assert our_correlation(ours(n=4), "Pearson") and our_correlation(ours(n=3), "Pearson") is None
    assert our_correlation(ours(1.0), "Pearson") is our_correlation(ours(-1.0), "Pearson") is None
    assert (
        our_correlation(ours(math.nan), "Pearson")
        is our_correlation(ours(), "Spearman")
        is our_correlation(None, "Pearson")
        is None
    )


def test_slopes_are_compared_by_welch():
    """Errors 0.4 (10 df) and 0.3 (10 df): error 0.5, df 0.5^4 / (0.4^4/10 + 0.3^4/10) = 18.54."""
    line = {"finding": "a", "outcome": "hr_mean_bpm", "slope": -1.5, "standard_error": 0.4, "n_athletes": 12, "ci_low": -2.3,
            "ci_high": -0.7, "source": "s"}  # fmt: skip
    found = _compare_slopes(pd.DataFrame([line]), {"hr_mean_bpm": ours()}).iloc[0]
    df = 0.0625 / ((0.0256 + 0.0081) / 10)
    half = stats.t.ppf(0.975, df) * 0.5
    assert found["df"] == pytest.approx(df) and found["difference"] == pytest.approx(1.0)
    assert (found["difference_low"], found["difference_high"]) == pytest.approx((1 - half, 1 + half))
    assert found["p"] == pytest.approx(2 * stats.t.sf(2.0, df)) and found["adjusted_for"] == "sex, age_years"
    other = _compare_slopes(pd.DataFrame([line | {"n_athletes": 22}]), {"hr_mean_bpm": ours()}).iloc[0]
    assert other["df"] == pytest.approx(0.0625 / (0.0256 / 20 + 0.0081 / 10))
    assert _compare_slopes(pd.DataFrame([line]), {}).empty


def paper(r=-0.6, **more):
    row = {
        "finding": "a paper",
        "outcome": "hr_mean_bpm",
        "statistic": "r",
        "value": r,
        "n_athletes": 12,
        "source": "s",
    }
    return row | more


def answered(*rows, fitness=None):
    return answer_replication(pd.DataFrame(rows), fitness or {"hr_mean_bpm": ours()}, {}, Protocol(3, 300.0, 60.0))


def test_ranks_carry_their_note_and_a_paper_without_ours_is_left_out():
    ranks = answered(paper(statistic="rho"), fitness={"hr_mean_bpm": ours(analysis="Spearman")})
    assert [c.note for c in ranks.correlations] == [SPEARMAN_NOTE]
    assert [c.note for c in answered(paper()).correlations] == [""]
    none = answered(paper(), fitness={"lactate_mmol_l": ours()})
    assert none.correlations == () and none.n_athletes == 0
    assert none.left_out["reason"].tolist() == ["a paper: we have no correlation with hr_mean_bpm"]


@pytest.mark.parametrize(("estimate", "inside"), [(-0.57, False), (-0.58, True), (0.7, True)])
def test_a_bound_on_p_holds_either_way(estimate, inside):
    """p below 0.05 with 12 athletes: r of 0.576 or more in size (critical r of any table, 10 degrees of freedom)."""
    found = answered(paper(np.nan, p=0.05, p_is_bound="yes"), fitness={"hr_mean_bpm": ours(estimate)}).p_only.iloc[0]
    assert found["r_low"] == pytest.approx(0.576, abs=5e-4) and bool(found["inside"]) == inside


def test_a_study_counts_once_when_correlations_are_combined():
    two = answered(paper(), paper(-0.2), paper(-0.5, finding="another"))
    assert two.combined["hr_mean_bpm"].n_studies == 3
    assert any("gives several correlations" in w for w in two.warnings)
    first = answered(paper(), paper(-0.5, finding="another"))
    assert two.combined["hr_mean_bpm"].estimate == pytest.approx(first.combined["hr_mean_bpm"].estimate)
    assert not any("several" in w for w in first.warnings) and first.n_athletes == 12
    assert _combine_all([]) == ({}, [])


def test_correlations_next_to_one_have_a_bayes_factor():
    """Their likelihood reaches where a float cannot tell rho from 1; nothing is infinite or missing there."""
    found = bayes_factor(0.9999999, 4, 0.9999999, 4)
    assert np.isfinite([found.replication, found.earlier, found.ours, found.both]).all()
    assert found.replication > 1 and found.earlier == pytest.approx(found.ours)
    turned = bayes_factor(-0.9999999, 4, -0.9999999, 4)
    assert turned.replication == pytest.approx(found.replication)
