"""Two one-sided tests: is the change between rounds shown to be smaller than matters?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_number
from .compare import METHODS, contrast_table, fit_rounds
from .prepare import RoundRows, prepare_rounds


def equivalence(
    data: pd.DataFrame, outcome: str, *, low: float, high: float, kind: str = "successive", alpha: float = 0.05,
    ordinal: bool = False,
) -> pd.DataFrame:  # fmt: skip
    """Test whether differences between rounds lie within bounds (two one-sided tests).

    When to use: to say that a change is smaller than matters. When not: with bounds chosen after seeing the data.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    low, high : float
        The bounds of what does not matter, in the outcome's unit; low < 0 < high.
    kind : {"successive", "first", "pairwise"}
        Which contrasts. Default "successive".
    alpha : float
        Level of each one-sided test. Default 0.05, which goes with 90 % intervals.
    ordinal : bool
        True for ratings: the exact signed-rank test must agree too. Default False.

    Returns
    -------
    DataFrame
        contrast, later, earlier, kind, estimate, standard_error, df, ci_low, ci_high (level 1 - 2 alpha), p_low, p_high, p
        (Kenward-Roger), the same ending in `_cr2` (cluster-robust), p_ranks (ratings only), equivalent (every p below alpha),
        method.

    Raises
    ------
    KitError
        Where the bounds do not enclose 0, or the table cannot be analysed.

    Notes
    -----
    p_low tests that the difference lies above `low`, p_high that it lies below `high`; p is the larger of the two.
    Equivalence is claimed only where Kenward-Roger and CR2 both reach alpha: when the spread grows over the rounds,
    the pooled residual alone would claim it too often.

    References
    ----------
    Schuirmann 1987, Journal of Pharmacokinetics and Biopharmaceutics 15:657; Lakens 2017, Social Psychological and
    Personality Science 8:355.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AABBCCDD"), "round_no": [3, 4] * 4,
    ...     "hr_mean_bpm": [171.0, 172, 160, 160, 180, 179, 163, 164]})
    >>> table = equivalence(data, "hr_mean_bpm", low=-5, high=5)
    >>> table.loc[0, "contrast"], bool(table.loc[0, "equivalent"])
    ('4 - 3', True)
    """
    rows = prepare_rounds(data, outcome)
    return equivalence_of(rows, fit_rounds(rows), low=low, high=high, kind=kind, alpha=alpha, ordinal=ordinal)


def equivalence_of(
    rows: RoundRows, fit, *, low: float, high: float, kind: str = "successive", alpha: float = 0.05,
    ordinal: bool = False, contrasts: pd.DataFrame | None = None,
) -> pd.DataFrame:  # fmt: skip
    """Compute `equivalence` from prepared rows and their fitted model."""
    check_bounds(low, high, alpha)
    contrasts = contrast_table(fit, kind=kind) if contrasts is None else contrasts
    table = contrasts[["contrast", "later", "earlier", "kind", "estimate"]].copy()
    for end in METHODS.values():
        columns = _one_sided(
            contrasts["estimate"], contrasts[f"standard_error{end}"], contrasts[f"df{end}"], low, high, alpha
        )
        for name, values in columns.items():
            table[f"{name}{end}"] = values
    needed = [table[f"p{end}"] for end in METHODS.values()]
    if ordinal:
        table["p_ranks"] = [
            _rank_p(rows, a, b, low, high) for a, b in zip(table["later"], table["earlier"], strict=True)
        ]
        needed.append(table["p_ranks"])
    table["equivalent"] = np.all([p < alpha for p in needed], axis=0)
    table["n_athletes"], table["n_observations"] = rows.n_athletes, rows.n_observations
    table["method"] = "two one-sided tests, Kenward-Roger and CR2" + (" and exact signed ranks" if ordinal else "")
    return table


def check_bounds(low: float, high: float, alpha: float = 0.05) -> None:
    """Raise a KitError unless low < 0 < high and 0 < alpha < 0.5."""
    try:
        check_number(low, name="low", high=0), check_number(high, name="high", low=0)
    except KitError as problem:
        raise KitError(f"The bounds must enclose 0, such as low=-5, high=5. {problem}") from None
    check_number(alpha, name="alpha", low=0, high=0.5)


def check_effect(smallest_effect: float) -> float:
    """Return the smallest effect that matters, or raise a KitError unless it is a number above 0."""
    return check_number(smallest_effect, name="The smallest effect that matters", low=0)


def one_sided_p(estimate, error, df, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Compute p of "above low" and of "below high"; missing where there is no standard error."""
    from scipy.special import stdtr

    with np.errstate(divide="ignore", invalid="ignore"):
        usable = np.where(error > 0, error, np.nan)
        return stdtr(df, -(estimate - low) / usable), stdtr(df, (estimate - high) / usable)


def _one_sided(estimate, error, df, low, high, alpha) -> dict:
    from scipy.special import stdtrit

    estimate, error, df = (np.asarray(v, dtype=float) for v in (estimate, error, df))
    p_low, p_high = one_sided_p(estimate, error, df, low, high)
    half = stdtrit(df, 1 - alpha) * np.where(error > 0, error, np.nan)
    return {
        "standard_error": error, "df": df, "ci_low": estimate - half, "ci_high": estimate + half, "p_low": p_low,
        "p_high": p_high, "p": np.maximum(p_low, p_high),
    }  # fmt: skip


