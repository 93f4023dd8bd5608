"""The plan binds: a question is confirmatory only where nothing it rests on changed; and looks at a growing study."""

from __future__ import annotations

import csv
import datetime as dt
import re
from collections.abc import Iterator
from dataclasses import dataclass, fields
from pathlib import Path

import pandas as pd

from ..basics import KitError, Result, join_words, plural
from .fixed_plan import FixedPlan, load_fixed_plan, plain_values
from .model import Study
from .outcomes import OUTCOMES, QUESTIONS
from .plan import Plan
from .settings import Protocol

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
    """Tell where a study stands among its planned looks, by the athletes with an entry in the primary session."""
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


CONFIRMATORY, EXPLORATORY = "confirmatory", "exploratory"
NOT_BINDING = frozenset(
    {"hypotheses", "primary_outcomes", "smallest_effects", "smallest_effect_reasons", "adjustment", "n_athletes"}
    | {"frozen", "proposed", "sexes", "assumptions", "assumption_reasons", "amendments", "covariates"}
    | {"capacity_unit", "aerobic_test"}
)
"""Parts of a plan that bind no question, or that `_bound` names question by question; every other part binds all."""

PART_WORDS = {
    "alpha": "the level of the tests",
    "primary_session": "the primary session",
    "round_variable": "the number that orders the rounds",
    "exclusions": "the exclusions",
    "multiplicity": "the rule for several questions",
    "primary_questions": "the primary questions",
    "capacity_unit": "the unit of capacity",
    "aerobic_test": "the fitness test",
    "looks": "the planned looks",
    "look_rule": "the rule of the looks",
}


@dataclass(frozen=True)
class QuestionStatus(Result):
    """One planned question: with which outcome it is answered, and whether the plan carries the answer."""

    id: str  # A key of QUESTIONS
    outcome: str  # The outcome that answers it today
    status: str  # "confirmatory" or "exploratory"
    why: str  # The reason
    role: str  # "primary" or "secondary", as the plan says
    direction: str  # Expected by the plan: of the fixed one where there is one
    hypothesis: str = ""  # In the words of that plan; "" where it holds none


def question_statuses(study: Study) -> tuple[QuestionStatus, ...]:
    """Say of every question whether its answer is confirmatory, and why."""
    # Confirmatory where a plan was fixed before the data, that plan holds a hypothesis on it, and level, smallest effect,
    # adjustment, direction, outcome, session, rounds and rules are still those of the plan.
    fixed = load_fixed_plan(study.folder)
    plan = planned(study, fixed)
    found = []
    for question in QUESTIONS:
        outcome = study.plan.primary_outcomes.get(question, plan.primary_outcomes.get(question, ""))
        why = _why_not(study, fixed, question, outcome)
        said = next((h for h in plan.hypotheses if h.question == question), None)
        found.append(
            QuestionStatus(
                id=question,
                outcome=outcome,
                status=EXPLORATORY if why else CONFIRMATORY,
                why=why or f"planned on {fixed.date} as the primary outcome of this question",
                role="primary" if question in plan.primary_questions else "secondary",
                direction=said.direction if said else "differs",
                hypothesis=said.text if said else "",
            )
        )
    return tuple(found)


def planned(study: Study, fixed: FixedPlan | None = None) -> Plan:
    """Return the plan that was fixed, or the one of study.toml where none was.

    Parameters
    ----------
    study : Study
    fixed : FixedPlan, optional
        Where it was read already.

    Returns
    -------
    Plan

    Examples
    --------
    >>> from pathlib import Path
    >>> planned(Study(folder=Path("nowhere"))).alpha
    0.05
    """
    try:
        fixed = fixed or load_fixed_plan(study.folder)
    except KitError:  # named where the folder is looked through
        return study.plan
    return fixed.plan if fixed else study.plan


def result_status(study: Study, question: str, outcome: str) -> tuple[str, str]:
    """Say whether a result is confirmatory, and why.

    Parameters
    ----------
    study : Study
    question : str
        A key of QUESTIONS.
    outcome : str
        A key of OUTCOMES.

    Returns
    -------
    tuple of str
        "confirmatory" or "exploratory", and the reason.

    Examples
    --------
    >>> from pathlib import Path
    >>> result_status(Study(folder=Path("nowhere")), "rounds.lactate", "lactate_mmol_l")
    ('exploratory', 'no plan was fixed before the data')
    """
    fixed = load_fixed_plan(study.folder)
    why = _why_not(study, fixed, question, outcome)
    if why:
        return EXPLORATORY, why
    return CONFIRMATORY, f"planned on {fixed.date} as the primary outcome of this question"


