"""What a researcher chooses (`Design`), what a plan says of its club, and the fitness question in standardised form."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, check_number, format_number
from ..physiology.aerobic_tests import typical_test_error
from ..study import OUTCOMES, topics

OWN_TOPICS = ("heart_rate", "lactate", "exertion")
"""The topics whose studies are simulated whole; for others planning goes by the exact formulas alone."""

SHAPES = ("levels", "creeps", "steady")
"""How an outcome moves over the rounds: rises and then levels off, rises by equal steps, or does not move."""

ERROR_KINDS = ("retest", "prediction", "none")
"""How a fitness test errs: scatters around the athlete's true value, predicts it with an error, or not at all."""


@dataclass(frozen=True)
class OutcomeAssumption(Result):
    """What is assumed of one outcome."""

    mean: float  # Mean of the first round, in the unit of the outcome
    rise: float  # Last round minus first round (negative where it falls)
    sd_between: float  # SD between athletes of their own levels: all causes together, fitness included
    # SD of one athlete's rounds around his or her own level, the common change over rounds taken out
    sd_within: float
    # Change of the outcome per 1 mL/kg/min more of true capacity, at equal maximal heart rate
    slope: float = 0.0


def _of_outcome_rows() -> dict[str, OutcomeAssumption]:
    """What the rows of further outcomes say to start from."""
    rows = {t.name: OUTCOMES[t.outcome].assumed for t in topics().values() if t.name not in OWN_TOPICS}
    return {name: OutcomeAssumption(*assumed) for name, assumed in rows.items() if assumed}


_EXERTION = {
    "6-20": OutcomeAssumption(mean=13.0, rise=3.0, sd_between=1.5, sd_within=1.0),
    "0-10": OutcomeAssumption(mean=5.0, rise=2.0, sd_between=1.2, sd_within=0.9),
    "0-100": OutcomeAssumption(mean=50.0, rise=20.0, sd_between=12.0, sd_within=9.0),
}


