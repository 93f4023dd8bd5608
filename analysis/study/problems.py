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
MOST_OF_A_COLUMN = 8
"""Different sentences about one column beyond this number are folded into one that lists the rows."""


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
    offer : str
        The value that the remedy names for this cell; "" where it names none.
    asks : bool
        True where it is a question: the value stands out, and a person says whether it is right.
    aside : bool
        True where the remedy is to set the row aside.
    """

    file: str
    row: int | None
    column: str
    value: str
    problem: str
    remedy: str
    keepable: bool = False
    offer: str = ""
    asks: bool = False
    aside: bool = False

    @property
    def place(self) -> tuple:
        """File, row and column: what makes two problems the same place."""
        return (self.file, self.row, self.column)


def asked(near: str) -> str:
    """Ask whether the nearest known word was meant; nothing where none is near."""
    return f"; did you mean {near}?" if near else ""


def problem_table(problems: Iterable[Problem]) -> pd.DataFrame:
    """Lay problems out as a table."""
    lines = [
        (p.file, p.row, p.column, shorten(p.value), p.problem, p.remedy)
        for p in dict.fromkeys(problems)  # the same thing seen twice is said once
    ]
    return pd.DataFrame(lines, columns=list(PROBLEM_COLUMNS)).astype(_PROBLEM_TYPES) if lines else _NO_PROBLEMS.copy()


_PROBLEM_TYPES = {c: pd.api.types.pandas_dtype("Int64" if c == "row" else "str") for c in PROBLEM_COLUMNS}
_NO_PROBLEMS = pd.DataFrame(columns=list(PROBLEM_COLUMNS)).astype(_PROBLEM_TYPES)


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
        count = len(self.problems)
        lines = [f"{plural(count, 'problem')} in the study folder:"]
        lines += [f"- {line}" for line in describe_problems(self.problems)]
        super().__init__("\n".join(lines))

    def _repr_html_(self) -> str:
        return self.problems.to_html(index=False, na_rep="")


def describe_problems(table: pd.DataFrame) -> list[str]:
    """Return a table of problems as sentences; the same slip in several rows is one sentence that lists the rows."""
    groups: dict[tuple, list] = {}
    for line in table.itertuples(index=False):
        groups.setdefault(tuple(line._replace(row=None)), []).append(line)
    columns: dict[tuple, list[list]] = {}
    for lines in groups.values():
        columns.setdefault((lines[0].file, lines[0].column), []).append(lines)
    sentences = []
    for kinds in columns.values():
        rowless = [lines for lines in kinds if pd.isna(lines[0].row)]  # nothing but its words tells where it is
        kinds = [lines for lines in kinds if not pd.isna(lines[0].row)]
        sentences += [_with_rows(lines) for lines in rowless]
        shown = kinds if len(kinds) <= MOST_OF_A_COLUMN else kinds[:2]
        sentences += [_with_rows(lines) for lines in shown]
        folded = [line for lines in kinds[len(shown) :] for line in lines]
        if folded:
            rows = sorted({int(line.row) for line in folded})
            where = f"{folded[0].file}, {folded[0].column}" if folded[0].column else folded[0].file
            sentences.append(f"{where}: the like in {plural(len(folded), 'more cell')}, {fold_rows(rows)}.")
    return sentences


def _with_rows(lines: list) -> str:
    """One sentence for the same slip in several rows."""
    rows = [int(line.row) for line in lines if not pd.isna(line.row)]
    sentence = describe_problem(lines[0])
    return sentence if len(rows) < 2 else sentence.replace(f", row {rows[0]}", f", {fold_rows(rows)}", 1)


def fold_rows(rows: list[int]) -> str:
    """Row numbers in words: neighbours as a range."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    words = [w for run in runs for w in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run))]
    if len(words) > 12:
        words = [*words[:10], f"{len(words) - 10} more"]
    return f"row {words[0]}" if words == [str(rows[0])] else f"rows {join_words(words)}"


def describe_problem(line) -> str:
    """Return one line of a table of problems as a sentence."""
    where = line.file or "study folder"
    if not pd.isna(line.row):
        where += f", {'line' if where.endswith(('.toml', '.md')) else 'row'} {line.row}"
    if line.column:
        where += f", {line.column}"
    if line.value:
        where += f" '{line.value}'"
    stop = "" if line.problem.endswith("?") else "."
    return f"{where}: {line.problem.rstrip('.')}{stop} Remedy: {line.remedy.rstrip('.')}."


MAX_SHOWN = 200
"""Characters of a value that a message can need."""

MAX_LISTED = 100
"""Problems of one column beyond this number are counted, not listed: a wrong column in a long file stays readable."""


class RowNumbers:
    """Numbers of rows, one byte each: of a million rows every one may have a problem."""

    def __init__(self):
        self._there = bytearray()

    def add(self, row: int) -> None:
        """Take in one row."""
        if row >= len(self._there):
            self._there.extend(bytes(row + 1024 - len(self._there)))
        self._there[row] = 1

    def __contains__(self, row: int) -> bool:
        return row < len(self._there) and self._there[row] == 1

    def __len__(self) -> int:
        return self._there.count(1)


