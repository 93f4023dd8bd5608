"""Correlations of athletes against R, against published worked examples, and at the edges."""

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.capacity.answer import bayes_factor
from analysis.capacity.beside import influence, robust_correlation
from analysis.capacity.correlation import correlate, correlate_within, correlation_levels, partial_correlation

REFERENCES = Path(__file__).parents[1] / "references" / "capacity"
CASES = sorted(p.name for p in REFERENCES.glob("06_correlation__*"))
PUBLISHED = {c["id"]: c for c in json.loads((REFERENCES / "check_values.json").read_text(encoding="utf-8"))}


def load(case):
    folder = REFERENCES / case
    return (
        pd.read_csv(folder / "athlete_level.csv"),
        pd.read_csv(folder / "data.csv").rename(columns={"round": "round_no"}),
        json.loads((folder / "params.json").read_text()),
        json.loads((folder / "results.json").read_text()),
    )


def close(value, expected, tolerance=1e-8):
    assert value == pytest.approx(expected, rel=tolerance, abs=1e-12)


@pytest.mark.parametrize("case", CASES)
def test_pearson_and_spearman_agree_with_r(case):
    athletes, _, names, expected = load(case)
    x, y = names["x"], names["y"]
    r = correlate(athletes, x, y)
    for field, key in (("estimate", "r"), ("statistic", "t"), ("df", "df"), ("p", "p_two_sided")):
        close(getattr(r, field), expected["pearson"][key])
    close(r.ci_low, expected["pearson"]["ci95_low"])
    close(r.ci_high, expected["pearson"]["ci95_high"])
    close(correlate(athletes, x, y, level=0.9).ci_low, expected["pearson"]["ci90_low"])
    close(correlate(athletes, x, y, alternative="less").p, expected["pearson"]["p_one_sided_negative"])
    close(r.slope, expected["ols_y_on_x"]["slope"])
    s, wanted = correlate(athletes, x, y, method="spearman"), expected["spearman"]
    close(s.estimate, wanted["rho"])
    close(s.p, wanted["p_t_approximation"])
    close(s.ci_low, wanted["ci95_bonett_wright_low"])
    close(s.ci_high, wanted["ci95_bonett_wright_high"])
    plain = correlate(athletes, x, y, method="spearman", interval="fisher")
    close(plain.ci_high, wanted["ci95_fisher_plain_high"])
    assert plain.warnings


@pytest.mark.parametrize("case", CASES)
def test_the_long_table_gives_the_correlation_of_athlete_means(case):
    athletes, rows, names, _ = load(case)
    of_rows, of_means = (correlate(d, names["x"], names["y"]) for d in (rows, athletes))
    close(of_rows.estimate, of_means.estimate, 1e-6)
    assert of_rows.n_athletes == of_means.n_athletes == len(athletes)
    assert of_rows.df == len(athletes) - 2
    assert "not independent" in of_rows.warnings[0]


@pytest.mark.parametrize("case", CASES)
def test_partial_within_and_leave_one_out_agree_with_r(case):
    athletes, rows, names, expected = load(case)
    p = partial_correlation(athletes, names["x"], names["y"], covariates=[names["control"]])
    wanted = expected["partial_correlation"]
    for field, key in (("estimate", "r"), ("df", "df"), ("statistic", "t"), ("p", "p_two_sided")):
        close(getattr(p, field), wanted[key])
    close(p.ci_low, wanted["ci95_low"])
    w, wanted = (correlate_within(rows, names["rm_x"], names["rm_y"]), expected["repeated_measures_correlation"])
    for field, key in (("estimate", "r"), ("df", "df"), ("slope", "slope"), ("p", "p")):
        close(getattr(w, field), wanted[key])
    close(w.statistic**2, wanted["F"])
    close(w.ci_low, wanted["ci95_low_fisher_n_eff_df_plus_2"])
    close(w.ci_high, wanted["ci95_high_fisher_n_eff_df_plus_2"])
    assert (w.n_athletes, w.n_observations) == (wanted["n_athletes"], wanted["n_rows"])
    levels = correlation_levels(rows, names["rm_x"], names["rm_y"])
    close(levels.pooled_mistake, wanted["pooled_naive_pearson_ignoring_athlete"])
    close(levels.between.estimate, wanted["between_athlete_r_of_means"])
    table = influence(athletes, names["x"], names["y"])
    loo = pd.DataFrame(expected["leave_one_out_pearson"])
    assert table["athlete"].tolist() == loo["left_out"].tolist()
    np.testing.assert_allclose(table["estimate"], loo["r"], rtol=1e-8)
    np.testing.assert_allclose(table["p"], loo["p"], rtol=1e-8)
    for column, key in (("cooks_distance", "cooks_distance"), ("leverage", "leverage"),
                        ("studentized_residual", "studentized_residual_external")):  # fmt: skip
        np.testing.assert_allclose(table[column], expected["ols_y_on_x"][key], rtol=1e-8)


