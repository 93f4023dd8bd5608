"""Problems of a study folder: collected all at once, each with its place, its likely cause and its remedy."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from ..basics import KitError, join_words, plural

PROBLEM_COLUMNS = ("file", "row", "column", "value", "problem", "remedy")
"""The columns of every table of problems, settled problems and remarks."""

SHOWN_VALUE = 60


@dataclass(frozen=True)
class Problem:
    """One thing that does not fit.

    Parameters
    ----------
    file : str
        File, or workbook and tab.
    row : int or None
        Row as the spreadsheet numbers it; None for a whole file or column.
    column : str
        Column or key; "" for a whole row or file.
    value : str
        What stands there.
    problem : str
        What is wrong, with the likely cause.
    remedy : str
        What to do.
    keepable : bool
        True where a decision `keep` may settle it: the value is possible, only unlikely.
    """

    file: str
    row: int | None
    column: str
    value: str
    problem: str
    remedy: str
    keepable: bool = False

    @property
    def place(self) -> tuple:
        """File, row and column: what makes two problems the same place."""
        return (self.file, self.row, self.column)


def problem_table(problems: Iterable[Problem]) -> pd.DataFrame:
    """Lay problems out as a table.

    Parameters
    ----------
    problems : iterable of Problem

    Returns
    -------
    pandas.DataFrame
        file, row (a whole number, or missing), column, value, problem, remedy.

    Examples
    --------
    >>> problem_table([Problem("rounds.csv", 4, "exertion", "71", "not on the scale", "type 17")]).loc[0, "row"]
    np.int64(4)
    """
    lines = [
        (p.file, p.row, p.column, shorten(p.value), p.problem, p.remedy)
        for p in dict.fromkeys(problems)  # the same thing seen twice is said once
    ]
    table = pd.DataFrame(lines, columns=list(PROBLEM_COLUMNS))
    return table.astype(
        {"file": "str", "row": "Int64", "column": "str", "value": "str", "problem": "str", "remedy": "str"}
    )


def shorten(value: object) -> str:
    """Return a value as text that fits a message: control characters replaced, long text cut."""
    text = "".join(c if c.isprintable() else " " for c in str(value)[: 2 * SHOWN_VALUE])
    return text if len(text) <= SHOWN_VALUE else text[: SHOWN_VALUE - 1] + "…"


class StudyError(KitError):
    """A study folder that cannot be used yet, with every problem at once.

    Parameters
    ----------
    problems : iterable of Problem
        What is wrong.
    settled : iterable of Problem
        What a decision has settled.

    Attributes
    ----------
    problems : pandas.DataFrame
        file, row, column, value, problem, remedy.
    settled : pandas.DataFrame
        The same columns.
    """

    def __init__(self, problems: Iterable[Problem], settled: Iterable[Problem] = ()):
        self.problems = problem_table(problems)
        self.settled = problem_table(settled)
        super().__init__(self._message())

    def _message(self) -> str:
        count = len(self.problems)
        lines = [
            f"{plural(count, 'thing')} in the study folder {'does' if count == 1 else 'do'} not fit yet:"
        ]
        lines += [f"- {line}" for line in describe_problems(self.problems)]
        return "\n".join(lines)

    def _repr_html_(self) -> str:
        return self.problems.to_html(index=False, na_rep="")


def describe_problems(table: pd.DataFrame) -> list[str]:
    """Return a table of problems as sentences; the same slip in several rows is one sentence that lists the rows.

    Parameters
    ----------
    table : DataFrame
        As `problem_table` makes it.

    Returns
    -------
    list of str

    Examples
    --------
    >>> same = [Problem("rounds.csv", row, "took_part", "jein", "not among yes, no", "type yes") for row in (4, 6)]
    >>> describe_problems(problem_table(same))
    ["rounds.csv, rows 4 and 6, took_part 'jein': not among yes, no. Remedy: type yes."]
    """
    groups: dict[tuple, list] = {}
    for line in table.itertuples(index=False):
        groups.setdefault(tuple(line._replace(row=None)), []).append(line)
    sentences = []
    for lines in groups.values():
        rows = [str(line.row) for line in lines if not pd.isna(line.row)]
        sentences.append(
            describe_problem(lines[0])
            if len(rows) < 2
            else describe_problem(lines[0]).replace(f", row {rows[0]}", f", rows {join_words(rows)}", 1)
        )
    return sentences


def describe_problem(line) -> str:
    """Return one line of a table of problems as a sentence.

    Parameters
    ----------
    line : named tuple
        A row of `problem_table`, from `itertuples(index=False)`.

    Returns
    -------
    str

    Examples
    --------
    >>> table = problem_table([Problem("rounds.csv", 4, "exertion", "71", "not on the scale 6-20", "type 17")])
    >>> describe_problem(next(table.itertuples(index=False)))
    "rounds.csv, row 4, exertion '71': not on the scale 6-20. Remedy: type 17."
    """
    where = line.file or "study folder"
    if not pd.isna(line.row):
        where += f", {'line' if where.endswith('.toml') else 'row'} {line.row}"
    if line.column:
        where += f", {line.column}"
    if line.value:
        where += f" '{line.value}'"
    stop = "" if line.problem.endswith("?") else "."
    return f"{where}: {line.problem.rstrip('.')}{stop} Remedy: {line.remedy.rstrip('.')}."


MAX_LISTED = 100
"""Problems of one column beyond this number are counted, not listed: a wrong column in a long file stays readable."""


@dataclass
class Findings:
    """A growing list of problems and remarks.

    Parameters
    ----------
    problems, remarks : list of Problem
        What stops, and what does not.
    kept : frozenset of tuple
        Places (file, row, column) at which a decision keeps what a rule questions.
    """

    problems: list[Problem] = field(default_factory=list)
    remarks: list[Problem] = field(default_factory=list)
    kept: frozenset[tuple] = frozenset()
    _counts: Counter = field(default_factory=Counter)

    def problem(self, file, row, column, value, problem, remedy, *, keepable: bool = False) -> None:
        """Note something that stops."""
        self._put(True, Problem(file, row, column, str(value), problem, remedy, keepable))

    def remark(self, file, row, column, value, problem, remedy) -> None:
        """Note something that does not stop."""
        self._put(False, Problem(file, row, column, str(value), problem, remedy, True))

    def _put(self, stops: bool, found: Problem) -> None:
        if found.keepable and found.place in self.kept:
            return  # listed as settled, since it was there before the decision
        kind = (stops, found.file, found.column)
        self._counts[kind] += 1
        if self._counts[kind] <= MAX_LISTED:
            (self.problems if stops else self.remarks).append(found)

    def count_the_rest(self) -> None:
        """Say how many were not listed; called once, at the end."""
        for (stops, file, column), count in self._counts.items():
            if count > MAX_LISTED:
                rest = f"{count - MAX_LISTED:,} more of this kind in this column"
                remedy = "one cause may stand behind them all"
                (self.problems if stops else self.remarks).append(
                    Problem(file, None, column, "", rest, remedy)
                )


_WORDS = tomllib.loads(Path(__file__).with_name("words.toml").read_text(encoding="utf-8"))

PERSONAL_COLUMNS = frozenset(_WORDS["personal_columns"].split())
"""Headings that ask for personal data."""

ORDINARY_WORDS = frozenset(_WORDS["ordinary_words"].split())
"""Words that may carry a capital letter and name no person."""

KIND_WORDS = frozenset(_WORDS["kinds"].split())
"""Words of a units row that are no unit."""

OTHER_HEADINGS: dict[str, str] = _WORDS["other_headings"]
"""Heading that people write -> the column that it probably means."""

_SPELLINGS = {spelling: unit for unit, spellings in _WORDS["units"].items() for spelling in spellings.split()}


def canonical_unit(text: str) -> str:
    """Return the canonical spelling of a unit, or "" where it is none that the kit knows."""
    return _SPELLINGS.get(squeeze(text.strip("[]() ")), "")


def squeeze(text: str) -> str:
    """Return a text in lower case without any spaces."""
    return re.sub(r"\s+", "", text).casefold()
