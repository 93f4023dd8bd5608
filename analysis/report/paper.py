"""The paper: what a journal prints, and nothing that is not reported; at most five tables and four figures."""

from __future__ import annotations

from dataclasses import replace

from ..basics import join_words
from ..physiology import known_aerobic_tests
from ..study import planned
from ..study.consent import approval_of
from ..telling.cleaning.sentences import write_up_cleaning, write_up_set_aside
from ..telling.document import Bullets, Paragraph, Picture, Section, Table, paragraphs
from ..telling.fitness.sentences import abstract_capacity, write_up_capacity
from ..telling.fitness.tables import capacity_table
from ..telling.pace.sentences import plain_activity
from ..telling.published.sentences import abstract_correlation, write_up_replication
from ..telling.published.tables import comparison_table
from ..telling.rounds.sentences import abstract_rounds, write_up_rounds
from ..telling.rounds.tables import contrasts_table
from ..telling.study import methods, sentences, tables
from ..telling.study import phrases as say
from ..telling.survey.sentences import plain_survey, write_up_survey
from ..telling.training.figures import training_pictures
from ..telling.training.sentences import plain_training, write_up_training, write_up_training_methods
from ..telling.training.tables import training_tables
from ..telling.words import step_words
from . import pictures
from .output import versions
from .pictures import activity_answer, fitness_outcomes, has_rounds, nothing_compared
from .sharing import partly_passed_on


def paper_sections(answers) -> list[Section]:
    """Assemble the paper of a study, without its sources."""
    sections = [
        *_abstract(answers),
        *_introduction(answers),
        *_methods(answers),
        *_results(answers),
        *_discussion(answers),
        _statements(answers.study),
    ]
    return [s for s in sections if s.blocks or s.level == 1]


MOST = {Table: 5, Picture: 4}
"""So many tables and figures a paper holds; further ones go to the supplement."""


def within_limits(sections: list[Section]) -> tuple[list[Section], list]:
    """Keep the paper to its number of tables and figures; return what goes to the supplement."""
    count, kept, further = dict.fromkeys(MOST, 0), [], []
    for section in sections:
        blocks = []
        for block in section.blocks:
            kind = type(block)
            count[kind] = count.get(kind, 0) + 1
            (blocks if count[kind] <= MOST.get(kind, count[kind]) else further).append(block)
        kept.append(replace(section, blocks=tuple(blocks)))
    return kept, further


def _abstract(answers) -> list[Section]:
    said = []
    rounds = {o: a for o in answers.primary_outcomes if (a := answers.rounds(o))}
    fitness = {o: a for o in fitness_outcomes(answers) if (a := answers.fitness(o))}
    if has_rounds(answers):
        said.append(sentences.plain_participants(answers.description.participants))
        said += abstract_rounds(rounds) + abstract_capacity(fitness)
        published = answers.published()
        if published and published.correlations:
            said.append(abstract_correlation(published.correlations[0]))
    said.append(plain_training(answers.training()))
    if answers.survey():
        said.append(plain_survey(answers.survey()))
    blocks = (
        Paragraph(say.DRAFT, "note"),
        Paragraph(say.ABSTRACT_BACKGROUND, "note"),
        *(Paragraph(t) for t in _chunks(said)),
        Paragraph(say.ABSTRACT_CONCLUSION, "note"),
    )
    return [Section("Abstract", blocks)]


MOST_WORDS = 100
"""Sentences are put into one paragraph up to this many words."""


def _chunks(texts: list[str]) -> list[str]:
    """Put short texts together into paragraphs that stay readable."""
    found: list[list[str]] = []
    for text in (part.strip() for t in texts for part in t.split("\n\n")):
        if not text:
            continue
        words = len(text.split()) + (len(" ".join(found[-1]).split()) if found else 0)
        if found and words <= MOST_WORDS:
            found[-1].append(text)
        else:
            found.append([text])
    return [" ".join(part) for part in found]


def _introduction(answers) -> list[Section]:
    plan = planned(answers.study)
    own = has_rounds(answers) and "hypotheses" not in plan.proposed
    asked = [h.text for h in plan.hypotheses if h.text and own]
    blocks = (Paragraph(say.INTRODUCTION, "note"), *((Bullets(tuple(asked)),) if asked else ()))
    return [Section("Introduction", blocks)]


