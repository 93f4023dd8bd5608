"""Sentences about deviations from the plan and about limitations."""

from __future__ import annotations

import re
from datetime import date

from ...answers import DEMO_FOLDER
from ...basics import FEWEST_PEOPLE, NotYet, format_ci, format_number, join_words, lower_first, plural, upper_first
from ...capacity.adjustment import covariate_words
from ...environment import python_name
from ...physiology import known_aerobic_tests
from ...study import OUTCOMES, list_needs
from ...study.binding import planned
from ...study.deviations import plan_deviations
from ...study.stand_out import delay_drift
from . import phrases as say


def deviations(answers) -> list[tuple[str, str, str]]:
    """List what was done otherwise than planned."""
    study, plan = answers.study, answers.study.plan
    if plan.frozen:
        found = [
            (upper_first(line.part), line.planned, line.done) for line in plan_deviations(study).itertuples(index=False)
        ]
    else:
        found = [("Plan before the data", "fixed before the first measurement", "not fixed")]
        enrolled = answers.description.participants.n_athletes
        if plan.n_athletes and plan.n_athletes != enrolled:
            found.append(("Number of athletes", plural(plan.n_athletes, "athlete"), plural(enrolled, "athlete")))
        if len(study.decisions):
            found.append(("Decisions by a person", "by rule", plural(len(study.decisions), "decision")))
    return found + _analyses(answers)


def asked_questions(answers) -> tuple:
    """The questions that somebody asks: with a hypothesis, or with an outcome that was measured; all where none was written."""
    plan = planned(answers.study)
    if "hypotheses" in plan.proposed:
        return answers.questions
    written = {h.question for h in plan.hypotheses}
    return tuple(q for q in answers.questions if q.id in written or q.outcome in answers.fitness_outcomes)


def _analyses(answers) -> list[tuple[str, str, str]]:
    """Planned analyses that were not done, or were adjusted otherwise."""
    plan, found = answers.study.plan, []
    asked = {q.id for q in asked_questions(answers)}
    for question, outcome in plan.primary_outcomes.items() if answers.fitness_outcomes else ():
        if question not in asked:
            continue
        family, label = question.split(".")[0], OUTCOMES[outcome].label
        answer = answers.rounds(outcome) if family == "rounds" else answers.fitness(outcome)
        if isinstance(answer, NotYet):
            what = say.CHANGE if family == "rounds" else say.RELATION
            found.append((f"{label}: {what}", "analysed", say.NOT_ANALYSED.format(reason=_reason(answer))))
        elif family == "fitness" and answer.departs:
            wanted, done = map(covariate_words, (plan.adjusted_for(question, outcome), answer.adjusted_for))
            found.append((say.ADJUSTMENT.format(outcome=label), wanted, done or "nothing"))
    return found


def _reason(answer) -> str:
    why = getattr(answer, "why", "").partition(":")[0]  # the whole reason stands among the results
    return lower_first(why).rstrip(".") if why else f"needs {answer.needs}"


def write_up_deviations(answers) -> list[str]:
    """Say in what the study departed from its plan."""
    found, plan = deviations(answers), answers.study.plan
    if not found:
        return [say.NOTHING_DEPARTED]
    if not plan.frozen and len(found) == 1:
        return [say.NO_PLAN]
    if plan.frozen:
        text = say.DEPARTED.format(points=plural(len(found), "point"))
    else:
        others = plural(len(found) - 1, "other point departs", "other points depart")
        text = say.NOT_FIXED_DEPARTED.format(points=upper_first(others))
    return [f"{text} {say.DECISIONS}" if len(answers.study.decisions) else text]


def write_up_limitations(answers) -> list[str]:
    """Say what limits the conclusions, and in which direction where that is known."""
    people, conditions = answers.description.participants, answers.description.conditions
    survey = [say.SURVEY] if answers.survey() else []
    if not people.n_athletes:
        return survey
    clubs = {0: "a small group", 1: "one club"}.get(people.n_clubs, f"{people.n_clubs} clubs")
    first = say.ONE_GROUP.format(clubs=clubs) + (f" {say.ORDER}" if answers.measured_outcomes else "")
    return [first, *_fitness_limits(answers, people), *_measurement_limits(answers, conditions), *survey]


