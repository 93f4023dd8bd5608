"""Checks that need more than one cell: duplicates, unknown codes, rounds of the protocol, opponents, consent of minors."""

from __future__ import annotations

import datetime as dt
import re

import pandas as pd

from ..basics import did_you_mean, join_words
from .columns import KEYS, column_rules, lines_of, place
from .findings import Findings
from .plan import Plan
from .protocol import Protocol
from .settings import SETTINGS_FILE

Tables = dict[str, pd.DataFrame]

MEASURES = ("lactate_mmol_l", "exertion", "activity_rating", "hr_mean_typed_bpm", "hr_peak_typed_bpm")
"""Columns of rounds that hold something measured."""

FEWEST_ATHLETES = 3
"""With fewer athletes in a session nothing is compared."""


def check_tables(
    tables: Tables,
    protocol: Protocol,
    today: dt.date,
    findings: Findings,
    *,
    aside: frozenset[tuple] = frozenset(),
) -> None:
    """Check everything that needs several rows or several tables."""
    _check_duplicates(tables, findings)
    _check_codes(tables, findings)
    _check_sessions(tables, findings)
    _check_round_numbers(tables, protocol, findings)
    _check_opponents(tables, aside, findings)
    _check_events(tables, findings)
    _check_dates(tables, today, findings)


def _check_duplicates(tables: Tables, findings: Findings) -> None:
    for name, keys in KEYS.items():
        first: dict[tuple, object] = {}
        for line in lines_of(tables[name]):
            key = tuple("" if value != value else value for value in (getattr(line, k) for k in keys))
            if "athlete" in keys and not line.athlete:
                continue  # a blank code is a problem already
            before = first.setdefault(key, line)
            if before is line:
                continue
            (file, row), (old_file, old_row) = place(name, line), place(name, before)
            same_file = "" if old_file == file else f" of {old_file}"
            findings.problem(
                file,
                row,
                ", ".join(keys[:3]),
                " ".join(str(k) for k in key if k != ""),
                f"the same {join_words(keys)} as row {old_row}{same_file}",
                _duplicate_remedy(name, row),
            )


def _duplicate_remedy(name: str, row: int) -> str:
    if name == "lactate":
        return "number second readings in the column replicate"
    return f"correct the wrong one, or set this row aside in decisions.csv (table_row {row})"


def _bare(code: str) -> str:
    return re.sub(r"(?<!\d)0+(?=\d)", "", re.sub(r"[\W_]+", "", code)).casefold()


def nearest_code(code: str, known: list[str]) -> str:
    """Return the known code that a code probably means: 7 for 007, a7 for A07, else the closest."""
    same = [k for k in known if _bare(k) == _bare(code)]
    return same[0] if same else did_you_mean(code, known)


def _check_codes(tables: Tables, findings: Findings) -> None:
    known = [code for code in dict.fromkeys(tables["athletes"]["athlete"]) if code]
    if not known:
        return
    for name, table in tables.items():
        columns = [c for c in ("athlete", "opponent") if c in table and name not in ("athletes", "decisions")]
        for column in columns:
            fine = {*known, "", "guest", "none"} if column == "opponent" else {*known, ""}
            for line in lines_of(table[~table[column].isin(fine)]):
                code = getattr(line, column)
                near = nearest_code(code, known)
                hint = f"; did you mean {near}?" if near else ""
                if code.isdigit() and _bare(near) == _bare(code):
                    hint = f": a spreadsheet may have dropped zeros of {near}"
                remedy = f"write {near}" if near else "add the code to athletes.csv, or correct it"
                if column == "opponent":
                    remedy += ", or guest for a person outside the study"
                findings.problem(*place(name, line), column, code, f"not in the athletes table{hint}", remedy)


def _check_sessions(tables: Tables, findings: Findings) -> None:
    known = list(dict.fromkeys(tables["sessions"]["session"]))
    if not known:
        return
    for name, table in tables.items():
        if "session" not in table or name in ("sessions", "decisions"):
            continue
        unknown = table[~table["session"].isin([*known, ""])]
        for session, group in unknown.groupby("session", sort=False):
            near = did_you_mean(session, known)
            line = next(iter(lines_of(group)))
            hint = f"; did you mean {near}?" if near else ""
            findings.problem(
                *place(name, line),
                "session",
                session,
                f"not in the sessions table{hint}" + (f" ({len(group)} rows)" if len(group) > 1 else ""),
                "add the session to the sessions table, or correct it",
            )


def _check_events(tables: Tables, findings: Findings) -> None:
    sessions = tables["sessions"]
    timed = set(sessions.loc[sessions["event_clock"].ne(""), "session"])
    for line in lines_of(tables["recordings"]):
        if line.event_s == line.event_s and line.session not in timed:
            findings.problem(
                *place("recordings", line),
                "event_s",
                f"{line.event_s:g}",
                f"session {line.session} has no time of a common event",
                "write the timekeeper's time of it as event_clock in the sessions table, or clear event_s",
            )


