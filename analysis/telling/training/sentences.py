"""What a training study says, first in plain words, then as methods and results would have it."""

from __future__ import annotations

import math

from ...basics import (
    NotYet,
    format_ci,
    format_number,
    format_p,
    format_percent,
    if_answered,
    join_words,
    lower_first,
    plural,
)
from ...basics.words import format_df, round_inward
from ...physiology import training_protocols
from ...physiology.training_protocols import predicted_band_error
from ...training.answer import CANNOT_TELL
from ...training.before_after import BeforeAfter
from . import phrases as say

NB = "\N{NO-BREAK SPACE}"


def plain_training(answer) -> str:
    """Say in plain words what the training study found; "" where there is none."""
    if isinstance(answer, NotYet):
        return "" if "columns phase" in answer.needs else str(answer)
    texts = [
        " ".join(plain_before_after(one) if isinstance(one, BeforeAfter) else plain_outcome(one))
        for one in answer.outcomes.values()
    ]
    texts += [_sentence(w) for w in answer.warnings]
    if answer.harms is not None and answer.harms.pause:
        texts.append(say.PAUSE.format(reasons=join_words(answer.harms.pause)))
    return "\n\n".join(texts)


def short_training(answer) -> list[str]:
    """One or two sentences for each outcome, for the first screen."""
    texts = []
    for one in answer.outcomes.values():
        if isinstance(one, BeforeAfter):
            texts += plain_before_after(one)[:1]
            continue
        finding, _, verdict, *_ = plain_outcome(one)
        chance = one.randomisation
        count = say.AS_EXTREME_SHORT.format(as_extreme=chance.as_extreme, possible=chance.n_allocations)
        texts.append(finding.removesuffix(".") + count)
        texts += [verdict] if one.verdict == CANNOT_TELL else []
    return [*texts, say.NOT_ITS_EFFECT] if answer.design == "before_after" else texts


def plain_outcome(one) -> list[str]:
    """The finding of one outcome, then its condition."""
    main, chance = one.main, one.randomisation
    label = lower_first(one.label)
    finding = say.ENDED.format(
        amount=_size(abs(main.estimate), one),
        higher=_way(main.estimate),
        outcome=label,
        interval=_ci(main, one, way=main.estimate),
    )
    count = say.AS_EXTREME.format(possible=chance.n_allocations, as_extreme=chance.as_extreme)
    said = [finding, count, _verdict(one)]
    if not one.confirmatory:
        said.append(say.NOT_CONFIRMATORY.format(reasons=join_words(one.why_not)))
    return said


def _verdict(one) -> str:
    if one.verdict == CANNOT_TELL:
        low, high = _cannot_tell(one)
        return say.CANNOT_TELL.format(low=low, high=f"{high}{NB}{one.unit}")
    claimed = say.IT if one.confirmatory else say.TAKEN_ALONE
    return say.VERDICTS[one.verdict].format(it=claimed, smallest=_size(one.smallest, one))


def _cannot_tell(one) -> tuple[str, str]:
    """Two values inside the interval, as far apart as it allows: 0 where it lies inside, and the wanted end."""
    low, high = one.main.ci_low, one.main.ci_high
    if math.isnan(low):
        return "0", "any size"
    far = high if one.wanted > 0 else low
    if far * one.wanted <= 0:  # nothing wanted inside: the two ends
        return format_number(low, one.digits), format_number(high, one.digits)
    near = 0.0 if low <= 0 <= high else (low if one.wanted > 0 else high)
    digits = 0 if abs(far) >= 2 else 1
    inward = math.copysign(round_inward(abs(far), digits), far)
    return format_number(near, 0 if near == 0 else one.digits), format_number(inward, digits)


def plain_before_after(one) -> list[str]:
    """The change of one group, what values move without training, and why this is no effect."""
    label = lower_first(one.label)
    said = [
        say.CHANGED.format(
            outcome=label,
            amount=_size(abs(one.estimate), one),
            higher=_way(one.estimate),
            interval=_ci(one, one, way=one.estimate),
            people=plural(one.n_athletes, "athlete"),
        )
    ]
    if one.n_between >= 3 and not math.isnan(one.between_low):
        said.append(
            say.MOVED_WITHOUT.format(
                change=_signed(one.between_baselines, one),
                interval=format_ci(one.between_low, one.between_high, one.digits),
            )
        )
    else:
        said.append(say.MOVED_UNKNOWN)
    if not math.isnan(one.detectable):
        said.append(
            say.BEYOND_ERROR.format(beyond=one.beyond_error, people=one.n_athletes, limit=_size(one.detectable, one))
        )
    said.append(say.NOT_ITS_EFFECT)
    return said


