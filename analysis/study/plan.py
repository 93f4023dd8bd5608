"""The plan: what is asked, in which direction, and what counts as an answer, before the data are there."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import pairwise

from ..basics import Result, did_you_mean, lower_first
from .columns import table_columns
from .outcomes import OUTCOMES, QUESTIONS, proposed_directions, proposed_outcomes
from .problems import Findings, asked
from .settings import SETTINGS_FILE, Settings

DIRECTIONS = ("lower", "higher", "rises", "falls", "differs")
"""Directions of a hypothesis: lower and higher for fitness questions, rises and falls for rounds; differs for both."""


@dataclass(frozen=True)
class Hypothesis(Result):
    """One hypothesis with its direction."""

    question: str  # A key of QUESTIONS
    outcome: str  # A key of OUTCOMES
    direction: str  # One of DIRECTIONS
    text: str = ""  # In the words of the plan


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
    primary_questions : tuple of str
        The questions that the study is about; the others are secondary.
    multiplicity : str
        "primary": Holm over the primary questions, and apart from them over the secondary ones; "all": Holm over all.
    adjustment : dict
        Fitness question -> covariates that its slope is adjusted for.
    aerobic_test : str
        The planned fitness test, the first of those that [fitness] names; "" where none is named.
    sexes : str
        "men", "women" or "mixed"; "" where it is not said.
    assumptions : dict
        Field of `planning.Assumptions` -> value that replaces the kit's.
    assumption_ranges : dict
        The same fields -> lowest and highest plausible value.
    assumption_reasons : dict
        The same fields -> why.
    looks : tuple of int
        Athletes at each planned look, the last being the planned number; empty where the data are analysed once.
    look_rule : str
        How the error is spent over the looks: "obrien-fleming" or "pocock".
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
    primary_questions: tuple[str, ...] = ("rounds.heart_rate", "fitness.heart_rate")
    multiplicity: str = "primary"
    adjustment: dict[str, tuple[str, ...]] = field(default_factory=dict)
    aerobic_test: str = ""
    sexes: str = ""
    assumptions: dict[str, float] = field(default_factory=dict)
    assumption_ranges: dict[str, tuple[float, float]] = field(default_factory=dict)
    assumption_reasons: dict[str, str] = field(default_factory=dict)
    looks: tuple[int, ...] = ()
    look_rule: str = "obrien-fleming"
    frozen: dict | None = None
    proposed: tuple[str, ...] = ()

    def direction(self, question: str) -> str:
        """Return the planned direction of a question, or "differs" where no hypothesis names one."""
        return next((h.direction for h in self.hypotheses if h.question == question), "differs")

    def adjusted_for(self, question: str, outcome: str) -> tuple[str, ...]:
        """Return the covariates of a fitness question for one outcome: a share of the maximum holds the maximum already."""
        named = self.adjustment.get(question, self.covariates or propose_adjustment(outcome))
        if outcome.startswith("percent"):
            return tuple(name for name in named if name != "hr_max_bpm")
        if self.primary_outcomes.get(question, "").startswith("percent") and outcome.endswith("_bpm"):
            return tuple(dict.fromkeys(("hr_max_bpm", *named)))
        return tuple(named)


def propose_adjustment(outcome: str) -> tuple[str, ...]:
    """Return what the kit adjusts a fitness question for, by the outcome alone; sex counts where it varies."""
    if outcome.startswith("percent"):
        return ("sex",)
    return ("hr_max_bpm", "sex") if outcome.endswith("_bpm") else ("age_years", "sex")


PROPOSED_REASON = "our proposal: would you change training for less?"
PLAN_KEYS = (
    *("primary_session", "alpha", "hypotheses", "primary_outcomes", "smallest_effects", "smallest_effect_reasons"),
    *("covariates", "exclusions", "capacity_unit", "round_variable", "n_athletes"),
    *("primary_questions", "multiplicity", "adjustment", "sexes", "assumptions", "looks"),
)
MULTIPLICITY = ("primary", "all")
SPENDING = ("obrien-fleming", "pocock")
SEXES = ("men", "women", "mixed")
MOST_ATHLETES = 500
"""More than a club has; what a number can answer is simulated, which takes minutes for thousands."""


def read_plan(settings: Settings, findings: Findings) -> Plan:
    """Return the plan in study.toml, completed; what does not fit goes to the findings."""
    section = settings.get("plan", {})
    if not isinstance(section, dict):
        settings.say(findings.problem, ("plan",), section, "not a section", "write [plan]")
        section = {}
    reader = _PlanReader(settings, section, findings)
    reader.check_keys()
    effects, reasons = reader.effects()
    assumed, ranges, why = reader.assumptions()
    looks, look_rule = read_looks(section.get("looks"), reader.complain)
    covariates, outcomes = reader.covariates(), reader.primary_outcomes()
    return Plan(
        primary_session=reader.primary_session(), alpha=reader.alpha(), hypotheses=reader.hypotheses(),
        primary_outcomes=outcomes, smallest_effects=effects, smallest_effect_reasons=reasons, covariates=covariates,
        exclusions=reader.texts("exclusions"), capacity_unit=reader.capacity_unit(),
        round_variable=reader.choice("round_variable", ("round_no", "bout_no"), "round_no"),
        n_athletes=reader.n_athletes(), primary_questions=reader.primary_questions(),
        multiplicity=reader.choice("multiplicity", MULTIPLICITY, "primary"),
        adjustment=reader.adjustment(covariates, outcomes), aerobic_test=reader.aerobic_test(),
        sexes=reader.optional("sexes", SEXES), assumptions=assumed, assumption_ranges=ranges, assumption_reasons=why,
        looks=looks, look_rule=look_rule, proposed=tuple(reader.proposed),
    )  # fmt: skip


class _PlanReader:
    """Reads one part of [plan] after another and keeps a list of what was filled in."""

    def __init__(self, settings: Settings, section: dict, findings: Findings):
        self.settings = settings
        self.section = section
        self.findings = findings
        self.proposed: list[str] = []
        self.block = 0

    def complain(self, key: str, value, problem: str, remedy: str, *path: str) -> None:
        row = self.settings.line_of("plan", *(path or (key,)))
        if path == ("hypotheses",):
            row = self.settings.line_of_block("plan.hypotheses", self.block, key)
        self.findings.problem(SETTINGS_FILE, row or self.settings.line_of("plan"), key, value, problem, remedy)

    def check_keys(self) -> None:
        for key in self.section:
            if key not in PLAN_KEYS:
                near = did_you_mean(key, PLAN_KEYS)
                problem = f"no such part of the plan{asked(near)}"
                remedy = f"write {near or 'one of ' + ', '.join(PLAN_KEYS)}"
                self.complain(key, "", problem, remedy)

    def fill(self, key: str, value):
        self.proposed.append(key)
        return value

    def primary_session(self) -> str:
        value = self.section.get("primary_session")
        if value is None:
            return self.fill("primary_session", "1")
        if isinstance(value, bool) or not isinstance(value, int | str):
            self.complain("primary_session", value, "not a session", 'write primary_session = "1"')
        return str(value)

    def alpha(self) -> float:
        value = self.section.get("alpha")
        if value is None:
            return self.fill("alpha", 0.05)
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0001 <= value <= 0.2:
            self.complain("alpha", value, "not a significance level between 0.0001 and 0.2", "write alpha = 0.05")
            return 0.05
        return float(value)

    def text(self, key: str, default: str) -> str:
        value = self.section.get(key)
        if value is None:
            return self.fill(key, default)
        if not isinstance(value, str):
            self.complain(key, value, "not a text", f'write {key} = "{default}"')
            return default
        return value

    def choice(self, key: str, allowed: tuple[str, ...], default: str) -> str:
        value = self.text(key, default)
        if value not in allowed:
            self.complain(key, value, f"not among {', '.join(allowed)}", f'write {key} = "{default}"')
            return default
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        value = self.section.get(key)
        if value is None:
            return self.fill(key, ())
        value = [value] if isinstance(value, str) else value
        if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
            self.complain(key, value, "not a list of texts", f'write {key} = ["one", "two"]')
            return ()
        return tuple(value)

    def optional(self, key: str, allowed: tuple[str, ...]) -> str:
        value = self.section.get(key, "")
        if value and value not in allowed:
            self.complain(key, value, f"not among {', '.join(allowed)}", f'write {key} = "{allowed[0]}"')
            return ""
        return value

    def aerobic_test(self) -> str:
        """The first of the tests that [fitness] names; what is wrong with it is said where it stands."""
        part = self.settings.get("fitness")
        tests = part.get("tests") if isinstance(part, dict) else None
        return tests[0] if isinstance(tests, list) and tests and isinstance(tests[0], str) else ""

    def primary_questions(self) -> tuple[str, ...]:
        if "primary_questions" not in self.section:
            return self.fill("primary_questions", Plan.primary_questions)
        names = self.texts("primary_questions")
        return tuple(dict.fromkeys(n for n in names if self._question_known(n, "primary_questions")))

    def adjustment(self, covariates: tuple[str, ...], outcomes: dict[str, str]) -> dict[str, tuple[str, ...]]:
        given = _flatten(self.section.get("adjustment", {}))
        found = {}
        for question in (q for q in outcomes if q.startswith("fitness.")):
            if question in given:
                value = given[question]
                value = [value] if isinstance(value, str) else value
                if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
                    self.complain("adjustment", value, "not a list of texts", f'write "{question}" = ["age_years"]')
                    value = []
                found[question] = self.known_columns("adjustment", tuple(value))
            elif covariates:
                found[question] = covariates
            else:
                found[question] = self.fill(f"adjustment.{question}", propose_adjustment(outcomes[question]))
        for question in given:
            if question not in found:
                fitting = ", ".join(found)
                self.complain("adjustment", question, "no question about fitness", f"write one of {fitting}")
        return found

    def assumptions(self) -> tuple[dict, dict, dict]:
        given = self.section.get("assumptions", {})
        given = given if isinstance(given, dict) else self._not_a_section("assumptions")
        return read_assumptions(given, self.complain)

    def covariates(self) -> tuple[str, ...]:
        return self.known_columns("covariates", self.texts("covariates"))

    def known_columns(self, key: str, names: tuple[str, ...]) -> tuple[str, ...]:
        known = {*table_columns("athletes"), *table_columns("rounds")}
        for name in names:
            if name not in known:
                near = did_you_mean(name, known)
                remedy = (
                    f"write {near}" if near else "write a column of the athletes or the rounds table, such as age_years"
                )
                self.complain(key, name, f"no column of the study{asked(near)}", remedy)
        return names

    def capacity_unit(self) -> str:
        unit = self.text("capacity_unit", "mL/kg/min")
        if not re.fullmatch(r"mL/kg(\^[01](\.\d+)?)?/min|L/min|score(:[a-z0-9_]+)?", unit):
            remedy = (
                "write mL/kg/min, L/min, mL/kg^0.67/min with any exponent, or score for the test's own score "
                "(score:total_shuttles for another of its scores)"
            )
            self.complain("capacity_unit", unit, "not a unit of capacity", remedy)
            return "mL/kg/min"
        return unit

    def n_athletes(self) -> int | None:
        value = self.section.get("n_athletes")
        if value is not None and (
            isinstance(value, bool) or not isinstance(value, int) or not 2 <= value <= MOST_ATHLETES
        ):
            self.complain(
                "n_athletes", value, f"not a number of athletes from 2 to {MOST_ATHLETES}", "write n_athletes = 16"
            )
            return None
        return value

    def primary_outcomes(self) -> dict[str, str]:
        given = _flatten(self.section.get("primary_outcomes", {}))
        outcomes = proposed_outcomes()
        for question, outcome in given.items():
            if self._question_known(question, "primary_outcomes") and self._outcome_known(
                outcome, "primary_outcomes", question
            ):
                outcomes[question] = outcome
        self.proposed += [f"primary_outcomes.{q}" for q in proposed_outcomes() if q not in given]
        return outcomes

    def _question_known(self, question: str, key: str) -> bool:
        if _is_one_of(question, QUESTIONS):
            return True
        near = did_you_mean(str(question), QUESTIONS)
        self.complain(key, question, f"no such question{asked(near)}", f"write one of {', '.join(QUESTIONS)}")
        return False

    def _outcome_known(self, outcome, key: str, question: str = "") -> bool:
        if not _is_one_of(outcome, OUTCOMES):
            near = did_you_mean(str(outcome), OUTCOMES)
            self.complain(key, outcome, f"no such outcome{asked(near)}", f"write one of {', '.join(OUTCOMES)}")
            return False
        topic = question.rpartition(".")[2]
        if topic and OUTCOMES[outcome].question != topic:
            fitting = [o.name for o in OUTCOMES.values() if o.question == topic]
            problem = f"{outcome} does not answer {question}"
            remedy = f"write one of {', '.join(fitting) or 'the others'}"
            self.complain(key, outcome, problem, remedy)
            return False
        return True

    def effects(self) -> tuple[dict[str, float], dict[str, str]]:
        effects = {o.name: o.smallest_effect for o in OUTCOMES.values()}
        reasons = dict.fromkeys(effects, PROPOSED_REASON)
        given = self.section.get("smallest_effects", {})
        given = given if isinstance(given, dict) else self._not_a_section("smallest_effects")
        for outcome, size in given.items():
            if not self._outcome_known(outcome, "smallest_effects"):
                continue
            if isinstance(size, dict):
                if "reason" in size:
                    reasons[outcome] = str(size["reason"])
                size = size.get("value")
            if isinstance(size, bool) or not isinstance(size, int | float) or not 0 < size < 1e6:
                self.complain(outcome, size, "not a size above 0", f"write {outcome} = {effects[outcome]:g}")
                continue
            effects[outcome] = float(size)
            if reasons[outcome] == PROPOSED_REASON:
                reasons[outcome] = ""
        texts = self.section.get("smallest_effect_reasons", {})
        texts = texts if isinstance(texts, dict) else self._not_a_section("smallest_effect_reasons")
        for outcome, reason in texts.items():
            if self._outcome_known(outcome, "smallest_effect_reasons"):
                reasons[outcome] = str(reason)
        self.proposed += [f"smallest_effects.{o}" for o in effects if o not in given]
        return effects, reasons

    def _not_a_section(self, key: str) -> dict:
        self.complain(key, self.section[key], "not a section", f"write [plan.{key}] and one line for each outcome")
        return {}

    def hypotheses(self) -> tuple[Hypothesis, ...]:
        given = self.section.get("hypotheses")
        if given is None:
            self.proposed.append("hypotheses")
            return tuple(
                propose_hypothesis(question, self.primary_outcomes_quietly()[question], direction)
                for question, direction in proposed_directions().items()
            )
        if not isinstance(given, list) or not all(isinstance(h, dict) for h in given):
            self.complain("hypotheses", "", "not a list of hypotheses", "write [[plan.hypotheses]] above each")
            return ()
        return tuple(h for entry in given if (h := self._hypothesis(entry)))

    def primary_outcomes_quietly(self) -> dict[str, str]:
        given = _flatten(self.section.get("primary_outcomes", {}))
        return {q: given[q] if _is_one_of(given.get(q), OUTCOMES) else o for q, o in proposed_outcomes().items()}

    def _hypothesis(self, entry: dict) -> Hypothesis | None:
        self.block += 1
        question = entry.get("question", "")
        if not self._question_known(question, "hypotheses"):
            return None
        outcome = entry.get("outcome", self.primary_outcomes_quietly()[question])
        if not self._outcome_known(outcome, "hypotheses", question):
            return None
        primary = self.primary_outcomes_quietly()[question]
        if outcome != primary:
            problem = f"this hypothesis names {outcome}, but the primary outcome of {question} is {primary}, "
            problem += "which alone is tested"
            remedy = f'write outcome = "{primary}", or "{question}" = "{outcome}" under [plan.primary_outcomes]'
            self.complain("outcome", outcome, problem, remedy, "hypotheses")
        direction = entry.get("direction", "")
        fits = ("lower", "higher", "differs") if question.startswith("fitness") else ("rises", "falls", "differs")
        if direction not in fits:
            near = did_you_mean(str(direction), fits)
            known = "does not fit this question" if direction in DIRECTIONS else f"no such direction{asked(near)}"
            self.complain("direction", direction, known, f"write one of {', '.join(fits)}", "hypotheses")
            return None
        text = entry.get("text") or propose_hypothesis(question, outcome, direction).text
        return Hypothesis(question, outcome, direction, str(text))


_SIZES = ("mean", "rise", "sd_between", "sd_within", "slope")
ASSUMPTION_FIELDS = (
    *(f"{outcome}.{size}" for outcome in ("heart_rate", "lactate", "exertion") for size in _SIZES),
    *("capacity_mean", "capacity_sd", "test_error", "age_low", "age_high", "capacity_per_year", "share_women"),
    *("women_capacity", "women_heart_rate", "hr_max_sd", "heart_rate_per_hr_max", "hr_max_error", "bout_share"),
    *("autocorrelation", "missing_round", "leave", "strap_loss", "delay_sd_s", "delay_drift_s"),
    "lactate_per_delay_s",
)
"""What [plan.assumptions] may hold: the numbers of `planning.Assumptions`."""
_ENTRY_KEYS = {"value", "low", "high", "reason"}


def read_assumptions(section: dict, complain: Callable) -> tuple[dict, dict, dict]:
    """Return [plan.assumptions] as values, ranges and reasons by field; what cannot be goes to `complain`."""
    values: dict[str, float] = {}
    ranges: dict[str, tuple[float, float]] = {}
    reasons: dict[str, str] = {}
    for name, given in _assumed_fields(section).items():
        if name not in ASSUMPTION_FIELDS:
            near = did_you_mean(name, ASSUMPTION_FIELDS)
            listed = near or "one of " + ", ".join(ASSUMPTION_FIELDS)
            complain("assumptions", name, f"no such assumption{asked(near)}", f"write {listed}")
            continue
        entry = given if isinstance(given, dict) else {"value": given}
        numbers = [entry[k] for k in ("value", "low", "high") if k in entry]
        fine = all(isinstance(v, int | float) and not isinstance(v, bool) for v in numbers)
        if not (bool(numbers) and fine and ("low" in entry) == ("high" in entry) and set(entry) <= _ENTRY_KEYS):
            remedy = f'write "{name}" = {{ value = 4.5, low = 3, high = 7, reason = "..." }}'
            complain("assumptions", name, "an assumption needs a number; low and high go together", remedy)
            continue
        low, high = entry.get("low"), entry.get("high")
        if low is not None and not low <= entry.get("value", low) <= high:
            complain("assumptions", name, "low, value and high are not in order", "write low, value and high in order")
            continue
        if "value" in entry:
            values[name] = float(entry["value"])
        if low is not None:
            ranges[name] = (float(low), float(high))
        if entry.get("reason"):
            reasons[name] = str(entry["reason"])
    return values, ranges, reasons


def _assumed_fields(section: dict, path: str = "") -> dict:
    """Return heart_rate.rise whether it was written with quotation marks or as a section of its own."""
    found = {}
    for key, value in section.items():
        inner = isinstance(value, dict) and not set(value) & _ENTRY_KEYS
        found |= _assumed_fields(value, f"{path}{key}.") if inner else {f"{path}{key}": value}
    return found


def read_looks(given, complain) -> tuple[tuple[int, ...], str]:
    """Read [plan.looks]: sizes and rule; what does not fit goes to `complain(key, value, problem, remedy)`."""
    nothing = (), SPENDING[0]
    if given is None:
        return nothing
    if not isinstance(given, dict):
        complain("looks", given, "not a section", "write [plan.looks] with sizes = [8, 12, 16]")
        return nothing
    for key in given:
        if key not in ("sizes", "rule"):
            complain(f"looks.{key}", given[key], "no such part of the looks", "write sizes or rule")
    sizes, rule = given.get("sizes"), given.get("rule", SPENDING[0])
    whole = isinstance(sizes, list) and all(isinstance(n, int) and not isinstance(n, bool) for n in sizes)
    grows = whole and sizes and all(a < b for a, b in pairwise([3, *sizes, MOST_ATHLETES + 1]))
    if not grows:
        wrong = f"not growing numbers of athletes from 4 to {MOST_ATHLETES}"
        complain("looks.sizes", sizes, wrong, "write sizes = [8, 12, 16]")
        return nothing
    if rule not in SPENDING:
        complain("looks.rule", rule, f"not among {', '.join(SPENDING)}", f'write rule = "{SPENDING[0]}"')
        rule = SPENDING[0]
    return tuple(sizes), rule


def _is_one_of(name, known: dict) -> bool:
    """Whether a value is a name that is known; a list or a section, which no dictionary can be asked for, is none."""
    return isinstance(name, str) and name in known


def _flatten(section) -> dict[str, str]:
    """Return rounds.heart_rate = "..." whether it was written with quotation marks or without."""
    if not isinstance(section, dict):
        return {"": str(section)}
    flat = {}
    for key, value in section.items():
        if isinstance(value, dict):
            flat.update({f"{key}.{inner}": v for inner, v in value.items()})
        else:
            flat[key] = value
    return flat


def propose_hypothesis(question: str, outcome: str, direction: str) -> Hypothesis:
    """Return a hypothesis in the kit's words."""
    label = OUTCOMES[outcome].label
    label = lower_first(label)
    if question.startswith("rounds."):
        text = f"Over the rounds, {label} {direction}."
    elif direction == "differs":
        text = f"In athletes with a higher aerobic capacity, {label} differs."
    else:
        text = f"In athletes with a higher aerobic capacity, {label} is {direction}."
    return Hypothesis(question, outcome, direction, text)


