"""We have twelve: what can we answer? One line per planned question, in words."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, format_number, format_percent, join_words, plural
from ..study.outcomes import OUTCOMES, digits_of, outcome_named, proposed_outcomes, topics
from ..study.plan import propose_adjustment
from .correlation import ReplicationSizes, replication_sizes
from .design import ADJUSTMENTS, Assumptions, Design, as_assumptions, as_design, assumptions_of_plan, check_size
from .questions import MOST_ATHLETES, PARTS, WISHED, Question, pose

VERDICTS = ("answerable", "only if large", "not answerable")
"""A question is answerable where the smallest effect that matters is seen in 80 of 100 such studies; only if large where an
effect of twice that (or of the assumed size, if that is larger) is; else it is not answerable."""

ADJUSTED = {"hr_max": "maximal heart rate", "age": "age", "sex": "sex"}


@dataclass(frozen=True)
class DesignAnswer(Result):
    """What a study of n athletes can answer.

    Parameters
    ----------
    n : int
        Athletes who finish.
    n_to_recruit : int
        Athletes to recruit so that n finish, with the assumed losses.
    rounds : int
    questions : DataFrame
        question (id, such as "rounds.heart_rate"), part ("change", "steps", "plateau", "slope", "correlation"), about (the
        question in words), outcome, unit (of the effects), smallest_effect, assumed_effect, power_smallest, power_assumed,
        detectable (seen in 80 of 100 studies), half_width (of the interval to expect), n_for_80 (athletes for 80 % at the
        smallest effect; missing above 500), verdict, words (the line as a sentence), method.
    replication : ReplicationSizes or None
        Where a published correlation was given.
    design : Design
    assumptions : Assumptions
    reasons : dict
        Outcome -> why that smallest effect.
    proposed : bool
        True while the assumptions are the kit's own.
    from_plan : tuple of str
        What the assumptions take from the plan, in words.
    method : str
    warnings : tuple of str
    """

    n: int
    n_to_recruit: int
    rounds: int
    questions: pd.DataFrame
    replication: ReplicationSizes | None
    design: Design
    assumptions: Assumptions
    reasons: dict = field(default_factory=dict)
    proposed: bool = True
    from_plan: tuple[str, ...] = ()
    method: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def recruited(self) -> Design:
        """The design with as many athletes at the start as it takes to have n at the end."""
        return replace(self.design, n=self.n_to_recruit)

    def question(self, question: str, part: str = "") -> pd.Series:
        """Return the line of one question (and part), as a Series."""
        table = self.questions[self.questions["question"] == question]
        if part:
            table = table[table["part"] == part]
        if table.empty:
            raise KitError(f"This design answer holds no question {question!r} {part!r}.")
        return table.iloc[0]


def answer_design(
    protocol, plan=None, assumptions: Assumptions | dict | None = None, n: int | None = None, *,
    published: tuple[float, int] | None = None, adjust: tuple[str, ...] | None = None, capacity_step: float = 10.0,
) -> DesignAnswer:  # fmt: skip
    """Say for every planned question what a study of n athletes can answer.

    Parameters
    ----------
    protocol : Protocol or int
        The protocol of the study (its rounds and exertion scale), or a number of rounds.
    plan : Plan, optional
        Smallest effects, primary outcomes, alpha, covariates. Default: the kit's proposals.
    assumptions : Assumptions or mapping, optional
        Sizes and spreads. Default: the kit's, with the fitness test, the sexes and the numbers that the plan names.
    n : int, optional
        Athletes who finish, at least 3. Default: the plan's, else 12.
    published : (r, n), optional
        A published correlation and its athletes, to be repeated.
    adjust : tuple of {"hr_max", "age", "sex"}, optional
        What the fitness slopes are adjusted for. Default: what the plan names, else maximal heart rate for heart rate and age
        for lactate, and sex in a mixed club; as many as the number of athletes affords.
    capacity_step : float
        mL/kg/min between a fit and a less fit athlete, over which the slope is read. Default 10.

    Returns
    -------
    DesignAnswer

    Notes
    -----
    Formulas assume complete data, normal spread and rounds that correlate equally; `simulate_studies` asks the same
    questions of studies with losses, opponents and test error.

    Examples
    --------
    >>> answer = answer_design(4, n=12)
    >>> answer.question("fitness.heart_rate", "slope")["verdict"] in VERDICTS
    True
    """
    n = check_size(n or getattr(plan, "n_athletes", None) or 12, least=3)
    rounds = getattr(protocol, "rounds", protocol)
    if rounds is None or rounds != int(rounds) or rounds < 2:
        raise KitError(f"The protocol has {rounds} rounds; planning a comparison needs at least 2.")
    said: tuple[str, ...] = ()
    if assumptions is None:
        truth, proposed, said = assumptions_of_plan(plan, protocol)
    else:
        truth, proposed = as_assumptions(assumptions), False
    effects = dict(getattr(plan, "smallest_effects", {}) or {})
    outcomes = {**proposed_outcomes(), **(getattr(plan, "primary_outcomes", {}) or {})}
    design = Design(
        n=n, rounds=int(rounds), alpha=getattr(plan, "alpha", 0.05), capacity_step=capacity_step,
        smallest={t.name: _smallest(effects, t.outcome) for t in topics().values()},
        **(_adjustment(plan, truth) if adjust is None else {"adjust": adjust, "adjust_lactate": adjust}),
    )  # fmt: skip
    rows = []
    for question, outcome in outcomes.items():
        if outcome_named(outcome).question not in truth.planned():
            continue  # measured and analysed, but nobody has said with which spread to plan it
        rows += _ask(question, outcome, _smallest(effects, outcome), n, design, truth)
    staying = (1 - truth.leave) ** (design.rounds - 1)
    if not staying > 0:
        raise KitError(
            "leave is 1: where everybody leaves there is nothing to plan. Give the share that leaves per round."
        )
    return DesignAnswer(
        n=n,
        n_to_recruit=int(-(-n // staying)),
        rounds=design.rounds,
        questions=pd.DataFrame(rows).astype({"n_for_80": "Int64"}),
        replication=replication_sizes(*published, n_new=n) if published and n >= 4 else None,
        design=design,
        assumptions=truth,
        reasons=dict(getattr(plan, "smallest_effect_reasons", {}) or {}),
        proposed=proposed,
        from_plan=said,
        method=(
            "exact power under normality: noncentral F and t for rounds, the range of round means for the plateau, the "
            "distribution of the sample correlation for fitness"
        ),
        warnings=_warnings(design, truth, proposed),
    )


def _smallest(effects: dict, outcome: str) -> float:
    return float(effects.get(outcome, outcome_named(outcome).smallest_effect))


def _adjustment(plan, truth: Assumptions) -> dict[str, tuple[str, ...]]:
    """What the plan holds equal for each fitness question, in the words of the design."""
    columns = {"hr_max_bpm": "hr_max", "age_years": "age"}
    found = {}
    for name, question in (("adjust", "fitness.heart_rate"), ("adjust_lactate", "fitness.lactate")):
        outcome = {**proposed_outcomes(), **(getattr(plan, "primary_outcomes", {}) or {})}[question]
        named = plan.adjusted_for(question, outcome) if plan is not None else propose_adjustment(outcome)
        names = tuple(dict.fromkeys(columns.get(c, c) for c in named))
        if tuple(named) == propose_adjustment(outcome) and not 0 < truth.share_women < 1:
            names = tuple(a for a in names if a != "sex")
        found[name] = tuple(a for a in names if a in ADJUSTMENTS)
    return found


def _scaled(truth: Assumptions, outcome: str) -> tuple[str, Assumptions]:
    """The assumption that an outcome goes by, in the outcome's own unit."""
    which = outcome_named(outcome).question
    by = outcome_named(outcome).per_bpm
    if by:
        size = truth.heart_rate
        truth = truth.but(
            heart_rate={k: getattr(size, k) * by for k in ("mean", "rise", "sd_between", "sd_within", "slope")},
            heart_rate_per_hr_max=0.0,
            women_heart_rate=truth.women_heart_rate * by,
        )
    return which, truth


