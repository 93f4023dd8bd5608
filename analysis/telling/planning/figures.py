"""Pictures for planning: what a design can answer, what is assumed, simulated studies, the timetable."""

from __future__ import annotations

import numpy as np

from ...basics import format_number, format_percent, plural
from ...planning.design import round_profile
from ..style import FAINT, INK, LINES, MAIN, MARKERS, QUIET, SECOND, finish, new_axes

SHORT = {
    "change": "change over the rounds",
    "steps": "one step between rounds",
    "plateau": "where it stays level",
    "slope": "slope with fitness",
    "correlation": "correlation with fitness",
}
NAMES = {"heart_rate": "Heart rate", "lactate": "Lactate", "exertion": "Exertion"}


def draw_design(answer, *, ax=None):
    """Draw for every planned question how often the smallest and the assumed effect would be shown.

    >>> figure = draw_design(answers.design())
    """
    table = answer.questions.iloc[::-1].reset_index(drop=True)
    figure, ax = new_axes(ax, width="double", height_mm=16 + 7.2 * len(table))
    place = np.arange(len(table))
    assumed = table["power_assumed"].where(table["part"] != "plateau")
    ax.hlines(place, 100 * table["power_smallest"], 100 * assumed, color=FAINT, linewidth=2.5, zorder=1)
    ax.plot(100 * table["power_smallest"], place, "o", color=MAIN, label="the smallest effect that matters")
    ax.plot(100 * assumed, place, "s", markerfacecolor="white", color=SECOND, label="the assumed effect")
    ax.axvline(80, color=QUIET, linewidth=0.8, linestyle=":")
    ax.set_yticks(place, _question_names(table))
    ax.set(xlabel="Studies that would show it (%)", xlim=(0, 102), ylim=(-0.6, len(table) - 0.4))
    right = ax.secondary_yaxis("right")
    right.set_yticks(place, table["verdict"])
    right.tick_params(length=0)
    right.spines["right"].set_visible(False)
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    counts = answer.questions["verdict"].value_counts()
    said = ", ".join(f"{v}: {counts.get(v, 0)}" for v in ("answerable", "only if large", "not answerable"))
    return finish(
        figure,
        f"With {plural(answer.n, 'athlete')} and {plural(answer.rounds, 'round')}: the share of studies that would show each "
        f"planned question's smallest effect that matters and the assumed effect. Verdicts: {said}.",
    )


def draw_assurance(found, *, ax=None):
    """Draw how the chance of a clear answer to each planned question is spread over what is left open.

    >>> from analysis.planning import assure_design
    >>> len(draw_assurance(assure_design({"n": 12}, n_draws=8, n_studies=10)).axes)
    1
    """
    table = found.table[found.table["part"].isin(["change", "slope"]) & found.table["clear"].notna()]
    table = table.iloc[::-1].reset_index(drop=True)
    figure, ax = new_axes(ax, width="double", height_mm=20 + 7.2 * len(table))
    draws = found.draws.groupby(["question", "part"], sort=False)["clear"]
    for place, line in enumerate(table.itertuples(index=False)):
        chances = 100 * draws.get_group((line.question, line.part)).to_numpy()
        ax.plot(chances, np.full(len(chances), place), "|", color=FAINT, markersize=8, zorder=1)
    place = np.arange(len(table))
    ax.hlines(place, 100 * table["low"], 100 * table["high"], color=MAIN, linewidth=2)
    ax.plot(100 * table["clear"], place, "o", color=MAIN, label="clear answer, averaged; line: 80 of 100 draws")
    ax.plot(100 * table["as_assumed"], place, "s", markerfacecolor="white", color=SECOND, label="shown, as assumed")
    ax.axvline(80, color=QUIET, linewidth=0.8, linestyle=":")
    names = _question_names(table)
    ax.set_yticks(place, names)
    ax.set(xlabel="Chance (%)", xlim=(-2, 102), ylim=(-0.6, len(table) - 0.4))
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    said = "; ".join(
        f"{name} {format_percent(line.clear)} ({format_percent(line.low)} to {format_percent(line.high)})"
        for name, line in zip(names[::-1], table.iloc[::-1].itertuples(index=False), strict=True)
    )
    return finish(
        figure,
        f"Chance of a clear answer over {plural(found.n_draws, 'draw')} of what is left open, on average and in the middle "
        f"80 of 100 draws: {said}.",
    )


