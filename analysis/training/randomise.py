"""The exact check: where among all allocations that chance could have drawn does the observed difference lie?"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, left_out_table
from ..basics.errors import need_columns
from .linear import TIES, many_fits, prepare

MOST_LISTED = 250_000
"""Up to this many allocations are listed; beyond, this many are drawn."""
DRAWN = 20_000


@dataclass(frozen=True)
class RandomisationTest(Result):
    """The place of the observed difference among all allocations of a reference set."""

    p: float  # share of the allocations at least as extreme, the observed one counted
    n_allocations: int
    as_extreme: int
    smallest_p: float  # that this reference set can give
    estimate: float
    statistic: float  # studentised, of the allocation that was drawn
    statistics: tuple[float, ...]  # of the whole reference set, for the figure
    how: str  # how the reference set was made, in words
    n_athletes: int
    method: str = "randomisation test of the studentised coefficient (HC2)"
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


def randomisation_test(
    table, *, outcome, baseline, group, reference, allocations=None, pairs=None, covariates=(), seed=0
) -> RandomisationTest:
    """Test the effect of training over the allocations that chance could have drawn.

    Parameters
    ----------
    table : DataFrame
        One row per athlete, as for `compare_groups`.
    outcome, baseline, group, reference : str
        As for `compare_groups`.
    allocations : DataFrame or array, optional
        The reference set: one row per allocation, 1 for trained; columns are athletes by code (DataFrame), or in the order
        of the table. Default: all allocations of the observed group sizes.
    pairs : str, optional
        Column that names the pair of an athlete: only swaps inside pairs are possible.
    covariates : sequence of str
        As for `compare_groups`.
    seed : int
        For the draws where the allocations are too many to list. Default 0.

    Returns
    -------
    RandomisationTest
        p, n_allocations, as_extreme, and the statistics of the reference set.

    When to use
    -----------
    After an allocation that chance made, with the reference set of that allocation. It assumes nothing about the shape of the
    values. With few allocations its smallest p may lie above .05: five pairs cannot give less than 2/32.

    Notes
    -----
    Under "training changes nobody's value" each athlete's follow-up is the same whatever the group; the labels alone move.
    The statistic is the coefficient divided by its HC2 standard error, two-sided. Whoever lacks a follow-up is set aside in every
    allocation alike.

    References
    ----------
    Fisher (1935); Wu & Ding (2021) Journal of the American Statistical Association 116:1898.

    Examples
    --------
    >>> import pandas as pd
    >>> table = pd.DataFrame({"pre": [44, 47, 50, 52, 45, 46, 51, 53], "post": [49, 50, 55, 54, 46, 45, 53, 52],
    ...                       "arm": ["trained"] * 4 + ["control"] * 4})
    >>> result = randomisation_test(table, outcome="post", baseline="pre", group="arm", reference="control")
    >>> result.n_allocations, result.as_extreme
    (70, 6)
    """
    if allocations is not None and pairs is not None:
        raise KitError("Give the list of allocations or the pairs, not both.")
    data = prepare(table, outcome=outcome, baseline=baseline, group=group, reference=reference, covariates=covariates)
    warnings, left_out = list(data.warnings), data.left_out
    if pairs is not None:
        data, left_out, codes = _whole_pairs(table, data, pairs)
        groups, how = _swaps(data.group, codes, seed)
    elif allocations is not None:
        groups, how = _given(table, data, allocations), "the allocations that were kept for the draw"
    else:
        groups, how = _all_balanced(data.group, seed)
    estimate, error = many_fits(groups, data.y, data.rest)
    with np.errstate(divide="ignore", invalid="ignore"):
        statistic = np.where(error > 0, estimate / error, np.where(estimate == 0, 0.0, np.inf))
    mine = many_fits(data.group[None], data.y, data.rest)
    observed = float(mine[0][0] / mine[1][0]) if mine[1][0] > 0 else math.inf
    possible = np.isfinite(estimate)
    if not possible.all():
        warnings.append(
            f"{int((~possible).sum())} allocations cannot be separated from the covariates and are not counted."
        )
        statistic = statistic[possible]
    size = np.abs(statistic)
    extreme = int(np.sum(size >= abs(observed) * (1 - TIES)))
    top = size.max()
    return RandomisationTest(
        p=extreme / len(statistic),
        n_allocations=len(statistic),
        as_extreme=extreme,
        smallest_p=float(np.sum(size >= top * (1 - TIES)) / len(statistic)),
        estimate=float(mine[0][0]),
        statistic=observed,
        statistics=tuple(float(v) for v in statistic),
        how=how,
        n_athletes=len(data.y),
        left_out=left_out,
        warnings=tuple(warnings),
    )


def _all_balanced(group, seed):
    n, k = len(group), int(group.sum())
    total = math.comb(n, k)
    if total <= MOST_LISTED:
        chosen = np.array(list(itertools.combinations(range(n), k)))
        groups = np.zeros((total, n))
        np.put_along_axis(groups, chosen, 1.0, axis=1)
        return groups, f"all {total} allocations of these group sizes"
    rng = np.random.default_rng(seed)
    order = np.argsort(rng.random((DRAWN - 1, n)), axis=1)
    groups = np.vstack([group, (order < k).astype(float)])
    return groups, f"{DRAWN} allocations drawn from {total}, the observed one among them"


def _swaps(group, codes, seed):
    names = sorted(set(codes))
    place = np.array([names.index(c) for c in codes])
    total = 2 ** len(names)
    if total <= MOST_LISTED:
        flips = np.array(list(itertools.product([0, 1], repeat=len(names))))
        how = f"all {total} swaps inside {len(names)} pairs"
    else:
        rng = np.random.default_rng(seed)
        flips = np.vstack([np.zeros((1, len(names)), int), rng.integers(0, 2, size=(DRAWN - 1, len(names)))])
        how = f"{DRAWN} swaps drawn from {total}, the observed one among them"
    return np.abs(group[None] - flips[:, place]), how


def _whole_pairs(table, data, pairs):
    need_columns(table, [pairs])
    codes = table[pairs].astype("string").fillna("").str.strip().to_numpy()[data.rows]
    whole = np.array([bool(c) and np.sum(codes == c) == 2 and len(set(data.group[codes == c])) == 2 for c in codes])
    rows = [
        {"athlete": a, "measure": pairs, "reason": "the other one of the pair has no follow-up, or there is no pair"}
        for a, w in zip(data.athletes, whole, strict=True)
        if not w
    ]
    if whole.sum() < 6:
        raise KitError(f"Fewer than three whole pairs have both values: {int(whole.sum() // 2)}.")
    left_out = pd.concat([data.left_out, left_out_table(rows)], ignore_index=True) if rows else data.left_out
    smaller = replace(
        data,
        y=data.y[whole],
        group=data.group[whole],
        baseline=data.baseline[whole],
        rest=data.rest[whole],
        athletes=tuple(a for a, w in zip(data.athletes, whole, strict=True) if w),
        rows=data.rows[whole],
    )
    return smaller, left_out, list(codes[whole])


def _given(table, data, allocations):
    if isinstance(allocations, pd.DataFrame):
        lacking = [a for a in data.athletes if a not in allocations.columns]
        if lacking:
            raise KitError(f"The list of allocations does not know {', '.join(lacking)}.")
        groups = allocations[list(data.athletes)].to_numpy(dtype=float)
    else:
        groups = np.atleast_2d(np.asarray(allocations, dtype=float))
        if groups.shape[1] != len(table):
            raise KitError(
                f"Each allocation must have one value per row of the table, {len(table)}, but has {groups.shape[1]}."
            )
        groups = groups[:, data.rows]
    if not np.isin(groups, (0, 1)).all():
        raise KitError("Allocations are written with 1 for the trained group and 0 for the other.")
    if not (groups == data.group[None]).all(axis=1).any():
        raise KitError(
            "The allocation that took place is not in the list of those that were possible: the list belongs to another draw, "
            "or somebody changed groups. Give the groups as they were drawn."
        )
    return groups
