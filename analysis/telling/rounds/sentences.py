"""Sentences about the rounds: one for the coach, paragraphs for the write-up, all from the answer."""

from __future__ import annotations

import math

from ...basics import NotYet, format_ci, format_df, format_number, format_p, join_words, plural
from ...study import known_outcome
from ...study.outcomes import OUTCOMES
from .tables import tabulate_icc, tabulate_outcomes, tabulate_rests, tabulate_ways
from .words import (
    digits_of,
    fits_words,
    is_censored,
    lower_first,
    matters_words,
    reach_words,
    size_words,
    unit_after,
    widest_words,
    with_minus,
)


def plain_plateau(answer) -> str:
    """Say in one plain sentence where the outcome stopped changing."""
    if isinstance(answer, NotYet):
        return str(answer)
    matters, condition = matters_words(answer), plateau_condition(answer)
    if condition:
        start = answer.bounds.plateau_at_scale_end
        level = f"every average difference between those rounds was shown to be smaller than {matters}"
        sure = f"only from round {answer.plateau_from} on" if answer.plateau_from else "not shown"
        return f"From round {start} on it was level ({level}) {condition}; beyond that, where it stops changing was {sure}."
    if answer.plateau_from == answer.labels[0]:
        return f"It was level from the first round on: every average difference was shown to be smaller than {matters}."
    if answer.plateau_from == answer.labels[-2]:
        before, last = answer.labels[-2:]
        return (
            f"From round {before} to round {last} it {_level_words(answer)}: that one average difference was shown to be smaller "
            f"than {matters}."
        )
    if answer.plateau_from:
        level = f"From round {answer.plateau_from} on it {_level_words(answer)}"
        return (
            f"{level}: every average difference between those rounds was shown to be smaller than {matters}."
        )
    before, last = answer.labels[-2:]
    step = _last_step(answer)
    if step is not None and len(answer.labels) > 2:
        way = "rose" if step["estimate"] > 0 else "fell"
        still = f"from round {before} to round {last} it still {way} by about {size_words(answer, step)}"
        return f"It had not stopped changing by the last round: {still}."
    if len(answer.labels) == 2:
        return f"Where it stops changing cannot be told, since it was measured in two rounds only ({before} and {last})."
    unclear = f"even between rounds {before} and {last} an average difference of {matters} or more cannot be ruled out"
    return f"Where it stops changing was not shown: {unclear}."


def write_up_plateau(answer) -> str:
    """Write from which round on every pair was shown to be too close to matter."""
    plateau, condition = answer.plateau, plateau_condition(answer)
    opening = f"Against a smallest change that matters of {matters_words(answer)}, tested from the last rounds backwards"
    if not plateau.found:
        text = f"{opening}, no stretch of rounds was shown to be level ({_worst(plateau.candidates.iloc[0])})"
        still = "a change was shown even in the last step" if _last_step(answer) is not None else ""
        return f"{text}; {still or 'that is not evidence that it went on changing'}."
    held = plateau.candidates[plateau.candidates["from_round"] == plateau.starts_at].iloc[0]
    text = f"{opening}, every pair of rounds from round {plateau.starts_at} on was equivalent"
    if condition:
        text += f" {condition}"
    text += f" (the least clear pair: {_worst(held)})"
    if condition:
        sure = (
            f"only from round {answer.plateau_from} on" if answer.plateau_from else "for no stretch of rounds"
        )
        text += f"; farther beyond the scale this was shown {sure}"
    failed = plateau.candidates[~plateau.candidates["holds"] & plateau.candidates["tested"]]
    if len(failed):
        stopped = failed.iloc[0]
        text += f"; from round {stopped['from_round']} on this was not shown ({_worst(stopped)})"
    return f"{text}."


def _worst(candidate) -> str:
    return f"rounds {with_minus(candidate['worst_contrast'])}, equivalence p {format_p(candidate['p'])}"


def _last_step(answer):
    """The step to the last round where a change was shown in it, else None."""
    steps = answer.steps[answer.steps["kind"] != "last to first"]
    last = steps.iloc[-1] if len(steps) else None
    return last if last is not None and last["label"] == "changed" else None


