"""What each planned question takes from a study, and the questions with their answers: confirmatory or not, allowed or not."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import Result
from ..models import holm
from ..recordings import read_gas_exchange
from ..study import OUTCOMES, TABLES, Outcome, Plan, Study, planned, topics
from ..study.binding import CONFIRMATORY, EXPLORATORY, QuestionStatus, look_state, question_statuses


def of_session(rows: pd.DataFrame, session: str) -> pd.DataFrame:
    """Return the rows of one session."""
    return rows[rows["session"] == session].reset_index(drop=True)


def sparred(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the rows of rounds that were sparred (not what came before sparring, not rounds sat out)."""
    return rows[(rows["round_no"] > 0) & ~rows["took_part"].isin(["sat_out", "left"])].reset_index(drop=True)


def measured_outcomes(rows: pd.DataFrame, session: str, *, rounds: int = 2) -> tuple[str, ...]:
    """Return the outcomes that at least three athletes have in a given number of rounds of a session or more."""
    here = sparred(of_session(rows, session))
    found = []
    for name in OUTCOMES:
        values = here.dropna(subset=[name]) if name in here else here.iloc[:0]
        if values["athlete"].nunique() >= 3 and values["round_no"].nunique() >= rounds:
            found.append(name)
    return tuple(found)


def needed_for(outcome: Outcome) -> str:
    """Say what an outcome needs."""
    if outcome.name == "percent_hr_max":
        return "recordings, and a measured maximal heart rate per athlete in athletes.csv"
    if outcome.name == "percent_hr_reserve":
        return "recordings, and a measured maximal and a resting heart rate per athlete in athletes.csv"
    if outcome.name in ("hr_late_bpm", "hr_peak_bpm"):
        return topics()["heart_rate"].needs.replace(" (or typed means in rounds.csv)", "")
    return topics()[outcome.question].needs


def analyser_limits(study: Study) -> tuple[float, float] | None:
    """Return the ends of the lactate analyser's scale (mmol/L) from study.toml, or None where they are not given."""
    low, high = (study.settings.get(f"lactate_analyser_{end}_mmol_l") for end in ("low", "high"))
    if low is None and high is None:
        return None
    return (float("nan") if low is None else float(low), float("nan") if high is None else float(high))


def level_of(study: Study, family: str) -> float:
    """Level of the tests of a family ("rounds", "fitness"): the plan's, or that of the planned look at these athletes."""
    state = look_state(study)
    if state is None or not state.number:
        return study.plan.alpha
    return looks_of(study).level(state.n_athletes, family)


def looks_of(study: Study):
    """The planned looks with their levels."""
    from ..planning import plan_looks

    plan = study.plan
    return plan_looks(plan.looks, rule=plan.look_rule, alpha=plan.alpha, rounds=max(study.protocol.most_rounds, 2))


def look_estimates(answers, n_athletes: int) -> pd.DataFrame:
    """Estimates of every planned question at a planned look, corrected for the looks before."""
    # Columns: question, outcome, look, n_athletes, level, estimate, corrected, ci_low, ci_high,
    # repeated_low, repeated_high, chance_at_plan (of showing an effect just as large as matters at the last
    # look), chance_as_seen, advice.
    from ..planning import estimate_after_looks

    study, lines = answers.study, []
    looks = looks_of(study)
    for question, outcome in study.plan.primary_outcomes.items():
        family, _, _ = question.partition(".")
        answer = getattr(answers, family)(outcome)
        if not answer:
            continue
        planned_effect = None
        if family == "rounds":
            last = answer.steps.iloc[-1]
            known = float(last["estimate"]), float(last["standard_error"]), float(last["df"])
            planned_effect = math.copysign(answer.smallest_effect, known[0])
        else:
            known = answer.planned.estimate, answer.planned.standard_error, answer.planned.df
        if not (math.isfinite(known[1]) and known[1] > 0 and known[2] > 0):
            continue
        found = estimate_after_looks(
            *known, looks=looks, n_athletes=n_athletes, question=family, planned_effect=planned_effect
        )
        values = {k: v for k, v in vars(found).items() if k != "method"}
        line = {"question": question, "outcome": outcome, "look": values.pop("look"), "n_athletes": n_athletes}
        lines.append(line | {"level": looks.level(n_athletes, family)} | values)
    return pd.DataFrame(lines)