def _fitness_limits(answers, people) -> list[str]:
    answer = next((a for o in answers.fitness_outcomes if (a := answers.fitness(o))), None)
    if not answer:
        return []
    said = [say.NOT_ASSIGNED, say.ROUGHLY.format(people=plural(answer.n_athletes, "athlete"))]
    tests = people.tests
    predicted = int(tests.loc[tests["error_kind"] == "prediction", "n_athletes"].sum())
    if predicted:
        who = f"all {predicted}" if predicted == people.n_tested else f"{predicted} of {people.n_tested}"
        said.append(say.ESTIMATED.format(who=who))
    with_heart_rate = int(tests.loc[tests["uses_heart_rate"].astype(bool), "n_athletes"].sum())
    if with_heart_rate:
        said.append(say.TEST_READS_RATE.format(people=plural(with_heart_rate, "athlete")))
    said.append(say.RATE_IS_NOT_UPTAKE)
    return [" ".join(said)]


def _measurement_limits(answers, conditions) -> list[str]:
    parts, delay = [], conditions.delay
    if delay and delay["high"] > delay["low"]:
        low, high = format_number(delay["low"], 0), format_number(delay["high"], 0, unit="s")
        parts.append(say.LACTATE_DELAY.format(low=low, high=high))
    rounds = answers.study.rounds
    drift = delay_drift(rounds[rounds["session"].eq(answers.study.plan.primary_session)])
    if drift:
        low, high = format_number(drift.first_s, 0, unit="s"), format_number(drift.last_s, 0, unit="s")
        parts.append(say.DELAY_GROWS.format(low=low, high=high, first=drift.first_round, last=drift.last_round))
    if len(answers.cleaned.flags_table):
        parts.append(say.CONTACT)
    missing = answers.study.athletes["hr_max_source"] != "measured"
    if conditions.n_traces and missing.any():
        parts.append(say.NO_MAXIMUM.format(people=plural(int(missing.sum()), "athlete")))
    return [" ".join(parts)] if parts else []


def write_stood_out(study) -> list[str]:
    """Say how many typed values stood out, and what became of them: a person answers, nothing is changed by itself."""
    answered = int(study.settled["problem"].str.contains("stands out|unusual", regex=True).sum())
    waiting = len(study.questions)
    if not answered + waiting:
        return []
    asked = f"{plural(answered + waiting, 'value')} {'was' if answered + waiting == 1 else 'were'}"
    done = say.SETTLED.format(count=answered) if answered else say.NONE_SETTLED
    left = say.AS_TYPED.format(count=waiting) if waiting else say.NONE_OPEN
    return [say.STOOD_OUT.format(asked=asked, answered=done, open=left)]


def plain_whose(answers) -> str:
    """Say whose study is open: the demo's, or which folder's."""
    study = answers.study
    if study.folder.resolve() == DEMO_FOLDER:
        return say.DEMO_IS_OPEN.format(python=python_name(), title=study.title)
    return say.STUDY_IS_OPEN.format(folder=study.folder.name, title=f", “{study.title}”" if study.title else "")


MOST_TESTS = 2
"""More tests than this are named in a table."""

MOST_SESSIONS = 4
"""More sessions than this are counted, not described one by one."""

SITES = {"fingertip": "the fingertip", "ear_lobe": "the ear lobe", "other": "another site"}


MIN = "\N{NO-BREAK SPACE}min"


def minutes(seconds: float) -> str:
    """Write seconds as minutes and seconds."""
    if seconds != seconds:
        return "not available"
    whole = round(seconds)
    return f"{whole // 60}:{whole % 60:02d}{MIN}"


def day(text: str) -> str:
    """Write an ISO date as a reader would: 14 October 2026."""
    try:
        when = date.fromisoformat(text)
    except ValueError:
        return text
    return f"{when.day} {_MONTHS[when.month - 1]} {when.year}"


def month(text: str) -> str:
    """Write the month of an ISO date: October 2026."""
    return day(text).partition(" ")[2] or text


_MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September", "October"]
_MONTHS += ["November", "December"]


