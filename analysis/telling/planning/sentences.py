"""Sentences about the plan: what a number of athletes can answer, and why that number."""

from __future__ import annotations

import pandas as pd

from ...basics import format_ci, format_number, format_percent, if_answered, join_words, plural
from ...planning import VERDICTS
from ...planning.answer import chance_words, rounded_up
from ...study.outcomes import digits_of, outcome_named, short_question
from . import phrases as say


def plain_pairing(pairing) -> str:
    """Say in plain words who spars whom."""
    idle = pairing.sat_out[pairing.sat_out["reason"] != "not available"]
    away = pairing.sat_out[pairing.sat_out["reason"] == "not available"]
    lead = say.EVERYBODY if idle.empty and away.empty else say.PAIRS_SET
    text = say.IN_EACH.format(lead=lead, rounds=plural(pairing.rounds, "round"))
    met = pairing.opponents[pairing.opponents["opponent"] != "none"].groupby("athlete")["opponent"]
    if pairing.rounds > 1 and met.nunique().max() == 1:
        text += say.SAME_OPPONENT
    elif len(pairing.repeats):
        text += say.MORE_THAN_ONCE.format(pairs=plural(len(pairing.repeats), "pair meets", "pairs meet"))
    else:
        text += say.NEW_OPPONENT
    parts = [f"{text}."]
    if len(away):
        parts.append(say.MISSES.format(misses=plural(away["athlete"].nunique(), "athlete misses", "athletes miss")))
    if len(idle):
        turns = say.SOMEBODY_ELSE if idle["athlete"].is_unique else say.SOME_AGAIN
        parts.append(say.SITS_OUT.format(rounds=plural(idle["round_no"].nunique(), "round"), turns=turns))
    gaps = pairing.differences.get("mass_difference_kg", pd.Series(dtype=float)).dropna()
    if len(gaps):
        parts.append(
            say.WEIGHTS.format(
                median=format_number(float(gaps.median()), 0, unit="kg"),
                most=format_number(float(gaps.max()), 0, unit="kg"),
            )
        )
    return " ".join(parts)


def plain_timetable(timetable) -> str:
    """Say in plain words who can be sampled when, or, without blood, when rounds start."""
    if not timetable.n_athletes:
        mats = int(timetable.mats["mat"].max())
        together = timetable.mats.groupby("round_no")["start_s"].nunique().max() == 1
        lead = f"{plural(mats, 'mat')} {say.TOGETHER if together else say.ONE_AFTER_OTHER}" if mats > 1 else say.ONE_MAT
        minutes = format_number(float(timetable.mats["end_s"].max()) / 60, 0, unit="min")
        return say.EVENING.format(
            lead=lead, rounds=plural(int(timetable.mats["round_no"].max()), "round"), minutes=minutes
        )
    stations = timetable.sampling.stations
    start = say.STARTS[timetable.start]
    text = say.SAMPLED.format(
        stations=plural(stations, "station"),
        start=start,
        measured=timetable.measured,
        athletes=plural(timetable.n_athletes, "athlete"),
    )
    if timetable.measured < timetable.n_athletes:
        best = timetable.options.set_index("option")["measured"]
        if timetable.start == "common" and best["staggered starts"] > timetable.measured:
            text += say.SAMPLED_STAGGERED.format(measured=int(best["staggered starts"]))
    return f"{text}."


def list_evening_warnings(result) -> str:
    """List the warnings of a pairing or a timetable, one a line."""
    return "\n".join(f"- {w}" for w in result.warnings) or say.NOTHING_TO_WATCH


def plain_replication_sizes(sizes) -> str:
    """Say in plain words what a repeat of a published correlation needs."""
    needed = sizes.targets.set_index("target")["n_needed"]
    shrunk = say.NEEDED_SHRUNK.format(n=int(needed["shrunk"])) if not pd.isna(needed["shrunk"]) else say.NEEDED_NEVER
    return say.REPEAT.format(
        athletes=plural(sizes.n, "athlete"),
        as_published=int(needed["as published"]),
        shrunk=shrunk,
        detect=sizes.n_detectability,
    )


