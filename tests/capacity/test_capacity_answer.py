"""The whole answer: recovery of a known truth, honest nulls, confounding by age and sex, small and broken clubs."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.capacity import answer_capacity
from analysis.capacity.beside import FIT_COLUMNS, fit_many, join_athletes, specifications
from analysis.capacity.correlation import correlate
from analysis.capacity.fit import HC3, fit_prepared, prepare, with_covariates
from analysis.capacity.related import drift_and_recovery
from analysis.capacity.results import Refused
from analysis.models import robust_slope

CYCLING = Path(__file__).parents[1] / "references" / "capacity" / "cycling_training.csv"


def answer(made, outcome="hr_mean_bpm", *, smallest_effect=5.0, chart=False, **more):
    rows, capacity, athletes = made
    return answer_capacity(rows, capacity, athletes, outcome, smallest_effect=smallest_effect, chart=chart, **more)


def fit_clubs(club, covariates, seeds, **truth):
    """Fit many clubs at once: the numbers of `fit_capacity` (see the last test)."""
    parts = []
    for seed in seeds:
        rows, capacity, athletes = club(seed=seed, **truth)
        wide = rows[["athlete", "round_no", "hr_mean_bpm"]]
        parts.append(prepare(join_athletes(wide, athletes), capacity, "hr_mean_bpm", covariates))
    return fit_many(parts)


def mean_slopes(club, covariates, seeds=range(40), **truth):
    """Mean slope over many clubs, its error, and how often the 95 % interval holds -0.60."""
    fits = fit_clubs(club, covariates, seeds, n=18, rounds=2, **truth)
    slopes = fits["estimate"]
    covered = ((fits["ci_low"] <= -0.6) & (fits["ci_high"] >= -0.6)).mean()
    return slopes.mean(), slopes.std() / np.sqrt(len(slopes)), covered


def test_the_true_slope_is_recovered_and_covered(club):
    mean, error, covered = mean_slopes(club, ["hr_max_bpm"])
    assert abs(mean + 0.6) < 3 * error
    assert covered >= 0.84  # 40 clubs: three Monte-Carlo errors below .95


def test_age_hides_the_slope_in_bpm_and_adjusting_brings_it_back(club):
    """Theory for ages 19 to 41: -0.60 + 0.85 · 0.7 · 0.35 · var(age) / var(capacity) = -0.32 unadjusted."""
    variance = 11**2 / 3
    expected = -0.6 + 0.85 * 0.7 * 0.35 * variance / (25 + 0.35**2 * variance)
    assert expected == pytest.approx(-0.32, abs=0.01)
    bare, error, _ = mean_slopes(club, [], age_spread=11)
    assert abs(bare - expected) < 3 * error
    for covariates in (["hr_max_bpm"], ["age_years"]):
        mean, error, _ = mean_slopes(club, covariates, age_spread=11)
        assert abs(mean + 0.6) < 3 * error


def test_retest_error_shrinks_the_slope_and_prediction_error_does_not(club):
    mean, error, _ = mean_slopes(club, ["hr_max_bpm"], retest_sd=3.5)
    assert abs(mean + 0.6 * 25 / (25 + 3.5**2)) < 3 * error
    assert mean + 0.6 > 3 * error
    mean, error, _ = mean_slopes(club, ["hr_max_bpm"], prediction_see=4.4)
    assert abs(mean + 0.6) < 3 * error


def test_another_library_gives_a_second_opinion_beside_the_planned_slope(club):
    found = answer(club(seed=4, n=14))
    row = found.slopes.set_index("analysis").loc[HC3]
    assert row["adjusted_for"] == ", ".join(found.adjusted_for) != "" and row["n_athletes"] == 14
    design = [found.points["capacity"], *(found.points[c] for c in found.adjusted_for)]
    expected = robust_slope(found.points["outcome"], np.column_stack(design))
    assert [row[c] for c in ("estimate", "ci_low", "ci_high", "p")] == pytest.approx(
        [expected.estimate, expected.ci_low, expected.ci_high, expected.p]
    )
    assert row["estimate"] == pytest.approx(found.planned.estimate, rel=1e-6)  # rounds complete: the same slope
    assert row["df"] == pytest.approx(found.planned.df)


def test_sex_fakes_a_relation_in_a_mixed_club_that_is_in_neither_sex(club):
    mixed = {"n": 20, "women": 10, "sex_gap": 9, "slope": 0.0, "rounds": 2}
    faked, adjusted = (fit_clubs(club, held, range(60), **mixed)["estimate"] for held in ([], ["sex"]))
    assert np.mean(faked) < -3 * np.std(faked) / np.sqrt(len(faked))
    assert abs(np.mean(adjusted)) < 3 * np.std(adjusted) / np.sqrt(len(adjusted))
    found = answer(club(seed=1, n=20, women=10, sex_gap=9, slope=0.0))
    assert "sex" in found.adjusted_for
    levels = found.slopes.loc[found.slopes["analysis"] == "within sex", "level"].tolist()
    assert levels == ["F", "M"]
    assert found.planned.estimate != found.unadjusted.estimate


def test_the_fair_null_of_the_cyclists_is_too_imprecise_never_no_relation():
    """Open data: VO2max per kg against heart rate at 225 W before training, r = 0.197, n = 20, p = .405."""
    data = pd.read_csv(CYCLING).rename(columns={"subject": "athlete"})
    data = data[data["timepoint"] == "pre"].copy()
    for column in ("VO2.max", "weight.T1", "HF.225"):
        data[column] = pd.to_numeric(data[column], errors="coerce")
    data["fit"] = data["VO2.max"] / data["weight.T1"]
    found = correlate(data, "fit", "HF.225")
    assert found.estimate == pytest.approx(0.197, abs=0.0005)
    assert found.n_athletes == 20
    assert found.p == pytest.approx(0.405, abs=0.0005)
    capacity = pd.DataFrame({"athlete": data["athlete"].astype(str), "capacity": data["fit"], "unit": "mL/kg/min"})
    rows = pd.DataFrame({"athlete": data["athlete"].astype(str), "round_no": 1, "hr_mean_bpm": data["HF.225"]})
    athletes = pd.DataFrame({"athlete": data["athlete"].astype(str), "age_years": data["age"]})
    result = answer_capacity(rows, capacity, athletes, "hr_mean_bpm", smallest_effect=5.0)
    assert result.verdict == "too imprecise"
    assert result.correlations["p"].iloc[0] == pytest.approx(0.405, abs=0.0005)
    assert result.correlations_agree


def test_every_row_is_used_or_left_out(club):
    rows, capacity, athletes = club(missing=0.1, n=16)
    rows.loc[rows.index[:3], "hr_mean_bpm"] = np.nan
    athletes.loc[4, "hr_limited"] = "yes"
    capacity.loc[6, "capacity"] = np.nan
    capacity = capacity.iloc[:-1]
    result = answer((rows, capacity, athletes))
    assert result.n_observations + len(result.left_out) == len(rows)
    assert result.n_athletes == 13
    guard = result.guards.set_index("guard").loc["limited heart rate"]
    assert (guard["status"], guard["n_athletes"]) == ("applied", 1)
    assert result.left_out["reason"].str.contains("hr_limited").sum() == (rows["athlete"] == "A05").sum()
    assert "A05" in answer((rows, capacity, athletes), "lactate_mmol_l", smallest_effect=1.0).points["athlete"].tolist()


def test_a_circular_study_is_refused_with_why_and_what_to_do(club):
    made = club(test="step_queens_college", uses_heart_rate=True)
    refused = answer(made)
    assert isinstance(refused, Refused)
    assert not refused
    assert "estimates capacity from heart rate" in str(refused)
    assert "What to do: use a test that does not read heart rate" in str(refused)
    assert refused.guards["status"].tolist()[-1] == "refused"
    assert answer(made, "lactate_mmol_l", smallest_effect=1.0).verdict


def test_three_athletes_are_refused_and_a_capacity_without_spread_too(club):
    rows, capacity, athletes = club(n=3)
    assert "Only 3 athletes" in str(answer((rows, capacity, athletes)))
    rows, capacity, athletes = club(n=8)
    assert "same for every athlete" in str(answer((rows, capacity.assign(capacity=50.0), athletes)))
    nobody = "No athlete has both a fitness test and mean heart rate"
    assert nobody in str(answer((rows.assign(hr_mean_bpm=np.nan), capacity, athletes)))


def test_a_study_of_eight_keeps_its_question(club):
    result = answer(club(n=8, age_spread=10, women=4), chart=True)
    assert result.n_athletes == 8 and not result.departs
    assert result.adjusted_for == ("hr_max_bpm", "sex")
    assert result.planned.df == pytest.approx(4)
    assert np.isfinite(result.specifications.table["estimate"]).all()
    assert result.specifications.table["planned"].any()
    small = answer(club(n=4), chart=True)
    assert small.n_athletes == 4 and small.departs
    assert small.verdict in ("too imprecise", "supported", "opposite", "negligible")


def test_eight_athletes_who_run_lower_in_percent_of_maximum_are_not_read_the_other_way(club):
    """Fitter athletes with a higher maximum: without it held equal, bpm would point the other way."""
    rng = np.random.default_rng(3)
    rows, capacity, athletes = club(n=8, seed=3)
    fit = np.linspace(44, 58, 8)
    maximum = 178 + 1.6 * (fit - 44) + rng.normal(0, 1, 8)
    share = 0.92 - 0.004 * (fit - 44) + rng.normal(0, 0.003, 8)
    own = dict(zip(capacity["athlete"], maximum * share, strict=True))
    whose = dict(zip(capacity["athlete"], maximum, strict=True))
    rows["hr_mean_bpm"] = rows["athlete"].map(own) + rng.normal(0, 1.0, len(rows))
    rows["percent_hr_max"] = 100 * rows["hr_mean_bpm"] / rows["athlete"].map(whose)
    capacity, athletes = capacity.assign(capacity=fit), athletes.assign(hr_max_bpm=maximum)
    result = answer((rows, capacity, athletes), smallest_effect=1.0, chart=True)
    assert result.unadjusted.ci_low > 0  # what was reported before
    assert result.verdict in ("supported", "too imprecise") and result.contrast < 0
    beside = result.beside.set_index("outcome")
    assert list(beside.index) == ["hr_mean_bpm", "percent_hr_max"]
    assert beside.loc["percent_hr_max", "verdict"] == "supported"
    assert beside.loc["hr_mean_bpm", "planned"] and beside.loc["hr_mean_bpm", "contrast"] == result.contrast
    table = result.specifications.table
    assert (table["covariates"] == "measured maximal heart rate").any()


def test_one_maximum_that_was_not_measured_costs_one_athlete_and_not_the_question(club):
    rows, capacity, athletes = club(n=14, age_spread=8, seed=5)
    whole = answer((rows, capacity, athletes))
    athletes.loc[3, "hr_max_source"] = "predicted"
    rows.loc[rows["athlete"] == "A04", "percent_hr_max"] = np.nan
    result = answer((rows, capacity, athletes), chart=True)
    assert result.adjusted_for == whole.adjusted_for == ("hr_max_bpm",)
    assert result.n_athletes == 13 and result.unadjusted.n_athletes == 14
    width = result.contrast_ci_high - result.contrast_ci_low
    assert width < 1.4 * (whole.contrast_ci_high - whole.contrast_ci_low)
    assert (result.specifications.table["covariates"] == "measured maximal heart rate").any()


def test_an_exact_null_with_precision_is_negligible_and_a_reversed_truth_is_opposite(club):
    precise = {"n": 24, "between_sd": 1.5, "within_sd": 1.0, "rounds": 2}
    assert answer(club(slope=0.0, **precise)).verdict == "negligible"
    assert answer(club(slope=-1.5, **precise)).verdict == "supported"
    assert answer(club(slope=1.5, **precise)).verdict == "opposite"
    assert answer(club(slope=1.5, **precise), direction="higher").verdict == "supported"


def test_correlations_stand_side_by_side_and_say_whether_they_agree(club):
    result = answer(club(seed=3, n=24, slope=-1.5))
    table = result.correlations.set_index("analysis")
    assert list(table.index) == [
        "Pearson", "Pearson, bootstrap", "Pearson, permutation", "Spearman", "Percentage bend", "Partial", "Bayes factor",
        "Bayes factor, expected direction",
    ]  # fmt: skip
    assert result.correlations_agree
    assert table.loc["Pearson", "ci_high"] < 0
    assert table.loc["Pearson, permutation", "p"] < 0.01
    assert "uniform over -1 to 1" in table.loc["Bayes factor", "prior"]
    assert "uniform over -1 to 0" in table.loc["Bayes factor, expected direction", "prior"]
    assert table.loc["Bayes factor, expected direction", "bayes_factor"] > table.loc["Bayes factor", "bayes_factor"] > 1


def test_one_athlete_who_carries_the_result_is_shown(club):
    rows, capacity, athletes = club(seed=8, n=12, slope=0.0, within_sd=1.0, between_sd=2.0)
    capacity.loc[0, "capacity"] = 85.0
    rows.loc[rows["athlete"] == "A01", "hr_mean_bpm"] -= 60
    result = answer((rows, capacity, athletes), chart=True)
    table = result.influence.set_index("athlete")
    assert table["cooks_distance"].idxmax() == "A01"
    assert abs(table.loc["A01", "planned_effect"]) < abs(result.effect) / 2
    assert result.n_athletes == 12
    assert table["verdict"].isin(["negligible", "supported", "opposite", "too imprecise"]).all()


def test_fitter_athletes_drift_less_and_recover_more(club):
    rows, capacity, _ = club(seed=2, n=40)
    rows["hr_mean_bpm"] += (
        rows["round_no"] * rows["athlete"].map(capacity.set_index("athlete")["capacity"]).sub(50) * -0.2
    )
    table = drift_and_recovery(rows, capacity, "hr_mean_bpm").set_index("measure")
    first = table.loc["rise from round to round"]
    assert first["ci_low"] < -0.2 < first["ci_high"]
    assert first["df"] == 38
    assert table.loc["heart rate recovered in the first minute of rest", "ci_low"] < 0.3
    assert table.loc["heart rate recovered in the first minute of rest", "estimate"] > 0
    assert table.loc["rounds differ in the slope on capacity", "role"] == "check"
    assert "too liberal" in table.loc["rounds differ in the slope on capacity", "method"]


def test_the_own_slope_of_an_athlete_who_missed_a_round_is_not_bent():
    capacity = pd.DataFrame({"athlete": list("ABCDE"), "capacity": [44.0, 47, 50, 53, 56], "unit": "mL/kg/min"})
    rise = np.array([0.0, 8, 10, 10])  # steep, then flat
    rows = pd.DataFrame(
        {"athlete": np.repeat(list("ABCDE"), 4), "round_no": np.tile([1, 2, 3, 4], 5),
         "hr_mean_bpm": (np.array([160.0, 162, 158, 155, 157])[:, None] + rise).ravel()}
    )  # fmt: skip
    from analysis.capacity.related import own_slopes

    missing = rows[~((rows["athlete"] == "E") & (rows["round_no"] == 1))]
    slopes = own_slopes(prepare(missing, capacity, "hr_mean_bpm"))["slope"]
    assert np.ptp(slopes) == pytest.approx(0, abs=1e-8)
    assert slopes.iloc[0] == pytest.approx(np.polyfit([1, 2, 3, 4], rise, 1)[0])


def test_specifications_hold_the_planned_one_and_span_the_choices(club):
    rows, capacity, athletes = club(n=14, age_spread=8, women=5, missing=0.05)
    result = answer((rows, capacity, athletes), chart=True)
    chart = result.specifications
    planned = chart.table[chart.table["planned"]]
    assert len(planned) == 1
    assert planned["effect"].iloc[0] == pytest.approx(result.contrast)
    assert planned["multiple"].iloc[0] == pytest.approx(result.contrast / 5.0)
    assert result.contrast == pytest.approx(2 * result.effect)
    assert set(chart.table["outcome"]) == {
        "hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "percent_hr_max", "percent_hr_reserve"
    }  # fmt: skip
    assert set(chart.table["scaling"]) == {"mL/kg/min", "L/min", "mL/kg^0.67/min"}
    assert {"all", "at least 80 % valid"} == set(chart.table["rows"])
    assert (chart.table["left_out_athlete"] != "").sum() == 14
    assert chart.table["multiple"].is_monotonic_increasing
    assert chart.n_specifications == (chart.table["left_out_athlete"] == "").sum()
    assert 0 <= chart.share_excluding_zero <= chart.share_same_sign <= 1
    late = chart.table[(chart.table["outcome"] == "hr_late_bpm") & (chart.table["scaling"] == "mL/kg/min")]
    same = chart.table[(chart.table["outcome"] == "hr_mean_bpm") & (chart.table["scaling"] == "mL/kg/min")]
    choice = ["covariates", "rows", "athletes"]
    both = late.merge(same[same["left_out_athlete"] == ""], on=choice, suffixes=("", "_mean"))
    assert both["effect"].to_numpy() == pytest.approx(both["effect_mean"].to_numpy(), rel=1e-4)


def test_rows_made_in_another_way_join_the_chart(club):
    rows, capacity, athletes = club(n=10)
    kept = rows.assign(hr_mean_bpm=rows["hr_mean_bpm"] + np.linspace(0, 5, len(rows)))
    chart = specifications(
        rows, capacity, athletes, "hr_mean_bpm", smallest_effect=5.0, contrast_step=10.0,
        alternative_rows={"flagged samples kept": kept},
    )  # fmt: skip
    other = chart.table[chart.table["rows"] == "flagged samples kept"]
    assert set(other["outcome"]) == {"hr_mean_bpm"}


def test_predicted_maximal_heart_rates_never_enter(club):
    result = answer(club(n=16, age_spread=8, hr_max_measured=False), chart=True)
    assert result.adjusted_for == ("age_years",)
    assert set(result.specifications.table["outcome"]) == {"hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm"}
    assert not result.specifications.table["covariates"].str.contains("maximal").any()
    assert result.guards.set_index("guard").loc["maximal heart rate", "status"] == "warned"
    assert result.departs == "the slope could not be adjusted for measured maximal heart rate"


def test_lactate_has_its_delay_and_activity_beside_it(club):
    result = answer(club(n=16, age_spread=8), "lactate_mmol_l", smallest_effect=1.0, chart=True)
    assert result.adjusted_for == ("age_years",)
    assert result.delay["analysis"].tolist() == ["capacity with sampling delay", "slope at equal sampling delay"]
    assert result.activity["analysis"].tolist() == ["capacity with activity rating", "slope at equal activity rating"]
    assert result.specifications.table["covariates"].str.contains("sampling delay").any()
    assert "heart rate in grappling" not in " ".join(result.cautions)


def test_errors_name_the_kind_and_the_part_of_the_test(club):
    retest = answer(club(seed=1, n=30, age_spread=15, hr_max_measured=False))
    row = retest.errors.set_index("quantity").loc["effect"]
    assert row["error_kind"] == "retest"
    assert row["attenuation"] == pytest.approx(row["reliability"])
    assert row["estimate"] == pytest.approx(retest.effect / row["reliability"])
    assert row["capacity_sd"] < retest.errors.set_index("quantity").loc["correlation", "capacity_sd"]
    predicted = answer(club(seed=1, n=20, prediction_see=4.4))
    row = predicted.errors.set_index("quantity").loc["effect"]
    assert row["attenuation"] == 1
    assert row["estimate"] == pytest.approx(predicted.effect)
    rows, capacity, athletes = club(n=12)
    none = answer((rows, capacity.assign(standard_error=np.nan), athletes))
    assert none.correction is None
    assert any("no published error" in w for w in none.warnings)
    mixed = answer((rows, capacity.assign(error_kind=["retest"] * 3 + ["prediction"] * 9), athletes))
    assert any("the correction is for the 9 with prediction error" in w for w in mixed.warnings)
    assert mixed.correction.kind == "prediction"
    assert mixed.errors["n_athletes"].tolist()[:2] == [9, 9]
    few = answer((rows, capacity.assign(error_kind=(["retest"] * 4 + ["prediction"] * 4 + [""] * 4)), athletes))
    assert few.correction is None


def test_other_units_take_the_step_that_five_ml_are_at_80_kg(club):
    rows, capacity, athletes = club(n=12)
    litres = capacity.assign(capacity=capacity["vo2_l_min"], unit="L/min")
    result = answer((rows, litres, athletes), chart=True)
    assert result.capacity_step == pytest.approx(0.4)
    assert list(result.specifications.table["scaling"].unique())
    with pytest.raises(KitError, match="capacity_step"):
        answer((rows, capacity.assign(unit="m"), athletes))
    assert answer((rows, capacity.assign(unit="m"), athletes), capacity_step=200.0).capacity_step == 200


def test_shuffled_rows_and_renamed_athletes_change_nothing(club):
    rows, capacity, athletes = club(n=14, missing=0.1, age_spread=5)
    first = answer((rows, capacity, athletes))
    names = {a: f"Z{i:02d}" for i, a in enumerate(reversed(sorted(athletes["athlete"])))}
    moved = [
        t.assign(athlete=t["athlete"].map(names)).sample(frac=1, random_state=2) for t in (rows, capacity, athletes)
    ]
    second = answer(moved)
    assert second.effect == pytest.approx(first.effect, rel=1e-6)
    assert second.effect_ci_low == pytest.approx(first.effect_ci_low, rel=1e-6)
    assert second.verdict == first.verdict
    a, b = (r.correlations.set_index("analysis").loc["Spearman", "estimate"] for r in (first, second))
    assert a == pytest.approx(b)


def test_bad_arguments(club):
    rows, capacity, athletes = club(n=6)
    for change, words in (
        ({"direction": "down"}, "must be one of"),
        ({"alpha": 5}, "alpha"),
        ({"smallest_effect": 0}, "above 0"),
    ):
        with pytest.raises(KitError, match=words):
            answer_capacity(rows, capacity, athletes, "hr_mean_bpm", **{"smallest_effect": 5.0} | change)
    with pytest.raises(KitError, match="no such column"):
        answer((rows, capacity, athletes), covariates=["shoe_size"])


def test_exertion_without_spread_is_answered_without_a_crash(club):
    rows, capacity, athletes = club(n=10)
    result = answer((rows.assign(exertion=15.0), capacity, athletes), "exertion", smallest_effect=1.0, chart=True)
    assert isinstance(result, Refused)
    assert "does not vary" in str(result)


def test_many_fits_at_once_are_the_fits_one_by_one(club):
    rows, capacity, athletes = club(n=14, women=5, age_spread=8, missing=0.1)
    bare = prepare(join_athletes(rows, athletes), capacity, "hr_mean_bpm")
    parts = [bare, with_covariates(bare, ["sex"]), with_covariates(bare, ["age_years", "sex"])]
    parts += [replace(bare, rows=bare.rows[bare.rows["athlete"] != "A03"])]
    parts += [replace(bare, rows=bare.rows.groupby("athlete").head(1).assign(round_no=1))]
    together = fit_many(parts)
    for i, part in enumerate(parts):
        alone = fit_prepared(part)
        for column in FIT_COLUMNS[:-1]:
            assert together[column][i] == pytest.approx(getattr(alone, column), rel=1e-6)


def test_readings_beyond_the_analysers_scale_are_bounds(club):
    """They stay in at the scale's end; the interval and the verdict hold wherever beyond it they lie."""
    rows, capacity, athletes = club(n=12)
    rows["lactate_limit"] = ""
    high = rows["lactate_mmol_l"].nlargest(4).index
    top = float(rows.loc[high, "lactate_mmol_l"].min())
    known = rows.copy()
    rows.loc[high, "lactate_limit"] = "high"
    rows.loc[high, "lactate_mmol_l"] = np.nan
    given = {"smallest_effect": 1.0, "limit": (0.5, top)}
    result = answer((rows, capacity, athletes), "lactate_mmol_l", **given)
    assert result.n_observations == len(rows) and result.left_out.empty
    assert "4 readings beyond" in result.guards.set_index("guard").loc["analyser's scale", "text"]
    slopes = result.off_scale
    assert slopes["estimate"].iloc[0] == result.planned.estimate
    assert slopes["estimate"].max() > slopes["estimate"].min()
    apart = result.contrast_step
    assert result.contrast_ci_low == pytest.approx(apart * slopes["ci_low"].min())
    assert result.contrast_ci_high == pytest.approx(apart * slopes["ci_high"].max())
    for places in (known["lactate_mmol_l"], rows["lactate_mmol_l"].fillna(20.0)):
        table = known.assign(lactate_mmol_l=places, lactate_limit="")
        truth = answer((table, capacity, athletes), "lactate_mmol_l", smallest_effect=1.0)
        assert slopes["estimate"].min() <= truth.planned.estimate <= slopes["estimate"].max()
        assert truth.off_scale.empty


