"""Rounds, work, rest and clothing of the evening, exertion scales: `Protocol`; and the order of the grades of a sport."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result, did_you_mean, join_words
from .problems import asked

CLOTHING = ("jacket", "no jacket")
"""What is worn: a jacket gives grips, and warmth."""

SCALES = ("6-20", "0-10", "0-100")
"""The exertion scales: numbers only; their words belong to the holders of the rights."""


@dataclass(frozen=True)
class Protocol(Result):
    """Rounds, work and rest of the evening.

    Parameters
    ----------
    rounds : int
        Number of rounds; 0 in a survey of sessions, which has none.
    work_s, rest_s : float
        Length of a round and of the rest after it, in seconds.
    exertion_scale : str
        "6-20", "0-10" or "0-100".
    groups : dict
        Group -> Protocol, where a group differs.
    clothing : str
        "jacket", "no jacket", or "" where study.toml does not say.

    Examples
    --------
    >>> Protocol(4, 300.0, 120.0).for_group("novice").rounds
    4
    """

    rounds: int = 0
    work_s: float = float("nan")
    rest_s: float = float("nan")
    exertion_scale: str = "6-20"
    groups: dict[str, Protocol] = field(default_factory=dict)
    clothing: str = ""

    def for_group(self, group: str) -> Protocol:
        """Return the protocol of a group: its own, or the common one."""
        return self.groups.get(group, self)

    @property
    def most_rounds(self) -> int:
        """The largest number of rounds of any group."""
        return max([self.rounds, *(p.rounds for p in self.groups.values())])


def grades_of(settings: Mapping) -> tuple[str, ...]:
    """Return the grades of the sport in order, the lowest first; none where study.toml does not list them."""
    given = settings.get("grades")
    return tuple(g.strip() for g in given if isinstance(g, str)) if isinstance(given, list) else ()


def rank_grades(athletes: pd.DataFrame, grades: tuple[str, ...]) -> tuple[pd.DataFrame, list[tuple]]:
    """Fill the rank of each grade, 1 the lowest; return the table, and what does not fit: (index, column, problem, remedy)."""
    ranks = {grade.casefold(): rank for rank, grade in enumerate(grades, start=1)}
    typed = athletes["grade"].str.strip().str.casefold()
    wrong = []
    if typed.ne("").any() and not grades:
        remedy = 'write grades = ["the lowest", "the next"] at the top of study.toml, in the words of the sheet'
        wrong.append((None, "grades", "study.toml does not list the grades in order, so they are not ranked", remedy))
    for index in typed.index[typed.ne("") & ~typed.isin(ranks) & bool(grades)]:
        near = did_you_mean(athletes.loc[index, "grade"], grades)
        remedy = f"write {near or join_words(list(grades), 'or')}, or add it to grades in study.toml"
        wrong.append((index, "grade", f"not a grade that study.toml lists{asked(near)}", remedy))
    found = typed.map(ranks)
    for index in athletes.index[found.notna() & athletes["grade_rank"].notna() & found.ne(athletes["grade_rank"])]:
        problem = f"grade and grade_rank disagree: {athletes.loc[index, 'grade']} has rank {found[index]:g}"
        wrong.append((index, "grade_rank", problem, "leave grade_rank blank; it follows from grade"))
    return athletes.assign(grade_rank=found.astype("float64").fillna(athletes["grade_rank"].astype("float64"))), wrong


def protocol_values(protocol: Protocol) -> dict:
    """Return a protocol as plain values."""
    return {
        "rounds": protocol.rounds,
        "work_s": protocol.work_s,
        "rest_s": protocol.rest_s,
        "exertion_scale": protocol.exertion_scale,
        "groups": {name: protocol_values(p) for name, p in protocol.groups.items()},
        **({"clothing": protocol.clothing} if protocol.clothing else {}),
    }
