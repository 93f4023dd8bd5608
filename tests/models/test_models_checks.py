"""Residuals, random effects, shares and intervals of the variances."""

import numpy as np
import pandas as pd
import pytest
from models_data import load, study, unique_cases
from pytest import approx

from analysis.basics import KitError
from analysis.models import fit_mixed


def test_predicted_effects_solve_the_mixed_model_equations():
    rows = study(7, 4, missing=0.1, seed=2).dropna().reset_index(drop=True)
    rows["bout"] = np.arange(len(rows)) % 5
    fit = fit_mixed(rows, "hr ~ C(round_no)", group="athlete", crossed="bout")
    v, effects = fit.variances, fit.random_effects()
    X, y = fit._design.X, rows["hr"].to_numpy()
    Z = np.hstack(
        [(pd.factorize(rows[c])[0][:, None] == np.arange(rows[c].nunique())) * 1.0 for c in ("athlete", "bout")]
    )
    G = np.diag([v.group] * 7 + [v.crossed] * 5)
    V = Z @ G @ Z.T + v.residual * np.eye(len(y))
    expected = G @ Z.T @ np.linalg.solve(V, y - X @ fit.coefficients()["estimate"].to_numpy())
    assert effects["estimate"].to_numpy() == approx(expected, abs=1e-7)
    assert set(effects["effect"]) == {"intercept", "bout"}
    residuals = fit.residuals()
    assert residuals["residual"].to_numpy() == approx(y - residuals["fitted"].to_numpy())
    assert residuals["fitted"].to_numpy() == approx(X @ fit.coefficients()["estimate"].to_numpy() + Z @ expected)


def test_slopes_of_athletes_are_in_the_units_of_the_column():
    rows = study(8, 5, seed=4)
    rows["seconds"] = rows["round_no"] * 300.0
    one = fit_mixed(rows, "hr ~ round_no", group="athlete", slope="round_no")
    other = fit_mixed(rows, "hr ~ seconds", group="athlete", slope="seconds")
    assert other.variances.slope * 300**2 == approx(one.variances.slope, rel=1e-6, abs=1e-9)
    assert other.log_likelihood == approx(one.log_likelihood - np.log(300), abs=1e-8)
    a, b = (f.random_effects().query("effect == 'slope'")["estimate"].to_numpy() for f in (one, other))
    assert b * 300 == approx(a, abs=1e-6)
    assert other.r_squared().conditional == approx(one.r_squared().conditional, rel=1e-6)


def test_diagnostics_tables():
    fit = fit_mixed(study(9, 4, seed=1), "hr ~ C(round_no) + capacity", group="athlete")
    found = fit.diagnostics()
    assert list(found.spread["level"]) == ["1", "2", "3", "4"]
    assert found.residuals["residual"].sum() == approx(0, abs=1e-8)
    order = np.argsort(found.residuals["scaled_residual"])
    assert (np.diff(found.residuals["normal_quantile"].to_numpy()[order]) >= 0).all()
    assert found.random_effects["scaled_estimate"].std(ddof=1) == approx(1.0)
    assert "athlete" in found.residuals and found.n_observations == 36


def test_profile_intervals_of_slopes_and_crossed_effects():
    # sleepstudy: lme4's own vignette (Bates et al. 2015, J Stat Softw 67(1), section 5.1) prints 14.381 to 37.716 for the
    # SD of intercepts, 3.801 to 8.753 for slopes, 22.898 to 28.858 for the residual
    path = next(p for p in unique_cases("04_lmm_slope__sleepstudy"))
    data = load(path)[0]
    fit = fit_mixed(data, "reaction_ms ~ round", group="athlete", slope="round")
    table = fit.variance_intervals(likelihood="ml").set_index("component")
    for component, low, high in (("group", 14.381, 37.716), ("slope", 3.801, 8.753), ("residual", 22.898, 28.858)):
        assert table.loc[component, "sd_ci_low"] == approx(low, abs=2e-3)
        assert table.loc[component, "sd_ci_high"] == approx(high, abs=2e-3)
    rows = study(8, 4, seed=3)
    rows["bout"] = rows["round_no"] * 10 + np.arange(len(rows)) // 4 // 2
    crossed = fit_mixed(rows, "hr ~ C(round_no)", group="athlete", crossed="bout")
    limits = crossed.variance_intervals(level=0.9).set_index("component")
    assert list(limits.index) == ["group", "bout", "residual"]
    assert (limits["ci_low"] <= limits["estimate"]).all() and (limits["estimate"] <= limits["ci_high"]).all()
    with pytest.raises(KitError, match="'reml'"):
        crossed.variance_intervals(likelihood="bayes")


@pytest.mark.parametrize("seed", range(4))
def test_profile_intervals_of_crossed_fits_hold_the_estimate_whatever_the_data(seed):
    rng = np.random.default_rng(seed)
    rows = [(i, k, int(rng.integers(0, 8)), rng.normal() + (i % 3) * (seed % 2)) for i in range(8) for k in range(3)]
    data = pd.DataFrame(rows, columns=["athlete", "round_no", "bout", "y"])
    found = fit_mixed(data, "y ~ C(round_no)", group="athlete", crossed="bout").variance_intervals()
    assert (found["ci_low"] <= found["estimate"] + 1e-9).all() and (found["ci_high"] >= found["estimate"] - 1e-9).all()
