"""Restricted maximum likelihood for linear mixed models, exactly, for the small data of a club.

The covariance of the rows is sigma^2 V, V = I + sum_k g_k D_k with D_k = Z B_k Z': linear in the relative covariances g.
Everything that the likelihood, its derivatives and the small-sample tests need is kept in the dimension of the random
effects. With X = Q R, r what y leaves beside Q, M = [Q r], and df = rows - columns of X:

(1) A = M' V^-1 M;  P_k = M' V^-1 D_k V^-1 M;  C_kl = M' V^-1 D_k V^-1 D_l V^-1 M;  t_k = tr(V^-1 D_k);
    T_kl = tr(V^-1 D_k V^-1 D_l)
(2) deviance = log|V| + log|Q' V^-1 Q| + df log q0, sigma^2 profiled out;  q0 = r' V^-1 r - b' Q' V^-1 r, b = Phi Q' V^-1 r
(3) log-likelihood = -1/2 [deviance + log|X'X| + df (1 + log(2 pi / df))]
(4) with W = V^-1 - V^-1 Q Phi Q' V^-1, Phi = (Q' V^-1 Q)^-1 and v = (-b, 1):  y'W D_k W y = v' P_k v, and
    y'W D_k W D_l W y = v' C_kl v - (P_k v)' Phi (P_l v), of P v the part that belongs to Q
(5) tr(W D_k) = t_k - tr(Phi P_k);  tr(W D_k W D_l) = T_kl - tr(Phi (C_kl + C_lk)) + tr(Phi P_k Phi P_l)
(6) d deviance / dg_k = tr(W D_k) - df y'W D_k W y / q0
(7) d2 deviance / dg_k dg_l = -tr(W D_k W D_l) + df [2 y'W D_k W D_l W y / q0 - (y'W D_k W y) (y'W D_l W y) / q0^2]
(8) by theta, g = g(theta) with Jacobian J:  J' d;  J' H J + sum_k d_k (second derivatives of g_k), d of (6) and H of (7)
(9) the random intercept alone: V^-1 of an athlete with n rows is I - g / (1 + g n) 11'
(10) V^-1 = I - Z L (I + L' Z'Z L)^-1 L' Z' with L L' = sum_k g_k B_k, so that only the random effects are inverted
(11) the maximum: (8) set to zero by Newton's method on every set of theta that is not held at zero

References
----------
The numbers are those of this file. (2), (3): Patterson HD, Thompson R (1971) Biometrika 58:545-554; profiled as in Bates D,
Maechler M, Bolker B, Walker S (2015) Journal of Statistical Software 67(1), section 3.4 (section from memory). (6), (7):
Harville DA (1977) Journal of the American Statistical Association 72:320-338 (from memory); the tests hold both to
differences of (2). (10): Woodbury's identity.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np

from ..basics import KitError


@dataclass(frozen=True)
class Pieces:
    """What one value of the parameters gives, in units of sigma^2 = 1, for the augmented matrix [Q y]."""

    log_det: float
    A: np.ndarray
    P: list
    C: list
    t: np.ndarray
    T: np.ndarray


class Structure:
    """Random effects: blocks of columns and the relative covariances between them."""

    def __init__(self, groups, slope=None, correlated=True):
        self.groups = [np.asarray(g) for g in groups]
        self.correlated = slope is not None and correlated
        self.names = ["group"]
        self.scale = 1.0
        blocks = [_indicator(self.groups[0])]
        pairs = [(0, 0)]
        if slope is not None:
            self.scale = float(np.sqrt(np.mean(np.square(slope)))) or 1.0
            blocks.append(blocks[0] * (np.asarray(slope, float) / self.scale)[:, None])
            pairs += [(0, 1), (1, 1)] if correlated else [(1, 1)]
            self.names += ["covariance", "slope"] if correlated else ["slope"]
        for j, codes in enumerate(self.groups[1:]):
            blocks.append(_indicator(codes))
            pairs.append((len(blocks) - 1, len(blocks) - 1))
            self.names.append(f"crossed {j}")
        self.pairs = pairs
        self.Z = np.hstack(blocks)
        ends = np.cumsum([b.shape[1] for b in blocks])
        self.slices = [slice(e - b.shape[1], e) for e, b in zip(ends, blocks, strict=True)]
        self.n_theta = len(pairs)

    @property
    def simple(self) -> bool:
        """Is it the random intercept alone?"""
        return len(self.pairs) == 1

    def relative(self, theta):
        """Relative covariances g, their derivatives by theta, and second derivatives."""
        theta = np.asarray(theta, float)
        n = self.n_theta
        g, J, H2 = theta**2, np.diag(2 * theta), np.zeros((n, n, n))
        for k in range(n):
            H2[k, k, k] = 2.0
        if self.correlated:  # the factor of the two-by-two block is [[a, 0], [b, c]]
            a, b, c = theta[:3]
            g[:3] = a * a, a * b, b * b + c * c
            J[:3, :3] = [[2 * a, 0, 0], [b, a, 0], [0, 2 * b, 2 * c]]
            H2[:3, :3, :3] = 0.0
            H2[0, 0, 0] = H2[2, 1, 1] = H2[2, 2, 2] = 2.0
            H2[1, 0, 1] = H2[1, 1, 0] = 1.0
        return g, J, H2

    def boundaries(self):
        """Index sets of theta that may be exactly zero."""
        first = [(0, 1, 2), (2,), ()] if self.correlated else [(0,), ()]
        rest = range(3 if self.correlated else 1, self.n_theta)
        return [tuple(sorted(sum(choice, ()))) for choice in product(first, *([(k,), ()] for k in rest))]

    def covariance(self, g):
        """G, the relative covariance of all random effects."""
        G = np.zeros((self.Z.shape[1],) * 2)
        for value, (a, b) in zip(g, self.pairs, strict=True):
            block = value * np.eye(self.slices[a].stop - self.slices[a].start)
            G[self.slices[a], self.slices[b]] = block
            G[self.slices[b], self.slices[a]] = block
        return G

    def factor(self, theta):
        """Lambda, with Lambda Lambda' = G."""
        L = np.zeros((self.Z.shape[1],) * 2)
        n = self.slices[0].stop
        start = 0
        if self.correlated:
            eye = np.eye(n)
            L[:n, :n], L[n : 2 * n, :n], L[n : 2 * n, n : 2 * n] = (theta[0] * eye, theta[1] * eye, theta[2] * eye)
            start = 3
        for value, (a, _) in list(zip(theta, self.pairs, strict=True))[start:]:
            L[self.slices[a], self.slices[a]] = value * np.eye(self.slices[a].stop - self.slices[a].start)
        return L


