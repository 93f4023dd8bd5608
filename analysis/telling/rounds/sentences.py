"""Sentences about the rounds: for the coach and for the write-up, all from the answer; the words stand in `phrases`."""

from __future__ import annotations

import math

from ...basics import format_ci, format_number, format_p, if_answered, join_words, lower_first, plural, upper_first
from ...basics.words import format_df, round_inward
from ...study import known_outcome
from ...study.outcomes import OUTCOMES, digits_of
from ..words import plain_size, plain_span, two_lists, unit_of, with_minus
from . import phrases as say


def matters_words(answer, *, plain: bool = False) -> str:
    """The smallest change that matters, with as many decimals as it was given."""
    effect = answer.smallest_effect
    digits = next((d for d in range(4) if math.isclose(round(effect, d), effect)), 4)
    return format_number(effect, digits, unit=unit_of(known_outcome(answer.outcome), effect, plain=plain))


def shown_interval(answer, step) -> tuple[float, float]:
    """The one interval of a step that text, table and figure print."""
    # The wider of the model's and the robust interval, and over every place that readings off the
    # analyser's scale may have: a claim needs both tests, so that the interval agrees with the claim.
    if answer.bounds is not None and not is_censored(answer):
        line = answer.bounds.table.set_index("contrast").loc[step["contrast"]]
        return float(line["ci_low_min"]), float(line["ci_high_max"])
    lows = [v for v in (step["ci_low"], step["ci_low_cr2"]) if not math.isnan(v)]
    highs = [v for v in (step["ci_high"], step["ci_high_cr2"]) if not math.isnan(v)]
    return min(lows, default=math.nan), max(highs, default=math.nan)


def shown_p(step) -> float:
    """The one p of a step that is printed: of all its tests the largest, since a claim needs each of them."""
    names = ("p_adjusted", "p_adjusted_cr2", "p_ranks")
    return max((float(step[n]) for n in names if n in step and not math.isnan(step[n])), default=math.nan)


def rounds_words(labels, start: str) -> str:
    """The rounds from one on: "rounds 3 and 4", "rounds 2 to 5"."""
    stretch = list(labels)[list(labels).index(start) :]
    if len(stretch) == 1:
        return f"round {stretch[0]}"
    return f"rounds {stretch[0]} {'and' if len(stretch) == 2 else 'to'} {stretch[-1]}"


def reach_words(answer, high: float, low: float) -> str:
    """Up to where the readings off the analyser's scale may lie for a claim to hold: "if no HI reading was above ..."."""
    known, bounds, parts = known_outcome(answer.outcome), answer.bounds, []
    for side, word, far, count in (("HI", "above", high, bounds.n_high), ("LO", "below", low, bounds.n_low)):
        if math.isnan(far):
            continue
        which = f"the {side} reading was not" if count == 1 else f"no {side} reading was"
        nearest = round_inward(far, digits_of(known), up=side == "LO")
        parts.append(f"{which} {word} {format_number(nearest, digits_of(known), unit=known.unit)}")
    return f"if {join_words(parts)}"


def is_censored(answer) -> bool:
    """Whether readings off the scale entered the main analysis as censored, so that `bounds` are sensitivity alone."""
    return answer.comparison.allows_for == "values off the scale"


MOST_WORDS = 100
"""A longer result is told in two paragraphs."""

MOST_NAMES = 2
"""More other ways of analysing than these are counted in the text, and named in the table only."""


@if_answered()
def plain_rounds(answer) -> str:
    """Say in a plain sentence or two whether the outcome changed over the rounds, and where it stopped."""
    change, level = plain_change(answer), plain_plateau(answer)
    if answer.verdict in ("equivalent", "changed but smaller than matters") or change == level:
        return change
    return f"{change} {level}"


