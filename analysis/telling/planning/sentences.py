"""Sentences about the plan: what so many athletes can answer, and why that number."""

from __future__ import annotations

import pandas as pd

from ...basics import format_ci, format_number, format_percent, if_answered, join_words, plural
from ...planning import VERDICTS
from ...planning.answer import chance_words
from ...study.outcomes import digits_of, outcome_named, short_question


def plain_pairing(pairing) -> str:
    """Say in plain words who spars whom."""
    idle = pairing.sat_out[pairing.sat_out["reason"] != "not available"]
    away = pairing.sat_out[pairing.sat_out["reason"] == "not available"]
    lead = "Everybody spars" if idle.empty and away.empty else "Pairs are set"
    text = f"{lead} in each of {plural(pairing.rounds, 'round')}"
    met = pairing.opponents[pairing.opponents["opponent"] != "none"].groupby("athlete")["opponent"]
    if pairing.rounds > 1 and met.nunique().max() == 1:
        text += ", with the same opponent all evening"
    elif len(pairing.repeats):
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
    """Say in plain words who can be sampled when, or, without blood, when rounds start."""
    if not timetable.n_athletes:
        mats = int(timetable.mats["mat"].max())
        together = timetable.mats.groupby("round_no")["start_s"].nunique().max() == 1
        lead = (
            f"{plural(mats, 'mat')} {'start together' if together else 'start one after the other'}"
            if mats > 1
            else "One mat"
        )
        minutes = format_number(float(timetable.mats["end_s"].max()) / 60, 0, unit="min")
        return f"{lead}; {plural(int(timetable.mats['round_no'].max()), 'round')} with their rests take {minutes}."
    stations = timetable.sampling.stations
    start = "a common start" if timetable.start == "common" else "staggered starts"
    text = (
        f"With {'one station' if stations == 1 else f'{stations} stations'} and {start}, {timetable.measured} of "
        f"{plural(timetable.n_athletes, 'athlete')} can be sampled on time after every round"
    )
    if timetable.measured < timetable.n_athletes:
        best = timetable.options.set_index("option")["measured"]
        if timetable.start == "common" and best["staggered starts"] > timetable.measured:
            text += f"; with staggered starts and one opponent all evening it would be {int(best['staggered starts'])}"
    return f"{text}."


def list_evening_warnings(result, otherwise: str = "Nothing to watch for.") -> str:
    """List the warnings of a pairing or a timetable, one a line."""
    return "\n".join(f"- {w}" for w in result.warnings) or otherwise


def plain_replication_sizes(sizes) -> str:
    """Say in plain words what a repeat of a published correlation needs."""
    needed = sizes.targets.set_index("target")["n_needed"]
    shrunk = (
        f"{int(needed['shrunk'])} if it was flattered by chance, as small studies are"
        if not pd.isna(needed["shrunk"])
        else "no number if it was flattered by chance, since it is then as good as nothing"
    )
    return (
        f"To repeat the published finding of {plural(sizes.n, 'athlete')} takes {int(needed['as published'])} athletes if it is "
        f"exactly true, and {shrunk}; to show that it was too large to have been seen honestly takes "
        f"{sizes.n_detectability}."
    )


def write_up_replication_sizes(sizes) -> list[str]:
    """Write what a repeat of a published correlation needs."""
    names = {
        "as published": "as published",
        "shrunk": "shrunk to the limit of its 60 % interval nearer to zero",
        "fraction": "at the fraction that would still matter",
    }
    texts = []
    for row in sizes.targets.itertuples():
        text = f"{names[row.target]} (r = {format_number(row.r, 2)})"
        if not pd.isna(row.n_needed):
            text += f" {int(row.n_needed)} athletes give a power of {format_percent(sizes.power)}"
        else:
            text += " no size can be justified"
        if sizes.n_new is not None:
            text += f", {sizes.n_new} give {chance_words(row.power)}"
        texts.append(text)
    published = (
        f"The published correlation is r = {format_number(sizes.r, 2)} (n = {sizes.n}): {'; '.join(texts)}."
    )
    detect = (
        f"That study could have detected r = {format_number(sizes.smallest_detectable_r, 2)} with a chance of one third; "
        f"{sizes.n_detectability} athletes would show with a power of {format_percent(sizes.power)} that the effect is smaller, "
        "if there is none"
    )
    if sizes.n_new is not None:
        detect += (
            f" ({sizes.n_new}: {chance_words(sizes.power_detectability)}). If both studies share one truth, a correlation "
            f"between {format_ci(sizes.prediction_low, sizes.prediction_high, 2).replace(' to ', ' and ')} is to be expected of "
            f"{sizes.n_new} athletes (95 % prediction interval)"
        )
    return [published, f"{detect}.", *sizes.warnings]


