"""Every column of a fitted model's tables by its definition: intervals, shares, quantiles, units."""

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
from models_data import study
from pytest import approx
from scipy import stats

from analysis.basics import KitError
from analysis.models import fit_mixed, refit_mixed
from analysis.models.mixed import _warn
from analysis.models.mixed_fit import Variances, variance_share
from analysis.models.reml import Problem, Structure

ROWS = study(8, 4, missing=0.1, seed=5)


@pytest.fixture(scope="module")
def fit():
    return fit_mixed(ROWS, "hr ~ C(round_no) + capacity", group="athlete")


def test_the_share_between_athletes_counts_what_is_crossed():
    nan = float("nan")
    assert variance_share(Variances(6.0, nan, nan, 2.0, nan)) == 0.75
    assert variance_share(Variances(6.0, nan, nan, 2.0, 4.0)) == 0.5
    assert variance_share(Variances(6.0, 9.0, 1.0, 2.0, nan)) == 0.75  # slopes are not counted


def test_contrasts_have_t_intervals_and_bonferroni_ones_beside(fit):
    for kind, m in (("successive", 3), ("pairwise", 6), ("first", 3)):
        table = fit.contrasts("round_no", kind=kind, level=0.9)
        assert len(table) == m
        half, wide = (stats.t.isf(0.05 / k, table["df"]) * table["standard_error"] for k in (1, m))
        for name, width in (("", half), ("_bonferroni", wide)):
            assert table[f"ci_low{name}"].to_numpy() == approx((table["estimate"] - width).to_numpy())
            assert table[f"ci_high{name}"].to_numpy() == approx((table["estimate"] + width).to_numpy())
        t = (table["estimate"] / table["standard_error"]).to_numpy()
        assert table["statistic"].to_numpy() == approx(t)
        assert table["p"].to_numpy() == approx(2 * stats.t.sf(abs(t), table["df"]))
    names = list(fit.contrasts("round_no").columns)
    assert names[:3] == ["contrast", "later", "earlier"] and names[-1] == "method"
    assert names.index("p_adjusted") == names.index("p") + 1
    assert names[-3:-1] == ["ci_low_bonferroni", "ci_high_bonferroni"]
    plain = fit.contrasts("round_no", adjust=None)
    assert plain["p_adjusted"].tolist() == plain["p"].tolist()
    times = fit.contrasts("round_no", kind="pairwise", adjust="bonferroni")
    assert times["p_adjusted"].tolist() == approx(np.minimum(1.0, 6 * times["p"]).tolist())
    later = dict(zip(plain["contrast"], plain["later"].astype(int) - plain["earlier"].astype(int), strict=True))
    assert later == {"2 - 1": 1, "3 - 2": 1, "4 - 3": 1}
    given = fit.contrasts("round_no", df=[5.0, 6.0, 7.0])
    assert given["df"].tolist() == [5.0, 6.0, 7.0]


def test_coefficients_and_means_have_intervals_of_their_level(fit):
    for table in (fit.coefficients(level=0.8), fit.means("round_no", level=0.8)):
        half = (stats.t.isf(0.1, table["df"]) * table["standard_error"]).to_numpy()
        assert (table["ci_high"] - table["estimate"]).to_numpy() == approx(half)
        assert (table["estimate"] - table["ci_low"]).to_numpy() == approx(half)
    seen = ROWS.dropna().groupby("round_no")["athlete"].agg(["size", "nunique"])
    means = fit.means("round_no")
    assert means["n_observations"].tolist() == seen["size"].tolist()
    assert means["n_athletes"].tolist() == seen["nunique"].tolist()
    default = fit.coefficients()
    assert default["p"].tolist() == fit.coefficients(ddf="kenward-roger", level=0.95)["p"].tolist()
    assert (default["ci_high"] - default["estimate"]).to_numpy() == approx(
        (stats.t.isf(0.025, default["df"]) * default["standard_error"]).to_numpy()
    )
    assert fit.coefficients().loc["capacity", "term"] == "capacity" and fit.coefficients().columns[0] == "term"


