"""The small pictures of the first screen: each says one thing, in letters that stay readable in print and on a phone."""

from __future__ import annotations

import math

import pandas as pd

from ...basics import format_number, join_words, plural
from ...study import OUTCOMES
from ..rounds.words import rounds_words, shown_interval
from ..style import FAINT, MAIN, QUIET, SECOND, finish, name_rows, new_axes, new_panels
from ..words import plain_size, unit_of

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
    figure.supxlabel("Round (grey: shown to be level)", fontsize=7.5)
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
    people = plural(answer.n_athletes, "athlete")
    return finish(
        figure,
        f"{_name(answer.outcome)} against fitness of {people}, one mark each, with the line of the planned model and its 95 % "
        "band.",
    )


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
    return finish(
        figure,
        f"Correlations with 95 % intervals: the paper {r}, ours {ours}, and what was to be expected of ours.",
    )


def own_changes(answers, outcome: str) -> pd.DataFrame | None:
    """Each athlete's change from the first to the last round, of those who agreed to own figures, and the own noise.

    The noise is what one athlete's difference between two rounds may show without any change of that athlete: 1.96 times
    the square root of two times the typical error of one round.
    """
    answer = answers.rounds(outcome)
    agreed = set(answers.study.athletes_with_figures())
    rows = answer.rows[answer.rows["tested"] & answer.rows["athlete"].isin(agreed)]
    wide = rows.assign(round_no=rows["round_no"].astype(str)).pivot_table(
        index="athlete", columns="round_no", values="value"
    )
    first, last = answer.labels[0], answer.labels[-1]
    if not {first, last} <= set(wide.columns):
        return None
    error = math.sqrt(answer.comparison.fit.variances["residual"])
    change = (wide[last] - wide[first]).dropna().sort_values(ascending=False, kind="stable")
    return pd.DataFrame({"athlete": change.index, "change": change.to_numpy(), "noise": 1.96 * math.sqrt(2) * error})


def draw_athletes(changes: pd.DataFrame, outcome: str, *, ax=None):
    """Draw one line per athlete: the own change beside the own noise.

    `changes`: athlete, change, noise.

    Examples
    --------
    >>> import pandas as pd
    >>> changes = pd.DataFrame({"athlete": ["K1", "K2"], "change": [9.0, 2.0], "noise": 6.0})
    >>> draw_athletes(changes, "hr_mean_bpm").axes[0].get_yticklabels()[0].get_text()
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
    said = [
        f"{a} {format_number(c, 0 if known.unit == 'bpm' else 1, sign=True)}"
        for a, c in zip(changes["athlete"], changes["change"], strict=True)
    ]
    size = plain_size(noise, known)
    return finish(
        figure,
        f"Change of {_name(outcome).lower()} from the first to the last round, one line per athlete; {int(beyond.sum())} of "
        f"{len(changes)} beyond their own noise of {size}: {join_words(said)}.",
    )
