"""The random-intercept model for a block of studies at once: arrays are terms x terms x studies.

The likelihood is profiled to one variance ratio, and what it needs is summed once per study by the number of rounds that
athletes have, so that each evaluation is a handful of vector operations over all studies.

(1) V^-1 of an athlete with n rounds is I - g / (1 + g n) 11';  log|V| = sum over athletes of log(1 + g n)
(2) deviance = log|V| + log|X' V^-1 X| + df log q0, with q0 = y' V^-1 y - b' X' V^-1 y and df = rows - terms
(3) with M = [X y] and s the sums of an athlete's rows of M: P = sum s s' / (1 + g n)^2;  C = sum n s s' / (1 + g n)^3
(4) d deviance / dg = tr - df r' V^-1 ZZ' V^-1 r / q0 with tr = sum n / (1 + g n) - tr(Phi P), r the residuals
The tests are (2) to (7) of `small_sample` with the one component ZZ'.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd

from ..basics import KitError, plural
from .small_sample import kenward_roger_moments

GRID = np.array([0.0, 0.2, 0.6, 1.2, 2.0, 3.0, 4.5, 7.0])
"""Values of t = log(1 + n g) where the deviance is looked at first; g is the variance ratio, n the rounds."""
LARGEST = 25.0


@dataclass(frozen=True)
class Sums:
    """Sufficient sums of a block of studies, for the augmented matrix M = [X y] with q columns."""

    cross: np.ndarray
    level: np.ndarray
    count: np.ndarray
    sizes: np.ndarray
    q: int

    def take(self, studies) -> Sums:
        """The same for some of the studies, given in order."""
        if len(studies) == self.cross.shape[1]:
            return self
        return Sums(self.cross[:, studies], self.level[:, :, studies], self.count[:, studies], self.sizes, self.q)


@lru_cache(maxsize=64)
def lower_triangle(q):
    """Rows and columns of the packed lower triangle, and the index that unpacks it to a full matrix."""
    rows, columns = np.tril_indices(q)
    unpack = np.empty((q, q), dtype=int)
    unpack[rows, columns] = unpack[columns, rows] = np.arange(len(rows))
    return rows, columns, unpack


def shared_design_sums(X, y, present) -> Sums:
    """Sums where all studies share one design."""
    athletes, rounds, p = X.shape
    studies = y.shape[-1]
    q = p + 1
    rows, columns, _ = lower_triangle(q)
    flat = X.reshape(-1, p)
    flat_present, flat_y = present.reshape(-1, studies), y.reshape(-1, studies)
    cross = np.empty((len(rows), studies))
    own = rows < p
    np.matmul((flat[:, rows[own]] * flat[:, columns[own]]).T, flat_present, out=cross[:-q])
    cross[-q:-1] = flat.T @ flat_y
    cross[-1] = np.einsum("rs,rs->s", flat_y, flat_y)
    sums = np.empty((athletes, q, studies))
    np.matmul(X.transpose(0, 2, 1), present, out=sums[:, :p])
    sums[:, p] = y.sum(axis=1)
    return _aggregate(cross, sums, present.sum(axis=1), rounds)


def own_design_sums(X, y, present) -> Sums:
    """Sums where each study has a design of its own: X is studies x athletes x rounds x terms; y and present alike."""
    studies, _, rounds, p = X.shape
    q = p + 1
    rows, columns, _ = lower_triangle(q)
    M = np.concatenate([X * present[..., None], y[..., None]], axis=-1)
    flat = M.reshape(studies, -1, q)
    full = np.matmul(flat.transpose(0, 2, 1), flat)
    cross = np.ascontiguousarray(full[:, rows, columns].T)
    sums = np.ascontiguousarray(M.sum(axis=2).transpose(1, 2, 0))
    return _aggregate(cross, sums, present.sum(axis=2).T, rounds)


def _aggregate(cross, sums, size, rounds) -> Sums:
    athletes, q, studies = sums.shape
    rows, columns, _ = lower_triangle(q)
    level = np.empty((rounds, len(rows), studies))
    total = np.empty((len(rows), studies))
    for j, (a, b) in enumerate(zip(rows, columns, strict=True)):
        np.einsum("is,is->s", sums[:, a], sums[:, b], out=total[j])
    # athletes with a missing round are few: gather them, and take the complete ones as the rest
    athlete, study = np.nonzero(size < rounds)
    held = size[athlete, study].astype(int)
    athlete, study, held = athlete[held > 0], study[held > 0], held[held > 0]
    key = (held - 1) * studies + study
    part = sums[athlete, :, study]
    for j, (a, b) in enumerate(zip(rows, columns, strict=True)):
        binned = np.bincount(key, part[:, a] * part[:, b], minlength=(rounds - 1) * studies)
        level[:-1, j] = binned.reshape(rounds - 1, studies)
    level[-1] = total - level[:-1].sum(axis=0)
    count = np.empty((rounds, studies))
    count[:-1] = np.bincount(key, minlength=(rounds - 1) * studies).reshape(rounds - 1, studies)
    count[-1] = athletes - np.count_nonzero(size < rounds, axis=0)
    kept = np.flatnonzero(count.any(axis=1))
    return Sums(cross, level[kept], count[kept], (kept + 1).astype(float), q)


def solve(sums: Sums, df):
    """Variance ratio at the maximum of the restricted likelihood, for every study."""
    scale = (sums.sizes @ sums.count) / sums.count.sum(axis=0)
    values = np.array([_deviance(sums, np.expm1(t) / scale, df) for t in GRID])
    values = np.where(np.isfinite(values), values, np.inf)
    best = np.argmin(values, axis=0)
    low = np.concatenate([[0.0], GRID])[best]
    high = np.concatenate([GRID[1:], [LARGEST]])[best]
    t = GRID[best]
    inner = (best > 0) & (best < len(GRID) - 1)
    t = np.where(inner, _parabola(values, best, t), t)
    t = np.where((t > low) & (t < high), t, GRID[best])
    failed = ~np.isfinite(values.min(axis=0))
    active = np.flatnonzero(~failed)
    work, work_df, work_scale = sums.take(active), df[active], scale[active]
    for step in range(60):
        if not len(active):
            break
        now, lo, hi = t[active], low[active], high[active]
        grow = np.exp(now)
        first, second = _derivatives(work, (grow - 1) / work_scale, work_df)
        rate = grow / work_scale
        slope = first * rate
        curve = second * rate**2 + slope
        lo, hi = np.where(slope > 0, lo, now), np.where(slope > 0, now, hi)
        with np.errstate(all="ignore"):
            new = now - slope / curve
        new = np.where((curve > 0) & (new >= lo) & (new <= hi), new, 0.5 * (lo + hi))
        t[active], low[active], high[active] = new, lo, hi
        moving = np.abs(new - now) > 1e-5 * (1 + now)  # steps are quadratic: what is left is about its square
        if step >= 1 and not moving.all():
            keep = np.flatnonzero(moving)
            active = active[keep]
            work, work_df, work_scale = work.take(keep), work_df[keep], work_scale[keep]
    failed[active] = True
    failed |= t > LARGEST - 1e-3
    return np.where(failed, np.nan, np.expm1(t) / scale)


def _parabola(values, best, t):
    """Minimum of the parabola through the best point of the grid and its neighbours."""
    at = np.clip(best, 1, len(GRID) - 2)
    study = np.arange(values.shape[1])
    left, middle, right = values[at - 1, study], values[at, study], values[at + 1, study]
    a, b = GRID[at] - GRID[at - 1], GRID[at] - GRID[at + 1]
    with np.errstate(all="ignore"):
        top = a * a * (middle - right) - b * b * (middle - left)
        bottom = a * (middle - right) - b * (middle - left)
        return np.where(np.isfinite(top / bottom), t - 0.5 * top / bottom, t)


def _deviance(sums: Sums, g, df):
    """Restricted deviance with sigma profiled out."""
    weight = g / (1 + g * sums.sizes[:, None])  # (1)
    _, _, unpack = lower_triangle(sums.q)
    A = (sums.cross - np.einsum("ls,lcs->cs", weight, sums.level))[unpack]
    log_det = np.einsum("ls,ls->s", sums.count, np.log1p(g * sums.sizes[:, None]))
    pivots = np.ones_like(g)
    with np.errstate(all="ignore"):
        for j in range(sums.q - 1):
            pivot = A[j, j]
            pivots = pivots * pivot
            A[j + 1 :, j + 1 :] -= A[j + 1 :, j, None] * (A[j, j + 1 :] / pivot)
        return log_det + np.log(pivots) + df * np.log(A[-1, -1])  # (2)


@dataclass(frozen=True)
class State:
    """Everything at one variance ratio per study, in units of sigma^2 = 1 (terms x terms x studies)."""

    phi: np.ndarray
    beta: np.ndarray
    q0: np.ndarray
    log_pivots: np.ndarray
    smallest_pivot: np.ndarray
    P: np.ndarray
    C: np.ndarray
    E: np.ndarray
    trace: np.ndarray
    information: np.ndarray
    first: np.ndarray


def state(sums: Sums, g) -> State:
    """Evaluate a block of studies at one variance ratio each."""
    q = sums.q
    p = q - 1
    _, _, unpack = lower_triangle(q)
    sizes = sums.sizes[:, None]
    shrink = 1 / (1 + g * sizes)
    A = (sums.cross - np.einsum("ls,lcs->cs", g * shrink, sums.level))[unpack]
    square = shrink * shrink
    P = np.einsum("ls,lcs->cs", square, sums.level)[unpack]  # (3)
    size_shrink = sizes * shrink
    C = np.einsum("ls,lcs->cs", square * size_shrink, sums.level)[unpack]
    log_pivots = np.zeros_like(g)
    smallest = np.full_like(g, np.inf)
    original = A[np.arange(p), np.arange(p)].copy()
    with np.errstate(all="ignore"):
        for j in range(p):  # the sweep operator: leaves -phi, beta and q0 in place
            pivot = A[j, j].copy()
            log_pivots += np.log(pivot)
            np.minimum(smallest, pivot / original[j], out=smallest)
            row = A[j] / pivot
            column = A[:, j].copy()
            A -= column[:, None] * row[None]
            A[j], A[:, j] = row, row
            A[j, j] = -1 / pivot
    phi, beta, q0 = -A[:p, :p], A[:p, p], A[p, p]
    E = np.einsum("abs,bcs->acs", phi, P[:p, :p])
    t1 = np.einsum("ls,ls->s", sums.count, size_shrink)
    t2 = np.einsum("ls,ls->s", sums.count, size_shrink * size_shrink)
    trace = t1 - np.einsum("aas->s", E)
    information = t2 - 2 * np.einsum("abs,abs->s", phi, C[:p, :p]) + np.einsum("abs,bas->s", E, E)
    Pv = P[:, p] - np.einsum("abs,bs->as", P[:, :p], beta)
    first = Pv[p] - np.einsum("as,as->s", beta, Pv[:p])
    return State(phi, beta, q0, log_pivots, smallest, P, C, E, trace, information, first)


def _derivatives(sums: Sums, g, df):
    s = state(sums, g)
    p = sums.q - 1
    Pv = s.P[:p, p] - np.einsum("abs,bs->as", s.P[:p, :p], s.beta)
    Cv = s.C[:, p] - np.einsum("abs,bs->as", s.C[:, :p], s.beta)
    second = Cv[p] - np.einsum("as,as->s", s.beta, Cv[:p])
    second = second - np.einsum("as,as->s", Pv, np.einsum("abs,bs->as", s.phi, Pv))
    with np.errstate(all="ignore"):
        ratio = s.first / s.q0
        return s.trace - df * ratio, -s.information + df * (2 * second / s.q0 - ratio**2)  # (4), and once more by g


def weights(s: State, df):
    """Twice the inverse expected information for the components V and ZZ' (both in units of sigma^2)."""
    with np.errstate(all="ignore"):
        determinant = df * s.information - s.trace**2
        identified = determinant > 1e-9 * np.abs(df * s.information)
        determinant = np.where(identified, determinant, np.nan)
        return 2 * s.information / determinant, -2 * s.trace / determinant, 2 * df / determinant


