"""Assurance: a published worked example, what it averages over, and power with missing rounds."""

import numpy as np
import pytest
from scipy.stats import norm

from analysis.basics import KitError
from analysis.planning import Assumptions, assure_design, simulate_studies
from analysis.planning.design import Design
from analysis.planning.questions import open_ranges, summarise_power


def test_published_worked_example():
    """O'Hagan, Stevens and Campbell (2005, Pharm Stat 4:187-201), their first example, numbers from memory.

    Two groups of 25, SD .25, one-sided 2.5 %: power .807 at a true difference of .2; with a normal prior of mean .2 and
    variance .06 the assurance is .595. Their closed form, worked again here: norm.cdf((m - z s) / sqrt(s^2 + v)).
    """
    error, mean, variance, z = 0.25 * np.sqrt(2 / 25), 0.2, 0.06, norm.isf(0.025)
    rng = np.random.default_rng(1)
    power = norm.sf(z - rng.normal(mean, np.sqrt(variance), 400_000) / error)
    assert norm.sf(z - mean / error) == pytest.approx(0.807, abs=0.001)
    found = summarise_power(power, power, 1_000_000)
    assert found["clear"] == pytest.approx(0.595, abs=0.003)
    assert found["clear"] == pytest.approx(norm.cdf((mean - z * error) / np.sqrt(error**2 + variance)), abs=0.003)
    assert found["low"] < 0.01 and found["high"] > 0.99  # power is all or nothing under so wide a prior


def test_nothing_open_is_power_and_what_is_open_spreads_it():
    design = Design(12)
    nothing = {name: (mode, mode) for name, (_, mode, _) in open_ranges(Assumptions()).items()}
    fixed = assure_design(design, ranges=nothing, n_draws=40, n_studies=100, seed=2)
    studies = simulate_studies(design, n_studies=6000, seed=3)
    for line in fixed.table.to_dict("records"):
        power = studies.question(line["question"], line["part"])["power"]
        assert line["shown"] == pytest.approx(power, abs=4 * np.sqrt(0.25 / 4000) + 0.01)
        assert line["clear"] >= line["shown"] - 1e-12
    wide = assure_design(design, n_draws=60, n_studies=40, seed=2).table
    change = wide[(wide["question"] == "rounds.heart_rate") & (wide["part"] == "change")].iloc[0]
    assert change["high"] - change["low"] > 0.1 and change["shown"] < change["as_assumed"]


def test_missing_rounds_lower_the_power():
    ranges = {name: (mode, mode) for name, (_, mode, _) in open_ranges(Assumptions()).items()}
    power = []
    for missing in (0.0, 0.35):
        truth = Assumptions().but(missing_round=missing, heart_rate={"rise": 5.0})
        ranges["missing_round"], ranges["heart_rate.rise"] = (missing, missing), (5.0, 5.0)
        table = assure_design(Design(10), truth, ranges=ranges, n_draws=20, n_studies=100).table
        power.append(table.set_index(["question", "part"]).loc[("rounds.heart_rate", "change"), "as_assumed"])
    assert power[1] < power[0] - 0.1


def test_the_same_seed_gives_the_same_and_bad_ranges_are_named():
    one, other = (assure_design({"n": 8}, n_draws=5, n_studies=10, seed=4).table for _ in range(2))
    assert one.equals(other)
    with pytest.raises(KitError, match="no assumption"):
        assure_design({"n": 8}, ranges={"heart_rate.mood": (0, 1)})
    with pytest.raises(KitError, match="outside its range"):
        assure_design({"n": 8}, ranges={"leave": (0.5, 0.9)})
