"""Pictures of traces: all of a session, one in detail, one under other rules, and rounds that were found."""

from __future__ import annotations

import numpy as np
import pandas as pd

from ...basics import join_words, plural
from ..style import FAINT, INK, MAIN, SECOND, finish, legend_above, new_axes

FLAG_MARKS = {
    "out of range": "^",
    "flat line": "_",
    "doubled or halved": "D",
    "spike": "x",
    "impossible change": "s",
    "start lag": ">",
    "straps mixed up": "P",
    "set aside by hand": "o",
}
"""Flag -> marker. "no contact" has no sample to mark: it is a bar at the foot of the picture."""


def draw_overview(cleaned, *, session: str | None = None, show_codes: bool = False, ax=None):
    """Draw every trace of a session as a small panel: rounds shaded, flagged samples marked, lost contact at the foot.

    `session`: default: the first with traces. `show_codes`: write the athletes' codes. Default: the panels carry none and
    are ordered by valid time, since a shared picture must not tell who is who. Traces of athletes who did not agree to be
    shown alone are never drawn.

    >>> figure = draw_overview(answers.cleaned)
    """
    session = session if session is not None else next(iter(cleaned.traces), ("", ""))[0]
    shown, hidden = _traces_of(cleaned, session, by_code=show_codes)
    columns = 4
    lines = max(-(-len(shown) // columns), 1)
    if ax is None:
        figure, axes = new_axes(
            width="double", height_mm=16 + 28 * lines, rows=lines, columns=columns, sharex=True, sharey=True, squeeze=False
        )  # fmt: skip
        panels = list(axes.ravel())
    else:
        figure, panels = ax[0].figure, list(ax)
    for panel, (athlete, trace) in zip(panels, shown, strict=False):
        _draw_panel(panel, cleaned, session, athlete, trace, small=True)
        if show_codes:
            panel.set_title(athlete)
    _limit_rates(panels[: len(shown)], [t for _, t in shown])
    for i, panel in enumerate(panels):
        panel.set_visible(i < len(shown))
        panel.tick_params(labelbottom=i + columns >= len(shown))
    if ax is None:
        figure.supxlabel("Minutes since the start of round 1", fontsize=7.5)
        figure.supylabel("Heart rate (bpm)", fontsize=7.5)
        legend_above(figure, panels[: len(shown)], ax, markerscale=1.4)
    return finish(figure, _overview_words(shown, hidden))


def draw_trace(cleaned, session: str, athlete: str, *, show_codes: bool = False, ax=None):
    """Draw the trace of one athlete in one session, with rounds, round means, flags and lost contact.

    `show_codes`: write the athlete's code above.

    >>> figure = draw_trace(answers.cleaned, *next(iter(answers.cleaned.traces)))
    """
    figure, axes = new_axes(ax, width="double", height_mm=74)
    trace = cleaned.traces[session, athlete] if hasattr(cleaned, "traces") else cleaned.trace
    _draw_panel(axes, cleaned, session, athlete, trace, small=False)
    _limit_rates([axes], [trace])
    axes.set_xlabel("Minutes since the start of round 1")
    axes.set_ylabel("Heart rate (bpm)")
    if show_codes:
        axes.set_title(athlete)
    legend_above(figure, axes, ax, markerscale=1.4)
    counts = trace.loc[trace["flag"] != "", "flag"].value_counts()
    flags = (
        join_words([f"{plural(n, 'sample')} flagged {name}" for name, n in counts.items()]) or "no sample is flagged"
    )
    rounds = plural(len(_windows(cleaned, session, athlete)), "shaded round")
    return finish(figure, f"Heart rate of one athlete over the session with {rounds}; {flags}.")


def draw_tried(tried, *, ax=None):
    """Draw one trace under other rules, as `try_rules` returns it.

    >>> from analysis.cleaning import try_rules
    >>> figure = draw_tried(try_rules(answers.cleaned, *next(iter(answers.cleaned.traces)), jump_bpm=20))
    """
    return draw_trace(tried, tried.session, tried.athlete, ax=ax)


def _draw_panel(axes, cleaned, session, athlete, trace, *, small: bool) -> None:
    windows = _windows(cleaned, session, athlete)
    zero = float(windows["start_s"].min()) if len(windows) else float(trace["clock_s"].iloc[0])
    minutes = (trace["clock_s"].to_numpy() - zero) / 60
    rates, flags = trace["hr_bpm"].to_numpy(), trace["flag"].to_numpy(dtype=object)
    for row in windows.itertuples(index=False):
        ends = [(row.start_s - zero) / 60, (row.end_s - zero) / 60]
        axes.axvspan(*ends, color=FAINT, alpha=0.55, linewidth=0, zorder=0)
        if not small:
            axes.annotate(
                f"round {row.round_no}",
                (sum(ends) / 2, 1.0),
                xycoords=("data", "axes fraction"),
                ha="center",
                va="bottom",
            )
    good = np.where(flags == "", rates, np.nan)
    gap = np.flatnonzero(np.diff(minutes) > 10 / 60)
    axes.plot(np.insert(minutes, gap + 1, minutes[gap]), np.insert(good, gap + 1, np.nan), color=MAIN,
              linewidth=0.6 if small else 0.9, zorder=2)  # fmt: skip
    if not small:
        _draw_means(axes, cleaned, session, athlete, windows, zero)
    for flag, mark in FLAG_MARKS.items():
        hit = np.flatnonzero((flags == flag) & np.isfinite(rates))
        hit = hit[:: max(len(hit) // (25 if small else 60), 1)]
        if len(hit):
            axes.plot(minutes[hit], rates[hit], mark, color=SECOND, markersize=2.0 if small else 3.0, linestyle="none",
                      markeredgewidth=0.7, label=flag, zorder=3)  # fmt: skip
    _mark_lost(axes, minutes, rates, small)


def _limit_rates(panels, traces) -> None:
    """Axis of rates by the good samples; flagged ones beyond it are drawn at the edge."""
    good = [t.loc[t["flag"] == "", "hr_bpm"] for t in traces]
    rates = pd.concat(good).dropna() if good else pd.Series([], dtype=float)
    if rates.empty:
        return
    low, high = max(float(rates.min()) - 20, 0.0), float(rates.max()) + 15
    for panel in panels:
        panel.set_ylim(low, high)
        for line in panel.get_lines():
            if line.get_label() in FLAG_MARKS:
                line.set_ydata(np.clip(line.get_ydata(), low, high))
                line.set_clip_on(False)


def _draw_means(axes, cleaned, session, athlete, windows, zero) -> None:
    if hasattr(cleaned, "rows"):
        rows = cleaned.rows
        rows = rows[(rows["session"] == session) & (rows["athlete"] == athlete)].set_index("round_no")["hr_mean_bpm"]
    else:
        rows = cleaned.rounds.set_index("round_no")["mean_bpm_tried"]
    label = "mean of the round"
    for row in windows.itertuples(index=False):
        mean = rows.get(row.round_no, np.nan)
        if np.isfinite(mean):
            ends = [(row.start_s - zero) / 60, (row.end_s - zero) / 60]
            axes.plot(ends, [mean, mean], color=INK, linestyle="--", linewidth=1.0, label=label, zorder=2.5)
            label = None


def _mark_lost(axes, minutes, rates, small: bool) -> None:
    """Bars at the foot where no heart rate was recorded for longer than 10 s."""
    there = np.flatnonzero(np.isfinite(rates))
    if not len(there):
        return
    height, label = (0.05 if small else 0.04), "no contact"
    for i in np.flatnonzero(np.diff(minutes[there]) > 10 / 60):
        axes.axvspan(minutes[there[i]], minutes[there[i + 1]], 0.0, height, color=SECOND, linewidth=0, label=label)
        label = None


def _windows(cleaned, session, athlete) -> pd.DataFrame:
    table = cleaned.windows
    return table[(table["session"] == session) & (table["athlete"] == athlete)]


def _traces_of(cleaned, session, *, by_code: bool) -> tuple[list, int]:
    all_of_it = [(a, t) for (s, a), t in cleaned.traces.items() if s == session]
    shown = [(a, t) for a, t in all_of_it if a in cleaned.may_show]
    if by_code:
        shown.sort(key=lambda pair: pair[0])
    else:
        shown.sort(key=lambda pair: (-(pair[1]["flag"] == "").sum(), len(pair[1])))
    return shown, len(all_of_it) - len(shown)


def _overview_words(shown, hidden) -> str:
    flags = pd.concat([t["flag"] for _, t in shown]) if shown else pd.Series([], dtype="str")
    counts = flags[flags != ""].value_counts()
    words = join_words([f"{name} ({plural(n, 'sample')})" for name, n in counts.items()]) or "none"
    left = f" {plural(hidden, 'trace')} not shown, for lack of consent." if hidden else ""
    return f"Small panels of {plural(len(shown), 'heart-rate trace')} with rounds shaded. Flagged: {words}.{left}"
