"""The words of `words.toml`: spellings of units, headings that people write, what looks personal."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

_WORDS = tomllib.loads(Path(__file__).with_name("words.toml").read_text(encoding="utf-8"))

PERSONAL_COLUMNS = frozenset(_WORDS["personal_columns"].split())
"""Headings that ask for personal data."""

ORDINARY_WORDS = frozenset(_WORDS["ordinary_words"].split())
"""Words that may carry a capital letter and name no person."""

KIND_WORDS = frozenset(_WORDS["kinds"].split())
"""Words of a units row that are no unit."""

OTHER_HEADINGS: dict[str, str] = _WORDS["other_headings"]
"""Heading that people write -> the column that it probably means."""

_SPELLINGS = {spelling: unit for unit, spellings in _WORDS["units"].items() for spelling in spellings.split()}


def canonical_unit(text: str) -> str:
    """Return the canonical spelling of a unit, or "" where it is none that the kit knows."""
    return _SPELLINGS.get(squeeze(text.strip("[]() ")), "")


def squeeze(text: str) -> str:
    """Return a text in lower case without any spaces."""
    return re.sub(r"\s+", "", text).casefold()