def _methods(answers) -> list[Section]:
    study, description = answers.study, answers.description
    recruitment = say.RECRUITMENT if has_rounds(answers) else say.RECRUITMENT_SURVEY
    protocol = sentences.write_up_protocol(study, description.conditions) + sentences.write_up_conditions(
        description.conditions
    )
    measured = sentences.write_up_measurements(study, description, _test_titles(description.participants.tests))
    cleaning = write_up_cleaning(answers.cleaned) if answers.cleaned else []
    return [
        Section("Methods"),
        Section("Participants", paragraphs(recruitment, "note"), 2),
        Section("Protocol and conditions", paragraphs(protocol), 2),
        Section("Measurements", paragraphs(_chunks(measured)), 2),
        Section("Heart-rate processing", paragraphs(_pointing(cleaning, "rules")), 2),
        Section("Plan and size", paragraphs(_plan(answers)), 2),
        Section("Training", paragraphs(_chunks(write_up_training_methods(answers.training()))), 2),
        Section("Statistical analysis", paragraphs(_statistics(answers)), 2),
    ]


def _pointing(texts: list[str], *keys: str) -> list[str]:
    """Point from the end of the last text to tables or figures."""
    if not texts or not keys:
        return texts
    refs = ", ".join(f"{{{key}}}" if ":" in key else f"{{table:{key}}}" for key in keys)
    return [*texts[:-1], f"{texts[-1].removesuffix('.')} ({refs})."]


def _test_titles(tests) -> dict[str, str]:
    if tests.empty:
        return {}
    known = known_aerobic_tests().drop_duplicates("test").set_index("test")["title"]
    return {t: str(known[t]) for t in tests["test"] if t in known.index}


def _plan(answers) -> list[str]:
    if not has_rounds(answers):
        return []
    plan = _pointing(
        methods.write_up_plan(answers.study, answers.fitness_outcomes, sentences.asked_questions(answers)), "plan"
    )
    return plan + methods.write_up_power(answers.design(), {q.id for q in sentences.asked_questions(answers)})


def _statistics(answers) -> list[str]:
    outcomes = answers.fitness_outcomes
    found = [a for o in outcomes if (a := answers.fitness(o))]
    rounds = [a for o in answers.primary_outcomes if (a := answers.rounds(o))]
    said = methods.write_up_statistics(
        answers.study.plan,
        outcomes,
        with_rounds=bool(rounds),
        with_fitness=bool(found),
        with_published=bool(answers.published()),
        off_scale=any(a.bounds is not None for a in rounds),
        bouts=any(a.comparison.allows_for == "bouts" for a in rounds),
        step=step_words(found[0].contrast_step, found[0].capacity_unit) if found else "",
    )
    return _chunks([*said, *(methods.write_up_software(versions(), answers.seed) if outcomes else [])])


def _results(answers) -> list[Section]:
    description, outcomes = answers.description, answers.measured_outcomes
    people = tables.participants_table(description.participants)
    aside = _chunks(write_up_set_aside(answers.cleaned)) if answers.cleaned else []
    blocks = [
        *paragraphs(
            _pointing(sentences.write_up_participants(description.participants), *(["participants"] if people else []))
        ),
        *([people] if people else []),
        *paragraphs(_pointing(aside, "set_aside", "figure:flow", "figure:missing")),
    ]
    sections = [Section("Results"), Section("Athletes and data", tuple(blocks), 2)]
    if not outcomes:
        missing = Section("Outcomes by round", paragraphs(nothing_compared(answers)), 2)
        rest = [*_fitness(answers), *_comparison(answers), *_training(answers), *_survey(answers)]
        return [*sections, missing, *rest]
    rounds = {o: answers.rounds(o) for o in answers.primary_outcomes if answers.rounds(o)}
    rest = [*_fitness(answers), *_training(answers), *_comparison(answers), *_survey(answers)]
    return [*sections, *_rounds(answers, rounds), *rest]


def _rounds(answers, rounds: dict) -> list[Section]:
    off_scale = tables.off_scale_words(rounds)
    means = tables.means_table(answers.description.round_means, tuple(rounds), off_scale=off_scale)
    contrasts = contrasts_table(rounds)
    picture = pictures.rounds_picture(rounds)
    texts = [t for o, a in rounds.items() for t in _claimed(answers, "rounds", o, write_up_rounds(a))]
    if texts and picture:
        texts[0] = f"{texts[0]} {say.SEE_ROUNDS}"
    texts = [*partly_passed_on(answers, rounds).values(), *texts]
    if texts and contrasts:
        texts.append(say.SEE_STEPS)
    found = [b for b in (picture, means, contrasts) if b]
    return [Section("Change over the rounds", (*paragraphs(texts), *found), 2)]


