"""Effect sizes, intervals, ranks, resampling and the distribution of a correlation against other programs."""

import itertools
import json
import math

import numpy as np
import pandas as pd
import pytest
from models_data import REFERENCES, load, unique_cases
from pytest import approx
from scipy import stats

from analysis.basics import KitError
from analysis.models import (
    bca_interval,
    correlation_cdf,
    correlation_log_likelihood,
    correlation_quantile,
    critical_correlation,
    fisher_interval,
    holm,
    noncentral_f_interval,
    paired_effect_sizes,
    pearson_rows,
    permutation_correlation,
    resample_indices,
    signed_rank,
)
from analysis.models.effect_sizes import hedges_factor, noncentral_t_interval
from analysis.models.ranks import rank_sum_distribution


def wide(data, params):
    table = data.pivot_table(index=params["id"], columns=params["within"], values=params["value"])
    table.columns = table.columns.astype(str)
    return table


@pytest.mark.parametrize("path", unique_cases("08_paired__*"), ids=lambda p: p.name)
def test_paired_effect_sizes_against_r(path):
    data, params, expected = load(path)
    table = wide(data, params)
    found = paired_effect_sizes(table[str(params["later"])], table[str(params["earlier"])])
    sizes = found.table
    for value, name in (
        (found.mean_difference, "mean_difference"),
        (found.statistic, "t"),
        (found.p, "p_two_sided"),
        (found.ci_low, "ci95_low"),
        (found.ci_high, "ci95_high"),
        (found.correlation, "correlation"),
        (hedges_factor(found.df), "hedges_J_exact_gamma"),
        (sizes.loc["d_z", "estimate"], "d_z"),
        (sizes.loc["d_z", "ci_low"], "d_z_ci95_low_noncentral_t"),
        (sizes.loc["d_z", "ci_high"], "d_z_ci95_high_noncentral_t"),
        (sizes.loc["g_z", "estimate"], "g_z_exact"),
        (sizes.loc["d_av", "estimate"], "d_av_root_mean_square_sds"),
        (sizes.loc["d_av", "ci_low"], "d_av_rms_ci95_low_algina_keselman"),
        (sizes.loc["d_av", "ci_high"], "d_av_rms_ci95_high_algina_keselman"),
        (sizes.loc["g_av", "estimate"], "g_av_rms_J_exact"),
        (sizes.loc["d_av_mean_sd", "estimate"], "d_av_mean_of_sds"),
        (sizes.loc["g_av_mean_sd", "estimate"], "g_av_mean_of_sds_J_exact"),
        (sizes.loc["d_rm", "estimate"], "d_rm"),
    ):
        assert value == approx(expected[name], rel=1e-8), name
    assert sizes.loc["g_z", "ci_low"] == approx(expected["effectsize_g_ci95_low"], abs=1e-5)


def test_paired_effect_sizes_at_the_edges():
    same = paired_effect_sizes([5.0, 6.0, 7.0], [4.0, 5.0, 6.0])
    assert same.mean_difference == 1.0 and same.table["estimate"].isna()["d_z"] and same.warnings
    one = paired_effect_sizes([5.0, np.nan], [4.0, 5.0])
    assert (one.n_athletes, one.n_left_out, one.mean_difference) == (1, 1, 1.0) and math.isnan(one.p)
    none = paired_effect_sizes([], [])
    assert none.n_athletes == 0 and math.isnan(none.mean_difference)
    two = paired_effect_sizes([5.0, 8.0], [4.0, 5.0])
    assert two.df == 1 and math.isnan(two.table.loc["g_z", "estimate"])
    with pytest.raises(KitError, match="one value per athlete"):
        paired_effect_sizes([1.0, 2.0], [1.0])