def test_a_relation_that_rests_on_where_a_reading_lies_is_not_claimed():
    """Falling cleanly with capacity; the fittest athlete's reading is off the scale and may be the highest of all."""
    fit = np.arange(44.0, 60.0, 2)
    rows = pd.DataFrame({"athlete": np.repeat(list("ABCDEFGH"), 2), "round_no": [1, 2] * 8, "lactate_limit": ""})
    rows["lactate_mmol_l"] = (
        np.repeat(14 - 0.3 * (fit - 44), 2) + np.tile([-0.5, 0.5], 8) + np.tile([0.2, 0, 0, 0.1], 4)
    )
    capacity = pd.DataFrame({"athlete": list("ABCDEFGH"), "capacity": fit, "unit": "mL/kg/min"})
    sure = answer_capacity(rows, capacity, capacity[["athlete"]], "lactate_mmol_l", smallest_effect=1.0)
    assert sure.verdict == "supported"
    rows.loc[rows.index[-1], ["lactate_limit", "lactate_mmol_l"]] = ["high", np.nan]
    unsure = answer_capacity(
        rows, capacity, capacity[["athlete"]], "lactate_mmol_l", smallest_effect=1.0, limit=(0.5, 15.0)
    )
    assert unsure.verdict == "too imprecise" and unsure.contrast_ci_low < 0 < unsure.contrast_ci_high


