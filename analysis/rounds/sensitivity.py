"""The same question asked in other ways: does the answer hold?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from ..basics import KitError
from .bounds import LimitBounds
from .compare import BOUTS, CENSORED, RoundsComparison, allowing, fit_rounds
from .opponents import AFTER
from .plateau import plateau_of
from .prepare import LIMIT_COLUMN, NOT_FOUGHT, RoundRows, label_of, prepare_rounds
from .ranks import RoundsRanks
from .steps import all_steps, gate_steps
from .tipping import TippingPoint

MARGINAL = "marginal model (GEE, exchangeable), by another library"
"""A second opinion: it shares no code with the main analysis."""

COLUMNS = (
    "analysis", "outcome", "estimate", "ci_low", "ci_high", "p", "p_round_test", "label", "plateau_from", "agrees",
    "n_athletes", "n_observations", "note",
)  # fmt: skip
"""One line per analysis: change from first to last round, its interval and p, the p over all rounds, what is claimed."""


def sensitivity_table(
    *, main: RoundsComparison, rows: RoundRows, steps: pd.DataFrame, plateau_from: str, ranks: RoundsRanks | None,
    tipping: TippingPoint | None, bounds: LimitBounds | None, ways: Mapping[str, tuple[pd.DataFrame, str, float]],
    smallest_effect: float, alpha: float, ordinal: bool,
) -> pd.DataFrame:  # fmt: skip
    """Collect the ways of analysing, each with the change from the first to the last round."""
    last = steps.iloc[-1]
    first, final = rows.labels[0], rows.labels[-1]
    common = {"outcome": rows.outcome, "n_athletes": main.n_athletes, "n_observations": main.n_observations}
    lines = [
        {
            **common,
            "analysis": "mixed model, Kenward-Roger (main analysis)",
            **_pick(last, ""),
            "p_round_test": main.overall.p,
            "label": last.get("label_at_scale_end", last["label"]),
            "plateau_from": plateau_from,
        },
        {
            **common,
            "analysis": "mixed model, cluster-robust (CR2)",
            **_pick(last, "_cr2"),
            "p_round_test": main.overall.p_cr2,
        },
    ]
    lines.append(_marginal_line(rows, main, common))
    if main.anova is not None:
        note = "paired difference of the complete cases"
        lines.append(
            {
                "analysis": "repeated-measures analysis of variance, Greenhouse-Geisser",
                "outcome": rows.outcome,
                **_paired(rows, first, final),
                "p_round_test": main.anova.p_gg,
                "n_athletes": main.anova.n_athletes,
                "n_observations": main.anova.n_observations,
                "note": note,
            }
        )
    if ranks is not None:
        lines.append(_rank_line(ranks, rows, first, final))
    for name, (data, outcome, effect) in ways.items():
        lines.append(_other_way(name, data, outcome, effect, alpha, ordinal))
    if main.allows_for:
        what = {
            CENSORED: "values off the analyser's scale at its end",
            BOUTS: "mixed model, bouts taken as independent",
        }[main.allows_for]
        line = _analysed(rows, smallest_effect, alpha, ordinal, plain=True)
        lines.append({"analysis": what, **line})
    if bounds is not None:
        lines.append(_bounds_line(bounds, common))
    table = pd.DataFrame(lines)
    for name in COLUMNS:
        if name not in table:
            table[name] = np.nan if name not in ("label", "plateau_from", "note") else ""
    for name in ("label", "plateau_from", "note"):
        table[name] = table[name].fillna("").astype(str)
    label = last.get("label_at_scale_end", last["label"])
    table["agrees"] = [_agrees(line, label, alpha) for line in table.to_dict("records")]
    if tipping is not None:
        table = pd.concat([table, _tipping_line(tipping, common)], ignore_index=True)
    return table[list(COLUMNS)]


def other_ways(
    data, outcome, smallest_effect, flagged_kept, other_outcomes, round_variable, rests, leave_out=None
) -> dict:
    """Name the other tables and scales on which the same question can be asked."""
    by_main = data if round_variable == "round_no" else data.assign(round_no=data[round_variable])
    ways = {}
    if flagged_kept is not None:
        kept = (
            flagged_kept if round_variable == "round_no" else flagged_kept.assign(round_no=flagged_kept[round_variable])
        )
        ways["flagged samples kept"] = (kept, outcome, smallest_effect)
    for name, effect in (other_outcomes or {}).items():
        ways[f"as {name}"] = (by_main, name, effect)
    after = rests.loc[rests["what"] == AFTER, ["athlete", "round_no"]]
    if len(after):
        lost = pd.MultiIndex.from_frame(data[["athlete", "round_no"]]).isin(pd.MultiIndex.from_frame(after))
        ways["without rounds after a sat-out round"] = (by_main[~lost], outcome, smallest_effect)
    for name, athletes in (leave_out or {}).items():
        gone = by_main["athlete"].isin(list(athletes))
        if gone.any():
            ways[name] = (by_main[~gone], outcome, smallest_effect)
    other = "bout_no" if round_variable == "round_no" else "round_no"
    if other in data and _orders_differ(data, other, round_variable):
        words = {"bout_no": "rounds counted as sparred", "round_no": "rounds by the club's clock"}[other]
        ways[words] = (data.assign(round_no=data[other]), outcome, smallest_effect)
    return ways


def _orders_differ(data, other: str, used: str) -> bool:
    sparred = data[~data["took_part"].isin(list(NOT_FOUGHT))] if "took_part" in data else data
    return bool((sparred[other].map(label_of) != sparred[used].map(label_of)).any())


def _pick(line, end: str) -> dict:
    return {
        name: line[f"{name}{end}" if name != "estimate" else name] for name in ("estimate", "ci_low", "ci_high", "p")
    }


def _paired(rows: RoundRows, first: str, final: str) -> dict:
    from scipy import stats

    cases = rows.complete()
    difference = (cases[final] - cases[first]).to_numpy()
    n, mean = len(difference), float(difference.mean())
    error = float(difference.std(ddof=1)) / np.sqrt(n)
    if not error > 0:
        return {"estimate": mean, "ci_low": np.nan, "ci_high": np.nan, "p": np.nan}
    half = float(stats.t.ppf(0.975, n - 1)) * error
    p = float(2 * stats.t.sf(abs(mean) / error, n - 1))
    return {"estimate": mean, "ci_low": mean - half, "ci_high": mean + half, "p": p}


def _marginal_line(rows: RoundRows, main: RoundsComparison, common: dict) -> dict:
    from ..models import marginal_change

    line = {**common, "analysis": MARGINAL}
    try:
        table = rows.table
        found = marginal_change(table["value"], table["round_no"], table["athlete"], labels=rows.labels)
    except KitError as problem:
        return line | {"note": f"could not be analysed: {problem}"}
    note = "values off the analyser's scale at its end" if main.allows_for == CENSORED else ""
    return line | {**_pick(vars(found), ""), "p_round_test": found.p_all, "note": note}


def _rank_line(ranks: RoundsRanks, rows: RoundRows, first: str, final: str) -> dict:
    from ..models import signed_rank

    difference = (rows.wide[final] - rows.wide[first]).dropna().to_numpy()
    line = {"analysis": "ranks: Friedman, exact signed-rank", "outcome": rows.outcome, "p_round_test": ranks.p}
    line |= {"n_athletes": len(difference), "n_observations": 2 * len(difference)}
    if not len(difference):
        return line
    test = signed_rank(difference)
    return line | {
        "estimate": test.pseudomedian, "ci_low": test.ci_low, "ci_high": test.ci_high, "p": test.p,
        "note": "median of the pairwise averages",
    }  # fmt: skip


def _analysed(rows: RoundRows, smallest_effect, alpha, ordinal, *, plain=False) -> dict:
    fit = fit_rounds(rows)
    if not plain:
        fit = allowing(rows, fit)[0]
    last = all_steps(rows, fit, smallest_effect=smallest_effect, alpha=alpha, ordinal=ordinal, only_last=True)
    p_round_test = fit.test("round_no").p
    last = gate_steps(last, ordinal or p_round_test < alpha).iloc[-1]
    plateau = plateau_of(rows, fit, low=-smallest_effect, high=smallest_effect, alpha=alpha, ordinal=ordinal)
    return {
        "outcome": rows.outcome,
        **_pick(last, ""),
        "p_round_test": p_round_test,
        "label": last["label"],
        "plateau_from": plateau.starts_at,
        "n_athletes": rows.n_athletes,
        "n_observations": rows.n_observations,
    }


def _other_way(name, data, outcome, smallest_effect, alpha, ordinal) -> dict:
    try:
        noted = ["opponent"] if "opponent" in data else []
        noted += [LIMIT_COLUMN] if outcome.startswith("lactate") and LIMIT_COLUMN in data else []
        rows = prepare_rounds(data, outcome, keep=tuple(noted))
        return {"analysis": name, **_analysed(rows, smallest_effect, alpha, ordinal)}
    except KitError as problem:
        return {"analysis": name, "outcome": outcome, "note": f"could not be analysed: {problem}"}


def _bounds_line(bounds: LimitBounds, common: dict) -> dict:
    last = bounds.table.iloc[-1]
    return {
        **common,
        "analysis": "values off the analyser's scale at every extreme",
        "ci_low": last["ci_low_min"],
        "ci_high": last["ci_high_max"],
        "p": last["p_max"],
        "p_round_test": bounds.overall_p_max,
        "label": last["label"],
        "note": "widest interval, largest p",
    }


def _tipping_line(tipping: TippingPoint, common: dict) -> pd.DataFrame:
    last = tipping.table.iloc[-1]
    holds = bool(np.isnan(last["shift_up"]) and np.isnan(last["shift_down"]))
    curve = tipping.curve[tipping.curve["contrast"] == last["contrast"]]
    middle = curve.loc[curve["shift"].abs().idxmin()]
    line = {
        **common,
        "analysis": "missing rounds imputed (tipping point)",
        "estimate": middle["estimate"],
        "ci_low": middle["ci_low"],
        "ci_high": middle["ci_high"],
        "label": last["label"],
        "agrees": None,
        "note": "reading holds at every shift tried" if holds else "reading changes at some shift: see tipping point",
    }
    return pd.DataFrame([{name: line.get(name, np.nan if name in ("p", "p_round_test") else "") for name in COLUMNS}])


def _agrees(line, label: str, alpha: float):
    """Whether an analysis supports the label of first to last; None where it cannot say."""
    if line["label"]:
        return line["label"] == label
    p = line["p"]
    if p is None or np.isnan(p):
        return None
    if label == "equivalent":  # a test of a difference can speak against it, not for it
        return False if p < alpha else None
    return bool((p < alpha) == label.startswith("changed"))
