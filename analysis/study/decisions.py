"""decisions.csv: values replaced, set aside or kept by a person before anything is validated; and the rows that `check` proposes.

A row without day and without name is a proposal: it waits, changes nothing, and is counted in `check`.
"""

from __future__ import annotations

import csv
import io
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import islice
from pathlib import Path

import pandas as pd

from ..basics import KitError, Result, did_you_mean, plural
from .columns import TABLES, RawTable, column_rules, lines_of, plain_heading, suggest_column
from .fixing import write_whole
from .problems import Findings, asked

FOR_CLEANING = frozenset({"heart_rate", "hr_bpm"})
"""Measures of a recording: decisions about them are applied where recordings are cleaned."""
ABOUT_CLOCKS = frozenset({"trust the trace", "trust the log"})
"""Actions about the clock of a recording, applied where recordings are cleaned."""


@dataclass
class Decided:
    """Tables after the decisions, and what the decisions did."""

    tables: dict[str, RawTable]
    rows_aside: dict[str, dict[int | tuple, tuple[str, str]]] = field(default_factory=dict)
    values_aside: dict[tuple[str, str], dict[int | tuple, tuple[str, str]]] = field(default_factory=dict)
    kept: set[tuple] = field(default_factory=set)
    entries: list[dict] = field(default_factory=list)
    taken: dict[tuple, object] = field(default_factory=dict)


UNFIT = "what does not fit"
"""In the column measure, with the action set aside: every row of that table that has a problem."""


def is_about_unfit(decision) -> bool:
    """Return True where one decision sets aside every row of a table that has a problem."""
    return (
        decision.action == "set aside"
        and decision.measure.strip().casefold() == UNFIT
        and _table_name(decision.table) in TABLES
    )


def is_for_cleaning(decision) -> bool:
    """Return True where a decision is about a recording: a stretch of seconds, or a round's heart rate."""
    if decision.action in ABOUT_CLOCKS or not (pd.isna(decision.from_s) and pd.isna(decision.to_s)):
        return True
    measure = decision.measure.casefold()
    return measure in FOR_CLEANING or (measure.startswith(("hr_", "percent_hr")) and not _is_typed(decision))


def _is_typed(decision) -> bool:
    table = _table_name(decision.table)
    return decision.measure.casefold() in column_rules().get(table, {})


def _table_name(text: str) -> str:
    return re.sub(r"\.(csv|tsv)$", "", text.strip().casefold()).replace(" ", "_")


def apply_decisions(
    tables: dict[str, RawTable],
    decisions: pd.DataFrame,
    findings: Findings,
    *,
    judge: Callable = lambda table, measure, text: None,
) -> Decided:
    """Apply the decisions to texts, in their order; what matches nothing, or too much, is a problem."""
    named = {_table_name(decision.table) for decision in lines_of(decisions)}
    decided = Decided({name: raw.copy() if name in named else raw for name, raw in tables.items()})
    for decision in lines_of(decisions):
        if not decision.action or not decision.table:
            continue  # already a problem of the decisions table
        if is_for_cleaning(decision):
            _check_stretch(decision, tables, findings)
            continue
        table = _table_name(decision.table)
        raw = decided.tables.get(table)
        if raw is None:
            near = did_you_mean(table, TABLES)
            problem = "no such table" if table not in TABLES else "this table is not in the folder"
            hint = f"; did you mean {near}?" if near and near != table else ""
            _complain(findings, decision, "table", decision.table, problem + hint, f"write {near or 'rounds'}")
            continue
        measure, round_no = _measure(decision, raw)
        if decision.measure and not measure:
            near = suggest_column(plain_heading(decision.measure)[0], column_rules()[table])
            remedy = f"write {near}" if near else "write the heading of a column of that table"
            _complain(
                findings, decision, "measure", decision.measure, f"no such column in {table}{asked(near)}", remedy
            )
            continue
        wrong = judge(table, measure, decision.new_value) if decision.action == "replace" and measure else None
        if wrong:
            _complain(findings, decision, "new_value", decision.new_value, *wrong[1:3])
            continue
        _act(decided, raw, decision, measure, round_no, findings)
    return decided


def _complain(findings: Findings, decision, column: str, value, problem: str, remedy: str) -> None:
    findings.problem(decision.file, decision.row, column, value, problem, remedy)


