"""A `Document` as one page of HTML: no request outside, sound for keyboard and screen reader, printable."""

from __future__ import annotations

import base64
import html
import itertools
import re
from functools import cache
from pathlib import Path

from ..basics import check_choice
from ..telling.document import (
    LAYERS,
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
from ..telling.style import content_policy

_HERE = Path(__file__).resolve().parent

LONG_ROWS = 12
"""A longer table may break over pages in print: kept whole it would leave half a page empty before it."""


def render_html(document: Document) -> str:
    """Return the whole write-up as one page."""
    header = f'<header class="top"><h1>{_esc(document.title)}</h1></header>'
    if document.layers in ((), ("paper",)):
        body = _fields(document) + "\n".join(_section(document, s) for s in document.sections)
    else:
        body = "\n".join(_layer(document, name) for name in document.layers)
    return page(document.title, f"{header}\n{body}", contents(document))


def _fields(document: Document) -> str:
    """What only the authors can fill in."""
    pairs = "".join(f"<dt>{_esc(name)}</dt><dd class=todo>[{_esc(value)}]</dd>" for name, value in document.fields)
    return f"<dl>{pairs}</dl>" if pairs else ""


def _layer(document: Document, name: str) -> str:
    """One layer under its heading: the first screen, the paper, the supplement."""
    heading = f'<h2 id="{name}-heading">{LAYERS[name]}</h2>'
    first = _fields(document) if name == "paper" else ""
    body = "\n".join(_section(document, s, below=1) for s in document.of_layer(name))
    return f'<section id="{name}" class="layer" aria-labelledby="{name}-heading">\n{heading}\n{first}{body}\n</section>'


class Part:
    """One section of a document with the sections below it, or a whole layer, to be shown in a notebook below a heading."""

    def __init__(self, document: Document, title: str):
        layers = {LAYERS[name]: name for name in document.layers}
        titles = [s.title for s in document.sections if s.title]
        check_choice(title, [*titles, *layers], name="title")
        self.document = document
        if title in layers:
            self.sections = (Section("", layer=layers[title]), *document.of_layer(layers[title]))
            return
        start = next(i for i, s in enumerate(document.sections) if s.title == title)
        first, *after = document.sections[start:]
        below = itertools.takewhile(lambda s: s.level > first.level and s.layer == first.layer, after)
        self.sections = (first, *below)

    def _repr_html_(self) -> str:
        first, *below = self.sections
        text = "\n".join([_blocks(self.document, first), *(_section(self.document, s) for s in below)])
        here = set(re.findall(r' id="([^"]+)"', text))
        return re.sub(r'<a href="#([^"]+)">(.*?)</a>', lambda m: m[0] if m[1] in here else m[2], text)


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
        f"{content_policy()}\n"
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
    several = len(document.layers) > 1
    items = []
    for name in document.layers:
        if several:
            items.append(f'<li><a href="#{name}">{LAYERS[name]}</a></li>')
        if several and name == "answers":
            continue
        for s in document.of_layer(name):
            inner = "" if s.level == 1 and not several else " class=inner"
            if s.title and (s.level == 1 or not several):
                items.append(f'<li{inner}><a href="#{s.anchor}">{_esc(s.title)}</a></li>')
    kind = ' class="layers"' if several else ""
    return f'<nav{kind} aria-labelledby="contents"><h2 id="contents">Contents</h2><ol>{"".join(items)}</ol></nav>'


def picture_uri(content: bytes) -> str:
    """Return an SVG or a PNG as an address that holds the picture itself."""
    kind = "png" if content.startswith(b"\x89PNG") else "svg+xml"
    return f"data:image/{kind};base64," + base64.b64encode(content).decode("ascii")


def _section(document: Document, section: Section, *, below: int = 0) -> str:
    if not section.title:
        return f'<div class="trust">{_blocks(document, section)}</div>'
    level = min(section.level, 2) + below + 1 if section.layer != "answers" else 3
    verdict = f' <span class="verdict">{_esc(section.verdict)}</span>' if section.verdict else ""
    heading = f'<h{level} id="{section.anchor}">{_esc(section.title)}{verdict}</h{level}>'
    kind = ' class="answer"' if section.layer == "answers" else ""
    return f'<section{kind} aria-labelledby="{section.anchor}">\n{heading}\n{_blocks(document, section)}\n</section>'


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
    kind = {"note": "mark", "plain": "plain", "extra": "plain", "caution": "caution"}.get(block.kind, "")
    return f'<p class="{kind}">{text}</p>' if kind else f"<p>{text}</p>"


def _picture(document: Document, block: Picture) -> str:
    width = round(block.width_mm / 25.4 * 96)
    number = document.number(block)
    words = f"{number}. {block.caption}" if number else block.alt_text
    caption = f"<figcaption><b>{number}.</b> {_esc(block.caption)}</figcaption>" if number else ""
    return (
        f'<figure id="figure-{block.key}"><div class="scroll" role="region" tabindex="0" aria-label="{_esc(words)}">'
        f'<img src="{picture_uri(block.for_page())}" width="{width}" alt="{_esc(block.alt_text)}"></div>'
        f"{caption}</figure>"
    )


def _table(document: Document, block: Table) -> str:
    name = f"caption-{block.key}"
    note = f'<p class="below">{_esc(block.note)}</p>' if block.note else '<p class="below"></p>'
    long = " class=long" if len(block.shown) > LONG_ROWS else ""
    caption = f'<caption id="{name}"><b>{document.number(block)}.</b> {_esc(block.caption)}</caption>'
    return (
        f'<div class="scroll" id="table-{block.key}" role="region" aria-labelledby="{name}" tabindex="0">'
        f"<table{long}>{caption}{table_rows(block.shown)}</table></div>{note}"
    )


def table_rows(shown) -> str:
    """Return head and body of a table of text; numbers of a column stand with their decimal points below each other."""
    columns = list(shown.columns)
    numbers = number_columns(shown)
    kinds = list(zip(columns, numbers, strict=True))
    head = "".join(f'<th scope="col"{" class=n" if n else ""}>{_esc(c)}</th>' for c, n in kinds)
    cells = [
        _aligned(shown[c]) if n else [f"<td>{_esc(unbroken(str(v)))}</td>" for v in shown[c]] for c, n in kinds[1:]
    ]
    rows = []
    for name, *rest in zip(shown[columns[0]], *cells, strict=True):
        first = f'<th scope="row">{_esc(name)}</th>' if str(name) else "<td></td>"
        rows.append(f"<tr>{first}{''.join(rest)}</tr>")
    return f"<thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody>"


def _aligned(cells) -> list[str]:
    """The cells of a column of numbers: what stands before the point is as wide as the widest of the column."""
    halves = split_at_point(cells)
    width = max((len(before) for before, _ in halves), default=0)
    return [
        f'<td class=n><span class="w w{min(width, 9)}">{_esc(before)}</span>{_esc(after)}</td>'
        if before or after[:1] == "."
        else f"<td class=n>{_esc(after)}</td>"
        for before, after in halves
    ]


def _esc(text) -> str:
    return html.escape(str(text), quote=True)


def sanitised(body: str) -> str:
    """Return HTML without anything that a browser would run or fetch: only what stands in the lists below stays."""
    import bleach
    from bleach.css_sanitizer import CSSSanitizer

    pictures: list[str] = []  # long, harmless, and slow to look through

    def aside(found: re.Match) -> str:
        pictures.append(found[0])
        return f"data:image/{len(pictures) - 1}"

    body = _PICTURE.sub(aside, body)
    styles = CSSSanitizer(allowed_css_properties=_STYLES)
    schemes = {"https", "mailto", "data"}
    body = bleach.clean(body, tags=_TAGS, attributes=_may_stay, protocols=schemes, css_sanitizer=styles)
    body = re.sub(r"<iframe(?![^>]* sandbox=)", '<iframe sandbox=""', body)
    return re.sub(r"data:image/(\d+)(?=[\"'])", lambda m: pictures[int(m[1])], body)


_PICTURE = re.compile(r"data:image/(?:png|svg\+xml|jpeg);base64,[A-Za-z0-9+/=]+(?=[\"'])")
_MAY_STAY = {
    "tags": "a b blockquote br caption code col colgroup dd del details div dl dt em figcaption figure h1 h2 h3 h4 h5 h6 hr i "
    "iframe img li ol p pre s section small span strong sub summary sup table tbody td tfoot th thead tr u ul",
    "styles": "border height margin margin-left max-width overflow overflow-x padding text-align vertical-align width",
    "attributes": "class id title style scope tabindex role width height alt colspan rowspan start lang sandbox srcdoc "
    "aria-label aria-labelledby aria-hidden aria-describedby",
}
_TAGS, _STYLES, _ATTRIBUTES = (frozenset(words.split()) for words in _MAY_STAY.values())


def _may_stay(tag: str, name: str, value: str) -> bool:
    if (tag, name) == ("img", "src"):
        return bool(re.fullmatch(r"data:image/\d+", value))
    if (tag, name) == ("a", "href"):
        return bool(re.match(r"#|\d\d_\w+\.html(#|$)|https://|mailto:", value))
    return name in _ATTRIBUTES and (name not in ("sandbox", "srcdoc") or tag == "iframe")
