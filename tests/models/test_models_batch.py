"""Thousands of studies at once give what single fits give."""

import numpy as np
import pandas as pd
import pytest
from pytest import approx
from scipy import stats

from analysis.basics import KitError
from analysis.models import fit_mixed, fit_mixed_batch


def many(n, rounds, missing, icc, studies, seed):
    rng = np.random.default_rng(seed)
    athlete, round_no = np.repeat(np.arange(n), rounds), np.tile(np.arange(rounds), n)
    x = rng.normal(50, 6, n)[athlete]
    X = np.column_stack([np.ones(n * rounds), *(round_no == j for j in range(1, rounds)), x])
    y = 150 + np.sqrt(icc) * 9 * rng.normal(size=(studies, n))[:, athlete]
    y = y + np.sqrt(1 - icc) * 9 * rng.normal(size=(studies, n * rounds))
    y[rng.random(y.shape) < missing] = np.nan
    return y, X, athlete, round_no, x


@pytest.mark.parametrize(
    "n, rounds, missing, icc",
    [(14, 4, 0.05, 0.6), (8, 3, 0.1, 0.0), (6, 4, 0.3, 0.1), (20, 6, 0.15, 0.3), (5, 2, 0.0, 0.2), (4, 5, 0.5, 0.5)],
)
def test_batch_equals_single_fits(n, rounds, missing, icc):
    y, X, athlete, round_no, x = many(n, rounds, missing, icc, 12, seed=n)
    tests = {"x": [rounds], "round": list(range(1, rounds)), "level": [0], "step": np.eye(rounds + 1)[[1]]}
    batch = fit_mixed_batch(y, X, athlete, tests=tests)
    own = fit_mixed_batch(y, np.repeat(X[None], 12, axis=0), athlete, tests=tests)
    for s in range(12):
        rows = pd.DataFrame({"y": y[s], "a": athlete, "r": round_no, "x": x})
        try:
            fit = fit_mixed(rows, "y ~ C(r) + x", group="a")
            usable = len(fit.coefficients()) == rounds + 1
        except KitError:
            usable = False
        assert bool(batch.studies["fitted"][s]) == bool(own.studies["fitted"][s]) == usable
        if not usable:
            assert np.isnan(batch["round"].p[s]) and np.isnan(batch.variance_group[s])
            continue
        assert (batch.variance_group[s] == 0) == (fit.variances.group == 0)
        assert batch.log_likelihood[s] == approx(fit.log_likelihood, abs=1e-8)
        coefficients = fit.coefficients()
        assert batch.beta[s] == approx(coefficients["estimate"].to_numpy(), rel=1e-7, abs=1e-7)
        assert batch["level"].standard_error[s] == approx(coefficients["standard_error"].iloc[0], rel=1e-7)
        assert batch["level"].df_den[s] == approx(coefficients["df"].iloc[0], rel=1e-7)
        for ours, theirs in ((batch["x"], fit.test("x")), (batch["round"], fit.test("r"))):
            assert ours.F[s] == approx(theirs.statistic, rel=1e-7, abs=1e-9)
            assert ours.df_den[s] == approx(theirs.df_den, rel=1e-7)
            assert ours.p[s] == approx(theirs.p, rel=1e-6)
        assert own["round"].F[s] == approx(batch["round"].F[s], rel=1e-8)


def test_null_studies_reject_at_their_level_and_intervals_cover():
    y, X, athlete, *_ = many(12, 4, 0.1, 0.6, 4000, seed=2)
    fit = fit_mixed_batch(y, X, athlete, tests={"round": [1, 2, 3], "x": [4]})
    for test in ("round", "x"):
        assert stats.binomtest(int((fit[test].p < 0.05).sum()), 4000, 0.05).pvalue > 1e-3
    low, high = fit["x"].interval()
    assert stats.binomtest(int(((low <= 0) & (high >= 0)).sum()), 4000, 0.95).pvalue > 1e-3


def test_a_true_change_is_estimated_without_bias():
    y, X, athlete, *_ = many(10, 3, 0.1, 0.5, 4000, seed=3)
    fit = fit_mixed_batch(y + X @ [0, 2.0, 5.0, 0.3], X, athlete, tests={"round": [1, 2], "x": [3]})
    for j, truth in ((1, 2.0), (2, 5.0), (3, 0.3)):
        error = fit.beta[:, j].std(ddof=1) / np.sqrt(4000)
        assert fit.beta[:, j].mean() == approx(truth, abs=4 * error)


