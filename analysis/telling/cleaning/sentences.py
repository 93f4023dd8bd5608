"""Plain sentences about cleaning: what was recorded, flagged, set aside and lost."""

from __future__ import annotations

import numpy as np

from ...basics import NotYet, format_ci, format_number, format_percent, join_words, plural
from ...cleaning import clean_study
from ...physiology.units import MEMORY
from .figures import round_seconds
from .tables import (
    NO_BREAK,
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


def plain_bounds(cleaned) -> str:
    """Say how far missing time could move round means, since contact is lost in the hardest scrambles."""
    if isinstance(cleaned, NotYet):
        return str(cleaned)
    used = cleaned.bounds.merge(
        cleaned.rows.loc[cleaned.rows["hr_source"] == "trace", ["session", "athlete", "round_no"]],
        on=["session", "athlete", "round_no"],
    )
    touched = used[used["aside_s"] > 2]
    if touched.empty:
        return "Every round mean that is used rests on its whole round."
    low = float((touched["mean_bpm"] - touched["mean_low_bpm"]).max())
    high = float((touched["mean_high_bpm"] - touched["mean_bpm"]).max())
    lower, higher = format_number(low, 1, unit="bpm"), format_number(high, 1, unit="bpm")
    whole = "rests" if len(touched) == 1 else "rest"
    return (
        f"Of {plural(len(used), 'round mean')} from recordings, {len(touched)} {whole} on less than the whole round. Had the "
        f"athlete been at rest level in the missing time, a mean would be up to {lower} lower; at maximum, up to {higher} "
        "higher. Contact is lost most in hard scrambles, so the truth may lie nearer the upper end."
    )


def write_up_cleaning(cleaned) -> list[str]:
    """Write the paragraphs on heart-rate processing: windows, rules, what was set aside, clocks, hand decisions."""
    if isinstance(cleaned, NotYet):
        return [str(cleaned)]
    rows = sparred_rows(cleaned)
    typed = rows[rows["hr_source"] == "typed"]
    paragraphs = []
    if cleaned.traces:
        paragraphs.append(
            " ".join(
                filter(None, (_windows_words(cleaned), _rules_words(cleaned), _intensity_words(cleaned)))
            )
        )
        paragraphs.append(
            " ".join(
                filter(None, (_aside_words(cleaned, rows), _bounds_words(cleaned), _hand_words(cleaned)))
            )
        )
    if len(typed):
        paragraphs.append(
            f"{plural(len(typed), 'round mean')} of {plural(typed['athlete'].nunique(), 'athlete')} "
            f"{'was' if len(typed) == 1 else 'were'} read off a device without a stored recording; "
            "they were used, and no check of the trace applies to them."
        )
    return paragraphs


def _value(cleaned, name: str):
    table = cleaned.rules.set_index("parameter")["value"]
    return table.get(name, float("nan"))


def _seconds(cleaned, name: str) -> str:
    return format_number(float(_value(cleaned, name)), 0, unit="s")


def _windows_words(cleaned) -> str:
    how = set(cleaned.windows["found_by"])
    clocks = cleaned.clocks
    athletes = plural(len({a for _, a in cleaned.traces}), "athlete")
    files = f"Heart rate came from {plural(len(cleaned.traces), 'trace')} of {athletes}. "
    if "trace" in how:
        least = float(cleaned.windows.loc[cleaned.windows["found_by"] == "trace", "confidence"].min())
        rounds = (
            "Rounds without a logged time were found by comparing the traces with the first-order response to rounds and rests "
            f"(least confidence {format_number(least, 2)})."
        )
    else:
        rounds = "Rounds were cut by the timekeeper's clock."
    logged = clocks[clocks["offset_source"] == "log"]["offset_s"].astype(float)
    if len(logged):
        spread = format_ci(float(logged.min()), float(logged.max()), 0, unit="s")
        span = format_number(float(logged.iloc[0]), 0, unit="s", sign=True) if len(logged) == 1 else spread
        rounds += (
            f" Device clocks were corrected by logged offsets in {plural(len(logged), 'recording')} ({span})."
        )
    by_event = int((clocks["offset_source"] == "common event").sum())
    if by_event:
        were = "was" if by_event == 1 else "were"
        rounds += (
            f" {plural(by_event, 'recording')} {were} put on the clock by an event common to all devices."
        )
    off = int((clocks["agrees"] == "no").sum())
    if off:
        rounds += f" In {plural(off, 'recording')} the trace itself suggested another offset, which was not applied."
    return files + rounds


def _rules_words(cleaned) -> str:
    low, high = (format_number(float(_value(cleaned, n)), 0) for n in ("lowest_bpm", "highest_bpm"))
    above = format_number(float(_value(cleaned, "above_max_bpm")), 0, unit="bpm")
    share = format_percent(float(_value(cleaned, "least_valid_share")))
    shift = format_number(float(_value(cleaned, "gap_shift_bpm")), 0, unit="bpm")
    flat, peak, late = (_seconds(cleaned, n) for n in ("flat_s", "peak_window_s", "late_from_s"))
    return (
        f"Samples were flagged, never changed, where heart rate was outside {low} to {high}{NO_BREAK}bpm or more than "
        f"{above} above the measured maximum, stayed at one value for {flat} or longer, changed faster than a heart can, was "
        "doubled or halved, or preceded steady contact. Means are weighted by time; longer gaps are missing time and were "
        f"not filled in. A round gives a mean where at least {share} of it is valid and where bridging its missing time by "
        f"a straight line would not move the mean by more than {shift}. Peak heart rate is the highest mean over {peak}; "
        f"the late mean leaves out the first {late} of the round, but never more than half of it."
    )


def _intensity_words(cleaned) -> str:
    """Which bands and which constants of the training impulse, where there are any."""
    from ...physiology import banister_impulse, intensity_bands

    words = []
    if cleaned.rows["vigorous_s"].notna().any():
        bands = intensity_bands(str(_value(cleaned, "bands")))
        edges = join_words([format_number(v, 0) for v in bands["percent_hr_max_low"].iloc[1:]])
        source = bands["source"].iloc[0].split(";")[0].split(" (")[0]
        words.append(
            f"Seconds per intensity band use the edges of the {source}: {edges}{NO_BREAK}% of the measured maximum, each edge "
            "belonging to the band above it."
        )
    if cleaned.rows["training_impulse"].notna().any():
        of = {s: banister_impulse(150.0, 60.0, hr_max_bpm=190.0, hr_rest_bpm=60.0, sex=s) for s in ("M", "F")}
        constants = "; ".join(
            f"{o.constants}{', from memory' if o.provenance == MEMORY else ''}" for o in of.values()
        )
        source = of["M"].source.split(" (")[0]
        words.append(
            "The training impulse of each round is summed over the samples of its valid time, rests left out "
            f"({source}; {constants})."
        )
    return " ".join(words)


def _aside_words(cleaned, rows) -> str:
    seconds = round_seconds(cleaned)
    total = float(seconds["seconds"].sum())
    if not total:
        return ""
    aside = seconds[~seconds["used"].astype(bool)]
    minutes = format_number(total / 60, 0, unit="min")
    words = f"Of {minutes} in recorded rounds, {share_in_words(float(aside['seconds'].sum()) / total)} were set aside"
    if len(aside):
        causes = [
            f"{cause_in_words(c)} {share_in_words(s / total)}"
            for c, s in zip(aside["cause"], aside["seconds"], strict=True)
        ]
        words += f" ({join_words(causes)})"
    without = int((rows["hr_mean_bpm"].isna()).sum())
    if without:
        words += f"; {plural(without, 'sparred round')} of {len(rows)} gave no mean heart rate"
    return words + "."


def _bounds_words(cleaned) -> str:
    sentence = plain_bounds(cleaned)
    costs = cleaned.costs[cleaned.costs["largest_change_bpm"].notna()]
    if costs.empty:
        return sentence
    largest = format_number(float(costs["largest_change_bpm"].max()), 1, unit="bpm")
    return f"{sentence} With flagged samples kept, no round mean would move by more than {largest}."


def _hand_words(cleaned) -> str:
    table = cleaned.overrides
    if table.empty:
        return ""
    reasons = join_words([f"{r['action']}: {r['reason']}" for _, r in table.iterrows()])
    were = "was" if len(table) == 1 else "were"
    return f"{plural(len(table), 'decision')} by hand about recordings {were} applied ({reasons})."


__all__ = [
    "list_remarks",
    "list_warnings",
    "look_into_recordings",
    "plain_account",
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
    words = plain_account(cleaned)
    if typed:
        words += f" {plural(typed, 'mean')} {'was' if typed == 1 else 'were'} typed from a device, which nobody can check."
    seconds = round_seconds(cleaned)
    total = float(seconds["seconds"].sum())
    worst = seconds[~seconds["used"].astype(bool)]
    aside = float(worst["seconds"].sum())
    if total > 0:
        words += f" Of the recorded rounds, {share_in_words(aside / total)} of the time was set aside"
        most = len(worst) > 0 and float(worst["seconds"].iloc[0]) > aside / 2
        words += f", most of it because of {cause_in_words(worst['cause'].iloc[0])}." if most else "."
    return words + _unused_files(cleaned)


MOST_NAMED = 3
"""So many athletes are named beside a cause; more are counted."""
CAUSES_OF_ONE = {
    "no recording": "no recording of {who}",
    "unreadable": "the recording of {who} cannot be read",
    "another day": "the recording of {who} is of another day",
    "not worn then": "{who} did not wear the device then",
    "lost contact": "{who} lost contact",
    "started late": "the recording of {who} started late",
    "ended early": "the recording of {who} ended early",
    "too coarse": "the recording of {who} is too coarse",
}
"""Cause of a round without a mean -> the words around the athletes; others read "A07 clock"."""


def plain_account(cleaned) -> str:
    """Count the rounds sparred, those with a mean heart rate, and those without by athlete and cause: one line."""
    rows = sparred_rows(cleaned)
    lost = cleaned.missing
    line = f"{plural(len(rows), 'round')} sparred: {len(rows) - len(lost)} with a mean"
    if lost.empty:
        return f"{line}."
    groups: dict[tuple, list[str]] = {}
    counts: dict[tuple, int] = {}
    for athlete, cause, shared in zip(lost["athlete"], lost["cause"], lost["shared_with"], strict=True):
        pair = tuple(sorted({athlete, *filter(None, shared.split(", "))})) if shared else ()
        key = (cause, pair)
        counts[key] = counts.get(key, 0) + 1
        groups.setdefault(key, [])
        groups[key] += [a for a in (pair or (athlete,)) if a not in groups[key]]
    said = []
    for key in sorted(groups, key=lambda k: -counts[k]):
        (cause, pair), who = key, groups[key]
        named = join_words(who) if len(who) <= MOST_NAMED else plural(len(who), "athlete")
        words = (
            f"{named} share a strap" if pair else CAUSES_OF_ONE.get(cause, "{who} " + cause).format(who=named)
        )
        said.append(f"{words} ({counts[key]})")
    return f"{line}, {len(lost)} without: {', '.join(said)}."


def look_into_recordings(study, *, keep: bool = False) -> tuple[tuple[str, ...], str]:
    """Clean a study for `check`: what a person should resolve, and the line of account ("" where nothing was sparred)."""
    cleaned = clean_study(study, keep_traces=False, keep_read=keep)
    return cleaned.warnings, plain_account(cleaned) if len(sparred_rows(cleaned)) else ""


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
