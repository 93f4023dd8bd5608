"""The object that a loaded study is: `Study`."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import pandas as pd

from ..basics import Result
from .columns import column_rules, empty_table
from .decisions import Ledger
from .inventory import find_recordings
from .plan import Plan
from .problems import problem_table
from .protocol import Protocol
from .training import TrainingDesign

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
        """Return the rows of rounds in which something was entered, beside codes, rounds and opponents known before.

        Returns
        -------
        pandas.DataFrame
            All rows where there are recordings: whoever wore a strap may have left the rest of the row blank.
        """
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
