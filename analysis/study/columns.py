"""The rules table: every column of every table of a study folder, what it means and what it may hold.

The rules themselves are rows of `columns.csv` beside this module; readers, checks, templates and the printed
reference all ask here.
"""

from __future__ import annotations

import csv
import difflib
import re
import unicodedata
from collections import namedtuple
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pandas as pd

from ..basics import lower_first
from .privacy import is_personal_heading
from .problems import KIND_WORDS, OTHER_HEADINGS, Findings, canonical_unit, squeeze
from .text_files import BLOCK, Grid, Texts

RULES_FILE = Path(__file__).with_name("columns.csv")
HEADINGS_FILE = Path(__file__).with_name("headings.csv")
"""Headings as people write them in eight languages; our own collection."""

TABLES = (
    "sessions", "clock", "athletes", "attendance", "aerobic_tests", "rounds", "lactate", "recordings", "published",
    "decisions", "survey", "pace", "allocation", "training_log", "adverse_events",
)  # fmt: skip
"""The tables of a study folder, in the order in which `check` names them."""

KEYS = {
    "sessions": ("session",),
    "clock": ("session", "group", "round_no"),
    "athletes": ("athlete",),
    "attendance": ("session", "athlete"),
    "rounds": ("session", "athlete", "round_no"),
    "lactate": ("session", "athlete", "after_round", "replicate"),
    "recordings": ("session", "athlete", "file", "column_or_label"),
    "pace": ("session", "rater", "athlete", "round_no", "start_clock"),
    "allocation": ("athlete",),
}
"""Columns that together may occur once; tables without an entry may repeat."""

TEXT_KINDS = frozenset({"code", "text", "choice", "yes_no", "date", "clock", "file", "offset", "opponent", "test"})
"""Kinds kept as text ("" where blank); dates as 2026-11-25, clock times as 19:30:00, offsets as +01:00."""

SOURCE_COLUMNS = ("file", "row")
"""Where a row was read: the file (or workbook tab) and its row as a spreadsheet numbers it.

Where a table has a column `file` of its own (recordings, aerobic_tests, survey) the source is in `source_file`.
"""


@dataclass(frozen=True)
class Column:
    """One column of one table."""

    table: str  # Where it stands
    name: str
    # How its text is read: code, text, choice, yes_no, date, clock, file, offset, opponent, test (kept as text); number,
    # whole, round, minutes, seconds, signed_seconds, lactate, exertion (numbers)
    kind: str
    unit: str  # Unit of the numbers; "" where there is none
    low: float | None  # Limits outside which a value is a problem
    high: float | None
    ask_low: float | None  # Limits outside which a value is possible but asked about
    ask_high: float | None
    choices: tuple[str, ...]  # The words of a choice
    # "key" and "required" must be there wherever the table is; "default 1" is filled with 1; "" may be blank
    need: str
    meaning: str
    # Likely slips: a value typed in this other unit is the factor times the right one
    slips: tuple[tuple[float, str], ...]
    hints: tuple[str, ...]  # Named slips that are no factor: "year of birth", "fahrenheit", "shuttle"

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
        table=line["table"], name=line["column"], kind=line["kind"], unit=line["unit"], low=_number(line["low"]),
        high=_number(line["high"]), ask_low=_number(line["ask_low"]), ask_high=_number(line["ask_high"]),
        choices=tuple(filter(None, line["choices"].split("|"))), need=line["need"], meaning=line["meaning"],
        slips=tuple(slips), hints=tuple(hints),
    )  # fmt: skip


@cache
def column_rules() -> dict[str, dict[str, Column]]:
    """Return the rules: table -> column name -> Column, in the order of the printed sheets."""
    rules: dict[str, dict[str, Column]] = {table: {} for table in TABLES}
    with RULES_FILE.open(encoding="utf-8", newline="") as lines:
        for line in csv.DictReader(lines):
            rules[line["table"]][line["column"]] = _read_rule(line)
    return rules


