"""The first screen of a write-up: what to trust, three questions with a verdict each, what is left open; and as one sheet."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from functools import partial
from pathlib import Path

from ..basics import format_ci, format_number, join_words, lower_first, upper_first
from ..sheets.pdf import FONT, add_fonts, close_fonts, save
from ..study import OUTCOMES
from ..study.binding import CONFIRMATORY
from ..telling.cleaning.sentences import plain_opening
from ..telling.cleaning.tables import sparred_rows
from ..telling.document import Document, Paragraph, Picture, Section, unbroken
from ..telling.fitness.sentences import plain_capacity, yardstick_words
from ..telling.pace.sentences import plain_activity
from ..telling.published.sentences import named, verdict_of
from ..telling.rounds import phrases as rounds_say
from ..telling.rounds.sentences import (
    plain_change,
    plain_plateau,
    plateau_condition,
    shown_interval,
    told_together,
    weigh_change,
)
from ..telling.study import figures
from ..telling.study import phrases as say
from ..telling.survey.sentences import plain_survey
from ..telling.training.sentences import short_training
from ..telling.words import plain_side, plain_size, plain_span
from ..training.answer import CANNOT_TELL, GAIN, MATTERS, OPPOSITE, SMALL
from .pictures import activity_answer, fitness_outcomes, has_rounds, nothing_compared
from .sharing import partly_passed_on

MOST_WORDS = 250
"""More than this nobody reads on one screen: what is least needed goes first."""


def answers_sections(answers, *, own: bool = False) -> list[Section]:
    """Assemble the first screen; `own` adds a line per athlete who agreed to it, for the owner's copy."""
    if not has_rounds(answers):
        return _survey(answers)
    made = [_trust(answers, own=own), *_training(answers)]
    rounds = {o: a for o in answers.primary_outcomes if (a := answers.rounds(o))}
    partly = partly_passed_on(answers, rounds)
    if rounds:
        made += [_harder(rounds, partly), _level(rounds, partly)]
    else:
        made.append(_section(say.HARDER, say.CANNOT_TELL, _listed(nothing_compared(answers))))
    made += [_fitter(answers), *_rest(answers), *_paper(answers)]
    if own and rounds:
        made += _athletes(answers, rounds)
    made.append(_cannot(answers))
    return _within(made)


def _training(answers) -> list[Section]:
    answer = answers.training()
    if not answer or not answer.outcomes:
        return []
    texts = short_training(answer)
    return [_section(say.TRAINED, _trained(answer), _listed(texts, sure=len(texts)))]


def _trained(answer) -> str:
    """The verdict of a training study."""
    if answer.design == "before_after":
        return say.UNKNOWN_CAUSE
    kinds = {o: one.verdict if one.confirmatory else CANNOT_TELL for o, one in answer.outcomes.items()}
    names = {o: lower_first(one.label) for o, one in answer.outcomes.items()}
    for which, all_of_them, some in (
        ((MATTERS, GAIN), say.SHOWN, say.SHOWN_FOR),
        ((OPPOSITE,), say.AGAINST, say.AGAINST),
        ((SMALL,), say.TOO_SMALL, say.TOO_SMALL_FOR),
    ):
        found = [names[o] for o, kind in kinds.items() if kind in which]
        if found:
            return all_of_them if len(found) == len(kinds) else some.format(outcomes=join_words(found))
    return say.CANNOT_TELL


def _survey(answers) -> list[Section]:
    answer = answers.survey()
    said = plain_survey(answer) if answer else say.NOT_MEASURED
    return _within([_section(say.SESSIONS, "", _listed([said]))])


def _section(title: str, verdict: str, blocks: list) -> Section:
    return Section(title, tuple(b for b in blocks if b), 2, "answers", verdict)


def _picture(name: str, draw, *what) -> Picture:
    return Picture(f"answers_{name}", partial(draw, *what), "")


def _listed(texts: list[str], *, sure: int = 1) -> list[Paragraph]:
    """Paragraphs, of which those after the first `sure` may go where there are too many words."""
    texts = [t for t in texts if t]
    return [Paragraph(t, "plain" if i < sure else "extra") for i, t in enumerate(texts)]