def _check_stretch(decision, tables: dict[str, RawTable], findings: Findings) -> None:
    complain = partial(_complain, findings, decision)
    people = tables["athletes"].columns.get("athlete", ()) if "athletes" in tables else ()
    if not decision.athlete:
        complain("athlete", "", "a decision about a recording needs an athlete", "write the code")
    elif people and decision.athlete not in people:
        near = did_you_mean(decision.athlete, people)
        remedy = f"write {near}" if near else "correct the code; delete the decision if it is done with"
        complain("athlete", decision.athlete, f"not in the athletes table{asked(near)}", remedy)
    if _table_name(decision.table) not in ("recordings", "rounds"):
        problem = "a decision about a recording belongs to the table recordings"
        complain("table", decision.table, problem, "write recordings")
    if decision.from_s >= decision.to_s:
        shown = f"{decision.from_s:g} to {decision.to_s:g}"
        complain("to_s", shown, "the stretch ends before it begins", "write from_s below to_s")
    if decision.action == "replace":
        problem = "a stretch of a recording cannot be replaced"
        complain("action", decision.action, problem, "set it aside, or keep it")


def _measure(decision, raw: RawTable) -> tuple[str, float]:
    """Return the column and round that a decision names; exertion_2 names both."""
    name = plain_heading(decision.measure)[0]
    base, _, number = name.rpartition("_")
    if name in raw.columns or name in column_rules()[raw.table]:
        return name, decision.round_no
    if number.isdecimal() and (base in raw.columns or base in column_rules()[raw.table]):
        return base, float(number)
    return "", decision.round_no


def _matches(raw: RawTable, decision, round_no: float) -> list[int]:
    round_column = "after_round" if raw.table == "lactate" else "round_no"
    found = []
    for index, row in enumerate(raw.rows):
        if not pd.isna(decision.table_row) and row != decision.table_row:
            continue
        if decision.session not in ("", ALL) and "session" in column_rules()[raw.table]:
            session = raw.cell("session", index) or "1"
            if re.sub(r"^(\d+)\.0+$", r"\1", session) != decision.session:
                continue
        person = "person" if raw.table == "survey" else "athlete"
        if decision.athlete and raw.cell(person, index) != decision.athlete:
            continue
        if not pd.isna(round_no):
            number = re.search(r"\d+", raw.cell(round_column, index))
            if not number or int(number[0]) != round_no:
                continue
        found.append(index)
    return found


def _act(decided: Decided, raw: RawTable, decision, measure: str, round_no: float, findings: Findings) -> None:
    matches = _matches(raw, decision, round_no)
    keys = [decision.table, decision.session and f"session {decision.session}", decision.athlete]
    keys += ["" if pd.isna(round_no) else f"round {round_no:g}"]
    shown = " ".join(filter(None, keys))
    if not matches:
        problem = "this decision matches no row"
        remedy = "compare its session, athlete and round with the table; delete the decision if it is done with"
        _complain(findings, decision, "", shown, problem, remedy)
        return
    if decision.action == "replace" and not measure:
        _complain(
            findings, decision, "measure", "", "what is to be replaced is not said", "write the column in measure"
        )
        return
    if len(matches) > 1 and _means_one(decision, raw, measure, round_no):
        rows = ", ".join(str(raw.rows[i]) for i in matches[:6]) + (" ..." if len(matches) > 6 else "")
        every = ", or all in session for every row" if decision.action == "set aside" else ""
        problem = f"this decision matches {plural(len(matches), 'row')} (rows {rows})"
        remedy = f"write the row that is meant in table_row, such as {raw.rows[matches[-1]]}{every}"
        _complain(findings, decision, "table_row", shown, problem, remedy)
        return
    for index in matches:
        before = decided.taken.setdefault((raw.table, raw.key(index), measure), decision)
        if before is not decision and (before.action, before.new_value) != (decision.action, decision.new_value):
            said = f"{before.action} {before.new_value}".strip()
            problem = f"contradicts row {before.row}, which says {said} of the same {measure or 'row'}"
            remedy = f"delete row {decision.row} or row {before.row}"
            _complain(findings, decision, "action", f"{decision.action} {decision.new_value}".strip(), problem, remedy)
            return
    if decision.action == "keep" and measure and not any(raw.cell(measure, i) for i in matches):
        # a column without any value stays without one: it was not measured
        decided.kept.add((raw.file, None, measure))
        cause = f"not measured: {decision.reason}"
        entry = _entry(raw, matches[0], measure, cause, decision.decided_by)
        decided.entries.append(entry | {"row": None, "athlete": "", "round_no": None})
        return
    for index in matches:
        _act_on_row(decided, raw, decision, measure, index)


