"""Pictures of the comparison of rounds: athletes and mean, the steps, where it stops changing, and what checks it."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from ...basics import format_ci, format_number, format_percent, join_words, lower_first, plural
from ...basics.words import format_reach
from ...rounds.steps import reading_of_step
from ...study import known_outcome
from ...study.outcomes import Outcome, digits_of
from ..style import (
    FAINT,
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
from ..words import CI, in_unit, with_minus, wrap_words

SCALES = ((0.0, 10.0), (6.0, 20.0), (0.0, 100.0))
"""Lowest and highest rating of the exertion scales, shortest first."""
BEFORE = "0"
"""Label of what was measured before sparring."""


def draw_rounds(answers, *, ax=None, show_codes: bool = False):
    """Draw every athlete as a thin line over the rounds, with the mean and its 95 % interval: one panel per outcome.

    `answers`: one panel each. `show_codes`: write each athlete's code at the end of the line; only for eyes that may see it.
    Default False.

    Gives None where nothing was measured.

    >>> figure = draw_rounds([answers.rounds("hr_mean_bpm"), answers.rounds("exertion")])
    """
    listed = _as_list(answers)
    if not listed:
        return None
    figure, panels = new_panels(ax, count=len(listed), height_mm=66)
    for panel, answer in zip(panels, listed, strict=True):
        _draw_panel(panel, answer, show_codes)
    legend_above(figure, panels, ax, ncols=2 if len(listed) == 1 else 4)
    return finish(figure, " ".join(_describe_rounds(a) for a in listed))


def _draw_panel(panel, answer, show_codes: bool) -> None:
    import seaborn as sns

    rows, means = answer.rows, answer.comparison.means
    labels = [str(c) for c in rows["round_no"].cat.categories]
    place = {label: i for i, label in enumerate(labels)}
    table = pd.DataFrame(
        {
            "x": rows["round_no"].astype(str).map(place).astype(float),
            "y": rows["value"].to_numpy(),
            "athlete": rows["athlete"].to_numpy(),
            "tested": rows["tested"].to_numpy(dtype=bool),
            "limit": rows["limit"].to_numpy(),
        }
    )
    during, early = table[table["tested"]], table[~table["tested"]]
    look = {"color": QUIET, "alpha": 0.55, "linewidth": 0.7, "zorder": 1}
    sns.lineplot(during, x="x", y="y", units="athlete", estimator=None, ax=panel, **look)
    for line in panel.lines:
        line.set(marker="o", markersize=1.8, markeredgewidth=0)
    if panel.lines:
        panel.lines[0].set_label("each athlete")
    panel.plot(early["x"], early["y"], "o", color=QUIET, markersize=1.8, markeredgewidth=0, alpha=0.55, zorder=1)
    for word, marker in (("high", "^"), ("low", "v")):
        off = table[table["limit"] == word]
        if len(off):
            name = f"{'above' if word == 'high' else 'below'} the analyser's scale"
            panel.plot(off["x"], off["y"], marker, color=SECOND, markersize=5, label=name, zorder=4)
    x = means["round_no"].astype(str).map(place).to_numpy(dtype=float)
    low, high = means["estimate"] - means["ci_low"], means["ci_high"] - means["estimate"]
    tested = means["tested"].to_numpy(dtype=bool)
    style = {"color": MAIN, "marker": "D", "capsize": 2.5, "elinewidth": 1.4, "markersize": 5, "zorder": 3}
    filled, hollow = {"linewidth": 1.6, "label": f"mean with {CI}"}, {"mfc": "white", "linestyle": ""}
    for part, look in ((tested, filled), (~tested, hollow)):
        if part.any():
            panel.errorbar(x[part], means["estimate"][part], yerr=[low[part], high[part]], **look, **style)
    counts = rows.dropna(subset=["value"]).groupby(rows["round_no"].astype(str))["athlete"].nunique()
    ticks = [f"{'before' if label == BEFORE else label}\nn {counts.get(label, 0)}" for label in labels]
    panel.set_xticks(range(len(labels)), ticks)
    _shade_level(panel, answer, labels)
    panel.set_xlim(-0.35, len(labels) - 0.65 + (0.35 if show_codes else 0))
    panel.set_xlabel("Round")
    panel.set_ylabel("\n".join(textwrap.wrap(known_outcome(answer.outcome).axis_label, 30)))
    panel.margins(y=0.06)
    if known_outcome(answer.outcome).ordinal:
        panel.set_ylim(*whole_scale(table["y"]))
    if show_codes:
        _write_codes(panel, during.dropna(subset="y"))


def whole_scale(ratings) -> tuple[float, float]:
    """The whole exertion scale that holds these ratings, with a little room at both ends."""
    highest = float(np.nanmax(ratings)) if np.isfinite(ratings).any() else 10.0
    low, high = next(s for s in SCALES if highest <= s[1] or s[1] == 100.0)
    room = 0.04 * (high - low)
    return low - room, high + room


def _shade_level(panel, answer, labels) -> None:
    """Shade the rounds that were shown to be level."""
    plateau = answer.plateau
    if not plateau.found or plateau.starts_at not in labels:
        return
    tested = [label for label in labels if label != BEFORE]
    first, last = labels.index(plateau.starts_at), labels.index(tested[-1])
    if last > first:
        panel.axvspan(
            first - 0.25, last + 0.25, color=FAINT, alpha=0.55, zorder=0, linewidth=0, label="shown to be level"
        )


def _write_codes(panel, table) -> None:
    """Codes at the ends of the lines, moved apart where they would overlap."""
    low, high = panel.get_ylim()
    for x, ends in table.sort_values("x").groupby("athlete").tail(1).sort_values("y").groupby("x"):
        step = min(0.045, 1 / len(ends)) * (high - low)
        places = ends["y"].to_numpy(copy=True)
        for i in range(1, len(places)):
            places[i] = max(places[i], places[i - 1] + step)
        places[-1] = min(places[-1], high)
        for i in range(len(places) - 2, -1, -1):
            places[i] = min(places[i], places[i + 1] - step)
        for code, y in zip(ends["athlete"], places, strict=True):
            panel.annotate(code, (x, y), xytext=(3, 0), textcoords="offset points", fontsize=7, va="center")


def draw_contrasts(answer, *, ax=None):
    """Draw each step with its intervals over the band of changes too small to matter.

    >>> figure = draw_contrasts(answers.rounds("hr_mean_bpm"))
    """
    steps, known = answer.steps, known_outcome(answer.outcome)
    figure, axes = new_axes(ax, width="double", height_mm=max(48, 24 + 11 * len(steps)))
    draw_band(axes, answer.smallest_effect)
    for end, color, marker, shift, name in (
        ("", MAIN, "o", -0.13, "model (Kenward-Roger)"),
        ("_cr2", SECOND, "s", 0.13, "robust (CR2)"),
    ):
        y = np.arange(len(steps)) + shift
        axes.hlines(y, steps[f"ci_low{end}"], steps[f"ci_high{end}"], color=color, linewidth=0.9)
        axes.hlines(
            y, steps[f"equivalence_ci_low{end}"], steps[f"equivalence_ci_high{end}"], color=color, linewidth=2.6
        )
        axes.plot(steps["estimate"], y, marker, color=color, label=name, markersize=4.5, linestyle="")
    axes.plot([], [], "-", color=QUIET, linewidth=2.6, label=f"thick {_level(answer)}, thin {CI}")
    name_rows(axes, [with_minus(c) for c in steps["contrast"]])
    axes.set_ylabel("Rounds, later − earlier")
    axes.set_xlabel(f"Difference in {lower_first(known.label)}{in_unit(known)}")
    for i, step in enumerate(steps.to_dict("records")):
        words = reading_of_step(step, digits_of(known)).replace(" if ", " if\n").replace(", else", ",\nelse")
        _write_beside(axes, i, words)
    legend_above(figure, axes, ax)
    return finish(figure, _describe_steps(answer, known))


def draw_steps(answers, *, ax=None):
    """Draw the steps of every outcome side by side, each over the band of changes that are too small to matter.

    `answers`: one panel each.

    >>> figure = draw_steps([answers.rounds("hr_mean_bpm"), answers.rounds("exertion")])
    """
    listed = _as_list(answers)
    if not listed:
        return None
    height = max(48, 26 + 13 * max(len(a.steps) for a in listed))
    figure, panels = new_panels(ax, count=len(listed), height_mm=height)
    for panel, answer in zip(panels, listed, strict=True):
        _draw_steps_of(panel, answer)
    return finish(figure, " ".join(_describe_steps(a, known_outcome(a.outcome)) for a in listed))


def _draw_steps_of(panel, answer) -> None:
    steps, known = answer.steps, known_outcome(answer.outcome)
    draw_band(panel, answer.smallest_effect)
    y = np.arange(len(steps))
    panel.hlines(y, steps["ci_low"], steps["ci_high"], color=MAIN, linewidth=1.6)
    for i, step in enumerate(steps.to_dict("records")):
        fill = MAIN if step["label"] == "changed" else "white"
        panel.plot(step["estimate"], i, "D", color=MAIN, mfc=fill, markersize=4.5, zorder=3)
        panel.annotate(step_in_figure(step, answer.smallest_effect, digits_of(known)), (step["estimate"], i), xytext=(0, -9),
                       textcoords="offset points", ha="center", va="top", color=INK,
                       bbox={"facecolor": "white", "alpha": 0.75, "edgecolor": "none", "pad": 0.6})  # fmt: skip
    names = [str(c).replace("\N{MINUS SIGN}", "-").split(" - ") for c in steps["contrast"]]
    panel.set_yticks(y, [f"Round {b}\N{RIGHTWARDS ARROW}{a}" for a, b in names])
    panel.set_ylim(len(steps) - 0.3, -0.5)
    panel.set_xlabel(wrap_words(f"Change in {lower_first(known.label)}{in_unit(known)}", 22))
    panel.margins(x=0.18)


def step_in_figure(step, smallest: float, digits: int) -> str:
    """The reading of a step in the few words that a figure has room for; a change inside the band says so."""
    words = reading_of_step(step, digits)
    if step["label"] == "changed" and abs(step["estimate"]) < smallest:
        return "changed, perhaps\ntoo little to matter"
    return words.replace(" if ", "\nif ").replace(", else", ",\nelse")


def draw_evenings(repeated, *, ax=None):
    """Draw each athlete's evening against evening: the difference over their mean, with the span of the typical error.

    `repeated`: of two evenings.

    Gives None where there are no two trials.

    >>> import pandas as pd
    >>> from analysis.rounds import reliability
    >>> data = pd.DataFrame({"athlete": list("ABCDEF") * 2, "trial": [1] * 6 + [2] * 6,
    ...     "hr_mean_bpm": [160.0, 171, 152, 150, 166, 163, 162, 170, 155, 149, 168, 161]})
    >>> draw_evenings(reliability(data, "hr_mean_bpm")).axes[0].get_ylabel()
    'Second minus first (bpm)'
    """
    table = getattr(repeated, "pairs", None)
    if table is None or table.empty:
        return None
    known = known_outcome(repeated.outcome)
    figure, panel = new_axes(ax, width="single", height_mm=66)
    middle = float(table["difference"].mean())
    reach = 1.96 * float(np.sqrt(2.0)) * repeated.typical_error
    alone = {"color": FAINT, "zorder": 0, "linewidth": 0, "label": "error alone, 95\N{NO-BREAK SPACE}%"}
    panel.axhspan(middle - reach, middle + reach, **alone)
    panel.axhline(middle, color=MAIN, linewidth=1.4, label="mean")
    panel.axhline(0, color=QUIET, linewidth=0.7, linestyle=":")
    panel.plot(table["mean"], table["difference"], "o", color=MAIN, markersize=4, label="each athlete")
    legend_above(figure, panel, ax)
    panel.set(xlabel=f"Mean of the two evenings{in_unit(known)}", ylabel=f"Second minus first{in_unit(known)}")
    return finish(
        figure,
        f"Evening against evening, {plural(len(table), 'athlete')}: on average {format_number(middle, digits_of(known))} "
        f"{known.unit}, and 95 % of differences within {format_number(reach, digits_of(known))} of that.",
    )


def draw_plateau(answer, *, ax=None):
    """Draw where it stops changing: every pair of rounds, from the end backwards, over the band too small to matter.

    >>> figure = draw_plateau(answers.rounds("hr_mean_bpm"))
    """
    known, pairs = known_outcome(answer.outcome), answer.plateau.pairs
    candidates = answer.plateau.candidates.to_dict(
        "records"
    )  # from the end backwards, each with the pairs that it adds
    figure, axes = new_axes(ax, width="double", height_mm=max(48, 26 + 6.5 * len(pairs) + 3 * len(candidates)))
    draw_band(axes, answer.smallest_effect)
    ticks, names, y = [], [], 0.0
    for candidate in candidates:
        top = y
        for pair in pairs[pairs["earlier"] == candidate["from_round"]].to_dict("records"):
            low, high = min(pair["ci_low"], pair["ci_low_cr2"]), max(pair["ci_high"], pair["ci_high_cr2"])
            axes.hlines(y, low, high, color=MAIN, linewidth=1.8)
            axes.plot(pair["estimate"], y, "o", color=MAIN, mfc=MAIN if pair["equivalent"] else "white", markersize=5)
            ticks.append(y)
            names.append(with_minus(pair["contrast"]))
            y += 1
        _write_beside(axes, (top + y - 1) / 2, _candidate_words(candidate, answer))
        axes.axhline(y - 0.25, color=FAINT, linewidth=0.6, zorder=0)
        y += 0.5
    axes.set_yticks(ticks, names)
    axes.set_ylim(y - 0.4, -0.7)
    axes.set_ylabel("Rounds, later − earlier")
    axes.set_xlabel(f"Difference in {lower_first(known.label)}{in_unit(known)}, {_level(answer)} interval")
    axes.plot([], [], "o-", color=MAIN, label="shown to be too small to matter", markersize=5)
    axes.plot([], [], "o-", color=MAIN, mfc="white", label="not shown", markersize=5)
    legend_above(figure, axes, ax)
    found = "; ".join(_candidate_words(c, answer).replace("\n", " ") for c in candidates)
    return finish(
        figure,
        f"{_level(answer)} intervals of the difference in {lower_first(known.label)} for every pair of rounds: "
        f"{int(pairs['equivalent'].sum())} of {plural(len(pairs), 'pair')} shown to be too small to matter; {found}.",
    )


def _write_beside(axes, y: float, words: str) -> None:
    """Write words at a height, right of the picture."""
    axes.annotate(words, (1.01, y), xycoords=("axes fraction", "data"), va="center", annotation_clip=False)


def _as_list(answers) -> list:
    if isinstance(answers, Mapping):
        return [a for a in answers.values() if a]
    return [a for a in answers if a] if isinstance(answers, Sequence) else [answers]


def _level(answer) -> str:
    """Level of the intervals that go with two one-sided tests at alpha."""
    return format_percent(1 - 2 * answer.alpha)


def _candidate_words(candidate: dict, answer) -> str:
    start = f"from round {candidate['from_round']} on:"
    if not candidate["tested"]:
        return f"{start}\nnot asked any more"
    if not candidate["holds"]:
        return f"{start}\nnot shown to be level"
    held = answer.labels.index(answer.plateau_from) if answer.plateau_from else len(answer.labels)
    if answer.labels.index(candidate["from_round"]) < held:
        bounds, digits = answer.bounds, digits_of(known_outcome(answer.outcome))
        reach = format_reach(bounds.plateau_holds_to_high, bounds.plateau_holds_to_low, digits)
        return f"{start}\nlevel if {reach}"
    return f"{start}\nlevel"


def _describe_rounds(answer) -> str:
    known, means = known_outcome(answer.outcome), answer.comparison.means
    values = [format_number(v, digits_of(known), unit=known.unit) for v in means.loc[means["tested"], "estimate"]]
    people = plural(answer.n_athletes, "athlete")
    return f"{known.label} of {people} over rounds {join_words(answer.labels)}, one thin line each; mean {join_words(values)}."


def _describe_steps(answer, known: Outcome) -> str:
    parts = []
    for line in answer.steps.to_dict("records"):
        change = format_number(line["estimate"], digits_of(known), sign=True, unit=known.unit)
        parts.append(f"{with_minus(line['contrast'])}: {change}, {reading_of_step(line, digits_of(known), known.unit)}")
    size = answer.smallest_effect
    unit = "point" if size == 1 and known.unit == "points" else known.unit
    effect = format_number(size, 0 if float(size).is_integer() else 1, unit=unit)
    what = f"Differences in {lower_first(known.label)} between rounds with intervals"
    return f"{what}, over a band of plus or minus {effect}. {'; '.join(parts)}."


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
    sds = spread.loc[spread["what"] == "values", "sd"]
    largest = format_number(float(residuals["scaled_residual"].abs().max()), 1)
    return finish(
        figure,
        f"Four small panels on the assumptions of the model for {lower_first(known.label)}: residuals against fitted values, "
        "their normal quantiles, the normal quantiles of the athletes' levels, and the spread. The largest residual is "
        f"{largest} SDs; the SD of a round goes from {format_ci(float(sds.min()), float(sds.max()), 1, unit=known.unit)}.",
    )


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
    axes.fill_between(x, curve["ci_low"], curve["ci_high"], color=MAIN, alpha=0.16, linewidth=0, label=CI)
    axes.plot(x, curve["estimate"], color=MAIN, label=f"round {with_minus(line['contrast'])}")
    axes.axvline(0, color=INK, linewidth=0.8, linestyle="--", label="as the model expects")
    for number, at in enumerate(line[["shift_down", "shift_up"]].dropna()):
        label = "_" if number else "what can be said changes"
        axes.axvline(at, color=SECOND, linewidth=1.2, linestyle=":", label=label)
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
    axes.set_xlabel(f"Last − first round, {lower_first(known.label)}{in_unit(known)}, {CI}")
    legend_above(figure, axes, ax)
    estimates = table["estimate"].dropna()
    span = format_ci(float(estimates.min()), float(estimates.max()), digits_of(known), unit=known.unit)
    return finish(
        figure,
        f"The change in {lower_first(known.label)} from the first to the last round by {plural(len(estimates), 'way')} of "
        f"analysing: from {span}.",
    )


def _quantiles(panel, normal, values, ylabel: str, marker: str) -> None:
    known = normal.notna() & values.notna()
    if known.any():
        ends = np.array([normal[known].min(), normal[known].max()])
        panel.plot(ends, ends, color=QUIET, linewidth=0.8)
        panel.plot(normal[known], values[known], marker, color=MAIN, markersize=3, alpha=0.8)
    else:
        panel.set(xticks=[], yticks=[])
        panel.annotate(
            "no spread in the model", (0.5, 0.5), xycoords="axes fraction", ha="center", va="center", color=QUIET
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
