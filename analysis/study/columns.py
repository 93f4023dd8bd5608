"""The rules table: every column of every table of a study folder, what it means and what it may hold.

The rules themselves are rows of `columns.csv` beside this module; readers, checks, templates and the printed
reference all ask here.
"""

from __future__ import annotations

import csv
from collections import namedtuple
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pandas as pd

RULES_FILE = Path(__file__).with_name("columns.csv")

TABLES = (
    "sessions",
    "clock",
    "athletes",
    "attendance",
    "aerobic_tests",
    "rounds",
    "lactate",
    "recordings",
    "published",
    "decisions",
    "survey",
)
"""The tables of a study folder, in the order in which `check` names them."""

KEYS = {
    "sessions": ("session",),
    "clock": ("session", "group", "round_no"),
    "athletes": ("athlete",),
    "attendance": ("session", "athlete"),
    "rounds": ("session", "athlete", "round_no"),
    "lactate": ("session", "athlete", "after_round", "replicate"),
    "recordings": ("session", "athlete", "file", "column_or_label"),
}
"""Columns that together may occur once; tables without an entry may repeat."""

TEXT_KINDS = frozenset(
    {"code", "text", "choice", "yes_no", "date", "clock", "file", "offset", "opponent", "test"}
)
"""Kinds kept as text ("" where blank); dates as 2026-11-25, clock times as 19:30:00, offsets as +01:00."""

SOURCE_COLUMNS = ("file", "row")
"""Where a row was read: the file (or workbook tab) and its row as a spreadsheet numbers it.

Where a table has a column `file` of its own (recordings, aerobic_tests, survey) the source is in `source_file`.
"""


@dataclass(frozen=True)
class Column:
    """One column of one table.

    Parameters
    ----------
    table, name : str
        Where it stands.
    kind : str
        How its text is read: code, text, choice, yes_no, date, clock, file, offset, opponent, test (kept as text);
        number, whole, round, minutes, seconds, signed_seconds, lactate, exertion (numbers).
    unit : str
        Unit of the numbers; "" where there is none.
    low, high : float or None
        Limits outside which a value is a problem.
    ask_low, ask_high : float or None
        Limits outside which a value is possible but asked about.
    choices : tuple of str
        The words of a choice.
    need : str
        "key" and "required" must be there wherever the table is; "default 1" is filled with 1; "" may be blank.
    meaning : str
        In words.
    slips : tuple of (float, str)
        Likely slips: a value typed in this other unit is the factor times the right one.
    hints : tuple of str
        Named slips that are no factor: "year of birth", "fahrenheit", "shuttle".
    """

    table: str
    name: str
    kind: str
    unit: str
    low: float | None
    high: float | None
    ask_low: float | None
    ask_high: float | None
    choices: tuple[str, ...]
    need: str
    meaning: str
    slips: tuple[tuple[float, str], ...]
    hints: tuple[str, ...]

    @property
    def is_text(self) -> bool:
        """True where the column is kept as text."""
        return self.kind in TEXT_KINDS

    @property
    def allowed(self) -> str:
        """What may be written, in words."""
        if self.choices:
            return ", ".join(self.choices)
        words = {
            "yes_no": "yes, no",
            "date": "date, as 2026-11-25",
            "clock": "clock time, as 19:30 or 19:30:15",
            "code": "code without a name, as A07",
            "file": "file name",
            "offset": "as +01:00",
            "opponent": "code, guest, none",
            "test": "name of a test",
            "lactate": "number, HI, LO",
            "exertion": "number on the scale of study.toml",
            "minutes": "minutes, or m:ss",
            "seconds": "seconds, or m:ss",
            "signed_seconds": "seconds, negative allowed",
            "whole": "whole number",
            "round": "whole number",
            "text": "text",
        }.get(self.kind, "number")
        if self.low is not None and self.high is not None:
            return f"{words}, {self.low:g} to {self.high:g}"
        return words if self.low is None else f"{words}, from {self.low:g}"


def _number(text: str) -> float | None:
    return float(text) if text else None


