"""Pairs alike or opposed, and tests by shuffling: against closed forms, brute force and known levels."""

from itertools import permutations, product

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.basics import KitError
from analysis.models import centred_ranks, f_of_ranks, fit_mixed, flip_p, refit_pairs, shuffle_within
from analysis.models.mixed import fit_mixed as plain_fit
from analysis.planning.ask import bout_numbers


def club(n, rho, rng, k=4):
    bout = bout_numbers(n, k) * k + np.arange(k)
    seen, sign = set(), np.ones(n * k)
    for i, b in enumerate(bout.ravel()):
        sign[i] = -1 if b in seen and rho < 0 else 1
        seen.add(b)
    shared = rng.normal(size=bout.max() + 1)[bout.ravel()] * sign
    y = rng.normal(size=n).repeat(k) * 1.2 + np.sqrt(abs(rho)) * shared + np.sqrt(1 - abs(rho)) * rng.normal(size=n * k)
    table = pd.DataFrame({"athlete": np.repeat(range(n), k), "round_no": np.tile(range(k), n), "y": y})
    return table.assign(bout=bout.ravel())


def test_pairs_alike_are_the_crossed_variance_of_the_mixed_model():
    table = club(12, 0.5, np.random.default_rng(1))
    ours = refit_pairs(fit_mixed(table, "y ~ C(round_no)", group="athlete"), table["bout"])
    theirs = plain_fit(table, "y ~ C(round_no)", group="athlete", crossed="bout")
    assert ours.variances.crossed == pytest.approx(theirs.variances.crossed, rel=1e-5)
    found, known = ours.test("round_no"), theirs.test("round_no")
    assert found.statistic == pytest.approx(known.statistic, rel=1e-5)
    assert found.df_den == min(known.df_den, 11) and found.p == pytest.approx(
        stats.f.sf(known.statistic, 3, found.df_den), rel=1e-4
    )


def test_pairs_that_show_nothing_by_chance_take_no_more_degrees_of_freedom_than_athletes_less_one():
    table = club(12, 0.2, np.random.default_rng(0))
    fit = refit_pairs(fit_mixed(table, "y ~ C(round_no)", group="athlete"), table["bout"])
    known = plain_fit(table, "y ~ C(round_no)", group="athlete", crossed="bout")
    assert known.test("round_no").df_den > 15 and known.contrasts("round_no")["df"].min() > 15
    assert fit.test("round_no").df_den == 11 and (fit.contrasts("round_no")["df"] == 11).all()


def test_opposed_pairs_have_a_covariance_below_zero_and_their_likelihood_is_the_normal_one():
    table = club(12, -0.6, np.random.default_rng(2))
    fit = refit_pairs(fit_mixed(table, "y ~ C(round_no)", group="athlete"), table["bout"])
    c = fit.variances.crossed
    assert c < 0
    same = table["bout"].to_numpy()[:, None] == table["bout"].to_numpy()
    athlete = table["athlete"].to_numpy()[:, None] == table["athlete"].to_numpy()
    V = fit.variances.group * athlete + np.where(same, c, 0.0)
    np.fill_diagonal(V, fit.variances.group - c + fit.variances.residual)
    X = fit._design.X
    inner = np.linalg.inv(V)
    P = X.T @ inner @ X
    r = table["y"] - X @ np.linalg.solve(P, X.T @ inner @ table["y"])
    rest = len(table) - X.shape[1]
    value = -0.5 * (np.linalg.slogdet(V)[1] + np.linalg.slogdet(P)[1] + r @ inner @ r + rest * np.log(2 * np.pi))
    assert fit.log_likelihood == pytest.approx(value, abs=1e-8)


def test_the_robust_tests_of_pairs_are_those_without():
    table = club(8, 0.2, np.random.default_rng(3))
    plain = fit_mixed(table, "y ~ C(round_no)", group="athlete")
    paired = refit_pairs(plain, table["bout"])
    for name in ("standard_error", "df"):
        ours, theirs = (f.contrasts("round_no", ddf="cr2")[name].to_numpy() for f in (paired, plain))
        assert ours == pytest.approx(theirs)


