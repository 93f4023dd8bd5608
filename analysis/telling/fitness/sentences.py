"""Sentences about fitness and response: one for the coach, paragraphs for the write-up, all from the answer."""

from __future__ import annotations

import math

from ...basics import (
    NotYet,
    format_ci,
    format_df,
    format_level,
    format_number,
    format_p,
    format_percent,
    join_words,
    plural,
)
from ...study import known_outcome
from .words import (
    beside,
    digits_of,
    fine_digits,
    fitter,
    lower_first,
    percent_interval,
    size_words,
    span,
    step_words,
    write_up_correlations,
    write_up_error,
)


def plain_influence(answer) -> str:
    """Say whether one athlete decides the answer."""
    if isinstance(answer, NotYet) or not answer.influence["planned_effect"].notna().any():
        return ""
    known, table = known_outcome(answer.outcome), answer.influence
    low, high = table["planned_effect"].min(), table["planned_effect"].max()
    changed = int((table["verdict"] != answer.verdict).sum())
    per = step_words(answer.capacity_step, answer.capacity_unit)
    text = f"Whichever one athlete is left out, the change for {per} more lies between {span(low, high, known, joint='and')}"
    if not changed:
        return f"{text}, and the conclusion stays the same whoever is left out. Nobody was removed."
    who = "one certain athlete" if changed == 1 else f"any of {changed} athletes"
    return f"{text}; without {who} the conclusion would be another one. Nobody was removed."


def write_up_influence(answer) -> str:
    """Write how far one athlete moves the result."""
    table, known = answer.influence, known_outcome(answer.outcome)
    if not table["planned_effect"].notna().any():
        return ""
    digits = digits_of(known)
    changed = int((table["verdict"] != answer.verdict).sum())
    low = format_number(table["planned_effect"].min(), digits, sign=True)
    high = format_number(table["planned_effect"].max(), digits, sign=True, unit=known.unit)
    cook = table["cooks_distance"].max()  # above 1: common practice, no source
    return (
        f"Leaving out one athlete at a time moved the planned effect between {low} and {high}; the reading changed in "
        f"{changed or 'none'} of {len(table)} cases (largest Cook's distance {format_number(cook, 2)}"
        f"{', so that one athlete carries much of the result' if cook > 1 else ''}). No athlete was removed."
    )


def plain_specifications(answer) -> str:
    """Say how far the answer depends on choices that could have been made otherwise."""
    if isinstance(answer, NotYet) or answer.specifications is None:
        return ""
    chart = answer.specifications
    if chart.n_specifications == 1:
        return "The planned analysis is the only one that these data allow."
    return (
        f"Of {chart.n_specifications} reasonable ways to analyse these data, {_of(chart, chart.share_same_sign)} point the "
        f"same way as the planned one, and {_of(chart, chart.share_excluding_zero)} would have called that shown; "
        f"{_of(chart, chart.share_opposite)} would have called the contrary shown."
    )


def write_up_specifications(answer) -> str:
    """Write how many reasonable analyses agree with the planned one."""
    chart = answer.specifications
    if chart is None or chart.n_specifications < 2:
        return ""
    return (
        f"Over {plural(chart.n_specifications, 'reasonable analysis', 'reasonable analyses')} the difference between athletes "
        f"{step_words(chart.contrast_step, answer.capacity_unit)} apart ranged from {format_number(chart.smallest, 1)} to "
        f"{format_number(chart.largest, 1)} times the smallest that matters (median {format_number(chart.median, 1)}); "
        f"{_of(chart, chart.share_same_sign)} had the sign of the planned one, "
        f"{_of(chart, chart.share_excluding_zero)} an interval beyond zero on that side and "
        f"{_of(chart, chart.share_opposite)} on the other. They share their data and are no independent tests."
    )


def _of(chart, share: float) -> str:
    """Write a share of analyses as a count: of six, a percentage says too much."""
    count = round(share * chart.n_specifications)
    return "none" if not count else "all" if count == chart.n_specifications else str(count)


