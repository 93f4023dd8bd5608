"""Missing rounds may not be missing at random: how different must they have been to change what we say?

Completed tables are drawn from the fitted model y_ij = mean_j + u_i + e_ij, g = var u / var e, n_i rounds of athlete i there:

(1) sigma^2 = var e times df / chi^2 on df = values - athletes - (rounds - 1);  means normal about their estimate, with
    covariance sigma^2 [sum_i X_i' (I + g 11')^-1 X_i]^-1, where (I + g 11')^-1 = I - h_i 11', h_i = g / (1 + g n_i)
(2) u_i normal about h_i times the sum of the athlete's values less their means, with variance sigma^2 h_i
(3) a missing value = mean_j + u_i + sigma z; the shift that is tried is added to it
(4) where values are off the scale, u_i and these values are drawn in turn (Gibbs), each value from the normal law beyond its
    limit by the inverse of the distribution function: centre + side sd z, z = -Phi^-1(U Phi(-side (limit - centre) / sd))
(5) variances of a difference in a completed table: 2 / n times the mean square of athletes x rounds, and the paired one
(6) over m tables: T = W + (1 + 1/m) B, the mean variance within and the variance between;  l = (1 + 1/m) B / T
(7) df = 1 / [l^2 / (m - 1) + 1 / (d (d + 1) / (d + 3) (1 - l))], d the df of a complete table

References
----------
The numbers are those of this file. (1) to (3): the posterior of the random-intercept model at its estimated variance ratio,
flat in the means. (6): Rubin DB (1987) Multiple Imputation for Nonresponse in Surveys. (7): Barnard J, Rubin DB (1999)
Biometrika 86:948-955.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import Result, check_number
from .compare import BOUTS, CENSORED, RoundsComparison, fit_rounds
from .plateau import check_bounds, check_effect
from .prepare import LIMIT_COLUMN, RoundRows, pairs_of, prepare_rounds, widen
from .steps import label_of_step

N_IMPUTATIONS = 100
N_SHIFTS = 60
"""Shifts tried in each direction."""
SWEEPS = 30
"""Turns between the level of an athlete and the readings off the scale, in the draws of both."""
IMPUTED = {
    "": "",
    CENSORED: ", with the readings off the scale drawn beyond its end,",
    BOUTS: ", with the error that allows for bouts,",
}


@dataclass(frozen=True)
class TippingPoint(Result):
    """How far the missing rounds must lie from what the model expects before a label changes."""

    outcome: str
    n_missing: int  # Missing rounds of the athletes in the analysis
    missing: pd.DataFrame  # athlete, round_no of each
    # contrast, later, earlier, label (with the missing rounds as the model expects them), shift_up, label_up, shift_down,
    # label_down: the smallest shift in each direction that changes the label, missing where none up to the largest does
    table: pd.DataFrame
    # contrast, shift, estimate, ci_low, ci_high, equivalence_ci_low, equivalence_ci_high (level 1 - 2 alpha), label; the
    # wider interval of both methods
    curve: pd.DataFrame
    largest_shift: float  # The largest shift tried, in the outcome's unit
    method: str
    left_out: pd.DataFrame  # Rows without a value or not fought
    warnings: tuple[str, ...] = ()


def tipping_point(
    data: pd.DataFrame, outcome: str, *, smallest_effect: float, alpha: float = 0.05,
    largest_shift: float | None = None, seed: int = 0,
) -> TippingPoint | None:  # fmt: skip
    """Shift the missing rounds away from what the model expects until a label changes.

    When to use: where rounds are missing because people were exhausted, hurt or had to leave. When not: to repair missing
    data; it only shows how far the conclusion depends on them.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    smallest_effect : float
        The smallest change that matters, above 0, in the outcome's unit.
    alpha : float
        Level. Default 0.05.
    largest_shift : float, optional
        How far to go, in the outcome's unit. Default: the range of the observed values.
    seed : int
        Of the imputations. Default 0.

    Returns
    -------
    TippingPoint or None
        None where nothing is missing, or where the values do not vary.

    Notes
    -----
    Missing values are drawn from the fitted random-intercept model (100 times; variances, round means, athlete and residual
    drawn anew), the shift is added to each, and the completed tables are analysed in closed form, by the pooled error and
    by paired t. Results are combined by Rubin's rules with small-sample degrees of freedom, Holm over the steps. In
    `answer_rounds` the model is the one that makes the claim: readings off the scale are drawn beyond its end too, by Gibbs
    sampling, and where bouts are allowed for the pooled error of a step is as much wider, with as many degrees of freedom, as
    in that model.

    References
    ----------
    Rubin 1987, Multiple Imputation for Nonresponse in Surveys; Barnard & Rubin 1999, Biometrika 86:948; Carpenter, Kenward &
    White 2007, Statistical Methods in Medical Research 16:259 (shifted imputations).

    Examples
    --------
    >>> import numpy as np, pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AAABBBCCCDDDEEE"), "round_no": [1, 2, 3] * 5,
    ...     "hr_mean_bpm": [160, 168, 171, 150, 161, 160, 171, 176, 180, 158, 163, np.nan, 165, 170, 171]})
    >>> result = tipping_point(data, "hr_mean_bpm", smallest_effect=5)
    >>> result.n_missing, list(result.table["contrast"])
    (1, ['2 - 1', '3 - 2', '3 - 1'])
    """
    return tipping_of(
        prepare_rounds(data, outcome), smallest_effect=smallest_effect, alpha=alpha, largest_shift=largest_shift,
        seed=seed,
    )  # fmt: skip


def tipping_of(
    rows: RoundRows, *, smallest_effect: float, alpha: float = 0.05, largest_shift: float | None = None, seed: int = 0,
    main: RoundsComparison | None = None,
) -> TippingPoint | None:  # fmt: skip
    """Compute `tipping_point` from prepared rows and, where given, by the model of the main analysis."""
    smallest_effect = check_effect(smallest_effect)
    check_bounds(-smallest_effect, smallest_effect, alpha)
    seed = check_number(seed, name="seed", low=0, high=2**63, ends=True, whole=True)
    if largest_shift is not None:
        largest_shift = check_number(largest_shift, name="largest_shift", low=0)
    values = rows.wide.to_numpy()
    gaps = np.isnan(values)
    if not gaps.any() or np.nanmax(values) == np.nanmin(values):
        return None
    fit = main.plain_fit if main is not None else fit_rounds(rows)
    athlete, residual = float(fit.variances.group), float(fit.variances.residual)
    if not residual > 0:
        return None
    largest = float(largest_shift or np.nanmax(values) - np.nanmin(values))
    order = np.lexsort(np.nan_to_num(values, nan=np.nanmin(values) - 1.0).T)  # by their values, not their names
    values, gaps = values[order], gaps[order]
    shifts = np.linspace(-largest, largest, 2 * N_SHIFTS + 1)
    n, k = values.shape
    pairs = pairs_of(rows.labels, "successive") + ([(k - 1, 0)] if k > 2 else [])
    wider, df, allows_for = np.ones(len(pairs)), (n - 1) * (k - 1), main.allows_for if main else ""
    if allows_for == CENSORED:
        drawn, spread = _impute_beyond(values, _sides(rows)[order], main.fit, n=N_IMPUTATIONS, seed=seed)
        wider = np.array([spread[a] ** 2 + spread[b] ** 2 for a, b in pairs]) / (2 * np.mean(spread**2))
    else:
        drawn = impute_rounds(values, athlete, residual, n=N_IMPUTATIONS, seed=seed)
    if allows_for == BOUTS:
        wider, df = _wider_by_bouts(main, pairs)
    found = _labels_over_shifts(
        drawn, gaps, shifts, pairs, smallest_effect, alpha, {"pooled": (wider, df), "paired": (1.0, n - 1)}
    )
    names = [(rows.labels[a], rows.labels[b]) for a, b in pairs]
    return TippingPoint(
        outcome=rows.outcome,
        n_missing=int(gaps.sum()),
        missing=pd.DataFrame(
            [
                {"athlete": str(rows.wide.index[i]), "round_no": rows.labels[j]}
                for i, j in zip(*np.nonzero(rows.wide.isna().to_numpy()), strict=True)
            ]
        ),
        table=_first_change(found["label"], shifts, names),
        curve=_curve(found, shifts, names),
        largest_shift=largest,
        method=f"missing rounds imputed from the model of rounds and athletes{IMPUTED[allows_for]} and shifted; pooled error and "
        "paired t, Rubin's rules",
        left_out=rows.left_out,
        warnings=rows.warnings,
    )


def impute_rounds(values: np.ndarray, athlete: float, residual: float, *, n: int, seed: int) -> np.ndarray:
    """Draw completed tables from the random-intercept model."""
    rng = np.random.default_rng(seed)
    n_athletes, k = values.shape
    there = ~np.isnan(values)
    filled = np.where(there, values, 0.0)
    counts = there.sum(axis=1)
    ratio = athlete / residual
    shrink = ratio / (1 + ratio * counts)  # h of (1)
    weight = np.diag(there.sum(axis=0).astype(float)) - np.einsum("i,ij,il->jl", shrink, there, there)
    right = filled.sum(axis=0) - (shrink * filled.sum(axis=1)) @ there
    unit = np.linalg.inv(weight)
    means = unit @ right
    df = max(1, int(there.sum()) - n_athletes - (k - 1))
    scale = df / rng.chisquare(df, size=n)
    root = np.linalg.cholesky((unit + unit.T) / 2)
    spread = np.sqrt(residual * scale)
    rounds = means + spread[:, None] * (rng.standard_normal((n, k)) @ root.T)  # (1)
    gap = np.where(there, values - rounds[:, None, :], 0.0).sum(axis=2)
    own = shrink * gap + spread[:, None] * np.sqrt(shrink) * rng.standard_normal((n, n_athletes))  # (2), then (3)
    drawn = rounds[:, None, :] + own[:, :, None] + spread[:, None, None] * rng.standard_normal((n, n_athletes, k))
    return np.where(there, values, drawn)


def _sides(rows: RoundRows) -> np.ndarray:
    """Athletes by rounds: 1 above the scale, -1 below, 0 where a value was read or is missing."""
    side = rows.table[LIMIT_COLUMN].map({"high": 1, "low": -1}).fillna(0)
    table = widen(rows.table.assign(value=side.to_numpy(dtype=float)))
    return table.loc[rows.wide.index, rows.wide.columns].fillna(0).to_numpy()


def _impute_beyond(values, side, fit, *, n: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Draw completed tables from the model of censored values, those off the scale too; and the residual SD of each round."""
    from scipy.special import ndtr, ndtri

    rng = np.random.default_rng(seed)
    there, off, shape = ~np.isnan(values), side != 0, (n, *values.shape)
    tests, codes = fit._tests, fit._mean_rows("round_no")[0].codes
    spread = np.array([tests.row_sd[codes == j].mean() for j in range(values.shape[1])])
    rows = fit._mean_rows("round_no")[1]
    root = np.linalg.cholesky(rows @ tests.covariance("kenward-roger") @ rows.T)
    df = max(1.0, (int(there.sum()) - len(values) - values.shape[1] + 1) * tests.share_left)
    scale = np.sqrt(df / rng.chisquare(df, size=(n, 1, 1)))
    means = (tests.estimates(rows) + scale[:, 0] * (rng.standard_normal((n, len(root))) @ root.T))[:, None]
    sd, between = scale * spread, scale[..., 0] * np.sqrt(max(fit.variances.group, 1e-12 * tests.sigma2))
    drawn = np.where(there, values, means)
    weight = np.where(there, 1 / sd**2, 0.0)
    for _ in range(SWEEPS):
        precision = 1 / between**2 + weight.sum(axis=2)
        own = (weight * (drawn - means)).sum(axis=2) / precision
        own += rng.standard_normal(shape[:2]) / np.sqrt(precision)
        centre = means + own[:, :, None]
        tail = ndtr(np.where(off, -side * (values - centre) / sd, 0.0))
        beyond = -ndtri(np.maximum(rng.random(shape) * tail, 1e-300))  # (4)
        drawn = np.where(off, centre + side * sd * beyond, drawn)
    return np.where(there, drawn, centre + sd * rng.standard_normal(shape)), spread