def _means_one(decision, raw: RawTable, measure: str, round_no: float) -> bool:
    """Whether a decision that fits several rows must mean one of them: a value to replace, or one of two duplicates."""
    if decision.session == ALL:
        return False
    if decision.action == "replace":
        return True
    if raw.table == "survey":
        return not measure and bool(decision.athlete)
    keys = [k for k in ("session", "athlete", "round_no", "after_round") if column_rules()[raw.table].get(k)]
    told = {"session": decision.session, "athlete": decision.athlete, "round_no": not pd.isna(round_no)}
    return bool(keys) and all(told.get("round_no" if k == "after_round" else k) for k in keys)


ALL = "all"
"""In the column session: the decision is about every session."""


def _act_on_row(decided: Decided, raw: RawTable, decision, measure: str, index: int) -> None:
    why = (decision.reason, decision.decided_by)
    old = raw.cell(measure, index)
    if decision.action == "replace":
        # the row's keys as they stood before: a corrected code is told by its old row
        cause = f"replaced {old or 'a blank'} by {decision.new_value or 'a blank'}: {decision.reason}"
        decided.entries.append(_entry(raw, index, measure, cause, decision.decided_by))
        raw.columns.setdefault(measure, [""] * len(raw.rows))[index] = decision.new_value
    elif decision.action == "keep":
        decided.kept.add((raw.file, raw.rows[index], raw.heading(measure, index) if measure else ""))
        decided.entries.append(_entry(raw, index, measure, f"kept: {decision.reason}", decision.decided_by))
    elif measure:
        if old:
            decided.values_aside.setdefault((raw.table, measure), {})[raw.key(index)] = why
            raw.columns[measure][index] = ""
    else:
        decided.rows_aside.setdefault(raw.table, {})[raw.key(index)] = why


def _entry(raw: RawTable, index: int, measure: str, cause: str, decided_by: str) -> dict:
    return {
        **row_keys(raw, index),
        "measure": measure,
        "amount": 0.0,
        "unit": "values",
        "cause": cause,
        "decided_by": decided_by,
    }


def row_keys(raw: RawTable, index: int) -> dict:
    """Return table, file, row, session, athlete and round of a row, for the ledger."""
    number = re.search(r"(?<!\d)\d{1,4}(?!\d)", raw.cell("after_round", index) or raw.cell("round_no", index))
    has_session = "session" in column_rules()[raw.table]
    return {
        "table": raw.table,
        "file": raw.file,
        "row": raw.rows[index],
        "session": (raw.cell("session", index) or "1") if has_session else "",
        "athlete": raw.cell("person" if raw.table == "survey" else "athlete", index),
        "round_no": int(number[0]) if number else None,
    }


ENTRIES_AT_ONCE = 50_000
"""Entries of a ledger that are held as mappings at one time."""

LEDGER_TYPES = {
    "table": "str", "file": "str", "row": "Int64", "session": "str", "athlete": "str", "round_no": "Int64",
    "measure": "str", "amount": "float64", "unit": "str", "used": "bool", "cause": "str", "decided_by": "str",
}  # fmt: skip
LEDGER_COLUMNS = tuple(LEDGER_TYPES)
"""The columns of the ledger."""


def _ledger_table(rows: Iterable[Mapping]) -> pd.DataFrame:
    blank = {"row": None, "round_no": None, "amount": 1.0, "unit": "rows", "used": True, "decided_by": "rule"}
    lines = [[row.get(c, blank.get(c, "")) for c in LEDGER_COLUMNS] for row in rows]
    table = pd.DataFrame(lines, columns=list(LEDGER_COLUMNS))
    for whole in ("row", "round_no"):
        table[whole] = pd.array([None if pd.isna(v) or v == "" else int(v) for v in table[whole]], dtype="Int64")
    return table.astype(LEDGER_TYPES)