def test_noncentral_intervals_invert_their_distributions():
    for t, df in itertools.product((-30.0, -2.0, 0.0, 0.4, 8.0, 80.0), (2, 7, 40)):
        low, high = noncentral_t_interval(t, df, level=0.9)
        assert stats.nct.sf(t, df, low) == approx(0.05, abs=1e-7)
        assert stats.nct.cdf(t, df, high) == approx(0.05, abs=1e-7)
        assert noncentral_t_interval(-t, df, level=0.9) == approx((-high, -low))
    low, high = noncentral_f_interval(6.0, 3, 20, level=0.9)
    assert stats.ncf.sf(6.0, 3, 20, low) == approx(0.05, abs=1e-8)
    assert stats.ncf.cdf(6.0, 3, 20, high) == approx(0.05, abs=1e-8)
    assert noncentral_f_interval(0.1, 3, 20)[0] == 0.0 == noncentral_f_interval(0.0, 3, 20)[1]
    # an interval of 90 % leaves out 0 exactly where p < .05
    critical = stats.f.isf(0.05, 3, 20)
    lowest = [noncentral_f_interval(critical * near, 3, 20, level=0.9)[0] for near in (1.001, 0.999)]
    assert lowest[0] > 0 == lowest[1]
    assert all(math.isnan(v) for v in noncentral_t_interval(math.nan, 5))
    with pytest.raises(KitError, match="between 0 and 1"):
        noncentral_t_interval(1.0, 5, level=95)


@pytest.mark.parametrize("path", unique_cases("05_friedman_wilcoxon__*"), ids=lambda p: p.name)
def test_signed_ranks_against_full_permutation(path):
    data, params, expected = load(path)
    table = wide(data, params).dropna()
    for row in expected["pairwise"]:
        difference = table[row["later"]] - table[row["earlier"]]
        found = signed_rank(difference)
        assert found.p == approx(row["p_exact_permutation_zeros_dropped"], rel=1e-10)
        assert signed_rank(difference, zeros="pratt").p == approx(row["p_exact_permutation_pratt"], rel=1e-10)
        assert found.statistic == row["V_positive_rank_sum"]
        assert found.rank_biserial == approx(row["rank_biserial_matched_pairs"])
        assert found.pseudomedian == approx(row["hodges_lehmann_pseudomedian_all_walsh_averages"])
        assert (found.n_zero, found.n_nonzero) == (row["n_zero"], row["n_nonzero"])
        assert found.has_ties == row["has_tied_ranks"]


def test_signed_ranks_by_hand_and_by_enumeration():
    d = np.array([3, -1, 4, 1, -5, 9, 2, 6.0])
    ranks = stats.rankdata(np.abs(d))
    sums = [sum(r for r, up in zip(ranks, flips, strict=True) if up) for flips in itertools.product((0, 1), repeat=8)]
    v = ranks[d > 0].sum()
    greater = np.mean([s >= v for s in sums])
    assert signed_rank(d, alternative="greater").p == approx(greater)
    assert signed_rank(-d, alternative="less").p == approx(greater)
    # without ties the scipy exact test is right
    e = np.array([1.1, -2.3, 3.7, 4.2, 5.9, -0.4, 7.7])
    assert signed_rank(e).p == approx(stats.wilcoxon(e, method="exact").pvalue)
    assert rank_sum_distribution([3, 5]).sum() == approx(1.0)
    # Hollander, Wolfe & Chicken (2014), depression factor of nine patients: V+ = 5, one-sided p = .020, estimate -0.46
    # (their example 3.1; values from memory)
    before = [1.83, 0.50, 1.62, 2.48, 1.68, 1.88, 1.55, 3.06, 1.30]
    after = [0.878, 0.647, 0.598, 2.05, 1.06, 1.29, 1.06, 3.14, 1.29]
    found = signed_rank(np.subtract(after, before), alternative="less")
    assert (found.statistic, found.p) == (5, approx(0.0195, abs=1e-4))
    assert found.pseudomedian == approx(-0.46, abs=1e-9)
    assert found.ci_low < -0.46 < found.ci_high