def _check_round_numbers(tables: Tables, protocol: Protocol, findings: Findings) -> None:
    if not protocol.rounds:
        return
    athletes = tables["athletes"].drop_duplicates("athlete")
    groups = dict(zip(athletes["athlete"], athletes["group"], strict=True))
    places = {"rounds": "round_no", "clock": "round_no", "lactate": "after_round", "attendance": "left_after"}
    for name, column in places.items():
        for line in lines_of(tables[name]):
            group = line.group if name == "clock" else groups.get(line.athlete, "")
            most = protocol.for_group(group).rounds
            value = getattr(line, column)
            if value > most:
                findings.problem(
                    *place(name, line),
                    column,
                    f"{value:g}",
                    f"a round that the protocol does not have: it has {most}",
                    "correct the round, or rounds in study.toml",
                )


def _check_opponents(tables: Tables, aside: frozenset[tuple], findings: Findings) -> None:
    known = set(tables["athletes"]["athlete"]) or set(tables["rounds"]["athlete"])
    lines: dict[tuple, object] = {}
    for line in lines_of(tables["rounds"]):
        lines.setdefault((line.session, line.round_no, line.athlete), line)
    # a row whose own code is unknown is a problem already: its opponent is not blamed a second time
    mistyped = {(s, r, line.opponent) for (s, r, athlete), line in lines.items() if athlete not in known}
    people = tables["athletes"]
    unmeasured = set(people.loc[people["consent_measured"].eq("no") | people["cleared"].eq("no"), "athlete"])
    told = set()
    for (session, round_no, athlete), line in lines.items():
        other = line.opponent
        if other in ("", "guest", "none"):
            continue
        if other == athlete:
            remedy = "write the opponent's code"
            findings.problem(*place("rounds", line), "opponent", other, "the athlete's own code", remedy)
            continue
        back = lines.get((session, round_no, other))
        pair = (session, round_no, frozenset((athlete, other)))
        mirrored = back is not None and back.opponent == athlete
        blamed = pair in told or (session, round_no, other) in aside
        if back is None:
            blamed = blamed or other in unmeasured or (session, round_no, athlete) in mistyped
        if mirrored or blamed or not {athlete, other} <= known:
            continue
        told.add(pair)
        where = f"session {session}, round {round_no}"
        if back is None:
            problem = f"{athlete} lists {other} in {where}, but {other} has no row there"
        else:
            listed = f"lists {back.opponent}" if back.opponent else "lists nobody"
            problem = (
                f"{athlete} lists {other} in {where}, but {other} {listed} (row {place('rounds', back)[1]})"
            )
        remedy = f"correct one of the two rows; write guest where {other} is outside the study"
        findings.problem(*place("rounds", line), "opponent", other, problem, remedy, keepable=True)


def _check_dates(tables: Tables, today: dt.date, findings: Findings) -> None:
    filled = {"1"} if not len(tables["sessions"]) else set()
    rounds = tables["rounds"]
    if len(rounds):
        filled |= set(rounds.loc[rounds[list(MEASURES)].notna().any(axis=1), "session"])
    filled |= set(tables["lactate"]["session"])
    for name, table in tables.items():
        for column in (c.name for c in column_rules()[name].values() if c.kind == "date"):
            for line in lines_of(table[table[column] != ""]):
                date = dt.date.fromisoformat(getattr(line, column))
                if date.year < 1990:
                    findings.problem(
                        *place(name, line),
                        column,
                        date,
                        "more than a generation ago",
                        "correct the year",
                    )
                elif date > today and name == "sessions" and line.session not in filled:
                    findings.remark(
                        *place(name, line),
                        column,
                        date,
                        "a session that is still to come",
                        "nothing, if that is meant",
                    )
                elif date > today:
                    findings.problem(
                        *place(name, line),
                        column,
                        date,
                        "a date in the future",
                        "type the date on which it was",
                    )


def remark_on_primary_session(plan: Plan, rounds: pd.DataFrame, line: int | None, findings: Findings) -> None:
    """Remark where the primary session holds next to nobody although others sparred."""
    sparred = rounds[rounds["round_no"] > 0]
    everyone = sparred["athlete"].nunique()
    here = sparred.loc[sparred["session"] == plan.primary_session, "athlete"].nunique()
    if here < FEWEST_ATHLETES <= everyone:
        problem = (
            f"the main analyses take this session alone, and only {here} of {everyone} athletes sparred in it"
        )
        remedy = (
            "write the session that is to be analysed, or give all athletes of one evening the same session"
        )
        findings.remark(SETTINGS_FILE, line, "primary_session", plan.primary_session, problem, remedy)
