"""A text in Markdown as a PDF: what a club has written in texts/, printed as it stands."""

from __future__ import annotations

from pathlib import Path

from ..basics import check_choice
from ..study.approval import unfilled_places
from .drawing import FONT, add_fonts
from .parts import PAPERS
from .pdf import save

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
        _table(pdf, token)
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


def _table(pdf, token: dict) -> None:
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
