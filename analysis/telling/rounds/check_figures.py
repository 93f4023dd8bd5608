"""Pictures that check the comparison of rounds: residuals, missing rounds, other ways of analysing."""

from __future__ import annotations

import numpy as np

from ...basics import format_ci, format_number, lower_first, plural
from ...study import known_outcome
from ...study.outcomes import Outcome, digits_of
from ..style import (
    INK,
    MAIN,
    QUIET,
    SECOND,
    draw_band,
    draw_estimate,
    finish,
    legend_above,
    name_rows,
    new_axes,
    new_panels,
)
from ..words import in_unit, with_minus, wrap_words


def draw_checks(answer, *, ax=None):
    """Draw the assumption checks: residuals, their quantiles, the athletes' quantiles, and the spread of each round.

    >>> figure = draw_checks(answers.rounds("hr_mean_bpm"))
    """
    known = known_outcome(answer.outcome)
    figure, panels = new_panels(ax, count=4, columns=2, height_mm=120)
    residuals, effects, spread = answer.residuals, answer.athlete_effects, answer.spread
    panels[0].axhline(0, color=QUIET, linewidth=0.8)
    panels[0].plot(residuals["fitted"], residuals["scaled_residual"], "o", color=MAIN, markersize=3, alpha=0.8)
    panels[0].set(xlabel=f"Fitted value{in_unit(known)}", ylabel="Residual (SDs)")
    _quantiles(panels[1], residuals["normal_quantile"], residuals["scaled_residual"], "Residual (SDs)", "o")
    _quantiles(panels[2], effects["normal_quantile"], effects["scaled_estimate"], "Athlete's level (SDs)", "^")
    for what, marker, color, name in (
        ("values", "D", MAIN, "of a round's values"),
        ("differences", "s", SECOND, "of a step's differences"),
    ):
        part = spread[spread["what"] == what]
        x = np.arange(len(part)) + (0.5 if what == "differences" else 0.0)
        panels[3].plot(x, part["sd"], marker, color=color, label=name)
    panels[3].set_xticks(range(len(answer.labels)), answer.labels)
    panels[3].set_ylim(0, 1.4 * float(np.nanmax(spread["sd"])) if spread["sd"].notna().any() else 1)
    panels[3].set(xlabel="Round", ylabel=f"SD{in_unit(known)}")
    panels[3].legend(loc="upper left")
    return finish(figure, _describe_checks(answer, known))


def draw_tipping(answer, *, ax=None):
    """Draw how the change from first to last would look, had the missing rounds been higher or lower than expected.

    Gives None where no round is missing.

    >>> figure = draw_tipping(answers.rounds("hr_mean_bpm"))
    """
    tipping, known = answer.tipping, known_outcome(answer.outcome)
    if tipping is None:
        return None
    line = tipping.table.iloc[-1]
    curve = tipping.curve[tipping.curve["contrast"] == line["contrast"]]
    figure, axes = new_axes(ax, width="double", height_mm=72)
    draw_band(axes, answer.smallest_effect, upright=False)
    x = curve["shift"].to_numpy()
    axes.fill_between(
        x,
        curve["ci_low"],
        curve["ci_high"],
        color=MAIN,
        alpha=0.16,
        linewidth=0,
        label="95\N{NO-BREAK SPACE}% interval",
    )
    axes.plot(x, curve["estimate"], color=MAIN, label=f"round {with_minus(line['contrast'])}")
    axes.axvline(0, color=INK, linewidth=0.8, linestyle="--", label="as the model expects")
    turns = line[["shift_down", "shift_up"]].dropna()
    for number, at in enumerate(turns):
        axes.axvline(
            at,
            color=SECOND,
            linewidth=1.2,
            linestyle=":",
            label="_" if number else "what can be said changes",
        )
    _name_stretches(axes, curve)
    low, high = axes.get_ylim()
    axes.set_ylim(low, high + 0.16 * (high - low))
    axes.margins(x=0)
    axes.set_xlabel(f"Missing rounds shifted from what the model expects{in_unit(known)}")
    axes.set_ylabel(f"Last − first round{in_unit(known)}")
    legend_above(figure, axes, ax)
    return finish(figure, _describe_tipping(answer, known))


