"""The minimum of a smooth function of a few parameters, from its exact slopes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

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
