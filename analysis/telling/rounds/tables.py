"""Tables for readers beside the sentences on rounds: ways of analysing, outcomes of one question, rests, repeatability."""

from __future__ import annotations

import pandas as pd

from ...basics import format_ci, format_number, if_answered
from ...study import known_outcome
from ...study.outcomes import OUTCOMES, digits_of
from ..tables import CI, p_cell, range_cell


@if_answered()
def tabulate_ways(answer):
    """Lay out the other ways of analysing: the change from the first to the last round by each."""
    lines = []
    for way in answer.sensitivity.to_dict("records"):
        known = known_outcome(way["outcome"] if way["outcome"] in OUTCOMES else answer.outcome)
        agrees = way["agrees"]
        lines.append(
            {
                "Way of analysing": way["analysis"].replace(way["outcome"], known.label.lower()),
                "Last − first": ""
                if pd.isna(way["estimate"])
                else format_number(way["estimate"], digits_of(known), sign=True, unit=known.unit),
                CI: _unbroken(range_cell(way["ci_low"], way["ci_high"], digits_of(known), empty="")),
                "p": _p(way["p"]),
                "p, all rounds": _p(way["p_round_test"]),
                "Reading": way["label"],
                "Level from round": way["plateau_from"],
                "Same reading": "" if agrees is None or agrees != agrees else ("yes" if agrees else "no"),
                "Athletes": "" if pd.isna(way["n_athletes"]) else str(int(way["n_athletes"])),
                "Note": way["note"],
            }
        )
    return pd.DataFrame(lines)


def tabulate_outcomes(answers):
    """Lay out several outcomes of one question: one primary, Holm for the others."""
    from ...rounds import adjust_outcomes

    found = {name: answer for name, answer in answers.items() if answer}
    if not found:
        return " ".join(str(a) for a in answers.values()) or "No outcome of this question was measured."
    table = adjust_outcomes(found)
    return pd.DataFrame(
        {
            "Outcome": [OUTCOMES[o].label if o in OUTCOMES else o for o in table["outcome"]],
            "Role": table["role"],
            "F": [format_number(v, 2) for v in table["statistic"]],
            "p": [_p(v) for v in table["p"]],
            "p, adjusted": [_p(v) for v in table["p_adjusted"]],
            "Change shown": ["yes" if c else "no" for c in table["changed"]],
        }
    )


@if_answered()
def tabulate_rests(answer):
    """Lay out rounds that were sat out and the rest before the next."""
    if answer.rests.empty:
        return "Nobody sat a round out."
    return pd.DataFrame(
        {
            "Round": answer.rests["round_no"].astype(str),
            "What": answer.rests["what"],
            "Rest before (s)": [
                "" if pd.isna(v) else format_number(v, 0) for v in answer.rests["rest_before_s"]
            ],
        }
    )


@if_answered()
def tabulate_icc(result):
    """Lay out the intraclass correlations."""
    return pd.DataFrame(
        {
            "Kind": result.icc["type"],
            "Estimate": [format_number(v, 2) for v in result.icc["estimate"]],
            CI: [
                format_ci(low, high, 2)
                for low, high in zip(result.icc["ci_low"], result.icc["ci_high"], strict=True)
            ],
            "Of what": result.icc["meaning"],
        }
    )


def _unbroken(cell: str) -> str:
    return cell.replace(" ", "\N{NO-BREAK SPACE}")


def _p(value) -> str:
    return _unbroken(p_cell(value, empty=""))
