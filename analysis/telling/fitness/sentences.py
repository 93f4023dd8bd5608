"""Sentences about fitness and response: for the coach and for the write-up, all from the answer; the words in `phrases`."""

from __future__ import annotations

import math

from ...basics import format_ci, format_number, format_p, format_percent, if_answered, join_words, lower_first, plural
from ...basics.words import format_df
from ...capacity.adjustment import covariate_words
from ...physiology import estimate_vo2max
from ...study import known_outcome
from ...study.outcomes import Outcome, digits_of
from ..words import percent_interval, plain_side, plain_size, plain_span, size_words, step_words
from . import phrases as say

SHUTTLE = "shuttle_run_20m"
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@if_answered()
def plain_capacity(answer, *, yardstick: str = "", short: bool = False) -> str:
    """Say in plain words whether fitter athletes respond less."""
    known = known_outcome(answer.outcome)
    rate = known.unit == "bpm"
    what = lower_first(known.label)
    words = {
        "outcome": what,
        "step": step_words(answer.contrast_step, answer.capacity_unit),
        "yardstick": say.LEVELS.format(count=yardstick) if yardstick else "",
        "matters": size_words(answer.smallest_effect, known, plain=True),
    }
    equal = say.EQUAL.format(beside=covariate_words(answer.adjusted_for)) if answer.adjusted_for else ""
    at_equal = " " + say.AT_EQUAL.format(beside=covariate_words(answer.adjusted_for)) if equal else ""
    who = at_equal if short else " " + say.WHO.format(people=plural(answer.n_athletes, "athlete"), equal=equal)
    if answer.verdict == "negligible":
        low, high = (plain_side(v, known) for v in (answer.contrast_ci90_low, answer.contrast_ci90_high))
        level = percent_interval(1 - 2 * answer.alpha)
        return say.TOO_SMALL.format(**words, low=low, high=high, level=level) + who
    low, high = answer.contrast_ci_low, answer.contrast_ci_high
    if answer.verdict == "too imprecise":
        asked = say.ASKED.get(answer.direction, say.ASKED["differs"]).format(outcome=what)
        phrase = say.OPEN_RUN if rate and answer.direction == "lower" else say.OPEN
        text = phrase.format(**words, asked=asked, low=plain_side(low, known), high=plain_side(high, known, unit=False))
        return text + who + ("" if short else f" {say.OPEN_IS_NOT_NONE}")
    lower = answer.contrast < 0
    run, have = (say.RUN_LOWER, say.HAVE_LOWER) if lower else (say.RUN_HIGHER, say.HAVE_HIGHER)
    finding = (run if rate else have).format(outcome=what)
    size, span_ = plain_size(answer.contrast, known), plain_span(low, high, known, rising=not lower)
    phrase = say.AGAINST if answer.verdict == "opposite" else say.SHOWN
    return phrase.format(**words, Finding=finding, size=size, span=span_) + who


def abstract_capacity(answers: dict) -> list[str]:
    """Say for an abstract by how much fitter athletes differed, and whether that was shown."""
    said = []
    for answer in answers.values():
        known = known_outcome(answer.outcome)
        digits = digits_of(known)
        said.append(
            say.ABSTRACT.format(
                step=step_words(answer.contrast_step, answer.capacity_unit),
                size=format_number(answer.contrast, digits, sign=True, unit=known.unit),
                outcome=lower_first(known.label),
                span=format_ci(answer.contrast_ci_low, answer.contrast_ci_high, digits),
                reading=say.ABSTRACT_READING[answer.verdict],
            )
        )
    return said


@if_answered("no text")
def plain_influence(answer) -> str:
    """Say whether one athlete decides the answer."""
    if not answer.influence["planned_effect"].notna().any():
        return ""
    known, table = known_outcome(answer.outcome), answer.influence
    scale = answer.contrast_step / answer.capacity_step
    low, high = scale * table["planned_effect"].min(), scale * table["planned_effect"].max()
    changed = int((table["verdict"] != answer.verdict).sum())
    low, high = span(low, high, known, joint="|").split("|")
    step = step_words(answer.contrast_step, answer.capacity_unit)
    text = say.WHOEVER.format(step=step, low=low.strip(), high=high.strip())
    if not changed:
        return say.WHOEVER_SAME.format(whoever=text)
    who = say.ONE_CERTAIN if changed == 1 else say.ANY_OF.format(changed=changed)
    return say.WHOEVER_TURNS.format(whoever=text, who=who)


