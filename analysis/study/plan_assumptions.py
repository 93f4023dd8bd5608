"""[plan.assumptions] of study.toml: what the planning takes for true in this club, how far it may lie off, and why."""

from __future__ import annotations

from collections.abc import Callable

from ..basics import did_you_mean
from .problems import asked

_SIZES = ("mean", "rise", "sd_between", "sd_within", "slope")
ASSUMPTION_FIELDS = (
    *(f"{outcome}.{size}" for outcome in ("heart_rate", "lactate", "exertion") for size in _SIZES),
    *("capacity_mean", "capacity_sd", "test_error", "age_low", "age_high", "capacity_per_year", "share_women"),
    *("women_capacity", "women_heart_rate", "hr_max_sd", "heart_rate_per_hr_max", "hr_max_error", "bout_share"),
    *("autocorrelation", "missing_round", "leave", "strap_loss", "delay_sd_s", "delay_drift_s"),
    "lactate_per_delay_s",
)
"""What [plan.assumptions] may hold: the numbers of `planning.Assumptions`."""


def read_assumptions(section: dict, complain: Callable) -> tuple[dict, dict, dict]:
    """Return values, ranges and reasons by field; what cannot be goes to `complain` (key, value, problem, remedy)."""
    values: dict[str, float] = {}
    ranges: dict[str, tuple[float, float]] = {}
    reasons: dict[str, str] = {}
    for name, given in _fields_of(section).items():
        if name not in ASSUMPTION_FIELDS:
            near = did_you_mean(name, ASSUMPTION_FIELDS)
            listed = near or "one of " + ", ".join(ASSUMPTION_FIELDS)
            complain("assumptions", name, f"no such assumption{asked(near)}", f"write {listed}")
            continue
        entry = given if isinstance(given, dict) else {"value": given}
        numbers = [entry[k] for k in ("value", "low", "high") if k in entry]
        fine = all(isinstance(v, int | float) and not isinstance(v, bool) for v in numbers)
        if not (bool(numbers) and fine and ("low" in entry) == ("high" in entry) and set(entry) <= KEYS):
            remedy = f'write "{name}" = {{ value = 4.5, low = 3, high = 7, reason = "..." }}'
            complain("assumptions", name, "an assumption needs a number; low and high go together", remedy)
            continue
        low, high = entry.get("low"), entry.get("high")
        if low is not None and not low <= entry.get("value", low) <= high:
            complain("assumptions", name, "low, value and high are not in order", "write low, value and high in order")
            continue
        if "value" in entry:
            values[name] = float(entry["value"])
        if low is not None:
            ranges[name] = (float(low), float(high))
        if entry.get("reason"):
            reasons[name] = str(entry["reason"])
    return values, ranges, reasons


KEYS = {"value", "low", "high", "reason"}


def _fields_of(section: dict, path: str = "") -> dict:
    """Return heart_rate.rise whether it was written with quotation marks or as a section of its own."""
    found = {}
    for key, value in section.items():
        inner = isinstance(value, dict) and not set(value) & KEYS
        found |= _fields_of(value, f"{path}{key}.") if inner else {f"{path}{key}": value}
    return found
