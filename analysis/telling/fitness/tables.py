"""Tables to read on screen: how fitness was measured, what the guards say, correlations side by side."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_ci, format_number, if_answered, upper_first
from ...study import known_outcome
from ...study.outcomes import digits_of
from ..tables import DASH, number_cell, p_cell, range_cell
from ..words import fine_digits, percent_interval, step_words, with_minus
from .words import COVARIATES

KINDS = {"prediction": "the equation's (prediction)", "retest": "from test to retest", "": "not known"}


@if_answered()
def table_tests(capacity):
    """Show how fitness was measured, one line per test."""
    from ...capacity import describe_tests

    lines = []
    for row in describe_tests(capacity).to_dict("records"):
        spread = "" if math.isnan(row["sd"]) else f" (SD {format_number(row['sd'], 1)})"
        known = not math.isnan(row["standard_error"])
        lines.append(
            {
                "Test": row["title"],
                "Athletes": str(row["n_athletes"]),
                "Mean": f"{format_number(row['mean'], 1, unit=row['unit'])}{spread}",
                "Error": format_number(row["standard_error"], 1, unit=row["unit"])
                if known
                else "not published",
                "Kind of error": KINDS.get(row["error_kind"], row["error_kind"]),
                "Reads heart rate": "yes" if row["uses_heart_rate"] else "no",
                "Source": row["source"],
            }
        )
    return pd.DataFrame(lines)


def table_guards(answer):
    """Show what was checked before anything was computed."""
    words = {"passed": "in order", "applied": "set aside", "warned": "take care", "refused": "refused"}
    guards = answer.guards
    return pd.DataFrame(
        {
            "Checked": [upper_first(g) for g in guards["guard"]],
            "Result": [words.get(s, s) for s in guards["status"]],
            "What it means": [upper_first(t) for t in guards["text"]],
        }
    )


def table_slopes(answer) -> pd.DataFrame:
    """Show the effect as planned, unadjusted, and within sexes and groups."""
    known, step = known_outcome(answer.outcome), answer.contrast_step
    digits, level = digits_of(known), percent_interval(answer.planned.level)
    change = f"Change for {step_words(step, answer.capacity_unit)} more" + (
        f" ({known.unit})" if known.unit else ""
    )
    lines = []
    for row in answer.slopes.to_dict("records"):
        fitted = not math.isnan(row.get("estimate", math.nan))
        low, high = step * row["ci_low"], step * row["ci_high"]
        if row["analysis"] == "planned":  # holds wherever readings off the scale may lie
            low, high = answer.contrast_ci_low, answer.contrast_ci_high
        lines.append(
            {
                "Analysis": f"{row['analysis']}: {row['level']}" if row["level"] else row["analysis"],
                "Athletes": str(int(row["n_athletes"])),
                change: format_number(step * row["estimate"], digits) if fitted else "too few athletes",
                level: format_ci(low, high, digits) if fitted else DASH,
                "p": p_cell(row["p"]) if fitted else DASH,
                "Adjusted for": _words(row["adjusted_for"]) or "nothing",
            }
        )
    return pd.DataFrame(lines)


def _words(columns: str) -> str:
    return ", ".join(COVARIATES.get(c, c.replace("_", " ")) for c in columns.split(", ") if c)


def table_correlations(answer) -> pd.DataFrame:
    """Show every correlation over athletes side by side."""
    level = percent_interval(answer.planned.level)
    lines = []
    for row in answer.correlations.to_dict("records"):
        bayes = not math.isnan(row["bayes_factor"])
        lines.append(
            {
                "Correlation over athletes": row["analysis"],
                "Correlation": number_cell(row["estimate"], 2),
                level: range_cell(row["ci_low"], row["ci_high"], 2),
                "p": p_cell(row["p"]),
                "Bayes factor": number_cell(row["bayes_factor"], 2),
                "How": f"{row['method']}; prior {with_minus(row['prior'])}" if bayes else row["method"],
            }
        )
    return pd.DataFrame(lines)


def table_drift(answer) -> pd.DataFrame:
    """Show whether fitter athletes rise less over the rounds, drift less within them and recover more."""
    step, level = answer.contrast_step, percent_interval(answer.planned.level)
    change = f"Change for {step_words(step, answer.capacity_unit)} more"
    lines = []
    for row in answer.drift.to_dict("records"):
        fitted = not math.isnan(row["estimate"])
        low, high = step * row["ci_low"], step * row["ci_high"]
        digits = fine_digits(low, high) if fitted else 2
        lines.append(
            {
                "Measure": row["measure"],
                "Role": row["role"],
                "Expected in fitter athletes": row["expected"] or DASH,
                change: number_cell(step * row["estimate"], digits),
                level: range_cell(low, high, digits),
                "p": p_cell(row["p"]),
                "Athletes": str(int(row["n_athletes"])),
            }
        )
    return pd.DataFrame(lines)
