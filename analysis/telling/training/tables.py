"""Tables of a training study, for the page and for the screen."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_ci, format_number
from ...basics.words import format_df
from ...physiology import training_protocols
from ...physiology.training_protocols import training_values
from ...training.before_after import BeforeAfter
from ..document import Table
from ..words import CI, number_cell, p_cell, with_range


def effects_table(answer) -> Table | None:
    """The planned analysis of every outcome, and the ones beside it."""
    shown, numbers = [], []
    for one in answer.outcomes.values():
        if isinstance(one, BeforeAfter):
            continue
        for i, line in enumerate(one.beside.to_dict("records")):
            shown.append(
                {
                    "Outcome": f"{one.label} ({one.unit})" if i == 0 else "",
                    "Analysis": line["analysis"],
                    "Trained minus control": format_number(line["estimate"], one.digits, sign=True),
                    CI: format_ci(line["ci_low"], line["ci_high"], one.digits),
                    "df": format_df(line["df"]),
                    "p": p_cell(line["p"]),
                    "Athletes": str(int(line["n_athletes"])),
                }
            )
        numbers.append(one.beside.assign(outcome=one.outcome))
    if not shown:
        return None
    return Table(
        "training_effects",
        "Effect of the added training, by analysis.",
        pd.DataFrame(shown),
        note="The planned analysis answers; the others are sensitivity. As trained: those below 70 % and controls who did "
        "intervals are left out, which chance no longer decides.",
        numbers=pd.concat(numbers, ignore_index=True),
    )


def changes_table(answer) -> Table | None:
    """Before, after and change of one group, beside the change between baselines."""
    found = [one for one in answer.outcomes.values() if isinstance(one, BeforeAfter)]
    if not found:
        return None
    shown = pd.DataFrame(
        {
            "Outcome": f"{one.label} ({one.unit})",
            "After minus before": format_number(one.estimate, one.digits, sign=True),
            CI: format_ci(one.ci_low, one.ci_high, one.digits),
            "Between baselines": format_number(one.between_baselines, one.digits, sign=True),
            "Detectable in one athlete": format_number(one.detectable, one.digits),
            "Athletes beyond it": f"{one.beyond_error} of {one.n_athletes}",
        }
        for one in found
    )
    return Table("training_changes", "Change from before to after in one group.", shown)


def flow_table(answer) -> Table | None:
    """How many were allocated, measured and analysed, by group and outcome."""
    parts = [one.flow.assign(outcome=one.label) for one in answer.outcomes.values() if not isinstance(one, BeforeAfter)]
    if not parts:
        return None
    numbers = pd.concat(parts, ignore_index=True)
    shown = numbers[["outcome", "arm", "allocated", "baseline", "followup", "analysed", "missing"]].astype(str)
    names = ["Outcome", "Group", "Allocated", "With baseline", "With follow-up", "Analysed", "Without follow-up"]
    shown.columns = names
    return Table("training_flow", "Athletes from allocation to analysis.", shown, numbers=numbers)


def adherence_table(answer) -> Table | None:
    """What both groups trained."""
    if answer.adherence is None:
        return None
    names = {
        "n_athletes": ("Athletes", 0),
        "sessions_done": ("Interval sessions", 1),
        "minutes_in_target": ("Minutes in target", 1),
        "dose_intervals": ("Intervals: rating × min a week", 0),
        "dose_sparring": ("Sparring: rating × min a week", 0),
        "dose_other": ("Other: rating × min a week", 0),
        "sparring_min_week": ("Sparring, min a week", 0),
    }
    groups = answer.adherence.groups
    shown = pd.DataFrame({"Group": groups["arm"]})
    for column, (words, digits) in names.items():
        if column in groups and groups[column].notna().any():
            shown[words] = [number_cell(v, digits, empty="") for v in groups[column]]
    return Table("training_adherence", "What both groups trained, means per athlete.", shown, numbers=groups)


def guards_table(answer) -> Table | None:
    """Where the groups did not do what was planned."""
    if answer.adherence is None:
        return None
    table = answer.adherence.guards
    shown = pd.DataFrame(
        {
            "Guard": table["guard"],
            "Found": table["found"],
            "How much": [f"{format_number(v, 0)} {o}" for v, o in zip(table["value"], table["of"], strict=True)],
        }
    )
    return Table("training_guards", "Guards: nobody is moved between groups for them.", shown)


def harms_table(answer) -> Table | None:
    """Adverse events of both groups."""
    if answer.harms is None or not len(answer.harms.table):
        return None
    table = answer.harms.table
    shown = table.rename(columns=lambda c: c.replace("_", ": ", 1).capitalize()).astype(str)
    shown["Kind"] = shown["Kind"].str.replace("_", " ")
    return Table("training_harms", "Adverse events of both groups.", shown, numbers=table)


def individual_table(answer) -> Table | None:
    """SD of individual responses with both intervals, and the error of the test."""
    randomised = [one for one in answer.outcomes.values() if not isinstance(one, BeforeAfter)]
    found = [one for one in randomised if not math.isnan(one.individual.sd_ir)]
    if not found:
        return None
    shown = pd.DataFrame(
        {
            "Outcome": f"{one.label} ({one.unit})",
            "SD of changes, trained": format_number(one.individual.sd_trained, one.digits),
            "control": format_number(one.individual.sd_control, one.digits),
            "SD of responses": format_number(one.individual.sd_ir, one.digits),
            "MOVER": format_ci(one.individual.mover_low, one.individual.mover_high, one.digits),
            "Typical error": format_number(one.typical_error, one.digits),
            "Detectable in one athlete": format_number(one.detectable, one.digits),
        }
        for one in found
    )
    note = "A negative SD of responses: the control group's changes scatter more. It names nobody who responds."
    return Table("training_individual", "Individual responses and the error of the test.", shown, note=note)


def training_tables(answer) -> list[Table]:
    """Every table of a training study that there is."""
    if not answer:
        return []
    made = (effects_table, changes_table, flow_table, adherence_table, guards_table, harms_table, individual_table)
    return [table for make in made if (table := make(answer)) is not None]


def tabulate_training_protocols(_=None):
    """The catalogue of protocols with source and mark, for the screen."""
    table = training_protocols()
    return pd.DataFrame(
        {
            "name in study.toml": table["protocol"],
            "protocol": table["title"],
            "guided by": table["guide"],
            "sessions a week": [number_cell(v, 0, empty="") for v in table["sessions_per_week"]],
            "weeks": [number_cell(v, 0, empty="") for v in table["weeks"]],
            "source": table["source"],
            "how far read": table["provenance"],
            "note": table["note"],
        }
    )


def tabulate_published(_=None):
    """Published gains, and where a paper's percentage and its means disagree."""
    table = training_values()

    def gain(r):
        if r.effect == r.effect:
            return with_range(r.effect, r.ci_low, r.ci_high, 2, sign=True)
        return f"{format_number(r.before, 1)} → {format_number(r.after, 1)}"

    return pd.DataFrame(
        {
            "study": table["study"],
            "gain": [gain(r) for r in table.itertuples()],
            "unit": table["unit"],
            "printed (%)": [number_cell(v, 1, empty="") for v in table["printed_percent"]],
            "from the means (%)": [number_cell(v, 1, empty="") for v in table["percent"]],
            "population": table["population"],
            "source": [f"{s} ({p})" for s, p in zip(table["source"], table["provenance"], strict=True)],
            "note": table["note"],
        }
    )


def tabulate_plan(plan):
    """Power, precision and equivalence by size, for the screen."""
    wide = plan.table.pivot_table(index="n_per_group", columns="effect", values="power")
    first = plan.table.drop_duplicates("n_per_group").set_index("n_per_group")
    shown = pd.DataFrame({"athletes": [f"{n} + {n}" for n in wide.index]})
    for effect in wide.columns:
        shown[f"finds {format_number(effect, 1, sign=True)} (of 100)"] = [str(round(100 * v)) for v in wide[effect]]
    shown["interval ±"] = [format_number(first.loc[n, "half_width"], 1) for n in wide.index]
    shown["found in 80 of 100"] = [format_number(first.loc[n, "smallest_found"], 1) for n in wide.index]
    shown[f"shows less than {format_number(plan.smallest, 1)} (of 100)"] = [
        str(round(100 * first.loc[n, "equivalence_power"])) for n in wide.index
    ]
    return shown
