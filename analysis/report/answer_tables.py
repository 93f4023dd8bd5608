"""The tables of the answers: differences between rounds, fitness, comparison with published findings."""

from __future__ import annotations

import pandas as pd

from ..basics import format_ci, format_df, format_number, format_p
from ..rounds import reading_of_step
from ..study import OUTCOMES
from .document import Table

CI = "95\N{NO-BREAK SPACE}% interval"


def contrasts_table(answers: dict) -> Table | None:
    """Every step from a round to the next, and from first to last, of every outcome."""
    shown, numbers = [], []
    for outcome, answer in answers.items():
        known = OUTCOMES[outcome]
        for i, step in enumerate(answer.steps.to_dict("records")):
            shown.append(
                {
                    "Outcome": known.axis_label if i == 0 else "",
                    "Rounds": _step(step),
                    "Difference": format_number(step["estimate"], max(known.digits, 1)),
                    "95\N{NO-BREAK SPACE}% interval": format_ci(
                        step["ci_low"], step["ci_high"], max(known.digits, 1)
                    ),
                    "df": format_df(step["df"]),
                    "p": format_p(step["p"], equals=False),
                    "p (Holm)": format_p(step.get("p_adjusted", float("nan")), equals=False),
                    "Reading": reading_of_step(step, max(known.digits, 1)),
                }
            )
        numbers.append(answer.steps.assign(outcome=outcome))
    if not shown:
        return None
    note = (
        "Equivalent: inside plus or minus the smallest change that matters, by two one-sided tests. Not shown: "
        "neither a change nor equivalence is shown. A change counts only where the robust test, which stands in the text, "
        "shows it too."
    )
    if any(answer.ordinal for answer in answers.values()):
        note += " For ratings the exact test of ranks has to show it as well."
    if any(_depends(answer) for answer in answers.values()):
        note += " HI, LO: values off the analyser's scale; a reading holds as long as none of them was beyond the value given."
    return Table(
        "contrasts",
        "Differences between rounds, later minus earlier, from the mixed model.",
        pd.DataFrame(shown),
        note=note,
        numbers=pd.concat(numbers, ignore_index=True),
    )


def _depends(answer) -> bool:
    steps = answer.steps
    return "label_at_scale_end" in steps and bool((steps["label_at_scale_end"] != steps["label"]).any())


def _step(step: dict) -> str:
    return str(step["contrast"]).replace(" - ", " − ")


VERDICT_WORDS = {
    "negligible": "too small to matter",
    "supported": "as expected",
    "opposite": "against what was expected",
    "too imprecise": "not shown",
}
"""Verdicts on fitness, as a table prints them."""


def capacity_table(answers: dict) -> Table | None:
    """Effect of aerobic capacity on every outcome, and the correlation over athletes."""
    shown, numbers = [], []
    for outcome, answer in answers.items():
        known = OUTCOMES[outcome]
        pearson = answer.correlations[answer.correlations["analysis"] == "Pearson"]
        r = dict.fromkeys(("estimate", "ci_low", "ci_high", "p"), float("nan")) | (
            pearson.iloc[0].to_dict() if len(pearson) else {}
        )
        digits = max(known.digits, 1)
        shown.append(
            {
                "Outcome": known.axis_label,
                "n": str(answer.n_athletes),
                "Difference": format_number(answer.effect, digits),
                CI: format_ci(answer.effect_ci_low, answer.effect_ci_high, digits),
                "df": format_df(answer.planned.df),
                "p": format_p(answer.planned.p, equals=False),
                "r": format_number(r["estimate"], 2),
                f"{CI} of r": format_ci(r["ci_low"], r["ci_high"], 2),
                "Reading": VERDICT_WORDS[answer.verdict],
            }
        )
        line = {"outcome": outcome, "effect": answer.effect, "ci_low": answer.effect_ci_low}
        line |= {"ci_high": answer.effect_ci_high, "p": answer.planned.p, "df": answer.planned.df}
        line |= {"n_athletes": answer.n_athletes, "adjusted_for": " + ".join(answer.adjusted_for)}
        line |= {"r": r["estimate"], "r_ci_low": r["ci_low"], "r_ci_high": r["ci_high"], "r_p": r["p"]}
        numbers.append(line | {"reading": answer.verdict})
    if not shown:
        return None
    first = next(iter(answers.values()))
    step = format_number(first.capacity_step, 0 if first.capacity_step == round(first.capacity_step) else 2)
    return Table(
        "capacity",
        "Aerobic capacity and the response to sparring: difference in the outcome between athletes who are "
        f"{step}\N{NO-BREAK SPACE}{first.capacity_unit} apart.",
        pd.DataFrame(shown),
        note="Difference: from the planned model, adjusted as the text says. r: Pearson, over athletes, not adjusted.",
        numbers=pd.DataFrame(numbers),
    )


def comparison_table(answer) -> Table | None:
    """Published correlations beside ours."""
    if not answer or answer.table.empty:
        return None
    shown = pd.DataFrame(
        {
            "Finding": line["finding"],
            "Outcome": OUTCOMES[line["outcome"]].label if line["outcome"] in OUTCOMES else line["outcome"],
            "Published r (n)": f"{format_number(line['r'], 2)} ({int(line['n'])})",
            "Our r (n)": f"{format_number(line['r_new'], 2)} ({int(line['n_new'])})",
            "Expected of ours": format_ci(line["prediction_low"], line["prediction_high"], 2),
            "p of the difference": format_p(line["p_difference"], equals=False),
            "Reading": line["verdict"] + (", says little" if line["says_little"] else ""),
        }
        for line in answer.table.to_dict("records")
    )
    return Table(
        "comparison",
        "Published correlations of fitness with the response, and ours.",
        shown,
        note="Expected of ours: 95\N{NO-BREAK SPACE}% prediction interval of a study of our size, if the published one is right. "
        "Says little: the comparison could hardly have come out otherwise. Sources stand in the text.",
        numbers=answer.table,
    )


def protocols_table(answer) -> Table | None:
    """The protocols of the published findings beside ours."""
    from .sentences.replication_tables import tabulate_protocols

    wide = tabulate_protocols(answer)
    if wide is None or wide.empty:
        return None
    shown = wide.astype(str).rename(columns={"aspect": "Aspect", "ours": "Ours"})
    return Table(
        "protocols", "Protocols of the published findings beside ours.", shown, numbers=answer.protocols
    )