def test_every_term_is_tested_as_it_is_by_itself(fit):
    for ddf in ("kenward-roger", "satterthwaite", "cr2"):
        table = fit.tests(ddf=ddf)
        assert table["term"].tolist() == ["C(round_no)", "capacity"]
        assert table["df_den"].tolist() == approx([fit.test(t, ddf=ddf).df_den for t in table["term"]])
    assert fit.test("capacity").df_den == approx(fit.coefficients().loc["capacity", "df"])
    alone = fit_mixed(ROWS, "hr ~ C(round_no)", group="athlete")
    shifted = fit_mixed(ROWS, "hr ~ C(round_no, Treatment(reference=3))", group="athlete")
    assert alone.test("round_no").statistic == approx(shifted.test("round_no").statistic)


def test_small_units_keep_their_errors():
    small = fit_mixed(ROWS.assign(hr=ROWS["hr"] * 1e-8), "hr ~ C(round_no)", group="athlete").contrasts("round_no")
    plain = fit_mixed(ROWS, "hr ~ C(round_no)", group="athlete").contrasts("round_no")
    assert small["p"].tolist() == approx(plain["p"].tolist(), rel=1e-5)


def test_predicted_deviations_have_the_error_of_the_prediction():
    """Henderson 1975 with the fixed terms known: covariance G - G Z' V^-1 Z G; a normal interval of 1.96 errors."""
    rows = ROWS.dropna().reset_index(drop=True)
    fit = fit_mixed(rows, "hr ~ C(round_no)", group="athlete")
    effects = fit.random_effects()
    Z = (pd.factorize(rows["athlete"])[0][:, None] == np.arange(8)) * 1.0
    G = fit.variances.group * np.eye(8)
    V = Z @ G @ Z.T + fit.variances.residual * np.eye(len(rows))
    error = np.sqrt(np.diag(G - G @ Z.T @ np.linalg.solve(V, Z @ G)))
    assert effects["standard_error"].to_numpy() == approx(error)
    assert (effects["ci_high"] - effects["estimate"]).to_numpy() == approx(1.959964 * error, rel=1e-6)
    assert (effects["estimate"] - effects["ci_low"]).to_numpy() == approx(1.959964 * error, rel=1e-6)
    assert effects["level"].tolist() == sorted(rows["athlete"].unique())


def test_slopes_of_athletes_have_errors_in_the_units_of_the_column():
    rows = study(8, 5, seed=4)
    rows["hr"] += rows["round_no"] * np.repeat(np.random.default_rng(1).normal(0, 4, 8), 5)
    rows["seconds"] = rows["round_no"] * 300.0
    one, other = (fit_mixed(rows, f"hr ~ {c}", group="athlete", slope=c) for c in ("round_no", "seconds"))
    a, b = (f.random_effects().query("effect == 'slope'")["standard_error"].to_numpy() for f in (one, other))
    assert (a > 0).all() and b * 300 == approx(a, rel=1e-5)
    assert other.residuals()["residual"].to_numpy() == approx(one.residuals()["residual"].to_numpy(), abs=1e-6)


def test_shares_of_the_variance_by_their_definition(fit):
    """Nakagawa & Schielzeth 2013, equations 26 and 30 (numbers from memory): fixed, and fixed + random, of the whole."""
    rows = ROWS.dropna()
    fixed = np.var(fit.residuals()["fitted_marginal"], ddof=1)
    v, shares = fit.variances, fit.r_squared()
    whole = fixed + v.group + v.residual
    assert shares.marginal == approx(fixed / whole) and shares.conditional == approx((fixed + v.group) / whole)
    assert len(fit.residuals()) == len(rows)


def test_residuals_are_scaled_by_the_residual_sd(fit):
    table = fit.residuals()
    assert table["scaled_residual"].to_numpy() == approx(table["residual"].to_numpy() / np.sqrt(fit.variances.residual))
    assert table["observed"].to_numpy() == approx(table["fitted"].to_numpy() + table["residual"].to_numpy())
    assert list(table.columns[:2]) == ["athlete", "round_no"]
    logged = fit_mixed(ROWS, "hr ~ C(round_no) + np.log(capacity)", group="athlete").residuals()
    assert list(logged.columns[:3]) == ["athlete", "round_no", "observed"]  # an expression is no column


