"""Ranks for ratings: Friedman over the rounds, exact signed-rank tests for the steps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import Result, plural
from .prepare import RoundRows, pairs_of, prepare_rounds


@dataclass(frozen=True)
class RoundsRanks(Result):
    """Friedman test with Kendall's W, and exact signed-rank contrasts.

    Parameters
    ----------
    statistic, df, p : float
        Friedman's chi-square (corrected for ties), complete cases; the exact sign test with two rounds.
    kendall_w : float
        Kendall's coefficient of concordance, 0 to 1.
    contrasts : DataFrame
        contrast, later, earlier, kind, estimate (median difference), pseudomedian, statistic (positive rank sum), p (exact),
        p_adjusted (Holm), rank_biserial, n_athletes, n_zero, method.
    medians : DataFrame
        round_no, median, quartile_low, quartile_high, n_athletes of the contrasts' athletes; mean_rank of the complete cases.
    n_athletes, n_observations : int
        Complete cases of the Friedman test.
    method : str
        In words.
    left_out : DataFrame
        Also the athletes whom the Friedman test drops because a round is missing; a contrast keeps those with both its rounds.
    warnings : tuple of str
        What the reader should know.
    """

    statistic: float
    df: float
    p: float
    kendall_w: float
    contrasts: pd.DataFrame
    medians: pd.DataFrame
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def rank_rounds(
    data: pd.DataFrame, outcome: str, *, kind: str = "successive", complete: bool = True
) -> RoundsRanks:
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
    return ranks_of(prepare_rounds(data, outcome), kind=kind, complete=complete)


def ranks_of(rows: RoundRows, *, kind: str = "successive", complete: bool = True) -> RoundsRanks:
    """Compute `rank_rounds` from prepared rows."""
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
        **overall,
        contrasts=contrasts,
        medians=_medians(used, cases),
        n_athletes=n,
        n_observations=n * k,
        method="Friedman test, corrected for ties; exact signed-rank contrasts",
        left_out=rows.without_incomplete(),
        warnings=tuple(warnings),
    )


def _overall(cases: pd.DataFrame, warnings: list[str]) -> dict:
    from ..models import tie_decimals
    from .adapters import friedman

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
                "estimate": float(np.median(np.round(differences, decimals))),
                "pseudomedian": test.pseudomedian,
                "statistic": test.statistic,
                "p": test.p,
                "rank_biserial": test.rank_biserial,
            }
        else:
            line |= dict.fromkeys(("estimate", "pseudomedian", "statistic", "p", "rank_biserial"), np.nan)
        zero = int((np.round(differences, decimals) == 0).sum())
        lines.append(
            line | {"n_athletes": len(differences), "n_zero": zero, "method": "exact signed-rank test"}
        )
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
