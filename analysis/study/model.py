"""A loaded study, `Study`, and its row per session, athlete and round: who took part, blood, ratings, bouts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Protocol as Shape

import numpy as np
import pandas as pd

from ..basics import Result
from .columns import column_rules, empty_table
from .decisions import Ledger
from .inventory import find_recordings
from .outcomes import typed_outcomes
from .plan import Plan
from .problems import problem_table
from .settings import Protocol
from .times import clock_seconds
from .training import TrainingDesign


class Span(Shape):
    """When a round was: seconds of the day."""

    start: float
    end: float


Windows = Mapping[tuple[str, str], Mapping[int, Span]]
"""(session, athlete) -> round -> when it was."""

FROM_SHEET = (
    *("opponent", *typed_outcomes(), "lactate_limit", "lactate_bound_mmol_l", "lactate_delay_s"),
    "activity_rating",
)
TYPED = ("hr_mean_typed_bpm", "hr_peak_typed_bpm")
_TEXT = ("opponent", "lactate_limit", "took_part")


def sheet_rows(study, recorded: list[tuple[str, str]], groups: dict[str, str], remarks: list) -> pd.DataFrame:
    """One row per session, athlete and round: those of rounds.csv, and those that only a recording knows."""
    columns = ["session", "athlete", "round_no", "took_part", "minutes_done", *FROM_SHEET, *TYPED]
    rows = study.rounds[columns].copy()
    here = set(zip(rows["session"], rows["athlete"], strict=True))
    left = {
        (r.session, r.athlete): r.left_after
        for r in study.attendance.itertuples(index=False)
        if not pd.isna(r.left_after)
    }
    extra = []
    for session, athlete in recorded:
        if (session, athlete) in here:
            continue
        for k in range(1, study.protocol.for_group(groups.get(athlete, "")).rounds + 1):
            took = "left" if k > left.get((session, athlete), np.inf) else "yes"
            extra.append({"session": session, "athlete": athlete, "round_no": k, "took_part": took})
    if extra:
        who = sorted({e["athlete"] for e in extra})
        remarks.append(
            f"{len(who)} recorded without rows in rounds.csv: every round of the protocol was taken as sparred."
        )
        more = pd.DataFrame(extra).reindex(columns=columns)
        for text in _TEXT:
            more[text] = more[text].astype("object").fillna("").astype("str")
        rows = (
            pd.concat([rows, more.astype({c: rows[c].dtype for c in columns})], ignore_index=True)
            if len(rows)
            else more
        )
    blank = rows["took_part"].eq("") & rows["round_no"].gt(0)
    keys = list(zip(rows["session"], rows["athlete"], strict=True))
    after = np.array([k > left.get(key, np.inf) for key, k in zip(keys, rows["round_no"], strict=True)], dtype=bool)
    something = rows[[*typed_outcomes(), *TYPED]].notna().any(axis=1).to_numpy()
    rows.loc[blank.to_numpy() & after & ~something, "took_part"] = "left"
    have = set(recorded)
    known = np.array([key in have for key in keys], dtype=bool)
    rows.loc[blank.to_numpy() & ~after & known, "took_part"] = "yes"
    rows["round_no"] = rows["round_no"].astype("int64")
    return rows.sort_values(["session", "athlete", "round_no"], kind="stable", ignore_index=True)


def sparred(rows: pd.DataFrame) -> np.ndarray:
    """Which rows are rounds that the athlete sparred."""
    return (rows["round_no"] > 0).to_numpy() & rows["took_part"].isin(["yes", "part"]).to_numpy()


def number_bouts(rows: pd.DataFrame, windows: Windows) -> pd.DataFrame:
    """Add bout_no (1 for the first round that the athlete sparred) and rest_before_s (since the end of the last one)."""
    bout = np.full(len(rows), np.nan)
    rest = np.full(len(rows), np.nan)
    took = sparred(rows)
    count: dict[tuple, int] = {}
    ended: dict[tuple, float] = {}
    for i, (session, athlete, k) in enumerate(zip(rows["session"], rows["athlete"], rows["round_no"], strict=True)):
        if not took[i]:
            continue
        key = (session, athlete)
        count[key] = count.get(key, 0) + 1
        bout[i] = count[key]
        window = windows.get(key, {}).get(k)
        if window is not None:
            if key in ended:
                rest[i] = window.start - ended[key]
            ended[key] = window.end
        else:
            ended.pop(key, None)
    return rows.assign(bout_no=bout, rest_before_s=rest)


def add_lactate(rows: pd.DataFrame, study, windows: Windows, remarks: list) -> tuple[pd.DataFrame, list[dict]]:
    """Merge lactate.csv into the rows; replicates are averaged, delays worked out from the clock where it is blank."""
    if study.lactate.empty:
        return rows, []
    rows, entries = rows.copy(), []
    place = {key: i for i, key in enumerate(zip(rows["session"], rows["athlete"], rows["round_no"], strict=True))}
    names = ("lactate_mmol_l", "lactate_limit", "lactate_delay_s", "lactate_bound_mmol_l")
    columns = [rows.columns.get_loc(c) for c in names]
    extra = []
    for key, group in study.lactate.groupby(["session", "athlete", "after_round"], sort=False):
        i = place.get(key)
        base = [{"table": "lactate", "file": r.file, "row": r.row, "session": key[0], "athlete": key[1], "round_no": key[2],
                 "measure": "lactate_mmol_l", "unit": "values"} for r in group.itertuples(index=False)]  # fmt: skip
        limit = next((t for t in group["lactate_limit"] if t), "")
        value = float("nan") if limit else float(group["lactate_mmol_l"].mean())
        bound = float(group.loc[group["lactate_limit"].eq(limit), "lactate_bound_mmol_l"].mean()) if limit else np.nan
        if i is not None and (not np.isnan(rows.iloc[i, columns[0]]) or rows.iloc[i, columns[1]]):
            cause = "rounds.csv has a value of the same sample"
            entries += [{**b, "used": False, "cause": cause} for b in base]
            remarks.append(
                f"{key[1]}, session {key[0]}, round {key[2]}: lactate stands in both tables; rounds.csv was used."
            )
            continue
        delay = group["delay_s"].mean()
        window = windows.get(key[:2], {}).get(key[2])
        if np.isnan(delay) and window is not None:
            taken = [clock_seconds(t) for t in group["sample_clock"] if t]
            delay = float(np.mean(taken)) - window.end if taken else np.nan
        if i is None:
            extra.append({"session": key[0], "athlete": key[1], "round_no": key[2], "took_part": "yes" if key[2] else "",
                          "lactate_mmol_l": value, "lactate_limit": limit, "lactate_delay_s": delay,
                          "lactate_bound_mmol_l": bound})  # fmt: skip
        else:
            for c, new in zip(columns, (value, limit, delay, bound), strict=True):
                rows.iloc[i, c] = new
        readable = group["lactate_mmol_l"].notna().to_numpy() | bool(limit)
        entries += [
            b if ok else {**b, "used": False, "cause": "no value"} for b, ok in zip(base, readable, strict=True)
        ]
    if extra:
        more = pd.DataFrame(extra).reindex(columns=rows.columns)
        for text in _TEXT:
            more[text] = more[text].astype("object").fillna("").astype("str")
        rows = pd.concat([rows, more.astype({c: rows[c].dtype for c in rows})], ignore_index=True)
        rows = rows.sort_values(["session", "athlete", "round_no"], kind="stable", ignore_index=True)
    return rows, entries


KNOWN_BEFORE = ("session", "athlete", "round_no", "opponent")
"""Columns of rounds that are filled in before the evening."""


@dataclass(frozen=True, eq=False)
class Study(Result):
    """A study folder, read, decided upon, checked and without the rows that may not be analysed.

    Parameters
    ----------
    folder : pathlib.Path
        Where it was read.
    title, sport : str
        From study.toml.
    protocol : Protocol
        Rounds, work, rest, exertion scale.
    sessions, clock, athletes, attendance, aerobic_tests, rounds, lactate, recordings, published : DataFrame
        The canonical columns, always there, plus where each row was read (`file`, `row`; `source_file`, `row` where the
        table has a column `file` of its own). `rounds` is always long.
    decisions, survey, pace, allocation, training_log, adverse_events : DataFrame
        The same.
    training : TrainingDesign or None
        [training] of study.toml; None where it is no training study.
    plan : Plan
        Complete; `plan.frozen` where it was fixed before the data.
    ledger : Ledger
        What became of every row.
    settings : dict
        study.toml as it stands.
    settled : DataFrame
        Problems that a decision settled.
    questions : DataFrame
        Values that stand out and that nobody has confirmed or replaced yet: is this right?
    remarks : DataFrame
        What was noticed, read in a certain way or left unread, without being a problem.
    known_codes : dict
        Every code that stands in the folder -> why that person is not in the study ("" for those who are). It serves to
        keep codes out of what is written, and is written nowhere.
    input : dict
        Checksum of every file of the folder, taken before it was read.
    """

    folder: Path
    title: str = ""
    sport: str = ""
    protocol: Protocol = field(default_factory=Protocol)
    sessions: pd.DataFrame = field(default_factory=partial(empty_table, "sessions"))
    clock: pd.DataFrame = field(default_factory=partial(empty_table, "clock"))
    athletes: pd.DataFrame = field(default_factory=partial(empty_table, "athletes"))
    attendance: pd.DataFrame = field(default_factory=partial(empty_table, "attendance"))
    aerobic_tests: pd.DataFrame = field(default_factory=partial(empty_table, "aerobic_tests"))
    rounds: pd.DataFrame = field(default_factory=partial(empty_table, "rounds"))
    lactate: pd.DataFrame = field(default_factory=partial(empty_table, "lactate"))
    recordings: pd.DataFrame = field(default_factory=partial(empty_table, "recordings"))
    published: pd.DataFrame = field(default_factory=partial(empty_table, "published"))
    decisions: pd.DataFrame = field(default_factory=partial(empty_table, "decisions"))
    survey: pd.DataFrame = field(default_factory=partial(empty_table, "survey"))
    pace: pd.DataFrame = field(default_factory=partial(empty_table, "pace"))
    allocation: pd.DataFrame = field(default_factory=partial(empty_table, "allocation"))
    training_log: pd.DataFrame = field(default_factory=partial(empty_table, "training_log"))
    adverse_events: pd.DataFrame = field(default_factory=partial(empty_table, "adverse_events"))
    training: TrainingDesign | None = None
    plan: Plan = field(default_factory=Plan)
    ledger: Ledger = field(default_factory=Ledger)
    settings: dict = field(default_factory=dict)
    settled: pd.DataFrame = field(default_factory=partial(problem_table, ()))
    questions: pd.DataFrame = field(default_factory=partial(problem_table, ()))
    remarks: pd.DataFrame = field(default_factory=partial(problem_table, ()))
    known_codes: dict[str, str] = field(default_factory=dict)
    input: dict[str, str] = field(default_factory=dict)

    def recording_files(self) -> pd.DataFrame:
        """Return the recordings of the athletes who may be analysed.

        Gives session, athlete, path (absolute), label ("" where the file is of one athlete), clock_offset_s and event_s
        (missing where not given), device, how ("recordings table" or "file name").
        """
        return find_recordings(self)

    def entered_rounds(self) -> pd.DataFrame:
        """Return the rows of rounds in which something was entered, beside codes, rounds and opponents known before."""
        # All rows where there are recordings: whoever wore a strap may have left the rest of the row blank.
        if not len(self.rounds) or len(self.recordings) or len(self.recording_files()):
            return self.rounds
        written = self.rounds[[c for c in column_rules()["rounds"] if c not in KNOWN_BEFORE and c in self.rounds]]
        blank = written.isna() | written.eq("")
        blank["took_part"] |= written["took_part"] == "yes"  # what a blank cell means
        return self.rounds[~blank.all(axis=1)]

    def athletes_with_figures(self) -> tuple[str, ...]:
        """Return the codes of those who agreed to a figure that shows them alone (blank is no)."""
        return self._who_said_yes("consent_individual_figures")

    def athletes_to_share(self) -> tuple[str, ...]:
        """Return the codes of those who agreed that de-identified data are shared (blank is no)."""
        return self._who_said_yes("consent_shared_data")

    def _who_said_yes(self, column: str) -> tuple[str, ...]:
        return tuple(self.athletes.loc[self.athletes[column] == "yes", "athlete"])
