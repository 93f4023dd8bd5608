"""The write-up put together: which sentences, tables and figures stand in which section."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from ..basics import NotYet
from ..capacity import fitness_by_bound
from ..rounds import rounds_by_bound
from ..study import OUTCOMES, planned
from ..telling.cleaning.sentences import plain_cleaning, write_up_cleaning
from ..telling.document import Bullets, Document, Paragraph, Picture, Section, paragraphs
from ..telling.fitness.sentences import plain_capacity, write_up_capacity
from ..telling.published.sentences import plain_replication, write_up_replication
from ..telling.rounds.sentences import plain_rounds, write_up_reliability, write_up_rounds
from ..telling.study import tables
from ..telling.study import tables as answer_tables
from ..telling.study.methods import (
    list_sources,
    write_up_claim,
    write_up_plan,
    write_up_power,
    write_up_software,
    write_up_statistics,
)
from ..telling.study.sentences import (
    deviations,
    plain_participants,
    write_up_conditions,
    write_up_deviations,
    write_up_limitations,
    write_up_measurements,
    write_up_participants,
    write_up_protocol,
)
from ..telling.survey.sentences import plain_survey, write_up_survey
from ..telling.training.figures import training_pictures
from ..telling.training.sentences import plain_training, write_up_training, write_up_training_methods
from ..telling.training.tables import training_tables
from .checklists import checklist_tables


def rounds_picture(answers: dict) -> Picture | None:
    """Every outcome over the rounds."""
    from ..telling.rounds.figures import draw_rounds

    if not answers:
        return None
    labels = [OUTCOMES[o].label.lower() for o in answers]
    caption = (
        f"{_listed(labels)} over the rounds. Thin lines: athletes; diamonds: mean of the mixed model with its "
        "95\N{NO-BREAK SPACE}% interval."
    )
    return Picture("rounds", partial(draw_rounds, list(answers.values())), caption)


def missing_picture(cleaned) -> Picture | None:
    """What was measured of whom in which round; nothing where every mean was typed and none is missing."""
    from ..telling.cleaning.figures import draw_missing

    rows = cleaned.rows[cleaned.rows["round_no"] > 0]
    if not cleaned.traces and rows["hr_mean_bpm"].notna().all():
        return None
    order = ", ordered by valid time" if cleaned.traces else ""
    caption = (
        f"What was measured of each athlete in each round, and what is missing. One row per athlete{order}."
    )
    return Picture("missing", partial(draw_missing, cleaned), caption)


def steps_picture(outcome: str, answer) -> Picture:
    """The differences between rounds of one outcome."""
    from ..telling.rounds.figures import draw_contrasts

    label = OUTCOMES[outcome].label.lower()
    caption = (
        f"Differences in {label} between rounds, later minus earlier, with 90 and 95\N{NO-BREAK SPACE}% intervals. Shaded: "
        "changes too small to matter."
    )
    return Picture(f"steps_{outcome}", partial(draw_contrasts, answer), caption)


def fitness_picture(outcome: str, answer) -> Picture:
    """Aerobic capacity and the response of one outcome, athlete by athlete."""
    from ..telling.fitness.figures import draw_capacity

    label = OUTCOMES[outcome].label.lower()
    caption = (
        f"Aerobic capacity and {label} in sparring. One mark per athlete; line: planned model with its "
        "95\N{NO-BREAK SPACE}% band."
    )
    return Picture(f"fitness_{outcome}", partial(draw_capacity, answer), caption)


def checks_picture(outcome: str, answer) -> Picture:
    """The assumption checks of one outcome."""
    from ..telling.rounds.figures import draw_checks

    caption = (
        f"Checks of the model of {OUTCOMES[outcome].label.lower()}: residuals against fitted values, residuals and athletes "
        "against the normal distribution, spread by round."
    )
    return Picture(f"checks_{outcome}", partial(draw_checks, answer), caption)


def analyses_picture(outcome: str, answer) -> Picture | None:
    """All reasonable analyses of fitness and one outcome."""
    from ..telling.fitness.figures import draw_specifications

    if answer.specifications is None or answer.specifications.table.empty:
        return None
    caption = (
        f"Every reasonable analysis of aerobic capacity and {OUTCOMES[outcome].label.lower()}, in multiples of the smallest "
        "difference that matters, with the choices behind each."
    )
    return Picture(f"analyses_{outcome}", partial(draw_specifications, answer), caption)


def bound_picture(question: str, outcome: str, curve) -> Picture:
    """The reading over every smallest effect that could have been chosen."""
    from ..telling.study.figures import draw_by_bound

    what = OUTCOMES[outcome].label.lower()
    asked = f"{what} over the rounds" if question == "rounds" else f"fitness and {what}"
    caption = (
        f"What would be said of {asked} with any other smallest effect that matters; dashed: the planned one."
    )
    return Picture(f"bound_{question}_{outcome}", partial(draw_by_bound, curve), caption)


def forest_picture(answer) -> Picture | None:
    """Published correlations and ours."""
    from ..telling.published.figures import draw_forest

    if answer.table.empty:
        return None
    caption = (
        "Published correlations of fitness with the response, ours, and the 95\N{NO-BREAK SPACE}% prediction interval for a "
        "study of our size."
    )
    return Picture("comparison", partial(draw_forest, answer), caption)


def survey_picture(answer) -> Picture | None:
    """Submitted sessions, ranked."""
    from ..telling.survey.figures import draw_sessions

    shares = answer.sessions[["percent_mean_likely", "percent_peak_likely"]]
    if not shares.notna().all(axis=1).any():
        return None
    caption = (
        "Submitted sessions from their mean to their peak, ranked by peak. Thin lines: error of the predicted maximal heart "
        "rate (95\N{NO-BREAK SPACE}%)."
    )
    return Picture("submitted_sessions", partial(draw_sessions, answer), caption)


def _listed(labels: list[str]) -> str:
    from ..basics import join_words

    text = join_words(labels)
    return text[0].upper() + text[1:]


def drawn(_, picture: Picture) -> dict[str, object]:
    """Draw a picture in every format, for a worker process."""
    from ..telling.export import FORMATS, figure_bytes

    figure = picture.draw()
    found = {kind: figure_bytes(figure, kind) for kind in FORMATS}
    return {"alt_text": figure.alt_text, "width_mm": float(figure.get_size_inches()[0] * 25.4), **found}


TITLE_PAGE = (
    ("Authors", "all authors, in the order agreed"),
    ("Affiliations", "club, university or school of each author"),
    ("Corresponding author", "name and address for letters"),
    ("Ethics approval", "committee and number, or why none was needed"),
    ("Registration", "where and when the plan was registered, if it was"),
    ("Funding", "who paid, or that nobody did"),
    ("Competing interests", "of each author, or that there are none"),
    ("Keywords", "four to six"),
)
"""What only the authors can fill in."""

DRAFT = (
    "This text was assembled from the results of the study; every number in it stands, unrounded, in results.json, which "
    "stays with the owner of the study. What only the authors know is marked like this paragraph: the reasons for the "
    "study, ethics approval, recruitment, what the results mean beside the literature. Read every sentence before you sign "
    "it."
)


def build_document(answers) -> Document:
    """Assemble the write-up of a study.

    Parameters
    ----------
    answers : Answers

    Returns
    -------
    Document

    Examples
    --------
    >>> from analysis.answers import Answers
    >>> from pathlib import Path
    >>> from analysis.study import Study
    >>> build_document(Answers(Study(folder=Path("nowhere"), title="An evening"))).title
    'An evening'
    """
    study = answers.study
    sections = [
        *_plain(answers),
        *_introduction(answers),
        *_methods(answers),
        *_results(answers),
        *_discussion(answers),
    ]
    document = Document(
        title=study.title
        or ("A sparring study" if _has_rounds(answers) else "A survey of sparring sessions"),
        fields=TITLE_PAGE,
        sections=tuple(s for s in sections if s.blocks or s.level == 1),
    )
    end = [*_supplement(answers), Section("Reporting checklists", tuple(checklist_tables(document)))]
    sources = list_sources(document.text(), answers)
    if sources:
        end.insert(-1, Section("Sources", (Bullets(sources),)))
    return replace(document, sections=(*document.sections, *end), _numbers={})


def _plain(answers) -> list[Section]:
    said = []
    if _has_rounds(answers):
        said += [plain_participants(answers.description.participants), plain_cleaning(answers.cleaned)]
        said += [plain_rounds(answers.rounds(outcome)) for outcome in answers.primary_outcomes]
        said += [plain_capacity(answers.fitness(outcome)) for outcome in _fitness_outcomes(answers)]
        said += _nothing_compared(answers)
        said.append(plain_replication(answers.published()))
    said.append(plain_training(answers.training()))
    if answers.survey():
        said.append(plain_survey(answers.survey()))
    return [Section("In plain words", (Paragraph(DRAFT, "note"), *paragraphs(_split(said), "plain")))]


def _has_rounds(answers) -> bool:
    """A survey of sessions has no rounds, and none of the questions about them."""
    return bool(answers.study.protocol.rounds)


def _nothing_compared(answers) -> list[str]:
    """Say why nothing was compared although something was measured."""
    if not answers.cleaned or answers.measured_outcomes:
        return []
    session = answers.study.plan.primary_session
    needs = "heart rate, lactate or exertion of at least three athletes in two rounds or more"
    return [
        str(NotYet("comparing the rounds", f"{needs} of session {session}, the primary session of the plan"))
    ]


def _split(texts: list[str]) -> list[str]:
    """Take texts that hold several paragraphs apart."""
    return [part.strip() for text in texts for part in text.split("\n\n") if part.strip()]


def _fitness_outcomes(answers) -> list[str]:
    planned = [o for q, o in answers.study.plan.primary_outcomes.items() if q.startswith("fitness.")]
    return [o for o in dict.fromkeys(planned) if o in answers.fitness_outcomes]


def _introduction(answers) -> list[Section]:
    plan = planned(answers.study)
    own = _has_rounds(answers) and "hypotheses" not in plan.proposed
    asked = [h.text for h in plan.hypotheses if h.text and own]
    prompt = "Say here, in a few paragraphs, why these questions are worth asking and what is already known."
    blocks = (Paragraph(prompt, "note"), *((Bullets(tuple(asked)),) if asked else ()))
    return [Section("Introduction", blocks)]


def _methods(answers) -> list[Section]:
    study, description = answers.study, answers.description
    outcomes = answers.fitness_outcomes
    recruitment = (
        "Say how athletes were found and asked, who could take part, who examined them, that they agreed."
        if _has_rounds(answers)
        else "Say how people were asked for their sessions, who could send some, that they agreed to this use."
    )
    return [
        Section("Methods"),
        Section("Participants", (*paragraphs(recruitment, "note"),), 2),
        Section(
            "Protocol and conditions",
            _with_table(
                write_up_protocol(study, description.conditions)
                + write_up_conditions(description.conditions),
                tables.protocol_table(study),
            ),
            2,
        ),
        Section(
            "Measurements",
            paragraphs(
                write_up_measurements(study, description, _test_titles(description.participants.tests))
                + (write_up_cleaning(answers.cleaned) if answers.cleaned else [])
            ),
            2,
        ),
        Section("Plan and size", paragraphs(_plan_and_power(answers)), 2),
        Section("Training", paragraphs(write_up_training_methods(answers.training())), 2),
        Section(
            "Statistical analysis",
            paragraphs(
                write_up_statistics(
                    study.plan,
                    outcomes,
                    with_fitness=any(answers.fitness(o) for o in outcomes),
                    with_published=bool(answers.published()),
                )
                + (write_up_software(_versions(), answers.seed) if outcomes else [])
            ),
            2,
        ),
    ]


def _plan_and_power(answers) -> list[str]:
    if not _has_rounds(answers):
        return []
    said = write_up_plan(answers.study, answers.fitness_outcomes, answers.questions)
    return said + write_up_power(answers.design())


def _versions() -> dict:
    from .about import versions

    return versions()


def _test_titles(tests) -> dict[str, str]:
    if tests.empty:
        return {}
    from ..physiology import known_aerobic_tests

    known = known_aerobic_tests().drop_duplicates("test").set_index("test")["title"]
    return {t: str(known[t]) for t in tests["test"] if t in known.index}


def _with_table(texts: list[str], table, *, also: str = "") -> tuple:
    """Put a table below its text, and point to it."""
    if table is None:
        return paragraphs(texts)
    pointing = f"{{table:{table.key}}} {also or 'gives the details'}."
    texts = [*texts[:-1], f"{texts[-1]} {pointing}"] if texts else [pointing]
    return (*paragraphs(texts), table)


def _results(answers) -> list[Section]:
    description = answers.description
    outcomes = answers.measured_outcomes
    people = Section(
        "Athletes and data",
        (
            *_with_table(
                write_up_participants(description.participants),
                tables.participants_table(description.participants),
                also="describes them",
            ),
            *_with_table(
                [], tables.set_aside_table(description.set_aside), also="lists what was set aside, and why"
            ),
        ),
        2,
    )
    if answers.cleaned:
        people = _with_picture(people, missing_picture(answers.cleaned), "maps what is there and what is not")
    sections = [Section("Results"), people]
    if not outcomes:
        missing = Section("Outcomes by round", paragraphs(_nothing_compared(answers)), 2)
        rest = [*_fitness(answers), *_comparison(answers), *_training(answers), *_survey(answers)]
        return [*sections, missing, *rest]
    rounds = {o: answers.rounds(o) for o in answers.primary_outcomes if answers.rounds(o)}
    sections.append(
        Section(
            "Outcomes by round",
            (
                *_with_table(
                    [], tables.means_table(description.round_means, outcomes), also="gives plain means"
                ),
                *_with_table(
                    [],
                    answer_tables.contrasts_table(rounds),
                    also="gives the differences between rounds from the mixed model",
                ),
            ),
            2,
        )
    )
    sections[-1] = _with_picture(sections[-1], rounds_picture(rounds), "shows them")
    for outcome, answer in rounds.items():
        section = Section(
            f"{OUTCOMES[outcome].label} over the rounds",
            paragraphs([*write_up_rounds(answer), *write_up_claim(answers.questions, "rounds", outcome)]),
            2,
        )
        sections.append(_with_picture(section, steps_picture(outcome, answer), "shows the differences"))
    sections += _fitness(answers) + _training(answers)
    return sections + _repeatability(answers) + _comparison(answers) + _survey(answers)


def _repeatability(answers) -> list[Section]:
    """How well the outcomes repeat, where there was more than one evening."""
    found = [
        r
        for o in answers.primary_outcomes
        if (r := answers.reliability(o)) and r.kind.startswith("reliability")
    ]
    texts = [text for result in found for text in write_up_reliability(result)]
    return [Section("Repeatability between evenings", paragraphs(texts), 2)] if texts else []


def _comparison(answers) -> list[Section]:
    answer = answers.published()
    if not answer:
        return []
    blocks = _with_table(
        write_up_replication(answer),
        answer_tables.comparison_table(answer),
        also="puts correlations side by side",
    )
    protocols = answer_tables.protocols_table(answer)
    section = Section(
        "Comparison with published findings",
        (*blocks, *_with_table([], protocols, also="compares the protocols")),
        2,
    )
    return [_with_picture(section, forest_picture(answer), "shows the correlations")]


def _training(answers) -> list[Section]:
    """The training study: its answer here, what stands beside it in the supplement."""
    answer = answers.training()
    if not answer:
        return []
    tables = [t for t in training_tables(answer) if t.key not in TRAINING_BESIDE]
    blocks = (*paragraphs(write_up_training(answer)), *tables)
    section = Section("The training study", blocks, 2)
    for picture, words in training_pictures(answer)[:2]:
        section = _with_picture(section, picture, words)
    return [section]


TRAINING_BESIDE = ("training_individual", "training_guards")


def _survey(answers) -> list[Section]:
    answer = answers.survey()
    if not answer:
        return []
    section = Section("Submitted sessions", paragraphs(write_up_survey(answer)), 2)
    return [_with_picture(section, survey_picture(answer), "shows the sessions")]


def _fitness(answers) -> list[Section]:
    found = {o: answers.fitness(o) for o in _fitness_outcomes(answers)}
    analysed = {o: a for o, a in found.items() if a}
    sections = []
    for outcome, answer in found.items():
        label = OUTCOMES[outcome].label.lower()
        said = write_up_claim(answers.questions, "fitness", outcome)
        blocks = paragraphs([*write_up_capacity(answer), *said] if answer else str(answer))
        section = Section(f"Fitness and {label}", blocks, 2)
        picture = fitness_picture(outcome, answer) if answer else None
        sections.append(_with_picture(section, picture, "shows the athletes"))
    table = answer_tables.capacity_table(analysed)
    if table and sections:
        last = sections[-1]
        pointed = _with_table([], table, also="puts the results on fitness side by side")
        sections[-1] = Section(last.title, (*last.blocks, *pointed), 2)
    return sections


def _discussion(answers) -> list[Section]:
    prompt = (
        "Say here what the results mean beside the literature. Keep to what stands above: a change or relation that was not "
        "shown is not thereby shown to be absent."
    )
    sections = [
        Section("Discussion", paragraphs(prompt, "note")),
        Section("Limitations", paragraphs(write_up_limitations(answers)), 2),
    ]
    if _has_rounds(answers):
        table = tables.deviations_table(deviations(answers))
        blocks = (*paragraphs(write_up_deviations(answers)), *((table,) if table else ()))
        sections.append(Section("Departures from the plan", blocks, 2))
    return sections


def _supplement(answers) -> list[Section]:
    """Checks of the models, every reasonable analysis, and the reading over the smallest effect that matters."""
    made = [
        checks_picture(o, answers.rounds(o))
        for o in answers.primary_outcomes
        if answers.rounds(o) and not OUTCOMES[o].ordinal
    ]
    made += [
        analyses_picture(o, answers.fitness(o)) for o in _fitness_outcomes(answers) if answers.fitness(o)
    ]
    made += [
        bound_picture("rounds", o, rounds_by_bound(answers.rounds(o)))
        for o in answers.primary_outcomes
        if answers.rounds(o)
    ]
    made += [
        bound_picture("fitness", o, fitness_by_bound(answers.fitness(o)))
        for o in _fitness_outcomes(answers)
        if answers.fitness(o)
    ]
    if training := answers.training():
        made += [t for t in training_tables(training) if t.key in TRAINING_BESIDE]
        made += [picture for picture, _ in training_pictures(training)[2:]]
    made = [picture for picture in made if picture]
    sections = [Section("Supplementary figures", tuple(made))] if made else []
    found = answers.looks
    looks = None if isinstance(found, NotYet) else answer_tables.looks_table(found)
    return [*sections, *([Section("Planned looks", (looks,))] if looks else [])]


def _with_picture(section: Section, picture: Picture | None, words: str) -> Section:
    """Put a figure at the end of a section, and point to it from the last paragraph before it."""
    if picture is None:
        return section
    pointing = f"{{figure:{picture.key}}} {words}."
    blocks = list(section.blocks)
    last = max(
        (i for i, b in enumerate(blocks) if isinstance(b, Paragraph) and b.kind == "body"), default=None
    )
    if last is None:
        blocks.append(Paragraph(pointing))
    else:
        blocks[last] = Paragraph(f"{blocks[last].text} {pointing}")
    return replace(section, blocks=(*blocks, picture))
