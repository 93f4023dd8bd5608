"""Sentences about submitted sessions: plain ones, paragraphs for a write-up, and what a survey cannot show."""

from __future__ import annotations

import math

from ...basics import (
    format_ci,
    format_number,
    format_percent,
    if_answered,
    join_words,
    plural,
    upper_first,
)
from .tables import (
    MEASURE_WORDS,
    tabulate_against,
    tabulate_agreement,
    tabulate_choices,
    tabulate_senders,
    tabulate_set_aside,
    tabulate_shares,
    tabulate_typical,
)


@if_answered("no paragraphs")
def write_up_survey(answer) -> list[str]:
    """Write methods and results of a survey of submitted sessions."""
    paragraphs = [_sample(answer), _methods(answer), _typical(answer)]
    if len(answer.shares):
        paragraphs += [*_kinds(answer), *_shares(answer), _bands(answer)]
    return [*paragraphs, *answer.warnings]


def _sample(answer) -> str:
    people, sent = plural(answer.n_people_sent, "person", "people"), plural(answer.n_sent, "session")
    text = (
        f"{people} submitted {sent}; we analysed {answer.n_sessions} sessions of {answer.n_athletes} people."
    )
    if len(answer.set_aside):
        count = plural(int(answer.set_aside["n_sessions"].sum()), "session")
        text += f" By rule {count} {'was' if count.startswith('1 ') else 'were'} set aside."
    without = answer.n_athletes - answer.n_with_age
    if without:
        text += f" For {plural(without, 'person', 'people')} no usable age was known; shares of maximum leave them out."
    return text


def _methods(answer) -> str:
    text = (
        "People, not sessions, were the unit. Means are over people's means, with intervals from t; variances between and "
        "within people come from a one-way analysis of variance."
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
        f"{answer.n_simulations} simulated draws one error of the maximum was drawn per person and shared by all sessions of the "
        f"person, {learned}. Its size lay between {least}, the least in a published review of such equations, and that of the "
        "equation. Intervals hold 95\N{NO-BREAK SPACE}% of the draws."
    )


def _typical(answer) -> str:
    parts = []
    for t in answer.typical.to_dict("records"):
        if math.isnan(t["estimate"]) or t["measure"] == "minutes":
            continue
        name, unit, digits = MEASURE_WORDS[t["measure"]]
        part = f"{upper_first(name)} was {format_number(t['estimate'], digits, unit=unit)}"
        if not math.isnan(t["ci_low"]):
            scatter = f"SD between people {format_number(t['sd_people'], 1)}"
            if not math.isnan(t["sd_sessions"]):
                scatter += f", within a person {format_number(t['sd_sessions'], 1)}"
            part += (
                f" (95\N{NO-BREAK SPACE}% interval {format_ci(t['ci_low'], t['ci_high'], digits)}; {scatter})"
            )
        parts.append(part)
    return " ".join(f"{part}." for part in parts)


def _kinds(answer) -> list[str]:
    """Each kind of session by itself, where there are several."""
    if not answer.asked():
        return []
    parts = [
        f"{upper_first(k['session_kind'])} sessions: {format_percent(k['centre'])} of people's sessions had {_measured(k)} at or "
        f"above {k['threshold']:g}\N{NO-BREAK SPACE}% ({_range(k['low'], k['high'])}; {int(k['n_sessions'])} sessions, "
        f"{int(k['n_athletes'])} people)."
        for k in answer.kinds.dropna(subset=["centre"]).to_dict("records")
    ]
    return [" ".join([*parts, "What follows is about all of them together."])] if parts else []


def _shares(answer) -> list[str]:
    headline, parts = answer.headline(), []
    for s in answer.shares.dropna(subset=["centre"]).to_dict("records"):
        if headline and (s["measure"], s["threshold"]) != (headline["measure"], headline["threshold"]):
            continue  # the others stand in the table
        what = "Means" if s["measure"] == "percent_mean" else "Peaks"
        error = format_ci(100 * s["low"], 100 * s["high"], 0)
        drawn = format_ci(100 * s["total_low"], 100 * s["total_high"], 0)
        parts.append(
            f"{what} at or above {s['threshold']:g}\N{NO-BREAK SPACE}%: {format_percent(s['centre'])} of people's sessions "
            f"({error} with the error of the prediction, {drawn} also for people drawn anew; "
            f"{format_percent(s['estimate'])} with maxima taken as exact)."
        )
    rows = answer.headline_equations()
    paragraphs = [" ".join(parts[i : i + 3]) for i in range(0, len(parts), 3)]
    paragraphs = paragraphs or ["No session came near any threshold."]
    if len(rows):
        span = format_ci(100 * rows["centre"].min(), 100 * rows["centre"].max(), 0, unit="%")
        what = "means" if rows["measure"].iloc[0] == "percent_mean" else "peaks"
        paragraphs.append(
            f"Over {plural(len(rows), 'published equation')} for both sexes the most likely share of {what} at or above "
            f"{rows['threshold'].iloc[0]:g}\N{NO-BREAK SPACE}% runs from {span}."
        )
    return paragraphs


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
        f"{first['n_recordings']} whole recordings of {people} tell how the time was spent, people counted once. "
        f"Below the vigorous band it was {join_words(parts[:-2])}. Above, it was {join_words(parts[-2:])}. The bands are those "
        f"of the {answer.bands_source.split(';')[0].split(' (')[0]}."
    )