def _level_words(answer) -> str:
    """A change that was shown is not called level, however small it is."""
    start = list(answer.labels).index(answer.plateau_from)
    later = answer.steps[
        answer.steps["earlier"].isin(answer.labels[start:]) & (answer.steps["kind"] != "last to first")
    ]
    small = (later["label"] == "changed but smaller than matters").any()
    return "changed too little to matter" if small else "was level"


def plateau_condition(answer) -> str:
    """Up to where values off the scale may lie for the plateau at the scale's end; "" where that is not the question."""
    bounds = answer.bounds
    if bounds is None or is_censored(answer) or bounds.plateau_at_scale_end == answer.plateau_from:
        return ""
    return reach_words(answer, bounds.plateau_holds_to_high, bounds.plateau_holds_to_low)


CI = "95\N{NO-BREAK SPACE}% interval"


def plain_sensitivity(answer) -> str:
    """Say whether the other ways of analysing lead to the same reading."""
    if isinstance(answer, NotYet):
        return str(answer)
    table = answer.sensitivity.iloc[1:]
    table = table[~table["analysis"].str.contains("tipping")]
    judged = table[table["agrees"].notna()]
    other = judged[~judged["agrees"].astype(bool)]
    if judged.empty:
        return "No other way of analysing could be tried."
    if other.empty:
        return "The other ways of analysing lead to the same reading of the change from the first to the last round."
    names = join_words([_way(n) for n in other["analysis"]])
    return f"The reading of the change from the first to the last round depends on the way of analysing: otherwise by {names}."


def plain_tipping(answer) -> str:
    """Say how different the missing rounds must have been to change the reading."""
    if isinstance(answer, NotYet):
        return str(answer)
    tipping, known = answer.tipping, known_outcome(answer.outcome)
    if tipping is None:
        return ""
    line = tipping.table.iloc[-1]
    count = tipping.n_missing
    start = f"{plural(count, 'round')} of these athletes {'is' if count == 1 else 'are'} missing, and perhaps not by chance:"
    reading = "the reading of the change from the first to the last round"
    moves = []
    for way, word in (("up", "higher"), ("down", "lower")):
        if math.isfinite(line[f"shift_{way}"]):
            shift = format_number(abs(line[f"shift_{way}"]), known.digits, unit=known.unit)
            moves.append(f"{shift} {word} than the model expects (then: {line[f'label_{way}']})")
    if moves:
        return f"{start} {reading} would change were they {join_words(moves, 'or')}."
    most = format_number(tipping.largest_shift, known.digits, unit=known.unit)
    return f"{start} {reading} holds even were they {most} higher or lower than the model expects."


def tipping_of_steps(answer) -> str:
    """Say of each step that is claimed how different the missing rounds must have been for it not to be."""
    tipping, known = answer.tipping, known_outcome(answer.outcome)
    claimed = answer.steps[answer.steps["changed"] & (answer.steps["kind"] != "last to first")]
    if tipping is None or claimed.empty:
        return ""
    lines, parts = tipping.table.set_index("contrast"), []
    for step in claimed.to_dict("records"):
        line = lines.loc[step["contrast"]]
        shifts = [abs(v) for v in (line["shift_up"], line["shift_down"]) if math.isfinite(v)]
        size = format_number(min([*shifts, tipping.largest_shift]), known.digits, unit=known.unit)
        how = f"up to {size} away" if shifts else f"even {size} away"
        parts.append(f"from round {step['earlier']} to round {step['later']} {how}")
    return f"The steps that are claimed hold with the missing rounds so far from what the model expects: {'; '.join(parts)}."


def plain_opponents(answer) -> str:
    """Say what can be said of the spread between bouts."""
    if isinstance(answer, NotYet):
        return str(answer)
    spread = getattr(answer, "opponents", answer)
    if spread is None or not hasattr(spread, "verdict") or not hasattr(spread, "n_bouts"):
        return ""
    r, ci = spread.within_bout_correlation, (spread.within_bout_ci_low, spread.within_bout_ci_high)
    alike = ""
    if not math.isnan(r):
        alike = f" (correlation of the two in a bout {format_number(r, 2)}, {CI} {format_ci(*ci, 2)})"
    bouts = plural(spread.n_bouts, "bout")
    words = {
        "bouts differ": f"Who spars whom goes with the outcome: over {bouts} the two opponents of a bout were alike{alike}.",
        "opponents opposed": f"Over {bouts} the two opponents of a bout were opposed, one high where the other was low{alike}.",
        "bouts differ little": f"Over {bouts} the spread between bouts was shown to be small beside that within them{alike}.",
        "cannot tell": f"Whether who spars whom matters cannot be told from {bouts}{alike}.",
    }
    return words[spread.verdict]


