"""Sentences about how firm the answer on fitness is: one athlete, other analyses, drift and recovery."""

from __future__ import annotations

from ...basics import (
    NotYet,
    format_ci,
    format_df,
    format_number,
    format_p,
    join_words,
    plural,
)
from .capacity_parts import digits_of, fine_digits, known_outcome, lower_first, span, step_words


def plain_influence(answer) -> str:
    """Say whether one athlete decides the answer."""
    if isinstance(answer, NotYet) or not answer.influence["planned_effect"].notna().any():
        return ""
    known, table = known_outcome(answer.outcome), answer.influence
    low, high = table["planned_effect"].min(), table["planned_effect"].max()
    changed = int((table["verdict"] != answer.verdict).sum())
    per = step_words(answer.capacity_step, answer.capacity_unit)
    text = f"Whichever one athlete is left out, the change for {per} more lies between {span(low, high, known, joint='and')}"
    if not changed:
        return f"{text}, and the conclusion stays the same whoever is left out. Nobody was removed."
    who = "one certain athlete" if changed == 1 else f"any of {changed} athletes"
    return f"{text}; without {who} the conclusion would be another one. Nobody was removed."


def write_up_influence(answer) -> str:
    """Write how far one athlete moves the result."""
    table, known = answer.influence, known_outcome(answer.outcome)
    if not table["planned_effect"].notna().any():
        return ""
    digits = digits_of(known)
    changed = int((table["verdict"] != answer.verdict).sum())
    low = format_number(table["planned_effect"].min(), digits, sign=True)
    high = format_number(table["planned_effect"].max(), digits, sign=True, unit=known.unit)
    cook = table["cooks_distance"].max()  # above 1: common practice, no source
    return (
        f"Leaving out one athlete at a time moved the planned effect between {low} and {high}; the reading changed in "
        f"{changed or 'none'} of {len(table)} cases (largest Cook's distance {format_number(cook, 2)}"
        f"{', so that one athlete carries much of the result' if cook > 1 else ''}). No athlete was removed."
    )


def plain_specifications(answer) -> str:
    """Say how far the answer depends on choices that could have been made otherwise."""
    if isinstance(answer, NotYet) or answer.specifications is None:
        return ""
    chart = answer.specifications
    if chart.n_specifications == 1:
        return "The planned analysis is the only one that these data allow."
    return (
        f"Of {chart.n_specifications} reasonable ways to analyse these data, {_of(chart, chart.share_same_sign)} point the "
        f"same way as the planned one, and {_of(chart, chart.share_excluding_zero)} would have called that shown; "
        f"{_of(chart, chart.share_opposite)} would have called the contrary shown."
    )


def write_up_specifications(answer) -> str:
    """Write how many reasonable analyses agree with the planned one."""
    chart = answer.specifications
    if chart is None or chart.n_specifications < 2:
        return ""
    return (
        f"Over {plural(chart.n_specifications, 'reasonable analysis', 'reasonable analyses')} the difference between athletes "
        f"{step_words(chart.contrast_step, answer.capacity_unit)} apart ranged from {format_number(chart.smallest, 1)} to "
        f"{format_number(chart.largest, 1)} times the smallest that matters (median {format_number(chart.median, 1)}); "
        f"{_of(chart, chart.share_same_sign)} had the sign of the planned one, "
        f"{_of(chart, chart.share_excluding_zero)} an interval beyond zero on that side and "
        f"{_of(chart, chart.share_opposite)} on the other. They share their data and are no independent tests."
    )


def _of(chart, share: float) -> str:
    """Write a share of analyses as a count: of six, a percentage says too much."""
    count = round(share * chart.n_specifications)
    return "none" if not count else "all" if count == chart.n_specifications else str(count)


def plain_drift(answer) -> str:
    """Say in plain words whether fitter athletes rise less over the rounds and recover more."""
    if isinstance(answer, NotYet) or answer.drift.empty:
        return ""
    shown, open_ = [], []
    for row in answer.drift[answer.drift["role"] == "main"].to_dict("records"):
        measure = _measure(row, answer)[0]
        if row["ci_high"] < 0 or row["ci_low"] > 0:
            shown.append(f"Fitter athletes have a {'lower' if row['ci_high'] < 0 else 'higher'} {measure}.")
        else:
            open_.append(f"the {measure}")
    if shown and len(shown) + len(open_) > 1:
        shown.append("These were several looks at the same data, so take them as hints.")
    if open_:
        shown.append(
            f"Whether fitter athletes differ in {join_words(open_, 'or')} cannot be told from these data."
        )
    return " ".join(shown)


def write_up_drift(answer) -> str:
    """Write whether fitter athletes drift less and recover more."""
    step, per = answer.capacity_step, step_words(answer.capacity_step, answer.capacity_unit)
    parts, check = [], ""
    for row in answer.drift.to_dict("records"):
        test = f"{format_number(row['statistic'], 2)}, p {format_p(row['p'])}"
        if row["role"] == "check":
            check = (
                f" The interaction of round and capacity (F({format_df(row['df_num'])}, {format_df(row['df_den'])}) = {test}) "
                "is a check only: with one random intercept per athlete it rejects too often."
            )
            continue
        low, high = step * row["ci_low"], step * row["ci_high"]
        digits = fine_digits(low, high)
        measure, unit = _measure(row, answer)
        parts.append(
            f"the {measure} changed by {format_number(step * row['estimate'], digits, sign=True, unit=unit)} "
            f"({format_ci(low, high, digits)}; t({format_df(row['df'])}) = {test}; n = {row['n_athletes']})"
        )
    if not parts:
        return ""
    several = " These were not corrected for asking several questions." if len(parts) > 1 else ""
    return (
        f"Regressed on capacity (one value per athlete, for {per} more): {'; '.join(parts)}.{several}{check}"
    )


def _measure(row: dict, answer) -> tuple[str, str]:
    known = known_outcome(answer.outcome)
    return {
        "rise from round to round": (
            f"rise of {lower_first(known.label)} from round to round",
            f"{known.unit or 'points'} a round",
        ),
        "drift within a round": ("drift of heart rate within a round", "bpm a minute"),
        "heart rate recovered in the first minute of rest": (
            "heart rate recovered in the first minute of rest",
            "bpm",
        ),
    }[row["measure"]]