@pytest.mark.parametrize("case", CASES)
def test_bca_interval_is_near_that_of_r_with_other_resamples(case):
    athletes, _, names, expected = load(case)
    wanted = expected["bootstrap_pearson"]
    found = correlate(athletes, names["x"], names["y"], interval="bca", seed=1)
    # the reference has 2000 resamples, whose limits scatter; most with 8 athletes, where half a million give 0.256
    assert found.ci_low == pytest.approx(wanted["bca95_low_quantile_type7"], abs=0.08)
    assert found.ci_high == pytest.approx(wanted["bca95_high_quantile_type7"], abs=0.08)
    shuffled = athletes.sample(frac=1, random_state=0)
    again = correlate(shuffled, names["x"], names["y"], interval="bca", seed=1)
    assert (found.ci_low, found.ci_high) == (again.ci_low, again.ci_high)


def test_bayes_factors_agree_with_closed_form_and_integral():
    expected = json.loads((REFERENCES / "10_bayes_factors" / "results.json").read_text())["pearson_correlation"]
    for case in expected:
        close(bayes_factor(case["r"], case["n"]), case["bf10_stretched_beta_kappa1_closed_form"], 1e-6)
        close(bayes_factor(case["r"], case["n"], "less"), case["bf_minus0_negative_direction_kappa1"], 1e-6)
        close(bayes_factor(case["r"], case["n"], "greater"), case["bf_plus0_positive_direction_kappa1"], 1e-6)


def test_bland_and_altman_1995_within_and_between_subjects():
    """BMJ 310:446: r = -0.51, P < 0.001 within subjects; 310:633: r = 0.08 between subjects (from memory)."""
    data = pd.DataFrame(PUBLISHED["rmcorr_bland1995"]["inputs"]["subject_pH_PaCO2"], columns=["athlete", "ph", "co2"])
    within = correlate_within(data, "co2", "ph")
    assert within.estimate == pytest.approx(PUBLISHED["rmcorr_bland1995"]["expected"], abs=0.005)
    assert within.p < 0.001
    assert within.df == 38
    f = PUBLISHED["rmcorr_bland1995_ss"]["expected"][2]
    assert within.statistic**2 == pytest.approx(f, abs=0.005)
    levels = correlation_levels(data, "co2", "ph")
    wanted = PUBLISHED["between_bland1995"]
    assert levels.between_weighted == pytest.approx(wanted["expected"], abs=wanted["tolerance"])
    assert levels.between.estimate == pytest.approx(wanted["expected"], abs=wanted["tolerance"])
    assert levels.pooled_mistake == pytest.approx(PUBLISHED["naive_bland1995"]["expected"], abs=0.0005)


def test_spence_and_stanley_2016_interval_and_critical_r_of_twelve():
    """PLoS ONE 11:e0162874: r = .35, n = 100 -> [.16, .51]; t distribution: |r| = .576 at n = 12 gives p = .05."""
    rng = np.random.default_rng(3)
    x, e = rng.normal(size=(2, 100))
    x, e = (x - x.mean()) / x.std(), e - e.mean()
    e -= x * (x @ e) / (x @ x)
    y = 0.35 * x + math.sqrt(1 - 0.35**2) * e / e.std()
    found = correlate(pd.DataFrame({"athlete": range(100), "x": x, "y": y}), "x", "y")
    assert found.estimate == pytest.approx(0.35, abs=1e-9)
    assert [found.ci_low, found.ci_high] == pytest.approx(PUBLISHED["ci_r_published"]["expected"], abs=0.005)
    from analysis.capacity.correlation import t_test_of_r

    assert t_test_of_r(PUBLISHED["crit_r_n12"]["expected"], 10, "two-sided")[1] == pytest.approx(0.05, abs=2e-4)


