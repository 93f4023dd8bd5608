"""What is measured after a round and what is asked of it: one row per outcome, one row per question.

Whatever reads, plans, prints, writes or passes on an outcome asks here. A new outcome is one row of `OUTCOMES` and, where it is
typed, one line of ``columns.csv``; a question of its own follows from the row.
"""

from __future__ import annotations

from dataclasses import dataclass

from ..basics import check_choice, lower_first


@dataclass(frozen=True)
class Outcome:
    """One outcome of a round.

    Parameters
    ----------
    name : str
        The column in the table of rounds.
    label : str
        The words for axes and sentences, without unit.
    unit : str
        The unit; "" where there is none.
    digits : int
        Decimals when written.
    question : str
        "heart_rate", "lactate", "exertion" or a word of its own: outcomes of one question are tested as one family.
    smallest_effect : float
        The smallest change that matters: our proposal, to be replaced in study.toml.
    ordinal : bool
        True where only the order of values is meaningful.
    typed : bool
        True where it is written on the sheet of the evening and typed.
    sheet : tuple of (str, str)
        Heading and hint on the printed sheet; default the label and the unit.
    meaning : str
        What the column holds, for whoever receives the data; default the label.
    spread : tuple of (float, float)
        SD between athletes as studies report it, lowest and highest; empty where none was read.
    per_bpm : float
        For a share of heart rate: units per bpm, so that planning goes by heart rate; 0 elsewhere.
    assumed : tuple of float
        Mean, rise from first to last round, SD between athletes, SD within an athlete, slope per unit of capacity: what planning
        starts from; empty for what planning holds itself.
    """

    name: str
    label: str
    unit: str
    digits: int
    question: str
    smallest_effect: float
    ordinal: bool = False
    typed: bool = False
    sheet: tuple[str, ...] = ()
    meaning: str = ""
    spread: tuple[float, ...] = ()
    per_bpm: float = 0.0
    assumed: tuple[float, ...] = ()

    @property
    def axis_label(self) -> str:
        """Label with unit, for an axis."""
        return f"{self.label} ({self.unit})" if self.unit else self.label


@dataclass(frozen=True)
class Topic:
    """What is asked of the outcomes of one question."""

    name: str  # the `question` of its outcomes
    words: str  # in a sentence
    outcome: str  # the primary outcome that the kit proposes
    over_rounds: str  # direction expected: rises, falls, differs; "" where it is not asked
    in_fitter: str  # direction expected: lower, higher, differs; "" where it is not asked
    fitness_question: str  # the fitness question in words
    needs: str  # what the question needs in the study folder
    proposed: bool = True  # True where a new plan asks it without being told to
    full: str = ""  # the words in a question; default `words`


_HEART_SPREAD = (6.0, 14.0)

OUTCOMES = {
    o.name: o
    for o in (
        Outcome("hr_mean_bpm", "Mean heart rate", "bpm", 0, "heart_rate", 5.0, spread=_HEART_SPREAD,
                meaning="Mean heart rate over the round, flagged samples set aside"),
        Outcome("hr_late_bpm", "Mean heart rate late in the round", "bpm", 0, "heart_rate", 5.0, spread=_HEART_SPREAD,
                meaning="Mean heart rate over the last part of the round"),
        Outcome("hr_peak_bpm", "Peak heart rate", "bpm", 0, "heart_rate", 5.0, spread=_HEART_SPREAD,
                meaning="Highest heart rate that was sustained"),
        Outcome("percent_hr_max", "Share of measured maximal heart rate", "%", 1, "heart_rate", 2.5, spread=(3.0, 8.0),
                meaning="Mean as a share of the measured maximal heart rate", per_bpm=100 / 190),
        Outcome("percent_hr_reserve", "Share of heart-rate reserve", "%", 1, "heart_rate", 3.5, spread=(4.0, 12.0),
                meaning="Mean as a share of the reserve between rest and measured maximum", per_bpm=100 / 130),
        Outcome("lactate_mmol_l", "Blood lactate", "mmol/L", 1, "lactate", 1.0, typed=True, spread=(1.5, 4.5),
                sheet=("Lactate", "mmol/L, or HI, LO"), meaning="Blood lactate after the round"),
        Outcome("exertion", "Perceived exertion", "points", 1, "exertion", 1.0, ordinal=True, typed=True, spread=(0.7, 2.5),
                sheet=("Exertion", "points"), meaning="Rating of perceived exertion"),
    )
}  # fmt: skip
"""Outcome name -> Outcome. Smallest effects are our proposal; the club's own stand in study.toml. Spreads: as combat-sport
studies report them, rounded outwards (our proposal)."""

