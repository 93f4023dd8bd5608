"""Paired effect sizes and equivalence against R (effectsize)."""

import numpy as np
import pytest

from analysis.basics import KitError
from analysis.rounds import paired_effects
from analysis.rounds.plateau import equivalence

NAMES = {
    "d_z": ("d_z", "d_z_ci95_low_noncentral_t", "d_z_ci95_high_noncentral_t"),
    "g_z": ("g_z_exact", None, None),
    "d_av": ("d_av_root_mean_square_sds", "d_av_rms_ci95_low_algina_keselman", "d_av_rms_ci95_high_algina_keselman"),
    "g_av": ("g_av_rms_J_exact", None, None),
    "difference": ("mean_difference", "ci95_low", "ci95_high"),
}


def test_agrees_with_r(r08_case, case):
    data, settings, expected = case(r08_case)
    table = paired_effects(data, settings["value"], kind="pairwise")
    pair = table[(table["later"] == str(settings["later"])) & (table["earlier"] == str(settings["earlier"]))]
    pair = pair.set_index("measure")
    for measure, names in NAMES.items():
        for column, name in zip(("estimate", "ci_low", "ci_high"), names, strict=True):
            if name:
                assert pair.loc[measure, column] == pytest.approx(expected[name], rel=1e-7), (measure, column)
    assert pair["n_athletes"].iloc[0] == expected["n_pairs"]


def test_two_rounds_alone_are_the_paired_tests(r08_case, case):
    """On complete pairs CR2 is R's paired TOST; Kenward-Roger too, unless the athlete variance is estimated as 0."""
    data, settings, expected = case(r08_case)
    both = data[data["round_no"].isin([settings["later"], settings["earlier"]])]
    tost = expected["tost"]
    line = equivalence(both, settings["value"], low=tost["bound_low_raw"], high=tost["bound_high_raw"]).iloc[0]
    assert line["estimate"] == pytest.approx(expected["mean_difference"], rel=1e-8)
    assert line["p_low_cr2"] == pytest.approx(tost["p_lower"], rel=1e-6)
    assert line["p_high_cr2"] == pytest.approx(tost["p_upper"], rel=1e-6)
    assert line["ci_low_cr2"] == pytest.approx(tost["ci90_low"], rel=1e-6)
    assert bool(line["equivalent"]) == tost["equivalent_at_05"]


def test_asymmetric_bounds(club):
    data = club(means=(170.0, 174.0), error_sd=1.0)
    assert equivalence(data, "hr_mean_bpm", low=-1, high=8)["equivalent"].iloc[0]
    assert not equivalence(data, "hr_mean_bpm", low=-8, high=1)["equivalent"].iloc[0]


@pytest.mark.parametrize(("low", "high"), [(1, 5), (-5, -1), (0, 5), (5, -5), (np.nan, 5)])
def test_bounds_must_enclose_zero(low, high, club):
    with pytest.raises(KitError, match="enclose 0"):
        equivalence(club(), "hr_mean_bpm", low=low, high=high)


def test_ratings_need_the_ranks_to_agree(club):
    data = club(means=(14, 14), error_sd=0.4, athlete_sd=1.5, name="exertion")
    table = equivalence(data, "exertion", low=-1, high=1, ordinal=True)
    assert {"p", "p_cr2", "p_ranks"} <= set(table)
    expected = (table[["p", "p_cr2", "p_ranks"]] < 0.05).all(axis=1)
    assert (table["equivalent"] == expected).all()


def test_pairs_without_spread_have_no_standardised_size(club):
    table = paired_effects(club(error_sd=0.0), "hr_mean_bpm").set_index("measure")
    assert table.loc["difference", "estimate"].iloc[0] == pytest.approx(6.0)
    assert np.isnan(table.loc["d_z", "estimate"].iloc[0])
