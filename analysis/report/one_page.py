"""The first screen as one page to hang up: a PDF of one sheet, without a browser."""

from __future__ import annotations

import io
from pathlib import Path

from ..sheets.drawing import FONT, add_fonts, close_fonts
from ..sheets.pdf import save
from ..telling.document import Document, Paragraph, Picture, Section, unbroken

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
        _section(pdf, section, share)
    return pdf


def _section(pdf, section: Section, share: float) -> None:
    picture = next((b for b in section.blocks if isinstance(b, Picture)), None)
    width = 80.0 * share if picture else 0.0
    left = pdf.epw - (width + GAP if picture else 0.0)
    top, page = pdf.y, pdf.page_no()
    end = top
    if picture:
        height = width * _shape(picture)
        if top + height > pdf.h - MARGIN:
            pdf.add_page()
            top, page = pdf.y, pdf.page_no()
        pdf.image(
            io.BytesIO(picture.content("png300")),
            x=pdf.w - MARGIN - width,
            y=top,
            w=width,
            alt_text=picture.alt_text,
        )
        end = top + height
        pdf.set_xy(MARGIN, top)
    if section.title:
        _write(pdf, section.title, HEAD_PT * share, left, bold=True)
    if section.verdict:
        _write(pdf, section.verdict, VERDICT_PT * share, left, bold=True, colour=PINE)
    for block in section.blocks:
        if isinstance(block, Paragraph):
            caution = block.kind == "caution"
            _write(
                pdf,
                block.text,
                TEXT_PT * share,
                left,
                bold=not section.title,
                colour=OCHRE if caution else INK,
            )
            pdf.ln(0.8 * share)
    if pdf.page_no() == page:
        pdf.set_y(max(pdf.y, end))
    pdf.ln(2.4 * share)


def _write(pdf, text: str, size: float, width: float, *, bold: bool = False, colour=INK) -> None:
    pdf.set_font(FONT, "B" if bold else "", size)
    pdf.set_text_color(*colour)
    pdf.multi_cell(width, size * 0.46, unbroken(text), align="L", new_x="LMARGIN", new_y="NEXT")


def _shape(picture: Picture) -> float:
    """Height of a picture as a share of its width."""
    from PIL import Image

    with Image.open(io.BytesIO(picture.content("png300"))) as image:
        return image.height / image.width
