"""Break a trace where it changes faster than a heart can, and keep the chain of pieces that fits together best."""

from __future__ import annotations

import numpy as np

from .rules import CleaningRules

LOOK_BACK = 80
"""Pieces before the present one that may precede it in a chain."""
ENDS = 5
"""The level at the ends of a piece is the median of so many samples, so that noise breaks no chain."""
BREAK_COST = 30.0
MOST_COST = 100.0
"""Samples that a chain must gain for a change just beyond the limit, for one twice as large four times as many, and the
most that it must gain: a stretch of some minutes at a plausible level is kept, however it begins. Doubling and halving
have no such bound."""


def fit_pieces(
    elapsed: np.ndarray, rates: np.ndarray, candidate: np.ndarray, rules: CleaningRules, code: dict
) -> np.ndarray:
    """Return a flag per sample: 0 in the kept chain of pieces, else by length and level of the piece."""
    codes = np.zeros(len(rates), dtype=np.int8)
    if len(rates) < 2 or not candidate.any():
        return codes
    jump = np.abs(np.diff(rates)) > rules.change_over(np.diff(elapsed))
    steep = _steep(elapsed, rates, jump, rules)
    broken = jump | (steep[1:] != steep[:-1]) | (candidate[1:] != candidate[:-1])
    first = np.flatnonzero(np.concatenate(([True], broken)))
    if len(first) == 1:
        return codes
    last = np.append(first[1:] - 1, len(rates) - 1)
    count = last - first + 1
    trusted = candidate[first] & ~steep[first]
    inner = np.ones(len(first), dtype=bool)
    inner[[0, -1]] = False
    trusted &= ~(inner & (count < rules.fewest_samples))
    chosen = np.flatnonzero(trusted)
    kept = np.zeros(len(first), dtype=bool)
    kept[chosen[_best_chain(elapsed, rates, first[chosen], last[chosen], rules)]] = True
    if kept.any():
        _name_pieces(codes, elapsed, rates, first, last, kept, candidate, rules, code)
    return codes


def _steep(elapsed, rates, jump, rules) -> np.ndarray:
    """Samples inside a change that is steep for `steep_s` without any single jump."""
    out = np.zeros(len(rates), dtype=bool)
    usual = float(np.median(np.diff(elapsed)))
    width = max(round(rules.steep_s / usual), 1) if usual > 0 else 0
    if width < 2 or len(rates) <= width:
        return out
    taken = elapsed[width:] - elapsed[:-width]
    moved = np.abs(rates[width:] - rates[:-width])
    jumps = np.concatenate(([0], np.cumsum(jump)))
    unbroken = jumps[width:] == jumps[:-width]
    for i in np.flatnonzero(unbroken & (moved > rules.steep_bpm_s * taken) & (taken <= 2 * rules.steep_s)):
        out[i + 1 : i + width] = True
    return out


def _best_chain(elapsed, rates, first, last, rules) -> list[int]:
    """Places of the pieces of the best chain: most samples, less what changes beyond the limit cost."""
    n = len(first)
    begin, finish = elapsed[first], elapsed[last]
    head, tail = np.empty((2, n)), np.empty((2, n))  # level at both ends: single samples, and medians
    head[0], tail[0] = rates[first], rates[last]
    for i, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        head[1, i] = np.median(rates[a : min(a + ENDS, b + 1)])
        tail[1, i] = np.median(rates[max(b - ENDS + 1, a) : b + 1])
    best, previous = (last - first + 1).astype(float), np.full(n, -1)
    for j in range(1, n):
        low = max(0, j - LOOK_BACK)
        moved = np.abs(head[:, j : j + 1] - tail[:, low:j]).min(axis=0)
        ratio = moved / rules.change_over(begin[j] - finish[low:j])
        cost = BREAK_COST * ratio**2
        cost = np.where(_near_double(head[1, j] / tail[1, low:j], rules), cost, np.minimum(cost, MOST_COST))
        score = best[low:j] - np.where(ratio > 1.0, cost, 0.0)
        k = int(score.argmax())
        if score[k] > 0:
            best[j] += score[k]
            previous[j] = low + k
    chain, j = [], int(best.argmax()) if n else -1
    while j >= 0:
        chain.append(j)
        j = int(previous[j])
    return chain


def _name_pieces(codes, elapsed, rates, first, last, kept, candidate, rules, code) -> None:
    """Flag what is not in the chain: "doubled or halved" by its level, else a "spike" or an "impossible change"."""
    inside = np.zeros(len(rates), dtype=bool)
    for a, b in zip(first[kept], last[kept], strict=True):
        inside[a : b + 1] = True
    good_times, good_rates = elapsed[inside], rates[inside]
    for a, b in np.flatnonzero(np.diff(np.concatenate(([0], (~kept).astype(np.int8), [0])))).reshape(-1, 2):
        low, high = _with_edges(rates, elapsed, first[a], last[b - 1])
        piece = slice(low, high + 1)
        ratio = rates[piece] / np.interp(elapsed[piece], good_times, good_rates)
        if _near_double(ratio, rules).mean() >= 0.5:
            name = "doubled or halved"
        elif elapsed[high] - elapsed[low] < rules.spike_s:
            name = "spike"
        else:
            name = "impossible change"
        codes[piece] = np.where(candidate[piece], code[name], 0)


def _near_double(ratio, rules: CleaningRules):
    """Whether a level is about twice or half another."""
    return np.minimum(np.abs(ratio - 2.0) / 2.0, np.abs(ratio - 0.5) / 0.5) <= rules.double_tolerance


def _with_edges(rates, elapsed, low: int, high: int) -> tuple[int, int]:
    """Take in up to two samples on either side that already move towards the fault."""
    for _ in range(2):
        if low > 1 and abs(rates[low - 1] - rates[low - 2]) > 6.0 * max(
            elapsed[low - 1] - elapsed[low - 2], 1.0
        ):
            low -= 1
        if high < len(rates) - 2 and abs(rates[high + 1] - rates[high + 2]) > 6.0 * max(
            elapsed[high + 2] - elapsed[high + 1], 1.0
        ):
            high += 1
    return low, high
