"""The mixed-model comparison against R (lme4, pbkrtest, emmeans), open data, and its own laws."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.models import holm
from analysis.rounds import anova_rounds, compare_rounds
from analysis.rounds.plateau import equivalence

CONTRASTS = {
    "estimate": "estimate_later_minus_earlier",
    "standard_error": "se_kr",
    "df": "df_kr",
    "statistic": "t",
    "ci_low": "ci95_low_unadjusted",
    "ci_high": "ci95_high_unadjusted",
    "ci_low_bonferroni": "ci95_low_bonferroni",
    "ci_high_bonferroni": "ci95_high_bonferroni",
}


def test_agrees_with_r(r02_case, case):
    data, settings, expected = case(r02_case)
    result = compare_rounds(data, settings["value"])
    test = expected["test_round_kenward_roger"]
    assert result.overall.statistic == pytest.approx(test["F_scaled"], rel=1e-6)
    assert result.overall.df_num == test["num_df"]
    assert result.overall.df_den == pytest.approx(test["den_df"], rel=1e-6)
    assert result.overall["p"] == pytest.approx(test["p"], rel=1e-5)
    assert result.variances["athlete"] == pytest.approx(expected["variance_athlete"], rel=1e-6, abs=1e-6)
    assert result.variances["residual"] == pytest.approx(expected["variance_residual"], rel=1e-6)
    assert (result.n_athletes, result.n_observations) == (expected["n_athletes"], expected["n_rows"])
    means = result.means.set_index("round_no")
    for line in expected["estimated_means"]:
        assert means.loc[str(line["round"]), "estimate"] == pytest.approx(line["mean"], rel=1e-6)
        assert means.loc[str(line["round"]), "ci_low"] == pytest.approx(line["ci95_low"], rel=1e-6)
    for table, name in ((result.contrasts, "successive_contrasts"), (result.pairwise, "pairwise_contrasts")):
        found = table.set_index(["later", "earlier"])
        assert len(found) == len(expected[name])
        for pair in expected[name]:
            line = found.loc[(str(pair["later"]), str(pair["earlier"]))]
            for ours, theirs in CONTRASTS.items():
                assert line[ours] == pytest.approx(pair[theirs], rel=1e-6, abs=1e-6), ours
            assert line["p"] == pytest.approx(pair["p_unadjusted"], rel=1e-5)
            assert line["p_adjusted"] == pytest.approx(pair["p_holm"], rel=1e-5)


def test_equivalence_agrees_with_r(r02_case, case):
    data, settings, expected = case(r02_case)
    bound = expected.get("equivalence_bound_raw")
    if bound is None:
        pytest.skip("this case has no bound")
    table = equivalence(data, settings["value"], low=-bound, high=bound, kind="pairwise").set_index(
        ["later", "earlier"]
    )
    for pair in expected["pairwise_contrasts"]:
        line = table.loc[(str(pair["later"]), str(pair["earlier"]))]
        assert line["p"] == pytest.approx(pair["p_equivalence_tost"], rel=1e-5)
        assert line["ci_low"] == pytest.approx(pair["ci90_low"], rel=1e-6, abs=1e-6)
        assert line["ci_high"] == pytest.approx(pair["ci90_high"], rel=1e-6, abs=1e-6)
        assert line["equivalent"] == (max(line["p"], line["p_cr2"]) < 0.05)


def test_covariate_agrees_with_r(r03_case, case):
    data, settings, expected = case(r03_case)
    result = compare_rounds(data, settings["value"], covariates=[settings["covariate"]])
    model = expected["model_additive"]
    tests = {line["term"]: line for line in model["type3_kenward_roger"]}
    slope = model["covariate_slope"]
    found = result.covariates.iloc[0]
    assert result.overall.statistic == pytest.approx(tests["round"]["F"], rel=1e-6)
    assert result.overall.p == pytest.approx(tests["round"]["p"], rel=1e-5)
    assert found["term"] == settings["covariate"]
    assert found["estimate"] == pytest.approx(slope["estimate"], rel=1e-6)
    assert found["standard_error"] == pytest.approx(slope["se_kr"], rel=1e-6)
    assert found["p"] == pytest.approx(slope["p_kr"], rel=1e-5)
    assert found["ci_low"] == pytest.approx(slope["ci95_low_kr"], rel=1e-6)


def test_open_training_data(references):
    """All 76 rows: Satterthwaite F(3, 53.0) = 6.632 (open data, CC0); complete cases F = 7.260 beside it."""
    data = pd.read_csv(references / "cycling_training.csv").rename(
        columns={"subject": "athlete", "timepoint": "round_no"}
    )
    result = compare_rounds(data, "VO2.max")
    satterthwaite = result.fit.test("round_no", ddf="satterthwaite")
    assert satterthwaite.statistic == pytest.approx(6.632, abs=5e-4)
    assert satterthwaite.df_den == pytest.approx(53.0, abs=0.05)
    assert result.anova.statistic == pytest.approx(7.260, abs=5e-4)
    assert (result.n_observations, result.n_athletes, result.anova.n_athletes) == (76, 20, 17)
    assert result.labels == ("meso1", "meso2", "meso3", "pre")
    assert any("taken by the alphabet" in w for w in result.warnings)


def test_complete_data_equal_the_classical_analyses(club):
    """With athlete variance above 0: Kenward-Roger F is the repeated-measures F, CR2 is the paired t test."""
    from scipy import stats

    data = club(n=10, seed=4)
    result = compare_rounds(data, "hr_mean_bpm")
    classical = anova_rounds(data, "hr_mean_bpm")
    assert result.overall.statistic == pytest.approx(classical.statistic, rel=1e-8)
    assert result.overall.df_den == pytest.approx(classical.df_den, rel=1e-8)
    assert result.overall.p_epsilon == pytest.approx(classical.p_gg, rel=1e-6)
    wide = data.set_index(["athlete", "round_no"])["hr_mean_bpm"].unstack()  # noqa: PD010
    for line in result.pairwise.to_dict("records"):
        paired = stats.ttest_rel(wide[int(line["later"])], wide[int(line["earlier"])])
        assert line["p_cr2"] == pytest.approx(paired.pvalue, rel=1e-6)
        assert line["df_cr2"] == pytest.approx(9, rel=1e-6)


def test_contrasts_name_what_they_are(club):
    result = compare_rounds(club(missing=0.1), "hr_mean_bpm")
    assert result.contrasts["contrast"].tolist() == ["2 - 1", "3 - 2", "4 - 3"]
    assert result.versus_first["contrast"].tolist() == ["2 - 1", "3 - 1", "4 - 1"]
    assert len(result.pairwise) == 6
    for table in (result.contrasts, result.pairwise, result.versus_first):
        assert table["p_adjusted"].tolist() == pytest.approx(holm(table["p"].to_numpy()).tolist())
        assert table["p_adjusted_cr2"].tolist() == pytest.approx(holm(table["p_cr2"].to_numpy()).tolist())
        assert (table["changed"] == ((table["p_adjusted"] < 0.05) & (table["p_adjusted_cr2"] < 0.05))).all()


def test_claims_a_change_only_where_both_agree():
    """One athlete drives a step: the pooled error sees a change, the paired t does not."""
    rng = np.random.default_rng(11)
    rows, found = 0, None
    while found is None and rows < 400:
        values = rng.normal(0, 1.0, (8, 4))
        values[:, 3] += rng.normal(1.5, 5.0, 8)
        table = pd.DataFrame(
            [(f"A{i}", j + 1, 170 + 6 * i + values[i, j]) for i in range(8) for j in range(4)],
            columns=["athlete", "round_no", "y"],
        )
        result = compare_rounds(table, "y")
        if not result.contrasts["agree"].all():
            found = result
        rows += 1
    line = found.contrasts[~found.contrasts["agree"]].iloc[0]
    assert not line["changed"]
    assert any("disagree" in w for w in found.warnings)


def test_before_sparring_is_shown_not_tested(club):
    data = club()
    before = club(means=(90.0,), seed=9).assign(round_no=0)
    with_before = compare_rounds(pd.concat([before, data]), "hr_mean_bpm")
    without = compare_rounds(data, "hr_mean_bpm")
    assert with_before.overall.p == without.overall.p
    assert with_before.means["round_no"].tolist() == ["0", "1", "2", "3", "4"]
    assert with_before.means["tested"].tolist() == [False, True, True, True, True]
    assert with_before.labels == ("1", "2", "3", "4")


def test_covariate_must_vary_and_be_known(club):
    data = club().assign(sex="F")
    with pytest.raises(KitError, match="same value of sex"):
        compare_rounds(data, "hr_mean_bpm", covariates=["sex"])
    with pytest.raises(KitError, match="no column 'age'"):
        compare_rounds(data, "hr_mean_bpm", covariates=["age"])
    data["sex"] = np.where(data["athlete"].isin(["A01", "A02", "A03"]), "F", "M")
    data["age"] = data["athlete"].map({f"A{i:02d}": 20.0 + i for i in range(1, 12)})
    result = compare_rounds(data, "hr_mean_bpm", covariates=["sex", "age"])
    assert result.covariates["term"].tolist() == ["sex", "age"]
    assert set(result.left_out["athlete"]) == {"A12"}


def test_effect_sizes_stand_with_raw_units_first(club):
    result = compare_rounds(club(), "hr_mean_bpm")
    assert result.effect_sizes["measure"].iloc[0] == "difference"
    assert set(result.effect_sizes["contrast"]) == {"2 - 1", "3 - 2", "4 - 3", "4 - 1"}
    raw = result.effect_sizes[result.effect_sizes["measure"] == "difference"].set_index("contrast")["estimate"]
    model = result.contrasts.set_index("contrast")["estimate"]
    assert raw["2 - 1"] == pytest.approx(model["2 - 1"])  # complete data


def test_covariates_that_cannot_be_told_apart_are_named_as_their_columns(club):
    data = club()
    age = data["athlete"].map({a: 20 + i for i, a in enumerate(data["athlete"].unique())})
    with pytest.raises(KitError, match=r"^years cannot be separated from age "):
        compare_rounds(data.assign(age=age, years=2 * age), "hr_mean_bpm", covariates=("age", "years"))
