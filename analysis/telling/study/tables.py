"""The tables about the study itself: athletes, plan, protocol, means, departures from the plan, what was set aside."""

from __future__ import annotations

import math

import pandas as pd

from ...answers.describe import REST_MEASURES
from ...basics import FEWEST_PEOPLE, format_ci, format_number, plural, upper_first
from ...study import OUTCOMES
from ...study.outcomes import digits_of, short_question
from ..cleaning.tables import cause_in_words
from ..document import Table
from ..words import CI, DASH, duration, p_cell
from .methods import smallest_reason, smallest_words
from .sentences import minutes

SOME = "In square brackets: the number of athletes, where it is not all."


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
        line = {"Characteristic": f"{first['label']} ({first['unit']})" if first["unit"] else first["label"]}
        for s in shown_sexes:
            line[f"{words[s]} (n = {sizes[s]})"] = _mean_sd(rows.loc[s], sizes[s]) if s in rows.index else "not shown"
        lines.append(line)
    return Table(
        "participants",
        "Characteristics of the athletes: mean (SD).",
        pd.DataFrame(lines),
        note=SOME if any("[" in str(cell) for line in lines for cell in list(line.values())[1:]) else "",
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
            **({"Clothing": p.clothing or "not stated"} if any(q.clothing for q in named.values()) else {}),
        }
        for name, p in named.items()
    )
    columns = ("rounds", "work_s", "rest_s", "exertion_scale", "clothing")
    numbers = pd.DataFrame({"group": name, **{c: getattr(p, c) for c in columns}} for name, p in named.items())
    return Table("protocol", "Protocol of the sparring session.", shown, numbers=numbers)


def roll_call_table(seen) -> Table | None:
    """What was noted at roll call and weighed; a count that tells about fewer than five is not printed."""
    few = f"fewer than {FEWEST_PEOPLE}, or all but fewer than {FEWEST_PEOPLE}"
    lines = []
    for t in seen.ticks.to_dict("records"):
        counted = (f"{t['yes']} of {t['answered']}", t["yes"]) if t["shown"] else (few, math.nan)
        lines.append((upper_first(t["words"]), *counted))
    for words, value, unit, count in (
        ("Body mass lost", seen.loss_percent, "%", seen.n_weighed),
        ("Sweat, with what was drunk", seen.sweat_l, "L", seen.n_drinks),
    ):
        if count >= FEWEST_PEOPLE:
            mean = format_number(value, 1, unit=unit)
            lines.append((words, f"mean {mean} ({plural(count, 'athlete')})", value))
    if not lines:
        return None
    table = pd.DataFrame(lines, columns=["Noted", "Athletes", "value"])
    caption = "What was noted at roll call and on the scales."
    return Table("roll_call", caption, table[["Noted", "Athletes"]], numbers=table[["Noted", "value"]])


def means_table(means, outcomes: tuple[str, ...], *, off_scale: dict | None = None) -> Table | None:
    """Mean, SD and n of every outcome in every round; `off_scale` counts readings off the scale by outcome and round."""
    if not means or means.table.empty:
        return None
    table = means.table[means.table["outcome"].isin(outcomes)]
    rounds = sorted(table["round_no"].unique())
    off_scale, lines = off_scale or {}, []
    for name in outcomes:
        rows = table[table["outcome"] == name].set_index("round_no")
        if rows.empty:
            continue
        known = OUTCOMES[name]
        line = {"Outcome": known.axis_label}
        for r in rounds:
            cell = _mean_sd_n(rows.loc[r], known.digits) if r in rows.index else DASH
            line[f"Round {r}"] = cell + off_scale.get((name, str(r)), "")
        lines.append(line)
    if not lines:
        return None
    note = "Unadjusted means of the athletes who sparred the round and have a value."
    if off_scale:
        note += (
            " HI, LO: readings off the analyser's scale, which are not in the mean and SD; model and figure use them."
        )
    caption = "Outcomes by round: mean (SD), number of athletes."
    return Table("round_means", caption, pd.DataFrame(lines), note=note, numbers=table)


def tabulate_recovery(rests) -> pd.DataFrame:
    """Heart rate in the rests between rounds: mean (SD), number of athletes, one column per rest."""
    table = rests.table
    lines = []
    for name, label in REST_MEASURES.items():
        rows = table[table["outcome"] == name].set_index("round_no")
        if len(rows):
            line = {"Measure": label}
            lines.append(line | {f"After round {k}": _mean_sd_n(rows.loc[k], 0) for k in rows.index})
    return pd.DataFrame(lines).fillna(DASH)


def rests_table(rests) -> Table | None:
    """Heart rate in the rests between rounds, for the write-up."""
    if not rests or rests.table.empty:
        return None
    return Table(
        "rests",
        "Heart rate in the rests between rounds: mean (SD), number of athletes.",
        tabulate_recovery(rests),
        note="Fall: mean of the last 5 s of the round minus mean of 55 to 65 s after it. End of the rest: mean of its last 10 s.",
        numbers=rests.table,
    )