@pytest.mark.parametrize(
    "change",
    [
        lambda r: r[r["round_no"] <= 2],
        lambda r: r[r["round_no"] == 1],
        lambda r: r[~((r["athlete"] == "A01") & (r["round_no"] > 1))],
        lambda r: r.assign(round_no="R" + r["round_no"].astype(str)),
        lambda r: r.assign(round_no=r["round_no"].astype("category")),
        lambda r: r.set_index(np.zeros(len(r), dtype=int)),
        lambda r: r.drop(columns=["session"]),
        lambda r: r.assign(hr_mean_bpm=[np.inf, *r["hr_mean_bpm"].iloc[1:]]),
        lambda r: r.assign(hr_mean_bpm=r.groupby("athlete")["hr_mean_bpm"].transform("first")),
        lambda r: r.assign(hr_mean_bpm=r["hr_mean_bpm"].astype(str)),
    ],
)
def test_odd_rows_are_answered(club, change):
    rows, capacity, athletes = club(n=9)
    result = answer((change(rows), capacity, athletes))
    assert np.isfinite(result.effect)
    assert result.n_observations + len(result.left_out) == len(change(rows))


def test_odd_athletes_are_answered(club):
    rows, capacity, athletes = club(n=14, age_spread=6)
    numbers = [t.assign(athlete=t["athlete"].str[1:].astype(int)) for t in (rows, capacity, athletes)]
    assert answer(numbers).effect == pytest.approx(answer((rows, capacity, athletes)).effect)
    assert np.isfinite(answer((rows, capacity, athletes.drop(columns=["sex", "age_years"]))).effect)
    blank = athletes.assign(sex=["", *["F"] * 6, *["M"] * 7])
    assert any(
        "1 athlete without measured maximal heart rate and sex left out" in w
        for w in answer((rows, capacity, blank)).warnings
    )
    unknown = athletes.assign(age_years=[np.nan, np.nan, *athletes["age_years"][2:]])
    found = answer((rows, capacity, unknown), covariates=["age_years"])
    assert (found.n_athletes, found.unadjusted.n_athletes) == (12, 14)
    twice = athletes.assign(age_years=2 * athletes["mass_kg"])
    refused = answer((rows, capacity, twice), covariates=["age_years", "mass_kg"])
    assert isinstance(refused, Refused)
    assert "mass_kg" in str(refused) and "v3" not in str(refused)