def plain_drift(answer) -> str:
    """Say in plain words whether fitter athletes rise less over the rounds and recover more."""
    if isinstance(answer, NotYet) or answer.drift.empty:
        return ""
    shown, open_ = [], []
    for row in answer.drift[answer.drift["role"] == "main"].to_dict("records"):
        measure = _measure(row, answer)[0]
        if row["ci_high"] < 0 or row["ci_low"] > 0:
            shown.append(f"Fitter athletes have a {'lower' if row['ci_high'] < 0 else 'higher'} {measure}.")
        else:
            open_.append(f"the {measure}")
    if shown and len(shown) + len(open_) > 1:
        shown.append("These were several looks at the same data, so take them as hints.")
    if open_:
        shown.append(
            f"Whether fitter athletes differ in {join_words(open_, 'or')} cannot be told from these data."
        )
    return " ".join(shown)


def write_up_drift(answer) -> str:
    """Write whether fitter athletes drift less and recover more."""
    step, per = answer.capacity_step, step_words(answer.capacity_step, answer.capacity_unit)
    parts, check = [], ""
    for row in answer.drift.to_dict("records"):
        test = f"{format_number(row['statistic'], 2)}, p {format_p(row['p'])}"
        if row["role"] == "check":
            check = (
                f" The interaction of round and capacity (F({format_df(row['df_num'])}, {format_df(row['df_den'])}) = {test}) "
                "is a check only: with one random intercept per athlete it rejects too often."
            )
            continue
        low, high = step * row["ci_low"], step * row["ci_high"]
        digits = fine_digits(low, high)
        measure, unit = _measure(row, answer)
        parts.append(
            f"the {measure} changed by {format_number(step * row['estimate'], digits, sign=True, unit=unit)} "
            f"({format_ci(low, high, digits)}; t({format_df(row['df'])}) = {test}; n = {row['n_athletes']})"
        )
    if not parts:
        return ""
    several = " These were not corrected for asking several questions." if len(parts) > 1 else ""
    return (
        f"Regressed on capacity (one value per athlete, for {per} more): {'; '.join(parts)}.{several}{check}"
    )


def _measure(row: dict, answer) -> tuple[str, str]:
    known = known_outcome(answer.outcome)
    return {
        "rise from round to round": (
            f"rise of {lower_first(known.label)} from round to round",
            f"{known.unit or 'points'} a round",
        ),
        "drift within a round": ("drift of heart rate within a round", "bpm a minute"),
        "heart rate recovered in the first minute of rest": (
            "heart rate recovered in the first minute of rest",
            "bpm",
        ),
    }[row["measure"]]


__all__ = [
    "plain_capacity",
    "plain_drift",
    "plain_fault_of_test",
    "plain_influence",
    "plain_levels",
    "plain_specifications",
    "write_up_capacity",
]


def plain_capacity(answer) -> str:
    """Say in plain words whether fitter athletes respond less."""
    if isinstance(answer, NotYet):
        return str(answer)
    known = known_outcome(answer.outcome)
    what, digits = lower_first(known.label), digits_of(known)
    apart, matters = (
        step_words(answer.contrast_step, answer.capacity_unit),
        size_words(answer.smallest_effect, known),
    )
    people = plural(answer.n_athletes, "athlete")
    wide = span(answer.contrast_ci_low, answer.contrast_ci_high, known)
    equal = f", at equal {beside(answer)}" if answer.adjusted_for else ""
    fits = f"fits the data at {format_level(1 - answer.alpha)}"
    if answer.verdict == "negligible":
        narrow = span(answer.contrast_ci90_low, answer.contrast_ci90_high, known)
        fits = f"fits the data at {format_level(1 - 2 * answer.alpha)}"
        return (
            f"Fitter and less fit athletes differed too little in {what} to matter: between athletes {apart} apart the "
            f"difference was shown to be smaller than {matters} ({people}{equal}; anything from {narrow} {fits})."
        )
    if answer.verdict == "too imprecise":
        return (
            f"Whether fitter athletes {_asked(answer, what)} cannot be told yet: between athletes {apart} apart, anything from "
            f"{wide} {fits} ({people}{equal}), and {matters} would matter. That does not show that fitness plays no part."
        )
    per = step_words(answer.capacity_step, answer.capacity_unit)
    size = format_number(abs(answer.effect), digits, unit=known.unit)
    way = "less" if answer.effect < 0 else "more"
    start = f"Fitter athletes had a {'lower' if answer.effect < 0 else 'higher'} {what}"
    if answer.verdict == "opposite":
        start += ", against what was expected"
    return (
        f"{start}: {per} more goes with {size} {way} ({people}{equal}; anything from "
        f"{span(answer.effect_ci_low, answer.effect_ci_high, known)} {fits})."
    )


