"""What would have been said with another smallest effect that matters: the reading as a function of the bound."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result


@dataclass(frozen=True)
class BoundCurve(Result):
    """A reading for every smallest effect that could have been chosen."""

    outcome: str
    planned: float  # the bound that the plan chose, in the unit of the outcome
    readings: pd.DataFrame = field(repr=False)
    planned_verdict: str = ""
    smallest_passing: float = float("nan")
    level: float = 0.90  # of the interval that decides it: 1 - 2 alpha


def bound_curve(
    outcome: str, turns: Sequence[tuple[float, dict]], *, start: dict, planned: float, alpha: float = 0.05
) -> BoundCurve:
    """Put the readings together from the bounds at which they turn.

    `turns`: the bound above which a reading holds, and the reading (`verdict` and more); any order. `start`: the reading
    with a bound near 0. `planned`: the bound of the plan. `alpha`: level of the one-sided tests. Default 0.05.

    Examples
    --------
    >>> curve = bound_curve("hr", [(6.2, {"verdict": "negligible"})], start={"verdict": "supported"}, planned=5.0)
    >>> curve.planned_verdict, curve.smallest_passing
    ('supported', 6.2)
    """
    known = sorted((t for t in turns if t[0] == t[0]), key=lambda turn: turn[0])
    lines = [{"bound_from": 0.0, **start}]
    for at, reading in known:
        if at == lines[-1]["bound_from"]:
            lines[-1] = {"bound_from": at, **reading}
        else:
            lines.append({"bound_from": float(at), **reading})
    table = pd.DataFrame(lines)
    table.insert(1, "bound_to", [*table["bound_from"].iloc[1:], float("inf")])
    here = table[(table["bound_from"] < planned) & (planned <= table["bound_to"])]
    passing = known[-1][0] if known else float("nan")
    return BoundCurve(outcome, float(planned), table, str(here["verdict"].iloc[0]), float(passing), 1 - 2 * alpha)
