"""A `Document` as a Word file: styles that can be restyled, fields that Word understands, no date inside."""

from __future__ import annotations

import io
import zipfile
from datetime import datetime
from pathlib import Path

from .document import Bullets, Document, Paragraph, Picture, Section, Table
from .word_parts import (
    TABLE_STYLE,
    add_alt_text,
    add_caption,
    add_field,
    add_prompt,
    add_reference,
    define_styles,
    repeat_header,
    set_widths,
)

ROWS_THAT_STAY = 12
"""A table of at most so many rows stays on one page."""

UNDATED = (1980, 1, 1, 0, 0, 0)
"""The date of every part inside the file: the earliest that a zip archive can hold."""


def write_word(document: Document, path: str | Path) -> Path:
    """Write the write-up as a Word file."""
    from docx import Document as new_document

    word = new_document()
    define_styles(word)
    _front(word, document)
    marks: dict = {}
    for section in document.sections:
        _section(word, document, section, marks)
    _footer(word)
    properties = word.core_properties
    properties.title, properties.author, properties.comments = document.title, "", ""
    properties.language = "en-GB"
    properties.created = properties.modified = datetime(*UNDATED)
    made = io.BytesIO()
    word.save(made)
    Path(path).write_bytes(without_dates(made.getvalue()))
    return Path(path)


def without_dates(archive: bytes) -> bytes:
    """Return a zip archive with the same content whose parts all carry one fixed date."""
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(archive)) as old,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.infolist():
            entry = zipfile.ZipInfo(part.filename, date_time=UNDATED)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, old.read(part.filename))
    return target.getvalue()


def _front(word, document: Document) -> None:
    word.add_paragraph(document.title, style="Title")
    for name, prompt in document.fields:
        line = word.add_paragraph(style="Title page line")
        line.add_run(f"{name}: ").bold = True
        add_prompt(line, name, prompt)
    if document.fields:
        word.add_page_break()


def _section(word, document: Document, section: Section, marks: dict) -> None:
    word.add_heading(section.title, level=section.level)
    for block in section.blocks:
        if isinstance(block, Paragraph):
            style = {"note": "To do", "plain": "Body Text"}.get(block.kind, "Body Text")
            _running_text(word.add_paragraph(style=style), document, block.text)
        elif isinstance(block, Bullets):
            for item in block.items:
                word.add_paragraph(item, style="List Bullet")
        elif isinstance(block, Picture):
            _picture(word, block, marks)
        else:
            _table(word, block, marks)


def _running_text(paragraph, document: Document, text: str) -> None:
    for kind, key, words in document.pieces(text):
        if kind == "text":
            paragraph.add_run(words)
        else:
            add_reference(paragraph, f"{kind}_{key}", words)


def _picture(word, block: Picture, marks: dict) -> None:
    from docx.shared import Mm

    width = min(block.width_mm, 170.0)
    paragraph = word.add_paragraph(style="Figure")
    picture = paragraph.add_run().add_picture(io.BytesIO(block.content("png300")), width=Mm(width))
    add_alt_text(picture, block.key, block.alt_text)
    add_caption(word.add_paragraph(style="Caption"), "Figure", f"figure_{block.key}", block.caption, marks)


def _table(word, block: Table, marks: dict) -> None:
    from docx.enum.text import WD_ALIGN_PARAGRAPH

    from .html_page import number_columns

    caption = word.add_paragraph(style="Caption")
    caption.paragraph_format.keep_with_next = True
    add_caption(caption, "Table", f"table_{block.key}", block.caption, marks)
    shown = block.shown
    table = word.add_table(rows=1 + len(shown), cols=len(shown.columns), style=TABLE_STYLE)
    right = number_columns(shown)
    rows = [list(map(str, shown.columns)), *([str(v) for v in row] for row in shown.itertuples(index=False))]
    text_style = word.styles["Table text"].style_id  # by its name, every cell would search all styles for it
    last = len(rows) - 1
    stay = set(range(last + 1)) if len(rows) <= ROWS_THAT_STAY else {0, 1, last - 1, last}
    for i, (cells, values) in enumerate(zip((r.cells for r in table.rows), rows, strict=True)):
        for cell, value, is_number in zip(cells, values, right, strict=True):
            line = cell.paragraphs[0]
            line._p.style = text_style
            line.add_run(value).bold = True if i == 0 else None
            line.paragraph_format.keep_with_next = i in stay
            if is_number:
                line.alignment = WD_ALIGN_PARAGRAPH.RIGHT
    set_widths(table, column_shares(rows))
    repeat_header(table)
    word.add_paragraph(block.note, style="Table note")


def column_shares(rows: list[list[str]]) -> list[float]:
    """Return the share of the width that each column of a table needs, by its longest word and its longest text."""
    need = []
    for column in zip(*rows, strict=True):
        longest = max(len(text) for text in column)
        word = max((len(w) for text in column for w in text.split()), default=1)
        need.append(max(word + 2, min(longest, 34) ** 0.9 + 2))
    return [n / sum(need) for n in need]


def _footer(word) -> None:
    from docx.enum.text import WD_ALIGN_PARAGRAPH

    line = word.sections[0].footer.paragraphs[0]
    line.alignment = WD_ALIGN_PARAGRAPH.CENTER
    add_field(line, "PAGE", "1")
