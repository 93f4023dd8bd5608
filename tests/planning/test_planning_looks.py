"""Planned looks: published boundaries, brute force, false claims, and estimates after them."""

import numpy as np
import pytest
from scipy import stats
from scipy.optimize import brentq

from analysis.basics import KitError
from analysis.planning import estimate_after_looks, plan_looks
from analysis.planning.looks import error_spent, normal_levels, null_p_values, stage_probabilities


@pytest.fixture(scope="module")
def looks():
    return plan_looks([8, 12, 16], n_studies=20_000)


def total(bounds, fractions):
    above, below = stage_probabilities(bounds, fractions)
    return float((above + below).sum())


def test_two_equal_looks_as_published():
    """Large-sample values: O'Brien & Fleming 1979, Pocock 1977, Lan & DeMets 1983, as tabulated in Jennison & Turnbull 2000."""
    c = brentq(lambda b: total([b * np.sqrt(2), b], [0.5, 1]) - 0.05, 1, 3)
    assert 2 * stats.norm.sf([c * np.sqrt(2), c]) == pytest.approx([0.0052, 0.0480], abs=5e-5)
    c = brentq(lambda b: total([b, b], [0.5, 1]) - 0.05, 1, 3)
    assert 2 * stats.norm.sf(c) == pytest.approx(0.0294, abs=5e-5)
    assert normal_levels([0.5, 1.0]) == pytest.approx([0.0031, 0.0490], abs=5e-5)


def test_five_equal_looks_as_published():
    """Jennison & Turnbull 2000, tables 2.1 and 2.3 (from memory): Pocock 2.413, O'Brien-Fleming 2.040 for five looks."""
    t = np.arange(1, 6) / 5
    assert brentq(lambda b: total(np.full(5, b), t) - 0.05, 1, 4) == pytest.approx(2.413, abs=5e-4)
    assert brentq(lambda b: total(b / np.sqrt(t), t) - 0.05, 1, 4) == pytest.approx(2.040, abs=5e-4)


@pytest.mark.parametrize("rule", ["obrien-fleming", "pocock"])
def test_normal_levels_by_brute_force(rule):
    t = np.array([0.5, 0.75, 1.0])
    rng = np.random.default_rng(0)
    steps = rng.standard_normal((400_000, 3)) * np.sqrt(np.diff(t, prepend=0))
    z = np.cumsum(steps, axis=1) / np.sqrt(t)
    left = 2 * stats.norm.sf(np.abs(z)) < normal_levels(t, rule=rule)
    share = [left[:, : j + 1].any(axis=1).mean() for j in range(3)]
    assert share == pytest.approx(error_spent(t, rule=rule), abs=4 * np.sqrt(0.05 / 400_000))


def test_levels_spend_what_the_rule_allows_and_no_more(looks):
    table = looks.table
    for name in ("rounds", "fitness"):
        assert (table[f"false_{name}"] <= table["spent"]).all()
    p = null_p_values((8, 12, 16), rounds=4, icc=0.6, missing=0.0, n_studies=10_000, seed=99)
    for name, values in p.items():
        false = (values < table[f"level_{name}"].to_numpy()[:, None]).any(axis=0).sum()
        assert stats.binomtest(int(false), 10_000, 0.05, alternative="greater").pvalue > 0.01


def test_normal_theory_alone_is_wrong_for_fitness_at_eight_athletes():
    table = plan_looks([8, 12, 16], rule="pocock", n_studies=20_000).table
    assert table["level_fitness"].iloc[-1] < 0.85 * table["level_normal"].iloc[-1]


def test_levels_do_not_depend_on_anything_but_what_is_given(looks):
    again = plan_looks((8, 12, 16), n_studies=20_000)
    assert again.table.equals(looks.table)
    assert looks.level(12) == looks.table["level_rounds"].iloc[1]
    assert np.isnan(looks.level(9))


def test_the_first_look_needs_no_correction(looks):
    found = estimate_after_looks(6.0, 2.0, 21.0, looks=looks, n_athletes=8)
    half = stats.t.isf(looks.level(8) / 2, 21.0) * 2.0
    assert found.corrected == pytest.approx(6.0)
    assert found.repeated_high == pytest.approx(6.0 + half)


def test_the_corrected_estimate_is_median_unbiased_and_its_interval_holds(looks):
    """Brute force: large samples, a true effect, stopping at the bounds."""
    rng = np.random.default_rng(3)
    t = looks.table["fraction"].to_numpy()
    bounds = stats.norm.isf(looks.table["level_rounds"] / 2)
    effect, drift, n = 1.0, 2.4, 60
    z = np.cumsum(rng.standard_normal((n, 3)) * np.sqrt(np.diff(t, prepend=0)) + drift * np.diff(t, prepend=0), axis=1)
    z /= np.sqrt(t)
    above = inside = 0
    for row in z:
        out = np.flatnonzero(np.abs(row) >= bounds)
        j = int(out[0]) if len(out) else 2
        error = effect / drift / np.sqrt(t[j])
        found = estimate_after_looks(
            row[j] * error, error, 1e7, looks=looks, n_athletes=int(looks.table["n_athletes"].iloc[j])
        )
        above += found.corrected > effect
        inside += found.ci_low <= effect <= found.ci_high
    assert stats.binomtest(int(above), n, 0.5).pvalue > 0.001
    assert stats.binomtest(int(inside), n, 0.95).pvalue > 0.001


def test_advice_is_about_chances_and_binds_nobody(looks):
    flat = estimate_after_looks(0.1, 2.0, 30.0, looks=looks, n_athletes=12, planned_effect=0.5)
    clear = estimate_after_looks(4.0, 2.0, 30.0, looks=looks, n_athletes=12, planned_effect=5.0)
    assert flat.advice == "futile" and flat.chance_as_seen < 0.2
    assert clear.advice == "go on" and clear.chance_at_plan > 0.5


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: plan_looks([12, 8]), "must grow"),
        (lambda: plan_looks([]), "must grow"),
        (lambda: plan_looks(8), "must be a list"),
        (lambda: plan_looks([3, 8]), "from 4 on"),
        (lambda: plan_looks([8, 16], rule="none"), "rule"),
        (lambda: error_spent([0.5, 0.5]), "growing shares"),
    ],
)
def test_what_cannot_be_planned_is_said(call, words):
    with pytest.raises(KitError, match=words):
        call()


def test_an_unplanned_size_has_no_correction(looks):
    with pytest.raises(KitError, match="No look is planned at 10"):
        estimate_after_looks(1.0, 1.0, 20.0, looks=looks, n_athletes=10)
