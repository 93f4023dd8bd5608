"""What must hold for any data: the likelihood is at its maximum, balanced tests are the classical ones, names do not matter."""

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from models_data import study
from pytest import approx
from scipy import stats

from analysis.models import fit_mixed
from analysis.models.small_sample import _pooled_df


def dense_log_likelihood(y, X, V):
    """Restricted log-likelihood from its definition, with the full covariance of the rows."""
    W = np.linalg.inv(V)
    XWX = X.T @ W @ X
    beta = np.linalg.solve(XWX, X.T @ W @ y)
    r = y - X @ beta
    dets = np.linalg.slogdet(V)[1] + np.linalg.slogdet(XWX)[1]
    return -0.5 * ((len(y) - X.shape[1]) * np.log(2 * np.pi) + dets + r @ W @ r)


def blocks(codes):
    codes = pd.factorize(codes)[0]
    return (codes[:, None] == codes).astype(float)


@pytest.mark.parametrize("seed", range(4))
def test_log_likelihood_is_that_of_the_definition_and_no_neighbour_is_higher(seed):
    rows = study(9, 4, missing=0.1, seed=seed).dropna()
    rows["bout"] = rows["round_no"] * 10 + np.arange(len(rows)) % 4
    t = rows["round_no"].to_numpy() - 2.5
    y, same, bout = rows["hr"].to_numpy(), blocks(rows["athlete"]), blocks(rows["bout"])
    X = np.column_stack([np.ones(len(y)), rows["round_no"]])
    models = {
        "plain": ({}, lambda v: v.group * same),
        "correlated": (
            {"slope": "t"},
            lambda v: same * (v.group + v.covariance * (t[:, None] + t) + v.slope * np.outer(t, t)),
        ),
        "uncorrelated": (
            {"slope": "t", "slope_correlated": False},
            lambda v: same * (v.group + v.slope * np.outer(t, t)),
        ),
        "crossed": ({"crossed": "bout"}, lambda v: v.group * same + v.crossed * bout),
    }
    for options, covariance in models.values():
        fit = fit_mixed(rows.assign(t=t), "hr ~ round_no", group="athlete", **options)
        v = fit.variances
        at = dense_log_likelihood(y, X, v.residual * np.eye(len(y)) + covariance(v))
        assert fit.log_likelihood == approx(at, abs=1e-9)
        names = [n for n in ("group", "slope", "covariance", "residual", "crossed") if not np.isnan(v[n])]
        for name, change in itertools.product(names, (-1e-3, 1e-3)):
            moved = {n: v[n] + (change * max(v[n], 1.0) if n == name else 0.0) for n in v}
            if any(moved[n] < 0 for n in names if n != "covariance"):
                continue
            if "covariance" in names and moved["covariance"] ** 2 > moved["group"] * moved["slope"]:
                continue
            near = type(v)(**moved)
            assert (
                dense_log_likelihood(y, X, near.residual * np.eye(len(y)) + covariance(near))
                <= fit.log_likelihood + 1e-9
            )


@pytest.mark.parametrize("n, rounds", [(6, 2), (8, 3), (14, 4), (20, 6)])
def test_balanced_data_give_the_classical_tests(n, rounds):
    rows = study(n, rounds, seed=n)
    fit = fit_mixed(rows, "hr ~ C(round_no) + capacity", group="athlete")
    wide = rows.pivot_table(index="athlete", columns="round_no", values="hr").to_numpy()
    means = wide.mean(axis=1)
    residual = wide - means[:, None] - wide.mean(axis=0) + wide.mean()
    df = (rounds - 1) * (n - 1)
    f = n * ((wide.mean(axis=0) - wide.mean()) ** 2).sum() / (rounds - 1) / ((residual**2).sum() / df)
    for ddf in ("kenward-roger", "satterthwaite"):
        test = fit.test("round_no", ddf=ddf)
        assert (test.statistic, test.df_den) == (approx(f, rel=1e-8), approx(df, rel=1e-6))
    capacity = rows.groupby("athlete")["capacity"].first()
    assert fit.test("capacity").p == approx(stats.pearsonr(capacity, means).pvalue, rel=1e-7)


