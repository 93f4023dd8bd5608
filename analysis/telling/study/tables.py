"""The tables of the answers: differences between rounds, fitness, comparison with published findings."""

from __future__ import annotations

import pandas as pd

from ...basics import format_ci, format_df, format_number, format_p, format_percent
from ...rounds import reading_of_step
from ...study import OUTCOMES
from ...study.outcomes import short_question
from ..document import Table

CI = "95\N{NO-BREAK SPACE}% interval"


def contrasts_table(answers: dict) -> Table | None:
    """Every step from a round to the next, and from first to last, of every outcome."""
    shown, numbers = [], []
    for outcome, answer in answers.items():
        known = OUTCOMES[outcome]
        for i, step in enumerate(answer.steps.to_dict("records")):
            shown.append(
                {
                    "Outcome": known.axis_label if i == 0 else "",
                    "Rounds": _step(step),
                    "Difference": format_number(step["estimate"], max(known.digits, 1)),
                    "95\N{NO-BREAK SPACE}% interval": format_ci(
                        step["ci_low"], step["ci_high"], max(known.digits, 1)
                    ),
                    "df": format_df(step["df"]),
                    "p": format_p(step["p"], equals=False),
                    "p, adjusted": format_p(step.get("p_adjusted", float("nan")), equals=False),
                    f"{format_percent(1 - 2 * answer.alpha)} interval": format_ci(
                        step["equivalence_low"], step["equivalence_high"], max(known.digits, 1)
                    ),
                    "Passes from": format_number(step["smallest_bound"], max(known.digits, 1)),
                    "Reading": reading_of_step(step, max(known.digits, 1)),
                }
            )
        numbers.append(answer.steps.assign(outcome=outcome))
    if not shown:
        return None
    note = (
        "Equivalent: inside plus or minus the smallest change that matters, by two one-sided tests. Not shown: "
        "neither a change nor equivalence is shown. The narrower interval, the wider of the model's and the robust one, decides "
        "equivalence; passes from: the smallest bound with which the two rounds would be equivalent. A change counts only "
        "where the robust test, which stands in the text, shows it too."
    )
    if any(answer.ordinal for answer in answers.values()):
        note += " For ratings the exact test by order decides."
    if any(_depends(answer) for answer in answers.values()):
        note += " HI, LO: values off the analyser's scale; a reading holds as long as none of them was beyond the value given."
    return Table(
        "contrasts",
        "Differences between rounds, later minus earlier, from the mixed model.",
        pd.DataFrame(shown),
        note=note,
        numbers=pd.concat(numbers, ignore_index=True),
    )


def looks_table(looks: pd.DataFrame) -> Table | None:
    """Estimates at a planned look, corrected for the looks before it."""
    if looks is None or not len(looks):
        return None
    shown = []
    for line in looks.to_dict("records"):
        known = OUTCOMES[line["outcome"]]
        digits = max(known.digits, 1) + (line["question"].startswith("fitness."))
        shown.append(
            {
                "Question": short_question(line["question"]),
                "Level": format_number(line["level"], 4),
                "Estimate": format_number(line["estimate"], digits),
                "Median-unbiased": format_number(line["median_unbiased"], digits),
                "95\N{NO-BREAK SPACE}% interval": format_ci(line["ci_low"], line["ci_high"], digits),
                "Interval at this level": format_ci(line["repeated_low"], line["repeated_high"], digits),
                "Advice": line["advice"],
            }
        )
    first = looks.iloc[0]
    note = (
        "Rounds: change from the first to the last; fitness: change of the outcome per unit of capacity. Median-unbiased: "
        "corrected for the chance to have stopped before, were the study to end here. The interval at this level holds "
        "whether it goes on or not. Advice does not bind."
    )
    return Table(
        "looks",
        f"Estimates at planned look {first['look']}, with {first['n_athletes']} athletes.",
        pd.DataFrame(shown),
        note=note,
        numbers=looks,
    )


def _depends(answer) -> bool:
    steps = answer.steps
    return "label_at_scale_end" in steps and bool((steps["label_at_scale_end"] != steps["label"]).any())


def _step(step: dict) -> str:
    return str(step["contrast"]).replace(" - ", " − ")


VERDICT_WORDS = {
    "negligible": "too small to matter",
    "supported": "as expected",
    "opposite": "against what was expected",
    "too imprecise": "not shown",
}
"""Verdicts on fitness, as a table prints them."""


