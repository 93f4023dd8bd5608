"""Who is admitted to the analysis, and what the guards have to say: set aside, warned, refused."""

from __future__ import annotations

import pandas as pd

from ..basics import join_words, left_out_table, plural
from ..study.outcomes import OUTCOMES
from .adjustment import Adjustment
from .answer_results import Refused
from .fit import MINIMUM_ATHLETES, Prepared, join_capacity
from .guards import (
    CIRCULAR_REMEDY,
    CIRCULAR_WHY,
    GUARD_COLUMNS,
    MINIMUM_RESIDUAL_DF,
    CircularTestError,
    guard_row,
    hr_max_source,
    is_heart_rate,
    is_yes,
    set_aside_circular,
    shared_test_warning,
)
from .tables import left_out_rows, to_numbers, varies


def set_aside(data: pd.DataFrame, capacity: pd.DataFrame, outcome: str):
    """Set aside what must not enter, guard by guard; refuse where fewer than 4 athletes remain."""
    data[outcome] = to_numbers(data, outcome)
    aside: list[dict] = []
    guards: list[dict] = []
    for guard in (_limited_heart_rate, _mixed_maxima):
        data = guard(data, outcome, aside, guards)
    joined, name, _ = join_capacity(data, capacity)
    try:
        kept, circular = set_aside_circular(joined, name, outcome)
    except CircularTestError:
        guards.append(guard_row("circular test", "refused", joined["athlete"].nunique(), CIRCULAR_WHY))
        return refuse(outcome, CIRCULAR_WHY, CIRCULAR_REMEDY, guards, aside), aside, guards
    guards.append(_circular_guard(joined, kept, outcome))
    aside += circular
    used = kept[outcome].notna() & kept[name].notna()
    n_used = kept.loc[used, "athlete"].nunique()
    if n_used < MINIMUM_ATHLETES:
        why = (
            f"Only {plural(n_used, 'athlete')} with both a fitness test and {outcome} remain; "
            f"at least {MINIMUM_ATHLETES} are needed."
        )
        return refuse(outcome, why, "aerobic tests and rounds of more athletes", guards, aside), aside, guards
    rows = kept.drop(columns=[c for c in ("capacity", "unit", "uses_heart_rate") if c in kept.columns])
    return rows.assign(_used=used), aside, guards


def _limited_heart_rate(data, outcome, aside, guards):
    if not is_heart_rate(outcome) or "hr_limited" not in data.columns:
        return data
    limited = is_yes(data["hr_limited"])
    n = data.loc[limited, "athlete"].nunique()
    aside += left_out_rows(
        data, limited, "a medicine or a condition holds the heart rate down (hr_limited)", outcome
    )
    words = "whose heart rate is held down by a medicine or a condition"
    text = f"{plural(n, 'athlete')} {words} set aside" if n else f"no athlete {words}"
    guards.append(guard_row("limited heart rate", "applied" if n else "passed", n, text))
    return data[~limited]


def _mixed_maxima(data, outcome, aside, guards):
    """In shares of maximal heart rate, measured and predicted maxima are never mixed: the measured ones stay."""
    if outcome not in ("percent_hr_max", "percent_hr_reserve") or "hr_max_source" not in data.columns:
        return data
    measured = data["hr_max_source"].astype("string").fillna("").str.strip().str.casefold() == "measured"
    predicted = ~measured.astype(bool) & data[outcome].notna()
    n = data.loc[predicted, "athlete"].nunique()
    if not n:
        return data
    if not (measured & data[outcome].notna()).any():
        text = "every maximal heart rate is predicted from age, about 10 bpm wrong either way, and age enters both sides"
        guards.append(guard_row("predicted maximum", "warned", n, text))
        return data
    aside += left_out_rows(
        data, predicted, "maximal heart rate predicted, that of others measured: never mixed", outcome
    )
    text = f"{plural(n, 'athlete')} with a predicted maximal heart rate set aside, since that of others is measured"
    guards.append(guard_row("predicted maximum", "applied", n, text))
    return data[~predicted]


def _circular_guard(joined, kept, outcome) -> dict:
    n = joined["athlete"].nunique() - kept["athlete"].nunique()
    if n:
        text = f"{plural(n, 'athlete')} set aside whose capacity was estimated from heart rate"
        return guard_row("circular test", "applied", n, text)
    if is_heart_rate(outcome):
        return guard_row("circular test", "passed", 0, "capacity does not come from heart rate")
    reads = (
        is_yes(joined["uses_heart_rate"])
        if "uses_heart_rate" in joined.columns
        else pd.Series(False, index=joined.index)
    )
    if reads.any():
        text = "capacity was estimated from heart rate, which is no circle for this outcome, but a rough estimate"
        return guard_row("circular test", "warned", joined.loc[reads, "athlete"].nunique(), text)
    return guard_row("circular test", "passed", 0, "capacity does not come from heart rate")


def refuse(outcome: str, why: str, needs: str, guards: list[dict], aside: list[dict]) -> Refused:
    label = OUTCOMES[outcome].label.lower() if outcome in OUTCOMES else outcome
    return Refused(
        question=f"whether fitter athletes have a lower {label}",
        needs=needs,
        why=why if why.split(" ")[0].count("_") else why[:1].upper() + why[1:],
        guards=pd.DataFrame(guards, columns=list(GUARD_COLUMNS)),
        left_out=left_out_table(aside),
    )


def judge_guards(outcome, capacity, club, planned: Prepared, adjustment: Adjustment) -> list[dict]:
    used = capacity[capacity["athlete"].astype(str).isin(planned.rows["athlete"])]
    guards = []
    if is_heart_rate(outcome):
        source = hr_max_source(club)
        text = {
            "measured": "every maximal heart rate is measured",
            "predicted": "every maximal heart rate is predicted from age, so none is adjusted for",
            "mixed": "measured and predicted maximal heart rates are never mixed, so none is adjusted for",
            "incomplete": "not every athlete has a maximal heart rate, so none is adjusted for",
            "none": "no maximal heart rates",
        }[source]
        guards.append(
            guard_row("maximal heart rate", "passed" if source == "measured" else "warned", len(club), text)
        )
        shared, n = shared_test_warning(outcome, used, club)
        if shared:
            guards.append(guard_row("one test for both", "warned", n, shared))
    n = planned.n_athletes
    text = f"{planned.residual_df} residual degrees of freedom between athletes; at least {MINIMUM_RESIDUAL_DF} with covariates"
    guards.append(guard_row("covariates", "warned" if adjustment.given_up else "passed", n, text))
    if "test" in used.columns and varies(used["test"]):
        tests = join_words(sorted(_title(t) for t in used["test"].unique()))
        text = f"capacity comes from different tests ({tests}): differences between tests are mixed with those between athletes"
        guards.append(guard_row("one kind of test", "warned", len(used), text))
    guards.append(
        guard_row(
            "unit of analysis",
            "passed",
            n,
            "the athlete: rounds of one athlete are never counted as athletes",
        )
    )
    return guards


def _title(test: str) -> str:
    from ..physiology import known_aerobic_tests

    known = known_aerobic_tests()
    found = known.loc[known["test"] == test, "title"]
    return str(found.iloc[0]) if len(found) else str(test).replace("_", " ")