def test_signed_ranks_at_the_edges():
    assert signed_rank([0.0, 0.0]).p == 1.0
    empty = signed_rank([np.nan])
    assert math.isnan(empty.p) and empty.n_left_out == 1
    few = signed_rank([1.0, 2.0])
    assert few.p == 0.5 and math.isinf(few.ci_low)
    # decimal ties stay ties: 165.3 - 160.1 and 5.2 are the same difference
    assert signed_rank([165.3 - 160.1, -5.2, 1.0]).has_ties


@pytest.mark.parametrize("path", unique_cases("06_correlation__*"), ids=lambda p: p.name)
def test_bootstrap_and_fisher_against_r(path):
    _, params, expected = load(path)
    athletes = pd.read_csv(path / "athlete_level.csv")
    indices = pd.read_csv(path / "bootstrap_indices.csv").to_numpy() - 1
    boot = expected["bootstrap_pearson"]
    x, y = (athletes[params[k]].to_numpy() for k in "xy")
    others = ~np.eye(len(x), dtype=bool)
    without_one = [np.corrcoef(x[keep], y[keep])[0, 1] for keep in others]
    found = bca_interval(pearson_rows(x[indices], y[indices]), np.corrcoef(x, y)[0, 1], without_one)
    assert found.ci_low == approx(boot["bca95_low_quantile_type7"], rel=1e-8)
    assert found.ci_high == approx(boot["bca95_high_quantile_type7"], rel=1e-8)
    assert found.acceleration == approx(boot["acceleration_jackknife"], rel=1e-8)
    assert found.bias_correction == approx(boot["bias_correction_z0_share_strictly_below"], abs=1e-12)
    assert found.standard_error == approx(boot["bootstrap_se"], rel=1e-8)
    pearson, spearman = expected["pearson"], expected["spearman"]
    assert fisher_interval(pearson["r"], expected["n"]) == approx((pearson["ci95_low"], pearson["ci95_high"]))
    rho = spearman["rho"]
    assert fisher_interval(rho, expected["n"], variance_factor=1 + rho**2 / 2) == approx(
        (spearman["ci95_bonett_wright_low"], spearman["ci95_bonett_wright_high"])
    )


def test_bootstrap_is_seeded_and_counts_failures():
    assert (resample_indices(6, 4, seed=1) == resample_indices(6, 4, seed=1)).all()
    draws = [0.1, math.nan, 0.3, 0.2]
    found = bca_interval(draws, 0.2, [0.1, 0.2, 0.3])
    assert found.n_failed == 1 and found.n_resamples == 4
    assert math.isnan(bca_interval([], 0.1, [0.1, 0.2]).ci_low)
    edge = bca_interval(np.linspace(0, 1, 50), 2.0, [1.9, 2.0, 2.1])
    assert math.isfinite(edge.ci_low) and edge.ci_high <= 1.0


def test_permutation_exact_and_random():
    rng = np.random.default_rng(0)
    x, y = rng.normal(size=7), rng.normal(size=7)
    exact = permutation_correlation(x, y)
    r = abs(np.corrcoef(x, y)[0, 1])
    share = np.mean([abs(np.corrcoef(x, list(o))[0, 1]) >= r - 1e-12 for o in itertools.permutations(y)])
    assert exact.exact and exact.p == approx(share) and exact.n_permutations == 5040
    x, y = rng.normal(size=14), rng.normal(size=14)
    many = permutation_correlation(x, y, n_resamples=4000)
    assert not many.exact and many.p == approx(stats.pearsonr(x, y).pvalue, abs=0.03)
    assert permutation_correlation(x, y, seed=3).p == permutation_correlation(x, y, seed=3).p
    low = permutation_correlation(x, y, alternative="less").p + permutation_correlation(x, y, alternative="greater").p
    assert low == approx(1.0, abs=0.01)
    assert math.isnan(permutation_correlation([1.0, 1.0, 1.0], [1.0, 2.0, 3.0]).p)
    with pytest.raises(KitError, match="none missing"):
        permutation_correlation([1.0, np.nan], [1.0, 2.0])


def power_cases():
    return json.loads((REFERENCES / "planning" / "power.json").read_text(encoding="utf-8"))


