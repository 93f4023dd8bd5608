"""Planning: the check values, brute force, and what drop-out and blocks cost."""

import numpy as np
import pytest
from scipy import stats

from analysis.basics import KitError
from analysis.training import ancova_power, plan_training, simulate_training

CHECKED = [
    (6, 2.0, (0.19, None, 0.60, 0.84), 3.7),
    (6, 2.6, (0.14, 0.25, 0.41, 0.64), 4.7),
    (12, 2.0, (0.39, 0.71, 0.93, None), 2.3),
    (12, 2.6, (0.26, 0.51, 0.77, 0.95), 3.0),
    (16, 2.6, (0.34, 0.64, 0.89, 0.99), 2.5),
]


@pytest.mark.parametrize(("n", "error", "powers", "half_width"), CHECKED)
def test_check_values_of_power_and_half_width(n, error, powers, half_width):
    for effect, power in zip((2, 3, 4.1, 5.5), powers, strict=True):
        if power is not None:
            mine = ancova_power(n_per_group=n, effect=effect, sd_between=5, typical_error=error)
            assert mine == pytest.approx(power, abs=0.0053)
    plan = plan_training(sizes=[n], effects=[3], sd_between=5, typical_error=error, baselines=1)
    assert plan.table["half_width"].iloc[0] == pytest.approx(half_width, abs=0.05)


def test_the_one_that_is_at_least_99():
    assert ancova_power(n_per_group=12, effect=5.5, sd_between=5, typical_error=2) >= 0.99


@pytest.mark.parametrize(("n", "occasions", "power"), [(6, 1, 0.18), (12, 1, 0.36), (6, 2, 0.29), (12, 2, 0.59)])
def test_check_values_of_sparring_heart_rate(n, occasions, power):
    """True 5 bpm, SD 10, ICC .7: between .7, within .3 of the variance."""
    mine = ancova_power(
        n_per_group=n,
        effect=5,
        sd_between=10 * 0.7**0.5,
        typical_error=10 * 0.3**0.5,
        baselines=occasions,
        followups=occasions,
    )
    assert mine == pytest.approx(power, abs=0.005)


def brute_force(n1, n0, effect, sd, error, studies=60_000, seed=1):
    """Simulated ordinary analyses of covariance, with sums only."""
    rng = np.random.default_rng(seed)
    true = rng.normal(0, sd, (studies, n1 + n0))
    x = true + rng.normal(0, error, true.shape)
    y = true + rng.normal(0, error, true.shape)
    y[:, :n1] += effect
    parts = [(x[:, :n1], y[:, :n1]), (x[:, n1:], y[:, n1:])]
    sxx = sum(((a - a.mean(1, keepdims=True)) ** 2).sum(1) for a, _ in parts)
    sxy = sum(((a - a.mean(1, keepdims=True)) * (b - b.mean(1, keepdims=True))).sum(1) for a, b in parts)
    syy = sum(((b - b.mean(1, keepdims=True)) ** 2).sum(1) for _, b in parts)
    gap_x, gap_y = (parts[0][i].mean(1) - parts[1][i].mean(1) for i in (0, 1))
    df = n1 + n0 - 3
    s2 = (syy - sxy**2 / sxx) / df
    t = (gap_y - sxy / sxx * gap_x) / np.sqrt(s2 * (1 / n1 + 1 / n0 + gap_x**2 / sxx))
    return np.mean(np.abs(t) > stats.t.isf(0.025, df))


@pytest.mark.parametrize(("n1", "n0", "effect", "error"), [(6, 6, 3, 2.0), (4, 8, 4, 2.6), (12, 12, 3, 2.6)])
def test_exact_power_is_what_brute_force_finds(n1, n0, effect, error):
    mine = ancova_power(n_per_group=n1, n_control=n0, effect=effect, sd_between=5, typical_error=error)
    assert mine == pytest.approx(brute_force(n1, n0, effect, 5, error), abs=4 * 0.5 / np.sqrt(60_000))


def test_no_effect_gives_alpha_and_a_huge_one_certainty():
    given = {"n_per_group": 8, "sd_between": 5, "typical_error": 2}
    assert ancova_power(effect=0, **given) == pytest.approx(0.05, abs=1e-9)
    assert ancova_power(effect=500, **given) == pytest.approx(1.0)


def test_drop_out_and_blocks_cost_and_more_tests_gain():
    given = {"n_per_group": 8, "effect": 4, "sd_between": 5, "typical_error": 2.6}
    plain = ancova_power(**given)
    assert ancova_power(**given, drop_out=0.2) < plain
    assert ancova_power(**given, blocks=3) < plain
    assert ancova_power(**given, baselines=2) > plain
    assert ancova_power(**given, baselines=2, followups=2) > ancova_power(**given, baselines=2)


def test_six_and_six_cannot_show_that_there_is_no_effect():
    plan = plan_training(sizes=[6, 40], effects=[4.1], sd_between=5, typical_error=2.6, smallest=2)
    six, forty = plan.table["equivalence_power"]
    assert six < 0.05
    assert forty > 0.3
    assert plan.table["smallest_found"].iloc[0] > plan.table["smallest_found"].iloc[1]


def test_refusals():
    with pytest.raises(KitError, match="too few"):
        ancova_power(n_per_group=2, effect=1, sd_between=5, typical_error=2, blocks=3)
    with pytest.raises(KitError, match="typical_error"):
        ancova_power(n_per_group=6, effect=1, sd_between=5, typical_error=-2)


@pytest.mark.parametrize(
    "given",
    [
        {"n_trained": 6, "n_control": 6},
        {"n_trained": 4, "n_control": 8, "response_sd": 3.0},
        {"n_trained": 6, "n_control": 6, "drop_out": 0.15},
    ],
)
def test_simulated_nulls_claim_seldom(given):
    """A small seeded check; 2,000 nulls of each kind stand in tests/references/training/nulls.md."""
    found = simulate_training(**given, n_studies=300, seed=2)
    assert found.ci_low <= 0.05
    assert found.claims <= found.interval_alone
    assert found.coverage == pytest.approx(0.95, abs=0.04)


def test_simulated_power_is_that_of_the_plan():
    found = simulate_training(n_trained=8, n_control=8, effect=5, n_studies=300, seed=4)
    exact = ancova_power(n_per_group=8, effect=5, sd_between=5, typical_error=2)
    assert found.ols == pytest.approx(exact, abs=0.08)
    assert found.mean_estimate == pytest.approx(5, abs=0.5)
