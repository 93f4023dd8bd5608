"""A `Document` as a Word file: styles that can be restyled, fields that Word understands, no date inside."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from docx import Document as new_document
from docx.enum.style import WD_STYLE_TYPE
from docx.enum.text import WD_ALIGN_PARAGRAPH
from docx.oxml import OxmlElement, parse_xml
from docx.oxml.ns import nsdecls, qn
from docx.shared import Mm, Pt, RGBColor

from ..telling.document import (
    Bullets,
    Document,
    Paragraph,
    Picture,
    Section,
    Table,
    number_columns,
    split_at_point,
    unbroken,
)

TABLE_STYLE = "Three-line table"

LANGUAGE = "en-GB"
"""Of the text, for the spelling of Word and for voices that read it."""


def define_styles(word) -> None:
    """Set page, fonts and the named styles that the write-up uses (all can be changed in Word)."""
    page = word.sections[0]
    page.page_width, page.page_height = Mm(210), Mm(297)
    page.left_margin = page.right_margin = Mm(20)
    page.top_margin = page.bottom_margin = Mm(22)
    ink, pine, ochre = RGBColor(0x1F, 0x1D, 0x1A), RGBColor(0x22, 0x52, 0x4C), RGBColor(0x8F, 0x53, 0x12)

    def style(name, *, size, color=ink, bold=False, italic=False, before=0, after=6, line=1.15, base=None):
        known = name in [s.name for s in word.styles]
        made = word.styles[name] if known else word.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
        if base:
            made.base_style = word.styles[base]
        _set_font(made, "Times New Roman", size, color, bold, italic)
        form = made.paragraph_format
        form.space_before, form.space_after, form.line_spacing = Pt(before), Pt(after), line
        return made

    style("Normal", size=11)
    style("Body Text", size=11, after=8, line=1.4)
    style("Title", size=20, color=pine, bold=True, after=18)
    for level, size in ((1, 15), (2, 12.5)):
        heading = style(f"Heading {level}", size=size, color=pine, bold=True, before=20 - 4 * level, after=5)
        heading.paragraph_format.keep_with_next = True
    style("List Bullet", size=11, after=3, line=1.25)
    style("Caption", size=9.5, before=6, after=5)
    style("Figure", size=11, before=8, after=2, base="Normal").paragraph_format.keep_with_next = True
    style("Table text", size=9, bold=None, before=1.5, after=1.5, line=1.0, base="Normal")
    style("Table note", size=8.5, before=3, after=12, line=1.0, base="Normal")
    style("Title page line", size=11, after=8, base="Normal")
    style("To do", size=10, color=ochre, italic=True, after=8, base="Normal")
    paragraph = word.styles["Title"].element.get_or_add_pPr()
    for rule in paragraph.findall(qn("w:pBdr")):
        paragraph.remove(rule)
    for element in word.styles.element.iter(qn("w:lang")):  # the language, also where a style says otherwise
        for name in ("val", "eastAsia"):
            element.set(qn(f"w:{name}"), LANGUAGE)
    word.styles.element.append(_three_line_style())


def _set_font(style, name, size, color, bold, italic) -> None:
    font = style.font
    font.name, font.size, font.bold, font.italic = name, Pt(size), bold, italic
    font.color.rgb = color
    fonts = style.element.get_or_add_rPr().get_or_add_rFonts()
    for kind in ("asciiTheme", "hAnsiTheme", "eastAsiaTheme", "cstheme"):
        fonts.attrib.pop(qn(f"w:{kind}"), None)
    for kind in ("ascii", "hAnsi", "eastAsia", "cs"):
        fonts.set(qn(f"w:{kind}"), name)


def _three_line_style():
    return parse_xml(
        f'<w:style {nsdecls("w")} w:type="table" w:customStyle="1" w:styleId="Threelinetable">'
        f'<w:name w:val="{TABLE_STYLE}"/><w:basedOn w:val="TableNormal"/><w:uiPriority w:val="99"/><w:qFormat/>'
        '<w:tblPr><w:tblBorders><w:top w:val="single" w:sz="10" w:space="0" w:color="1F1D1A"/>'
        '<w:bottom w:val="single" w:sz="10" w:space="0" w:color="1F1D1A"/></w:tblBorders>'
        '<w:tblCellMar><w:left w:w="60" w:type="dxa"/><w:right w:w="60" w:type="dxa"/></w:tblCellMar></w:tblPr>'
        '<w:tblStylePr w:type="firstRow"><w:rPr><w:b/></w:rPr><w:tcPr><w:tcBorders>'
        '<w:bottom w:val="single" w:sz="6" w:space="0" w:color="1F1D1A"/></w:tcBorders></w:tcPr></w:tblStylePr>'
        "</w:style>"
    )


def add_field(paragraph, instruction: str, shown: str, *, bold: bool | None = None) -> None:
    """Add a field (page number, caption number, reference) with the text that it shows until updated."""

    def run(tag, **attributes):
        element = OxmlElement(tag)
        for name, value in attributes.items():
            element.set(qn(f"w:{name}"), value)
        made = paragraph.add_run()
        made.bold = bold  # LibreOffice shows a field as its first run is set
        made._r.append(element)
        return element

    run("w:fldChar", fldCharType="begin")
    instruction_text = run("w:instrText")
    instruction_text.set(qn("xml:space"), "preserve")
    instruction_text.text = f" {instruction} "
    run("w:fldChar", fldCharType="separate")
    paragraph.add_run(shown).bold = bold
    run("w:fldChar", fldCharType="end")


def add_caption(paragraph, number: str, name: str, text: str, marks: dict) -> None:
    """Write "Table S3. Text" with a number that Word counts, and bookmarks that references point to."""
    word, prefix, count = re.fullmatch(r"(\w+) (\D*)(\d+)", number).groups()
    whole, only = _bookmark(bookmark_name(name), marks), _bookmark(bookmark_name(name, only=True), marks)
    paragraph._p.append(whole[0])
    paragraph.add_run(f"{word} ").bold = True
    paragraph._p.append(only[0])
    if prefix:
        paragraph.add_run(prefix).bold = True
    add_field(paragraph, f"SEQ {word}{f'_{prefix}' if prefix else ''} \\* ARABIC", count, bold=True)
    paragraph._p.append(only[1])
    paragraph._p.append(whole[1])
    paragraph.add_run(". ").bold = True
    paragraph.add_run(unbroken(text))


def _bookmark(name: str, marks: dict) -> tuple:
    """The two ends of a bookmark."""
    marks["bookmarks"] = marks.get("bookmarks", 0) + 1
    start, end = OxmlElement("w:bookmarkStart"), OxmlElement("w:bookmarkEnd")
    for element in (start, end):
        element.set(qn("w:id"), str(marks["bookmarks"]))
    start.set(qn("w:name"), name)
    return start, end


def bookmark_name(name: str, *, only: bool = False) -> str:
    """Return a name that Word takes (at most 40 letters, digits and underscores), of the whole or of the number only."""
    return f"{'_Nr_' if only else '_Ref_'}{name}"[:40]


def add_prompt(paragraph, name: str, prompt: str) -> None:
    """Add a field to be filled in by clicking on it (a plain-text content control)."""
    tag = quoteattr(name.lower().replace(" ", "_"))
    paragraph._p.append(
        parse_xml(
            f"<w:sdt {nsdecls('w')}><w:sdtPr><w:alias w:val={quoteattr(name)}/><w:tag w:val={tag}/><w:text/>"
            '</w:sdtPr><w:sdtContent><w:r><w:rPr><w:color w:val="8F5312"/></w:rPr>'
            f"<w:t>[{escape(prompt)}]</w:t></w:r></w:sdtContent></w:sdt>"
        )
    )


def set_widths(table, shares: list[float]) -> None:
    """Set the width of every column."""
    table.autofit = False
    for column, share in zip(table.columns, shares, strict=True):
        column.width = Mm(170.0 * share)
    for row in table._tbl.tr_lst:
        for cell, share in zip(row.tc_lst, shares, strict=True):
            cell.width = Mm(170.0 * share)


def repeat_header(table) -> None:
    """Repeat the first row on every page, keep rows whole, and mark which rows and columns are headings."""
    for i, row in enumerate(table.rows):
        properties = row._tr.get_or_add_trPr()
        properties.append(OxmlElement("w:cantSplit"))
        if i == 0:
            properties.append(OxmlElement("w:tblHeader"))
    look = table._tbl.tblPr.find(qn("w:tblLook"))
    if look is not None:
        for name, value in (("firstRow", "1"), ("noHBand", "1"), ("noVBand", "1"), ("val", "0620")):
            look.set(qn(f"w:{name}"), value)


ROWS_THAT_STAY = 14
"""A table of at most this many rows stays on one page."""

UNDATED = (1980, 1, 1, 0, 0, 0)
LONGEST_TITLE = 255  # of the properties of a document, in letters: ISO/IEC 29500, as python-docx keeps it
"""The date of every part inside the file: the earliest that a zip archive can hold."""


def write_word(
    document: Document, path: str | Path, *, layer: str = "", line_numbers: bool = False, title: str = ""
) -> Path:
    """Write the write-up, or one layer of it, as a Word file; with line numbers for reviewers."""
    word = new_document()
    define_styles(word)
    title = title or document.title
    sections = document.of_layer(layer) if layer else document.sections
    word.add_paragraph(title, style="Title")
    for name, prompt in document.fields if layer != "supplement" else ():
        line = word.add_paragraph(style="Title page line")
        line.add_run(f"{name}: ").bold = True
        add_prompt(line, name, prompt)
    blocks = [block for section in sections for block in section.blocks]
    captions = {("figure", b.key) for b in blocks if isinstance(b, Picture)}
    written = _Written(captions | {("table", b.key) for b in blocks if isinstance(b, Table)}, {})
    for section in sections:
        _section(word, document, section, written)
    footer = word.sections[0].footer.paragraphs[0]
    footer.alignment = WD_ALIGN_PARAGRAPH.CENTER
    add_field(footer, "PAGE", "1")
    if line_numbers:
        number_lines(word)
    properties = word.core_properties
    told = title if len(title) <= LONGEST_TITLE else f"{title[: LONGEST_TITLE - 1]}…"
    properties.title, properties.author, properties.comments = told, "", ""
    properties.language = LANGUAGE
    properties.created = properties.modified = datetime(*UNDATED)
    made = io.BytesIO()
    word.save(made)
    Path(path).write_bytes(without_dates(made.getvalue()))
    return Path(path)


@dataclass
class _Written:
    """What this file holds: the captions that references may point to, and how many were written."""

    captions: set
    marks: dict


def without_dates(archive: bytes) -> bytes:
    """Return a zip archive with the same content whose parts all carry one fixed date."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(archive)) as old, zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            entry = zipfile.ZipInfo(part.filename, date_time=UNDATED)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, old.read(part.filename))
    return target.getvalue()