def _trust(answers, *, own: bool) -> Section:
    cleaned = answers.cleaned
    if not cleaned:
        return _section("", "", _listed([str(cleaned)]))
    measured = sparred_rows(cleaned)["hr_mean_bpm"].notna().any()
    return _section("", "", _listed([plain_opening(cleaned, show_codes=own) if measured else say.TRUST_NONE]))


def short_name(outcome: str) -> str:
    """An outcome as people say it: "heart rate", "lactate", "exertion"."""
    known = OUTCOMES[outcome]
    return say.SHORT_NAMES.get(known.question, lower_first(known.label))


def _verdict(states: dict[str, str]) -> str:
    """Put what was found of several outcomes into a few words."""
    for state, whole, some in (("shown", say.SHOWN, say.SHOWN_FOR), ("small", say.TOO_SMALL, say.TOO_SMALL_FOR)):
        found = [short_name(o) for o, s in states.items() if s == state]
        if found:
            return whole if len(found) == len(states) else some.format(outcomes=join_words(found))
    return say.CANNOT_TELL


def _harder(rounds: dict, partly: dict) -> Section:
    """The first question; without all its rounds it has no answer."""
    states, falls = {}, []
    for outcome, answer in rounds.items():
        small = answer.verdict in ("equivalent", "changed but smaller than matters")
        states[outcome] = "open" if outcome in partly else "small" if small else "shown" if answer.changed else "open"
        if states[outcome] == "shown" and answer.last_minus_first < 0:
            falls.append(outcome)
    verdict = say.AGAINST if falls and len(falls) == list(states.values()).count("shown") else _verdict(states)
    first = next(iter(rounds.values()))
    changes = told_together(rounds, _plain_change, level=say.LEVEL_OF_INTERVAL)
    told = say.FROM_TO.format(**changes) if changes else " ".join(_change(o, a) for o, a in rounds.items())
    texts = [*partly.values(), told]
    weighed = weigh_change(first)
    if weighed and not partly:
        name = upper_first(short_name(first.outcome))
        texts.append(say.OF_OUTCOME.format(Outcome=name, weighed=lower_first(weighed)))
    picture = _picture("change", figures.draw_change, rounds)
    return _section(say.HARDER, verdict, [*_listed(texts, sure=2 + len(partly)), picture])


def _plain_change(answer, step) -> tuple[str, str, str]:
    known, rising = OUTCOMES[answer.outcome], step["estimate"] > 0
    span = plain_span(*shown_interval(answer, step), known, rising=rising)
    return short_name(answer.outcome), plain_size(step["estimate"], known), span


def _change(outcome: str, answer) -> str:
    if answer.changed or answer.verdict != "not shown" or plateau_condition(answer):
        text = plain_change(answer)
        return text if _names(text, answer) else f"{upper_first(short_name(outcome))}: {lower_first(text)}"
    return say.OPEN_SHORT.format(**_open_words(outcome, *shown_interval(answer, answer.steps.iloc[-1])))


def _open_words(outcome: str, low: float, high: float) -> dict[str, str]:
    """An outcome and the two ends of an interval, for what cannot be told yet."""
    known = OUTCOMES[outcome]
    ends = {"low": plain_side(low, known), "high": plain_side(high, known, unit=False)}
    return {"Outcome": upper_first(short_name(outcome)), **ends}


def _names(text: str, answer) -> bool:
    return OUTCOMES[answer.outcome].label.lower() in text.lower()


def _level(rounds: dict, partly: dict) -> Section:
    states, texts, unclear = {}, [], []
    for outcome, answer in rounds.items():
        states[outcome] = "shown" if answer.plateau_from and outcome not in partly else "open"
        text, name = plain_plateau(answer), upper_first(short_name(outcome))
        if text.startswith(rounds_say.UNCLEAR[:14]) or text.startswith(rounds_say.TWO_ROUNDS[:10]):
            text = say.CANNOT_TELL_OF.format(Outcome=name)
            unclear.append(short_name(outcome))
        elif not _names(text, answer):
            text = f"{name}: {lower_first(text)}"
        texts.append(text)
    if len(unclear) == len(rounds):  # the verdict has said it already
        texts = [say.NONE_LEVEL.format(outcomes=join_words(unclear, "or"))]
    picture = _picture("level", figures.draw_level, rounds)
    return _section(say.LEVEL, _verdict(states), [*_listed([" ".join(texts)]), picture])


