"""Plain sentences about cleaning: what was recorded, flagged, set aside and lost."""

from __future__ import annotations

import numpy as np

from ...basics import format_ci, format_number, format_percent, if_answered, join_words, plural
from ...cleaning import clean_study
from ...cleaning.clocks import BY_DECISION, BY_RULE, clock_in_words
from . import phrases as say
from .tables import cause_in_words, round_seconds, share_in_words, sparred_rows, without_codes


@if_answered()
def plain_bounds(cleaned) -> str:
    """Say how far missing time could move round means, since contact is lost in the hardest scrambles."""
    used = cleaned.bounds.merge(
        cleaned.rows.loc[cleaned.rows["hr_source"] == "trace", ["session", "athlete", "round_no"]],
        on=["session", "athlete", "round_no"],
    )
    touched = used[used["aside_s"] > 2]
    if touched.empty:
        return say.WHOLE_ROUNDS
    low = float((touched["mean_bpm"] - touched["mean_low_bpm"]).max())
    high = float((touched["mean_high_bpm"] - touched["mean_bpm"]).max())
    return say.PART_ROUNDS.format(
        means=plural(len(used), "round mean"),
        count=len(touched),
        rest="rests" if len(touched) == 1 else "rest",
        lower=format_number(low, 1, unit="bpm"),
        higher=format_number(high, 1, unit="bpm"),
    )


@if_answered("paragraphs")
def write_up_cleaning(cleaned) -> list[str]:
    """Write the paragraph on heart-rate processing: rounds, clocks, rules."""
    return [_windows_words(cleaned), _rules_words(cleaned)] if cleaned.traces else []


@if_answered("no paragraphs")
def write_up_set_aside(cleaned) -> list[str]:
    """Write what was set aside, what that could change, and which means nobody can check."""
    rows = sparred_rows(cleaned)
    typed = rows[rows["hr_source"] == "typed"]
    parts = []
    if cleaned.traces:
        parts += [_aside_words(cleaned, rows), _bounds_words(cleaned)]
        count = len(cleaned.overrides)
        parts.append(say.BY_HAND.format(decisions=plural(count, "decision"), was=_was(count)) if count else "")
    if len(typed):
        means, people = plural(len(typed), "round mean"), plural(typed["athlete"].nunique(), "athlete")
        it = "it" if len(typed) == 1 else "them"
        parts.append(say.TYPED.format(means=means, people=people, was=_was(len(typed)), it=it))
    return [p for p in parts if p]


def _was(count: int) -> str:
    return "was" if count == 1 else "were"


def _windows_words(cleaned) -> str:
    how, clocks = set(cleaned.windows["found_by"]), cleaned.clocks
    people = plural(len({a for _, a in cleaned.traces}), "athlete")
    said = [say.TRACES.format(traces=plural(len(cleaned.traces), "recording"), people=people)]
    if "trace" in how:
        least = float(cleaned.windows.loc[cleaned.windows["found_by"] == "trace", "confidence"].min())
        said.append(say.FOUND_BY_TRACE.format(least=format_number(least, 2)))
    else:
        said.append(say.FOUND_BY_CLOCK)
    logged = clocks[clocks["offset_source"] == "log"]["offset_s"].astype(float)
    if len(logged):
        spread = format_ci(float(logged.min()), float(logged.max()), 0, unit="s")
        span = format_number(float(logged.iloc[0]), 0, unit="s", sign=True) if len(logged) == 1 else spread
        said.append(say.OFFSETS.format(recordings=plural(len(logged), "recording"), span=span))
    by_event = int((clocks["offset_source"] == "common event").sum())
    if by_event:
        said.append(say.BY_EVENT.format(recordings=plural(by_event, "recording"), was=_was(by_event)))
    for source, words in ((BY_RULE, say.CLOCK_BY_RULE), (BY_DECISION, say.CLOCK_BY_DECISION)):
        moved = int((clocks["offset_source"] == source).sum())
        if moved:
            said.append(words.format(recordings=plural(moved, "recording")))
    held = int((clocks["settled"] == "held back").sum())
    off = int((clocks["agrees"] == "no").sum()) - held
    off -= int(clocks["offset_source"].isin([BY_RULE, BY_DECISION]).sum())
    if held:
        said.append(say.CLOCK_HELD.format(recordings=plural(held, "recording"), was=_was(held)))
    if off > 0:
        said.append(say.OTHER_OFFSET.format(recordings=plural(off, "recording")))
    return " ".join(said)