def plain_simulation(simulated) -> str:
    """Say in plain words what the simulated studies found."""
    table = simulated.power
    texts = []
    for question, part, words in (
        ("rounds.heart_rate", "change", "saw that heart rate changes over the rounds"),
        ("rounds.heart_rate", "plateau", "found where it stops changing"),
        ("fitness.heart_rate", "slope", "saw a relation with fitness"),
    ):
        row = table[(table["question"] == question) & (table["part"] == part) & (table["n_studies"] > 0)]
        if len(row):
            texts.append(f"{chance_words(float(row['power'].iloc[0]))} {words}")
    athletes = plural(simulated.design.n, "athlete")
    if not texts:
        return f"Not one of {simulated.n_studies} invented studies with {athletes} could be asked anything."
    text = f"Of {simulated.n_studies} invented studies like yours, with {athletes} each, {join_words(texts)}."
    slope = table[(table["question"] == "fitness.heart_rate") & (table["part"] == "slope")]
    times = float(slope["exaggeration"].iloc[0]) if len(slope) else float("nan")
    if times > 1.25:
        text += (
            f" Those that saw a relation with fitness made it {format_number(times, 1)} times as large as it is: a striking "
            "result from a small club is mostly luck."
        )
    return text


def write_up_simulation(simulated) -> list[str]:
    """Write what the simulated studies found."""
    texts, wrong = [], []
    for row in simulated.power[simulated.power["n_studies"] > 0].itertuples():
        name = f"{outcome_word(row.question)}, {_simulated_part(row.part)}"
        texts.append(
            f"{name} {chance_words(row.power)} ({format_ci(100 * row.ci_low, 100 * row.ci_high, 1, unit='%')})"
        )
        if row.exaggeration > 1.25:
            signs = (
                f", {format_percent(row.wrong_sign)} of them with the wrong sign"
                if row.wrong_sign > 0.005
                else ""
            )
            wrong.append(f"{name} by a factor of {format_number(row.exaggeration, 1)}{signs}")
    design = simulated.design
    first = (
        f"In {simulated.n_studies} simulated studies of {plural(design.n, 'athlete')} and {plural(design.rounds, 'round')} (seed "
        f"{simulated.seed}), with missing rounds, athletes who leave, lost traces, opponents and the error of the fitness test "
        f"as assumed, the share that claimed a finding was, with 95 % Monte-Carlo intervals: {'; '.join(texts)}."
    )
    second = (
        f"Significant estimates exaggerated the true size: {'; '.join(wrong)}."
        if wrong
        else "Significant estimates did not exaggerate the true size by more than a quarter."
    )
    return [first, second]


def _simulated_part(part: str) -> str:
    if part.startswith("step "):
        later, earlier = part.removeprefix("step ").split(" - ")
        return f"round {later} against round {earlier}"
    return {"change": "over the rounds", "plateau": "plateau", "slope": "slope with fitness",
            "correlation": "correlation with fitness"}[part]  # fmt: skip


def plain_covariances(power) -> str:
    """Say in plain words what it costs when some rounds resemble each other more than others."""
    table = power.table[
        (power.table["test"] == "Greenhouse-Geisser") & (power.table["covariance"] != "compound")
    ]
    texts = [
        f"in {chance_words(row.power)} where {row.words} (the formula says {chance_words(row.formula)})"
        for row in table.itertuples()
    ]
    text = (
        f"Where rounds are not all alike, studies with {plural(power.design.n, 'athlete')} would show the smallest effect that "
        f"matters {join_words(texts)}"
    )
    if (table["formula"] > table["ci_high"]).any():
        text += "; the formula promises too much"
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