def test_robust_correlation_agrees_with_pingouin_and_resists_one_athlete():
    rng = np.random.default_rng(5)
    x = rng.normal(50, 5, 14)
    y = 170 - 0.8 * (x - 50) + rng.normal(0, 2, 14)
    clean = robust_correlation(x, y)
    y[0] += 80
    assert abs(robust_correlation(x, y) - clean) < abs(np.corrcoef(x, y)[0, 1] - clean)
    assert math.isnan(robust_correlation(x, np.full(14, 15.0)))


def test_pairs_with_a_missing_value_are_dropped_and_counted():
    data = pd.DataFrame(
        {"athlete": list("ABCDEF"), "fit": [44, 47, np.nan, 52, 55, 58], "hr": [175, 171, 172, np.nan, 166, 167],
         "file": "sheet.csv", "row": range(2, 8)}
    )  # fmt: skip
    found = correlate(data, "fit", "hr")
    assert found.n_athletes == 4
    assert found.left_out["athlete"].tolist() == ["C", "D"]
    assert found.left_out["row"].tolist() == [4, 5]
    assert found.left_out["reason"].tolist() == ["no value of fit", "no value of hr"]
    assert found.estimate == correlate(data.dropna(), "fit", "hr").estimate


@pytest.mark.parametrize("interval", ["fisher", "bonett-wright", "bca"])
def test_shuffling_rows_and_renaming_athletes_changes_nothing(interval):
    rng = np.random.default_rng(0)
    data = pd.DataFrame({"athlete": [f"A{i}" for i in range(12)], "x": rng.normal(size=12), "y": rng.normal(size=12)})
    shuffled = data.sample(frac=1, random_state=1).assign(athlete=[f"Z{i}" for i in range(12)])
    a, b = (correlate(d, "x", "y", interval=interval) for d in (data, shuffled))
    assert a.estimate == pytest.approx(b.estimate, abs=1e-12)
    assert a.p == pytest.approx(b.p)
    if interval != "bca":
        assert a.ci_low == pytest.approx(b.ci_low, abs=1e-12)


def test_what_does_not_vary_has_no_correlation_and_says_so():
    data = pd.DataFrame({"athlete": list("ABCDE"), "fit": [44.0, 47, 50, 52, 55], "exertion": 15.1})
    for method in ("pearson", "spearman"):
        for interval in ("fisher", "bonett-wright", "bca"):
            found = correlate(data, "fit", "exertion", method=method, interval=interval)
            assert math.isnan(found.estimate)
            assert math.isnan(found.ci_low)
            assert math.isnan(found.p)
            assert "same for every athlete" in " ".join(found.warnings)
    flat = pd.DataFrame({"athlete": list("AABB"), "x": [1.0, 2, 1, 2], "y": [3.0, 3, 4, 4]})
    within = correlate_within(flat, "x", "y")
    assert math.isnan(within.estimate)
    assert "does not vary within" in within.warnings[0]


def test_a_perfect_correlation_does_not_break():
    data = pd.DataFrame({"athlete": list("ABCDE"), "x": [1.0, 2, 3, 4, 5], "y": [2.0, 4, 6, 8, 10]})
    found = correlate(data, "x", "y")
    assert (found.estimate, found.ci_low, found.ci_high, found.p) == (1.0, 1.0, 1.0, 0.0)
    assert bayes_factor(1.0, 5) == math.inf
    assert correlate(data.head(3), "x", "y").df == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"x": "fitt"}, "Did you mean 'fit'"),
        ({"method": "kendall"}, "must be one of"),
        ({"interval": "normal"}, "must be one of"),
        ({"alternative": "lower"}, "must be one of"),
        ({"level": 95}, "between 0 and 1"),
    ],
)
def test_bad_calls_say_what_to_do(change, words):
    data = pd.DataFrame({"athlete": list("ABCD"), "fit": [1.0, 2, 3, 5], "hr": [4.0, 3, 2, 2]})
    arguments = {"x": "fit", "y": "hr"} | change
    with pytest.raises(KitError, match=words):
        correlate(data, arguments.pop("x"), arguments.pop("y"), **arguments)


