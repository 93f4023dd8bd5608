"""Limits of numbers by the rules table, with the likely cause where one lies outside, and the scales of ratings."""

from __future__ import annotations

from .columns import Column

Finding = tuple[str, str, str]
"""problem or remark, what is wrong, remedy."""

SCALE_LIMITS = {"6-20": (6.0, 20.0), "0-10": (0.0, 11.0), "0-100": (0.0, 120.0)}
"""Lowest and highest rating; the open-ended scales go beyond their last printed number."""


def is_usual(value: float, column: Column) -> bool:
    """Return True where a number is one that nobody would ask about."""
    low = column.low if column.ask_low is None else column.ask_low
    high = column.high if column.ask_high is None else column.ask_high
    return (low is None or value >= low) and (high is None or value <= high)


def check_limits(value: float, column: Column) -> Finding | None:
    """Return None where a number is plausible, else ("problem" or "remark", what is wrong, remedy)."""
    low, high = column.low, column.high
    unit = f" {column.unit}" if column.unit else ""
    if (low is not None and value < low) or (high is not None and value > high):
        limits = (
            f"outside {low:g} to {high:g}{unit}"
            if low is not None and high is not None
            else f"below {low:g}{unit}"
        )
        cause, remedy = _likely_cause(value, column)
        remedy = remedy or "look at the sheet and type what was measured, or set it aside in decisions.csv"
        return "problem", limits + (f": {cause}?" if cause else ""), remedy
    if not is_usual(value, column):
        low = column.ask_low if column.ask_low is not None else column.low
        high = column.ask_high if column.ask_high is not None else column.high
        usual = f"unusual: most values lie between {low:g} and {high:g}{unit}"
        if high is None or low is None:
            usual = f"unusual: most values lie {'above' if high is None else 'below'} {low or high:g}{unit}"
        cause, remedy = _likely_cause(value, column)
        return "remark", usual + (f"; {cause}?" if cause else ""), remedy or "nothing, if the sheet agrees"
    return None


def _likely_cause(value: float, column: Column) -> tuple[str, str]:
    if "year of birth" in column.hints and 1930 <= value <= 2020:
        return "a year of birth", "type the age in years; birth dates do not belong in a study folder"
    if "fahrenheit" in column.hints and 40 < value < 130:
        return "degrees Fahrenheit", f"type {(value - 32) / 1.8:.0f} if {value:g} was in Fahrenheit"
    causes, remedies = [], []
    for power in (1, -1, 2, -2, 3, -3):
        better = float(f"{value * 10.0**power:.6g}")
        if better and is_usual(better, column):
            causes.append(f"{better:g} with the decimal point slipped")
            remedies.append(f"type {better:g} if that was measured")
            break
    for factor, words in column.slips:
        if is_usual(value / factor, column):
            causes.append(f"typed in {words}")
            remedies.append(f"type {value / factor:.3g} if {value:g} was in {words}")
            break
    if not causes:
        return "", ""
    if "mL/min" in causes[-1]:  # needs the body mass, which this cell does not know
        remedies[-1] = "divide by the body mass in kg if it was in mL/min"
    return ", or ".join(causes), ", or ".join(remedies)


def check_rating(value: float, scale: str, *, stated: bool = True) -> Finding | None:
    """Return None where a rating is on the scale, else ("problem", what is wrong, remedy)."""
    if not scale:
        return None
    low, high = SCALE_LIMITS[scale]
    if low <= value <= high:
        if scale == "0-10" or value == int(value):
            return None
        remedy = "type the whole number that the athlete gave"
        return "problem", f"the scale {scale} has whole numbers only", remedy
    others = [s for s, (a, b) in SCALE_LIMITS.items() if s != scale and a <= value <= b]
    hint = f"; was the scale {' or '.join(others)} used here?" if others else ""
    said = "of study.toml" if stated else "(study.toml names none, so this one is taken)"
    remedy = (
        "one scale in a study, none can be converted: correct the rating, or exertion_scale in study.toml"
    )
    return "problem", f"not on the scale {scale} {said}{hint}", remedy
