"""The rules of cleaning: one parameter each, its default, and where the default comes from."""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class CleaningRules:
    """The values of the cleaning rules, read from [cleaning] in study.toml."""


def cleaning_rules(settings=None) -> pd.DataFrame:
    """Describe every cleaning rule: rule, parameter, value, unit, default, source, meaning."""
    raise NotImplementedError
