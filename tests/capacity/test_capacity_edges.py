"""Edges of the slope: intervals by hand, athletes without spread, covariates that cost too much, readings off the scale."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.capacity import fit_capacity
from analysis.capacity.fit import (
    AT_END,
    NO_SPREAD,
    fit_prepared,
    join_capacity,
    off_scale_guard,
    off_scale_slopes,
    place_off_scale,
    prepare,
    second_opinion,
    t_limits,
    widest,
    with_covariates,
)

FIT = [40.0, 44, 46, 50, 52, 54, 57, 61, 63, 65, 68, 70]
WOBBLE = [1.0, -2, 1.5, 0.5, -1, 2, -1.5, 0.5, -2, 1, 0.5, -0.5]
NAMES = [f"A{i:02d}" for i in range(12)]


def line_data(slope=-0.5, wobble=1.0):
    hr = [180 + slope * (f - 50) + wobble * w for f, w in zip(FIT, WOBBLE, strict=True)]
    return pd.DataFrame({"athlete": NAMES, "fit": FIT, "hr": hr})


def several(per_athlete=3, spread=3.0, seed=0):
    """Rounds of twelve athletes; `spread` is the SD of their own levels."""
    rng = np.random.default_rng(seed)
    level = rng.normal(0, spread, 12) if spread else np.zeros(12)
    noise = rng.normal(0, 2, (12, per_athlete))
    if not spread:
        noise -= noise.mean(axis=1, keepdims=True)  # no mean departs from the line: nothing between athletes
    values = 180 - 0.5 * (np.array(FIT)[:, None] - 50) + level[:, None] + noise
    return pd.DataFrame(
        {
            "athlete": np.repeat(NAMES, per_athlete),
            "round_no": np.tile(np.arange(1, per_athlete + 1), 12),
            "fit": np.repeat(FIT, per_athlete),
            "hr": values.ravel(),
        }
    )


def test_a_t_interval_by_hand():
    """Any table of t: 2.228 for 10 degrees of freedom and 95 %, 1.812 for 90 %."""
    assert t_limits(3.0, 2.0, 10, 0.95) == pytest.approx((3 - 2 * 2.2281, 3 + 2 * 2.2281), abs=1e-3)
    assert t_limits(3.0, 2.0, 10, 0.90) == pytest.approx((3 - 2 * 1.8125, 3 + 2 * 1.8125), abs=1e-3)
    assert np.isnan(t_limits(3.0, 2.0, 0, 0.95)).all() and np.isnan(t_limits(3.0, 2.0, float("nan"), 0.9)).all()


def test_ordinary_regression_as_the_library_gives_it():
    import statsmodels.api as sm

    data = line_data()
    fit = fit_capacity(data, "fit", "hr")
    own = sm.OLS(data["hr"], sm.add_constant(data[["fit"]])).fit()
    assert (fit.estimate, fit.standard_error, fit.p) == pytest.approx(
        (own.params["fit"], own.bse["fit"], own.pvalues["fit"])
    )
    assert (fit.ci_low, fit.ci_high) == pytest.approx(tuple(own.conf_int().loc["fit"]))
    assert (fit.ci90_low, fit.ci90_high) == pytest.approx(tuple(own.conf_int(alpha=0.1).loc["fit"]))
    assert fit.statistic == pytest.approx(own.tvalues["fit"]) and fit.df == own.df_resid == fit.residual_df
    assert fit.variances["variance"].tolist() == pytest.approx([own.mse_resid])
    assert fit.coefficients["term"].tolist() == ["Intercept", "fit"]
    assert (fit.level, fit.n_athletes, fit.n_observations) == (0.95, 12, 12)
    narrow = fit_capacity(data, "fit", "hr", level=0.8)
    assert (narrow.ci_low, narrow.ci_high) == pytest.approx(tuple(own.conf_int(alpha=0.2).loc["fit"]))
    assert (narrow.ci90_low, narrow.ci90_high) == pytest.approx(tuple(own.conf_int(alpha=0.4).loc["fit"]))


def test_what_has_no_uncertainty_is_refused():
    with pytest.raises(KitError, match="does not vary beyond the terms"):
        fit_capacity(line_data(wobble=0.0), "fit", "hr")
    with pytest.raises(KitError, match="does not vary beyond the terms"):
        fit_capacity(line_data().assign(hr=0.0), "fit", "hr")
    assert np.isfinite(fit_capacity(line_data(wobble=1e-6), "fit", "hr").p)
    small = line_data().assign(hr=line_data()["hr"] * 1e-14)
    assert fit_capacity(small, "fit", "hr").p == pytest.approx(fit_capacity(line_data(), "fit", "hr").p, rel=1e-6)
    doubled = line_data().assign(twice=2 * line_data()["fit"] + 1)
    with pytest.raises(KitError, match="cannot be separated"):
        fit_prepared(prepare(doubled, "fit", "hr", ["twice"]))


def test_rows_that_repeat_an_athlete_are_one_value():
    """Three identical rounds of each athlete are ordinary regression of twelve values."""
    data = line_data()
    three = pd.concat([data.assign(round_no=k) for k in (1, 2, 3)], ignore_index=True)
    once, thrice = fit_capacity(data, "fit", "hr"), fit_capacity(three, "fit", "hr")
    assert "ordinary" in thrice.method and thrice.df == 10
    assert thrice.p == pytest.approx(once.p) and thrice.standard_error == pytest.approx(once.standard_error)
    moved = three.assign(hr=three["hr"] + 4 * three["round_no"])
    assert fit_capacity(moved, "fit", "hr").p == pytest.approx(once.p)
    missed = moved.drop(index=[0, 13])  # a missed round moves no mean: the rounds are balanced first
    assert fit_capacity(missed, "fit", "hr").p == pytest.approx(once.p)


def test_where_athletes_do_not_differ_beyond_their_rounds_it_is_said():
    none = fit_capacity(several(spread=0.0), "fit", "hr")
    assert NO_SPREAD in none.warnings and none.variances["variance"].iloc[0] == 0
    some = fit_capacity(several(), "fit", "hr")
    assert NO_SPREAD not in some.warnings and some.variances["variance"].iloc[0] > 0
    assert some.variances["part"].tolist() == ["between athletes", "within an athlete"]


def test_terms_stand_under_the_names_of_their_columns():
    data = several().assign(sex=np.repeat(["F", "M"] * 6, 3), age=np.repeat(np.arange(12) % 5 + 20.0, 3))
    fit = fit_capacity(data, "fit", "hr", covariates=["sex", "age"])
    assert fit.adjusted_for == ("sex", "age") and fit.residual_df == 12 - 2 - 2
    terms = " ".join(fit.coefficients["term"])
    assert all(word in terms for word in ("fit", "sex", "age", "round_no")) and "v0" not in terms
    with pytest.raises(KitError, match=r"twice|fit") as said:
        fit_capacity(data.assign(twice=2 * data["fit"]), "fit", "hr", covariates=["twice"])
    assert "v1" not in str(said.value) and "v2" not in str(said.value)
    assert fit_capacity(data, "fit", "hr", covariates="age").adjusted_for == ("age",)
    assert fit_capacity(data, "fit", "hr", covariates=["age", "age"]).adjusted_for == ("age",)


def test_four_athletes_are_the_fewest():
    few = several().query("athlete < 'A04'")
    assert fit_capacity(few, "fit", "hr").n_athletes == 4
    with pytest.raises(KitError, match="there are 3"):
        fit_capacity(few[few["athlete"] != "A00"], "fit", "hr")
    with pytest.raises(KitError, match="there is 1"):
        fit_capacity(few[few["athlete"] == "A00"], "fit", "hr")


def test_the_same_rows_with_other_covariates():
    data = several().assign(
        sex=np.repeat(["F", "M"] * 6, 3),
        age=np.repeat(np.arange(12) % 5 + 20.0, 3),
        alike=1.0,
        late=np.repeat([*[np.nan], *[1.0, 2] * 5, 3], 3),
    )
    plain = prepare(data, "fit", "hr")
    assert with_covariates(plain, []) is plain
    assert with_covariates(plain, ["nowhere"]) is None and with_covariates(plain, ["alike"]) is None
    assert with_covariates(plain, ["age", "alike"]) is None
    aged = with_covariates(plain, ["age"])
    assert aged.covariates == ("age",) and aged.residual_df == 9 and aged.rows is plain.rows
    part = with_covariates(plain, ["late"])
    assert part.n_athletes == 11 and part.residual_df == 8
    assert with_covariates(plain, ["age", "late"], least_df=7).n_athletes == 11
    blank = with_covariates(
        prepare(data.assign(sex=data["sex"].mask(data["athlete"] == "A00", "")), "fit", "hr"), ["sex"]
    )
    assert blank.n_athletes == 11
    # 12 - 2 - 3 = 7 are fewer than 8, and enough where the plan asked for it
    asked = ["sex", "age", "more"]
    more = prepare(data.assign(more=np.repeat(np.arange(12) % 7.0, 3)), "fit", "hr")
    assert with_covariates(more, asked) is None
    assert with_covariates(more, asked, least_df=7).residual_df == 7


def test_the_athlete_and_the_table_that_are_wrong_are_named():
    data = several()
    with pytest.raises(KitError, match="athlete 'A05' has more than one value of 'fit'"):
        prepare(data.assign(fit=data["fit"].mask(data.index == 16, 1.0)), "fit", "hr")
    with pytest.raises(KitError, match="the table of capacity"):
        join_capacity(data, pd.DataFrame({"athlete": NAMES}))
    with pytest.raises(KitError, match="athlete 'A03' stands twice"):
        join_capacity(data, pd.DataFrame({"athlete": [*NAMES, "A03"], "capacity": 1.0}))


def test_the_unit_comes_from_the_column_or_the_table():
    data = several().assign(capacity=lambda d: d["fit"], unit="L/min")
    assert join_capacity(data, "capacity")[1:] == ("capacity", "L/min")
    assert join_capacity(data, "fit")[2] == ""
    assert join_capacity(data.drop(columns="unit"), "capacity")[2] == ""
    assert join_capacity(data.assign(unit=["L/min"] * 18 + ["mL/kg/min"] * 18), "capacity")[2] == ""
    table = pd.DataFrame({"athlete": NAMES, "capacity": FIT})
    rows, name, unit = join_capacity(data, table)
    assert (name, unit) == ("capacity", "") and rows["capacity"].tolist() == data["fit"].tolist()
    assert join_capacity(data, table.assign(unit="mL/kg/min"))[2] == "mL/kg/min"
    stranger = join_capacity(data, table.iloc[1:])[0]
    assert stranger.loc[stranger["athlete"] == "A00", "capacity"].isna().all() and len(stranger) == len(data)


def test_rounds_without_a_number_and_sessions_of_their_own():
    data = several()
    assert prepare(data.assign(round_no=2), "fit", "hr").cell == ""
    assert prepare(data, "fit", "hr").cell == "round_no" and not prepare(data, "fit", "hr").warnings
    assert prepare(data.drop(columns="round_no"), "fit", "hr").cell == ""
    bare = fit_capacity(data.drop(columns="round_no"), "fit", "hr")
    assert bare.coefficients["term"].tolist() == ["Intercept", "fit"] and "mixed" in bare.method
    assert prepare(data.assign(session="1"), "fit", "hr").cell == "round_no"
    numbered = data.assign(round_no=data["round_no"].astype(float))
    blank = numbered.assign(round_no=np.nan)
    assert len(prepare(blank, "fit", "hr").rows) == len(data)  # no numbers at all: rounds are not told apart
    some = numbered.assign(round_no=numbered["round_no"].mask(numbered.index == 5))
    assert len(prepare(some, "fit", "hr").rows) == len(data) - 1


def test_the_second_opinion_is_hc3_of_the_means():
    import statsmodels.api as sm

    data = several()
    row = second_opinion(prepare(data, "fit", "hr"), 0.95)[0]
    means = data.groupby("athlete")[["fit", "hr"]].mean()
    own = sm.OLS(means["hr"], sm.add_constant(means[["fit"]])).fit(cov_type="HC3")
    assert (row["estimate"], row["standard_error"]) == pytest.approx((own.params["fit"], own.bse["fit"]))
    shuffled = data.sample(frac=1, random_state=4)
    assert second_opinion(prepare(shuffled, "fit", "hr"), 0.95)[0]["p"] == pytest.approx(row["p"])
    sexed = data.assign(sex=np.repeat(["F", "M", "M"] * 4, 3), age=np.repeat(np.arange(12) % 5 + 20.0, 3))
    row = second_opinion(prepare(sexed, "fit", "hr", ["sex", "age"]), 0.95)[0]
    means = sexed.groupby("athlete").agg({"fit": "mean", "hr": "mean", "age": "mean", "sex": "first"})
    design = sm.add_constant(means[["fit", "age"]].assign(m=(means["sex"] == "M").astype(float)))
    own = sm.OLS(means["hr"], design).fit(cov_type="HC3")
    assert row["standard_error"] == pytest.approx(own.bse["fit"]) and row["adjusted_for"] == "sex, age"
    few = (
        several()
        .query("athlete < 'A04'")
        .assign(age=lambda d: d["athlete"].str[1:].astype(float) ** 2, mass=lambda d: d["age"] ** 2)
    )
    assert second_opinion(prepare(few, "fit", "hr", ["age", "mass"], least_df=0), 0.95) == []


def off_scale(marked):
    """Lactate of twelve athletes, three rounds; `marked` is row -> "high" or "low"."""
    data = several().rename(columns={"hr": "lactate_mmol_l"})
    data["lactate_mmol_l"] = (data["lactate_mmol_l"] - 160) / 3
    data["lactate_limit"], data["lactate_bound_mmol_l"] = "", np.nan
    for row, mark in marked.items():
        data.loc[row, ["lactate_mmol_l", "lactate_limit"]] = [np.nan, mark]
    return place_off_scale(data, "lactate_mmol_l", (0.5, 20.0))


def test_readings_off_the_scale_are_tried_wherever_they_may_lie():
    data, off = off_scale({0: "high", 1: "high", 35: "low"})
    assert data.loc[[0, 1, 35], "lactate_mmol_l"].tolist() == [20.0, 20.0, 0.5]  # the ends that were stated
    planned = prepare(data, "fit", "lactate_mmol_l")
    found = off_scale_slopes(planned, off, level=0.95).set_index("placement")
    assert len(found) == 4
    assert found.loc[AT_END, "estimate"] == pytest.approx(fit_prepared(planned).estimate)
    rows = planned.rows
    high, low = rows["lactate_limit"] == "high", rows["lactate_limit"] == "low"
    far = rows["lactate_mmol_l"].mask(high, off.high_range[1]).mask(low, off.low_range[1])
    own = fit_prepared(replace(planned, rows=rows.assign(lactate_mmol_l=far)))
    assert found.loc["as far beyond it as is plausible", "estimate"] == pytest.approx(own.estimate)
    # the less fit read higher: farther out for them alone the slope falls most; for the fitter, who read low, too
    fitter = found.loc["far beyond it for the fitter half alone", "estimate"]
    less = found.loc["far beyond it for the less fit half alone", "estimate"]
    assert less < found.loc[AT_END, "estimate"] and fitter < found.loc[AT_END, "estimate"]
    assert less + fitter == pytest.approx(own.estimate + found.loc[AT_END, "estimate"], rel=0.05)
    assert widest(found) == (
        found["ci_low"].min(), found["ci_high"].max(), found["ci90_low"].min(), found["ci90_high"].max())  # fmt: skip
    said = off_scale_guard(planned, off, found, step=5)
    assert "3 readings beyond the analyser's scale stand at its end" in said["text"] and "they lie" in said["text"]
    assert "up to" in said["text"] and " or down to" in said["text"]


def test_one_reading_off_the_scale_is_one():
    data, off = off_scale({0: "high"})
    planned = prepare(data, "fit", "lactate_mmol_l")
    said = off_scale_guard(planned, off, off_scale_slopes(planned, off, level=0.95), step=5)
    assert "1 reading beyond the analyser's scale stands at its end" in said["text"] and "it lies" in said["text"]
    assert "down to" not in said["text"]
    none, nothing = off_scale({})
    assert nothing is None and off_scale_slopes(prepare(none, "fit", "lactate_mmol_l"), None, level=0.95).empty
    untouched = several()
    assert place_off_scale(untouched, "hr", None) == (untouched, None)
    marked = several().assign(lactate_limit="high")  # a mark of lactate says nothing of heart rate
    assert place_off_scale(marked, "hr", None) == (marked, None)
    unmarked = several().rename(columns={"hr": "lactate_mmol_l"})
    assert place_off_scale(unmarked, "lactate_mmol_l", None) == (unmarked, None)
