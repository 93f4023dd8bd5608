"""What paper and supplement show of published findings: side by side, evidence, round by round, protocols."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_ci, format_number, format_p, format_percent, upper_first
from ...study import OUTCOMES
from ..document import Table
from ..tables import DASH, p_cell, with_range
from .tables import tabulate_profiles, tabulate_protocols, tabulate_steps

ONE_IN = 10_000
"""Bayes factors beyond this, or below one in this, are written as a bound."""


def comparison_table(answer) -> Table | None:
    """Published correlations beside ours."""
    from .sentences import verdict_of

    if not answer or not answer.correlations:
        return None
    shown = pd.DataFrame(
        {
            "Finding": c.finding,
            "Outcome": _label(c.outcome),
            "Published r (n)": f"{format_number(c.r, 2)} ({c.n})",
            "Our r (n)": f"{format_number(c.r_new, 2)} ({c.n_new})",
            "Expected of ours": format_ci(c.prediction_low, c.prediction_high, 2),
            "p of the difference": p_cell(c.p_difference),
            "Reading": verdict_of(c),
        }
        for c in answer.correlations
    )
    return Table(
        "comparison",
        "Published correlations of fitness with the response, and ours.",
        shown,
        note="Expected of ours: 95\N{NO-BREAK SPACE}% prediction interval of a study of our size, if the published one is right.",
        numbers=answer.table,
    )


def _label(outcome: str) -> str:
    return OUTCOMES[outcome].label if outcome in OUTCOMES else outcome


def evidence_table(answer) -> Table | None:
    """How much each published correlation and ours differ, and what both show together."""
    if not answer or not answer.correlations:
        return None
    lines = [
        {
            "Finding": c.finding,
            "Cohen's q": with_range(c.q_cohen, c.q_ci_low, c.q_ci_high, 2, sign=True),
            "Q(1)": format_number(c.q_cochran, 2),
            "p": p_cell(c.p_difference),
            "I²": format_percent(c.i2),
            "Detectable r": DASH
            if math.isnan(c.smallest_detectable_r)
            else f"{format_number(c.smallest_detectable_r, 2)} (p {format_p(c.p_undetectable)})",
            "Bayes factor": bayes_words(c.bayes_factor),
            "Both together": with_range(c.combined, c.combined_low, c.combined_high, 2),
        }
        for c in answer.correlations
    ]
    return Table(
        "evidence",
        "Published correlations and ours: difference, detectability, evidence, and both together.",
        pd.DataFrame(lines),
        note="Cohen's q: difference on Fisher's z, with its 95\N{NO-BREAK SPACE}% interval. Detectable r: what the earlier study "
        "had 33\N{NO-BREAK SPACE}% power to detect; p that ours is smaller (Simonsohn, "
        "2015). Bayes factor: our data under the earlier study's "
        "posterior against no correlation. Both together: fixed effect.",
        numbers=answer.table,
    )


def bayes_words(value: float) -> str:
    """Write a Bayes factor; below 1 also as "1 in"."""
    bound = f"{ONE_IN:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    if value >= ONE_IN:
        return f"above {bound}"
    if value >= 1:
        return format_number(value, 1 if value >= 10 else 2)
    if value <= 1 / ONE_IN:
        return f"below 1 in {bound}"
    return f"{format_number(value, 3 if value < 0.1 else 2)} (1 in {format_number(1 / value, 1)})"


def profiles_table(answer) -> Table | None:
    """Published round means and ours."""
    shown = tabulate_profiles(answer) if answer else None
    if shown is None:
        return None
    return Table(
        "published_rounds",
        "Published round means beside ours.",
        _named(shown),
        note="Ours minus published with Welch's 95\N{NO-BREAK SPACE}% interval; g: Hedges' g.",
        numbers=answer.profiles,
    )


def steps_table(answer) -> Table | None:
    """Published changes from round to round and ours."""
    shown = tabulate_steps(answer) if answer else None
    if shown is None:
        return None
    return Table(
        "published_steps",
        "Published changes from round to round beside ours.",
        _named(shown),
        note="With 95\N{NO-BREAK SPACE}% intervals. For the published ones the correlation between rounds was taken from our "
        "athletes, since papers do not print it.",
        numbers=answer.steps,
    )


def protocols_table(answer) -> Table | None:
    """The protocols of the published findings beside ours."""
    wide = tabulate_protocols(answer) if answer else None
    if wide is None or wide.empty:
        return None
    shown = wide.astype(str).rename(columns={"aspect": "Aspect", "ours": "Ours"})
    return Table(
        "protocols", "Protocols of the published findings beside ours.", shown, numbers=answer.protocols
    )


def _named(shown: pd.DataFrame) -> pd.DataFrame:
    """Column heads with a capital, and a finding and an outcome named once."""
    shown = shown.rename(columns=upper_first)
    repeated = (shown[["Finding", "Outcome"]] == shown[["Finding", "Outcome"]].shift()).all(axis=1)
    same = shown["Finding"] == shown["Finding"].shift()
    return shown.assign(
        Finding=shown["Finding"].where(~same, ""), Outcome=shown["Outcome"].where(~repeated, "")
    )
