"""Sentences about submitted sessions: plain ones, paragraphs for a write-up, and what a survey cannot show."""

from __future__ import annotations

import math

from ...basics import format_ci, format_number, format_percent, if_answered, join_words, plural, upper_first
from ..words import two_lists
from . import phrases as say
from .tables import MEASURE_WORDS


@if_answered("no paragraphs")
def write_up_survey(answer) -> list[str]:
    """Write methods and results of a survey of submitted sessions."""
    paragraphs = [_sample(answer), _methods(answer), _typical(answer)]
    if len(answer.shares):
        paragraphs += [*_kinds(answer), *_shares(answer), _bands(answer)]
    return [*paragraphs, *answer.warnings]


def _sample(answer) -> str:
    people, sent = plural(answer.n_people_sent, "person", "people"), plural(answer.n_sent, "session")
    text = say.SUBMITTED.format(people=people, sessions=sent, analysed=answer.n_sessions, of=answer.n_athletes)
    if len(answer.set_aside):
        count = plural(int(answer.set_aside["n_sessions"].sum()), "session")
        text += " " + say.SET_ASIDE.format(sessions=count, were="was" if count.startswith("1 ") else "were")
    without = answer.n_athletes - answer.n_with_age
    if without:
        text += " " + say.NO_AGE.format(people=plural(without, "person", "people"))
    return text


def _methods(answer) -> str:
    text = say.UNIT
    if not len(answer.shares):
        return f"{text} {say.NO_SHARES}"
    learned = say.LEARNED if answer.learned else say.NEVER_BELOW
    error = format_number(answer.prediction_error_bpm, 1, unit="bpm")
    least = format_number(answer.least_error_bpm, 0, unit="bpm")
    return say.PREDICTED.format(
        text=text, equation=answer.equation_label, error=error, draws=answer.n_simulations, learned=learned, least=least
    )


def _typical(answer) -> str:
    parts = []
    for t in answer.typical.to_dict("records"):
        if math.isnan(t["estimate"]) or t["measure"] == "minutes":
            continue
        name, unit, digits = MEASURE_WORDS[t["measure"]]
        part = f"{upper_first(name)} was {format_number(t['estimate'], digits, unit=unit)}"
        if not math.isnan(t["ci_low"]):
            scatter = say.SD_PEOPLE.format(sd=format_number(t["sd_people"], 1))
            if not math.isnan(t["sd_sessions"]):
                scatter += say.SD_SESSIONS.format(sd=format_number(t["sd_sessions"], 1))
            part += f" (95\N{NO-BREAK SPACE}% interval {format_ci(t['ci_low'], t['ci_high'], digits)}; {scatter})"
        parts.append(part)
    return " ".join(f"{part}." for part in parts)


def _kinds(answer) -> list[str]:
    """Each kind of session by itself, where there are several."""
    if not answer.asked():
        return []
    parts = [
        say.KIND.format(
            **_share_words(k),
            Kind=upper_first(k["session_kind"]),
            sessions=int(k["n_sessions"]),
            people=int(k["n_athletes"]),
        )
        for k in answer.kinds.dropna(subset=["centre"]).to_dict("records")
    ]
    return [" ".join([*parts, say.ALL_TOGETHER])] if parts else []


def _shares(answer) -> list[str]:
    headline, parts = answer.headline(), []
    for s in answer.shares.dropna(subset=["centre"]).to_dict("records"):
        if headline and (s["measure"], s["threshold"]) != (headline["measure"], headline["threshold"]):
            continue  # the others stand in the table
        error = format_ci(100 * s["low"], 100 * s["high"], 0)
        drawn = format_ci(100 * s["total_low"], 100 * s["total_high"], 0)
        words = _share_words(s)
        parts.append(say.AT_OR_ABOVE.format(**words, Means=upper_first(words["means"]), error=error, drawn=drawn))
    rows = answer.headline_equations()
    paragraphs = [" ".join(parts[i : i + 3]) for i in range(0, len(parts), 3)]
    paragraphs = paragraphs or [say.NOTHING_NEAR]
    if len(rows):
        span = format_ci(100 * rows["centre"].min(), 100 * rows["centre"].max(), 0, unit="%")
        equations = plural(len(rows), "published equation")
        paragraphs.append(say.OVER_EQUATIONS.format(**_share_words(rows.iloc[0]), equations=equations, span=span))
    return paragraphs


def _bands(answer) -> str:
    bands = answer.bands
    if bands["time"].isna().all():
        return say.NO_RECORDING.format(source=answer.bands_source)
    first = bands.iloc[0]
    parts = [
        f"{b['words']} {format_percent(b['time'])} ({format_ci(100 * b['time_low'], 100 * b['time_high'], 0)})"
        for b in bands.to_dict("records")
    ]
    people = plural(int(first["n_athletes_recordings"]), "person", "people")
    return say.TIME_SPENT.format(
        recordings=first["n_recordings"],
        people=people,
        below=join_words(parts[:-2]),
        above=join_words(parts[-2:]),
        source=answer.bands_source.split(";")[0].split(" (")[0],
    )