def _section(word, document: Document, section: Section, written: _Written) -> None:
    if section.title:
        word.add_heading(section.title, level=section.level)
    for block in section.blocks:
        if isinstance(block, Paragraph):
            style = "To do" if block.kind == "note" else "Body Text"
            paragraph = word.add_paragraph(style=style)
            for kind, key, words in document.pieces(block.text):
                if (kind, key) in written.captions:
                    name = bookmark_name(f"{kind}_{key}", only=" " not in words)
                    add_field(paragraph, f"REF {name} \\h", words)
                else:
                    paragraph.add_run(words)
        elif isinstance(block, Bullets):
            for item in block.items:
                word.add_paragraph(item, style="List Bullet")
        elif isinstance(block, Picture):
            _picture(word, document, block, written.marks)
        else:
            _table(word, document, block, written.marks)


def _picture(word, document: Document, block: Picture, marks: dict) -> None:
    width = min(block.width_mm, PAGE_MM)
    paragraph = word.add_paragraph(style="Figure")
    picture = paragraph.add_run().add_picture(io.BytesIO(block.content("png300")), width=Mm(width))
    properties = picture._inline.docPr
    properties.set("descr", block.alt_text)
    properties.set("title", block.key)
    caption = word.add_paragraph(style="Caption")
    add_caption(caption, document.number(block), f"figure_{block.key}", block.caption, marks)