def abstract_rounds(answers: dict) -> list[str]:
    """Say for an abstract what changed, and where it levelled off; one sentence where everything changed the same way."""
    together, said, level = "", [], {}
    if changes := told_together(answers, _journal_change, level="95 % interval "):
        together = say.ABSTRACT_TOGETHER.format(**changes)
    for answer in answers.values():
        if not together:
            said.append(_from_to(answer, named=True))
        if answer.plateau.found and answer.plateau_from:
            words = _words(answer) | {"matters": matters_words(answer)}
            level.setdefault(words["Rounds"], []).append(say.ABSTRACT_WITHIN.format(**words))
    said += [say.ABSTRACT_LEVEL.format(Rounds=r, outcomes=join_words(o)) for r, o in level.items()]
    return [together, *said] if together else said


def told_together(answers: dict, tell, *, level: str) -> dict[str, str]:
    """First and last round and all changes, where every outcome was shown to change the same way; else nothing."""
    # `tell` gives name, size and interval of the last step of an answer; way and `level` are said of the first alone
    parts, ways, ends = [], set(), set()
    for answer in answers.values():
        step = answer.steps.iloc[-1]
        if not answer.changed or step["label"] != "changed":
            return {}
        way = "rose" if step["estimate"] > 0 else "fell"
        name, size, span = tell(answer, step)
        parts.append(f"{name} {size} ({span})" if parts else f"{name} {way} {size} ({level}{span})")
        ways.add(way)
        ends.add((answer.labels[0], answer.labels[-1]))
    if len(ways) != 1 or len(ends) != 1:
        return {}
    first, last = ends.pop()
    return {"first": first, "last": last, "changes": join_words(parts)}


def _journal_change(answer, step) -> tuple[str, str, str]:
    known, (low, high) = known_outcome(answer.outcome), shown_interval(answer, step)
    low, high = (low, high) if step["estimate"] > 0 else (-high, -low)
    size = format_number(abs(step["estimate"]), digits_of(known), unit=known.unit)
    return lower_first(known.label), size, format_ci(low, high, digits_of(known))


@if_answered()
def plain_change(answer) -> str:
    """Say in one plain sentence whether the outcome changed from the first to the last round."""
    words = _words(answer)
    if answer.verdict == "equivalent":
        return say.SAME.format(**words)
    if answer.verdict == "changed but smaller than matters":
        return say.CHANGED_LITTLE.format(**words)
    if plateau_condition(answer) and answer.bounds.plateau_at_scale_end == answer.labels[0]:
        return plain_plateau(answer)
    last = answer.steps.iloc[-1]
    if not answer.changed:
        return _one_step(answer, words) or say.OPEN.format(**words, span=_both_ways(answer, last))
    if last["label"] == "changed":
        return say.ROSE.format(**words, **_size(answer, last))
    if last["label"].startswith("changed"):
        return say.CHANGED_LITTLE.format(**words)
    if last["label"] == "equivalent":
        return say.CAME_BACK.format(**words)
    if _is_weaker(last) and last["label_at_scale_end"].startswith("changed"):
        return say.ROSE_IF.format(**words, **_size(answer, last), condition=_condition(answer, last))
    return _one_step(answer, words) or say.SOMEWHERE.format(**words, span=_both_ways(answer, last))


def weigh_change(answer) -> str:
    """Hold the change from the first to the last round against what the plan says would matter."""
    last, matters = answer.steps.iloc[-1], matters_words(answer, plain=True)
    if last["label"] == "changed but smaller than matters":
        return say.LESS_THAN_MATTERS.format(matters=matters)
    if last["label"] != "changed":
        return ""
    nearest = min(abs(limit) for limit in shown_interval(answer, last))
    sure = nearest > answer.smallest_effect
    return (say.MORE_THAN_MATTERS if sure else say.PERHAPS_MATTERS).format(matters=matters)


