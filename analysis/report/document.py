"""The write-up put together: first screen, paper and supplement from one set of results."""

from __future__ import annotations

from dataclasses import replace

from ..telling.document import Bullets, Document, Paragraph, Section
from ..telling.study import phrases as say
from ..telling.study.methods import list_sources
from .answers_page import answers_sections
from .checklists import checklist_tables
from .paper import paper_sections, within_limits
from .pictures import has_rounds
from .sharing import SharedAnswers, without_few
from .supplement import further_section, supplement_sections


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
