"""Friedman and exact signed-rank tests against R, with ties, zeros and missing rounds."""

import numpy as np
import pandas as pd
import pytest

from analysis.rounds import rank_rounds
from analysis.rounds.anova import friedman
from analysis.rounds.answer import adjust_outcomes


def test_agrees_with_r(r05_case, case):
    data, settings, expected = case(r05_case)
    result = rank_rounds(data, settings["value"], kind="pairwise")
    assert result.statistic == pytest.approx(expected["friedman_chi2_tie_corrected"], rel=1e-8)
    assert result.df == expected["friedman_df"]
    assert result.p == pytest.approx(expected["friedman_p_chi2"], rel=1e-8)
    assert result.kendall_w == pytest.approx(expected["kendall_W"], rel=1e-8)
    assert result.n_athletes == expected["n_athletes_complete"]
    table = result.contrasts.set_index(["later", "earlier"])
    for pair in expected["pairwise"]:
        line = table.loc[(str(pair["later"]), str(pair["earlier"]))]
        assert line["p"] == pytest.approx(pair["p_exact_permutation_zeros_dropped"], rel=1e-8)
        assert line["p_adjusted"] == pytest.approx(pair["p_exact_permutation_zeros_dropped_holm"], rel=1e-8)
        assert line["statistic"] == pytest.approx(pair["V_positive_rank_sum"])
        assert line["estimate"] == pytest.approx(pair["median_difference"])
        assert line["pseudomedian"] == pytest.approx(pair["hodges_lehmann_pseudomedian_all_walsh_averages"])
        assert line["rank_biserial"] == pytest.approx(pair["rank_biserial_matched_pairs"])
        assert line["n_zero"] == pair["n_zero"]
    successive = rank_rounds(data, settings["value"]).contrasts.set_index(["later", "earlier"])
    for pair in expected["successive"]:
        line = successive.loc[(str(pair["later"]), str(pair["earlier"]))]
        assert line["p_adjusted"] == pytest.approx(pair["p_exact_holm_within_successive"], rel=1e-8)
    medians = result.medians.set_index("round_no")
    for label, value in expected["median_by_round"].items():
        assert medians.loc[label, "median"] == pytest.approx(value)
        assert medians.loc[label, "mean_rank"] == pytest.approx(expected["mean_rank_by_round"][label])


def test_all_pairs_of_an_athlete_can_be_kept(case):
    data, settings, _ = case("05_friedman_wilcoxon__n20k6_missing_rpe_listwise")
    complete = rank_rounds(data, settings["value"])
    every = rank_rounds(data, settings["value"], complete=False)
    assert (every.contrasts["n_athletes"] >= complete.contrasts["n_athletes"]).all()
    assert every.contrasts["n_athletes"].max() > complete.n_athletes


def test_identical_ratings_have_nothing_to_rank(club):
    data = club(error_sd=0, means=(14, 14, 14), athlete_sd=0, name="exertion")
    result = rank_rounds(data, "exertion")
    assert np.isnan(result.p) and np.isnan(result.kendall_w)
    assert any("nothing to rank" in w for w in result.warnings)


def test_decimal_ties_are_ties():
    """165.3 - 160.1 is not 5.2 in binary: equal decimal differences must share a rank."""
    data = pd.DataFrame(
        {
            "athlete": np.repeat(list("ABCDEF"), 2),
            "round_no": [1, 2] * 6,
            "value": [160.1, 165.3, 150.0, 155.2, 171.4, 166.2, 140.7, 145.9, 150.3, 155.5, 161.1, 166.3],
        }
    )
    exact = rank_rounds(data, "value").contrasts["p"].iloc[0]
    assert exact == pytest.approx(2 * 7 / 64)  # five up, one down, all of one size: the sign test


def test_one_athlete_with_one_round(club):
    data = club(means=(12, 14, 15), error_sd=1, athlete_sd=1, name="exertion").round()
    data = data[~((data["athlete"] == "A01") & (data["round_no"] > 1))]
    result = rank_rounds(data, "exertion")
    assert result.n_athletes == 11
    assert set(result.left_out["athlete"]) == {"A01"}


def test_adapter_pins_the_columns_of_the_library():
    wide = pd.DataFrame({"1": [1.0, 2, 3], "2": [2.0, 3, 3], "3": [4.0, 4, 5]})
    assert set(friedman(wide)) == {"statistic", "df", "p", "kendall_w"}


def test_holm_over_outcomes_agrees_with_r(case):
    """The adjustment of secondary outcomes is Holm's: R's p.adjust on the p values of the reference sets."""
    from types import SimpleNamespace

    _, _, expected = case("13_multiplicity")
    for group in expected["sets"]:
        answers = {
            f"outcome_{i}": SimpleNamespace(
                role="secondary",
                bounds=None,
                changed=True,
                alpha=0.05,
                comparison=SimpleNamespace(
                    overall=SimpleNamespace(statistic=1.0, df_num=3.0, df_den=30.0, p=p, method="F")
                ),
            )
            for i, p in enumerate(group["p"])
        }
        table = adjust_outcomes(answers)
        assert table["p_adjusted"].tolist() == pytest.approx(group["holm"], rel=1e-8)
        assert table["changed"].tolist() == [h < 0.05 for h in group["holm"]]
