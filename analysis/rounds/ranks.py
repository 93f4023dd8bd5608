"""Ranks for ratings: Friedman over the rounds, exact signed-rank tests for the steps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd

from ..basics import Result, plural
from .plateau import one_sided_p
from .prepare import RoundRows, pairs_of, prepare_rounds


@dataclass(frozen=True)
class RoundsRanks(Result):
    """Friedman test with Kendall's W, and exact signed-rank contrasts."""

    # Friedman's chi-square (corrected for ties), complete cases; the exact sign test with two rounds
    statistic: float
    df: float
    p: float
    kendall_w: float  # Kendall's coefficient of concordance, 0 to 1
    # contrast, later, earlier, kind, estimate (median difference), pseudomedian, statistic (positive rank sum), p (exact),
    # p_adjusted (Holm), rank_biserial, n_athletes, n_zero, method
    contrasts: pd.DataFrame
    # round_no, median, quartile_low, quartile_high, n_athletes of the contrasts' athletes; mean_rank of the complete cases
    medians: pd.DataFrame
    n_athletes: int  # Complete cases of the Friedman test
    n_observations: int
    # The test by order, each athlete's own ratings shuffled, those with missing rounds kept; it decides for ratings, and is
    # None for others
    shuffles: object
    method: str
    # Also the athletes whom the Friedman test drops because a round is missing; a contrast keeps those with both its rounds
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def rank_rounds(data: pd.DataFrame, outcome: str, *, kind: str = "successive", complete: bool = True) -> RoundsRanks:
    """Compare the rounds by ranks: Friedman, and exact signed-rank tests with ties.

    When to use: ratings of exertion, and any outcome whose distribution is far from normal. When not: to learn how
    many beats or mmol/L a change amounts to; `compare_rounds` gives that.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    kind : {"successive", "first", "pairwise"}
        Which contrasts; Holm's adjustment is over these. Default "successive".
    complete : bool
        True: the contrasts use the athletes of the Friedman test, who have every round. False: each contrast uses the
        athletes who have both its rounds. Default True.

    Returns
    -------
    RoundsRanks
        statistic, df, p, kendall_w, contrasts, medians, n_athletes, left_out.

    Notes
    -----
    Signed-rank p: all sign flips of the mid-ranks, zeros dropped, so that ties are treated exactly; differences are
    rounded to 9 decimals first. W = chi-square / (n (k - 1)).

    References
    ----------
    Friedman 1937, Journal of the American Statistical Association 32:675; Wilcoxon 1945, Biometrics Bulletin 1:80;
    Kendall & Babington Smith 1939, Annals of Mathematical Statistics 10:275; Holm 1979, Scandinavian Journal of Statistics 6:65.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AAABBBCCC"), "round_no": [1, 2, 3] * 3,
    ...     "exertion": [12, 14, 15, 11, 14, 14, 13, 15, 17]})
    >>> result = rank_rounds(data, "exertion", kind="successive")
    >>> round(result.kendall_w, 3), list(result.contrasts["p"])
    (0.939, [0.25, 0.5])
    """
    return ranks_of(prepare_rounds(data, outcome), kind=kind, complete=complete, ordinal=True)


def ranks_of(rows: RoundRows, *, kind: str = "successive", complete: bool = True, ordinal: bool = False) -> RoundsRanks:
    """Compute `rank_rounds` from prepared rows."""
    from ..models import shuffle_within

    cases = rows.complete()
    n, k = cases.shape
    warnings = list(rows.warnings)
    dropped = rows.n_athletes - n
    if dropped:
        warnings.append(
            f"{plural(dropped, 'athlete')} of {rows.n_athletes} {'is' if dropped == 1 else 'are'} not in the Friedman test "
            "because a round is missing."
        )
    overall = _overall(cases, warnings)
    used = cases if complete else rows.wide
    contrasts = _contrasts(used, rows.labels, kind)
    if contrasts["p"].isna().all():
        warnings.append("No pair of rounds holds a difference that could be ranked.")
    return RoundsRanks(
        **overall, contrasts=contrasts, medians=_medians(used, cases), n_athletes=n, n_observations=n * k,
        shuffles=shuffle_within(rows.wide.to_numpy()) if ordinal else None,
        method="Friedman test, corrected for ties; exact signed-rank contrasts", left_out=rows.without_incomplete(),
        warnings=tuple(warnings),
    )  # fmt: skip


def _overall(cases: pd.DataFrame, warnings: list[str]) -> dict:
    from ..models import tie_decimals
    from .anova import friedman

    n, k = cases.shape
    nothing = {"statistic": np.nan, "df": k - 1.0, "p": np.nan, "kendall_w": np.nan}
    if n < 2:
        warnings.append(
            f"The Friedman test needs at least two athletes with every round; there {'is' if n == 1 else 'are'} {n}."
        )
        return nothing
    decimals = tie_decimals(cases.to_numpy())
    if (cases.max(axis=1) - cases.min(axis=1) < 10.0**-decimals).all():
        warnings.append("Every athlete gave the same value in every round, so there is nothing to rank.")
        return nothing
    return friedman(cases.round(decimals))


