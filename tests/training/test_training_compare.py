"""The effect of training: against printed examples, statsmodels, and what must not change anything."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.basics import KitError
from analysis.training import compare_groups, effect_from_summaries

from .data import ASKED, TWELVE


def test_check_value_2_main_analysis():
    result = compare_groups(TWELVE, **ASKED)
    assert result.estimate == pytest.approx(3.320198, abs=1e-6)
    assert result.slope == pytest.approx(0.973730, abs=1e-6)
    assert result.standard_error == pytest.approx(0.805205, abs=1e-6)
    assert result.df == pytest.approx(8.86267, abs=1e-5)
    assert (result.ci_low, result.ci_high) == pytest.approx((1.4944, 5.1460), abs=1e-4)
    assert result.p == pytest.approx(0.002671, abs=1e-6)
    assert (result.n_athletes, len(result.left_out)) == (12, 0)


def test_check_value_2_beside():
    assert compare_groups(TWELVE, **ASKED, method="ols").standard_error == pytest.approx(0.820658, abs=1e-6)
    assert compare_groups(TWELVE, **ASKED, method="hc3").standard_error == pytest.approx(0.911304, abs=1e-6)
    plain = compare_groups(TWELVE, **ASKED, method="ols")
    assert plain.df == 9
    # means by hand: before 51 and 51.5, after 329 / 6 and 52
    assert (plain.baseline_difference, plain.followup_alone) == pytest.approx((-0.5, 329 / 6 - 52))
    assert plain.change_alone == pytest.approx(329 / 6 - 52 + 0.5)


@pytest.mark.parametrize(("method", "name"), [("hc2", "HC2"), ("hc3", "HC3"), ("ols", "nonrobust")])
def test_standard_errors_are_those_of_statsmodels(method, name):
    rng = np.random.default_rng(3)
    table = pd.DataFrame(
        {"pre": rng.normal(50, 5, 21), "arm": ["control"] * 9 + ["trained"] * 12, "sex": ["F", "M", "M"] * 7}
    )
    table["post"] = table["pre"] + (table["arm"] == "trained") * 2 + rng.normal(0, 3, 21)
    mine = compare_groups(table, **ASKED, covariates=["sex"], method=method)
    design = np.column_stack([np.ones(21), table["pre"], table["sex"] == "M", table["arm"] == "trained"])
    theirs = sm.OLS(table["post"].to_numpy(), design.astype(float)).fit(cov_type=name)
    assert mine.estimate == pytest.approx(theirs.params[-1], rel=1e-9)
    assert mine.standard_error == pytest.approx(theirs.bse[-1], rel=1e-9)


def test_without_covariate_the_df_are_those_of_welch_for_equal_variances():
    """Two groups alone: HC2 is Welch's error and Bell-McCaffrey's df a closed form (Imbens & Kolesár 2016, from memory)."""
    rng = np.random.default_rng(1)
    table = pd.DataFrame({"arm": ["control"] * 5 + ["trained"] * 8, "post": rng.normal(size=13), "pre": 50.0})
    result = compare_groups(table, **ASKED)
    assert "baseline" in " ".join(result.warnings)
    n0, n1 = 5, 8
    df = (1 / n0 + 1 / n1) ** 2 / (1 / (n0**2 * (n0 - 1)) + 1 / (n1**2 * (n1 - 1)))
    own = table.groupby("arm")["post"].var()
    assert result.df == pytest.approx(df, rel=1e-9)
    assert result.standard_error == pytest.approx(np.sqrt(own["control"] / 5 + own["trained"] / 8), rel=1e-9)


def test_two_baselines_count_as_their_mean_and_one_is_enough():
    table = TWELVE.assign(pre_2=TWELVE["pre"] + 2.0)
    table.loc[0, "pre_2"] = np.nan
    mean = table.assign(both=table[["pre", "pre_2"]].mean(axis=1))
    one = compare_groups(table, **{**ASKED, "baseline": ["pre", "pre_2"]})
    other = compare_groups(mean, **{**ASKED, "baseline": "both"})
    assert one.estimate == pytest.approx(other.estimate, rel=1e-12)


def test_whoever_lacks_a_value_is_listed_with_the_reason():
    table = TWELVE.astype({"post": float, "pre": float})
    table.loc[2, "post"] = np.nan
    table.loc[7, "pre"] = np.nan
    table.loc[9, "arm"] = ""
    result = compare_groups(table, **ASKED)
    assert result.n_athletes == 9
    assert dict(zip(result.left_out["athlete"], result.left_out["reason"], strict=True)) == {
        "T3": "no follow-up",
        "C2": "no baseline",
        "C4": "no arm",
    }


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"outcome": "nothing"}, "no column 'nothing'"),
        ({"reference": "nobody"}, "two groups"),
        ({"method": "hc4"}, "must be one of"),
        ({"covariates": ["pair", "athlete"]}, "leave a covariate out"),
    ],
)
def test_refusals_name_the_remedy(change, words):
    with pytest.raises(KitError, match=words):
        compare_groups(TWELVE, **{**ASKED, **change})


def test_one_row_per_athlete_is_asked_for():
    with pytest.raises(KitError, match="One row per athlete"):
        compare_groups(pd.concat([TWELVE, TWELVE.head(1)]), **ASKED)


def test_values_without_any_scatter_give_no_standard_error_and_say_so():
    table = TWELVE.assign(post=TWELVE["pre"] + 3 * (TWELVE["arm"] == "trained"))
    result = compare_groups(table, **ASKED)
    assert np.isnan(result.p)
    assert "copied" in " ".join(result.warnings)


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 10_000), shift=st.floats(-50, 50), scale=st.floats(0.1, 10))
def test_order_names_shift_and_scale_change_nothing_else(seed, shift, scale):
    rng = np.random.default_rng(seed)
    table = TWELVE.assign(post=TWELVE["post"] + rng.normal(0, 2, 12))
    base = compare_groups(table, **ASKED)
    mixed = table.sample(frac=1, random_state=seed).assign(athlete=[f"X{i}" for i in range(12)])
    moved = mixed.assign(post=scale * (mixed["post"] + shift), pre=mixed["pre"] + shift)
    other = compare_groups(moved, **ASKED)
    assert other.estimate == pytest.approx(scale * base.estimate, rel=1e-6, abs=1e-9)
    assert other.df == pytest.approx(base.df, rel=1e-6)
    assert other.p == pytest.approx(base.p, rel=1e-5, abs=1e-12)


def test_check_value_1_from_printed_summaries():
    result = effect_from_summaries(
        n=(27, 25),
        baseline_mean=(53.9, 60.4),
        baseline_sd=(14, 12.3),
        followup_mean=(62.3, 79.6),
        followup_sd=(17.9, 17.1),
        change_sd=(14.6, 16.1),
    )
    assert result.slope == pytest.approx(0.7054, abs=5e-5)
    assert result.estimate == pytest.approx(12.72, abs=0.01)
    assert (result.ci_low, result.ci_high) == pytest.approx((4.10, 21.33), abs=0.005)
    assert result.p == pytest.approx(0.0047, abs=5e-5)
    assert (result.followup_alone, result.change_alone) == pytest.approx((17.3, 10.8), abs=1e-9)


def test_summaries_of_raw_data_give_the_ordinary_analysis_of_that_data():
    by = TWELVE.assign(change=TWELVE["post"] - TWELVE["pre"]).groupby("arm")

    def pair(column, how):
        found = by[column].agg(how)
        return found["control"], found["trained"]

    mine = effect_from_summaries(
        n=(6, 6),
        baseline_mean=pair("pre", "mean"),
        baseline_sd=pair("pre", "std"),
        followup_mean=pair("post", "mean"),
        followup_sd=pair("post", "std"),
        change_sd=pair("change", "std"),
    )
    raw = compare_groups(TWELVE, **ASKED, method="ols")
    assert (mine.estimate, mine.standard_error, mine.df) == pytest.approx(
        (raw.estimate, raw.standard_error, raw.df), rel=1e-9
    )


def test_impossible_summaries_are_refused():
    given = {
        "n": (10, 10),
        "baseline_mean": (50, 50),
        "baseline_sd": (5, 5),
        "followup_mean": (52, 55),
        "followup_sd": (5, 5),
    }
    with pytest.raises(KitError, match="standard error"):
        effect_from_summaries(**given, change_sd=(12, 2))
    with pytest.raises(KitError, match="not both"):
        effect_from_summaries(**given)
    with pytest.raises(KitError, match="two numbers, reference group first"):
        effect_from_summaries(**{**given, "n": (10,)}, correlation=0.8)
