"""`Answers`: ask a study everything it can answer, once, in the order of the notebooks."""

from __future__ import annotations

import functools
import inspect
import os
import pickle
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd

from ..basics import KitError, NotYet
from ..study import Study, load_study, outcome_named, planned
from ..study.binding import look_state
from . import inputs
from .training import training_answer

DEMO_FOLDER = Path(__file__).resolve().parents[2] / "data_demo"


def open_answers(folder: str | Path | None = None, *, seed: int = 0) -> Answers:
    """Open the study that a notebook is about.

    Parameters
    ----------
    folder : path, optional
        The study folder. Default: the environment variable STUDY_FOLDER, else the demo study.
    seed : int
        Of everything random. Default 0.

    Returns
    -------
    Answers

    Raises
    ------
    StudyError
        With every problem of the folder at once.

    Examples
    --------
    >>> open_answers().study.protocol.rounds > 1
    True
    """
    folder = Path(folder or os.environ.get("STUDY_FOLDER") or DEMO_FOLDER)
    return kept_answers(folder, seed) or Answers.from_folder(folder, seed=seed)


def kept_answers(folder: Path, seed: int = 0) -> Answers | None:
    """Return the answers that a running report keeps for its notebooks, where they are of this folder and seed."""
    path = os.environ.get("STUDY_ANSWERS")
    if not path:
        return None
    kept = pickle.loads(Path(path).read_bytes())
    same = Path(kept.study.folder).resolve() == folder.resolve() and kept.seed == seed
    return kept if same else None


def open_survey(folder: str | Path | None = None, *, seed: int = 0) -> Answers:
    """Open the survey of submitted sessions that notebook 08 is about.

    Parameters
    ----------
    folder : path, optional
        Default: the folder of `open_answers` where it holds a survey, else the invented survey of the demo.
    seed : int
        Of everything random. Default 0.

    Returns
    -------
    Answers

    Examples
    --------
    >>> len(open_survey().study.survey) > 0
    True
    """
    answers = open_answers(folder, seed=seed)
    if folder is None and answers.study.survey.empty:
        return open_answers(DEMO_FOLDER / "survey", seed=seed)
    return answers


def open_training(folder: str | Path | None = None, *, seed: int = 0) -> Answers:
    """Open the training study that notebook 09 is about.

    Parameters
    ----------
    folder : path, optional
        Default: the folder of `open_answers` where it assigns training or carries phases, else the invented training study.
    seed : int
        Of everything random. Default 0.

    Returns
    -------
    Answers

    Examples
    --------
    >>> open_training().study.training is not None
    True
    """
    answers = open_answers(folder, seed=seed)
    study = answers.study
    phases = {*study.aerobic_tests["phase"], *study.sessions["phase"]} - {""}
    if folder is None and study.training is None and not phases:
        return open_answers(DEMO_FOLDER / "training", seed=seed)
    return answers


@dataclass(frozen=True)
class NotAnswered(NotYet):
    """A question that the data at hand cannot answer, with the reason (falsy)."""

    why: str = ""

    def __str__(self) -> str:
        return f"Not analysed: {self.question}. {self.why}"


def once(question: str = ""):
    """Keep what a method gives; data that cannot answer a named question ({outcome}: its label) give `NotAnswered`."""

    def keep(method):
        takes = inspect.signature(method)

        @functools.wraps(method)
        def kept(self, *args, **named):
            given = takes.bind(self, *args, **named)
            given.apply_defaults()
            rest = given.args[1:]
            label = outcome_named(rest[0]).label.lower() if "{" in question else ""
            key = (method.__name__, *rest) if rest else method.__name__
            return self._once(key, lambda: method(self, *rest), question=question.format(outcome=label))

        return kept

    return keep