def _ask(question, outcome, smallest, n, design, truth) -> list[dict]:
    known = outcome_named(outcome)
    which, truth = _scaled(truth, outcome)
    label, unit = known.label.lower(), known.unit
    per_step = f"{unit} per {format_number(design.capacity_step, 0)}\N{NO-BREAK SPACE}mL/kg/min"
    if question.startswith("rounds."):
        asked = [("change", f"Does {label} change over the rounds?", unit)]
        if not known.ordinal:
            asked += [
                ("steps", f"Between which neighbouring rounds does {label} change?", unit),
                ("plateau", f"From which round on does {label} stay level?", unit),
            ]
    else:
        asked = [
            ("slope", f"How much lower is {label} in fitter athletes?", per_step),
            ("correlation", f"Does fitness go with a lower {label} (correlation)?", "correlation"),
        ]
    rows = []
    for part, about, shown in asked:
        posed = pose(part, which, smallest, design, truth, ranked=known.ordinal)
        digits = 2 if part == "correlation" else digits_of(known)
        head = {"question": question, "part": part, "about": about, "outcome": outcome, "unit": shown}
        rows.append(head | _numbers(posed, n, shown, digits))
    return rows


def _numbers(posed: Question, n: int, unit: str, digits: int) -> dict:
    power = posed.power(posed.smallest, n)
    row = {
        "smallest_effect": posed.smallest, "assumed_effect": posed.assumed, "power_smallest": power,
        "power_assumed": power if posed.part == "plateau" else posed.power(posed.assumed, n),
        "detectable": posed.seen(n), "half_width": posed.half_width(n), "n_for_80": posed.size(),
    }  # fmt: skip
    verdict = _verdict(row)
    return row | {"verdict": verdict, "words": _words(posed.part, verdict, unit, digits, row), "method": posed.method}


