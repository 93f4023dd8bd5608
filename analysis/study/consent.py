"""Who may be analysed: people who withdrew leave every table; who has no consent or clearance is set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass, replace

import pandas as pd

from .columns import RawTable
from .convert import YES_NO
from .decisions import Decided, Ledger, row_keys
from .privacy import Mentions
from .problems import Findings

WITHDREW = "a person withdrew"
_FREE_TEXT = ("note", "reason", "new_value")


def find_withdrawn(tables: dict[str, RawTable]) -> frozenset[str]:
    """Return the codes of people who withdrew; for taking them out, never to be written anywhere."""
    athletes = tables.get("athletes")
    if athletes is None or not {"athlete", "withdrawn"} <= set(athletes.columns):
        return frozenset()
    marks = zip(athletes.columns["athlete"], athletes.columns["withdrawn"], strict=True)
    return frozenset(code for code, text in marks if code and YES_NO.get(text.casefold()) == "yes")


def without_withdrawn(
    tables: dict[str, RawTable], gone: frozenset[str]
) -> tuple[dict[str, RawTable], dict[str, int]]:
    """Take people who withdrew out of every table, as opponents and in notes too."""
    if not gone:
        return tables, {}
    counts, left = {}, {}
    for name, raw in tables.items():
        stay = [i for i in range(len(raw.rows)) if raw.cell("athlete", i) not in gone]
        if len(stay) < len(raw.rows):
            counts[name] = len(raw.rows) - len(stay)
        left[name] = _select(raw, stay, gone)
    return left, counts


def without_mention(value, gone: frozenset[str]):
    """Return a value (a text, or texts in lists, mappings and plain objects) without the codes of people who withdrew."""
    if not gone:
        return value
    if isinstance(value, str):
        return Mentions(gone).replace(value, lambda code: "(withdrawn)")
    if isinstance(value, Mapping):
        return {k: without_mention(v, gone) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return type(value)(without_mention(v, gone) for v in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(
            value, **{f.name: without_mention(getattr(value, f.name), gone) for f in fields(value)}
        )
    return value


def every_code(tables: dict[str, RawTable], gone: frozenset[str], barred: dict[str, str]) -> dict[str, str]:
    """Return every code that stands in the folder -> why that person is not in the study ("" for those who are)."""
    listed = (
        {c for c in tables["athletes"].columns.get("athlete", ()) if c} if "athletes" in tables else set()
    )
    found = dict.fromkeys(listed, "")
    for raw in tables.values():
        for column in ("athlete", "opponent"):
            for code in set(raw.columns.get(column, ())) - {"", "guest", "none"}:
                found.setdefault(code, "not in the table of athletes" if listed else "")
    return found | barred | dict.fromkeys(gone, WITHDREW)


def _select(raw: RawTable, stay: list[int], gone: frozenset[str]) -> RawTable:
    mentions = Mentions(gone)
    left = raw.select(stay)
    if "opponent" in left.columns:
        left.columns["opponent"] = ["guest" if t in gone else t for t in left.columns["opponent"]]
    for name in set(_FREE_TEXT) & set(left.columns):
        left.columns[name] = [mentions.replace(t, lambda code: "(withdrawn)") for t in left.columns[name]]
    return left


def not_analysed(athletes: pd.DataFrame, has: set[str], findings: Findings) -> dict[str, str]:
    """Return the athletes who may not be analysed, with the cause."""
    if not len(athletes):
        return {}
    out: dict[str, str] = {}
    asked = {"cleared": "not cleared to take part", "consent_measured": "no consent to be measured"}
    for column, cause in asked.items():
        if column in has:
            out |= dict.fromkeys(athletes.loc[athletes[column] != "yes", "athlete"], cause)
        else:
            findings.remark(
                athletes.iloc[0]["file"],
                None,
                column,
                "",
                f"there is no column {column}: the kit takes it that the answer is yes for everyone listed",
                f"add the column {column} with yes or no",
            )
    return out


def write_ledger(
    raws: dict[str, RawTable],
    decided: Decided,
    barred: dict[str, str],
    counts: dict[str, int],
    gone: frozenset[str],
) -> Ledger:
    """Write down what became of every row, and of every value of a measure of which a decision set some aside."""
    entries: list[dict] = []
    for raw in raws.values():
        causes = _causes(raw, decided.rows_aside.get(raw.table, {}), barred)
        entries += _row_entries(raw, causes)
        entries += _value_entries(raw, decided, causes)
    entries += [
        {"table": name, "amount": float(n), "used": False, "cause": WITHDREW, "decided_by": "the person"}
        for name, n in counts.items()
    ]
    entries += [entry for entry in decided.entries if entry["athlete"] not in gone]
    return Ledger().add([without_mention(entry, gone) for entry in entries] if gone else entries)


def _causes(
    raw: RawTable, aside: dict[tuple, tuple[str, str]], barred: dict[str, str]
) -> dict[int, tuple[str, str]]:
    """Return, per index of a row that is set aside, the cause and who decided."""
    causes: dict[int, tuple[str, str]] = {}
    if not aside and not barred:
        return causes
    for index in range(len(raw.rows)):
        code = raw.cell("athlete", index)
        if raw.key(index) in aside:
            causes[index] = aside[raw.key(index)]
        elif code in barred and raw.table != "decisions":
            causes[index] = (barred[code], "rule")
    return causes


def _row_entries(raw: RawTable, causes: dict[int, tuple[str, str]]) -> list[dict]:
    if raw.table == "survey":  # long tables: what is used is counted in one entry
        used = len(raw.rows) - len(causes)
        entries = [{"table": raw.table, "file": raw.file, "amount": float(used)}] if used else []
        return entries + [_entry(raw, i, why) for i, why in causes.items()]
    return [_entry(raw, i, causes.get(i)) for i in range(len(raw.rows))]


def _entry(raw: RawTable, index: int, why: tuple[str, str] | None) -> dict:
    cause, decided_by = why or ("", "rule")
    return {**row_keys(raw, index), "used": why is None, "cause": cause, "decided_by": decided_by}


def _value_entries(raw: RawTable, decided: Decided, causes: dict[int, tuple[str, str]]) -> list[dict]:
    entries = []
    for (table, measure), values in decided.values_aside.items():
        if table != raw.table:
            continue
        for index in range(len(raw.rows)):
            aside = values.get(raw.key(index))
            if aside or raw.cell(measure, index):
                entry = _entry(raw, index, causes.get(index) or aside)
                entries.append({**entry, "measure": measure, "unit": "values"})
    return entries
