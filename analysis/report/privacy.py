"""Making people unrecognisable in shared tables: labels, bands, and masking until nobody stands out."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from itertools import product

import pandas as pd

from ..study.privacy import Mentions, personal_parts, secret_labels
from ..telling.document import Bullets, Document, Paragraph, Picture, Table
from .results_json import to_plain

LEVELS = {
    "age_years": (5, 10, 20, None),
    "mass_kg": (5, 10, 20, None),
    "sex": ("as it is", None),
    "group": ("as it is", None),
}
"""Per column that may tell who somebody is: from fine to coarse; numbers are widths of bands, None drops the column."""

_WORTH = {
    "age_years": (1.0, 0.75, 0.4, 0.0),
    "mass_kg": (1.0, 0.75, 0.4, 0.0),
    "sex": (1.2, 0.0),
    "group": (0.8, 0.0),
}


def hide_in_crowd(people: pd.DataFrame, *, least: int = 2) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Coarsen, drop or mask what may tell who somebody is, until no combination is rarer than `least`."""
    columns = [c for c in LEVELS if c in people and not _blank(people[c])]
    dropped_blank = [c for c in LEVELS if c in people and c not in columns]
    best = None
    for choice in product(*(range(len(LEVELS[c])) for c in columns)):
        made = {c: _coarse(people[c], LEVELS[c][i]) for c, i in zip(columns, choice, strict=True)}
        kept = [c for c in columns if made[c] is not None]
        masked = _too_rare([made[c] for c in kept], len(people), least)
        if masked is None:
            continue
        worth = (len(people) - len(masked)) * sum(_WORTH[c][i] for c, i in zip(columns, choice, strict=True))
        if best is None or worth > best[0]:
            best = (worth, choice, made, kept, masked)
    _, choice, made, kept, masked = best
    table = people.drop(columns=[c for c in LEVELS if c in people and c not in kept])
    for c in kept:
        table[c] = ["" if i in masked else v for i, v in enumerate(made[c])]
    return table, _said(columns, choice, len(masked)) + tuple(
        f"{_WORDS[c][0]} was blank" for c in dropped_blank
    )


def _blank(values: pd.Series) -> bool:
    return bool((values.isna() | (values.astype(str) == "")).all())


def _coarse(values: pd.Series, level) -> list[str] | None:
    if level is None:
        return None
    if isinstance(level, str):
        return [str(v) for v in values]
    return [_band(float(v), level) for v in values]


def _band(value: float, width: int) -> str:
    if value != value:
        return "unknown"
    low = int(value // width) * width
    return f"{low}-{low + width - 1}"


def _too_rare(columns: list[list[str]], size: int, least: int) -> set[int] | None:
    """Return who must be masked so that no combination is too rare; None where masking cannot do it."""
    if not columns:
        return set()
    combinations = list(zip(*columns, strict=True))
    counts = Counter(combinations)
    masked = {i for i, c in enumerate(combinations) if counts[c] < least}
    return masked if not masked or least <= len(masked) < size else None


_WORDS = {
    "age_years": ("age", " years"),
    "mass_kg": ("body mass", " kg"),
    "sex": ("sex", ""),
    "group": ("group", ""),
}


def _said(columns, choice, n_masked: int) -> tuple[str, ...]:
    said = []
    for c, i in zip(columns, choice, strict=True):
        level = LEVELS[c][i]
        if level is None:
            said.append(f"{_WORDS[c][0]} was dropped")
        elif not isinstance(level, str):
            said.append(f"{_WORDS[c][0]} is given in bands of {level}{_WORDS[c][1]}")
    if n_masked:
        said.append(f"for {n_masked} people these columns are blank, since their combination was too rare")
    return tuple(said)


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


def personal_texts(study) -> tuple[str, ...]:
    """Return what in the free texts of a study looks like a name, a mail address, a phone number or a birth date."""
    plan = study.plan
    texts = {study.title: False, study.sport: False, **dict.fromkeys(plan.exclusions, True)}
    texts |= {h.text: False for h in plan.hypotheses} | dict.fromkeys(
        plan.smallest_effect_reasons.values(), False
    )
    for name, columns in FREE_TEXT.items():
        table = getattr(study, name)
        for column in [c for c in columns if c in table]:
            single = column in ("note", "reason", "new_value")
            texts |= {str(t): single or texts.get(str(t), False) for t in table[column].unique() if str(t)}
    return tuple(
        dict.fromkeys(part for text, single in texts.items() for part in personal_parts(text, single=single))
    )


class Codes:
    """Replaces codes by labels that say nothing, the same label for the same athlete throughout.

    Every code that stands in the study folder is known here, also of people who withdrew or are not analysed; and what in
    its free texts looks like personal data goes with them.
    """

    def __init__(self, study, *, individuals: bool = False):
        shown = set(study.athletes_with_figures()) if individuals else set()
        labels = secret_labels(study, study.athletes["athlete"], prefix="person-", purpose="results")
        others = dict.fromkeys((c for c in study.known_codes if c not in labels), "somebody")
        self.labels = {code: label for code, label in (labels | others).items() if code not in shown}
        self._mentions = Mentions(self.labels)
        self.personal = personal_texts(study)
        longest = sorted(map(re.escape, self.personal), key=len, reverse=True)
        self._personal = re.compile("|".join(longest)) if longest else None

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
        text = self._mentions.replace(text, self.labels.__getitem__)
        return self._personal.sub("(left out)", text) if self._personal else text

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
            return replace(block, caption=self.hide_in_text(block.caption))
        if isinstance(block, Table):
            return replace(
                block,
                caption=self.hide_in_text(block.caption),
                shown=self.hide_in_table(block.shown),
                note=self.hide_in_text(block.note),
            )
        return block