def test_pictures_compare_with_the_quantiles_of_blom():
    """Blom 1958: (rank - 3/8) / (n + 1/4); rounds in their order, also where there are ten."""
    found = fit_mixed(study(4, 10), "hr ~ C(round_no)", group="athlete").diagnostics()
    ranks = stats.rankdata(found.residuals["scaled_residual"])
    assert found.residuals["normal_quantile"].to_numpy() == approx(stats.norm.ppf((ranks - 3 / 8) / 40.25))
    ranks = stats.rankdata(found.random_effects["estimate"])
    assert found.random_effects["normal_quantile"].to_numpy() == approx(stats.norm.ppf((ranks - 3 / 8) / 4.25))
    sd = found.random_effects["estimate"].std(ddof=1)
    assert found.random_effects["scaled_estimate"].to_numpy() == approx(
        (found.random_effects["estimate"] / sd).to_numpy()
    )
    assert found.spread["level"].tolist() == [str(k) for k in range(1, 11)]
    assert found.spread["n_observations"].tolist() == [4] * 10
    own = found.residuals.groupby("level", sort=False)["residual"].std()
    assert found.spread["residual_sd"].to_numpy() == approx(own.to_numpy())
    assert found.factor == "round_no"
    none = fit_mixed(study(6, 3), "hr ~ capacity", group="athlete").diagnostics()
    assert none.factor == "" and none.spread["level"].tolist() == [""]


def test_small_deviations_are_scaled_as_large_ones_are():
    """A conductance of 0.01 units: the error of a prediction is G R / (R + n G) in a balanced table (n rounds, R residual)."""
    fit = fit_mixed(study(6, 4, seed=2).assign(hr=lambda t: t["hr"] * 0.01), "hr ~ C(round_no)", group="athlete")
    found, v = fit.diagnostics().random_effects, fit.variances
    error = np.sqrt(v.group * v.residual / (v.residual + 4 * v.group))
    assert found["standard_error"].tolist() == approx([error] * 6) and error < 0.5
    assert found["scaled_estimate"].tolist() == approx((found["estimate"] / found["estimate"].std()).tolist())


def test_tables_keep_their_columns(fit):
    names = ["term", "statistic", "df_num", "df_den", "p", "method"]
    assert list(fit.tests()) == list(fit_mixed(ROWS, "hr ~ 1", group="athlete").tests()) == names
    assert list(fit.means("round_no"))[-3:] == ["n_observations", "n_athletes", "method"]


def test_athletes_keep_their_order_and_their_names():
    order = {"A01": "z", "A02": 7, "A03": "b"}
    rows = study(3, 4, seed=1)
    rows["athlete"] = [dict(zip(rows["athlete"].unique(), order.values(), strict=True))[a] for a in rows["athlete"]]
    assert fit_mixed(rows, "hr ~ C(round_no)", group="athlete").random_effects()["level"].tolist() == ["z", 7, "b"]


def test_rows_without_an_athlete_or_an_opponent_are_left_out():
    rows = study(8, 4, seed=6)
    rows["bout"] = [f"b{i % 5}" for i in range(32)]
    rows.loc[3, "bout"], rows.loc[5, "athlete"], rows.loc[9, "hr"] = "", "", np.nan
    found = fit_mixed(rows, "hr ~ C(round_no)", group="athlete", crossed="bout")
    assert found.n_observations == 29
    why = ["athlete or crossed grouping missing"] * 2 + ["hr missing"]
    assert found.left_out["reason"].tolist() == why and found.left_out["round_no"].tolist() == [4, 2, 2]
    plain = fit_mixed(rows.rename(columns={"round_no": "trial"}), "hr ~ capacity", group="athlete")
    assert plain.left_out["round_no"].tolist() == ["", ""] and plain.n_observations == 30


