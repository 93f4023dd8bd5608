"""What a write-up is made of, before it becomes a page or a Word file: sections of paragraphs, tables and figures."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

REFERENCE = re.compile(r"\{(figure|table):([a-z0-9_]+)\}")
"""How a paragraph points to a figure or a table: ``{figure:rounds_heart_rate}``."""


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

    def keep(self, drawn: dict) -> None:
        """Take what was drawn elsewhere: `alt_text`, `width_mm` and the bytes of each format."""
        self._drawn.update(drawn)

    def _ask(self, what: str):
        from .export import figure_bytes

        if what not in self._drawn:
            figure = self._drawn.get("figure") or self.draw()
            self._drawn.update(figure=figure, width_mm=float(figure.get_size_inches()[0] * 25.4))
            self._drawn["alt_text"] = getattr(figure, "alt_text", "") or self.caption
            if what not in self._drawn:
                self._drawn[what] = figure_bytes(figure, what)
        return self._drawn[what]

    def save(self, folder: Path) -> None:
        """Save the picture in every format."""
        from .export import FORMATS, file_name

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

    @property
    def anchor(self) -> str:
        """The name that a link to this section uses."""
        return re.sub(r"[^a-z0-9]+", "-", self.title.lower()).strip("-")


@dataclass(frozen=True)
class Document:
    """The whole write-up."""

    title: str
    fields: tuple[tuple[str, str], ...] = ()
    sections: tuple[Section, ...] = ()
    _numbers: dict = field(default_factory=dict, compare=False)

    def blocks(self, kind: type | None = None) -> Iterator:
        """Yield every block, or those of one kind, in order."""
        for section in self.sections:
            for block in section.blocks:
                if kind is None or isinstance(block, kind):
                    yield block

    def number(self, block: Picture | Table) -> str:
        """Return "Figure 2" or "Table 1": the number in order of appearance."""
        return self.numbers()["figure" if isinstance(block, Picture) else "table", block.key]

    def numbers(self) -> dict[tuple[str, str], str]:
        """Return ("figure" or "table", key) -> "Figure 2"."""
        if not self._numbers:
            for word, kind in (("Figure", Picture), ("Table", Table)):
                for n, block in enumerate(self.blocks(kind), start=1):
                    self._numbers[word.lower(), block.key] = f"{word} {n}"
        return self._numbers

    def pieces(self, text: str) -> list[tuple[str, str, str]]:
        """Split a text at its references."""
        found, position = [], 0
        for match in REFERENCE.finditer(text):
            found.append(("text", "", text[position : match.start()]))
            words = self.numbers().get((match[1], match[2]))
            if words:
                found.append((match[1], match[2], words))
            position = match.end()
        found.append(("text", "", text[position:]))
        return [piece for piece in found if piece[2]]

    def text(self) -> str:
        """Return everything that is read as running text, paragraph by paragraph."""
        lines = []
        for section in self.sections:
            lines.append(section.title)
            for block in section.blocks:
                if isinstance(block, Paragraph):
                    lines.append("".join(words for _, _, words in self.pieces(block.text)))
                elif isinstance(block, Bullets):
                    lines.extend(block.items)
                else:
                    lines.append(block.caption)
        return "\n\n".join(lines)


def paragraphs(texts: str | Iterable[str] | None, kind: str = "body") -> tuple[Paragraph, ...]:
    """Turn sentences into paragraphs; nothing gives none."""
    texts = [texts] if isinstance(texts, str) else list(texts or ())
    return tuple(Paragraph(t, kind) for t in texts if t)


_NUMBER = re.compile(r"^[<>≥≤]?\s?[+\-−]?[\d.,]+(\s?%|\s\([^)]*\)|\sto\s[+\-−]?[\d.,]+)?$|^$|^not available$")


def number_columns(shown) -> list[bool]:
    """Say which columns of a table of text hold numbers, a few words among them allowed (never the first column)."""
    found = []
    for i, column in enumerate(shown.columns):
        cells = [str(v) for v in shown[column]]
        numbers = sum(bool(_NUMBER.match(c)) for c in cells)
        filled = any(any(sign.isdigit() for sign in c) for c in cells)
        found.append(i > 0 and filled and numbers >= 0.7 * len(cells))
    return found