__all__ = [
    "may_say_survey",
    "plain_against",
    "plain_ages",
    "plain_bands",
    "plain_choices",
    "plain_equations",
    "plain_senders",
    "plain_set_aside",
    "plain_survey",
    "tabulate_against",
    "tabulate_agreement",
    "tabulate_choices",
    "tabulate_senders",
    "tabulate_set_aside",
    "tabulate_shares",
    "tabulate_typical",
    "write_up_survey",
]


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
    text = f"In a typical {kind}session {sizes} ({who}, each person counted once)."
    if not at or math.isnan(at["centre"]):
        return f"{text} {plain_ages(answer)}"
    threshold = format_number(at["threshold"], 0, unit="%")
    text += (
        f" Most likely, the {_measured(at)} of {format_percent(at['centre'])} of people's {kind}sessions lie at or above "
        f"{threshold} of their own maximum; with the error of predicted maxima it may be {_range(at['low'], at['high'])}. "
        f"Taking every predicted maximum as exact would give {format_percent(at['estimate'])}, which mixes the error of the "
        "prediction with real differences."
    )
    for other in others:
        if not math.isnan(other["centre"]):
            text += (
                f" Of {other['session_kind']} sessions ({int(other['n_sessions'])}) it is {format_percent(other['centre'])} "
                f"({_range(other['low'], other['high'])})."
            )
    return text


def _sizes(mean: float, peak: float) -> str:
    known = [(name, value) for name, value in (("mean", mean), ("peak", peak)) if not math.isnan(value)]
    return join_words([f"the {name} was {format_number(value, 0, unit='bpm')}" for name, value in known])


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
        return "Everybody gave an age that can be used."
    rows = answer.ages[(answer.ages["measure"] == "percent_peak") & (answer.ages["threshold"] == 90)]
    if rows.empty:
        rows = answer.ages[(answer.ages["measure"] == "percent_mean") & (answer.ages["threshold"] == 77)]
    young, old = rows.iloc[0], rows.iloc[-1]
    what = "peaks" if young["measure"] == "percent_peak" else "means"
    who = plural(int(young["n_athletes"]), "person", "people")
    return (
        f"Of {who} no age is known. If all were {young['age_years']:g}, {format_percent(young['share'])} of their sessions would "
        f"have {what} at or above {young['threshold']:g}\N{NO-BREAK SPACE}% of the predicted maximum; if all were "
        f"{old['age_years']:g}, {format_percent(old['share'])}. They are not counted in the shares."
    )


@if_answered()
def plain_equations(answer) -> str:
    """Say in plain words how much depends on the published equation."""
    rows = answer.headline_equations()
    if rows.empty:
        return "No equation can be used, since no age is known."
    first, last = rows.iloc[0], rows.iloc[-1]
    return (
        f"The equation matters: the share of sessions with {_what(answer)} at or above {_threshold(answer)} of maximum is most "
        f"likely {format_percent(first['centre'])} under {first['label']} and {format_percent(last['centre'])} under "
        f"{last['label']}. No published equation is made from grapplers; only a measured maximum would settle it."
    )


@if_answered()
def plain_bands(answer) -> str:
    """Say in plain words how the time was spent, and what mean and peak alone would have said."""
    if answer.bands.empty:
        return "Without ages there are no shares of maximum, and so no bands."
    bands = answer.bands.set_index("band")
    hard = ["vigorous", "near_maximal"]
    column = "peak_share" if bands["mean_share"].isna().all() else "mean_share"
    most = bands[column].idxmax()
    share, words = format_percent(bands.loc[most, column]), bands.loc[most, "words"]
    middle = f"By their {column.removesuffix('_share')} alone, {share} of sessions would be called {words}"
    if bands["time"].isna().all():
        return f"No recording with a known age was sent. {middle}; mean and peak do not tell how the time was spent."
    spent, recordings = float(bands.loc[hard, "time"].sum()), int(bands["n_recordings"].iloc[0])
    light = float(bands.loc[["very_light", "light"], "time"].sum())
    return (
        f"In {plural(recordings, 'recording')} {format_percent(spent)} of the time was vigorous or harder, and "
        f"{format_percent(light)} light or very light. {middle}: a mean tells nothing of how the time was spent, and a peak "
        "nothing of how long it lasted."
    )


