"""The plan fixed before the data: written once, dated, with a checksum; read again, and compared by its checksum."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, is_dataclass, replace
from functools import partial
from pathlib import Path
from types import UnionType
from typing import get_args, get_origin, get_type_hints

import pandas as pd

from ..basics import KitError, Result, format_number, format_percent, join_words, lower_first, plural
from ..physiology.aerobic_tests import known_aerobic_tests
from .consent import approval_of, require_approval
from .fixing import (
    FIXED_FILE,
    about_amendments,
    amend,
    checksum_of,
    document_name,
    plain_values,
    take_back,
    today_iso,
    versions_intact,
    write_plan,
)
from .model import Study
from .outcomes import OUTCOMES, QUESTIONS, digits_of, short_question
from .plan import Hypothesis, Plan, propose_adjustment
from .settings import Protocol, protocol_values
from .training import plan_part


@dataclass(frozen=True)
class PlanSection(Result):
    """One section of the document."""

    heading: str
    paragraphs: tuple[str, ...] = ()  # plain text
    table: pd.DataFrame | None = None  # all cells texts
    caption: str = ""  # of the table


@dataclass(frozen=True)
class PlanDocument(Result):
    """A plan to be registered or shown to an ethics committee."""

    title: str
    date: str
    checksum: str
    sections: tuple[PlanSection, ...] = field(default=(), repr=False)
    path: Path | None = None  # The Markdown document, once written
    files: tuple[Path, ...] = ()  # All files written

    def markdown(self) -> str:
        """Return the document as Markdown."""
        lines = [f"# {self.title}", "", f"Fixed on {self.date}. Checksum (SHA-256): `{self.checksum}`", ""]
        for section in self.sections:
            lines += [f"## {section.heading}", ""]
            for paragraph in section.paragraphs:
                lines += [paragraph, ""]
            if section.table is not None and len(section.table):
                lines += [*_markdown_table(section.table), ""]
                if section.caption:
                    lines += [f"*{section.caption}*", ""]
        return "\n".join(lines).rstrip() + "\n"


def _markdown_table(table: pd.DataFrame) -> list[str]:
    def row(cells) -> str:
        return "| " + " | ".join(" ".join(str(c).split()).replace("|", "\\|") for c in cells) + " |"

    lines = [row(table.columns), "|" + " --- |" * len(table.columns)]
    return lines + [row(cells) for cells in table.itertuples(index=False)]


def describe_plan(study: Study, *, date: str, checksum: str, paragraphs: tuple[str, ...] = ()) -> PlanDocument:
    """Describe the plan of a study as a document."""
    plan = study.plan
    sections = (
        PlanSection(
            "Questions and hypotheses", _about_hypotheses(plan), _hypotheses(plan), "Hypotheses and direction."
        ),
        PlanSection("Outcomes", _about_outcomes(plan), _outcomes(plan), "Smallest effects that matter."),
        PlanSection("Athletes and size", _about_size(study, paragraphs)),
        PlanSection("Protocol", _about_protocol(study), _protocol_table(study.protocol), "Rounds, work and rest."),
        PlanSection("Measurements", *_measurements(study)),
        *_training(study),
        PlanSection("Analysis", _about_analysis(plan)),
        PlanSection("Exclusions and missing values", _about_exclusions(plan)),
        PlanSection("Risks and how they are met", (*approval_of(study.settings).words(), *RISKS)),
        PlanSection("Data protection", DATA_PROTECTION),
        PlanSection("What the kit proposed", _about_proposed(plan)),
        PlanSection("After the plan is fixed", AFTERWARDS),
    )
    return PlanDocument(study.title or "Study plan", date, checksum, sections)


def _about_hypotheses(plan: Plan) -> tuple[str, ...]:
    asked = list(dict.fromkeys(h.question for h in plan.hypotheses))
    return tuple(QUESTIONS[q] for q in asked) or ("No hypothesis is fixed; every result will be exploratory.",)


def _hypotheses(plan: Plan) -> pd.DataFrame:
    lines = [(short_question(h.question), OUTCOMES[h.outcome].label, h.direction, h.text) for h in plan.hypotheses]
    return pd.DataFrame(lines, columns=["Question", "Outcome", "Direction", "Hypothesis"])


def _about_outcomes(plan: Plan) -> tuple[str, ...]:
    asked = {h.question for h in plan.hypotheses} or plan.primary_outcomes
    named = [f"{short_question(q)}: {_label(outcome)}" for q, outcome in plan.primary_outcomes.items() if q in asked]
    return (
        f"One primary outcome answers each question ({'; '.join(named)}).",
        f"The main analyses take session {plan.primary_session}.",
    )


def _label(outcome: str) -> str:
    label = OUTCOMES[outcome].label
    return lower_first(label)


def _outcomes(plan: Plan) -> pd.DataFrame:
    lines = []
    for name, size in plan.smallest_effects.items():
        outcome = OUTCOMES[name]
        unit = outcome.unit.removesuffix("s") if size == 1 and outcome.unit == "points" else outcome.unit
        shown = format_number(size, 0 if float(size).is_integer() else digits_of(outcome), unit=unit)
        why = plan.smallest_effect_reasons.get(name) or "no reason given"
        lines.append((outcome.label, shown, BY_KIT if why.startswith("our proposal") else why))
    return pd.DataFrame(lines, columns=["Outcome", "Smallest effect that matters", "Why"])


def _about_size(study: Study, paragraphs: tuple[str, ...]) -> tuple[str, ...]:
    planned, listed = study.plan.n_athletes, len(study.athletes)
    said = f"Planned: {plural(planned, 'athlete')}." if planned else "No number of athletes is fixed in study.toml."
    if listed:
        said += f" On the list when the plan was fixed: {plural(listed, 'athlete')}."
    return (said, *(paragraphs or ("No justification of the size was given when the plan was fixed.",)))


def _about_protocol(study: Study) -> tuple[str, ...]:
    there = len(study.entered_rounds())
    dates = [d for d in study.sessions["date"] if d]
    said = f"Sessions: {join_words(dates)}." if dates else "No date of a session is fixed."
    if there:
        said += (
            f" When this plan was fixed, {plural(there, 'row')} of rounds had already been entered: the plan cannot "
            "be called fixed before the data."
        )
    return (said,)


def _protocol_table(protocol: Protocol) -> pd.DataFrame:
    named = {"all" if not protocol.groups else "all others": protocol, **protocol.groups}
    lines = [
        (name, str(p.rounds), _minutes(p.work_s), _minutes(p.rest_s), p.exertion_scale, p.clothing or "not stated")
        for name, p in named.items()
    ]
    return pd.DataFrame(lines, columns=["Group", "Rounds", "Work", "Rest", "Exertion scale", "Clothing"])


def _minutes(seconds: float) -> str:
    if seconds != seconds:
        return "not available"
    return f"{round(seconds) // 60}:{round(seconds) % 60:02d}\N{NO-BREAK SPACE}min"


def _training(study: Study) -> tuple[PlanSection, ...]:
    part = plan_part(study.training)
    return (PlanSection("Training", *part, "The training study."),) if part else ()


def _measurements(study: Study) -> tuple[tuple[str, ...], pd.DataFrame | None, str]:
    fixed = [
        (section, key, join_words(value) if isinstance(value, list) else str(value))
        for section in ("ethics", "fitness", "sampling", "cleaning")
        for key, value in (study.settings.get(section) or {}).items()
        if value not in ("", [], None)
    ]
    known = known_aerobic_tests().drop_duplicates("test").set_index("test")["title"]
    tests = [known.get(name, name.replace("_", " ")) for name in dict.fromkeys(study.aerobic_tests["test"])]
    said = f"Aerobic tests: {join_words(tests)}." if tests else _planned_test(study, known)
    text = (
        "Heart rate is recorded during the rounds; lactate, where it is taken, after each round with its delay in "
        "seconds; exertion is asked for in private right after each round, for that round alone.",
        f"{said} Aerobic capacity is expressed in {study.plan.capacity_unit}.",
    )
    if not fixed:
        return text, None, ""
    return text, pd.DataFrame(fixed, columns=["Part", "Setting", "Value"]), "Settings fixed with the plan."


def _planned_test(study: Study, known) -> str:
    name = study.plan.aerobic_test
    return f"Aerobic test: {known.get(name, name)}." if name else "No aerobic test was named when the plan was fixed."


def _about_analysis(plan: Plan) -> tuple[str, ...]:
    rounds = {"round_no": "round of the club's clock", "bout_no": "bout that the athlete sparred"}
    variable = rounds[plan.round_variable]
    return (
        f"Rounds are compared by the {variable}, with a mixed model (random intercept per athlete, restricted maximum "
        "likelihood, Kenward-Roger degrees of freedom) beside a cluster-robust test; a repeated-measures analysis of "
        "variance with the Greenhouse-Geisser correction stands beside it. Changes in ratings are decided by "
        "permutation tests within athletes on common ranks, which keep athletes with missing rounds.",
        "Where a value stops changing is answered by equivalence tests against the smallest effects above, from the last "
        "round backwards. A test that is not significant is never read as absence of a change.",
        "One sensitivity is planned from the roll call: the rounds without athletes who trained hard in the last 24 hours, slept "
        "less than 6 hours or felt unwell. Caffeine and meals are described.",
        f"Whether fitter athletes respond less is answered over athletes, not over rows. {about_adjustment(plan)}",
        f"{about_multiplicity(plan)} Further outcomes of a question are labelled exploratory. Intervals are two-sided; the "
        "direction named above says which side supports the hypothesis.",
        *about_looks(plan),
    )


def _about_exclusions(plan: Plan) -> tuple[str, ...]:
    rules = "Nobody is analysed without consent to be measured and clearance to take part."
    missing = "A missing round does not exclude an athlete; what is left out of an analysis is listed with its reason."
    return (rules, *(f"Excluded: {text.rstrip('.')}." for text in plan.exclusions), missing)


def _about_proposed(plan: Plan) -> tuple[str, ...]:
    asked = {h.question for h in plan.hypotheses}
    parts = [name for name in plan.proposed if name.partition(".")[2] in asked or not name.startswith(_OF_A_QUESTION)]
    if not parts:
        return ("Every part of the plan was written by the authors.",)
    return (
        "These parts are not written in study.toml; what stands here is the kit's proposal: "
        f"{join_words([_say_part(name) for name in parts])}.",
    )


_OF_A_QUESTION = ("primary_outcomes.", "adjustment.")
"""Parts of a plan that are told only where their question is asked."""


def _say_part(name: str) -> str:
    part, _, rest = name.partition(".")
    if part == "smallest_effects":
        return f"the smallest effect of {_label(rest)}"
    if part == "adjustment":
        return f"the adjustment for {short_question(rest)}"
    if part == "primary_outcomes":
        return f"the primary outcome for {short_question(rest)}"
    words = {
        "capacity_unit": "the unit of capacity",
        "multiplicity": "the rule for several questions",
        "round_variable": "the club's round as the one that is compared",
    }
    return words.get(part, f"the {part.replace('_', ' ')}")


BY_KIT = "proposed by the kit; the authors gave no reason of their own"
"""Why an effect matters, where nobody has said it."""


def about_adjustment(plan: Plan) -> str:
    """Say what each fitness question is adjusted for, and what becomes of athletes who lack it."""
    said = [
        f"{short_question(question)} for {_covariates(plan.adjusted_for(question, plan.primary_outcomes[question]))}"
        for question in plan.primary_outcomes
        if question.startswith("fitness.")
    ]
    text = f"The slope is adjusted, whoever comes: {'; '.join(said)}. The unadjusted result stands beside it."
    if any("hr_max_bpm" in covariates for covariates in plan.adjustment.values()):
        text += " Athletes without a measured maximal heart rate are left out where it is adjusted for, and counted."
    return text


COVARIATE_WORDS = {"hr_max_bpm": "measured maximal heart rate", "age_years": "age", "sex": "sex (where both take part)"}


def _covariates(names: tuple[str, ...]) -> str:
    return join_words([COVARIATE_WORDS.get(n, n.replace("_", " ")) for n in names]) or "nothing"


def about_multiplicity(plan: Plan) -> str:
    """Say how several questions are tested together, and the family-wise rate of false claims."""
    asked = [q for q in QUESTIONS if any(h.question == q for h in plan.hypotheses)]
    first = [q for q in asked if q in plan.primary_questions] if plan.multiplicity == "primary" else asked
    families = [("primary", first), ("secondary", [q for q in asked if q not in first])]
    families = [(word if plan.multiplicity == "primary" else "", own) for word, own in families if own]
    level = _percent(plan.alpha)
    several = [(word, own) for word, own in families if len(own) > 1]
    said = []
    if several:
        where = "in a family of questions" if several[0][0] else "over all questions together"
        said.append(f"Holm's method keeps the chance of any false claim {where} at {level} or less.")
    if several and several[0][0]:
        named = join_words([f"the {w} questions ({'; '.join(map(short_question, own))})" for w, own in several])
        said.append(f"{'The families are' if len(several) > 1 else 'One family is'} {named}.")
    said += [
        f"The {word or 'one'} question ({short_question(own[0])}) is tested at {level}."
        for word, own in families
        if len(own) == 1
    ]
    if len(families) > 1:
        said.append(f"Over all questions together it is at most {_percent(2 * plan.alpha)}.")
    return " ".join(said)


def about_looks(plan: Plan) -> tuple[str, ...]:
    """Say at which numbers of athletes the data are looked at, and how the error is spent; nothing where it is once."""
    if not plan.looks:
        return ()
    rule = {"obrien-fleming": "O'Brien-Fleming-type", "pocock": "Pocock-type"}[plan.look_rule]
    return (
        f"The data are looked at with {join_words([str(n) for n in plan.looks])} athletes. {rule} spending (Lan and DeMets) "
        "keeps the chance of a false claim over all looks at the level of the plan; each look's own level is calibrated by "
        "simulated studies of these sizes. Stopping for want of an effect is advice, not a rule.",
    )


def _percent(share: float) -> str:
    return format_percent(share, 0 if round(100 * share, 6).is_integer() else 1)


RISKS = (
    "Maximal tests and hard sparring can hurt. Athletes are screened beforehand; a yes about the heart, chest pain or "
    "fainting, sudden death in the family, concussion, infection or heart medicines needs a doctor's clearance. Chest pain, "
    "fainting, unusual breathlessness, a knock-down, a suspected concussion or being choked unconscious ends the day for "
    "that athlete and is referred to a doctor; anyone calls the ambulance.",
    "Anyone may stop a round at any time without a reason: the athlete, the partner, the coach, the timekeeper.",
    "Blood is drawn only by people who are licensed to do it where the study takes place, with single-use lancets and "
    "fresh gloves; the puncture is covered before gripping again. Without a licence the study runs on heart rate and "
    "exertion alone.",
    "Nobody spars in a weight cut, short of fluid, ill, or in heat that the local code rules out. Minors take part only "
    "with the consent of a parent or guardian and their own, under the local code for minors; nobody under 18 is sampled or "
    "tested to the maximum unless the committee approved exactly that.",
    "This section does not replace the ethics committee, the local code or the advice of a licensed professional.",
)
"""The section on risks."""

DATA_PROTECTION = (
    "The study folder holds codes only; the list of codes is kept elsewhere, under lock, and is destroyed on a fixed date. "
    "Results go to each athlete first. Who withdraws leaves every table and output; only a count remains.",
)
"""The section on data protection."""

AFTERWARDS = (
    "From now on the write-up compares what was done with what stands here, lists every deviation, and calls a result "
    "confirmatory only where it answers a hypothesis above in the planned way.",
)
"""The last section."""


FIXED_SETTINGS = ("ethics", "fitness", "sampling", "cleaning", "capacity", "rounds", "replication", "training")
"""Sections of study.toml that are fixed with the plan and the protocol."""

Justification = str | Sequence[str] | Mapping | None


@dataclass(frozen=True)
class FixedPlan(Result):
    """A plan as it was fixed."""

    date: str  # When, as 2026-11-25
    checksum: str  # SHA-256 of what was fixed
    intact: bool  # True where file and document still belong to that checksum
    plan: Plan
    protocol: Protocol
    fixed: dict = field(default_factory=dict)  # Everything that was fixed, as it stands in the file
    document_name: str = ""  # The Markdown document beside it


def freeze_plan(
    study: Study,
    *,
    justification: Justification = None,
    today: dt.date | None = None,
    amendment: str | None = None,
    beside: Callable[[PlanDocument, Path], object] | None = None,
) -> PlanDocument:
    """Fix the plan of a study: write it once into the study folder, dated and with its checksum.

    Parameters
    ----------
    study : Study
        Loaded without problems.
    justification : str, sequence of str or mapping, optional
        Why this number of athletes: paragraphs, or a mapping with "paragraphs" and plain values such as "n_athletes".
    today : datetime.date, optional
        Default: today.
    amendment : str, optional
        Why a plan that was fixed before is changed, before the first measurement; both versions are kept.
    beside : callable, optional
        Writes the document as a Word file, given it and a path; without that file nothing is fixed.

    Returns
    -------
    PlanDocument
        What was written, for other formats; `path` is the Markdown document, `files` all that was written.

    Raises
    ------
    KitError
        Where a plan has been fixed before: it is never overwritten. Where it holds blood samples or maximal tests and
        study.toml states neither the number of an approval nor an exemption.

    Examples
    --------
    >>> import tempfile
    >>> from analysis.study import load_study, new_study
    >>> study = load_study(new_study(tempfile.mkdtemp() + "/autumn"))
    >>> study = replace(study, settings={**study.settings, "ethics": {"approval": "2026-17"}})
    >>> freeze_plan(study, justification="As many as the club has.", today=dt.date(2026, 11, 25)).path.name
    'plan_2026-11-25.md'
    """
    folder = Path(study.folder)
    date = today_iso(today)
    take_back(folder)
    earlier = sorted(p.name for p in folder.glob("plan_*") if p.name == FIXED_FILE or p.suffix == ".md")
    amendments: tuple[dict, ...] = ()
    if amendment is not None:
        amendments = amend(study, load_fixed_plan(folder), amendment, date)
    elif earlier:
        raise KitError(
            f"A plan has been fixed in this folder before ({', '.join(earlier)}) and is not overwritten. What you do "
            "otherwise is listed as a deviation; for another study start another folder. Before the first measurement it can "
            'be amended: freeze FOLDER --amend "reason".'
        )
    name = document_name(folder, date)
    require_approval(study)
    fixed = _what_is_fixed(study, date, justification)
    if amendments:
        fixed["amendments"] = plain_values(list(amendments))
    checksum = checksum_of(fixed)
    paragraphs = (*about_amendments(amendments), *_paragraphs(justification))
    document = describe_plan(study, date=date, checksum=checksum, paragraphs=paragraphs)
    text = document.markdown()
    content = {
        "about": "The plan of this study as it was fixed. Do not change this file: its checksum would no longer fit.",
        "checksum": checksum,
        "document": name,
        "document_sha256": hashlib.sha256(text.encode("utf-8")).hexdigest(),
        "fixed": fixed,
    }
    paths = (folder / name, folder / FIXED_FILE)
    kept = amendments[-1]["file"] if amendments else ""
    write_plan(folder, content, text, kept=kept, beside=partial(beside, document) if beside else None)
    return replace(document, path=paths[0], files=paths)


def _paragraphs(justification: Justification) -> tuple[str, ...]:
    if justification is None:
        return ()
    if isinstance(justification, str):
        return tuple(filter(None, (part.strip() for part in justification.split("\n\n"))))
    if isinstance(justification, Mapping):
        return _paragraphs(justification.get("paragraphs") or justification.get("text"))
    return tuple(str(part) for part in justification)


def _what_is_fixed(study: Study, date: str, justification: Justification) -> dict:
    without = {"frozen"} if study.plan.looks else {"frozen", "looks", "look_rule"}
    dates = sorted(d for d in study.sessions["date"] if d)
    return plain_values(
        {
            "date": date,
            "title": study.title,
            "sport": study.sport,
            "protocol": protocol_values(study.protocol),
            "plan": {name: value for name, value in asdict(study.plan).items() if name not in without},
            "settings": {name: study.settings[name] for name in FIXED_SETTINGS if name in study.settings},
            "justification": justification if isinstance(justification, Mapping) else _paragraphs(justification),
            "session_dates": dates,
            "rows_of_rounds_already_there": len(study.entered_rounds()),
        }
    )


def load_fixed_plan(folder: str | Path) -> FixedPlan | None:
    """Read the fixed plan of a study folder."""
    path = Path(folder) / FIXED_FILE
    if not path.is_file():
        return None
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        fixed, checksum = content["fixed"], content["checksum"]
        plan, protocol = _read_plan(fixed["plan"], fixed["date"], checksum), _read_protocol(fixed["protocol"])
        document_name, document_sum = content["document"], content["document_sha256"]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise KitError(
            f"{FIXED_FILE} cannot be read ({type(error).__name__}): it was changed after the plan was fixed. "
            "Put the original back."
        ) from None
    document = Path(folder) / Path(str(document_name)).name
    same = document.is_file() and hashlib.sha256(document.read_bytes()).hexdigest() == document_sum
    same = same and f"Checksum (SHA-256): `{checksum}`" in document.read_text(encoding="utf-8")
    same = same and versions_intact(Path(folder), fixed.get("amendments", ()))
    return FixedPlan(
        fixed["date"], checksum, same and checksum_of(fixed) == checksum, plan, protocol, fixed, document.name
    )


def _read_plan(part: dict, date: str, checksum: str) -> Plan:
    known = {
        **part,
        "hypotheses": tuple(Hypothesis(**h) for h in part["hypotheses"]),
        "covariates": tuple(part["covariates"]),
        "exclusions": tuple(part["exclusions"]),
        "proposed": tuple(part["proposed"]),
    }
    known["looks"] = tuple(part.get("looks", ()))
    if "primary_questions" in part:
        known["primary_questions"] = tuple(part["primary_questions"])
    for name in ("adjustment", "assumption_ranges"):
        known[name] = {key: tuple(value) for key, value in part.get(name, {}).items()}
    if "adjustment" not in part:  # fixed before plans named it: the covariates for all, or what the kit proposes
        known["adjustment"] = {
            q: known["covariates"] or propose_adjustment(part["primary_outcomes"][q])
            for q in QUESTIONS
            if q.startswith("fitness.") and q in part["primary_outcomes"]
        }
    if not all(h.question in QUESTIONS and h.outcome in OUTCOMES for h in known["hypotheses"]):
        raise ValueError("a hypothesis that the kit cannot have written")
    return _of_its_kinds(Plan(**known, frozen={"date": date, "checksum": checksum}))


def _read_protocol(part: dict) -> Protocol:
    groups = {name: _read_protocol(p) for name, p in part["groups"].items()}
    said = (part["rounds"], part["work_s"], part["rest_s"], part["exertion_scale"])
    return _of_its_kinds(Protocol(*said, groups, part.get("clothing", "")))


def _of_its_kinds(made):
    """Return a plan or a part of it, or raise where a value is of another kind than the kit writes."""
    for name, kind in get_type_hints(type(made)).items():
        if not _fits(getattr(made, name), kind):
            raise TypeError(name)
    return made


def _fits(value, kind) -> bool:
    parts = get_args(kind)
    if isinstance(kind, UnionType):
        return any(_fits(value, part) for part in parts)
    if get_origin(kind) is tuple:
        return isinstance(value, tuple) and all(_fits(v, parts[0]) for v in value)
    if get_origin(kind) is dict:
        return isinstance(value, dict) and all(_fits(v, parts[1]) for v in value.values())
    if is_dataclass(kind) and isinstance(value, kind):
        return _of_its_kinds(value) is value
    return isinstance(value, int | float if kind is float else kind) and (kind is bool or not isinstance(value, bool))
