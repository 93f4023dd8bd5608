"""Who may be analysed: people who withdrew leave every table; who has no consent or clearance is set aside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace

import pandas as pd

from ..basics import join_words, plural
from .columns import RawTable, column_rules
from .convert import YES_NO
from .decisions import Decided, Ledger, row_keys
from .plausible import MEASURES
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


def without_withdrawn(tables: dict[str, RawTable], gone: frozenset[str]) -> tuple[dict[str, RawTable], dict[str, int]]:
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
        return Mentions(gone).replace(value, lambda code: "(withdrawn)", typed=True)
    if isinstance(value, Mapping):
        return {k: without_mention(v, gone) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return type(value)(without_mention(v, gone) for v in value)
    if is_dataclass(value) and not isinstance(value, type):
        return replace(value, **{f.name: without_mention(getattr(value, f.name), gone) for f in fields(value)})
    return value


def every_code(tables: dict[str, RawTable], gone: frozenset[str], barred: dict[str, str]) -> dict[str, str]:
    """Return every code that stands in the folder -> why that person is not in the study ("" for those who are)."""
    listed = {c for c in tables["athletes"].columns.get("athlete", ()) if c} if "athletes" in tables else set()
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
        left.columns[name] = [mentions.replace(t, lambda code: "(withdrawn)", typed=True) for t in left.columns[name]]
    return left


ASKED = {
    "cleared": ("not cleared to take part", "no clearance on record"),
    "consent_measured": ("no consent to be measured", "no consent on record"),
}
"""Column -> the cause where it says no, and where it says nothing."""


def not_analysed(
    tables: dict[str, pd.DataFrame], has: set[str], findings: Findings, *, recorded: int = 0
) -> dict[str, str]:
    """Return the athletes who may not be analysed, with the cause: one rule, whoever asks and wherever it is blank."""
    # Without a yes nothing is analysed. It stops where something was measured and nobody has a yes on
    # record.
    athletes, busy = tables["athletes"], _measured_people(tables)
    if not len(athletes):
        unreadable = any(p.file.endswith(("athletes.csv", "tab athletes")) for p in findings.problems)
        if (busy or recorded) and not unreadable:
            whose = (
                _people(len(busy)) if busy else f"{plural(recorded, 'recording')} {'has' if recorded == 1 else 'have'}"
            )
            problem = f"no athlete is listed, so {whose} no consent on record: nothing of theirs is analysed"
            remedy = (
                "list every code in the athletes table, with yes in consent_measured and cleared where that is on file"
            )
            findings.problem_of("athletes", problem, remedy, column="consent_measured")
        return dict.fromkeys(busy, ASKED["consent_measured"][0])
    out: dict[str, str] = {}
    for column, (refused, unknown) in ASKED.items():
        no = list(athletes.loc[athletes[column].eq("no"), "athlete"])
        blank = list(athletes.loc[athletes[column].eq(""), "athlete"])
        out |= dict.fromkeys([*no, *blank], refused)
        file, total = athletes.iloc[0]["file"], len(athletes)
        if no:
            row = _row_of(athletes, no)
            what = f"{refused}: {_named(no)} ({len(no)} of {total}); nothing of theirs is analysed"
            findings.remark(file, row, column, "no", what, "nothing, if that is right")
        absent = "" if column in has else f"there is no column {column}; "
        names = "" if len(blank) == total else f": {_named(blank)}"
        what = f"{absent}{_people(len(blank))} {unknown}{names}; nothing of theirs is analysed"
        remedy = f"write yes in {column} where it is on file, and no where it is not"
        # where somebody was measured and nobody may be analysed, nothing would be left to look at
        if blank and busy and len(blank) == total:
            findings.problem_of(file, what, remedy, column=column)
        elif blank:
            findings.remark(file, _row_of(athletes, blank), column, "", what, remedy)
    return out


def _measured_people(tables: dict[str, pd.DataFrame]) -> list[str]:
    """The codes of whom something was measured."""
    rounds = tables["rounds"]
    some = rounds[rounds[list(MEASURES)].notna().any(axis=1) | rounds["lactate_limit"].ne("")]
    tests = tables["aerobic_tests"]
    keys = {"athlete", "date", "test", "phase", "occasion", "note"}
    typed = [c for c in column_rules()["aerobic_tests"] if c not in keys]
    tests = tests[(tests[typed].notna() & tests[typed].ne("")).any(axis=1)] if len(tests) else tests
    sheets = (some, tables["lactate"], tests, tables["recordings"])
    return list(dict.fromkeys(code for sheet in sheets for code in sheet["athlete"] if code))


def _row_of(athletes: pd.DataFrame, codes: list[str]) -> int | None:
    return int(athletes.loc[athletes["athlete"].eq(codes[0]), "row"].iloc[0]) if len(codes) == 1 else None


def _people(n: int) -> str:
    return f"{plural(n, 'athlete')} {'has' if n == 1 else 'have'}"


def _named(codes: list[str]) -> str:
    return join_words(codes if len(codes) <= 8 else [*codes[:7], f"{len(codes) - 7} more"])


def write_ledger(
    raws: dict[str, RawTable],
    decided: Decided,
    barred: dict[str, str],
    counts: dict[str, int],
    gone: frozenset[str],
) -> Ledger:
    """Write down what became of every row, and of every value of a measure of which a decision set some aside."""
    return Ledger().add(without_mention(entry, gone) for entry in _entries(raws, decided, barred, counts, gone))


def _entries(raws, decided: Decided, barred, counts, gone) -> Iterator[dict]:
    """Every entry of the ledger, one at a time."""
    for raw in raws.values():
        causes = _causes(raw, decided.rows_aside.get(raw.table, {}), barred)
        yield from _row_entries(raw, causes)
        yield from _value_entries(raw, decided, causes)
    for name, n in counts.items():
        yield {
            "table": name,
            "amount": float(n),
            "used": False,
            "cause": WITHDREW,
            "decided_by": "the person",
        }
    yield from (entry for entry in decided.entries if entry["athlete"] not in gone)


def _causes(
    raw: RawTable, aside: dict[int | tuple, tuple[str, str]], barred: dict[str, str]
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


def _row_entries(raw: RawTable, causes: dict[int, tuple[str, str]]) -> Iterator[dict]:
    if raw.table == "survey":  # long tables: what is used is counted in one entry
        used = len(raw.rows) - len(causes)
        if used:
            yield {"table": raw.table, "file": raw.file, "amount": float(used)}
        yield from (_entry(raw, i, why) for i, why in causes.items())
        return
    yield from (_entry(raw, i, causes.get(i)) for i in range(len(raw.rows)))


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