@if_answered("no text")
def plain_specifications(answer) -> str:
    """Say how far the answer depends on choices that could have been made otherwise."""
    if answer.specifications is None:
        return ""
    chart = answer.specifications
    if chart.n_specifications == 1:
        return say.ONLY_ONE_ANALYSIS
    return say.MANY_ANALYSES.format(count=chart.n_specifications, **_agreement(chart))


def _agreement(chart) -> dict[str, str]:
    """How many analyses agree, as counts: of six, a percentage says too much."""
    n = chart.n_specifications
    words = {0: "none", n: "all"}
    shares = {"same": chart.share_same_sign, "shown": chart.share_excluding_zero, "contrary": chart.share_opposite}
    counts = {name: round(share * n) for name, share in shares.items()}
    return {name: words.get(count, str(count)) for name, count in counts.items()}


@if_answered("no text")
def plain_drift(answer) -> str:
    """Say in plain words whether fitter athletes rise less over the rounds and recover more."""
    if answer.drift.empty:
        return ""
    shown, open_ = [], []
    for row in answer.drift[answer.drift["role"] == "main"].to_dict("records"):
        measure = measure_words(row, answer)[0]
        if row["ci_high"] < 0 or row["ci_low"] > 0:
            lower = "lower" if row["ci_high"] < 0 else "higher"
            shown.append(say.FITTER_HAVE.format(lower=lower, measure=measure))
        else:
            open_.append(f"the {measure}")
    if shown and len(shown) + len(open_) > 1:
        shown.append(say.SEVERAL_LOOKS)
    if open_:
        shown.append(say.DRIFT_OPEN.format(measures=join_words(open_, "or")))
    return " ".join(shown)


def measure_words(row: dict, answer) -> tuple[str, str]:
    """Name a measure of drift or recovery, and its unit."""
    known, measure = known_outcome(answer.outcome), row["measure"]
    if measure == "rise from round to round":
        return f"rise of {lower_first(known.label)} from round to round", f"{known.unit or 'points'} a round"
    if measure == "drift within a round":
        return "drift of heart rate within a round", "bpm a minute"
    return measure, "bpm"


@if_answered("no text")
def plain_fault_of_test(answer) -> str:
    """Say how much of a weak correlation may be the fault of the fitness test."""
    found = answer.correction
    if found is None:
        return say.TEST_UNKNOWN
    if not found.bounded:
        return say.TEST_HIDES_ALL
    hidden, left = format_percent(1 - found.attenuation), format_number(found.attenuation, 2)
    text = say.TEST_HIDES.format(hidden=hidden, left=left)
    if found.kind == "retest":
        return f"{text} {say.SHRINKS_EFFECT.format(share=format_percent(found.reliability))}"
    return f"{text} {say.KEEPS_EFFECT}"


@if_answered()
def plain_levels(levels) -> str:
    """Say what two outcomes do together within athletes, and that this is another question than between athletes."""
    x, y = (lower_first(known_outcome(n).label) for n in (levels.x, levels.y))
    return say.LEVELS_APART.format(
        within=say.WITHIN[_together(levels.within)].format(x=x, y=y),
        between=say.BETWEEN[_together(levels.between)].format(x=x, y=y),
        people=plural(levels.n_athletes, "athlete"),
    )


def _together(correlation) -> str:
    if correlation.ci_low > 0:
        return "up"
    return "down" if correlation.ci_high < 0 else ""


@if_answered("paragraphs")
def write_up_capacity(answer) -> list[str]:
    """Write the planned result on fitness and one outcome: estimate, reading, correlation, whether checks agree."""
    known = known_outcome(answer.outcome)
    expected = say.HYPOTHESIS.get(answer.direction, say.HYPOTHESIS["differs"])
    words = {"hypothesis": expected.format(outcome=lower_first(known.label))}
    reading = say.READING[answer.verdict].format(**words, matters=size_words(answer.smallest_effect, known))
    parts = [_planned(answer), reading, _beside(answer)]
    return [" ".join(p for p in parts if p), " ".join([_correlation(answer), *_checks(answer)])]


