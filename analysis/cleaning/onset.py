"""Move each bell on its own to where the rise after it and the fall after the round fit best, and say how sure that is."""

from __future__ import annotations

import numpy as np

from .response import shape_of_rounds

REACH_S = 45
STEP_S = 1.0
BELL_SD_S = 15.0
"""How far bells usually lie from the protocol (our proposal): further moves need a better fit."""


def refine_starts(clock, rates, starts, work: float, rest: float, rise: float, fall: float) -> np.ndarray:
    """Refine the starts of the rounds one by one."""
    out = np.array(starts, dtype=float)
    moves = np.arange(-REACH_S, REACH_S + STEP_S, STEP_S)
    drift = 0.0
    for k, start in enumerate(starts):
        expected = start + drift
        cost = np.zeros(len(moves))
        seen = 0
        for edge, after, tau in (
            (0.0, min(work, 120.0), rise),
            (work, min(rest if rest > 0 else 90.0, 90.0), fall),
        ):
            found = _edge_cost(clock, rates, expected + edge, moves, min(60.0, rest or 60.0), after, tau)
            if found is not None:
                cost += found
                seen += 1
        if not seen:
            out[k] = expected
            continue
        cost += (moves / BELL_SD_S) ** 2
        move = float(moves[int(cost.argmin())])
        out[k] = expected + move
        drift += move
    return out


def _edge_cost(clock, rates, at: float, moves, before: float, after: float, tau: float):
    """Misfit of a change of level at `at + move`, for every move, in units of its own least variance."""
    low, high = at - before - REACH_S / 2, at + after + REACH_S / 2
    inside = (clock >= low) & (clock <= high)
    if inside.sum() < 20 or clock[inside][0] > at - 10 or clock[inside][-1] < at + 30:
        return None
    t, y = clock[inside], rates[inside]
    stride = max(len(t) // 120, 1)
    t, y = t[::stride], y[::stride]
    since = t[None, :] - (at + moves)[:, None]
    best = None
    for scale in (0.6, 1.0, 1.6):
        answer = np.where(since > 0, 1.0 - np.exp(-np.maximum(since, 0.0) / (tau * scale)), 0.0)
        misfit = _misfit(y, t - t[0], answer)
        best = misfit if best is None else np.minimum(best, misfit)
    count = len(t)
    spacing = max(float(np.median(np.diff(t))), 1e-6)
    independent = max(count * spacing / 10.0, 4.0)
    return independent * np.log(np.maximum(best, 1e-9) / max(float(best.min()), 1e-9))


def _misfit(y: np.ndarray, t: np.ndarray, answers: np.ndarray) -> np.ndarray:
    """Residual sum of squares of y on 1, a decaying start and each answer in turn."""
    base = np.column_stack([np.ones(len(t)), np.exp(-t / 60.0)])
    q, _ = np.linalg.qr(base)
    left = y - q @ (q.T @ y)
    other = answers - (answers @ q) @ q.T
    size = (other * other).sum(axis=1)
    part = other @ left
    gain = np.divide(part * part, size, out=np.zeros(len(size)), where=size > 1e-9)
    return float(left @ left) - gain


WEIGHTS = {
    "constant": -2.4,
    "explained": 5.5,
    "effort_outside": -1.4,
    "moved": -2.5,
    "rise": 7.1,
    "rival": -3.5,
}
"""Logistic weights of the confidence, fitted to 600 simulated evenings with gaps, late starts and wrong protocols and
checked on others (tests/benchmarks/cleaning_rounds_found.py)."""


def confidence_of(clock, rates, starts, work: float, rough: dict) -> np.ndarray:
    """Confidence of each start: about the share of such starts that lie within 10 s of the bell."""
    ends = starts + work
    shape = shape_of_rounds(clock, starts, ends, rough["rise"], rough["fall"])
    near = (clock >= starts[0] - 150) & (clock <= ends[-1] + 150)
    design = np.column_stack([np.ones(near.sum()), shape[near]])
    level = np.linalg.lstsq(design, rates[near], rcond=None)[0]
    left = rates[near] - design @ level
    spread = float(((rates[near] - rates[near].mean()) ** 2).sum())
    height = max(float(level[1]), 1.0)
    seconds = np.minimum(np.diff(clock, append=clock[-1]), 5.0)
    outside = (clock < starts[0] - 20) | (clock > ends[-1] + 100)
    effort = float(seconds[outside & (rates > level[0] + 0.6 * height)].sum()) / work
    moved = starts - rough["starts"]
    parts = (
        WEIGHTS["constant"]
        + WEIGHTS["explained"] * min(max(1.0 - float(left @ left) / max(spread, 1e-9), 0.0), 1.0)
        + WEIGHTS["effort_outside"] * min(effort, 1.0)
        + WEIGHTS["moved"] * min(float(np.abs(moved - np.median(moved)).max()) / REACH_S, 1.0)
        + WEIGHTS["rival"] * min(rough["rival"] / max(rough["score"], 1e-9), 1.0)
    )
    rises = np.array([_rise(clock, rates, s) for s in starts]) / height
    rises = np.clip(np.where(np.isfinite(rises), rises, 0.4), -0.2, 0.8)
    return 1.0 / (1.0 + np.exp(-(parts + WEIGHTS["rise"] * rises)))


def _rise(clock, rates, start: float) -> float:
    """How far heart rate rises from just before a bell to 40 to 80 s after it."""
    before = (clock >= start - 20) & (clock < start)
    after = (clock >= start + 40) & (clock < start + 80)
    if not before.any() or not after.any():
        return float("nan")
    return float(rates[after].mean() - rates[before].mean())
