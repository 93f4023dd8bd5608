"""What belongs beside a fitted mixed model: shares of variance, intervals of the variances, residuals for pictures."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from ..basics import Result

if TYPE_CHECKING:
    from .mixed_fit import MixedFit


NORMAL_95 = 1.959963984540054
"""Quantile of the normal distribution for a 95 % interval."""


@dataclass(frozen=True)
class RSquared(Result):
    """Share of the variance that a mixed model explains.

    Parameters
    ----------
    marginal : float
        By the terms of the formula alone.
    conditional : float
        By the terms and the random effects.
    method : str
        In words.
    """

    marginal: float
    conditional: float
    method: str = "Nakagawa and Schielzeth (2013); with slopes, Johnson (2014)"


@dataclass(frozen=True)
class MixedDiagnostics(Result):
    """What the assumption pictures of a mixed model show.

    Parameters
    ----------
    outcome : str
        Name of the outcome.
    residuals : DataFrame
        Per observation: athlete, level, fitted, residual, scaled_residual (residual / residual SD), normal_quantile.
    random_effects : DataFrame
        Per athlete and effect: estimate, standard_error, scaled_estimate, normal_quantile.
    spread : DataFrame
        Per level of the first factor: n_observations and SD of the residuals, to see a spread that grows.
    n_athletes, n_observations : int
    warnings : tuple of str
    factor : str
        The first factor of the formula, "" without one.
    method : str
    """

    outcome: str
    residuals: pd.DataFrame
    random_effects: pd.DataFrame
    spread: pd.DataFrame
    n_athletes: int
    n_observations: int
    warnings: tuple[str, ...]
    factor: str = ""
    method: str = "conditional residuals and predicted random effects of the fitted mixed model"


def variance_share(variances) -> float:
    """Between-athlete share of the variance: group / (group + crossed + residual); slopes are not counted."""
    crossed = 0.0 if np.isnan(variances.crossed) else variances.crossed
    return variances.group / (variances.group + crossed + variances.residual)


def r_squared(fit: MixedFit) -> RSquared:
    """Marginal and conditional R squared."""
    # Source: Nakagawa S, Schielzeth H (2013) Methods in Ecology and Evolution 4:133-142. Johnson PCD
    # (2014) ibid. 5:944-946.
    tests = fit._tests
    structure = tests.problem.structure
    fixed = float(np.var(fit._design.X @ tests.beta, ddof=1))
    G = structure.covariance(structure.relative(tests.theta)[0]) * tests.sigma2
    random = float(np.mean(np.einsum("ij,jk,ik->i", structure.Z, G, structure.Z)))
    total = fixed + random + tests.sigma2
    return RSquared(fixed / total, (fixed + random) / total)


def random_effects(fit: MixedFit) -> pd.DataFrame:
    """Predicted deviations (best linear unbiased predictors) of the athletes, and of crossed groupings."""
    tests = fit._tests
    problem, structure = tests.problem, tests.problem.structure
    g = structure.relative(tests.theta)[0]
    G = structure.covariance(g)
    Z = structure.Z
    v = np.append(problem.ols - tests.coordinates, 1.0)
    inner = np.linalg.inv(np.eye(Z.shape[1]) + Z.T @ Z @ G)  # (I + Z'Z G)^-1
    effects = G @ inner @ (Z.T @ (problem.M @ v))
    covariance = tests.sigma2 * G @ inner
    error = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    labels = _effect_labels(fit)
    scale = np.array([structure.scale if effect == "slope" else 1.0 for effect, _ in labels])
    effects, error = effects / scale, error / scale
    return pd.DataFrame(
        {
            "level": [level for _, level in labels],
            "effect": [effect for effect, _ in labels],
            "estimate": effects,
            "standard_error": error,
            "ci_low": effects - NORMAL_95 * error,
            "ci_high": effects + NORMAL_95 * error,
        }
    )


def _effect_labels(fit):
    out = [("intercept", a) for a in fit._athlete_names]
    if fit._slope:
        out += [("slope", a) for a in fit._athlete_names]
    for column in fit._crossed:
        out += [(column, v) for v in pd.unique(_used_rows(fit)[column])]
    return out


def _used_rows(fit):
    return fit._data.loc[fit._design.kept]


def residuals(fit: MixedFit) -> pd.DataFrame:
    """Fitted values and residuals, one row per observation used."""
    tests = fit._tests
    marginal = fit._design.X @ tests.beta
    structure = tests.problem.structure
    effects = random_effects(fit)
    scale = np.where(effects["effect"] == "slope", structure.scale, 1.0)
    fitted = marginal + structure.Z @ (effects["estimate"].to_numpy() * scale)
    rows = _used_rows(fit)
    shown = [fit.group, *(k for k in fit._design.factors if k in rows.columns and k != fit.group)]
    table = rows[shown].reset_index(drop=True)
    residual = fit._design.y - fitted
    return table.assign(
        observed=fit._design.y,
        fitted_marginal=marginal,
        fitted=fitted,
        residual=residual,
        scaled_residual=residual / np.sqrt(tests.sigma2),
    )


def diagnostics(fit: MixedFit) -> MixedDiagnostics:
    """Residuals and random effects with the normal quantiles that their pictures compare them with."""
    table = residuals(fit)
    factor = next((f.key for f in fit._design.factors.values() if f.categorical), None)
    table = table.rename(columns={fit.group: "athlete"})
    table["level"] = table[factor].astype(str) if factor in table else ""
    table["normal_quantile"] = _normal_quantiles(table["scaled_residual"])
    effects = random_effects(fit)
    error = effects.groupby("effect", sort=False)["estimate"].transform(lambda v: v.std(ddof=1))
    effects["scaled_estimate"] = np.where(
        error > 0, effects["estimate"] / error.where(error > 0, 1.0), np.nan
    )
    effects["normal_quantile"] = np.nan
    for _, part in effects.groupby("effect", sort=False):
        effects.loc[part.index, "normal_quantile"] = _normal_quantiles(part["estimate"])
    spread = (
        table.groupby("level", sort=False)["residual"]
        .agg(n_observations="count", residual_sd="std")
        .reset_index()
    )
    return MixedDiagnostics(
        outcome=fit.outcome,
        residuals=table,
        random_effects=effects,
        spread=spread,
        n_athletes=fit.n_athletes,
        n_observations=fit.n_observations,
        warnings=fit.warnings,
        factor=factor or "",
    )


def _normal_quantiles(values):
    """Blom's plotting positions: where each value would lie if all came from one normal distribution."""
    from scipy.special import ndtri
    from scipy.stats import rankdata

    n = len(values)
    return ndtri((rankdata(np.asarray(values)) - 0.375) / (n + 0.25))
