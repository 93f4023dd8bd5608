"""Mixed models against R on every reference case (sources and tolerances: tests/references/models/SOURCE.md)."""

import math

import pandas as pd
import pytest
from models_data import REFERENCES, load, unique_cases
from pytest import approx

from analysis.models import fit_mixed

KR, SATTERTHWAITE = "kenward-roger", "satterthwaite"


def close(found, expected, tolerance=1e-6):
    assert found == approx(expected, rel=tolerance, abs=tolerance * 1e-1)


def check_coefficients(fit, expected, tolerance=1e-6, df_tolerance=1e-8):
    kr, sw = fit.coefficients(ddf=KR), fit.coefficients(ddf=SATTERTHWAITE)
    for row, (_, a), (_, b) in zip(expected, kr.iterrows(), sw.iterrows(), strict=True):
        close(a["estimate"], row["estimate"], tolerance)
        close(a["standard_error"], row["se_kr"], tolerance)
        assert a["df"] == approx(row["df_kr"], rel=max(df_tolerance, 2e-8))
        assert a["p"] == approx(row["p_kr"], rel=1e-5)
        close(b["standard_error"], row["se_model"], tolerance)
        assert b["df"] == approx(row["df_satterthwaite"], rel=1e-6)
        assert b["p"] == approx(row["p_satterthwaite"], rel=1e-5)
        if "ci95_low_kr" in row:
            close(a["ci_low"], row["ci95_low_kr"], tolerance)
            close(a["ci_high"], row["ci95_high_kr"], tolerance)


def check_contrasts(table, expected):
    names = {
        "estimate": "estimate_later_minus_earlier",
        "standard_error": "se_kr",
        "df": "df_kr",
        "statistic": "t",
        "p": "p_unadjusted",
        "p_adjusted": "p_holm",
        "ci_low": "ci95_low_unadjusted",
        "ci_high": "ci95_high_unadjusted",
        "ci_low_bonferroni": "ci95_low_bonferroni",
        "ci_high_bonferroni": "ci95_high_bonferroni",
    }
    assert [str(v) for v in table["later"]] == [str(r["later"]) for r in expected]
    assert [str(v) for v in table["earlier"]] == [str(r["earlier"]) for r in expected]
    for ours, theirs in names.items():
        for found, row in zip(table[ours], expected, strict=True):
            close(found, row[theirs], 1e-5 if ours.startswith("p") else 1e-6)


@pytest.mark.parametrize("path", unique_cases("02_lmm__*"), ids=lambda p: p.name)
def test_random_intercept_with_rounds_as_factor(path):
    data, params, expected = load(path)
    data = data.rename(columns={params["within"]: "round_no"})
    fit = fit_mixed(data, f"{params['value']} ~ C(round_no)", group=params["id"])
    assert fit.log_likelihood == approx(expected["reml_loglik"], abs=1e-9)
    assert fit.variances.group == approx(expected["variance_athlete"], rel=1e-6, abs=1e-6)
    assert fit.variances.residual == approx(expected["variance_residual"], rel=1e-6)
    assert (fit.variances.group == 0) == expected["singular_fit_athlete_variance_zero"]
    assert fit.icc == approx(expected["icc_variance_ratio"], rel=1e-6)
    check_coefficients(fit, expected["fixed_effects"])
    for ddf, key, statistic in (
        (KR, "test_round_kenward_roger", "F_scaled"),
        (SATTERTHWAITE, "test_round_satterthwaite", "F"),
    ):
        test, row = fit.test("round_no", ddf=ddf), expected[key]
        close(test.statistic, row[statistic])
        assert test.df_num == row["num_df"]
        assert test.df_den == approx(row["den_df"], rel=1e-8 if ddf == KR else 1e-6)
        assert test.p == approx(row["p"], rel=1e-5)
    for found, row in zip(fit.means("round_no").itertuples(), expected["estimated_means"], strict=True):
        close([found.estimate, found.standard_error], [row["mean"], row["se_kr"]])
        close([found.ci_low, found.ci_high], [row["ci95_low"], row["ci95_high"]])
        assert found.df == approx(row["df_kr"], rel=2e-8)
    check_contrasts(fit.contrasts("round_no", kind="pairwise"), expected["pairwise_contrasts"])
    check_contrasts(fit.contrasts("round_no", kind="successive"), expected["successive_contrasts"])
    shares = fit.r_squared()
    close(shares.marginal, expected["r2_marginal_nakagawa"])
    close(shares.conditional, expected["r2_conditional_nakagawa"])
    effects = fit.random_effects().set_index("level")["estimate"]
    close([effects[k] for k in expected["random_intercepts_blup"]], list(expected["random_intercepts_blup"].values()))


