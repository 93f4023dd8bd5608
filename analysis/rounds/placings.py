"""What the robust test says wherever the values off the scale are placed, and how far out that holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from .equivalence import one_sided_p
from .prepare import RoundRows, pairs_of

MOST_CELLS = 5
"""Up to this many values every corner is tried; beyond it, the corners that move a step or its spread furthest."""
SEARCHED = (1.0, 0.3)
"""Shares of the ranges at which those corners are looked for: the worst one far out need not be the worst near by."""
PRECISION = 1e-4
"""To what share of a range its turning point is found."""


@dataclass(frozen=True)
class Claims:
    """How clearly each claim holds: above 0 where it does. Steps in order, last minus first as the last."""

    estimate: np.ndarray
    ci_low: np.ndarray
    ci_high: np.ndarray
    p: np.ndarray
    changed: np.ndarray
    equivalent: np.ndarray
    pairs: np.ndarray
    plateau: np.ndarray
    p_overall: float


class Placings:
    """The model of the rounds, to be read again with every value off the scale somewhere in its range."""

    def __init__(self, rows: RoundRows, fit, span: np.ndarray, *, smallest_effect: float, alpha: float):
        self.rows, self.fit, self.span = rows, fit, span
        self.smallest_effect, self.alpha = smallest_effect, alpha
        self.near = rows.table["value"].to_numpy()
        self.cells = np.flatnonzero(span)
        self.k = len(rows.labels)
        self.pairs = pairs_of(rows.labels, "pairwise")
        self.steps = [self.pairs.index(p) for p in pairs_of(rows.labels, "successive")]
        self.steps += [self.pairs.index((self.k - 1, 0))] if self.k > 2 else []
        self.earlier = np.array([j for _, j in self.pairs])
        self.signs = np.sign(fit.contrasts("round_no", kind="pairwise", adjust=None)["estimate"].to_numpy())
        self._known: dict = {}

    def corners(self) -> list[tuple[bool, ...]]:
        """Placings with each value at one end of its range; the first has all of them at the scale's end."""
        m = len(self.cells)
        if m <= MOST_CELLS:
            return list(product((False, True), repeat=m))
        found = [(False,) * m, (True,) * m]
        near = self.read(found[0])
        for place, pair in enumerate(self.pairs):
            if place in self.steps or near.pairs[place] > 0:  # else nothing is claimed of this pair
                found += self._furthest(*pair)
        return list(dict.fromkeys(found))

    def _furthest(self, later: int, earlier: int) -> Iterator[tuple[bool, ...]]:
        """Corners that take the paired interval of two rounds furthest up and down, one value at a time."""
        from scipy import stats

        table = self.rows.table
        codes, who = table["round_no"].cat.codes.to_numpy(), table["athlete"].to_numpy()
        place = {(w, c): i for i, (w, c) in enumerate(zip(who, codes, strict=True))}
        both = [(place[w, later], place[w, earlier]) for w in dict.fromkeys(who)
                if (w, later) in place and (w, earlier) in place]  # fmt: skip
        if len(both) < 2 or not np.isin(codes[self.cells], (later, earlier)).any():
            return
        a, b = np.array(both).T
        strictest = self.alpha / 2 / (self.k - 1)  # of the first step after Holm
        reaches = stats.t.isf([self.alpha, strictest], len(both) - 1) / np.sqrt(len(both))

        def end(corner, sign, reach, share):
            values = self._values(share * np.array(corner, dtype=float))
            differences = values[a] - values[b]
            return sign * differences.mean() + reach * differences.std(ddof=1)

        m = len(self.cells)
        raises = self.span[self.cells] > 0
        in_later = codes[self.cells] == later
        for way in product((1, -1), reaches, SEARCHED):
            toward = in_later == (raises if way[0] > 0 else ~raises)
            best = max(([False] * m, [True] * m, list(map(bool, toward))), key=lambda c, w=way: end(c, *w))
            moved = True
            while moved:
                moved = False
                for i in range(m):
                    other = [c != (i == j) for j, c in enumerate(best)]
                    if end(other, *way) > end(best, *way) + 1e-12:
                        best, moved = other, True
            yield tuple(best)

    def read(self, corner: tuple[bool, ...], share: float = 1.0) -> Claims:
        """Read the robust tests with the marked values at a share of their range, the others at the scale's end."""
        if (corner, share) not in self._known:
            self._known[corner, share] = self._read(share * np.array(corner, dtype=float))
        return self._known[corner, share]

    def holds_to(self, margin, corners) -> float:
        """The share of the ranges up to which a claim holds: 1 where it holds throughout."""
        from scipy.optimize import brentq

        share = 1.0
        for corner in corners:
            if margin(self.read(corner, share)) > 0:
                continue
            if margin(self.read(corner, 0.0)) <= 0:
                return 0.0
            turn = brentq(lambda s, c=corner: margin(self.read(c, s)), 0.0, share, xtol=PRECISION, rtol=1e-6)
            share = max(float(turn) - 2 * PRECISION, 0.0)
        return share

    def _values(self, shares: np.ndarray) -> np.ndarray:
        values = self.near.copy()
        values[self.cells] += shares * self.span[self.cells]
        return values

    def _read(self, shares: np.ndarray) -> Claims:
        from ..models import holm, refit_mixed

        fit = refit_mixed(self.fit, self._values(shares))
        table = fit.contrasts("round_no", kind="pairwise", ddf="cr2", adjust=None)
        estimate, error, df, p = (table[c].to_numpy() for c in ("estimate", "standard_error", "df", "p"))
        p_low, p_high = one_sided_p(estimate, error, df, -self.smallest_effect, self.smallest_effect)
        close = self.alpha - np.nan_to_num(np.maximum(p_low, p_high), nan=1.0)
        steps, successive = self.steps, self.k - 1
        adjusted = np.append(holm(p[steps[:successive]]), p[steps[successive:]])
        margin = self.alpha - np.nan_to_num(adjusted, nan=1.0)
        stretches = [close[self.earlier >= start].min() for start in range(self.k - 2, -1, -1)]
        return Claims(
            estimate=estimate[steps],
            ci_low=table["ci_low"].to_numpy()[steps],
            ci_high=table["ci_high"].to_numpy()[steps],
            p=adjusted,
            changed=np.where(np.sign(estimate[steps]) == self.signs[steps], margin, -1.0),
            equivalent=close[steps],
            pairs=close,
            plateau=np.minimum.accumulate(stretches),
            p_overall=fit.test("round_no").p,
        )
