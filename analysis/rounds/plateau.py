"""Where does it stop changing? Equivalence of every pair of rounds, from the end backwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import Result
from .compare import fit_rounds
from .equivalence import equivalence_of
from .prepare import RoundRows, prepare_rounds


@dataclass(frozen=True)
class Plateau(Result):
    """The round from which on no meaningful change is shown, and every candidate tried.

    Parameters
    ----------
    starts_at : str
        Label of that round; "" where equivalence was not shown.
    found : bool
    whole : bool
        True where it holds from the first round on.
    candidates : DataFrame
        from_round, n_pairs, worst_contrast, p (largest over its pairs and methods), tested, holds; from the end backwards.
    pairs : DataFrame
        Equivalence of every pair of rounds.
    low, high, alpha : float
        The bounds and the level of each candidate.
    n_athletes, n_observations : int
    method : str
    left_out : DataFrame
    warnings : tuple of str
    """

    starts_at: str
    found: bool
    whole: bool
    candidates: pd.DataFrame
    pairs: pd.DataFrame
    low: float
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
    rows: RoundRows,
    fit,
    *,
    low: float,
    high: float,
    alpha: float = 0.05,
    ordinal: bool = False,
    pairwise: pd.DataFrame | None = None,
) -> Plateau:
    """Compute `find_plateau` from prepared rows and their fitted model."""
    options = {"kind": "pairwise", "alpha": alpha, "ordinal": ordinal, "contrasts": pairwise}
    pairs = equivalence_of(rows, fit, low=low, high=high, **options)
    candidates = try_candidates(pairs, rows.labels)
    holding = candidates.loc[candidates["tested"] & candidates["holds"], "from_round"]
    starts_at = holding.iloc[-1] if len(holding) else ""
    return Plateau(
        starts_at=starts_at,
        found=bool(starts_at),
        whole=starts_at == rows.labels[0],
        candidates=candidates,
        pairs=pairs,
        low=float(low),
        high=float(high),
        alpha=float(alpha),
        n_athletes=rows.n_athletes,
        n_observations=rows.n_observations,
        method="equivalence of every pair of rounds, candidates from the end backwards, each at alpha",
        left_out=rows.left_out,
        warnings=rows.warnings,
    )


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
        lines.append(
            {
                "from_round": labels[start],
                "n_pairs": len(inside),
                "worst_contrast": pairs["contrast"].iloc[worst],
                "p": float(largest[worst]),
                "tested": going,
                "holds": holds,
            }
        )
        going = going and holds
    return pd.DataFrame(lines)
