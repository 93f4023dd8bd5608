"""From a table of athletes to numbers, and the regression of a follow-up on a group, for one allocation and for many."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, join_words, left_out_table
from ..basics.errors import need_columns

METHODS = ("hc2", "ols", "hc3")
METHOD_WORDS = {
    "hc2": "analysis of covariance, HC2 standard error with Bell-McCaffrey degrees of freedom",
    "ols": "analysis of covariance, ordinary standard error",
    "hc3": "analysis of covariance, HC3 standard error with residual degrees of freedom",
}
TIES = 1e-9
"""Allocations whose statistic is as large as the observed one up to this share count as equal to it."""


def full_columns(design):
    """Columns of a design that are not made of those before them, as a mask."""
    kept, mask = np.empty((len(design), 0)), []
    for column in design.T:
        wider = np.column_stack([kept, column])
        mask.append(np.linalg.matrix_rank(wider) > kept.shape[1])
        kept = wider if mask[-1] else kept
    return np.array(mask)


def many_fits(groups, y, rest):
    """Coefficient of the group and its HC2 error, for every row of `groups` (allocations by athletes, 0 and 1)."""
    hat = rest @ np.linalg.pinv(rest)
    maker = np.eye(len(y)) - hat
    apart = groups @ maker
    size = (apart**2).sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        estimate = np.where(size > 1e-10, (apart @ y) / size, np.nan)
        residual = (maker @ y)[None] - estimate[:, None] * apart
        lever = np.diag(hat)[None] + apart**2 / size[:, None]
        spare = np.clip(1 - lever, 0, None)
        weighed = np.where(spare > 1e-10, apart**2 * residual**2 / spare, 0.0)
        error = np.sqrt(weighed.sum(axis=1)) / size
    return estimate, error


def one_fit(group, y, rest, *, method):
    """Coefficient of the group, its standard error and degrees of freedom."""
    design = np.column_stack([rest, group])
    n, p = design.shape
    bread = np.linalg.inv(design.T @ design)
    lever = np.einsum("ij,jk,ik->i", design, bread, design)
    beta = bread @ design.T @ y
    residual = y - design @ beta
    pull = (design @ bread)[:, -1]
    spare = 1 - lever
    if method == "ols":
        return beta, float(np.sqrt(residual @ residual / (n - p) * bread[-1, -1])), float(n - p)
    good = spare > 1e-10  # who alone decides a coefficient has no residual and says nothing about the spread
    if method == "hc3":
        error = np.sqrt(np.sum((pull[good] * residual[good] / spare[good]) ** 2))
        return beta, float(error), float(n - p)
    error = np.sqrt(np.sum((pull[good] * residual[good]) ** 2 / spare[good]))
    weight = np.where(good, pull / np.sqrt(np.where(good, spare, 1.0)), 0.0)
    maker = np.eye(n) - design @ bread @ design.T
    form = np.outer(weight, weight) * maker
    return beta, float(error), float(np.trace(form) ** 2 / np.sum(form**2))


@dataclass(frozen=True)
class Prepared:
    """The athletes of one comparison, in the order of the table."""

    # `rest` holds the intercept, the baseline and the covariates; `rows` the positions used.

    y: np.ndarray
    group: np.ndarray
    baseline: np.ndarray
    rest: np.ndarray
    terms: tuple[str, ...]
    athletes: tuple[str, ...]
    rows: np.ndarray
    trained: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...]


def prepare(table, *, outcome, baseline, group, reference, covariates=()) -> Prepared:
    """Read the columns, take the mean of the baselines, and set aside who lacks a value."""
    before = [baseline] if isinstance(baseline, str) else [str(b) for b in baseline]
    covariates = [covariates] if isinstance(covariates, str) else list(covariates)
    wanted = [outcome, *before, group, *covariates]
    need_columns(table, wanted)
    names = table["athlete"].astype(str).tolist() if "athlete" in table else [f"row {i + 1}" for i in range(len(table))]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise KitError(f"One row per athlete is needed, but {join_words(twice)} has several: keep one.")
    labels = table[group].astype("string").fillna("").str.strip()
    kinds = [k for k in dict.fromkeys(labels) if k]
    if str(reference) not in kinds or len(kinds) != 2:
        raise KitError(
            f"{group} must hold two groups, one of them the reference {reference!r}, but holds {join_words(kinds) or 'nothing'}."
        )
    trained = next(k for k in kinds if k != str(reference))
    numbers = {c: pd.to_numeric(table[c], errors="coerce").to_numpy(dtype=float) for c in (outcome, *before)}
    stacked = np.column_stack([numbers[c] for c in before])
    measured = np.isfinite(stacked)
    with np.errstate(invalid="ignore"):
        mean = np.where(measured, stacked, 0).sum(axis=1) / np.maximum(measured.sum(axis=1), 1)
        start = np.where(measured.any(axis=1), mean, np.nan)
    columns, terms, lacking = [np.ones(len(table)), start], ["intercept", "baseline"], {}
    for name in covariates:
        for term, values in _coded(table[name], name):
            columns.append(values)
            terms.append(term)
            lacking.setdefault(name, np.zeros(len(table), bool))
            lacking[name] |= ~np.isfinite(values)
    reasons = [[] for _ in names]
    for i in range(len(names)):
        if not labels.iloc[i]:
            reasons[i].append(f"no {group}")
        if not np.isfinite(start[i]):
            reasons[i].append("no baseline")
        if not np.isfinite(numbers[outcome][i]):
            reasons[i].append("no follow-up")
        reasons[i] += [f"no {name}" for name, gone in lacking.items() if gone[i]]
    used = np.array([not r for r in reasons])
    left_out = left_out_table(
        {"athlete": n, "measure": outcome, "reason": join_words(r)} for n, r in zip(names, reasons, strict=True) if r
    )
    rest = np.column_stack(columns)[used]
    is_trained = (labels == trained).to_numpy()[used].astype(float)
    warnings = []
    if not used.any() or min(is_trained.sum(), (1 - is_trained).sum()) < 2:
        raise KitError(
            f"A comparison needs at least two athletes of each group with baseline and follow-up; "
            f"{int(is_trained.sum())} of {trained} and {int((1 - is_trained).sum())} of {reference} have both."
        )
    keep = full(rest)
    if not keep.all():
        gone = [t for t, k in zip(terms, keep, strict=True) if not k]
        same = f"The athletes used do not differ in {join_words(gone)} beyond the other terms"
        warnings.append(f"{same}: it left the model.")
        rest, terms = rest[:, keep], [t for t, k in zip(terms, keep, strict=True) if k]
    if np.linalg.matrix_rank(np.column_stack([rest, is_trained])) <= rest.shape[1]:
        raise KitError(
            f"{group} cannot be separated from {join_words([t for t in terms if t != 'intercept'])}: leave a covariate out."
        )
    if len(rest) - rest.shape[1] - 1 < 1:
        raise KitError(f"{len(rest)} athletes are too few for {rest.shape[1] + 1} terms: leave a covariate out.")
    return Prepared(
        y=numbers[outcome][used],
        group=is_trained,
        baseline=start[used],
        rest=rest,
        terms=tuple(terms),
        athletes=tuple(n for n, u in zip(names, used, strict=True) if u),
        rows=np.flatnonzero(used),
        trained=trained,
        left_out=left_out,
        warnings=tuple(warnings),
    )


def full(rest):
    """Which columns are not made of those before them."""
    centre = rest.copy()
    for j in range(1, rest.shape[1]):
        values = rest[:, j] - rest[:, j].mean()
        size = np.abs(rest[:, j]).max() or 1.0
        centre[:, j] = values / size if np.abs(values).max() > 1e-12 * size else 0.0
    return full_columns(centre)


def _coded(column, name):
    """A covariate as numbers: itself, or one column per further category."""
    numbers = pd.to_numeric(column, errors="coerce")
    given = column.notna() & (column.astype("string").str.strip() != "")
    if numbers[given].notna().all() and not pd.api.types.is_bool_dtype(column):
        return [(name, numbers.to_numpy(dtype=float))]
    words = column.astype("string").str.strip()
    kinds = sorted(words[given].unique())
    return [
        (f"{name}: {kind}", np.where(given, (words == kind).fillna(False), np.nan).astype(float)) for kind in kinds[1:]
    ] or [(name, np.where(given, 0.0, np.nan))]
