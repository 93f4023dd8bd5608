"""The fitted mixed model: its coefficients, tests, means, contrasts and slopes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, did_you_mean
from .effect_sizes import check_level, holm
from .formula import INTERCEPT
from .small_sample import METHOD_WORDS
from .variance_profiles import variance_intervals


class ByName(Mapping):
    """Fields of a dataclass also by name in brackets."""

    def __getitem__(self, name):
        if name in self.__dataclass_fields__:
            return getattr(self, name)
        raise KeyError(name)

    def __iter__(self):
        return (f.name for f in fields(self))

    def __len__(self):
        return len(fields(self))


@dataclass(frozen=True)
class Variances(ByName, Result):
    """Variance components; those that the model does not have are not-a-number."""

    group: float  # Between athletes (of the intercepts where there are slopes)
    slope: float  # Of the slopes of athletes
    covariance: float  # Between intercepts and slopes
    residual: float  # Within athletes
    crossed: float  # Of the crossed grouping (their sum where there are several)


@dataclass(frozen=True)
class TermTest(ByName, Result):
    """Type III test of one term."""

    term: str  # As in the formula
    statistic: float  # F
    df_num: float
    df_den: float
    p: float
    method: str


NORMAL_95 = 1.959963984540054
"""Quantile of the normal distribution for a 95 % interval."""


@dataclass(frozen=True)
class RSquared(Result):
    """Share of the variance that a mixed model explains."""

    marginal: float  # by the terms of the formula alone
    conditional: float  # by the terms and the random effects
    method: str = "Nakagawa and Schielzeth (2013); with slopes, Johnson (2014)"


@dataclass(frozen=True)
class MixedDiagnostics(Result):
    """What the assumption pictures of a mixed model show."""

    outcome: str  # name of the outcome
    residuals: pd.DataFrame
    random_effects: pd.DataFrame
    spread: pd.DataFrame
    n_athletes: int
    n_observations: int
    warnings: tuple[str, ...]
    factor: str = ""  # the first factor of the formula, "" without one
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
        observed=fit._design.y, fitted_marginal=marginal, fitted=fitted, residual=residual,
        scaled_residual=residual / np.sqrt(tests.sigma2),
    )  # fmt: skip


def diagnostics(fit: MixedFit) -> MixedDiagnostics:
    """Residuals and random effects with the normal quantiles that their pictures compare them with."""
    table = residuals(fit)
    factor = next((f.key for f in fit._design.factors.values() if f.categorical), None)
    table = table.rename(columns={fit.group: "athlete"})
    table["level"] = table[factor].astype(str) if factor in table else ""
    table["normal_quantile"] = _normal_quantiles(table["scaled_residual"])
    effects = random_effects(fit)
    spread = effects.groupby("effect")["estimate"].transform("std")
    effects["scaled_estimate"] = effects["estimate"] / spread.where(spread > 0)
    effects["normal_quantile"] = np.nan
    for _, part in effects.groupby("effect"):
        effects.loc[part.index, "normal_quantile"] = _normal_quantiles(part["estimate"])
    spread = table.groupby("level", sort=False)["residual"].agg(n_observations="count", residual_sd="std").reset_index()
    return MixedDiagnostics(
        outcome=fit.outcome, residuals=table, random_effects=effects, spread=spread, n_athletes=fit.n_athletes,
        n_observations=fit.n_observations, warnings=fit.warnings, factor=factor or "",
    )  # fmt: skip


def _normal_quantiles(values):
    """Blom's plotting positions: where each value would lie if all came from one normal distribution."""
    from scipy.special import ndtri
    from scipy.stats import rankdata

    n = len(values)
    return ndtri((rankdata(np.asarray(values)) - 0.375) / (n + 0.25))


KINDS = ("pairwise", "successive", "first")
NO_SPREAD = 1e-9
"""A standard error below this share of the residual SD is none: every athlete has the same difference, by the robust test."""


