"""What athletes did in the rounds, in words: activity, agreement of raters, activity beside heart rate and fitness."""

from __future__ import annotations

from ...basics import format_ci, format_number, format_p, format_percent, join_words, lower_first, plural
from ...study import known_outcome
from ...study.outcomes import digits_of
from . import phrases as say


def plain_pace(answer) -> str:
    """Say in one or two sentences how much of a round was active and how far raters agree."""
    share = answer.rounds.groupby("athlete")["active_share"].mean()
    spread = (" " + say.SPREAD.format(sd=format_percent(share.std()))) if len(share) > 1 else ""
    text = say.ACTIVE.format(states=join_words(answer.words.active), share=format_percent(share.mean()), spread=spread)
    return f"{text} {_agreed(answer)}"


def _agreed(answer) -> str:
    if answer.agreement.empty:
        return say.ONE_RATER
    worst = answer.agreement.sort_values("kappa").iloc[0]
    word = next(w for low, w in say.KAPPA_WORDS if round(worst["kappa"], 2) >= low)
    share, kappa = format_percent(worst["percent_same"] / 100), format_number(worst["kappa"], 2)
    return say.AGREED.format(well=word, share=share, kappa=kappa)


def plain_activity(answer, *, short: bool = False) -> str:
    """Say whether fitter athletes did more, beside what their heart rate was; `short` leaves heart rate to others."""
    known = known_outcome(answer.outcome)
    outcome = lower_first(known.label)
    matters = format_number(answer.smallest_effect, known.digits, unit=known.unit)
    if (answer.activity_reading, answer.outcome_reading) == ("higher", "the same"):
        return say.SAME_AND_MORE.format(outcome=outcome, matters=matters)
    if short:
        return say.DID[answer.activity_reading]
    ran = say.RAN[answer.outcome_reading].format(outcome=outcome, matters=matters)
    return f"{say.DID[answer.activity_reading]} {ran}"


def write_up_pace(answer) -> list[str]:
    """Report activity and agreement for the supplement of a write-up."""
    n = plural(answer.rounds["athlete"].nunique(), "athlete")
    rounds = plural(len(answer.rounds), "round")
    text = say.MARKED.format(
        athletes=n,
        rounds=rounds,
        states=join_words(answer.words.states, last="or"),
        active=join_words(answer.words.active),
    )
    paragraphs = [f"{text} {plain_pace(answer)}"]
    for line in answer.agreement.to_dict("records"):
        said = say.BOTH_RATED.format(
            rater=line["rater"],
            other=line["other"],
            rounds=plural(line["n_rounds"], "round"),
            athletes=plural(line["n_athletes"], "athlete"),
            kappa=format_number(line["kappa"], 2),
            span=format_ci(line["ci_low"], line["ci_high"], 2),
        )
        if line["icc"] == line["icc"]:
            span = format_ci(line["icc_low"], line["icc_high"], 2)
            said += say.ICC.format(icc=format_number(line["icc"], 2), span=span)
        paragraphs.append(f"{said}.")
    if (answer.by_rater["blind"] != "yes").any():
        paragraphs.append(say.UNBLINDED)
    paragraphs += list(answer.remarks)
    if len(answer.left_out):
        reasons = join_words(sorted(set(answer.left_out["reason"])))
        paragraphs.append(say.UNUSED.format(rows=plural(len(answer.left_out), "row"), reasons=reasons))
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

    activity = slope(answer.activity, 100 * step, 0, say.POINTS_OF_A_ROUND)
    total = slope(answer.total, step, digits_of(known), known.unit)
    paragraphs = [
        plain_activity(answer),
        say.BESIDE.format(
            apart=apart,
            activity=activity,
            difference=total,
            outcome=outcome,
            athletes=plural(answer.n_athletes, "athlete"),
            rounds=plural(answer.n_rounds, "rated round"),
        ),
    ]
    if answer.at_equal_activity is not None:
        direct = slope(answer.at_equal_activity, step, digits_of(known), known.unit)
        paragraphs.append(say.NOT_ADJUSTED.format(outcome=outcome, direct=direct))
    return paragraphs
