"""Where the restricted likelihood has its maximum, with exact zeros at the boundary."""

from __future__ import annotations

import numpy as np

from .reml import Problem


def maximise(problem: Problem) -> np.ndarray:
    """Return theta at the maximum of the restricted likelihood, with exact zeros at the boundary."""
    if problem.structure.simple:
        return _maximise_simple(problem)
    n = problem.structure.n_theta
    starts = [np.ones(n), np.full(n, 0.3), np.full(n, 3.0)]
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
    best[2 if problem.structure.correlated else 0 :] = np.abs(
        best[2 if problem.structure.correlated else 0 :]
    )
    return best


def _newton(problem, theta, free, *, steps=60):
    """Newton steps on the free parameters, made safe by positive curvature and by halving."""
    deviance, gradient, hessian, _ = problem.profile(theta)
    for _ in range(steps):
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