def draw_assumptions(truth, rounds: int, *, ax=None):
    """Draw what is assumed of heart rate: its mean over the rounds, and how athletes spread around it.

    >>> from analysis.planning import Assumptions
    >>> draw_assumptions(Assumptions(), 4).axes[0].get_ylabel()
    'Heart rate (bpm)'
    """
    figure, ax = new_axes(ax, height_mm=62)
    size, unit = truth.heart_rate, "bpm"
    x = np.arange(1, rounds + 1)
    mean = size.mean + round_profile(rounds, size.rise, truth.shape)
    total = np.hypot(size.sd_between, size.sd_within)
    ax.fill_between(x, mean - total, mean + total, color=FAINT, linewidth=0, label="two thirds of the athletes")
    ax.plot(x, mean - total, x, mean + total, color=QUIET, linewidth=0.6, linestyle=":")
    scatter = "mean, and one athlete's scatter"
    ax.errorbar(x, mean, yerr=size.sd_within, color=MAIN, marker="o", capsize=3, label=scatter)
    ax.set_xticks(x)
    ax.set(xlabel="Round", ylabel=f"Heart rate ({unit})")
    ax.margins(x=0.08)
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0))
    first, last = (format_number(v, 1, unit=unit) for v in (mean[0], mean[-1]))
    return finish(
        figure,
        f"Assumed heart rate: from {first} in round 1 to {last} in round {rounds}, with a spread of "
        f"{format_number(size.sd_between, 1, unit=unit)} between athletes and {format_number(size.sd_within, 1, unit=unit)} "
        "within an athlete.",
    )


def draw_simulated(simulated, *, ax=None):
    """Draw how many simulated studies claimed each question, with Monte-Carlo intervals.

    >>> from analysis.planning import simulate_studies
    >>> len(draw_simulated(simulate_studies({"n": 8}, n_studies=50)).axes)
    1
    """
    table = simulated.power[simulated.power["n_studies"] > 0].iloc[::-1].reset_index(drop=True)
    figure, ax = new_axes(ax, width="double", height_mm=14 + 5.6 * len(table))
    place, power = np.arange(len(table)), 100 * table["power"]
    nothing = table["true_value"] == 0
    low, high = power - 100 * table["ci_low"], 100 * table["ci_high"] - power
    although = "claimed it although nothing is there"
    for chosen, marker, colour, label in ((~nothing, "o", MAIN, "claimed it"), (nothing, "D", SECOND, although)):
        if chosen.any():
            at = np.flatnonzero(chosen)
            ax.errorbar(power[at], place[at], xerr=[low[at].clip(lower=0), high[at].clip(lower=0)], fmt=marker, color=colour,
                        capsize=2, elinewidth=1, label=label)  # fmt: skip
    ax.axvline(80, color=QUIET, linewidth=0.8, linestyle=":")
    ax.axvline(100 * simulated.design.alpha, color=QUIET, linewidth=0.8, linestyle=":")
    ax.set_yticks(place, _question_names(table))
    ax.set(xlabel="Simulated studies (%)", xlim=(0, 102), ylim=(-0.6, len(table) - 0.4))
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    return finish(
        figure,
        f"Share of {simulated.n_studies} simulated studies of {plural(simulated.design.n, 'athlete')} that claimed each "
        f"question, with 95 % Monte-Carlo intervals; dotted lines at {format_percent(simulated.design.alpha)} and 80 %.",
    )