def _why_not(study: Study, fixed: FixedPlan | None, question: str, outcome: str) -> str:
    if fixed is None:
        return "no plan was fixed before the data"
    if not fixed.intact:
        return "the fixed plan was changed after it was fixed"
    state = look_state(study, fixed.plan)
    if state is not None and state.n_athletes and state.why_not:
        return state.why_not
    sessions = study.sessions
    dates = sessions.loc[sessions["session"] == fixed.plan.primary_session, "date"]
    if any(d and dt.date.fromisoformat(d) < dt.date.fromisoformat(fixed.date) for d in dates):
        return "the plan was fixed after the data were collected"
    if fixed.fixed.get("rows_of_rounds_already_there", 0):
        return "rounds had already been entered when the plan was fixed"
    if question not in {h.question for h in fixed.plan.hypotheses}:
        return "the fixed plan holds no hypothesis on this question"
    state = look_state(study, fixed.plan)
    if state is not None and state.why_not:
        return state.why_not
    changes = list(changed_parts(study, fixed, question))
    if changes:
        head = re.split(r" (?:of|for|that|analysed|\()", changes[0])[0]
        verb = "were" if len(changes) > 1 or head.endswith("s") else "was"
        return f"{join_words(changes)} {verb} changed after the plan was fixed"
    if fixed.plan.primary_outcomes.get(question) != outcome:
        return "not the primary outcome of this question in the fixed plan"
    return ""


def changed_parts(study: Study, fixed: FixedPlan, question: str) -> Iterator[str]:
    """Name what this question rests on and what is no longer as it was fixed, each with both values."""
    settings = fixed.fixed.get("settings", {})
    then = _bound(fixed.plan, fixed.protocol, settings, question, fixed.plan.primary_outcomes.get(question, ""))
    now = _bound(study.plan, study.protocol, study.settings, question, fixed.plan.primary_outcomes.get(question, ""))
    for name in dict.fromkeys([*then, *now]):
        before, after = plain_values(then.get(name)), plain_values(now.get(name))
        if before != after:
            yield f"{name} ({_say(before)} in the plan, {_say(after)} now)"
    rounds = _rounds_analysed(study, fixed)
    if rounds:
        yield rounds


def _bound(plan: Plan, protocol: Protocol, settings, question: str, outcome: str) -> dict:
    """What the answer to a question rests on, by its words; `outcome` is the planned one."""
    family, _, kind = question.partition(".")
    hypotheses = sorted((h.outcome, h.direction) for h in plan.hypotheses if h.question == question)
    bound = {
        "the outcome": plan.primary_outcomes.get(question, ""),
        "the smallest effect that matters": plan.smallest_effects.get(outcome),
        "the outcome of the hypothesis": [h[0] for h in hypotheses],
        "the expected direction": [h[1] for h in hypotheses],
        "the number of rounds": {"": protocol.rounds, **{g: p.rounds for g, p in protocol.groups.items()}},
    }
    for part in fields(plan):
        if part.name not in NOT_BINDING:
            bound[PART_WORDS.get(part.name, part.name.replace("_", " "))] = getattr(plan, part.name)
    if kind == "exertion":
        bound["the exertion scale"] = protocol.exertion_scale
    if kind == "heart_rate":
        bound["the rules of cleaning"] = settings.get("cleaning") or {}
    if family == "fitness":
        bound["the adjustment"] = list(plan.adjusted_for(question, outcome))
        for name in ("capacity_unit", "aerobic_test"):
            bound[PART_WORDS[name]] = getattr(plan, name)
    for section in ("rounds", "capacity"):
        if section == family or (section == "capacity" and family == "fitness"):
            bound[f"the section [{section}] of study.toml"] = settings.get(section) or {}
    return bound


def _rounds_analysed(study: Study, fixed: FixedPlan) -> str:
    """Say where other rounds than the planned ones are analysed; "" where they are the same or nothing is entered."""
    here = study.rounds[study.rounds["session"] == study.plan.primary_session]
    variable = fixed.plan.round_variable if fixed.plan.round_variable in here else "round_no"
    here = here[(here["round_no"] > 0) & here["took_part"].isin(["yes", "part", ""])]
    done = sorted({int(v) for v in here[variable].dropna()})
    wanted = list(range(1, fixed.protocol.most_rounds + 1))
    if not done or done == wanted:
        return ""
    return f"the rounds analysed ({_span(wanted)} in the plan, {_span(done)} now)"


def _span(numbers: list[int]) -> str:
    if len(numbers) > 1 and numbers == list(range(numbers[0], numbers[-1] + 1)):
        return f"{numbers[0]} to {numbers[-1]}"
    return join_words([str(v) for v in numbers])


def _say(value) -> str:
    if value in (None, "", [], {}):
        return "none"
    if isinstance(value, dict):
        return ", ".join(f"{k.replace('_', ' ')} {_say(v)}".strip() for k, v in value.items())
    if isinstance(value, list):
        return join_words([_say(v) for v in value])
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, str):
        return OUTCOMES[value].label.lower() if value in OUTCOMES else value
    return str(value)
