"""Variables of a formula: categories with their levels and codings, and numeric columns."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, did_you_mean, join_words


@dataclass(frozen=True)
class Factor:
    """One variable of a formula: a category with levels, or one or more numeric columns."""

    expression: str
    key: str
    levels: tuple = ()
    codes: np.ndarray | None = None
    values: np.ndarray | None = None
    coding: str = "T"
    base: int = 0

    @property
    def categorical(self) -> bool:
        return self.codes is not None

    def columns(self, *, full: bool, coding: str | None = None) -> tuple[np.ndarray, list[str]]:
        """Columns of the design and their labels; `full` keeps a column for every level."""
        if not self.categorical:
            width = self.values.shape[1]
            labels = (
                [self.expression] if width == 1 else [f"{self.expression}[{j + 1}]" for j in range(width)]
            )
            return self.values, labels
        table, kept, letter = self.code_table(full=full, coding=coding)
        return table[self.codes], [f"{self.expression}[{letter}{self.levels[j]}]" for j in kept]

    def differences(self, *, full: bool) -> np.ndarray:
        """Type III coefficients to differences from the first level (numeric: the coefficients themselves)."""
        if not self.categorical:
            return np.eye(self.values.shape[1])
        table = self.code_table(full=full, coding="S")[0]
        return table if full else table[1:] - table[0]

    def code_table(self, *, full: bool, coding: str | None = None):
        """One row per level: what the level is coded as; which levels have a column; the letter of the labels."""
        n_levels = len(self.levels)
        if full:
            return np.eye(n_levels), list(range(n_levels)), ""
        if (coding or self.coding) == "S":
            return np.vstack([np.eye(n_levels - 1), -np.ones(n_levels - 1)]), list(range(n_levels - 1)), "S."
        kept = [j for j in range(n_levels) if j != self.base]
        return np.eye(n_levels)[:, kept], kept, "T."

    @property
    def missing(self) -> np.ndarray:
        """Rows where the variable is blank."""
        return self.codes < 0 if self.categorical else np.isnan(self.values).any(axis=1)

    def restrict(self, kept, remarks: list) -> Factor:
        """Keep some rows; levels without a row are dropped and noted."""
        if not self.categorical:
            return Factor(self.expression, self.key, values=self.values[kept])
        codes = self.codes[kept]
        used = np.unique(codes)
        if len(used) < 2:
            raise KitError(
                f"{self.key} has only one level in the rows used ({self.levels[used[0]]}); it needs two or more."
            )
        unused = [str(self.levels[j]) for j in range(len(self.levels)) if j not in used]
        base = self.base
        if unused:
            remarks.append(
                f"{self.key}: no usable row for {join_words(unused)}, which is therefore not estimated."
            )
            base = int(np.searchsorted(used, base)) if base in used else 0
        return Factor(
            self.expression,
            self.key,
            tuple(self.levels[j] for j in used),
            np.searchsorted(used, codes),
            coding=self.coding,
            base=base,
        )


def evaluate_factor(data, expression, athlete) -> Factor:
    """Evaluate one variable of a formula on a table: a category, or numbers."""
    inside = re.fullmatch(r"C\((.*)\)", expression, flags=re.S)
    if inside:
        inner, *coding = split_outside_brackets(inside.group(1), ",")
        column = inner.strip().strip("`")
        series = (
            data[column] if column in data.columns else pd.Series(numeric_columns(data, inner, "term")[:, 0])
        )
        return _category(series, expression, column, athlete, coding)
    if expression in data.columns:
        series = data[expression]
        if isinstance(series, pd.DataFrame):
            raise KitError(f"The table has more than one column named {expression!r}.")
        if not pd.api.types.is_numeric_dtype(series.dtype) or pd.api.types.is_bool_dtype(series.dtype):
            return _category(series, expression, expression, athlete, [])
    return Factor(expression, bare_name(expression), values=numeric_columns(data, expression, "term"))


def _category(series, expression, key, athlete, coding) -> Factor:
    if isinstance(series, pd.DataFrame):
        raise KitError(f"The table has more than one column named {key!r}.")
    if isinstance(series.dtype, pd.CategoricalDtype):
        levels = list(series.cat.categories)
        codes = series.cat.codes.to_numpy()
    elif pd.api.types.is_numeric_dtype(series.dtype):
        codes, found = pd.factorize(series, sort=True)
        is_bool = pd.api.types.is_bool_dtype(series.dtype)
        levels = [bool(v) if is_bool else int(v) if float(v).is_integer() else float(v) for v in found]
    else:
        codes, found = pd.factorize(series.where(series != ""))
        levels = list(found)
        order = _order_of_text(levels, codes, athlete)
        codes = np.append(np.argsort(order), -1)[codes]
        levels = [levels[j] for j in order]
    letter, base = _read_coding(expression, coding, levels)
    return Factor(expression, key, tuple(levels), np.asarray(codes, dtype=int), coding=letter, base=base)


def _read_coding(expression, coding, levels):
    if not coding:
        return "T", 0
    text = coding[0].strip()
    if len(coding) == 1 and re.fullmatch(r"(contr\.)?[Ss]um(\(\))?", text):
        return "S", 0
    named = re.fullmatch(r"(?:contr\.)?[Tt]reatment(?:\((?:(?:reference|base)\s*=\s*)?(.*?)\))?", text)
    if len(coding) == 1 and named:
        wanted = (named.group(1) or "").strip().strip("'\"")
        labels = [str(v) for v in levels]
        if not wanted:
            return "T", 0
        if wanted in labels:
            return "T", labels.index(wanted)
        raise KitError(f"{expression}: the levels are {join_words(labels)}; {wanted!r} is not among them.")
    raise KitError(f"{expression}: the coding must be Treatment, Treatment(level) or Sum.")


def _order_of_text(levels, codes, athlete) -> list[int]:
    """Order of levels: numbers by value, labels that change within an athlete by first appearance, others by alphabet."""
    places = list(range(len(levels)))
    try:
        return sorted(places, key=lambda j: float(levels[j]))
    except (TypeError, ValueError):
        pass
    both = (codes >= 0) & (athlete >= 0)
    pairs = np.unique(np.stack([athlete[both], codes[both]]), axis=1)
    changes = pairs.shape[1] > len(np.unique(pairs[0]))
    return places if changes else sorted(places, key=lambda j: str(levels[j]))


def numeric_columns(data, expression, role) -> np.ndarray:
    """Evaluate a numeric expression to a matrix of floats, one row per row of the table."""
    name = expression.strip().strip("`")
    if name in data.columns:
        series = data[name]
        if isinstance(series, pd.DataFrame):
            raise KitError(f"The table has more than one column named {name!r}.")
        if not pd.api.types.is_numeric_dtype(series.dtype):
            try:
                series = pd.to_numeric(series)
            except (ValueError, TypeError) as error:
                raise KitError(f"The {role} {name!r} must hold numbers, but holds {series.dtype}.") from error
        if series.dtype.kind == "c":
            raise KitError(f"The {role} {name!r} must hold numbers, but holds {series.dtype}.")
        return series.to_numpy(dtype=float, na_value=np.nan)[:, None]
    if name.isidentifier():
        near = did_you_mean(name, data.columns)
        hint = f" Did you mean {near!r}?" if near else f" It has {join_words(list(data.columns))}."
        raise KitError(f"The table has no column {name!r}, which the formula names.{hint}")
    from formulaic import model_matrix

    try:
        with np.errstate(all="ignore"):
            columns = model_matrix(f"0 + {expression}", data, na_action="ignore", output="numpy")
        return np.asarray(columns, dtype=float).reshape(len(data), -1)
    except Exception as error:  # any expression may be typed here, and fail in any way
        raise KitError(f"{expression!r} cannot be computed from the table: {error}") from error


def bare_name(expression: str) -> str:
    """The variable without C(), codings and backticks."""
    inside = re.fullmatch(r"\s*C\((.*)\)\s*", expression, flags=re.S)
    return (split_outside_brackets(inside.group(1), ",")[0] if inside else expression).strip().strip("`")


def split_outside_brackets(text: str, separator: str) -> list[str]:
    """Split at a separator that is not inside brackets."""
    parts, depth, current = [], 0, ""
    for character in text:
        depth += character in "([{"
        depth -= character in ")]}"
        if character == separator and depth == 0:
            parts.append(current)
            current = ""
        else:
            current += character
    return [*parts, current]