def test_without_spread_between_athletes_nothing_is_scaled():
    rows = study(6, 3, sd_athlete=0.0, seed=3)
    rows["hr"] -= rows.groupby("athlete")["hr"].transform("mean") - rows["hr"].mean()
    found = fit_mixed(rows, "hr ~ C(round_no)", group="athlete").diagnostics()
    assert found.random_effects["scaled_estimate"].isna().all()


def test_what_a_formula_does_not_give_is_said(fit):
    for asked, said in (("round_n", "'round_n'. Did you mean 'round_no'?"), ("zzz", "'zzz'.")):
        with pytest.raises(KitError) as refused:
            fit.means(asked)
        assert str(refused.value) == f"The model has no variable {said}"
    bare = fit_mixed(ROWS, "hr ~ C(round_no):capacity", group="athlete")
    with pytest.raises(KitError, match="need a formula with an intercept"):
        bare.slopes("capacity")
    with pytest.raises(KitError, match=r"write C\(capacity\) in the formula"):
        fit.slopes("capacity", by="capacity")
    only = fit_mixed(ROWS, "hr ~ capacity + C(round_no):capacity", group="athlete")
    with pytest.raises(KitError, match="need a formula with an intercept and the main effects"):
        only.means("round_no")


def test_slopes_at_each_round_and_on_average(fit):
    crossing = fit_mixed(ROWS, "hr ~ C(round_no) * capacity", group="athlete")
    each, mean = crossing.slopes("capacity", by="round_no"), crossing.slopes("capacity")
    assert each["round_no"].tolist() == [1, 2, 3, 4] and each.columns[0] == "round_no"
    assert mean["estimate"][0] == approx(each["estimate"].mean())
    terms = crossing.coefficients().set_index("term")["estimate"]
    steps = [terms[f"C(round_no)[T.{k}]:capacity"] for k in (2, 3, 4)]
    assert (each["estimate"][1:] - each["estimate"][0]).tolist() == approx(steps) and min(map(abs, steps)) > 1e-3
    alike = fit.slopes("capacity", by="round_no")
    assert alike["estimate"].tolist() == approx([fit.slopes("capacity")["estimate"][0]] * 4)
    assert fit.coefficients().loc["capacity", "estimate"] == approx(alike["estimate"][0])
    own = fit_mixed(
        ROWS.assign(capacity=ROWS["capacity"].where(ROWS["round_no"] == 2, 0.0)), "hr ~ C(round_no)", group="athlete"
    )
    assert own.icc == variance_share(own.variances)


@pytest.mark.parametrize("kind", ["intercept", "slope", "uncorrelated", "crossed"])
def test_derivatives_of_the_restricted_likelihood_are_its_differences(kind):
    """(2), (6), (7) and (8) of `reml`: central differences of the deviance at a place that is no maximum; V by brute force."""
    rows = ROWS.dropna()
    y, X = rows["hr"].to_numpy(), np.column_stack([np.ones(len(rows)), rows["round_no"], rows["capacity"]])
    groups = [pd.factorize(rows["athlete"])[0]]
    if kind == "crossed":
        groups.append(np.arange(len(rows)) % 5)
    slope = rows["round_no"].to_numpy() - 2.5 if kind in ("slope", "uncorrelated") else None
    structure = Structure(groups, slope, correlated=kind == "slope")
    problem, theta = Problem(y, X, structure), np.array([0.8, -0.3, 0.5])[: structure.n_theta]
    deviance, gradient, hessian, _ = problem.profile(theta)
    V = np.eye(len(y)) + structure.Z @ structure.covariance(structure.relative(theta)[0]) @ structure.Z.T
    Vi = np.linalg.inv(V)
    W = Vi - Vi @ X @ np.linalg.inv(X.T @ Vi @ X) @ X.T @ Vi
    parts = [np.linalg.slogdet(m)[1] for m in (V, problem.Q.T @ Vi @ problem.Q)]
    assert deviance == approx(sum(parts) + problem.df * np.log(y @ W @ y))
    step = 1e-4 * np.eye(len(theta))
    ups, downs = ([problem.profile(theta + way * h) for h in step] for way in (1, -1))
    slopes = [(u[0] - d[0]) / 2e-4 for u, d in zip(ups, downs, strict=True)]
    curves = [(u[1] - d[1]) / 2e-4 for u, d in zip(ups, downs, strict=True)]
    assert gradient == approx(np.array(slopes), rel=1e-6, abs=1e-6)
    assert hessian == approx(np.array(curves), rel=1e-5, abs=1e-5)
    scale = problem.df / (y @ W @ y)  # the log-likelihood at the profiled sigma^2
    logs = np.linalg.slogdet(V / scale)[1] + np.linalg.slogdet(X.T @ Vi @ X * scale)[1]
    assert problem.log_likelihood(deviance) == approx(-0.5 * (logs + problem.df * (1 + np.log(2 * np.pi))))


