"""Break a trace where it changes faster than a heart can, and keep the chain of pieces that fits together best."""

from __future__ import annotations

import numpy as np

from .rules import CleaningRules

LOOK_BACK = 80
"""Pieces before the present one that may precede it in a chain."""


def fit_pieces(elapsed: np.ndarray, rates: np.ndarray, rules: CleaningRules, code: dict) -> np.ndarray:
    """Return a flag per sample: 0 in the kept chain of pieces, else by length and level of the piece.

    Parameters
    ----------
    elapsed, rates : array
        Samples with a heart rate in range, in time order.
    rules : CleaningRules
    code : dict
        Name of a flag -> its number.

    Returns
    -------
    array of int
    """
    codes = np.zeros(len(rates), dtype=np.int8)
    if len(rates) < 2:
        return codes
    step, move = np.diff(elapsed), np.diff(rates)
    jump = np.abs(move) > rules.change_over(step)
    steep = _steep(elapsed, rates, jump, rules)
    first = np.flatnonzero(
        np.concatenate(([True], jump | (steep[1:] != steep[:-1]) | (steep[1:] & steep[:-1])))
    )
    if len(first) == 1:
        return codes
    last = np.append(first[1:] - 1, len(rates) - 1)
    count = last - first + 1
    trusted = ~steep[first]
    # few samples between two breaks of the trace are not trusted
    inner = np.ones(len(first), dtype=bool)
    inner[[0, -1]] = False
    trusted &= ~(inner & (count < rules.fewest_samples))
    kept = _best_chain(
        elapsed[first], elapsed[last], rates[first], rates[last], np.where(trusted, count, 0), rules
    )
    if not kept.any():
        kept = np.ones(len(first), dtype=bool)
    _name_pieces(codes, elapsed, rates, first, last, kept, rules, code)
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
    hits = np.flatnonzero(unbroken & (moved > rules.steep_bpm_s * taken) & (taken <= 2 * rules.steep_s))
    for i in hits:
        out[i + 1 : i + width] = True
    return out


def _best_chain(start, end, start_rate, end_rate, weight, rules) -> np.ndarray:
    """The chain of pieces with most samples in which each can follow the one before."""
    n = len(start)
    best = np.zeros(n)
    previous = np.full(n, -1)
    for j in range(n):
        if weight[j] == 0:
            best[j] = -1.0
            continue
        best[j] = weight[j]
        low = max(0, j - LOOK_BACK)
        if low < j:
            gap = start[j] - end[low:j]
            fits = np.abs(start_rate[j] - end_rate[low:j]) <= rules.change_over(gap)
            score = np.where(fits & (best[low:j] > 0), best[low:j], 0.0)
            k = int(score.argmax())
            if score[k] > 0:
                best[j] += score[k]
                previous[j] = low + k
    kept = np.zeros(n, dtype=bool)
    j = int(best.argmax())
    if best[j] <= 0:
        return kept
    while j >= 0:
        kept[j] = True
        j = int(previous[j])
    return kept


def _name_pieces(codes, elapsed, rates, first, last, kept, rules, code) -> None:
    kept_at = np.flatnonzero(kept)
    inside = np.zeros(len(rates), dtype=bool)
    for k in kept_at:
        inside[first[k] : last[k] + 1] = True
    good_times, good_rates = elapsed[inside], rates[inside]
    runs = np.flatnonzero(np.diff(np.concatenate(([0], (~kept).astype(np.int8), [0])))).reshape(-1, 2)
    for a, b in runs:
        lo, hi = first[a], last[b - 1]
        piece = slice(lo, hi + 1)
        level = np.interp(elapsed[piece], good_times, good_rates)
        ratio = rates[piece] / level
        near = np.minimum(np.abs(ratio - 2.0) / 2.0, np.abs(ratio - 0.5) / 0.5) <= rules.double_tolerance
        if near.mean() >= 0.5:
            name = "doubled or halved"
        elif elapsed[hi] - elapsed[lo] < rules.spike_s:
            name = "spike"
        else:
            name = "impossible change"
        codes[piece] = code[name]
