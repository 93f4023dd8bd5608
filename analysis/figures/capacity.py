"""Pictures of the fitness question: capacity against response, and what the test's error and a narrow range do to it."""

from __future__ import annotations

from functools import cache

import numpy as np

from ..basics import format_ci, format_number, join_words, plural
from .rounds_common import digits_of, draw_band, in_unit, known_outcome, lower_first
from .style import FAINT, INK, MAIN, QUIET, SECOND, finish, new_axes

COVARIATE_WORDS = {
    "hr_max_bpm": "maximal heart rate",
    "age_years": "age",
    "mass_kg": "body mass",
    "experience_years": "years of training",
}
SEX_WORDS = {"F": "women", "M": "men"}


def draw_capacity(answer, *, ax=None, show_codes: bool = False):
    """Draw each athlete's capacity against the mean response, with the planned line and its 95 % band."""
    figure, axes = new_axes(ax, height_mm=72)
    known, points, line = known_outcome(answer.outcome), answer.points, answer.line
    level = format_number(100 * answer.planned.level, 0)
    axes.fill_between(
        line["capacity"],
        line["ci_low"],
        line["ci_high"],
        color=FAINT,
        linewidth=0,
        label=f"{level} % interval of the line",
    )
    axes.plot(line["capacity"], line["estimate"], color=MAIN, label="planned line", zorder=2)
    for marker, colour, words, part in _by_sex(points):
        axes.plot(
            part["capacity"], part["outcome_adjusted"], marker, color=colour, markersize=4.5, markeredgecolor="white",
            markeredgewidth=0.5, linestyle="none", label=words, zorder=3,
        )  # fmt: skip
    _draw_test_error(axes, points)
    if show_codes:
        for _, point in points.iterrows():
            axes.annotate(
                point["athlete"], (point["capacity"], point["outcome_adjusted"]), xytext=(3, 3),
                textcoords="offset points", fontsize=5.5, color=QUIET,
            )  # fmt: skip
    axes.locator_params(axis="x", nbins=6)
    axes.set_xlabel(_capacity_label(answer))
    equal = join_words([COVARIATE_WORDS.get(c, c.replace("_", " ")) for c in answer.adjusted_for])
    axes.set_ylabel(known.axis_label + (f"\nat equal {equal}" if equal else ""))
    if ax is None:
        figure.legend(*axes.get_legend_handles_labels(), loc="outside upper left", ncols=2)
    step, digits = format_number(answer.capacity_step, step_digits(answer)), digits_of(known)
    return finish(
        figure,
        f"Aerobic capacity of {plural(answer.n_athletes, 'athlete')} against their {lower_first(known.label)} in sparring"
        f"{', at equal ' + equal if equal else ''}. The line changes by {format_number(answer.effect, digits)} {known.unit} for "
        f"{step} {answer.capacity_unit} more, {level} % interval "
        f"{format_ci(answer.effect_ci_low, answer.effect_ci_high, digits)}.",
    )


def draw_slopes(answer, *, ax=None):
    """Draw the planned effect beside the unadjusted one and those within sexes and groups."""
    known = known_outcome(answer.outcome)
    table = answer.slopes[answer.slopes["estimate"].notna()].reset_index(drop=True)
    figure, axes = new_axes(ax, height_mm=26 + 6.5 * len(table))
    contrast = answer.contrast_step
    draw_band(axes, answer.smallest_effect)
    for i, row in table.iterrows():
        planned = row["analysis"] == "planned"
        axes.plot(
            [contrast * row["ci_low"], contrast * row["ci_high"]], [i, i], color=MAIN if planned else QUIET,
            linewidth=2 if planned else 1, solid_capstyle="butt",
        )  # fmt: skip
        axes.plot(
            contrast * row["estimate"],
            i,
            "D" if planned else "o",
            color=MAIN if planned else INK,
            markersize=5 if planned else 4,
        )
    axes.set_yticks(range(len(table)), [_slope_words(row) for _, row in table.iterrows()])
    axes.set_ylim(len(table) - 0.4, -0.6)
    limits = np.r_[
        contrast * table[["ci_low", "ci_high"]].to_numpy().ravel(),
        -answer.smallest_effect,
        answer.smallest_effect,
    ]
    _zoom(axes, table, contrast, limits)
    axes.set_xlabel(_contrast_label(answer, known), loc="right")
    if ax is None:
        figure.legend(*axes.get_legend_handles_labels(), loc="outside upper left")
    return finish(
        figure,
        f"Difference in {lower_first(known.label)} between athletes who are {_contrast_words(answer)} apart in capacity, by "
        f"{plural(len(table), 'analysis', 'analyses')}: planned {format_number(answer.contrast, digits_of(known))} {known.unit}, "
        f"unadjusted {format_number(contrast * answer.unadjusted.estimate, digits_of(known))} {known.unit}, and within sexes and "
        "groups where there are several.",
    )