def _rules_words(cleaned) -> str:
    rule = cleaned.rules.set_index("parameter")["value"]
    return say.RULES.format(
        low=format_number(float(rule["lowest_bpm"]), 0),
        high=format_number(float(rule["highest_bpm"]), 0, unit="bpm"),
        above=format_number(float(rule["above_max_bpm"]), 0, unit="bpm"),
        flat=format_number(float(rule["flat_s"]), 0, unit="s"),
        share=format_percent(float(rule["least_valid_share"])),
        shift=format_number(float(rule["gap_shift_bpm"]), 0, unit="bpm"),
    )


def _aside_words(cleaned, rows) -> str:
    seconds = round_seconds(cleaned)
    total = float(seconds["seconds"].sum())
    if not total:
        return ""
    aside = seconds[~seconds["used"].astype(bool)]
    share = share_in_words(float(aside["seconds"].sum()) / total)
    said = [say.ASIDE.format(minutes=format_number(total / 60, 0, unit="min"), share=share)]
    if len(aside):
        said.append(say.ASIDE_MOST.format(cause=cause_in_words(aside["cause"].iloc[0])))
    without = int((rows["hr_mean_bpm"].isna()).sum())
    if without:
        have = "has" if without == 1 else "have"
        said.append(say.NO_MEAN.format(rounds=plural(without, "sparred round"), all=len(rows), have=have))
    return " ".join(said)


def _bounds_words(cleaned) -> str:
    sentence = plain_bounds(cleaned)
    costs = cleaned.costs[cleaned.costs["largest_change_bpm"].notna()]
    if costs.empty:
        return sentence
    largest = format_number(float(costs["largest_change_bpm"].max()), 1, unit="bpm")
    return f"{sentence} {say.FLAGS_KEPT.format(largest=largest)}"


@if_answered()
def plain_cleaning(cleaned, *, show_codes: bool = False) -> str:
    """Say in plain words how much heart rate there is and how much of it can be used."""
    rows = sparred_rows(cleaned)
    if not len(rows):
        return say.NO_ROUND
    source = rows["hr_source"]
    traced, typed = int((source == "trace").sum()), int((source == "typed").sum())
    if not cleaned.traces and not traced:
        if typed:
            return say.ONLY_TYPED_ONE if typed == 1 else say.ONLY_TYPED.format(count=typed)
        return say.NO_RATE
    said = [plain_opening(cleaned, show_codes=show_codes)]
    seconds = round_seconds(cleaned)
    total = float(seconds["seconds"].sum())
    if total > 0:
        worst = seconds[~seconds["used"].astype(bool)]
        aside = float(worst["seconds"].sum())
        most = len(worst) > 0 and float(worst["seconds"].iloc[0]) > aside / 2
        cause = cause_in_words(worst["cause"].iloc[0]) if most else ""
        phrase = say.TIME_ASIDE_MOST if cause else say.TIME_ASIDE
        said.append(phrase.format(share=share_in_words(aside / total), cause=cause))
    return " ".join([*said, *_unused_files(cleaned)])


def plain_opening(cleaned, *, show_codes: bool = False) -> str:
    """What the write-up opens with: which devices are held back, the line of account, and how many means were typed."""
    rows = sparred_rows(cleaned)
    typed = int((rows["hr_source"] == "typed").sum())
    said = [*_held_back(cleaned), plain_account(cleaned)]
    if 1 < typed == rows["hr_mean_bpm"].notna().sum():
        said.append(say.TYPED_ALL)
    elif typed:
        said.append(say.TYPED_AMONG.format(means=plural(typed, "mean"), was=_was(typed)))
    text = " ".join(said)
    return text if show_codes else without_codes(cleaned, text)


def _held_back(cleaned) -> list[str]:
    """Whose devices are held back, first of all that is said."""
    held = cleaned.clocks[cleaned.clocks["settled"] == "held back"].drop_duplicates(["session", "athlete"])
    said = []
    for session, rows in held.groupby("session", sort=False):
        where = (" " + say.IN_SESSION.format(session=session)) if cleaned.clocks["session"].nunique() > 1 else ""
        off = zip(rows["athlete"], rows["found_offset_s"], rows["offset_s"].fillna(0.0), strict=True)
        who = join_words([f"{_named(a)} ({clock_in_words(found - used)})" for a, found, used in off])
        words = say.HELD_ONE if len(rows) == 1 else say.HELD_MORE
        said.append(words.format(where=where, who=who, count=len(rows)))
    return said


def _named(code: str) -> str:
    """A code among words; of digits alone it would read as a count, and nobody could hide it."""
    return f"athlete {code}" if code.isdecimal() else code


MOST_NAMED = 3
"""Up to this many athletes are named beside a cause; more are counted."""


