"""The supplement: every other analysis, in tables rather than sentences, and the reporting checklists."""

from __future__ import annotations

import pandas as pd

from ..basics import NotYet
from ..capacity.beside import fitness_by_bound
from ..rounds.steps import rounds_by_bound
from ..study import OUTCOMES
from ..telling.cleaning.tables import tabulate_rules
from ..telling.document import Bullets, Document, Picture, Section, Table, paragraphs
from ..telling.fitness import tables as fitness
from ..telling.pace.sentences import write_up_activity, write_up_pace
from ..telling.pace.tables import tabulate_activity, tabulate_raters
from ..telling.published import tables as published
from ..telling.rounds import tables as rounds
from ..telling.study import phrases as say
from ..telling.study import tables
from ..telling.study.sentences import asked_questions, deviations, plain_rests, write_stood_out
from ..telling.survey.tables import survey_tables
from ..telling.training.figures import training_pictures
from ..telling.training.tables import training_tables
from . import pictures
from .output import versions
from .paper import TRAINING_BESIDE
from .pictures import fitness_outcomes, has_rounds

SOURCES = {
    "observational": (
        "Topics for observational (cross-sectional) studies, in our own words, after STROBE (von Elm et al., 2007, PLoS "
        "Medicine 4:e296)."
    ),
    "statistics": (
        "Topics for statistics in sport and exercise medicine, in our own words, after CHAMP (Mansournia et al., 2021, British "
        "Journal of Sports Medicine 55:1002) and Hopkins et al. (2009, Medicine & Science in Sports & Exercise 41:3)."
    ),
    "comparison": "Topics for the comparison with published findings; common practice, no source.",
}

TITLES = {
    "observational": "Reporting checklist for observational studies.",
    "statistics": "Reporting checklist for statistics in sports science.",
    "comparison": "Reporting checklist for the comparison with published findings.",
}

# checklist | topic | section that covers it ("" = only the author can) | what is left for the author
_ITEMS = """
observational|The design is named in title or summary||name it in the title
observational|A balanced summary of what was done and found|Abstract|write the abstract
observational|Background and rationale||write the introduction
observational|Aims, with hypotheses fixed beforehand|Plan and size|
observational|Main features of the design, early in the text|Protocol and conditions|
observational|Setting, place and dates|Protocol and conditions|recruitment period
observational|Who could take part, and how people were found||inclusion, exclusion, recruitment
observational|Outcomes, exposures and confounders defined|Measurements|
observational|How each variable was measured|Measurements|
observational|What was done about possible bias|Limitations|bias in recruiting
observational|How the number of athletes was arrived at|Plan and size|
observational|How quantitative variables were handled|Statistical analysis|
observational|Statistical methods, missing data, sensitivity|Statistical analysis|
observational|Numbers at each stage, with reasons for loss|Athletes and data|people asked but not enrolled
observational|Characteristics of the athletes, missing values counted|Athletes and data|
observational|Summary of the outcomes|Change over the rounds|
observational|Estimates with precision, and what was adjusted for|Change over the rounds|
observational|Other analyses done|Fitness and the response|
observational|Key results with reference to the aims|Abstract|open the discussion with them
observational|Limitations, with direction of bias|Limitations|
observational|Cautious overall interpretation||write the discussion
observational|How far the results hold elsewhere|Limitations|
observational|Funding and its role||Statements: say who paid
statistics|The research question is clear|Plan and size|
statistics|The design fits the question|Protocol and conditions|
statistics|The size is justified|Plan and size|
statistics|Unit of analysis; rounds of one athlete are not independent|Statistical analysis|
statistics|Who was blind to what||say it in the methods
statistics|Missing data: how much, why, what was done|Athletes and data|
statistics|Assumptions were checked|Rounds|say what they show
statistics|Choice of model justified|Statistical analysis|
statistics|Several tests accounted for|Statistical analysis|
statistics|Planned and exploratory analyses marked as such|Plan and size|
statistics|Effect sizes with intervals, in units that matter|Change over the rounds|
statistics|Exact p values|Change over the rounds|
statistics|No "no difference" from a test that is not significant|Statistical analysis|keep to it in the discussion
statistics|Relation is not called cause|Limitations|keep to it in the discussion
statistics|Values that stand out: how they were treated|Athletes and data|
statistics|Standard deviations, not standard errors, for spread|Athletes and data|
statistics|Figures show the data|Change over the rounds|
statistics|Measurement error of the fitness test considered|Fitness and the response|
statistics|Software with versions|Statistical analysis|
statistics|Departures from the plan|Departures from the plan|
statistics|Whether data and code can be had||Statements: say where the data package is kept
statistics|Conclusions match the results||write the discussion
comparison|The published effect and its number of athletes|Comparison with published findings|
comparison|Where the two protocols differ|Comparison with published findings|
comparison|The plan was dated before the data|Plan and size|
comparison|What counts as agreement was said beforehand|Statistical analysis|
comparison|All outcomes are reported, not only those that agree|Comparison with published findings|
"""