@pytest.mark.parametrize("rho", [-0.4, 0.4])
def test_false_changes_with_pairs_stay_near_five_per_cent(rho):
    rng, n_studies = np.random.default_rng(5), 12
    hits = 0
    for _ in range(n_studies):
        table = club(8, rho, rng)
        hits += (
            refit_pairs(fit_mixed(table, "y ~ C(round_no)", group="athlete"), table["bout"]).test("round_no").p < 0.05
        )
    assert stats.binomtest(int(hits), n_studies, 0.05).pvalue > 0.001


def test_three_in_a_pair_are_refused():
    table = club(6, 0.0, np.random.default_rng(0))
    with pytest.raises(KitError, match="two rows at most"):
        refit_pairs(fit_mixed(table, "y ~ C(round_no)", group="athlete"), np.zeros(len(table)))


def test_shuffles_agree_with_every_shuffle_counted():
    values = np.array([[12, 14, 15.0], [11, 14, 14], [13, np.nan, 15], [12, 13, 16]])
    centred, here = centred_ranks(values[None])
    observed = f_of_ranks(centred, here)["F"][0]
    reached = total = 0
    for orders in product(*(list(permutations(row[np.isfinite(row)])) for row in values)):
        made = values.copy()
        for row, order in zip(made, orders, strict=True):
            row[np.isfinite(row)] = order
        reached += f_of_ranks(*centred_ranks(made[None]))["F"][0] >= observed - 1e-9
        total += 1
    assert total == 6 * 6 * 2 * 6
    assert shuffle_within(values, n_shuffles=40_000).p == pytest.approx(reached / total, abs=4 * np.sqrt(0.01 / 40_000))


def test_two_rounds_are_exact():
    values = np.array([[12, 14.0], [11, 14], [15, 13], [12, 13], [12, 15], [11, 11]])
    ranks = stats.rankdata(values).reshape(values.shape)
    d = ranks[:, 1] - ranks[:, 0]
    sums = np.array([np.dot(signs, d) for signs in product([1, -1], repeat=len(d))])
    expected = min(1.0, 2 * min((sums >= d.sum() - 1e-9).mean(), (sums <= d.sum() + 1e-9).mean()))
    assert flip_p(values) == pytest.approx(expected)
    assert shuffle_within(values).p == pytest.approx(expected)


def test_only_the_order_of_the_ratings_matters():
    rng = np.random.default_rng(6)
    values = rng.integers(6, 20, (9, 4)).astype(float)
    values[2, 1] = np.nan
    assert shuffle_within(values, seed=1).p == shuffle_within(values**3, seed=1).p


def test_f_of_complete_values_is_the_two_way_analysis_of_variance():
    values = np.random.default_rng(7).normal(size=(10, 4))
    ranks = stats.rankdata(values).reshape(values.shape)
    between = 10 * ((ranks.mean(axis=0) - ranks.mean()) ** 2).sum()
    within = ((ranks - ranks.mean(axis=1, keepdims=True)) ** 2).sum()
    expected = (between / 3) / ((within - between) / 27)
    assert f_of_ranks(*centred_ranks(values[None]))["F"][0] == pytest.approx(expected)


def test_athletes_with_gaps_count_and_the_level_holds():
    rng, n_studies = np.random.default_rng(8), 2000
    y = np.round(13 + 1.5 * rng.normal(size=(n_studies, 10, 1)) + rng.normal(size=(n_studies, 10, 4)))
    y[rng.random(y.shape) < 0.15] = np.nan
    p = f_of_ranks(*centred_ranks(y))["p"]
    assert stats.binomtest(int((p < 0.05).sum()), n_studies, 0.05).pvalue > 0.001


def test_nothing_to_shuffle():
    assert np.isnan(shuffle_within(np.full((3, 3), np.nan)).p)
    assert np.isnan(shuffle_within(np.ones((3, 3))).p)
    with pytest.raises(KitError, match="one row per athlete"):
        shuffle_within([1.0, 2.0])
