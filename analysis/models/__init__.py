"""Small-sample statistics that every other room calls: arrays and tables in, fits, tests and intervals out.

Knows nothing of sport or of files. Each public function is unrounded, seeded and checked against another program.

Mixed models
    ``fit_mixed(data, formula, *, group, slope=None, slope_correlated=True, crossed=None)`` gives a ``MixedFit``:
    ``.coefficients(ddf=, level=)`` table (term, estimate, standard_error, df, statistic, p, ci_low, ci_high),
    ``.test(term, ddf=)`` (statistic, df_num, df_den, p; also by ["p"]), ``.tests(ddf=)`` table of every term,
    ``.means(factor, ddf=, level=)`` table (factor, estimate, standard_error, df, ci_low, ci_high, n_athletes),
    ``.contrasts(factor, kind=, adjust=, ddf=, level=)`` table (contrast, later, earlier, estimate,
    standard_error, df, statistic, p, p_adjusted, ci_low, ci_high, ci_low_bonferroni, ci_high_bonferroni),
    ``.slopes(covariate, by=factor, ddf=, level=)`` table, ``.variances`` (group, slope, covariance, residual,
    crossed; by attribute or by ["group"]), ``.log_likelihood`` (REML), ``.icc``, ``.r_squared()``,
    ``.variance_intervals(level=)``, ``.random_effects()``, ``.residuals()``, ``.warnings``, ``.left_out``,
    ``.n_athletes``, ``.n_observations``. ddf: "kenward-roger", "satterthwaite", "cr2".
    ``refit_mixed(fit, values)`` gives the same model of other values in the rows used; ``refit_censored(fit, side)`` of
    values of which some are known only to lie beyond theirs; ``refit_pairs(fit, pair)`` with rows alike or opposed in pairs.
    ``fit_mixed_batch(outcomes, design, group, *, tests)`` gives a ``BatchFit``: ``fit["round"].F`` (also .p,
    .df_num, .df_den, .estimate, .standard_error: arrays over studies; ``fit.p["round"]`` is the same),
    ``.variance_group``, ``.variance_residual``, ``.beta``, ``.studies`` and ``.table()``.
Integrals
    ``legendre(n)``: nodes and weights of Gauss-Legendre quadrature on -1 to 1.
Several tests
    ``holm(p)``.
Paired effect sizes and intervals
    ``paired_effect_sizes(later, earlier, *, level=0.95)``, ``noncentral_f_interval(f, df_num, df_den, *, level)``.
Ranks
    ``signed_rank(differences, *, zeros="drop", alternative="two-sided", level=0.95)``: exact, with ties.
    ``shuffle_within(values, *, n_shuffles, seed)``, ``flip_p(values)``: ratings by their order, athletes with gaps kept;
    ``centred_ranks(values)``, ``f_of_ranks(centred, here)``: the same statistic of many studies.
Second opinions (statsmodels)
    ``robust_slope(outcome, design, *, level=0.95)``: least squares with HC3; ``marginal_change(outcome, condition, athlete, *,
    labels, level=0.95)``: generalised estimating equations. Both give a ``SecondOpinion``.
Resampling
    ``resample_indices(n, n_resamples, *, seed)``, ``bca_interval(replicates, estimate, leave_one_out, *, level)``,
    ``permutation_correlation(x, y, *, alternative, n_resamples=10_000, seed=0)``.
Exact distribution of a correlation (bivariate normal)
    ``correlation_log_likelihood(rho, r, n)``, ``correlation_cdf(r, rho, n)``,
    ``correlation_quantile(probability, rho, n)``, ``critical_correlation(n, *, alpha, alternative)``,
    ``fisher_interval(r, n, *, level, variance_factor=1.0)``.
"""

from .censored import refit_censored
from .correlation_distribution import (
    correlation_cdf,
    correlation_log_likelihood,
    correlation_quantile,
    critical_correlation,
    fisher_interval,
)
from .effect_sizes import PairedEffects, holm, legendre, noncentral_f_interval, paired_effect_sizes
from .libraries import Kappa, SecondOpinion, cohen_kappa, intraclass, intraclass_table, marginal_change, robust_slope
from .mixed import fit_mixed, refit_mixed
from .mixed_batch import BatchFit, BatchTest, fit_mixed_batch
from .mixed_fit import MixedFit, TermTest, Variances
from .pairs import refit_pairs
from .ranks import Shuffles, SignedRank, centred_ranks, f_of_ranks, flip_p, shuffle_within, signed_rank, tie_decimals
from .resampling import (
    BootstrapInterval,
    Permutation,
    bca_interval,
    pearson_rows,
    permutation_correlation,
    resample_indices,
)

__all__ = [
    "BatchFit", "BatchTest", "BootstrapInterval", "Kappa", "MixedFit", "PairedEffects", "Permutation", "SecondOpinion",
    "Shuffles", "SignedRank", "TermTest", "Variances", "bca_interval", "centred_ranks", "cohen_kappa",
    "correlation_cdf", "correlation_log_likelihood", "correlation_quantile", "critical_correlation", "f_of_ranks",
    "fisher_interval", "fit_mixed", "fit_mixed_batch", "flip_p", "holm", "intraclass", "intraclass_table", "legendre",
    "marginal_change", "noncentral_f_interval", "paired_effect_sizes", "pearson_rows", "permutation_correlation",
    "refit_censored", "refit_mixed", "refit_pairs", "resample_indices", "robust_slope", "shuffle_within", "signed_rank",
    "tie_decimals",
]  # fmt: skip
