"""One sheet drawn into a PDF: heading, lines to write on, steps, table, cautions, notes (fpdf2, DejaVu fonts)."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

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
        high = sum(
            pdf.multi_cell(pdf.epw - 7, size * 0.46, step, align="L", dry_run=True, output="HEIGHT") + 0.17 * size
            for step in sheet.steps
        )
        if high <= room:
            break
    return size, 0.17 * size


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