def _by_sex(points):
    """Give marker, colour, words and points of each sex; all in one where there is but one."""
    sexes = points["sex"].astype("string").fillna("").str.upper()
    found = [s for s in ("F", "M") if (sexes == s).any()]
    if len(found) < 2:
        yield "o", INK, "athlete", points
        return
    for marker, colour, sex in (("s", SECOND, "F"), ("o", INK, "M")):
        yield marker, colour, SEX_WORDS[sex], points[(sexes == sex).to_numpy()]
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
    axes.text(left, y + 0.035 * height, "test error, ± 1 SE", va="bottom", fontsize=6.5, color=INK)


def _zoom(axes, table, contrast, limits) -> None:
    """Keep a very wide interval of a small subgroup from hiding the others."""
    main = table[table["analysis"].isin(["planned", "unadjusted"])]
    widest = float(np.nanmax(np.abs(contrast * main[["ci_low", "ci_high"]].to_numpy())))
    reach = min(float(np.nanmax(np.abs(limits))), 2.2 * max(widest, float(np.abs(limits[-1]))))
    axes.set_xlim(-1.05 * reach, 1.05 * reach)


def _slope_words(row) -> str:
    count = f"(n = {int(row['n_athletes'])})"
    if row["analysis"] in ("planned", "unadjusted"):
        return f"{row['analysis']} {count}"
    kind = row["analysis"].removeprefix("within ")
    if kind == "sex" and row["level"] in SEX_WORDS:
        return f"{SEX_WORDS[row['level']]} {count}"
    return f"{kind}: {row['level']} {count}"


def step_digits(answer) -> int:
    """Decimals of the step of capacity."""
    return 0 if float(answer.capacity_step).is_integer() else 2


def _contrast_words(answer) -> str:
    return f"{format_number(answer.contrast_step, 0 if float(answer.contrast_step).is_integer() else 2)} {answer.capacity_unit}"


def _contrast_label(answer, known) -> str:
    return f"Difference in {lower_first(known.label)}{in_unit(known)}\nbetween athletes {_contrast_words(answer)} apart"


def _capacity_label(answer) -> str:
    return f"Aerobic capacity ({answer.capacity_unit})" if answer.capacity_unit else "Aerobic capacity"


@cache
def _example():
    """A small answer for the examples of this module."""
    import pandas as pd

    from ..capacity import answer_capacity

    capacity = [44.0, 47, 50, 52, 55, 58, 49, 53]
    club = pd.DataFrame({"athlete": list("ABCDEFGH"), "capacity": capacity, "unit": "mL/kg/min", "standard_error": 2.6,
                         "error_kind": "retest"})  # fmt: skip
    heart = np.repeat([176.0, 170, 172, 168, 163, 165, 171, 169], 3) + np.tile([0.0, 6, 7], 8)
    rows = pd.DataFrame(
        {"athlete": np.repeat(list("ABCDEFGH"), 3), "round_no": [1, 2, 3] * 8, "hr_mean_bpm": heart}
    )
    rows["hr_mean_bpm"] += np.sin(np.arange(24))
    return answer_capacity(rows, club, club[["athlete"]], "hr_mean_bpm", smallest_effect=5.0)