def write_up_protocol(study, conditions) -> list[str]:
    """Describe rounds, rests and what was timed."""
    protocol = study.protocol
    if not protocol.rounds:
        return []
    text = say.CONSISTED.format(rounds=_rounds(protocol, study.sport))
    for name, other in protocol.groups.items():
        text += " " + say.GROUP_SPARRED.format(group=name, rounds=_rounds(other))
    text += _timed(conditions)
    if conditions.rounds_planned:
        every = conditions.rounds_done == conditions.rounds_planned
        count = f"all {conditions.rounds_done}" if every else f"{conditions.rounds_done} of {conditions.rounds_planned}"
        text += " " + say.SPARRED_IN_PART.format(rounds=count)
        if conditions.n_guests:
            guests = "All" if conditions.n_guests == conditions.rounds_done else str(conditions.n_guests)
            text += " " + say.AGAINST_GUESTS.format(rounds=guests, were="was" if guests == "1" else "were")
    return [text]


def _rounds(protocol, sport: str = "") -> str:
    text = f"{plural(protocol.rounds, 'round')} of {minutes(protocol.work_s)}" + (f" of {sport}" if sport else "")
    if protocol.rounds > 1 and protocol.rest_s == protocol.rest_s:
        text += " " + say.WITH_REST.format(minutes=minutes(protocol.rest_s))
    worn = {"jacket": ", in jackets", "no jacket": ", without jackets"}
    return text + worn.get(protocol.clothing, "")


def _timed(conditions) -> str:
    timed = conditions.rounds_timed
    lengths = timed["length_s"].dropna() if len(timed) else []
    if not len(lengths):
        return ""
    text = " " + say.TIMED.format(span=_range(lengths))
    rests = timed["rest_before_s"].dropna()
    return text + ((" " + say.TIMED_RESTS.format(span=_range(rests))) if len(rests) else ".")


def _range(seconds) -> str:
    low, high = float(seconds.min()), float(seconds.max())
    if round(low) == round(high):
        return minutes(low)
    return f"{minutes(low).removesuffix(MIN)} to {minutes(high)}"


def write_up_conditions(conditions) -> list[str]:
    """Describe months, places and climate; the day stays with the study, since with it other records can be joined."""
    sentences = []
    for _, s in conditions.sessions.iterrows():
        about = [f"in {month(s['date'])}"] if s["date"] else []
        climate = []
        if s["temperature_c"] == s["temperature_c"]:
            climate.append(format_number(s["temperature_c"], 1, unit="°C"))
        if s["humidity_percent"] == s["humidity_percent"]:
            climate.append(format_number(s["humidity_percent"], 0, unit="%") + " relative humidity")
        about += [f"at {join_words(climate)}"] if climate else []
        if about:
            name = f"Session {s['session']}" if len(conditions.sessions) > 1 else "The session"
            where = f" (place: {s['place']})" if s["place"] else ""
            sentences.append(say.TOOK_PLACE.format(sessions=name, when=", ".join(about), where=where))
    if len(sentences) > MOST_SESSIONS:
        dates = sorted(d for d in conditions.sessions["date"] if d)
        between = (" " + say.BETWEEN.format(first=month(dates[0]), last=month(dates[-1]))) if dates else ""
        sentences = [say.SESSIONS_WERE.format(count=len(conditions.sessions), between=between)]
    return [*([" ".join(sentences)] if sentences else []), *_roll_call(conditions.roll_call)]


def _roll_call(seen) -> list[str]:
    texts = [say.ROLL_CALL] if len(seen.ticks) or seen.n_weighed >= FEWEST_PEOPLE else []
    if seen.n_weighed >= FEWEST_PEOPLE:
        lost, rise = format_number(seen.loss_percent, 1, unit="%"), format_number(seen.rise_bpm, 0, unit="bpm")
        who, year, _ = re.split(r"\s((?:19|20)\d\d)\b", seen.rise_source, maxsplit=1)  # cited as "Adams, 2014"
        people = plural(seen.n_weighed, "athlete")
        texts.append(say.WEIGHED.format(people=people, lost=lost, rise=rise, source=f"{who}, {year}"))
    return [" ".join(texts)] if texts else []


