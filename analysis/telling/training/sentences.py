"""What a training study says, first in plain words, then as methods and results would have it."""

from __future__ import annotations

import math

from ...basics import (
    NotYet,
    format_ci,
    format_df,
    format_number,
    format_p,
    format_percent,
    if_answered,
    join_words,
    lower_first,
    plural,
    round_inward,
)
from ...physiology import predicted_band_error, training_protocols
from ...training import BeforeAfter
from ...training.answer import CANNOT_TELL, GAIN, MATTERS, OPPOSITE, SMALL

DESIGN_WORDS = {
    "parallel": "two groups side by side",
    "delayed_start": "two groups, one of which trained later",
    "matched_pairs": "matched pairs, one of each pair trained",
    "before_after": "one group before and after",
}
NB = "\N{NO-BREAK SPACE}"


def plain_training(answer) -> str:
    """Say in plain words what the training study found; "" where there is none."""
    if isinstance(answer, NotYet):
        return "" if "columns phase" in answer.needs else str(answer)
    texts = [
        " ".join(plain_change(one) if isinstance(one, BeforeAfter) else plain_outcome(one))
        for one in answer.outcomes.values()
    ]
    texts += [_sentence(w) for w in answer.warnings]
    if answer.harms is not None and answer.harms.pause:
        texts.append(f"The study pauses, and the ethics committee is told: {join_words(answer.harms.pause)}.")
    return "\n\n".join(texts)


def short_training(answer) -> list[str]:
    """One or two sentences for each outcome, for the first screen."""
    texts = []
    for one in answer.outcomes.values():
        if isinstance(one, BeforeAfter):
            texts += plain_change(one)[:1]
            continue
        finding, _, verdict, *_ = plain_outcome(one)
        chance = one.randomisation
        count = f"; {chance.as_extreme} of {chance.n_allocations} possible allocations give so much."
        texts.append(finding.removesuffix(".") + count)
        texts += [verdict] if one.verdict == CANNOT_TELL else []
    return [*texts, NOT_ITS_EFFECT] if answer.design == "before_after" else texts


NOT_ITS_EFFECT = "Nobody went without the training, so this change is not its effect: season, habit and learning move values too."


def plain_outcome(one) -> list[str]:
    """The finding of one outcome, then its condition."""
    main, chance = one.main, one.randomisation
    size = format_number(abs(main.estimate), one.digits)
    label = lower_first(one.label)
    finding = (
        f"As allocated, the trained ended {_amount(size, one.unit)} {_way(main.estimate)} in {label} "
        f"({_ci(main, one)}) than athletes who started equal."
    )
    count = (
        f"Of {chance.n_allocations} possible allocations {chance.as_extreme} "
        f"{'gives' if chance.as_extreme == 1 else 'give'} so large a difference."
    )
    said = [finding, count, _verdict(one)]
    if not one.confirmatory:
        said.append(f"No confirmatory claim: {join_words(one.why_not)}.")
    return said


def _verdict(one) -> str:
    smallest = _amount(format_number(one.smallest, one.digits), one.unit)
    claimed = "It" if one.confirmatory else "Taken alone, it"
    if one.verdict == MATTERS:
        return (
            f"{claimed} is more than chance, and the whole interval lies beyond {smallest}, the smallest gain "
            "worth the training."
        )
    if one.verdict == GAIN:
        return f"{claimed} is more than chance; whether it reaches {smallest}, the smallest gain worth the training, is open."
    if one.verdict == OPPOSITE:
        return f"{claimed} is more than chance, and against what was wanted."
    if one.verdict == SMALL:
        return f"{claimed} is smaller than {smallest}, the smallest gain worth the training."
    low, high = _cannot_tell(one)
    return f"This study cannot tell {low} from {high}{NB}{one.unit}."


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


