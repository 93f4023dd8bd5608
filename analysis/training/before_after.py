"""Before and after: one value per occasion, the change in one group, and what can be told of one athlete's response."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_number, left_out_table, plural
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
        found = found[found["capacity"].notna()].rename(columns={"capacity": "value"})
        parts.append(found.assign(phase=phase, occasion=occasion))
    columns = ["athlete", "phase", "occasion", "value", "unit", "standard_error", "error_kind", "test", "date"]
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
    evening = work[shared].groupby(["athlete", "phase", "occasion", "session"], sort=True)["value"]
    table = evening.agg(value="mean", n_rounds="size").reset_index()
    table = table.assign(place=table["phase"].map(PHASES.index)).sort_values(["athlete", "place", "occasion"])
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
    occasions = [f"{p}_{o}" for p, o in zip(values["phase"], values["occasion"], strict=True)]
    wide = values.assign(name=occasions).pivot_table(index="athlete", columns="name", values="value")
    in_order = sorted(wide, key=lambda c: int(c.split("_")[1]))
    names = {p: [c for c in in_order if c.startswith(p)] for p in ("pre", "post")}
    wide = wide[[*names["pre"], *names["post"]]].astype(float)
    for phase in ("pre", "post"):
        wide[phase] = wide[names[phase]].mean(axis=1) if names[phase] else float("nan")
    wide["change"] = wide["post"] - wide["pre"]
    people = allocation.assign(athlete=allocation["athlete"].astype(str))
    return people.merge(wide.rename_axis(None, axis=1).reset_index(), on="athlete", how="left")


@dataclass(frozen=True)
class BeforeAfter(Result):
    """Change from before to after in one group: never an effect of training."""

    outcome: str
    label: str
    unit: str
    digits: int
    estimate: float  # mean change after minus before, paired
    ci_low: float
    ci_high: float
    p: float
    df: float
    between_baselines: float  # the same from first to last baseline, without training
    between_low: float
    between_high: float
    n_between: int
    athletes: pd.DataFrame  # athlete, pre, post, change, within_error
    beyond_error: int  # athletes whose change is larger than `detectable`
    typical_error: float
    detectable: float
    typical_error_from: str
    smallest: float
    n_athletes: int
    method: str = "paired differences, t interval"
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


def before_after(
    values, *, outcome, label, unit, digits=1, smallest=float("nan"), known_error=None, level=0.95
) -> BeforeAfter:
    """Describe the change from before to after in one group, beside the change without training."""
    people = pd.DataFrame({"athlete": sorted(set(values["athlete"].astype(str))), "arm": "all"})
    wide = one_row_per_athlete(values, people)
    both = wide["pre"].notna() & wide["post"].notna()
    used = wide[both]
    if len(used) < 3:
        raise KitError(
            f"The change of {label.lower()} needs at least three athletes with both values; {plural(len(used), 'athlete')} "
            f"{'has' if len(used) == 1 else 'have'} both."
        )
    error, error_from = typical_error_of(wide, known_error)
    mean, low, high, p, df = _paired(used["change"].to_numpy(), level)
    baselines = sorted((c for c in wide if c.startswith("pre_")), key=lambda c: int(c.split("_")[1]))
    several = len(baselines) > 1
    between = (wide[baselines[-1]] - wide[baselines[0]]).dropna() if several else pd.Series(dtype=float)
    nothing = (float("nan"),) * 3
    b_mean, b_low, b_high = _paired(between.to_numpy(), level)[:3] if len(between) >= 3 else nothing
    detectable = detectable_of(error, wide)
    athletes = with_error(used, detectable)
    warnings = []
    if len(between) < 3:
        warnings.append("There is one baseline only, so nothing shows how much values move without training.")
    return BeforeAfter(
        outcome=outcome,
        label=label,
        unit=unit,
        digits=digits,
        estimate=mean,
        ci_low=low,
        ci_high=high,
        p=p,
        df=df,
        between_baselines=b_mean,
        between_low=b_low,
        between_high=b_high,
        n_between=len(between),
        athletes=athletes,
        beyond_error=int((~athletes["within_error"]).sum()) if error == error else 0,
        typical_error=error,
        detectable=detectable,
        typical_error_from=error_from,
        smallest=float(smallest),
        n_athletes=len(used),
        left_out=left_out_table(
            {"athlete": a, "measure": outcome, "reason": "no value before" if gone else "no value after"}
            for a, gone in zip(wide.loc[~both, "athlete"], wide.loc[~both, "pre"].isna(), strict=True)
        ),
        warnings=tuple(warnings),
    )


def _paired(change, level):
    from scipy import stats

    n = len(change)
    mean, error, df = float(change.mean()), float(change.std(ddof=1) / np.sqrt(n)), float(n - 1)
    if not error > 1e-12 * max(1.0, abs(mean)):
        return mean, float("nan"), float("nan"), float("nan"), df
    half = float(stats.t.ppf(0.5 + level / 2, df)) * error
    return mean, mean - half, mean + half, float(2 * stats.t.sf(abs(mean / error), df)), df


def typical_error_of(wide, known=None) -> tuple[float, str]:
    """Typical error of one test: from the repeated baselines of this study, else the one given, with where it is from."""
    names = [c for c in wide if c.startswith("pre_")]
    cases = wide[names].dropna().to_numpy(dtype=float) if len(names) > 1 else np.empty((0, 2))
    n, k = cases.shape
    if n >= 5:
        residual = cases - cases.mean(axis=0) - cases.mean(axis=1, keepdims=True) + cases.mean()
        error = float(np.sqrt((residual**2).sum() / ((n - 1) * (k - 1))))
        return error, f"the repeated baselines of {n} athletes of this study"
    if known is not None and known == known:
        return float(known), "published for the test"
    return float("nan"), "not known"


def detectable_of(error, wide) -> float:
    """Smallest detectable change of one athlete, for means of several occasions."""
    counts = [max(sum(c.startswith(f"{p}_") for c in wide), 1) for p in ("pre", "post")]
    return detectable_change(error) * float(np.sqrt(sum(1 / c for c in counts) / 2)) if error == error else float("nan")


def with_error(used, detectable):
    columns = [c for c in ("athlete", "arm", "pre", "post", "change") if c in used]
    return used[columns].assign(within_error=~(used["change"].abs() > detectable)).reset_index(drop=True)


ENOUGH = 20
"""Athletes a group below which nothing is said about individual response (our proposal, from the width of the intervals)."""


@dataclass(frozen=True)
class IndividualResponse(Result):
    """How much of the spread of the changes training itself could have made; negative values keep their sign."""

    sd_ir: float  # sqrt(SD²trained - SD²control), with the sign of the difference
    mover_low: float  # from the chi-square limits of each variance
    mover_high: float
    normal_low: float  # from normal theory
    normal_high: float
    sd_trained: float  # of the changes
    sd_control: float
    n_trained: int
    n_control: int
    can_be_told: bool  # whether both groups are large enough for a sentence about it
    level: float = 0.95


def individual_response(*, sd_trained, n_trained, sd_control, n_control, level=0.95) -> IndividualResponse:
    """Estimate the standard deviation of individual responses with two intervals.

    Parameters
    ----------
    sd_trained, sd_control : float
        SDs of the changes in the two groups, in the unit of the outcome.
    n_trained, n_control : int
        Athletes in the groups.
    level : float
        Of the intervals. Default 0.95.

    Returns
    -------
    IndividualResponse
        sd_ir, mover_low, mover_high, normal_low, normal_high, can_be_told.

    When to use
    -----------
    In a randomised study with a group that did not add the training. Below twenty athletes a group the interval is wider than any
    answer. It never says who responds.

    Notes
    -----
    The variance of the control group's changes is error and daily life; what the trained group has beyond it may be response.
    MOVER: with l and u the chi-square limits of a variance, low = d - sqrt((v1 - l1)² + (u2 - v2)²), high alike.

    References
    ----------
    Hopkins (2015) J Appl Physiol 118:1444; Zou & Donner (2008) Stat Med 27:1693 (MOVER); Williamson, Atkinson & Batterham (2017)
    Sports Medicine 47:1501.

    Examples
    --------
    >>> result = individual_response(sd_trained=3, n_trained=20, sd_control=2, n_control=20)
    >>> round(result.sd_ir, 2), round(result.mover_low, 2), round(result.mover_high, 2)
    (2.24, -0.95, 3.92)
    """
    from scipy import stats

    check_number(sd_trained, name="sd_trained", low=0, ends=True)
    check_number(sd_control, name="sd_control", low=0, ends=True)
    n1 = check_number(n_trained, name="n_trained", low=2, ends=True, whole=True)
    n0 = check_number(n_control, name="n_control", low=2, ends=True, whole=True)
    level = check_number(level, name="level", low=0, high=1)
    v1, v0 = sd_trained**2, sd_control**2
    tails = [0.5 + level / 2, 0.5 - level / 2]
    l1, u1 = v1 * (n1 - 1) / stats.chi2.ppf(tails, n1 - 1)
    l0, u0 = v0 * (n0 - 1) / stats.chi2.ppf(tails, n0 - 1)
    gap = v1 - v0
    error = math.sqrt(2 * (v1**2 / (n1 - 1) + v0**2 / (n0 - 1)))
    z = float(stats.norm.ppf(0.5 + level / 2))
    return IndividualResponse(
        sd_ir=_signed_root(gap),
        mover_low=_signed_root(gap - math.hypot(v1 - l1, u0 - v0)),
        mover_high=_signed_root(gap + math.hypot(u1 - v1, v0 - l0)),
        normal_low=_signed_root(gap - z * error),
        normal_high=_signed_root(gap + z * error),
        sd_trained=float(sd_trained),
        sd_control=float(sd_control),
        n_trained=n1,
        n_control=n0,
        can_be_told=min(n1, n0) >= ENOUGH,
        level=level,
    )


def unknown_response(known: IndividualResponse) -> IndividualResponse:
    """The same without numbers, for groups so small that their spread would describe single people."""
    names = ("sd_ir", "mover_low", "mover_high", "normal_low", "normal_high", "sd_trained", "sd_control")
    return replace(known, can_be_told=False, **dict.fromkeys(names, float("nan")))


def _signed_root(variance: float) -> float:
    return math.copysign(math.sqrt(abs(variance)), variance)


def detectable_change(typical_error: float) -> float:
    """Compute the smallest change of one athlete that the error of the test alone seldom makes."""
    from scipy import stats

    check_number(typical_error, name="typical_error", low=0, ends=True)
    return float(stats.norm.ppf(0.5 + 0.95 / 2)) * math.sqrt(2) * typical_error
