"""Which sheets share a page, and how high a row can be: measured by drawing, the same for PDF and browser."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

from .drawing import CARD_MARGIN, MARGIN, close_fonts, draw_sheet, new_pdf, step_size
from .parts import PAPERS, Sheet

GAP = 9.0
"""Between two strips, with the line to cut along in its middle (mm)."""
SLACK = 6.0
"""Left free at the foot of a page, since browsers break lines a little otherwise (mm)."""
CARDS_ACROSS = 2


@dataclass(frozen=True)
class Page:
    """One printed page."""

    sheets: tuple[Sheet, ...]  # from top to bottom; cards row by row
    row_mm: tuple[float, ...]  # height of a table row of each
    heights: tuple[float, ...]  # height that each takes (mm)
    step_pt: float = 10.0  # size of the letters of a page that has no table

    @property
    def kind(self) -> str:
        """What its sheets are: "page", "strip" or "card"."""
        return self.sheets[0].size

    @property
    def wide(self) -> bool:
        """Whether it is printed across."""
        return self.sheets[0].wide


def arrange(sheets: Sequence[Sheet], *, paper: str = "A4") -> list[Page]:
    """Put sheets onto pages."""
    return list(_arranged(tuple(sheets), paper))


@lru_cache(maxsize=16)
def _arranged(sheets: tuple[Sheet, ...], paper: str) -> tuple[Page, ...]:
    """Lay sheets out once for the PDF and the page of the same sheets."""
    scratch = new_pdf(paper)
    pages: list[Page] = []
    waiting: list[Sheet] = []
    for sheet in [*sheets, None]:
        if waiting and (sheet is None or sheet.size != waiting[0].size):
            pages += (_cards if waiting[0].size == "card" else _strips)(scratch, waiting, paper)
            waiting = []
        if sheet is not None and sheet.size == "page":
            pages += _own_pages(scratch, sheet, paper)
        elif sheet is not None:
            waiting.append(sheet)
    close_fonts(scratch)
    return tuple(pages)


def room_on(paper: str, *, wide: bool = False) -> float:
    """Height that a page has for its sheets (mm)."""
    return PAPERS[paper][0 if wide else 1] - 2 * MARGIN - SLACK


def _height(pdf, sheet: Sheet, row_mm: float) -> float:
    """Height of a sheet (mm); endless where it does not end on its page."""
    if sheet.size == "card":
        pdf.add_page(orientation="portrait")
        right = pdf.r_margin
        pdf.set_right_margin(pdf.w - pdf.l_margin - card_width(pdf))
    else:
        pdf.add_page(orientation="landscape" if sheet.wide else "portrait")
        right = pdf.r_margin
    page, top = pdf.page, pdf.y
    draw_sheet(pdf, sheet, row_mm)
    high = pdf.y - top if pdf.page == page else math.inf
    pdf.set_right_margin(right)
    return high


def card_width(pdf) -> float:
    """Width of a card (mm)."""
    return (pdf.w - 2 * MARGIN - 2 * CARD_MARGIN * (CARDS_ACROSS - 1)) / CARDS_ACROSS


def _own_pages(pdf, sheet: Sheet, paper: str) -> list[Page]:
    room = room_on(paper, wide=sheet.wide)
    if not sheet.rows:
        size = step_size(pdf, sheet, _height(pdf, replace(sheet, steps=(), cautions=()), sheet.row_mm))[0]
        return [Page((sheet,), (sheet.row_mm,), (min(_height(pdf, sheet, sheet.row_mm), room),), size)]
    bare = _height(pdf, replace(sheet, rows=()), sheet.row_mm)
    for parts in range(1, len(sheet.rows) + 1):
        pieces = _split(sheet, parts)
        made = []
        for piece in pieces:
            row = min(sheet.row_mm, (room - bare) / len(piece.rows))
            high = _height(pdf, piece, row) if row >= sheet.least_row_mm else math.inf
            if high > room + SLACK / 2 and high < math.inf:  # a cell of several lines made a row higher
                row = max(sheet.least_row_mm, row - (high - room) / len(piece.rows))
                high = _height(pdf, piece, row)
            made.append(Page((piece,), (row,), (high,)))
        if all(p.heights[0] <= room + SLACK / 2 for p in made) or parts == len(sheet.rows):
            return made
    return []


def _split(sheet: Sheet, parts: int) -> list[Sheet]:
    """Split the rows evenly over pages, each with its heading, steps and cautions."""
    if parts == 1:
        return [sheet]
    n = len(sheet.rows)
    cuts = [round(i * n / parts) for i in range(parts + 1)]
    return [
        replace(sheet, title=f"{sheet.title} · {i + 1} of {parts}", rows=sheet.rows[a:b])
        for i, (a, b) in enumerate(pairwise(cuts))
    ]


def _strips(pdf, strips: Sequence[Sheet], paper: str) -> list[Page]:
    """Fill pages from the highest strip down: each goes where it fits first."""
    room = room_on(paper)
    measured = [(s, _height(pdf, s, s.least_row_mm)) for s in strips]
    pages: list[list[tuple[Sheet, float]]] = []
    for sheet, high in sorted(measured, key=lambda one: -one[1]):
        for page in pages:
            if sum(h for _, h in page) + GAP * len(page) + high <= room:
                page.append((sheet, high))
                break
        else:
            pages.append([(sheet, high)])
    order = {id(s): i for i, s in enumerate(strips)}
    made = []
    for page in pages:
        if len(page) == 1 and page[0][1] > room:
            made.append((order[id(page[0][0])], _own_pages(pdf, replace(page[0][0], size="page"), paper)))
            continue
        page = sorted(page, key=lambda one: order[id(one[0])])
        made.append((order[id(page[0][0])], [_grown(page, room)]))
    return [one for _, several in sorted(made, key=lambda m: m[0]) for one in several]


def _grown(page: list[tuple[Sheet, float]], room: float) -> Page:
    """Give the rows of the strips the space that the page has left."""
    spare = room - sum(h for _, h in page) - GAP * (len(page) - 1)
    rows = max(sum(len(s.rows) for s, _ in page), 1)
    heights, row_mm = [], []
    for sheet, high in page:
        row = min(sheet.row_mm, sheet.least_row_mm + spare / rows)
        row_mm.append(row)
        heights.append(high + (row - sheet.least_row_mm) * len(sheet.rows))
    return Page(tuple(s for s, _ in page), tuple(row_mm), tuple(heights))


def _cards(pdf, cards: Sequence[Sheet], paper: str) -> list[Page]:
    highest = max(_height(pdf, c, c.row_mm) for c in cards)
    room = room_on(paper)
    down = max(int((room + GAP) // (highest + GAP)), 1)
    per = CARDS_ACROSS * down
    n_pages = math.ceil(len(cards) / per)
    sizes = [len(cards) * (i + 1) // n_pages - len(cards) * i // n_pages for i in range(n_pages)]
    made, at = [], 0
    for size in sizes:
        part = tuple(cards[at : at + size])
        made.append(Page(part, tuple(c.row_mm for c in part), (highest,) * size))
        at += size
    return made