def _planned(answer) -> str:
    known, fit = known_outcome(answer.outcome), answer.planned
    digits = digits_of(known)
    beside = covariate_words(answer.adjusted_for)
    adjusted = say.ADJUSTED.format(beside=beside) if answer.adjusted_for else say.NOT_ADJUSTED
    text = say.PLANNED.format(
        outcome=lower_first(known.label),
        people=plural(answer.n_athletes, "athlete"),
        values=plural(answer.n_observations, "value"),
        adjusted=adjusted,
        step=step_words(answer.contrast_step, answer.capacity_unit),
        size=format_number(answer.contrast, digits, sign=True, unit=known.unit),
        span=format_ci(answer.contrast_ci_low, answer.contrast_ci_high, digits),
        df=format_df(fit.df),
        t=format_number(fit.statistic, 2),
        p=format_p(fit.p),
    )
    return text if answer.off_scale.empty else f"{text} {say.OFF_SCALE}"


def _beside(answer) -> str:
    """Heart rate in bpm and in percent of the measured maximum are one finding: say where they differ."""
    rows = answer.beside[~answer.beside["planned"].astype(bool)] if len(answer.beside) else answer.beside
    said = []
    for row in rows.to_dict("records"):
        known = known_outcome(row["outcome"])
        phrase = say.BESIDE_SAME if row["verdict"] == answer.verdict else say.BESIDE_OTHER
        size = format_number(row["contrast"], digits_of(known), sign=True, unit=known.unit)
        span_ = format_ci(row["ci_low"], row["ci_high"], digits_of(known))
        reading = say.ABSTRACT_READING[row["verdict"]]
        said.append(phrase.format(outcome=lower_first(known.label), size=size, span=span_, reading=reading))
    return " ".join(said)


def _correlation(answer) -> str:
    row = answer.correlations.set_index("analysis").loc["Pearson"]
    if math.isnan(row["estimate"]):
        return say.NO_CORRELATION
    r, ends = format_number(row["estimate"], 2), format_ci(row["ci_low"], row["ci_high"], 2)
    return say.CORRELATION.format(r=r, span=ends, p=format_p(row["p"]))


def _checks(answer) -> list[str]:
    """Whether other analyses, and every group without one athlete, lead to the same reading."""
    said, chart = [], answer.specifications
    if chart is not None and chart.n_specifications > 1:
        said.append(say.CHECKS.format(count=chart.n_specifications, **_agreement(chart)))
    table = answer.influence
    if table["planned_effect"].notna().any():
        changed = int((table["verdict"] != answer.verdict).sum())
        words = {"changed": changed, "count": len(table)}
        said.append((say.ONE_ATHLETE_TURNS if changed else say.ONE_ATHLETE).format(**words))
    return said


def yardstick_words(capacity, step: float) -> str:
    """Say what a step of capacity is in levels of the shuttle run, where most athletes ran it: "three"; else ""."""
    tests = getattr(capacity, "get", lambda *_: None)("test")
    if tests is None or not len(tests) or tests.value_counts().idxmax() != SHUTTLE:
        return ""
    low, high = (estimate_vo2max(SHUTTLE, level=level, shuttle=1, age_years=30.0).value for level in (6, 10))
    count = round(4 * step / (high - low))
    return COUNTS[count] if 1 < count < len(COUNTS) else ""


def span(low: float, high: float, known: Outcome, *, joint: str = "to") -> str:
    """Write a range of changes in words: "7.6 bpm less to 0.9 bpm more"."""
    return f"{_side(low, known)} {joint} {_side(high, known)}"


def _side(value: float, known: Outcome) -> str:
    if value is None or not math.isfinite(value):
        return "no limit"
    digits = digits_of(known)
    size = format_number(abs(value), digits, unit=known.unit)
    if float(f"{abs(value):.{digits}f}") == 0:
        return size
    return f"{size} {'less' if value < 0 else 'more'}"