@dataclass(frozen=True)
class Assumptions(Result):
    """Everything that the exact formulas and the simulated studies take for true.

    Parameters
    ----------
    heart_rate, lactate, exertion : OutcomeAssumption
        Mean sparring heart rate (bpm), blood lactate (mmol/L) and rated exertion (points).
    others : mapping of str to OutcomeAssumption
        The same for further topics; default what the rows of `study.OUTCOMES` say.
    shape : {"levels", "creeps", "steady"}
        How the rise is spread over the rounds; see `round_profile`.
    capacity_mean, capacity_sd : float
        Of the values that the fitness test gives in this club (mL/kg/min).
    test_error : float
        Standard error of the fitness test (mL/kg/min).
    test_error_kind : {"retest", "prediction", "none"}
        A measured value scatters around the true one ("retest"); an estimated one is given and the true one scatters
        around it ("prediction").
    age_low, age_high : float
        Ages in the club (years).
    capacity_per_year : float
        Change of capacity per year of age.
    share_women, women_capacity, women_heart_rate : float
        Share of women (0 to 1), and how far their capacity (mL/kg/min) and sparring heart rate (bpm) lie from the men's.
    hr_max_sd : float
        SD of maximal heart rate at equal age (bpm).
    heart_rate_per_hr_max : float
        bpm of sparring heart rate per bpm of maximal heart rate.
    hr_max_error : float
        SD of the error in the maximal heart rate that is written down (bpm): 0 where all are truly measured.
    bout_share : float
        Share of the within-athlete variance that the two opponents of a bout have in common (0 to 1).
    autocorrelation : float
        Correlation of neighbouring rounds within an athlete (0: compound symmetry, as the formulas assume).
    missing_round, leave, strap_loss : float
        Chance that a round is sat out, that an athlete leaves before the next round, that a trace is lost.
    delay_sd_s, delay_drift_s, lactate_per_delay_s : float
        Scatter of the sampling delay (s), its growth per round (s), and what one second does to lactate (mmol/L).
    """

    heart_rate: OutcomeAssumption = OutcomeAssumption(mean=165.0, rise=9.0, sd_between=9.5, sd_within=4.5, slope=-0.6)
    lactate: OutcomeAssumption = OutcomeAssumption(mean=7.0, rise=3.0, sd_between=2.5, sd_within=1.2, slope=-0.12)
    exertion: OutcomeAssumption = _EXERTION["6-20"]
    others: Mapping[str, OutcomeAssumption] = field(default_factory=_of_outcome_rows)
    shape: str = "levels"
    capacity_mean: float = 47.0
    capacity_sd: float = 5.0
    test_error: float = 2.6
    test_error_kind: str = "retest"
    age_low: float = 19.0
    age_high: float = 35.0
    capacity_per_year: float = -0.3
    share_women: float = 0.0
    women_capacity: float = -6.0
    women_heart_rate: float = 3.0
    hr_max_sd: float = 6.0
    heart_rate_per_hr_max: float = 0.85
    hr_max_error: float = 0.0
    bout_share: float = 0.1
    autocorrelation: float = 0.0
    missing_round: float = 0.02
    leave: float = 0.02
    strap_loss: float = 0.03
    delay_sd_s: float = 15.0
    delay_drift_s: float = 0.0
    lactate_per_delay_s: float = 0.005

    def __post_init__(self):
        check_choice(self.shape, SHAPES, name="shape")
        check_choice(self.test_error_kind, ERROR_KINDS, name="test_error_kind")
        for name in self.planned():
            outcome = self.size(name)
            if not (outcome.sd_between >= 0 and outcome.sd_within > 0):
                raise KitError(
                    f"{name}: sd_between must be 0 or more and sd_within above 0, but they are "
                    f"{outcome.sd_between} and {outcome.sd_within}."
                )
        for name in ("share_women", "bout_share", "missing_round", "leave", "strap_loss"):
            if not 0 <= getattr(self, name) <= 1:
                raise KitError(f"{name} is {getattr(self, name)}, but it is a share: give a number from 0 to 1.")
        if not -1 < self.autocorrelation < 1:
            raise KitError(f"autocorrelation is {self.autocorrelation}, but must lie between −1 and 1.")
        if not self.age_high >= self.age_low:
            raise KitError(f"age_high ({self.age_high}) is below age_low ({self.age_low}).")
        if not self.capacity_sd > 0 or self.test_error < 0:
            raise KitError("capacity_sd must be above 0 and test_error 0 or more (mL/kg/min).")
        if self.test_error_kind == "retest" and self.test_error >= self.capacity_sd:
            raise KitError(
                f"A retest error of {self.test_error} mL/kg/min is as large as the spread of the test's values "
                f"({self.capacity_sd}): such a test cannot tell athletes apart. Give a smaller error or a wider club."
            )

    def planned(self) -> tuple[str, ...]:
        """The topics whose sizes are assumed here."""
        return (*OWN_TOPICS, *self.others)

    def size(self, topic: str) -> OutcomeAssumption:
        """What is assumed of the outcomes of a topic."""
        check_choice(topic, self.planned(), name="outcome")
        return getattr(self, topic) if topic in OWN_TOPICS else self.others[topic]

    def true_capacity_sd(self) -> float:
        """SD between athletes of true capacity: what the test's spread and its kind of error imply."""
        if self.test_error_kind == "retest":
            return float(np.sqrt(self.capacity_sd**2 - self.test_error**2))
        if self.test_error_kind == "prediction":
            return float(np.sqrt(self.capacity_sd**2 + self.test_error**2))
        return self.capacity_sd

    def but(self, **changes) -> Assumptions:
        """Return a copy with some fields changed; `heart_rate={"rise": 4}` changes one field of an outcome."""
        known = {f.name for f in fields(self)}
        for name, value in list(changes.items()):
            check_choice(name, sorted(known), name="assumption")
            if isinstance(value, dict):
                changes[name] = replace(getattr(self, name), **value)
        return replace(self, **changes)


def assumptions_for(protocol=None, *, scale: str | None = None, **changes) -> Assumptions:
    """Give the kit's starting assumptions for a protocol, to be replaced by the club's own."""
    # The sizes lie inside the ranges of `published_ranges`; the sizes for the 0-10 and 0-100 scales, and
    # all losses, are our proposal.
    scale = scale or getattr(protocol, "exertion_scale", "") or "6-20"
    exertion = _EXERTION[check_choice(scale, _EXERTION, name="scale")]
    return Assumptions(exertion=exertion).but(**changes)


def round_profile(rounds: int, rise: float, shape: str = "levels") -> np.ndarray:
    """Spread a rise over the rounds: the mean of each round minus that of the first."""
    if rounds < 2:
        raise KitError(f"There are {rounds} rounds; comparing rounds needs at least 2.")
    check_choice(shape, SHAPES, name="shape")
    steps = np.zeros(rounds - 1)
    if shape == "creeps":
        steps[:] = 1 / (rounds - 1)
    elif shape == "levels":
        steps[: min(2, rounds - 1)] = (2 / 3, 1 / 3) if rounds > 2 else 1.0
    return np.concatenate([[0.0], np.cumsum(steps)]) * rise