@if_answered()
def plain_plateau(answer) -> str:
    """Say in one plain sentence where the outcome stopped changing."""
    words, condition = _words(answer), plateau_condition(answer)
    if condition:
        start = answer.bounds.plateau_at_scale_end
        words["Rounds"] = upper_first(rounds_words(answer.labels, start))
        text = say.SAME_IF.format(**words, condition=condition)
        sure = answer.plateau_from
        beyond = say.SAME_SURE.format(rounds=rounds_words(answer.labels, sure)) if sure else say.SAME_UNSURE
        return f"{text} {beyond}"
    if answer.plateau_from:
        # where a change was shown inside the level stretch, that is not called the same, however small it is
        start = list(answer.labels).index(answer.plateau_from)
        inside = answer.steps["earlier"].isin(answer.labels[start:]) & (answer.steps["kind"] != "last to first")
        small = (answer.steps.loc[inside, "label"] == "changed but smaller than matters").any()
        return (say.SMALL_CHANGE if small else say.SAME).format(**words, start=answer.plateau_from)
    if len(answer.labels) == 2:
        return say.TWO_ROUNDS.format(**words)
    step, before = _last_step(answer), answer.labels[-2]
    if step is not None:
        return say.STILL.format(**words, before=before, **_size(answer, step))
    return say.UNCLEAR.format(**words, before=before)


def _words(answer) -> dict[str, str]:
    """What most phrases about the rounds are filled with."""
    label = lower_first(known_outcome(answer.outcome).label)
    start = answer.plateau_from or answer.labels[0]
    return {
        "outcome": label,
        "Outcome": upper_first(label),
        "first": answer.labels[0],
        "last": answer.labels[-1],
        "matters": matters_words(answer, plain=True),
        "Rounds": upper_first(rounds_words(answer.labels, start)),
    }


def _size(answer, step) -> dict[str, str]:
    """Way, size and interval of a step, for the coach."""
    known, rising = known_outcome(answer.outcome), step["estimate"] > 0
    return {
        "rose": "rose" if rising else "fell",
        "size": plain_size(step["estimate"], known),
        "span": plain_span(*shown_interval(answer, step), known, rising=rising),
    }


def _both_ways(answer, step) -> str:
    """An interval across zero: "3 beats lower to 5 beats higher"."""
    known = known_outcome(answer.outcome)
    low, high = shown_interval(answer, step)
    return f"{plain_size(low, known)} {_side(low)} to {plain_size(high, known)} {_side(high)}"


def _side(value: float) -> str:
    return "lower" if value < 0 else "higher"


def _one_step(answer, words: dict) -> str:
    """Name the steps that were shown although the whole was not."""
    parts = []
    for step in answer.steps.to_dict("records"):
        ends = {"earlier": step["earlier"], "later": step["later"]}
        if step["changed"]:
            parts.append(say.ONE_STEP.format(**words, **ends, **_size(answer, step)))
        elif _is_weaker(step) and step["label_at_scale_end"].startswith("changed"):
            way = {"rose": "rose" if step["estimate"] > 0 else "fell"}
            parts.append(say.ONE_STEP_IF.format(**words, **ends, **way, condition=_condition(answer, step)))
    return parts[0] if parts else ""


def _is_weaker(step) -> bool:
    """Whether the reading depends on where values off the analyser's scale lie."""
    return step.get("label_at_scale_end", step["label"]) != step["label"]


def _condition(answer, step) -> str:
    return reach_words(answer, step["holds_to_high"], step["holds_to_low"])


def plateau_condition(answer) -> str:
    """Up to where values off the scale may lie for the plateau at the scale's end; "" where that is not the question."""
    bounds = answer.bounds
    if bounds is None or is_censored(answer) or bounds.plateau_at_scale_end == answer.plateau_from:
        return ""
    return reach_words(answer, bounds.plateau_holds_to_high, bounds.plateau_holds_to_low)


def _last_step(answer):
    """The step to the last round where a change was shown in it, else None."""
    steps = answer.steps[answer.steps["kind"] != "last to first"]
    last = steps.iloc[-1] if len(steps) else None
    return last if last is not None and last["label"] == "changed" else None


@if_answered("paragraphs")
def write_up_rounds(answer) -> list[str]:
    """Write the planned result of one outcome over the rounds: test, change, where it levels off, whether checks agree."""
    parts = [_main(answer), _from_to(answer), write_up_plateau(answer), _allowance(answer), plain_sensitivity(answer)]
    if answer.role != "primary":
        parts.append(say.SECONDARY.format(role=answer.role))
    text = " ".join(p for p in parts if p)
    if len(text.split()) <= MOST_WORDS:
        return [text]
    return [" ".join(p for p in half if p) for half in (parts[:3], parts[3:])]