def table_columns(table: str) -> tuple[str, ...]:
    """Return the canonical columns of one table, without the columns that say where a row was read."""
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
    """Return a table without rows that has every canonical column with its type."""
    return _empty_table(table).copy()


@cache
def _empty_table(table: str) -> pd.DataFrame:
    columns = {name: pd.Series(dtype=column_type(c)) for name, c in column_rules()[table].items()}
    file, row = source_columns(table)
    return pd.DataFrame(columns | {file: pd.Series(dtype="str"), row: pd.Series(dtype="int64")})


def lines_of(table: pd.DataFrame, where: pd.Series | None = None) -> Iterable:
    """Return the rows of a table, all or those of a mask, as named tuples; quick where there are none."""
    if not len(table) or (where is not None and not where.any()):
        return ()
    if where is not None:
        table = table[where]
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


@dataclass
class RawTable:
    """A table with canonical headings, its cells still texts."""

    table: str
    file: str
    rows: list[int] = field(default_factory=list)
    columns: dict[str, Sequence[str]] = field(default_factory=dict)
    decimal_comma: bool | None = False
    wide: bool = False

    def heading(self, column: str, index: int) -> str:
        """Return the heading under which a cell stands."""
        if self.wide and column not in ("session", "athlete", "round_no", "note"):
            return f"{column}_{self.columns['round_no'][index]}"
        return column

    def key(self, index: int) -> int | tuple[int, str]:
        """Return what tells one row from all others, also after other rows have left: row, and round where wide."""
        return (self.rows[index], self.columns["round_no"][index]) if self.wide else self.rows[index]

    def cell(self, column: str, index: int) -> str:
        """Return the text of a cell, "" where the table has no such column."""
        return self.columns[column][index] if column in self.columns else ""

    def select(self, stay: list[int]) -> RawTable:
        """Return a table with these rows alone, whose cells may be changed without changing this one."""
        kept = list if len(stay) <= BLOCK else Texts
        columns = {name: kept(texts[i] for i in stay) for name, texts in self.columns.items()}
        return RawTable(self.table, self.file, [self.rows[i] for i in stay], columns, self.decimal_comma, self.wide)

    def copy(self) -> RawTable:
        """Return a table whose cells may be changed without changing this one."""
        return self.select(list(range(len(self.rows))))


def lay_out_rounds(raw: RawTable, findings: Findings) -> RawTable:
    """Lay rounds that stand side by side (exertion_1, exertion_2 ...) under one another."""
    measures: dict[int, dict[str, str]] = {}
    for name in raw.columns:
        base, _, round_no = name.rpartition("_")
        if round_no.isdecimal() and name not in column_rules()["rounds"]:
            measures.setdefault(int(round_no), {})[base] = name
    if not measures:
        return raw
    shared = ("session", "athlete", "note")
    lone = [n for n in raw.columns if n in column_rules()["rounds"] and n not in shared]
    for name in lone:
        problem = "a heading without its round beside headings with one"
        remedy = f"write {name}_1, {name}_2 ... or give every round a row of its own"
        findings.problem(raw.file, 1, name, "", problem, remedy)
    names = ["session", "athlete", "round_no", *dict.fromkeys(b for m in measures.values() for b in m), "note"]
    long = RawTable(raw.table, raw.file, decimal_comma=raw.decimal_comma, wide=True)
    long.columns = {n: [] for n in dict.fromkeys(names) if n in raw.columns or n not in shared}
    for index, row in enumerate(raw.rows):
        for round_no in sorted(measures):
            cells = {base: raw.columns[name][index] for base, name in measures[round_no].items()}
            if not any(cells.values()):
                continue
            long.rows.append(row)
            for name, texts in long.columns.items():
                text = cells[name] if name in cells else raw.columns[name][index] if name in shared else ""
                texts.append(str(round_no) if name == "round_no" else text)
    return long


def plain_heading(text: str) -> tuple[str, str]:
    """Return a heading in the form of a column name, and the unit in brackets behind it."""
    match = re.fullmatch(r"(.*?)\s*[\[(]([^\[\]()]*(?:\([^()]*\))?[^\[\]()]*)[\])]", text.strip())
    name, unit = (match[1], match[2]) if match else (text, "")
    return re.sub(r"[\s\-]+", "_", name.strip()).casefold(), unit