def write_up_measurements(study, description, capacity_titles: dict[str, str]) -> list[str]:
    """Describe how heart rate, lactate, exertion and aerobic capacity were measured."""
    conditions, participants = description.conditions, description.participants
    means = description.round_means
    measured = set(means.table["outcome"]) if means else set()
    scale = study.protocol.exertion_scale.replace("-", " to ")
    parts = [
        _heart_rate(conditions) if conditions.n_traces else _typed_heart_rate(study),
        _lactate(conditions) if "lactate_mmol_l" in measured else "",
        say.EXERTION_SCALE.format(scale=scale) if "exertion" in measured else "",
        _capacity(participants, capacity_titles) if participants.n_tested else "",
    ]
    return [p for p in parts if p]


def _heart_rate(conditions) -> str:
    return say.HEART_RATE.format(people=plural(conditions.n_traces, "athlete"))


def _typed_heart_rate(study) -> str:
    """How heart rate came about where nothing was recorded."""
    rows = study.rounds[study.rounds["hr_mean_typed_bpm"].notna() & study.rounds["round_no"].gt(0)]
    people = rows["athlete"].nunique()
    return say.HEART_RATE_TYPED.format(people=plural(people, "athlete")) if people else ""


def _lactate(conditions) -> str:
    sessions = conditions.sessions

    def named(column):
        return join_words(list(dict.fromkeys(v for v in sessions[column] if v)))

    kind = named("sample_kind")
    sites = join_words(list(dict.fromkeys(SITES.get(v, v) for v in sessions["sample_site"] if v)))
    blood = f"{kind} blood" if kind and kind != "other" else "blood"
    text = say.LACTATE.format(blood=blood) + (f" from {sites}" if sites else "")
    analyser, lot = named("analyser"), named("strip_lot")
    text += f" (analyser: {analyser}{say.STRIP_LOT.format(lot=lot) if lot else ''})" if analyser else ""
    delay = conditions.delay
    if not delay:
        return text + say.NO_DELAY
    samples, after = plural(delay["n_observations"], "sample"), say.AFTER_ROUND
    if delay["low"] == delay["high"]:
        return f"{text}, {format_number(delay['median'], 0, unit='s')} {after} ({samples})."
    return say.DELAY.format(
        text=text,
        median=format_number(delay["median"], 0, unit="s"),
        after=after,
        range=format_ci(delay["low"], delay["high"], 0, unit="s"),
        samples=samples,
    )


def _cited_test(test: str) -> str:
    """The source of a test as a text cites it, "Léger, 1988; "; "" where there is no author and year."""
    known = known_aerobic_tests()
    sources = known.loc[(known["test"] == test) & known["default"].astype(bool), "source"]
    found = re.match(r"([^\W\d]+(?: & [^\W\d]+)?) ((?:19|20)\d\d)\b", next(iter(sources), ""))
    return f"{found[1].replace('&', 'and')}, {found[2]}; " if found else ""


def _capacity(participants, titles: dict[str, str]) -> str:
    tests = participants.tests
    named = [
        f"{titles.get(t['test'], t['test'].replace('_', ' '))} "
        f"({_cited_test(t['test'])}{plural(int(t['n_athletes']), 'athlete')})"
        for _, t in tests.iterrows()
    ]
    text = say.CAPACITY_BY.format(tests=join_words(named))
    if len(named) > MOST_TESTS:
        text = say.CAPACITY_BY_TESTS.format(count=len(named))
    kinds = set(tests["error_kind"])
    if "prediction" in kinds and "retest" in kinds:
        text += " " + say.ESTIMATED_AND_MEASURED
    elif "prediction" in kinds:
        text += " " + say.ALL_ESTIMATED
    from_heart_rate = tests["uses_heart_rate"].astype(bool)
    if from_heart_rate.any():
        which = "these tests" if from_heart_rate.all() else "some of these tests"
        which = "this test" if len(tests) == 1 else which
        text += " " + say.RATE_ENTERS.format(which=which)
    return text


def plain_participants(participants) -> str:
    """Say in one plain sentence who took part."""
    if not participants.n_athletes:
        return say.NOBODY
    people = join_words(_sexes(participants))
    text = say.TOOK_PART.format(athletes=plural(participants.n_athletes, "athlete"))
    text += f" ({people})" if people else ""
    if participants.n_sparred and participants.n_sparred < participants.n_athletes:
        text += say.AND_SPARRED.format(count=participants.n_sparred)
    return text + "."


