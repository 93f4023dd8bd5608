"""Tables about fitness: how it was measured, correlations, subgroups, the test's error, influence, other analyses, drift."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_ci, format_number, upper_first
from ...capacity.adjustment import covariate_words
from ...capacity.measure import describe_tests
from ...study.outcomes import digits_of
from ..words import CI, DASH, fine_digits, number_cell, outcome_table, p_cell, range_cell, step_words, with_minus
from .sentences import measure_words

KINDS = {"prediction": "the equation's (prediction)", "retest": "from test to retest", "": "not known"}


def table_tests(capacity):
    """Show how fitness was measured, one line per test."""
    lines = []
    for row in describe_tests(capacity).to_dict("records"):
        spread = "" if math.isnan(row["sd"]) else f" (SD {format_number(row['sd'], 1)})"
        known = not math.isnan(row["standard_error"])
        lines.append(
            {
                "Test": row["title"],
                "Athletes": str(row["n_athletes"]),
                "Mean": f"{format_number(row['mean'], 1, unit=row['unit'])}{spread}",
                "Error": format_number(row["standard_error"], 1, unit=row["unit"]) if known else "not published",
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


SEXES = {"F": "women", "M": "men"}

VERDICT_WORDS = {
    "negligible": "too small to matter",
    "supported": "as expected",
    "opposite": "against what was expected",
    "too imprecise": "not shown",
}
"""Verdicts on fitness, as a table prints them."""


def _apart(answers: dict) -> str:
    """How far apart in capacity the athletes are who are compared."""
    first = next(iter(answers.values()))
    return step_words(first.contrast_step, first.capacity_unit)


def _pearson(answer) -> dict:
    found = answer.correlations[answer.correlations["analysis"] == "Pearson"]
    nothing = dict.fromkeys(("estimate", "ci_low", "ci_high", "p"), math.nan)
    return found.iloc[0].to_dict() if len(found) else nothing


def _capacity_numbers(answer) -> pd.DataFrame:
    r = _pearson(answer)
    line = (
        {"contrast": answer.contrast, "ci_low": answer.contrast_ci_low, "ci_high": answer.contrast_ci_high}
        | {"p": answer.planned.p, "df": answer.planned.df, "n_athletes": answer.n_athletes}
        | {"adjusted_for": " + ".join(answer.adjusted_for), "reading": answer.verdict}
        | {"r": r["estimate"], "r_ci_low": r["ci_low"], "r_ci_high": r["ci_high"], "r_p": r["p"]}
    )
    return pd.DataFrame([line])


@outcome_table(
    "capacity",
    lambda found: f"Aerobic capacity and the response to sparring: difference between athletes {_apart(found)} apart.",
    note="Difference: fitter minus less fit, from the planned model. r: Pearson, over athletes, not adjusted.",
    numbers=_capacity_numbers,
)
def capacity_table(answer, known) -> list[dict]:
    """The planned effect of aerobic capacity on every outcome, and the correlation over athletes."""
    digits, r = digits_of(known), _pearson(answer)
    line = {
        "n": str(answer.n_athletes),
        "Difference": format_number(answer.contrast, digits, sign=True),
        CI: format_ci(answer.contrast_ci_low, answer.contrast_ci_high, digits),
        "p": p_cell(answer.planned.p),
        "Held equal": covariate_words(answer.adjusted_for) or "nothing",
        "r": format_number(r["estimate"], 2),
        f"{CI} of r": format_ci(r["ci_low"], r["ci_high"], 2),
        "Reading": VERDICT_WORDS[answer.verdict],
    }
    return [line]


def _note_on_correlations(answers: dict) -> str:
    tables = [a.correlations for a in answers.values()]
    note = "Over athletes, means balanced for missed rounds, not adjusted except the partial one."
    if any(table["bayes_factor"].notna().any() for table in tables):
        note += " Bayes factor: for a correlation against none (Ly, Verhagen and Wagenmakers, 2016)."
    if any(table["method"].str.contains("Bonett").any() for table in tables):
        note += " Spearman's interval: Bonett and Wright (2000)."
    return note


@outcome_table(
    "correlations",
    "Correlations of aerobic capacity with the response.",
    note=_note_on_correlations,
    numbers=lambda a: a.correlations,
)
def correlations_table(answer, known) -> list[dict]:
    """Every correlation over athletes."""
    return [
        {
            "Correlation": row["analysis"],
            "r": number_cell(row["estimate"], 2) if math.isnan(row["bayes_factor"]) else DASH,
            CI: range_cell(row["ci_low"], row["ci_high"], 2),
            "p": p_cell(row["p"]),
            "Bayes factor": number_cell(row["bayes_factor"], 2),
            "n": str(int(row["n_athletes"])),
            "How": row["method"] if math.isnan(row["bayes_factor"]) else f"prior {with_minus(row['prior'])}",
        }
        for row in answer.correlations.to_dict("records")
    ]


SLOPES_NOTE = (
    "Subgroups are described, not compared by a test. The second opinion by another library (statsmodels) is ordinary least "
    "squares on the athletes' means, with HC3 standard errors (MacKinnon and White, 1985)."
)


def _slope_numbers(answer) -> pd.DataFrame:
    parts = [answer.slopes, *(t for t in (answer.delay, answer.activity) if len(t))]
    return _of_contrast(pd.concat(parts, ignore_index=True), answer)


def _of_contrast(table: pd.DataFrame, answer) -> pd.DataFrame:
    """Slopes as differences between athletes so far apart as is told."""
    ends = ("estimate", "ci_low", "ci_high")
    return table if table.empty else table.assign(**{c: answer.contrast_step * table[c] for c in ends})


@outcome_table(
    "slopes",
    lambda answers: f"Difference between athletes {_apart(answers)} apart: as planned, unadjusted, in subgroups.",
    note=SLOPES_NOTE,
    numbers=_slope_numbers,
)
def slopes_table(answer, known) -> list[dict]:
    """The effect as planned, unadjusted, in subgroups, and at equal delay and activity."""
    lines = [_slope(row, answer, known, _whose(row)) for row in answer.slopes.to_dict("records")]
    for table in (answer.delay, answer.activity):
        for row in table.to_dict("records"):
            if str(row["analysis"]).startswith("slope") and math.isfinite(row["estimate"]):
                lines.append(_slope(row, answer, known, f"{row['analysis'].removeprefix('slope ')} too"))
    return lines


def _whose(row: dict) -> str:
    kind = row["analysis"].removeprefix("within ")
    if kind == row["analysis"]:
        return kind
    if row["level"] == "all, held equal":
        return f"all, at equal {kind}"
    return SEXES.get(row["level"], row["level"]) if kind == "sex" else f"{kind} {row['level']}"


def _slope(row: dict, answer, known, name: str) -> dict:
    step, digits = answer.contrast_step, digits_of(known)
    fitted = not math.isnan(row.get("estimate", math.nan))
    ends = (answer.contrast_ci_low, answer.contrast_ci_high) if row["analysis"] == "planned" else ()
    low, high = ends or (step * row["ci_low"], step * row["ci_high"])
    adjusted = str(row.get("adjusted_for") or "")
    return {
        "Analysis": name,
        "n": str(int(row["n_athletes"])),
        "Difference": format_number(step * row["estimate"], digits, sign=True) if fitted else "too few",
        CI: format_ci(low, high, digits) if fitted else DASH,
        "p": p_cell(row["p"]) if fitted else DASH,
        "Held equal": ", ".join(covariate_words([c]) for c in adjusted.split(", ") if c and c != "nan") or DASH,
    }


@outcome_table(
    "test_error",
    "What the error of the fitness test, and a narrow range of fitness, do to the results.",
    note="Estimates, not tests. What would lie beyond what a correlation can be, or rests on a test whose error is as large "
    "as the differences between athletes, cannot be corrected.",
    numbers=lambda a: a.errors,
)
def error_table(answer, known) -> list[dict]:
    """What the error of the fitness test does to the correlation and to the effect."""
    lines = []
    for row in answer.errors.to_dict("records"):
        effect = row["quantity"] == "effect"
        digits = digits_of(known) if effect else 2
        scale = answer.contrast_step / answer.capacity_step if effect else 1.0
        estimate, low, high = (scale * row.get(c, math.nan) for c in ("estimate", "ci_low", "ci_high"))
        sense, error = bool(row.get("corrected", True)), row.get("error_sd", math.nan)
        spread = format_number(row["capacity_sd"], 1)
        if not math.isnan(row.get("reference_sd", math.nan)):
            spread += f" against {format_number(row['reference_sd'], 1)}"
        lines.append(
            {
                "Quantity": row["quantity"],
                "Error of the test": number_cell(error, 1),
                "SD of capacity": spread,
                "As measured": format_number(scale * row["observed"], digits, sign=effect),
                "Corrected": format_number(estimate, digits, sign=effect) if sense else "cannot be corrected",
                CI: range_cell(low, high, digits) if sense else DASH,
                "n": str(int(row["n_athletes"])),
                "How": row["method"].split(";")[0],
            }
        )
    return lines


def _robust_numbers(answer) -> pd.DataFrame:
    scale = answer.contrast_step / answer.capacity_step
    effects = scale * answer.influence["planned_effect"]
    line = {
        "left_out_low": effects.min(),
        "left_out_high": effects.max(),
        "left_out_cases": len(answer.influence),
        "left_out_changed": int((answer.influence["verdict"] != answer.verdict).sum()),
        "largest_cooks_distance": answer.influence["cooks_distance"].max(),
    }
    chart = answer.specifications
    if chart is not None:
        size, count = answer.smallest_effect, chart.n_specifications
        line |= {
            "analyses": count,
            "analyses_low": size * chart.smallest,
            "analyses_high": size * chart.largest,
            "analyses_median": size * chart.median,
            "same_sign": round(count * chart.share_same_sign),
            "shown": round(count * chart.share_excluding_zero),
            "contrary": round(count * chart.share_opposite),
        }
    return pd.DataFrame([line])


@outcome_table(
    "robustness",
    lambda answers: (
        "How far one athlete, and other choices of analysis, move the difference between athletes "
        f"{_apart(answers)} apart."
    ),
    note="Other analyses share their data and are no independent tests. Cook's distance above 1: one athlete carries much "
    "of the result. In what is passed on, results without one athlete are rounded as values of athletes are.",
    numbers=_robust_numbers,
)
def robustness_table(answer, known) -> list[dict]:
    """How far one athlete, and other choices, move the result."""
    digits, found = digits_of(known), _robust_numbers(answer).iloc[0]
    rows = []
    if not math.isnan(found["left_out_low"]):
        changed, cook = int(found["left_out_changed"]), format_number(found["largest_cooks_distance"], 2)
        agreement = f"reading changes in {changed or 'none'}; largest Cook's distance {cook}"
        rows.append(("One athlete left out", "left_out_cases", "left_out_low", "left_out_high", agreement))
    if "analyses" in found and found["analyses"] > 1:
        same, shown, contrary = (int(found[c]) for c in ("same_sign", "shown", "contrary"))
        agreement = f"same sign {same}; shown {shown}; contrary shown {contrary}"
        rows.append(("Reasonable analyses", "analyses", "analyses_low", "analyses_high", agreement))
    return [
        {
            "What": what,
            "Count": str(int(found[count])),
            "From": format_number(found[low], digits, sign=True),
            "To": format_number(found[high], digits, sign=True),
            "Agreement": agreement,
        }
        for what, count, low, high, agreement in rows
    ]


def _drift_numbers(answer) -> pd.DataFrame:
    return _of_contrast(answer.drift, answer)


@outcome_table(
    "drift",
    lambda answers: f"Rise, drift and recovery of athletes {_apart(answers)} apart.",
    note="One value per athlete, regressed on capacity; not corrected for asking several questions. The interaction of round "
    "and capacity is a check only: with one random intercept per athlete it rejects too often.",
    numbers=_drift_numbers,
)
def drift_table(answer, known) -> list[dict]:
    """Whether fitter athletes rise less over the rounds, drift less within them and recover more."""
    lines = []
    for row in _drift_numbers(answer).to_dict("records"):
        fitted = not math.isnan(row["estimate"])
        digits = fine_digits(row["ci_low"], row["ci_high"]) if fitted else 2
        measure, unit = measure_words(row, answer) if row["role"] != "check" else (row["measure"], "")
        lines.append(
            {
                "Measure": f"{measure} ({unit})" if unit else measure,
                "Difference": number_cell(row["estimate"], digits, sign=True),
                CI: range_cell(row["ci_low"], row["ci_high"], digits),
                "p": p_cell(row["p"]),
                "n": str(int(row["n_athletes"])),
            }
        )
    return lines


def cautions_of(answers: dict) -> tuple[str, ...]:
    """What limits the reading of the results on fitness, each once."""
    said = []
    for answer in answers.values():
        told = answer.guards["status"].isin(["warned", "applied"]) & (answer.guards["guard"] != "covariates")
        said += [*answer.guards.loc[told, "text"], *answer.warnings, *answer.cautions]
    return tuple(f"{upper_first(s.rstrip('.'))}." for s in dict.fromkeys(said))
