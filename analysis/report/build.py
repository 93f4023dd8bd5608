"""`build_report`: from a study folder to everything that a reader, a journal or an athlete is given."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path

from ..answers import Answers
from ..answers.training import training_questions
from ..basics import FEWEST_PEOPLE, KitError, join_words, plural, rounded
from ..basics.parallel import SideBySide
from ..study.binding import note_look
from ..study.inventory import UNTOLD, input_checksums
from ..telling.document import Bullets, Document, Paragraph, Picture, Section, Table
from ..telling.study import phrases as say
from ..telling.study.methods import list_sources
from ..telling.study.sentences import deviations
from ..telling.style import contact_sheet
from .athlete_pages import write_athlete_pages
from .data_package import write_data_package
from .first_screen import answers_sections, write_one_page
from .html_page import render_html
from .notebook_pages import NotebooksAside
from .output import ABOUT, FOR_YOU, TO_SHARE, Folders, build_aside, describe_output, versions
from .paper import paper_sections, within_limits
from .pictures import drawn, has_rounds
from .results_json import json_text, write_csv
from .sharing import Codes, SharedAnswers, texts_that_leave, without_few
from .supplement import checklist_tables, further_section, supplement_sections


def build_document(answers, *, own: bool = False) -> Document:
    """Assemble the write-up of a study.

    Parameters
    ----------
    answers : Answers
    own : bool
        For the owner's copy: a line on the first screen for each athlete who agreed to it. Default False.

    Returns
    -------
    Document
        With the layers "answers", "paper" and "supplement".

    Examples
    --------
    >>> from analysis.answers import Answers
    >>> from pathlib import Path
    >>> from analysis.study import Study
    >>> build_document(Answers(Study(folder=Path("nowhere"), title="An evening"))).title
    'An evening'
    """
    study = answers.study
    paper, further = within_limits(paper_sections(answers))
    beside = [further_section(further)] if further else []
    sections = (*answers_sections(answers, own=own), *paper, *supplement_sections(answers), *beside)
    if isinstance(answers, SharedAnswers):
        sections = tuple(without_few(s) for s in sections)
    document = Document(
        title=study.title or ("A sparring study" if has_rounds(answers) else "A survey of sparring sessions"),
        fields=say.TITLE_PAGE,
        sections=sections,
    )
    lists = checklist_tables(document, study)
    see = Paragraph(say.SEE_HERE.format(refs=", ".join(f"{{table:{t.key}}}" for t in lists)))
    checklists = Section("Reporting checklists", (see, *lists), 1, "supplement")
    sources = list_sources(document.text("paper", cells=True), answers)
    further = [s for s in list_sources(document.text("supplement", cells=True), answers) if s not in sources]
    ordered = (
        *document.of_layer("answers"),
        *document.of_layer("paper"),
        *([Section("Sources", (Bullets(sources),))] if sources else []),
        *document.of_layer("supplement"),
        *([checklists] if has_rounds(answers) else []),  # they ask about a study of athletes
        *([Section("Further sources", (Bullets(tuple(further)),), 1, "supplement")] if further else []),
    )
    return replace(document, sections=ordered, _numbers={})


READ_ME = f"""What is in this folder
======================

Written by the kit. The next report replaces it; what you changed or added then moves to a folder kept_<date>.

{TO_SHARE}   to pass on: one_page.pdf (the answers, to hang up), report.html (answers, paper and supplement as one page),
           manuscript.docx and supplement.docx (the same for Word), figures/, contact_sheet.html, tables/,
           data_package/ (of a study with athletes: only those who agreed to sharing; read its codebook first).
           Nothing in it is a statistic of fewer than five people, and numbers are rounded.
{FOR_YOU}    for the team alone: answers.html and answers.pdf (with a line for each athlete who agreed), results.json (every
           estimate, unrounded), ledger.csv (what became of every row), about.json, notebooks/ unless left out, and with
           --individuals individual_pages/: give each to the athlete first, and to nobody else unasked. report_complete.html,
           where something was withheld from the write-up to pass on.