def plain_account(cleaned) -> str:
    """Count the rounds sparred, those with a mean heart rate, and those without by athlete and cause: one line."""
    rows = sparred_rows(cleaned)
    lost = cleaned.missing
    line = say.ACCOUNT.format(rounds=plural(len(rows), "round"), means=len(rows) - len(lost))
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
        named = join_words([_named(a) for a in who]) if len(who) <= MOST_NAMED else plural(len(who), "athlete")
        words = say.SHARE_A_STRAP if pair else say.CAUSES_OF_ONE.get(cause, "{who} " + cause)
        said.append(f"{words.format(who=named)} ({counts[key]})")
    return f"{line}, {len(lost)} without: {', '.join(said)}."


def look_into_recordings(study, *, keep: bool = False) -> tuple[tuple[str, ...], str]:
    """Clean a study for `check`: what a person should resolve, and the line of account ("" where nothing was sparred)."""
    cleaned = clean_study(study, keep_traces=False, keep_read=keep)
    return cleaned.warnings, plain_account(cleaned) if len(sparred_rows(cleaned)) else ""


def _unused_files(cleaned) -> list[str]:
    """Say that files gave nothing: as a line among others this is overlooked."""
    table = cleaned.ledger.table
    files = table[(table["measure"] == "files") & ~table["used"].astype(bool)]
    if files.empty:
        return []
    other_day = int((files["cause"] == "of another day").sum())
    one = other_day == 1
    words = {"recordings": plural(len(files), "recording"), "count": other_day, "its": "its" if one else "their"}
    if other_day == len(files):
        return [say.UNUSED_DAY.format(**words, they_are="it is" if one else "they are")]
    return [(say.UNUSED_SOME_DAY if other_day else say.UNUSED).format(**words)]


@if_answered()
def plain_costs(cleaned) -> str:
    """Say by how much round means would move were flagged samples kept."""
    table = cleaned.costs[cleaned.costs["largest_change_bpm"].notna()]
    if table.empty:
        return say.NO_COST
    worst = table.sort_values("largest_change_bpm", ascending=False, kind="stable").iloc[0]
    regained = int(cleaned.costs["rounds_regained"].sum())
    words = say.COST.format(
        seconds=format_number(float(table["seconds"].sum()), 0, unit="s"),
        moved=format_number(worst["largest_change_bpm"], 1, unit="bpm"),
        rule=worst["flag"],
    )
    return words + (say.REGAINED.format(rounds=plural(regained, "round")) if regained else ".")


@if_answered()
def plain_clocks(cleaned) -> str:
    """Say whether the clocks of the devices agree with the timekeeper's."""
    clocks = cleaned.clocks
    if clocks.empty:
        return say.NO_CLOCKS
    logged = int((clocks["offset_source"] == "log").sum())
    off = int((clocks["agrees"] == "no").sum())
    words = say.ON_CLOCK.format(recordings=plural(len(clocks), "recording"), were=_was(len(clocks)))
    by_event = int((clocks["offset_source"] == "common event").sum())
    words += say.BY_LOG.format(count=logged) if logged else ""
    words += say.BY_COMMON_EVENT.format(count=by_event) if by_event else ""
    checked = clocks[clocks["agrees"].isin(["yes", "no"])]
    if checked.empty:
        return words + say.NONE_CHECKED
    if not off:
        return words + say.ALL_AGREE.format(count=len(checked))
    held = int((clocks["settled"] == "held back").sum())
    settled = off - held
    words += say.SOME_DISAGREE.format(count=off, checked=len(checked))
    words += say.HELD_BACK.format(count=held, are="is" if held == 1 else "are") if held else ""
    return words + (say.CLOCKS_SETTLED.format(count=settled, are="is" if settled == 1 else "are") if settled else ".")


def plain_tried(tried) -> str:
    """Say what other rules would change for one athlete."""
    changed = [
        say.TRIED.get(name, f"{name} = {{v:g}}").format(v=float(value), share=format_percent(value))
        for name, value in tried.changed.items()
    ]
    before, after = (int(tried.flags[f"samples_{n}"].sum()) for n in ("cleaned", "tried"))
    rounds = tried.rounds
    moved = (rounds["mean_bpm_tried"] - rounds["mean_bpm_cleaned"]).abs().max()
    gained = int((rounds["mean_bpm_tried"].notna() & rounds["mean_bpm_cleaned"].isna()).sum())
    lost = int((rounds["mean_bpm_tried"].isna() & rounds["mean_bpm_cleaned"].notna()).sum())
    words = say.WOULD_FLAG.format(
        rules=join_words(changed) or say.AS_THEY_ARE, after=plural(after, "sample"), before=before
    )
    if np.isfinite(moved):
        words += say.MOVES_AT_MOST.format(moved=format_number(float(moved), 1, unit="bpm"))
    words += say.GAIN.format(rounds=plural(gained, "round")) if gained else ""
    return words + (say.LOSE.format(rounds=plural(lost, "round")) if lost else ".")
