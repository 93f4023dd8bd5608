"""Typical values over people, held to the mixed model where both must agree, and to simulated truth."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.models import fit_mixed
from analysis.survey.against import typical_values


def sent(n, per_person, *, people_sd=8.0, sessions_sd=4.0, seed=0):
    rng = np.random.default_rng(seed)
    counts = np.full(n, per_person) if np.isscalar(per_person) else np.asarray(per_person)
    code = np.repeat(np.arange(n), counts)
    return pd.DataFrame(
        {"code": code, "y": 140 + rng.normal(0, people_sd, n)[code] + rng.normal(0, sessions_sd, len(code))}
    )


def test_equal_numbers_of_sessions_give_the_mixed_model():
    table = sent(15, 3)
    ours = typical_values(table, ("y",)).iloc[0]
    fit = fit_mixed(table.assign(athlete=table["code"].astype(str)), "y ~ 1", group="athlete")
    one = fit.coefficients().iloc[0]
    assert ours["estimate"] == pytest.approx(one["estimate"], rel=1e-9)
    assert ours["standard_error"] == pytest.approx(one["standard_error"], rel=1e-6)
    assert (ours["ci_low"], ours["ci_high"]) == pytest.approx((one["ci_low"], one["ci_high"]), rel=1e-6)
    assert ours["sd_people"] == pytest.approx(np.sqrt(fit.variances.group), rel=1e-6)
    assert ours["sd_sessions"] == pytest.approx(np.sqrt(fit.variances.residual), rel=1e-6)
    assert ours["correlation"] == pytest.approx(fit.icc, rel=1e-6)


def test_one_eager_person_does_not_decide():
    table = pd.DataFrame({"code": [0] * 50 + [1, 2, 3], "y": [170.0] * 50 + [140.0, 141.0, 139.0]})
    line = typical_values(table, ("y",)).iloc[0]
    assert line["estimate"] == pytest.approx(147.5) and line["df"] == 3 and line["n_observations"] == 53


def test_the_interval_holds_the_truth_when_people_send_different_numbers():
    rng = np.random.default_rng(8)
    inside = []
    for seed in range(300):
        line = typical_values(sent(20, rng.integers(1, 7, 20), seed=seed), ("y",)).iloc[0]
        inside.append(line["ci_low"] <= 140 <= line["ci_high"])
    assert np.mean(inside) == pytest.approx(0.95, abs=0.03)


def test_spread_is_recovered_on_average():
    lines = [typical_values(sent(30, np.resize([1, 2, 4], 30), seed=s), ("y",)).iloc[0] for s in range(200)]
    assert np.mean([v["sd_people"] ** 2 for v in lines]) == pytest.approx(64, rel=0.06)
    assert np.mean([v["sd_sessions"] ** 2 for v in lines]) == pytest.approx(16, rel=0.06)


@settings(max_examples=25, deadline=None)
@given(shift=st.floats(-50, 50), scale=st.floats(0.1, 5), order=st.randoms(use_true_random=False))
def test_shift_scale_and_order(shift, scale, order):
    table = sent(8, [1, 2, 3, 1, 1, 2, 4, 1])
    rows = list(range(len(table)))
    order.shuffle(rows)
    names = dict(enumerate(order.sample(range(100), 8)))
    moved = table.iloc[rows].assign(y=lambda t: scale * t["y"] + shift, code=lambda t: t["code"].map(names))
    one, two = typical_values(table, ("y",)).iloc[0], typical_values(moved, ("y",)).iloc[0]
    assert two["estimate"] == pytest.approx(scale * one["estimate"] + shift, rel=1e-9, abs=1e-7)
    for name in ("standard_error", "sd_people", "sd_sessions"):
        assert two[name] == pytest.approx(scale * one[name], rel=1e-6, abs=1e-7)


@pytest.mark.parametrize(
    ("codes", "values", "people"),
    [
        ([0], [140.0], 1),
        ([0, 0], [140.0, 150.0], 1),
        ([], [], 0),
        ([0, 1], [np.nan, np.nan], 0),
        ([0, 1], [140.0, 140.0], 2),
    ],
)
def test_too_few_people_give_no_interval_but_no_error(codes, values, people):
    line = typical_values(
        pd.DataFrame({"code": np.array(codes, dtype=int), "y": np.array(values, dtype=float)}), ("y",)
    ).iloc[0]
    assert line["n_athletes"] == people
    assert np.isnan(line["ci_low"]) == (people < 2)


def test_sessions_that_vary_more_than_people_give_no_negative_variance():
    table = pd.DataFrame({"code": [0, 0, 1, 1], "y": [130.0, 150.0, 131.0, 149.0]})
    assert typical_values(table, ("y",))["sd_people"].item() == 0.0
