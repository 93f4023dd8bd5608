"""From a formula and a table to numbers: outcome, design matrix, and the type III view of the same space.

The formula is parsed by formulaic; plain columns and ``C(column)`` are coded here, so that names, the order of
levels and the choice of reference are the same everywhere; any other expression is evaluated by formulaic.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
import pandas as pd

from ..basics import KitError, join_words
from .factors import Factor, bare_name, evaluate_factor, numeric_columns, split_outside_brackets

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
    """Everything a fit needs from the table, for the rows that are used.

    `X` is in the coding of the formula; `to_typed @ beta` gives the coefficients in the type III coding (factors
    sum to zero, covariates centred at the mean over athletes), or is None where the two do not span the same space.
    """

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
        raise KitError(
            f"The formula {formula!r} holds a '|'. Random parts are named by group=, slope= and crossed=."
        )
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
        factors[expression] = evaluate_factor(data, expression, athlete)

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
        raise KitError(
            f"{join_words(infinite)} holds infinite or absurdly large values; blank or correct them."
        )

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


def check_rank(X: np.ndarray, names) -> None:
    """Raise a KitError that names the first column that the earlier ones already determine."""
    size = np.linalg.norm(X, axis=0)
    for j, name in enumerate(names):
        if size[j] == 0:
            raise KitError(
                f"{name} is zero in every row used, so its effect cannot be estimated; remove it or check the data."
            )
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
            f"{names[j]} cannot be told apart from {join_words(partners)} in the rows used "
            "(collinear columns, or fewer athletes than terms); remove one of them."
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
            block = np.stack(
                [np.prod(cols, axis=0) for cols in product(*(p[0].T for p in reversed(parts)))], axis=1
            )
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
