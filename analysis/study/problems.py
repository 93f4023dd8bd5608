"""Problems of a study folder: collected all at once, each with its place, its likely cause and its remedy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

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