def plain_change(one) -> list[str]:
    """The change of one group, what values move without training, and why this is no effect."""
    label = lower_first(one.label)
    size = format_number(abs(one.estimate), one.digits)
    said = [
        f"After the training {label} was {_amount(size, one.unit)} {_way(one.estimate)} than before ({_ci(one, one)}; "
        f"{plural(one.n_athletes, 'athlete')})."
    ]
    if one.n_between >= 3 and not math.isnan(one.between_low):
        said.append(
            "Between two baselines, without the training, it moved by "
            f"{format_number(one.between_baselines, one.digits, sign=True)}"
            f"{NB}{one.unit} ({format_ci(one.between_low, one.between_high, one.digits)})."
        )
    else:
        said.append("How much it moves without training is not known: there is one baseline only.")
    if not math.isnan(one.detectable):
        said.append(
            f"{one.beyond_error} of {one.n_athletes} changed by more than the error of the test allows "
            f"({_amount(format_number(one.detectable, one.digits), one.unit)})."
        )
    said.append(NOT_ITS_EFFECT)
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
            else f", {format_number(answer.sessions_per_week, 0)} sessions a week"
        )
        span = f" for {plural(round(answer.weeks), 'week')}{often}"
    if answer.design == "before_after":
        return [
            f"One group was measured before and after {what}{span}. Nobody went without it, so changes are described beside the "
            "change between baselines and are not read as an effect.",
            "Mean changes are paired differences with t intervals. One athlete's change is held against 1.96 √2 typical errors.",
        ]
    texts = [
        f"Design: {DESIGN_WORDS[answer.design]}. The trained group added {what}{span} to its usual training; the "
        "control group kept "
        f"the usual training. {answer.how_allocated}",
        "Everyone is analysed as allocated: follow-up on group and mean baseline"
        f"{_covariate_words(answer)}, with HC2 standard errors and Bell-McCaffrey degrees of freedom.",
        "The studentised coefficient is held against all allocations that could have been drawn. A difference is "
        "claimed only where "
        "interval and this test agree, Holm-adjusted over the primary outcomes.",
        "Two one-sided tests ask whether an effect is smaller than what matters; with fewer than twelve athletes "
        "a group they are "
        "not used. Individual response is not told from fewer than twenty a group.",
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
        texts.append(f"The evenings before and after were not alike: {join_words(answer.conditions)}.")
    texts += [_sentence(w) for w in answer.warnings]
    texts.append(limits_of_training(answer))
    return texts


def _write_outcome(one) -> list[str]:
    main, chance = one.main, one.randomisation
    analysed = (
        f"{one.label}: {main.n_trained} trained and {main.n_reference} control athletes had baseline and "
        "follow-up. Trained minus "
        f"control, given the baseline: {format_number(main.estimate, one.digits, sign=True)}{NB}{one.unit} ({_ci(main, one)}), "
        f"df = {format_df(main.df)}, p {format_p(main.p)}."
    )
    exact = (
        f"Among {chance.n_allocations} allocations ({chance.how}) {chance.as_extreme} gave so large a studentised difference, "
        f"p {format_p(chance.p)}; Holm-adjusted p {format_p(one.p_adjusted)}. {_verdict(one)}"
    )
    if not one.confirmatory:
        exact += f" This is exploratory: {join_words(one.why_not)}."
    texts = [analysed, exact]
    if len(one.missing):
        by = [
            f"{arm}: {', '.join(filter(None, part['reason'])) or len(part)}"
            for arm, part in one.missing.groupby("arm", sort=False)
        ]
        text = f"Without a follow-up: {len(one.missing)} of {int(one.flow['allocated'].sum())} ({'; '.join(by)})."
        if not math.isnan(one.tipping):
            text += (
                " The claim would end if the unmeasured trained athletes had ended "
                f"{_amount(format_number(one.tipping, one.digits), one.unit)} worse than the model expects."
                if math.isfinite(one.tipping)
                else " No follow-up of the unmeasured trained athletes, however poor, would end the claim."
            )
        texts.append(text)
    texts.append(
        f"Regression to the mean alone would move an athlete who starts one SD low by "
        f"{format_number(one.regression_to_mean, one.digits, sign=True)}{NB}{one.unit}. "
        + individual_words(one)
    )
    return texts


def individual_words(one) -> str:
    """Say whether athletes responded differently, or that it cannot be told."""
    found = one.individual
    if math.isnan(found.sd_ir):
        return "So few athletes cannot tell whether they responded differently."
    numbers = (
        f"SD of individual responses {format_number(found.sd_ir, one.digits)}{NB}{one.unit} (MOVER "
        f"{format_ci(found.mover_low, found.mover_high, one.digits)}; normal "
        f"{format_ci(found.normal_low, found.normal_high, one.digits)})"
    )
    if not found.can_be_told:
        return f"So few athletes cannot tell whether they responded differently ({numbers})."
    if found.mover_low > 0:
        return f"Responses differed between athletes: {numbers}. Who responds is not told by one change each."
    return f"Different responses were not shown: {numbers}."


def _write_change(one) -> list[str]:
    text = (
        f"{one.label}: after minus before {format_number(one.estimate, one.digits, sign=True)}{NB}{one.unit} ({_ci(one, one)}), "
        f"n = {one.n_athletes}."
    )
    if one.n_between >= 3 and not math.isnan(one.between_low):
        text += (
            f" Between the baselines {format_number(one.between_baselines, one.digits, sign=True)}{NB}{one.unit} "
            f"({format_ci(one.between_low, one.between_high, one.digits)}; n = {one.n_between})."
        )
    if not math.isnan(one.detectable):
        text += (
            " Smallest detectable change of one athlete "
            f"{_amount(format_number(one.detectable, one.digits), one.unit)} (typical error "
            f"{format_number(one.typical_error, one.digits)}, from {one.typical_error_from}); {one.beyond_error} went beyond it."
        )
    return [text, "This describes a change, not an effect of training: nobody went without it."]


def _write_adherence(found) -> str:
    arms = found.groups.set_index("arm")
    text = ""
    if "trained" in arms.index:
        own = arms.loc["trained"]
        text = (
            f"Of {format_number(found.sessions_planned, 0)} planned sessions the trained group did "
            f"{format_number(own['sessions_done'], 1)} on average ({format_percent(own['share'])})."
        )
        minutes = own.get("minutes_in_target", float("nan"))
        if not math.isnan(minutes):
            text += (
                f" Recorded sessions held {format_number(minutes, 1)} min in the target band; a perfect one shows "
                f"{format_number(own['attainable_low'], 1)} to {format_number(own['attainable_high'], 1)} min."
            )
    noticed = found.guards[found.guards["found"] == "yes"]
    if len(noticed):
        said = [f"{g.guard} ({format_number(g.value, 0)} {g.of})" for g in noticed.itertuples()]
        text += f" Noticed, and nobody changed groups for it: {'; '.join(said)}."
    return text.strip()


def _write_harms(found) -> str:
    if not found.n_events:
        return "No adverse event was noted in either group."
    both = {arm: int(found.table.get(f"{arm}_events", 0).sum()) for arm in ("trained", "control")}
    text = f"Adverse events: {both['trained']} in the trained group, {both['control']} in the control group."
    if sum(both.values()) == 0:
        text = f"Adverse events: {found.n_events}."
    if found.pause:
        text += f" The rules pause the study and tell the committee: {join_words(found.pause)}."
    return text


def limits_of_training(answer) -> str:
    """Say what this study does not conclude."""
    if answer.design == "before_after":
        return "Not concluded: that training caused a change, who responds, or what sparring alone does."
    return (
        "Not concluded: that one protocol is better, that capacity caused the lower heart rate, anything about "
        "winning, injury or "
        "energy, who responds, or that sparring alone does nothing (nobody stopped sparring)."
    )


def athlete_change(one, athlete: str) -> str:
    """Say what one athlete's change means beside the error of the test; "" where there is none."""
    own = one.athletes[one.athletes["athlete"] == athlete]
    if own.empty:
        return ""
    change = float(own["change"].iloc[0])
    shown = f"{format_number(change, one.digits, sign=True)}{NB}{one.unit}"
    if math.isnan(one.detectable):
        return f"{one.label}: {shown} from before to after. How far the test alone moves a value is not known here."
    limit = _amount(format_number(one.detectable, one.digits), one.unit)
    if bool(own["within_error"].iloc[0]):
        return f"{one.label}: {shown} from before to after. That is within the error of the test ({limit})."
    return (
        f"{one.label}: {shown} from before to after, more than the error of the test alone ({limit}). One "
        "change tells no cause."
    )


def write_up_training_size(plan) -> list[str]:
    """Justify the size of a training study in words, from a `TrainingPlan`."""
    texts = []
    for n, part in plan.table.groupby("n_per_group"):
        shares = [f"{format_number(r.effect, 1)} in {round(100 * r.power)}" for r in part.itertuples()]
        first = part.iloc[0]
        texts.append(
            f"{n} and {n} athletes find a true gain of {join_words(shares)} of 100 studies; the 95{NB}% interval reaches "
            f"{format_number(first['half_width'], 1)} to each side."
        )
        if first["equivalence_power"] < 0.5:
            texts.append(
                f"They cannot show that there is no effect: only {round(100 * first['equivalence_power'])} of 100 "
                "studies of a training "
                f"that does nothing would show less than {format_number(plan.smallest, 1)}."
            )
    return [
        *texts,
        f"Assumed: SD between athletes {format_number(plan.sd_between, 1)}, typical error "
        f"{format_number(plan.typical_error, 1)}, "
        f"{plural(plan.baselines, 'baseline')}, {plural(plan.followups, 'follow-up')}, {format_percent(plan.drop_out)} lost.",
    ]


def why_no_band(
    *, predicted_bpm: float = 195.0, standard_error_bpm: float = 10.8, age_years: float = 25
) -> str:
    """Say what a predicted maximal heart rate does to the target band."""
    error = predicted_band_error(predicted_bpm=predicted_bpm, standard_error_bpm=standard_error_bpm)
    shares = [round(100 * s) for s in (error.inside, error.too_low, error.too_high, error.above_maximum)]
    return (
        f"At {format_number(age_years, 0)} years a prediction of {format_number(predicted_bpm, 0)} bpm puts the "
        "middle of the band at "
        f"{format_number(error.middle_bpm, 0)}: inside the athlete's own in {shares[0]} of 100 people, too low in "
        f"{shares[1]}, too "
        f"high in {shares[2]}. In {shares[3]} its upper end exceeds the true maximum."
    )


def _protocol_words(name: str) -> str:
    known = training_protocols().set_index("protocol")
    if name in known.index:
        return f"{known.loc[name, 'title']} ({known.loc[name, 'source']})"
    return name or "the training"


def _ci(found, one) -> str:
    if math.isnan(found.ci_low):
        return "no interval: no scatter"
    return f"95{NB}% {format_ci(found.ci_low, found.ci_high, one.digits)}"


def _amount(number: str, unit: str) -> str:
    return f"{number}{NB}{unit}" if unit else number


def _way(value: float) -> str:
    return "higher" if value >= 0 else "lower"


def _sentence(text: str) -> str:
    text = text.strip()
    return text if text.endswith((".", "?", "!")) else f"{text}."


__all__ = [
    "athlete_change",
    "individual_words",
    "limits_of_training",
    "plain_change",
    "plain_outcome",
    "plain_training",
    "short_training",
    "why_no_band",
    "write_up_training",
    "write_up_training_methods",
    "write_up_training_size",
]