def write_up_replication_sizes(sizes) -> list[str]:
    """Write what a repeat of a published correlation needs."""
    names = {"as published": "as published", "shrunk": say.SHRUNK, "fraction": say.FRACTION}
    texts = []
    for row in sizes.targets.itertuples():
        text = f"{names[row.target]} (r = {format_number(row.r, 2)})"
        if not pd.isna(row.n_needed):
            text += " " + say.POWER_AT.format(n=int(row.n_needed), power=format_percent(sizes.power))
        else:
            text += " " + say.NO_SIZE
        if sizes.n_new is not None:
            text += f", {sizes.n_new} have {chance_words(row.power)}"
        texts.append(text)
    published = say.PUBLISHED.format(r=format_number(sizes.r, 2), n=sizes.n, sizes="; ".join(texts))
    detect = say.COULD_DETECT.format(
        r=format_number(sizes.smallest_detectable_r, 2), n=sizes.n_detectability, power=format_percent(sizes.power)
    )
    if sizes.n_new is not None:
        detect += " " + say.EXPECTED.format(
            n=sizes.n_new,
            chance=chance_words(sizes.power_detectability),
            span=format_ci(sizes.prediction_low, sizes.prediction_high, 2).replace(" to ", " and "),
        )
    return [published, f"{detect}.", *sizes.warnings]


def plain_simulation(simulated) -> str:
    """Say in plain words what the simulated studies found."""
    table = simulated.power
    texts = []
    for question, part, words in (
        ("rounds.heart_rate", "change", say.SAW_CHANGE),
        ("rounds.heart_rate", "plateau", say.FOUND_LEVEL),
        ("fitness.heart_rate", "slope", say.SAW_FITNESS),
    ):
        row = table[(table["question"] == question) & (table["part"] == part) & (table["n_studies"] > 0)]
        if len(row):
            texts.append(f"{chance_words(float(row['power'].iloc[0]))} {words}")
    athletes = plural(simulated.design.n, "athlete")
    if not texts:
        return say.NOTHING_ASKED.format(studies=simulated.n_studies, athletes=athletes)
    text = say.OF_INVENTED.format(studies=simulated.n_studies, athletes=athletes, found=join_words(texts))
    slope = table[(table["question"] == "fitness.heart_rate") & (table["part"] == "slope")]
    times = float(slope["exaggeration"].iloc[0]) if len(slope) else float("nan")
    if times > 1.25:
        text += " " + say.FLATTERED.format(times=format_number(times, 1))
    return text


def plain_covariances(power) -> str:
    """Say in plain words what it costs when some rounds resemble each other more than others."""
    table = power.table[(power.table["test"] == "Greenhouse-Geisser") & (power.table["covariance"] != "compound")]
    texts = [
        say.POWER_WHERE.format(chance=chance_words(row.power), rounds=row.words, formula=chance_words(row.formula))
        for row in table.itertuples()
    ]
    text = say.NOT_ALIKE.format(athletes=plural(power.design.n, "athlete"), shares=join_words(texts))
    if (table["formula"] > table["ci_high"]).any():
        text += say.FORMULA_PROMISES
    return f"{text}."


def table_covariances(power) -> pd.DataFrame:
    """Set out the simulated power under several covariances as a table of texts."""
    table = power.table
    limits = zip(100 * table["ci_low"], 100 * table["ci_high"], strict=True)
    return pd.DataFrame(
        {
            "Rounds": table["words"],
            "Test": table["test"],
            "Simulated": [
                f"{chance_words(p)} ({format_ci(low, high, 1, unit='%')})"
                for p, (low, high) in zip(table["power"], limits, strict=True)
            ],
            "Formula": [chance_words(p) for p in table["formula"]],
        }
    )


def outcome_word(question: str) -> str:
    """Name the outcome of a question."""
    return {"heart_rate": "heart rate", "lactate": "lactate", "exertion": "exertion"}[question.split(".")[1]]


CAN = dict(zip(VERDICTS, say.CAN, strict=True))
OUTCOMES_ASSUMED = (
    ("heart_rate", "heart rate", "bpm"),
    ("lactate", "lactate", "mmol/L"),
    ("exertion", "exertion", "points"),
)


@if_answered()
def plain_design(answer) -> str:
    """Say in plain words what a study of this size can answer."""
    parts = []
    for verdict, words in CAN.items():
        rows = answer.questions[answer.questions["verdict"] == verdict]
        if len(rows):
            parts.append(words.format(_listed(rows)))
    text = say.CAN_ANSWER.format(athletes=plural(answer.n, "athlete"), can="; it ".join(parts))
    if answer.n_to_recruit > answer.n:
        text += " " + say.ASK_MORE.format(athletes=plural(answer.n_to_recruit, "athlete"))
    return text