def _verdict(row: dict) -> str:
    if row["power_smallest"] >= WISHED:
        return VERDICTS[0]
    if row["detectable"] <= max(2 * row["smallest_effect"], abs(row["assumed_effect"])):
        return VERDICTS[1]
    return VERDICTS[2]


def _words(part: str, verdict: str, unit: str, digits: int, row: dict) -> str:
    shown = "" if unit == "correlation" else unit
    small = _chosen(row["smallest_effect"], digits, shown)
    what = {
        "change": f"a change of {small} from the first round to the last",
        "steps": f"a step of {small} from one round to the next",
        "plateau": f"a truly level stretch, with a margin of ±{small},",
        "slope": f"a difference of {small}",
        "correlation": f"a correlation of {small}, which the smallest slope that matters would give,",
    }[part]
    if part == "plateau" and verdict == VERDICTS[1]:
        verdict = "only with a wider margin"
    text = f"{verdict.capitalize()}: {what} would be shown in {chance_words(row['power_smallest'])} of such studies"
    if part != "plateau" and row["assumed_effect"]:
        assumed = _chosen(abs(row["assumed_effect"]), digits, shown)
        text += f", the assumed {assumed} in {chance_words(row['power_assumed'])}"
    if verdict == VERDICTS[0]:
        return text + "."
    if row["detectable"] < float("inf"):
        seen = format_number(rounded_up(row["detectable"], digits), digits, unit=shown)
        text += (
            f"; a margin of ±{seen} is the narrowest that would do"
            if part == "plateau"
            else f"; {seen} is the smallest that 80\N{NO-BREAK SPACE}% of them would show"
        )
    need = (
        f"it takes {plural(row['n_for_80'], 'athlete')}"
        if row["n_for_80"]
        else f"more than {MOST_ATHLETES} athletes would be needed"
    )
    return f"{text}; {need} for 80\N{NO-BREAK SPACE}% at the smallest size that matters."


def _chosen(value: float, digits: int, unit: str) -> str:
    """Write a size that somebody chose, without decimals that nobody chose: 5 bpm, 1 point."""
    whole = float(value).is_integer()
    unit = "point" if value == 1 and unit == "points" else unit
    return format_number(value, 0 if whole else digits, unit=unit)


def chance_words(power: float) -> str:
    """Write a chance as a share of studies: never 100 % or 0 %."""
    if power > 0.99:
        return f"more than {format_percent(0.99)}"
    if power < 0.01:
        return f"less than {format_percent(0.01)}"
    return format_percent(power)


def rounded_up(value: float, digits: int) -> float:
    """The smallest number with a given number of decimals that is not below the value: "would be seen" must stay true."""
    return math.ceil(value * 10**digits - 1e-9) / 10**digits