def _main(answer) -> str:
    test = answer.comparison.overall
    phrase = say.CHANGE_SHOWN if answer.changed else say.CHANGE_NOT_SHOWN
    return phrase.format(
        **_words(answer),
        test=f"{f_words(test)}, p {format_p(test.p)}",
        people=plural(answer.n_athletes, "athlete"),
        values=plural(answer.n_observations, "value"),
    )


def _allowance(answer) -> str:
    """What the model allows for beside the athletes: readings off the scale, or bouts."""
    if is_censored(answer):
        count = answer.bounds.n_high + answer.bounds.n_low
        return say.CENSORED.format(readings=plural(count, "reading"), lie="lies" if count == 1 else "lie")
    if answer.comparison.allows_for:
        variances = answer.comparison.fit.variances
        shared = variances.crossed / (abs(variances.crossed) + variances.residual)
        return say.BOUTS_ALLOWED.format(r=format_number(shared, 2))
    return ""


def f_words(test) -> str:
    """An F test with its degrees of freedom."""
    return f"F({format_df(test.df_num)}, {format_df(test.df_den)}) = {format_number(test.statistic, 2)}"


def _from_to(answer, *, named: bool = False) -> str:
    known, step = known_outcome(answer.outcome), answer.steps.iloc[-1]
    digits, change = digits_of(known), step["label"] == "changed"
    low, high = shown_interval(answer, step)
    rising = step["estimate"] > 0
    if change and not rising:
        low, high = -high, -low
    size = abs(step["estimate"]) if change else step["estimate"]
    it = lower_first(known.label) if named else "it"
    difference = f"the difference in {it}" if named else "the difference"
    return (say.FROM_TO if change else say.FROM_TO_OPEN).format(
        it=it,
        difference=difference,
        first=answer.labels[0],
        last=answer.labels[-1],
        rose="rose" if rising else "fell",
        size=format_number(size, digits, sign=not change, unit=known.unit),
        span=format_ci(low, high, digits),
        p=format_p(shown_p(step)),
        reading=say.READINGS[step["label"]],
    )


def write_up_plateau(answer) -> str:
    """Write from which round on every pair was shown to be too close to matter."""
    plateau, condition = answer.plateau, plateau_condition(answer)
    words = _words(answer) | {"matters": matters_words(answer)}
    if not plateau.found:
        text = say.NONE_EQUIVALENT.format(**words, worst=_worst(plateau.candidates.iloc[0]))
        return f"{text} {say.LAST_STEP if _last_step(answer) is not None else say.NOT_EVIDENCE}"
    held = plateau.candidates[plateau.candidates["from_round"] == plateau.starts_at].iloc[0]
    two = list(answer.labels)[-2] == plateau.starts_at  # then there is one pair, which is named already
    worst = f"p {format_p(held['p'])}" if two else _worst(held)
    words |= {"Rounds": upper_first(rounds_words(answer.labels, plateau.starts_at)), "worst": worst}
    return (say.EQUIVALENT_IF if condition else say.EQUIVALENT).format(**words, condition=condition)


def _worst(candidate) -> str:
    return f"rounds {with_minus(candidate['worst_contrast'])}, p {format_p(candidate['p'])}"


@if_answered()
def plain_sensitivity(answer) -> str:
    """Say whether the other ways of analysing lead to the same reading."""
    table = answer.sensitivity.iloc[1:]
    table = table[~table["analysis"].str.contains("tipping")]
    judged = table[table["agrees"].notna()]
    other = judged[~judged["agrees"].astype(bool)]
    if judged.empty:
        return say.CHECKS_NONE
    count = len(judged)
    if other.empty:
        return say.CHECKS_ONE if count == 1 else say.CHECKS_ALL.format(count=count)
    names = join_words([_way(n) for n in other["analysis"]])
    if count == 1:
        return say.CHECKS_OTHER.format(names=names)
    phrase = say.CHECKS_SOME if len(other) <= MOST_NAMES else say.CHECKS_MANY
    return phrase.format(count=count, differ=len(other), names=names)


