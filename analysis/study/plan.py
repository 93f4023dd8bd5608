"""The plan: what is asked, in which direction, and what counts as an answer, before the data are there."""

from __future__ import annotations

from dataclasses import dataclass, field

from ..basics import Result

QUESTIONS = {
    "rounds.heart_rate": "Does heart rate change from round to round, and where does it stop changing?",
    "rounds.lactate": "Does blood lactate change from round to round, and where does it stop changing?",
    "rounds.exertion": "Does perceived exertion change from round to round, and where does it stop changing?",
    "fitness.heart_rate": "Do athletes with a higher aerobic capacity run a lower sparring heart rate?",
    "fitness.lactate": "Do athletes with a higher aerobic capacity have a lower lactate after sparring?",
}
"""The questions that a plan can hold, with their words."""

SHORT_QUESTIONS = {
    "rounds.heart_rate": "heart rate over the rounds",
    "rounds.lactate": "lactate over the rounds",
    "rounds.exertion": "exertion over the rounds",
    "fitness.heart_rate": "fitness and heart rate",
    "fitness.lactate": "fitness and lactate",
}
"""The questions in a few words, for tables."""

DIRECTIONS = ("lower", "higher", "rises", "falls", "differs")
"""Directions of a hypothesis: lower and higher for fitness questions, rises and falls for rounds; differs for both."""


@dataclass(frozen=True)
class Hypothesis(Result):
    """One hypothesis with its direction.

    Parameters
    ----------
    question : str
        A key of QUESTIONS.
    outcome : str
        A key of OUTCOMES.
    direction : str
        One of DIRECTIONS.
    text : str
        In the words of the plan.
    """

    question: str
    outcome: str
    direction: str
    text: str = ""


@dataclass(frozen=True)
class Plan(Result):
    """What the study set out to ask, complete: what [plan] leaves out is filled and listed in `proposed`.

    Parameters
    ----------
    primary_session : str
        The session that the main analyses take.
    alpha : float
        Significance level of each primary question.
    hypotheses : tuple of Hypothesis
        With direction.
    primary_outcomes : dict
        Question -> outcome.
    smallest_effects : dict
        Outcome -> smallest effect that matters, in the outcome's unit.
    smallest_effect_reasons : dict
        Outcome -> why that size.
    covariates : tuple of str
        Planned covariates of the fitness questions; empty for the kit's default rule.
    exclusions : tuple of str
        Planned exclusions, in words.
    capacity_unit : str
        "mL/kg/min", "L/min" or "mL/kg^b/min" with the exponent as a number.
    round_variable : str
        "round_no" (the club's clock) or "bout_no" (rounds that the athlete sparred).
    n_athletes : int or None
        The planned number of athletes.
    frozen : dict or None
        date and checksum of the plan fixed before the data; None where none was fixed.
    proposed : tuple of str
        What the kit filled in, since study.toml does not say.
    """

    primary_session: str = "1"
    alpha: float = 0.05
    hypotheses: tuple[Hypothesis, ...] = ()
    primary_outcomes: dict[str, str] = field(default_factory=dict)
    smallest_effects: dict[str, float] = field(default_factory=dict)
    smallest_effect_reasons: dict[str, str] = field(default_factory=dict)
    covariates: tuple[str, ...] = ()
    exclusions: tuple[str, ...] = ()
    capacity_unit: str = "mL/kg/min"
    round_variable: str = "round_no"
    n_athletes: int | None = None
    frozen: dict | None = None
    proposed: tuple[str, ...] = ()

    def direction(self, question: str) -> str:
        """Return the planned direction of a question, or "differs" where no hypothesis names one."""
        return next((h.direction for h in self.hypotheses if h.question == question), "differs")