def test_shares_of_measured_and_predicted_maxima_are_never_mixed(club):
    rows, capacity, athletes = club(n=12)
    mixed = athletes.assign(hr_max_source=["predicted"] * 3 + ["measured"] * 9)
    result = answer((rows, capacity, mixed), "percent_hr_max", smallest_effect=2.5)
    assert result.n_athletes == 9
    assert result.left_out["reason"].str.contains("never mixed").sum() == 12
    assert result.guards.set_index("guard").loc["predicted maximum", "status"] == "applied"
    all_predicted = answer(
        (rows, capacity, athletes.assign(hr_max_source="predicted")), "percent_hr_max", smallest_effect=2.5
    )
    assert all_predicted.n_athletes == 12
    assert all_predicted.guards.set_index("guard").loc["predicted maximum", "status"] == "warned"
    lactate = answer((rows, capacity.assign(uses_heart_rate=True), athletes), "lactate_mmol_l", smallest_effect=1.0)
    assert lactate.guards.set_index("guard").loc["circular test", "status"] == "warned"


def slope_of_another_program(rows, capacity, variable):
    """The slope on capacity as statsmodels fits it by restricted maximum likelihood, rounds as categories of `variable`."""
    import statsmodels.formula.api as smf

    table = rows.merge(capacity, on="athlete").dropna(subset=["hr_mean_bpm", variable])
    model = smf.mixedlm(f"hr_mean_bpm ~ C({variable}) + capacity", table, groups=table["athlete"])
    return model.fit(reml=True).params["capacity"]


def latecomers(made):
    """Four of the fittest came to the second round: their bouts lag behind the club's clock."""
    rows, capacity, _ = made
    late = capacity.nlargest(4, "capacity")["athlete"]
    rows = rows[~(rows["athlete"].isin(late) & (rows["round_no"] == 1))].copy()
    rows["bout_no"] = rows.groupby("athlete")["round_no"].rank().astype(int)
    rows["hr_mean_bpm"] += 4.0 * rows["bout_no"]  # heart rate rises with what an athlete has sparred
    return rows


def test_the_number_that_the_plan_chose_orders_the_rounds_of_fitness_too(club):
    made = club(n=12, rounds=4)
    rows = latecomers(made)
    found = {}
    for variable in ("round_no", "bout_no"):
        got = answer((rows, *made[1:]), covariates=(), round_variable=variable)
        found[variable] = got.planned.estimate
        expected = slope_of_another_program(rows, made[1], variable)
        assert got.planned.estimate == pytest.approx(expected, rel=1e-3)
    assert abs(found["round_no"] - found["bout_no"]) > 0.02