def keep_fixed(plan: Plan, fixed: Plan) -> Plan:
    """Return the plan with what study.toml leaves out as it was fixed, whatever the kit would propose today."""
    changes: dict = {}
    for name in plan.proposed:
        part, _, key = name.partition(".")
        if not key:
            changes[part] = getattr(fixed, part)
            continue
        held = changes.setdefault(part, dict(getattr(plan, part)))
        if key in getattr(fixed, part):
            held[key] = getattr(fixed, part)[key]
        if part == "smallest_effects":
            why = changes.setdefault("smallest_effect_reasons", dict(plan.smallest_effect_reasons))
            why[key] = fixed.smallest_effect_reasons.get(key, why.get(key, ""))
    return replace(plan, **changes)


def settle_primary_session(plan: Plan, sessions: list[str], line: int | None, findings: Findings) -> Plan:
    """Return the plan with a primary session that the study has: a stated one that it lacks is a problem."""
    if not sessions or plan.primary_session in sessions:
        return plan
    if "primary_session" in plan.proposed:
        return replace(plan, primary_session=sessions[0])
    near = did_you_mean(plan.primary_session, sessions)
    problem = f"the primary session is not in the sessions table{asked(near)}"
    remedy = f"write one of {', '.join(sessions)}, or add it to the table"
    findings.problem(SETTINGS_FILE, line, "primary_session", plan.primary_session, problem, remedy)
    return plan