def _read_rule(line: dict) -> Column:
    slips, hints = [], []
    for part in filter(None, line["slips"].split(";")):
        factor, _, words = part.partition(":")
        if words:
            slips.append((float(factor), words))
        else:
            hints.append(part)
    return Column(
        table=line["table"],
        name=line["column"],
        kind=line["kind"],
        unit=line["unit"],
        low=_number(line["low"]),
        high=_number(line["high"]),
        ask_low=_number(line["ask_low"]),
        ask_high=_number(line["ask_high"]),
        choices=tuple(filter(None, line["choices"].split("|"))),
        need=line["need"],
        meaning=line["meaning"],
        slips=tuple(slips),
        hints=tuple(hints),
    )


@cache
def column_rules() -> dict[str, dict[str, Column]]:
    """Return the rules: table -> column name -> Column, in the order of the printed sheets.

    Returns
    -------
    dict of dict

    Examples
    --------
    >>> column_rules()["rounds"]["lactate_mmol_l"].unit
    'mmol/L'
    """
    rules: dict[str, dict[str, Column]] = {table: {} for table in TABLES}
    with RULES_FILE.open(encoding="utf-8", newline="") as lines:
        for line in csv.DictReader(lines):
            rules[line["table"]][line["column"]] = _read_rule(line)
    return rules


def table_columns(table: str) -> tuple[str, ...]:
    """Return the canonical columns of one table, without the columns that say where a row was read.

    Parameters
    ----------
    table : str
        One of TABLES.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> table_columns("clock")
    ('session', 'group', 'round_no', 'start_clock', 'end_clock', 'note')
    """
    return tuple(column_rules()[table])


def source_columns(table: str) -> tuple[str, str]:
    """Return the two columns of a loaded table that say where each row was read."""
    return ("source_file", "row") if "file" in column_rules()[table] else SOURCE_COLUMNS


def column_type(column: Column) -> str:
    """Return the pandas type that a loaded column has."""
    if column.is_text:
        return "str"
    return "int64" if column.kind == "round" and column.need == "key" else "float64"


def empty_table(table: str) -> pd.DataFrame:
    """Return a table without rows that has every canonical column with its type.

    Parameters
    ----------
    table : str
        One of TABLES.

    Returns
    -------
    pandas.DataFrame

    Examples
    --------
    >>> empty_table("rounds").dtypes["round_no"].name
    'int64'
    """
    return _empty_table(table).copy()


@cache
def _empty_table(table: str) -> pd.DataFrame:
    columns = {name: pd.Series(dtype=column_type(c)) for name, c in column_rules()[table].items()}
    file, row = source_columns(table)
    return pd.DataFrame(columns | {file: pd.Series(dtype="str"), row: pd.Series(dtype="int64")})


def lines_of(table: pd.DataFrame) -> Iterable:
    """Return the rows of a table as named tuples; quick where it is empty or of a shape seen before."""
    if not len(table):
        return ()
    return map(_line_type(tuple(table.columns))._make, zip(*(table[c].tolist() for c in table), strict=True))


@cache
def _line_type(names: tuple[str, ...]) -> type:
    return namedtuple("Line", names)


def describe_columns(table: str | None = None) -> pd.DataFrame:
    """Describe what each column of a study folder means and may hold, computed from the rules table.

    Parameters
    ----------
    table : str, optional
        One of TABLES. Default: all.

    Returns
    -------
    pandas.DataFrame
        table, column, unit, meaning, allowed, required.

    Examples
    --------
    >>> describe_columns("clock").loc[2, "allowed"]
    'whole number, 0 to 30'
    """
    needs = {"key": "yes", "required": "yes", "default 1": "no (blank means 1)", "": "no"}
    lines = [
        (c.table, c.name, c.unit, c.meaning, c.allowed, needs[c.need])
        for name, columns in column_rules().items()
        for c in columns.values()
        if table in (None, name)
    ]
    return pd.DataFrame(lines, columns=["table", "column", "unit", "meaning", "allowed", "required"])


def place(table: str, line) -> tuple[str, int]:
    """Return file and row of a line of a converted table."""
    file, row = source_columns(table)
    return getattr(line, file), getattr(line, row)
