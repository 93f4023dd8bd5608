"""Regression of a follow-up on a group, for one allocation and for many at once: estimates, three standard errors, df."""

from __future__ import annotations

import numpy as np

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
