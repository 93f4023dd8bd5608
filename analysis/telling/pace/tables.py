"""Activity per round and agreement of raters as tables."""

from __future__ import annotations

import pandas as pd

from ...basics import format_ci, format_number, format_percent


def tabulate_activity(answer) -> pd.DataFrame:
    """Lay out how each round was spent and what the heart did beside it; means over athletes."""
    lines = []
    for (session, round_no), here in answer.rounds.groupby(["session", "round_no"]):
        shares = answer.states.query("session == @session and round_no == @round_no").set_index("state")["share"]
        spent = {state.capitalize(): format_percent(shares.get(state, float("nan"))) for state in answer.words.states}
        lines.append(
            {
                "Evening": session,
                "Round": str(round_no),
                "n": str(here["athlete"].nunique()),
                **spent,
                "Changes per minute": format_number(here["changes_per_min"].mean(), 1),
                "Heart rate (bpm)": format_number(here["hr_mean_bpm"].mean(), 0),
                "Beats per active minute": format_number(here["beats_per_active_min"].mean(), 0),
            }
        )
    return pd.DataFrame(lines)


def tabulate_raters(answer) -> pd.DataFrame:
    """Lay out the agreement of each pair of raters."""
    return pd.DataFrame(
        [
            {
                "Raters": f"{line['rater']}, {line['other']}",
                "Rounds": str(line["n_rounds"]),
                "Athletes": str(line["n_athletes"]),
                "Same state": format_percent(line["percent_same"] / 100),
                "Kappa": format_number(line["kappa"], 2),
                "95 % interval": format_ci(line["ci_low"], line["ci_high"], 2),
                "ICC of active seconds": format_number(line["icc"], 2),
                "95 % interval of the ICC": format_ci(line["icc_low"], line["icc_high"], 2),
                "Blind to fitness": line["blind"],
            }
            for line in answer.agreement.to_dict("records")
        ]
    )