@if_answered()
def plain_looks(looks) -> str:
    """Say at which sizes the data may be looked at, and what that costs."""
    table = looks.table
    sizes = join_words([str(n) for n in table["n_athletes"]])
    first, last = table["level_rounds"].iloc[0], table["level_rounds"].iloc[-1]
    return say.LOOKS.format(
        sizes=sizes, first=format_number(first, 4), last=format_number(last, 4), alpha=format_percent(looks.alpha, 0)
    )


def table_looks(looks) -> pd.DataFrame:
    """Set out the level of every planned look."""
    table = looks.table
    return pd.DataFrame(
        {
            "Athletes": table["n_athletes"],
            "Error spent so far": [format_number(v, 4) for v in table["spent"]],
            "Level, rounds": [format_number(v, 4) for v in table["level_rounds"]],
            "Level, fitness": [format_number(v, 4) for v in table["level_fitness"]],
            "Level of a large sample": [format_number(v, 4) for v in table["level_normal"]],
        }
    )


def table_design(answer) -> pd.DataFrame:
    """Set out what can be answered as a table in words."""
    table = answer.questions
    return pd.DataFrame(
        {"Question": table["about"], "Can it be answered?": table["verdict"], "In words": table["words"]}
    )


def table_sizes(answer) -> pd.DataFrame:
    """Set out what can be answered as a table of numbers, for a plan."""
    lines = []
    for row in answer.questions.itertuples():
        outcome = outcome_word(row.question).capitalize()
        need = "over 500" if pd.isna(row.n_for_80) else str(int(row.n_for_80))
        seen = "none" if row.detectable == float("inf") else _detectable(row)
        lines.append(
            {
                "Question": f"{outcome}: {say.PARTS[row.part]}",
                "Matters from": _amount(row, row.smallest_effect),
                "Shown in": chance_words(row.power_smallest),
                "Seen in 80\N{NO-BREAK SPACE}% from": seen,
                "Athletes for 80\N{NO-BREAK SPACE}%": need,
                "Verdict": row.verdict,
            }
        )
    return pd.DataFrame(lines)


@if_answered("paragraphs")
def write_up_size(answer) -> list[str]:
    """Justify the number of athletes, as a plan or a journal would take it."""
    design, truth = answer.design, answer.assumptions
    first = say.PLANS_FOR.format(
        athletes=plural(answer.n, "athlete"), rounds=plural(answer.rounds, "round"), alpha=_level(design.alpha)
    )
    if answer.n_to_recruit > answer.n:
        first += " " + say.RECRUIT.format(athletes=plural(answer.n_to_recruit, "athlete"), leave=_level(truth.leave))
    paragraphs = [first, _assumed(answer)]
    if answer.from_plan:
        paragraphs.append(say.FROM_PLAN.format(values="; ".join(answer.from_plan)))
    paragraphs += [text for text in (_rounds(answer), _fitness(answer)) if text]
    if answer.replication is not None:
        paragraphs += write_up_replication_sizes(answer.replication)
    short = answer.questions[answer.questions["verdict"] != VERDICTS[0]]
    if len(short):
        paragraphs.append(say.TOO_SMALL.format(questions=_listed(short)))
    return paragraphs


def write_up_assurance(found, *, asked=None) -> list[str]:
    """Say how sure a clear answer is where the assumptions themselves are not; `asked` the questions of a plan, else all."""
    parts = []
    for line in found.table.to_dict("records"):
        if line["part"] not in ("change", "slope") or line["clear"] != line["clear"]:
            continue
        if asked is not None and line["question"] not in asked:
            continue
        parts.append(
            say.ASSURED.format(
                question=short_question(line["question"]),
                **{name: chance_words(line[name]) for name in ("clear", "low", "high")},
                assumed=chance_words(line["as_assumed"]),
            )
        )
    if not parts:
        return []
    return [
        say.ASSURANCE.format(
            open=plural(len(found.open), "quantity", "quantities"), draws=found.n_draws, answers="; ".join(parts)
        )
    ]


@if_answered()
def plain_assurance(found) -> str:
    """The same for notebook 01."""
    return " ".join(write_up_assurance(found))