def draw_grid(grid, *, ax=None):
    """Draw the simulated power of the fitness slope of heart rate over sizes, one line per truth.

    >>> from analysis.planning import simulate_grid
    >>> grid = simulate_grid([{"n": 8}, {"n": 12}], {"as assumed": None}, n_studies=50, n_jobs=1)
    >>> draw_grid(grid).axes[0].get_xlabel()
    'Athletes who start'
    """
    table = grid.power[(grid.power["question"] == "fitness.heart_rate") & (grid.power["part"] == "slope")]
    figure, ax = new_axes(ax, height_mm=66)
    colours = (MAIN, SECOND, INK, QUIET)
    for i, (truth, one) in enumerate(table.groupby("truth", sort=False)):
        one = one.sort_values("n")
        spread = [100 * part.clip(lower=0) for part in (one["power"] - one["ci_low"], one["ci_high"] - one["power"])]
        ax.errorbar(one["n"], 100 * one["power"], yerr=spread, color=colours[i % len(colours)], marker=MARKERS[i % len(MARKERS)],
                    linestyle=LINES[i % len(LINES)], capsize=2, elinewidth=0.8, label=str(truth))  # fmt: skip
    ax.axhline(80, color=QUIET, linewidth=0.8, linestyle=":")
    ax.set(xlabel="Athletes who start", ylabel="Simulated studies that show it (%)", ylim=(0, 103))
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0))
    sizes = f"{int(table['n'].min())} to {int(table['n'].max())}"
    return finish(
        figure,
        f"Heart rate: {SHORT['slope']}. Share of {grid.n_studies} simulated studies that show it, for {sizes} athletes and "
        f"{plural(table['truth'].nunique(), 'assumption')}, with 95 % Monte-Carlo intervals.",
    )


def draw_timetable(timetable, *, ax=None):
    """Draw the evening: rounds on every mat, and, where blood is taken, the samples inside and outside their window.

    >>> from analysis.planning import make_timetable
    >>> from analysis.study import Protocol
    >>> draw_timetable(make_timetable(Protocol(3, 300.0, 120.0), athletes=8)).axes[0].get_xlabel()
    'Minutes from the first start'
    """
    mats, slots = timetable.mats, timetable.slots
    n_mats = int(mats["mat"].max())
    figure, ax = new_axes(ax, width="double", height_mm=24 + 6.5 * n_mats)
    for row in mats.itertuples():
        ax.broken_barh([(row.start_s / 60, (row.end_s - row.start_s) / 60)], (row.mat - 0.32, 0.64), facecolor=FAINT,
                       edgecolor=QUIET, linewidth=0.6)  # fmt: skip
        if row.mat == 1:
            ax.annotate(f"round {row.round_no}", ((row.start_s + row.end_s) / 120, row.mat), ha="center", va="center")
    inside_window = (True, "o", MAIN, "sample inside the window")
    for inside, marker, colour, label in (inside_window, (False, "x", SECOND, "sample too late")):
        some = slots[slots["in_window"] == inside]
        if len(some):
            shift = 0.16 * (2 * (some.groupby(["mat", "round_no"]).cumcount() % 2) - 1)
            ax.plot(some["sample_s"] / 60, some["mat"] + shift, marker, color=colour, markersize=3.5, label=label)
    ax.set_yticks(range(1, n_mats + 1))
    ax.invert_yaxis()
    ax.set(xlabel="Minutes from the first start", ylabel="Mat")
    if len(slots):
        ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2)
    text = f"Timetable with {'a common start' if timetable.start == 'common' else 'staggered starts'} of {plural(n_mats, 'mat')}"
    if timetable.n_athletes:
        many = plural(timetable.n_athletes, "athlete")
        text += f": {timetable.measured} of {many} can be sampled inside the window after every round"
    return finish(figure, f"{text}.")


def _question_names(table) -> list[str]:
    """Outcome and part of each planned question: "Heart rate: slope with fitness"."""
    names = []
    for question, part in zip(table["question"], table["part"], strict=True):
        later, step, earlier = part.removeprefix("step ").partition(" - ")
        words = f"round {later} \N{MINUS SIGN} round {earlier}" if step else SHORT.get(part, part)
        names.append(f"{NAMES[question.split('.')[1]]}: {words}")
    return names


