"""The planned questions with their answers: confirmatory or not, and what several tests together allow to claim."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from ..basics import Result
from ..models import holm
from ..study import planned
from ..study.binding import CONFIRMATORY, EXPLORATORY, QuestionStatus, question_statuses
from .inputs import level_of

CHANGES = ("changed", "changed but smaller than matters", "supported", "opposite")
"""Verdicts that rest on a test against no effect."""


@dataclass(frozen=True)
class Question(Result):
    """One planned question: its standing, its answer, and what the family of tests makes of it."""

    id: str
    outcome: str
    status: str
    why: str
    role: str
    direction: str
    hypothesis: str
    verdict: str = ""  # of the answer; "" where there is none yet
    p: float = float("nan")
    p_adjusted: float = float("nan")
    family: tuple[str, ...] = ()  # the questions that were tested together with it (itself included)
    claimed: bool = False  # True where a confirmatory question shows an effect after the adjustment

    @property
    def shown_alone(self) -> bool:
        """True where the effect was shown by itself, but not among the tests of its family."""
        return bool(self.family) and self.verdict in CHANGES and not self.claimed


def answered_questions(answers) -> tuple[Question, ...]:
    """Put every planned question beside its answer, and adjust the confirmatory ones as the plan says."""
    plan = planned(answers.study)
    found = [_answered(answers, status) for status in question_statuses(answers.study)]
    levels = {q.id: level_of(answers.study, q.id.partition(".")[0]) for q in found} if plan.looks else {}
    return adjust_questions(found, alpha=plan.alpha, multiplicity=plan.multiplicity, levels=levels)


def _answered(answers, status: QuestionStatus) -> Question:
    family, _, _ = status.id.partition(".")
    question = Question(**vars(status))
    answer = getattr(answers, family)(status.outcome) if status.outcome else None
    if not answer:
        return question
    p = answer.p_change if family == "rounds" else answer.planned.p
    # at a planned look the test has less than alpha to spend: its p weighs as much more
    p = min(p * planned(answers.study).alpha / level_of(answers.study, family), 1.0) if p == p else p
    question = replace(question, verdict=answer.verdict, p=float(p))
    departs = getattr(answer, "departs", "")
    if departs and question.status == CONFIRMATORY:
        return replace(question, status=EXPLORATORY, why=departs)
    return question


def adjust_questions(
    questions: list[Question],
    *,
    alpha: float = 0.05,
    multiplicity: str = "primary",
    levels: Mapping[str, float] | None = None,
) -> tuple[Question, ...]:
    """Adjust the confirmatory questions after Holm, family by family; `levels` of a planned look stand in place of alpha."""
    found = list(questions)
    tested = [i for i, q in enumerate(found) if q.status == CONFIRMATORY and q.verdict and not np.isnan(q.p)]
    roles = {i: found[i].role if multiplicity == "primary" else "all" for i in tested}
    for role in dict.fromkeys(roles.values()):
        family = [i for i in tested if roles[i] == role]
        adjusted = holm(np.array([found[i].p for i in family]))
        named = tuple(found[i].id for i in family)
        for i, p in zip(family, adjusted, strict=True):
            claimed = bool(p < (levels or {}).get(found[i].id, alpha)) and found[i].verdict in CHANGES
            found[i] = replace(found[i], p_adjusted=float(p), family=named, claimed=claimed)
    return tuple(found)
