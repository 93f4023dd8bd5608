"""Plain sentences about cleaning: what was recorded, flagged, set aside and lost."""

from __future__ import annotations

import numpy as np

from ...basics import NotYet, format_number, join_words, plural
from ...figures.cleaning_account import round_seconds
from .cleaning_tables import (
    cause_in_words,
    list_remarks,
    list_warnings,
    share_in_words,
    sparred_rows,
    tabulate_clocks,
    tabulate_costs,
    tabulate_ledger,
    tabulate_overrides,
    tabulate_rules,
)
from .cleaning_write_up import plain_bounds, write_up_cleaning

__all__ = [
    "list_remarks",
    "list_warnings",
    "plain_bounds",
    "plain_cleaning",
    "plain_clocks",
    "plain_costs",
    "plain_tried",
    "tabulate_clocks",
    "tabulate_costs",
    "tabulate_ledger",
    "tabulate_overrides",
    "tabulate_rules",
    "write_up_cleaning",
]


def plain_cleaning(cleaned) -> str:
    """Say in plain words how much heart rate there is and how much of it can be used."""
    if isinstance(cleaned, NotYet):
        return str(cleaned)
    rows = sparred_rows(cleaned)
    if not len(rows):
        return "No round was sparred, so there is nothing to clean."
    source = rows["hr_source"]
    traced, typed = int((source == "trace").sum()), int((source == "typed").sum())
    if not cleaned.traces and not traced:
        if typed:
            means = plural(typed, "round mean of heart rate was", "round means of heart rate were")
            return f"{means} read off a device and typed, which nobody can check; there are no recordings."
        return "No heart rate was recorded."
    parts = [
        f"{plural(len(rows), 'round')} were sparred; {traced} of them have a usable mean heart rate from a recording"
    ]
    if typed:
        parts.append(f" and {typed} a mean typed from a device, which nobody can check")
    seconds = round_seconds(cleaned)
    total = float(seconds["seconds"].sum())
    aside = float(seconds.loc[~seconds["used"], "seconds"].sum())
    if total > 0:
        parts.append(f". Of the recorded rounds, {share_in_words(aside / total)} of the time was set aside")
        worst = seconds[~seconds["used"]]
        parts.append(
            f", most of it because of {cause_in_words(worst['cause'].iloc[0])}" if len(worst) else ""
        )
    unused = _unused_files(cleaned)
    lost = len(rows) - traced - typed
    end = f". For {plural(lost, 'round')} there is no mean at all." if lost else "."
    return "".join(parts) + end + unused


def _unused_files(cleaned) -> str:
    """Say that files gave nothing: as a line among others this is overlooked."""
    table = cleaned.ledger.table
    files = table[(table["measure"] == "files") & ~table["used"].astype(bool)]
    if files.empty:
        return ""
    other_day = int((files["cause"] == "of another day").sum())
    text = f" {plural(len(files), 'recording')} could not be used"
    dated = f"by {'its' if other_day == 1 else 'their'} own date of another day"
    if other_day == len(files):
        return f"{text}: {dated}."
    return f"{text}{f', {other_day} of them {dated}' if other_day else ''}; the table of what was set aside says why."


def plain_costs(cleaned) -> str:
    """Say by how much round means would move were flagged samples kept."""
    if isinstance(cleaned, NotYet):
        return str(cleaned)
    table = cleaned.costs[cleaned.costs["largest_change_bpm"].notna()]
    if table.empty:
        return "No rule flagged a sample inside a round, so the rules change no round mean."
    worst = table.sort_values("largest_change_bpm", ascending=False, kind="stable").iloc[0]
    regained = int(cleaned.costs["rounds_regained"].sum())
    words = (
        f"Inside rounds the rules flagged {format_number(float(table['seconds'].sum()), 0, unit='s')}. Kept, these samples "
        f"would move one round mean by up to {format_number(worst['largest_change_bpm'], 1, unit='bpm')} ({worst['flag']})"
    )
    return words + (
        f"; {plural(regained, 'round')} would have enough valid time only with them." if regained else "."
    )


def plain_clocks(cleaned) -> str:
    """Say whether the clocks of the devices agree with the timekeeper's."""
    if isinstance(cleaned, NotYet):
        return str(cleaned)
    clocks = cleaned.clocks
    if clocks.empty:
        return "There are no recordings, so there are no clocks to compare."
    logged = int((clocks["offset_source"] == "log").sum())
    off = int((clocks["agrees"] == "no").sum())
    words = f"{plural(len(clocks), 'recording')} {'was' if len(clocks) == 1 else 'were'} put on the timekeeper's clock"
    by_event = int((clocks["offset_source"] == "common event").sum())
    words += f", {logged} with an offset from the log" if logged else ""
    words += f", {by_event} by the common event" if by_event else ""
    checked = clocks[clocks["agrees"].isin(["yes", "no"])]
    if checked.empty:
        return words + ". None could be checked against the rises and falls of its own trace."
    if not off:
        return (
            words
            + f". The rises and falls of the trace agree with it in all {len(checked)} that could be checked."
        )
    return (
        words
        + f". In {off} of {len(checked)} that could be checked the trace does not agree: see the warnings."
    )


def plain_tried(tried) -> str:
    """Say what other rules would change for one athlete."""
    names = (
        join_words([f"{n} = {format_number(float(v), 1)}" for n, v in tried.changed.items()])
        or "the rules as they are"
    )
    flags = tried.flags
    before, after = (int(flags[f"samples_{n}"].sum()) for n in ("cleaned", "tried"))
    rounds = tried.rounds
    moved = (rounds["mean_bpm_tried"] - rounds["mean_bpm_cleaned"]).abs().max()
    gained = int((rounds["mean_bpm_tried"].notna() & rounds["mean_bpm_cleaned"].isna()).sum())
    lost = int((rounds["mean_bpm_tried"].isna() & rounds["mean_bpm_cleaned"].notna()).sum())
    words = f"With {names}, {plural(after, 'sample')} would be flagged instead of {before}"
    if np.isfinite(moved):
        words += f"; no round mean would move by more than {format_number(float(moved), 1, unit='bpm')}"
    words += f"; {plural(gained, 'round')} would gain a mean" if gained else ""
    return words + (f"; {plural(lost, 'round')} would lose it." if lost else ".")