def order_contrasts(rows: RoundRows, kind: str) -> pd.DataFrame:
    """Compare pairs of rounds by the order of the ratings alone: contrast, p (exact), p_adjusted (Holm)."""
    from ..models import flip_p, holm

    table = pd.DataFrame(
        [
            {
                "contrast": f"{rows.labels[later]} - {rows.labels[earlier]}",
                "p": flip_p(rows.wide[[rows.labels[earlier], rows.labels[later]]].to_numpy()),
            }
            for later, earlier in pairs_of(rows.labels, kind)
        ]
    )
    return table.assign(p_adjusted=holm(table["p"].to_numpy()))


def _contrasts(wide: pd.DataFrame, labels, kind: str) -> pd.DataFrame:
    from ..models import holm, signed_rank, tie_decimals

    decimals, lines = tie_decimals(wide.to_numpy()), []
    for later, earlier in pairs_of(labels, kind):
        differences = (wide[labels[later]] - wide[labels[earlier]]).dropna().to_numpy()
        line = {
            "contrast": f"{labels[later]} - {labels[earlier]}",
            "later": labels[later],
            "earlier": labels[earlier],
            "kind": kind,
        }
        if len(differences):
            test = signed_rank(differences, decimals=decimals)
            line |= {
                "estimate": float(np.median(np.round(differences, decimals))), "pseudomedian": test.pseudomedian,
                "statistic": test.statistic, "p": test.p, "rank_biserial": test.rank_biserial,
            }  # fmt: skip
        else:
            line |= dict.fromkeys(("estimate", "pseudomedian", "statistic", "p", "rank_biserial"), np.nan)
        zero = int((np.round(differences, decimals) == 0).sum())
        lines.append(line | {"n_athletes": len(differences), "n_zero": zero, "method": "exact signed-rank test"})
    table = pd.DataFrame(lines)
    table.insert(list(table).index("p") + 1, "p_adjusted", holm(table["p"].to_numpy()))
    return table


def _medians(wide: pd.DataFrame, cases: pd.DataFrame) -> pd.DataFrame:
    from ..models import tie_decimals

    ranks = (
        cases.round(tie_decimals(cases.to_numpy())).rank(axis=1).mean()
        if len(cases)
        else pd.Series(np.nan, index=wide.columns)
    )
    return pd.DataFrame(
        {
            "round_no": list(wide.columns),
            "median": wide.median().to_numpy(),
            "quartile_low": wide.quantile(0.25).to_numpy(),
            "quartile_high": wide.quantile(0.75).to_numpy(),
            "mean_rank": ranks.to_numpy(),
            "n_athletes": wide.notna().sum().to_numpy(),
        }
    )


MOST_CELLS = 5
"""Up to this many values every corner is tried; beyond it, the corners that move a step or its spread furthest."""
MANY_CELLS = 40
"""Beyond this many values a step's estimate is taken to its extremes; its spread is not searched value by value."""
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
        self._df_near = None
        if len(self.cells) > MANY_CELLS:  # enough athletes that their df hardly move with the values
            near = fit.contrasts("round_no", kind="pairwise", ddf="cr2", adjust=None)
            self._df_near = near["df"].to_numpy()

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
            if m > MANY_CELLS:
                yield tuple(map(bool, toward))
                continue
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
        table = fit.contrasts("round_no", kind="pairwise", ddf="cr2", adjust=None, df=self._df_near)
        estimate, error, df, p = (table[c].to_numpy() for c in ("estimate", "standard_error", "df", "p"))
        p_low, p_high = one_sided_p(estimate, error, df, -self.smallest_effect, self.smallest_effect)
        close = self.alpha - np.nan_to_num(np.maximum(p_low, p_high), nan=1.0)
        steps = self.steps
        adjusted = holm(p[steps], most_true=max(self.k - 2, 1))
        margin = self.alpha - np.nan_to_num(adjusted, nan=1.0)
        stretches = [close[self.earlier >= start].min() for start in range(self.k - 2, -1, -1)]
        return Claims(
            estimate=estimate[steps], ci_low=table["ci_low"].to_numpy()[steps],
            ci_high=table["ci_high"].to_numpy()[steps], p=adjusted,
            changed=np.where(np.sign(estimate[steps]) == self.signs[steps], margin, -1.0), equivalent=close[steps],
            pairs=close, plateau=np.minimum.accumulate(stretches), p_overall=fit.test("round_no").p,
        )  # fmt: skip
