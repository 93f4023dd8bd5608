"""The rule that protects people in small clubs: which statistics of overlapping groups may be passed on together."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from itertools import combinations

import numpy as np
import pandas as pd

FEWEST_PEOPLE = 5
"""A statistic of fewer people than this is passed on to nobody."""


def groups_to_show(members: Mapping[str, Collection]) -> tuple[str, ...]:
    """Choose the groups whose mean of one quantity may be passed on together.

    A group is shown where neither it nor anything that sums and differences of the shown groups give belongs to fewer
    than FEWEST_PEOPLE. People who are in the same groups throughout form a part; a union of parts can be worked out
    where its indicator lies in the span of the groups' indicators.

    Hundepool A, et al. (2012) Statistical Disclosure Control. Wiley, chapter 4 (primary and secondary suppression).
    From memory; the rule of five is common practice, no source.
    """
    shown: list[str] = []
    for name in members:
        if len(members[name]) and is_safe([members[n] for n in (*shown, name)]):
            shown.append(name)
    return tuple(shown)


def is_safe(groups: Collection[Collection]) -> bool:
    """Return True where no statistic of fewer than FEWEST_PEOPLE can be worked out from those of the groups."""
    groups = [set(g) for g in groups if len(g)]
    parts: dict[tuple, int] = {}
    for person in set().union(*groups):
        pattern = tuple(person in g for g in groups)
        parts[pattern] = parts.get(pattern, 0) + 1
    spans = np.array(list(parts))  # a row per part, a column per group
    rank = np.linalg.matrix_rank(spans)
    sizes = list(parts.values())
    small = [i for i, n in enumerate(sizes) if n < FEWEST_PEOPLE]
    for many in range(1, FEWEST_PEOPLE):
        for union in combinations(small, many):
            if sum(sizes[i] for i in union) < FEWEST_PEOPLE:
                wanted = np.isin(np.arange(len(sizes)), union).astype(float)
                if np.linalg.matrix_rank(np.column_stack([spans, wanted])) == rank:
                    return False
    return True


def rounded(table: pd.DataFrame, *, digits: int = 4) -> pd.DataFrame:
    """Round numbers that are passed on, so that no two files can be joined by them.

    Parameters
    ----------
    table : DataFrame
    digits : int
        Significant digits that are kept. Default 4.

    Returns
    -------
    DataFrame
        A copy.

    Examples
    --------
    >>> import pandas as pd
    >>> rounded(pd.DataFrame({"mean": [172.43218]}))["mean"].tolist()
    [172.4]
    """
    table = table.copy()
    for column in table.select_dtypes("float"):
        table[column] = [float(f"{v:.{digits}g}") for v in table[column]]
    return table
