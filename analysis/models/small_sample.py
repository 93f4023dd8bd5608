"""Small-sample tests for a fitted mixed model: Kenward-Roger, Satterthwaite, and cluster-robust CR2.

With V = I + sum_k g_k D_k in units of sigma^2, D_0 = V, and the design in orthonormal coordinates:

(1) Phi = (X' V^-1 X)^-1;  P_i = X' V^-1 D_i V^-1 X;  C_ij = X' V^-1 D_i V^-1 D_j V^-1 X
(2) I_ij = tr(V^-1 D_i V^-1 D_j) - 2 tr(Phi C_ij) + tr(Phi P_i Phi P_j);  W = 2 I^-1, the covariance of (sigma^2, g sigma^2)
(3) Phi_A = sigma^2 [Phi + 2 Phi sum_ij W_ij (C_ij - P_i Phi P_j) Phi]; second derivatives of V are 0
(4) K_i = (L Phi L')^-1 L Phi P_i Phi L';  A1 = sum_ij W_ij tr(K_i) tr(K_j);  A2 = sum_ij W_ij tr(K_i K_j)
(5) B = (A1 + 6 A2) / 2q;  g = [(q + 1) A1 - (q + 4) A2] / [(q + 2) A2];  (c1, c2, c3) = (g, q - g, q + 2 - g) / [3q + 2 (1 - g)]
(6) E = 1 / (1 - A2 / q);  U = (2 / q) (1 + c1 B) / [(1 - c2 B)^2 (1 - c3 B)];  rho = U / 2E^2
(7) df = 4 + (q + 2) / (q rho - 1);  F = df / [E (df - 2)] times Wald / q
(8) Satterthwaite: df = 2 (l' S l)^2 / (d' H d), d the gradient of l' S l and H the covariance of its parameters
(9) several rows: T = sum_m df_m / (df_m - 2) over orthogonal rows;  df = 2T / (T - q)
(10) CR2: B_i = R' (V_i - X_i Phi X_i') R with V_i = R R';  A_i = R B_i^(-1/2) R'
(11) covariance = Phi [sum_i s_i s_i'] Phi with s_i = X_i' V_i^-1 A_i e_i, e_i the residuals of athlete i
(12) eta = q (q + 1) / (sum of variances of the entries of (11) under V, scaled to I);  F = (eta - q + 1) Wald / (eta q)

References
----------
The numbers are those of this file. (1) to (7): Kenward MG, Roger JH (1997) Biometrics 53:983-997; (3) to (7) held against the
article on the method that the R package mmrm prints, where (7) with q = 1 gives df = 2 / A2 and no scaling. (8), one row: as
(7), with the observed information. (9): Fai AHT, Cornelius PL (1996) Journal of Statistical Computation and Simulation
54:363-378; the article itself was not at hand: read in the source of the R package lmerTest (its function get_Fstat_ddf, which
also gives 2 where a df is at most 2, and their mean where they are alike), and derived: E t^2 = df / (df - 2), and F on (q, df)
has the mean df / (df - 2), so that the means agree. (10): Bell RM, McCaffrey DF (2002) Survey Methodology 28:169-181. (10) to
(12): Pustejovsky JE, Tipton E (2018) Journal of Business & Economic Statistics 36:672-683, doi 10.1080/07350015.2016.1247004:
(10) is their (7) and (8) with weights V^-1, (11) their (4), (12) their (12) and (13), as the authors' corrected manuscript
counts them.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from ..basics import KitError, check_choice
from .reml import Problem

DDF = ("kenward-roger", "satterthwaite", "cr2")
METHOD_WORDS = {
    "kenward-roger": "linear mixed model (REML), Kenward-Roger",
    "satterthwaite": "linear mixed model (REML), Satterthwaite",
    "cr2": "linear mixed model (REML), cluster-robust CR2 with Satterthwaite df",
}


class SmallSample:
    """Tests of linear functions L beta at the estimate of a problem."""

    def __init__(self, problem: Problem, theta):
        self.problem, self.theta = problem, theta
        self.deviance, _, _, self.pieces = problem.profile(theta)
        p = problem.p
        phi, v, E, first, second = problem.contractions(self.pieces)
        self.phi, self.E, self.first, self.second = phi, E, first, second
        self.sigma2 = float(v @ self.pieces.A @ v) / problem.df
        self.coordinates = problem.ols - v[:p]
        self.R_inverse = np.linalg.inv(problem.R)
        self.beta = self.R_inverse @ self.coordinates

    def estimates(self, L):
        """L beta, for L in the coding of the design."""
        return np.atleast_2d(L) @ self.beta

    def covariance(self, ddf):
        """Covariance of beta in the coding of the design, as the method has it."""
        inner = {"kenward-roger": self._phi_adjusted, "satterthwaite": self.sigma2 * self.phi}.get(ddf)
        if inner is None:
            return self._cr2_covariance
        return self.R_inverse @ inner @ self.R_inverse.T

    def single(self, L, ddf, *, df=None):
        """Standard errors and degrees of freedom of each row of L; the latter are taken over where they are given."""
        check_choice(ddf, DDF, name="ddf")
        L = np.atleast_2d(L)
        if ddf == "cr2":  # not through the covariance, whose rounding would stand for a spread where there is none
            error = np.linalg.norm(self._scores @ (L @ self.R_inverse).T, axis=0)
        else:
            variance = np.einsum("ij,jk,ik->i", L, self.covariance(ddf), L)
            with np.errstate(invalid="ignore"):
                error = np.sqrt(variance)
        if df is not None:
            return error, np.asarray(df, dtype=float)
        if ddf == "kenward-roger":
            df = np.array([self._kr_moments(row[None])[0] for row in L @ self.R_inverse])
        elif ddf == "satterthwaite":
            df = np.array([self._satterthwaite_df(row) for row in L @ self.R_inverse])
        else:
            df = np.array([self._cr2_eta(row[None]) for row in L])
        return error, df

    def joint(self, L, ddf):
        """F, numerator df, denominator df and p of the hypothesis L beta = 0."""
        from scipy.special import fdtrc

        check_choice(ddf, DDF, name="ddf")
        L = np.atleast_2d(L)
        q = L.shape[0]
        estimate = L @ self.beta
        middle = L @ self.covariance(ddf) @ L.T
        if ddf == "satterthwaite":
            values, vectors = np.linalg.eigh(middle)
            rows = vectors.T @ L
            statistic = float(np.sum((rows @ self.beta) ** 2 / values) / q)
            df_den = _pooled_df([self._satterthwaite_df(r) for r in rows @ self.R_inverse])
        else:
            sizes = np.linalg.eigvalsh(middle)
            if (
                sizes[0] <= 1e-10 * sizes[-1]
            ):  # more contrasts than the athletes can inform, as with CR2 of three athletes
                return float("nan"), float(q), float("nan"), float("nan")
            wald = float(estimate @ np.linalg.solve(middle, estimate))
            if ddf == "kenward-roger":
                df_den, scaling = self._kr_moments(L @ self.R_inverse)
                statistic = scaling * wald / q  # (7)
            else:
                eta = self._cr2_eta(L)
                df_den = eta - q + 1
                statistic = wald * df_den / (eta * q) if df_den > 0 else np.nan  # (12)
        if not (np.isfinite(statistic) and df_den > 0):
            return float("nan"), float(q), float("nan"), float("nan")
        return statistic, float(q), float(df_den), float(fdtrc(q, df_den, max(statistic, 0.0)))

    @cached_property
    def _blocks(self):
        p = self.problem.p
        P = [m[:p, :p] for m in self.pieces.P]
        C = [[m[:p, :p] for m in row] for row in self.pieces.C]
        return P, C

    @cached_property
    def _weights(self):
        """Twice the inverse expected information, for the components V (first) and every D_k."""
        k = len(self.E)
        info = np.empty((k + 1, k + 1))  # (2)
        info[0, 0] = self.problem.df
        info[0, 1:] = info[1:, 0] = self.pieces.t - np.array([np.trace(e) for e in self.E])
        info[1:, 1:] = self.problem.information(self.pieces, self.phi, self.E)
        scale = np.sqrt(np.abs(np.diag(info)))
        scale[scale == 0] = 1.0
        return 2 * np.linalg.pinv(info / np.outer(scale, scale), rcond=1e-12, hermitian=True) / np.outer(scale, scale)

    @cached_property
    def _phi_adjusted(self):
        P, C = self._blocks
        phi, W = self.phi, self._weights
        inner = np.zeros_like(phi)
        for i in range(len(P)):
            for j in range(len(P)):
                inner += W[i + 1, j + 1] * (C[i][j] - P[i] @ phi @ P[j])  # (3); those with D_0 = V cancel
        return self.sigma2 * (phi + 2 * phi @ (inner + inner.T) / 2 @ phi)

    def _kr_moments(self, L):
        """Denominator df and F scaling for L in orthonormal coordinates."""
        q = L.shape[0]
        left = L @ self.phi
        base = np.linalg.inv(left @ L.T)
        K = [np.eye(q)] + [base @ (left @ P @ left.T) for P in self._blocks[0]]  # (4)
        W = self._weights
        trace = np.array([np.trace(m) for m in K])
        cross = np.array([[np.sum(a * b.T) for b in K] for a in K])
        a1 = float(trace @ W @ trace)
        a2 = float(np.sum(W * cross))
        if q == 1:
            return 2 / a2, 1.0
        return kenward_roger_moments(a1, a2, q)

    def _satterthwaite_df(self, row):
        """Degrees of freedom of one linear function in orthonormal coordinates, with the observed information."""
        left = self.phi @ row
        value = row @ left
        slope = np.array([left @ P @ left for P in self._blocks[0]])
        gradient = np.append(value, self._jacobian.T @ slope)
        return float(2 * value**2 / (gradient @ self._parameter_covariance @ gradient))  # (8)

    @cached_property
    def _free(self):
        return np.flatnonzero(self.theta != 0)

    @cached_property
    def _jacobian(self):
        return self.problem.structure.relative(self.theta)[1][:, self._free]

    @cached_property
    def _parameter_covariance(self):
        """Covariance of (log sigma^2, free theta): twice the inverse Hessian of the restricted deviance."""
        _, _, H2 = self.problem.structure.relative(self.theta)
        s2 = self.sigma2
        gradient = self.pieces.t - np.array([np.trace(e) for e in self.E]) - self.first / s2
        inner = -self.problem.information(self.pieces, self.phi, self.E) + (self.second + self.second.T) / s2
        J, free = self._jacobian, self._free
        hessian = np.empty((len(free) + 1,) * 2)
        hessian[0, 0] = self.problem.df
        hessian[0, 1:] = hessian[1:, 0] = J.T @ self.first / s2
        hessian[1:, 1:] = J.T @ inner @ J + np.tensordot(gradient, H2, 1)[np.ix_(free, free)]
        values, vectors = np.linalg.eigh(hessian)
        good = values > 1e-8
        return 2 * (vectors[:, good] / values[good]) @ vectors[:, good].T

    @cached_property
    def _robust(self):
        """Per athlete: A_i W_i X_i M (rows of the athlete x coefficients), X_i, V_i, and M, in units of sigma^2."""
        s = self.problem.structure
        if len(s.groups) > 1:
            raise KitError("CR2 takes athletes as independent; with crossed effects use Kenward-Roger.")
        g = s.relative(self.theta)[0]
        X = self.problem.Q
        columns, G = np.ones((len(X), 1)), np.array([[g[0]]])
        if not s.simple:
            slope = s.Z[:, s.slices[1]].sum(axis=1)
            columns = np.column_stack([columns, slope])
            G = np.array([[g[0], g[1]], [g[1], g[2]]]) if s.correlated else np.diag([g[0], g[1]])
        order = np.argsort(s.groups[0], kind="stable")
        rows_of = np.split(order, np.flatnonzero(np.diff(s.groups[0][order])) + 1)
        out = []
        for rows in rows_of:
            Xi = X[rows]
            V = np.eye(len(rows)) + columns[rows] @ G @ columns[rows].T
            root = np.linalg.cholesky(V)
            B = root.T @ (V - Xi @ self.phi @ Xi.T) @ root  # (10)
            values, vectors = np.linalg.eigh(B)
            keep = values > 1e-10 * max(values.max(), 1e-300)
            half = (vectors[:, keep] / np.sqrt(values[keep])) @ vectors[:, keep].T
            A = root @ half @ root.T
            out.append((rows, A @ np.linalg.solve(V, Xi) @ self.phi, Xi, V))
        return out

    @cached_property
    def _scores(self):
        """What each athlete adds to the coordinates: the CR2 covariance is the sum of their squares."""
        residual = self.problem.M[:, -1] - self.problem.Q @ (self.coordinates - self.problem.ols)
        return np.array([a.T @ residual[rows] for rows, a, _, _ in self._robust])  # (11)

    @cached_property
    def _cr2_covariance(self):
        return self.R_inverse @ (self._scores.T @ self._scores) @ self.R_inverse.T

    def _cr2_eta(self, L):
        """Degrees of freedom of the CR2 covariance of L beta under the fitted model, L in the coding of the design."""
        L = L @ self.R_inverse
        q = L.shape[0]
        values, vectors = np.linalg.eigh(L @ self.phi @ L.T)
        L = (vectors / np.sqrt(values)).T @ L
        parts = [(a @ L.T, Xi, V) for _, a, Xi, V in self._robust]
        half = np.linalg.cholesky(self.phi)
        H = np.array([half.T @ Xi.T @ a for a, Xi, _ in parts])
        G = -np.einsum("ips,jpt->isjt", H, H)
        for i, (a, _, V) in enumerate(parts):
            G[i, :, i, :] += a.T @ V @ a
        total = np.einsum("isjs,itjt->", G, G) + np.einsum("isjt,itjs->", G, G)
        return float(q * (q + 1) / total) if total > 0 else float("nan")  # (12)


def kenward_roger_moments(a1, a2, q):
    """Denominator df and F scaling from the sums A1 and A2 of Kenward and Roger (1997), for q > 1."""
    with np.errstate(all="ignore"):
        b = (a1 + 6 * a2) / (2 * q)  # (5)
        g = ((q + 1) * a1 - (q + 4) * a2) / ((q + 2) * a2)
        base = 3 * q + 2 * (1 - g)
        c1, c2, c3 = g / base, (q - g) / base, (q + 2 - g) / base
        v0, v1, v2 = 1 + c1 * b, 1 - c2 * b, 1 - c3 * b  # (6)
        v0 = np.where(np.abs(v0) < 1e-10, 0.0, v0)
        top = 1 - a2 / q
        ratio = np.where((np.abs(top) < 1e-14) & (np.abs(v1) < 1e-14), 1.0, top / v1)
        rho = ratio**2 * v0 / v2 / q
        df = 4 + (q + 2) / (q * rho - 1)  # (7)
        scaling = np.where(np.abs(df - 2) < 0.01, 1.0, df * top / (df - 2))
    return (float(df), float(scaling)) if np.ndim(df) == 0 else (df, scaling)


def _pooled_df(dfs):
    """One denominator df from those of the orthogonal directions (Fai and Cornelius 1996)."""
    dfs = np.asarray(dfs)
    if len(dfs) == 1 or np.all(np.abs(np.diff(dfs)) < 1e-8):
        return float(dfs.mean())
    if np.any(dfs <= 2):
        return 2.0
    total = float(np.sum(dfs / (dfs - 2)))  # (9)
    return 2 * total / (total - len(dfs))