def _rank_p(rows: RoundRows, later: str, earlier: str, low: float, high: float) -> float:
    from ..models import signed_rank, tie_decimals

    differences = (rows.wide[later] - rows.wide[earlier]).dropna().to_numpy()
    if not len(differences):
        return np.nan
    decimals = tie_decimals(rows.wide.to_numpy())
    return max(
        signed_rank(differences - low, alternative="greater", decimals=decimals).p,
        signed_rank(differences - high, alternative="less", decimals=decimals).p,
    )


@dataclass(frozen=True)
class Plateau(Result):
    """The round from which on no meaningful change is shown, and every candidate tried."""

    starts_at: str  # Label of that round; "" where equivalence was not shown
    found: bool
    whole: bool  # True where it holds from the first round on
    # from_round, n_pairs, worst_contrast, p (largest over its pairs and methods), tested, holds; from the end backwards
    candidates: pd.DataFrame
    pairs: pd.DataFrame  # Equivalence of every pair of rounds
    low: float  # The bounds and the level of each candidate
    high: float
    alpha: float
    n_athletes: int
    n_observations: int
    method: str
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def find_plateau(
    data: pd.DataFrame, outcome: str, *, low: float, high: float, alpha: float = 0.05, ordinal: bool = False
) -> Plateau:
    """Find the earliest round from which on every pair of rounds is equivalent.

    When to use: to say where an outcome stops changing. When not: from a row of non-significant steps; that shows nothing,
    and successive steps alone let a creeping rise through.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    low, high : float
        The bounds of what does not matter, in the outcome's unit; low < 0 < high.
    alpha : float
        Level of each candidate. Default 0.05.
    ordinal : bool
        True for ratings: the exact signed-rank test must agree too. Default False.

    Returns
    -------
    Plateau
        starts_at ("" where none), candidates, pairs.

    Raises
    ------
    KitError
        Where the bounds do not enclose 0, or the table cannot be analysed.

    Notes
    -----
    Candidates are tried from the end backwards: first the last two rounds, then the last three, and so on. A candidate holds
    where every pair of its rounds is equivalent, each at alpha (an intersection-union test, so its level is alpha). The
    first that fails ends the search (a fixed sequence), so that the chance of naming a round too early is at most alpha.

    References
    ----------
    Berger 1982, Technometrics 24:295 (intersection-union); Westfall & Krishen 2001, Journal of Statistical Planning and
    Inference 99:25 (fixed sequences); Schuirmann 1987, Journal of Pharmacokinetics and Biopharmaceutics 15:657.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AAABBBCCCDDD"), "round_no": [1, 2, 3] * 4,
    ...     "hr_mean_bpm": [160.0, 171, 172, 150, 160, 160, 171, 180, 179, 152, 163, 164]})
    >>> find_plateau(data, "hr_mean_bpm", low=-5, high=5).starts_at
    '2'
    """
    rows = prepare_rounds(data, outcome)
    return plateau_of(rows, fit_rounds(rows), low=low, high=high, alpha=alpha, ordinal=ordinal)


def plateau_of(
    rows: RoundRows, fit, *, low: float, high: float, alpha: float, ordinal: bool = False,
    pairwise: pd.DataFrame | None = None,
) -> Plateau:  # fmt: skip
    """Compute `find_plateau` from prepared rows and their fitted model."""
    options = {"kind": "pairwise", "alpha": alpha, "ordinal": ordinal, "contrasts": pairwise}
    pairs = equivalence_of(rows, fit, low=low, high=high, **options)
    candidates = try_candidates(pairs, rows.labels)
    holding = candidates.loc[candidates["tested"] & candidates["holds"], "from_round"]
    starts_at = holding.iloc[-1] if len(holding) else ""
    return Plateau(
        starts_at=starts_at, found=bool(starts_at), whole=starts_at == rows.labels[0], candidates=candidates,
        pairs=pairs, low=float(low), high=float(high), alpha=float(alpha), n_athletes=rows.n_athletes,
        n_observations=rows.n_observations,
        method="equivalence of every pair of rounds, candidates from the end backwards, each at alpha",
        left_out=rows.left_out, warnings=rows.warnings,
    )  # fmt: skip


def try_candidates(pairs: pd.DataFrame, labels) -> pd.DataFrame:
    """Walk from the last two rounds backwards and note which candidate holds."""
    position = {label: i for i, label in enumerate(labels)}
    first = np.minimum(pairs["later"].map(position), pairs["earlier"].map(position)).to_numpy()
    columns = [c for c in ("p", "p_cr2", "p_ranks") if c in pairs]
    largest = pairs[columns].fillna(1.0).max(axis=1).to_numpy()
    lines, going = [], True
    for start in range(len(labels) - 2, -1, -1):
        inside = np.flatnonzero(first >= start)
        worst = inside[np.argmax(largest[inside])]
        holds = bool(pairs["equivalent"].to_numpy()[inside].all())
        named, p = pairs["contrast"].iloc[worst], float(largest[worst])
        lines.append((labels[start], len(inside), named, p, going, holds))
        going = going and holds
    return pd.DataFrame(lines, columns=["from_round", "n_pairs", "worst_contrast", "p", "tested", "holds"])
