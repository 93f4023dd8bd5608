"""Protocols side by side: another work or rest time, sport or sampling makes another study."""

from __future__ import annotations

import math

import pandas as pd

ASPECTS = ("sport", "sex", "rounds", "work_s", "rest_s", "sample_site", "sample_delay_s")
"""What is compared, in this order."""
NEAR = {"sample_delay_s": 15.0}
"""Differences up to this count as the same (our proposal; lactate moves little within a quarter of a minute)."""


def compare_protocols(
    protocols: pd.DataFrame,
    protocol,
    *,
    sessions=None,
    sport: str = "",
    sex: str = "",
    sample_delay_s: float = math.nan,
) -> pd.DataFrame:
    """Set the protocols side by side, since another rest makes another study.

    Parameters
    ----------
    protocols : DataFrame
        Of the published findings (see Findings.protocols).
    protocol : Protocol
        Ours; where groups differ, each of their values is listed.
    sessions : DataFrame, optional
        For the sampling site.
    sport, sex : str
        Ours.
    sample_delay_s : float
        Ours, in seconds after the round (median).

    Returns
    -------
    pandas.DataFrame
        finding, aspect, published, ours, same ("yes", "no", "not stated").

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> theirs = pd.DataFrame([{"finding": "a", "work_s": 120.0}])
    >>> compare_protocols(theirs, SimpleNamespace(rounds=4, work_s=300.0, rest_s=60.0)).query("aspect == 'work_s'")["same"].item()
    'no'
    """
    site = ""
    if sessions is not None and "sample_site" in sessions:
        site = ", ".join(dict.fromkeys(s for s in sessions["sample_site"] if s))
    groups = list(getattr(protocol, "groups", None) or {})
    each = [protocol.for_group(g) for g in groups] or [protocol]
    ours = {"sport": sport, "sex": sex, "sample_site": site, "sample_delay_s": sample_delay_s}
    ours |= {a: _one_or_all([getattr(p, a) for p in each]) for a in ("rounds", "work_s", "rest_s")}
    lines = []
    for line in protocols.to_dict("records"):
        for aspect in ASPECTS:
            theirs, mine = line.get(aspect, ""), ours[aspect]
            lines.append([line["finding"], aspect, theirs, mine, _same(aspect, theirs, mine)])
    return pd.DataFrame(lines, columns=["finding", "aspect", "published", "ours", "same"])


def _one_or_all(values: list):
    different = list(dict.fromkeys(values))
    return different[0] if len(different) == 1 else " or ".join(f"{v:g}" for v in different)


def _same(aspect: str, theirs, mine) -> str:
    if any(v == "" or (isinstance(v, float) and math.isnan(v)) for v in (theirs, mine)):
        return "not stated"
    try:
        return "yes" if abs(float(theirs) - float(mine)) <= NEAR.get(aspect, 0.0) else "no"
    except ValueError:
        plain = (" ".join(str(v).casefold().replace("_", " ").split()) for v in (theirs, mine))
        return "yes" if len(set(plain)) == 1 else "no"
