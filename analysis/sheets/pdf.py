"""The sheets as a PDF, without a browser."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from ..basics import check_choice
from .drawing import CARD_MARGIN, MARGIN, draw_cut, draw_notes, draw_sheet, new_pdf
from .pages import CARDS_ACROSS, GAP, Page, arrange, card_width
from .parts import PAPERS, Sheet


def sheets_pdf(
    sheets: Sequence[Sheet], path: str | Path, *, paper: str = "A4", title: str = "Sheets for the evening"
) -> Path:
    """Write sheets as a PDF: small ones share a page, with lines to cut along; long tables run on, heading repeated."""
    check_choice(paper, PAPERS, name="paper")
    pdf = new_pdf(paper)
    pdf.set_title(title)
    for page in arrange(sheets, paper=paper):
        pdf.add_page(orientation="landscape" if page.wide else "portrait")
        if page.kind == "card":
            _draw_cards(pdf, page)
        else:
            _draw_down(pdf, page)
    return save(pdf, path)


def _draw_down(pdf, page: Page) -> None:
    for i, (sheet, row_mm) in enumerate(zip(page.sheets, page.row_mm, strict=True)):
        if i:
            draw_cut(pdf, 0, pdf.y + GAP / 2, pdf.w, pdf.y + GAP / 2)
            pdf.ln(GAP)
        draw_sheet(pdf, sheet, row_mm)
    if len(page.sheets) == 1 and sheet.notes:
        draw_notes(pdf)


def _draw_cards(pdf, page: Page) -> None:
    high, width = page.heights[0], card_width(pdf)
    step_x, step_y = width + 2 * CARD_MARGIN, high + GAP
    rows = -(-len(page.sheets) // CARDS_ACROSS)
    for i, (sheet, row_mm) in enumerate(zip(page.sheets, page.row_mm, strict=True)):
        x = MARGIN + (i % CARDS_ACROSS) * step_x
        y = MARGIN + (i // CARDS_ACROSS) * step_y
        pdf.set_margins(x, MARGIN, pdf.w - x - width)
        pdf.set_xy(x, y)
        draw_sheet(pdf, sheet, row_mm)
    pdf.set_margins(MARGIN, MARGIN, MARGIN)
    foot = MARGIN + rows * step_y - GAP / 2
    for i in range(1, rows + 1):
        y = MARGIN + i * step_y - GAP / 2
        if y < pdf.h - 2:
            draw_cut(pdf, 0, y, pdf.w, y)
    draw_cut(pdf, pdf.w / 2, 0, pdf.w / 2, min(foot, pdf.h))


def save(pdf, path: str | Path) -> Path:
    """Write a PDF without the time at which it was made, so that the same content gives the same bytes."""
    pdf.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))
    pdf.output(str(path))
    return Path(path)