@pytest.mark.parametrize("path", unique_cases("02_lmm__*"), ids=lambda p: p.name)
def test_profile_intervals_of_the_standard_deviations(path):
    data, params, expected = load(path)
    data = data.rename(columns={params["within"]: "round_no"})
    fit = fit_mixed(data, f"{params['value']} ~ C(round_no)", group=params["id"])
    table = fit.variance_intervals(likelihood="ml").set_index("component")
    limits = expected["profile_ci95_sd"]
    tolerance = 5e-3 if expected["singular_fit_athlete_variance_zero"] else 1e-4
    assert table.loc["group", "estimate"] == approx(expected["ml_variance_athlete"], rel=1e-4, abs=1e-6)
    for component, name in (("group", "athlete"), ("residual", "residual")):
        for side in ("low", "high"):
            assert table.loc[component, f"sd_ci_{side}"] == approx(limits[f"{name}_{side}"], rel=tolerance, abs=1e-6)


@pytest.mark.parametrize("model, formula", [("model_additive", "+"), ("model_interaction", "*")])
@pytest.mark.parametrize("path", unique_cases("03_lmm_vo2max__*"), ids=lambda p: p.name)
def test_covariate_between_athletes(path, model, formula):
    data, params, results = load(path)
    expected = results[model]
    data = data.rename(columns={params["within"]: "round_no", params["covariate"]: "x"})
    data["xc"] = data["x"] - results["covariate_mean_over_athletes"]
    fit = fit_mixed(data, f"{params['value']} ~ C(round_no, Sum) {formula} xc", group=params["id"])
    plain = fit_mixed(data, f"{params['value']} ~ C(round_no) {formula} x", group=params["id"])
    assert fit.log_likelihood == approx(expected["reml_loglik"], abs=1e-9)
    assert fit.variances["group"] == approx(expected["variance_athlete"], rel=1e-6)
    check_coefficients(fit, expected["fixed_effects"])
    # type III does not depend on how the formula is coded
    for one, round_name, covariate in ((fit, "C(round_no, Sum)", "xc"), (plain, "round_no", "x")):
        for ddf, key in ((KR, "type3_kenward_roger"), (SATTERTHWAITE, "type3_satterthwaite")):
            for row in expected[key]:
                test = one.test(row["term"].replace("round", round_name).replace("xc", covariate), ddf=ddf)
                close(test.statistic, row["F"])
                assert test.df_num == row["num_df"]
                assert test.df_den == approx(row["den_df"], rel=1e-8 if ddf == KR else 1e-6)
                assert test.p == approx(row["p"], rel=1e-5)
    if model == "model_interaction":
        slopes = plain.slopes("x", by="round_no")
        for found, row in zip(slopes.itertuples(), expected["slope_per_round"], strict=True):
            close([found.estimate, found.standard_error], [row["slope"], row["se_kr"]])
            close([found.ci_low, found.ci_high], [row["ci95_low"], row["ci95_high"]])
    else:
        close(plain.slopes("x")["estimate"][0], expected["covariate_slope"]["estimate"])


@pytest.mark.parametrize(
    "model, right, options",
    [
        ("random_intercept_only", "t", {}),
        ("random_slope_correlated", "t", {"slope": "t"}),
        ("random_slope_uncorrelated", "t", {"slope": "t", "slope_correlated": False}),
        ("with_group_random_intercept", "t + sex", {}),
        ("with_group_by_time_random_slope", "t * sex", {"slope": "t"}),
    ],
)
@pytest.mark.parametrize("path", unique_cases("04_lmm_slope__*"), ids=lambda p: p.name)
def test_slopes_of_athletes(path, model, right, options):
    data, params, results = load(path)
    if model not in results:
        return
    expected = results[model]
    data["t"] = data[params["time"]] - params["time_origin"]
    fit = fit_mixed(data, f"{params['value']} ~ {right}", group=params["id"], **options)
    assert fit.log_likelihood == approx(expected["reml_loglik"], abs=1e-9)
    for ours, theirs in (
        ("group", "variance_intercept"),
        ("slope", "variance_slope"),
        ("covariance", "covariance_intercept_slope"),
        ("residual", "variance_residual"),
    ):
        if expected[theirs] is None:
            assert math.isnan(fit.variances[ours])
        else:
            assert fit.variances[ours] == approx(expected[theirs], rel=1e-5)
    check_coefficients(fit, expected["fixed_effects"], tolerance=1e-5, df_tolerance=1e-6)
    for row in expected["type3_kenward_roger"]:
        test = fit.test(row["term"].replace("g", "sex"))
        assert test.statistic == approx(row["F"], rel=1e-5)
        assert test.df_den == approx(row["den_df"], rel=1e-6)
    assert any("perfectly correlated" in w for w in fit.warnings) == expected["singular"]


def test_open_data_with_missing_cells():
    # cycling_training (CC0): VO2max over four time points, 20 cyclists, 76 of 80 values: Satterthwaite F(3, 53.0) = 6.632
    data = pd.read_csv(REFERENCES / "rounds" / "cycling_training.csv")
    fit = fit_mixed(data, "`VO2.max` ~ timepoint", group="subject")
    test = fit.test("timepoint", ddf="satterthwaite")
    assert (test.statistic, test.df_num, test.df_den) == (approx(6.632, abs=5e-4), 3, approx(53.0, abs=0.05))
    assert fit.n_observations == 76 and fit.n_athletes == 20
    assert len(fit.left_out) == 4 and set(fit.left_out["reason"]) == {"VO2.max missing"}
    assert list(fit.means("timepoint")["timepoint"]) == sorted(set(data["timepoint"]))
