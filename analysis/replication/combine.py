"""Several correlations combined: fixed effect for two studies, random effects from three on."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ..basics import KitError, Result, check_choice
from .fisher import normal_quantile, to_z, variance_of_z


@dataclass(frozen=True)
class Combined(Result):
    """Several correlations combined.

    Parameters
    ----------
    estimate, ci_low, ci_high : float
        Combined correlation with its 95 % interval.
    standard_error : float
        Of Fisher's z.
    statistic, p : float
        z and its two-sided p.
    weights : tuple of float
        Share of each study.
    tau2 : float
        Variance between studies on Fisher's z, never below 0; 0 for the fixed-effect form.
    q_cochran, p_cochran, i2 : float
        Heterogeneity.
    prediction_low, prediction_high : float
        Where the true correlation of another such study would lie (from three studies on), else not-a-number.
    model : str
        "fixed effect" or "random effects".
    n_studies, n_athletes : int
    method : str
    """

    estimate: float
    ci_low: float
    ci_high: float
    standard_error: float
    statistic: float
    p: float
    weights: tuple[float, ...]
    tau2: float
    q_cochran: float
    p_cochran: float
    i2: float
    prediction_low: float
    prediction_high: float
    model: str
    n_studies: int
    n_athletes: int
    method: str


def combine(r: float, n: int, r_new: float, n_new: int) -> Combined:
    """Combine the earlier correlation and ours, as if both had studied the same truth (fixed effect).

    Parameters
    ----------
    r, r_new : float
    n, n_new : int

    Returns
    -------
    Combined
        With two studies a variance between studies cannot be estimated, so that the fixed effect is shown.

    Examples
    --------
    >>> round(combine(-0.69, 14, -0.42, 16).estimate, 3)
    -0.559
    """
    return combine_correlations([r, r_new], [n, n_new])


def combine_correlations(r: Sequence[float], n: Sequence[int], *, model: str = "") -> Combined:
    """Combine several correlations: fixed effect for two, random effects from three on.

    Parameters
    ----------
    r : sequence of float
    n : sequence of int
    model : {"", "fixed effect", "random effects"}
        Default: chosen by the number of studies.

    Returns
    -------
    Combined

    Notes
    -----
    Fisher z with weights n − 3. The variance between studies is the Paule-Mandel estimate, which is never below 0;
    the interval of the random-effects form uses Hartung, Knapp, Sidik and Jonkman's variance with t on k − 1 degrees of freedom.

    References
    ----------
    Paule & Mandel 1982, J Res Natl Bur Stand 87:377; Hartung & Knapp 2001, Stat Med 20:3875; Higgins, Thompson &
    Spiegelhalter 2009, J R Stat Soc A 172:137 (prediction interval).

    Examples
    --------
    >>> combine_correlations([-0.5, -0.4, -0.6], [14, 20, 16]).tau2
    0.0
    """
    import numpy as np
    from scipy.stats import chi2, norm
    from scipy.stats import t as student

    z = np.array([to_z(one) for one in r])
    v = np.array([variance_of_z(one) for one in n])
    if len(z) != len(v) or len(z) < 2:
        raise KitError("Combining needs at least two correlations, each with its number of athletes.")
    k = len(z)
    model = check_choice(model or ("fixed effect" if k < 3 else "random effects"),
                         ["fixed effect", "random effects"], name="model")  # fmt: skip
    fixed = np.sum(z / v) / np.sum(1 / v)
    q = float(np.sum((z - fixed) ** 2 / v))
    tau2 = _paule_mandel(z, v) if model == "random effects" else 0.0
    w = 1 / (v + tau2)
    centre = float(np.sum(w * z) / np.sum(w))
    se, quantile = 1 / math.sqrt(np.sum(w)), normal_quantile(0.95)
    low = high = math.nan
    if model == "random effects":
        scale = max(1.0, float(np.sum(w * (z - centre) ** 2) / (k - 1)))
        se, quantile = se * math.sqrt(scale), float(student.ppf(0.975, k - 1))
        half = float(student.ppf(0.975, max(k - 2, 1))) * math.sqrt(tau2 + se**2)
        low, high = math.tanh(centre - half), math.tanh(centre + half)
    statistic = centre / se
    p = 2 * (student.sf(abs(statistic), k - 1) if model == "random effects" else norm.sf(abs(statistic)))
    return Combined(
        estimate=math.tanh(centre),
        ci_low=math.tanh(centre - quantile * se),
        ci_high=math.tanh(centre + quantile * se),
        standard_error=se,
        statistic=statistic,
        p=float(p),
        weights=tuple(float(x) for x in w / w.sum()),
        tau2=tau2,
        q_cochran=q,
        p_cochran=float(chi2.sf(q, k - 1)),
        i2=max(0.0, (q - (k - 1)) / q) if q > 0 else 0.0,
        prediction_low=low,
        prediction_high=high,
        model=model,
        n_studies=k,
        n_athletes=int(sum(n)),
        method=f"{model} on Fisher's z",
    )


def _paule_mandel(z, v) -> float:
    """Return the Paule-Mandel variance between studies, 0 where the studies vary no more than chance."""
    import numpy as np
    from scipy.optimize import brentq

    def excess(tau2):
        w = 1 / (v + tau2)
        centre = np.sum(w * z) / np.sum(w)
        return float(np.sum(w * (z - centre) ** 2) - (len(z) - 1))

    if excess(0.0) <= 0:
        return 0.0
    high = 1.0
    while excess(high) > 0:
        high *= 4
    return float(brentq(excess, 0.0, high, xtol=1e-14))
