"""The rules of cleaning: one parameter each, its default, and where the default comes from."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import field, fields, make_dataclass
from pathlib import Path

import pandas as pd

from ..basics import KitError, did_you_mean

RULES_FILE = Path(__file__).with_name("rules.csv")
"""One row per rule: its parameter, default, limits, meaning, and where the default comes from."""

_READ = {"number": float, "whole": int, "word": str, "yes or no": "true".__eq__}
"""Kind of a parameter -> how its default is read."""


def _rules() -> list[tuple]:
    """The rules as fields of a dataclass."""
    with RULES_FILE.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    fields_of = []
    for row in rows:
        default = _READ[row["kind"]](row["default"])
        notes = {**row, "low": float(row["low"] or 0), "high": float(row["high"] or "inf")}
        fields_of.append((row["parameter"], type(default), field(default=default, metadata=notes)))
    return fields_of


class CleaningRules(make_dataclass("CleaningRules", _rules(), frozen=True)):
    """The values of the cleaning rules, read from [cleaning] in study.toml; each is a row of `rules.csv`.

    Heart rate can move over a gap by most_change_bpm * (1 - exp(-gap / change_time_s)). State trust_trace_above before the
    data: `freeze` fixes it with the plan.
    """

    @classmethod
    def from_settings(cls, settings: Mapping | None) -> CleaningRules:
        """Take the rules from the parsed study.toml (its [cleaning] part), or from that part itself.

        `settings`: none gives the defaults.

        Examples
        --------
        >>> CleaningRules.from_settings({"cleaning": {"flat_s": 30}}).flat_s
        30.0
        """
        given = dict(settings or {})
        given = dict(given.get("cleaning", {} if "protocol" in given or "title" in given else given) or {})
        known = {f.name: f for f in fields(cls)}
        faults, values = [], {}
        for name, value in given.items():
            if name not in known:
                near = did_you_mean(name, known)
                faults.append(f"{name} is not a rule of cleaning." + (f" Did you mean {near}?" if near else ""))
                continue
            fault, values[name] = _checked(known[name], value)
            faults += [fault] if fault else []
        if faults:
            raise KitError("[cleaning] in study.toml: " + " ".join(faults))
        return cls(**values)

    def change_over(self, gap_s):
        """The most that heart rate can move over a gap, in bpm (never less than `jump_bpm`)."""
        import numpy as np

        moved = self.most_change_bpm * (1.0 - np.exp(-np.asarray(gap_s) / self.change_time_s))
        return np.maximum(self.jump_bpm, moved)


CleaningRules.__doc__ = f"{CleaningRules.__doc__}\nParameters\n----------\n" + "".join(
    f"{f.name} : {f.type.__name__}\n    {f.metadata['meaning']} ({f.metadata['unit']}).\n"
    for f in fields(CleaningRules)
)


def _checked(known, value) -> tuple[str, object]:
    """Return what is wrong with a value ("" where nothing) and the value in its own type."""
    name, default, notes = known.name, known.default, known.metadata
    if isinstance(default, bool):
        return ("" if isinstance(value, bool) else f"{name} must be true or false."), value
    if isinstance(default, str):
        allowed = _allowed(name)
        if value in allowed:
            return "", value
        near = did_you_mean(str(value), allowed)
        return f"{name} is {value!r}, not one of {', '.join(allowed)}." + (
            f" Did you mean {near}?" if near else ""
        ), value
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return f"{name} must be a number ({notes['unit']}).", value
    if not notes["low"] <= value <= notes["high"]:
        return (
            f"{name} is {value:g}, but must lie between {notes['low']:g} and {notes['high']:g} {notes['unit']}.",
            value,
        )
    return "", type(default)(value)


def _allowed(name: str) -> list[str]:
    from ..physiology import hr_max_equations
    from ..physiology.intensity import _EDITIONS

    if name == "bands":
        return list(_EDITIONS)
    return hr_max_equations()["equation"].tolist()


def cleaning_rules(settings: Mapping | CleaningRules | None = None) -> pd.DataFrame:
    """Describe every cleaning rule."""
    rules = settings if isinstance(settings, CleaningRules) else CleaningRules.from_settings(settings)
    lines = []
    for f in fields(CleaningRules):
        value = getattr(rules, f.name)
        notes = f.metadata
        lines.append(
            (
                notes["rule"],
                f.name,
                value,
                notes["unit"],
                f.default,
                value != f.default,
                notes["source"],
                notes["meaning"],
            )
        )
    names = ["rule", "parameter", "value", "unit", "default", "changed", "source", "meaning"]
    return pd.DataFrame(lines, columns=names).astype({"value": object, "default": object})