def capacity_table(answers: dict) -> Table | None:
    """Effect of aerobic capacity on every outcome, and the correlation over athletes."""
    shown, numbers = [], []
    for outcome, answer in answers.items():
        known = OUTCOMES[outcome]
        pearson = answer.correlations[answer.correlations["analysis"] == "Pearson"]
        r = dict.fromkeys(("estimate", "ci_low", "ci_high", "p"), float("nan")) | (
            pearson.iloc[0].to_dict() if len(pearson) else {}
        )
        digits = max(known.digits, 1)
        shown.append(
            {
                "Outcome": known.axis_label,
                "n": str(answer.n_athletes),
                "Difference": format_number(answer.effect, digits),
                CI: format_ci(answer.effect_ci_low, answer.effect_ci_high, digits),
                "df": format_df(answer.planned.df),
                "p": format_p(answer.planned.p, equals=False),
                "r": format_number(r["estimate"], 2),
                f"{CI} of r": format_ci(r["ci_low"], r["ci_high"], 2),
                "Reading": VERDICT_WORDS[answer.verdict],
            }
        )
        line = {"outcome": outcome, "effect": answer.effect, "ci_low": answer.effect_ci_low}
        line |= {"ci_high": answer.effect_ci_high, "p": answer.planned.p, "df": answer.planned.df}
        line |= {"n_athletes": answer.n_athletes, "adjusted_for": " + ".join(answer.adjusted_for)}
        line |= {"r": r["estimate"], "r_ci_low": r["ci_low"], "r_ci_high": r["ci_high"], "r_p": r["p"]}
        numbers.append(line | {"reading": answer.verdict})
    if not shown:
        return None
    first = next(iter(answers.values()))
    step = format_number(first.capacity_step, 0 if first.capacity_step == round(first.capacity_step) else 2)
    return Table(
        "capacity",
        "Aerobic capacity and the response to sparring: difference in the outcome between athletes who are "
        f"{step}\N{NO-BREAK SPACE}{first.capacity_unit} apart.",
        pd.DataFrame(shown),
        note="Difference: from the planned model, adjusted as the text says. r: Pearson, over athletes, not adjusted.",
        numbers=pd.DataFrame(numbers),
    )


def comparison_table(answer) -> Table | None:
    """Published correlations beside ours."""
    if not answer or answer.table.empty:
        return None
    shown = pd.DataFrame(
        {
            "Finding": line["finding"],
            "Outcome": OUTCOMES[line["outcome"]].label if line["outcome"] in OUTCOMES else line["outcome"],
            "Published r (n)": f"{format_number(line['r'], 2)} ({int(line['n'])})",
            "Our r (n)": f"{format_number(line['r_new'], 2)} ({int(line['n_new'])})",
            "Expected of ours": format_ci(line["prediction_low"], line["prediction_high"], 2),
            "p of the difference": format_p(line["p_difference"], equals=False),
            "Reading": line["verdict"] + (", says little" if line["says_little"] else ""),
        }
        for line in answer.table.to_dict("records")
    )
    return Table(
        "comparison",
        "Published correlations of fitness with the response, and ours.",
        shown,
        note="Expected of ours: 95\N{NO-BREAK SPACE}% prediction interval of a study of our size, if the published one is right. "
        "Says little: the comparison could hardly have come out otherwise. Sources stand in the text.",
        numbers=answer.table,
    )


def protocols_table(answer) -> Table | None:
    """The protocols of the published findings beside ours."""
    from ..published.tables import tabulate_protocols

    wide = tabulate_protocols(answer)
    if wide is None or wide.empty:
        return None
    shown = wide.astype(str).rename(columns={"aspect": "Aspect", "ours": "Ours"})
    return Table(
        "protocols", "Protocols of the published findings beside ours.", shown, numbers=answer.protocols
    )


def participants_table(participants) -> Table | None:
    """Characteristics of the athletes, all together and by sex."""
    known = participants.characteristics
    known = known[known["n_athletes"] > 0] if len(known) else known
    if known.empty:
        return None
    sizes = {"all": participants.n_athletes, "F": participants.n_women, "M": participants.n_men}
    words = {"all": "All", "F": "Women", "M": "Men"}
    shown_sexes = [s for s in words if known.loc[known["sex"] == s, "shown"].any() or s == "all"]
    lines = []
    for name in dict.fromkeys(known["name"]):
        rows = known[known["name"] == name].set_index("sex")
        first = rows.iloc[0]
        line = {"Characteristic": f"{first['label']} ({first['unit']})"}
        for s in shown_sexes:
            line[f"{words[s]} (n = {sizes[s]})"] = (
                _mean_sd(rows.loc[s], sizes[s]) if s in rows.index else "not shown"
            )
        lines.append(line)
    return Table(
        "participants",
        "Characteristics of the athletes: mean (SD).",
        pd.DataFrame(lines),
        note="In brackets after a value: the number of athletes, where it is not all.",
        numbers=known[known["sex"].isin(shown_sexes)],
    )


