"""The plan as a dated protocol: fixed through the study room, justified by planning, rendered for Word."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import pandas as pd

from ..basics import KitError
from ..planning import DesignAnswer, answer_design, assure_design
from ..study import Study, freeze_plan, load_study
from ..study.consent import approval_of
from ..study.fixed_plan import PlanDocument
from ..study.plan import MOST_ATHLETES
from ..telling.document import Document, Paragraph, Picture, Section, Table
from ..telling.planning.figures import draw_design
from ..telling.planning.sentences import table_sizes, write_up_assurance, write_up_size
from ..telling.training.sentences import write_up_training_size
from ..training import plan_training

COMMITTEE = "Ethics committee"
FIELDS = (
    ("Authors", "names, roles and affiliations"),
    ("Responsible for the data", "name, office, contact"),
    (COMMITTEE, "name, reference number, date of approval or exemption"),
    ("Registry", "where this plan is registered, and under which number"),
    ("Funding and interests", "who pays, and who could gain"),
)
"""What the authors fill in on the title page."""

SIZE_HEADING = "Athletes and size"


def freeze(folder: str | Path, *, athletes: int | None = None, amendment: str | None = None) -> list[Path]:
    """Fix the plan of a study folder, with the justification of its size, as Markdown and as a Word file."""
    study = load_study(folder)
    size_blocks, stated = blocks_of_size(size_answer(study, athletes)), approval_of(study.settings)
    approval = bool(stated.committee and stated.words())
    size_blocks[0].content("png300")  # drawn first: nothing is fixed where the picture cannot be made

    def as_word(document: PlanDocument, path: Path) -> None:
        from .word import write_word

        write_word(as_document(document, size_blocks, approval=approval), path)

    fixed = fix_plan(folder, athletes=athletes, amendment=amendment, beside=as_word)
    return [*fixed.files, fixed.path.with_suffix(".docx")]


def fix_plan(
    folder: str | Path,
    *,
    athletes: int | None = None,
    today: dt.date | None = None,
    amendment: str | None = None,
    beside: Callable[[PlanDocument, Path], object] | None = None,
) -> PlanDocument:
    """Fix the plan of a study folder as Markdown, with the justification of its size."""
    study = load_study(folder, today=today)
    design = study.training
    if design and design.design != "before_after" and not design.public_number_named:
        raise KitError(
            "Which number decides who trains must be named before it exists, else nobody can check the draw. "
            "Write under [training] in "
            'study.toml public_number_named = "the numbers of the state lottery of 3 October" (a day to come). Nothing was fixed.'
        )
    answer = size_answer(study, athletes)
    study = replace(study, plan=replace(study.plan, n_athletes=answer.n))
    assured = assure_design(answer.design, answer.assumptions, ranges=study.plan.assumption_ranges)
    paragraphs = write_up_size(answer) + write_up_assurance(
        assured, asked={h.question for h in study.plan.hypotheses} or None
    )
    if study.training and study.training.design != "before_after":
        gain = study.training.smallest_capacity_gain  # the rest: the kit's assumptions about capacity
        size = {"sizes": [max(answer.n // 2, 3)], "effects": sorted({2.0, 3.0, 4.1, 5.5, gain}), "smallest": gain}
        training = plan_training(**size, sd_between=5.0, typical_error=2.6, drop_out=0.1)
        paragraphs += write_up_training_size(training)
    justification = {"paragraphs": paragraphs, "n_athletes": answer.n}
    return freeze_plan(study, justification=justification, today=today, amendment=amendment, beside=beside)


def size_answer(study: Study, athletes: int | None = None) -> DesignAnswer:
    """Work out what the planned number of athletes can answer."""
    planned = study.plan.n_athletes
    if athletes is not None and planned is not None and athletes != planned:
        raise KitError(
            f"study.toml plans {planned} athletes (n_athletes in [plan]), but {athletes} were given. Change the one that is "
            "wrong: the plan must say one number."
        )
    n = athletes or planned or len(study.athletes)
    if not n:
        raise KitError(
            "Nobody has said how many athletes are planned. Write n_athletes = 14 (or your number) under [plan] in study.toml, "
            "or give --athletes 14."
        )
    if n > MOST_ATHLETES:
        raise KitError(
            f"{n} athletes: a study of this kit has at most {MOST_ATHLETES}. Give the number that you plan for."
        )
    return answer_design(study.protocol, study.plan, None, n, published=published_correlation(study.published))


def published_correlation(published: pd.DataFrame) -> tuple[float, int] | None:
    """Find the first published correlation with its number of athletes.

    Parameters
    ----------
    published : DataFrame
        The table `published` of a study.

    Returns
    -------
    tuple of (float, int) or None
        r and n; None where no row has both.

    Examples
    --------
    >>> published_correlation(pd.DataFrame({"statistic": ["mean", "r"], "value": [170.0, -0.6], "n_athletes": [12, 12]}))
    (-0.6, 12)
    """
    for row in published.to_dict("records"):
        r, n = row.get("value"), row.get("n_athletes")
        named = str(row.get("statistic", "")).strip().casefold() in ("r", "pearson", "correlation")
        if named and pd.notna(r) and pd.notna(n) and 0 < abs(r) < 1 and n >= 4:
            return float(r), int(n)
    return None


def as_document(fixed, size_blocks: Sequence = (), *, approval: bool = False) -> Document:
    """Turn a fixed plan into a document for Word; `approval`: what the committee said stands in the text."""
    about = Paragraph(
        f"This plan was fixed on {fixed.date} and is not changed afterwards. Its checksum "
        f"(SHA-256) is {fixed.checksum}. Anything done otherwise will be reported as a deviation."
    )
    sections = [Section("About this plan", (about,))]
    for number, part in enumerate(fixed.sections, start=1):
        blocks: list = [Paragraph(text) for text in part.paragraphs]
        if part.table is not None and len(part.table):
            blocks.append(Table(f"plan_{number}", part.caption.rstrip("."), part.table.astype(str)))
        if part.heading == SIZE_HEADING:
            blocks += size_blocks
        sections.append(Section(part.heading, tuple(blocks)))
    fields = [field for field in FIELDS if field[0] != COMMITTEE or not approval]
    return Document(f"{fixed.title}: study plan", tuple(fields), tuple(sections))


def blocks_of_size(answer: DesignAnswer) -> list:
    """Show what the planned number can answer, as a picture and a table."""
    share = f"Share of studies of {answer.n} athletes that would show the smallest effect that matters and the assumed effect."
    table = Table("plan_answers", f"What {answer.n} athletes can answer", table_sizes(answer))
    return [Picture("plan_size", partial(draw_design, answer), share), table]