"""


class Steps:
    """Runs the steps of a report one after the other, says what it does and how long each took."""

    def __init__(self, progress: Callable[[str], object]):
        self.progress = progress
        self.seconds: dict[str, float] = {}

    @contextmanager
    def step(self, name: str):
        """Time what is done inside, under this name."""
        self.progress(name)
        start = time.perf_counter()
        try:
            yield
        finally:
            self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start

    def show(self) -> None:
        """Say where the time went."""
        self.progress("Where the time went:")
        for name, seconds in sorted(self.seconds.items(), key=lambda pair: -pair[1]):
            self.progress(f"{seconds:8.2f} s  {name}")


def build_report(
    study,
    out_folder: str | Path | None = None,
    *,
    individuals: bool = False,
    notebooks: bool = True,
    strict: bool = False,
    timings: bool = False,
    progress: Callable[[str], object] = print,
) -> Path:
    """Analyse a study and write everything up, into a new folder that takes the place of the old one at the end.

    Parameters
    ----------
    study : path or Answers
        The study folder, or its answers.
    out_folder : path, optional
        Default: `output` in the study folder.
    individuals : bool
        Show codes, and write a page for each athlete: only of those who agreed to it. Default False.
    notebooks : bool
        Run the notebooks and keep them as pages. Default True.
    strict : bool
        Fail where a notebook warns. Default False.
    timings : bool
        Say at the end where the time went. Default False.
    progress : callable
        Takes one line of text per step.

    Returns
    -------
    path
        The page to open.

    Raises
    ------
    KitError
        Where the study has problems, a notebook stops, or the output cannot be replaced. The earlier output is then
        as it was.

    Notes
    -----
    The same input gives the same bytes, dates aside: they stand in about.json alone.

    Examples
    --------
    >>> from analysis.basics import KitError
    >>> try:
    ...     build_report("no such folder", progress=lambda line: None)
    ... except KitError as error:
    ...     print("no such folder" in str(error))
    True
    """
    steps = Steps(progress)
    with SideBySide(warm_up) as workers:
        if not isinstance(study, Answers):
            with steps.step("Reading the study"):
                study = Answers.from_folder(study)
        folder = Path(study.study.folder)
        out_folder = Path(out_folder) if out_folder else folder / "output"
        if out_folder.resolve() == folder.resolve():
            raise KitError("The output needs a folder of its own, not the study folder itself.")

        def fill(aside: Path) -> None:
            _fill(aside, study, steps, workers, individuals=individuals, notebooks=notebooks, strict=strict)

        note_look(study.study)
        build_aside(out_folder, fill, say=lambda line: progress(f"{line}."))
    if timings:
        steps.show()
    now, was_read = input_checksums(folder), study.study.input
    told = [name for name in was_read if not name.startswith(UNTOLD)]  # the others are known by content, not by name
    if changed := sorted(name for name in told if now.get(name) != was_read[name]):
        progress(f"{join_words(changed)} changed or vanished while the report was made: run it again.")
    return next(f for f in (out_folder / part / "report.html" for part in (TO_SHARE, FOR_YOU)) if f.exists())


def warm_up() -> None:
    """Import what the answers and figures need, in a worker that waits for work."""
    import pingouin  # noqa: F401
    import seaborn  # noqa: F401


def _fill(out: Path, answers, steps: Steps, workers: SideBySide, *, individuals: bool, notebooks: bool, strict: bool):
    with steps.step("Cleaning the recordings"):
        _ = answers.cleaned, answers.capacity
    workers.share(answers)
    _answer_everything(answers, steps, workers)
    shared = SharedAnswers(answers)
    folders = Folders(out, may_share=shared.may_share)
    with NotebooksAside(answers, keep_in=out, strict=strict, wanted=notebooks) as running:
        _write_up(folders, answers, shared, steps, workers, individuals=individuals)
        if notebooks:
            with steps.step("Waiting for the notebooks"):
                runs = running.wait()
            for run in runs:
                _write_text(folders.place(f"notebooks/{run.name}.html"), run.page)
                steps.seconds[f"notebook {run.name} (beside the rest)"] = run.seconds
    with steps.step("Writing checksums"):
        choices = {"individuals": individuals, "notebooks": notebooks}
        about = describe_output(answers.study, out, seed=answers.seed, choices=choices)
        _write_text(out / ABOUT, json_text(about))


def _write_up(
    folders: Folders, answers, shared: SharedAnswers, steps: Steps, workers: SideBySide, *, individuals: bool
) -> None:
    from .word import write_word

    codes = Codes(answers.study, individuals=individuals)
    with steps.step("Writing sentences and tables"):
        document = codes.hide_in_document(build_document(shared if folders.may_share else answers))
    with steps.step("Drawing figures, meanwhile writing tables, results and data package"):
        pictures = list(document.blocks(Picture))
        last_first = pictures[::-1]  # those take longest
        numbers = partial(_write_numbers, folders, answers, document, codes)
        for picture, made in zip(last_first, workers.run(drawn, last_first, meanwhile=numbers), strict=True):
            picture.keep(made)
        numbered = [p for p in pictures if document.number(p)]
        for picture in numbered:
            picture.save(folders.place("figures"))
        captions = {p.key: (p.caption, p.alt_text) for p in numbered}
        _write_text(folders.place("contact_sheet.html"), contact_sheet(captions))
    with steps.step("Writing the page, the sheet to hang up and the Word files"):
        _write_text(folders.place("report.html"), render_html(document))
        write_one_page(document, folders.place("one_page.pdf"))
        write_word(document, folders.place("manuscript.docx"), layer="paper", line_numbers=True)
        title = f"{document.title}: supplement"
        write_word(document, folders.place("supplement.docx"), layer="supplement", title=title)
    with steps.step("Writing the answers with a line for each athlete who agreed to it"):
        agreed = Codes(answers.study, individuals=True)
        mine = agreed.hide_in_document(build_document(answers, own=True))
        mine_alone = replace(mine, sections=mine.of_layer("answers"), _numbers={})
        _write_text(folders.place("answers.html"), render_html(mine_alone))
        write_one_page(mine_alone, folders.place("answers.pdf"))
    if shared.withheld and folders.may_share:
        with steps.step("Writing the page with what is not passed on"):
            _write_text(folders.place("report_complete.html"), render_html(mine))
    if individuals:
        with steps.step("Writing the pages of the athletes"):
            written = write_athlete_pages(answers, folders.place("individual_pages"), workers=workers)
            steps.progress(f"{plural(len(written), 'page')} for athletes who agreed to it")
    for line in _what_is_withheld(shared):
        steps.progress(line)
    typed = texts_that_leave(answers.study, codes, document)
    if typed and folders.may_share:
        stand = "stands" if len(typed) == 1 else "stand"
        listed = f"{plural(len(typed), 'text')} typed by people {stand} in the write-up"
        steps.progress(f"{listed}, listed in {FOR_YOU}/READ_ME.txt: read them for names before you pass anything on")
    read_me = [READ_ME, *_what_is_withheld(shared), ""]
    if typed:
        read_me.append("Typed by people, and in the write-up: read each for names before you pass it on.")
        read_me += [f"  {text}" for text in typed]
    _write_text(folders.place("READ_ME.txt"), "\n".join(read_me))


def _what_is_withheld(shared: SharedAnswers) -> list[str]:
    if not shared.may_share:
        few = f"a study of {plural(shared.n_people, 'person', 'people')}: {FEWEST_PEOPLE} are the fewest"
        return [f"Nothing is passed on from {few}. Everything is in {FOR_YOU}."]
    if not shared.withheld:
        return []
    return [
        f"Not passed on, since fewer than {FEWEST_PEOPLE} people could be told from it (see report_complete.html in {FOR_YOU}):",
        *(f"  {what}" for what in shared.withheld),
    ]


def _write_numbers(folders: Folders, answers, document, codes) -> None:
    """Write what needs no picture: tables, results, ledger, data package."""
    for table in document.blocks(Table):
        numbers = table.shown if table.numbers is None else table.numbers
        told = rounded(numbers) if folders.may_share else numbers
        write_csv(codes.hide_in_table(told), folders.place(f"tables/{table.key}.csv"))
    _write_text(folders.place("results.json"), json_text(codes.hide(collect_results(answers))))
    ledger = answers.cleaned.ledger if answers.cleaned else answers.study.ledger
    write_csv(ledger.table, folders.place("ledger.csv"))
    if len(answers.study.athletes):
        title = codes.hide_in_text(answers.study.title)
        write_data_package(answers, folders.place("data_package"), title=title, hide=codes.hide_in_text)


def _answer_everything(answers, steps: Steps, workers: SideBySide) -> None:
    """Ask every question once, the long ones side by side."""
    asked = {"fitness": answers.fitness_outcomes, "rounds": answers.measured_outcomes}
    with steps.step("Comparing rounds, asking about fitness"):
        primary = answers.study.plan.primary_outcomes.values()
        pieces = [(question, o) for question, outcomes in asked.items() for o in outcomes]
        pieces.sort(key=lambda piece: piece[1] not in primary)
        for (question, outcome), answer in zip(pieces, workers.run(ask, pieces), strict=True):
            answers.keep(question, outcome, answer)
    with steps.step("Comparing with published findings, asking what the design can answer"):
        answers.published()
        answers.design()
        answers.training()


def ask(answers, piece: tuple[str, str]):
    """Return the answer to one question about one outcome."""
    question, outcome = piece
    return getattr(answers, question)(outcome)


def _write_text(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8", newline="\n")


def collect_results(answers) -> dict:
    """Gather every result of a study."""
    study, outcomes = answers.study, answers.measured_outcomes
    return {
        "study": {c: getattr(study, c) for c in ("title", "sport", "protocol", "plan")} | {"seed": answers.seed},
        "questions": [*answers.questions, *training_questions(answers)],
        "description": answers.description,
        "deviations": [dict(zip(("part", "planned", "done"), line, strict=True)) for line in deviations(answers)],
        "software": versions(),
        "cleaning": _cleaning(answers),
        "rounds": {outcome: answers.rounds(outcome) for outcome in outcomes},
        "reliability": {outcome: answers.reliability(outcome) for outcome in outcomes},
        "capacity": answers.capacity,
        "fitness": {outcome: answers.fitness(outcome) for outcome in answers.fitness_outcomes},
        "levels": answers.levels(),
        "published": answers.published(),
        "design": answers.design(),
        "training": answers.training(),
        "survey": answers.survey(),
    }


def _cleaning(answers):
    cleaned = answers.cleaned
    if not cleaned:
        return cleaned
    return {
        "rows": cleaned.rows,
        "clocks": cleaned.clocks,
        "flags": cleaned.flags_table,
        "overrides": cleaned.overrides,
        "bounds": cleaned.bounds,
        "rules": cleaned.rules,
        "balance": cleaned.ledger.balance(),
        "missing": cleaned.missing,
        "remarks": cleaned.remarks,
        "warnings": cleaned.warnings,
    }
