"""The sheets as one page of HTML that a browser prints: no request outside, the same pages as the PDF."""

from __future__ import annotations

import html
from collections.abc import Sequence

from ..basics import check_choice
from ..telling.style import content_policy
from .parts import PAPERS, Sheet
from .pdf import CARDS_ACROSS, GAP, Page, arrange

STYLE = """
@page { size: %(paper)s portrait; margin: 12mm; }
@page across { size: %(paper)s landscape; margin: 12mm; }
* { box-sizing: border-box; }
body { font: 8.8pt/1.3 "DejaVu Sans", "Segoe UI", Arial, sans-serif; color: #1b1b1b; margin: 0 auto; max-width: 190mm;
  padding: 4mm; }
section { break-after: page; margin-bottom: 14mm; }
section.across { page: across; }
section.cards { display: grid; grid-template-columns: repeat(%(across)s, 1fr); column-gap: 8mm; row-gap: %(gap)smm; }
article { break-inside: avoid; }
section.strips article + article { border-top: 0.8pt dashed #555; margin-top: 3.5mm; padding-top: 3.5mm; }
section.cards article { outline: 0.8pt dashed #999; outline-offset: 3.5mm; }
header { display: flex; justify-content: space-between; align-items: baseline; border-bottom: 1.6pt solid #1b1b1b; }
h1 { font-size: 16pt; line-height: 1.2; margin: 0 0 0.6mm; }
.cards h1 { font-size: 12pt; }
header p { margin: 0; font-style: italic; }
.blanks { display: flex; flex-wrap: wrap; gap: 0.6mm 6mm; margin: 1.2mm 0; }
.blanks span { flex: 1 1 76mm; display: flex; align-items: end; gap: 2mm; min-height: 6.6mm; white-space: nowrap; }
.across .blanks span { flex-basis: 52mm; }
.blanks i { flex: 1; border-bottom: 0.6pt solid #1b1b1b; }
ol { margin: 1.2mm 0 1.5mm; padding-left: 7mm; line-height: 1.27; }
li { margin-bottom: 0.5mm; }
.cards ol { font-size: 7.2pt; }
.plain li { margin-bottom: 0.16em; padding-bottom: 0.3em; }
table { width: 100%%; border-collapse: collapse; table-layout: fixed; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { border: 0.5pt solid #555; padding: 0.4mm 0.8mm; text-align: left; vertical-align: middle; overflow-wrap: break-word; }
td { font-size: 8.5pt; line-height: 1.1; }
th { font-size: 7.5pt; line-height: 1.15; vertical-align: bottom; border-bottom-width: 1.4pt; hyphens: auto; }
th small { display: block; font-weight: normal; font-size: 6.5pt; }
td.given { font-weight: bold; }
aside { border-left: 3pt double #1b1b1b; margin-top: 2.5mm; padding: 0.3mm 0 0.3mm 3mm; font-size: 8.3pt; line-height: 1.25;
  break-inside: avoid; }
aside p { margin: 0 0 0.7mm; }
@media print { body { max-width: none; padding: 0; } section { margin: 0; } section:last-child { break-after: auto; } }
@media screen { section.across { overflow-x: auto; } section.across table { min-width: 240mm; } }
"""


def sheets_html(sheets: Sequence[Sheet], *, paper: str = "A4", title: str = "Sheets for the evening") -> str:
    """Write sheets as one HTML page with a print style."""
    check_choice(paper, PAPERS, name="paper")
    body = "\n".join(_page(page) for page in arrange(sheets, paper=paper))
    style = STYLE % {"paper": paper, "across": CARDS_ACROSS, "gap": GAP}
    return (
        f'<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n{content_policy()}\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{html.escape(title)}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        f"{body}\n</body>\n</html>\n"
    )


def _page(page: Page) -> str:
    kinds = {"card": "cards", "strip": "strips", "page": "own"}
    kind = kinds[page.kind] + (" across" if page.wide else "")
    inner = "\n".join(_article(s, row, page.step_pt) for s, row in zip(page.sheets, page.row_mm, strict=True))
    return f'<section class="{kind}">\n{inner}\n</section>'


def _article(sheet: Sheet, row_mm: float, step_pt: float) -> str:
    kind = "" if sheet.columns else ' class="plain"'
    parts = [
        f'<article id="{html.escape(sheet.key)}"{kind}>',
        f"<header><h1>{html.escape(sheet.title)}</h1><p>{html.escape(sheet.who)}</p></header>",
    ]
    if sheet.blanks:
        blanks = "".join(f"<span>{html.escape(b)} <i></i></span>" for b in sheet.blanks)
        parts.append(f'<div class="blanks">{blanks}</div>')
    if sheet.steps:
        size = "" if sheet.columns else f' style="font-size: {step_pt - 0.3:.1f}pt"'
        parts.append(f"<ol{size}>" + "".join(f"<li>{html.escape(s)}</li>" for s in sheet.steps) + "</ol>")
    if sheet.columns:
        parts.append(_table(sheet, row_mm))
    if sheet.cautions:
        parts.append("<aside>" + "".join(f"<p>{html.escape(c)}</p>" for c in sheet.cautions) + "</aside>")
    return "\n".join([*parts, "</article>"])


def _table(sheet: Sheet, row_mm: float) -> str:
    total = sum(c.weight for c in sheet.columns)
    widths = "".join(f'<col style="width:{100 * c.weight / total:.2f}%">' for c in sheet.columns)
    heads = rows = ""
    for c in sheet.columns:
        unit = f"<small>{html.escape(c.unit)}</small>" if c.unit else ""
        heads += f'<th scope="col">{html.escape(c.heading)}{unit}</th>'
    given = "given" if sheet.bold else "plain"
    for row in sheet.rows:
        cells = "".join(f'<td class="{given}">{html.escape(v)}</td>' if v else "<td></td>" for v in row)
        rows += f'<tr style="height:{row_mm:.2f}mm">{cells}</tr>'
    return f"<table><colgroup>{widths}</colgroup><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
