"""Planned looks at a study that grows: read from [plan.looks], and where the study stands among them."""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ..basics import Result, join_words, plural
from .model import Study
from .plan import Plan

TAKEN_FILE = "looks_taken.csv"
"""Which looks were taken: date, athletes. Written by the report, never changed by hand."""


@dataclass(frozen=True)
class LookState(Result):
    """Where a study stands among its planned looks."""

    sizes: tuple[int, ...]  # Athletes at each planned look
    n_athletes: int  # Athletes with an entry in the primary session
    number: int  # Of the planned look at this number of athletes, from 1; 0 where none is planned at it
    left: int  # Planned looks at more athletes than there are
    why_not: str = ""  # Why results are exploratory: a look that was not planned; "" where none was taken

    def text(self) -> str:
        """The state in one line."""
        planned = f"planned at {join_words([str(n) for n in self.sizes])} athletes"
        rest = f"{plural(self.left, 'look')} left after" if self.number else f"{plural(self.left, 'look')} left"
        if self.number:
            here = f"with {self.n_athletes} this is look {self.number} of {len(self.sizes)}, {rest} it"
        else:
            later = next((n for n in self.sizes if n > self.n_athletes), None)
            wait = f"; wait for {later}" if later else ""
            here = f"with {self.n_athletes} none is planned{wait}, {rest}"
        taken = f". Results are exploratory: {self.why_not}" if self.why_not and self.n_athletes else ""
        return f"Looks: {planned}; {here}{taken}."


def athletes_seen(study: Study, session: str) -> int:
    """Count the athletes with an entry in a session: rounds, lactate or a recording."""
    seen: set[str] = set()
    for table in (study.entered_rounds(), study.lactate, study.recordings):
        if {"session", "athlete"} <= set(table.columns):
            seen |= set(table.loc[table["session"] == session, "athlete"].dropna())
    return len(seen - {""})


def look_state(study: Study, plan: Plan | None = None) -> LookState | None:
    """Tell where a study stands among its planned looks.

    A look counts by the athletes who have an entry in the primary session. An earlier one stands in looks_taken.csv.
    """
    plan = plan or study.plan
    if not plan.looks:
        return None
    n = athletes_seen(study, plan.primary_session)
    taken = [size for size in looks_taken(study.folder) if size not in plan.looks]
    why = ""
    if taken:
        why = f"a look that was not planned was taken at {join_words([str(t) for t in taken])} athletes"
    elif n not in plan.looks:
        why = f"no look was planned at {plural(n, 'athlete')}"
    return LookState(
        sizes=plan.looks,
        n_athletes=n,
        number=plan.looks.index(n) + 1 if n in plan.looks else 0,
        left=sum(size > n for size in plan.looks),
        why_not=why,
    )


def looks_taken(folder: str | Path) -> list[int]:
    """Read at how many athletes results were looked at; a line that cannot be read counts as a look at 0."""
    path = Path(folder) / TAKEN_FILE
    if not path.is_file():
        return []
    table = pd.read_csv(path, dtype=str, keep_default_na=False)
    column = table["n_athletes"] if "n_athletes" in table else pd.Series(["0"])
    return [int(text) if text.isdecimal() else 0 for text in column]


def note_look(study: Study, *, today: dt.date | None = None) -> Path | None:
    """Note that results were looked at, once for each number of athletes; nothing where no looks are planned."""
    state = look_state(study)
    if state is None or not state.n_athletes or state.n_athletes in looks_taken(study.folder):
        return None
    path = Path(study.folder) / TAKEN_FILE
    new = not path.is_file()
    with path.open("a", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        if new:
            writer.writerow(["date", "n_athletes"])
        writer.writerow([(today or dt.date.today()).isoformat(), state.n_athletes])
    return path