def _fitter(answers) -> Section:
    found = {o: answers.fitness(o) for o in fitness_outcomes(answers)}
    analysed = {o: a for o, a in found.items() if a}
    if not analysed:
        why = next((str(a) for a in found.values()), "")
        return _section(say.FITTER, say.NOT_MEASURED, _listed([why]))
    answer = next(iter(analysed.values()))
    verdicts = {"supported": say.SHOWN, "negligible": say.TOO_SMALL, "opposite": say.AGAINST}
    verdict = verdicts.get(answer.verdict, say.CANNOT_TELL)
    yardstick = yardstick_words(answers.capacity, answer.contrast_step)
    text = plain_capacity(answer, yardstick=yardstick, short=True).removeprefix(say.REPEATS_VERDICT)
    others = [
        say.OTHER_FITNESS.format(**_open_words(o, a.contrast_ci_low, a.contrast_ci_high))
        for o, a in list(analysed.items())[1:]
    ]
    if activity := activity_answer(answers):
        others.insert(0, plain_activity(activity, short=True))
    picture = _picture("fitter", figures.draw_fitter, answer)
    return _section(say.FITTER, verdict, [*_listed([text, *others]), picture])


def _rest(answers) -> list[Section]:
    """How far heart rate falls in the rests, by their ends where the recordings show them."""
    rests = answers.description.rests
    table = rests.table if rests else None
    if table is None or table.empty:
        return []
    said = []
    for measure, one, several in (
        ("hr_rest_end_bpm", say.REST_END, say.REST_ENDS),
        ("hr_recovery_60s_bpm", say.REST_MINUTE, say.REST_MINUTES),
    ):
        rows = table[table["outcome"] == measure].sort_values("round_no")
        if rows.empty:
            continue
        first, last = rows.iloc[0], rows.iloc[-1]
        words = {"first": format_number(first["mean"], 0), "last": format_number(last["mean"], 0)}
        words |= {"round": int(first["round_no"]), "later": int(last["round_no"])}
        said.append((several if len(rows) > 1 else one).format(**words))
    return [_section(say.A_REST, "", _listed(said))]


def _paper(answers) -> list[Section]:
    answer = answers.published()
    if not answer or not answer.correlations:
        return []
    c = answer.correlations[0]
    text = say.BESIDE_PAPER.format(paper=named(c.finding), theirs=format_number(c.r, 2), ours=format_number(c.r_new, 2))
    expected = say.EXPECTED_OF_OURS.format(expected=format_ci(c.prediction_low, c.prediction_high, 2))
    picture = _picture("paper", figures.draw_beside_paper, answer)
    return [_section(say.LIKE_THE_PAPER, verdict_of(c), [*_listed([text, expected]), picture])]


def _athletes(answers, rounds: dict) -> list[Section]:
    outcome = next(iter(rounds))
    changes = figures.own_changes(answers, outcome)
    if changes is None or changes.empty:
        return []
    picture = _picture("athletes", figures.draw_each_change, changes, outcome)
    return [_section(say.EACH_ATHLETE, "", [*_listed([say.ATHLETES]), picture])]


def _cannot(answers) -> Section:
    people = answers.description.participants
    clubs = "One club" if people.n_clubs < 2 else f"{people.n_clubs} clubs"
    count = answers.study.sessions["session"].nunique() if len(answers.study.sessions) else 1
    evenings = "one evening" if count < 2 else f"{count} evenings"
    said = say.CANNOT_DECIDE.format(clubs=clubs, evenings=evenings)
    reasons = {q.why for q in answers.questions}
    if len(reasons) == 1 and not any(q.status == CONFIRMATORY for q in answers.questions):
        said += " " + say.ALL_EXPLORATORY.format(why=reasons.pop())
    return _section(say.CANNOT, "", [Paragraph(said, "plain"), Paragraph(say.CAUTION, "caution")])