def off_scale_words(answers: dict) -> dict:
    """Count readings off the analyser's scale: (outcome, round) -> " + 1 HI"."""
    found = {}
    for outcome, answer in answers.items():
        rows = answer.rows[answer.rows["limit"].astype(str) != ""]
        for (round_no, limit), own in rows.groupby([rows["round_no"].astype(str), "limit"], observed=True):
            words = {"high": "HI", "low": "LO"}[str(limit)]
            found[outcome, round_no] = found.get((outcome, round_no), "") + f" + {len(own)} {words}"
    return found


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


def plan_table(study, questions: tuple) -> Table | None:
    """Every question of the plan: expected direction, what would matter and why, its standing, its p with the others."""
    if not questions:
        return None
    lines = []
    for q in questions:
        words = short_question(q.id)
        lines.append(
            {
                "Question": upper_first(words),
                "Expected": q.direction or "not said",
                "Would matter": smallest_words(study.plan, q.outcome) if q.outcome else DASH,
                "Because": smallest_reason(study.plan, q.outcome) or "not said",
                "Status": q.status,
                "Why": q.why,
                "p": p_cell(q.p),
                "p, with the others": p_cell(q.p_adjusted),
            }
        )
    numbers = pd.DataFrame(
        [{"id": q.id, "outcome": q.outcome, "p": q.p, "p_adjusted": q.p_adjusted} for q in questions]
    )
    numbers["smallest_effect"] = [study.plan.smallest_effects.get(q.outcome, math.nan) for q in questions]
    return Table(
        "plan",
        "The questions of the plan.",
        pd.DataFrame(lines),
        note="p: over the rounds the largest of the tests that a claim needs, for fitness that of the slope. "
        "With the others: Holm-adjusted over the questions that the plan tests together.",
        numbers=numbers,
    )


def looks_table(looks: pd.DataFrame) -> Table | None:
    """Estimates at a planned look, corrected for the looks before it."""
    if looks is None or not len(looks):
        return None
    shown = []
    for line in looks.to_dict("records"):
        known = OUTCOMES[line["outcome"]]
        digits = digits_of(known) + (line["question"].startswith("fitness."))
        shown.append(
            {
                "Question": short_question(line["question"]),
                "Level": format_number(line["level"], 4),
                "Estimate": format_number(line["estimate"], digits),
                "Corrected": format_number(line["corrected"], digits),
                CI: format_ci(line["ci_low"], line["ci_high"], digits),
                "Interval at this level": format_ci(line["repeated_low"], line["repeated_high"], digits),
                "Advice": line["advice"],
            }
        )
    first = looks.iloc[0]
    note = (
        "Rounds: change from the first to the last; fitness: change of the outcome per unit of capacity. Corrected: "
        "for the chance to have stopped before, were the study to end here. The interval at this level holds "
        "whether it goes on or not. Advice does not bind."
    )
    caption = f"Estimates at planned look {first['look']}, with {first['n_athletes']} athletes."
    return Table("looks", caption, pd.DataFrame(shown), note=note, numbers=looks)


def software_table(versions: dict[str, str]) -> Table:
    """The packages with their versions."""
    lines = [{"Package": name, "Version": version} for name, version in versions.items()]
    return Table("software", "Software.", pd.DataFrame(lines))


ORIGINS = {
    ("recordings", "recorded seconds"): "recordings, all of the evening",
    ("recordings", "round seconds"): "recordings, time in rounds",
    ("rounds", "hr_mean_bpm"): "round means of heart rate",
    ("rounds", "lactate_mmol_l"): "lactate values",
    ("rounds", "exertion"): "exertion ratings",
    ("aerobic_tests", ""): "aerobic tests",
}


def _amount(amount: float, unit: str) -> str:
    if unit == "s":
        return duration(amount)
    unit = unit.removesuffix("s") if amount == 1 and unit in ("rows", "values", "files") else unit
    return format_number(amount, 0, unit=unit)


def set_aside_table(set_aside: pd.DataFrame) -> Table | None:
    """What was set aside, by cause."""
    if set_aside.empty:
        return None
    lines = []
    for r in set_aside.to_dict("records"):
        table, measure, cause, unit = r["table"], r["measure"], r["cause"], r["unit"]
        other = f"{table}, {measure.replace('_', ' ')}" if measure else table.replace("_", " ")
        origin = ORIGINS.get((table, measure), other)
        if measure == "files":  # the cause without the name of the file and without the advice that follows
            cause, unit = cause.partition(": ")[2].partition(". ")[0].rstrip(".") or cause, "files"
        else:
            cause = cause_in_words(cause) or "no cause noted"
        lines.append(
            {"From": origin, "Cause": cause, "Amount": _amount(r["amount"], unit), "Decided by": r["decided_by"]}
        )
    return Table("set_aside", "What was set aside, by cause.", pd.DataFrame(lines), numbers=set_aside)