@if_answered()
def plain_survey(answer) -> str:
    """Say in plain words how hard submitted sessions were, and how sure that is: first the kind that was asked about."""
    if answer.asked():
        first, *others = answer.kinds.to_dict("records")
        at, kind = first, f"{first['session_kind']} "
        sizes = _sizes(first["hr_mean_bpm"], first["hr_peak_bpm"])
        who = f"{plural(int(first['n_sessions']), 'session')} of {plural(int(first['n_athletes']), 'person', 'people')}"
    else:
        at, kind, others = answer.headline(), "", []
        typical = answer.typical.set_index("measure")["estimate"]
        sizes = _sizes(typical["hr_mean_bpm"], typical["hr_peak_bpm"])
        who = f"{plural(answer.n_sessions, 'session')} of {plural(answer.n_athletes, 'person', 'people')}"
    text = say.TYPICAL.format(kind=kind, sizes=sizes, who=who)
    if not at or math.isnan(at["centre"]):
        return f"{text} {plain_ages(answer)}"
    words = _share_words(at) | {"threshold": format_number(at["threshold"], 0, unit="%")}
    text += " " + say.MOST_LIKELY.format(**words, kind=kind)
    if words["exact"] != words["share"]:
        text += " " + say.AS_EXACT.format(**words)
    for other in others:
        if not math.isnan(other["centre"]):
            sessions = int(other["n_sessions"])
            kind = other["session_kind"]
            text += " " + say.OTHER_KIND.format(**_share_words(other), kind=kind, sessions=sessions)
    return text


def _share_words(line) -> dict:
    """What phrases about a share are filled with: what was measured, threshold, share, its range, and as if exact."""
    return {
        "means": _measured(line),
        "threshold": line["threshold"],
        "share": format_percent(line["centre"]),
        "range": _range(line["low"], line["high"]),
        "exact": format_percent(line["estimate"]),
    }


def _sizes(mean: float, peak: float) -> str:
    known = [(name, value) for name, value in (("mean", mean), ("peak", peak)) if not math.isnan(value)]
    return join_words([say.SIZE.format(mean=name, value=format_number(value, 0, unit="bpm")) for name, value in known])


def _measured(at) -> str:
    return "means" if at["measure"] == "percent_mean" else "peaks"


def _threshold(answer) -> str:
    return format_number(answer.headline()["threshold"], 0, unit="%")


def _what(answer) -> str:
    return _measured(answer.headline())


def _range(low: float, high: float) -> str:
    return f"{format_number(100 * low, 0)} to {format_percent(high)}"


@if_answered()
def plain_ages(answer) -> str:
    """Say in plain words what is known of people who gave no age: a range, not a guess."""
    if answer.ages.empty:
        return say.EVERY_AGE
    rows = answer.ages[(answer.ages["measure"] == "percent_peak") & (answer.ages["threshold"] == 90)]
    if rows.empty:
        rows = answer.ages[(answer.ages["measure"] == "percent_mean") & (answer.ages["threshold"] == 77)]
    young, old = rows.iloc[0], rows.iloc[-1]
    who = plural(int(young["n_athletes"]), "person", "people")
    return say.AGES.format(
        who=who,
        young=young["age_years"],
        share=format_percent(young["share"]),
        means=_measured(young),
        threshold=young["threshold"],
        old=old["age_years"],
        share_old=format_percent(old["share"]),
    )


@if_answered()
def plain_equations(answer) -> str:
    """Say in plain words how much depends on the published equation."""
    rows = answer.headline_equations()
    if rows.empty:
        return say.NO_EQUATION
    first, last = rows.iloc[0], rows.iloc[-1]
    return say.EQUATIONS.format(
        means=_what(answer),
        threshold=_threshold(answer),
        share=format_percent(first["centre"]),
        first=first["label"],
        share_last=format_percent(last["centre"]),
        last=last["label"],
    )


@if_answered()
def plain_bands(answer) -> str:
    """Say in plain words how the time was spent, and what mean and peak alone would have said."""
    if answer.bands.empty:
        return say.NO_BANDS
    bands = answer.bands.set_index("band")
    hard = ["vigorous", "near_maximal"]
    column = "peak_share" if bands["mean_share"].isna().all() else "mean_share"
    most = bands[column].idxmax()
    share, words = format_percent(bands.loc[most, column]), bands.loc[most, "words"]
    middle = say.WOULD_BE_CALLED.format(measure=column.removesuffix("_share"), share=share, words=words)
    if bands["time"].isna().all():
        return say.ONLY_MEASURES.format(middle=middle)
    spent, recordings = float(bands.loc[hard, "time"].sum()), int(bands["n_recordings"].iloc[0])
    light = float(bands.loc[["very_light", "light"], "time"].sum())
    return say.SPENT.format(
        recordings=plural(recordings, "recording"),
        hard=format_percent(spent),
        light=format_percent(light),
        middle=middle,
    )


