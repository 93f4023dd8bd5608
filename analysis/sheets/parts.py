"""What a printed sheet is made of, before it becomes a page or a PDF."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass

from ..basics import Result
from ..study import OUTCOMES

PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Paper -> width and height in mm, upright."""


@dataclass(frozen=True)
class SheetColumn:
    """One column of a sheet.

    Parameters
    ----------
    name : str
        Column of the workbook, "" where it is only for the evening.
    heading : str
        In words.
    unit : str
    weight : float
        Share of the width. Default 1.
    """

    name: str
    heading: str
    unit: str = ""
    weight: float = 1.0


@dataclass(frozen=True)
class Sheet(Result):
    """One sheet to be printed and filled in by hand.

    Parameters
    ----------
    key : str
        Its short name.
    title : str
    who : str
        Who holds it.
    blanks : tuple of str
        Labels with a line to write on, at the top.
    steps : tuple of str
        What to do, in order.
    columns : tuple of SheetColumn
        Empty where the sheet has no table.
    rows : tuple of tuple of str
        Filled cells; "" is left to be filled in by hand.
    cautions : tuple of str
        Below the table.
    wide : bool
        Print across.
    row_mm : float
        Height of a row where there is room for it. Default 11: room for handwriting.
    bold : bool
        Print filled cells bold, so that they stand out from handwriting. Default True.
    """

    key: str
    title: str
    who: str = ""
    blanks: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    columns: tuple[SheetColumn, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    cautions: tuple[str, ...] = ()
    wide: bool = False
    row_mm: float = 11.0
    bold: bool = True

    @property
    def fitted_row_mm(self) -> float:
        """Height of a row with which the sheet stays on one page where it can, but never below 6.5 mm."""
        used = (
            42
            + (5.2 if self.wide else 7.0) * len(self.steps)
            + (5.5 if self.wide else 9.0) * len(self.cautions)
        )
        room = (180 if self.wide else 240) - used
        return max(6.5, min(self.row_mm, room / max(len(self.rows), 1)))

    def column(self, name: str) -> list[str]:
        """Return the cells of one workbook column."""
        at = [c.name for c in self.columns].index(name)
        return [row[at] for row in self.rows]


WORDS = {
    # column of the workbook: heading, unit, weight
    "session": ("Evening", "", 0.95),
    "group": ("Group", "", 0.8),
    "athlete": ("Athlete", "code", 0.85),
    "round_no": ("Round", "", 0.8),
    "start_clock": ("Start", "clock", 1.1),
    "end_clock": ("End", "clock", 1.1),
    "note": ("Note", "", 1.9),
    "device": ("Strap or watch", "number", 1.0),
    "mass_kg": ("Mass now", "kg", 0.9),
    "usual_mass_kg": ("Usual mass", "kg", 0.9),
    "arrived": ("Arrived", "clock", 0.9),
    "left_after": ("Left after", "round", 0.8),
    "took_part": ("Took part", "yes, part, sat_out, left", 1.2),
    "minutes_done": ("Minutes done", "if not all", 0.9),
    "opponent": ("Opponent", "code, guest, none", 1.1),
    **{o.name: (*(o.sheet or (o.label, o.unit)), 1.0) for o in OUTCOMES.values() if o.typed},
    "lactate_limit": ("Off the scale", "high, low", 0.8),
    "lactate_delay_s": ("Delay", "s after the round", 0.85),
    "activity_rating": ("Activity", "coach", 0.95),
    "hr_mean_typed_bpm": ("Mean HR read off", "bpm", 0.85),
    "hr_peak_typed_bpm": ("Peak HR read off", "bpm", 0.85),
    "after_round": ("After round", "", 0.7),
    "sample_clock": ("Drop at", "clock", 1.0),
    "delay_s": ("Delay", "s after the round", 0.85),
    "replicate": ("Reading", "1, 2", 0.7),
}


def sheet_columns(names: Sequence[str]) -> tuple[SheetColumn, ...]:
    """Turn columns of the workbook into columns of a sheet, in the same order.

    Parameters
    ----------
    names : sequence of str

    Returns
    -------
    tuple of SheetColumn

    Examples
    --------
    >>> [c.heading for c in sheet_columns(["athlete", "mass_kg"])]
    ['Athlete', 'Mass now']
    """
    made = []
    for name in names:
        heading, unit, weight = WORDS.get(name, (name.replace("_", " ").capitalize(), "", 1.0))
        made.append(SheetColumn(name, heading, unit, weight))
    return tuple(made)


STYLE = """
@page { size: %(paper)s portrait; margin: 12mm; }
@page across { size: %(paper)s landscape; margin: 12mm; }
* { box-sizing: border-box; }
body { font: 10pt/1.35 "DejaVu Sans", "Segoe UI", Arial, sans-serif; color: #1b1b1b; margin: 0 auto; max-width: 180mm;
  padding: 4mm; }
section { break-after: page; margin-bottom: 14mm; }
section.across { page: across; }
header { display: flex; justify-content: space-between; align-items: baseline; border-bottom: 1.6pt solid #1b1b1b; }
h1 { font-size: 17pt; margin: 0 0 1mm; }
header p { margin: 0; font-style: italic; }
.blanks { display: flex; flex-wrap: wrap; gap: 2mm 6mm; margin: 3mm 0; }
.blanks span { flex: 1 1 76mm; display: flex; align-items: end; gap: 2mm; min-height: 8mm; white-space: nowrap; }
.across .blanks span { flex-basis: 52mm; }
.blanks i { flex: 1; border-bottom: 0.6pt solid #1b1b1b; }
ol { margin: 2mm 0 3mm; padding-left: 8mm; }
li { margin-bottom: 0.8mm; }
.plain ol { font-size: 10.8pt; line-height: 1.4; }
.plain li { margin-bottom: 2.4mm; }
table { width: 100%%; border-collapse: collapse; table-layout: fixed; }
thead { display: table-header-group; }
tr { break-inside: avoid; }
th, td { border: 0.5pt solid #555; padding: 0.6mm 1mm; text-align: left; vertical-align: middle; overflow-wrap: break-word; }
th { font-size: 8pt; line-height: 1.15; vertical-align: bottom; border-bottom-width: 1.4pt; hyphens: auto; }
th small { display: block; font-weight: normal; font-size: 6.5pt; }
th code { display: block; font: 5.8pt "DejaVu Sans Mono", monospace; color: #555; overflow-wrap: anywhere; }
td.given { font-weight: bold; }
aside { border-left: 3pt double #1b1b1b; margin-top: 4mm; padding: 0.5mm 0 0.5mm 3mm; font-size: 8.5pt; break-inside: avoid; }
aside p { margin: 0 0 1mm; }
@media print { body { max-width: none; padding: 0; } section { margin: 0; } section:last-child { break-after: auto; } }
@media screen { section.across { overflow-x: auto; } section.across table { min-width: 240mm; } }
"""


def sheets_html(
    sheets: Sequence[Sheet], *, paper: str = "A4", title: str = "Sheets for the evening", lang: str = "en"
) -> str:
    """Write sheets as one HTML page with a print style.

    Parameters
    ----------
    sheets : sequence of Sheet
    paper : {"A4", "Letter"}
        Default "A4".
    title : str
    lang : str
        Default "en".

    Returns
    -------
    str

    Examples
    --------
    >>> "size: Letter landscape" in sheets_html([Sheet("a", "A")], paper="Letter")
    True
    """
    from ..basics import check_choice

    check_choice(paper, PAPERS, name="paper")
    body = "\n".join(_section(sheet) for sheet in sheets)
    return (
        f'<!DOCTYPE html>\n<html lang="{html.escape(lang)}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{html.escape(title)}</title>\n<style>{STYLE % {'paper': paper}}</style>\n</head>\n<body>\n"
        f"{body}\n</body>\n</html>\n"
    )


def _section(sheet: Sheet) -> str:
    kind = " ".join(name for name, on in (("across", sheet.wide), ("plain", not sheet.columns)) if on)
    parts = [
        f'<section id="{html.escape(sheet.key)}" class="{kind}">',
        f"<header><h1>{html.escape(sheet.title)}</h1><p>{html.escape(sheet.who)}</p></header>",
    ]
    if sheet.blanks:
        parts.append(
            '<div class="blanks">'
            + "".join(f"<span>{html.escape(b)} <i></i></span>" for b in sheet.blanks)
            + "</div>"
        )
    if sheet.steps:
        parts.append("<ol>" + "".join(f"<li>{html.escape(s)}</li>" for s in sheet.steps) + "</ol>")
    if sheet.columns:
        parts.append(_table(sheet))
    if sheet.cautions:
        parts.append("<aside>" + "".join(f"<p>{html.escape(c)}</p>" for c in sheet.cautions) + "</aside>")
    return "\n".join([*parts, "</section>"])


def _table(sheet: Sheet) -> str:
    total = sum(c.weight for c in sheet.columns)
    widths = "".join(f'<col style="width:{100 * c.weight / total:.2f}%">' for c in sheet.columns)
    heads = "".join(
        f'<th scope="col">{html.escape(c.heading)}'
        + (f"<small>{html.escape(c.unit)}</small>" if c.unit else "")
        + (f"<code>{html.escape(c.name)}</code>" if c.name else "")
        + "</th>"
        for c in sheet.columns
    )
    given = "given" if sheet.bold else "plain"
    rows = "".join(
        f'<tr style="height:{sheet.fitted_row_mm:g}mm">'
        + "".join(f'<td class="{given}">{html.escape(v)}</td>' if v else "<td></td>" for v in row)
        + "</tr>"
        for row in sheet.rows
    )
    return f"<table><colgroup>{widths}</colgroup><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