ITEMS = tuple(tuple(line.split("|")) for line in _ITEMS.strip().splitlines())


STOOD_OUT = "Values that stand out: how they were treated"


def checklist_tables(document: Document, study=None) -> list[Table]:
    """Say for every topic of the checklists where the write-up covers it, and what is left for the author."""
    told = [s for s in document.sections if any(getattr(b, "kind", "") != "note" for b in s.blocks)]
    written = {s.title for s in told} - {""}
    tables = []
    for name, title in TITLES.items():
        if name == "comparison" and "Comparison with published findings" not in written:
            continue
        rows = [
            (topic, section, left) if section in written else (topic, "–", left or "nothing to report yet")
            for checklist, topic, section, left in ITEMS
            if checklist == name
        ]
        if study is not None and len(study.rounds):
            said = (write_stood_out(study) or [say.NONE_STOOD_OUT])[0]
            rows = [(t, f"{at}. {said}" if t == STOOD_OUT else at, left) for t, at, left in rows]
        shown = pd.DataFrame(rows, columns=["Topic", "Covered in", "Left for the author"])
        tables.append(Table(f"checklist_{name}", title, shown, note=SOURCES[name]))
    return tables


def supplement_sections(answers) -> list[Section]:
    """Assemble the supplement of a study, without the checklists."""
    sections = [_study(answers), _data(answers), _rests(answers)]
    if answers.fitness_outcomes:
        found = {o: answers.rounds(o) for o in answers.primary_outcomes if answers.rounds(o)}
        sections += [_rounds(found), _repeatability(answers), _fitness(answers), _published(answers)]
    sections += [_pace(answers), _evening(answers), _looks(answers), _training(answers), _survey(answers)]
    return [s for s in sections if s is not None and s.blocks]


def _evening(answers) -> Section | None:
    made = pictures.further_pictures(answers)
    return _section("The evening in pictures", [], made) if made else None


def _pace(answers) -> Section | None:
    """What athletes did in the rounds, and fitness beside it, of which the paper says one sentence."""
    found = answers.pace()
    if not found:
        return None
    activity = pictures.activity_answer(answers)
    texts = [*write_up_pace(found), *(write_up_activity(activity) if activity else [])]
    caption = "What athletes did in each round, means over athletes."
    blocks = [Table("activity", caption, tabulate_activity(found), numbers=found.states)]
    if len(found.agreement):
        blocks.append(Table("raters", "Agreement of raters.", tabulate_raters(found), numbers=found.agreement))
    blocks.append(pictures.round_in_marks_picture(found, answers.cleaned))
    blocks += [pictures.activity_picture(activity)] if activity else []
    return _section("Pace", texts, blocks)


def _looks(answers) -> Section | None:
    found = answers.looks
    table = None if isinstance(found, NotYet) else tables.looks_table(found)
    return _section("Planned looks", [], [table]) if table else None


def further_section(blocks: list) -> Section:
    """Tables and figures that the paper has no room for."""
    return _section("Further tables and figures", [], blocks)


def _training(answers) -> Section | None:
    answer = answers.training()
    if not answer:
        return None
    made = [t for t in training_tables(answer) if t.key in TRAINING_BESIDE]
    return _section("Training", [], [*made, *training_pictures(answer)[2:]])