def draw_sensitivity(answer, *, ax=None):
    """Draw the change from first to last round as each way of analysing gives it, in the unit of the outcome.

    >>> figure = draw_sensitivity(answers.rounds("hr_mean_bpm"))
    """
    known = known_outcome(answer.outcome)
    table = answer.sensitivity
    table = table[(table["outcome"] == answer.outcome) & table["ci_low"].notna()].reset_index(drop=True)
    figure, axes = new_axes(ax, width="double", height_mm=26 + 9 * len(table))
    draw_band(axes, answer.smallest_effect)
    for i, line in enumerate(table.to_dict("records")):
        draw_estimate(axes, i, line["estimate"], line["ci_low"], line["ci_high"], main=i == 0)
    axes.axvline(table["estimate"].iloc[0], color=MAIN, linewidth=0.7, linestyle=":")
    name_rows(axes, [wrap_words(name) for name in table["analysis"]])
    axes.set_xlabel(f"Last − first round, {lower_first(known.label)}{in_unit(known)}, 95\N{NO-BREAK SPACE}% interval")
    legend_above(figure, axes, ax)
    return finish(figure, _describe_ways(table["estimate"].dropna(), known))


def _quantiles(panel, normal, values, ylabel: str, marker: str) -> None:
    known = normal.notna() & values.notna()
    if known.any():
        ends = np.array([normal[known].min(), normal[known].max()])
        panel.plot(ends, ends, color=QUIET, linewidth=0.8)
        panel.plot(normal[known], values[known], marker, color=MAIN, markersize=3, alpha=0.8)
    else:
        panel.set(xticks=[], yticks=[])
        panel.annotate(
            "no spread in the model",
            (0.5, 0.5),
            xycoords="axes fraction",
            ha="center",
            va="center",
            color=QUIET,
        )
    panel.set(xlabel="Where a normal distribution would put it (SDs)", ylabel=ylabel)


def _name_stretches(axes, curve) -> None:
    """Write what can be said above each stretch of shifts that is wide enough to hold the words."""
    x = curve["shift"].to_numpy()
    span = x[-1] - x[0]
    stretches = (curve["label"] != curve["label"].shift()).cumsum()
    for _, part in curve.groupby(stretches):
        start, stop = part["shift"].iloc[0], part["shift"].iloc[-1]
        middle = (start + stop) / 2
        if abs(middle) < 0.12 * span < stop - start:  # not across the line of no shift
            middle = start + 0.25 * (stop - start)
        if stop - start > 0.16 * span:
            words = part["label"].iloc[0].replace("changed but smaller", "changed but\nsmaller")
            axes.annotate(words, (middle, 0.985), xycoords=("data", "axes fraction"), ha="center", va="top", color=INK)


def _describe_tipping(answer, known: Outcome) -> str:
    line = answer.tipping.table.iloc[-1]
    moves = [
        f"{format_number(line[f'shift_{way}'], digits_of(known), sign=True, unit=known.unit)} gives {line[f'label_{way}']}"
        for way in ("up", "down")
        if np.isfinite(line[f"shift_{way}"])
    ]
    ends = "; ".join(moves) if moves else "no shift that was tried changes that"
    missing = plural(answer.tipping.n_missing, "missing round")
    what = f"Last minus first round in {lower_first(known.label)} against a shift of {missing}"
    return f"{what}. Unshifted: {line['label']}; {ends}."


def _describe_checks(answer, known: Outcome) -> str:
    sds = answer.spread.loc[answer.spread["what"] == "values", "sd"]
    largest = format_number(float(answer.residuals["scaled_residual"].abs().max()), 1)
    return (
        f"Four small panels on the assumptions of the model for {lower_first(known.label)}: residuals against fitted values, "
        "their normal quantiles, the normal quantiles of the athletes' levels, and the spread. The largest residual is "
        f"{largest} SDs; the SD of a round goes from {format_ci(float(sds.min()), float(sds.max()), 1, unit=known.unit)}."
    )


def _describe_ways(estimates, known: Outcome) -> str:
    span = format_ci(float(estimates.min()), float(estimates.max()), digits_of(known), unit=known.unit)
    return (
        f"The change in {lower_first(known.label)} from the first to the last round by {plural(len(estimates), 'way')} of "
        f"analysing: from {span}."
    )
