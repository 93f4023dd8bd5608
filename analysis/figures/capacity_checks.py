"""Pictures of how firm the answer on fitness is: without each athlete, and without the error of the fitness test."""

from __future__ import annotations

import math

from ..basics import format_ci, format_number, plural
from .capacity import step_digits
from .rounds_common import digits_of, in_unit, known_outcome
from .style import FAINT, INK, MAIN, MARKERS, QUIET, SECOND, finish, new_axes


def draw_influence(answer, *, ax=None, show_codes: bool = False):
    """Draw the planned effect without each athlete in turn."""
    known = known_outcome(answer.outcome)
    table = answer.influence[answer.influence["planned_effect"].notna()]
    table = table.sort_values("planned_effect", kind="stable").reset_index(drop=True)
    figure, axes = new_axes(ax, height_mm=30 + 3.6 * max(len(table), 6))
    axes.axvline(0, color=QUIET, linewidth=0.8)
    axes.axvline(answer.effect, color=MAIN, linewidth=1, linestyle="--", label="with everybody")
    axes.hlines(
        range(len(table)), table["planned_ci_low"], table["planned_ci_high"], color=QUIET, linewidth=1
    )
    axes.plot(
        table["planned_effect"],
        range(len(table)),
        "o",
        color=INK,
        markersize=3.5,
        label="without one athlete",
    )
    if len(table) and table["cooks_distance"].notna().any():
        most = int(table["cooks_distance"].idxmax())
        axes.plot(
            table["planned_effect"][most],
            most,
            "D",
            color=SECOND,
            markersize=6,
            label="without the most influential one",
        )
    axes.set_yticks(range(len(table)), table["athlete"] if show_codes else [""] * len(table))
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(table) - 0.4, -0.6)
    axes.set_ylabel("Without one athlete, in order")
    axes.set_xlabel(_effect_label(answer, known))
    if ax is None:
        figure.legend(*axes.get_legend_handles_labels(), loc="outside upper left")
    low, high = table["planned_effect"].min(), table["planned_effect"].max()
    return finish(
        figure,
        f"The planned effect without each of {plural(len(table), 'athlete')} in turn lies between "
        f"{format_number(low, digits_of(known))} and {format_number(high, digits_of(known))} {known.unit}; with everybody it is "
        f"{format_number(answer.effect, digits_of(known))} {known.unit}.",
    )


def draw_error_correction(answer, *, ax=None):
    """Draw the correlation and the effect as measured, and corrected for the error of the fitness test."""
    known = known_outcome(answer.outcome)
    panels = list(ax) if ax is not None else None
    figure, axes = (panels[0].figure, panels) if panels else new_axes(width="double", height_mm=52, columns=2)
    lines = [_correlation_lines(answer), _effect_lines(answer)]
    for panel, entries in zip(axes, lines, strict=True):
        _draw_entries(panel, entries)
    axes[0].set_xlabel("Correlation over athletes")
    axes[0].set_xlim(-1.35, 1.35)
    axes[0].axvspan(-1.35, -1, color=FAINT, linewidth=0)
    axes[0].axvspan(1, 1.35, color=FAINT, linewidth=0)
    axes[1].set_xlabel(_effect_label(answer, known))
    for panel, entries in zip(axes, lines, strict=True):
        _mark_unbounded(panel, entries)
    said = [
        f"{words}: {format_number(value, 2)}" + ("" if math.isnan(low) else f", {format_ci(low, high, 2)}")
        for words, value, low, high in lines[0]
    ]
    return finish(
        figure,
        "The relation as measured, and what it would be without the error of the fitness test or in a wider range of capacity: "
        f"correlation {'; '.join(said)}. Grey beyond 1 and −1: values that no correlation can have.",
    )


def _correlation_lines(answer) -> list[tuple[str, float, float, float]]:
    pearson = answer.correlations.iloc[0]
    lines = [
        (f"as measured (n = {answer.n_athletes})", pearson["estimate"], pearson["ci_low"], pearson["ci_high"])
    ]
    for _, row in answer.errors.iterrows():
        if row["quantity"] == "correlation in a wider range":
            lines.append((f"in a wider range (n = {row['n_athletes']})", row["estimate"], math.nan, math.nan))
    return lines + _corrected_lines(answer, "correlation")


def _effect_lines(answer) -> list[tuple[str, float, float, float]]:
    lines = [
        (f"as measured (n = {answer.n_athletes})", answer.effect, answer.effect_ci_low, answer.effect_ci_high)
    ]
    return lines + _corrected_lines(answer, "effect")


def _corrected_lines(answer, quantity: str) -> list[tuple[str, float, float, float]]:
    """The corrected value; before it the measured one of the same athletes, where they are not all."""
    lines = []
    for _, row in answer.errors.iterrows():
        if row["quantity"] == quantity:
            if row["n_athletes"] != answer.n_athletes:
                seen = (row["observed"], row["observed_ci_low"], row["observed_ci_high"])
                lines.append((f"as measured (n = {row['n_athletes']})", *seen))
            words = f"without test error (n = {row['n_athletes']})"
            lines.append((words, row["estimate"], row["ci_low"], row["ci_high"]))
    return lines


def _draw_entries(axes, entries) -> None:
    axes.axvline(0, color=QUIET, linewidth=0.8)
    for i, (_, value, low, high) in enumerate(entries):
        measured = entries[i][0].startswith("as measured")
        colour, marker = (MAIN, "o") if measured else (SECOND, MARKERS[i])
        if math.isfinite(low) and math.isfinite(high):
            axes.plot(
                [low, high],
                [i, i],
                color=colour,
                linewidth=1.6,
                solid_capstyle="butt",
                linestyle="-" if measured else "--",
            )
        if math.isfinite(value):
            axes.plot(value, i, marker, color=colour, markersize=5.5)
    axes.set_yticks(range(len(entries)), [words for words, *_ in entries])
    axes.set_ylim(len(entries) - 0.5, -0.6)
    axes.tick_params(axis="y", length=0)


def _mark_unbounded(axes, entries) -> None:
    left, right = axes.get_xlim()
    for i, (_, _, low, high) in enumerate(entries):
        if math.isinf(low) or math.isinf(high):
            start, end = (left if math.isinf(low) else low), (right if math.isinf(high) else high)
            axes.annotate(
                "",
                (start, i),
                (end, i),
                arrowprops={"arrowstyle": "<->", "color": SECOND, "linestyle": "--"},
                annotation_clip=False,
            )
            axes.text(
                (start + end) / 2, i - 0.12, "unbounded", ha="center", va="bottom", fontsize=6.5, color=SECOND
            )
    axes.set_xlim(left, right)


def _effect_label(answer, known) -> str:
    step = format_number(answer.capacity_step, step_digits(answer))
    return f"{known.label}: change for\n{step} {answer.capacity_unit} more{in_unit(known)}"
