"""The slope between athletes against R; what is adjusted for; what is refused."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.capacity import answer_capacity, fit_capacity
from analysis.capacity.adjustment import (
    CircularTestError,
    balanced_means,
    choose_covariates,
    hr_max_source,
    shared_test_warning,
)
from analysis.capacity.correlation import correlate
from analysis.capacity.fit import prepare
from analysis.capacity.results import judge

REFERENCES = Path(__file__).parents[1] / "references" / "capacity"


@pytest.mark.parametrize("case", sorted(p.name for p in REFERENCES.glob("03_lmm_vo2max__*")))
def test_slope_agrees_with_lmertest(case):
    names = json.loads((REFERENCES / case / "params.json").read_text())
    data = pd.read_csv(REFERENCES / case / "data.csv").rename(columns={"round": "round_no"})
    results = json.loads((REFERENCES / case / "results.json").read_text())
    expected = results["model_additive"]["covariate_slope"]
    fit = fit_capacity(data, names["covariate"], names["value"])
    assert fit.estimate == pytest.approx(expected["estimate"], rel=1e-6)
    assert fit.slope == fit.estimate
    assert fit.standard_error == pytest.approx(expected["se_kr"], rel=1e-6)
    assert fit.df == pytest.approx(expected["df_kr"], rel=1e-6)
    assert fit.p == pytest.approx(expected["p_kr"], rel=1e-6)
    assert fit.ci_low == pytest.approx(expected["ci95_low_kr"], rel=1e-5)
    assert fit.ci_high == pytest.approx(expected["ci95_high_kr"], rel=1e-5)
    assert fit.n_athletes == results["n_athletes"]
    assert len(fit.left_out) == len(data) - fit.n_observations


def test_balanced_rounds_give_the_p_of_the_correlation_of_means(club):
    rows, capacity, _ = club(seed=4)
    data = rows.merge(capacity[["athlete", "capacity"]], on="athlete")
    fit = fit_capacity(rows, capacity, "hr_mean_bpm")
    assert fit.p == pytest.approx(correlate(data, "capacity", "hr_mean_bpm").p, rel=1e-6)
    column = fit_capacity(data, "capacity", "hr_mean_bpm")
    assert column.estimate == pytest.approx(fit.estimate)
    assert fit.unit == "mL/kg/min"


def test_adding_bpm_changes_no_slope_and_scaling_scales_it(club):
    rows, capacity, _ = club(seed=5, missing=0.1)
    fit = fit_capacity(rows, capacity, "hr_mean_bpm")
    shifted = fit_capacity(rows.assign(hr_mean_bpm=rows["hr_mean_bpm"] + 5), capacity, "hr_mean_bpm")
    shuffled = fit_capacity(rows.sample(frac=1, random_state=3), capacity.sample(frac=1, random_state=4), "hr_mean_bpm")
    doubled = fit_capacity(rows.assign(hr_mean_bpm=rows["hr_mean_bpm"] * 2), capacity, "hr_mean_bpm")
    assert shifted.estimate == pytest.approx(fit.estimate, rel=1e-6)
    assert shuffled.ci_low == pytest.approx(fit.ci_low, rel=1e-6)
    assert doubled.ci_high == pytest.approx(2 * fit.ci_high, rel=1e-5)


def test_one_row_per_athlete_is_ordinary_regression():
    rng = np.random.default_rng(1)
    x = rng.normal(50, 5, 12)
    data = pd.DataFrame({"athlete": range(12), "fit": x, "hr": 170 - 0.5 * (x - 50) + rng.normal(0, 4, 12)})
    fit = fit_capacity(data, "fit", "hr")
    assert "ordinary" in fit.method
    assert fit.df == 10
    assert fit.p == pytest.approx(correlate(data, "fit", "hr").p)


def test_covariates_that_cost_too_much_are_refused_and_say_how_many_athletes(club):
    rows, capacity, athletes = club(n=8, age_spread=10)
    data = rows.merge(athletes, on="athlete")
    with pytest.raises(KitError, match="at least 8 are needed"):
        fit_capacity(data, capacity, "hr_mean_bpm", covariates=["age_years"])
    assert fit_capacity(data, capacity, "hr_mean_bpm").df == pytest.approx(6)
    alone = fit_capacity(data, capacity, "hr_mean_bpm", covariates=["sex"])
    assert alone.adjusted_for == ()
    assert "sex is the same" in alone.warnings[0]


def test_heart_rate_against_a_capacity_from_heart_rate_is_refused(club):
    rows, capacity, _ = club(test="hr_ratio", uses_heart_rate=True)
    for outcome in ("hr_mean_bpm", "percent_hr_max", "hr_recovery_60s_bpm"):
        with pytest.raises(CircularTestError, match="What to do: use a test that does not read heart rate"):
            fit_capacity(rows, capacity, outcome)
    assert np.isfinite(fit_capacity(rows, capacity, "lactate_mmol_l").estimate)
    data = rows.merge(capacity, on="athlete")
    with pytest.raises(CircularTestError):
        correlate(data, "capacity", "hr_mean_bpm")
    with pytest.raises(CircularTestError):
        correlate(data.assign(uses_heart_rate="yes"), "hr_mean_bpm", "capacity")


def test_athletes_with_a_circular_test_are_set_aside_where_others_remain(club):
    rows, capacity, _ = club(n=12)
    capacity = capacity.assign(uses_heart_rate=[True] * 3 + [False] * 9)
    fit = fit_capacity(rows, capacity, "hr_mean_bpm")
    assert fit.n_athletes == 9
    assert set(fit.left_out["athlete"]) == {"A01", "A02", "A03"}
    assert fit.left_out["reason"].str.contains("estimated from heart rate").all()
    assert len(fit.left_out) == 12


def test_measured_and_predicted_maximal_heart_rates_are_not_mixed(club):
    rows, capacity, athletes = club()
    assert hr_max_source(athletes) == "measured"
    athletes.loc[0, "hr_max_source"] = "predicted"
    assert hr_max_source(athletes) == "mixed"
    found = answer_capacity(rows, capacity, athletes, "hr_mean_bpm", smallest_effect=5, chart=False)
    alone = answer_capacity(
        rows[rows["athlete"] != "A01"], capacity, athletes, "hr_mean_bpm", smallest_effect=5, chart=False
    )
    assert found.adjusted_for == ("hr_max_bpm",) and found.n_athletes == 15
    assert found.contrast == pytest.approx(alone.contrast, rel=1e-9)  # nobody's predicted value entered
    assert set(found.left_out["reason"]) == {"no measured maximal heart rate, which is held equal"}
    athletes.loc[0, "hr_max_bpm"] = np.nan
    assert hr_max_source(athletes) == "incomplete"
    assert hr_max_source(athletes.drop(columns="hr_max_source").dropna()) == "predicted"


def test_the_adjustment_does_not_depend_on_who_came(club):
    _, _, athletes = club(n=24, age_spread=10, women=8)
    for n in (8, 9, 10, 11, 12, 16):
        came = pd.concat([athletes.head(n // 2), athletes.tail(n - n // 2)])
        assert choose_covariates("hr_mean_bpm", came).covariates == ("hr_max_bpm", "sex")
        assert choose_covariates("lactate_mmol_l", came).covariates == ("age_years", "sex")
        without = came.assign(hr_max_source=["predicted"] + ["measured"] * (n - 1))
        assert choose_covariates("hr_mean_bpm", without).covariates == ("hr_max_bpm", "sex")


def test_the_rule_of_adjustment(club):
    _, _, athletes = club(age_spread=10, women=6)
    assert choose_covariates("hr_mean_bpm", athletes).covariates == ("hr_max_bpm", "sex")
    predicted = athletes.assign(hr_max_source="predicted")
    found = choose_covariates("hr_mean_bpm", predicted)
    assert found.covariates == ("sex", "age_years")
    assert found.departs == "the slope could not be adjusted for measured maximal heart rate"
    assert choose_covariates("percent_hr_max", athletes).covariates == ("sex",)
    assert choose_covariates("lactate_mmol_l", athletes).covariates == ("age_years", "sex")
    few = choose_covariates("hr_mean_bpm", athletes[athletes["sex"] == "M"].head(5))
    assert few.covariates == () and few.given_up == ("hr_max_bpm",)
    assert "may hide or fake" in few.warnings[0] and few.departs
    assert choose_covariates("hr_mean_bpm", athletes, []).covariates == ()
    assert choose_covariates("hr_mean_bpm", athletes, ["mass_kg"]).reason == "adjusted for body mass, as planned"
    with pytest.raises(KitError, match="no such column"):
        choose_covariates("hr_mean_bpm", athletes, ["hair"])


def test_one_test_for_maximum_and_capacity_warns(club):
    _, capacity, athletes = club()
    text, n = shared_test_warning("percent_hr_max", capacity, athletes)
    assert n == 16
    assert "take the maximal heart rate from another effort" in text
    text, n = shared_test_warning("percent_hr_max", capacity.assign(hr_max_bpm=athletes["hr_max_bpm"]), athletes)
    assert "come from one test in 16 athletes" in text
    assert shared_test_warning("hr_mean_bpm", capacity, athletes) == ("", 0)


def test_means_are_balanced_for_missed_rounds():
    rows = pd.DataFrame(
        {"athlete": list("AAABBBCC"), "round_no": [1, 2, 3, 1, 2, 3, 2, 3], "y": [150.0, 160, 165, 140, 150, 155, 158, 163],
         "fit": [50.0] * 3 + [55.0] * 3 + [48.0] * 2}
    )  # fmt: skip
    table = balanced_means(rows, "y", cell="round_no").set_index("athlete")
    assert table.loc["A", "mean"] == pytest.approx(table.loc["A", "plain_mean"])
    assert table.loc["C", "plain_mean"] == pytest.approx(160.5)
    assert table.loc["C", "mean"] == pytest.approx(table.loc["A", "mean"] - 2)


def test_several_sessions_get_a_level_for_every_round_of_each(club):
    rows, capacity, _ = club()
    second = rows.assign(session="2", hr_mean_bpm=rows["hr_mean_bpm"] + 7)
    both = pd.concat([rows, second], ignore_index=True)
    prepared = prepare(both, capacity, "hr_mean_bpm")
    assert prepared.cell == "session_round"
    assert "2 sessions" in prepared.warnings[0]
    assert fit_capacity(both, capacity, "hr_mean_bpm").estimate == pytest.approx(
        fit_capacity(rows, capacity, "hr_mean_bpm").estimate, rel=1e-5
    )


def test_bad_tables_say_what_is_wrong(club):
    rows, capacity, _ = club(n=6)
    with pytest.raises(KitError, match="stands twice"):
        fit_capacity(rows, pd.concat([capacity, capacity]), "hr_mean_bpm")
    with pytest.raises(KitError, match="2 units"):
        fit_capacity(rows, capacity.assign(unit=["m"] * 3 + ["L/min"] * 3), "hr_mean_bpm")
    with pytest.raises(KitError, match="Did you mean 'hr_mean_bpm'"):
        fit_capacity(rows, capacity, "hr_mean_bmp")
    with pytest.raises(KitError, match="at least 4 athletes"):
        fit_capacity(rows[rows["athlete"] < "A03"], capacity, "hr_mean_bpm")
    with pytest.raises(KitError, match="same for every athlete"):
        fit_capacity(rows, capacity.assign(capacity=50.0), "hr_mean_bpm")
    with pytest.raises(KitError, match="more than one value of 'fit'"):
        fit_capacity(rows.assign(fit=np.arange(len(rows), dtype=float)), "fit", "hr_mean_bpm")


@pytest.mark.parametrize(
    ("limits", "direction", "expected"),
    [
        ((-3, 3, -2, 2), "lower", "negligible"),
        ((-4, -1, -3.5, -1.5), "lower", "negligible"),
        ((-9, -1, -8, -2), "lower", "supported"),
        ((1, 9, 2, 8), "lower", "opposite"),
        ((1, 9, 2, 8), "higher", "supported"),
        ((-9, -1, -8, -2), "differs", "supported"),
        ((-9, 1, -8, 0.5), "lower", "too imprecise"),
        ((float("nan"),) * 4, "lower", "too imprecise"),
        ((-9, -1, -8, float("nan")), "lower", "too imprecise"),
        # on its very edge a limit claims nothing
        ((-6, 4, -5, 3), "lower", "too imprecise"),
        ((-4, 6, -3, 5), "lower", "too imprecise"),
        ((-9, 0, -8, -1), "lower", "too imprecise"),
        ((0, 9, 1, 8), "differs", "too imprecise"),
        # one side inside is not both
        ((-9, 3, -8, 2), "lower", "too imprecise"),
        ((-9, -1, -8, -2), "higher", "opposite"),
    ],
)
def test_the_rule_of_the_verdict(limits, direction, expected):
    assert judge(*limits, smallest_effect=5.0, direction=direction) == expected


def test_the_verdict_needs_a_smallest_effect_above_zero():
    assert judge(-0.4, 0.4, -0.3, 0.3, smallest_effect=0.5) == "negligible"
    for bad in (0, -1, float("nan"), float("inf")):
        with pytest.raises(KitError, match="smallest_effect"):
            judge(-1, 1, -1, 1, smallest_effect=bad)


def test_more_athletes_than_a_byte_counts():
    """Codes of pandas are bytes up to 127 categories: athletes and rounds together must not run over."""
    rng = np.random.default_rng(0)
    for n in (125, 130):
        d = pd.DataFrame(
            {"athlete": np.repeat([f"A{i:03d}" for i in range(n)], 4), "round_no": np.tile([1, 2, 3, 4], n)}
        )
        d["fit"] = np.repeat(rng.normal(50, 5, n), 4)
        d["hr"] = 200 - 0.6 * d["fit"] + np.repeat(rng.normal(0, 5, n), 4) + 2 * d["round_no"] + rng.normal(0, 2, 4 * n)
        means = d.groupby("athlete")[["fit", "hr"]].mean()
        assert fit_capacity(d, "fit", "hr").estimate == pytest.approx(np.polyfit(means["fit"], means["hr"], 1)[0])


def test_a_row_without_a_round_number_is_left_out_and_told():
    rng = np.random.default_rng(1)
    d = pd.DataFrame({"athlete": np.repeat(list("ABCDEFGH"), 3), "round_no": np.tile([1.0, 2, 3], 8)})
    d["fit"], d["hr"] = np.repeat(rng.normal(50, 5, 8), 3), rng.normal(170, 5, 24)
    d.loc[4, "round_no"] = np.nan
    found = fit_capacity(d, "fit", "hr")
    assert found.n_observations == 23
    assert "no round number" in set(found.left_out["reason"])
