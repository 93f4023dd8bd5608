"""The supplement: every other analysis, in tables rather than sentences."""

from __future__ import annotations

from ..basics import NotYet
from ..capacity.beside import fitness_by_bound
from ..rounds.by_bound import rounds_by_bound
from ..study import OUTCOMES
from ..telling.cleaning.tables import tabulate_rules
from ..telling.document import Bullets, Picture, Section, Table, paragraphs
from ..telling.fitness import tables as fitness
from ..telling.pace.sentences import write_up_activity, write_up_pace
from ..telling.pace.tables import tabulate_activity, tabulate_raters
from ..telling.published import tables as published
from ..telling.rounds import tables as rounds
from ..telling.study import phrases as say
from ..telling.study import tables
from ..telling.study.sentences import deviations, plain_rests, write_stood_out
from ..telling.survey.tables import survey_tables
from ..telling.training.figures import training_pictures
from ..telling.training.tables import training_tables
from . import pictures
from .about import versions
from .paper import TRAINING_BESIDE
from .pictures import fitness_outcomes, has_rounds


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
    blocks = [
        Table(
            "activity",
            "What athletes did in each round, means over athletes.",
            tabulate_activity(found),
            numbers=found.states,
        ),
        Table("raters", "Agreement of raters.", tabulate_raters(found), "", found.agreement)
        if len(found.agreement)
        else None,
        pictures.round_in_marks_picture(found, answers.cleaned),
        pictures.activity_picture(activity) if activity else None,
    ]
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
    tested = not isinstance(answers.capacity, NotYet) and len(answers.capacity)
    aerobic = (
        Table("aerobic_tests", "How aerobic capacity was measured.", fitness.table_tests(answers.capacity))
        if tested
        else None
    )
    rules = (
        Table(
            "rules",
            "Rules of heart-rate processing.",
            tabulate_rules(answers.cleaned).rename(columns=str.capitalize),
        )
        if answers.cleaned and answers.cleaned.traces
        else None
    )
    blocks = [
        tables.plan_table(study, answers.questions) if has_rounds(answers) else None,
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
    return _section(
        "Data",
        write_stood_out(answers.study),
        [tables.set_aside_table(answers.description.set_aside), pictures.flow_picture(answers), missing],
    )


def _rounds(found: dict) -> Section | None:
    texts = []
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
    return _section("Rounds", texts, made)


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
