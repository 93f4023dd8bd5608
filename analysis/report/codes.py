"""Keeping the codes of athletes out of what is passed on: one place that knows whose code may be shown."""

from __future__ import annotations

import re
from dataclasses import replace

import pandas as pd

from .anonymity import secret_labels
from .document import Bullets, Document, Paragraph, Picture, Table
from .results_json import to_plain

CODE_COLUMNS = frozenset({"athlete", "opponent", "athlete_a", "athlete_b", "left_out_athlete"})
"""Columns that hold codes."""


class Codes:
    """Replaces codes by labels that say nothing, the same label for the same athlete throughout."""

    def __init__(self, study, *, individuals: bool = False):
        shown = set(study.athletes_with_figures()) if individuals else set()
        labels = secret_labels(study, study.athletes["athlete"], prefix="person-", purpose="results")
        self.labels = {code: label for code, label in labels.items() if code not in shown}
        telling = [re.escape(c) for c in self.labels if re.search(r"[A-Za-z]", c) and re.search(r"\d", c)]
        self._in_text = re.compile(rf"(?<![\w-])({'|'.join(telling)})(?![\w-])") if telling else None

    def hide(self, value):
        """Return plain data (or what `to_plain` makes of it) without codes, in values, keys and running text."""
        return self._walk(to_plain(value), "")

    def _walk(self, value, name: str):
        if isinstance(value, dict):
            return {self.hide_in_text(k): self._walk(v, k) for k, v in value.items()}
        if isinstance(value, list):
            return [self._walk(v, name) for v in value]
        if isinstance(value, str):
            return self._code(value) if name in CODE_COLUMNS else self.hide_in_text(value)
        return value

    def _code(self, value: str) -> str:
        return self.labels.get(value, self.hide_in_text(value))

    def hide_in_text(self, text: str) -> str:
        """Return a text without codes."""
        return self._in_text.sub(lambda m: self.labels[m[1]], text) if self._in_text else text

    def hide_in_table(self, table: pd.DataFrame) -> pd.DataFrame:
        """Return a table without codes."""
        table = table.copy()
        for column in table.columns:
            if not pd.api.types.is_numeric_dtype(table[column]):
                change = self._code if column in CODE_COLUMNS else self.hide_in_text
                table[column] = [change(v) if isinstance(v, str) else v for v in table[column]]
        return table

    def hide_in_document(self, document: Document) -> Document:
        """Return the write-up without codes in its texts, captions and tables (figures are drawn without)."""
        return replace(
            document,
            sections=tuple(replace(s, blocks=tuple(map(self._block, s.blocks))) for s in document.sections),
        )

    def _block(self, block):
        if isinstance(block, Paragraph):
            return replace(block, text=self.hide_in_text(block.text))
        if isinstance(block, Bullets):
            return replace(block, items=tuple(map(self.hide_in_text, block.items)))
        if isinstance(block, Picture):
            return replace(block, caption=self.hide_in_text(block.caption))
        if isinstance(block, Table):
            return replace(
                block,
                caption=self.hide_in_text(block.caption),
                shown=self.hide_in_table(block.shown),
                note=self.hide_in_text(block.note),
            )
        return block
