"""The demo study: its written-down truth is recovered over many clubs, and it is believable to people of the trade."""

import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.answers import open_answers
from analysis.capacity.beside import fit_many
from analysis.capacity.correlation import partial_correlation
from analysis.capacity.error import correct_for_error
from analysis.capacity.fit import prepare

ROOT = Path(__file__).parents[2]
MODEL = ROOT / "data_demo" / "how_it_was_made" / "generating_model.py"
FACTS = {
    f["id"]: f
    for f in json.loads((ROOT / "tests/references/capacity/facts_of_the_trade.json").read_text(encoding="utf-8"))
}


@pytest.fixture(scope="module")
def model():
    spec = importlib.util.spec_from_file_location("demo_generating_model", MODEL)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    yield module
    del sys.modules[spec.name]


@pytest.fixture(scope="module")
def demo():
    return open_answers(ROOT / "data_demo")


def draw(model, seed):
    """One club of the demo's making: rows, with what the shuttle run predicts and what is true."""
    rng, truth = np.random.default_rng(seed), model.Truth()
    club = model.make_club(rng, truth)
    shown = model.respond(rng, truth, club, np.zeros((len(club.codes), model.ROUNDS)))
    n = model.ROUNDS
    return truth, pd.DataFrame(
        {
            "athlete": np.repeat(club.codes, n),
            "round_no": np.tile(np.arange(1, n + 1), len(club.codes)),
            "hr_mean_bpm": shown["hr_mean_bpm"].ravel(),
            "lactate_mmol_l": shown["lactate_mmol_l"].ravel(),
            "predicted": np.repeat(-27.4 + 6.0 * (8 + club.stage / 2), n),
            "true": np.repeat(club.vo2max, n),
            "age_years": np.repeat(club.age, n),
            "sex": np.repeat(club.sex, n),
            "hr_max_bpm": np.repeat(club.hr_max, n),
        }
    )


def test_the_demos_true_slopes_are_recovered_over_many_clubs(model):
    slopes = {"hr_mean_bpm": [], "lactate_mmol_l": []}
    for seed in range(40):
        truth, rows = draw(model, seed)
        slopes["hr_mean_bpm"].append(prepare(rows, "predicted", "hr_mean_bpm", ["hr_max_bpm"]))
        slopes["lactate_mmol_l"].append(prepare(rows, "predicted", "lactate_mmol_l"))
    for outcome, true in (
        ("hr_mean_bpm", truth.hr_slope_per_ml_kg_min),
        ("lactate_mmol_l", truth.lactate_slope_per_ml_kg_min),
    ):
        found = fit_many(slopes[outcome])["estimate"].to_numpy()
        error = found.std(ddof=1) / np.sqrt(len(found))
        assert abs(found.mean() - true) < 3 * error, outcome
        assert found.mean() < -3 * error


def test_the_shuttle_run_attenuates_the_correlation_as_theory_predicts(model):
    shown, true, theory = [], [], []
    for seed in range(40):
        truth, rows = draw(model, seed)
        held = ["hr_max_bpm"]
        r = partial_correlation(rows, "predicted", "hr_mean_bpm", covariates=held).estimate
        shown.append(r)
        true.append(partial_correlation(rows, "true", "hr_mean_bpm", covariates=held).estimate)
        sd = rows.groupby("athlete")["predicted"].first().std()
        see = truth.field_test_error_ml_kg_min
        theory.append(correct_for_error(r, 16, prediction_see=see, capacity_sd=sd).attenuation)
    assert abs(np.mean(shown)) < abs(np.mean(true))
    assert np.mean(shown) / np.mean(true) == pytest.approx(np.mean(theory), abs=0.08)


def test_the_demo_is_believable_to_the_trade(demo):
    def within(name, value):
        assert FACTS[name]["source"] == "common practice, no source"
        assert FACTS[name]["low"] <= value <= FACTS[name]["high"], name

    rows = demo.rows[(demo.rows["round_no"] > 0) & (demo.rows["session"] == demo.study.plan.primary_session)]
    within("capacity_of_trained_grapplers", demo.capacity["capacity"].mean())
    within("mean_sparring_heart_rate", rows["percent_hr_max"].mean())
    within("exertion_of_sparring", rows["exertion"].mean())
    within("fitter_run_lower", demo.fitness("hr_mean_bpm").planned.estimate)


def test_the_demo_is_answered_and_its_truth_lies_in_the_interval(demo, model):
    truth = model.Truth()
    for outcome, true in (
        ("hr_mean_bpm", truth.hr_slope_per_ml_kg_min),
        ("lactate_mmol_l", truth.lactate_slope_per_ml_kg_min),
    ):
        found = demo.fitness(outcome)
        assert found.planned.ci_low < true < found.planned.ci_high
        assert found.adjusted_for == ("hr_max_bpm" if outcome == "hr_mean_bpm" else "age_years", "sex")
        assert not found.departs
        assert found.specifications.table["planned"].sum() == 1
