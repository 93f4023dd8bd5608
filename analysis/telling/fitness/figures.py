"""Pictures of the fitness question: capacity against response, and what the test's error and a narrow range do to it."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from ...basics import format_ci, format_number, format_percent, lower_first, plural
from ...capacity.adjustment import covariate_words
from ...study import known_outcome
from ...study.outcomes import digits_of
from ..style import (
    FAINT,
    INK,
    MAIN,
    MARKERS,
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
from ..words import in_unit
from .tables import SEXES


def draw_capacity(answer, *, ax=None, show_codes: bool = False):
    """Draw each athlete's capacity against the mean response: as measured, and beside it at equal covariates with the line.

    `show_codes`: write each athlete's code beside the point; only for eyes that may see it. Default False.

    >>> figure = draw_capacity(answers.fitness("hr_mean_bpm"))
    """
    known, adjusted = known_outcome(answer.outcome), bool(answer.adjusted_for)
    if ax is None and adjusted:
        figure, (raw, planned) = new_axes(width="double", height_mm=78, columns=2)
        _points(raw, answer, "outcome", show_codes)
        raw.set(xlabel=_capacity_label(answer), ylabel=known.axis_label)
        raw.set_title("as measured", loc="left")
        planned.set_title("as planned", loc="left")
    else:
        figure, planned = new_axes(ax, height_mm=78)
    line, level = answer.line, format_number(100 * answer.planned.level, 0)
    planned.fill_between(
        line["capacity"], line["ci_low"], line["ci_high"], color=FAINT, linewidth=0, label=f"{level} % interval of the line"
    )  # fmt: skip
    planned.plot(line["capacity"], line["estimate"], color=MAIN, label="planned line", zorder=2)
    _points(planned, answer, "outcome_adjusted", show_codes)
    equal = covariate_words(answer.adjusted_for).replace("measured ", "")  # the axis has little room
    planned.set_xlabel(_capacity_label(answer))
    planned.set_ylabel(known.axis_label + (f"\nat equal {equal}" if equal else ""))
    digits = digits_of(known)
    size = format_number(answer.contrast, digits)
    interval = format_ci(answer.contrast_ci_low, answer.contrast_ci_high, digits)
    planned.annotate(
        f"{size} {known.unit} for {_contrast_words(answer)} more\n{level} % interval {interval}\nn {answer.n_athletes}",
        (0.98, 0.98), xycoords="axes fraction", ha="right", va="top",
    )  # fmt: skip
    low, high = planned.get_ylim()
    planned.set_ylim(low, high + 0.24 * (high - low))
    _draw_test_error(planned, answer.points)
    legend_above(figure, planned, ax, ncols=3 if adjusted else 2)
    return finish(
        figure,
        f"Aerobic capacity of {plural(answer.n_athletes, 'athlete')} against their {lower_first(known.label)} in sparring"
        f"{', at equal ' + equal if equal else ''}. Between athletes {_contrast_words(answer)} apart "
        f"the line differs by {size} {known.unit}, {level} % interval {interval}.",
    )


def _points(axes, answer, column: str, show_codes: bool) -> None:
    """One point per athlete, men and women and others told apart, field tests hollow."""
    laboratory = answer.points["error_kind"].eq("retest") if "error_kind" in answer.points else None
    for marker, colour, words, part in _by_sex(answer.points):
        for hollow in (False, True):
            here = part
            if laboratory is not None:
                field = ~laboratory.reindex(part.index).fillna(False).astype(bool)
                here = part[field] if hollow else part[~field]
            elif hollow:
                continue
            if here.empty:
                continue
            kind = "" if laboratory is None else ", field test" if hollow else ", laboratory"
            axes.plot(
                here["capacity"], here[column], marker, color=colour, markersize=4.5, mfc="white" if hollow else colour,
                markeredgewidth=0.9, linestyle="none", label=f"{words}{kind}", zorder=3,
            )  # fmt: skip
        if show_codes:
            for _, point in part.iterrows():
                axes.annotate(
                    point["athlete"], (point["capacity"], point[column]), xytext=(3, 3), textcoords="offset points",
                    fontsize=7, color=INK,
                )  # fmt: skip
    axes.locator_params(axis="x", nbins=6)


def draw_slopes(answer, *, ax=None):
    """Draw the planned effect beside the unadjusted one and those within sexes and groups.

    >>> figure = draw_slopes(answers.fitness("hr_mean_bpm"))
    """
    known = known_outcome(answer.outcome)
    table = answer.slopes[answer.slopes["estimate"].notna()].reset_index(drop=True)
    figure, axes = new_axes(ax, width="double", height_mm=26 + 6.5 * len(table))
    contrast = answer.contrast_step
    draw_band(axes, answer.smallest_effect)
    for i, row in table.iterrows():
        values = (contrast * row[c] for c in ("estimate", "ci_low", "ci_high"))
        draw_estimate(axes, i, *values, main=row["analysis"] == "planned")
    name_rows(axes, [_slope_words(row) for _, row in table.iterrows()])
    # a very wide interval of a small subgroup must not hide the others
    ends = np.abs(contrast * table[["ci_low", "ci_high"]].to_numpy())
    widest = float(np.nanmax(ends[table["analysis"].isin(["planned", "unadjusted"])]))
    smallest = float(answer.smallest_effect)
    reach = 1.05 * min(max(float(np.nanmax(ends)), smallest), 2.2 * max(widest, smallest))
    axes.set_xlim(-reach, reach)
    apart = f"between athletes {_contrast_words(answer)} apart"
    axes.set_xlabel(f"Difference in {lower_first(known.label)}{in_unit(known)}\n{apart}", loc="right")
    legend_above(figure, axes, ax, ncols=1)
    return finish(
        figure,
        f"Difference in {lower_first(known.label)} between athletes who are {_contrast_words(answer)} apart in capacity, by "
        f"{plural(len(table), 'analysis', 'analyses')}: planned {format_number(answer.contrast, digits_of(known))} {known.unit}, "
        "the others without adjustment, by another library, and within sexes and groups where there are several.",
    )


def _by_sex(points):
    """Give marker, colour, words and points of each sex; all in one where there is but one."""
    sexes = points["sex"].astype("string").fillna("").str.upper()
    found = [s for s in ("F", "M") if (sexes == s).any()]
    if len(found) < 2:
        yield "o", INK, "athlete", points
        return
    for marker, colour, sex in (("s", SECOND, "F"), ("o", INK, "M")):
        yield marker, colour, SEXES[sex], points[(sexes == sex).to_numpy()]
    rest = points[~sexes.isin(["F", "M"]).to_numpy()]
    if len(rest):
        yield "^", QUIET, "others", rest


def _draw_test_error(axes, points) -> None:
    """A bar in the lower corner: one standard error of the fitness test to either side."""
    errors = points["capacity_error"].dropna()
    if not len(errors):
        return
    error, left = float(np.sqrt((errors**2).mean())), float(points["capacity"].min())
    bottom, top = axes.get_ylim()
    height = top - bottom
    axes.set_ylim(bottom - 0.24 * height, top)
    y = bottom - 0.17 * height
    axes.plot([left, left + 2 * error], [y, y], color=QUIET, linewidth=1.2, marker="|", markersize=5)
    axes.text(left, y + 0.035 * height, "test error, ± 1 SE", va="bottom", fontsize=7, color=INK)


def _slope_words(row) -> str:
    count = f"(n = {int(row['n_athletes'])})"
    if not row["level"]:
        return f"{row['analysis']} {count}"
    kind = row["analysis"].removeprefix("within ")
    if kind == "sex" and row["level"] in SEXES:
        return f"{SEXES[row['level']]} {count}"
    return f"{kind}: {row['level']} {count}"


def _contrast_words(answer) -> str:
    step = float(answer.contrast_step)
    return f"{format_number(step, 0 if step.is_integer() else 2)} {answer.capacity_unit}"


def _capacity_label(answer) -> str:
    return f"Aerobic capacity ({answer.capacity_unit})" if answer.capacity_unit else "Aerobic capacity"


def draw_influence(answer, *, ax=None, show_codes: bool = False):
    """Draw the planned effect without each athlete in turn.

    `show_codes`: name the athletes; only for eyes that may see it. Default False.

    >>> figure = draw_influence(answers.fitness("hr_mean_bpm"))
    """
    known = known_outcome(answer.outcome)
    table = answer.influence[answer.influence["planned_effect"].notna()]
    table = table.sort_values("planned_effect", kind="stable").reset_index(drop=True)
    figure, axes = new_axes(ax, height_mm=30 + 3.6 * max(len(table), 6))
    axes.axvline(0, color=QUIET, linewidth=0.8)
    axes.axvline(answer.effect, color=MAIN, linewidth=1, linestyle="--", label="with everybody")
    axes.hlines(range(len(table)), table["planned_ci_low"], table["planned_ci_high"], color=QUIET, linewidth=1)
    axes.plot(table["planned_effect"], range(len(table)), "o", color=INK, markersize=3.5, label="without one athlete")
    if len(table) and table["cooks_distance"].notna().any():
        most, label = int(table["cooks_distance"].idxmax()), "without the most influential one"
        axes.plot(table["planned_effect"][most], most, "D", color=SECOND, markersize=6, label=label)
    name_rows(axes, table["athlete"] if show_codes else [""] * len(table))
    axes.tick_params(axis="y", length=0)
    axes.set_ylabel("Without one athlete, in order")
    axes.set_xlabel(_effect_label(answer, known))
    legend_above(figure, axes, ax, ncols=1)
    ends = (table["planned_effect"].min(), table["planned_effect"].max(), answer.effect)
    low, high, whole = (format_number(v, digits_of(known)) for v in ends)
    return finish(
        figure,
        f"The planned effect without each of {plural(len(table), 'athlete')} in turn lies between {low} and {high} {known.unit}; "
        f"with everybody it is {whole} {known.unit}.",
    )


def draw_error_correction(answer, *, ax=None):
    """Draw the correlation and the effect as measured, and corrected for the error of the fitness test.

    >>> figure = draw_error_correction(answers.fitness("hr_mean_bpm"))
    """
    known = known_outcome(answer.outcome)
    figure, axes = new_panels(ax, count=2, height_mm=52)
    lines = [_correlation_lines(answer), _effect_lines(answer)]
    for panel, entries in zip(axes, lines, strict=True):
        _draw_entries(panel, entries)
    axes[0].set_xlabel("Correlation over athletes")
    axes[0].set_xlim(-1.35, 1.35)
    axes[0].axvspan(-1.35, -1, color=FAINT, linewidth=0)
    axes[0].axvspan(1, 1.35, color=FAINT, linewidth=0)
    axes[1].set_xlabel(_effect_label(answer, known))
    said = []
    for words, value, low, high in lines[0]:
        span = "" if math.isnan(low) else f", {format_ci(low, high, 2)}"
        said.append(words if math.isnan(value) else f"{words}: {format_number(value, 2)}{span}")
    return finish(
        figure,
        "The relation as measured, and what it would be without the error of the fitness test or in a wider range of capacity: "
        f"correlation {'; '.join(said)}. Grey beyond 1 and −1: values that no correlation can have.",
    )


def _correlation_lines(answer) -> list[tuple[str, float, float, float]]:
    pearson = answer.correlations.iloc[0]
    lines = [(f"as measured (n = {answer.n_athletes})", pearson["estimate"], pearson["ci_low"], pearson["ci_high"])]
    for _, row in answer.errors.iterrows():
        if row["quantity"] == "correlation in a wider range":
            lines.append((f"in a wider range (n = {row['n_athletes']})", row["estimate"], math.nan, math.nan))
    return lines + _corrected_lines(answer, "correlation")


def _effect_lines(answer) -> list[tuple[str, float, float, float]]:
    seen = (answer.contrast, answer.contrast_ci_low, answer.contrast_ci_high)
    lines = [(f"as measured (n = {answer.n_athletes})", *seen)]
    scale = answer.contrast_step / answer.capacity_step
    corrected = _corrected_lines(answer, "effect")
    return lines + [(words, scale * value, scale * low, scale * high) for words, value, low, high in corrected]


def _corrected_lines(answer, quantity: str) -> list[tuple[str, float, float, float]]:
    """The corrected value; before it the measured one of the same athletes, where they are not all."""
    lines = []
    for _, row in answer.errors.iterrows():
        if row["quantity"] == quantity:
            if row["n_athletes"] != answer.n_athletes:
                seen = (row["observed"], row["observed_ci_low"], row["observed_ci_high"])
                lines.append((f"as measured (n = {row['n_athletes']})", *seen))
            what = "without test error" if row["corrected"] else "cannot be corrected"
            words = f"{what} (n = {row['n_athletes']})"
            lines.append((words, row["estimate"], row["ci_low"], row["ci_high"]))
    return lines


def _draw_entries(axes, entries) -> None:
    axes.axvline(0, color=QUIET, linewidth=0.8)
    for i, (_, value, low, high) in enumerate(entries):
        measured = entries[i][0].startswith("as measured")
        colour, marker = (MAIN, "o") if measured else (SECOND, MARKERS[i])
        if math.isfinite(low) and math.isfinite(high):
            style = "-" if measured else "--"
            axes.plot([low, high], [i, i], style, color=colour, linewidth=1.6, solid_capstyle="butt")
        if math.isfinite(value):
            axes.plot(value, i, marker, color=colour, markersize=5.5)
    axes.set_yticks(range(len(entries)), [words for words, *_ in entries])
    axes.set_ylim(len(entries) - 0.5, -0.6)
    axes.tick_params(axis="y", length=0)


def _effect_label(answer, known) -> str:
    return f"{known.label}: difference at\n{_contrast_words(answer)} more{in_unit(known)}"


CHOICE_WORDS = {
    "outcome": "Outcome",
    "scaling": "Capacity in",
    "covariates": "Adjusted for",
    "rows": "Rounds",
    "athletes": "Athletes",
}
LEFT_OUT = "one athlete left out"
GOES_ON = "interval goes on"
ROW_MM = 3.5
"""Of the rows of choices: room for letters of 7 pt."""


def draw_levels(levels, *, ax=None):
    """Draw one pair of outcomes between athletes, within athletes, and pooled, which is the mistake.

    >>> figure = draw_levels(answers.levels())
    """
    import seaborn as sns

    x, y = known_outcome(levels.x), known_outcome(levels.y)
    figure, axes = new_panels(ax, count=3, height_mm=68, sharex=True, sharey=True)
    rows, means = levels.rows, levels.means
    for panel in axes[:2]:
        panel.plot(rows[levels.x], rows[levels.y], ".", color=FAINT, markersize=3, zorder=1)
    axes[0].plot(means[levels.x], means[levels.y], "D", color=MAIN, markersize=4.5, zorder=3)
    _draw_line(axes[0], means[levels.x], means[levels.y], levels.between.slope)
    for _, own in rows.groupby("athlete"):
        _draw_line(axes[1], own[levels.x], own[levels.y], levels.within.slope, width=0.9)
        axes[1].plot(own[levels.x], own[levels.y], "o", color=INK, markersize=2.2, zorder=2)
    sns.regplot(
        rows, x=levels.x, y=levels.y, ci=None, fit_reg=bool(np.ptp(rows[levels.x]) > 0), marker="x", color=QUIET,
        scatter_kws={"s": 10, "linewidths": 0.8}, line_kws={"color": SECOND, "linestyle": ":", "linewidth": 1.4}, ax=axes[2],
    )  # fmt: skip
    found = (levels.between.estimate, levels.within.estimate, levels.pooled_mistake)
    between, within, pooled = (format_number(r, 2) for r in found)
    titles = (
        f"Between athletes: r = {between}\n(n = {levels.n_athletes} means)",
        f"Within athletes: r = {within}\n(each athlete's own rounds)",
        f"The mistake: r = {pooled}\n(rows counted as athletes)",
    )
    for panel, title, colour in zip(axes, titles, (INK, INK, SECOND), strict=True):
        panel.set_title(title, loc="left", color=colour)
    for panel in axes:
        panel.set(xlabel=x.axis_label, ylabel="")
    axes[0].set_ylabel(y.axis_label)
    return finish(
        figure,
        f"{y.label} against {lower_first(x.label)} in three panels: between {plural(levels.n_athletes, 'athlete')} the "
        f"correlation is {between}, within athletes {within}, and all {plural(levels.n_observations, 'row')} pooled as if each "
        f"were an athlete give {pooled}, which answers neither question.",
    )


def draw_specifications(result, *, ax=None):
    """Draw every reasonable analysis in order, and below each the choices that it stands for.

    Gives None where the answer was computed without the chart.

    >>> figure = draw_specifications(answers.fitness("hr_mean_bpm"))
    """
    chart = getattr(result, "specifications", result)
    if chart is None:
        return None
    table = chart.table.reset_index(drop=True)
    lines = _choice_lines(table)
    rows_mm = ROW_MM * len(lines)
    ratios = [56, rows_mm + 4]
    figure, axes = new_panels(ax, count=2, columns=1, height_mm=66 + rows_mm, sharex=True, height_ratios=ratios)
    _draw_multiples(axes[0], table)
    _draw_choices(axes[1], table, lines)
    legend_above(figure, axes[0], ax, ncols=4)
    if ax is None:
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
    axes.vlines(order, table["multiple_low"], table["multiple_high"], color=QUIET, linewidth=0.5, alpha=0.55, zorder=1)

    for which, marker, colour, size, layer, label in (
        (~planned & ~left, "o", INK, 1.6, 2, "another analysis"),
        (left, "^", SECOND, 3.2, 3, "planned, one athlete left out"),
        (planned, "D", MAIN, 6.5, 5, "planned"),
    ):
        look = {"color": colour, "markersize": size, "zorder": layer, "label": label}
        axes.plot(order[which], table["multiple"][which], marker, **look)
    ends = (table["multiple_low"][planned], table["multiple_high"][planned])
    axes.vlines(order[planned], *ends, color=MAIN, linewidth=2, zorder=4)
    reach = np.nanquantile(np.abs(table[["multiple_low", "multiple_high"]].to_numpy()), 0.97)
    reach = 1.08 * max(reach, 1.3, float(np.nanmax(np.abs(table["multiple"]))))
    axes.set_ylim(-reach, reach)
    for beyond, side, mark in (
        (table["multiple_low"] < -reach, -reach, "v"),
        (table["multiple_high"] > reach, reach, "^"),
    ):
        if beyond.any():
            axes.plot(
                order[beyond], np.full(int(beyond.sum()), 0.985 * side), mark, color=QUIET, markersize=2.6, zorder=1.5,
                label=GOES_ON,
            )  # fmt: skip
    axes.set_ylabel("Difference, in multiples of the\nsmallest effect that matters")
    axes.tick_params(axis="x", length=0, labelbottom=False)


def _choice_lines(table: pd.DataFrame) -> list[tuple[str, np.ndarray | None]]:
    """Give the rows of the lower panel: a heading (with None), below it its choices from the lowest results to the highest.

    Choices that never vary are left out.
    """
    lines: list[tuple[str, np.ndarray | None]] = []
    for column, heading in CHOICE_WORDS.items():
        values = table.groupby(column, sort=False)["order"].median().sort_values().index.tolist()
        if len(values) < 2:
            continue
        lines.append((heading, None))
        for value in values:
            if column == "outcome":
                words = known_outcome(value).label
            else:  # a row of the picture has little room
                words = str(value).replace("measured maximal heart rate", "maximal rate").replace("^0.67", "⁰·⁶⁷")
            lines.append((words, (table[column] == value).to_numpy()))
    left = (table["left_out_athlete"] != "").to_numpy()
    if left.any():
        lines.append((LEFT_OUT, left))
    return lines


def _draw_choices(axes, table, lines) -> None:
    planned = table["planned"].to_numpy()
    order = table["order"].to_numpy(dtype=float)
    for i, (_, made) in enumerate(lines):
        if made is None:
            if i:
                axes.axhline(i - 0.5, color=FAINT, linewidth=0.8)
            continue
        axes.vlines(order[made], i - 0.34, i + 0.34, color=INK, linewidth=0.55)
        here = made & planned
        axes.plot(order[here], np.full(here.sum(), i), "D", color=MAIN, markersize=4)
    name_rows(axes, [words for words, _ in lines])
    for label, (_, made) in zip(axes.get_yticklabels(), lines, strict=True):
        label.set_fontweight("bold" if made is None else "normal")
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", length=0, labelbottom=False)
    axes.set_xlim(0, len(table) + 1)
    alone = int((table["left_out_athlete"].fillna("") != "").sum())
    words = plural(len(table) - alone, "analysis", "analyses")
    words += f" and {alone} without one athlete each" if alone else ""
    axes.set_xlabel(f"{words}, from the lowest result to the highest")
    for side in ("left", "bottom"):
        axes.spines[side].set_visible(False)


def _draw_line(axes, x, y, slope: float, *, width: float = 1.4) -> None:
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if not np.isfinite(slope) or np.ptp(x) == 0:
        return
    ends = np.array([x.min(), x.max()])
    axes.plot(ends, y.mean() + slope * (ends - x.mean()), "-", color=MAIN, linewidth=width, zorder=2.5)
