"""Which aerobic test of an athlete counts: the nearest before the primary session, within a limit of days."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from ..basics import Result, left_out_table, plural
from .tables import need_columns

WITHIN_DAYS = 42
"""Our proposal: a test counts for a session where at most six weeks lie between them."""


@dataclass(frozen=True)
class ChosenTests(Result):
    """Which test of each athlete counts.

    Parameters
    ----------
    used : DataFrame
        Rows of aerobic_tests in order of preference, with `days_before_session` (negative where the test came after it)
        and `n_tests` of the athlete.
    left_out : DataFrame
        Tests outside the limit of days.
    rule : str
        In words.
    """

    used: pd.DataFrame
    left_out: pd.DataFrame
    rule: str


def choose_tests(
    aerobic_tests: pd.DataFrame,
    *,
    sessions: pd.DataFrame | None = None,
    primary_session: str | None = None,
    within_days: int = WITHIN_DAYS,
) -> ChosenTests:
    """Choose which test of each athlete counts: the nearest before the primary session, within a limit of days.

    Parameters
    ----------
    aerobic_tests : DataFrame
        athlete, date.
    sessions : DataFrame, optional
        session, date.
    primary_session : str, optional
        Default the first session.
    within_days : int
        Default 42, our proposal.

    Returns
    -------
    ChosenTests

    Notes
    -----
    A test after the session counts only where no test before it does, within the same limit. Without a date of session or
    test the limit cannot be applied; then the latest row of the athlete comes first.

    Examples
    --------
    >>> tests = pd.DataFrame({"athlete": ["A", "A", "A"], "date": ["2026-03-01", "2026-04-20", "2026-05-10"]})
    >>> evening = pd.DataFrame({"session": ["1"], "date": ["2026-05-01"]})
    >>> chosen = choose_tests(tests, sessions=evening)
    >>> chosen.used["date"].tolist()[0], len(chosen.left_out)
    ('2026-04-20', 1)
    """
    need_columns(aerobic_tests, ["athlete"], what="aerobic_tests")
    table = aerobic_tests.reset_index(drop=True).copy()
    table["athlete"] = table["athlete"].astype(str)
    table["n_tests"] = table.groupby("athlete")["athlete"].transform("size")
    when = _session_date(sessions, primary_session)
    dates = (
        pd.to_datetime(table["date"], errors="coerce")
        if "date" in table.columns
        else pd.Series(pd.NaT, index=table.index)
    )
    table["days_before_session"] = (when - dates).dt.total_seconds() / 86400 if when is not None else math.nan
    days = table["days_before_session"].astype(float)
    far = days.abs() > within_days
    left = [
        left_test(
            row,
            f"{plural(round(abs(row['days_before_session'])), 'day')} from the session; at most {within_days} count",
        )
        for _, row in table[far].iterrows()
    ]
    ranked = table.assign(
        _after=(days < 0).astype(int), _far=days.abs().fillna(within_days + 1), _row=-table.index
    )
    used = ranked[~far].sort_values(["athlete", "_after", "_far", "_row"], kind="stable")
    rule = (
        f"the test nearest before the primary session, within {within_days} days (proposal of the kit)"
        if when is not None
        else "the date of the primary session is not known, so the latest test of each athlete was taken"
    )
    return ChosenTests(
        used.drop(columns=["_after", "_far", "_row"]).reset_index(drop=True), left_out_table(left), rule
    )


def left_test(row: pd.Series, reason: str) -> dict:
    """Describe a test that was not used."""
    known = {c: row[c] for c in ("row", "athlete") if c in row.index}
    return {"file": "aerobic_tests", **known, "measure": str(row.get("test", "")), "reason": reason}


def _session_date(sessions: pd.DataFrame | None, primary_session: str | None):
    if sessions is None or not len(sessions) or "date" not in sessions.columns:
        return None
    chosen = sessions
    if primary_session is not None and "session" in sessions.columns:
        chosen = sessions[sessions["session"].astype(str) == str(primary_session)]
    dates = pd.to_datetime(chosen["date"], errors="coerce").dropna()
    return dates.iloc[0] if len(dates) else None