def _way(analysis: str) -> str:
    return analysis if not analysis.startswith("as ") else f"the scale {_label(analysis[3:])}"


def _label(name: str) -> str:
    return lower_first(OUTCOMES[name].label) if name in OUTCOMES else name


def plain_reliability(result) -> str:
    """Say in a sentence how well an outcome repeats."""
    if isinstance(result, NotYet):
        return str(result)
    known = known_outcome(result.outcome)
    unit, digits = known.unit, digits_of(known)
    error = format_number(result.typical_error, digits, unit=unit)
    if result.kind.startswith("reliability"):
        change = format_number(result.smallest_detectable_change, digits, unit=unit)
        return (
            f"{known.label}: from evening to evening one athlete typically varies by {error}; only a change of more than "
            f"{change} in one athlete exceeds that."
        )
    return (
        f"{known.label}: from round to round of this one evening an athlete typically varies by {error} around the club's "
        "course; that is consistency within an evening, not reliability, which takes a second evening."
    )


def write_up_reliability(result) -> list[str]:
    """Write the paragraph on reliability, or on consistency within one evening."""
    if isinstance(result, NotYet):
        return [str(result)]
    known = known_outcome(result.outcome)
    unit, digits = known.unit, digits_of(known)
    icc = result.icc.set_index("type")
    values = []
    for name in ("ICC(2,1)", "ICC(3,1)"):
        line = icc.loc[name]
        span = format_ci(line["ci_low"], line["ci_high"], 2)
        values.append(f"{name} = {format_number(line['estimate'], 2)} ({CI} {span})")
    word = (
        "evenings"
        if result.kind.startswith("reliability")
        else "rounds of one evening (consistency, not reliability)"
    )
    people, error = (
        plural(result.n_athletes, "athlete"),
        format_number(result.typical_error, digits, unit=unit),
    )
    text = f"{known.label} over {result.n_trials} {word} of {people}: {join_words(values)}; typical error {error} "
    text += f"({CI} {format_ci(result.typical_error_ci_low, result.typical_error_ci_high, digits)})"
    if not math.isnan(result.cv_percent):
        text += f", coefficient of variation from logarithms {format_number(result.cv_percent, 1, unit='%')}"
    if result.kind.startswith("reliability"):
        text += f"; smallest detectable change {format_number(result.smallest_detectable_change, digits, unit=unit)}"
    return [f"{text}."]


__all__ = [
    "may_say_rounds",
    "plain_opponents",
    "plain_plateau",
    "plain_reliability",
    "plain_rounds",
    "plain_sensitivity",
    "plain_tipping",
    "tabulate_icc",
    "tabulate_outcomes",
    "tabulate_rests",
    "tabulate_ways",
    "write_up_reliability",
    "write_up_rounds",
]
WEAKER_WORDS = {
    "changed": "changed",
    "equivalent": "stayed level",
    "changed but smaller than matters": "changed by less than matters",
}
"""Labels of a step as verbs."""
CI90 = "90\N{NO-BREAK SPACE}% interval"


def plain_rounds(answer) -> str:
    """Say in one plain sentence or two whether the outcome changed over the rounds, and where it stopped."""
    if isinstance(answer, NotYet):
        return str(answer)
    known, matters = known_outcome(answer.outcome), matters_words(answer)
    if answer.verdict == "equivalent":
        return f"{known.label} stayed level: every average difference between rounds was shown to be smaller than {matters}."
    if answer.verdict == "changed but smaller than matters":
        small = f"every average difference was shown to be smaller than {matters}"
        return f"{known.label} changed over the rounds, but {small}."
    if plateau_condition(answer) and answer.bounds.plateau_at_scale_end == answer.labels[0]:
        level = f"every average difference between rounds was shown to be smaller than {matters}"
        return (
            f"{known.label} stayed level ({level}) {plateau_condition(answer)}; beyond that it was not shown."
        )
    if answer.changed:
        text = f"{known.label} changed over the rounds: {_first_to_last(answer, known)}."
    else:
        text = _undecided(answer, known)
    return f"{text} {plain_plateau(answer)}"