def kenward_roger(s: State, sigma2, w, L):
    """Kenward-Roger test of L beta = 0 (L: rows x terms), per study."""
    q = len(L)
    p = s.phi.shape[0]
    w00, w01, w11 = w
    R = np.einsum("abs,qb->aqs", s.phi, L) if not _picks(L) else s.phi[:, L.argmax(axis=1)]
    estimate = np.einsum("qa,as->qs", L, s.beta)
    V = np.einsum("qa,ars->qrs", L, R)
    U = np.einsum("abs,bqs->aqs", s.P[:p, :p], R)
    M = np.einsum("aqs,ars->qrs", R, U)
    extra = np.einsum("aqs,abs,brs->qrs", R, s.C[:p, :p], R, optimize=["einsum_path", (0, 1), (0, 1)])
    extra -= np.einsum("aqs,ars->qrs", U, np.einsum("abs,bqs->aqs", s.phi, U))
    adjusted = sigma2 * (V + 2 * w11 * extra)
    with np.errstate(all="ignore"):
        error = np.sqrt(np.einsum("qqs->qs", adjusted))
        if q == 1:
            a = M[0, 0] / V[0, 0]
            df_den = 2 / (w00 + 2 * w01 * a + w11 * a * a)
            return estimate, error, (estimate[0] / error[0]) ** 2, df_den
        K = _solve_small(V, M)
        a, b = np.einsum("qqs->s", K), np.einsum("qrs,rqs->s", K, K)
        a1 = w00 * q * q + 2 * w01 * q * a + w11 * a * a
        a2 = w00 * q + 2 * w01 * a + w11 * b
        df_den, scaling = kenward_roger_moments(a1, a2, q)
        wald = np.einsum("qs,qs->s", estimate, _solve_small(adjusted, estimate[:, None])[:, 0])
        return estimate, error, scaling * wald / q, df_den


def _picks(L):
    return bool(np.all((L == 0) | (L == 1)) and np.all(L.sum(axis=1) == 1))


def _solve_small(A, B):
    """Solve A x = B for symmetric positive matrices, q x q x studies, by elimination."""
    A, B = A.copy(), B.copy()
    q = len(A)
    for j in range(q):
        factor = A[j + 1 :, j] / A[j, j]
        A[j + 1 :, j:] -= factor[:, None] * A[j, j:]
        B[j + 1 :] -= factor[:, None] * B[j]
    for j in reversed(range(q)):
        B[j] /= A[j, j]
        B[:j] -= A[:j, j, None] * B[j]
    return B


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
        raise KitError("design holds missing or infinite values; leave a row out by making its outcome missing.")
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