class Answers:
    """Every answer of one study, each computed when first asked for and then kept.

    A question that the study cannot answer yet gives a `NotYet` (falsy) that says what it needs.

    Parameters
    ----------
    study : Study
        A loaded, validated study.
    seed : int
        Of everything random (bootstrap, permutation, simulation). Default 0.
    """

    def __init__(self, study: Study, *, seed: int = 0):
        self.study = study
        self.seed = seed
        self._kept: dict = {}

    @classmethod
    def from_folder(cls, folder: str | Path, *, seed: int = 0) -> Answers:
        """Load a folder and return its Answers."""
        return cls(load_study(folder), seed=seed)

    def _once(self, key, compute, *, question: str = ""):
        """Keep what `compute` gives; where a question is named, data that cannot answer it give `NotAnswered`."""
        if key not in self._kept:
            try:
                self._kept[key] = compute()
            except KitError as error:
                if not question:
                    raise
                self._kept[key] = NotAnswered(question, "other data", str(error))
            missing = self._kept[key]
            if isinstance(missing, NotYet) and not isinstance(missing, NotAnswered):
                self._kept[key] = replace(missing, needs=inputs.as_in_folder(missing.needs, self.study.folder))
        return self._kept[key]

    def keep(self, question: str, outcome: str, answer) -> None:
        """Take an answer that was computed elsewhere: `question` is "rounds" or "fitness"."""
        self._kept[question, outcome] = answer

    @property
    @once()
    def cleaned(self):
        """Flagged traces, rounds and ledger: `CleanedStudy`, or `NotYet` where nothing was measured."""
        from ..cleaning import clean_study

        if self.study.rounds.empty and self.study.recordings.empty and not len(self.study.recording_files()):
            return NotYet("cleaning the data", "filled rounds (rounds.csv) or recordings (recordings/)")
        return clean_study(self.study)

    @property
    def rows(self) -> pd.DataFrame | NotYet:
        """One row per session, athlete and round."""
        return self.cleaned.rows if self.cleaned else self.cleaned

    @property
    @once()
    def description(self):
        """Who took part, under which conditions, and what was set aside: `Description`."""
        from .describe import describe_study

        return describe_study(self.study, self.cleaned, self.capacity)

    @property
    @once()
    def questions(self):
        """The planned questions with their standing and answers: tuple of `Question`."""
        from .inputs import answered_questions

        return answered_questions(self)

    @property
    @once()
    def measured_outcomes(self) -> tuple[str, ...]:
        """The outcomes that at least three athletes have in the primary session, in the order of the kit."""
        session = self.study.plan.primary_session
        return inputs.measured_outcomes(self.rows, session) if self.cleaned else ()

    @property
    @once()
    def fitness_outcomes(self) -> tuple[str, ...]:
        """The outcomes that fitness can be asked about: one round is enough."""
        session = self.study.plan.primary_session
        return inputs.measured_outcomes(self.rows, session, rounds=1) if self.cleaned else ()

    @property
    def primary_outcomes(self) -> tuple[str, ...]:
        """The planned outcomes of the rounds questions that were measured."""
        planned = dict.fromkeys(v for k, v in self.study.plan.primary_outcomes.items() if k.startswith("rounds."))
        return tuple(o for o in planned if o in self.measured_outcomes)

    @once("comparing the rounds for {outcome}")
    def rounds(self, outcome: str):
        """Does this outcome change over the rounds, and where does it stop changing? `RoundsAnswer` or `NotYet`."""
        from ..rounds import answer_rounds
        from .describe import SENSITIVITY, came_tired_or_unwell

        known = outcome_named(outcome)
        if outcome not in self.measured_outcomes:
            return NotYet(f"comparing the rounds for {known.label.lower()}", inputs.needed_for(known))
        plan, rows = self.study.plan, inputs.of_session(self.rows, self.study.plan.primary_session)
        others = {o: plan.smallest_effects[o] for o in self.measured_outcomes
                  if outcome_named(o).question == known.question and o != outcome}  # fmt: skip
        return answer_rounds(
            rows,
            outcome,
            smallest_effect=plan.smallest_effects[outcome],
            alpha=inputs.level_of(self.study, "rounds"),
            limit=inputs.analyser_limits(self.study) if known.question == "lactate" else None,
            role=inputs.role_of(plan, "rounds", known),
            ordinal=known.ordinal,
            flagged_kept=inputs.flagged_kept_rows(self.cleaned, rows, outcome),
            other_outcomes=others,
            leave_out={SENSITIVITY: came_tired_or_unwell(self.study, plan.primary_session)},
            round_variable=plan.round_variable,
            seed=self.seed,
        )

    @property
    @once()
    def looks(self) -> pd.DataFrame | NotYet:
        """At a planned look: its level and the estimates of the primary outcomes corrected for the looks before; or `NotYet`."""
        state = look_state(self.study)
        if state is None or not state.number:
            sizes = "sizes under [plan.looks], and as many athletes as one of them"
            return NotYet("estimates at a planned look", sizes)
        return inputs.look_estimates(self, state.n_athletes)

    @once("the reliability of {outcome}")
    def reliability(self, outcome: str):
        """How well does this outcome repeat: from evening to evening, or within one evening. `Reliability` or `NotYet`."""
        from ..rounds import reliability

        known = outcome_named(outcome)
        if outcome not in self.measured_outcomes:
            return NotYet(f"the reliability of {known.label.lower()}", inputs.needed_for(known))
        return reliability(inputs.for_reliability(self.rows, outcome, self.study.sessions), outcome)

    @property
    @once()
    def capacity(self) -> pd.DataFrame | NotYet:
        """One aerobic capacity per athlete, with its error."""
        from ..capacity import measure_capacity

        if self.study.aerobic_tests.empty:
            return NotYet("aerobic capacity", "an aerobic test per athlete in aerobic_tests.csv")
        return measure_capacity(
            self.study.aerobic_tests,
            self.study.athletes,
            sessions=self.study.sessions,
            primary_session=self.study.plan.primary_session,
            unit=self.study.plan.capacity_unit,
            attendance=self.study.attendance,
            gas_exchange=inputs.read_gas_files(self.study),
        )

    @once("fitness and {outcome}")
    def fitness(self, outcome: str):
        """Do fitter athletes show less of this outcome? `CapacityAnswer`, or `NotYet` with what is missing or why not."""
        from ..capacity import answer_capacity

        known = outcome_named(outcome)
        capacity = self.capacity
        if isinstance(capacity, NotYet):
            return NotYet(f"fitness and {known.label.lower()}", capacity.needs)
        if outcome not in self.fitness_outcomes:
            return NotYet(f"fitness and {known.label.lower()}", inputs.needed_for(known))
        plan, rows = self.study.plan, inputs.of_session(self.rows, self.study.plan.primary_session)
        return answer_capacity(
            rows,
            capacity,
            self.study.athletes,
            outcome,
            smallest_effect=plan.smallest_effects[outcome],
            direction=inputs.fitness_direction(planned(self.study), known),
            alpha=inputs.level_of(self.study, "fitness"),
            covariates=plan.adjusted_for(f"fitness.{known.question}", outcome),
            covariates_why=inputs.says_so(self.study),
            smallest_effects=plan.smallest_effects,
            round_variable=plan.round_variable,
            alternative_rows=inputs.alternative_rows(self.cleaned, rows),
            limit=inputs.analyser_limits(self.study) if known.question == "lactate" else None,
            chart=inputs.role_of(plan, "fitness", known) == "primary",
            seed=self.seed,
        )

    @once("relations within athletes")
    def levels(self, x: str = "hr_mean_bpm", y: str = "lactate_mmol_l"):
        """Do two outcomes go together within athletes, beside between them? `Levels` or `NotYet`."""
        from ..capacity.correlation import correlation_levels

        missing = [o for o in (x, y) if o not in self.measured_outcomes]
        if missing:
            return NotYet("relations within athletes", inputs.needed_for(outcome_named(missing[0])))
        return correlation_levels(inputs.sparred(inputs.of_session(self.rows, self.study.plan.primary_session)), x, y)

    @once("what athletes did in the rounds")
    def pace(self):
        """What did athletes do in the rounds, and how far do raters agree? `PaceAnswer` or `NotYet`."""
        from ..pace import answer_pace, pace_words

        if self.study.pace.empty:
            rated = "rounds rated on the page of the command pace, in pace.csv"
            return NotYet("what athletes did in the rounds", rated)
        if isinstance(self.cleaned, NotYet):
            return NotYet("what athletes did in the rounds", self.cleaned.needs)
        words = pace_words(self.study.settings)
        return answer_pace(self.study.pace, self.cleaned.windows, self.rows, words=words, seed=self.seed)

    @once("fitness, activity and {outcome}")
    def activity(self, outcome: str = "hr_mean_bpm"):
        """Do fitter athletes do more, beside a lower outcome? `ActivityAnswer` or `NotYet`."""
        from ..capacity import fitness_and_activity

        question = f"fitness, activity and {outcome_named(outcome).label.lower()}"
        pace, capacity = self.pace(), self.capacity
        for part in (pace, capacity):
            if isinstance(part, NotYet):
                return NotYet(question, part.needs)
        here = inputs.of_session(pace.rounds, self.study.plan.primary_session)
        if outcome not in here:
            rows = self.rows[["session", "athlete", "round_no", outcome]]
            here = here.merge(rows, on=["session", "athlete", "round_no"], how="left")
        return fitness_and_activity(
            here, capacity, outcome=outcome, smallest_effect=self.study.plan.smallest_effects[outcome], seed=self.seed
        )

    @once("the comparison with published findings")
    def published(self):
        """Is our answer consistent with the published ones? `ReplicationAnswer` or `NotYet`."""
        from ..replication import answer_replication

        if self.study.published.empty:
            return NotYet("the comparison with a published finding", "rows in published.csv, each with its source")
        if not self.fitness_outcomes:
            return NotYet("the comparison with a published finding", "filled rounds of at least three athletes")
        asked = inputs.published_outcomes(self.study.published, self.fitness_outcomes)
        fitness = {o: self.fitness(o) for o in asked["fitness"]}
        rounds = {o: self.rounds(o) for o in asked["rounds"]}
        return answer_replication(
            self.study.published,
            {o: a for o, a in fitness.items() if a},
            {o: a for o, a in rounds.items() if a},
            self.study.protocol,
            sessions=self.study.sessions,
            sport=self.study.sport,
            sex=inputs.sex_of_sample(self.study.athletes["sex"]),
            sample_delay_s=self.description.conditions.delay.get("median", float("nan")),
        )

    @once()
    def design(self, n: int | None = None):
        """What can a study of n athletes answer? `DesignAnswer` (default n: the planned or the enrolled number)."""
        from ..planning import answer_design

        if self.study.protocol.rounds < 2:
            return NotYet("planning the study", "at least two rounds in the part [protocol] of study.toml")
        size = n or self.study.plan.n_athletes or len(self.study.athletes) or None
        return answer_design(self.study.protocol, self.study.plan, None, size)

    @property
    @once()
    def planned_looks(self):
        """At how many athletes the data are looked at, and at which level: `Looks`, or `NotYet` where they are analysed once."""
        if not self.study.plan.looks:
            return NotYet("looks while the study grows", "sizes = [8, 12, 16], or your numbers, under [plan.looks]")
        return inputs.looks_of(self.study)

    @once("the training study")
    def training(self):
        """Does adding training change capacity and sparring heart rate? `TrainingAnswer` or `NotYet`."""
        return training_answer(self)

    @once()
    def assurance(self):
        """How sure is a clear answer, where the assumptions are not sure themselves? `Assurance` or `NotYet`."""
        from ..planning import assure_design

        design = self.design()
        if not design:
            return design
        ranges = self.study.plan.assumption_ranges
        return assure_design(design.design, design.assumptions, ranges=ranges, seed=self.seed)

    @once()
    def survey(self):
        """What do submitted sessions show? `SurveyAnswer` or `NotYet`."""
        if self.study.survey.empty:
            return NotYet("the survey of sessions", "a table survey.csv with one row per submitted session")
        from ..survey import answer_survey
        from ..survey.tables import survey_choices

        return answer_survey(
            self.study.survey,
            folder=self.study.folder,
            published=self.study.published,
            seed=self.seed,
            **survey_choices(self.study.settings),
        )