def test_studies_that_cannot_be_fitted_are_missing_not_errors():
    y, X, athlete, *_ = many(6, 3, 0.0, 0.5, 5, seed=1)
    y[0] = 150.0  # no variation
    y[1] = np.nan  # nothing at all
    y[2, X[:, 1] == 1] = np.nan  # a whole round missing
    y[3, X[:, 0] + X[:, 1] + X[:, 2] > 1] = np.nan  # one row per athlete
    fit = fit_mixed_batch(y, X, athlete, tests={"round": [1, 2]})
    assert list(fit.studies["fitted"]) == [False, False, False, False, True]
    assert fit.n_failed == 4 and np.isfinite(fit["round"].p[4]) and np.isnan(fit["round"].p[:4]).all()


def test_shapes_names_and_order_of_rows():
    y, X, athlete, *_ = many(6, 3, 0.0, 0.5, 3, seed=1)
    fit = fit_mixed_batch(y, X, athlete, tests={"round": [1, 2], "x": 3})
    assert fit["x"].estimate.shape == (3,) and fit["round"].estimate.shape == (3, 2)
    assert fit["x"]["p"] is fit.tests["x"].p is fit.p["x"]
    assert list(fit) == ["round", "x"] and not hasattr(fit, "nothing")
    assert list(fit.table().columns) == ["study", "test", "estimate", "standard_error", "F", "df_num", "df_den", "p"]
    order = np.random.default_rng(0).permutation(len(athlete))
    names = np.array([f"A{i}" for i in athlete])
    moved = fit_mixed_batch(y[:, order], X[order], names[order], tests={"round": [1, 2], "x": 3})
    assert moved["round"].p == approx(fit["round"].p, rel=1e-8)
    one = fit_mixed_batch(y[0], X, athlete, tests={"x": 3})
    assert one["x"].p[0] == approx(fit["x"].p[0], rel=1e-10)
    assert "BatchFit" in str(fit) and "n_studies" in fit._repr_html_()


def test_athletes_with_different_numbers_of_rows():
    y, X, athlete, round_no, x = many(7, 4, 0.0, 0.4, 4, seed=8)
    keep = np.ones(len(athlete), dtype=bool)
    keep[[3, 7, 8, 9, 20]] = False
    fit = fit_mixed_batch(y[:, keep], X[keep], athlete[keep], tests={"round": [1, 2, 3]})
    rows = pd.DataFrame({"y": y[2], "a": athlete, "r": round_no, "x": x})[keep]
    assert fit["round"].p[2] == approx(fit_mixed(rows, "y ~ C(r) + x", group="a").test("r").p, rel=1e-7)


@pytest.mark.parametrize(
    "change, words",
    [
        ({"outcomes": np.ones((2, 5))}, "must agree"),
        ({"design": np.full((18, 4), np.nan)}, "missing or infinite"),
        ({"outcomes": np.full((2, 18), np.inf)}, "infinite"),
        ({"group": [None] * 18}, "missing"),
        ({"design": np.ones((3, 18, 4))}, "must agree"),
        ({"tests": {"a": [4]}}, "between 0 and 3"),
        ({"tests": {"a": [1, 1]}}, "different columns"),
        ({"tests": {"a": []}}, "whole numbers"),
        ({"tests": {"a": [0.5]}}, "whole numbers"),
        ({"tests": {"a": np.ones((1, 3))}}, "4 columns"),
        ({"tests": {"a": np.ones((2, 4))}}, "repeat each other"),
        ({"outcomes": np.ones((2, 3, 4))}, "studies x rows"),
    ],
)
def test_wrong_input_is_named(change, words):
    y, X, athlete, *_ = many(6, 3, 0.0, 0.5, 2, seed=1)
    given = {"outcomes": y, "design": X, "group": athlete, "tests": {"x": [3]}} | change
    with pytest.raises(KitError, match=words):
        fit_mixed_batch(given["outcomes"], given["design"], given["group"], tests=given["tests"])
