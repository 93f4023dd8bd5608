"""The objects that a loaded study consists of: `Study` and `Protocol`."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import pandas as pd

from ..basics import Result
from .columns import empty_table
from .ledger import Ledger
from .plan import Plan
from .problems import problem_table

SCALES = ("6-20", "0-10", "0-100")
"""The exertion scales: numbers only; their words belong to the holders of the rights."""


@dataclass(frozen=True)
class Protocol(Result):
    """Rounds, work and rest of the evening.

    Parameters
    ----------
    rounds : int
        Number of rounds; 0 in a survey of sessions, which has none.
    work_s, rest_s : float
        Length of a round and of the rest after it, in seconds.
    exertion_scale : str
        "6-20", "0-10" or "0-100".
    groups : dict
        Group -> Protocol, where a group differs.

    Examples
    --------
    >>> Protocol(4, 300.0, 120.0).for_group("novice").rounds
    4
    """

    rounds: int = 0
    work_s: float = float("nan")
    rest_s: float = float("nan")
    exertion_scale: str = "6-20"
    groups: dict[str, Protocol] = field(default_factory=dict)

    def for_group(self, group: str) -> Protocol:
        """Return the protocol of a group: its own, or the common one."""
        return self.groups.get(group, self)

    @property
    def most_rounds(self) -> int:
        """The largest number of rounds of any group."""
        return max([self.rounds, *(p.rounds for p in self.groups.values())])


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
    decisions, survey : DataFrame
        The same.
    plan : Plan
        Complete; `plan.frozen` where it was fixed before the data.
    ledger : Ledger
        What became of every row.
    settings : dict
        study.toml as it stands.
    settled : DataFrame
        Problems that a decision settled.
    remarks : DataFrame
        What was noticed, read in a certain way or left unread, without being a problem.
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
    plan: Plan = field(default_factory=Plan)
    ledger: Ledger = field(default_factory=Ledger)
    settings: dict = field(default_factory=dict)
    settled: pd.DataFrame = field(default_factory=partial(problem_table, ()))
    remarks: pd.DataFrame = field(default_factory=partial(problem_table, ()))

    @classmethod
    def load(cls, folder: str | Path, *, today: dt.date | None = None) -> Study:
        """Read a study folder: parse, apply decisions, validate.

        Parameters
        ----------
        folder : path
            With study.toml and the tables that there are.
        today : datetime.date, optional
            For dates in the future. Default: today.

        Returns
        -------
        Study

        Raises
        ------
        StudyError
            With `.problems`, all at once.

        Examples
        --------
        >>> import tempfile
        >>> from analysis.study import new_study
        >>> Study.load(new_study(tempfile.mkdtemp() + "/autumn", rounds=5)).protocol.rounds
        5
        """
        from .load import load_study

        return load_study(folder, today=today)

    @classmethod
    def check(cls, folder: str | Path, **options):
        """Look through a study folder without raising; see `check_study`."""
        from .check import check_study

        return check_study(folder, **options)

    def recording_files(self) -> pd.DataFrame:
        """Return the recordings of the athletes who may be analysed.

        Returns
        -------
        pandas.DataFrame
            session, athlete, path (absolute), label ("" where the file is of one athlete), clock_offset_s and event_s (missing
            where not given), device, how ("recordings table" or "file name").
        """
        from .recording_files import find_recordings

        return find_recordings(self)

    def athletes_with_figures(self) -> tuple[str, ...]:
        """Return the codes of those who agreed to a figure that shows them alone (blank is no)."""
        return self._who_said_yes("consent_individual_figures")

    def athletes_to_share(self) -> tuple[str, ...]:
        """Return the codes of those who agreed that de-identified data are shared (blank is no)."""
        return self._who_said_yes("consent_shared_data")

    def _who_said_yes(self, column: str) -> tuple[str, ...]:
        return tuple(self.athletes.loc[self.athletes[column] == "yes", "athlete"])
