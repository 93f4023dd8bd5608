"""From the codes in the folder to the athletes behind each answer."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd

from ..basics import Result
from ..study.outcomes import short_question


@dataclass(frozen=True)
class Flow(Result):
    """How many athletes there were at each step."""

    n_codes: int
    n_athletes: int
    n_sparred: int
    n_tested: int
    answers: pd.DataFrame


def count_flow(answers) -> Flow:
    """Count the athletes from the folder to each planned answer: question, words, family, n_athletes, n_observations."""
    study, people, lines = answers.study, answers.description.participants, []
    for question, outcome in study.plan.primary_outcomes.items():
        family = question.split(".")[0]
        found = answers.rounds(outcome) if family == "rounds" else answers.fitness(outcome)
        if found:
            words = short_question(question)
            lines.append((question, words, family, found.n_athletes, found.n_observations))
    columns = ["question", "words", "family", "n_athletes", "n_observations"]
    codes = max(len(study.known_codes), people.n_athletes)
    return Flow(
        codes, people.n_athletes, people.n_sparred, people.n_tested, pd.DataFrame(lines, columns=columns)
    )
