"""What `fit_mixed_batch` is given, checked and laid out."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import KitError, plural


def checked(outcomes, design, group, tests):
    """Outcomes and design as arrays with the athletes sorted, the place of each row, and the tests as matrices."""
    y, X = np.asarray(outcomes, dtype=float), np.asarray(design, dtype=float)
    y = y[None] if y.ndim == 1 else y
    if y.ndim != 2 or X.ndim not in (2, 3):
        raise KitError("outcomes must be studies x rows, and design rows x terms or studies x rows x terms.")
    rows, p = X.shape[-2:]
    codes = pd.factorize(np.asarray(group))[0]
    if y.shape[1] != rows or len(codes) != rows or (X.ndim == 3 and len(X) != len(y)):
        raise KitError(
            f"outcomes has {plural(y.shape[1], 'row')}, design {rows}, group {len(codes)}"
            + (f", for {len(y)} and {len(X)} studies" if X.ndim == 3 else "")
            + "; they must agree."
        )
    if not np.all(np.isfinite(X)):
        raise KitError(
            "design holds missing or infinite values; leave a row out by making its outcome missing."
        )
    if np.isinf(y).any():
        raise KitError("outcomes holds infinite values.")
    if (codes < 0).any():
        raise KitError("group holds missing values.")
    size = np.bincount(codes)
    place = np.full((len(size), size.max()), rows)
    for athlete in range(len(size)):
        own = np.flatnonzero(codes == athlete)
        place[athlete, : len(own)] = own
    return y, X, codes, place, {str(k): _as_matrix(k, v, p) for k, v in dict(tests).items()}


def _as_matrix(name, columns, p):
    given = np.asarray(columns)
    if given.ndim == 2:
        if given.shape[1] != p:
            raise KitError(f"The test {name!r} needs {plural(p, 'column')}, one per term.")
        L = given.astype(float)
    else:
        picked = np.atleast_1d(given)
        if not len(picked) or not np.issubdtype(picked.dtype, np.integer):
            raise KitError(f"The test {name!r} must list columns of the design as whole numbers.")
        if picked.min() < 0 or picked.max() >= p or len(set(picked.tolist())) < len(picked):
            raise KitError(f"The test {name!r} must list different columns between 0 and {p - 1}.")
        L = np.eye(p)[picked]
    if np.linalg.matrix_rank(L) < len(L):
        raise KitError(f"The rows of the test {name!r} repeat each other.")
    return L


def constant_column(X):
    """Index and value of a column that is the same everywhere, or None."""
    flat = X.reshape(-1, X.shape[-1])
    same = np.flatnonzero(np.all(flat == flat[0], axis=0) & (flat[0] != 0))
    return (int(same[0]), float(flat[0, same[0]])) if len(same) else None


def centred(X, ones):
    """Centre the columns beside the constant one, for accuracy; the matrix turns their coefficients back."""
    p = X.shape[1]
    shift = np.eye(p)
    if ones is None:
        return X, shift
    index, value = ones
    mean = X.mean(axis=0)
    mean[index] = 0.0
    shift[index] -= mean / value
    return X - mean, shift


def columns_within(X, place):
    """How many columns change within an athlete."""
    some = X[None] if X.ndim == 2 else X[:5]
    changes = np.zeros(X.shape[-1], dtype=bool)
    for rows in place:
        own = some[:, rows[rows < X.shape[-2]]]
        changes |= np.any(np.abs(own - own[:, :1]) > 1e-12 * np.abs(own).max(initial=1.0), axis=(0, 1))
    return int(changes.sum())


def rank_with_athletes(X, codes):
    """Rank of the design together with a column for every athlete."""
    athletes = (codes[:, None] == np.unique(codes)).astype(float)
    return int(np.linalg.matrix_rank(np.hstack([X, athletes])))
