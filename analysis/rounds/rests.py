"""Rounds sat out change the rest before the next one: shown beside every answer."""

from __future__ import annotations

import numpy as np
import pandas as pd

from .prepare import check_columns, label_of, order_rounds

COLUMNS = ("athlete", "round_no", "took_part", "rest_before_s", "what")
AFTER = "first round after sitting out"


def rests_of(data: pd.DataFrame) -> pd.DataFrame:
    """List rounds sat out and the rounds after them, whose rest before was longer.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, `round_no`, and `took_part` where known; `rest_before_s` (in seconds) is shown where present.

    Returns
    -------
    DataFrame
        athlete, round_no, took_part, rest_before_s, what ("sat out", "left", "first round after sitting out").

    Examples
    --------
    >>> data = pd.DataFrame({"athlete": "A", "round_no": [1, 2, 3], "took_part": ["yes", "sat_out", "yes"]})
    >>> rests_of(data)["what"].tolist()
    ['sat out', 'first round after sitting out']
    """
    check_columns(data, ("athlete", "round_no"))
    lines = []
    if "took_part" in data:
        ordered = data.assign(_place=order_rounds(data["round_no"])[1], athlete=data["athlete"].astype(str))
        ordered = ordered[ordered["round_no"].map(label_of) != "0"].sort_values("_place", kind="stable")
        for _, part in ordered.groupby("athlete", sort=True):
            before = ""
            for row in part.to_dict("records"):
                now = str(row["took_part"])
                what = {"sat_out": "sat out", "left": "left"}.get(now, AFTER if before == "sat_out" else "")
                if what:
                    lines.append(
                        (row["athlete"], row["round_no"], now, row.get("rest_before_s", np.nan), what)
                    )
                before = now
    return pd.DataFrame(lines, columns=list(COLUMNS))