def _is_weaker(step) -> bool:
    """Whether the reading depends on where values off the analyser's scale lie."""
    return step.get("label_at_scale_end", step["label"]) != step["label"]


def _condition(answer, step) -> str:
    return reach_words(answer, step["holds_to_high"], step["holds_to_low"])


def _first_to_last(answer, known) -> str:
    last = answer.steps.iloc[-1]
    size, span = size_words(answer, last), widest_words(answer, last)
    if last["label"] == "changed":
        way = "rose" if last["estimate"] > 0 else "fell"
        return (
            f"from the first to the last it {way} by about {size} (anything from {span} {fits_words(answer)})"
        )
    if last["label"] == "changed but smaller than matters":
        return f"from the first to the last by about {size}, which was shown to be less than matters"
    if last["label"] == "equivalent":
        return f"in between, since the last round was shown to lie within what matters of the first (about {size} apart)"
    if _is_weaker(last) and last["label_at_scale_end"].startswith("changed"):
        way = "rose" if last["estimate"] > 0 else "fell"
        return f"from the first to the last it {way} {_condition(answer, last)} (anything from {span} {fits_words(answer)})"
    where = _changed_steps(answer, known)
    if where:
        return f"{where}; from the first to the last round anything from {span} {fits_words(answer)}"
    return f"between which rounds was not shown, and from the first to the last anything from {span} {fits_words(answer)}"


def _undecided(answer, known) -> str:
    last, what = answer.steps.iloc[-1], lower_first(known.label)
    estimate = format_number(last["estimate"], digits_of(known), sign=True, unit=known.unit)
    fits = f"the estimate is {estimate}, and anything from {widest_words(answer, last)} {fits_words(answer)}"
    return (
        f"Whether {what} changed over the rounds cannot be said: from the first to the last round {fits}. That does not show "
        "that it stayed the same."
    )


def _changed_steps(answer, known) -> str:
    parts = []
    for step in answer.steps.to_dict("records"):
        way = "rose" if step["estimate"] > 0 else "fell"
        steps = f"from round {step['earlier']} to round {step['later']} it {way}"
        if step["changed"]:
            parts.append(f"{steps} by about {size_words(answer, step)}")
        elif _is_weaker(step) and step["label_at_scale_end"].startswith("changed"):
            parts.append(f"{steps} {_condition(answer, step)}")
    return join_words(parts)


def write_up_rounds(answer) -> list[str]:
    """Write the results paragraphs of one outcome over the rounds."""
    if isinstance(answer, NotYet):
        return [str(answer)]
    parts = [
        _main(answer),
        _steps(answer),
        write_up_plateau(answer),
        _effects(answer),
        _beside(answer),
        _notes(answer),
    ]
    return [p for p in parts if p]


