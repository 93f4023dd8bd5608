"""Sentences about repeating a published correlation, and about simulated studies."""

from __future__ import annotations

import pandas as pd

from ...basics import format_ci, format_number, format_percent, join_words, plural
from ...planning.answer import chance_words


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
