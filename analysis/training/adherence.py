"""What was trained: sessions, minutes in target, dose by kind, guards that say where the plan was not kept, and harms."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result

KINDS = ("intervals", "sparring", "drilling", "running", "strength", "competition", "other")
LOW_ADHERENCE = 0.7
"""Share of the planned sessions below which an athlete is named as trained too little for the question (our proposal)."""
SPARRING_APART_MIN = 30.0
"""Minutes of sparring a week by which the groups may differ before it is said (our proposal)."""


@dataclass(frozen=True)
class Adherence(Result):
    """What both groups trained."""

    # athlete, arm, sessions done and planned, share, dose (rating × minutes) and sparring a week
    athletes: pd.DataFrame
    groups: pd.DataFrame  # arm, n_athletes and the means of the above
    guards: pd.DataFrame  # guard, found (yes or no), value, of; guards move nobody between groups
    weeks: float
    sessions_planned: float
    warnings: tuple[str, ...] = field(default=())


def describe_adherence(
    log, allocation, *, weeks, sessions_per_week, minutes_in_target=None, attainable_minutes=None
) -> Adherence:
    """Describe what each athlete and each group trained by the log, and check it against the plan."""
    log = log.assign(
        athlete=log["athlete"].astype(str),
        kind=log["kind"].astype("string").fillna("other").replace("", "other").astype(object),
        minutes=pd.to_numeric(log["minutes"], errors="coerce"),
        rating=pd.to_numeric(log["rating"], errors="coerce"),
    )
    log["dose"] = log["minutes"] * log["rating"]
    planned = float(weeks) * float(sessions_per_week)
    lines = []
    for athlete, arm in zip(allocation["athlete"].astype(str), allocation["arm"], strict=True):
        own = log[log["athlete"] == athlete]
        intervals = own[own["kind"] == "intervals"]
        early = (own["stopped_early"].astype("string") == "yes").sum() if "stopped_early" in own else 0
        kind = own["kind"].where(own["kind"].isin(("intervals", "sparring")), "other")
        dose = {name: float(own.loc[kind == name, "dose"].sum()) / weeks for name in ("intervals", "sparring", "other")}
        lines.append(
            {
                "athlete": athlete,
                "arm": arm,
                "logged": len(own),
                "sessions_done": len(intervals),
                "sessions_planned": planned if arm == "trained" else 0.0,
                "share": len(intervals) / planned if arm == "trained" and planned else float("nan"),
                "stopped_early": int(early),
                **{f"dose_{name}": amount for name, amount in dose.items()},
                "sparring_min_week": float(own.loc[own["kind"] == "sparring", "minutes"].sum()) / weeks,
            }
        )
    athletes = pd.DataFrame(lines)
    if minutes_in_target is not None and len(minutes_in_target):
        athletes = athletes.merge(minutes_in_target, on="athlete", how="left")
    if attainable_minutes is not None:
        athletes["attainable_low"], athletes["attainable_high"] = attainable_minutes
    numbers = [c for c in athletes if c not in ("athlete", "arm")]
    groups = athletes.groupby("arm", sort=True)[numbers].mean().reset_index()
    groups.insert(1, "n_athletes", groups["arm"].map(athletes["arm"].value_counts()))
    return Adherence(
        athletes=athletes, groups=groups, guards=_guards(athletes, groups), weeks=float(weeks), sessions_planned=planned
    )


def _who(count: int, words: str) -> str:
    return f"{'athlete' if count == 1 else 'athletes'} {words}"


def _guards(athletes, groups) -> pd.DataFrame:
    by_arm = groups.set_index("arm")
    trained = athletes[athletes["arm"] == "trained"]
    controls = athletes[athletes["arm"] != "trained"]
    lines = []
    if {"trained", "control"} <= set(by_arm.index):
        apart = float(by_arm.loc["trained", "sparring_min_week"] - by_arm.loc["control", "sparring_min_week"])
        unit = "min per week, trained minus control"
        lines.append(("sparring a week differs", abs(apart) > SPARRING_APART_MIN, apart, unit))
    crossed = int((controls["sessions_done"] > 0).sum())
    lines.append(("intervals done by controls", crossed > 0, float(crossed), _who(crossed, "of the control group")))
    few = int((trained["share"] < LOW_ADHERENCE).sum())
    lines.append(("trained below 70 % of the plan", few > 0, float(few), _who(few, "of the trained group")))
    unlogged = int((athletes["logged"] == 0).sum())
    lines.append(("no line in the training log", unlogged > 0, float(unlogged), _who(unlogged, "of both groups")))
    return pd.DataFrame([{"guard": g, "found": "yes" if f else "no", "value": v, "of": o} for g, f, v, o in lines])


@dataclass(frozen=True)
class Harms(Result):
    """Adverse events of both groups in one table."""

    table: pd.DataFrame  # kind, and for each arm events and athletes with one
    pause: tuple[str, ...]  # why the study pauses and the committee is told
    n_events: int


EVENT_KINDS = ("injury", "illness", "cardiac", "collapse", "dark_urine", "concussion", "chest_pain", "other")
PAUSE_AT_ONCE = {
    "cardiac": "a cardiac event",
    "collapse": "an exertional collapse",
    "dark_urine": "dark urine after exertion",
    "chest_pain": "chest pain",
}


def describe_harms(events, allocation) -> Harms:
    """Count adverse events by kind and group, and say whether the study pauses (our proposal; local rules come first)."""
    arms = dict(zip(allocation["athlete"].astype(str), allocation["arm"], strict=True))
    work = events.assign(
        arm=[arms.get(str(a), "not allocated") for a in events["athlete"]],
        kind=events["kind"].astype("string").fillna("other").replace("", "other").astype(object),
    )
    names = ["trained", "control", *(["not allocated"] if (work["arm"] == "not allocated").any() else [])]
    lines = []
    for kind in [k for k in EVENT_KINDS if k in set(work["kind"])]:
        own = work[work["kind"] == kind]
        line = {"kind": kind}
        for arm in names:
            line[f"{arm}_events"] = int((own["arm"] == arm).sum())
            line[f"{arm}_athletes"] = int(own.loc[own["arm"] == arm, "athlete"].nunique())
        lines.append(line)
    pause = [words for kind, words in PAUSE_AT_ONCE.items() if kind in set(work["kind"])]
    cared = work[(work["kind"] == "injury") & (work["needed_care"].astype("string") == "yes")]
    often = [arm for arm in ("trained", "control") if (cared["arm"] == arm).sum() >= 2]
    pause += [f"two or more injuries that needed care in the {arm} group" for arm in often]
    return Harms(table=pd.DataFrame(lines), pause=tuple(pause), n_events=len(work))
