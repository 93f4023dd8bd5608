"""Submitted sessions for a write-up: methods and results, computed from the answer."""

from __future__ import annotations

import math

from ...basics import NotYet, format_ci, format_number, format_percent, join_words, plural
from .survey_tables import MEASURE_WORDS


def write_up_survey(answer) -> list[str]:
    """Write methods and results of a survey of submitted sessions."""
    if isinstance(answer, NotYet):
        return []
    paragraphs = [_sample(answer), _methods(answer), _typical(answer)]
    if len(answer.shares):
        paragraphs += [_shares(answer), _bands(answer)]
    return [*paragraphs, *answer.warnings]


def _sample(answer) -> str:
    people, sent = plural(answer.n_people_sent, "person", "people"), plural(answer.n_sent, "session")
    text = f"{people} submitted {sent}; {answer.n_sessions} sessions of {answer.n_athletes} people were analysed."
    if len(answer.set_aside):
        reasons = [f"{reason}, {n}" for reason, n in answer.set_aside.itertuples(index=False)]
        text += f" Sessions were set aside by rule: {'; '.join(reasons)}."
    without = answer.n_athletes - answer.n_with_age
    if without:
        text += f" For {plural(without, 'person', 'people')} no usable age was known; shares of maximum leave them out."
    return text


def _methods(answer) -> str:
    text = (
        "People, not sessions, were the unit: means are over people's means, with intervals from t, and variances between and "
        "within people from a one-way analysis of variance."
    )
    if not len(answer.shares):
        return text + " Since no age was known, no share of maximum was computed."
    learned = (
        "given that person's heart rates and never below a rate that was reached"
        if answer.learned
        else "never below a rate that was reached"
    )
    error = format_number(answer.prediction_error_bpm, 1, unit="bpm")
    least = format_number(answer.least_error_bpm, 0, unit="bpm")
    return (
        f"{text} Maximal heart rate was predicted from age ({answer.equation_label}, standard error of prediction {error}). In "
        f"{answer.n_simulations} simulated draws one error of the maximum was drawn per person, shared by all sessions of the "
        f"person, {learned}; its size lay between {least}, the least in a published review of such equations, and that of the "
        "equation. Intervals hold 95\N{NO-BREAK SPACE}% of the draws."
    )


def _typical(answer) -> str:
    parts = []
    for t in answer.typical.to_dict("records"):
        if math.isnan(t["estimate"]) or t["measure"] == "minutes":
            continue
        name, unit, digits = MEASURE_WORDS[t["measure"]]
        part = f"{name} {format_number(t['estimate'], digits, unit=unit)}"
        if not math.isnan(t["ci_low"]):
            scatter = f"SD between people {format_number(t['sd_people'], 1)}"
            if not math.isnan(t["sd_sessions"]):
                scatter += f", within a person {format_number(t['sd_sessions'], 1)}"
            part += (
                f" (95\N{NO-BREAK SPACE}% interval {format_ci(t['ci_low'], t['ci_high'], digits)}; {scatter})"
            )
        parts.append(part)
    return f"Typical values: {'; '.join(parts)}."


def _shares(answer) -> str:
    parts = []
    for s in answer.shares.dropna(subset=["centre"]).to_dict("records"):
        if round(100 * s["low"]) == round(100 * s["high"]):
            continue
        what = "means" if s["measure"] == "percent_mean" else "peaks"
        error = format_ci(100 * s["low"], 100 * s["high"], 0)
        drawn = format_ci(100 * s["total_low"], 100 * s["total_high"], 0)
        parts.append(
            f"{what} at or above {s['threshold']:g}\N{NO-BREAK SPACE}%, {format_percent(s['centre'])} (with the error of the "
            f"prediction {error}; also for people drawn anew {drawn}; maxima taken as exact {format_percent(s['estimate'])})"
        )
    rows = answer.headline_equations()
    text = (
        f"Shares of people's sessions: {'; '.join(parts)}."
        if parts
        else "No session came near any threshold."
    )
    if len(rows):
        span = format_ci(100 * rows["centre"].min(), 100 * rows["centre"].max(), 0, unit="%")
        what = "means" if rows["measure"].iloc[0] == "percent_mean" else "peaks"
        text += (
            f" Over {plural(len(rows), 'published equation')} for both sexes the most likely share of {what} at or above "
            f"{rows['threshold'].iloc[0]:g}\N{NO-BREAK SPACE}% runs from {span}."
        )
    return text


def _bands(answer) -> str:
    bands = answer.bands
    if bands["time"].isna().all():
        return f"Bands of intensity: {answer.bands_source}. No whole recording of a person with a known age was available."
    first = bands.iloc[0]
    parts = [
        f"{b['words']} {format_percent(b['time'])} ({format_ci(100 * b['time_low'], 100 * b['time_high'], 0)})"
        for b in bands.to_dict("records")
    ]
    people = plural(int(first["n_athletes_recordings"]), "person", "people")
    return (
        f"In {first['n_recordings']} whole recordings of {people} the time was spent as follows, people counted once: "
        f"{join_words(parts)} (bands of the {answer.bands_source})."
    )
