"""Many analyses of one club at once: the numbers of `fit_capacity`, without its words, in one batch per shape."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from ..basics import KitError
from .balance import flat_within
from .fit import Prepared, fit_prepared
from .tables import numeric_design

FIT_COLUMNS = (
    "estimate",
    "standard_error",
    "ci_low",
    "ci_high",
    "statistic",
    "df",
    "p",
    "n_athletes",
    "n_observations",
    "method",
)
METHOD = "mixed model, athlete random, restricted maximum likelihood, Kenward-Roger"


def fit_many(parts: Sequence[Prepared], *, level: float = 0.95) -> pd.DataFrame:
    """Fit many prepared analyses of the same athletes; one that cannot be fitted is missing."""
    table = pd.DataFrame(np.nan, index=range(len(parts)), columns=list(FIT_COLUMNS[:-1])).assign(
        method=METHOD
    )
    shapes: dict[int, list[tuple[int, np.ndarray, np.ndarray, np.ndarray]]] = {}
    slots: dict[tuple, int] = {}
    layouts: dict[tuple, _Layout] = {}  # many analyses share their rows
    counts = np.full((len(parts), 2), np.nan)
    for i, part in enumerate(parts):
        key = id(part.rows), part.outcome
        if key not in layouts:
            layouts[key] = _Layout(part)
        layout = layouts[key]
        if layout.keys is None:
            continue  # fitted alone below
        places = layout.places(slots)
        design = layout.design(part)
        shapes.setdefault(design.shape[1], []).append((i, places, layout.values, design))
        counts[i] = layout.n_athletes, len(places)
    table["n_athletes"], table["n_observations"] = counts.T
    athletes = np.array([athlete for athlete, _ in slots])
    for width, members in shapes.items():
        _fit_shape(table, members, width, athletes)
    for i in np.flatnonzero(table["estimate"].isna()):
        _fit_alone(table, i, parts[i], level)
    return _with_tests(table, level)


class _Layout:
    """What the analyses of the same rows and outcome share: where the rows stand, and their columns."""

    def __init__(self, part: Prepared):
        self.rows, self.cell = part.rows, part.cell
        self.keys = self._keys(part)
        self.values = part.rows[part.outcome].to_numpy(float)
        self.n_athletes = part.n_athletes
        self._columns: dict[str, np.ndarray] = {}
        self._places = None

    def _keys(self, part: Prepared) -> list[tuple] | None:
        """Athlete and round of every row; None where the batch cannot hold them: one value per athlete, a round twice."""
        rows = part.rows
        if rows["athlete"].is_unique or flat_within(part):
            return None
        cells = rows[part.cell].astype(str) if part.cell else rows.groupby("athlete").cumcount().astype(str)
        keys = list(zip(rows["athlete"], cells, strict=True))
        return keys if len(set(keys)) == len(keys) else None

    def places(self, slots: dict[tuple, int]) -> np.ndarray:
        """Number of every row's place among those of all analyses."""
        if self._places is None:
            self._places = np.array([slots.setdefault(key, len(slots)) for key in self.keys])
        return self._places

    def design(self, part: Prepared) -> np.ndarray:
        """Ones, capacity, covariates, rounds."""
        names = [part.capacity, *part.covariates, *([part.cell] if part.cell else [])]
        return np.column_stack([np.ones(len(self.rows)), *(self._column(name) for name in names)])

    def _column(self, name: str) -> np.ndarray:
        if name not in self._columns:
            table = self.rows
            if name == self.cell:
                table = table[[name]].astype(str)
            self._columns[name] = numeric_design(table, [name])[0]
        return self._columns[name]


def _fit_shape(table: pd.DataFrame, members: list, width: int, athletes: np.ndarray) -> None:
    from ..models import fit_mixed_batch

    outcomes = np.full((len(members), len(athletes)), np.nan)
    design = np.zeros((len(members), len(athletes), width))
    design[:, :, 0] = 1
    for k, (_, places, values, columns) in enumerate(members):
        outcomes[k, places] = values
        design[k, places] = columns
    fit = fit_mixed_batch(outcomes, design, athletes, tests={"capacity": [1]})["capacity"]
    where = [i for i, *_ in members]
    for column, found in (
        ("estimate", fit.estimate),
        ("standard_error", fit.standard_error),
        ("df", fit.df_den),
    ):
        table.loc[where, column] = np.asarray(found, dtype=float).reshape(len(members), -1)[:, 0]


def _fit_alone(table: pd.DataFrame, i: int, part: Prepared, level: float) -> None:
    try:
        fit = fit_prepared(part, level=level)
    except KitError:
        return
    for column in FIT_COLUMNS:
        table.loc[i, column] = getattr(fit, column)


def _with_tests(table: pd.DataFrame, level: float) -> pd.DataFrame:
    from scipy.special import stdtr, stdtrit

    half = stdtrit(table["df"].to_numpy(), (1 + level) / 2) * table["standard_error"]
    statistic = table["estimate"] / table["standard_error"]
    return table.assign(
        ci_low=table["estimate"] - half,
        ci_high=table["estimate"] + half,
        statistic=statistic,
        p=2 * stdtr(table["df"].to_numpy(), -np.abs(statistic.to_numpy())),
    )