__all__ = [
    "list_evening_warnings",
    "plain_assurance",
    "plain_covariances",
    "plain_design",
    "plain_looks",
    "plain_pairing",
    "plain_replication_sizes",
    "plain_simulation",
    "plain_timetable",
    "table_covariances",
    "table_design",
    "table_looks",
    "table_sizes",
    "write_up_replication_sizes",
    "write_up_simulation",
    "write_up_size",
]

PARTS = {
    "change": "a change over the rounds",
    "steps": "a step from one round to the next",
    "plateau": "where it stops changing",
    "slope": "how much lower it is in fitter athletes",
    "correlation": "a correlation with fitness",
}
CAN = dict(
    zip(
        VERDICTS,
        ("can show {}", "can show the following only where the effect is large: {}", "cannot show {}"),
        strict=True,
    )
)
OUTCOMES_ASSUMED = (
    ("heart_rate", "heart rate", "bpm"),
    ("lactate", "lactate", "mmol/L"),
    ("exertion", "exertion", "points"),
)


@if_answered()
def plain_design(answer) -> str:
    """Say in plain words what a study of so many athletes can answer."""
    parts = []
    for verdict, words in CAN.items():
        rows = answer.questions[answer.questions["verdict"] == verdict]
        if len(rows):
            parts.append(words.format(_listed(rows)))
    text = f"With {plural(answer.n, 'athlete')} who stay to the end, the study {'; it '.join(parts)}."
    if answer.n_to_recruit > answer.n:
        text += f" Ask {plural(answer.n_to_recruit, 'athlete')}, since some will leave."
    return text