@if_answered("no paragraphs")
def write_up_training_methods(answer) -> list[str]:
    """Describe design, allocation and analysis, as a methods section has it."""
    what = _protocol_words(answer.protocol)
    span = ""
    if not math.isnan(answer.weeks):
        often = (
            ""
            if math.isnan(answer.sessions_per_week)
            else say.SESSIONS_A_WEEK.format(sessions=format_number(answer.sessions_per_week, 0))
        )
        span = f" for {plural(round(answer.weeks), 'week')}{often}"
    if answer.design == "before_after":
        return [say.ONE_GROUP.format(what=what, span=span), say.ONE_GROUP_TESTS]
    texts = [
        say.DESIGN.format(design=say.DESIGN_WORDS[answer.design], what=what, span=span, how=answer.how_allocated),
        say.AS_ALLOCATED.format(covariates=_covariate_words(answer)),
        say.ALL_ALLOCATIONS,
        say.NOT_USED_WITH_FEW,
    ]
    return texts


def _covariate_words(answer) -> str:
    for one in answer.outcomes.values():
        names = [t.split(":")[0] for t in one.main.coefficients["term"]]
        extra = [n for n in dict.fromkeys(names) if n not in ("intercept", "baseline", one.main.trained)]
        if extra:
            return f", with {join_words(extra)}"
    return ""


@if_answered("no paragraphs")
def write_up_training(answer) -> list[str]:
    """Write the results paragraphs."""
    texts = []
    for one in answer.outcomes.values():
        texts += _write_change(one) if isinstance(one, BeforeAfter) else _write_outcome(one)
    if answer.adherence is not None:
        texts.append(_write_adherence(answer.adherence))
    if answer.harms is not None:
        texts.append(_write_harms(answer.harms))
    if answer.conditions:
        texts.append(say.CONDITIONS_DIFFERED.format(conditions=join_words(answer.conditions)))
    texts += [_sentence(w) for w in answer.warnings]
    texts.append(limits_of_training(answer))
    return texts


def _write_outcome(one) -> list[str]:
    main, chance = one.main, one.randomisation
    analysed = say.DIFFERENCE.format(
        Outcome=one.label,
        trained=main.n_trained,
        control=main.n_reference,
        difference=_signed(main.estimate, one),
        interval=_ci(main, one),
        df=format_df(main.df),
        p=format_p(main.p),
    )
    exact = say.EXACT.format(
        allocations=chance.n_allocations,
        how=chance.how,
        as_extreme=chance.as_extreme,
        p=format_p(chance.p),
        adjusted=format_p(one.p_adjusted),
        verdict=_verdict(one),
    )
    if not one.confirmatory:
        exact += " " + say.EXPLORATORY.format(reasons=join_words(one.why_not))
    texts = [analysed, exact]
    if len(one.missing):
        by = [
            f"{arm}: {', '.join(filter(None, part['reason'])) or len(part)}"
            for arm, part in one.missing.groupby("arm", sort=False)
        ]
        text = say.NO_FOLLOW_UP.format(
            missing=len(one.missing), allocated=int(one.flow["allocated"].sum()), reasons="; ".join(by)
        )
        if not math.isnan(one.tipping):
            text += (
                " " + say.TIPS.format(size=_size(one.tipping, one))
                if math.isfinite(one.tipping)
                else " " + say.NEVER_TIPS
            )
        texts.append(text)
    moved = _signed(one.regression_to_mean, one)
    texts.append(f"{say.REGRESSION.format(size=moved)} {individual_words(one)}")
    return texts


def individual_words(one) -> str:
    """Say whether athletes responded differently, or that we cannot tell."""
    found = one.individual
    if math.isnan(found.sd_ir):
        return say.TOO_FEW_TO_TELL
    numbers = say.RESPONSES.format(
        sd=f"{format_number(found.sd_ir, one.digits)}{NB}{one.unit}",
        mover=format_ci(found.mover_low, found.mover_high, one.digits),
        normal=format_ci(found.normal_low, found.normal_high, one.digits),
    )
    if not found.can_be_told:
        return say.TOO_FEW_WITH.format(numbers=numbers)
    if found.mover_low > 0:
        return say.DIFFERED.format(numbers=numbers)
    return say.NOT_DIFFERED.format(numbers=numbers)


def _write_change(one) -> list[str]:
    text = say.AFTER_MINUS_BEFORE.format(
        Outcome=one.label, change=_signed(one.estimate, one), interval=_ci(one, one), people=one.n_athletes
    )
    if one.n_between >= 3 and not math.isnan(one.between_low):
        text += " " + say.BETWEEN_BASELINES.format(
            change=_signed(one.between_baselines, one),
            interval=format_ci(one.between_low, one.between_high, one.digits),
            people=one.n_between,
        )
    if not math.isnan(one.detectable):
        text += " " + say.DETECTABLE.format(
            amount=_size(one.detectable, one),
            error=format_number(one.typical_error, one.digits),
            source=one.typical_error_from,
            beyond=one.beyond_error,
        )
    return [text, say.A_CHANGE_ONLY]


