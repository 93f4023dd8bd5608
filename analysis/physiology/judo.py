"""The judo-specific throwing test: a score only; its index holds heart rate."""

from __future__ import annotations

from .aerobic_model import AerobicEquation, AerobicScore, no_vo2max
from .units import MEMORY, READ


def judo_throw_index(throws: float, hr_after_bpm: float, hr_1min_bpm: float) -> float:
    """Tell the index of the judo-specific throwing test."""
    # It holds two heart rates: never set it against sparring heart rate.
    # Sterkowicz 1995, Antropomotoryka 12:29-44 (as cited in a meta-analysis of 2019, Sports 7:194; formula
    # from memory).
    return (hr_after_bpm + hr_1min_bpm) / throws


_TITLE = "judo-specific throwing test (15, 30 and 30 s, partners 6 m apart)"
_SOURCE = "Sterkowicz 1995 Antropomotoryka 12:29-44"
_PEOPLE = "judo athletes; retest in 15 of them, 17 years old"

EQUATIONS = (
    AerobicEquation(
        "judo_throwing_test", "throws", _TITLE, _SOURCE, MEMORY, "all throws; no VO2max", no_vo2max, (("throws",),), _PEOPLE,
        ("hr_after_bpm", "hr_1min_bpm"), error_kind="retest", validity="10 to 40 throws", score="throws", gives_vo2max=False,
        warning="A score within one club; it gives no VO2max.",
    ),
    AerobicEquation(
        "judo_throwing_test", "index", _TITLE, _SOURCE, MEMORY, "(heart rate at the end + 1 min later) / throws; no VO2max",
        no_vo2max, (("throws", "hr_after_bpm", "hr_1min_bpm"),), _PEOPLE, error_kind="retest", validity="10 to 40 throws",
        score="index", gives_vo2max=False, default=False, uses_heart_rate=True,
        warning="It holds two heart rates: it is never set against sparring heart rate. A lower index is a better one.",
    ),
)  # fmt: skip

_RETEST = "Štefanovský 2021, 15 athletes"
SCORES = {
    ("judo_throwing_test", "throws"): AerobicScore(
        "throws", "all throws", ("throws",), lambda v: float(v["throws"]), lambda score: 0.051 * score,
        f"measurement error 5.1 % ({_RETEST})", READ,
    ),
    ("judo_throwing_test", "index"): AerobicScore(
        "bpm per throw", "index", ("throws", "hr_after_bpm", "hr_1min_bpm"),
        lambda v: judo_throw_index(v["throws"], v["hr_after_bpm"], v["hr_1min_bpm"]),
        lambda score: 0.045 * score, f"measurement error 4.5 % ({_RETEST})", READ, lower_is_fitter=True,
    ),
}  # fmt: skip
"""Test and name of a score -> the number by which it compares athletes."""