@if_answered()
def plain_against(answer) -> str:
    """Say in plain words whether sessions are what published rounds would predict."""
    if answer.against.empty:
        return say.NOTHING_PUBLISHED
    said = []
    for finding, rows in answer.against.groupby("finding", sort=False):
        said.append(_one_finding(finding, rows))
    return " ".join(said)


def _one_finding(finding: str, rows) -> str:
    name = f"\N{LEFT DOUBLE QUOTATION MARK}{finding}\N{RIGHT DOUBLE QUOTATION MARK}"
    last = rows.iloc[-1]
    unit = "% of maximum" if last["outcome"] == "percent_hr_max" else "bpm"
    rounds = format_ci(rows["published"].min(), rows["published"].max(), 0, unit=unit)
    mean, peak = (format_number(last[f"session_{m}"], 0) for m in ("mean", "peak"))
    text = say.NOT_A_ROUND.format(finding=name, rounds=rounds, mean=mean, peak=peak, fits=_fits(rows))
    if math.isnan(last["window_mean"]):
        return text
    stretch = f"{format_number(last['window_mean'], 0)} ({format_ci(last['window_low'], last['window_high'], 0)})"
    people = plural(int(last["n_windows"]), "person", "people")
    return say.HARDEST.format(text=text, seconds=last["work_s"], people=people, mean=stretch)


def _fits(rows) -> str:
    if (rows["verdict"] == "cannot tell").any():
        return say.FIT_UNKNOWN
    if not (rows["verdict"] == "as expected").all():
        return say.FITS_NOT
    low, high = max(0.0, rows["share_low"].min()), min(1.0, rows["share_high"].max())
    share = f"up to {format_percent(high)}" if low == 0 else _range(low, high)
    rest = format_ci(rows["rest_low"].iloc[0], rows["rest_high"].iloc[0], 0, unit="%")
    return say.FITS.format(share=share, rest=rest)


@if_answered()
def plain_senders(answer) -> str:
    """Say in plain words who sent data."""
    table = answer.senders.set_index(["what", "group"])
    shares = []
    for what, group, words in (
        ("sex", "women", "women"),
        ("sensor", "chest strap", "with a chest strap"),
        ("recording", "sent", "with a recording"),
        ("age", "not said", "without a usable age"),
    ):
        if (what, group) in table.index:
            shares.append(f"{format_percent(table.loc[(what, group), 'share_people'])} {words}")
    often = answer.senders[(answer.senders["what"] == "sessions of one person") & (answer.senders["group"] != "1")]
    text = f"{plural(answer.n_people_sent, 'person', 'people')} sent {plural(answer.n_sent, 'session')}"
    if len(often):
        text += say.SENT_MORE.format(share=format_percent(often["share_people"].sum()))
    if shares:
        text += f"; {join_words(shares)}"
    return say.CHOSE_TO_SEND.format(text=text)


@if_answered()
def plain_set_aside(answer) -> str:
    """Say in plain words which sessions are not in the main analysis."""
    if answer.set_aside.empty:
        return say.NONE_SET_ASIDE.format(sessions=plural(answer.n_sent, "session"))
    reasons = [f"{n} ({reason})" for reason, n in answer.set_aside.itertuples(index=False)]
    return say.LEFT_OUT.format(
        analysed=answer.n_sessions, sessions=plural(answer.n_sent, "session"), reasons=join_words(reasons)
    )


@if_answered()
def plain_choices(answer) -> str:
    """Say in plain words whether other choices would have changed the answer."""
    rows = answer.choices.dropna(subset=["centre"])
    if rows.empty:
        return say.NO_CHOICES
    low, high = rows["centre"].min(), rows["centre"].max()
    return say.CHOICES.format(threshold=_threshold(answer), range=_range(low, high))


@if_answered()
def may_say_survey(answer) -> str:
    """List what may be concluded from submitted sessions, what may not, and why."""
    may_not = [say.MAY_NOT_TRAIN, say.MAY_NOT_ENERGY, say.MAY_NOT_ONE, say.MAY_NOT_ALL]
    if answer.n_recordings < answer.n_sessions:
        may_not.append(say.MAY_NOT_TIME)
    return two_lists(say.MAY, [plain_survey(answer), say.MAY_HOLD], say.MAY_NOT, may_not)
