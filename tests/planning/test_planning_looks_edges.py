"""Looks: chances under a drift by the normal distribution, levels from a handful of studies by hand, and limits."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.basics import KitError
from analysis.planning import estimate_after_looks, plan_looks
from analysis.planning.looks import Looks, _calibrate, error_spent, normal_levels, null_p_values, stage_probabilities


def test_one_look_is_the_normal_test():
    for drift in (0.0, 2.0, -2.0):
        above, below = stage_probabilities([1.96], [1.0], drift=drift)
        assert above[0] == pytest.approx(stats.norm.sf(1.96 - drift))
        assert below[0] == pytest.approx(stats.norm.cdf(-1.96 - drift))
    assert normal_levels([1.0]) == pytest.approx([0.05])
    assert normal_levels([1.0], alpha=0.01, rule="pocock") == pytest.approx([0.01])


def test_a_look_that_nobody_leaves_changes_nothing():
    for drift in (0.0, 2.5, -2.5):
        above, below = stage_probabilities([8.0, 1.96], [0.4, 1.0], drift=drift)
        assert above == pytest.approx([stats.norm.sf(8 - drift * np.sqrt(0.4)), stats.norm.sf(1.96 - drift)], abs=1e-9)
        assert below[1] == pytest.approx(stats.norm.cdf(-1.96 - drift), abs=1e-9)


def test_two_looks_by_the_bivariate_normal():
    """Chance to stay inside at 60 % and end above at the end, from scipy's own bivariate normal."""
    drift, corr = 2.0, np.sqrt(0.6)
    both = stats.multivariate_normal([drift * np.sqrt(0.6), drift], [[1, corr], [corr, 1]])

    def inside(low, high, b):  # first between low and high, second below b
        return both.cdf([high, b]) - both.cdf([low, b])

    above, below = stage_probabilities([2.5, 2.0], [0.6, 1.0], drift=drift)
    stay = stats.norm.cdf(2.5 - drift * np.sqrt(0.6)) - stats.norm.cdf(-2.5 - drift * np.sqrt(0.6))
    assert above[1] == pytest.approx(stay - inside(-2.5, 2.5, 2.0), abs=1e-6)
    assert below[1] == pytest.approx(inside(-2.5, 2.5, -2.0), abs=1e-6)
    above, below = stage_probabilities([2.5, 2.0], [0.6, 1.0], drift=drift, last=1.0)
    assert above[0] == pytest.approx(stats.norm.sf(2.5 - drift * np.sqrt(0.6)))  # the first keeps its bound
    assert above[1] == pytest.approx(stay - inside(-2.5, 2.5, 1.0), abs=1e-6)
    assert below[1] == pytest.approx(inside(-2.5, 2.5, 1.0), abs=1e-6)  # all that do not end above


def test_where_nobody_goes_on_nothing_is_left():
    above, below = stage_probabilities([2.0, 2.0, 2.0], [0.3, 0.6, 1.0], drift=40.0)
    assert above.tolist() == pytest.approx([1.0, 0.0, 0.0]) and below.tolist() == pytest.approx([0.0] * 3)


def test_error_is_spent_by_its_formulas():
    """Lan & DeMets 1983: at half the information 0.00305 of 0.05, or 0.05 ln(1 + (e - 1) / 2) by the Pocock type."""
    assert error_spent([0.5, 1.0]) == pytest.approx([0.00305, 0.05], abs=1e-5)
    assert error_spent([0.5, 1.0], rule="pocock") == pytest.approx([0.05 * np.log(1 + (np.e - 1) / 2), 0.05])
    assert error_spent([0.5], alpha=0.1, rule="pocock") == pytest.approx([0.1 * np.log(1 + (np.e - 1) / 2)])
    assert error_spent(1.0) == pytest.approx([0.05])
    for bad in ([0.0, 1.0], [-0.1], [0.5, 1.1], [0.5, 0.5], [1.0, 0.5]):
        with pytest.raises(KitError, match="growing shares"):
            error_spent(bad)


def test_levels_from_a_hundred_studies_by_hand():
    """p = 0.005, 0.015 and so on; 20 % may be claimed: 20 less one error, sqrt(0.2 x 0.8 x 100) = 4, is 16 studies."""
    p = (np.arange(100) + 0.5) / 100
    levels, claimed = _calibrate(p[None], np.array([0.2]))
    assert levels == [0.165] and claimed == [0.16]
    # those that left do not count again: 30 less 4.58, floored 25, less 16 that left; the others begin with 0.165
    levels, claimed = _calibrate(np.array([p, p]), np.array([0.2, 0.3]))
    assert levels == [0.165, p[25]] and claimed == [0.16, 0.25]
    assert _calibrate(p[None], np.array([0.001])) == ([0.0], [0.0])  # no room
    assert _calibrate(p[None], np.array([1.0])) == ([1.0], [1.0])  # room for all
    levels, claimed = _calibrate(np.ones((1, 100)), np.array([0.2]))
    assert levels == [1.0] and claimed == [0.0]  # a p of 1 is never claimed


def test_studies_without_effect_are_those_of_the_club():
    one = null_p_values((4, 6), rounds=3, icc=0.5, missing=0.0, n_studies=200, seed=3)
    assert one["rounds"].shape == one["fitness"].shape == (2, 200)
    assert 0.3 < one["rounds"].mean() < 0.7 and 0.3 < one["fitness"].mean() < 0.7
    last = null_p_values((6,), rounds=3, icc=0.5, missing=0.0, n_studies=200, seed=3)
    assert last["rounds"][0].tolist() == one["rounds"][1].tolist()  # looks take the first athletes of each study
    other = null_p_values((6,), rounds=3, icc=0.5, missing=0.0, n_studies=200, seed=4)
    assert (other["rounds"] != last["rounds"]).all()
    alike = null_p_values((6,), rounds=3, icc=1.0, missing=0.0, n_studies=20, seed=3)
    assert (alike["rounds"] == 1.0).all()  # rounds that never differ show nothing
    holes = null_p_values((6,), rounds=3, icc=0.5, missing=0.3, n_studies=200, seed=3)
    assert (holes["rounds"] != last["rounds"]).mean() > 0.9 and np.isfinite(holes["fitness"]).all()