def _table(word, document: Document, block: Table, marks: dict) -> None:
    caption = word.add_paragraph(style="Caption")
    caption.paragraph_format.keep_with_next = True
    add_caption(caption, document.number(block), f"table_{block.key}", block.caption, marks)
    numbers = number_columns(block.shown)
    rows = printed_rows(block.shown, numbers)
    table = word.add_table(rows=len(rows), cols=len(rows[0]), style=TABLE_STYLE)
    text_style = word.styles["Table text"].style_id  # by its name, every cell would search all styles for it
    size, widths = column_widths(rows)
    last = len(rows) - 1
    stay = set(range(last)) if len(rows) <= ROWS_THAT_STAY else {0, 1, last - 1}
    stay |= {last} if block.note else set()  # a note stands below its table, never on the next page
    for i, (cells, values) in enumerate(zip((r.cells for r in table.rows), rows, strict=True)):
        for cell, value in zip(cells, values, strict=True):
            line = cell.paragraphs[0]
            line._p.style = text_style
            run = line.add_run(value)
            run.bold = True if i == 0 else None
            if size != TABLE_SIZES[0]:
                run.font.size = Pt(size)
            line.paragraph_format.keep_with_next = i in stay
    set_widths(table, [w / sum(widths) for w in widths])
    repeat_header(table)
    word.add_paragraph(block.note, style="Table note")


