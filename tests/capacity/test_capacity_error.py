"""Two kinds of test error: worked examples, R, theory by simulation, and where nothing can be said."""

import json
import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.capacity.error import correct_for_error, correct_slope, reliability_interval, unrestrict_range

REFERENCES = Path(__file__).parents[1] / "references" / "capacity"
R = json.loads((REFERENCES / "12_measurement_error" / "results.json").read_text())
PUBLISHED = {c["id"]: c for c in json.loads((REFERENCES / "check_values.json").read_text(encoding="utf-8"))}


def test_spearman_1904_worked_example():
    case = PUBLISHED["disattenuate"]
    given = case["inputs"]
    error = math.sqrt(1 - given["rxx"])
    found = correct_for_error(given["r"], 20, retest_sd=error, capacity_sd=1.0, outcome_reliability=given["ryy"])
    assert found.estimate == pytest.approx(case["expected"], abs=case["tolerance"])


def test_disattenuation_agrees_with_r_and_is_not_cut_at_one():
    for case in R["disattenuation"]["given_reliabilities"]:
        error = math.sqrt(1 - case["rel_x"])
        found = correct_for_error(case["r"], 30, retest_sd=error, capacity_sd=1.0, outcome_reliability=case["rel_y"])
        assert found.estimate == pytest.approx(case["r_disattenuated_unclipped"], rel=1e-9)
    assert found.estimate > 1
    assert "beyond 1" in " ".join(found.warnings)


def test_slope_calibration_agrees_with_r():
    data = pd.read_csv(REFERENCES / "12_measurement_error" / "data.csv")
    expected = R["regression_calibration"]
    sd = float(data["vo2max_1"].std())
    found = correct_for_error(-0.7, 18, retest_sd=expected["known_error_sd"], capacity_sd=sd)
    assert found.reliability == pytest.approx(expected["reliability_ratio_lambda_known_error"], rel=1e-9)
    slope = expected["slope_naive_y1_on_x1"]
    assert slope * found.slope_factor == pytest.approx(expected["slope_corrected_known_error"], rel=1e-9)
    own = correct_slope(
        slope,
        expected["slope_naive_se"],
        16,
        kind="retest",
        error_sd=R["reliability"]["error_sd_x"],
        capacity_sd=sd,
        n=18,
    )
    assert own[0] == pytest.approx(expected["slope_corrected"], rel=1e-9)
    # with the uncertainty of the reliability the interval is wider than with it taken as known
    assert own[1] < expected["slope_corrected_ci95_low_lambda_known"]


def test_the_two_kinds_of_physiology():
    """SD 4.6: retest 2.58 -> reliability .69; prediction 4.4 -> .52, factor .72; 1 - SEE²/SD² would give -1.57."""
    retest = correct_for_error(-0.45, 14, retest_sd=2.58, capacity_sd=4.6)
    assert retest.reliability == pytest.approx(0.69, abs=0.005)
    assert retest.slope_factor == pytest.approx(1 / retest.reliability)
    predicted = correct_for_error(-0.45, 14, prediction_see=4.4, capacity_sd=4.6)
    assert predicted.reliability == pytest.approx(0.52, abs=0.005)
    assert predicted.attenuation == pytest.approx(0.72, abs=0.005)
    assert predicted.slope_factor == 1
    mistake = -0.45 / math.sqrt(1 - 4.4**2 / 4.6**2)
    assert mistake == pytest.approx(-1.57, abs=0.03)
    assert predicted.estimate == pytest.approx(-0.62, abs=0.005)
    assert predicted.bounded


def test_reliability_that_cannot_be_told_from_zero_leaves_the_interval_unbounded():
    for sd in (4.2, 4.0, 3.5):
        found = correct_for_error(-0.45, 8, retest_sd=4.0, capacity_sd=sd)
        assert (found.ci_low, found.ci_high) == (-math.inf, math.inf)
        assert not found.bounded
        assert "cannot be separated from 0" in found.warnings[0]
    assert math.isnan(found.estimate)
    assert found.reliability < 0
    assert correct_slope(-0.5, 0.2, 6, kind="retest", error_sd=4, capacity_sd=3.5, n=8)[1:] == (-math.inf, math.inf)
    assert reliability_interval("retest", 4.0, 4.2, 8)[0] < 0