def plain_fault_of_test(answer) -> str:
    """Say how much of a weak correlation may be the fault of the fitness test."""
    if isinstance(answer, NotYet):
        return ""
    found = answer.correction
    if found is None:
        return "How much of a weak relation is the fitness test's own error cannot be said, since its error is not known."
    if not found.bounded:
        return (
            "The differences in fitness between these athletes cannot be told from the error of the test: a weak relation here "
            "may be the fault of the test altogether."
        )
    hidden = format_percent(1 - found.attenuation)
    text = (
        f"The error of the fitness test by itself hides about {hidden} of the correlation: even if fitness decided everything, "
        f"this test in this group would show a correlation of about {format_number(found.attenuation, 2)} instead of 1."
    )
    if found.kind == "retest":
        return f"{text} It shrinks the effect too, to about {format_percent(found.reliability)} of its size."
    return f"{text} The size of the effect is not shrunk by this kind of error."


def plain_levels(levels) -> str:
    """Say what two outcomes do together within athletes, and that this is another question than between athletes."""
    if isinstance(levels, NotYet):
        return str(levels)
    x, y = (lower_first(known_outcome(n).label) for n in (levels.x, levels.y))
    within, between = _together(levels.within), _together(levels.between)
    text = {
        "up": f"In rounds in which an athlete has a higher {x}, the same athlete has a higher {y} too",
        "down": f"In rounds in which an athlete has a higher {x}, the same athlete has a lower {y}",
        "": f"Whether an athlete's {x} and {y} rise and fall together from round to round cannot be told",
    }[within]
    other = {
        "up": f"athletes with a higher {x} on average have a higher {y}",
        "down": f"athletes with a higher {x} on average have a lower {y}",
        "": f"whether athletes with a higher {x} on average also differ in {y} cannot be told",
    }[between]
    return f"{text}. Between athletes, which is another question, {other} ({plural(levels.n_athletes, 'athlete')})."


def write_up_capacity(answer) -> list[str]:
    """Write the results on fitness and one outcome as a journal would print them."""
    if isinstance(answer, NotYet):
        return [str(answer)]
    paragraphs = [
        _main(answer),
        write_up_correlations(answer),
        _subgroups(answer),
        write_up_error(answer),
        " ".join(s for s in (write_up_influence(answer), write_up_specifications(answer)) if s),
        write_up_drift(answer),
        _confounders(answer),
        _limits(answer),
    ]
    return [p for p in paragraphs if p]


def _main(answer) -> str:
    known, fit = known_outcome(answer.outcome), answer.planned
    what, digits, interval = lower_first(known.label), digits_of(known), percent_interval(fit.level)
    per, apart = (step_words(s, answer.capacity_unit) for s in (answer.capacity_step, answer.contrast_step))
    change = format_number(answer.effect, digits, sign=True, unit=known.unit)
    how = f", {answer.adjustment_reason}" if answer.adjusted_for else f"; {answer.adjustment_reason}"
    text = (
        f"Fitness and {what}: {plural(answer.n_athletes, 'athlete')} with {plural(answer.n_observations, 'value')} over the "
        f"rounds ({fit.method}{how}). "
        f"An aerobic capacity higher by {per} went with a difference of {change} in {what} ({interval} "
        f"{format_ci(answer.effect_ci_low, answer.effect_ci_high, digits)}; t({format_df(fit.df)}) = "
        f"{format_number(fit.statistic, 2)}, p {format_p(fit.p)})."
    )
    if answer.adjusted_for:
        bare, step = answer.unadjusted, answer.capacity_step
        text += (
            f" Without adjustment it was {format_number(step * bare.estimate, digits, sign=True, unit=known.unit)} "
            f"({format_ci(step * bare.ci_low, step * bare.ci_high, digits)}; p {format_p(bare.p)})."
        )
    inner = percent_interval(1 - 2 * answer.alpha)
    contrast = format_number(answer.contrast, digits, sign=True, unit=known.unit)
    spans = "" if answer.off_scale.empty else ", for readings anywhere beyond the analyser's scale"
    return (
        f"{text} Between athletes {apart} apart the difference was {contrast} "
        f"({interval} {format_ci(answer.contrast_ci_low, answer.contrast_ci_high, digits)}; {inner} "
        f"{format_ci(answer.contrast_ci90_low, answer.contrast_ci90_high, digits)}{spans}), the smallest that matters being "
        f"{size_words(answer.smallest_effect, known)}: {_reading(answer, what)}"
    )