@cache
def headings_elsewhere() -> dict[str, tuple[str, ...]]:
    """Heading in another language, without accents -> the columns that it may mean, from `headings.csv`."""
    found: dict[str, tuple[str, ...]] = {}
    with HEADINGS_FILE.open(encoding="utf-8", newline="") as lines:
        for line in csv.DictReader(lines):
            columns = tuple(line.pop("column").split("|"))
            for word in {w for words in line.values() for w in words.split("|") if w}:
                found[without_accents(word)] = found.get(without_accents(word), ()) + columns
    return found


def without_accents(text: str) -> str:
    """Return a heading in lower case without accents, so that it is found however it was typed."""
    text = text.casefold().replace("ł", "l").replace("ø", "o").replace(".", "")
    plain = unicodedata.normalize("NFKD", text)
    return (
        "".join(c for c in plain if not unicodedata.combining(c)) if plain.isascii() or text.upper() != text else text
    )


def suggest_column(name: str, allowed: dict[str, Column]) -> str:
    """Return the column that a heading probably means, or ""."""
    if OTHER_HEADINGS.get(name) in allowed:
        return OTHER_HEADINGS[name]
    elsewhere = [c for c in headings_elsewhere().get(without_accents(name).strip("_"), ()) if c in allowed]
    if elsewhere:
        return elsewhere[0]
    close = difflib.get_close_matches(name, allowed, n=1, cutoff=0.75)
    if close:
        return close[0]
    starts = [c for c in allowed if len(name) > 3 and (c.startswith(name) or name.startswith(c))]
    return starts[0] if starts else ""


def read_headings(grid: Grid, table: str, findings: Findings, *, more: frozenset[str] = frozenset()) -> RawTable:
    """Give the columns of a sheet their canonical names and lay rounds that stand side by side under one another."""
    raw = RawTable(table, grid.file, decimal_comma=grid.decimal_comma)
    if not grid.rows:
        return raw
    rules = column_rules()[table]
    first = _heading_row(grid, rules)
    number, heads = grid.rows[first]
    body = grid.rows[first + 1 :]
    if first:
        skipped = " | ".join(filter(None, grid.rows[0][1]))
        problem = f"the headings are taken from row {number}"
        remedy = "nothing, if that is right"
        findings.remark(grid.file, grid.rows[0][0], "", skipped, problem, remedy)
    places = _name_columns(grid, number, heads, body, rules, more, findings)
    typed_over = _units_row(body[0][1], rules) if body else None
    if typed_over is not None:
        row, cells = body[0]
        for place in typed_over:
            problem = f"typed over what row {row} says of each column"
            remedy = "empty this cell, and type values from the next row on"
            findings.problem(grid.file, row, places.get(place, ""), cells[place], problem, remedy)
        units = {p: text for p, text in enumerate(cells) if text and p not in typed_over}
        _check_units(grid.file, row, units, places, rules, findings)
        body = body[1:]
    for row, cells in body if body.width > len(heads) else ():
        if any(cells[len(heads) :]):
            extra = " | ".join(filter(None, cells[len(heads) :]))
            problem = "more cells than headings: a comma inside a number or a text may have split a cell"
            remedy = "put the text in quotation marks, or save the file with semicolons or tabs between cells"
            findings.problem(grid.file, row, "", extra, problem, remedy)
    raw.rows = body.numbers()
    raw.columns |= {name: body.column(place) for place, name in places.items()}
    if table == "rounds":
        raw = lay_out_rounds(raw, findings)
    for column in rules.values():
        if column.need in ("key", "required") and column.name not in raw.columns and raw.rows:
            problem = f"the column {column.name} is missing"
            remedy = f"add it: {lower_first(column.meaning)}"
            findings.problem(grid.file, number, column.name, "", problem, remedy)
    return raw