class Problem:
    """The restricted likelihood of one outcome, design and structure of random effects."""

    def __init__(self, y, X, structure: Structure):
        self.structure = structure
        self.n, self.p = X.shape
        self.df = self.n - self.p
        self.Q, self.R = np.linalg.qr(X)
        self.ols = self.Q.T @ y
        residual = y - self.Q @ self.ols
        residual -= self.Q @ (self.Q.T @ residual)
        self.M = np.column_stack([self.Q, residual])
        self.MM = self.M.T @ self.M
        self.log_det_x = 2 * np.log(np.abs(np.diag(self.R))).sum()
        if structure.simple:
            codes = structure.groups[0]
            self.size = np.bincount(codes).astype(float)
            self.sums = np.zeros((len(self.size), self.p + 1))
            np.add.at(self.sums, codes, self.M)
        else:
            self.ZZ = structure.Z.T @ structure.Z
            self.ZM = structure.Z.T @ self.M
        self._check(y, residual)

    def _check(self, y, residual):
        spread = np.sqrt(np.mean(np.square(y - y.mean())))
        if np.sqrt(np.mean(np.square(residual))) <= 1e-11 * max(spread, np.abs(y).max()) or spread == 0:
            raise KitError(
                "The outcome does not vary beyond the terms of the model, so there is nothing to estimate "
                "an uncertainty from."
            )
        u, values, _ = np.linalg.svd(np.hstack([self.Q, self.structure.Z]), full_matrices=False)
        basis = u[:, values > 1e-10 * values[0]]
        both = basis.shape[1]
        if both == self.p:
            raise KitError(
                "There are too few athletes for the terms that differ between athletes: "
                "no variation between athletes is left."
            )
        if both >= self.n:
            needed = "two rows" if self.structure.simple else "more rows (three for a slope)"
            raise KitError(
                f"The random effects use up every row: some athletes need {needed}, else the variation within "
                "athletes cannot be separated from the variation between them."
            )
        inside = residual - basis @ (basis.T @ residual)
        if np.sqrt(np.mean(inside**2)) <= 1e-11 * max(spread, np.abs(y).max()):
            raise KitError(
                "Beyond the model and the level of each athlete the outcome does not vary at all, so there is "
                "nothing to estimate an uncertainty from."
            )

    def profile(self, theta, *, derivatives=True):
        """Restricted deviance with sigma profiled out, its gradient and Hessian by theta, and the pieces."""
        _, J, H2 = self.structure.relative(theta)
        pieces = self.pieces(theta, derivatives=derivatives)
        A = pieces.A
        p, df = self.p, self.df
        chol = np.linalg.cholesky(A)
        diagonal = np.diag(chol)
        q0 = diagonal[p] ** 2
        deviance = pieces.log_det + 2 * np.log(diagonal[:p]).sum() + df * np.log(q0)  # (2), from one factor of A
        if not derivatives:
            return deviance, None, None, pieces
        phi, _, E, first, second = self.contractions(pieces)
        gradient = pieces.t - np.array([np.trace(e) for e in E]) - df * first / q0  # (6)
        hessian = -self.information(pieces, phi, E) + df * (  # (7)
            (second + second.T) / q0 - np.outer(first, first) / q0**2
        )
        return deviance, J.T @ gradient, J.T @ hessian @ J + np.tensordot(gradient, H2, 1), pieces  # (8)

    def contractions(self, pieces):
        """Phi, v = (-b, 1), Phi P_k, v' P_k v, and y'W D_k W D_l W y, as in (4)."""
        p = self.p
        phi = np.linalg.inv(pieces.A[:p, :p])
        v = np.append(-phi @ pieces.A[:p, p], 1.0)
        E = [phi @ P[:p, :p] for P in pieces.P]
        Pv = [P @ v for P in pieces.P]
        k = len(E)
        first = np.array([v @ w for w in Pv])  # (4)
        second = np.array([[v @ pieces.C[i][j] @ v - Pv[i][:p] @ phi @ Pv[j][:p] for j in range(k)] for i in range(k)])
        return phi, v, E, first, second

    def information(self, pieces, phi, E):
        """tr(W D_k W D_l) of (5): twice the expected information in units of sigma^2 = 1."""
        p, k = self.p, len(E)
        return np.array(
            [
                [
                    pieces.T[i, j] - np.sum(phi * (pieces.C[i][j] + pieces.C[j][i])[:p, :p]) + np.sum(E[i] * E[j].T)
                    for j in range(k)
                ]
                for i in range(k)
            ]
        )

    def pieces(self, theta, *, derivatives=True) -> Pieces:
        """The quantities of `Pieces` at theta."""
        return (self._pieces_simple if self.structure.simple else self._pieces_general)(theta, derivatives)

    def _pieces_simple(self, theta, derivatives):
        g = float(theta[0]) ** 2
        shrink = 1 / (1 + g * self.size)
        A = self.MM - (self.sums.T * (g * shrink)) @ self.sums  # (9)
        log_det = -np.log(shrink).sum()
        if not derivatives:
            return Pieces(log_det, A, [], [], np.empty(0), np.empty((0, 0)))
        r = self.size * shrink
        P = (self.sums.T * shrink**2) @ self.sums
        C = (self.sums.T * (shrink**2 * r)) @ self.sums
        return Pieces(log_det, A, [P], [[C]], np.array([r.sum()]), np.array([[(r * r).sum()]]))

    def _pieces_general(self, theta, derivatives):
        s = self.structure
        L = s.factor(theta)
        ZL = self.ZZ @ L
        core = np.eye(L.shape[0]) + L.T @ ZL
        chol = np.linalg.cholesky(core)
        log_det = 2 * np.log(np.diag(chol)).sum()
        half = np.linalg.solve(chol, L.T @ self.ZM)
        A = self.MM - half.T @ half  # (10)
        if not derivatives:
            return Pieces(log_det, A, [], [], np.empty(0), np.empty((0, 0)))
        U = np.linalg.solve(chol, ZL.T)
        R = self.ZZ - U.T @ U
        S = self.ZM - U.T @ half
        k = len(s.pairs)
        RB = [self._times_b(R, pair) for pair in s.pairs]
        SB = [self._times_b(S.T, pair) for pair in s.pairs]
        t = np.array([np.trace(m) for m in RB])  # (1), and all below
        T = np.array([[np.sum(RB[i] * RB[j].T) for j in range(k)] for i in range(k)])
        P = [SB[i] @ S for i in range(k)]
        C = [[SB[i] @ R @ SB[j].T for j in range(k)] for i in range(k)]
        return Pieces(log_det, A, P, C, t, T)

    def _times_b(self, left, pair):
        """left @ B_k, where B_k joins two blocks of columns."""
        a, b = (self.structure.slices[i] for i in pair)
        out = np.zeros_like(left)
        out[:, a] = left[:, b]
        if pair[0] != pair[1]:
            out[:, b] = left[:, a]
        return out

    def deviance_of_ratios(self, g):
        """Profiled deviance at several variance ratios of a random intercept."""
        shrink = 1 / (1 + g[:, None] * self.size)
        A = self.MM - np.einsum("ti,ia,ib->tab", g[:, None] * shrink, self.sums, self.sums)
        diagonal = np.diagonal(np.linalg.cholesky(A), axis1=1, axis2=2)
        logs = 2 * np.log(diagonal)
        return logs[:, :-1].sum(axis=1) + self.df * logs[:, -1] - np.log(shrink).sum(axis=1)

    def derivatives_of_ratio(self, g):
        """First and second derivative of the profiled deviance by the variance ratio of a random intercept."""
        pieces = self.pieces([np.sqrt(g)])
        phi, v, E, first, second = self.contractions(pieces)
        q0 = v @ pieces.A @ v
        slope = pieces.t[0] - np.trace(E[0]) - self.df * first[0] / q0  # (6)
        curve = -self.information(pieces, phi, E)[0, 0] + self.df * (  # (7)
            2 * second[0, 0] / q0 - (first[0] / q0) ** 2
        )
        return slope, curve

    def log_likelihood(self, deviance) -> float:
        """Restricted log-likelihood in the coding of the design, from the profiled deviance."""
        return -0.5 * float(deviance + self.log_det_x + self.df * (1 + np.log(2 * np.pi / self.df)))  # (3)


