"""Two straps mixed up: the same heart rates, second by second, in the traces of two athletes."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from ..basics import format_number
from .flags import CODE
from .placing import Trace
from .rules import CleaningRules

LEAST_DIFFERENT = 5
"""A stretch with fewer different values can be alike by chance (a flat line is its own flag)."""


def mark_crossed(traces: dict[str, Trace], rules: CleaningRules) -> list[str]:
    """Flag stretches that are identical in two traces, at the same or at another time."""
    width = int(rules.crossed_s)
    found: dict[tuple[str, str], np.ndarray] = {}
    grids = {a: _by_second(t) for a, t in traces.items()}
    athletes = [a for a, g in grids.items() if len(g[1]) > width]
    if len(athletes) < 2:
        return []
    keys, owners, places = [], [], []
    for i, athlete in enumerate(athletes):
        key, place = _fingerprints(grids[athlete][1], width)
        keys.append(key)
        places.append(place)
        owners.append(np.full(len(key), i))
    key, owner, place = np.concatenate(keys), np.concatenate(owners), np.concatenate(places)
    order = np.argsort(key)
    key, owner, place = key[order], owner[order], place[order]
    groups = np.flatnonzero(np.concatenate(([True], key[1:] != key[:-1])))
    sizes = np.diff(np.append(groups, len(key)))
    for start, size in zip(groups[sizes > 1].tolist(), sizes[sizes > 1].tolist(), strict=True):
        members = list(
            zip(owner[start : start + size].tolist(), place[start : start + size].tolist(), strict=True)
        )
        for (i, p), (j, q) in combinations(members[:8], 2):
            if i != j and _same(grids[athletes[i]][1], grids[athletes[j]][1], p, q, width):
                for a, b, at in ((i, j, p), (j, i, q)):
                    mask = found.setdefault(
                        (athletes[a], athletes[b]), np.zeros(len(grids[athletes[a]][1]), dtype=bool)
                    )
                    mask[at : at + width] = True
    return _mark(traces, grids, found)


def _by_second(trace: Trace) -> tuple[float, np.ndarray]:
    """The good rates second by second, whole numbers; -1 where there is none."""
    good = (trace.codes == 0) & np.isfinite(trace.rates)
    first = float(np.floor(trace.clock[0]))
    cell = (trace.clock[good] - first).astype(np.int64)
    out = np.full(int(trace.clock[-1] - first) + 1, -1, dtype=np.int64)
    out[cell] = np.round(trace.rates[good]).astype(np.int64)
    return first, out


def _fingerprints(values: np.ndarray, width: int) -> tuple[np.ndarray, np.ndarray]:
    """One number per stretch, for stretches that are filled well enough and not flat."""
    there = values >= 0
    filled = np.where(there, values, 0)
    # a rate that is missing here and there repeats the one before it, so that slower sampling does not matter
    last = np.maximum.accumulate(np.where(there, np.arange(len(values)), 0))
    filled = values[last] if there.any() else filled
    # sums of products stay far below 2**53, so that they are exact
    factors = np.random.default_rng(20).integers(1, 2**31, width).astype(float)
    ones = np.ones(width)
    key = np.correlate(filled.astype(float), factors, mode="valid")
    enough = np.correlate(there.astype(float), ones, mode="valid") >= width // 4
    changes = np.correlate(np.append(0.0, np.diff(filled) != 0), ones, mode="valid")
    place = np.flatnonzero(enough & (changes >= LEAST_DIFFERENT))
    return key[place], place


def _same(one: np.ndarray, other: np.ndarray, p: int, q: int, width: int) -> bool:
    a, b = one[p : p + width], other[q : q + width]
    both = (a >= 0) & (b >= 0)
    return (
        both.sum() >= width // 4
        and bool((a[both] == b[both]).all())
        and len(np.unique(a[both])) >= LEAST_DIFFERENT
    )


def _mark(traces: dict[str, Trace], grids: dict, found: dict) -> list[str]:
    said = []
    for (athlete, other), mask in found.items():
        trace = traces[athlete]
        first = grids[athlete][0]
        cell = np.clip((trace.clock - first).astype(np.int64), 0, len(mask) - 1)
        hit = mask[cell] & np.isfinite(trace.rates) & (trace.codes == 0)
        trace.codes[hit] = CODE["straps mixed up"]
        if athlete < other:
            said.append(
                f"{athlete} and {other}, session {trace.session}: {format_number(float(mask.sum()), 0, unit='s')} of both traces "
                "are identical, so two straps or files were mixed up. Both are flagged; keep the right one in decisions.csv."
            )
    return said
