"""Small-sample statistics that every other room calls: arrays and tables in, fits, tests and intervals out.

Knows nothing of sport or of files. Each public function is unrounded, seeded and checked against another program.

Mixed models: ``fit_mixed`` gives a ``mixed_fit.MixedFit`` with its tests, means, contrasts and slopes; ``refit_mixed``,
``refit_censored`` and ``refit_pairs`` fit the same model to other values; ``fit_mixed_batch`` fits many studies at once.
Paired values: ``paired_effect_sizes``, ``signed_rank``. Ratings by their order: ``shuffle_within``, ``flip_p``,
``centred_ranks``, ``f_of_ranks``. Several tests: ``holm``. Agreement of raters and repeats: ``cohen_kappa``, ``intraclass``.
Second opinions of another library: ``robust_slope``, ``marginal_change``. Resampling: ``bca_interval``,
``permutation_correlation``. A correlation's exact distribution: ``correlation_cdf``, ``correlation_quantile``.
"""

from .censored import refit_censored
from .correlation_distribution import (
    correlation_cdf,
    correlation_log_likelihood,
    correlation_quantile,
    critical_correlation,
    fisher_interval,
)
from .effect_sizes import holm, legendre, noncentral_f_interval, paired_effect_sizes
from .libraries import cohen_kappa, intraclass, intraclass_table, marginal_change, robust_slope
from .mixed import fit_mixed, refit_mixed
from .mixed_batch import fit_mixed_batch
from .pairs import refit_pairs
from .ranks import centred_ranks, f_of_ranks, flip_p, shuffle_within, signed_rank, tie_decimals
from .resampling import bca_interval, pearson_rows, permutation_correlation, resample_indices

__all__ = [
    "bca_interval", "centred_ranks", "cohen_kappa", "correlation_cdf", "correlation_log_likelihood",
    "correlation_quantile", "critical_correlation", "f_of_ranks", "fisher_interval", "fit_mixed", "fit_mixed_batch",
    "flip_p", "holm", "intraclass", "intraclass_table", "legendre", "marginal_change", "noncentral_f_interval",
    "paired_effect_sizes", "pearson_rows", "permutation_correlation", "refit_censored", "refit_mixed", "refit_pairs",
    "resample_indices", "robust_slope", "shuffle_within", "signed_rank", "tie_decimals",
]  # fmt: skip
