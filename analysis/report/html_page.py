"""A `Document` as one page of HTML: no request outside, sound for keyboard and screen reader, printable."""

from __future__ import annotations

import base64
import html
from functools import cache
from pathlib import Path

from ..basics import check_choice
from ..telling.document import Bullets, Document, Paragraph, Picture, Section, Table, number_columns

_HERE = Path(__file__).resolve().parent


def render_html(document: Document) -> str:
    """Return the whole write-up as one page."""
    body = "\n".join(_section(document, section) for section in document.sections)
    fields = "".join(
        f"<dt>{_esc(name)}</dt><dd class=todo>[{_esc(value)}]</dd>" for name, value in document.fields
    )
    header = f"<h1>{_esc(document.title)}</h1>" + (f"<dl>{fields}</dl>" if fields else "")
    return page(document.title, f'<header class="top">{header}</header>\n{body}', contents(document))


class Part:
    """One section of a document with the sections below it, to be shown in a notebook below a heading of its own."""

    def __init__(self, document: Document, title: str):
        titles = [s.title for s in document.sections]
        start = titles.index(check_choice(title, titles, name="title"))
        level = document.sections[start].level
        later = [i for i, s in enumerate(document.sections) if i > start and s.level <= level]
        self.document = document
        self.sections = document.sections[start : later[0] if later else None]

    def _repr_html_(self) -> str:
        first, *below = self.sections
        return "\n".join([_blocks(self.document, first), *(_section(self.document, s) for s in below)])


def part(title: str):
    """Return a view for `show`: the section of this title with what stands below it.

    Parameters
    ----------
    title : str

    Returns
    -------
    callable
        Takes a Document.

    Examples
    --------
    >>> document = Document("A study", sections=(Section("Methods", (Paragraph("As said."),)),))
    >>> part("Methods")(document)._repr_html_()
    '<p>As said.</p>'
    """
    return lambda document: Part(document, title)


def page(title: str, main: str, nav: str = "") -> str:
    """Put content into the page that everything of the kit uses."""
    skip = '<a class="skip" href="#main">To the text</a>'
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{_esc(title)}</title>\n<style>\n{style()}</style>\n</head>\n<body>\n{skip}\n"
        f'<div class="frame{" sided" if nav else ""}">\n{nav}\n<main id="main" tabindex="-1">\n{main}\n'
        "</main>\n</div>\n</body>\n</html>\n"
    )


@cache
def style() -> str:
    """Return the style sheet of every page."""
    return (_HERE / "page.css").read_text(encoding="utf-8")


def contents(document: Document) -> str:
    """Return the table of contents of a document."""
    items = "".join(
        f'<li{"" if s.level == 1 else " class=inner"}><a href="#{s.anchor}">{_esc(s.title)}</a></li>'
        for s in document.sections
    )
    return f'<nav aria-labelledby="contents"><h2 id="contents">Contents</h2><ol>{items}</ol></nav>'


def picture_uri(svg: bytes) -> str:
    """Return an SVG as an address that holds the picture itself."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg).decode("ascii")


def _section(document: Document, section: Section) -> str:
    level = section.level + 1
    heading = f'<h{level} id="{section.anchor}">{_esc(section.title)}</h{level}>'
    return (
        f'<section aria-labelledby="{section.anchor}">\n{heading}\n{_blocks(document, section)}\n</section>'
    )


def _blocks(document: Document, section: Section) -> str:
    parts = []
    for block in section.blocks:
        if isinstance(block, Paragraph):
            parts.append(_paragraph(document, block))
        elif isinstance(block, Bullets):
            parts.append("<ul>" + "".join(f"<li>{_esc(item)}</li>" for item in block.items) + "</ul>")
        elif isinstance(block, Picture):
            parts.append(_picture(document, block))
        else:
            parts.append(_table(document, block))
    return "\n".join(parts)


def _paragraph(document: Document, block: Paragraph) -> str:
    text = "".join(
        _esc(words) if kind == "text" else f'<a href="#{kind}-{key}">{words}</a>'
        for kind, key, words in document.pieces(block.text)
    )
    if block.kind == "note":
        return f'<p class="mark">{text}</p>'
    return f'<p class="plain">{text}</p>' if block.kind == "plain" else f"<p>{text}</p>"


def _picture(document: Document, block: Picture) -> str:
    width = round(block.width_mm / 25.4 * 96)
    return (
        f'<figure id="figure-{block.key}"><img src="{picture_uri(block.content("svg"))}" width="{width}" '
        f'alt="{_esc(block.alt_text)}"><figcaption><b>{document.number(block)}.</b> '
        f"{_esc(block.caption)}</figcaption></figure>"
    )


def _table(document: Document, block: Table) -> str:
    name = f"caption-{block.key}"
    note = f'<p class="below">{_esc(block.note)}</p>' if block.note else '<p class="below"></p>'
    caption = f'<caption id="{name}"><b>{document.number(block)}.</b> {_esc(block.caption)}</caption>'
    return (
        f'<div class="scroll" id="table-{block.key}" role="region" aria-labelledby="{name}" tabindex="0">'
        f"<table>{caption}{table_rows(block.shown)}</table></div>{note}"
    )


def table_rows(shown) -> str:
    """Return head and body of a table of text; columns of numbers stand to the right."""
    columns = list(shown.columns)
    side = [" class=n" if n else "" for n in number_columns(shown)]
    head = "".join(f'<th scope="col"{s}>{_esc(c)}</th>' for c, s in zip(columns, side, strict=True))
    rows = []
    for row in shown.itertuples(index=False):
        first = f'<th scope="row">{_esc(row[0])}</th>' if str(row[0]) else "<td></td>"
        cells = "".join(f"<td{s}>{_esc(v)}</td>" for v, s in zip(row[1:], side[1:], strict=True))
        rows.append(f"<tr>{first}{cells}</tr>")
    return f"<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody>"


def _esc(text) -> str:
    return html.escape(str(text), quote=True)