def role_of(plan: Plan, family: str, outcome: Outcome) -> str:
    """Return "primary" for the planned outcome of a question, "secondary" for others of it, else "exploratory"."""
    planned = plan.primary_outcomes.get(f"{family}.{outcome.question}")
    if planned is None:
        return "exploratory"
    return "primary" if planned == outcome.name else "secondary"


def says_so(study: Study) -> str:
    """Say who chose the adjustment: the fixed plan, what study.toml says otherwise since, or only study.toml."""
    plan = study.plan
    if plan.frozen:
        return "as planned" if planned(study).adjustment == plan.adjustment else "otherwise than planned"
    by_rule = not plan.covariates and all(f"adjustment.{question}" in plan.proposed for question in plan.adjustment)
    return "by the kit's rule" if by_rule else "as study.toml says"


def fitness_direction(plan: Plan, outcome: Outcome) -> str:
    """Return the planned direction of a fitness question; "lower" where the plan names none."""
    direction = plan.direction(f"fitness.{outcome.question}")
    return direction if direction in ("lower", "higher") else "lower"


def flagged_kept_rows(cleaned, rows: pd.DataFrame, outcome: str) -> pd.DataFrame | None:
    """Return the rows as they would be with flagged samples kept, for the sensitivity table; None where that is the same."""
    bounds = cleaned.bounds
    if outcome != "hr_mean_bpm" or bounds.empty or "mean_kept_bpm" not in bounds:
        return None
    place = ["session", "athlete", "round_no"]
    kept = rows.merge(bounds[[*place, "mean_kept_bpm"]], on=place, how="left")
    kept["hr_mean_bpm"] = kept["mean_kept_bpm"].where(kept["mean_kept_bpm"].notna(), kept["hr_mean_bpm"])
    return kept.drop(columns="mean_kept_bpm")


def alternative_rows(cleaned, rows: pd.DataFrame) -> dict[str, pd.DataFrame] | None:
    """Return other ways of making the rows, by name, for the chart of all reasonable analyses."""
    kept = flagged_kept_rows(cleaned, rows, "hr_mean_bpm")
    return None if kept is None else {"flagged samples kept": kept}


def for_reliability(rows: pd.DataFrame, outcome: str, sessions: pd.DataFrame) -> pd.DataFrame:
    """Return the rows for reliability: sparred rounds of every session, of one phase where sessions carry phases."""
    rows = sparred(rows)
    phases = dict(zip(sessions["session"], sessions["phase"], strict=True))
    own = rows["session"].map(phases).fillna("")
    if own.isin(["pre", "post"]).any():
        rows = rows[own == "pre"]  # training between two evenings is no error of measurement
    return rows[["session", "athlete", "round_no", outcome]]


def read_gas_files(study: Study) -> dict:
    """Read every gas-exchange file that aerobic_tests names: file name -> table."""
    tests = study.aerobic_tests
    names = [f for f in dict.fromkeys([*tests["file"], *tests["verification_file"]]) if f]
    return {name: read_gas_exchange(study.folder / "aerobic_files" / name) for name in names}


def published_outcomes(published: pd.DataFrame, measured: tuple[str, ...]) -> dict[str, list[str]]:
    """Return which of our outcomes the published numbers need: round means for the rounds, the rest for fitness."""
    means = published["statistic"].str.lower().isin(["mean", "median"])
    return {
        "rounds": [o for o in measured if o in set(published.loc[means, "outcome"])],
        "fitness": [o for o in measured if o in set(published.loc[~means, "outcome"])],
    }


def sex_of_sample(sex: pd.Series) -> str:
    """Return "F" or "M" where everyone is, "mixed" where both are there, "" where it is not said."""
    said = set(sex[sex != ""])
    return "" if not said else said.pop() if len(said) == 1 else "mixed"


def as_in_folder(needs: str, folder: Path) -> str:
    """Name the tab of the workbook where the folder has one and not the CSV file of that name."""
    folder = Path(folder)
    if not (folder / "study.xlsx").is_file():
        return needs

    def name(match: re.Match) -> str:
        there = (folder / match[0]).is_file() or match[1] not in TABLES
        return match[0] if there else f"the tab {match[1]} of study.xlsx"

    return re.sub(r"\b([a-z_]+)\.csv\b", name, needs)


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
