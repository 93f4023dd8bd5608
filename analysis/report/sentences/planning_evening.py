"""Sentences about the evening: who spars whom, and who is sampled when."""

from __future__ import annotations

import pandas as pd

from ...basics import format_number, plural


def plain_pairing(pairing) -> str:
    """Say in plain words who spars whom."""
    idle = pairing.sat_out[pairing.sat_out["reason"] != "not available"]
    away = pairing.sat_out[pairing.sat_out["reason"] == "not available"]
    lead = "Everybody spars" if idle.empty and away.empty else "Pairs are set"
    text = f"{lead} in each of {plural(pairing.rounds, 'round')}"
    if len(pairing.repeats):
        text += f"; {plural(len(pairing.repeats), 'pair meets', 'pairs meet')} more than once"
    else:
        text += ", with a new opponent every time"
    parts = [f"{text}."]
    if len(away):
        parts.append(
            f"{plural(away['athlete'].nunique(), 'athlete misses', 'athletes miss')} rounds as you said."
        )
    if len(idle):
        turns = "each time somebody else" if idle["athlete"].is_unique else "some more than once"
        parts.append(f"In {plural(idle['round_no'].nunique(), 'round')} somebody sits out, {turns}.")
    gaps = pairing.differences.get("mass_difference_kg", pd.Series(dtype=float)).dropna()
    if len(gaps):
        parts.append(
            f"Opponents differ by {format_number(float(gaps.median()), 0, unit='kg')} in the median and by "
            f"{format_number(float(gaps.max()), 0, unit='kg')} at most."
        )
    return " ".join(parts)


def plain_timetable(timetable) -> str:
    """Say in plain words who can be sampled when."""
    stations = timetable.sampling.stations
    start = "a common start" if timetable.start == "common" else "staggered starts"
    text = (
        f"With {'one station' if stations == 1 else f'{stations} stations'} and {start}, {timetable.measured} of "
        f"{plural(timetable.n_athletes, 'athlete')} can be sampled on time after every round"
    )
    if timetable.measured < timetable.n_athletes:
        best = timetable.options.set_index("option")["measured"]
        if timetable.start == "common" and best["staggered starts"] > timetable.measured:
            text += f"; with staggered starts it would be {int(best['staggered starts'])}"
    return f"{text}."


def list_warnings(result, otherwise: str = "Nothing to watch for.") -> str:
    """List the warnings of a pairing or a timetable, one a line."""
    return "\n".join(f"- {w}" for w in result.warnings) or otherwise