@if_answered()
def plain_looks(looks) -> str:
    """Say at which sizes the data may be looked at, and what that costs."""
    table = looks.table
    sizes = join_words([str(n) for n in table["n_athletes"]])
    first, last = table["level_rounds"].iloc[0], table["level_rounds"].iloc[-1]
    return (
        f"You may look with {sizes} athletes, and at no other number. A change over the rounds has to reach "
        f"{format_number(first, 4)} at the first look and {format_number(last, 4)} at the last, so that all looks together "
        f"make a false claim in {format_percent(looks.alpha, 0)} of studies or fewer."
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
        seen = "none" if row.detectable == float("inf") else _amount(row, row.detectable)
        lines.append(
            {
                "Question": f"{outcome}: {PARTS[row.part]}",
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
    first = (
        f"The study plans for {plural(answer.n, 'athlete')} who complete {plural(answer.rounds, 'round')}. All tests are "
        f"two-sided at {_level(design.alpha)}."
    )
    if answer.n_to_recruit > answer.n:
        first += (
            f" To keep that number, {plural(answer.n_to_recruit, 'athlete')} are to be recruited, if {_level(truth.leave)} leave "
            "before each next round."
        )
    paragraphs = [first, _assumed(answer)]
    if answer.from_plan:
        paragraphs.append(f"Taken from the plan instead of the kit's own: {'; '.join(answer.from_plan)}.")
    paragraphs += [text for text in (_rounds(answer), _fitness(answer)) if text]
    if answer.replication is not None:
        paragraphs += write_up_replication_sizes(answer.replication)
    short = answer.questions[answer.questions["verdict"] != VERDICTS[0]]
    if len(short):
        paragraphs.append(
            f"This number is too small to show the smallest effect that matters in 80 of 100 such studies for {_listed(short)}. "
            "These results will be reported as estimates with their intervals; a result that is not significant will not be "
            "read as the absence of an effect."
        )
    return paragraphs


def write_up_assurance(found) -> list[str]:
    """Say how sure a clear answer is where the assumptions themselves are not."""
    parts = []
    for line in found.table.to_dict("records"):
        if line["part"] not in ("change", "slope") or line["clear"] != line["clear"]:
            continue
        low, high = (_level(line[name]) for name in ("low", "high"))
        parts.append(
            f"{short_question(line['question'])} {_level(line['clear'])} (from {low} to {high} in 80 of 100 draws; shown at the "
            f"assumed values, with rounds missing: {_level(line['as_assumed'])})"
        )
    if not parts:
        return []
    return [
        f"The literature and the club leave {plural(len(found.open), 'quantity', 'quantities')} open, missing rounds and "
        f"athletes who leave among them. Averaged over {found.n_draws} draws, the chance of a clear answer (an effect shown, "
        f"or shown to be too small to matter) is: {'; '.join(parts)}."
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
                f"{name}, {format_number(size.sd_between, 1, unit=unit)} between athletes and "
                f"{format_number(size.sd_within, 1, unit=unit)} within an athlete from round to round"
            )
    spread, error = (format_number(v, 1, unit="mL/kg/min") for v in (truth.capacity_sd, truth.test_error))
    test = {
        "retest": f"The fitness test is taken to spread the athletes by {spread} and to scatter around an athlete's true "
        f"capacity by {error}, which shrinks both slope and correlation.",
        "prediction": f"The fitness test is taken to spread the athletes by {spread} and to predict capacity with a standard "
        f"error of {error}, which shrinks the correlation and leaves the slope.",
        "none": f"The fitness test is taken to spread the athletes by {spread}, without error.",
    }[truth.test_error_kind]
    whose = (
        "These are the kit's proposals, inside the published ranges where there are any."
        if answer.proposed
        else "These sizes are the authors' own."
    )
    return f"Assumed standard deviations: {'; '.join(texts)}. {test} {whose}"


def _rounds(answer) -> str:
    table = answer.questions[answer.questions["question"].str.startswith("rounds.")]
    texts = []
    for _, rows in table.groupby("question", sort=False):
        label = outcome_named(rows["outcome"].iloc[0]).label.lower()
        said = [
            f"{chance_words(row.power_smallest)} for {_what(row)} (80\N{NO-BREAK SPACE}% from {_n(row)}; detectable: "
            f"{_amount(row, row.detectable)})"
            for row in rows.itertuples()
        ]
        texts.append(f"For {label}, the power is {join_words(said)}.")
    if not texts:
        return ""
    return (
        f"{' '.join(texts)} The test over all rounds is sized by the noncentral F distribution, a step at the strictest level of "
        "Holm's method, a plateau by the exact distribution of the range of round means, ratings by the efficiency of the rank "
        "test; all for complete data and rounds that correlate equally, which overstates the power where neighbouring rounds "
        "resemble each other."
    )


def _fitness(answer) -> str:
    table = answer.questions[answer.questions["question"].str.startswith("fitness.")]
    texts = []
    for _, rows in table.groupby("question", sort=False):
        label = outcome_named(rows["outcome"].iloc[0]).label.lower()
        said = []
        for row in rows.itertuples():
            seen = (
                "no size that fits the assumed spread"
                if row.detectable == float("inf")
                else _amount(row, row.detectable)
            )
            width = (
                f"; interval to expect: ± {_amount(row, row.half_width)}"
                if row.half_width < float("inf")
                else ""
            )
            said.append(
                f"{chance_words(row.power_smallest)} for a {row.part} of {_amount(row, row.smallest_effect)} "
                f"(80\N{NO-BREAK SPACE}% from {_n(row)}; detectable: {seen}{width})"
            )
        texts.append(f"For fitness and {label}, the power is {join_words(said)}.")
    if not texts:
        return ""
    names = {"hr_max": "maximal heart rate", "age": "age", "sex": "sex"}
    adjusted = [names[a] for a in answer.design.adjustment("heart_rate", answer.assumptions)]
    adjusted = f" The heart-rate slope is adjusted for {join_words(adjusted)}." if adjusted else ""
    return (
        f"{' '.join(texts)}{adjusted} These powers come from the exact distribution of the (partial) correlation of athlete "
        "means under the bivariate normal, after what the error of the fitness test does to it."
    )


def _listed(rows) -> str:
    """Name questions briefly: "a change over the rounds (heart rate, lactate) and a correlation with fitness (lactate)"."""
    said = []
    for part, same in rows.groupby("part", sort=False):
        said.append(f"{PARTS[part]} ({', '.join(dict.fromkeys(outcome_word(q) for q in same['question']))})")
    return join_words(said)


def _what(row) -> str:
    amount = _amount(row, row.smallest_effect)
    return {
        "change": f"{amount} from the first round to the last",
        "steps": f"{amount} from one round to the next",
        "plateau": f"a level stretch, shown to within ±{amount}",
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


def _n(row) -> str:
    return "more than 500 athletes" if pd.isna(row.n_for_80) else plural(int(row.n_for_80), "athlete")