@dataclass
class Findings:
    """A growing list of problems and remarks."""

    problems: list[Problem] = field(default_factory=list)
    remarks: list[Problem] = field(default_factory=list)
    kept: frozenset[tuple] = frozenset()
    questions: list[Problem] = field(default_factory=list)
    unfit: dict[str, RowNumbers] = field(default_factory=dict)
    _counts: Counter = field(default_factory=Counter)

    def problem(self, file, row, column, value, problem, remedy, *, keepable=False, offer="", aside=False) -> None:
        """Note something that stops; `offer` is the value that the remedy names, `aside` that the row may be set aside."""
        if row is not None and not (keepable and (file, row, column) in self.kept):
            self.unfit.setdefault(file, RowNumbers()).add(row)
        self._put("problems", file, row, column, value, problem, remedy, keepable, offer, False, aside)

    def problem_of(self, file, problem, remedy, *, column="", value="") -> None:
        """Note something that stops, about a whole file or a column of it."""
        self.problem(file, None, column, value, problem, remedy)

    def remark_of(self, file, problem, remedy, *, column="", value="") -> None:
        """Note something that neither stops nor asks, about a whole file or a column of it."""
        self.remark(file, None, column, value, problem, remedy)

    def question(self, file, row, column, value, problem, remedy, *, offer="") -> None:
        """Ask about a value that is possible but stands out; a decision keeps or replaces it."""
        self._put("questions", file, row, column, value, problem, remedy, True, offer, True)

    def more(self, kind: str, file: str, column: str, rows: list[int]) -> None:
        """Count further cells of a column without listing them."""
        self._counts[kind, file, column] += len(rows)
        if kind == "problems":
            unfit = self.unfit.setdefault(file, RowNumbers())
            for row in rows:
                unfit.add(row)

    def doubts(self, file: str, row: int, *columns: str) -> bool:
        """Whether one of these cells of a row has a problem; where the row's problems are only counted, any may."""
        if row not in self.unfit.get(file, ()):
            return False
        own = [p.column for p in self.problems if p.file == file and p.row == row]
        return not own or any(name.startswith(columns) for name in own)

    def forget(self, file, row, *columns) -> None:
        """Take back what was said of cells of a row, since something else says it better."""
        for kind in ("problems", "questions"):
            stay = [p for p in getattr(self, kind) if not (p.file == file and p.row == row and p.column in columns)]
            setattr(self, kind, stay)

    def remark(self, file, row, column, value, problem, remedy) -> None:
        """Note something that neither stops nor asks."""
        self._put("remarks", file, row, column, value, problem, remedy, True)

    def _put(self, kind: str, file, row, column, value, *rest) -> None:
        if rest[2] and (file, row, column) in self.kept:
            return  # listed as settled, since it was there before the decision
        self._counts[kind, file, column] += 1
        if self._counts[kind, file, column] <= MAX_LISTED:
            getattr(self, kind).append(Problem(file, row, column, str(value)[:MAX_SHOWN], *rest))

    def count_the_rest(self) -> None:
        """Say how many were not listed; called once, at the end."""
        for (kind, file, column), count in self._counts.items():
            if count > MAX_LISTED:
                rest = f"{count - MAX_LISTED:,} more of this kind in this column"
                remedy = "one cause may stand behind them all"
                getattr(self, kind).append(Problem(file, None, column, "", rest, remedy))


WORDS = tomllib.loads(Path(__file__).with_name("words.toml").read_text(encoding="utf-8"))

PERSONAL_COLUMNS = frozenset(WORDS["personal_columns"].split())
"""Headings that ask for personal data."""

ORDINARY_WORDS = frozenset(WORDS["ordinary_words"].split())
"""Words that may carry a capital letter and name no person."""

SIGNS = frozenset(WORDS["signs"].split())
"""Units, signs of statistics and short words as the write-up prints them."""

BEGINNINGS = frozenset(WORDS["beginnings"].split())
"""Words that begin a sentence before a verb and name no person, beside the ordinary ones."""

GIVEN_NAMES = frozenset(WORDS["given_names"].split())
"""Names of people that are no ordinary words."""

KIND_WORDS = frozenset(WORDS["kinds"].split())
"""Words of a units row that are no unit."""

OTHER_HEADINGS: dict[str, str] = WORDS["other_headings"]
"""Heading that people write -> the column that it probably means."""


def by_word(groups: dict[str, str]) -> dict[str, str]:
    """Turn name -> its words round: word -> name."""
    return {word: name for name, words in groups.items() for word in words.split()}


_SPELLINGS = by_word(WORDS["units"])


def canonical_unit(text: str) -> str:
    """Return the canonical spelling of a unit, or "" where it is none that the kit knows."""
    return _SPELLINGS.get(squeeze(text.strip("[]() ")), "")


def squeeze(text: str) -> str:
    """Return a text in lower case without any spaces."""
    return re.sub(r"\s+", "", text).casefold()