_RANGES = (
    # quantity, unit, low, high, field of Assumptions, source
    ("SD between athletes of mean sparring heart rate", "bpm", 9, 10, "heart_rate.sd_between",
     "taekwondo simulation, 12 men: 177 ± 10 bpm (Hausen 2017 PLoS ONE 12:e0171553); read with its neighbours"),
    ("Rise of heart rate, first to last round", "bpm", 7, 22, "heart_rate.rise",
     "about 7 to 11 points of % maximum in three-round formats with short rests (Chino 2015 JSMPF 55:290, 81 to "
     "92 %; Bridge 2009 IJSPP 4:485, 89 to 96 %)"),
    ("SD between athletes of blood lactate", "mmol/L", 2, 4, "lactate.sd_between",
     "free wrestling, 9: ±2.0 to ±4.2 mmol/L (Chino 2015 JSMPF 55:290)"),
    ("Rise of lactate, first to last round", "mmol/L", 2, 4.4, "lactate.rise",
     "wrestling 7.6 to 11.5 (Chino 2015 JSMPF 55:290); taekwondo 7.5 to 11.9 (Bridge 2009 IJSPP 4:485); with long "
     "rests it falls (Andreato 2015 JSCR 29:2538)"),
    ("SD between athletes of exertion (6-20)", "points", 1, 2, "exertion.sd_between",
     "13 ± 1, 15 ± 2, 17 ± 2 (Chino 2015 JSMPF 55:290)"),
    ("Rise of exertion (6-20), first to last round", "points", 3, 4, "exertion.rise",
     "13 to 17 (Chino 2015 JSMPF 55:290); 11 to 14 (Bridge 2009 IJSPP 4:485)"),
    ("VO2max of grapplers", "mL/kg/min", 42, 52, "capacity_mean",
     "review of submission grappling, 58 studies (Andreato 2017 Sports Med-Open 3:9)"),
    ("SD between athletes of VO2max", "mL/kg/min", 4.5, 5.9, "capacity_sd",
     "fighters on a treadmill ±4.5 and ±5.7; mixed martial arts ±5.9 (Kirk 2024 J Sports Sci)"),
    ("Retest error of a laboratory VO2max", "mL/kg/min", 2.6, 2.6, "test_error",
     "mean standard error of 39 studies: 2.58 mL/kg/min"),
)  # fmt: skip


def published_ranges() -> pd.DataFrame:
    """List what has been published about each assumption, to show beside its field.

    Returns
    -------
    DataFrame
        quantity, unit, low, high (of the published values), proposal (what the kit starts with), assumption (the
        field of `Assumptions`), source.

    Notes
    -----
    No retest value of heart rate or lactate in free sparring was found in print: the SD within an athlete is our
    proposal, and a second evening with six athletes or more is the way to replace it.

    Examples
    --------
    >>> float(published_ranges().set_index("assumption").loc["lactate.rise", "high"])
    4.4
    """
    table = pd.DataFrame(_RANGES, columns=["quantity", "unit", "low", "high", "assumption", "source"])
    table.insert(4, "proposal", [assumed_value(Assumptions(), name) for name in table["assumption"]])
    return table


def assumed_value(truth: Assumptions, name: str) -> float:
    """Return the number that an assumption such as heart_rate.rise stands for."""
    value = truth
    for part in name.split("."):
        if not hasattr(value, part):
            raise KitError(f"There is no assumption {name!r}.")
        value = getattr(value, part)
    return float(value)


def by_outcome(values: Mapping[str, float]) -> dict:
    """Turn numbers by name, such as heart_rate.rise, into changes as `Assumptions.but` takes them."""
    changes: dict = {}
    for name, value in values.items():
        outcome, _, part = name.partition(".")
        if part:
            changes.setdefault(outcome, {})[part] = value
        else:
            changes[outcome] = value
    return changes


ADJUSTMENTS = ("hr_max", "age", "sex")

HR_MAX_PER_YEAR = -0.7
"""bpm of maximal heart rate per year of age (Tanaka 2001 J Am Coll Cardiol 37:153-156)."""


