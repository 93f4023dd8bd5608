"""Pictures for thinking about the fitness question: three levels of a correlation, and all reasonable analyses at once."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ..basics import format_number, format_percent, plural
from .rounds_common import known_outcome, lower_first
from .style import FAINT, INK, MAIN, QUIET, SECOND, finish, new_axes

CHOICE_WORDS = {
    "outcome": "Outcome",
    "scaling": "Capacity in",
    "covariates": "Adjusted for",
    "rows": "Rounds",
    "athletes": "Athletes",
}
LEFT_OUT = "one athlete left out"


def draw_levels(levels, *, ax=None):
    """Draw one pair of outcomes between athletes, within athletes, and pooled, which is the mistake."""
    x, y = known_outcome(levels.x), known_outcome(levels.y)
    if ax is None:
        figure, axes = new_axes(width="double", height_mm=68, columns=3, sharex=True, sharey=True)
    else:
        axes = list(ax)
        figure = axes[0].figure
    rows, means = levels.rows, levels.means
    for panel in axes[:2]:
        panel.plot(rows[levels.x], rows[levels.y], ".", color=FAINT, markersize=3, zorder=1)
    axes[0].plot(means[levels.x], means[levels.y], "D", color=MAIN, markersize=4.5, zorder=3)
    _draw_line(axes[0], means[levels.x], means[levels.y], levels.between.slope, MAIN, "-")
    for _, own in rows.groupby("athlete"):
        _draw_line(axes[1], own[levels.x], own[levels.y], levels.within.slope, MAIN, "-", width=0.9)
        axes[1].plot(own[levels.x], own[levels.y], "o", color=INK, markersize=2.2, zorder=2)
    axes[2].plot(rows[levels.x], rows[levels.y], "x", color=QUIET, markersize=3.5)
    spread = rows[levels.x].to_numpy(dtype=float)
    pooled = np.polyfit(spread, rows[levels.y].to_numpy(dtype=float), 1)[0] if np.ptp(spread) > 0 else np.nan
    _draw_line(axes[2], rows[levels.x], rows[levels.y], pooled, SECOND, ":")
    titles = (
        f"Between athletes: r = {format_number(levels.between.estimate, 2)}\n(n = {levels.n_athletes} means)",
        f"Within athletes: r = {format_number(levels.within.estimate, 2)}\n(each athlete's own rounds)",
        f"The mistake: r = {format_number(levels.pooled_mistake, 2)}\n(rows counted as athletes)",
    )
    for panel, title, colour in zip(axes, titles, (INK, INK, SECOND), strict=True):
        panel.set_title(title, loc="left", color=colour)
    for panel in axes:
        panel.set_xlabel(x.axis_label)
    axes[0].set_ylabel(y.axis_label)
    return finish(
        figure,
        f"{y.label} against {lower_first(x.label)} in three panels: between {plural(levels.n_athletes, 'athlete')} the "
        f"correlation is {format_number(levels.between.estimate, 2)}, within athletes "
        f"{format_number(levels.within.estimate, 2)}, and all {plural(levels.n_observations, 'row')} pooled as if each were an "
        f"athlete give {format_number(levels.pooled_mistake, 2)}, "
        "which answers neither question.",
    )


def draw_specifications(result, *, ax=None):
    """Draw every reasonable analysis in order, and below each the choices that it stands for."""
    chart = getattr(result, "specifications", result)
    if chart is None:
        return None
    table = chart.table.reset_index(drop=True)
    lines = _choice_lines(table)
    height = 62 + 3.3 * len(lines)
    if ax is None:
        figure, axes = new_axes(
            width="double", height_mm=height, rows=2, sharex=True, height_ratios=[56, 3.3 * len(lines) + 4]
        )
    else:
        axes = list(ax)
        figure = axes[0].figure
    _draw_multiples(axes[0], table)
    _draw_choices(axes[1], table, lines)
    if ax is None:
        figure.legend(*axes[0].get_legend_handles_labels(), loc="outside upper left", ncols=4)
        figure.get_layout_engine().set(w_pad=0.09)  # long labels: room for other renderers' letter widths
    known = known_outcome(chart.outcome)
    return finish(
        figure,
        f"{plural(chart.n_specifications, 'analysis', 'analyses')} of fitness and {lower_first(known.label)} in order of their "
        f"result, from {format_number(chart.smallest, 1)} to {format_number(chart.largest, 1)} times the smallest effect that "
        f"matters; {format_percent(chart.share_same_sign)} point the way of the planned one, and in "
        f"{format_percent(chart.share_excluding_zero)} the interval excludes zero on that side.",
    )


def _draw_multiples(axes, table) -> None:
    planned, left = table["planned"].to_numpy(), (table["left_out_athlete"] != "").to_numpy()
    order = table["order"].to_numpy(dtype=float)
    axes.axhspan(-1, 1, color=FAINT, alpha=0.6, linewidth=0, zorder=0, label="too small to matter")
    axes.axhline(0, color=QUIET, linewidth=0.8, zorder=0.5)
    axes.vlines(
        order, table["multiple_low"], table["multiple_high"], color=QUIET, linewidth=0.5, alpha=0.55, zorder=1
    )
    other = ~planned & ~left
    axes.plot(
        order[other],
        table["multiple"][other],
        "o",
        color=INK,
        markersize=1.6,
        zorder=2,
        label="another analysis",
    )
    axes.plot(
        order[left],
        table["multiple"][left],
        "^",
        color=SECOND,
        markersize=3.2,
        zorder=3,
        label="planned, one athlete left out",
    )
    axes.vlines(
        order[planned],
        table["multiple_low"][planned],
        table["multiple_high"][planned],
        color=MAIN,
        linewidth=2,
        zorder=4,
    )
    axes.plot(
        order[planned], table["multiple"][planned], "D", color=MAIN, markersize=6.5, zorder=5, label="planned"
    )
    middle = table[["multiple_low", "multiple_high"]].to_numpy()
    reach = np.nanquantile(np.abs(middle), 0.97)
    reach = max(reach, 1.3, float(np.nanmax(np.abs(table["multiple"]))))
    axes.set_ylim(-1.08 * reach, 1.08 * reach)
    axes.set_ylabel("Difference, in multiples of the\nsmallest effect that matters")
    axes.tick_params(axis="x", length=0, labelbottom=False)


def _choice_lines(table: pd.DataFrame) -> list[tuple[str, str, np.ndarray]]:
    """Give the lines of the lower panel: heading, choice, and which analyses made it (choices that never vary are left out)."""
    lines = []
    for column, heading in CHOICE_WORDS.items():
        values = table[column].value_counts().index.tolist()
        if len(values) < 2:
            continue
        for value in values:
            words = known_outcome(value).label if column == "outcome" else str(value)
            lines.append((heading, words, (table[column] == value).to_numpy()))
    left = (table["left_out_athlete"] != "").to_numpy()
    if left.any():
        lines.append(("", LEFT_OUT, left))
    return lines


def _draw_choices(axes, table, lines) -> None:
    planned = table["planned"].to_numpy()
    order = table["order"].to_numpy(dtype=float)
    labels, previous = [], ""
    for i, (heading, words, made) in enumerate(lines):
        axes.vlines(order[made], i - 0.34, i + 0.34, color=INK, linewidth=0.55)
        here = made & planned
        axes.plot(order[here], np.full(here.sum(), i), "D", color=MAIN, markersize=4)
        labels.append(f"{heading}: {words}" if heading and heading != previous else words)
        if i and heading != previous:
            axes.axhline(i - 0.5, color=FAINT, linewidth=0.8)
        previous = heading
    axes.set_yticks(range(len(lines)), labels)
    axes.set_ylim(len(lines) - 0.4, -0.6)
    axes.tick_params(axis="y", length=0, labelsize=6.2)
    axes.tick_params(axis="x", length=0, labelbottom=False)
    axes.set_xlim(0, len(table) + 1)
    axes.set_xlabel(f"{plural(len(table), 'analysis', 'analyses')}, from the lowest result to the highest")
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)


def _draw_line(axes, x, y, slope: float, colour: str, style: str, width: float = 1.4) -> None:
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if not np.isfinite(slope) or np.ptp(x) == 0:
        return
    ends = np.array([x.min(), x.max()])
    axes.plot(ends, y.mean() + slope * (ends - x.mean()), style, color=colour, linewidth=width, zorder=2.5)
