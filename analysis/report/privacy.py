"""Codes and personal texts hidden in everything that is written: values, keys, running text, tables, the write-up."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import partial

import pandas as pd

from ..study.privacy import Mentions, personal_parts, secret_labels
from ..telling.document import Bullets, Document, Paragraph, Picture, Table
from .results_json import to_plain

CODE_COLUMNS = frozenset(
    {
        "athlete",
        "opponent",
        "athlete_a",
        "athlete_b",
        "left_out_athlete",
        "level",
        "column_or_label",
        "label",
        "person",
    }
)
"""Columns that hold codes, beside other words."""

FREE_TEXT = {
    "sessions": ("place", "analyser", "strip_lot", "note"),
    "athletes": ("club", "group"),
    "attendance": ("note",),
    "clock": ("note",),
    "rounds": ("note",),
    "lactate": ("note",),
    "decisions": ("reason", "new_value"),
}
"""Table -> columns in which people write what they like."""


def typed_texts(study) -> dict[str, bool]:
    """What people typed freely, and whether a single word in it may be a name."""
    plan = study.plan
    texts = {study.title: False, study.sport: False, **dict.fromkeys(plan.exclusions, True)}
    texts |= {h.text: False for h in plan.hypotheses}
    texts |= dict.fromkeys(plan.smallest_effect_reasons.values(), False)
    for name, columns in FREE_TEXT.items():
        table = getattr(study, name)
        for column in [c for c in columns if c in table]:
            single = column in ("note", "reason", "new_value", "group", "club")
            texts |= {str(t): single or texts.get(str(t), False) for t in table[column].unique() if str(t)}
    return texts


def personal_texts(study) -> tuple[str, ...]:
    """Return what in the free texts of a study looks like a name, a mail address, a phone number or a birth date."""
    texts = typed_texts(study).items()
    return tuple(dict.fromkeys(part for text, single in texts for part in personal_parts(text, single=single)))


def texts_that_leave(study, codes: Codes, document: Document) -> tuple[str, ...]:
    """Return the free texts that stand in a write-up: a rare name at the start of a sentence only a person can tell."""
    told = f"{document.title}\n{document.text(cells=True)}".casefold()
    published = [*study.published["finding"], *study.published["source"]]  # whose authors may be named
    typed = dict.fromkeys([*typed_texts(study), *published])
    texts = (codes.hide_in_text(t).strip().rstrip(".") for t in typed if re.search(r"[^\W\d_]{3}", t))
    return tuple(dict.fromkeys(t for t in texts if t.casefold() in told))


def _however_set(part: str) -> str:
    """A pattern of a text wherever its lines break, the first of several words with a small letter too."""
    first, *rest = map(re.escape, part.split())
    if rest and first[0].isalpha():
        first = f"[{first[0]}{first[0].lower()}]{first[1:]}"
    return r"\s+".join([first, *rest])


def _bare(text: str) -> str:
    return " ".join(text.split()).casefold()


def _drawn_without(draw, codes: Codes):
    """Draw a figure whose texts and description hide what the write-up hides."""
    from matplotlib.text import Text

    figure = draw()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            labels = [label.get_text() for label in axis.get_ticklabels()]
            hidden = list(map(codes.hide_in_text, labels))
            if hidden != labels:  # a tick is written anew whenever the figure is drawn
                axis.set_ticks(axis.get_ticklocs(), labels=hidden)
    for text in figure.findobj(Text):
        text.set_text(codes.hide_in_text(text.get_text()))
    figure.alt_text = codes.hide_in_text(figure.alt_text)
    return figure


class Codes:
    """Replaces codes by labels that say nothing, the same label for the same athlete throughout."""

    # Every code that stands in the study folder is known here, also of people who withdrew or are not
    # analysed; and what in its free texts looks like personal data goes with them.

    def __init__(self, study, *, individuals: bool = False):
        shown = set(study.athletes_with_figures()) if individuals else set()
        labels = secret_labels(study, study.athletes["athlete"], prefix="person-", purpose="results")
        others = dict.fromkeys((c for c in study.known_codes if c not in labels), "somebody")
        self.labels = {code: label for code, label in (labels | others).items() if code not in shown}
        self._mentions = Mentions(self.labels)
        self.personal = personal_texts(study)
        longest = sorted(map(_however_set, self.personal), key=len, reverse=True)
        self._personal = re.compile("|".join(longest)) if longest else None
        shown = {t.strip().rstrip(".") for t in typed_texts(study)}
        hidden = {t: self._mentions.replace(t, self.labels.__getitem__, typed=True) for t in shown}
        self._typed = {_bare(t): new for t, new in hidden.items() if new != t}
        longest = sorted(map(_however_set, self._typed), key=len, reverse=True)
        self._numbered = re.compile("|".join(longest), re.IGNORECASE) if longest else None

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
        if self._numbered:
            text = self._numbered.sub(lambda m: self._typed[_bare(m[0])], text)
        text = self._mentions.replace(text, self.labels.__getitem__)
        return self._personal.sub("(left out)", text) if self._personal else text

    def hide_in_table(self, table: pd.DataFrame) -> pd.DataFrame:
        """Return a table without codes."""
        table = table.copy()
        for column in table.columns:
            if not pd.api.types.is_numeric_dtype(table[column]):
                change = self._code if column in CODE_COLUMNS else self.hide_in_text
                table[column] = [change(v) if isinstance(v, str) else v for v in table[column]]
        names = [self.hide_in_text(c) if isinstance(c, str) else c for c in table.columns]
        return table.set_axis(names, axis=1)

    def hide_in_document(self, document: Document) -> Document:
        """Return the write-up without codes in its texts, captions and tables (figures are drawn without)."""
        return replace(
            document,
            title=self.hide_in_text(document.title),
            sections=tuple(
                replace(s, title=self.hide_in_text(s.title), blocks=tuple(map(self._block, s.blocks)))
                for s in document.sections
            ),
        )

    def _block(self, block):
        if isinstance(block, Paragraph):
            return replace(block, text=self.hide_in_text(block.text))
        if isinstance(block, Bullets):
            return replace(block, items=tuple(map(self.hide_in_text, block.items)))
        if isinstance(block, Picture):
            draw = partial(_drawn_without, block.draw, self) if self._personal or self._numbered else block.draw
            return replace(block, caption=self.hide_in_text(block.caption), draw=draw)
        if isinstance(block, Table):
            return replace(
                block,
                caption=self.hide_in_text(block.caption),
                shown=self.hide_in_table(block.shown),
                note=self.hide_in_text(block.note),
            )
        return block