def _main(answer) -> str:
    known, test, result = known_outcome(answer.outcome), answer.comparison.overall, answer.comparison
    tested = result.means[result.means["tested"]]
    means = join_words([format_number(m, digits_of(known)) for m in tested["estimate"]])
    people, values = plural(answer.n_athletes, "athlete"), plural(answer.n_observations, "value")
    text = f"{known.label} was compared over rounds {join_words(answer.labels)} in {people} ({values}). "
    text += f"Estimated means were {means}{unit_after(known)}. The test of the rounds gave {_f_test(test)}, p {format_p(test.p)} "
    text += f"(mixed model, Kenward-Roger), and p {format_p(test.p_epsilon)} with the Greenhouse-Geisser epsilon of "
    text += format_number(test.epsilon, 2)
    anova = answer.anova
    if anova is not None and not math.isnan(anova.p_gg):
        span = format_ci(anova.eta2_partial_ci_low, anova.eta2_partial_ci_high, 2)
        complete = plural(anova.n_athletes, "athlete")
        text += f"; the repeated-measures analysis of variance of the {complete} with every round gave "
        text += f"{_f_test(anova)}, corrected p {format_p(anova.p_gg)}, partial eta squared "
        text += format_number(anova.eta2_partial, 2)
        if anova.eta2_partial_ci_high >= anova.eta2_partial:
            text += f" ({CI90} {span})"
        else:
            text += (
                f" (so small an F is rarer than one in twenty even without any change: there is no {CI90})"
            )
    text += "."
    if answer.ordinal and answer.ranks is not None and not math.isnan(answer.ranks.p):
        ranks = answer.ranks
        text += (
            f" Friedman's test of the {plural(ranks.n_athletes, 'athlete')} with every round gave chi-square("
        )
        text += f"{format_df(ranks.df)}) = {format_number(ranks.statistic, 2)}, p {format_p(ranks.p)}, Kendall's W = "
        text += f"{format_number(ranks.kendall_w, 2)}."
    if answer.ordinal:
        order = answer.ranks.shuffles
        text += f" The test by order, which decides, shuffled the ratings of {plural(order.n_athletes, 'athlete')}, "
        text += f"those with missing rounds included: p {format_p(order.p)}."
    if answer.comparison.allows_for:
        text += f" {_allowance(answer)}"
    return f"{text} A change over the rounds was {'shown' if answer.changed else 'not shown'}."


def _allowance(answer) -> str:
    """What the model allows for beside the athletes: values off the scale, or bouts."""
    if is_censored(answer):
        count = plural(answer.bounds.n_high + answer.bounds.n_low, "value")
        beyond = "as lying beyond its end (censored), and its robust tests leave out one athlete at a time"
        return f"The model takes {count} off the analyser's scale {beyond}."
    variances = answer.comparison.fit.variances
    shared = variances.crossed / (abs(variances.crossed) + variances.residual)
    return f"The model allows for what the two of a bout share (correlation {format_number(shared, 2)} within a round)."


def _f_test(test) -> str:
    return f"F({format_df(test.df_num)}, {format_df(test.df_den)}) = {format_number(test.statistic, 2)}"


def _steps(answer) -> str:
    known, lines = known_outcome(answer.outcome), []
    for step in answer.steps.to_dict("records"):
        what = f"from round {step['earlier']} to round {step['later']}"
        if step["kind"] == "last to first":
            what = f"from the first to the last round ({step['earlier']} to {step['later']})"
        change = format_number(step["estimate"], digits_of(known), sign=True, unit=known.unit)
        model = f"{CI} {format_ci(step['ci_low'], step['ci_high'], digits_of(known))}, p {format_p(step['p_adjusted'])}"
        robust = f"{format_ci(step['ci_low_cr2'], step['ci_high_cr2'], digits_of(known))}, p {format_p(step['p_adjusted_cr2'])}"
        if math.isnan(step["p_adjusted_cr2"]):
            robust = "cannot be computed"
        ranks = f"; exact test by order p {format_p(step['p_ranks'])}" if "p_ranks" in step else ""
        lines.append(f"{what} {change} ({model}; robust {robust}{ranks}): {_reading(answer, step)}")
    opening = (
        "Differences between rounds, later minus earlier, with p adjusted over all of them (Shaffer, 1986)"
    )
    return f"{opening} and, beside the model's, robust (CR2) intervals: {'; '.join(lines)}."


def _reading(answer, step) -> str:
    """The label, and how it depends on where the values off the analyser's scale lie."""
    if answer.bounds is None or is_censored(answer) or step["label_at_scale_end"] == "not shown":
        return step["label"]
    if _is_weaker(step):
        return f"{step['label_at_scale_end']} {_condition(answer, step)}, else {step['label']}"
    if not step["n_off_scale"]:
        return f"{step['label']} (no value of these rounds was off the analyser's scale)"
    return f"{step['label']}, wherever beyond the analyser's scale {_values_there(answer.bounds)}"


def _values_there(bounds) -> str:
    return "its value lies" if bounds.n_high + bounds.n_low == 1 else "the values lie"


