"""`find_rounds`: where the rounds are in a trace when nobody logged the clock."""

from __future__ import annotations

import pandas as pd


def find_rounds(samples: pd.DataFrame, protocol, *, start_clock: float | None = None) -> pd.DataFrame:
    """Place the rounds of a protocol in a trace.

    Parameters
    ----------
    samples : DataFrame
        `elapsed_s` and `hr_bpm`; a `flag` column is honoured.
    protocol : Protocol
        With `rounds`, `work_s`, `rest_s`.
    start_clock : float, optional
        Elapsed seconds of the start of round 1 where it is known; otherwise it is found from the trace.

    Returns
    -------
    DataFrame
        round_no, start_s, end_s, found_by, confidence (0 to 1).
    """
    raise NotImplementedError
