"""From a formula and a table to numbers: outcome, design matrix, and the type III view of the same space.

The formula is parsed by formulaic; plain columns and ``C(column)`` are coded here, so that names, the order of
levels and the choice of reference are the same everywhere; any other expression is evaluated by formulaic.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

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
            labels = [self.expression] if width == 1 else [f"{self.expression}[{j + 1}]" for j in range(width)]
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
            remarks.append(f"{self.key}: no usable row for {join_words(unused)}, which is therefore not estimated.")
            base = int(np.searchsorted(used, base)) if base in used else 0
        return Factor(
            self.expression, self.key, tuple(self.levels[j] for j in used), np.searchsorted(used, codes),
            coding=self.coding, base=base,
        )  # fmt: skip


def evaluate_factor(data, expression) -> Factor:
    """Evaluate one variable of a formula on a table: a category, or numbers."""
    inside = re.fullmatch(r"C\((.*)\)", expression, flags=re.S)
    if inside:
        inner, *coding = split_outside_brackets(inside.group(1), ",")
        column = inner.strip().strip("`")
        series = data[column] if column in data.columns else pd.Series(numeric_columns(data, inner, "term")[:, 0])
        return _category(series, expression, column, coding)
    if expression in data.columns:
        series = data[expression]
        if isinstance(series, pd.DataFrame):
            raise KitError(f"The table has more than one column named {expression!r}.")
        if not pd.api.types.is_numeric_dtype(series.dtype) or pd.api.types.is_bool_dtype(series.dtype):
            return _category(series, expression, expression, [])
    return Factor(expression, bare_name(expression), values=numeric_columns(data, expression, "term"))


def _category(series, expression, key, coding) -> Factor:
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
        order = _order_of_text(levels)
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


def _order_of_text(levels) -> list[int]:
    """Numbers in text by their value, other text by alphabet, so that the order of the rows does not matter."""
    places = list(range(len(levels)))
    try:
        return sorted(places, key=lambda j: float(levels[j]))
    except (TypeError, ValueError):
        return sorted(places, key=lambda j: str(levels[j]))


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
        return _finite(series.to_numpy(dtype=float, na_value=np.nan)[:, None])
    if name.isidentifier():
        near = did_you_mean(name, data.columns)
        hint = f" Did you mean {near!r}?" if near else f" It has {join_words(list(data.columns))}."
        raise KitError(f"The table has no column {name!r}, which the formula names.{hint}")
    from formulaic import model_matrix

    try:
        with np.errstate(all="ignore"):
            columns = model_matrix(f"0 + {expression}", data, na_action="ignore", output="numpy")
        return _finite(np.asarray(columns, dtype=float).reshape(len(data), -1))
    except Exception as error:  # any expression may be typed here, and fail in any way
        raise KitError(f"{expression!r} cannot be computed from the table: {error}") from error


def _finite(values: np.ndarray) -> np.ndarray:
    """Infinite values are missing ones: nothing was measured."""
    return np.where(np.isinf(values), np.nan, values)


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


INTERCEPT = "Intercept"
LARGEST = 1e100
"""Larger values cannot be squared, and are no measurements."""


@dataclass(frozen=True)
class Term:
    """One term of the formula: where its columns are, in both codings."""

    name: str
    keys: frozenset
    factors: tuple[str, ...]
    full: tuple[bool, ...]
    columns: slice
    typed: slice


@dataclass(frozen=True)
class Design:
    """Everything a fit needs from the table, for the rows that are used."""

    # `X` is in the coding of the formula; `to_typed @ beta` gives the coefficients in the type III coding
    # (factors sum to zero, covariates centred at the mean over athletes), or is None where the two do not
    # span the same space.

    outcome: str
    y: np.ndarray
    X: np.ndarray
    names: tuple[str, ...]
    terms: tuple[Term, ...]
    factors: dict
    to_typed: np.ndarray | None
    kept: np.ndarray
    reasons: dict
    remarks: tuple[str, ...]

    def term(self, name: str) -> Term:
        """Find a term by its name, with or without C(), its factors in any order."""
        keys = frozenset(bare_name(part) for part in split_outside_brackets(name, ":"))
        for found in ([t for t in self.terms if t.name == name], [t for t in self.terms if t.keys == keys]):
            if found:
                return found[0]
        known = [t.name for t in self.terms]
        raise KitError(f"The model has no term {name!r}; its terms are {join_words(known) or 'none'}.")


@lru_cache(maxsize=256)
def parse(formula: str) -> tuple[str, tuple[tuple[str, ...], ...]]:
    """Split a formula into the outcome and its terms, each a tuple of expressions; () is the intercept."""
    if not isinstance(formula, str) or formula.count("~") != 1:
        raise KitError(f"The formula {formula!r} needs the form 'outcome ~ C(round_no) + covariate'.")
    if "|" in formula:
        raise KitError(f"The formula {formula!r} holds a '|'. Random parts are named by group=, slope= and crossed=.")
    from formulaic import Formula
    from formulaic.errors import FormulaicError

    try:
        parsed = Formula(formula)
        left, right = list(parsed.lhs), list(parsed.rhs)
    except (FormulaicError, SyntaxError, AttributeError) as error:
        raise KitError(f"The formula {formula!r} cannot be read; check its signs and brackets.") from error
    if len(left) != 1 or len(left[0].factors) != 1:
        raise KitError(f"The formula {formula!r} needs exactly one outcome before '~'.")
    terms = tuple(tuple(f.expr for f in term.factors if f.expr != "1") for term in right if str(term) != "0")
    return left[0].factors[0].expr, terms


def build_design(data: pd.DataFrame, formula: str, athlete: np.ndarray, usable: np.ndarray) -> Design:
    """Evaluate a formula on a table."""
    outcome, expressions = parse(formula)
    y = numeric_columns(data, outcome, role="outcome")
    if y.shape[1] != 1:
        raise KitError(f"The outcome {outcome!r} gives more than one column.")
    y = y[:, 0]
    factors: dict[str, Factor] = {}
    for expression in dict.fromkeys(e for term in expressions for e in term):
        factors[expression] = evaluate_factor(data, expression)

    kept, reasons = usable.copy(), {}
    for label, missing in [
        (f"{outcome} missing", np.isnan(y)),
        *((f"{f.key} missing", f.missing) for f in factors.values()),
    ]:
        for row in np.flatnonzero(missing & kept):
            reasons[int(row)] = label
        kept &= ~missing
    if not kept.any():
        raise KitError(f"No row has both {outcome} and every variable of {formula!r}.")
    infinite = [outcome] if np.abs(y[kept]).max() > LARGEST else []
    remarks: list[str] = []
    for expression, factor in factors.items():
        factors[expression] = factor.restrict(kept, remarks)
        if not factor.categorical and np.abs(factor.values[kept]).max(initial=0.0) > LARGEST:
            infinite.append(factor.key)
    if infinite:
        raise KitError(f"{join_words(infinite)} holds absurdly large values; blank or correct them.")

    athlete = athlete[kept]
    X, names, slices = _assemble(factors, expressions, typed=False, athlete=athlete)
    typed_terms = expressions if () in expressions else ((), *expressions)
    C, _, typed_slices = _assemble(factors, typed_terms, typed=True, athlete=athlete)
    if () not in expressions:
        typed_slices = {k: v for k, v in typed_slices.items() if k != ()}
    if X.shape[1] == 0:
        raise KitError(f"The formula {formula!r} has no term; write 'outcome ~ 1' for the mean alone.")
    check_rank(X, names)
    margins = {frozenset(t) for t in typed_terms}
    terms = tuple(
        Term(
            name=":".join(t),
            keys=frozenset(factors[e].key for e in t),
            factors=t,
            full=tuple(frozenset(t) - {e} not in margins for e in t),
            columns=slices[t],
            typed=typed_slices[t],
        )
        for t in expressions
        if t
    )
    to_typed = _same_space(C, X)
    if to_typed is None and terms:
        remarks.append(
            "Terms are tested in the coding of the formula, since it leaves out an intercept or a main effect."
        )
    by_key = {f.key: f for f in factors.values()}
    return Design(outcome, y[kept], X, tuple(names), terms, by_key, to_typed, kept, reasons, tuple(remarks))


NEARLY_COLLINEAR = 1e-3
"""Share of the spread of a column that the earlier ones must leave, else its coefficient is noise."""


def check_rank(X: np.ndarray, names) -> None:
    """Raise a KitError that names the first column that the earlier ones already determine."""
    size = np.linalg.norm(X, axis=0)
    for j, name in enumerate(names):
        if size[j] == 0:
            raise KitError(
                f"{name} is zero in every row used, so its effect cannot be estimated; remove it or check the data."
            )
    _check_nearly_collinear(X, names)
    scaled = X / size
    diagonal = np.abs(np.diag(np.linalg.qr(scaled, mode="r")))
    low = np.flatnonzero(diagonal < 1e-9)
    if X.shape[0] < X.shape[1] and not len(low):
        raise KitError(f"{X.shape[0]} usable rows are too few for {X.shape[1]} coefficients.")
    if len(low):
        j = int(low[0])
        share = np.linalg.lstsq(scaled[:, :j], scaled[:, j], rcond=None)[0]
        partners = [names[i] for i in range(j) if abs(share[i]) > 1e-6]
        raise KitError(
            f"{names[j]} cannot be separated from {join_words(partners)} in the rows used "
            "(collinear columns, or fewer athletes than terms); remove one of them."
        )


def _check_nearly_collinear(X: np.ndarray, names) -> None:
    """Raise a KitError where a column hardly differs from what the earlier ones give."""
    middle = X - X.mean(axis=0)
    spread = np.linalg.norm(middle, axis=0)
    vary = np.flatnonzero(spread > 1e-9 * np.linalg.norm(X, axis=0))
    if len(vary) < 2 or len(vary) >= len(X):
        return
    scaled = middle[:, vary] / spread[vary]
    left = np.abs(np.diag(np.linalg.qr(scaled, mode="r")))
    near = np.flatnonzero((left < NEARLY_COLLINEAR) & (left > 1e-9))
    if len(near):
        j = int(near[0])
        share = np.linalg.lstsq(scaled[:, :j], scaled[:, j], rcond=None)[0]
        partners = [names[vary[i]] for i in range(j) if abs(share[i]) > 1e-3]
        raise KitError(
            f"{names[vary[j]]} is almost the same as {join_words(partners)} in the rows used (nearly collinear), so that "
            "neither can be estimated beside the other; remove one of them."
        )


def _assemble(factors, expressions, *, typed, athlete):
    present = {frozenset(term) for term in expressions}
    n_rows = len(athlete)
    blocks, names, slices, start = [], [], {}, 0
    for term in expressions:
        parts = []
        for expression in term:
            factor = factors[expression]
            margin = frozenset(term) - {expression}
            columns, labels = factor.columns(full=margin not in present, coding="S" if typed else None)
            if typed and not factor.categorical:
                columns = columns - _athlete_mean(columns, athlete)
            parts.append((columns, labels))
        block, labels = np.ones((n_rows, 1)), [INTERCEPT]
        if parts:
            block = np.stack([np.prod(cols, axis=0) for cols in product(*(p[0].T for p in reversed(parts)))], axis=1)
            labels = [":".join(reversed(labs)) for labs in product(*(p[1] for p in reversed(parts)))]
        blocks.append(block)
        names += labels
        slices[term] = slice(start, start + block.shape[1])
        start += block.shape[1]
    X = np.hstack(blocks) if blocks else np.empty((n_rows, 0))
    return X, names, slices


def _same_space(C, X):
    """The matrix T with C @ T = X where the two span the same space, else None."""
    if C.shape[1] != X.shape[1]:
        return None
    transform, _, rank, _ = np.linalg.lstsq(C, X, rcond=1e-11)
    if rank < C.shape[1] or np.abs(C @ transform - X).max() > 1e-8 * max(1.0, np.abs(X).max()):
        return None
    return transform


def _athlete_mean(columns, athlete):
    count = np.bincount(athlete)
    used = count > 0
    means = np.stack([np.bincount(athlete, c)[used] / count[used] for c in columns.T], axis=1)
    return means.mean(axis=0)
