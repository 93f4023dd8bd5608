"""`fit_mixed`: a linear mixed model for a small study, with tests that hold their level with a dozen athletes."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations

import numpy as np
import pandas as pd

from ..basics import KitError, left_out_table, plural
from ..basics.errors import need_columns
from .formula import build_design
from .mixed_fit import MixedFit, Variances
from .reml import Problem, Structure, maximise
from .small_sample import SmallSample

NEARLY_PERFECT = 0.99
"""Correlation of intercepts and slopes from which a fit counts as nearly singular."""


def fit_mixed(
    data: pd.DataFrame, formula: str, *, group: str, slope: str | None = None, slope_correlated: bool = True,
    crossed: str | list[str] | tuple[str, ...] | None = None,
) -> MixedFit:  # fmt: skip
    """Fit a linear mixed model by restricted maximum likelihood (REML).

    Parameters
    ----------
    data : DataFrame
        One row per observation. Rows without outcome or covariate are left out and listed.
    formula : str
        Wilkinson notation, for example "hr_mean_bpm ~ C(round_no) + vo2max". A numeric column is a slope; C(column)
        makes it a factor, coded as the difference from its first level; C(column, Treatment(level)) names another
        reference, C(column, Sum) sums to zero. Levels: numbers in order; text by the alphabet, whatever the
        order of the rows; a pandas Categorical as it says.
    group : str
        Column with the athlete.
    slope : str, optional
        Numeric column with a slope of its own for each athlete.
    slope_correlated : bool
        Whether intercepts and slopes of athletes covary; default True.
    crossed : str or list of str, optional
        Columns with further groupings that cross the athletes, for example the bout.

    Returns
    -------
    MixedFit
        With `coefficients`, `test`, `means`, `contrasts`, `variances`, `log_likelihood`, `warnings`, `left_out`.

    When to use
    -----------
    Repeated values of the same athletes, also with missing rounds. Not for ranks or counts, and not for a single
    row per athlete.

    Notes
    -----
    y = X b + Z u + e. The restricted likelihood is maximised exactly (Newton steps with exact derivatives; the
    random intercept on its profiled variance ratio); a variance whose maximum is at the boundary is exactly 0.
    Tests default to Kenward-Roger; "satterthwaite" uses the observed information and "cr2" the cluster-robust
    covariance that stays valid when the spread grows or neighbouring rounds are more alike.

    References
    ----------
    Patterson HD, Thompson R (1971) Biometrika 58:545-554. Kenward MG, Roger JH (1997) Biometrics 53:983-997.
    Fai AHT, Cornelius PL (1996) J Stat Comput Simul 54:363-378. Pustejovsky JE, Tipton E (2018) J Bus Econ Stat
    36:672-683.

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({
    ...     "athlete": list("aaabbbccc"), "round_no": [1, 2, 3] * 3,
    ...     "hr_mean_bpm": [150, 158, 161, 160, 165, 171, 155, 166, 166.0]})
    >>> fit = fit_mixed(rows, "hr_mean_bpm ~ C(round_no)", group="athlete")
    >>> round(fit.test("round_no").df_den, 6), list(fit.contrasts("round_no")["contrast"])
    (4.0, ['2 - 1', '3 - 2'])
    """
    need_columns(data, ())
    data = data.reset_index(drop=True)
    crossed = [crossed] if isinstance(crossed, str) else list(crossed or [])
    athlete, athlete_names = _codes(data, group, "group")
    others = [_codes(data, c, "crossed")[0] for c in crossed]
    slope_values = None
    usable = np.all([athlete >= 0, *(o >= 0 for o in others)], axis=0)
    reasons = {int(r): f"{group} or crossed grouping missing" for r in np.flatnonzero(~usable)}
    if slope is not None:
        _need(data, slope, "slope")
        if not pd.api.types.is_numeric_dtype(data[slope].dtype):
            raise KitError(f"The slope column {slope!r} must hold numbers.")
        slope_values = data[slope].to_numpy(dtype=float, na_value=np.nan)
        lost = ~np.isfinite(slope_values) & usable
        reasons |= {int(r): f"{slope} missing" for r in np.flatnonzero(lost)}
        usable &= ~lost
    design = build_design(data, formula, athlete, usable)
    kept = design.kept
    reasons |= design.reasons
    groups = [_compact(c[kept]) for c in (athlete, *others)]
    _check_groupings(groups, [group, *crossed], design.X)
    if slope is not None:
        _check_slope(slope, slope_values[kept], groups[0])
    structure = Structure(groups, None if slope is None else slope_values[kept], slope_correlated)
    return _fit(
        Problem(design.y, design.X, structure), formula=formula, design=design, group=group,
        names=athlete_names[np.unique(athlete[kept])], data=data, slope=slope, crossed=tuple(crossed),
        left_out=_left_out(data, reasons, group, design.outcome, design.factors),
    )  # fmt: skip


def refit_mixed(fit: MixedFit, values) -> MixedFit:
    """Fit the same model to other values of the outcome, in the rows that the first fit used.

    When to use: to ask what the answer would be were some values different (bounds, simulation), many times over.

    Parameters
    ----------
    fit : MixedFit
        A fitted model.
    values : array
        One finite value per row used (`fit.n_observations`), in their order.

    Returns
    -------
    MixedFit

    Examples
    --------
    >>> import pandas as pd
    >>> rows = pd.DataFrame({"athlete": list("aabbcc"), "round_no": [1, 2] * 3, "y": [5, 7, 6, 9, 4, 5.0]})
    >>> fit = fit_mixed(rows, "y ~ C(round_no)", group="athlete")
    >>> round(float(refit_mixed(fit, 2 * rows["y"]).contrasts("round_no")["estimate"].iloc[0]), 6)
    4.0
    """
    design = fit._design
    values = np.asarray(values, dtype=float)
    if values.shape != design.y.shape or not np.isfinite(values).all():
        raise KitError(f"values must be {plural(len(design.y), 'finite number')}, one for each row used.")
    return _fit(
        Problem(values, design.X, fit._tests.problem.structure), formula=fit.formula, design=replace(design, y=values),
        group=fit.group, names=fit._athlete_names, data=fit._data, slope=fit._slope, crossed=fit._crossed,
        left_out=fit.left_out,
    )  # fmt: skip


def _fit(problem, *, formula, design, group, names, data, slope, crossed, left_out) -> MixedFit:
    tests = SmallSample(problem, maximise(problem))
    variances = _variances(tests, slope)
    athlete = problem.structure.groups[0]
    fit = MixedFit(
        formula=formula,
        outcome=design.outcome,
        group=group,
        variances=variances,
        log_likelihood=problem.log_likelihood(tests.deviance),
        n_athletes=int(athlete.max()) + 1,
        n_observations=problem.n,
        left_out=left_out,
        warnings=tuple(design.remarks) + _warn(tests, variances, slope, crossed, len(left_out)),
        method="linear mixed model fitted by REML, "
        + ("random intercepts" if slope is None else "random intercepts and slopes")
        + (f" and crossed {', '.join(crossed)}" if crossed else ""),
    )
    for name, value in {
        "_design": design, "_tests": tests, "_athlete": athlete, "_athlete_names": names,
        "_data": data, "_slope": slope, "_crossed": crossed,
    }.items():  # fmt: skip
        object.__setattr__(fit, name, value)
    return fit


def _need(data, column, role):
    need_columns(data, [column], what=f"The table, asked for its {role},")
    if isinstance(data[column], pd.DataFrame):
        raise KitError(f"The table has more than one column named {column!r}.")


def _codes(data, column, role):
    _need(data, column, role)
    blank = data[column].where(data[column] != "")
    codes, names = pd.factorize(blank)
    return codes.astype(int), names


def _check_groupings(groups, names, X):
    """Each crossed grouping must be its own: not that of another, of the rows, or of the terms of the formula."""
    for (i, one), (j, other) in combinations(enumerate(groups), 2):
        if len(np.unique(np.stack([one, other]), axis=1)[0]) == one.max() + 1 == other.max() + 1:
            raise KitError(f"{names[j]} groups the rows exactly as {names[i]} does; leave one of them out.")
    for grouping, name in zip(groups[1:], names[1:], strict=True):
        if grouping.max() + 1 == len(grouping):
            raise KitError(f"{name} has a level of its own for every row, so it cannot be separated from the residual.")
        columns = np.equal.outer(grouping, np.unique(grouping)).astype(float)
        if np.allclose(X @ np.linalg.lstsq(X, columns, rcond=None)[0], columns, atol=1e-9):
            raise KitError(f"The formula already holds every level of {name}; leave it out of crossed.")


def _check_slope(name, values, athlete):
    mean = np.bincount(athlete, values) / np.bincount(athlete)
    if np.allclose(values, mean[athlete], rtol=1e-12):
        raise KitError(f"{name} does not change within any athlete, so athletes have no slopes on it.")


def _compact(codes):
    return np.unique(codes, return_inverse=True)[1]


def _variances(tests, slope) -> Variances:
    structure = tests.problem.structure
    g = structure.relative(tests.theta)[0] * tests.sigma2
    by_name = dict(zip(structure.names, (float(v) for v in g), strict=True))
    crossed = [v for k, v in by_name.items() if k.startswith("crossed")]
    return Variances(
        group=by_name["group"],
        slope=by_name["slope"] / structure.scale**2 if slope else float("nan"),
        covariance=by_name["covariance"] / structure.scale if "covariance" in by_name else float("nan"),
        residual=tests.sigma2,
        crossed=sum(crossed) if crossed else float("nan"),
    )


def _warn(tests, variances, slope, crossed, n_left_out):
    out = []
    structure = tests.problem.structure
    if variances.group == 0:
        out.append(
            "The variance between athletes is estimated as exactly 0: the model treats rounds of one athlete as if "
            "they were independent. Satterthwaite degrees of freedom are then too large and its p values too small; "
            "Kenward-Roger still allows for the athletes."
        )
    if slope and variances.slope == 0:
        out.append("The variance of the slopes between athletes is estimated as exactly 0.")
    if structure.correlated and variances.group > 0 and variances.slope > 0:
        correlation = abs(variances.covariance) / np.sqrt(variances.group * variances.slope)
        if tests.theta[2] == 0 or correlation > NEARLY_PERFECT:
            how = "perfectly" if tests.theta[2] == 0 else "almost perfectly"
            out.append(
                f"Intercepts and slopes of athletes are estimated as {how} correlated, which means that the data "
                "cannot tell them apart; prefer the model without the correlation, or without slopes."
            )
    if crossed and np.any(tests.theta[-len(crossed) :] == 0):
        out.append("A crossed variance is estimated as exactly 0.")
    if n_left_out:
        out.append(f"{plural(n_left_out, 'row was', 'rows were')} left out; see left_out.")
    return tuple(out)


@cache
def _nothing_left_out():
    return left_out_table()


def _left_out(data, reasons, group, outcome, factors):
    if not reasons:
        return _nothing_left_out().copy()
    named = ("round_no", "bout_no", "round", *(k for k, f in factors.items() if f.categorical))
    round_column = next((c for c in named if c in data.columns), None)
    rows = []
    for row in sorted(reasons):
        source = data.loc[row]
        rows.append(
            {
                "athlete": source[group],
                "round_no": source[round_column] if round_column else "",
                "session": source.get("session", ""),
                "file": source.get("file", ""),
                "row": source.get("row", ""),
                "measure": outcome,
                "reason": reasons[row],
            }
        )
    return left_out_table(rows)