def test_exact_distribution_of_a_correlation_against_r():
    for row in power_cases()["exact_cdf_of_r"]:
        # below 1e-13 the adaptive quadrature of R has lost its digits
        assert correlation_cdf(row["q"], row["rho"], row["n"]) == approx(row["cdf"], rel=1e-9, abs=1e-15)


def test_exact_distribution_of_a_correlation_agrees_with_high_precision_and_with_itself():
    import mpmath as mp

    rho, n = mp.mpf("0.8"), 30

    def density(r):
        top = (n - 2) * mp.gamma(n - 1) * (1 - rho**2) ** (mp.mpf(n - 1) / 2) * (1 - r**2) ** (mp.mpf(n - 4) / 2)
        bottom = mp.sqrt(2 * mp.pi) * mp.gamma(n - mp.mpf(1) / 2) * (1 - rho * r) ** (n - mp.mpf(3) / 2)
        return top / bottom * mp.hyp2f1(0.5, 0.5, n - mp.mpf(1) / 2, (1 + rho * r) / 2)

    exact = mp.quad(density, [-1, -0.75, -0.5])
    assert correlation_cdf(-0.5, 0.8, 30) == approx(float(exact), rel=1e-9)
    likelihood = math.exp(correlation_log_likelihood(0.8, -0.5, 30))
    assert likelihood == approx(float(density(mp.mpf("-0.5"))), rel=1e-10)
    for n, rho in itertools.product((3, 4, 7, 20, 300), (-0.97, -0.3, 0.0, 0.6)):
        assert correlation_cdf(correlation_quantile(0.3, rho, n), rho, n) == approx(0.3, abs=1e-10)
        for r in (-0.9, 0.1, 0.95):
            both = correlation_cdf(r, rho, n) + correlation_cdf(r, rho, n, upper=True)
            assert both == approx(1.0, abs=1e-12)
            assert correlation_cdf(r, rho, n) == approx(correlation_cdf(-r, -rho, n, upper=True), abs=1e-12)
    # at rho = 0 it is Student's t, and a point close to 0 must join it
    assert correlation_cdf(0.4, 0.0, 12) == approx(correlation_cdf(0.4, 1e-9, 12), abs=1e-8)
    assert correlation_cdf(critical_correlation(12), 0.0, 12, upper=True) == approx(0.025, abs=1e-12)
    assert critical_correlation(12, alternative="less") == -critical_correlation(12, alternative="greater")


def test_correlation_intervals():
    low, high = fisher_interval(0.5, 400)  # with so many athletes close to the exact law
    assert correlation_cdf(0.5, low, 400, upper=True) == approx(0.025, abs=2e-3)
    assert correlation_cdf(0.5, high, 400) == approx(0.025, abs=2e-3)
    assert fisher_interval(0.5, 3) == (-1.0, 1.0) and math.isnan(fisher_interval(1.0, 9)[0])
    grid = np.linspace(-0.99, 0.99, 199)
    assert grid[np.argmax(correlation_log_likelihood(grid, 0.6, 500))] == approx(0.6, abs=0.011)
    with pytest.raises(KitError, match="three athletes"):
        correlation_cdf(0.1, 0.2, 2)
    with pytest.raises(KitError, match="between -1 and 1"):
        correlation_cdf(0.1, 1.2, 9)


def test_holm():
    assert holm([0.01, 0.04, 0.03, 0.005]) == approx([0.03, 0.06, 0.06, 0.02])
    found = holm([0.5, np.nan, 0.02])
    assert found[0] == 0.5 and found[2] == approx(0.04) and math.isnan(found[1])
    assert len(holm([])) == 0


def test_holm_agrees_with_statsmodels():
    from statsmodels.stats.multitest import multipletests

    rng = np.random.default_rng(8)
    for size in (1, 2, 5, 12):
        p = np.round(rng.random(size) ** 2, 2)
        assert holm(p) == approx(multipletests(p, method="holm")[1])
