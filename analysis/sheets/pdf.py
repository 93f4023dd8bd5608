"""Sheets and texts as PDF, without a browser: drawn, measured, and put on pages (fpdf2, DejaVu fonts)."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache, partial
from itertools import pairwise
from pathlib import Path

from ..basics import check_choice
from ..study.consent import unfilled_places
from .parts import PAPERS, Sheet

FONT = "DejaVu"
CAUTION_PT = 8.5
MARGIN = 12.0
NOTE_MM = 9.0
CARD_MARGIN = 4.0


def new_pdf(paper: str):
    """Return an empty PDF on this paper, with fonts and margins."""
    from fpdf import FPDF

    pdf = FPDF(unit="mm", format=PAPERS[paper])
    add_fonts(pdf)
    pdf.set_margins(MARGIN, MARGIN)
    pdf.set_auto_page_break(True, margin=MARGIN)
    return pdf


def add_fonts(pdf) -> None:
    """Give a PDF the fonts that matplotlib brings: upright, bold and oblique, with the signs of most languages."""
    import matplotlib

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for style, name in (("", "DejaVuSans"), ("B", "DejaVuSans-Bold"), ("I", "DejaVuSans-Oblique")):
        pdf.add_font(FONT, style, fonts / f"{name}.ttf")
    for font in pdf.fonts.values():
        _measure_once(font)


def _measure_once(font) -> None:
    """Let a font remember the widths of texts: a line is measured again after each character that it grows by."""
    known: dict[str, int] = {}

    class Measured(type(font)):
        __slots__ = ()

        def get_text_width(self, text, font_size_pt, shaping):
            if shaping or self.is_symbol:
                return super().get_text_width(text, font_size_pt, shaping)
            self.biggest_size_pt = max(self.biggest_size_pt, font_size_pt)  # as the library's own
            if text not in known:
                before = known.get(text[:-1])
                whole = before is None
                known[text] = sum(self.cw[ord(c)] for c in text) if whole else before + self.cw[ord(text[-1])]
            return len(text), known[text] * font_size_pt * 0.001

    font.__class__ = Measured


def close_fonts(pdf) -> None:
    """Close the font files of a PDF that is never written."""
    for font in pdf.fonts.values():
        font.ttfont.close()


def draw_sheet(pdf, sheet: Sheet, row_mm: float) -> None:
    """Draw a sheet from where the PDF stands, with rows of this height."""
    card = sheet.size == "card"
    pdf.set_font(FONT, "B", 12 if card else 16)
    pdf.cell(pdf.epw * 0.66, 6 if card else 8, sheet.title)
    pdf.set_font(FONT, "I", 7.5 if card else 9)
    pdf.cell(0, 6 if card else 8, sheet.who, align="R", new_x="LMARGIN", new_y="NEXT")
    pdf.set_line_width(0.6)
    pdf.line(pdf.l_margin, pdf.y, pdf.l_margin + pdf.epw, pdf.y)
    pdf.ln(1.5 if card else 2)
    if sheet.blanks:
        _blanks(pdf, sheet.blanks)
    _steps(pdf, sheet)
    if sheet.columns:
        pdf.ln(0.8)
        _table(pdf, sheet, row_mm)
    if sheet.cautions:
        _cautions(pdf, sheet.cautions, 7.5 if card else CAUTION_PT)


def _steps(pdf, sheet: Sheet) -> None:
    size, gap = step_size(pdf, sheet, pdf.y - pdf.t_margin)
    pdf.set_font(FONT, "", size)
    for i, step in enumerate(sheet.steps, start=1):
        pdf.set_x(pdf.l_margin)
        pdf.cell(7, size * 0.46, f"{i}.")
        pdf.multi_cell(pdf.epw - 7, size * 0.46, step, align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(gap)


def step_size(pdf, sheet: Sheet, used_mm: float) -> tuple[float, float]:
    """Size of the letters (pt) and the gap below a step (mm); where there is no table, as large as fits on the page."""
    if sheet.columns:
        return (7.2, 0.5) if sheet.size == "card" else (8.8, 0.7)
    room = pdf.h - pdf.b_margin - pdf.t_margin - used_mm - 6
    for size in (11.0, 10.5, 10.0, 9.6, 9.2, 8.8, 8.4):
        pdf.set_font(FONT, "", size)
        high = 0.0
        for step in sheet.steps:
            place = (pdf.epw - 7, size * 0.46, step)
            height = partial(pdf.multi_cell, *place, align="L", dry_run=True, output="HEIGHT")
            high += _once((step, size, pdf.epw), height) + 0.17 * size
        if high <= room:
            break
    return size, 0.17 * size


_measured: dict[tuple, object] = {}
"""What was measured, since the same sheets are previewed, printed and printed again."""


def _once(what: tuple, measure: Callable[[], object]):
    """Measure something that was not measured before; what was is remembered for some hundred sheets."""
    if what not in _measured:
        if len(_measured) >= 4_000:
            del _measured[next(iter(_measured))]
        _measured[what] = measure()
    return _measured[what]


def _blanks(pdf, blanks: Sequence[str]) -> None:
    pdf.set_font(FONT, "", 9)
    longest = max(pdf.get_string_width(label) for label in blanks)
    per_line = max(int(pdf.epw / max(46.0, longest + 24)), 1)
    width = pdf.epw / per_line
    pdf.set_line_width(0.2)
    for i, label in enumerate(blanks):
        if i and i % per_line == 0:
            pdf.ln(8)
        x, y = pdf.x, pdf.y
        used = pdf.get_string_width(label) + 2
        pdf.cell(used, 8, label)
        pdf.line(x + used, y + 6.2, x + width - 4, y + 6.2)
        pdf.set_xy(x + width, y)
    pdf.ln(8.6)


def _table(pdf, sheet: Sheet, row_mm: float) -> None:
    from fpdf.enums import TableBordersLayout, VAlign
    from fpdf.fonts import FontFace

    pdf.set_font(FONT, "", 8.5)
    pdf.set_line_width(0.2)
    with pdf.table(
        col_widths=tuple(c.weight for c in sheet.columns),
        borders_layout=TableBordersLayout.ALL,
        headings_style=FontFace(emphasis="BOLD", size_pt=7.0 if sheet.size == "card" else 7.5),
        line_height=3.4,
        text_align="LEFT",
        align="LEFT",
        v_align=VAlign.M,
        padding=(0.6, 0.8, 0.6, 0.8),
        first_row_as_headings=True,
        width=pdf.epw,
    ) as table:
        head = table.row()
        for column in sheet.columns:
            head.cell("\n".join(filter(None, (column.heading, column.unit and f"({column.unit})"))))
        for cells in sheet.rows:
            row = table.row(min_height=row_mm)
            for value in cells:
                row.cell(value, style=FontFace(emphasis="BOLD") if sheet.bold else None)


def _cautions(pdf, cautions: Sequence[str], size: float) -> None:
    pdf.set_font(FONT, "", size)
    pdf.ln(2.2)
    top = pdf.y
    for caution in cautions:
        pdf.set_x(pdf.l_margin + 5)
        pdf.multi_cell(pdf.epw - 5, size * 0.45, caution, align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(0.9)
    pdf.set_line_width(0.35)
    for x in (pdf.l_margin + 1, pdf.l_margin + 2):
        pdf.line(x, top, x, pdf.y - 0.9)


def draw_notes(pdf) -> None:
    """Rule the rest of the page for notes, where there is room for three lines."""
    room = pdf.h - pdf.b_margin - pdf.y - 8
    if room < 3 * NOTE_MM:
        return
    pdf.ln(5)
    pdf.set_font(FONT, "I", 8.5)
    pdf.cell(0, 4, "Notes", new_x="LMARGIN", new_y="NEXT")
    pdf.set_line_width(0.15)
    y = pdf.y + NOTE_MM - 2
    while y <= pdf.h - pdf.b_margin:
        pdf.line(pdf.l_margin, y, pdf.l_margin + pdf.epw, y)
        y += NOTE_MM


def draw_cut(pdf, x1: float, y1: float, x2: float, y2: float) -> None:
    """Draw a dashed line to cut along."""
    pdf.set_line_width(0.2)
    pdf.set_dash_pattern(dash=2, gap=2)
    pdf.line(x1, y1, x2, y2)
    pdf.set_dash_pattern()


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
    scratch = _Scratch(paper)
    pages: list[Page] = []
    waiting: list[Sheet] = []
    for sheet in [*sheets, None]:
        if waiting and (sheet is None or sheet.size != waiting[0].size):
            pages += (_cards if waiting[0].size == "card" else _strips)(scratch, waiting)
            waiting = []
        if sheet is not None and sheet.size == "page":
            pages += _own_pages(scratch, sheet)
        elif sheet is not None:
            waiting.append(sheet)
    scratch.close()
    return tuple(pages)


def room_on(paper: str, *, wide: bool = False) -> float:
    """Height that a page has for its sheets (mm)."""
    return PAPERS[paper][0 if wide else 1] - 2 * MARGIN - SLACK


class _Scratch:
    """A PDF to measure on that is never written, and not even begun where everything was measured before."""

    def __init__(self, paper: str):
        self.paper, self._pdf = paper, None

    @property
    def pdf(self):
        self._pdf = self._pdf or new_pdf(self.paper)
        return self._pdf

    def height(self, sheet: Sheet, row_mm: float) -> float:
        """Height of a sheet (mm); endless where it does not end on its page."""
        return _once((self.paper, sheet, row_mm), lambda: _height(self.pdf, sheet, row_mm))

    def step_pt(self, sheet: Sheet) -> float:
        """Size of the letters of a sheet without a table (pt)."""
        rest = replace(sheet, steps=(), cautions=())
        return _once((self.paper, sheet), lambda: step_size(self.pdf, sheet, _height(self.pdf, rest, sheet.row_mm))[0])

    def close(self) -> None:
        """Close the font files."""
        if self._pdf:
            close_fonts(self._pdf)


def _height(pdf, sheet: Sheet, row_mm: float) -> float:
    """Height of a sheet (mm); endless where it does not end on its page."""
    card = sheet.size == "card"
    pdf.add_page(orientation="landscape" if sheet.wide and not card else "portrait")
    right = pdf.r_margin
    if card:
        pdf.set_right_margin(pdf.w - pdf.l_margin - card_width(pdf))
    page, top = pdf.page, pdf.y
    draw_sheet(pdf, sheet, row_mm)
    high = pdf.y - top if pdf.page == page else math.inf
    pdf.set_right_margin(right)
    return high


def card_width(pdf) -> float:
    """Width of a card (mm)."""
    return (pdf.w - 2 * MARGIN - 2 * CARD_MARGIN * (CARDS_ACROSS - 1)) / CARDS_ACROSS


def _own_pages(scratch: _Scratch, sheet: Sheet) -> list[Page]:
    room = room_on(scratch.paper, wide=sheet.wide)
    if not sheet.rows:
        high = min(scratch.height(sheet, sheet.row_mm), room)
        return [Page((sheet,), (sheet.row_mm,), (high,), scratch.step_pt(sheet))]
    bare = scratch.height(replace(sheet, rows=()), sheet.row_mm)
    for parts in range(1, len(sheet.rows) + 1):
        pieces = _split(sheet, parts)
        made = []
        for piece in pieces:
            row = min(sheet.row_mm, (room - bare) / len(piece.rows))
            high = scratch.height(piece, row) if row >= sheet.least_row_mm else math.inf
            if high > room + SLACK / 2 and high < math.inf:  # a cell of several lines made a row higher
                row = max(sheet.least_row_mm, row - (high - room) / len(piece.rows))
                high = scratch.height(piece, row)
            made.append(Page((piece,), (row,), (high,)))
        if all(p.heights[0] <= room + SLACK / 2 for p in made) or parts == len(sheet.rows):
            return made
    return []


def _split(sheet: Sheet, parts: int) -> list[Sheet]:
    """Split the rows evenly over pages, each with its heading, steps and cautions."""
    if parts == 1:
        return [sheet]
    rows, title = sheet.rows, sheet.title
    cuts = pairwise(round(i * len(rows) / parts) for i in range(parts + 1))
    return [replace(sheet, title=f"{title} · {i} of {parts}", rows=rows[a:b]) for i, (a, b) in enumerate(cuts, start=1)]


def _strips(scratch: _Scratch, strips: Sequence[Sheet]) -> list[Page]:
    """Fill pages from the highest strip down: each goes where it fits first."""
    room = room_on(scratch.paper)
    measured = [(s, scratch.height(s, s.least_row_mm)) for s in strips]
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
            made.append((order[id(page[0][0])], _own_pages(scratch, replace(page[0][0], size="page"))))
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


def _cards(scratch: _Scratch, cards: Sequence[Sheet]) -> list[Page]:
    highest = max(scratch.height(c, c.row_mm) for c in cards)
    room = room_on(scratch.paper)
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


def sheets_pdf(
    sheets: Sequence[Sheet], path: str | Path, *, paper: str = "A4", title: str = "Sheets for the evening"
) -> Path:
    """Write sheets as a PDF: small ones share a page, with lines to cut along; long tables run on, heading repeated."""
    check_choice(paper, PAPERS, name="paper")
    pdf = new_pdf(paper)
    pdf.set_title(title)
    for page in arrange(sheets, paper=paper):
        pdf.add_page(orientation="landscape" if page.wide else "portrait")
        (_draw_cards if page.kind == "card" else _draw_down)(pdf, page)
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


SIZES = {1: 17.0, 2: 12.5}
BODY, LINE = 10.0, 4.9
JOINER = "\N{ZERO WIDTH NON-JOINER}"
"""Put between signs that the PDF library would read as markup, such as the underscores of a line to sign on."""

MARK = "NOT FILLED IN"
"""Printed across every page of a text that still has places in brackets."""


def texts_pdf(text: str, path: str | Path, *, paper: str = "A4") -> Path:
    """Write a text in Markdown as a PDF, with a mark across every page while places in [brackets] are not filled in."""
    import mistune

    check_choice(paper, PAPERS, name="paper")
    pdf = _empty_pdf(paper, mark=MARK if unfilled_places(text) else "")
    add_fonts(pdf)
    pdf.set_margins(20, 18)
    pdf.set_auto_page_break(True, margin=18)
    pdf.add_page()
    for token in mistune.create_markdown(renderer=None, plugins=["table"])(text):
        _block(pdf, token)
    return save(pdf, path)


def _empty_pdf(paper: str, *, mark: str):
    """A PDF that prints a mark across every page, "" for none."""
    from fpdf import FPDF

    class Marked(FPDF):
        def header(self):
            if not mark:
                return
            with self.local_context(text_color=200):
                self.set_font(FONT, "B", 58)
                half = self.get_string_width(mark) / 2
                with self.rotation(52, x=self.w / 2, y=self.h / 2):
                    self.text(self.w / 2 - half, self.h / 2 + 8, mark)

    return Marked(unit="mm", format=PAPERS[paper])


def _block(pdf, token: dict, indent: float = 0.0) -> None:
    kind = token["type"]
    if kind == "heading":
        size = SIZES.get(token["attrs"]["level"], 10.5)
        pdf.ln(3.5)
        _keep_together(pdf, 3 * LINE)
        pdf.set_font(FONT, "B", size)
        _paragraph(pdf, _plain(token), size * 0.5)
        pdf.ln(1.2)
    elif kind in ("paragraph", "block_text", "block_html", "block_code"):
        pdf.set_font(FONT, "", BODY)
        _paragraph(pdf, _marked(token), LINE, indent, markdown=True)
        pdf.ln(0.8 if kind == "block_text" else 2.2)
    elif kind == "list":
        _list(pdf, token, indent)
    elif kind == "table":
        _text_table(pdf, token)
    elif kind == "thematic_break":
        pdf.ln(2)
        pdf.line(pdf.l_margin, pdf.y, pdf.l_margin + pdf.epw, pdf.y)
        pdf.ln(2)
    elif kind == "block_quote":
        for child in token["children"]:
            _block(pdf, child, indent + 6)


def _list(pdf, token: dict, indent: float) -> None:
    number = token["attrs"].get("start", 1)
    for item in token["children"]:
        mark = f"{number}." if token["attrs"].get("ordered") else "•"
        number += 1
        _keep_together(pdf, 2 * LINE)
        pdf.set_font(FONT, "", BODY)
        pdf.set_x(pdf.l_margin + indent)
        top = pdf.y
        pdf.cell(7, LINE, mark)
        pdf.set_y(top)
        for child in item["children"]:
            _block(pdf, child, indent + 7)
    pdf.ln(1.5)


def _text_table(pdf, token: dict) -> None:
    from fpdf.fonts import FontFace

    head = [_plain(cell) for cell in token["children"][0]["children"]]
    body = [[_plain(cell) for cell in row["children"]] for row in token["children"][1]["children"]]
    longest = [max(len(row[i]) for row in [head, *body]) for i in range(len(head))]
    weights = tuple(min(max(n, 8), 60) for n in longest)
    pdf.set_font(FONT, "", BODY)
    look = {"line_height": LINE, "text_align": "LEFT", "headings_style": FontFace(emphasis="BOLD"), "padding": 1.2}
    with pdf.table(col_widths=weights, **look) as table:
        for cells in [head, *body]:
            row = table.row()
            for cell in cells:
                row.cell(cell)
    pdf.ln(3)


def _paragraph(pdf, text: str, line: float, indent: float = 0.0, *, markdown: bool = False) -> None:
    pdf.set_x(pdf.l_margin + indent)
    pdf.multi_cell(pdf.epw - indent, line, text, align="L", markdown=markdown, new_x="LMARGIN", new_y="NEXT")


def _keep_together(pdf, height: float) -> None:
    if pdf.y + height > pdf.h - pdf.b_margin:
        pdf.add_page()


def _plain(token: dict) -> str:
    """The words of a token, without markup."""
    if token["type"] in ("softbreak", "linebreak"):
        return " " if token["type"] == "softbreak" else "\n"
    if "children" in token:
        return "".join(_plain(child) for child in token["children"])
    return token.get("raw") or token.get("text") or ""


def _marked(token: dict) -> str:
    """The words of a token, bold and italic marked as the PDF library reads them."""
    kind = token["type"]
    if kind in ("strong", "emphasis"):
        mark = "**" if kind == "strong" else "__"
        return mark + "".join(_marked(child) for child in token["children"]) + mark
    if kind in ("softbreak", "linebreak") or "children" not in token:
        return _unmarked(_plain(token))
    return "".join(_marked(child) for child in token["children"])


def _unmarked(text: str) -> str:
    for sign in "_*-~":
        text = text.replace(sign + sign, sign + JOINER + sign).replace(sign + sign, sign + JOINER + sign)
    return text