FIGURE_SPACE = "\N{FIGURE SPACE}"
"""As wide as a digit: numbers of a column stand with their decimal points below each other, in any program."""

PAGE_MM = 170.0
TABLE_SIZES = (9.0, 8.0, 7.5)
"""Letters of a table, in points: smaller only where its columns would not fit."""

WIDEST_LETTER = 0.60
"""Width of a letter in a wide font, as a share of its size: what fits then fits in any font."""


def printed_rows(shown, numbers: list[bool]) -> list[list[str]]:
    """Head and body of a table as printed: nothing breaks inside a number, and decimal points stand below each other."""
    columns = []
    for name, is_number in zip(shown.columns, numbers, strict=True):
        cells = [unbroken(str(v)) for v in shown[name]]
        if is_number:
            halves = split_at_point(cells)
            width = max((len(before) for before, _ in halves), default=0)
            cells = [
                f"{FIGURE_SPACE * (width - len(before))}{before}{after}" if before or after[:1] == "." else after
                for before, after in halves
            ]
            cells = [c.replace(" ", "\N{NO-BREAK SPACE}") for c in cells]
        columns.append([unbroken(str(name)), *cells])
    return [list(row) for row in zip(*columns, strict=True)]


def column_widths(rows: list[list[str]]) -> tuple[float, list[float]]:
    """Choose the size of the letters and the widths of the columns in mm, so that no word and no number is broken."""
    longest = [max(len(w) for text in column for w in _words(text)) for column in zip(*rows, strict=True)]
    wanted = [max(len(text) for text in column) for column in zip(*rows, strict=True)]
    more = [max(min(w, MOST_LETTERS) - n, 0) for w, n in zip(wanted, longest, strict=True)]
    for size in TABLE_SIZES:
        letter = size * WIDEST_LETTER * 0.3528
        need = [n * letter + CELL_MM for n in longest]
        spare = max(PAGE_MM - sum(need), 0.0)
        share = spare / max(sum(more) * letter, spare, 1e-9)
        widths = [n + m * letter * share for n, m in zip(need, more, strict=True)]
        lines = max(w * letter / (mm - CELL_MM) for w, mm in zip(wanted, widths, strict=True))
        if sum(need) <= PAGE_MM and lines <= MOST_LINES:
            break
    return size, widths


CELL_MM = 2.4
"""Space at both sides of a cell."""

MOST_LINES = 6
"""Letters are smaller where a cell would be higher than this."""

MOST_LETTERS = 48
"""A column of text wraps beyond this many letters."""


def _words(text: str) -> list[str]:
    return re.split(r"[ \n]", text) or [""]


def number_lines(word) -> None:
    """Number the lines of the text, as reviewers ask."""
    for part in word.sections:
        numbers = OxmlElement("w:lnNumType")
        numbers.set(qn("w:countBy"), "1")
        numbers.set(qn("w:restart"), "continuous")
        after = next((e for e in part._sectPr if e.tag in (qn("w:pgNumType"), qn("w:cols"), qn("w:docGrid"))), None)
        part._sectPr.append(numbers) if after is None else after.addprevious(numbers)
