"""Adjusting several p values at once."""

from __future__ import annotations

import numpy as np

from ..basics import KitError
from .intervals import as_numbers


def holm(p):
    """Adjust p values by Holm's step-down method; missing ones stay missing and do not count.

    Parameters
    ----------
    p : sequence of float
        Unadjusted p values, in any order.

    Returns
    -------
    ndarray of float
        Adjusted p values, in the same order.

    Notes
    -----
    The j-th smallest of m is multiplied by m - j + 1; the results never decrease and stop at 1.

    References
    ----------
    Holm S (1979) A simple sequentially rejective multiple test procedure. Scandinavian Journal of Statistics 6:65-70.

    Examples
    --------
    >>> [round(float(v), 3) for v in holm([0.01, 0.04, 0.03])]
    [0.03, 0.06, 0.06]
    """
    p = np.atleast_1d(as_numbers(p, "p"))
    if p.ndim != 1 or ((p < 0) | (p > 1)).any():
        raise KitError("p must hold p values, from 0 to 1, in one list.")
    out = np.full(p.shape, np.nan)
    known = np.flatnonzero(~np.isnan(p))
    order = known[np.argsort(p[known], kind="stable")]
    m = len(order)
    out[order] = np.minimum(1.0, np.maximum.accumulate(p[order] * (m - np.arange(m))))
    return out