def _way(analysis: str) -> str:
    return analysis if not analysis.startswith("as ") else f"the scale {_label(analysis[3:])}"


def _label(name: str) -> str:
    return lower_first(OUTCOMES[name].label) if name in OUTCOMES else name


@if_answered()
def plain_tipping(answer) -> str:
    """Say how different the missing rounds must have been to change the reading; "" where none is missing."""
    tipping, known = answer.tipping, known_outcome(answer.outcome)
    if tipping is None:
        return ""
    line, count = tipping.table.iloc[-1], tipping.n_missing
    are, they = ("is", "it") if count == 1 else ("are", "they")
    words = {"Missing": f"{plural(count, 'round')} of these athletes {are}", "they": they, "were": "were"}
    moves = []
    for way, word in (("up", "higher"), ("down", "lower")):
        if math.isfinite(line[f"shift_{way}"]):
            moves.append(f"{format_number(abs(line[f'shift_{way}']), known.digits, unit=known.unit)} {word}")
    if moves:
        return say.MISSING_TIPS.format(**words, moves=join_words(moves, "or"))
    most = format_number(tipping.largest_shift, known.digits, unit=known.unit)
    return say.MISSING_HOLDS.format(**words, size=most)


@if_answered()
def plain_opponents(answer) -> str:
    """Say what can be said of the spread between bouts; "" where opponents were not noted."""
    spread = getattr(answer, "opponents", answer)
    if not hasattr(spread, "n_bouts"):
        return ""
    r, bouts = spread.within_bout_correlation, plural(spread.n_bouts, "bout")
    alike = ""
    if not math.isnan(r):
        span = format_ci(spread.within_bout_ci_low, spread.within_bout_ci_high, 2)
        alike = say.ALIKE.format(r=format_number(r, 2), span=span, bouts=bouts)
    return say.BOUTS[spread.verdict].format(bouts=bouts, alike=alike)


@if_answered()
def plain_reliability(result) -> str:
    """Say in a sentence how well an outcome repeats."""
    known = known_outcome(result.outcome)
    unit, digits = known.unit, digits_of(known)
    words = {"Outcome": known.label, "error": format_number(result.typical_error, digits, unit=unit)}
    if result.kind.startswith("reliability"):
        change = format_number(result.smallest_detectable_change, digits, unit=unit)
        text = say.REPEATS.format(**words, detectable=change)
        if len(result.errors) > 1:
            of_one = result.errors.iloc[1][["typical_error", "smallest_detectable_change"]]
            error, change = (format_number(v, digits, unit=unit) for v in of_one)
            text += f" {say.REPEATS_ROUND.format(error=error, detectable=change)}"
        return text
    return say.REPEATS_WITHIN.format(**words)


def write_up_reliability(result) -> list[str]:
    """Write the sentence on repeatability; the intraclass correlations stand in a table."""
    return [plain_reliability(result)]


@if_answered()
def may_say_rounds(answer) -> str:
    """List what may and what may not be concluded from the rounds."""
    known = known_outcome(answer.outcome)
    label = lower_first(known.label)
    steps = answer.steps.to_dict("records")
    weaker = [s for s in steps if _is_weaker(s)]
    not_shown = [s for s in steps if s["label"] == "not shown" and not _is_weaker(s)]
    may_not = [say.MAY_NOT_CAUSE]
    if not_shown:
        names = join_words([f"round {s['earlier']} to round {s['later']}" for s in not_shown])
        may_not.append(say.MAY_NOT_SAME.format(outcome=label, steps=names))
    for s in weaker:
        words = {"outcome": label, "did": say.DID[s["label_at_scale_end"]], "condition": _condition(answer, s)}
        may_not.append(say.MAY_NOT_ALWAYS.format(**words, earlier=s["earlier"], later=s["later"]))
    may = [plain_rounds(answer), say.MAY_HERE]
    return two_lists(f"{known.label}: may be said", may, "May not be said", may_not)