def _write_adherence(found) -> str:
    arms = found.groups.set_index("arm")
    text = ""
    if "trained" in arms.index:
        own = arms.loc["trained"]
        text = say.SESSIONS_DONE.format(
            planned=format_number(found.sessions_planned, 0),
            done=format_number(own["sessions_done"], 1),
            share=format_percent(own["share"]),
        )
        minutes = own.get("minutes_in_target", float("nan"))
        if not math.isnan(minutes):
            text += " " + say.IN_TARGET.format(
                minutes=format_number(minutes, 1),
                low=format_number(own["attainable_low"], 1),
                high=format_number(own["attainable_high"], 1),
            )
    noticed = found.guards[found.guards["found"] == "yes"]
    if len(noticed):
        said = [f"{g.guard} ({format_number(g.value, 0)} {g.of})" for g in noticed.itertuples()]
        text += " " + say.NOTICED.format(guards="; ".join(said))
    return text.strip()


def _write_harms(found) -> str:
    if not found.n_events:
        return say.NO_EVENT
    both = {arm: int(found.table.get(f"{arm}_events", 0).sum()) for arm in ("trained", "control")}
    text = say.EVENTS_BY_GROUP.format(trained=both["trained"], control=both["control"])
    if sum(both.values()) == 0:
        text = say.EVENTS.format(events=found.n_events)
    if found.pause:
        text += " " + say.RULES_PAUSE.format(reasons=join_words(found.pause))
    return text


def limits_of_training(answer) -> str:
    """Say what this study does not conclude."""
    if answer.design == "before_after":
        return say.LIMITS_ONE_GROUP
    return say.LIMITS


def athlete_change(one, athlete: str) -> str:
    """Say what one athlete's change means beside the error of the test; "" where there is none."""
    own = one.athletes[one.athletes["athlete"] == athlete]
    if own.empty:
        return ""
    change = float(own["change"].iloc[0])
    shown = _signed(change, one)
    if math.isnan(one.detectable):
        return say.OWN_CHANGE.format(Outcome=one.label, change=shown)
    limit = _size(one.detectable, one)
    if bool(own["within_error"].iloc[0]):
        return say.OWN_CHANGE_WITHIN.format(Outcome=one.label, change=shown, limit=limit)
    return say.OWN_CHANGE_BEYOND.format(Outcome=one.label, change=shown, limit=limit)


def write_up_training_size(plan) -> list[str]:
    """Justify the size of a training study in words, from a `TrainingPlan`."""
    texts = []
    for n, part in plan.table.groupby("n_per_group"):
        shares = [f"{format_number(r.effect, 1)} in {round(100 * r.power)}" for r in part.itertuples()]
        first = part.iloc[0]
        texts.append(say.FINDS.format(n=n, shares=join_words(shares), half_width=format_number(first["half_width"], 1)))
        if first["equivalence_power"] < 0.5:
            texts.append(
                say.NO_EQUIVALENCE.format(
                    studies=round(100 * first["equivalence_power"]), smallest=format_number(plan.smallest, 1)
                )
            )
    return [
        *texts,
        say.ASSUMED.format(
            between=format_number(plan.sd_between, 1),
            error=format_number(plan.typical_error, 1),
            baselines=plural(plan.baselines, "baseline"),
            followups=plural(plan.followups, "follow-up"),
            lost=format_percent(plan.drop_out),
        ),
    ]


def why_no_band() -> str:
    """Say what the maximal heart rate that an equation predicts at one age does to the target band."""
    age, predicted = 25, 195.0
    error = predicted_band_error(predicted_bpm=predicted, standard_error_bpm=10.8)
    return say.NO_BAND.format(
        years=age,
        predicted=format_number(predicted, 0),
        middle=format_number(error.middle_bpm, 0),
        inside=round(100 * error.inside),
        low=round(100 * error.too_low),
        high=round(100 * error.too_high),
        above=round(100 * error.above_maximum),
    )


def _protocol_words(name: str) -> str:
    known = training_protocols().set_index("protocol")
    if name in known.index:
        return f"{known.loc[name, 'title']} ({known.loc[name, 'source']})"
    return name or "the training"


def _ci(found, one, *, way: float = 1.0) -> str:
    """The interval, turned where the sentence says "lower"."""
    if math.isnan(found.ci_low):
        return say.NO_INTERVAL
    low, high = (found.ci_low, found.ci_high) if way >= 0 else (-found.ci_high, -found.ci_low)
    return f"95{NB}% interval {format_ci(low, high, one.digits)}"


def _size(value: float, one) -> str:
    return format_number(value, one.digits, unit=one.unit)


def _signed(value: float, one) -> str:
    return format_number(value, one.digits, sign=True, unit=one.unit)


def _way(value: float) -> str:
    return "higher" if value >= 0 else "lower"


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "?", "!")) else f"{text}."
