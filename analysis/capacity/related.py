"""Two questions beside the slope: what athletes did, as an outcome and as a way to heart rate; and drift over the rounds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import ESTIMATE_COLUMNS, KitError, Result
from .adjustment import balanced_means, is_heart_rate, round_effects
from .correlation import Correlation, correlate, slope_of
from .fit import MINIMUM_ATHLETES, CapacityFit, Prepared, fit_capacity, prepare, t_limits
from .tables import varies

SMALLEST_SHARE = 0.10
"""The smallest difference in the share of a round that matters: 10 percentage points (our proposal)."""
READINGS = ("higher", "lower", "the same", "cannot tell")


@dataclass(frozen=True)
class ActivityAnswer(Result):
    """Do fitter athletes do more, and does their heart rate differ at what they do?"""

    outcome: str  # The outcome beside activity, for example "hr_mean_bpm"
    activity: CapacityFit  # Slope of the active share of a round on capacity
    correlation: Correlation  # Capacity and active share, means of the athletes
    total: CapacityFit  # Slope of the outcome on capacity: the planned question, on the rated rounds
    # The same with activity held equal; None where too few athletes are left for it. It answers another question and is never
    # the main answer: activity may be how fitness acts.
    at_equal_activity: CapacityFit | None
    activity_reading: str  # One of `READINGS`: what athletes a step fitter do, and what their outcome is
    outcome_reading: str
    contrast_step: float  # How far apart in capacity two athletes are who are compared
    smallest_effect: float  # What matters, in the unit of the outcome, and as a share of a round
    smallest_share: float
    table: pd.DataFrame  # athlete, capacity, active_share, outcome, n_rounds: means of the rated rounds
    n_athletes: int
    n_rounds: int


def fitness_and_activity(
    rounds: pd.DataFrame, capacity: pd.DataFrame, *, outcome: str = "hr_mean_bpm", smallest_effect: float = 5.0,
    smallest_share: float = SMALLEST_SHARE, contrast_step: float = 10.0, seed: int = 0,
) -> ActivityAnswer:  # fmt: skip
    """Ask whether fitter athletes do more, beside whether their heart rate is lower.

    Parameters
    ----------
    rounds : DataFrame
        One row per athlete and rated round: athlete, round_no, active_share (0 to 1) and the outcome.
    capacity : DataFrame
        The table of `measure_capacity`.
    outcome : str
        Default "hr_mean_bpm".
    smallest_effect : float
        Smallest difference of the outcome that matters, between athletes `contrast_step` apart. Default 5.
    smallest_share : float
        The same for the active share. Default 0.10.
    contrast_step : float
        Default 10 (mL/kg/min).
    seed : int
        Default 0.

    Returns
    -------
    ActivityAnswer

    Raises
    ------
    KitError
        Where fewer than 4 athletes have capacity and rated rounds, or where the fitness test shares heart rate with the outcome.

    Notes
    -----
    A direction is read where the 95 % interval leaves out 0; "the same" where the 90 % interval lies within the smallest effect
    (two one-sided tests); else nobody can tell. Activity is a co-outcome and a possible mediator: the slope at equal activity
    is a controlled direct effect only if nothing else moves both activity and heart rate.

    References
    ----------
    VanderWeele TJ (2016) Annual Review of Public Health 37:17 (mediation). Schuirmann DJ (1987) Journal of Pharmacokinetics and
    Biopharmaceutics 15:657 (two one-sided tests).

    Examples
    --------
    >>> rounds = pd.DataFrame({"athlete": list("AABBCCDDEEFF"), "round_no": [1, 2] * 6,
    ...     "active_share": [.3, .34, .36, .4, .42, .41, .47, .5, .52, .55, .6, .58],
    ...     "hr_mean_bpm": [170.0, 172, 171, 171, 170, 172, 170, 171, 172, 171, 170, 171]})
    >>> fit = pd.DataFrame({"athlete": list("ABCDEF"), "capacity": [40.0, 44, 47, 51, 55, 58]})
    >>> fitness_and_activity(rounds, fit).activity_reading
    'higher'
    """
    both = rounds.dropna(subset=["active_share", outcome]).merge(
        capacity[["athlete", "capacity"]].dropna(), on="athlete", how="inner"
    )
    both = both[both["round_no"] > 0].reset_index(drop=True)
    if both["athlete"].nunique() < 4:
        raise KitError(
            f"{both['athlete'].nunique()} athletes have a capacity, rated rounds and {outcome}: at least 4 are needed."
        )
    source = capacity if "uses_heart_rate" in capacity else "capacity"
    data = both if isinstance(source, str) else both.drop(columns="capacity")
    total = fit_capacity(data, source, outcome)
    narrow = fit_capacity(data, source, outcome, level=0.90)
    activity = fit_capacity(data, source, "active_share")
    activity_narrow = fit_capacity(data, source, "active_share", level=0.90)
    try:
        direct = fit_capacity(data, source, outcome, covariates=("active_share",))
    except KitError:
        direct = None
    means = both.groupby("athlete", as_index=False).agg(
        capacity=("capacity", "first"), active_share=("active_share", "mean"), outcome=(outcome, "mean"),
        n_rounds=("round_no", "size"),
    )  # fmt: skip
    return ActivityAnswer(
        outcome=outcome, activity=activity, correlation=correlate(means, "capacity", "active_share", seed=seed),
        total=total, at_equal_activity=direct,
        activity_reading=_read(activity, activity_narrow, contrast_step, smallest_share),
        outcome_reading=_read(total, narrow, contrast_step, smallest_effect), contrast_step=contrast_step,
        smallest_effect=smallest_effect, smallest_share=smallest_share, table=means, n_athletes=len(means),
        n_rounds=len(both),
    )  # fmt: skip


def _read(fit: CapacityFit, narrow: CapacityFit, step: float, smallest: float) -> str:
    """What an athlete a step fitter shows: same first, since a small difference can be sure and still not matter."""
    if np.isfinite(narrow.ci_low) and max(abs(narrow.ci_low), abs(narrow.ci_high)) * step < smallest:
        return READINGS[2]
    if fit.ci_low > 0:
        return READINGS[0]
    if fit.ci_high < 0:
        return READINGS[1]
    return READINGS[3]


DRIFT_COLUMNS = ("measure", "role", "expected", *(c for c in ESTIMATE_COLUMNS if c != "p_adjusted"))
OVER_ROUNDS = "rise from round to round"
CHECK = "rounds differ in the slope on capacity"
IN_A_ROUND = "drift within a round"
RECOVERY = "heart rate recovered in the first minute of rest"


def drift_and_recovery(
    data: pd.DataFrame, capacity: str | pd.DataFrame, outcome: str, *, level: float = 0.95
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
        common = slope_of(*by_cell.groupby("cell")[["time", "effect"]].mean().to_numpy().T)
    lines = []
    for athlete, part in table.groupby("athlete", sort=False):
        if varies(part["time"]):
            slope = slope_of(part["time"].to_numpy(), part["level"].to_numpy()) + common
            lines.append((athlete, part["capacity"].iloc[0], slope, len(part)))
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
        "estimate": slope, "standard_error": error, "ci_low": low, "ci_high": high, "statistic": statistic,
        "df": float(df), "p": float(2 * stdtr(df, -abs(statistic))), "n_athletes": n,
    }  # fmt: skip


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