def _survey(answers) -> Section | None:
    answer = answers.survey()
    return _section("Sessions in numbers", list(answer.warnings), survey_tables(answer)) if answer else None


def _section(title: str, texts: list[str], blocks: list) -> Section:
    """A section that points to each of its tables and figures before it shows them."""
    blocks = [b for b in blocks if b is not None]
    kinds = (("table", Table), ("figure", Picture))
    refs = [", ".join(f"{{{kind}:{b.key}}}" for b in blocks if isinstance(b, of)) for kind, of in kinds]
    pointing = say.SEE_HERE.format(refs=" and ".join(filter(None, refs))) if any(refs) else ""
    return Section(title, (*paragraphs([t for t in [*texts, pointing] if t]), *blocks), 1, "supplement")


def _study(answers) -> Section | None:
    study = answers.study
    aerobic = rules = None
    if not isinstance(answers.capacity, NotYet) and len(answers.capacity):
        aerobic = Table("aerobic_tests", "How aerobic capacity was measured.", fitness.table_tests(answers.capacity))
    if answers.cleaned and answers.cleaned.traces:
        shown = tabulate_rules(answers.cleaned).rename(columns=str.capitalize)
        rules = Table("rules", "Rules of heart-rate processing.", shown)
    blocks = [
        tables.plan_table(study, asked_questions(answers)) if has_rounds(answers) else None,
        tables.protocol_table(study),
        tables.roll_call_table(answers.description.conditions.roll_call),
        aerobic,
        rules,
        tables.software_table(versions()),
        tables.deviations_table(deviations(answers)) if has_rounds(answers) else None,
    ]
    return _section("Plan, protocol and methods", [], blocks)


def _data(answers) -> Section | None:
    missing = pictures.missing_picture(answers.cleaned) if answers.cleaned else None
    blocks = [tables.set_aside_table(answers.description.set_aside), pictures.flow_picture(answers), missing]
    return _section("Data", write_stood_out(answers.study), blocks)


def _rounds(found: dict) -> Section | None:
    made = [
        rounds.round_tests_table(found),
        rounds.contrasts_by_method_table(found),
        rounds.equivalence_table(found),
        rounds.ways_table(found),
        rounds.sizes_table(found),
        rounds.missing_table(found),
        rounds.off_scale_table(found),
        rounds.opponents_table(found),
        pictures.all_steps_picture(found),
        *(pictures.checks_picture(o, a) for o, a in found.items() if not OUTCOMES[o].ordinal),
        *(pictures.bound_picture("rounds", o, rounds_by_bound(a)) for o, a in found.items()),
    ]
    return _section("Rounds", [], made)


def _rests(answers) -> Section | None:
    """Heart rate in the rests, on which the length of a rest hangs."""
    rests = answers.description.rests
    table = tables.rests_table(rests)
    if table is None:
        return None
    return _section("Rests between rounds", [plain_rests(rests)], [table, pictures.rests_picture(rests)])


def _repeatability(answers) -> Section | None:
    found = {o: r for o in answers.primary_outcomes if (r := answers.reliability(o))}
    return _section("Repeatability", [], [rounds.repeatability_table(found)])


def _fitness(answers) -> Section | None:
    found = {o: a for o in fitness_outcomes(answers) if (a := answers.fitness(o))}
    if not found:
        return None
    made = [
        fitness.correlations_table(found),
        fitness.slopes_table(found),
        fitness.error_table(found),
        fitness.robustness_table(found),
        fitness.drift_table(found),
        *(pictures.fitness_picture(o, a) for o, a in list(found.items())[2:]),
        *(pictures.analyses_picture(o, a) for o, a in found.items()),
        *(pictures.bound_picture("fitness", o, fitness_by_bound(a)) for o, a in found.items()),
    ]
    section = _section("Fitness", [], made)
    cautions = fitness.cautions_of(found)
    return Section(section.title, (*section.blocks, Bullets(cautions)), 1, "supplement") if cautions else section


def _published(answers) -> Section | None:
    answer = answers.published()
    if not answer:
        return None
    made = [
        published.evidence_table(answer),
        published.profiles_table(answer),
        published.steps_table(answer),
        published.protocols_table(answer),
    ]
    return _section("Published findings", list(answer.warnings), made)