def draw_power_curves(curves, *, ax=None):
    """Draw the chance to show the smallest effect that matters, and the assumed one, over the number of athletes.

    >>> from analysis.planning import power_curves
    >>> draw_power_curves(power_curves({"n": 12})).axes[0].get_xlabel()
    'Athletes who finish'
    """
    figure, ax = new_axes(ax, height_mm=66)
    table = curves.table
    what = "margin" if curves.part == "plateau" else "smallest that matters"
    names = {"power_smallest": (f"{what}: {_amount(curves, curves.smallest)}", MAIN, "-", "o")}
    if table["power_assumed"].notna().any():
        names["power_assumed"] = (f"assumed: {_amount(curves, abs(curves.assumed))}", SECOND, "--", "s")
    for column, (label, colour, line, marker) in names.items():
        ax.plot(table["n"], 100 * table[column], line, color=colour, marker=marker, markevery=4, label=label)
    ax.axhline(100 * curves.wished, color=QUIET, linewidth=0.8, linestyle=":")
    _mark_size(ax, curves)
    ax.set(xlabel="Athletes who finish", ylabel="Studies that would show it (%)", ylim=(0, 103))
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.06), ncols=1)
    here = table[table["n"] == curves.n_left]
    people = plural(curves.n_left, "athlete")
    said = f"{people} who finish lie outside the picture"
    if len(here):
        shown = format_percent(float(here["power_smallest"].iloc[0]))
        said = f"with {people} who finish, {shown} would show {_amount(curves, curves.smallest)}"
    what = f"{curves.about} Share of studies that would show it, over the number of athletes"
    return finish(figure, f"{what}: {said}.")


def draw_precision(curves, *, ax=None):
    """Draw how wide the interval will be, over the number of athletes.

    >>> from analysis.planning import power_curves
    >>> draw_precision(power_curves({"n": 12})).axes[0].get_ylabel()
    'Half the interval (bpm)'
    """
    figure, ax = new_axes(ax, height_mm=66)
    table = curves.table[np.isfinite(curves.table["half_width"])]
    # the few smallest studies have intervals far off the scale of the others
    widest = float(np.quantile(table["half_width"], 0.9)) * 1.25 if len(table) else 0.0
    limit = max(1.3 * curves.smallest, widest)
    shown = table[table["half_width"] <= limit]
    ax.plot(shown["n"], shown["half_width"], color=MAIN, marker="o", markevery=4, label="half the interval to expect")
    matters = f"smallest that matters: {_amount(curves, curves.smallest)}"
    ax.axhline(curves.smallest, color=SECOND, linestyle="--", label=matters)
    if len(table):
        ax.set_ylim(0, limit)
    _mark_size(ax, curves)
    unit = f" ({curves.unit})".replace(" per ", "\nper ") if curves.unit else ""
    ax.set(xlabel="Athletes who finish", ylabel=f"Half the interval{unit}")
    ax.legend(loc="lower center", bbox_to_anchor=(0.5, 1.06))
    here = table[table["n"] == curves.n_left]["half_width"]
    width = _amount(curves, float(here.iloc[0])) if len(here) else "no finite width"
    return finish(
        figure,
        f"{curves.about} Half the width of the interval to expect, over the number of athletes: with "
        f"{plural(curves.n_left, 'athlete')} who finish it is {width}; the smallest effect that matters is "
        f"{_amount(curves, curves.smallest)}.",
    )


def draw_power_and_precision(curves, *, ax=None):
    """Draw power and precision side by side.

    >>> from analysis.planning import power_curves
    >>> len(draw_power_and_precision(power_curves({"n": 12})).axes)
    2
    """
    if ax is None:
        figure, ax = new_axes(width="double", height_mm=66, columns=2)
    left = draw_power_curves(curves, ax=ax[0]).alt_text
    figure = draw_precision(curves, ax=ax[1])
    return finish(figure, f"Left: {left} Right: {figure.alt_text}")


def _amount(curves, value: float) -> str:
    return format_number(value, curves.digits, unit=curves.unit)


def _mark_size(ax, curves) -> None:
    ax.axvline(curves.n_left, color=INK, linewidth=0.8)
    ax.annotate(
        f"{curves.n_left} finish", (curves.n_left, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2),
        textcoords="offset points", va="bottom", ha="center", color=INK,
    )  # fmt: skip
