"""The draw: anybody can repeat it, groups are balanced, nobody is fixed, every athlete has the same chance."""

import hashlib

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.training import allocate, allocate_late
from analysis.training.allocation import add_late_joiners, seed_of

CLUB = pd.DataFrame(
    {
        "athlete": [f"A{i:02d}" for i in range(1, 13)],
        "sex": ["F", "M", "M"] * 4,
        "vo2max": [44.0, 47, 50, 52, 55, 58, 45, 46, 51, 53, 54, 60],
    }
)
SEED = {"public_number": 20261128, "plan_sha256": "ab" * 32}


def test_the_seed_is_the_fingerprint_that_anybody_can_compute():
    assert seed_of("AB ", " 17") == hashlib.sha256(b"ab:17").hexdigest()
    with pytest.raises(KitError, match="public number"):
        seed_of("ab", "")


def test_groups_are_balanced_in_every_stratum_and_in_the_baseline():
    drawn = allocate(CLUB, strata=["sex"], **SEED)
    groups = drawn.reference_set.to_numpy()
    women = (CLUB["sex"] == "F").to_numpy()
    assert (groups[:, women].sum(axis=1) == 2).all()
    assert (groups.sum(axis=1) == 6).all()
    assert drawn.differences["in_sd"].abs().max() <= drawn.tolerance_sd
    mine = (drawn.allocation["arm"] == "trained").astype(int).to_numpy()
    assert (groups == mine).all(axis=1).sum() == 1
    assert (groups[drawn.drawn - 1] == mine).all()
    together = groups.T @ groups + (1 - groups).T @ (1 - groups)
    off = together[~np.eye(12, dtype=bool)]
    assert 0 < off.min() <= off.max() < len(groups)
    assert len(groups) >= 100


def test_the_order_of_the_table_and_a_second_call_change_nothing():
    one, two = (allocate(t, strata=["sex"], **SEED) for t in (CLUB, CLUB.sample(frac=1, random_state=1)))
    pd.testing.assert_frame_equal(one.allocation, two.allocation)
    pd.testing.assert_frame_equal(one.reference_set, two.reference_set)


def test_another_number_draws_another_one_and_each_athlete_trains_half_the_time():
    share = np.mean(
        [
            (allocate(CLUB, strata=["sex"], public_number=i, plan_sha256="c").allocation["arm"] == "trained")
            for i in range(200)
        ],
        axis=0,
    )
    assert np.abs(share - 0.5).max() < 4 * 0.5 / np.sqrt(200)


def test_nine_athletes_widen_the_limit_and_say_so():
    drawn = allocate(CLUB.head(9), strata=["sex"], **SEED)
    assert drawn.n_kept >= 100
    assert drawn.tolerance_sd > 0.2
    assert "widened" in " ".join(drawn.warnings)


def test_two_women_would_never_be_together_so_sex_is_given_up_aloud():
    club = CLUB.assign(sex=["F", "F"] + ["M"] * 10)
    drawn = allocate(club, strata=["sex"], **SEED)
    assert drawn.strata == ()
    assert "sex was given up" in " ".join(drawn.warnings)


def test_six_athletes_have_twenty_allocations_and_the_result_says_what_that_means():
    drawn = allocate(CLUB.head(6), strata=[], **SEED)
    assert drawn.n_kept == 20
    assert "cannot give less than" in " ".join(drawn.warnings)


def test_many_athletes_are_sampled_by_the_seed():
    rng = np.random.default_rng(1)
    club = pd.DataFrame({"athlete": [f"B{i:02d}" for i in range(24)], "vo2max": rng.normal(50, 5, 24)})
    one, two = (allocate(club, strata=[], **SEED) for _ in range(2))
    assert "drawn with the seed" in one.how
    pd.testing.assert_frame_equal(one.reference_set, two.reference_set)
    assert one.n_kept > 1000


def test_pairs_are_neighbours_of_one_sex_and_one_of_each_trains():
    drawn = allocate(CLUB, strata=["sex"], design="matched_pairs", **SEED)
    table = drawn.allocation.merge(CLUB, on="athlete")
    assert (table.groupby("pair")["arm"].nunique() == 2).all()
    assert all(len(set(sexes)) == 1 for _, sexes in table.groupby("pair")["sex"])
    assert drawn.n_kept == 64
    with pytest.raises(KitError, match="no partner"):
        allocate(CLUB.head(11), strata=["sex"], design="matched_pairs", **SEED)


def test_four_pairs_are_told_that_they_cannot_convince():
    drawn = allocate(CLUB.head(8), strata=[], design="matched_pairs", **SEED)
    assert "no confirmatory answer" in " ".join(drawn.warnings)


def test_missing_baselines_are_all_named_at_once():
    club = CLUB.copy()
    club.loc[[1, 4], "vo2max"] = np.nan
    club.loc[2, "sex"] = ""
    with pytest.raises(KitError, match=r"A02 has no vo2max; A05 has no vo2max; A03 has no sex"):
        allocate(club, strata=["sex"], **SEED)


def test_crossover_is_refused_with_the_reason():
    with pytest.raises(KitError, match="stays for months"):
        allocate(CLUB, strata=[], design="crossover", **SEED)


def test_late_joiners_lean_to_balance_with_eighty_per_cent():
    so_far = pd.DataFrame({"athlete": list("ABCDE"), "arm": ["trained"] * 3 + ["control"] * 2, "sex": "M"})
    arms = [
        allocate_late(so_far, {"athlete": f"Z{i}", "sex": "M"}, factors=["sex"], public_number=i, plan_sha256="d")
        for i in range(400)
    ]
    assert np.mean([a == "control" for a in arms]) == pytest.approx(0.8, abs=4 * 0.4 / 20)


def test_running_the_procedure_again_balances_late_joiners_too():
    drawn = allocate(CLUB, strata=["sex"], **SEED)
    people = pd.concat([CLUB, pd.DataFrame({"athlete": ["Z1", "Z2"], "sex": ["F", "M"], "vo2max": [50.0, 50]})])
    again = add_late_joiners(drawn.reference_set, people, ["Z1", "Z2"], factors=["sex"], n=2000)
    assert again.shape == (2000, 14)
    assert again["Z1"].mean() == pytest.approx(0.5, abs=0.05)
    apart = (again["Z1"] != again["Z2"]).mean()
    assert apart > 0.6
