"""What a write-up is made of, before it becomes a page or a Word file: sections of paragraphs, tables and figures."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from .style import FORMATS, HEAVY_BYTES, PAGE_PIXELS, figure_bytes, file_name

REFERENCE = re.compile(r"\{(figure|table):([a-z0-9_]+)\}")
REFERENCES = re.compile(r"\{(table|figure):(\w+)\}(?:(?:, | and )\{\1:\w+\})*")
"""How a paragraph points to a figure or a table: ``{figure:rounds_heart_rate}``."""

LAYERS = {"answers": "Answers", "paper": "Paper", "supplement": "Supplement"}
"""The layers of a write-up, in order, with their headings: one screen, one sitting, everything else."""

PREFIX = {"answers": "", "paper": "", "supplement": "S"}
"""What stands before the number of a figure or a table of each layer."""

_APART = re.compile(
    r"(?<=\b[pnrFgdW]) (?=[=<>] )|(?<=[ \N{NO-BREAK SPACE}(][=<>]) (?=[\d.+\N{MINUS SIGN}])|(?<=\d) (?=%)"
    r"|(?<=\b[Rr]ound) (?=\d)"
)
"""Spaces inside "p = .004", "n = 15", "95 %" and "round 3": a line must not end there."""


def unbroken(text: str) -> str:
    """Keep what belongs together on one line: "p = .004", "n = 15"."""
    return _APART.sub("\N{NO-BREAK SPACE}", text)


@dataclass(frozen=True)
class Paragraph:
    """One paragraph of plain text, in which ``{table:key}`` and ``{figure:key}`` point elsewhere."""

    text: str
    kind: str = "body"


@dataclass(frozen=True)
class Bullets:
    """A list."""

    items: tuple[str, ...]


@dataclass(frozen=True)
class Picture:
    """A figure with its caption, drawn when first needed."""

    key: str
    draw: Callable[[], object]
    caption: str
    _drawn: dict = field(default_factory=dict, compare=False, repr=False)

    @property
    def alt_text(self) -> str:
        """What a reader who does not see the picture is told."""
        return self._ask("alt_text")

    @property
    def width_mm(self) -> float:
        """Its width in print."""
        return self._ask("width_mm")

    def content(self, kind: str) -> bytes:
        """Return the picture as the bytes of one file ("svg", "pdf", "png300", "png600"), drawn once."""
        return self._ask(kind)

    def for_page(self) -> bytes:
        """Return the drawing, or pixels where a phone could not open so much."""
        drawing = self.content("svg")
        return drawing if len(drawing) <= HEAVY_BYTES else self.content(PAGE_PIXELS)

    def keep(self, drawn: dict) -> None:
        """Take what was drawn elsewhere: `alt_text`, `width_mm` and the bytes of each format."""
        self._drawn.update(drawn)

    def _ask(self, what: str):
        if what not in self._drawn:
            figure = self._drawn.get("figure") or self.draw()
            self._drawn.update(figure=figure, width_mm=float(figure.get_size_inches()[0] * 25.4))
            self._drawn["alt_text"] = getattr(figure, "alt_text", "") or self.caption
            if what not in self._drawn:
                self._drawn[what] = figure_bytes(figure, what)
        return self._drawn[what]

    def save(self, folder: Path) -> None:
        """Save the picture in every format."""
        folder.mkdir(parents=True, exist_ok=True)
        for kind in FORMATS:
            (folder / file_name(self.key, kind)).write_bytes(self.content(kind))


@dataclass(frozen=True)
class Table:
    """A table with its caption."""

    key: str
    caption: str
    shown: pd.DataFrame
    note: str = ""
    numbers: pd.DataFrame | None = None


Block = Paragraph | Bullets | Picture | Table


@dataclass(frozen=True)
class Section:
    """A heading and what stands below it."""

    title: str
    blocks: tuple[Block, ...] = ()
    level: int = 1
    layer: str = "paper"
    verdict: str = ""

    @property
    def anchor(self) -> str:
        """The name that a link to this section uses."""
        words = re.sub(r"[^a-z0-9]+", "-", self.title.lower()).strip("-")
        return words if self.layer == "paper" else f"{self.layer}-{words}"


@dataclass(frozen=True)
class Document:
    """The whole write-up."""

    title: str
    fields: tuple[tuple[str, str], ...] = ()
    sections: tuple[Section, ...] = ()
    _numbers: dict = field(default_factory=dict, compare=False)

    @property
    def layers(self) -> tuple[str, ...]:
        """The layers that there are, in their order."""
        return tuple(name for name in LAYERS if any(s.layer == name for s in self.sections))

    def of_layer(self, layer: str) -> tuple[Section, ...]:
        """The sections of one layer."""
        return tuple(s for s in self.sections if s.layer == layer)

    def blocks(self, kind: type | None = None, *, layer: str = "") -> Iterator:
        """Yield every block, or those of one kind or layer, in order."""
        for section in self.of_layer(layer) if layer else self.sections:
            for block in section.blocks:
                if kind is None or isinstance(block, kind):
                    yield block

    def number(self, block: Picture | Table) -> str:
        """Return "Figure 2" or "Table S1": the number in order of appearance in its layer; "" among the answers."""
        return self.numbers()["figure" if isinstance(block, Picture) else "table", block.key]

    def numbers(self) -> dict[tuple[str, str], str]:
        """Return ("figure" or "table", key) -> "Figure 2"."""
        if not self._numbers:
            for layer in LAYERS:
                for word, kind in (("Figure", Picture), ("Table", Table)):
                    for n, block in enumerate(self.blocks(kind, layer=layer), start=1):
                        name = f"{word} {PREFIX[layer]}{n}" if layer != "answers" else ""
                        self._numbers[word.lower(), block.key] = name
        return self._numbers

    def pieces(self, text: str) -> list[tuple[str, str, str]]:
        """Split a text at its references; one to what there is not goes, with the brackets or the sentence around it."""
        text, found, position = unbroken(self._without_missing(text)), [], 0
        for match in REFERENCES.finditer(text):
            found.append(("text", "", text[position : match.start()]))
            keys = [m[2] for m in REFERENCE.finditer(match[0])]
            found += self._together(match[1], [k for k in keys if (match[1], k) in self.numbers()])
            position = match.end()
        found.append(("text", "", text[position:]))
        return [piece for piece in found if piece[2]]

    def _together(self, kind: str, keys: list[str]) -> list[tuple[str, str, str]]:
        """References to one kind, one after the other: "Tables S2 to S5 and S9"."""
        names = [self.numbers()[kind, key] for key in keys]
        if len(names) < 2:
            return [(kind, key, name) for key, name in zip(keys, names, strict=True)]
        word, short = names[0].split()[0], [name.split()[1] for name in names]
        runs: list[list[int]] = []
        for i, name in enumerate(short):
            before = re.sub(r"\d+", lambda m: str(int(m[0]) + 1), short[i - 1]) if i else ""
            runs = [*runs[:-1], [*runs[-1], i]] if name == before else [*runs, [i]]
        parts = [
            [run[0], " to ", run[-1]] if len(run) > 2 else [i]
            for run in runs
            for i in (run if len(run) < 3 else run[:1])
        ]
        found = [("text", "", f"{word}s ")]
        for n, part in enumerate(parts):
            found.append(("text", "", "" if n == 0 else " and " if n == len(parts) - 1 else ", "))
            found += [("text", "", x) if isinstance(x, str) else (kind, keys[x], short[x]) for x in part]
        return found

    def _without_missing(self, text: str) -> str:
        """Take out references to tables and figures that are not there."""
        gone = {m[0] for m in REFERENCE.finditer(text) if (m[1], m[2]) not in self.numbers()}
        for mark in gone:
            text = text.replace(f"{mark}, ", "").replace(f", {mark}", "").replace(f" and {mark}", "")
            text = text.replace(f" ({mark})", "").replace(f"{mark} and ", "").replace(mark, "")
        return text

    def text(self, layer: str = "", *, cells: bool = False) -> str:
        """Return everything that is read as running text, of one layer or of all, paragraph by paragraph."""
        lines = []
        for section in self.of_layer(layer) if layer else self.sections:
            lines.append(section.title)
            if section.verdict:
                lines.append(f"{section.verdict}.")
            for block in section.blocks:
                if isinstance(block, Paragraph):
                    lines.append("".join(words for _, _, words in self.pieces(block.text)))
                elif isinstance(block, Bullets):
                    lines.extend(block.items)
                else:
                    lines.append(block.caption)
                    if cells and isinstance(block, Table):
                        lines += [block.note, *(str(v) for v in block.shown.to_numpy().ravel())]
        return "\n\n".join(lines)


def paragraphs(texts: str | Iterable[str] | None, kind: str = "body") -> tuple[Paragraph, ...]:
    """Turn sentences into paragraphs; nothing gives none."""
    texts = [texts] if isinstance(texts, str) else list(texts or ())
    return tuple(Paragraph(t, kind) for t in texts if t)


_NUMBER = re.compile(
    r"^[<>≥≤]?\s?[+\-−]?\.?\d[\d.,]*(\s?%)?(\s\([^)]{0,24}\))?(\s\[\d+\])?(\sto\s[+\-−]?[\d.,]+(\s?%)?)?(,\s\d+)?"
    r"(\s\+\s\d+\s(HI|LO))*(\s[^\s\d]{1,9})?$|^$|^–$|^not available$|^not shown$"
)
_WHOLE = re.compile(r"^[<>≥≤]?\s?[+\-−]?\d*")
"""What stands before the decimal point."""


def number_columns(shown) -> list[bool]:
    """Say which columns of a table of text hold numbers, a few words among them allowed (never the first column)."""
    found = []
    for i, column in enumerate(shown.columns):
        cells = [str(v) for v in shown[column]]
        numbers = sum(bool(_NUMBER.match(c)) for c in cells)
        filled = any(_NUMBER.match(c) and any(sign.isdecimal() for sign in c) for c in cells)
        found.append(i > 0 and filled and numbers >= 0.7 * len(cells))
    return found


def split_at_point(cells) -> list[tuple[str, str]]:
    """Split every cell of a column of numbers before its decimal point, or after its whole part."""
    found = []
    for cell in cells:
        text = unbroken(str(cell)).replace("< .", "<\N{NO-BREAK SPACE}.").replace("> .", ">\N{NO-BREAK SPACE}.")
        before = _WHOLE.match(text)[0] if _NUMBER.match(str(cell)) else ""
        found.append((before, text[len(before) :]))
    return found