def _reading(answer, what: str) -> str:
    expected = {
        "lower": f"a lower {what} in {fitter(answer)}",
        "higher": f"a higher {what} in {fitter(answer)}",
    }
    hypothesis = expected.get(answer.direction, f"a relation of capacity with {what}")
    return {
        "negligible": "a difference too small to matter.",
        "supported": f"the data support {hypothesis}.",
        "opposite": f"the data speak against {hypothesis}, since the interval lies on the other side of zero.",
        "too imprecise": f"too imprecise to tell; the data neither support {hypothesis} nor show that a relation is absent.",
    }[answer.verdict]


def _asked(answer, what: str) -> str:
    """The question as the plan put it."""
    return {"lower": f"have a lower {what}", "higher": f"have a higher {what}"}.get(
        answer.direction, f"differ in {what}"
    )


def _subgroups(answer) -> str:
    known, step = known_outcome(answer.outcome), answer.capacity_step
    table = answer.slopes[answer.slopes["analysis"].str.startswith("within")]
    parts, lost = [], []
    for row in table.to_dict("records"):
        kind = row["analysis"].removeprefix("within ")
        who = (
            {"F": "women", "M": "men"}.get(row["level"], f"{kind} {row['level']}")
            if kind == "sex"
            else f"{kind} {row['level']}"
        )
        if row["level"] == "all, held equal":
            who = f"all athletes at equal {kind}"
        if row.get("estimate") is None or math.isnan(row["estimate"]):
            lost.append(f"{who} (n = {row['n_athletes']})")
            continue
        digits = digits_of(known)
        parts.append(
            f"{who} {format_number(step * row['estimate'], digits, sign=True)} "
            f"({format_ci(step * row['ci_low'], step * row['ci_high'], digits)}; n = {row['n_athletes']})"
        )
    if not parts and not lost:
        return ""
    per = step_words(step, answer.capacity_unit)
    text = (
        f"Within subgroups, the change for {per} more was: {'; '.join(parts)} ({known.unit or 'points'})."
        if parts
        else ""
    )
    note = f"Too few athletes to fit: {join_words(lost)}." if lost else ""
    return " ".join(
        t for t in (text, note, "These are descriptions; the subgroups were not compared by a test.") if t
    )


def _confounders(answer) -> str:
    known, step, digits = (
        known_outcome(answer.outcome),
        answer.capacity_step,
        digits_of(known_outcome(answer.outcome)),
    )
    texts = []
    for table, words in ((answer.delay, "sampling delay"), (answer.activity, "activity rating")):
        lines = table.to_dict("records")
        if not any(r["analysis"].startswith("capacity with") and math.isfinite(r["estimate"]) for r in lines):
            continue  # the same delay or rating for everybody, so that holding it equal changes nothing
        for row in lines:
            if not math.isfinite(row["estimate"]):
                continue
            if row["analysis"].startswith("capacity with"):
                texts.append(
                    f"Aerobic capacity and {words} correlated at {format_number(row['estimate'], 2)} over athletes (Spearman, "
                    f"{format_ci(row['ci_low'], row['ci_high'], 2)}, n = {row['n_athletes']})."
                )
            else:
                texts.append(
                    f"At equal {words} as well, {step_words(step, answer.capacity_unit)} more went with "
                    f"{format_number(step * row['estimate'], digits, sign=True, unit=known.unit)} "
                    f"({format_ci(step * row['ci_low'], step * row['ci_high'], digits)})."
                )
    return " ".join(texts)


def _limits(answer) -> str:
    told = answer.guards["status"].isin(["warned", "applied"]) & (answer.guards["guard"] != "covariates")
    shown = answer.guards.loc[told, "text"].tolist()
    said = [*shown, *answer.warnings, *answer.cautions]
    return (
        "To be borne in mind: " + "; ".join(s.rstrip(".") for s in dict.fromkeys(said)) + "." if said else ""
    )


def _together(correlation) -> str:
    if correlation.ci_low > 0:
        return "up"
    return "down" if correlation.ci_high < 0 else ""
