"""Look through a study folder: what does not fit, what a decision settles, what is there, what notebooks still need."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import pandas as pd

from ..basics import KitError, Result, plural
from .binding import EXPLORATORY, look_state, planned, question_statuses
from .columns import TABLES
from .decisions import decision_lines, write_decisions
from .deviations import plan_deviations, unmeasured
from .inventory import WORKBOOK, is_recording
from .load import Examination, examine_folder
from .model import Study
from .outcomes import short_question, typed_outcomes
from .problems import Findings, Problem, StudyError, describe_problems, problem_table
from .settings import SETTINGS_FILE
from .training import has_phases

MOST_ROWS = 20
"""Proposed decisions that are printed; the rest is counted."""

OUTCOME_COLUMNS = (*typed_outcomes(), "hr_mean_typed_bpm")

NEEDS = {
    "01_design_the_study": "the protocol in study.toml",
    "02_run_the_day": "athletes with consent and clearance in the athletes table",
    "03_clean_the_data": "recordings in recordings/, or typed means in the rounds table",
    "04_compare_the_rounds": "heart rate, lactate or exertion of two rounds or more",
    "05_fitness_and_sparring": "an aerobic test per athlete, beside the rounds",
    "06_compare_with_published": "a published finding in published.csv, beside the rounds",
    "07_write_it_up": "heart rate, lactate or exertion of two rounds or more",
    "08_survey_of_sessions": "rows in survey.csv",
    "09_training_study": "a section [training] in study.toml, or tests and evenings with phase pre and post",
}
"""Notebook -> what it needs."""


@dataclass(frozen=True)
class CheckReport(Result):
    """What `check_study` found."""

    folder: str  # The name of the folder
    passed: bool  # True where nothing stops an analysis
    filled: bool  # False where no table has a row and there is no recording
    problems: pd.DataFrame  # file, row, column, value, problem, remedy
    settled: pd.DataFrame
    remarks: pd.DataFrame
    # what, count, unit ("rows" or "files"), set_aside, where
    contents: pd.DataFrame = field(default_factory=pd.DataFrame)
    notebooks: pd.DataFrame = field(default_factory=pd.DataFrame)  # notebook, ready, needs
    opened: bool = False  # Whether the recordings were read and cleaned
    recordings: tuple[str, ...] = ()  # What a person should resolve about them, with the remedy
    account: str = ""  # One line: rounds sparred, with and without a mean heart rate, and why
    # Values that stand out: file, row, column, value, problem, remedy. They stop nothing.
    questions: pd.DataFrame = field(default_factory=partial(problem_table, ()))
    # Rows for the decisions table that would settle problems and questions, for a person to confirm
    proposed: tuple[dict[str, str], ...] = ()
    looks: str = ""  # One line: planned looks, and how many are left; "" where none are planned
    # What departs from the fixed plan so far, and which questions that makes exploratory; without a fixed plan, what is
    # planned and has no value
    departures: tuple[str, ...] = ()
    judged: str = "Departs from the fixed plan"  # The heading of `departures`

    def text(self) -> str:
        """Return the report as lines for a terminal."""
        lines = [f"Study folder {self.folder}"]
        if self.recordings:
            lines += ["", f"Recordings: to settle first ({len(self.recordings)})"]
            lines += [f"  - {line}" for line in self.recordings]
        if self.passed and not self.filled:
            lines += ["", "Nothing filled in yet. Fill in the tables, or open notebook 01 to plan the size first."]
        if len(self.contents):
            lines += ["", "What is there"]
            lines += [
                f"  {c.what:<14} {c.count:>6} {c.unit.removesuffix('s') if c.count == 1 else c.unit:<6} {c.where}"
                for c in self.contents.itertuples()
            ]
        lines += self._listed("Problems in the study folder", self.problems)
        lines += self._listed("Is this right? Nothing is changed until a decision says keep or replace", self.questions)
        lines += self._ready_rows()
        lines += [line.partition(" Remedy: ")[0] for line in self._listed("Settled by a decision", self.settled)]
        lines += self._listed("Noticed; stops nothing", self.remarks)
        if self.departures:
            lines += ["", f"{self.judged} ({len(self.departures)})"]
            lines += [f"  - {line}" for line in self.departures]
        if len(self.notebooks):
            lines += ["", "Notebooks"]
            for line in self.notebooks.itertuples():
                state = "ready" if line.ready else f"not yet: needs {line.needs}"
                lines.append(f"  {line.notebook:<26} {state}")
        if not self.passed:
            end = f"{plural(len(self.problems), 'problem')} to put right before the study can be analysed."
        elif self.recordings:
            end = f"The tables fit. {plural(len(self.recordings), 'question')} about recordings to settle, see the top."
        elif len(self.questions):
            end = f"Nothing stands in the way; {plural(len(self.questions), 'question')} to answer."
        else:
            end = "Everything fits." if self._fits else "Nothing stands in the way."
        lines += ["", end]
        if self.looks:
            lines += ["", self.looks]
        if self.account:
            lines += ["", self.account]
        elif self.passed and self.filled and not self.opened and "files" in set(self.contents.get("unit", ())):
            lines.append("The recordings were not opened.")
        return "\n".join(lines)

    @property
    def _fits(self) -> bool:
        """Whether everything was used: nobody without consent, no planned outcome without a value."""
        told = self.remarks["problem"].str.contains("nothing of theirs is analysed", regex=False)
        lacks = any("not measured" in line or "no aerobic test" in line for line in self.departures)
        return self.filled and not told.any() and not lacks

    def _ready_rows(self) -> list[str]:
        """The rows to put into decisions, ready to copy."""
        if not self.proposed:
            return []
        shown = [f"  {line}" for line in decision_lines(self.proposed[:MOST_ROWS])]
        more = len(self.proposed) - MOST_ROWS
        return [
            "",
            "Rows for the table decisions, ready to copy. Look at the sheet first, then write the date and who decided, and",
            "keep or replace where action is blank. `check FOLDER --write-decisions` puts them there, unconfirmed.",
            *shown,
            *([f"  ... and {more} more"] if more > 0 else []),
        ]

    def __str__(self) -> str:
        return self.text()

    @staticmethod
    def _listed(title: str, table: pd.DataFrame) -> list[str]:
        if not len(table):
            return []
        return ["", f"{title} ({len(table)})", *(f"  - {line}" for line in describe_problems(table))]


def check_study(
    folder: str | Path, *, today: dt.date | None = None, inspect: Callable[[Path], object] | None = None,
    look: Callable[[Study], tuple[tuple[str, ...], str]] | None = None,
    readers: Iterable[Callable[[dict], object]] = (), judge: Callable[[Study], Iterable[Problem]] | None = None,
    read_gas: Callable[[Path], object] | None = None,
) -> CheckReport:  # fmt: skip
    """Look through a study folder without raising on what does not fit.

    Parameters
    ----------
    folder : path
        The study folder.
    today : datetime.date, optional
        For dates in the future. Default: today.
    inspect : callable, optional
        Takes the path of a recording; returns an object with `carries_position`, `carries_identity` and, where the
        file cannot be read, `problem`.
    look : callable, optional
        Takes the study where nothing stops an analysis; reads and cleans its recordings, and returns what a person
        should resolve and the line of account.
    readers : iterable of callable
        Each takes the settings and raises KitError where its part of study.toml cannot be used.
    judge : callable, optional
        Takes the study and lists what another room cannot use of it.
    read_gas : callable, optional
        Takes the path of a gas-exchange file that aerobic_tests names; raises KitError where it cannot be read.

    Returns
    -------
    CheckReport

    Examples
    --------
    >>> check_study("no such folder").passed
    False
    """
    try:
        found = examine_folder(folder, today=today)
    except StudyError as error:
        nothing = problem_table(())
        return CheckReport(str(folder), False, False, error.problems, nothing, nothing)
    study = found.study
    contents = _list_contents(found)
    remarks = list(found.remarks)
    if inspect is not None:
        remarks += _look_into_recordings(study.folder, found.inventory.recordings, inspect)
    problems = [*found.problems, *_unusable_settings(study.settings, readers)]
    if judge is not None:
        told = {(p.file, p.row) for p in problems}
        problems += [p for p in judge(study) if (p.file, p.row) not in told]
    if read_gas is not None:
        problems += _unreadable_gas(study, read_gas)
    looked = look is not None and not problems and len(study.recording_files()) > 0
    to_settle, account = look(study) if looked else ((), "")
    return CheckReport(
        study.folder.name,
        not problems,
        bool(len(contents)),
        problem_table(problems),
        problem_table(found.settled),
        problem_table(remarks),
        contents,
        list_needs(study),
        looked,
        to_settle,
        account,
        problem_table(found.questions),
        tuple(found.proposed),
        state.text() if (state := look_state(study, planned(study))) else "",
        () if problems else list_departures(study),
        "Departs from the fixed plan" if study.plan.frozen else "Planned, and nothing of it is there",
    )


def list_departures(study: Study) -> tuple[str, ...]:
    """Say line by line what departs from the fixed plan, and which questions that makes exploratory."""
    if not study.plan.frozen:  # what hypotheses that somebody wrote ask for, and the study has no value of
        if "hypotheses" in study.plan.proposed:
            return ()
        remedy = "type it in, or delete the hypothesis before the plan is fixed"
        return tuple(
            f"{part}: {what} {now} ({where}): {remedy}" for part, what, now, where in unmeasured(study, study.plan)
        )
    lines = [
        f"{line.part}: planned {line.planned}; now {line.done} ({line.where})"
        for line in plan_deviations(study).itertuples(index=False)
    ]
    reasons: dict[str, list[str]] = {}
    for q in question_statuses(study):
        if q.status == EXPLORATORY and q.hypothesis:
            reasons.setdefault(q.why, []).append(short_question(q.id))
    lines += [f"exploratory: {'; '.join(words)} ({why})" for why, words in reasons.items()]
    return tuple(lines)


def _unusable_settings(settings: dict, readers: Iterable[Callable[[dict], object]]) -> list[Problem]:
    """What rooms that this one does not know say of their part of study.toml."""
    found = []
    for reader in readers:
        try:
            reader(settings)
        except KitError as error:
            found.append(Problem(SETTINGS_FILE, None, "", "", str(error), "correct it, or delete the line"))
    return found


def propose_decisions_for(folder: str | Path, *, today: dt.date | None = None) -> tuple[Path, int]:
    """Put the decisions that `check` proposes into the study's table, unconfirmed.

    Parameters
    ----------
    folder : path
        The study folder.
    today : datetime.date, optional
        Default: today.

    Returns
    -------
    tuple of (path, int)
        The file that holds them, and how many were new.

    Examples
    --------
    >>> import tempfile
    >>> from analysis.study import new_study
    >>> propose_decisions_for(new_study(tempfile.mkdtemp() + "/autumn"))[1]
    0
    """
    found = examine_folder(folder, today=today)
    held = found.inventory.grids.get("decisions")
    workbook = held is not None and held.file.startswith(WORKBOOK)
    return write_decisions(found.study.folder, found.proposed, workbook=workbook)


def _list_contents(found: Examination) -> pd.DataFrame:
    rows = found.study.ledger.table.query("unit == 'rows'")
    lines = []
    for name in TABLES:
        own = rows[rows["table"] == name]
        if len(own):
            where = ", ".join(filter(None, dict.fromkeys(own["file"])))
            aside = int(own.loc[~own["used"], "amount"].sum())
            lines.append((name, int(own["amount"].sum()), "rows", aside, where))
    for name in ("recordings", "aerobic_files"):
        files = [f for f in getattr(found.inventory, name) if is_recording(f)]
        if files:
            lines.append((name, len(files), "files", 0, f"{name}/"))
    return pd.DataFrame(lines, columns=["what", "count", "unit", "set_aside", "where"])


def list_needs(study: Study) -> pd.DataFrame:
    """List the notebooks that a study can walk through, and what the others still need.

    Parameters
    ----------
    study : Study

    Returns
    -------
    DataFrame
        notebook, ready, needs ("" where ready).

    Examples
    --------
    >>> list_needs(Study(folder=Path("nowhere")))["ready"].any()
    np.False_
    """
    typed = study.rounds["hr_mean_typed_bpm"].notna().any()
    recorded = bool(typed) or len(study.recording_files()) > 0
    later = study.rounds[study.rounds["round_no"] > 0]
    filled = later.loc[later[list(OUTCOME_COLUMNS)].notna().any(axis=1), "round_no"]
    blood = study.lactate.loc[study.lactate["after_round"] > 0, "after_round"]
    measured = (recorded and study.protocol.rounds != 1) or len({*filled, *blood}) > 1
    once = recorded or len({*filled, *blood}) > 0
    ready = {
        "01_design_the_study": study.protocol.rounds > 0,
        "02_run_the_day": len(study.athletes) > 0,
        "03_clean_the_data": recorded,
        "04_compare_the_rounds": measured,
        "05_fitness_and_sparring": once and len(study.aerobic_tests) > 0,
        "06_compare_with_published": once and len(study.published) > 0,
        "07_write_it_up": measured or (once and len(study.aerobic_tests) > 0),
        "08_survey_of_sessions": len(study.survey) > 0,
        "09_training_study": study.training is not None
        or has_phases({"aerobic_tests": study.aerobic_tests, "sessions": study.sessions}),
    }
    asked = ["08_survey_of_sessions"] if study.settings.get("kind") == "survey" else list(NEEDS)
    lines = [(name, bool(ready[name]), "" if ready[name] else NEEDS[name]) for name in asked]
    return pd.DataFrame(lines, columns=["notebook", "ready", "needs"])


def _unreadable_gas(study: Study, read_gas: Callable[[Path], object]) -> list[Problem]:
    """A problem per file in aerobic_files/ that a test names and a report could not read."""
    found = []
    for name in sorted(set(study.aerobic_tests["file"]) - {""}):
        path = study.folder / "aerobic_files" / name
        if not path.is_file():
            continue  # named as missing already
        try:
            read_gas(path)
        except (KitError, OSError) as error:
            why = str(error).removeprefix(f"{name}: ").rstrip(".")
            remedy = "export it again from the analyser, or leave the file out of aerobic_tests"
            found.append(Problem("aerobic_files/", None, "", name, f"cannot be read: {why}", remedy))
    return found


def _look_into_recordings(folder: Path, names: tuple[str, ...], inspect: Callable[[Path], object]) -> list:
    findings = Findings()
    private: dict[str, list[str]] = {}
    for name in names:
        if not is_recording(name):
            continue
        seen = inspect(folder / "recordings" / name)
        if getattr(seen, "problem", ""):
            advice = "export it again from the device; notebook 03 says how"
            problem = f"this file cannot be read as a recording: {seen.problem}"
            findings.remark_of("recordings/", problem, advice, value=name)
        kinds = [w for w, has in (("positions", seen.carries_position), ("identity", seen.carries_identity)) if has]
        if kinds:
            private.setdefault(" and ".join(kinds), []).append(name)
    for kinds, files in private.items():
        shown = ", ".join(files[:4]) + (f" and {len(files) - 4} more" if len(files) > 4 else "")
        advice = "the kit reads none of it; do not pass these files on as they are"
        findings.remark_of("recordings/", f"files that carry {kinds}", advice, value=shown)
    return findings.remarks
