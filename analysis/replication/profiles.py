"""Round means beside published ones: raw and standardised differences, and changes from round to round."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd

PROFILE_COLUMNS = [
    "finding", "outcome", "round_no", "published", "published_sd", "n_athletes", "ours", "ours_sd", "n_athletes_ours", "estimate",
    "standard_error", "df", "ci_low", "ci_high", "standardised", "standardised_low", "standardised_high", "source",
]  # fmt: skip
STEP_COLUMNS = [
    "finding",
    "outcome",
    "contrast",
    "published",
    "estimate",
    "ci_low",
    "ci_high",
    "inside",
    "source",
]


def round_means(answer) -> pd.DataFrame:
    """Return our means per round: round_no, mean, sd, n.

    Parameters
    ----------
    answer : RoundsAnswer
        Its `rows` hold athlete, round_no, value and tested.

    Returns
    -------
    pandas.DataFrame

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> rows = pd.DataFrame({"athlete": ["a", "b"], "round_no": [1, 1], "value": [150.0, 154.0], "tested": True})
    >>> round_means(SimpleNamespace(rows=rows))["mean"].item()
    152.0
    """
    rows = answer.rows[answer.rows["tested"].astype(bool)].dropna(subset=["value"])
    means = (
        rows.groupby("round_no", observed=True)["value"].agg(mean="mean", sd="std", n="count").reset_index()
    )
    means["round_no"] = pd.to_numeric(means["round_no"].astype(str), errors="coerce")
    return means.dropna(subset=["round_no"])


def compare_profiles(means: pd.DataFrame, rounds: Mapping) -> tuple[pd.DataFrame, list[dict]]:
    """Compare our round means with published ones, round by round.

    Parameters
    ----------
    means : DataFrame
        Findings.means.
    rounds : mapping of str to RoundsAnswer
        Ours, by outcome.

    Returns
    -------
    table : pandas.DataFrame
        Ours minus published, Welch interval; Hedges' g with its interval.
    missing : list of dict
        Published rounds without a counterpart.

    Notes
    -----
    g = J (ours − published) / pooled SD with J = 1 − 3 / (4 df − 1); its interval from the large-sample variance
    (1/n₁ + 1/n₂ + g² / (2 (n₁ + n₂))), which is rough at club size.

    References
    ----------
    Welch 1947, Biometrika 34:28; Hedges & Olkin 1985.

    Examples
    --------
    >>> compare_profiles(pd.DataFrame(), {})[0].empty
    True
    """
    from scipy.stats import t as student

    lines, missing = [], []
    for line in means.to_dict("records"):
        answer, number = rounds.get(line["outcome"]), line["round_no"]
        ours = round_means(answer) if answer else pd.DataFrame(columns=["round_no"])
        ours = ours[ours["round_no"] == number]
        if ours.empty:
            missing.append({"measure": line["outcome"], "round_no": number if number == number else "",
                            "reason": f"{line['finding']}: we have no mean of {line['outcome']} for this round"})  # fmt: skip
            continue
        mean, sd, n = (ours.iloc[0][k] for k in ("mean", "sd", "n"))
        difference = mean - line["mean"]
        parts = (sd**2 / n, line["sd"] ** 2 / line["n_athletes"])
        se = math.sqrt(sum(parts))
        sizes = (n, line["n_athletes"])
        usable = se > 0 and all(s > 1 for s in sizes)
        df = (
            sum(parts) ** 2 / sum(p**2 / (s - 1) for p, s in zip(parts, sizes, strict=True))
            if usable
            else math.nan
        )
        half = float(student.ppf(0.975, df)) * se if usable else math.nan
        g, g_half = _hedges(difference, (sd, line["sd"]), sizes) if usable else (math.nan, math.nan)
        values = [
            line["finding"], line["outcome"], number, line["mean"], line["sd"], line["n_athletes"], mean, sd, int(n), difference,
            se, df, difference - half, difference + half, g, g - g_half, g + g_half, line["source"],
        ]  # fmt: skip
        lines.append(dict(zip(PROFILE_COLUMNS, values, strict=True)))
    return pd.DataFrame(lines, columns=PROFILE_COLUMNS), missing


def compare_steps(means: pd.DataFrame, rounds: Mapping) -> pd.DataFrame:
    """Hold the published change of means from round to round against our interval of that change.

    Parameters
    ----------
    means : DataFrame
        Findings.means.
    rounds : mapping of str to RoundsAnswer
        Ours, by outcome.

    Returns
    -------
    pandas.DataFrame
        finding, outcome, contrast, published, estimate, ci_low, ci_high, inside, source. The published change has no
        interval of its own: papers do not print the correlation between rounds that it needs.

    Examples
    --------
    >>> compare_steps(pd.DataFrame(), {}).empty
    True
    """
    lines = []
    if means.empty:
        return pd.DataFrame(columns=STEP_COLUMNS)
    for (finding, outcome), group in means.dropna(subset=["round_no"]).groupby(
        ["finding", "outcome"], sort=False
    ):
        answer = rounds.get(outcome)
        if not answer:
            continue
        published = group.set_index("round_no")["mean"].sort_index()
        ours = answer.comparison.contrasts
        for earlier, later in zip(published.index[:-1], published.index[1:], strict=True):
            pair = ours[
                (ours["earlier"].astype(str) == f"{earlier:g}") & (ours["later"].astype(str) == f"{later:g}")
            ]
            if pair.empty:
                continue
            one, change = pair.iloc[0], float(published[later] - published[earlier])
            lines.append([finding, outcome, f"{later:g} - {earlier:g}", change, one["estimate"], one["ci_low"], one["ci_high"],
                          bool(one["ci_low"] <= change <= one["ci_high"]), group["source"].iloc[0]])  # fmt: skip
    return pd.DataFrame(lines, columns=STEP_COLUMNS)


def _hedges(difference, sds, sizes) -> tuple[float, float]:
    df = sum(sizes) - 2
    pooled = math.sqrt(sum((n - 1) * sd**2 for sd, n in zip(sds, sizes, strict=True)) / df)
    g = (1 - 3 / (4 * df - 1)) * difference / pooled
    return g, 1.959963985 * float(np.sqrt(sum(1 / n for n in sizes) + g**2 / (2 * sum(sizes))))