def write_up_participants(participants) -> list[str]:
    """Describe the sample as a journal would print it."""
    if not participants.n_athletes:
        return []
    people = join_words(_sexes(participants))
    clubs = f" of {plural(participants.n_clubs, 'club')}" if participants.n_clubs else ""
    text = say.TOOK_PART_OF.format(athletes=plural(participants.n_athletes, "athlete"), clubs=clubs)
    text += f" ({people})." if people else "."
    if participants.groups:
        sizes = [f"{name} ({plural(size, 'athlete')})" for name, size in participants.groups.items()]
        rest = participants.n_athletes - sum(participants.groups.values())
        sizes += [say.THE_OTHERS.format(athletes=plural(rest, "athlete"))] if rest else []
        text += f" {'Groups' if len(sizes) > 1 else 'Group'}: {join_words(sizes)}."
    counts = (
        (participants.n_sparred, say.SPARRED_PART),
        (participants.n_tested, say.HAD_CAPACITY),
        (participants.n_hr_max_measured, say.HAD_MAXIMUM),
    )
    shares = {0: "none", participants.n_athletes: "all"}
    said = join_words([f"{shares.get(n, n)} {words}" for n, words in counts])
    return [f"{text} {say.OF_THESE.format(said=said)}"]


def _sexes(p) -> list[str]:
    counts = ((p.n_women, "woman", "women"), (p.n_men, "man", "men"), (p.n_other, say.SEX_OTHER, ""))
    return [
        f"{n} {one}" if not many or n == 1 else f"{n} {many}" for n, one, many in counts if n and n < p.n_athletes
    ] or [f"all {many}" for n, _, many in counts[:2] if n]


def plain_rests(rests) -> str:
    """Say how far heart rate falls in the first minute of the rests, and from where the next round starts."""
    if not rests or rests.table.empty:
        return ""
    parts = []
    for name, words in (("hr_recovery_60s_bpm", say.REST_FALL), ("hr_rest_end_bpm", say.REST_NEXT)):
        rows = rests.table[rests.table["outcome"] == name].sort_values("round_no")
        if rows.empty:
            continue
        first, last = rows.iloc[0], rows.iloc[-1]
        said = words.format(
            mean=format_number(first["mean"], 0, unit="bpm"),
            sd=format_number(first["sd"], 0) if first["n_athletes"] > 1 else "–",
            who=plural(int(first["n_athletes"]), "athlete"),
            k=int(first["round_no"]),
        )
        if len(rows) > 1:
            by, mean = "by" if "fell" in words else "at", format_number(last["mean"], 0, unit="bpm")
            said += f"{say.REST_LATER.format(by=by, mean=mean)} {int(last['round_no'])}"
        parts.append(said + ".")
    return " ".join(parts)


NEXT = say.NEXT_FOR_STUDY
WRITE = say.WRITE_IT_UP.format(python=python_name())


def next_step(study, notebook: str) -> str:
    """Name the one next step for this study, from a notebook given by its two digits."""
    lines = list_needs(study)
    number = lines["notebook"].str[:2]
    later = (number > notebook) | (notebook == "00")
    lines = lines[number.between("01", "07") & later & (notebook <= "07")]
    missing, ready = lines[~lines["ready"]], lines[lines["ready"]]
    if notebook == "00" and len(missing):
        first = missing.iloc[0]
        return NEXT.format(step=f"{first['needs']}. Then {_link(first['notebook'])}.")
    if notebook != "00" and len(ready):
        return NEXT.format(step=f"{_link(ready.iloc[0]['notebook'])}.")
    if len(missing):
        first = missing.iloc[0]
        return NEXT.format(step=say.NEXT_WAITING.format(needs=first["needs"], notebook=_link(first["notebook"])))
    return NEXT.format(step=WRITE)


def _link(notebook: str) -> str:
    words = notebook[3:].replace("_", " ")
    return f"[{notebook[:2]} {upper_first(words)}]({notebook}.ipynb)"