def test_athlete_variance_of_zero_as_in_the_reference_programs():
    rows = study(10, 4, sd_athlete=0.0, seed=8)
    means = rows.groupby("athlete")["hr"].transform("mean")
    rows["hr"] -= 0.8 * (means - means.mean())  # athletes are more alike than chance would make them
    fit = fit_mixed(rows, "hr ~ C(round_no)", group="athlete")
    assert fit.variances.group == 0.0 and fit.icc == 0.0
    assert fit.test("round_no").df_den == approx(27)
    assert fit.test("round_no", ddf="satterthwaite").df_den == approx(36, rel=1e-6)
    assert any("exactly 0" in w and "too small" in w for w in fit.warnings)
    assert (fit.random_effects()["estimate"] == 0).all()


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 10**6), shift=st.floats(-500, 500), factor=st.floats(0.05, 20))
def test_order_names_and_units_change_nothing_that_matters(seed, shift, factor):
    rows = study(7, 3, missing=0.1, seed=seed)
    base = fit_mixed(rows, "hr ~ C(round_no) + capacity", group="athlete")
    rng = np.random.default_rng(seed)
    renamed = {a: f"Z{i}" for i, a in enumerate(rng.permutation(rows["athlete"].unique()))}
    other = rows.assign(athlete=rows["athlete"].map(renamed)).sample(frac=1, random_state=seed % 1000)
    other["hr"] = factor * other["hr"] + shift
    fit = fit_mixed(other, "hr ~ C(round_no) + capacity", group="athlete")
    for ddf in ("kenward-roger", "satterthwaite", "cr2"):
        a, b = base.contrasts("round_no", ddf=ddf), fit.contrasts("round_no", ddf=ddf)
        assert b["estimate"].to_numpy() == approx(factor * a["estimate"].to_numpy(), rel=1e-6, abs=1e-6)
        assert b["standard_error"].to_numpy() == approx(factor * a["standard_error"].to_numpy(), rel=1e-6)
        assert b["df"].to_numpy() == approx(a["df"].to_numpy(), rel=1e-5)
    assert fit.means("round_no")["estimate"].to_numpy() == approx(
        factor * base.means("round_no")["estimate"].to_numpy() + shift, rel=1e-8, abs=1e-5
    )
    assert fit.variances.group == approx(factor**2 * base.variances.group, rel=1e-5, abs=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_cr2_is_the_paired_t_and_hotelling_on_complete_data(seed):
    rows = study(9, 4, seed=seed)
    fit = fit_mixed(rows, "hr ~ C(round_no)", group="athlete")
    wide = rows.pivot_table(index="athlete", columns="round_no", values="hr")
    for row in fit.contrasts("round_no", kind="pairwise", ddf="cr2").itertuples():
        t = stats.ttest_rel(wide[row.later], wide[row.earlier])
        assert (row.statistic, row.df, row.p) == (
            approx(t.statistic, rel=1e-9),
            approx(8, rel=1e-9),
            approx(t.pvalue, rel=1e-8),
        )
    d = np.diff(wide.to_numpy(), axis=1)
    t2 = 9 * d.mean(0) @ np.linalg.solve(np.cov(d.T), d.mean(0))
    test = fit.test("round_no", ddf="cr2")
    assert (test.statistic, test.df_den) == (approx(t2 * (9 - 3) / (3 * 8), rel=1e-8), approx(6, rel=1e-8))


def test_cr2_is_unbiased_under_the_model_with_missing_rounds():
    fit = fit_mixed(study(8, 4, missing=0.2, seed=5), "hr ~ C(round_no) + capacity", group="athlete")
    tests = fit._tests
    expected = sum(a.T @ (V - Xi @ tests.phi @ Xi.T) @ a for _, a, Xi, V in tests._robust)
    assert expected == approx(tests.phi, rel=1e-8, abs=1e-12)


def test_cr2_df_are_those_of_the_simulated_covariance():
    # the definition: the covariance of estimates, drawn under the model, has the moments of a Wishart with these df
    tests = fit_mixed(study(8, 4, missing=0.2, seed=5), "hr ~ C(round_no) + capacity", group="athlete")._tests
    X = tests.problem.Q
    V = np.zeros((len(X),) * 2)
    for rows, _, _, own in tests._robust:
        V[np.ix_(rows, rows)] = own
    W = np.linalg.inv(V)
    M = np.linalg.inv(X.T @ W @ X)
    y = np.random.default_rng(0).normal(size=(30_000, len(X))) @ np.linalg.cholesky(V).T
    residual = y - y @ (X @ M @ X.T @ W).T
    for L in (np.eye(5)[[1]], np.eye(5)[[4]], np.eye(5)[1:4]):
        inner = L @ tests.R_inverse
        values, vectors = np.linalg.eigh(inner @ M @ inner.T)
        whitened = (vectors / np.sqrt(values)).T @ inner
        scores = np.stack([residual[:, rows] @ (a @ whitened.T) for rows, a, _, _ in tests._robust])
        drawn = np.einsum("ibs,ibt->bst", scores, scores)
        q = len(L)
        assert drawn.mean(axis=0) == approx(np.eye(q), abs=0.03)
        assert tests._cr2_eta(L) == approx(q * (q + 1) / drawn.reshape(len(y), -1).var(axis=0).sum(), rel=0.05)


def test_cr2_df_of_a_contrast_counts_the_complete_pairs_that_matter():
    rows = study(8, 2, seed=1)
    rows.loc[rows.index[:4:2], "hr"] = np.nan
    row = fit_mixed(rows, "hr ~ C(round_no)", group="athlete").contrasts("round_no", ddf="cr2").iloc[0]
    assert 4 < row["df"] < 8


@pytest.mark.parametrize("slope", [None, "round_no"])
def test_interval_covers_the_truth_at_its_rate(slope):
    inside, studies = 0, 200 if slope is None else 40
    for seed in range(studies):
        rows = study(8, 3, seed=seed, missing=0.05)
        fit = fit_mixed(rows, "hr ~ round_no", group="athlete", slope=slope)
        row = fit.coefficients().loc["round_no"]
        inside += row["ci_low"] <= 2.0 <= row["ci_high"]
    assert stats.binomtest(inside, studies, 0.95).pvalue > 1e-3


@pytest.mark.parametrize("dfs", [(10.0, 30.0), (4.5, 7.0, 90.0), (3.0, 3.5), (12.0, 12.0), (6.0,)])
def test_pooled_degrees_of_freedom_give_f_the_mean_of_its_squared_t(dfs):
    """Fai and Cornelius (1996): F = sum t_m^2 / q has the mean of the F distribution with the pooled df."""
    squares = [stats.t(df).var() for df in dfs]  # the mean of t^2
    assert stats.f(len(dfs), _pooled_df(dfs)).mean() == approx(np.mean(squares), rel=1e-9)


def test_pooled_degrees_of_freedom_by_hand():
    """10/8 + 30/28 = 65/28; 2 (65/28) / (65/28 - 2) = 130/9. A t^2 of 2 df has no mean, so nothing is above 2."""
    assert _pooled_df([10.0, 30.0]) == approx(130 / 9)
    assert _pooled_df([2.0, 30.0]) == _pooled_df([1.5, 30.0]) == 2.0
    assert _pooled_df([1.5]) == 1.5 and _pooled_df([1.5, 1.5]) == 1.5
