"""Second opinions by statsmodels: against base R, against formulas of the hand, and refused in words."""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.models import fit_mixed, marginal_change, robust_slope

REFERENCES = Path(__file__).parents[1] / "references"
EXPECTED = json.loads((REFERENCES / "models/second_opinion/results.json").read_text())
"""By base R without a package: second_opinion/reference.R."""


def of_rounds(name):
    d = pd.read_csv(REFERENCES / f"rounds/02_lmm__n14k4_{name}/data.csv")
    return d, marginal_change(d["hr_mean"], d["round"], d["athlete"], labels=[1, 2, 3, 4])


@pytest.mark.parametrize("case", [("hc3", ["vo2max"]), ("hc3_adjusted", ["vo2max", "age"])], ids=str)
def test_hc3_is_that_of_r(case):
    name, columns = case
    people = pd.read_csv(REFERENCES / "capacity/06_correlation__n14_vo2max_hr/athlete_level.csv")
    found = robust_slope(people["hr_mean"], people[columns])
    assert [found.estimate, found.standard_error, found.p, found.df] == pytest.approx(EXPECTED[name], rel=1e-9)
    assert found.statistic == pytest.approx(found.estimate / found.standard_error)
    wide = robust_slope(people["hr_mean"], people[columns], level=0.99)
    assert wide.ci_high - wide.ci_low > 1.3 * (found.ci_high - found.ci_low)
    assert (found.ci_low + found.ci_high) / 2 == pytest.approx(found.estimate)
    assert np.isnan(found.p_all) and found.n_athletes == found.n_observations == 14


@pytest.mark.parametrize(("name", "key"), [("hr_mean", "marginal"), ("three_rows_missing", "marginal_missing")])
def test_the_marginal_model_is_that_of_r(name, key):
    data, found = of_rounds(name)
    assert [found.estimate, found.standard_error, found.df, found.p_all] == pytest.approx(EXPECTED[key], rel=1e-8)
    assert (found.n_athletes, found.n_observations) == (14, len(data))


def test_with_complete_rounds_it_is_the_spread_of_the_changes():
    """Mancl and DeRouen's covariance is then SD of the changes / sqrt(n - 1): by hand from the formula."""
    data, found = of_rounds("hr_mean")
    by_round = {r: d.set_index("athlete")["hr_mean"] for r, d in data.groupby("round")}
    change = by_round[4] - by_round[1]
    assert found.estimate == pytest.approx(change.mean())
    assert found.standard_error == pytest.approx(change.std() / np.sqrt(len(change) - 1))
    assert found.ci_high - found.estimate == pytest.approx(2.2281388520 * found.standard_error)  # t of 10 df, table
    ours = fit_mixed(data, "hr_mean ~ C(round)", group="athlete").contrasts("C(round)", kind="first", ddf="cr2")
    assert found.estimate == pytest.approx(ours["estimate"].iloc[-1], rel=1e-6)


def test_order_of_rows_and_names_does_not_matter():
    data, found = of_rounds("three_rows_missing")
    mixed = data.sample(frac=1, random_state=3)
    names = mixed["athlete"].map({a: f"x{i % 5}{i}" for i, a in enumerate(data["athlete"].unique())})
    again = marginal_change(mixed["hr_mean"], mixed["round"], names, labels=[1, 2, 3, 4])
    assert again.standard_error == pytest.approx(found.standard_error) and again.p_all == pytest.approx(found.p_all)
    people = np.array([[44.0, 1], [48, 0], [51, 0], [55, 1], [58, 1]])
    one = robust_slope([171.0, 174, 168, 169, 163], people)
    assert robust_slope([163.0, 169, 168, 174, 171], people[::-1]).standard_error == pytest.approx(one.standard_error)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: robust_slope([1.0, 2, 3], np.array([[1.0, 2], [2, 1], [3, 5]])), "too few for 3 coefficients"),
        (lambda: robust_slope([1.0, 2, 4, 3], np.ones((4, 1))), "separated"),
        (lambda: robust_slope([1.0, 2, 4, 3], np.array([[0.0], [0], [0], [1]])), "alone decides"),
        (lambda: marginal_change([1.0, 2, 3, 5], [1, 2, 1, 2], list("AABB"), labels=[1, 2]), "2 athletes are too few"),
        (lambda: marginal_change([1.0, 2] * 4, [1, 2] * 4, list("AABBCCDD"), labels=[1, 2]), "no solution"),
        (lambda: robust_slope([1.0, 2, 4, 3], np.array([[0.0], [1], [2], [3]]), level=1.0), "level"),
    ],
)
def test_what_cannot_be_fitted_is_refused_in_words(call, words):
    with pytest.raises(KitError, match=words):
        call()