@if_answered()
def plain_against(answer) -> str:
    """Say in plain words whether sessions are what published rounds would predict."""
    if answer.against.empty:
        return "No published round mean stands in published.csv of the survey, so that there is nothing to compare with."
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
    text = (
        f"A session is not a round: it holds warm-up, drilling and rest. {name} gives {rounds} for its rounds; the mean of our "
        f"sessions is {mean}, their peak {peak}. {_fits(rows)}"
    )
    if math.isnan(last["window_mean"]):
        return text
    stretch = (
        f"{format_number(last['window_mean'], 0)} ({format_ci(last['window_low'], last['window_high'], 0)})"
    )
    people = plural(int(last["n_windows"]), "person", "people")
    return (
        f"{text} The hardest {last['work_s']:g} seconds of the recordings of {people} had a mean of {stretch}: the part of a "
        "session that a published round can be set beside."
    )


def _fits(rows) -> str:
    if (rows["verdict"] == "cannot tell").any():
        return "We cannot tell whether that fits."
    if not (rows["verdict"] == "as expected").all():
        return "That does not fit: sessions would have to be sparred nearly throughout, or hardly at all."
    low, high = max(0.0, rows["share_low"].min()), min(1.0, rows["share_high"].max())
    share = f"up to {format_percent(high)}" if low == 0 else _range(low, high)
    rest = format_ci(rows["rest_low"].iloc[0], rows["rest_high"].iloc[0], 0, unit="%")
    return (
        f"That is as expected if {share} of a session were sparred that hard and the rest were spent at {rest} of maximum (our "
        "assumption)."
    )


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
    often = answer.senders[
        (answer.senders["what"] == "sessions of one person") & (answer.senders["group"] != "1")
    ]
    text = f"{plural(answer.n_people_sent, 'person', 'people')} sent {plural(answer.n_sent, 'session')}"
    if len(often):
        text += f"; {format_percent(often['share_people'].sum())} of them sent more than one"
    if shares:
        text += f"; {join_words(shares)}"
    return f"{text}. They chose to send: people who own a sensor and send sessions may differ from the others on the mat."


@if_answered()
def plain_set_aside(answer) -> str:
    """Say in plain words which sessions are not in the main analysis."""
    if answer.set_aside.empty:
        return f"All {plural(answer.n_sent, 'session')} are in the main analysis."
    reasons = [f"{n} ({reason})" for reason, n in answer.set_aside.itertuples(index=False)]
    return f"{answer.n_sessions} of {plural(answer.n_sent, 'session')} are in the main analysis; left out: {join_words(reasons)}."


@if_answered()
def plain_choices(answer) -> str:
    """Say in plain words whether other choices would have changed the answer."""
    rows = answer.choices.dropna(subset=["centre"])
    if rows.empty:
        return "Other choices cannot be compared, since no share of peaks is known."
    low, high = rows["centre"].min(), rows["centre"].max()
    return (
        f"Under other choices the most likely share of all sessions with peaks at or above {_threshold(answer)} of maximum runs "
        f"from {_range(low, high)}."
    )


@if_answered()
def may_say_survey(answer) -> str:
    """List what may be concluded from submitted sessions, what may not, and why."""
    may = [
        plain_survey(answer),
        "This holds for people who send data, with the equation named and its error.",
    ]
    may_not = [
        "That sessions make people fitter: everyone was seen once or a few times, nobody was tested before and after, and "
        "nobody was assigned to train more or less.",
        "How much oxygen or energy a session takes: in grappling, gripping, breath-holding, heat and excitement raise heart "
        "rate beyond what oxygen uptake would.",
        "How hard one person works: the error of one predicted maximum is as wide as a band of intensity.",
        "What people on the mat do on average: whoever sends data chose to.",
    ]
    if answer.n_recordings < answer.n_sessions:
        may_not.append(
            "How the time was spent in sessions that came without a recording: mean and peak leave it open."
        )
    lists = (("May be said", may), ("May not be said, and why", may_not))
    return "\n\n".join(f"**{title}**\n\n" + "\n".join(f"- {t}" for t in texts) for title, texts in lists)