def within(values, by, *, slope=None):
    """What is left of values after the mean, and the straight line on `slope`, of each group are taken off."""
    out = np.array(values, dtype=float)
    for level in np.unique(by):
        rows = by == level
        X = np.ones((rows.sum(), 1)) if slope is None else np.column_stack([np.ones(rows.sum()), slope[rows]])
        out[rows] -= X @ np.linalg.lstsq(X, out[rows], rcond=None)[0]
    return out


@pytest.mark.parametrize("what", ["between athletes", "of the slopes", "crossed"])
def test_a_variance_of_exactly_nothing_is_said_and_only_then(what):
    """Noise without any mean (or line) of its own in a group leaves that variance nothing to estimate."""
    rng, rows = np.random.default_rng(7), study(8, 4).drop(columns="hr")
    who, x = pd.factorize(rows["athlete"])[0], rows["round_no"].to_numpy(dtype=float)
    bout = (np.arange(len(rows)) * 3) % 4 + 4 * (x % 2)
    noise = rng.normal(0, 3, len(rows))
    own, lines, shared = rng.normal(0, 9, 8)[who], rng.normal(0, 4, 8)[who] * x, rng.normal(0, 9, 8)
    options = {
        "between athletes": {},
        "of the slopes": {"slope": "round_no", "slope_correlated": False},
        "crossed": {"crossed": "bout"},
    }[what]
    plain = within(noise, who, slope=x)
    if what == "crossed":
        plain = within(noise, bout)
    some = {"between athletes": own, "of the slopes": lines, "crossed": shared[bout.astype(int)]}[what]
    others = 0.0 if what == "between athletes" else own
    for values, said in ((plain + others, True), (plain + others + some, False)):
        found = fit_mixed(rows.assign(bout=bout, hr=values), "hr ~ round_no", group="athlete", **options)
        part = {"between athletes": "group", "of the slopes": "slope", "crossed": "crossed"}[what]
        assert (found.variances[part] == 0) == said
        zero = [w for w in found.warnings if "estimated as exactly 0" in w]
        assert len(zero) == said and all(what in w.lower() for w in zero)


def test_intercepts_and_slopes_that_cannot_be_told_apart_are_said():
    """From a correlation of 0.99 on, of either sign; below it nothing is said. Made results."""
    structure = SimpleNamespace(correlated=True)
    tests = SimpleNamespace(problem=SimpleNamespace(structure=structure), theta=np.array([1.0, 0.5, 0.1]))
    nan = float("nan")

    def told(correlation, *, group=4.0, slope=9.0):
        covariance = correlation * np.sqrt(group * slope)
        return " ".join(_warn(tests, Variances(group, slope, covariance, 1.0, nan), "round_no", (), 0))

    assert told(0.98) == told(-0.98) == told(0.2) == ""
    assert "almost perfectly correlated" in told(0.995) and "almost perfectly" in told(-0.995)
    assert "almost perfectly" in told(0.995, group=0.01, slope=0.04)  # whatever the unit
    assert "correlated" not in told(nan, slope=0.0)
    tests.theta[2] = 0.0
    assert "estimated as perfectly correlated" in told(1.0)
    assert "correlated" not in told(nan, slope=0.0)
    plain = fit_mixed(ROWS, "hr ~ C(round_no)", group="athlete")
    assert np.isnan([plain.variances.crossed, plain.variances.slope, plain.variances.covariance]).all()
    with pytest.raises(KitError, match="The table, asked for its group, "):
        fit_mixed(ROWS, "hr ~ C(round_no)", group="pupil")


