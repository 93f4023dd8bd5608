"""The randomisation test: counts by hand, sets of allocations, and what it refuses."""

import itertools

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.training import allocate, randomisation_test

from .data import ASKED, TWELVE


def test_check_value_2_all_allocations():
    result = randomisation_test(TWELVE, **ASKED)
    assert (result.n_allocations, result.as_extreme) == (924, 4)
    assert result.p == pytest.approx(4 / 924)
    assert result.smallest_p <= result.p


def test_check_value_2_coefficient_alone_would_count_ten():
    """The unstudentised coefficient stands at 10/924: recomputed here by brute force with numpy alone."""
    x, y = TWELVE["pre"].to_numpy(float), TWELVE["post"].to_numpy(float)
    sizes = []
    for chosen in itertools.combinations(range(12), 6):
        g = np.isin(np.arange(12), chosen).astype(float)
        sizes.append(abs(np.linalg.lstsq(np.column_stack([np.ones(12), x, g]), y, rcond=None)[0][2]))
    assert np.sum(np.array(sizes) >= sizes[0] - 1e-9) == 10


def test_check_value_2_restricted_set():
    club = TWELVE[["athlete", "pre"]].rename(columns={"pre": "vo2max"})
    drawn = allocate(club, strata=[], public_number=1, plan_sha256="ab")
    assert (drawn.n_balanced, drawn.n_kept, drawn.tolerance_sd) == (924, 240, 0.2)
    result = randomisation_test(TWELVE, **ASKED, allocations=drawn.reference_set)
    assert (result.n_allocations, result.as_extreme) == (240, 4)


def test_check_value_2_pairs():
    result = randomisation_test(TWELVE, **ASKED, pairs="pair")
    assert (result.n_allocations, result.as_extreme) == (64, 2)


def test_five_pairs_cannot_give_less_than_two_of_32():
    """2/32 = .0625 [C]."""
    result = randomisation_test(TWELVE[TWELVE["pair"] != "P6"], **ASKED, pairs="pair")
    assert result.n_allocations == 32
    assert result.smallest_p >= 2 / 32


def test_allocations_as_an_array_follow_the_rows_and_missing_athletes_leave_every_allocation():
    groups = np.array([np.isin(np.arange(12), c).astype(float) for c in itertools.combinations(range(12), 6)])
    table = TWELVE.astype({"post": float})
    table.loc[3, "post"] = np.nan
    by_array = randomisation_test(table, **ASKED, allocations=groups)
    by_code = randomisation_test(
        table.sample(frac=1, random_state=1), **ASKED, allocations=pd.DataFrame(groups, columns=table["athlete"])
    )
    assert (by_array.as_extreme, by_array.n_allocations) == (by_code.as_extreme, by_code.n_allocations)
    assert by_array.n_athletes == 11


def test_a_list_that_does_not_hold_what_took_place_is_refused():
    other = pd.DataFrame([[0] * 6 + [1] * 6], columns=TWELVE["athlete"])
    with pytest.raises(KitError, match="not in the list"):
        randomisation_test(TWELVE, **ASKED, allocations=other)
    with pytest.raises(KitError, match="does not know T1"):
        randomisation_test(TWELVE, **ASKED, allocations=other.drop(columns="T1"))


def test_many_athletes_are_sampled_with_the_seed_and_the_observed_one_counts():
    rng = np.random.default_rng(5)
    table = pd.DataFrame({"pre": rng.normal(50, 5, 24), "arm": ["trained", "control"] * 12})
    table["post"] = table["pre"] + 30 * (table["arm"] == "trained") + rng.normal(0, 1, 24)
    one, two = (randomisation_test(table, **ASKED, seed=s) for s in (1, 1))
    assert one.p == two.p
    assert 0 < one.p < 0.001
    assert "drawn from" in one.how
