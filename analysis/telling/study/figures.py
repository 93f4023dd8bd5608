"""Athletes from the folder to the answers, one beside the club, other smallest effects; small pictures of the first screen."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import pandas as pd

from ...answers.describe import REST_MEASURES
from ...basics import format_number, join_words, lower_first, plural, upper_first
from ...study import OUTCOMES, known_outcome
from ...study.outcomes import digits_of
from ..rounds.sentences import rounds_words, shown_interval
from ..style import FAINT, INK, MAIN, QUIET, SECOND, finish, legend_above, name_rows, new_axes, new_panels
from ..words import in_unit, plain_size, size_words, unit_of, wrap_words


def draw_own_rounds(numbers: pd.DataFrame, *, you: str = "You", club: str = "The club", ax=None):
    """Draw one athlete's value in every round, with the span of the club behind it: one small panel per outcome.

    `numbers`: outcome (words with unit), round_no, value, low, high; missing where not measured. `you, club`: words for the
    legend.

    >>> table = pd.DataFrame({"outcome": "Mean heart rate (bpm)", "round_no": [1, 2], "value": [160.0, 165],
    ...     "low": [140.0, 150], "high": [180.0, 185]})
    >>> draw_own_rounds(table).axes[0].get_ylabel()
    'Mean heart rate (bpm)'
    """
    outcomes = list(dict.fromkeys(numbers["outcome"]))
    figure, panels = new_panels(ax, count=max(len(outcomes), 1), width="double", height_mm=62)
    for panel, outcome in zip(panels, outcomes, strict=False):
        rows = numbers[numbers["outcome"] == outcome].sort_values("round_no")
        rounds = rows["round_no"].to_numpy()
        panel.bar(rounds, rows["high"] - rows["low"], bottom=rows["low"], width=0.5, color=FAINT, label=club, zorder=1)
        panel.plot(rounds, rows["value"], color=MAIN, marker="o", label=you, zorder=2)
        panel.set_xticks(rounds)
        panel.set_ylabel(outcome)
        panel.use_sticky_edges = False  # room below the bars too
        panel.margins(x=0.12, y=0.08)
        panel.tick_params(colors=INK)
    if outcomes:
        legend_above(figure, panels[0], None, ncols=2)
        figure.supxlabel("Round", fontsize=7.5)
    measured = numbers.loc[numbers["value"].notna(), "outcome"]
    parts = [f"{outcome}: {plural(int((measured == outcome).sum()), 'round')} of yours" for outcome in outcomes]
    said = f"Small panels with {you.lower()} as a line and {club.lower()} as bars from lowest to highest."
    return finish(figure, f"{said} {'; '.join(parts)}.")


BOUND_WORDS = {
    "changed": "changed",
    "equivalent": "level throughout",
    "changed but smaller than matters": "changed, too little to matter",
    "not shown": "not shown",
    "negligible": "too small to matter",
    "supported": "as expected",
    "opposite": "against expectation",
    "too imprecise": "not shown",
}
"""Verdicts over the smallest effect that matters, as the figure prints them."""


def draw_by_bound(curve, *, ax=None):
    """Draw what would have been said with any other smallest effect that matters.

    `curve`: of `rounds_by_bound` or `fitness_by_bound`.

    >>> from analysis.rounds.steps import rounds_by_bound
    >>> figure = draw_by_bound(rounds_by_bound(answers.rounds("hr_mean_bpm")))
    """
    known = known_outcome(curve.outcome)
    figure, axes = new_axes(ax, width="double", height_mm=27)
    table = curve.readings
    last = float(table["bound_from"].iloc[-1])
    right = max(2 * curve.planned, 1.25 * last)
    for i, line in enumerate(table.to_dict("records")):
        low, high = line["bound_from"], min(line["bound_to"], right)
        axes.axvspan(low, high, color=MAIN, alpha=0.10 + 0.14 * (i % 4), linewidth=0)
        words = BOUND_WORDS.get(line["verdict"], line["verdict"])
        start = line.get("plateau_from", "")
        if start and line["verdict"] in ("changed", "not shown"):
            words += f",\nlevel from round {start}"
        if high - low > 0.06 * right:
            axes.text((low + high) / 2, 0.5, wrap_words(words, 18), ha="center", va="center", fontsize=7, color=INK)
    axes.axvline(curve.planned, color=INK, linewidth=1.1, linestyle="--")
    size = size_words(curve.planned, known)
    axes.text(curve.planned, 1.03, f"planned: {size}", ha="center", va="bottom", fontsize=7, color=INK)
    axes.set(xlim=(0, right), ylim=(0, 1), yticks=[], ylabel="Reading")
    axes.set_xlabel(f"Smallest effect that matters: {lower_first(known.label)}{in_unit(known)}")
    said = [
        f"{BOUND_WORDS.get(line['verdict'], line['verdict'])} from {format_number(line['bound_from'], digits_of(known))}"
        for line in table.to_dict("records")
    ]
    return finish(
        figure,
        f"What would be said of {lower_first(known.label)} with another smallest effect that matters: {'; '.join(said)} "
        f"{known.unit} on. Planned: {size}.",
    )


def draw_rests(rests, *, ax=None):
    """Draw heart rate in the rests: its fall in the first minute, and where it stands when the next round begins.

    `rests`: outcome ("hr_recovery_60s_bpm", "hr_rest_end_bpm"), round_no (before the rest), mean, ci_low, ci_high,
    n_athletes.

    >>> figure = draw_rests(answers.description.rests)
    """
    figure, axes = new_panels(ax, count=2, height_mm=62)
    said: list[str] = []
    if rests.table.empty:
        axes[0].set(xlabel="Rest after round", ylabel="Heart rate (bpm)")
        return finish(figure, "No rest between rounds was recorded, so there is nothing to draw.")
    for panel, (name, label) in zip(axes, REST_MEASURES.items(), strict=True):
        rows = rests.table[rests.table["outcome"] == name].sort_values("round_no")
        panel.vlines(rows["round_no"], rows["ci_low"], rows["ci_high"], color=MAIN, linewidth=1.0)
        panel.plot(rows["round_no"], rows["mean"], "o-", color=MAIN)
        rounds = [str(k) for k in rows["round_no"]]
        panel.set_xticks(rows["round_no"], rounds)
        panel.set_xlim(rows["round_no"].min() - 0.4, rows["round_no"].max() + 0.4)
        panel.set(xlabel="Rest after round", ylabel=label)
        values = ", ".join(format_number(v, 0) for v in rows["mean"])
        said.append(f"{label.removesuffix(' (bpm)')} after rounds {join_words(rounds)}: {values} bpm")
    return finish(figure, f"{'. '.join(said)}. Means with 95 % intervals.")


def draw_flow_of_athletes(flow, *, ax=None):
    """Draw how many athletes went from the folder into each answer.

    `flow`: n_codes, n_athletes, n_sparred, n_tested, and `answers` (words, family "rounds" or "fitness", n_athletes,
    n_observations). Gives None where nothing was answered.

    >>> from analysis.answers.describe import count_flow
    >>> figure = draw_flow_of_athletes(count_flow(answers))
    """
    lines = flow.answers
    if lines.empty:
        return None
    steps = [(flow.n_codes, "codes in the folder"), (flow.n_athletes, "may be analysed"), (flow.n_sparred, "sparred")]
    steps = steps[1:] if flow.n_codes == flow.n_athletes else steps
    tested = lines["family"].eq("fitness").to_numpy()
    place = np.arange(len(lines), dtype=float)
    level = {"tested": -len(steps), "answer": -len(steps) - int(tested.any())}
    figure, panel = new_axes(ax, width="double", height_mm=20 + 14 * (1 - level["answer"]))
    box = {"boxstyle": "square,pad=0.5", "facecolor": "white", "edgecolor": INK, "linewidth": 0.8}
    middle = float(place.mean())

    def put(x, y, words):
        panel.text(x, y, words, ha="center", va="center", bbox=box, zorder=3)

    def join(x, y, to_x, to_y):
        half = (y + to_y) / 2 if to_y == y - 1 else y - 0.5
        panel.plot([x, x, to_x, to_x], [y, half, half, to_y], color=INK, linewidth=0.8, zorder=1)

    for y, (count, _) in enumerate(steps):
        put(middle, -y, str(count))
        if y:
            join(middle, 1 - y, middle, -y)
    last = 1 - len(steps)
    if tested.any():
        there = float(place[tested].mean())
        put(there, level["tested"], str(flow.n_tested))
        join(middle, last, there, level["tested"])
    for x, line in zip(place, lines.to_dict("records"), strict=True):
        start = (there, level["tested"]) if line["family"] == "fitness" else (middle, last)
        join(*start, x, level["answer"])
        put(x, level["answer"], f"{line['n_athletes']}\n{plural(line['n_observations'], 'value')}")
    names = [words for _, words in steps] + (["with a capacity"] if tested.any() else []) + ["analysed"]
    panel.set_yticks([-y for y in range(len(names))], names)
    panel.set_xticks(place, ["\n".join(textwrap.wrap(upper_first(w), 16)) for w in lines["words"]])
    panel.tick_params(length=0)
    panel.spines[["left", "bottom"]].set_visible(False)
    panel.set(xlim=(-0.6, len(lines) - 0.4), ylim=(level["answer"] - 0.6, 0.5), xlabel="Question (athletes, values)")
    said = "; ".join(f"{line['words']} {line['n_athletes']}" for line in lines.to_dict("records"))
    return finish(
        figure,
        f"Athletes from the folder to the answers: {flow.n_athletes} may be analysed, {flow.n_sparred} sparred, {flow.n_tested} "
        f"have a capacity. Analysed: {said}.",
    )


HEIGHT_MM = 36.0
SHORT = {"heart_rate": "Heart rate", "lactate": "Lactate", "exertion": "Exertion"}


def _name(outcome: str) -> str:
    known = OUTCOMES[outcome]
    return SHORT.get(known.question, known.label)


def draw_change(answers: dict, *, ax=None):
    """Draw the change from the first to the last round of each outcome, in multiples of what would matter.

    `answers`: outcome -> RoundsAnswer.

    >>> figure = draw_change({"hr_mean_bpm": answers.rounds("hr_mean_bpm")})
    """
    figure, axes = new_axes(ax, width="single", height_mm=HEIGHT_MM)
    axes.axvspan(-1, 1, color=FAINT, zorder=0)
    axes.axvline(0, color=QUIET, linewidth=0.7, zorder=1)
    said = []
    for i, (outcome, answer) in enumerate(answers.items()):
        step, size = answer.steps.iloc[-1], answer.smallest_effect
        low, high = (v / size for v in shown_interval(answer, step))
        shown = step["label"] == "changed"
        axes.plot([low, high], [i, i], color=MAIN, linewidth=2, solid_capstyle="butt")
        axes.plot(step["estimate"] / size, i, "D", color=MAIN, mfc=MAIN if shown else "white", markersize=5)
        said.append(f"{_name(outcome).lower()} {format_number(step['estimate'] / size, 1, sign=True)}")
    name_rows(axes, [_name(o) for o in answers])
    axes.set_xlabel("Times what would matter (grey: too small)")
    text = "Change from the first to the last round in multiples of the smallest change that matters, with 95 % intervals: "
    return finish(figure, f"{text}{join_words(said)}.")


def draw_level(answers: dict, *, ax=None):
    """Draw every outcome over the rounds, small; the stretch that was shown to be level is shaded.

    `answers`: outcome -> RoundsAnswer.

    >>> figure = draw_level({"hr_mean_bpm": answers.rounds("hr_mean_bpm")})
    """
    figure, panels = new_panels(ax, count=len(answers), width="single", height_mm=HEIGHT_MM)
    said = []
    for panel, (outcome, answer) in zip(panels, answers.items(), strict=True):
        labels = list(answer.labels)
        place = {label: i for i, label in enumerate(labels)}
        rows = answer.rows[answer.rows["tested"]]
        for _, own in rows.groupby("athlete", observed=True):
            own = own.dropna(subset="value")
            panel.plot(own["round_no"].astype(str).map(place), own["value"], color=QUIET, alpha=0.45, linewidth=0.5)
        means = answer.comparison.means
        means = means[means["tested"]]
        panel.plot(range(len(means)), means["estimate"], "D-", color=MAIN, markersize=3.5, linewidth=1.6)
        level = answer.plateau_from
        if level:
            panel.axvspan(place[level] - 0.3, len(labels) - 0.7, color=FAINT, zorder=0)
        panel.set_xticks(range(len(labels)), labels)
        panel.set_xlim(-0.4, len(labels) - 0.6)
        panel.set_ylabel(f"{_name(outcome)} ({OUTCOMES[outcome].unit})", labelpad=1.5)
        panel.locator_params(axis="y", nbins=4)
        where = f"level in {rounds_words(labels, level)}" if level else "no level stretch shown"
        ends = [plain_size(means["estimate"].iloc[i], OUTCOMES[outcome]) for i in (0, -1)]
        said.append(f"{_name(outcome)} from {ends[0]} to {ends[1]}, {where}")
    shaded = any(answer.plateau_from for answer in answers.values())
    figure.supxlabel("Round (grey: shown to be level)" if shaded else "Round", fontsize=7.5)
    return finish(figure, f"Means over the rounds, one thin line per athlete. {'; '.join(said)}.")


def draw_fitter(answer, *, ax=None):
    """Draw every athlete's fitness and response, with the planned line and its band.

    >>> figure = draw_fitter(answers.fitness("hr_mean_bpm"))
    """
    known = OUTCOMES[answer.outcome]
    figure, axes = new_axes(ax, width="single", height_mm=HEIGHT_MM)
    line, points = answer.line, answer.points
    axes.fill_between(line["capacity"], line["ci_low"], line["ci_high"], color=FAINT, zorder=0)
    axes.plot(line["capacity"], line["estimate"], color=MAIN, linewidth=1.6)
    column = "outcome_adjusted" if answer.adjusted_for else "outcome"
    axes.plot(points["capacity"], points[column], "o", color=SECOND, markersize=3.5)
    axes.set_xlabel(f"Fitness ({answer.capacity_unit})")
    axes.set_ylabel(f"{_name(answer.outcome)} ({known.unit})")
    who = f"{_name(answer.outcome)} against fitness of {plural(answer.n_athletes, 'athlete')}, one mark each"
    return finish(figure, f"{who}, with the line of the planned model and its 95 % band.")


def draw_beside_paper(answer, *, ax=None):
    """Draw the first published correlation, what was to be expected of ours, and ours.

    `answer`: with at least one correlation.

    >>> figure = draw_beside_paper(answers.published())
    """
    c = answer.correlations[0]
    figure, axes = new_axes(ax, width="single", height_mm=30.0)
    lines = [
        ("The paper", c.r, c.ci_low, c.ci_high, SECOND, "s"),
        ("Expected of ours", math.nan, c.prediction_low, c.prediction_high, QUIET, ""),
        ("Ours", c.r_new, c.ci_low_new, c.ci_high_new, MAIN, "D"),
    ]
    axes.axvline(0, color=QUIET, linewidth=0.7, zorder=0)
    for i, (_, value, low, high, color, marker) in enumerate(lines):
        axes.plot([low, high], [i, i], color=color, linewidth=2, solid_capstyle="butt")
        if marker:
            axes.plot(value, i, marker, color=color, markersize=5)
    name_rows(axes, [line[0] for line in lines])
    axes.set_xlim(-1, 1)
    axes.set_xlabel("Correlation of fitness with the response")
    r, ours = format_number(c.r, 2), format_number(c.r_new, 2)
    said = f"the paper {r}, ours {ours}, and what was to be expected of ours"
    return finish(figure, f"Correlations with 95 % intervals: {said}.")


def own_changes(answers, outcome: str) -> pd.DataFrame | None:
    """Each athlete's change from the first to the last round, of those who agreed to own figures, and the own noise.

    The noise is what one athlete's difference between two rounds may show without any change of that athlete: 1.96 times
    the square root of two times the typical error of one round.
    """
    answer = answers.rounds(outcome)
    agreed = set(answers.study.athletes_with_figures())
    rows = answer.rows[answer.rows["tested"] & answer.rows["athlete"].isin(agreed)]
    rows = rows.assign(round_no=rows["round_no"].astype(str))
    wide = rows.pivot_table(index="athlete", columns="round_no", values="value")
    first, last = answer.labels[0], answer.labels[-1]
    if not {first, last} <= set(wide.columns):
        return None
    error = math.sqrt(answer.comparison.fit.variances["residual"])
    change = (wide[last] - wide[first]).dropna().sort_values(ascending=False, kind="stable")
    return pd.DataFrame({"athlete": change.index, "change": change.to_numpy(), "noise": 1.96 * math.sqrt(2) * error})


def draw_each_change(changes: pd.DataFrame, outcome: str, *, ax=None):
    """Draw one line per athlete: the own change beside the own noise.

    `changes`: athlete, change, noise.

    >>> import pandas as pd
    >>> changes = pd.DataFrame({"athlete": ["K1", "K2"], "change": [9.0, 2.0], "noise": 6.0})
    >>> draw_each_change(changes, "hr_mean_bpm").axes[0].get_yticklabels()[0].get_text()
    'K1'
    """
    known = OUTCOMES[outcome]
    figure, axes = new_axes(ax, width="single", height_mm=16 + 3.4 * len(changes))
    noise = float(changes["noise"].iloc[0])
    axes.axvspan(-noise, noise, color=FAINT, zorder=0)
    beyond = changes["change"].abs() > noise
    axes.hlines(range(len(changes)), 0, changes["change"], color=QUIET, linewidth=0.8)
    for inside, fill in ((False, MAIN), (True, "white")):
        part = changes[beyond != inside]
        axes.plot(part["change"], part.index, "D", color=MAIN, mfc=fill, markersize=4)
    name_rows(axes, changes["athlete"], fontsize=7)
    axes.set_ylabel("Athlete")
    axes.set_xlabel(f"Change, {unit_of(known, plain=True)} (grey: within own noise)")
    digits = 0 if known.unit == "bpm" else 1
    own = zip(changes["athlete"], changes["change"], strict=True)
    said = [f"{a} {format_number(c, digits, sign=True)}" for a, c in own]
    size = plain_size(noise, known)
    return finish(
        figure,
        f"Change of {_name(outcome).lower()} from the first to the last round, one line per athlete; {int(beyond.sum())} of "
        f"{len(changes)} beyond their own noise of {size}: {join_words(said)}.",
    )