def _indicator(codes):
    out = np.zeros((len(codes), int(codes.max()) + 1))
    out[np.arange(len(codes)), codes] = 1.0
    return out


def maximise(problem: Problem) -> np.ndarray:
    """Return theta at the maximum of the restricted likelihood, with exact zeros at the boundary."""
    if problem.structure.simple:
        return _maximise_simple(problem)
    n = problem.structure.n_theta
    starts = [np.ones(n), np.full(n, 0.3), np.full(n, 3.0)]  # (11)
    best, best_deviance = None, np.inf
    for zero in problem.structure.boundaries():
        free = np.array([k for k in range(n) if k not in zero], dtype=int)
        found = None
        for start in starts:
            theta = start.copy()
            theta[list(zero)] = 0.0
            theta, deviance = _newton(problem, theta, free)
            if found is None or deviance < found[1] - 1e-10:
                found = theta, deviance
            if not len(free):
                break
        # prefer the solution with more zeros where the likelihood cannot tell
        if best is None or found[1] < best_deviance - 1e-10:
            best, best_deviance = found
    if problem.structure.correlated and best[0] < 0:
        best[:2] *= -1
    best[2 if problem.structure.correlated else 0 :] = np.abs(best[2 if problem.structure.correlated else 0 :])
    return best


def _newton(problem, theta, free):
    """Newton steps on the free parameters, made safe by positive curvature and by halving."""
    deviance, gradient, hessian, _ = problem.profile(theta)
    for _ in range(60):
        if not len(free):
            break
        slope, curve = gradient[free], hessian[np.ix_(free, free)]
        values, vectors = np.linalg.eigh(curve)
        values = np.maximum(np.abs(values), 1e-8 * max(1.0, np.abs(values).max()))
        step = -vectors @ ((vectors.T @ slope) / values)
        size = np.linalg.norm(step)
        limit = 1.0 + np.linalg.norm(theta)
        step *= min(1.0, limit / size) if size else 1.0
        if abs(slope @ step) < 1e-13:
            break
        for _ in range(30):
            trial = theta.copy()
            trial[free] += step
            try:
                result = problem.profile(trial)
            except np.linalg.LinAlgError:
                result = (np.inf,)
            if result[0] <= deviance + 1e-13 * abs(deviance):
                break
            step = step / 2
        else:
            break
        moved = abs(deviance - result[0])
        theta, (deviance, gradient, hessian, _) = trial, result
        if moved < 1e-13 * max(1.0, abs(deviance)) and np.abs(gradient[free]).max() < 1e-7:
            break
    return theta, deviance


