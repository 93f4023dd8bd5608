"""The twelve invented athletes of check value 2."""

import pandas as pd

TWELVE = pd.DataFrame(
    {
        "athlete": [f"T{i}" for i in range(1, 7)] + [f"C{i}" for i in range(1, 7)],
        "pre": [44, 47, 50, 52, 55, 58, 45, 46, 51, 53, 54, 60],
        "post": [49, 50, 55, 54, 60, 61, 46, 45, 53, 52, 56, 60],
        "arm": ["trained"] * 6 + ["control"] * 6,
        "pair": [f"P{i}" for i in range(1, 7)] * 2,
    }
)
ASKED = {"outcome": "post", "baseline": "pre", "group": "arm", "reference": "control"}


def as_values(table=TWELVE):
    """The same athletes as one row per athlete and occasion."""
    return pd.concat(
        [
            pd.DataFrame({"athlete": table["athlete"], "phase": p, "occasion": 1, "value": table[p].astype(float)})
            for p in ("pre", "post")
        ],
        ignore_index=True,
    )
