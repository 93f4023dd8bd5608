"""From tests and evenings with a phase to one value per athlete and occasion, and to one row per athlete."""

from __future__ import annotations

import pandas as pd

from ..basics import KitError
from ..capacity import measure_capacity

PHASES = ("familiarisation", "pre", "post", "later")
"""Familiarisation never counts; later is after the second period of a delayed start and does not answer the question."""


def capacity_by_occasion(aerobic_tests, athletes, **options) -> pd.DataFrame:
    """Measure the capacity of every athlete at every occasion; `.attrs["left_out"]` lists tests not used."""
    parts, lost = [], []
    for (phase, occasion), rows in with_occasions(aerobic_tests).groupby(["phase", "occasion"], sort=False):
        if phase not in ("pre", "post", "later"):
            continue
        found = measure_capacity(rows.drop(columns=["phase", "occasion"]), athletes, **options)
        lost.append(found.attrs["left_out"])
        found.attrs = {}
        found = found[found["capacity"].notna()]
        parts.append(
            found.rename(columns={"capacity": "value"})[
                ["athlete", "value", "unit", "standard_error", "error_kind", "test", "date"]
            ].assign(phase=phase, occasion=occasion)
        )
    columns = [
        "athlete",
        "phase",
        "occasion",
        "value",
        "unit",
        "standard_error",
        "error_kind",
        "test",
        "date",
    ]
    table = pd.concat(parts, ignore_index=True)[columns] if parts else pd.DataFrame(columns=columns)
    table.attrs["left_out"] = pd.concat(lost, ignore_index=True) if lost else None
    return table


def outcome_by_occasion(rows, sessions, outcome) -> pd.DataFrame:
    """Take the mean of an outcome per athlete and evening, over the rounds that the athlete sparred in every evening."""
    known = with_occasions(sessions)
    known = known[known["phase"].isin(("pre", "post"))].assign(session=lambda t: t["session"].astype(str))
    work = rows.assign(session=rows["session"].astype(str), value=pd.to_numeric(rows[outcome], errors="coerce"))
    work = work[work["value"].notna() & (pd.to_numeric(work["round_no"]) != 0)]
    work = work.merge(known[["session", "phase", "occasion"]], on="session")
    evenings = work.groupby("athlete")["session"].transform("nunique")
    shared = work.groupby(["athlete", "round_no"])["session"].transform("nunique") == evenings
    table = (
        work[shared]
        .groupby(["athlete", "phase", "occasion", "session"], sort=True)
        .agg(value=("value", "mean"), n_rounds=("value", "size"))
        .reset_index()
    )
    table = table.sort_values(
        ["athlete", "phase", "occasion"], key=lambda c: c.map(PHASES.index) if c.name == "phase" else c
    )
    return table[["athlete", "phase", "occasion", "value", "n_rounds", "session"]]


def with_occasions(table) -> pd.DataFrame:
    """Fill phase with "" and occasion with 1 where a table does not have them."""
    table = table.reset_index(drop=True).copy()
    phase = table["phase"] if "phase" in table else pd.Series("", index=table.index)
    table["phase"] = phase.astype("string").fillna("").str.strip().astype(object)
    occasion = table["occasion"] if "occasion" in table else pd.Series(1, index=table.index)
    table["occasion"] = pd.to_numeric(occasion, errors="coerce").fillna(1).astype(int)
    return table


def one_row_per_athlete(values, allocation) -> pd.DataFrame:
    """Put baselines and follow-ups of every allocated athlete side by side."""
    values = values[values["phase"].isin(("pre", "post"))]
    twice = values[values.duplicated(["athlete", "phase", "occasion"])]
    if len(twice):
        line = twice.iloc[0]
        raise KitError(
            f"Athlete {line['athlete']} has two values of phase {line['phase']}, occasion {line['occasion']}: number the "
            "occasions 1, 2, or set one row aside in decisions."
        )
    wide = values.assign(
        name=[f"{p}_{o}" for p, o in zip(values["phase"], values["occasion"], strict=True)]
    ).pivot_table(index="athlete", columns="name", values="value")
    names = {
        p: sorted((c for c in wide if c.startswith(p)), key=lambda c: int(c.split("_")[1])) for p in ("pre", "post")
    }
    wide = wide[[*names["pre"], *names["post"]]].astype(float)
    for phase in ("pre", "post"):
        wide[phase] = wide[names[phase]].mean(axis=1) if names[phase] else float("nan")
    wide["change"] = wide["post"] - wide["pre"]
    people = allocation.assign(athlete=allocation["athlete"].astype(str))
    return people.merge(wide.rename_axis(None, axis=1).reset_index(), on="athlete", how="left")