def _fitness(answers) -> list[Section]:
    found = {o: answers.fitness(o) for o in fitness_outcomes(answers)}
    analysed = {o: a for o, a in found.items() if a}
    if not found:
        return []
    texts = [t for o, a in found.items() for t in _claimed(answers, "fitness", o, write_up_capacity(a))]
    shown = [pictures.fitness_picture(o, a) for o, a in analysed.items()][:MOST_FITNESS_PICTURES]
    table = capacity_table(analysed)
    if table:
        see = join_words([f"{{figure:{p.key}}}" for p in shown])
        texts.append(f"{see} {say.SHOW[len(shown) > 1]}. {say.SEE_FITNESS}")
    if activity := activity_answer(answers):
        texts.append(f"{plain_activity(activity)} {say.SEE_ACTIVITY}")
    return [Section("Fitness and the response", (*paragraphs(texts), *([table] if table else []), *shown), 2)]


def _claimed(answers, family: str, outcome: str, texts: list[str]) -> list[str]:
    """A result, and whether the plan lets it be claimed beside the other questions."""
    claim = methods.write_up_claim(answers.questions, family, outcome)
    return [f"{texts[0]} {claim}" if claim else texts[0], *texts[1:]]


MOST_FITNESS_PICTURES = 2
"""Further outcomes have their picture in the supplement, so that the paper keeps to four."""


def _comparison(answers) -> list[Section]:
    answer = answers.published()
    if not answer:
        return []
    texts = write_up_replication(answer)
    table, picture = comparison_table(answer), pictures.forest_picture(answer)
    if texts and table:
        texts[0] = f"{texts[0]} {say.SEE_COMPARISON}"
    if texts:
        texts[-1] = f"{texts[-1]} {say.SEE_PUBLISHED}"
    shown = [b for b in (table, picture) if b]
    return [Section("Comparison with published findings", (*paragraphs(_chunks(texts)), *shown), 2)]


def _training(answers) -> list[Section]:
    """The training study: its answer here, what stands beside it in the supplement."""
    answer = answers.training()
    if not answer:
        return []
    shown = [t for t in training_tables(answer) if t.key not in TRAINING_BESIDE]
    drawn = training_pictures(answer)[:2]
    see = [", ".join(f"{{table:{t.key}}}" for t in shown), ", ".join(f"{{figure:{p.key}}}" for p in drawn)]
    texts = [
        *_chunks(write_up_training(answer)),
        *([say.SEE_TRAINING.format(refs=join_words([s for s in see if s]))] if any(see) else []),
    ]
    return [Section("The training study", (*paragraphs(texts), *shown, *drawn), 2)]


TRAINING_BESIDE = ("training_individual", "training_guards")
"""Tables of the training study that stand in the supplement."""


def _survey(answers) -> list[Section]:
    answer = answers.survey()
    if not answer:
        return []
    texts = [t for t in write_up_survey(answer) if t not in answer.warnings]  # those stand in the supplement
    texts, picture = [*texts, say.SEE_SURVEY], pictures.survey_picture(answer)
    if texts and picture:
        texts = [*texts[:-1], f"{texts[-1]} {{figure:{picture.key}}} shows the sessions."]
    return [Section("Submitted sessions", (*paragraphs(texts), *([picture] if picture else [])), 2)]


def _discussion(answers) -> list[Section]:
    sections = [
        Section("Discussion", paragraphs(say.DISCUSSION, "note")),
        Section("Limitations", paragraphs(sentences.write_up_limitations(answers)), 2),
    ]
    if has_rounds(answers):
        sections.append(Section("Departures from the plan", paragraphs(sentences.write_up_deviations(answers)), 2))
    return sections


def _statements(study) -> Section:
    """What the author must say; the word of the ethics committee stands there once study.toml states it."""
    stated = approval_of(study.settings).words()
    asked = [(name, what) for name, what in say.STATEMENTS if not (stated and name == "Ethics")]
    blocks = [Paragraph(f"{name}: [{what}]", "note") for name, what in asked]
    if stated:
        blocks = [Paragraph(f"Ethics: {stated[0]}"), Paragraph(say.CONSENT_STATEMENT, "note"), *blocks]
    return Section("Statements", tuple(blocks))
