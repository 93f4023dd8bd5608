"""Who was there: roll call and scales of an evening, and the athletes from the folder to every answer."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import FEWEST_PEOPLE, Result
from ..physiology.published_values import dehydration_hr_rise
from ..study import Study
from ..study.outcomes import short_question
from . import inputs

TICKS = {
    "caffeine": "caffeine in the last 3 hours",
    "meal": "a meal in the last 2 hours",
    "hard_training_24h": "hard training in the last 24 hours",
    "short_sleep": "less than 6 hours of sleep",
    "unwell": "felt unwell",
}
"""Column of the roll call -> in words."""

NOT_FRESH = ("hard_training_24h", "short_sleep", "unwell")
"""The ticks of the planned sensitivity: it leaves out who came tired or unwell."""

SENSITIVITY = "without athletes who came tired or unwell"
"""Name of the planned sensitivity among the other ways of analysing."""


@dataclass(frozen=True)
class RollCall(Result):
    """What was noted of the athletes of one evening."""

    ticks: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=["tick", "words", "yes", "answered", "shown"])
    )
    n_weighed: int = 0
    loss_percent: float = float("nan")
    largest_loss_percent: float = float("nan")
    sweat_l: float = float("nan")
    n_drinks: int = 0
    rise_bpm: float = float("nan")
    rise_source: str = ""


def describe_roll_call(study: Study, session: str) -> RollCall:
    """Describe the five ticks and the loss of body mass of one evening."""
    here = inputs.of_session(study.attendance, session)
    here = here[here["athlete"].isin(study.athletes["athlete"])] if len(study.athletes) else here
    lines = []
    for name, words in TICKS.items():
        answered = int(here[name].isin(["yes", "no"]).sum())
        yes = int(here[name].eq("yes").sum())
        if answered:
            few = 0 < yes < FEWEST_PEOPLE or 0 < answered - yes < FEWEST_PEOPLE
            lines.append({"tick": name, "words": words, "yes": yes, "answered": answered, "shown": not few})
    ticks = pd.DataFrame(lines, columns=["tick", "words", "yes", "answered", "shown"])
    weighed = here.dropna(subset=["mass_kg", "mass_after_kg"])
    if not len(weighed):
        return RollCall(ticks)
    loss = 100 * (weighed["mass_kg"] - weighed["mass_after_kg"]) / weighed["mass_kg"]
    drank = weighed.dropna(subset=["drinks_l"])
    rise = dehydration_hr_rise(float(np.clip(loss.mean(), 0, 10)))
    return RollCall(
        ticks,
        n_weighed=len(weighed),
        loss_percent=float(loss.mean()),
        largest_loss_percent=float(loss.max()),
        sweat_l=float((drank["mass_kg"] - drank["mass_after_kg"] + drank["drinks_l"]).mean())
        if len(drank)
        else float("nan"),
        n_drinks=len(drank),
        rise_bpm=rise.value,
        rise_source=rise.source,
    )


def came_tired_or_unwell(study: Study, session: str) -> tuple[str, ...]:
    """Return the codes of those whom the planned sensitivity leaves out."""
    here = inputs.of_session(study.attendance, session)
    return tuple(here.loc[here[list(NOT_FRESH)].eq("yes").any(axis=1), "athlete"])


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
    return Flow(codes, people.n_athletes, people.n_sparred, people.n_tested, pd.DataFrame(lines, columns=columns))
