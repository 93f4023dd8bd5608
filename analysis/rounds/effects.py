"""Effect sizes for pairs of rounds, raw units first."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .prepare import RoundRows, pairs_of, prepare_rounds


def paired_effects(
    data: pd.DataFrame, outcome: str, *, kind: str = "successive", level: float = 0.95
) -> pd.DataFrame:
    """Give the effect sizes of the steps from paired values, raw differences first.

    When to use: to report beside the raw difference, or to compare with a paper that printed a standardised one. When
    not: to decide whether a change matters; that is judged in beats, mmol/L or points.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no` and the outcome.
    outcome : str
        A numeric column.
    kind : {"successive", "first", "pairwise"}
        Which contrasts. Default "successive".
    level : float
        Of the intervals. Default 0.95.

    Returns
    -------
    DataFrame
        contrast, later, earlier, measure ("difference", "d_z", "g_z", "d_av", "g_av"), estimate, ci_low, ci_high,
        n_athletes (those with both rounds), method.

    Notes
    -----
    d_z divides the mean difference by the SD of the differences, d_av by the root mean square of the two SDs; g_z and g_av
    carry Hedges' exact gamma factor with n - 1 degrees of freedom. d_z: noncentral-t interval; d_av: Algina and Keselman.
    The interval of a corrected size is that of the uncorrected one times the factor.

    References
    ----------
    Cumming 2012, Understanding the New Statistics; Algina & Keselman 2003, Educational and Psychological Measurement 63:537;
    Hedges 1981, Journal of Educational Statistics 6:107; Lakens 2013, Frontiers in Psychology 4:863.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AABBCC"), "round_no": [1, 2] * 3, "hr_mean_bpm": [160.0, 166, 150, 159, 171, 174]})
    >>> table = paired_effects(data, "hr_mean_bpm")
    >>> dict(zip(table["measure"], table["estimate"].round(2)))
    {'difference': 6.0, 'd_z': 2.0, 'g_z': 1.13, 'd_av': 0.65, 'g_av': 0.37}
    """
    return effects_of(prepare_rounds(data, outcome), kind=kind, level=level)


def effects_of(rows: RoundRows, *, kind: str = "successive", level: float = 0.95) -> pd.DataFrame:
    """Compute `paired_effects` from prepared rows.

    Parameters
    ----------
    rows : RoundRows
    kind, level
        As in `paired_effects`.

    Returns
    -------
    DataFrame
    """
    lines = []
    for later, earlier in pairs_of(rows.labels, kind):
        both = rows.wide[[rows.labels[later], rows.labels[earlier]]].dropna().to_numpy()
        lines += [
            {
                "contrast": f"{rows.labels[later]} - {rows.labels[earlier]}",
                "later": rows.labels[later],
                "earlier": rows.labels[earlier],
                **line,
                "n_athletes": len(both),
            }
            for line in _sizes(both[:, 0], both[:, 1], level)
        ]
    columns = [
        "contrast",
        "later",
        "earlier",
        "measure",
        "estimate",
        "ci_low",
        "ci_high",
        "n_athletes",
        "method",
    ]
    return pd.DataFrame(lines)[columns]


def _sizes(later: np.ndarray, earlier: np.ndarray, level: float) -> list[dict]:
    """The five measures of one pair of rounds; missing where there is no spread or there are fewer than two pairs."""
    from ..models import paired_effect_sizes

    table = paired_effect_sizes(later, earlier, level=level)
    return table.to_dict("records")