def test_a_covariance_of_intercepts_and_slopes_that_the_data_hold_is_found():
    rng = np.random.default_rng(3)
    rows = study(60, 6, sd_athlete=0.0, sd=1.0, seed=1)
    a, b = rng.multivariate_normal([0, 0], [[25, -6], [-6, 4]], 60).T
    rows["hr"] += a.repeat(6) + b.repeat(6) * rows["round_no"]
    found = fit_mixed(rows, "hr ~ round_no", group="athlete", slope="round_no")
    from statsmodels.regression.mixed_linear_model import MixedLM

    other = MixedLM.from_formula("hr ~ round_no", rows, groups="athlete", re_formula="~round_no").fit()
    G = other.cov_re.to_numpy()
    v = found.variances
    assert (v.group, v.covariance, v.slope) == approx((G[0, 0], G[0, 1], G[1, 1]), rel=1e-3)
    assert v.residual == approx(other.scale, rel=1e-3) and v.covariance < -3


def test_other_values_in_the_same_rows_are_a_fit_of_their_own(fit):
    """Rows without an outcome stay out; the reference is the same model fitted anew."""
    rows = ROWS.dropna(subset="hr")
    values = np.round(rows["hr"] * 2 - 40).astype(int)
    again = refit_mixed(fit, values.tolist())
    fresh = fit_mixed(ROWS.assign(hr=values.astype(float)), "hr ~ C(round_no) + capacity", group="athlete")
    for one, other in ((again.tests(), fresh.tests()), (again.means("round_no"), fresh.means("round_no"))):
        pd.testing.assert_frame_equal(one, other, check_exact=False, rtol=1e-8)
    assert again.variances["group"] == approx(fresh.variances["group"])
    assert again.left_out.equals(fit.left_out) and len(again.left_out) == len(ROWS) - len(rows)
    assert again.n_observations == len(rows) and again.outcome == "hr"
    for wrong in (values[:-1], [*values[:-1], np.nan], [*values[:-1], np.inf]):
        with pytest.raises(KitError, match=f"{len(rows)} finite numbers"):
            refit_mixed(fit, wrong)


def test_where_a_table_comes_from_does_not_matter(fit):
    """The index is no data, even one named as a column; the zero of a slope's column may lie far away."""
    indexed = ROWS.set_index(ROWS["athlete"].rename("athlete"))
    again = fit_mixed(indexed, "hr ~ C(round_no) + capacity", group="athlete")
    assert again.tests().equals(fit.tests()) and again.left_out["row"].equals(fit.left_out["row"])
    rows = study(10, 5, seed=2).assign(clock=lambda d: 2e6 + d["round_no"])
    near, far = (
        fit_mixed(rows, f"hr ~ {c}", group="athlete", slope=c, slope_correlated=False) for c in ("round_no", "clock")
    )
    assert far.slopes("clock")["estimate"][0] == approx(near.slopes("round_no")["estimate"][0], rel=1e-4)


def test_the_method_names_what_varies_between_athletes():
    rows = study(8, 4, seed=4).assign(bout=lambda d: d.index % 5, place=lambda d: d.index % 3)
    methods = [
        fit_mixed(rows, "hr ~ round_no", group="athlete", **options).method
        for options in ({}, {"slope": "round_no"}, {"crossed": ["bout", "place"]})
    ]
    start = "linear mixed model fitted by REML, random intercepts"
    assert methods == [start, start + " and slopes", start + " and crossed bout, place"]


def test_intervals_of_the_variances_that_are_asked_for(fit):
    every = fit.variance_intervals().set_index("component")
    assert every.index.tolist() == ["group", "residual"]
    one = fit.variance_intervals(components=["residual"])
    assert one["component"].tolist() == ["residual"]
    assert one.iloc[0][["ci_low", "ci_high"]].tolist() == approx(every.loc["residual", ["ci_low", "ci_high"]].tolist())
    assert fit.variance_intervals(likelihood="ml")["method"].str.startswith("profile ML").all()
