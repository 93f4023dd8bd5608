"""What athletes did in the rounds, in words: activity, agreement of raters, activity beside heart rate and fitness."""

from __future__ import annotations

from ...basics import format_ci, format_number, format_p, format_percent, join_words, lower_first, plural
from ...study import known_outcome
from ...study.outcomes import digits_of

# The phrases of the topic, apart from what chooses among them.
DID = {
    "higher": "Fitter athletes did more.",
    "lower": "Fitter athletes did less.",
    "the same": "Fitter athletes did as much as the others.",
    "cannot tell": "We cannot tell yet whether fitter athletes did more.",
}
RAN = {
    "higher": "Their {outcome} was higher.",
    "lower": "Their {outcome} was lower.",
    "the same": "Their {outcome} was the same within {matters}.",
    "cannot tell": "We cannot tell yet whether their {outcome} was lower.",
}
SAME_AND_MORE = "Fitter athletes ran the same {outcome}, within {matters}, and did more."
NOT_ADJUSTED = (
    "Activity may be how fitness shows, so it stands beside {outcome} and is not adjusted away: at equal activity the "
    "difference is {direct}, which answers another question."
)
UNBLINDED = "At least one rater knew the fitness results: such a rating may follow what the rater expects."
ONE_RATER = "One rater alone rated these rounds, so nobody can say how far another would agree."
KAPPA_WORDS = ((0.8, "very well"), (0.6, "well"), (0.4, "moderately"), (-1.0, "poorly"))
"""Lowest kappa -> words; bounds after Landis JR, Koch GG (1977) Biometrics 33:159, the five upper classes made four."""


def plain_pace(answer) -> str:
    """Say in one or two sentences how much of a round was active and how far raters agree."""
    share = answer.rounds.groupby("athlete")["active_share"].mean()
    spread = f" (SD between athletes {format_percent(share.std())})" if len(share) > 1 else ""
    text = f"Athletes were {join_words(answer.words.active)} for {format_percent(share.mean())} of a round on average{spread}."
    return f"{text} {_agreed(answer)}"


def _agreed(answer) -> str:
    if answer.agreement.empty:
        return ONE_RATER
    worst = answer.agreement.sort_values("kappa").iloc[0]
    word = next(w for low, w in KAPPA_WORDS if round(worst["kappa"], 2) >= low)
    return (
        f"Raters agreed {word}: the same state in {format_percent(worst['percent_same'] / 100)} of the seconds "
        f"(kappa {format_number(worst['kappa'], 2)})."
    )


def plain_activity(answer, *, short: bool = False) -> str:
    """Say whether fitter athletes did more, beside what their heart rate was; `short` leaves heart rate to others."""
    known = known_outcome(answer.outcome)
    outcome = lower_first(known.label)
    matters = format_number(answer.smallest_effect, known.digits, unit=known.unit)
    if (answer.activity_reading, answer.outcome_reading) == ("higher", "the same"):
        return SAME_AND_MORE.format(outcome=outcome, matters=matters)
    if short:
        return DID[answer.activity_reading]
    ran = RAN[answer.outcome_reading].format(outcome=outcome, matters=matters)
    return f"{DID[answer.activity_reading]} {ran}"


def write_up_pace(answer) -> list[str]:
    """Report activity and agreement for the supplement of a write-up."""
    n = plural(answer.rounds["athlete"].nunique(), "athlete")
    rounds = plural(len(answer.rounds), "round")
    text = (
        f"What {n} did was marked second by second in {rounds} as {join_words(answer.words.states, last='or')}; "
        f"{join_words(answer.words.active)} counts as activity."
    )
    paragraphs = [f"{text} {plain_pace(answer)}"]
    for line in answer.agreement.to_dict("records"):
        said = (
            f"Raters {line['rater']} and {line['other']} both rated {plural(line['n_rounds'], 'round')} of "
            f"{plural(line['n_athletes'], 'athlete')}: kappa {format_number(line['kappa'], 2)} "
            f"({format_ci(line['ci_low'], line['ci_high'], 2)}, athletes resampled)"
        )
        if line["icc"] == line["icc"]:
            said += (
                f", intraclass correlation of active seconds per round {format_number(line['icc'], 2)} "
                f"({format_ci(line['icc_low'], line['icc_high'], 2)})"
            )
        paragraphs.append(f"{said}.")
    if (answer.by_rater["blind"] != "yes").any():
        paragraphs.append(UNBLINDED)
    paragraphs += list(answer.remarks)
    if len(answer.left_out):
        paragraphs.append(
            f"{plural(len(answer.left_out), 'row')} of the table pace could not be used: "
            f"{join_words(sorted(set(answer.left_out['reason'])))}."
        )
    return paragraphs


def write_up_activity(answer) -> list[str]:
    """Report fitness, activity and the outcome side by side."""
    known, step = known_outcome(answer.outcome), answer.contrast_step
    outcome = lower_first(known.label)
    apart = format_number(step, 0, unit="mL/kg/min")

    def slope(fit, factor, digits, unit):
        low, high = fit.ci_low * factor, fit.ci_high * factor
        size = format_number(fit.estimate * factor, digits)
        return f"{size}\N{NO-BREAK SPACE}{unit} ({format_ci(low, high, digits)}, p {format_p(fit.p)})"

    activity = slope(answer.activity, 100 * step, 0, "percentage points of a round")
    total = slope(answer.total, step, digits_of(known), known.unit)
    paragraphs = [
        plain_activity(answer),
        f"Athletes {apart} fitter differed by {activity} in activity and by {total} in {outcome} "
        f"({plural(answer.n_athletes, 'athlete')}, {plural(answer.n_rounds, 'rated round')}).",
    ]
    if answer.at_equal_activity is not None:
        direct = slope(answer.at_equal_activity, step, digits_of(known), known.unit)
        paragraphs.append(NOT_ADJUSTED.format(outcome=outcome, direct=direct))
    return paragraphs
