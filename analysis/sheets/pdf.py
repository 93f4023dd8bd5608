"""The sheets as a PDF, without a browser: fpdf2 with the DejaVu fonts that come with matplotlib."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC
from pathlib import Path

from ..basics import check_choice
from .parts import PAPERS, Sheet

FONT = "DejaVu"
CAUTION_PT = 8.5
LEAST_ROW_MM = 5.8
MARGIN = 12.0


def sheets_pdf(
    sheets: Sequence[Sheet], path: str | Path, *, paper: str = "A4", title: str = "Sheets for the evening"
) -> Path:
    """Write sheets as a PDF, one sheet to a page (a long table runs on, with its heading repeated).

    Parameters
    ----------
    sheets : sequence of Sheet
    path : path
        The file to write.
    paper : {"A4", "Letter"}
        Default "A4".
    title : str

    Returns
    -------
    path

    Examples
    --------
    >>> import tempfile
    >>> sheets_pdf([Sheet("a", "A", steps=("Do it.",))], tempfile.mkdtemp() + "/a.pdf").name
    'a.pdf'
    """
    from fpdf import FPDF

    from ..basics import check_choice

    check_choice(paper, PAPERS, name="paper")
    pdf = FPDF(unit="mm", format=PAPERS[paper])
    add_fonts(pdf)
    pdf.set_title(title)
    pdf.set_margins(MARGIN, MARGIN)
    pdf.set_auto_page_break(True, margin=MARGIN + 4)
    for sheet in sheets:
        pdf.add_page(orientation="landscape" if sheet.wide else "portrait")
        _sheet(pdf, sheet)
    return save(pdf, path)


def save(pdf, path: str | Path) -> Path:
    """Write a PDF without the time at which it was made, so that the same content gives the same bytes."""
    from datetime import datetime

    pdf.set_creation_date(datetime(2000, 1, 1, tzinfo=UTC))
    pdf.output(str(path))
    return Path(path)


def add_fonts(pdf) -> None:
    """Give a PDF the fonts that matplotlib brings: upright, bold and oblique, with the signs of most languages."""
    import matplotlib

    fonts = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for style, name in (("", "DejaVuSans"), ("B", "DejaVuSans-Bold"), ("I", "DejaVuSans-Oblique")):
        pdf.add_font(FONT, style, fonts / f"{name}.ttf")


def _sheet(pdf, sheet: Sheet) -> None:
    pdf.set_font(FONT, "B", 16)
    pdf.cell(pdf.epw * 0.62, 8, sheet.title)
    pdf.set_font(FONT, "I", 9)
    pdf.cell(0, 8, sheet.who, align="R", new_x="LMARGIN", new_y="NEXT")
    pdf.set_line_width(0.6)
    pdf.line(pdf.l_margin, pdf.y, pdf.l_margin + pdf.epw, pdf.y)
    pdf.ln(2)
    if sheet.blanks:
        _blanks(pdf, sheet.blanks)
    size = 9 if sheet.columns else 11.5 if len(sheet.steps) < 10 else 10.5
    pdf.set_font(FONT, "", size)
    for i, step in enumerate(sheet.steps, start=1):
        pdf.set_x(pdf.l_margin)
        pdf.cell(7, size * 0.47, f"{i}.")
        pdf.multi_cell(pdf.epw - 7, size * 0.47, step, align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(0.8 if sheet.columns else 2.6)
    if sheet.columns:
        pdf.ln(1.5)
        _table(pdf, sheet)
    if sheet.cautions:
        _cautions(pdf, sheet.cautions)


def _blanks(pdf, blanks: Sequence[str]) -> None:
    per_line = 4 if pdf.epw > 220 else 2
    width = pdf.epw / per_line
    pdf.set_font(FONT, "", 9)
    pdf.set_line_width(0.2)
    for i, label in enumerate(blanks):
        if i and i % per_line == 0:
            pdf.ln(8)
        x, y = pdf.x, pdf.y
        used = pdf.get_string_width(label) + 2
        pdf.cell(used, 8, label)
        pdf.line(x + used, y + 6.2, x + width - 4, y + 6.2)
        pdf.set_xy(x + width, y)
    pdf.ln(11)


def _table(pdf, sheet: Sheet) -> None:
    from fpdf.enums import TableBordersLayout, VAlign
    from fpdf.fonts import FontFace

    pdf.set_font(FONT, "", 8.5)
    pdf.set_line_width(0.2)
    line = 3.4
    height = _row_height(pdf, sheet)
    pdf.set_font(FONT, "", 8.5)
    with pdf.table(
        col_widths=tuple(c.weight for c in sheet.columns),
        borders_layout=TableBordersLayout.ALL,
        headings_style=FontFace(emphasis="BOLD", size_pt=7.5),
        line_height=line,
        text_align="LEFT",
        v_align=VAlign.M,
        padding=(0.6, 0.8, 0.6, 0.8),
        first_row_as_headings=True,
        width=pdf.epw,
    ) as table:
        head = table.row()
        for column in sheet.columns:
            head.cell(_head(column))
        for cells in sheet.rows:
            row = table.row(min_height=height)
            for value in cells:
                row.cell(value, style=FontFace(emphasis="BOLD") if sheet.bold else None)


def _head(column) -> str:
    return "\n".join(filter(None, (column.heading, column.unit and f"({column.unit})")))


def _row_height(pdf, sheet: Sheet) -> float:
    """Height of a row (mm) with which table and cautions end on this page, where rows can still be written in."""
    pdf.set_font(FONT, "B", 7.5)
    share = pdf.epw / sum(c.weight for c in sheet.columns)
    heading = 1.2 + max(
        pdf.multi_cell(c.weight * share - 1.6, 3.4, _head(c), dry_run=True, output="HEIGHT")
        for c in sheet.columns
    )
    room = pdf.h - pdf.b_margin - pdf.y - heading - 5
    if sheet.cautions:
        room -= _height_of_cautions(pdf, sheet.cautions)
    fitted = min(sheet.row_mm, room / max(len(sheet.rows), 1))
    return fitted if fitted >= LEAST_ROW_MM else sheet.fitted_row_mm


def _height_of_cautions(pdf, cautions: Sequence[str]) -> float:
    pdf.set_font(FONT, "", CAUTION_PT)
    return sum(
        pdf.multi_cell(pdf.epw - 5, CAUTION_PT * 0.46, c, align="L", dry_run=True, output="HEIGHT") + 1
        for c in cautions
    )


def _cautions(pdf, cautions: Sequence[str]) -> None:
    pdf.ln(3.5)
    needed = _height_of_cautions(pdf, cautions)
    if pdf.y + needed > pdf.h - pdf.b_margin:
        pdf.add_page(same=True)
    top = pdf.y
    for caution in cautions:
        pdf.set_x(pdf.l_margin + 5)
        pdf.multi_cell(pdf.epw - 5, CAUTION_PT * 0.46, caution, align="L", new_x="LMARGIN", new_y="NEXT")
        pdf.ln(1)
    pdf.set_line_width(0.35)
    for x in (pdf.l_margin + 1, pdf.l_margin + 2):
        pdf.line(x, top, x, pdf.y - 1)


SIZES = {1: 17.0, 2: 12.5}
BODY, LINE = 10.0, 4.9
JOINER = "\N{ZERO WIDTH NON-JOINER}"
"""Put between signs that the PDF library would read as markup, such as the underscores of a line to sign on."""


def texts_pdf(text: str, path: str | Path, *, paper: str = "A4") -> Path:
    """Write a text in Markdown as a PDF.

    Parameters
    ----------
    text : str
        Headings, paragraphs, lists and tables, bold and italic; anything in HTML is printed as it stands.
    path : path
    paper : {"A4", "Letter"}
        Default "A4".

    Returns
    -------
    path

    Examples
    --------
    >>> import tempfile
    >>> texts_pdf("# Consent", tempfile.mkdtemp() + "/consent.pdf").name
    'consent.pdf'
    """
    import mistune
    from fpdf import FPDF

    check_choice(paper, PAPERS, name="paper")
    pdf = FPDF(unit="mm", format=PAPERS[paper])
    add_fonts(pdf)
    pdf.set_margins(20, 18)
    pdf.set_auto_page_break(True, margin=18)
    pdf.add_page()
    for token in mistune.create_markdown(renderer=None, plugins=["table"])(text):
        _block(pdf, token)
    return save(pdf, path)


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
    with pdf.table(
        col_widths=weights,
        line_height=LINE,
        text_align="LEFT",
        headings_style=FontFace(emphasis="BOLD"),
        padding=1.2,
    ) as table:
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