def _maximise_simple(problem) -> np.ndarray:
    """The random intercept alone: a grid on log(1 + n g), on which the deviance is nearly convex, then Newton."""
    size = problem.size.mean()

    grid = np.concatenate([[0.0], np.geomspace(0.02, 25.0, 12)])
    best = int(np.argmin(problem.deviance_of_ratios(np.expm1(grid) / size)))
    if best == 0:
        if problem.derivatives_of_ratio(0.0)[0] >= 0:
            return np.zeros(1)
        best = 1
    low, high = grid[best - 1], grid[min(best + 1, len(grid) - 1)]
    t = grid[best]
    for _ in range(60):
        g = np.expm1(t) / size
        first, second = problem.derivatives_of_ratio(g)
        rate = np.exp(t) / size
        slope, curve = first * rate, second * rate**2 + first * rate
        if slope > 0:
            high = t
        else:
            low = t
        new = t - slope / curve if curve > 0 else 0.5 * (low + high)
        if not low <= new <= high:
            new = 0.5 * (low + high)
        if abs(new - t) < 1e-12 * (1 + t):
            t = new
            break
        t = new
    return np.array([np.sqrt(np.expm1(t) / size)])


SLOPE = 1e-7
"""The search ends where no slope is larger,"""
GAIN = 1e-14
"""or where two steps in a row lower the function by less than this share."""
MOST_STEPS = 300


