"""Sentences about who took part."""

from __future__ import annotations

from ...basics import format_ci, format_number, join_words, plural

FEWEST_FOR_RANGE = 5
"""A range gives the values of two people: with fewer athletes than this it is left out."""


def plain_participants(participants) -> str:
    """Say in one plain sentence who took part."""
    if not participants.n_athletes:
        return "Nobody is in the study yet."
    people = join_words(_sexes(participants))
    text = f"{plural(participants.n_athletes, 'athlete')} took part" + (f" ({people})" if people else "")
    if participants.n_sparred and participants.n_sparred < participants.n_athletes:
        text += f", and {participants.n_sparred} of them sparred"
    return text + "."


def write_up_participants(participants) -> list[str]:
    """Describe the sample as a journal would print it."""
    if not participants.n_athletes:
        return []
    people = join_words(_sexes(participants))
    clubs = f" of {plural(participants.n_clubs, 'club')}" if participants.n_clubs else ""
    text = f"{plural(participants.n_athletes, 'athlete')}{clubs} took part" + (
        f" ({people})" if people else ""
    )
    text += "."
    described = [line for _, row in _whole_sample(participants).iterrows() if (line := _characteristic(row))]
    if described:
        text += f" {join_words(described)}."
    if participants.groups:
        sizes = [f"{name} ({plural(size, 'athlete')})" for name, size in participants.groups.items()]
        rest = participants.n_athletes - sum(participants.groups.values())
        sizes += [f"the others ({plural(rest, 'athlete')})"] if rest else []
        text += f" {'Groups' if len(sizes) > 1 else 'Group'}: {join_words(sizes)}."
    return [text, _counts(participants)]


def _sexes(p) -> list[str]:
    counts = ((p.n_women, "woman", "women"), (p.n_men, "man", "men"), (p.n_other, "other or not stated", ""))
    return [
        f"{n} {one}" if not many or n == 1 else f"{n} {many}"
        for n, one, many in counts
        if n and n < p.n_athletes
    ] or [f"all {many}" for n, _, many in counts[:2] if n]


def _whole_sample(participants):
    table = participants.characteristics
    return table[(table["sex"] == "all") & (table["n_athletes"] > 0)]


def _characteristic(row) -> str:
    digits, unit = int(row["digits"]), row["unit"]
    inside = []
    if row["n_athletes"] > 1:
        inside.append(f"SD {format_number(row['sd'], digits)}")
    if row["n_athletes"] >= FEWEST_FOR_RANGE:
        whole = float(row["low"]).is_integer() and float(row["high"]).is_integer()
        inside.append(f"range {format_ci(row['low'], row['high'], 0 if whole else digits)}")
    if row["n_missing"]:
        inside.append(f"n = {row['n_athletes']}")
    label = row["label"] if row["name"] == "age_years" else row["label"][0].lower() + row["label"][1:]
    lead = "Mean age" if row["name"] == "age_years" else f"mean {label}"
    return f"{lead} was {format_number(row['mean'], digits, unit=unit)}" + (
        f" ({', '.join(inside)})" if inside else ""
    )


def _counts(p) -> str:
    counts = (
        (p.n_sparred, "sparred at least part of a round"),
        (p.n_tested, "had an aerobic capacity"),
        (p.n_hr_max_measured, "had a measured maximal heart rate"),
    )
    said = [f"{_how_many(n, p.n_athletes)} {words}" for n, words in counts]
    return f"Of these, {join_words(said)}."


def _how_many(n: int, of: int) -> str:
    return "none" if not n else "all" if n == of else str(n)
