"""Effect sizes for pairs of rounds, raw units first."""

from __future__ import annotations

import pandas as pd

from .prepare import RoundRows, pairs_of, prepare_rounds

COLUMNS = ["contrast", "later", "earlier", "measure", "estimate", "ci_low", "ci_high", "n_athletes", "method"]


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
        contrast, later, earlier, measure ("difference", "d_z", "g_z", "d_av", "g_av", "d_av_mean_sd", "g_av_mean_sd",
        "d_rm"), estimate, ci_low, ci_high, n_athletes (those with both rounds), method.

    Notes
    -----
    d_z divides the mean difference by the SD of the differences, d_av by the root mean square of the two SDs
    (d_av_mean_sd: by their mean), d_rm is d_z sqrt(2 (1 - r)). g_z and g_av carry Hedges' exact gamma factor with n - 1
    degrees of freedom. d_z: noncentral-t interval; d_av: Algina and Keselman.

    References
    ----------
    Cumming 2012, Understanding the New Statistics; Algina & Keselman 2003, Educational and Psychological Measurement 63:537;
    Hedges 1981, Journal of Educational Statistics 6:107; Lakens 2013, Frontiers in Psychology 4:863.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AABBCC"), "round_no": [1, 2] * 3, "hr_mean_bpm": [160.0, 166, 150, 159, 171, 174]})
    >>> table = paired_effects(data, "hr_mean_bpm")
    >>> table["measure"].tolist()[:3], table["estimate"].round(2).tolist()[:3]
    (['difference', 'd_z', 'g_z'], [6.0, 2.0, 1.13])
    """
    return effects_of(prepare_rounds(data, outcome), kind=kind, level=level)


def effects_of(rows: RoundRows, *, kind: str = "successive", level: float = 0.95) -> pd.DataFrame:
    """Compute `paired_effects` from prepared rows."""
    from ..models import paired_effect_sizes

    lines = []
    for later, earlier in pairs_of(rows.labels, kind):
        names = rows.labels[later], rows.labels[earlier]
        both = rows.wide[list(names)].dropna().to_numpy()
        found = paired_effect_sizes(both[:, 0], both[:, 1], level=level)
        raw = {
            "measure": "difference",
            "estimate": found.mean_difference,
            "ci_low": found.ci_low,
            "ci_high": found.ci_high,
            "method": "mean paired difference in the outcome's unit, t interval",
        }
        where = {"contrast": f"{names[0]} - {names[1]}", "later": names[0], "earlier": names[1]}
        for line in (raw, *found.table.to_dict("records")):
            lines.append({**where, **line, "n_athletes": found.n_athletes})
    return pd.DataFrame(lines)[COLUMNS]


def effects_of_steps(rows: RoundRows) -> pd.DataFrame:
    """Give the effect sizes of every step, and of last minus first."""
    steps = effects_of(rows)
    if len(rows.labels) == 2:
        return steps
    whole = effects_of(rows, kind="first")
    return pd.concat([steps, whole[whole["later"] == rows.labels[-1]]], ignore_index=True)