def has_rows(grid: Grid, table: str) -> bool:
    """Return True where a sheet holds more than its headings and units."""
    body = grid.rows[1:]
    return len(body) > 1 or bool(body and _units_row(body[0][1], column_rules()[table]) is None)


def _heading_row(grid: Grid, rules: dict[str, Column]) -> int:
    """Return the index of the row with headings: the first, unless only a row shortly below holds any."""
    known = [sum(_is_known(plain_heading(c)[0], rules) for c in cells) for _, cells in grid.rows[:6]]
    return 0 if known[0] or max(known) < 2 else known.index(max(known))


def _is_known(name: str, rules: dict[str, Column]) -> bool:
    base, _, round_no = name.rpartition("_")
    return name in rules or (round_no.isdecimal() and base in rules)


def _name_columns(grid, number, heads, body, rules, more, findings) -> dict[int, str]:
    places: dict[int, str] = {}
    for place, head in enumerate(heads):
        if not head:
            if any(place < len(cells) and cells[place] for _, cells in body):
                problem = f"column {place + 1} has values but no heading"
                remedy = "write its heading, or clear the column"
                findings.problem(grid.file, number, "", "", problem, remedy)
            continue
        name, unit = plain_heading(head)
        base, _, round_no = name.rpartition("_")
        is_wide = "round_no" in rules and round_no.isdecimal() and base in rules
        if name in rules or name in more or is_wide:
            if name in places.values():
                findings.problem(grid.file, number, name, head, "two columns have this heading", "keep one of them")
                continue
            places[place] = name
            if unit:
                _check_units(grid.file, number, {place: unit}, {place: base if is_wide else name}, rules, findings)
        else:
            suggestion = _unknown_heading(grid.file, number, head, name, rules, findings)
            # read under the suggested name, so that what is wrong in its cells is named at the same time
            if suggestion and suggestion not in {plain_heading(h)[0] for h in heads} | set(places.values()):
                places[place] = suggestion
    return places


def _unknown_heading(file: str, row: int, head: str, name: str, rules: dict, findings: Findings) -> str:
    """Report a heading that is none of the columns; return the column that it probably means, or ""."""
    if is_personal_heading(name):
        problem = "a column for personal data; a study folder holds codes only"
        remedy = "delete the column here and keep the list of codes elsewhere, under lock"
        findings.problem(file, row, name, head, problem, remedy)
        return ""
    base, _, round_no = name.rpartition("_")
    is_wide = "round_no" in rules and round_no.isdecimal()
    suggestion = suggest_column(base if is_wide else name, rules)
    if not suggestion:
        unknown = "a column that the kit does not know; it is not read"
        findings.remark(file, row, name, head, unknown, "nothing, if that is meant")
        return ""
    suggestion += f"_{round_no}" if is_wide else ""
    problem = f"no such column; did you mean {suggestion}?"
    findings.problem(file, row, name, head, problem, f"write the heading as {suggestion}")
    return suggestion


def _units_row(cells: list[str], rules: dict[str, Column]) -> list[int] | None:
    """Places of a row of units where something else was typed; None where most of the row is something else."""
    words = KIND_WORDS | {squeeze("/".join(c.choices)) for c in rules.values() if c.choices}
    words |= {squeeze(c.unit) for c in rules.values() if c.unit}  # also those that only one column has
    filled = [place for place, cell in enumerate(cells) if cell]
    other = [p for p in filled if squeeze(cells[p]) not in words and not canonical_unit(squeeze(cells[p]))]
    known = len(filled) - len(other)
    return other if known and (not other or known >= max(3, 2 * len(other))) else None


def _check_units(file, row, units: dict[int, str], places: dict[int, str], rules, findings) -> None:
    for place, text in units.items():
        name = places.get(place, "")
        column = rules.get(name) or rules.get(name.rpartition("_")[0])
        found = canonical_unit(text)
        if not column or not column.unit or not found:
            continue
        if found != canonical_unit(column.unit):
            problem = f"the unit is given as {text}, but this column is in {column.unit}"
            remedy = f"convert the values to {column.unit}"
            findings.problem(file, row, name, text, problem, remedy)