def test_no_error_changes_nothing():
    found = correct_for_error(-0.45, 14, retest_sd=0, capacity_sd=4.6)
    assert found.estimate == pytest.approx(-0.45)
    assert found.attenuation == pytest.approx(1)
    assert found.ci_low == pytest.approx(-0.79, abs=0.02)
    only_outcome = correct_for_error(-0.45, 14, capacity_sd=4.6, outcome_reliability=0.8)
    assert only_outcome.estimate == pytest.approx(-0.45 / math.sqrt(0.8))
    assert only_outcome.kind == "none"
    assert correct_for_error(-1.0, 14, retest_sd=2, capacity_sd=4.6).estimate < -1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"prediction_see": 4.4}, "never combined"),
        ({"capacity_sd": 0}, "capacity_sd is 0"),
        ({"retest_sd": -1}, "retest_sd is -1"),
        ({"outcome_reliability": 1.2}, "outcome_reliability"),
        ({"r": -1.2}, "between -1 and 1"),
        ({"n": 3}, "at least 4"),
        ({"level": 95}, "level"),
    ],
)
def test_bad_calls_name_every_problem(change, words):
    arguments = {"r": -0.4, "n": 14, "retest_sd": 2.58, "capacity_sd": 4.6} | change
    with pytest.raises(KitError, match=words):
        correct_for_error(arguments.pop("r"), arguments.pop("n"), **arguments)


def test_both_kinds_attenuate_as_theory_predicts():
    """Many athletes: retest error shrinks r by √reliability and the slope by it; prediction error shrinks r only."""
    rng = np.random.default_rng(11)
    n, slope = 400_000, -0.6
    true = rng.normal(50, 5, n)
    y = 165 + slope * (true - 50) + rng.normal(0, 6, n)
    r_true = np.corrcoef(true, y)[0, 1]
    measured = true + rng.normal(0, 2.58, n)
    sd, r = measured.std(), np.corrcoef(measured, y)[0, 1]
    found = correct_for_error(r, 1000, retest_sd=2.58, capacity_sd=sd)
    assert found.estimate == pytest.approx(r_true, abs=0.005)
    assert np.polyfit(measured, y, 1)[0] * found.slope_factor == pytest.approx(slope, abs=0.01)
    predicted = rng.normal(50, 5, n)
    true = predicted + rng.normal(0, 4.4, n)
    y = 165 + slope * (true - 50) + rng.normal(0, 6, n)
    found = correct_for_error(np.corrcoef(predicted, y)[0, 1], 1000, prediction_see=4.4, capacity_sd=predicted.std())
    assert found.estimate == pytest.approx(np.corrcoef(true, y)[0, 1], abs=0.005)
    assert np.polyfit(predicted, y, 1)[0] == pytest.approx(slope, abs=0.01)
    assert found.slope_factor == 1


@pytest.mark.parametrize("kind", ["retest", "prediction"])
def test_the_corrected_interval_covers_the_truth_at_its_rate(kind):
    """300 clubs of 14, true r -0.5: coverage within three Monte-Carlo errors of .95 (long run: benchmarks)."""
    rng = np.random.default_rng(7)
    covered, clubs, n = 0, 300, 14
    for seed in range(clubs):
        shown = rng.normal(0, 4.6, n)
        true = shown
        if kind == "retest":
            shown = true + rng.normal(0, 2.58, n)
            spread = 4.6
        else:
            true = shown + rng.normal(0, 4.4, n)
            spread = math.hypot(4.6, 4.4)
        y = -0.5 * true / spread + math.sqrt(0.75) * rng.normal(size=n)
        argument = {"retest_sd": 2.58} if kind == "retest" else {"prediction_see": 4.4}
        found = correct_for_error(np.corrcoef(shown, y)[0, 1], n, capacity_sd=shown.std(ddof=1), seed=seed, **argument)
        covered += found.ci_low <= -0.5 <= found.ci_high
    assert covered / clubs == pytest.approx(0.95, abs=0.038)


def test_range_restriction_undoes_selection():
    rng = np.random.default_rng(2)
    x = rng.normal(0, 8, 400_000)
    y = -0.6 * x + rng.normal(0, 8, len(x))
    kept = np.abs(x) < 6
    r = np.corrcoef(x[kept], y[kept])[0, 1]
    found = unrestrict_range(r, sd=x[kept].std(), reference_sd=x.std())
    assert found == pytest.approx(np.corrcoef(x, y)[0, 1], abs=0.01)
    assert unrestrict_range(-0.4, sd=5, reference_sd=5) == pytest.approx(-0.4)
    with pytest.raises(KitError):
        unrestrict_range(-0.4, sd=0, reference_sd=5)