def _mean_sd(row, size: int) -> str:
    digits, n = int(row["digits"]), int(row["n_athletes"])
    if n < 2:
        return "not shown"
    text = f"{format_number(row['mean'], digits)} ({format_number(row['sd'], digits)})"
    return text if n == size else f"{text} [{n}]"


def protocol_table(study) -> Table | None:
    """Rounds, work, rest and what was taken when."""
    from .sentences import minutes

    if not study.protocol.rounds:
        return None
    named = {"All": study.protocol} if not study.protocol.groups else {"Others": study.protocol}
    named = {**study.protocol.groups, **named}
    shown = pd.DataFrame(
        {
            "Group": name,
            "Rounds": str(p.rounds),
            "Work": minutes(p.work_s),
            "Rest": minutes(p.rest_s),
            "Exertion scale": p.exertion_scale.replace("-", " to "),
        }
        for name, p in named.items()
    )
    numbers = pd.DataFrame(
        {
            "group": name,
            "rounds": p.rounds,
            "work_s": p.work_s,
            "rest_s": p.rest_s,
            "exertion_scale": p.exertion_scale,
        }
        for name, p in named.items()
    )
    return Table("protocol", "Protocol of the sparring session.", shown, numbers=numbers)


def means_table(means, outcomes: tuple[str, ...]) -> Table | None:
    """Mean, SD and n of every outcome in every round."""
    if not means or means.table.empty:
        return None
    table = means.table[means.table["outcome"].isin(outcomes)]
    rounds = sorted(table["round_no"].unique())
    lines = []
    for name in outcomes:
        rows = table[table["outcome"] == name].set_index("round_no")
        if rows.empty:
            continue
        known = OUTCOMES[name]
        line = {"Outcome": known.axis_label}
        for r in rounds:
            line[f"Round {r}"] = _mean_sd_n(rows.loc[r], known.digits) if r in rows.index else "–"
        lines.append(line)
    if not lines:
        return None
    return Table(
        "round_means",
        "Outcomes by round: mean (SD), number of athletes.",
        pd.DataFrame(lines),
        note="Plain means of the athletes who sparred the round and have a value; the estimates of the model are in the text.",
        numbers=table,
    )


def _mean_sd_n(row, digits: int) -> str:
    digits = max(digits, 1) if digits == 0 else digits
    if row["n_athletes"] < 2:
        return f"{format_number(row['mean'], digits)}, {int(row['n_athletes'])}"
    mean, sd = format_number(row["mean"], digits), format_number(row["sd"], digits)
    return f"{mean} ({sd}), {int(row['n_athletes'])}"


def deviations_table(lines: list[tuple[str, str, str]]) -> Table | None:
    """What was done otherwise than planned."""
    if not lines or [line[0] for line in lines] == ["Plan before the data"]:
        return None
    shown = pd.DataFrame(lines, columns=["What", "Planned", "Done"])
    return Table("deviations", "Departures from the plan.", shown)


ORIGINS = {
    ("recordings", "recorded seconds"): "recordings, all of the evening",
    ("recordings", "round seconds"): "recordings, time in rounds",
    ("rounds", "hr_mean_bpm"): "round means of heart rate",
    ("rounds", "lactate_mmol_l"): "lactate values",
    ("rounds", "exertion"): "exertion ratings",
    ("aerobic_tests", ""): "aerobic tests",
}


def _origin(table: str, measure: str) -> str:
    return ORIGINS.get((table, measure)) or (
        f"{table}, {measure.replace('_', ' ')}" if measure else table.replace("_", " ")
    )


def _unreadable(cause: str) -> str:
    """The cause of a file that cannot be read, without its name and without the advice that follows."""
    return cause.partition(": ")[2].partition(". ")[0].rstrip(".") or cause


def _amount(amount: float, unit: str) -> str:
    unit = unit.removesuffix("s") if amount == 1 and unit in ("rows", "values", "files") else unit
    return format_number(amount, 0, unit=unit)


def set_aside_table(set_aside: pd.DataFrame) -> Table | None:
    """What was set aside, by cause."""
    if set_aside.empty:
        return None
    from ..cleaning.tables import cause_in_words

    units = {"rows": "rows", "values": "values", "s": "s of recording"}
    shown = pd.DataFrame(
        {
            "From": _origin(r["table"], r["measure"]),
            "Cause": _unreadable(r["cause"])
            if r["measure"] == "files"
            else cause_in_words(r["cause"]) or "no cause noted",
            "Amount": _amount(
                r["amount"], "files" if r["measure"] == "files" else units.get(r["unit"], r["unit"])
            ),
            "Decided by": r["decided_by"],
        }
        for r in set_aside.to_dict("records")
    )
    return Table("set_aside", "What was set aside, by cause.", shown, numbers=set_aside)