def _assumed(answer) -> str:
    truth = answer.assumptions
    texts = []
    for which, name, unit in OUTCOMES_ASSUMED:
        if any(q.endswith(f".{which}") for q in answer.questions["question"]):
            size = getattr(truth, which)
            texts.append(
                say.ASSUMED_OF.format(
                    name=name,
                    between=format_number(size.sd_between, 1, unit=unit),
                    within=format_number(size.sd_within, 1, unit=unit),
                )
            )
    spread, error = (format_number(v, 1, unit="mL/kg/min") for v in (truth.capacity_sd, truth.test_error))
    test = {
        "retest": say.TEST_RETEST.format(spread=spread, error=error),
        "prediction": say.TEST_PREDICTION.format(spread=spread, error=error),
        "none": say.TEST_NONE.format(spread=spread),
    }[truth.test_error_kind]
    whose = say.KIT_SIZES if answer.proposed else say.OWN_SIZES
    return say.ASSUMED.format(texts="; ".join(texts), test=test, whose=whose)


def _rounds(answer) -> str:
    table = answer.questions[answer.questions["question"].str.startswith("rounds.")]
    texts = []
    for _, rows in table.groupby("question", sort=False):
        label = outcome_named(rows["outcome"].iloc[0]).label.lower()
        said = [
            say.POWER_ROUNDS.format(
                chance=chance_words(row.power_smallest), what=_what(row), n=_n(row), detectable=_detectable(row)
            )
            for row in rows.itertuples()
        ]
        texts.append(say.POWER_OF.format(outcome=label, power=join_words(said)))
    if not texts:
        return ""
    return say.HOW_ROUNDS.format(texts=" ".join(texts))


def _fitness(answer) -> str:
    table = answer.questions[answer.questions["question"].str.startswith("fitness.")]
    texts = []
    for _, rows in table.groupby("question", sort=False):
        label = outcome_named(rows["outcome"].iloc[0]).label.lower()
        said = []
        for row in rows.itertuples():
            seen = say.NO_SIZE_FITS if row.detectable == float("inf") else _detectable(row)
            width = (
                say.TO_EXPECT.format(half_width=_amount(row, row.half_width)) if row.half_width < float("inf") else ""
            )
            said.append(
                say.POWER_FITNESS.format(
                    chance=chance_words(row.power_smallest),
                    part=row.part,
                    smallest=_amount(row, row.smallest_effect),
                    n=_n(row),
                    detectable=seen,
                    width=width,
                )
            )
        texts.append(say.POWER_FITNESS_OF.format(outcome=label, power=join_words(said)))
    if not texts:
        return ""
    names = {"hr_max": "maximal heart rate", "age": "age", "sex": "sex"}
    adjusted = [names[a] for a in answer.design.adjustment("heart_rate", answer.assumptions)]
    adjusted = (" " + say.ADJUSTED.format(names=join_words(adjusted))) if adjusted else ""
    return say.HOW_FITNESS.format(texts=" ".join(texts), adjusted=adjusted)


def _listed(rows) -> str:
    """Name questions briefly: "a change over the rounds (heart rate, lactate) and a correlation with fitness (lactate)"."""
    said = []
    for part, same in rows.groupby("part", sort=False):
        said.append(f"{say.PARTS[part]} ({', '.join(dict.fromkeys(outcome_word(q) for q in same['question']))})")
    return join_words(said)


def _what(row) -> str:
    amount = _amount(row, row.smallest_effect)
    return {
        "change": say.FIRST_TO_LAST.format(amount=amount),
        "steps": say.ONE_TO_NEXT.format(amount=amount),
        "plateau": say.LEVEL_WITHIN.format(amount=amount),
    }[row.part]


def _level(share: float) -> str:
    return format_percent(share, 0 if abs(100 * share - round(100 * share)) < 1e-9 else 1)


def _amount(row, value: float) -> str:
    unit = "" if row.unit == "correlation" else row.unit
    if (
        value == row.smallest_effect and float(value).is_integer()
    ):  # chosen, not computed: no decimals that nobody chose
        return format_number(value, 0, unit="point" if value == 1 and unit == "points" else unit)
    digits = 2 if row.part == "correlation" else digits_of(outcome_named(row.outcome))
    return format_number(value, digits, unit=unit)


def _detectable(row) -> str:
    """The smallest size that 80 of 100 studies show: rounded up, else fewer would show what is printed."""
    digits = 2 if row.part == "correlation" else digits_of(outcome_named(row.outcome))
    finite = row.detectable < float("inf")
    return _amount(row, rounded_up(row.detectable, digits) if finite else row.detectable)


def _n(row) -> str:
    return say.MORE_THAN_500 if pd.isna(row.n_for_80) else plural(int(row.n_for_80), "athlete")
