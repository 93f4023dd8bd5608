"""Simulated studies against exact results, and what must not change them: workers, seeds, forms of input."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.models import holm
from analysis.planning import Assumptions, answer_design, simulate_grid, simulate_studies
from analysis.planning.ask import ask_rounds, generate_studies, holm_rows, plateau_start
from analysis.planning.correlation import fitness_signal
from analysis.planning.design import Design

CLEAN = Assumptions().but(missing_round=0.0, leave=0.0, strap_loss=0.0, bout_share=0.0)


def z_score(row, exact):
    return (row["power"] - exact) / np.sqrt(max(exact * (1 - exact), 1e-4) / row["n_studies"])


@pytest.mark.parametrize(
    "changes",
    [
        {"heart_rate": {"slope": -1.2, "rise": 5.0}},
        {
            "heart_rate": {"slope": -1.0, "sd_between": 11.0, "rise": 5.0},
            "test_error_kind": "prediction",
            "test_error": 4.4,
        },
    ],
)
def test_complete_studies_have_the_exact_power(changes):
    truth = CLEAN.but(**changes)
    studies = simulate_studies(Design(14), truth, n_studies=3000)
    exact = answer_design(4, assumptions=truth, n=14)
    for question, part in (
        ("rounds.heart_rate", "change"),
        ("fitness.heart_rate", "slope"),
        ("fitness.heart_rate", "correlation"),
        ("fitness.lactate", "slope"),
    ):
        row, expected = studies.question(question, part), exact.question(question, part)
        assert abs(z_score(row, expected["power_assumed"])) < 4, (question, part)
        if part != "correlation":
            assert row["half_width"] == pytest.approx(expected["half_width"], rel=0.03)


def test_nothing_there_is_found_at_the_nominal_rate():
    null = CLEAN.but(shape="steady", heart_rate={"slope": 0.0}, lactate={"slope": 0.0}, capacity_per_year=0.0)
    table = simulate_studies(Design(12), null, n_studies=4000).power
    table = table[~table["part"].isin(["plateau"]) & ~table["part"].str.startswith("step")]
    se = np.sqrt(0.05 * 0.95 / 4000)
    exact = table[table["question"] != "rounds.exertion"]
    assert (np.abs(exact["power"] - 0.05) < 4 * se).all()
    # the chi-square form of the rank test stays at or below its level in small clubs
    assert (table["power"] < 0.05 + 4 * se).all()


def test_age_hides_the_effect_without_adjustment():
    truth = CLEAN.but(age_low=19.0, age_high=41.0, heart_rate={"slope": -0.6}, capacity_sd=6.0)
    plain = fitness_signal(truth, rounds=4, adjust=())
    adjusted = fitness_signal(truth.but(test_error=0.0), rounds=4, adjust=("hr_max",))
    assert adjusted.slope_adjusted == pytest.approx(-0.6)
    assert -0.45 < plain.slope < -0.1
    with_age = simulate_studies(Design(20, adjust=("hr_max",)), truth, n_studies=1500)
    without = simulate_studies(Design(20, adjust=()), truth, n_studies=1500)
    found = [s.question("fitness.heart_rate", "slope")["power"] for s in (with_age, without)]
    assert found[0] > found[1] + 0.05


def test_generated_clubs_have_the_implied_covariance():
    for kind in ("retest", "prediction", "none"):
        truth = CLEAN.but(test_error_kind=kind, share_women=0.4, capacity_sd=6.5)
        batch = generate_studies(Design(100), truth, 300, np.random.default_rng(2))
        mean = batch.heart_rate.mean(axis=2).ravel()
        signal = fitness_signal(truth, rounds=4, adjust=())
        assert np.corrcoef(mean, batch.capacity.ravel())[0, 1] == pytest.approx(signal.r, abs=0.03)
        assert batch.capacity.std() == pytest.approx(6.5, rel=0.02)
        assert mean.std() == pytest.approx(signal.outcome_sd, rel=0.02)


def test_opponents_share_their_bout():
    truth = CLEAN.but(bout_share=0.6, shape="steady")
    batch = generate_studies(Design(8, rounds=3), truth, 3000, np.random.default_rng(0))
    from analysis.planning.ask import bout_numbers

    within = batch.heart_rate - batch.heart_rate.mean(axis=2, keepdims=True)
    numbers = bout_numbers(8, 3)
    same = [(i, j) for i in range(8) for j in range(i) if numbers[i, 0] == numbers[j, 0]]
    other = [(i, j) for i in range(8) for j in range(i) if numbers[i, 0] != numbers[j, 0]]
    shared, apart = (np.mean([np.mean(within[:, i, 0] * within[:, j, 0]) for i, j in pairs]) for pairs in (same, other))
    assert shared > apart + 0.2 * 4.5**2


def test_losses_are_as_assumed():
    truth = Assumptions().but(missing_round=0.1, leave=0.05, strap_loss=0.2)
    batch = generate_studies(Design(20), truth, 2000, np.random.default_rng(3))
    lactate, heart = (np.isfinite(x).mean(axis=(0, 1)) for x in (batch.lactate, batch.heart_rate))
    assert lactate == pytest.approx(0.9 * 0.95 ** np.arange(4), abs=0.01)
    assert heart == pytest.approx(0.8 * lactate, abs=0.01)


def test_neighbouring_rounds_resemble_each_other_where_assumed():
    truth = CLEAN.but(autocorrelation=0.6, shape="steady")
    batch = generate_studies(Design(400), truth, 50, np.random.default_rng(0))
    y = batch.heart_rate
    near, far = (np.var(y[..., lag] - y[..., 0]) for lag in (1, 3))
    assert near == pytest.approx(2 * 4.5**2 * (1 - 0.6), rel=0.05)
    assert far == pytest.approx(2 * 4.5**2 * (1 - 0.6**3), rel=0.05)


def test_same_numbers_whatever_the_workers():
    cells = ([{"n": 8}, {"n": 12}], [None, {"shape": "creeps"}])
    one = simulate_grid(*cells, n_studies=1200, seed=5, n_jobs=1).power
    two = simulate_grid(*cells, n_studies=1200, seed=5, n_jobs=2, backend="threading").power
    pd.testing.assert_frame_equal(one, two, check_exact=True)
    single = simulate_studies(Design(12), {"shape": "creeps"}, n_studies=1200, seed=5).power
    cell = one[(one["n"] == 12) & (one["truth"] == 1)].reset_index(drop=True)
    pd.testing.assert_frame_equal(cell[single.columns], single, check_exact=True)
    assert not simulate_studies({"n": 12}, {"shape": "creeps"}, n_studies=1200, seed=6).power.equals(single)


def test_a_cluster_gives_the_same_numbers():
    pytest.importorskip("distributed")
    from dask.distributed import Client, LocalCluster
    from joblib import parallel_config

    designs = [{"n": 8}, {"n": 12}]
    here = simulate_grid(designs, n_studies=300, n_jobs=1).power
    local = {"n_workers": 2, "threads_per_worker": 1, "processes": True, "dashboard_address": None}
    with LocalCluster(**local) as cluster, Client(cluster), parallel_config(backend="dask"):
        there = simulate_grid(designs, n_studies=300).power
    pd.testing.assert_frame_equal(here, there, check_exact=True)


def test_questions_are_asked_as_of_a_real_study():
    rounds = pytest.importorskip("analysis.rounds")
    truth = Assumptions().but(missing_round=0.0, leave=0.0, strap_loss=0.0)
    design = Design(12)
    batch = generate_studies(design, truth, 3, np.random.default_rng(8))
    asked = {a.part: a for a in ask_rounds(batch.heart_rate, "heart_rate", 5.0, design, truth)}
    for study in range(3):
        y = batch.heart_rate[study]
        data = pd.DataFrame(
            {
                "athlete": np.repeat([f"A{i:02d}" for i in range(12)], 4),
                "round_no": np.tile([1, 2, 3, 4], 12),
                "hr_mean_bpm": y.ravel(),
            }
        )
        plateau = rounds.find_plateau(data, "hr_mean_bpm", low=-5, high=5)
        assert plateau.found == bool(asked["plateau"].found[study] | asked["plateau"].mistaken[study])
        contrasts = rounds.compare_rounds(data, "hr_mean_bpm").contrasts
        steps = contrasts[contrasts["contrast"].isin(["2 - 1", "3 - 2", "4 - 3"])]
        if "kind" in steps:
            steps = steps[steps["kind"] == "successive"]
        ours = [asked[f"step {c}"].estimate[study] for c in steps["contrast"]]
        assert ours == pytest.approx(steps["estimate"].tolist())
        claimed = (steps["p_adjusted"] < 0.05) & (steps["p_adjusted_cr2"] < 0.05)
        assert claimed.tolist() == [bool(asked[f"step {c}"].found[study]) for c in steps["contrast"]]


def test_holm_by_rows_is_holm():
    p = np.array([[0.01, 0.04, 0.03], [0.2, 0.01, 0.5], [0.02, np.nan, 0.03]])
    for row, ours in zip(p, holm_rows(p), strict=True):
        here = np.isfinite(row)
        assert ours[here] == pytest.approx(np.asarray(holm(row[here])))


def test_a_creeping_rise_is_no_plateau_because_all_pairs_count():
    yes, no = np.array([True]), np.array([False])
    steps_only = {(1, 0): yes, (2, 1): yes, (3, 2): yes, (2, 0): no, (3, 1): no, (3, 0): no}
    assert plateau_start(steps_only, 4).tolist() == [2]


@pytest.mark.parametrize("n", [3, 4])
def test_tiny_studies_give_an_honest_table(n):
    table = simulate_studies(Design(n, rounds=2), n_studies=50).power
    assert table["power"].dropna().between(0, 1).all()
    assert (table["n_studies"] <= 50).all()


@pytest.mark.parametrize(
    ("call", "hint"),
    [
        (lambda: simulate_studies({"rounds": 4}, n_studies=10), "needs n"),
        (lambda: simulate_studies({"n": 12, "round": 4}, n_studies=10), "Did you mean 'rounds'"),
        (lambda: simulate_studies({"n": 12}, {"heartrate": 3}, n_studies=10), "Did you mean 'heart_rate'"),
        (lambda: simulate_studies({"n": 12}, n_studies=0), "n_studies"),
        (lambda: simulate_studies({"n": 2}, n_studies=10), "from 3 on"),
        (lambda: simulate_studies({"n": 12}, {"test_error": 6.0}, n_studies=10), "cannot tell athletes apart"),
        (lambda: simulate_studies({"n": 12}, {"heart_rate": {"slope": -4.0}}, n_studies=10), "sd_between"),
        (lambda: simulate_studies({"n": 12}, {"women_capacity": -40, "share_women": 0.5}, n_studies=10), "capacity_sd"),
        (lambda: simulate_grid([], n_studies=10), "designs is empty"),
        (lambda: simulate_studies(12, n_studies=10), "must be a Design"),
        (lambda: Assumptions(leave=1.5), "from 0 to 1"),
        (lambda: Assumptions(shape="flat"), "shape"),
    ],
)  # fmt: skip
def test_impossible_studies_say_what_to_do(call, hint):
    with pytest.raises(KitError, match=hint):
        call()


@pytest.mark.parametrize("n", (8, 12))
@pytest.mark.parametrize("means", ([0, 0, 0, 0], [0, 40, 0, 0], [0, 40, 40, 40]))
def test_all_claims_about_rounds_together_err_in_no_more_than_five_percent(n, means):
    """No change at all, one that goes back to the start, one step: what is false is claimed in 5 % in all."""
    studies, rng = 4000, np.random.default_rng(n + means[2])
    y = 8 * rng.standard_normal((studies, n, 1)) + 4 * rng.standard_normal((studies, n, 4)) + np.array(means)
    asked = {a.part: a.found for a in ask_rounds(y, "heart_rate", 5.0, Design(n), Assumptions())}
    wrong = np.zeros(studies, dtype=bool)
    for later in range(1, 4):
        if means[later] == means[later - 1]:
            wrong |= asked[f"step {later + 1} - {later}"]
    if not any(means):
        wrong |= asked["change"]
    assert wrong.mean() < 0.05 + 3 * np.sqrt(0.05 * 0.95 / studies)
    if any(means):
        assert asked["change"].mean() > 0.99