def _wider_by_bouts(main: RoundsComparison, pairs) -> tuple[np.ndarray, np.ndarray]:
    """How many times the variance of each step is that of the plain model where bouts are allowed for, and its df."""
    rows = main.fit._mean_rows("round_no")[1]
    steps = np.array([rows[a] - rows[b] for a, b in pairs])
    error, df = main.fit._tests.single(steps, "kenward-roger")
    return (error / main.plain_fit._tests.single(steps, "kenward-roger")[0]) ** 2, df


def _labels_over_shifts(drawn, gaps, shifts, pairs, smallest_effect, alpha, errors) -> dict:
    """Combine the completed tables at every shift: arrays shifts by pairs; `errors`: factor of the variance, and df."""
    _, n, k = drawn.shape
    cells = drawn[None] + shifts[:, None, None, None] * gaps
    residual = cells - cells.mean(axis=2, keepdims=True) - cells.mean(axis=3, keepdims=True)
    residual += cells.mean(axis=(2, 3), keepdims=True)
    pooled = (residual**2).sum(axis=(2, 3)) / ((n - 1) * (k - 1))
    later, earlier = (np.array([p[i] for p in pairs]) for i in (0, 1))
    differences = cells[..., later] - cells[..., earlier]
    estimates = differences.mean(axis=2)
    within = {
        "pooled": np.repeat((2 * pooled / n)[..., None], len(pairs), axis=2),  # (5)
        "paired": differences.var(axis=2, ddof=1) / n,
    }
    parts = [
        _combine(estimates, wider * within[m], df, smallest_effect, alpha, max(k - 2, 1))
        for m, (wider, df) in errors.items()
    ]
    changed = parts[0]["changed"] & parts[1]["changed"]
    equivalent = parts[0]["equivalent"] & parts[1]["equivalent"]
    label = np.array(
        [[label_of_step(c, e) for c, e in zip(*line, strict=True)] for line in zip(changed, equivalent, strict=True)],
        dtype=object,
    )
    wider = {
        name: (np.minimum if "low" in name else np.maximum)(parts[0][name], parts[1][name])
        for name in ("ci_low", "ci_high", "equivalence_ci_low", "equivalence_ci_high")
    }
    return {"label": label, "estimate": estimates.mean(axis=1), **wider}


