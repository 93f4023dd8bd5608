"""Who was there and what was measured: roll call and scales of an evening, and the descriptive results of a write-up."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import FEWEST_PEOPLE, NotYet, Result
from ..basics.few import groups_to_show
from ..physiology.published_values import dehydration_hr_rise
from ..study import OUTCOMES, Study
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
    sweat = drank["mass_kg"] - drank["mass_after_kg"] + drank["drinks_l"]
    rise = dehydration_hr_rise(float(np.clip(loss.mean(), 0, 10)))
    return RollCall(
        ticks,
        n_weighed=len(weighed),
        loss_percent=float(loss.mean()),
        largest_loss_percent=float(loss.max()),
        sweat_l=float(sweat.mean()),
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


CHARACTERISTICS = (
    ("age_years", "Age", "years", 1),
    ("mass_kg", "Body mass", "kg", 1),
    ("experience_years", "Experience", "years", 1),
    ("grade_rank", "Grade (rank, 1 the lowest)", "", 0),
    ("hr_rest_bpm", "Resting heart rate", "bpm", 0),
)
"""Columns of athletes.csv that describe a sample: column, label, unit, decimals."""


@dataclass(frozen=True)
class Participants(Result):
    """Who took part."""

    n_athletes: int
    n_women: int
    n_men: int
    n_other: int
    n_clubs: int
    groups: dict
    n_sparred: int
    n_tested: int
    n_hr_max_measured: int
    characteristics: pd.DataFrame
    tests: pd.DataFrame


@dataclass(frozen=True)
class Conditions(Result):
    """Where and how it was measured."""

    sessions: pd.DataFrame
    delay: dict = field(default_factory=dict)
    n_traces: int = 0
    rounds_planned: int = 0
    rounds_done: int = 0
    rounds_timed: pd.DataFrame = field(default_factory=pd.DataFrame)
    n_guests: int = 0
    roll_call: RollCall = field(default_factory=RollCall)


@dataclass(frozen=True)
class RoundMeans(Result):
    """Unadjusted means of every outcome in every round (or in the rest after it), of the primary session."""

    table: pd.DataFrame


REST_MEASURES = {
    "hr_recovery_60s_bpm": "Fall of heart rate in one minute (bpm)",
    "hr_rest_end_bpm": "Heart rate at the end of the rest (bpm)",
}
"""What is described of the rests: column -> label."""


def describe_participants(study: Study, rows, capacity) -> Participants:
    """Describe who took part."""
    athletes = study.athletes
    tested = pd.DataFrame() if isinstance(capacity, NotYet) else capacity.dropna(subset=["capacity"])
    sparred = pd.DataFrame({"athlete": []}) if isinstance(rows, NotYet) else inputs.sparred(rows)
    sex = athletes["sex"]
    described = [
        (*row, athletes[row[0]]) for row in CHARACTERISTICS if row[0] != "grade_rank" or athletes[row[0]].notna().any()
    ]
    measured = athletes["hr_max_bpm"].where(athletes["hr_max_source"] == "measured", float("nan"))
    described.append(("hr_max_bpm", "Measured maximal heart rate", "bpm", 0, measured))
    if len(tested):
        capacities = athletes[["athlete"]].merge(tested[["athlete", "capacity"]], how="left", on="athlete")["capacity"]
        described.append(("capacity", "Aerobic capacity", str(tested["unit"].iloc[0]), 1, capacities))
    lines = [
        {"name": name, "label": label, "unit": unit, "digits": digits, **line}
        for name, label, unit, digits, values in described
        for line in _by_sex(values, sex)
    ]
    groups = athletes.loc[athletes["group"] != "", "group"].value_counts().sort_index()
    return Participants(
        n_athletes=len(athletes),
        n_women=int((sex == "F").sum()),
        n_men=int((sex == "M").sum()),
        n_other=int((~sex.isin(["F", "M"])).sum()),
        n_clubs=int(athletes.loc[athletes["club"] != "", "club"].nunique()),
        groups={str(k): int(v) for k, v in groups.items()},
        n_sparred=int(sparred["athlete"].nunique()),
        n_tested=len(tested),
        n_hr_max_measured=int(measured.notna().sum()),
        characteristics=pd.DataFrame(lines),
        tests=_tests(tested),
    )


def _by_sex(values: pd.Series, sex: pd.Series):
    """Everybody, women, men; `shown` is False where a line would tell, alone or by subtraction, about a few people."""
    groups = {"all": values.reset_index(drop=True)}
    for which in ("F", "M"):
        if 0 < (sex == which).sum() < len(sex):
            groups[which] = groups["all"][(sex == which).to_numpy()]
    shown = groups_to_show({which: set(group.dropna().index) for which, group in groups.items()})
    for which, group in groups.items():
        yield {"sex": which, "shown": which in shown, **_spread(group)}


def _spread(values: pd.Series) -> dict:
    known = values.dropna().astype(float)
    found = {
        "mean": known.mean(),
        "sd": known.std(ddof=1),
        "median": known.median(),
        "low": known.min(),
        "high": known.max(),
    }
    counts = {"n_athletes": len(known), "n_missing": len(values) - len(known)}
    return counts | {name: float(value) for name, value in found.items()}


def _tests(tested: pd.DataFrame) -> pd.DataFrame:
    columns = ["test", "n_athletes", "uses_heart_rate", "error_kind"]
    if tested.empty:
        return pd.DataFrame(columns=columns)
    counted = tested.groupby("test", sort=True).agg(
        n_athletes=("athlete", "nunique"),
        uses_heart_rate=("uses_heart_rate", "max"),
        error_kind=("error_kind", "first"),
    )
    return counted.reset_index().sort_values(["n_athletes", "test"], ascending=[False, True], ignore_index=True)


def describe_conditions(study: Study, cleaned) -> Conditions:
    """Describe the conditions of the evenings."""
    names = ["session", "date", "place", "temperature_c", "humidity_percent"]
    names += ["analyser", "strip_lot", "sample_site", "sample_kind"]
    sessions = study.sessions[names].reset_index(drop=True)
    primary = study.plan.primary_session
    roll_call = describe_roll_call(study, primary)
    if not cleaned:
        return Conditions(sessions=sessions, roll_call=roll_call)
    rows = inputs.of_session(cleaned.rows, primary)
    rows = rows[rows["round_no"] > 0]
    done = inputs.sparred(rows)
    off_scale = done["lactate_limit"].fillna("").ne("")
    with_blood = done[done["lactate_delay_s"].notna() & (done["lactate_mmol_l"].notna() | off_scale)]
    traced = {athlete for session, athlete in cleaned.traces if session == primary}
    waits, delay = with_blood["lactate_delay_s"], {}
    if len(waits):
        delay = {"n_observations": len(waits)} | {
            name: float(value)
            for name, value in (("median", waits.median()), ("low", waits.min()), ("high", waits.max()))
        }
    return Conditions(
        sessions=sessions,
        delay=delay,
        n_traces=len(traced),
        rounds_planned=len(rows),
        rounds_done=len(done),
        rounds_timed=_timed(study),
        n_guests=int((done["opponent"] == "guest").sum()),
        roll_call=roll_call,
    )


def _timed(study: Study) -> pd.DataFrame:
    clock = study.clock[study.clock["round_no"] > 0].copy()
    for name in ("start", "end"):
        clock[f"{name}_s"] = pd.to_timedelta(clock[f"{name}_clock"].replace("", None)).dt.total_seconds()
    clock = clock.sort_values(["session", "group", "round_no"])
    before = clock.groupby(["session", "group"])["end_s"].shift()
    timed = clock.assign(length_s=clock["end_s"] - clock["start_s"], rest_before_s=clock["start_s"] - before)
    return timed[["session", "group", "round_no", "length_s", "rest_before_s"]].reset_index(drop=True)


def describe_rests(rows, session: str) -> RoundMeans | NotYet:
    """Give mean, SD and range of heart rate in the rests between rounds; round_no is the round before the rest."""
    if isinstance(rows, NotYet):
        return rows
    from scipy.stats import t

    followed = rows["hr_rest_end_bpm"].notna()  # no rest after the last round
    table = _means_of(rows[followed], session, REST_MEASURES).table
    n = table["n_athletes"].astype(float)
    half = t.ppf(0.975, (n - 1).clip(lower=1)) * table["sd"] / n**0.5
    return RoundMeans(table.assign(ci_low=table["mean"] - half, ci_high=table["mean"] + half))


def _means_of(rows, session: str, names) -> RoundMeans:
    """Plain mean, SD and range of every outcome in every sparred round."""
    done = inputs.sparred(inputs.of_session(rows, session))
    lines = []
    for name in names:
        for round_no, values in done.groupby("round_no")[name]:
            known = values.dropna()
            if len(known):
                spread = _spread(known)
                kept = {k: spread[k] for k in ("mean", "sd", "n_athletes", "low", "high")}
                lines.append({"outcome": name, "round_no": int(round_no), **kept})
    columns = ["outcome", "round_no", "mean", "sd", "n_athletes", "low", "high"]
    return RoundMeans(pd.DataFrame(lines, columns=columns))


@dataclass(frozen=True)
class Description(Result):
    """Everything that a write-up describes without testing it."""

    participants: Participants
    conditions: Conditions
    round_means: RoundMeans | NotYet
    balance: pd.DataFrame
    set_aside: pd.DataFrame
    rests: RoundMeans | NotYet = field(default_factory=lambda: NotYet("rests", "recordings"))


def describe_study(study: Study, cleaned, capacity) -> Description:
    """Describe participants, conditions, rounds, and what was set aside."""
    rows = cleaned.rows if cleaned else cleaned
    ledger = cleaned.ledger if cleaned else study.ledger
    aside = ledger.set_aside()
    aside = aside.assign(decided_by=aside["decided_by"].map(lambda who: "rule" if who == "rule" else "person"))
    aside = pd.concat([aside, _tests_not_used(capacity)], ignore_index=True)
    keys = ["table", "measure", "unit", "cause", "decided_by"]
    return Description(
        participants=describe_participants(study, rows, capacity),
        conditions=describe_conditions(study, cleaned),
        round_means=rows if isinstance(rows, NotYet) else _means_of(rows, study.plan.primary_session, OUTCOMES),
        rests=describe_rests(rows, study.plan.primary_session),
        balance=ledger.balance(),
        set_aside=aside.groupby(keys, sort=False, as_index=False)["amount"].sum(),
    )


def _tests_not_used(capacity) -> pd.DataFrame:
    """Aerobic tests that gave no capacity, in the columns of what was set aside."""
    left = getattr(capacity, "attrs", {}).get("left_out", pd.DataFrame({"reason": []})).astype({"reason": "str"})
    far = left["reason"].str.extract(r"days? from the session; at most (\d+) count", expand=False)
    cause = left["reason"].mask(far.notna(), "taken more than " + far.fillna("") + " days from the session")
    return pd.DataFrame({"table": "aerobic_tests", "measure": "", "amount": 1.0, "unit": "rows",
                         "cause": cause, "decided_by": "rule"})  # fmt: skip