@dataclass(frozen=True)
class Design(Result):
    """The choices of a study."""

    n: int  # Athletes who start
    rounds: int = 4  # Rounds. Default 4.
    alpha: float = 0.05  # Two-sided level of every test. Default 0.05.
    # Topic ("heart_rate", "lactate", "exertion") -> the smallest change that matters; default that of its primary outcome
    smallest: Mapping[str, float] = field(default_factory=dict)
    # How far apart in capacity (mL/kg/min) two athletes are whose difference matters: a fit and a less fit one, as in the
    # verdict of the fitness question. Default 10.
    capacity_step: float = 10.0
    # What the fitness slope of heart rate and of lactate is adjusted for. Default ("hr_max",) and ("age",).
    adjust: tuple[str, ...] = ("hr_max",)
    adjust_lactate: tuple[str, ...] = ("age",)

    def __post_init__(self):
        for which in ("adjust", "adjust_lactate"):
            given = getattr(self, which)
            given = (given,) if isinstance(given, str) and given else tuple(given)
            object.__setattr__(self, which, given)
            for name in given:
                check_choice(name, ADJUSTMENTS, name=which)
        check_size(self.n, least=3)
        if self.rounds != int(self.rounds) or self.rounds < 2:
            raise KitError(f"rounds is {self.rounds}, but comparing rounds needs a whole number from 2 on.")
        check_level(self.alpha)
        for name, value in {**self.smallest, "capacity_step": self.capacity_step}.items():
            if not value > 0:
                raise KitError(f"{name} is {value}, but must be above 0.")

    def smallest_of(self, topic: str) -> float:
        """The smallest change that matters of the outcomes of a topic."""
        known = topics()[check_choice(topic, topics(), name="outcome")]
        return self.smallest.get(topic, OUTCOMES[known.outcome].smallest_effect)

    def adjustment(self, outcome: str, truth: Assumptions) -> tuple[str, ...]:
        """What the slope of an outcome is adjusted for in this club: covariates that vary, as many as n affords.

        Covariates are given up from the end until 3 residual degrees of freedom are left between athletes, as in capacity.
        """
        from ..capacity.adjustment import PLANNED_RESIDUAL_DF

        wanted = {"heart_rate": self.adjust, "lactate": self.adjust_lactate}.get(outcome, ())
        varies = {
            "hr_max": truth.hr_max_sd > 0 or truth.age_high > truth.age_low,
            "age": truth.age_high > truth.age_low,
            "sex": 0 < truth.share_women < 1,
        }
        kept = tuple(name for name in wanted if varies[name])
        return kept[: max(self.n - 2 - PLANNED_RESIDUAL_DF, 0)]


def check_size(n, *, least: int = 3, name: str = "n") -> int:
    """Return n as an int, or say why it cannot be a number of athletes."""
    try:
        whole = int(n)
    except (TypeError, ValueError, OverflowError) as problem:
        raise KitError(f"{name} is {n!r}, but must be a whole number of athletes.") from problem
    if whole != n or whole < least:
        raise KitError(f"{name} is {n}, but this question needs a whole number of athletes from {least} on.")
    return whole


def check_level(value: float, *, name: str = "alpha") -> float:
    """Return a level or a power that lies strictly between 0 and 1, or say so."""
    return check_number(value, name=name, low=0, high=1)


def as_design(design) -> Design:
    """Take a `Design`, or a mapping of its fields."""
    if isinstance(design, Design):
        return design
    try:
        given = dict(design)
    except (TypeError, ValueError) as problem:
        raise KitError("design must be a Design or a mapping of its fields.") from problem
    for key in given:
        check_choice(key, [f.name for f in fields(Design)], name="design")
    if "n" not in given:
        raise KitError("design needs n, the number of athletes.")
    return Design(**given)


def as_assumptions(truth) -> Assumptions:
    """Take `Assumptions`, a mapping of the fields to change, or None for the kit's own."""
    if truth is None or isinstance(truth, Assumptions):
        return truth or Assumptions()
    return Assumptions().but(**dict(truth))


def implied_covariance(truth: Assumptions, outcome: str = "heart_rate") -> tuple[list[str], np.ndarray]:
    """Covariance of what differs between athletes, as the assumptions imply it."""
    names = ["capacity", "hr_max", "age", "sex", "outcome"]
    loading, noise = athlete_loadings(truth, outcome)
    source_variance = np.concatenate([[_age_variance(truth), _sex_variance(truth)], np.square(noise)])
    rows = np.array([loading[name] for name in names])
    return names, (rows * source_variance) @ rows.T