_TOPICS = (
    Topic("heart_rate", "heart rate", "hr_mean_bpm", "rises", "lower",
          "Do athletes with a higher aerobic capacity run a lower sparring heart rate?",
          "heart-rate recordings in recordings/ (or typed means in rounds.csv) of at least three athletes"),
    Topic("lactate", "lactate", "lactate_mmol_l", "rises", "lower",
          "Do athletes with a higher aerobic capacity have a lower lactate after sparring?",
          "blood lactate in rounds.csv (or lactate.csv) of at least three athletes, on the analyser's scale",
          full="blood lactate"),
    Topic("exertion", "perceived exertion", "exertion", "rises", "", "",
          "exertion ratings in rounds.csv of at least three athletes"),
)  # fmt: skip


def topics() -> dict[str, Topic]:
    """Return every topic by name: the kit's own, and one for each further question that an outcome names.

    Returns
    -------
    dict of str to Topic

    Examples
    --------
    >>> topics()["lactate"].outcome
    'lactate_mmol_l'
    """
    found = {t.name: t for t in _TOPICS}
    for o in OUTCOMES.values():
        if o.question not in found:
            words = lower_first(o.label)
            found[o.question] = Topic(
                o.question, words, o.name, "differs", "differs",
                f"Do athletes with a higher aerobic capacity differ in {words}?",
                f"{o.name} in rounds.csv of at least three athletes", proposed=False,
            )  # fmt: skip
    return found


def questions() -> dict[str, str]:
    """Return the questions that a plan can hold, such as "rounds.lactate", with their words."""
    every = topics().values()
    over = {
        f"rounds.{t.name}": f"Does {t.full or t.words} change from round to round, and where does it stop changing?"
        for t in every
    }
    return over | {f"fitness.{t.name}": t.fitness_question for t in every if t.in_fitter}


QUESTIONS = questions()
"""The questions that a plan can hold, with their words."""


def short_question(question: str) -> str:
    """Say a question in a few words, for tables."""
    family, _, name = question.partition(".")
    words = topics()[name].words.removeprefix("perceived ")
    return f"{words} over the rounds" if family == "rounds" else f"fitness and {words}"


def proposed_outcomes() -> dict[str, str]:
    """Return the primary outcome that the kit proposes for each question that it proposes."""
    return {q: t.outcome for q, t, _ in _proposed()}


def proposed_directions() -> dict[str, str]:
    """Return the direction that the kit proposes for each question that it proposes."""
    return {q: direction for q, _, direction in _proposed()}


def _proposed() -> list[tuple[str, Topic, str]]:
    asked = [t for t in topics().values() if t.proposed]
    over = [(f"rounds.{t.name}", t, t.over_rounds) for t in asked]
    return over + [(f"fitness.{t.name}", t, t.in_fitter) for t in asked if t.in_fitter]


ALSO_TYPED = ("activity_rating", "hr_mean_typed_bpm", "hr_peak_typed_bpm")
"""Numbers of a round that are typed and are no outcome by themselves."""


def typed_outcomes() -> tuple[str, ...]:
    """Return the outcomes that are written on a sheet and typed.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> typed_outcomes()
    ('lactate_mmol_l', 'exertion')
    """
    return tuple(o.name for o in OUTCOMES.values() if o.typed)


def known_outcome(name: str) -> Outcome:
    """Return the Outcome of that name, or a plain one for a column that the kit does not know.

    Parameters
    ----------
    name : str
        A column of rounds.

    Returns
    -------
    Outcome

    Examples
    --------
    >>> known_outcome("laps").label
    'Laps'
    """
    return OUTCOMES.get(name) or Outcome(name, name.replace("_", " ").capitalize(), "", 1, "", 1.0)


def outcome_named(name: str) -> Outcome:
    """Return the Outcome of that name.

    Parameters
    ----------
    name : str
        A key of OUTCOMES.

    Returns
    -------
    Outcome

    Raises
    ------
    KitError
        With the nearest name.

    Examples
    --------
    >>> outcome_named("lactate_mmol_l").axis_label
    'Blood lactate (mmol/L)'
    """
    return OUTCOMES[check_choice(name, OUTCOMES, name="outcome")]


def digits_of(known: Outcome) -> int:
    """Decimals of a difference: at least one."""
    return max(known.digits, 1)
