"""Pictures of pace: one round with heart rate above what the athlete did, and fitness beside activity."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd

from ...basics import format_ci, format_number, format_percent
from ...study import known_outcome
from ..style import FAINT, MAIN, QUIET, finish, new_axes

HATCHES = ("", "////", "....", "xx", "\\\\\\\\", "++")
SHADES = ("#33444f", "#8fa3ad", "#d5dde1", "#ffffff", "#b9a77c", "#efe6cd")


def draw_one_round(answer, trace, window, *, athlete: str, round_no: int, rater: str = "", label: str = "", ax=None):
    """Draw one round: heart rate over what the athlete did, on one clock.

    `trace`: clock_s, hr_bpm, flag of that athlete (`CleanedStudy.traces`). `window`: start and end of the round on the same
    clock, s. `rater`: default: the first who rated that round. `label`: what stands for the athlete in a picture that is
    passed on; default the code.

    >>> from types import SimpleNamespace
    >>> from analysis.pace.marks import PaceWords
    >>> seconds = pd.DataFrame({"session": "1", "athlete": "A", "round_no": 1, "rater": "R1", "second": range(60),
    ...     "state": ["apart"] * 20 + ["active"] * 40})
    >>> trace = pd.DataFrame({"clock_s": np.arange(60.0), "hr_bpm": np.linspace(120, 160, 60), "flag": ""})
    >>> made = draw_one_round(SimpleNamespace(seconds=seconds, words=PaceWords()), trace, (0, 60), athlete="A", round_no=1)
    >>> made.axes[0].get_ylabel()
    'Heart rate (bpm)'
    """
    start, end = window
    seconds = answer.seconds
    here = seconds[(seconds["athlete"] == athlete) & (seconds["round_no"] == round_no)]
    rater = rater or str(here["rater"].min())
    here = here[here["rater"] == rater]
    figure, panel = new_axes(ax, width="double", height_mm=70)
    good = trace[trace["flag"].eq("") & trace["clock_s"].between(start, end)]
    panel.plot((good["clock_s"] - start) / 60, good["hr_bpm"], color=MAIN, linewidth=1.2)
    low = float(np.nanmin(good["hr_bpm"])) if len(good) else 100.0
    high = float(np.nanmax(good["hr_bpm"])) if len(good) else 180.0
    foot, tall = low - 0.30 * (high - low + 10), 0.20 * (high - low + 10)
    states = here["state"].to_numpy()
    edges = np.flatnonzero(np.r_[True, states[1:] != states[:-1], True]) if len(states) else np.array([0])
    named = set()
    for begin, stop in pairwise(edges):
        state = states[begin]
        if not state:
            continue
        at = answer.words.states.index(state)
        panel.broken_barh(
            [(begin / 60, (stop - begin) / 60)], (foot, tall), facecolor=SHADES[at], hatch=HATCHES[at], edgecolor=QUIET,
            linewidth=0.4, label=None if state in named else state,
        )  # fmt: skip
        named.add(state)
    panel.set(xlabel="Minutes of the round", ylabel="Heart rate (bpm)")
    panel.set(xlim=(0, (end - start) / 60), ylim=(foot - tall * 0.3, None))
    panel.set_yticks([t for t in panel.get_yticks() if t >= low - 5])
    made = dict(zip(*reversed(panel.get_legend_handles_labels()), strict=True))
    order = [s for s in answer.words.states if s in made]
    figure.legend([made[s] for s in order], order, loc="outside upper left", ncols=len(order) or 1)
    shares = pd.Series(states)[states != ""].value_counts(normalize=True)
    said = ", ".join(f"{s} {format_percent(v)}" for s, v in shares.items())
    return finish(figure, f"Round {round_no} of {label or athlete}: heart rate over what was marked ({said}).")


def draw_fitness_and_activity(answer, *, ax=None):
    """Draw the share of a round that was active against capacity, one point per athlete.

    >>> figure = draw_fitness_and_activity(answers.activity())
    """
    import seaborn as sns

    table = answer.table
    figure, panel = new_axes(ax, width="single", height_mm=75)
    x = np.linspace(table["capacity"].min(), table["capacity"].max(), 2)
    centre = np.average(table["active_share"], weights=table["n_rounds"])
    middle = np.average(table["capacity"], weights=table["n_rounds"])
    panel.plot(x, 100 * (centre + answer.activity.estimate * (x - middle)), color=FAINT, linewidth=1.5)
    look = {"color": MAIN, "s": 22, "linewidth": 0, "legend": False}
    sns.scatterplot(x=table["capacity"], y=100 * table["active_share"], ax=panel, **look)
    panel.set(xlabel="Aerobic capacity (mL/kg/min)", ylabel="Active share of a round (%)")
    fit = answer.activity
    more, low, high = (100 * answer.contrast_step * v for v in (fit.estimate, fit.ci_low, fit.ci_high))
    panel.set_title(
        f"{format_number(more, 0, sign=True)} percentage points for {format_number(answer.contrast_step, 0)} mL/kg/min more\n"
        f"(95\N{NO-BREAK SPACE}% interval {format_ci(low, high, 0)}), n {answer.n_athletes}",
        loc="left",
    )
    known = known_outcome(answer.outcome)
    size = format_number(100 * answer.contrast_step * answer.activity.estimate, 0)
    return finish(
        figure,
        f"Active share of a round against aerobic capacity, {answer.n_athletes} athletes: {size} percentage points more for "
        f"{format_number(answer.contrast_step, 0)} mL/kg/min; shown beside {known.label.lower()}, not adjusted for.",
    )


def draw_example_round(answer, cleaned, *, ax=None):
    """Draw one rated round of somebody who agreed to be shown and has a recording; None where there is none.

    >>> figure = draw_example_round(answers.pace(), answers.cleaned)
    """
    windows = cleaned.windows
    for line in answer.by_rater.itertuples(index=False):
        trace = cleaned.traces.get((line.session, line.athlete))
        if line.athlete not in cleaned.may_show or trace is None or line.round_no < 2:
            continue
        here = windows[
            (windows["session"] == line.session)
            & (windows["athlete"] == line.athlete)
            & (windows["round_no"] == line.round_no)
        ].iloc[0]
        return draw_one_round(
            answer, trace, (here["start_s"], here["end_s"]), athlete=line.athlete, round_no=line.round_no,
            rater=line.rater, label="an athlete", ax=ax,
        )  # fmt: skip
    return None