def test_limits_of_what_is_planned():
    for options, words in (
        ({"icc": 1.1}, "icc"), ({"icc": -0.1}, "icc"), ({"missing": 0.95}, "missing"), ({"missing": -0.1}, "missing"),
        ({"rounds": 1}, "rounds"), ({"alpha": 0}, "alpha"), ({"alpha": 1}, "alpha"),
    ):  # fmt: skip
        with pytest.raises(KitError, match=words):
            plan_looks([8, 12], n_studies=100, **options)
    with pytest.raises(KitError, match="must grow"):
        plan_looks([8, 8], n_studies=100)
    found = plan_looks([4, 8], n_studies=300)
    assert (found.rule, found.alpha, found.rounds, found.icc, found.missing, found.seed) == (
        "obrien-fleming", 0.05, 4, 0.6, 0.0, 0)  # fmt: skip
    assert found.table["fraction"].tolist() == [0.5, 1.0] and found.table["look"].tolist() == [1, 2]
    assert found.level(8, "fitness") == found.table["level_fitness"].iloc[1]
    with pytest.raises(KitError, match="question"):
        found.level(8, "lactate")


def two_looks(first=0.02, last=0.04):
    table = pd.DataFrame(
        {
            "look": [1, 2],
            "n_athletes": [8, 16],
            "fraction": [0.5, 1.0],
            "level_rounds": [first, last],
            "level_fitness": [last, first],
        }
    )
    return Looks(table, "pocock", 0.05, 4, 0.6, 0.0, 100, 0)


def after(estimate, error=1.0, df=1e9, n=8, **options):
    return estimate_after_looks(estimate, error, df, looks=two_looks(), n_athletes=n, **options)


def test_at_the_first_look_the_interval_is_the_plain_one():
    found = after(3.0)
    assert found.look == 1 and found.corrected == pytest.approx(3.0)
    assert (found.ci_low, found.ci_high) == pytest.approx((3 - 1.96, 3 + 1.96), abs=1e-3)
    half = stats.norm.isf(0.01)
    assert (found.repeated_low, found.repeated_high) == pytest.approx((3 - half, 3 + half))
    fit = after(3.0, question="fitness")
    assert fit.repeated_high == pytest.approx(3 + stats.norm.isf(0.02))
    few = after(3.0, df=6.0)
    assert few.repeated_high == pytest.approx(3 + stats.t.isf(0.01, 6)) and few.corrected == pytest.approx(3.0)
    below = after(-3.0)
    assert below.corrected == pytest.approx(-3.0) and below.ci_low == pytest.approx(-found.ci_high, abs=1e-5)
    nothing = after(0.0)
    assert nothing.corrected == pytest.approx(0.0, abs=1e-6) and nothing.ci_high == pytest.approx(1.96, abs=1e-3)


def test_at_the_last_look_the_estimate_is_drawn_towards_zero():
    """Half of all ways to end count as larger at the corrected estimate: checked by the two-look law of the file."""
    found = after(2.5, n=16)
    assert 0 < found.corrected < 2.5 and found.look == 2
    assert np.isnan([found.chance_at_plan, found.chance_as_seen]).all() and found.advice == ""
    bounds = stats.norm.isf([0.01, 0.02])
    for effect, share in ((found.corrected, 0.5), (found.ci_low, 0.025), (found.ci_high, 0.975)):
        above, _ = stage_probabilities(bounds, [0.5, 1.0], drift=effect, last=2.5)
        assert above.sum() == pytest.approx(share, abs=1e-5)
    assert found.ci_low < found.corrected < found.ci_high


def test_chances_at_the_end_by_the_normal_law():
    """Half-way with z = 1: the end is normal around 1 sqrt 0.5 + drift 0.5, SD sqrt 0.5; the bound there is z(0.02)."""
    found = after(1.0, planned_effect=2.0)
    bound, sd = stats.norm.isf(0.02), np.sqrt(0.5)
    for shown, effect in ((found.chance_as_seen, 1.0), (found.chance_at_plan, 2.0)):
        centre = np.sqrt(0.5) + effect / np.sqrt(0.5) * 0.5  # the error at the last look is sqrt 0.5
        assert shown == pytest.approx(stats.norm.sf((bound - centre) / sd) + stats.norm.cdf((-bound - centre) / sd))
    assert np.isnan(after(1.0).chance_at_plan)


def test_futile_only_where_both_chances_are_small():
    flat = after(0.2)
    assert flat.chance_as_seen < 0.2 and flat.advice == "futile"  # no planned effect was told
    assert after(0.2, planned_effect=0.1).advice == "futile"
    hopeful = after(0.2, planned_effect=4.0)
    assert hopeful.chance_at_plan >= 0.2 and hopeful.advice == "go on"
    assert after(2.5, planned_effect=0.0).advice == "go on"


def test_what_an_estimate_needs():
    for options in ({"error": 0.0}, {"error": -1.0}, {"df": 0.0}):
        with pytest.raises(KitError, match=r"standard_error|df"):
            after(1.0, **options)
    with pytest.raises(KitError, match="looks at 8, 16"):
        after(1.0, n=12)
