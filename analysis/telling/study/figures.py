"""One athlete's rounds beside the span of the club, for the page that this athlete is given."""

from __future__ import annotations

import pandas as pd

from ...basics import plural
from ..style import FAINT, INK, MAIN, finish, new_axes


def draw_own_rounds(numbers: pd.DataFrame, *, you: str = "You", club: str = "The club", ax=None):
    """Draw one athlete's value in every round, with the span of the club behind it: one small panel per outcome.

    Parameters
    ----------
    numbers : DataFrame
        outcome (words with unit), round_no, value, low, high; missing where not measured.
    you, club : str
        Words for the legend.
    ax : sequence of matplotlib Axes, optional
        One per outcome.

    Returns
    -------
    matplotlib Figure

    Examples
    --------
    >>> table = pd.DataFrame({"outcome": "Mean heart rate (bpm)", "round_no": [1, 2], "value": [160.0, 165],
    ...     "low": [140.0, 150], "high": [180.0, 185]})
    >>> draw_own_rounds(table).axes[0].get_ylabel()
    'Mean heart rate (bpm)'
    """
    outcomes = list(dict.fromkeys(numbers["outcome"]))
    figure, axes = (
        (ax[0].figure, ax)
        if ax is not None
        else new_axes(width="double", height_mm=62, columns=max(len(outcomes), 1), squeeze=False)
    )
    panels = list(axes) if ax is not None else list(axes[0])
    for panel, outcome in zip(panels, outcomes, strict=False):
        rows = numbers[numbers["outcome"] == outcome].sort_values("round_no")
        rounds = rows["round_no"].to_numpy()
        panel.bar(
            rounds,
            rows["high"] - rows["low"],
            bottom=rows["low"],
            width=0.5,
            color=FAINT,
            label=club,
            zorder=1,
        )
        panel.plot(rounds, rows["value"], color=MAIN, marker="o", label=you, zorder=2)
        panel.set_xticks(rounds)
        panel.set_ylabel(outcome)
        panel.use_sticky_edges = False  # room below the bars too
        panel.margins(x=0.12, y=0.08)
        panel.tick_params(colors=INK)
    if outcomes:
        figure.legend(*panels[0].get_legend_handles_labels(), loc="outside upper left", ncols=2)
        figure.supxlabel("Round", fontsize=7.5)
    return finish(figure, _describe(numbers, outcomes, you, club))


def _describe(numbers, outcomes, you, club) -> str:
    parts = []
    for outcome in outcomes:
        rows = numbers[(numbers["outcome"] == outcome) & numbers["value"].notna()]
        parts.append(f"{outcome}: {plural(len(rows), 'round')} of yours")
    return f"Small panels with {you.lower()} as a line and {club.lower()} as bars from lowest to highest. {'; '.join(parts)}."