def _warnings(design: Design, truth: Assumptions, proposed: bool) -> tuple[str, ...]:
    found = []
    given_up = [name for name in design.adjust if name not in design.adjustment("heart_rate", truth)]
    if given_up:
        found.append(
            f"{plural(design.n, 'athlete')} do not afford an adjustment for {join_words(ADJUSTED[name] for name in given_up)}: "
            "age and sex may then hide or fake a relation with fitness."
        )
    if proposed:
        found.append(
            "The sizes and spreads are the kit's proposals: replace them by the club's own where there are any."
        )
    if truth.autocorrelation:
        found.append(
            "Neighbouring rounds resemble each other in these assumptions; the formulas for the rounds treat all pairs "
            "alike and overstate the power: take the simulated studies instead."
        )
    if truth.hr_max_error:
        found.append("Maximal heart rates that are predicted, not measured, take out less of the age effect.")
    return tuple(found)


@dataclass(frozen=True)
class PowerCurves(Result):
    """Power and precision of one question over the number of athletes who finish."""

    table: pd.DataFrame  # n, power_smallest, power_assumed, half_width
    part: str
    outcome: str
    about: str  # The question, in words
    unit: str  # Of the effects and half widths; for a slope with "per 10 mL/kg/min"
    digits: int
    smallest: float
    assumed: float
    n: int  # Athletes recruited in the design
    n_left: int  # Those who are expected to finish, after the losses
    wished: float
    method: str

    def at(self, n: int) -> pd.Series:
        """Return the line of a number of athletes."""
        table = self.table[self.table["n"] == n]
        if table.empty:
            raise KitError(
                f"The curves run from {self.table['n'].min()} to {self.table['n'].max()} athletes, not to {n}."
            )
        return table.iloc[0]


def power_curves(
    design: Design | dict,
    truth: Assumptions | dict | None = None,
    *,
    outcome: str = "heart_rate",
    part: str = "change",
    sizes: Sequence[int] = tuple(range(4, 41)),
) -> PowerCurves:
    """Work out power and precision of one question over numbers of athletes.

    Parameters
    ----------
    design : Design or mapping of its fields
        Rounds, alpha, smallest effects, adjustment; its n is marked.
    truth : Assumptions or mapping of changes, optional
        Default: the kit's.
    outcome : {"heart_rate", "lactate", "exertion"}
        Default "heart_rate".
    part : {"change", "steps", "plateau", "slope", "correlation"}
        Default "change".
    sizes : sequence of int
        Default 4 to 40.

    Returns
    -------
    PowerCurves

    Examples
    --------
    >>> curves = power_curves({"n": 12}, part="slope")
    >>> bool(curves.at(40)["power_smallest"] > curves.at(12)["power_smallest"])
    True
    """
    design, truth = as_design(design), as_assumptions(truth)
    check_choice(outcome, truth.planned(), name="outcome")
    check_choice(part, PARTS, name="part")
    known = OUTCOMES[topics()[outcome].outcome]
    posed = pose(part, outcome, design.smallest_of(outcome), design, truth, ranked=known.ordinal)
    lines = [
        {
            "n": int(n),
            "power_smallest": posed.power(posed.smallest, n),
            "power_assumed": np.nan if part == "plateau" else posed.power(posed.assumed, n),
            "half_width": posed.half_width(n),
        }
        for n in sizes
        if n >= posed.least
    ]
    if not lines:
        raise KitError(f"sizes must hold a number of athletes from {posed.least} on.")
    apart = format_number(design.capacity_step, 0, unit="mL/kg/min")
    unit = {"correlation": "", "slope": f"{known.unit} per {apart}"}.get(part, known.unit)
    return PowerCurves(
        table=pd.DataFrame(lines), part=part, outcome=outcome, about=_ABOUT[part].format(outcome=known.label.lower()),
        unit=unit, digits=2 if part == "correlation" else digits_of(known), smallest=posed.smallest,
        assumed=posed.assumed, n=design.n, n_left=left_after_losses(design.n, design.rounds, truth.leave),
        wished=WISHED, method=posed.method,
    )  # fmt: skip


def left_after_losses(n: int, rounds: int, leave: float) -> int:
    """Athletes who are expected to be there in the last round."""
    return int(n * (1 - leave) ** (rounds - 1) + 1e-9)


_ABOUT = {
    "change": "Does {outcome} change over the rounds?",
    "steps": "Between which neighbouring rounds does {outcome} change?",
    "plateau": "From which round on does {outcome} stay level?",
    "slope": "How much lower is {outcome} in fitter athletes?",
    "correlation": "Does fitness go with a lower {outcome}?",
}