def _combine(estimates, within, df_complete, smallest_effect, alpha, most_true) -> dict:
    """Rubin's rules with the degrees of freedom of Barnard and Rubin, then both tests."""
    from scipy import stats

    from ..models import holm

    m = estimates.shape[1]
    estimate, inside = estimates.mean(axis=1), within.mean(axis=1)
    between = (1 + 1 / m) * estimates.var(axis=1, ddof=1)
    total = inside + between  # (6)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(total > 0, between / total, 0.0)
        df_old = np.where(share > 0, (m - 1) / share**2, np.inf)
        df_seen = (df_complete + 1) / (df_complete + 3) * df_complete * (1 - share)
        df = 1 / (1 / df_old + 1 / df_seen)  # (7)
        error = np.where(total > 0, np.sqrt(total), np.nan)
        p = 2 * stats.t.sf(np.abs(estimate / error), df)
        p_low = stats.t.sf((estimate + smallest_effect) / error, df)
        p_high = stats.t.cdf((estimate - smallest_effect) / error, df)
    adjusted = np.array([holm(line, most_true=most_true) for line in p])
    wide, narrow = stats.t.ppf(0.975, df) * error, stats.t.ppf(1 - alpha, df) * error
    return {
        "changed": adjusted < alpha, "equivalent": np.maximum(p_low, p_high) < alpha, "ci_low": estimate - wide,
        "ci_high": estimate + wide, "equivalence_ci_low": estimate - narrow, "equivalence_ci_high": estimate + narrow,
    }  # fmt: skip


def _first_change(labels, shifts, names) -> pd.DataFrame:
    middle = len(shifts) // 2
    lines = []
    for j, (later, earlier) in enumerate(names):
        start = labels[middle, j]
        line = {"contrast": f"{later} - {earlier}", "later": later, "earlier": earlier, "label": start}
        for way, order in (("up", range(middle + 1, len(shifts))), ("down", range(middle - 1, -1, -1))):
            at = next((i for i in order if labels[i, j] != start), None)
            line[f"shift_{way}"] = np.nan if at is None else float(shifts[at])
            line[f"label_{way}"] = "" if at is None else labels[at, j]
        lines.append(line)
    return pd.DataFrame(lines)


def _curve(found, shifts, names) -> pd.DataFrame:
    parts = []
    for j, (later, earlier) in enumerate(names):
        part = pd.DataFrame({"contrast": f"{later} - {earlier}", "shift": shifts})
        for name in ("estimate", "ci_low", "ci_high", "equivalence_ci_low", "equivalence_ci_high", "label"):
            part[name] = found[name][:, j]
        parts.append(part)
    return pd.concat(parts, ignore_index=True)