def words_of(sections) -> int:
    """Count the words of a screen: headings, verdicts, sentences, captions."""
    return sum(len(re.findall(r"\S+", text)) for section in sections for text in _texts(section))


def _texts(section: Section):
    yield section.title
    yield section.verdict
    for block in section.blocks:
        yield block.text if isinstance(block, Paragraph) else getattr(block, "caption", "")


def _within(sections: list[Section]) -> list[Section]:
    """Leave out what is least needed, from the end, until everything fits on one screen."""
    sections = [s for s in sections if s.blocks]
    places = [(i, block) for i, s in enumerate(sections) for block in s.blocks]
    extra = [(i, block) for i, block in places if getattr(block, "kind", "") == "extra"]
    while extra and words_of(sections) > MOST_WORDS:
        i, least = extra.pop()
        sections[i] = replace(sections[i], blocks=tuple(b for b in sections[i].blocks if b is not least))
    return sections


INK, PINE, OCHRE = (31, 29, 26), (34, 82, 76), (143, 83, 18)
MARGIN, GAP = 14.0, 6.0
TEXT_PT, HEAD_PT, VERDICT_PT, TITLE_PT = 10.0, 10.5, 12.5, 15.0
LEAST = 0.6
"""Below this share of their size pictures would not be readable: then the page would be too full, and says so."""


def write_one_page(document: Document, path: str | Path) -> Path:
    """Write the first screen of a write-up as a PDF of one page."""
    # Sentences stand left, pictures right; what has no picture stands in two columns below. Everything
    # becomes smaller by the same share until it fits.
    for share in (1.0, 0.94, 0.88, 0.82, 0.76, 0.7, 0.64, LEAST):
        pdf = _drawn(document, share)
        if pdf.page_no() == 1 or share == LEAST:
            break
        close_fonts(pdf)
    return save(pdf, path)


def _drawn(document: Document, share: float):
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format="A4")
    add_fonts(pdf)
    pdf.set_title(document.title)
    pdf.set_lang("en-GB")
    pdf.set_margins(MARGIN, MARGIN)
    pdf.set_auto_page_break(True, margin=MARGIN)
    pdf.add_page()
    _write(pdf, document.title, TITLE_PT * share, pdf.epw, bold=True, colour=PINE)
    pdf.ln(1.5 * share)
    for section in document.of_layer("answers"):
        _sheet_section(pdf, section, share)
    return pdf


def _sheet_section(pdf, section: Section, share: float) -> None:
    from PIL import Image

    picture = next((b for b in section.blocks if isinstance(b, Picture)), None)
    width = 80.0 * share if picture else 0.0
    left = pdf.epw - (width + GAP if picture else 0.0)
    top, page = pdf.y, pdf.page_no()
    end = top
    if picture:
        drawing = io.BytesIO(picture.content("png300"))
        with Image.open(drawing) as image:
            height = width * (image.height / image.width)
        if top + height > pdf.h - MARGIN:
            pdf.add_page()
            top, page = pdf.y, pdf.page_no()
        pdf.image(drawing, x=pdf.w - MARGIN - width, y=top, w=width, alt_text=picture.alt_text)
        end = top + height
        pdf.set_xy(MARGIN, top)
    if section.title:
        _write(pdf, section.title, HEAD_PT * share, left, bold=True)
    if section.verdict:
        _write(pdf, section.verdict, VERDICT_PT * share, left, bold=True, colour=PINE)
    for block in section.blocks:
        if isinstance(block, Paragraph):
            caution = block.kind == "caution"
            _write(pdf, block.text, TEXT_PT * share, left, bold=not section.title, colour=OCHRE if caution else INK)
            pdf.ln(0.8 * share)
    if pdf.page_no() == page:
        pdf.set_y(max(pdf.y, end))
    pdf.ln(2.4 * share)


def _write(pdf, text: str, size: float, width: float, *, bold: bool = False, colour=INK) -> None:
    pdf.set_font(FONT, "B" if bold else "", size)
    pdf.set_text_color(*colour)
    pdf.multi_cell(width, size * 0.46, unbroken(text), align="L", new_x="LMARGIN", new_y="NEXT")