def athlete_loadings(truth: Assumptions, outcome: str) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Write every athlete-level quantity as a sum of independent sources."""
    size = truth.size(outcome)
    base = np.array([truth.capacity_per_year, truth.women_capacity, 1.0, 0.0, 0.0, 0.0, 0.0])
    error = np.array([0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0])
    kind = truth.test_error_kind
    loadings = {
        "true_capacity": base + error if kind == "prediction" else base,
        "capacity": base + error if kind == "retest" else base,
        "true_hr_max": np.array([HR_MAX_PER_YEAR, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0]),
        "hr_max": np.array([HR_MAX_PER_YEAR, 0.0, 0.0, 0.0, 1.0, 1.0, 0.0]),
        "age": np.array([1.0, 0, 0, 0, 0, 0, 0]),
        "sex": np.array([0.0, 1.0, 0, 0, 0, 0, 0]),
    }
    test_error = 0.0 if kind == "none" else truth.test_error
    spread = truth.true_capacity_sd() ** 2 if kind == "retest" else truth.capacity_sd**2
    explained = truth.capacity_per_year**2 * _age_variance(truth) + truth.women_capacity**2 * _sex_variance(truth)
    if explained > spread:
        raise KitError(
            f"Age and sex alone would spread capacity by {format_number(np.sqrt(explained))} mL/kg/min, more than the "
            f"{format_number(np.sqrt(spread))} assumed for the whole club: raise capacity_sd or narrow the ages."
        )
    level = size.slope * loadings["true_capacity"]
    if outcome == "heart_rate":
        level = level + truth.heart_rate_per_hr_max * loadings["true_hr_max"]
        level[1] += truth.women_heart_rate
    noise = np.array([np.sqrt(spread - explained), test_error, truth.hr_max_sd, truth.hr_max_error, 0.0])
    variance = np.concatenate([[_age_variance(truth), _sex_variance(truth)], noise**2])
    known = float(np.sum(level**2 * variance))
    if known > size.sd_between**2 * (1 + 1e-12):
        raise KitError(
            f"{outcome}: capacity, maximal heart rate and sex alone would spread the athletes by "
            f"{format_number(np.sqrt(known))}, more than the sd_between of {size.sd_between} assumed for all causes together: "
            "raise sd_between, or lower the slope, hr_max_sd or the range of ages."
        )
    noise[4] = np.sqrt(max(size.sd_between**2 - known, 0.0))
    level[6] = 1.0
    return {**loadings, "outcome": level}, noise


def _age_variance(truth: Assumptions) -> float:
    return (truth.age_high - truth.age_low) ** 2 / 12


def _sex_variance(truth: Assumptions) -> float:
    return truth.share_women * (1 - truth.share_women)


UNKNOWN_ERROR = 4.4
SHARES = {"men": 0.0, "women": 1.0, "mixed": 0.4}
"""Share of women by what a plan says of the sexes; that of a mixed club is our proposal."""


def assumptions_of_plan(plan, protocol=None) -> tuple[Assumptions, bool, tuple[str, ...]]:
    """Take the kit's assumptions, with all that the plan says otherwise.

    `plan`: its fitness test, sexes and [plan.assumptions]. `protocol`: for the exertion scale.

    Gives the assumptions; True while none of the numbers is the club's own; what was taken from the plan, in words.

    Examples
    --------
    >>> from analysis.study import Plan
    >>> truth, proposed, said = assumptions_of_plan(Plan(aerobic_test="shuttle_run_20m"))
    >>> truth.test_error, truth.test_error_kind, proposed
    (4.4, 'prediction', True)
    """
    changes: dict = {}
    said = []
    scale = getattr(protocol, "exertion_scale", "") or "6-20"
    if plan is not None and plan.aerobic_test:
        error, kind = typical_test_error(plan.aerobic_test)
        if math.isnan(error):
            changes |= {"test_error": UNKNOWN_ERROR, "test_error_kind": kind}
            shown = format_number(UNKNOWN_ERROR, 1, unit="mL/kg/min")
            said.append(
                f"no error of the planned fitness test was published or read: that of a 20 m shuttle run is assumed, {shown} "
                "(the kit's proposal)"
            )
        else:
            changes |= {"test_error": error, "test_error_kind": kind}
            words = "scatters around the true value" if kind == "retest" else "predicts it"
            said.append(
                f"the planned fitness test {words} with an error of {format_number(error, 1, unit='mL/kg/min')}"
            )
    if plan is not None and plan.sexes:
        changes["share_women"] = SHARES[plan.sexes]
        said.append(f"sexes: {plan.sexes}")
    own = plan.assumptions if plan is not None else {}
    changes |= by_outcome(own)
    for name, value in own.items():
        why = plan.assumption_reasons.get(name)
        words = name.replace(".", ": ").replace("_", " ")
        said.append(f"{words} {value:g}" + (f" ({why.rstrip('.')})" if why else ""))
    try:
        truth = assumptions_for(scale=scale, **changes)
    except KitError as error:
        raise KitError(f"[plan.assumptions] in study.toml: {error}") from None
    return truth, not own, tuple(said)