def test_too_few_athletes_and_text_are_errors():
    data = pd.DataFrame({"athlete": list("AB"), "fit": [1.0, 2], "hr": [4.0, 3]})
    with pytest.raises(KitError, match="at least 3 athletes"):
        correlate(data, "fit", "hr")
    with pytest.raises(KitError, match="not numbers"):
        correlate(data.assign(hr=["160", "fast"]), "fit", "hr")
    with pytest.raises(KitError, match="two or more rows"):
        correlate_within(data, "fit", "hr")
    with pytest.raises(KitError, match="at least 4 athletes"):
        influence(data, "fit", "hr")
    with pytest.raises(KitError, match="DataFrame"):
        correlate([1, 2, 3], "fit", "hr")


def test_partial_correlation_takes_words_and_counts_their_levels():
    rng = np.random.default_rng(2)
    n = 24
    group = np.repeat(["a", "b", "c"], 8)
    shift = pd.Series(group).map({"a": 0, "b": 5, "c": 10}).to_numpy()
    data = pd.DataFrame(
        {"athlete": range(n), "x": shift + rng.normal(size=n), "y": -shift + rng.normal(size=n), "group": group}
    )
    assert correlate(data, "x", "y").estimate < -0.9
    found = partial_correlation(data, "x", "y", covariates=["group"])
    assert found.df == n - 2 - 2
    assert abs(found.estimate) < 0.5


def test_round_zero_is_before_sparring():
    data = pd.DataFrame({"athlete": np.repeat(list("ABC"), 3), "round_no": [0, 1, 2] * 3,
                         "x": [90.0, 1, 3, 90, 2, 3, 90, 4, 6], "y": [0.0, 1, 2, 0, 2, 4, 0, 3, 6]})  # fmt: skip
    found = correlate_within(data, "x", "y")
    assert found.n_observations == 6
    assert (found.left_out["reason"] == "round 0 is before sparring").sum() == 3


def test_ranks_that_agree_throughout_have_the_exact_p_and_no_interval():
    """Six athletes can be ordered in 720 ways, of which two agree throughout; a t value of infinity would give p = 0."""
    d = pd.DataFrame(
        {"athlete": list("ABCDEF"), "fit": [44, 47, 50, 52, 55, 58.0], "hr": [171, 170, 168, 167, 160, 155.0]}
    )
    found = correlate(d, "fit", "hr", method="spearman")
    assert (found.estimate, found.p) == (pytest.approx(-1), pytest.approx(2 / 720))
    assert np.isnan([found.ci_low, found.ci_high, found.statistic]).all()
    assert correlate(d, "fit", "hr", method="spearman", alternative="less").p == pytest.approx(1 / 720)
    assert correlate(d, "fit", "hr", method="spearman", alternative="greater").p == 1.0
    tied = d.assign(fit=[1, 1, 2, 3, 4, 5.0], hr=[1, 1, 2, 3, 4, 5.0])
    assert correlate(tied, "fit", "hr", method="spearman").p == pytest.approx(
        2 / 720
    )  # of 360 orders one agrees, and none runs the other way


@pytest.mark.parametrize("scale", [1e-9, 1e9])
def test_ranks_do_not_depend_on_the_unit(scale):
    rng = np.random.default_rng(3)
    d = pd.DataFrame(
        {"athlete": range(12), "fit": rng.normal(50, 5, 12).round(1), "hr": rng.normal(170, 6, 12).round(1)}
    )
    one, two = (correlate(t, "fit", "hr", method="spearman") for t in (d, d.assign(hr=scale * d["hr"])))
    assert one.estimate == pytest.approx(two.estimate, abs=1e-12)


@pytest.mark.parametrize(
    "change",
    [
        lambda d: pd.concat([d, d[["hr"]]], axis=1),
        lambda d: d.assign(hr=d["hr"] + 1j),
        lambda d: d.assign(hr=pd.Timestamp(0)),
    ],
)
def test_what_is_no_column_of_numbers_is_named(change):
    d = pd.DataFrame(
        {"athlete": list("ABCDEF"), "fit": [44, 47, 50, 52, 55, 58.0], "hr": [171, 170, 168, 167, 160, 155.0]}
    )
    with pytest.raises(KitError, match=r"more than one column|must hold numbers"):
        correlate(change(d), "fit", "hr")
