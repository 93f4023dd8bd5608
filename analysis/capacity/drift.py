"""Do fitter athletes drift less over the rounds and recover more in the rests? Own slopes, then between athletes."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import ESTIMATE_COLUMNS, KitError
from .adjustment import balanced_means, round_effects
from .fit import MINIMUM_ATHLETES, Prepared, prepare, t_limits
from .guards import is_heart_rate
from .tables import varies

DRIFT_COLUMNS = ("measure", "role", "expected", *(c for c in ESTIMATE_COLUMNS if c != "p_adjusted"))
OVER_ROUNDS = "rise from round to round"
CHECK = "rounds differ in the slope on capacity"
IN_A_ROUND = "drift within a round"
RECOVERY = "heart rate recovered in the first minute of rest"


def drift_and_recovery(
    data: pd.DataFrame,
    capacity: str | pd.DataFrame,
    outcome: str,
    *,
    level: float = 0.95,
) -> pd.DataFrame:
    """Ask whether fitter athletes rise less over the rounds, drift less within them and recover more in the rests."""
    # Each athlete's own straight slope over the rounds (the rounds' common effects taken out and put back,
    # so that a missed round does not bend it) is regressed on capacity: t on n − 2 degrees of freedom. The
    # line with role "check" is the round-by-capacity interaction of a model with one random intercept per
    # athlete: it takes an athlete's slope for scatter and rejects too often where athletes differ in their
    # rise (in simulation up to twice as often as it should), so it never decides.
    # Matthews JNS, Altman DG, Campbell MJ, Royston P (1990) BMJ 300:230-235 (summary measures).
    prepared = prepare(data, capacity, outcome)
    lines = [_own_slopes(prepared, level), _interaction(prepared)]
    if is_heart_rate(outcome):
        for column, measure, expected in (
            ("hr_drift_bpm_min", IN_A_ROUND, "lower"),
            ("hr_recovery_60s_bpm", RECOVERY, "higher"),
        ):
            if column in data.columns and data[column].notna().any():
                lines.append(_own_means(data, capacity, column, measure, expected, level))
    return pd.DataFrame([line for line in lines if line], columns=list(DRIFT_COLUMNS))


def own_slopes(prepared: Prepared) -> pd.DataFrame:
    """Return each athlete's own slope over the rounds: athlete, capacity, slope, n_rounds (athletes with two or more)."""
    rows = prepared.rows
    if "round_no" not in rows.columns or not pd.api.types.is_numeric_dtype(rows["round_no"]):
        return pd.DataFrame(columns=["athlete", "capacity", "slope", "n_rounds"])
    cell = prepared.cell
    effects = round_effects(rows, prepared.outcome, cell)
    table = pd.DataFrame(
        {
            "athlete": rows["athlete"],
            "capacity": rows[prepared.capacity],
            "level": rows[prepared.outcome] - effects,
            "effect": effects,
            "time": rows["round_no"].astype(float),
        }
    )
    common = 0.0
    if (effects != 0).any():
        by_cell = pd.DataFrame({"cell": rows[cell], "effect": effects, "time": table["time"]})
        common = _slope(*by_cell.groupby("cell")[["time", "effect"]].mean().to_numpy().T)
    lines = [
        (
            athlete,
            part["capacity"].iloc[0],
            _slope(part["time"].to_numpy(), part["level"].to_numpy()) + common,
            len(part),
        )
        for athlete, part in table.groupby("athlete", sort=False)
        if varies(part["time"])
    ]
    return pd.DataFrame(lines, columns=["athlete", "capacity", "slope", "n_rounds"])


def regress(x: np.ndarray, y: np.ndarray, level: float) -> dict:
    """Regress y on x, one point per athlete: estimate, standard_error, interval, t, df = n − 2, p."""
    from scipy.special import stdtr

    n = len(x)
    u = x - x.mean()
    slope = float(u @ y / (u @ u))
    residual = y - y.mean() - slope * u
    df = n - 2
    error = float(np.sqrt(max(residual @ residual, 0.0) / df / (u @ u)))
    statistic = slope / error if error > 0 else float("nan")
    low, high = t_limits(slope, error, df, level)
    return {
        "estimate": slope,
        "standard_error": error,
        "ci_low": low,
        "ci_high": high,
        "statistic": statistic,
        "df": float(df),
        "p": float(2 * stdtr(df, -abs(statistic))),
        "n_athletes": n,
    }


def _own_slopes(prepared: Prepared, level: float) -> dict | None:
    table = own_slopes(prepared)
    if len(table) < MINIMUM_ATHLETES or table["capacity"].nunique() < 2:
        return None
    line = regress(table["capacity"].to_numpy(), table["slope"].to_numpy(), level)
    return {
        "measure": OVER_ROUNDS,
        "role": "main",
        "expected": "lower",
        **line,
        "n_observations": int(table["n_rounds"].sum()),
        "method": "each athlete's own slope regressed on capacity, t",
    }


def _own_means(data, capacity, column, measure, expected, level) -> dict | None:
    try:
        prepared = prepare(data, capacity, column)
    except KitError:
        return None
    means = balanced_means(prepared.rows, column, cell=prepared.cell)
    x = prepared.rows.groupby("athlete", sort=False)[prepared.capacity].first().to_numpy()
    return {
        "measure": measure,
        "role": "main",
        "expected": expected,
        **regress(x, means["mean"].to_numpy(), level),
        "n_observations": len(prepared.rows),
        "method": "each athlete's mean regressed on capacity, t",
    }


def _interaction(prepared: Prepared) -> dict | None:
    rows = prepared.rows
    if not prepared.cell or rows["athlete"].is_unique:
        return None
    from ..models import fit_mixed

    table = pd.DataFrame(
        {
            "athlete": rows["athlete"],
            "y": rows[prepared.outcome],
            "x": rows[prepared.capacity] - rows[prepared.capacity].mean(),
            "cell": rows[prepared.cell],
        }
    )
    try:
        test = fit_mixed(table, "y ~ C(cell) * x", group="athlete").test("C(cell):x", ddf="kenward-roger")
    except KitError:
        return None
    return {
        "measure": CHECK,
        "role": "check",
        "expected": "",
        "statistic": float(test["statistic"]),
        "df_num": float(test["df_num"]),
        "df_den": float(test["df_den"]),
        "p": float(test["p"]),
        "n_athletes": prepared.n_athletes,
        "n_observations": len(rows),
        "method": "interaction in a model with one random intercept per athlete, F, Kenward-Roger; too liberal, a check only",
    }


def _slope(x: np.ndarray, y: np.ndarray) -> float:
    u = x - x.mean()
    return float(u @ y / (u @ u)) if u @ u > 0 else float("nan")
