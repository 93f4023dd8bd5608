"""Does it matter who spars whom? The spread between bouts, with an honest "cannot tell"."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, left_out_table, plural
from ..basics.errors import need_columns
from .prepare import RoundRows, label_of, order_rounds, prepare_rounds

FEWEST_BOUTS = 4
"""Bouts with both athletes measured below which nothing is computed. Our proposal."""


@dataclass(frozen=True)
class OpponentSpread(Result):
    """Variance between bouts (round and unordered pair) beside that between athletes."""

    outcome: str
    variance_bout: float  # Variance between bouts and its 95 % profile interval
    ci_low: float
    ci_high: float
    variance_athlete: float  # The other parts of the same model
    variance_residual: float
    # Correlation of the two athletes of a bout, after athlete and round; may be negative (one works, the other holds)
    within_bout_correlation: float
    within_bout_ci_low: float
    within_bout_ci_high: float
    n_bouts: int  # Bouts with both athletes measured
    n_athletes: int  # In the model
    n_observations: int
    # "bouts differ", "opponents opposed" (one high where the other is low), "bouts differ little" or "cannot tell"
    verdict: str
    method: str
    left_out: pd.DataFrame  # Rows without an opponent's code
    warnings: tuple[str, ...] = ()


def describe_opponents(data: pd.DataFrame, outcome: str) -> OpponentSpread | None:
    """Estimate the spread between bouts beside that between athletes.

    When to use: as a note on whether the two athletes of a bout are alike. When not: as a main result; a club evening holds
    few bouts and each athlete fights only a handful.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no`, `opponent` (a code, "guest", "none" or "") and the outcome.
    outcome : str
        A numeric column.

    Returns
    -------
    OpponentSpread or None
        None where fewer than four bouts have both athletes measured, or the values are too few to tell bouts from athletes.

    Notes
    -----
    outcome ~ round + (1 | athlete) + (1 | bout), a bout being a round and an unordered pair. "Cannot tell" where the interval of
    the variance between bouts holds both 0 and half the residual variance. Within-bout correlation: intraclass correlation of
    residuals after athlete and round, interval by Fisher's z for pairs; with n athletes, taking out the round alone pulls
    it towards -1 / (n - 1).

    References
    ----------
    Fisher 1925, Statistical Methods for Research Workers (intraclass correlation of pairs); Kenny, Kashy & Cook 2006, Dyadic Data
    Analysis (negative dependence within pairs).

    Examples
    --------
    >>> import pandas as pd
    >>> describe_opponents(pd.DataFrame({"athlete": list("AABB"), "round_no": [1, 2, 1, 2], "opponent": ["B", "B", "A", "A"],
    ...     "exertion": [12, 14, 11, 15]}), "exertion") is None
    True
    """
    need_columns(data, ("athlete",))
    if "opponent" not in data:
        return None
    return opponents_of(prepare_rounds(data, outcome, keep=("opponent",)))


def bouts_of(rows: RoundRows) -> tuple[list[str], int]:
    """The bout of every prepared row, and how many bouts have both athletes; whoever has no partner has a bout alone."""
    table = rows.table
    opponent, known = _opponents(table)
    names = pd.Series([f"alone {i}" for i in range(len(table))], index=table.index)
    names[known] = _bouts(table[known], opponent[known])
    size = names.groupby(names).transform("size")
    names = names.where(size <= 2, "more " + names.index.astype(str))  # three in a bout: the opponents are wrong
    return names.tolist(), int((names.groupby(names).size() == 2).sum())


def _opponents(table: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """The opponent of every row as text, and whether it is one."""
    opponent = table["opponent"].fillna("").astype(str).str.strip()
    return opponent, ~opponent.str.casefold().isin(["", "none", "nan"]) & (opponent != table["athlete"])


def opponents_of(rows: RoundRows, *, level: float = 0.95) -> OpponentSpread | None:
    """Compute `describe_opponents` from prepared rows that carry `opponent`."""
    table = rows.table.copy()
    opponent, known = _opponents(table)
    lost = table[~known]
    table = table[known].assign(bout=_bouts(table[known], opponent[known])).reset_index(drop=True)
    sizes = table.groupby("bout")["value"].size() if len(table) else pd.Series(dtype=int)
    pairs = sizes.index[sizes == 2]
    if len(pairs) < FEWEST_BOUTS or table["athlete"].nunique() < 4 or len(set(table["round_no"])) < 2:
        return None
    from ..models import fit_mixed

    table["round_no"] = table["round_no"].cat.remove_unused_categories()
    if np.ptp(table["value"].to_numpy()) == 0:
        return None
    try:
        fit = fit_mixed(table, "value ~ C(round_no)", group="athlete", crossed="bout")
    except KitError:  # as many athletes and bouts as values: nothing is left to tell them apart
        return None
    bout, residual = float(fit.variances.crossed), float(fit.variances.residual)
    interval = fit.variance_intervals(level=level, components=["bout"]).iloc[0]
    low, high = float(interval["ci_low"]), float(interval["ci_high"])
    correlation, r_low, r_high = _within_bout(table, pairs, level)
    warnings = [*rows.warnings, *fit.warnings]
    if (sizes > 2).any():
        warnings.append(f"{plural(int((sizes > 2).sum()), 'bout')} with more than two athletes: check the opponents.")
    nameless = left_out_table(
        {"athlete": r.athlete, "round_no": r.round_no, "measure": rows.outcome, "reason": "no opponent's code"}
        for r in lost.itertuples()
    )
    return OpponentSpread(
        outcome=rows.outcome,
        variance_bout=bout,
        ci_low=low,
        ci_high=high,
        variance_athlete=float(fit.variances.group),
        variance_residual=residual,
        within_bout_correlation=correlation,
        within_bout_ci_low=r_low,
        within_bout_ci_high=r_high,
        n_bouts=len(pairs),
        n_athletes=int(table["athlete"].nunique()),
        n_observations=len(table),
        verdict=spread_verdict(low, high, residual, r_high=r_high, n_athletes=int(table["athlete"].nunique())),
        method="mixed model with crossed random intercepts of athlete and bout, REML, profile interval",
        left_out=pd.concat([rows.left_out, nameless], ignore_index=True),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def spread_verdict(
    low: float, high: float, residual: float, *, r_high: float = float("nan"), n_athletes: int = 0
) -> str:
    """Judge the variance between bouts from its interval, the residual variance and the correlation of the two in a bout."""
    # Taking out the round alone pulls that correlation to -1 / (n - 1); what lies wholly below is
    # dependence of its own.
    if n_athletes > 1 and r_high < -1 / (n_athletes - 1):
        return "opponents opposed"
    if np.isnan(low) or np.isnan(high):
        return "cannot tell"
    if low > 1e-9 * max(residual, 1e-300):
        return "bouts differ"
    return "cannot tell" if high >= residual / 2 else "bouts differ little"


def _bouts(table, opponent) -> list[str]:
    """Round and unordered pair; a guest makes a bout of its own."""
    names = []
    for athlete, other, label in zip(table["athlete"], opponent, table["round_no"], strict=True):
        pair = (athlete, f"guest of {athlete}") if other.casefold() == "guest" else tuple(sorted((athlete, other)))
        names.append(f"{label}: {pair[0]} with {pair[1]}")
    return names


def _within_bout(table, pairs, level: float) -> tuple[float, float, float]:
    from scipy import stats

    wide = table.set_index(["athlete", "round_no"])["value"].unstack("round_no")  # noqa: PD010
    residual = _two_way_residuals(wide.to_numpy())
    lookup = pd.DataFrame(residual, index=wide.index, columns=wide.columns)
    both = table[table["bout"].isin(pairs)].sort_values("bout")
    values = np.array([lookup.loc[a, r] for a, r in zip(both["athlete"], both["round_no"], strict=True)]).reshape(-1, 2)
    centred = values - values.mean()
    spread = (centred**2).mean()
    if spread == 0:
        return (np.nan,) * 3
    r = float(np.clip((centred[:, 0] * centred[:, 1]).mean() / spread, -1, 1))
    if len(values) < 4 or abs(r) == 1:
        return r, np.nan, np.nan
    half = float(stats.norm.ppf((1 + level) / 2)) / np.sqrt(len(values) - 1.5)
    z = np.arctanh(r)
    return r, float(np.tanh(z - half)), float(np.tanh(z + half))


def _two_way_residuals(values: np.ndarray) -> np.ndarray:
    """Residuals after athlete and round by least squares, missing cells allowed."""
    n, k = values.shape
    i, j = np.nonzero(~np.isnan(values))
    design = np.zeros((len(i), n + k))
    design[np.arange(len(i)), i] = 1
    design[np.arange(len(i)), n + j] = 1
    y = values[i, j]
    fitted = design @ np.linalg.lstsq(design, y, rcond=None)[0]
    residual = np.full_like(values, np.nan)
    residual[i, j] = y - fitted
    return residual


COLUMNS = ("athlete", "round_no", "took_part", "rest_before_s", "what")
AFTER = "first round after sitting out"


def rests_of(data: pd.DataFrame) -> pd.DataFrame:
    """List rounds sat out and the rounds after them, whose rest before was longer."""
    need_columns(data, ("athlete", "round_no"))
    lines = []
    if "took_part" in data:
        ordered = data.assign(_place=order_rounds(data["round_no"])[1], athlete=data["athlete"].astype(str))
        ordered = ordered[ordered["round_no"].map(label_of) != "0"].sort_values("_place", kind="stable")
        for _, part in ordered.groupby("athlete", sort=True):
            before = ""
            for row in part.to_dict("records"):
                now = str(row["took_part"])
                what = {"sat_out": "sat out", "left": "left"}.get(now, AFTER if before == "sat_out" else "")
                if what:
                    lines.append((row["athlete"], row["round_no"], now, row.get("rest_before_s", np.nan), what))
                before = now
    return pd.DataFrame(lines, columns=list(COLUMNS))
