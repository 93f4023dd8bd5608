"""Sentences about the plan: what so many athletes can answer, and why that number."""

from __future__ import annotations

import pandas as pd

from ...basics import NotYet, format_number, format_percent, join_words, plural
from ...planning import VERDICTS
from ...planning.answer import chance_words
from ...study.outcomes import outcome_named
from .planning_evening import list_warnings, plain_pairing, plain_timetable
from .planning_repeats import (
    outcome_word,
    plain_covariances,
    plain_replication_sizes,
    plain_simulation,
    table_covariances,
    write_up_replication_sizes,
    write_up_simulation,
)

__all__ = [
    "list_warnings",
    "plain_covariances",
    "plain_design",
    "plain_pairing",
    "plain_replication_sizes",
    "plain_simulation",
    "plain_timetable",
    "table_covariances",
    "table_design",
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


def plain_design(answer) -> str:
    """Say in plain words what a study of so many athletes can answer."""
    if isinstance(answer, NotYet):
        return str(answer)
    parts = []
    for verdict, words in CAN.items():
        rows = answer.questions[answer.questions["verdict"] == verdict]
        if len(rows):
            parts.append(words.format(_listed(rows)))
    text = f"With {plural(answer.n, 'athlete')} who stay to the end, the study {'; it '.join(parts)}."
    if answer.n_to_recruit > answer.n:
        text += f" Ask {plural(answer.n_to_recruit, 'athlete')}, since some will leave."
    return text


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


def write_up_size(answer) -> list[str]:
    """Justify the number of athletes, as a plan or a journal would take it."""
    if isinstance(answer, NotYet):
        return [str(answer)]
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
    digits = 2 if row.part == "correlation" else max(outcome_named(row.outcome).digits, 1)
    return format_number(value, digits, unit=unit)


def _n(row) -> str:
    return "more than 500 athletes" if pd.isna(row.n_for_80) else plural(int(row.n_for_80), "athlete")