@dataclass(frozen=True)
class Ledger(Result):
    """What became of every row, value and second.

    A person who withdraws leaves a count without a code: entries without file, row and athlete.
    """

    # table, file, row, session, athlete, round_no, measure ("" for a whole row), amount, unit ("rows", "values" or "s"),
    # used, cause ("" where simply used), decided_by ("rule", or who wrote the decision). An entry with amount 0 documents a
    # change (such as a replaced value) and counts nothing.
    table: pd.DataFrame = field(default_factory=lambda: _ledger_table(()))

    def add(self, rows: Iterable[Mapping] | pd.DataFrame) -> Ledger:
        """Return a new ledger with entries at its end; missing columns are filled (1, "rows", used, decided by "rule")."""
        if isinstance(rows, pd.DataFrame):
            rows = rows.to_dict("records")
        rows, parts = iter(rows), [self.table] if len(self.table) else []
        while part := list(islice(rows, ENTRIES_AT_ONCE)):
            parts.append(_ledger_table(part))
        if not parts:
            return self
        return Ledger(parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True))

    def balance(self) -> pd.DataFrame:
        """Return what went in, what was used and what was set aside, per table, measure and unit."""
        lines = []
        counted = self.table[self.table["amount"] > 0]
        for key, group in counted.groupby(["table", "measure", "unit"], sort=False):
            aside = group[~group["used"]]
            by_cause = aside.groupby("cause", sort=False)["amount"].sum()
            used = float(group.loc[group["used"], "amount"].sum())
            out = float(aside["amount"].sum())
            causes = "; ".join(f"{cause}: {amount:g}" for cause, amount in by_cause.items())
            lines.append((*key, used + out, used, out, causes))
        names = ["table", "measure", "unit", "rows_in", "used", "set_aside", "causes"]
        return pd.DataFrame(lines, columns=names)

    def set_aside(self) -> pd.DataFrame:
        """Return the entries that were not used."""
        return self.table[~self.table["used"]].reset_index(drop=True)


COLUMNS = ("table", "session", "athlete", "round_no", "measure", "action", "new_value", "reason", "table_row")
"""Columns of the decisions table that a proposal fills in; date and decided_by are left to the person."""


def propose_decisions(found: Iterable, raws: dict) -> list[dict[str, str]]:
    """Return the rows to put into decisions for problems and questions whose answer is a value, or a row set aside."""
    by_file = {raw.file: raw for raw in raws.values()}
    rows: list[dict[str, str]] = []
    found = [f for f in found if f.file in by_file and f.row is not None and (f.offer or f.asks or f.aside)]
    wanted: dict[str, set[int]] = {}
    for one in found:
        wanted.setdefault(one.file, set()).add(one.row)
    indexed = {file: _index(by_file[file], some) for file, some in wanted.items()}
    for one in found:
        raw = by_file[one.file]
        where, alike = indexed[raw.file]
        places = where.get(one.row, [])
        places = [i for i in places if one.column in (raw.heading(c, i) for c in raw.columns)] or places[:1]
        if not places:
            continue
        index = places[0]
        own = {n: raw.cell(n, index) for n in ("session", "athlete", "round_no")}
        own["round_no"] = own["round_no"] or raw.cell("after_round", index)
        own["athlete"] = own["athlete"] or raw.cell("person", index)
        same = alike[_key(raw, index)]
        measure = next((c for c in raw.columns if raw.heading(c, index) == one.column), one.column)
        row = {
            "table": raw.table,
            **{n: "" if measure == n else text for n, text in own.items()},
            "measure": "" if one.aside else measure,
            "action": "set aside" if one.aside else "" if one.asks else "replace",
            "new_value": one.offer,
            "reason": one.problem.rstrip("?."),
            "table_row": str(one.row) if one.aside or same > 1 or raw.table == "survey" or measure in own else "",
        }  # fmt: skip
        if row not in rows:
            rows.append(row)
    return rows


def _key(raw, index: int) -> tuple[str, ...]:
    return tuple(raw.cell(n, index) for n in ("session", "athlete", "round_no"))


