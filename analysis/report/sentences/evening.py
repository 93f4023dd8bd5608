"""Sentences about the protocol, the conditions of the evening, and how things were measured."""

from __future__ import annotations

from datetime import date

from ...basics import format_ci, format_number, join_words, plural

MOST_SESSIONS = 4
"""More sessions than this are counted, not described one by one."""

SITES = {"fingertip": "the fingertip", "ear_lobe": "the ear lobe", "other": "another site"}


def minutes(seconds: float) -> str:
    """Write seconds as minutes and seconds."""
    if seconds != seconds:
        return "not available"
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}\N{NO-BREAK SPACE}min"


def day(text: str) -> str:
    """Write an ISO date as a reader would: 14 October 2026."""
    try:
        when = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{when.day} {_MONTHS[when.month - 1]} {when.year}"


_MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]


def write_up_protocol(study, conditions) -> list[str]:
    """Describe rounds, rests and what was timed."""
    protocol = study.protocol
    if not protocol.rounds:
        return []
    text = f"A session consisted of {_rounds(protocol, study.sport)}."
    for name, other in protocol.groups.items():
        text += f" The group {name} sparred {_rounds(other)}."
    text += _timed(conditions)
    if conditions.rounds_planned:
        every = conditions.rounds_done == conditions.rounds_planned
        count = (
            f"all {conditions.rounds_done}"
            if every
            else f"{conditions.rounds_done} of {conditions.rounds_planned}"
        )
        text += f" In the session that is analysed, {count} rounds noted for the athletes were sparred at least in part"
        if conditions.n_guests:
            guests = "all" if conditions.n_guests == conditions.rounds_done else str(conditions.n_guests)
            text += f", {guests} of them against a guest who was not measured"
        text += "."
    return [text]


def _rounds(protocol, sport: str = "") -> str:
    text = f"{plural(protocol.rounds, 'round')} of {minutes(protocol.work_s)}" + (
        f" of {sport}" if sport else ""
    )
    if protocol.rounds > 1 and protocol.rest_s == protocol.rest_s:
        text += f" with {minutes(protocol.rest_s)} of rest between them"
    return text


def _timed(conditions) -> str:
    timed = conditions.rounds_timed
    lengths = timed["length_s"].dropna() if len(timed) else []
    if not len(lengths):
        return ""
    text = f" By the timekeeper's clock the rounds lasted {_range(lengths)}"
    rests = timed["rest_before_s"].dropna()
    return text + (f" and the rests {_range(rests)}." if len(rests) else ".")


def _range(seconds) -> str:
    low, high = float(seconds.min()), float(seconds.max())
    return format_number(low, 0, unit="s") if low == high else format_ci(low, high, 0, unit="s")


def write_up_conditions(conditions) -> list[str]:
    """Describe dates, places and climate."""
    sentences = []
    for _, s in conditions.sessions.iterrows():
        about = [f"on {day(s['date'])}"] if s["date"] else []
        climate = []
        if s["temperature_c"] == s["temperature_c"]:
            climate.append(format_number(s["temperature_c"], 1, unit="°C"))
        if s["humidity_percent"] == s["humidity_percent"]:
            climate.append(format_number(s["humidity_percent"], 0, unit="%") + " relative humidity")
        about += [f"at {join_words(climate)}"] if climate else []
        if about:
            name = f"Session {s['session']}" if len(conditions.sessions) > 1 else "The session"
            where = f" (place: {s['place']})" if s["place"] else ""
            sentences.append(f"{name} took place {', '.join(about)}{where}.")
    if len(sentences) > MOST_SESSIONS:
        dates = sorted(d for d in conditions.sessions["date"] if d)
        between = f" between {day(dates[0])} and {day(dates[-1])}" if dates else ""
        return [f"There were {len(conditions.sessions)} sessions{between}."]
    return [" ".join(sentences)] if sentences else []


def write_up_measurements(study, description, capacity_titles: dict[str, str]) -> list[str]:
    """Describe how heart rate, lactate, exertion and aerobic capacity were measured."""
    conditions, participants = description.conditions, description.participants
    means = description.round_means
    measured = set(means.table["outcome"]) if means else set()
    parts = [
        _heart_rate(conditions) if conditions.n_traces else "",
        _lactate(conditions) if "lactate_mmol_l" in measured else "",
        (
            f"Perceived exertion was rated after each round on a scale from {_scale(study)}."
            if "exertion" in measured
            else ""
        ),
        _capacity(participants, capacity_titles) if participants.n_tested else "",
    ]
    return [p for p in parts if p]


def _heart_rate(conditions) -> str:
    return f"Heart rate was recorded throughout the session in {plural(conditions.n_traces, 'athlete')}."


def _scale(study) -> str:
    return study.protocol.exertion_scale.replace("-", " to ")


def _lactate(conditions) -> str:
    sessions = conditions.sessions

    def named(column):
        return join_words(list(dict.fromkeys(v for v in sessions[column] if v)))

    kind = named("sample_kind")
    sites = join_words(list(dict.fromkeys(SITES.get(v, v) for v in sessions["sample_site"] if v)))
    blood = f"{kind} blood" if kind and kind != "other" else "blood"
    text = f"Lactate was measured in {blood}" + (f" from {sites}" if sites else "")
    analyser, lot = named("analyser"), named("strip_lot")
    text += f" (analyser: {analyser}{f'; strip lot {lot}' if lot else ''})" if analyser else ""
    delay = conditions.delay
    if not delay:
        return text + "; the delay from the end of the round to the sample was not noted."
    samples, after = plural(delay["n_observations"], "sample"), "after the end of the round"
    if delay["low"] == delay["high"]:
        return f"{text}, {format_number(delay['median'], 0, unit='s')} {after} ({samples})."
    return (
        f"{text}, a median of {format_number(delay['median'], 0, unit='s')} {after} "
        f"(range {format_ci(delay['low'], delay['high'], 0, unit='s')}, {samples})."
    )


def _capacity(participants, titles: dict[str, str]) -> str:
    tests = participants.tests
    named = [
        f"{titles.get(t['test'], t['test'].replace('_', ' '))} ({plural(int(t['n_athletes']), 'athlete')})"
        for _, t in tests.iterrows()
    ]
    text = f"Aerobic capacity was obtained by {join_words(named)}."
    kinds = set(tests["error_kind"])
    if "prediction" in kinds and "retest" in kinds:
        text += (
            " Part of these values are estimated by published equations and part are measured; both are analysed "
            "together, each with the error of its kind."
        )
    elif "prediction" in kinds:
        text += " These values are estimated by published equations and carry their error of prediction."
    from_heart_rate = tests["uses_heart_rate"].astype(bool)
    if from_heart_rate.any():
        which = "these tests" if from_heart_rate.all() else "some of these tests"
        which = "this test" if len(tests) == 1 else which
        text += (
            f" In {which} heart rate itself enters the estimate, so that such a value and a heart rate in sparring are not "
            "independent measurements."
        )
    return text
