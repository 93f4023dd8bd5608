"""Athletes' means balanced for the rounds that they missed."""

from __future__ import annotations

import numpy as np
import pandas as pd


def balanced_means(rows: pd.DataFrame, outcome: str, *, cell: str = "") -> pd.DataFrame:
    """Return each athlete's mean of an outcome, balanced for the rounds that the athlete missed."""
    effects = round_effects(rows, outcome, cell)
    level = rows[outcome] - effects
    grouped = rows.groupby("athlete", sort=False)
    table = pd.DataFrame(
        {
            "mean": level.groupby(rows["athlete"], sort=False).mean(),
            "plain_mean": grouped[outcome].mean(),
            "n_rounds": grouped.size(),
        }
    )
    return table.rename_axis("athlete").reset_index()


def round_effects(rows: pd.DataFrame, outcome: str, cell: str) -> pd.Series:
    """Return the effect of each row's round in the additive table athlete + round; 0 where it cannot be told."""
    none = pd.Series(0.0, index=rows.index)
    if not cell or rows[cell].nunique() < 2:
        return none
    who, when = pd.Categorical(rows["athlete"]), pd.Categorical(rows[cell])
    n_athletes, n_cells = len(who.categories), len(when.categories)
    place = when.codes.astype(int)  # pandas counts in bytes, which end at 127
    design = np.zeros((len(rows), n_athletes + n_cells))
    design[np.arange(len(rows)), who.codes] = 1
    design[np.arange(len(rows)), n_athletes + place] = 1
    solution, _, rank, _ = np.linalg.lstsq(design, rows[outcome].to_numpy(dtype=float), rcond=None)
    if rank < n_athletes + n_cells - 1:
        return none
    effects = solution[n_athletes:] - solution[n_athletes:].mean()
    return pd.Series(effects[place], index=rows.index)


def flat_within(prepared) -> bool:
    """Tell whether nothing varies within athletes beyond the rounds, so that an athlete's rows are one value."""
    rows = prepared.rows
    level = rows[prepared.outcome] - round_effects(rows, prepared.outcome, prepared.cell)
    rest = level - level.groupby(rows["athlete"]).transform("mean")
    return bool(rest.abs().max() <= 1e-9 * max(float(rows[prepared.outcome].abs().max()), 1e-300))