@dataclass(frozen=True)
class MixedFit(Result):
    """A fitted linear mixed model.

    `ddf` says where standard errors and degrees of freedom come from: "kenward-roger", "satterthwaite" or "cr2". Tables of
    estimates hold estimate, standard_error, df, statistic, p, ci_low, ci_high and method, besides what each row is about.
    """

    formula: str  # As given
    outcome: str  # Column of the outcome
    group: str  # Column of the athletes
    variances: Variances  # Exactly 0 where the likelihood has its maximum at the boundary
    log_likelihood: float  # Restricted (REML), in the coding of the formula
    n_athletes: int
    n_observations: int
    left_out: pd.DataFrame  # Rows without outcome or covariate
    warnings: tuple[str, ...]
    method: str

    @property
    def icc(self) -> float:
        """Share of the variance that lies between athletes: group / (group + crossed + residual)."""
        return variance_share(self.variances)

    def coefficients(self, *, ddf: str = "kenward-roger", level: float = 0.95) -> pd.DataFrame:
        """Coefficients in the coding of the formula, with small-sample t tests; rows are also found by term."""
        table = self._estimates(np.eye(len(self._design.names)), ddf, level)
        table.insert(0, "term", list(self._design.names))
        table.index = list(self._design.names)
        return table

    def test(self, term: str, *, ddf: str = "kenward-roger") -> TermTest:
        """Type III test of one term ("round_no" finds "C(round_no)"): factors sum to zero, covariates centred by athlete."""
        found = self._design.term(term)
        statistic, df_num, df_den, p = self._tests.joint(self._typed_rows(found), ddf)
        return TermTest(found.name, statistic, df_num, df_den, p, self._method_words(ddf))

    def tests(self, *, ddf: str = "kenward-roger") -> pd.DataFrame:
        """Type III tests of every term: term, statistic, df_num, df_den, p, method."""
        rows = [dict(self.test(t.name, ddf=ddf)) for t in self._design.terms]
        return pd.DataFrame(rows, columns=[f.name for f in fields(TermTest)])

    def means(self, factor: str, *, ddf: str = "kenward-roger", level: float = 0.95) -> pd.DataFrame:
        """Estimated mean at each level of a factor, other factors weighted equally, covariates at the athlete mean."""
        found, rows = self._mean_rows(factor)
        table = self._estimates(rows, ddf, level)
        table.insert(0, found.key, list(found.levels))
        seen = [found.codes == j for j in range(len(found.levels))]
        table.insert(len(table.columns) - 1, "n_observations", [int(s.sum()) for s in seen])
        table.insert(len(table.columns) - 1, "n_athletes", [len(np.unique(self._athlete[s])) for s in seen])
        return table

    def contrasts(
        self, factor: str, *, kind: str = "successive", adjust: str | None = "holm", ddf: str = "kenward-roger",
        level: float = 0.95, df=None,
    ) -> pd.DataFrame:  # fmt: skip
        """Differences between the levels of a factor, always later minus earlier.

        `kind`: "pairwise", "successive" or "first". `adjust` ("holm", "bonferroni" or None) makes p_adjusted within this kind;
        ci_low and ci_high are unadjusted, ci_low_bonferroni and ci_high_bonferroni cover the kind. `df`: where known already.
        """
        check_choice(kind, KINDS, name="kind")
        check_choice(adjust, ("holm", "bonferroni", None), name="adjust")
        check_level(level)
        found, rows = self._mean_rows(factor)
        k = len(found.levels)
        pairs = {
            "pairwise": [(i, j) for i in range(1, k) for j in range(i)],
            "successive": [(i, i - 1) for i in range(1, k)],
            "first": [(i, 0) for i in range(1, k)],
        }[kind]
        table = self._estimates(np.array([rows[i] - rows[j] for i, j in pairs]), ddf, level, df)
        labels = found.levels
        table.insert(0, "contrast", [f"{labels[i]} - {labels[j]}" for i, j in pairs])
        table.insert(1, "later", [labels[i] for i, _ in pairs])
        table.insert(2, "earlier", [labels[j] for _, j in pairs])
        m = len(pairs)
        p = table["p"].to_numpy()
        adjusted = {"holm": holm, "bonferroni": lambda v: np.minimum(1.0, m * v), None: lambda v: v}[adjust]
        table.insert(table.columns.get_loc("p") + 1, "p_adjusted", adjusted(p))
        half = _t_quantile(1 - (1 - level) / (2 * m), table["df"].to_numpy()) * table["standard_error"]
        table.insert(len(table.columns) - 1, "ci_low_bonferroni", table["estimate"] - half)
        table.insert(len(table.columns) - 1, "ci_high_bonferroni", table["estimate"] + half)
        return table

    def slopes(
        self, covariate: str, *, by: str | None = None, ddf: str = "kenward-roger", level: float = 0.95
    ) -> pd.DataFrame:
        """Slope of a covariate, on average or at each level of a factor (`by`) that it interacts with."""
        typed = self._typed()
        main = self._design.term(covariate)
        if any(self._factor(k).categorical for k in main.keys) or main.typed.stop - main.typed.start != 1:
            raise KitError(f"{covariate!r} is not a single numeric column, so it has no slope.")
        base = np.zeros(len(self._design.names))
        base[main.typed] = 1.0
        if by is None:
            return self._estimates(base[None] @ typed, ddf, level)
        factor = self._factor(by)
        if not factor.categorical:
            raise KitError(f"{by!r} is not a factor; write C({by}) in the formula.")
        both = main.keys | {factor.key}
        interaction = next((t for t in self._design.terms if t.keys == both), None)
        rows = np.tile(base, (len(factor.levels), 1))
        if interaction is not None:
            rows[:, interaction.typed] = factor.code_table(full=False, coding="S")[0]
        table = self._estimates(rows @ typed, ddf, level)
        table.insert(0, factor.key, list(factor.levels))
        return table

    def r_squared(self) -> RSquared:
        """Marginal and conditional R squared (Nakagawa and Schielzeth 2013)."""
        return r_squared(self)

    def variance_intervals(
        self, *, level: float = 0.95, likelihood: str = "reml", components: Sequence[str] | None = None
    ) -> pd.DataFrame:
        """Profile-likelihood intervals of the standard deviations; see `variance_profiles`."""
        return variance_intervals(self, level=level, likelihood=likelihood, components=components)

    def random_effects(self) -> pd.DataFrame:
        """Predicted deviation of every athlete; see `mixed_checks.random_effects`."""
        return random_effects(self)

    def residuals(self) -> pd.DataFrame:
        """One row per observation used; see `mixed_checks.residuals`."""
        return residuals(self)

    def diagnostics(self) -> MixedDiagnostics:
        """Residuals and random effects with their normal quantiles, for pictures."""
        return diagnostics(self)

    def _method_words(self, ddf):
        return getattr(self._tests, "method_words", METHOD_WORDS)[ddf]

    def _tables(self) -> dict:
        return {"coefficients": self.coefficients(), **super()._tables()}

    def _estimates(self, L, ddf, level, df=None) -> pd.DataFrame:
        from scipy.special import stdtr

        check_level(level)
        estimate = self._tests.estimates(L)
        error, df = self._tests.single(L, ddf, df=df)
        error = np.where(error > NO_SPREAD * np.sqrt(self._tests.sigma2), error, np.nan)
        statistic = estimate / error
        half = _t_quantile(0.5 + level / 2, df) * error
        return pd.DataFrame(
            {
                "estimate": estimate,
                "standard_error": error,
                "df": df,
                "statistic": statistic,
                "p": 2 * stdtr(df, -np.abs(statistic)),
                "ci_low": estimate - half,
                "ci_high": estimate + half,
                "method": self._method_words(ddf),
            }
        )

    def _typed(self):
        if self._design.to_typed is None:
            raise KitError(
                "Means, contrasts and slopes need a formula with an intercept and the main effects of its interactions."
            )
        return self._design.to_typed

    def _typed_rows(self, term):
        """Rows of the hypothesis of a term: sequential rows for a term on its own, else differences from the first level."""
        # Satterthwaite's joint df depend a little on how the rows are chosen.
        design = self._design
        if design.to_typed is None:
            return np.eye(len(design.names))[term.columns]
        if len(design.terms) == 1 and design.names[0] == INTERCEPT:
            R = self._tests.problem.R
            return (R / np.diag(R)[:, None])[term.columns]
        mix = np.ones((1, 1))
        for expression, full in zip(term.factors, term.full, strict=True):
            mix = np.kron(self._factor(expression).differences(full=full), mix)
        return mix @ design.to_typed[term.typed]

    def _factor(self, name):
        for key, factor in self._design.factors.items():
            if name in (key, factor.expression):
                return factor
        near = did_you_mean(name, self._design.factors)
        hint = f" Did you mean {near!r}?" if near else ""
        raise KitError(f"The model has no variable {name!r}.{hint}")

    def _mean_rows(self, name):
        factor = self._factor(name)
        if not factor.categorical:
            raise KitError(f"{name!r} is numeric in this model; write C({name}) in the formula for its means.")
        typed = self._typed()
        term = next((t for t in self._design.terms if t.keys == {factor.key}), None)
        if term is None:  # its interactions may span the same space, as in C(sex) + C(round_no):C(sex)
            raise KitError(f"Add {factor.expression} as a term of its own for its means.")
        rows = np.zeros((len(factor.levels), len(self._design.names)))
        rows[:, 0] = 1.0
        rows[:, term.typed] = factor.code_table(full=False, coding="S")[0]
        return factor, rows @ typed


@cache
def _stdtrit():
    from scipy.special import stdtrit

    return stdtrit


def _t_quantile(probability, df):
    return _stdtrit()(df, probability)