def _effects(answer) -> str:
    known, last = known_outcome(answer.outcome), answer.steps.iloc[-1]
    table = answer.effect_sizes[answer.effect_sizes["contrast"] == last["contrast"]].set_index("measure")
    if math.isnan(table.loc["g_z", "estimate"]):
        return ""
    raw = table.loc["difference"]
    change = format_number(raw["estimate"], digits_of(known), sign=True, unit=known.unit)
    span = format_ci(raw["ci_low"], raw["ci_high"], digits_of(known))
    sizes = {
        m: f"{format_number(table.loc[m, 'estimate'], 2)} ({_span(table.loc[m])})" for m in ("g_z", "g_av")
    }
    return (
        f"In the {plural(int(raw['n_athletes']), 'athlete')} with both the first and the last round the paired difference was "
        f"{change} ({CI} {span}); as a standardised size with Hedges' correction it was {sizes['g_z']} SDs of the differences "
        f"(d_z) and {sizes['g_av']} average SDs of the two rounds (d_av)."
    )


def _span(line) -> str:
    return format_ci(line["ci_low"], line["ci_high"], 2)


def _beside(answer) -> str:
    known, bounds = known_outcome(answer.outcome), answer.bounds
    parts = [plain_sensitivity(answer), plain_tipping(answer), tipping_of_steps(answer)]
    if bounds is not None:
        last = bounds.table.iloc[-1]
        off = [
            f"{plural(n, 'value')} {word}"
            for n, word in ((bounds.n_high, "above"), (bounds.n_low, "below"))
            if n
        ]
        low = format_number(last["estimate_min"], digits_of(known), sign=True)
        high = format_number(last["estimate_max"], digits_of(known), sign=True, unit=known.unit)
        parts.append(
            f"With {join_words(off)} the analyser's scale placed anywhere {_range_words(bounds, known)}, the change from "
            f"the first to the last round lies between {low} and {high}."
        )
    return " ".join(p for p in parts if p)


def _range_words(bounds, known) -> str:
    digits = digits_of(known)
    ranges = [format_ci(bounds.high_from, bounds.high_to, digits, unit=known.unit)] if bounds.n_high else []
    ranges += [format_ci(bounds.low_from, bounds.low_to, digits, unit=known.unit)] if bounds.n_low else []
    return f"from {join_words(ranges)}"


def _notes(answer) -> str:
    parts = [f"This outcome is {answer.role}."] if answer.role != "primary" else []
    sat = int((answer.rests["what"] == "sat out").sum())
    if sat:
        longer = "so that the rest before the next round was longer"
        parts.append(f"{plural(sat, 'round')} {'was' if sat == 1 else 'were'} sat out, {longer}.")
    if answer.opponents is not None:
        parts.append(plain_opponents(answer))
    return " ".join(parts)


def may_say_rounds(answer) -> str:
    """List what may and what may not be concluded from the rounds."""
    if isinstance(answer, NotYet):
        return str(answer)
    known = known_outcome(answer.outcome)
    may = [
        plain_rounds(answer),
        "This holds for athletes like these, on an evening like this one, with these rests.",
    ]
    steps = answer.steps.to_dict("records")
    weaker = [s for s in steps if _is_weaker(s)]
    not_shown = [s for s in steps if s["label"] == "not shown" and not _is_weaker(s)]
    may_not = [
        "That the rounds caused it: rounds come in the order of time, and warming up, fatigue and opponents come with them."
    ]
    if not_shown:
        names = join_words([f"round {s['earlier']} to round {s['later']}" for s in not_shown])
        may_not.append(
            f"That {lower_first(known.label)} stayed the same from {names}: neither a change nor its absence was shown."
        )
    for step in weaker:
        may_not.append(
            f"That {lower_first(known.label)} {WEAKER_WORDS[step['label_at_scale_end']]} from round {step['earlier']} to round "
            f"{step['later']} whatever the values off the analyser's scale were: that was shown only {_condition(answer, step)}."
        )
    lists = [
        f"**{known.label}: may be said**\n\n{_bullets(may)}",
        f"**May not be said**\n\n{_bullets(may_not)}",
    ]
    return "\n\n".join(lists)


def _bullets(lines) -> str:
    return "\n".join(f"- {line}" for line in lines)
