"""Rows of people that may leave a study: nobody alone with what tells who it is, and nobody to be found by subtraction."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from itertools import product

import pandas as pd

from ..basics import FEWEST_PEOPLE
from .outcomes import OUTCOMES
from .privacy import secret_labels

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
    return table, _said(columns, choice, len(masked)) + tuple(f"{_WORDS[c][0]} was blank" for c in dropped_blank)


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


_HEART_RATE = (
    "hr_mean_bpm",
    "hr_late_bpm",
    "hr_peak_bpm",
    "hr_recovery_60s_bpm",
    "hr_drift_bpm_min",
    "valid_s",
    "valid_share",
)
_LACTATE = ("lactate_mmol_l", "lactate_limit", "lactate_delay_s")
_TOGETHER = {**dict.fromkeys(_HEART_RATE, _HEART_RATE), **dict.fromkeys(_LACTATE, _LACTATE)}
"""A column -> what is left out with a value of it."""


def by_lot(study, shared: Sequence[str], *, among: Collection[str]) -> list[str]:
    """Leave out more people where means of everybody `among`, minus those shared, would tell about the few who did not agree."""
    few = len(set(among) - set(shared))
    if not 0 < few < FEWEST_PEOPLE:
        return list(shared)
    order = secret_labels(study, shared, prefix="", purpose="left out by lot")
    return sorted(shared, key=lambda code: int(order[code]))[FEWEST_PEOPLE - few :]


def not_by_subtraction(
    rows: pd.DataFrame, labels: Mapping[str, str], *, session: str
) -> tuple[pd.DataFrame, set[tuple]]:
    """Blank values of the session that a write-up tells about where those of people without a label are few."""
    rows, silent = rows.copy(), set()
    inside = rows["athlete"].isin(list(labels))
    for outcome in [o for o in OUTCOMES if o in rows]:
        together = [c for c in _TOGETHER.get(outcome, (outcome,)) if c in rows]
        known = rows[outcome].notna()  # a mean is of values; one beyond the scale of the analyser is in none
        for _, here in rows[known & rows["session"].eq(session)].groupby("round_no"):
            outside = int((~inside[here.index]).sum())
            if not 0 < outside < FEWEST_PEOPLE:
                continue
            there = here[inside[here.index]].sort_values("athlete", key=lambda codes: codes.map(labels))
            for index in there.index[: FEWEST_PEOPLE - outside]:
                for column in together:
                    rows.loc[index, column] = "" if column == "lactate_limit" else float("nan")
                silent.add((together[0], *rows.loc[index, ["session", "athlete", "round_no"]]))
    return rows, silent
