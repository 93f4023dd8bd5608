"""Rows of the table pace that could not be used, each with its place and a remedy, for `check`."""

from __future__ import annotations

import math

from ..basics import KitError, join_words, plural
from ..study import Problem
from ..study.times import clock_seconds
from .marks import NOT_RATED, pace_words

MOST_LISTED = 5
"""So many rows of one kind are listed; further ones are counted."""


def list_pace_problems(study) -> list[Problem]:
    """List the rows of the table `pace` that a study could not use.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Problem
        File, row, column, value, problem, remedy: unknown states (one line per word), rounds that nobody has, times that are
        missing or run backwards. Nothing where [pace] itself cannot be read; that is a problem of study.toml.

    Examples
    --------
    >>> from analysis.study import Study
    >>> list_pace_problems(Study(folder=None))
    []
    """
    table = study.pace
    if not len(table):
        return []
    try:
        states = pace_words(study.settings).states
    except KitError:
        return []
    return [*_states(table, states), *_rounds(table, study.rounds), *_times(table)]


def _states(table, states) -> list[Problem]:
    odd = table[~table["state"].isin([*states, NOT_RATED])]
    remedy = f"write {join_words(list(states), last='or')}, or add the word to states in [pace] of study.toml"
    found = []
    for word, rows in odd.groupby("state", sort=False):
        first, more = rows.iloc[0], len(rows) - 1
        what = "the state is blank" if not word else "no state of [pace] in study.toml"
        what += f" ({plural(more, 'further row')} alike)" if more else ""
        found.append(Problem(first["file"], int(first["row"]), "state", word, what, remedy))
    return found


def _rounds(table, rounds) -> list[Problem]:
    """Rounds that were rated and that the table rounds does not have for that athlete."""
    if not len(rounds):
        return []
    keys = ["session", "athlete", "round_no"]
    there = set(rounds[keys].itertuples(index=False, name=None))
    first = table.drop_duplicates([*keys, "rater"])
    found = []
    for line in first.itertuples(index=False):
        if (line.session, line.athlete, line.round_no) not in there:
            what = f"{line.athlete} has no round {line.round_no} of session {line.session} in the table rounds"
            remedy = "correct the round, the athlete or the session, or add the round to the table rounds"
            found.append(Problem(line.file, int(line.row), "round_no", str(line.round_no), what, remedy))
    return _cut(found)


def _times(table) -> list[Problem]:
    found = []
    for line in table.itertuples(index=False):
        start, end = clock_seconds(line.start_clock), clock_seconds(line.end_clock)
        end += 86400.0 if end < start - 43200.0 else 0.0  # past midnight
        if end >= start:
            continue
        column = "start_clock" if math.isnan(start) else "end_clock"
        value = getattr(line, column)
        what = (
            f"the end lies before the start, {line.start_clock}"
            if value and start == start
            else "a time is missing, so this mark has no length"
        )
        remedy = "type the time as 19:30:15, or delete the row: the seconds then count as not rated"
        found.append(Problem(line.file, int(line.row), column, value, what, remedy))
    return _cut(found)


def _cut(found: list[Problem]) -> list[Problem]:
    """The first of many; the last of them counts the rest."""
    if len(found) <= MOST_LISTED:
        return found
    *kept, last = found[:MOST_LISTED]
    more = plural(len(found) - MOST_LISTED, "further row")
    return [
        *kept,
        Problem(last.file, last.row, last.column, last.value, f"{last.problem} ({more} alike)", last.remedy),
    ]