def descend(function: Callable, start, inverse=None) -> tuple[float, np.ndarray, np.ndarray]:
    """Find the minimum by quasi-Newton steps (BFGS), each halved until the function falls."""
    # Source: Nocedal J, Wright SJ (2006) Numerical Optimization, 2nd ed., chapter 6.
    place = np.array(start, dtype=float)
    value, slope = function(place)
    known = inverse is not None
    if not known:
        inverse = np.eye(len(place))
    small = 0
    for _ in range(MOST_STEPS):
        if np.abs(slope).max() < SLOPE or small == 2:
            break
        step = -inverse @ slope
        if slope @ step >= 0:
            inverse, known = np.eye(len(place)), False
            step = -slope
        size = float(np.sqrt(step @ step))
        step *= min(1.0, (1.0 + np.abs(place).max()) / size)
        downhill, share = float(slope @ step), 1.0
        for _ in range(40):
            new_value, new_slope = function(place + share * step)
            if new_value <= value + 1e-4 * share * downhill:
                break
            bend = new_value - value - share * downhill
            share *= min(0.5, max(0.1, -share * downhill / (2 * bend))) if np.isfinite(bend) else 0.1
        else:
            break
        moved, turned = share * step, new_slope - slope
        curve = float(moved @ turned)
        if curve > 1e-14 * np.sqrt((moved @ moved) * (turned @ turned)):
            if not known:
                inverse, known = inverse * (curve / float(turned @ turned)), True
            mixed = np.eye(len(place)) - np.outer(moved, turned) / curve
            inverse = mixed @ inverse @ mixed.T + np.outer(moved, moved) / curve
        small = small + 1 if value - new_value <= GAIN * max(1.0, abs(value)) else 0
        place, value, slope = place + moved, new_value, new_slope
    return float(value), place, inverse