def _index(raw, rows: set[int]) -> tuple[dict[int, list[int]], Counter]:
    """Row of the spreadsheet -> places in the table, for some rows, and how often their keys occur."""
    where: dict[int, list[int]] = {}
    for i, row in enumerate(raw.rows):
        if row in rows:
            where.setdefault(row, []).append(i)
    keys = {_key(raw, i) for places in where.values() for i in places}
    return where, Counter(k for i in range(len(raw.rows)) if (k := _key(raw, i)) in keys)


def decision_lines(rows: Iterable[dict[str, str]]) -> list[str]:
    """Return proposed decisions as lines of decisions.csv, headings first."""
    out = io.StringIO()
    names = ("date", "decided_by", *COLUMNS)
    writer = csv.DictWriter(out, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().splitlines()


def is_proposal(cells: dict[str, str]) -> bool:
    """Return True for a row of decisions that nobody has confirmed: neither day nor name, but a table."""
    return not cells.get("date", "") and not cells.get("decided_by", "") and bool(cells.get("table", ""))


def write_decisions(folder: Path, rows: list[dict[str, str]], *, workbook: bool) -> tuple[Path, int]:
    """Put proposed rows at the end of the decisions table, whole or not at all; return where, and how many were new."""
    path = folder / ("study.xlsx" if workbook else "decisions.csv")
    return path, (_into_workbook if workbook else _into_csv)(path, rows)


def _already(row: dict[str, str], there: list[dict[str, str]]) -> bool:
    keys = ("table", "session", "athlete", "round_no", "measure", "table_row")
    return any(all(row.get(k, "") == old.get(k, "") for k in keys) for old in there)


def _into_csv(path: Path, rows: list[dict[str, str]]) -> int:
    try:
        content = path.read_bytes() if path.exists() else b""
        text = content.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        raise KitError("decisions.csv cannot be read as UTF-8: save it as CSV UTF-8. Nothing was changed.") from None
    first = text.splitlines()[0] if text.strip() else ""
    mark = max(";\t,", key=first.count) if first else ","
    lines = list(csv.reader(io.StringIO(text), delimiter=mark))
    names = [n.strip() for n in lines[0]] if lines else ["date", "decided_by", *COLUMNS]
    there = [dict(zip(names, cells, strict=False)) for cells in lines[1:]]
    new = [row for row in rows if not _already(row, there)]
    more = [n for n in COLUMNS if n not in names and any(row.get(n) for row in new)]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=mark, lineterminator="\n")
    if not lines or more:
        writer.writerow(names + more)
        writer.writerows([*cells, *[""] * (len(names) - len(cells)), *[""] * len(more)] for cells in lines[1:])
    else:
        out.write(text if text.endswith("\n") else text + "\n")
    writer.writerows([row.get(n, "") for n in names + more] for row in new)
    if new:
        marked = content.startswith(b"\xef\xbb\xbf") or not content
        try:
            write_whole(path, out.getvalue().encode("utf-8-sig" if marked else "utf-8"))
        except OSError as error:
            why = error.strerror or error
            raise KitError(f"{path.name} cannot be written ({why}). Nothing was changed.") from None
    return len(new)


def _into_workbook(path: Path, rows: list[dict[str, str]]) -> int:
    from openpyxl import load_workbook

    from .workbook import FIRST_ROW, open_to_change, save_whole

    book = open_to_change(path, load_workbook)
    if "decisions" not in book.sheetnames:
        sheet = book.create_sheet("decisions")
        sheet.append(["date", "decided_by", *COLUMNS])
    sheet = book["decisions"]
    names = [str(c.value).strip() if c.value is not None else "" for c in sheet[1]]
    there = [
        dict(zip(names, ("" if v is None else str(v) for v in cells), strict=False))
        for cells in sheet.iter_rows(min_row=2, values_only=True)
    ]
    new = [row for row in rows if not _already(row, there)]
    for name in COLUMNS:
        if name not in names and any(row.get(name) for row in new):
            names.append(name)
            sheet.cell(1, len(names)).value = name
    last = max((i for i, cells in enumerate(there, start=2) if any(cells.values())), default=1)
    for r, row in enumerate(new, start=max(last + 1, FIRST_ROW if len(there) else 2)):
        for place, name in enumerate(names, start=1):
            cell = sheet.cell(r, place)
            cell.value, cell.number_format = row.get(name) or None, "@"
    if new:
        save_whole(path, book, changed=["decisions"])
    return len(new)
