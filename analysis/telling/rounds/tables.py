"""Tables about the rounds: every test, every contrast, other ways of analysing, missing rounds, rests, repeatability."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd

from ...basics import FEWEST_PEOPLE, format_ci, format_number
from ...basics.words import format_df
from ...rounds.answer import adjust_outcomes
from ...rounds.steps import reading_of_step
from ...study import OUTCOMES, known_outcome
from ...study.outcomes import digits_of
from ..words import CI, CI90, DASH, number_cell, outcome_table, p_cell, range_cell, with_minus, with_range
from .sentences import f_words, shown_interval, shown_p


def _test_numbers(answer) -> pd.DataFrame:
    """A line per test, as numbers; a test of few tells about them and is left out."""
    test, anova, ranks = answer.comparison.overall, answer.anova, answer.ranks
    lines = [
        {"test": "mixed model", "statistic": test.statistic, "df_num": test.df_num, "df_den": test.df_den}
        | {"p": test.p, "p_epsilon": test.p_epsilon, "epsilon": test.epsilon, "n_athletes": answer.n_athletes}
    ]
    if anova is not None:
        lines.append(
            {"test": "analysis of variance", "statistic": anova.statistic, "df_num": anova.df_num}
            | {"df_den": anova.df_den, "p": anova.p_gg, "eta2_partial": anova.eta2_partial}
            | {"ci_low": anova.eta2_partial_ci_low, "ci_high": anova.eta2_partial_ci_high}
            | {"n_athletes": anova.n_athletes}
        )
    if ranks is not None:
        lines.append(
            {"test": "Friedman", "statistic": ranks.statistic, "df_num": ranks.df, "p": ranks.p}
            | {"kendall_w": ranks.kendall_w, "n_athletes": ranks.n_athletes}
        )
    return pd.DataFrame([line for line in lines if line["n_athletes"] >= FEWEST_PEOPLE])


@outcome_table(
    "round_tests",
    "Tests of a change over all rounds together.",
    note="Effect: partial eta squared with its 90\N{NO-BREAK SPACE}% interval, or Kendall's W.",
    numbers=_test_numbers,
)
def round_tests_table(answer, known) -> list[dict]:
    """Every test of all rounds together."""
    lines = []
    for t in _test_numbers(answer).to_dict("records"):
        if math.isnan(t["p"]) and t["test"] != "mixed model":
            continue
        name, effect = f"{t['test'].capitalize()}, complete athletes", DASH
        if t["test"] == "mixed model":
            name, said = "Mixed model, Kenward-Roger", f_words(answer.comparison.overall)
        elif t["test"] == "Friedman":
            said = f"chi-square({format_df(t['df_num'])}) = {format_number(t['statistic'], 2)}"
            effect = format_number(t["kendall_w"], 2)
        else:
            said, effect = f_words(answer.anova), format_number(t["eta2_partial"], 2)
            if t["ci_high"] >= t["eta2_partial"]:
                effect += f" ({format_ci(t['ci_low'], t['ci_high'], 2)})"
        n = str(int(t["n_athletes"]))
        lines.append({"Test": name, "Statistic": said, "p": p_cell(t["p"]), "Effect": effect, "n": n})
        if t["test"] == "mixed model":
            name = f"the same, Greenhouse-Geisser epsilon {format_number(t['epsilon'], 2)}"
            lines.append({"Test": name, "Statistic": DASH, "p": p_cell(t["p_epsilon"]), "Effect": DASH, "n": n})
    return lines


@outcome_table(
    "contrasts_by_method",
    "Differences between rounds by each method, later minus earlier.",
    note="Model: mixed model, Kenward-Roger. Robust: cluster-robust (CR2). p adjusted over all of them (Shaffer, "
    "1986). Ranks: test by order, for ratings.",
    numbers=lambda answer: answer.steps,
)
def contrasts_by_method_table(answer, known) -> list[dict]:
    """Every step with the interval and the p of each method."""
    digits = digits_of(known)
    return [
        {
            "Rounds": with_minus(step["contrast"]),
            "Difference": format_number(step["estimate"], digits, sign=True),
            f"Model, {CI}": format_ci(step["ci_low"], step["ci_high"], digits),
            f"Robust, {CI}": range_cell(step["ci_low_cr2"], step["ci_high_cr2"], digits),
            "p, model": p_cell(step["p_adjusted"]),
            "p, robust": p_cell(step["p_adjusted_cr2"]),
            "p, ranks": p_cell(step.get("p_ranks", math.nan)),
        }
        for step in answer.steps.to_dict("records")
    ]


@outcome_table(
    "equivalence",
    "Every pair of rounds against the smallest change that matters.",
    note="Interval: the wider of the model's and the robust one, at the level of two one-sided tests. p: the largest of "
    "the tests that must hold, for ratings of the exact signed-rank test too. Needed: the smallest "
    "bound within which the pair would be equivalent.",
    numbers=lambda answer: answer.equivalence,
)
def equivalence_table(answer, known) -> list[dict]:
    """Two one-sided tests of every pair of rounds."""
    digits, lines = digits_of(known), []
    for pair in answer.equivalence.to_dict("records"):
        low = np.nanmin([pair["ci_low"], pair["ci_low_cr2"]])
        high = np.nanmax([pair["ci_high"], pair["ci_high_cr2"]])
        lines.append(
            {
                "Rounds": with_minus(pair["contrast"]),
                "Difference": format_number(pair["estimate"], digits, sign=True),
                CI90: format_ci(low, high, digits),
                "Bound": format_number(answer.smallest_effect, digits),
                "Needed": format_number(max(abs(low), abs(high)), digits),
                "p": p_cell(np.nanmax([pair[c] for c in ("p", "p_cr2", "p_ranks") if c in pair])),
                "Equivalent": "yes" if pair["equivalent"] else "not shown",
            }
        )
    return lines


def _of_ratings(answers: dict, said: str) -> str:
    """What a note adds where ratings are among the outcomes: their claims rest on other tests than the model's."""
    return f" Ratings: {said}." if any(OUTCOMES[o].ordinal for o in answers) else ""


@outcome_table(
    "ways",
    "Other ways of analysing the change from the first to the last round.",
    note=lambda answers: (
        "The marginal model is a second opinion by another library (statsmodels): generalised estimating equations (Liang and "
        "Zeger, 1986) with the covariance of Mancl and DeRouen (2001), t on athletes minus rounds."
        + _of_ratings(answers, "the reading is that of the tests by order, interval and p are those of the way itself")
    ),
    numbers=lambda answer: answer.sensitivity.drop(columns="outcome"),
)
def ways_table(answer, known) -> list[dict]:
    """Every other way of analysing the change from the first to the last round."""
    shown = tabulate_ways(answer).rename(columns={"Athletes": "n"})
    columns = ["Way of analysing", "Last − first", CI, "p", "Reading", "Level from round", "n"]
    return [{name: way[name] or DASH for name in columns} for way in shown.to_dict("records")]


@outcome_table(
    "effect_sizes",
    "Change from the first to the last round in athletes with both, also in standard deviations.",
    note="d_z: SDs of the differences; d_av: average SDs of the two rounds; both with Hedges' correction.",
    numbers=lambda answer: answer.effect_sizes,
)
def sizes_table(answer, known) -> list[dict]:
    """Paired difference and standardised sizes of the change from the first to the last round."""
    last = answer.steps.iloc[-1]["contrast"]
    table = answer.effect_sizes[answer.effect_sizes["contrast"] == last].set_index("measure")
    if table.empty or math.isnan(table.loc["g_z", "estimate"]):
        return []
    raw, digits = table.loc["difference"], digits_of(known)
    line = {
        "Rounds": with_minus(last),
        "n": str(int(raw["n_athletes"])),
        "Paired difference": with_range(raw["estimate"], raw["ci_low"], raw["ci_high"], digits, sign=True),
    }
    for measure, name in (("g_z", "d_z"), ("g_av", "d_av")):
        row = table.loc[measure]
        line[name] = with_range(row["estimate"], row["ci_low"], row["ci_high"], 2)
    return [line]


@outcome_table(
    "missing_rounds",
    "How far missing rounds would have to lie from what the model expects to change a reading.",
    note=lambda answers: (
        "By the mixed model: readings off the scale are drawn beyond its end, and errors allow for bouts. A dash: the reading "
        "holds however far they lie, up to the largest shift that was tried."
        + _of_ratings(answers, "the reading is the model's here, while tests by order decide what is claimed")
    ),
    numbers=lambda answer: answer.tipping.table if answer.tipping is not None else None,
)
def missing_table(answer, known) -> list[dict]:
    """How different missing rounds must have been to change a reading."""
    tipping = answer.tipping
    if tipping is None:
        return []
    return [
        {
            "Rounds": with_minus(row["contrast"]),
            "Missing": str(tipping.n_missing),
            "Reading": row["label"],
            "If higher by": _shift(row, "up", known),
            "If lower by": _shift(row, "down", known),
            "Largest tried": format_number(tipping.largest_shift, digits_of(known)),
        }
        for row in tipping.table.to_dict("records")
    ]


def _shift(row: dict, way: str, known) -> str:
    shift = row[f"shift_{way}"]
    return f"{format_number(abs(shift), digits_of(known))}: {row[f'label_{way}']}" if math.isfinite(shift) else DASH


@outcome_table(
    "off_scale",
    "Differences between rounds wherever readings off the analyser's scale may lie.",
    note="Reading at the end of the scale: with every such reading at the scale's end. Holds up to: how far beyond the scale "
    "it may lie for that reading to hold.",
    numbers=lambda answer: answer.bounds.table if answer.bounds is not None else None,
)
def off_scale_table(answer, known) -> list[dict]:
    """What readings off the analyser's scale can do to every difference."""
    if answer.bounds is None:
        return []
    digits, lines = digits_of(known), []
    for row in answer.bounds.table.to_dict("records"):
        reach = [
            f"{word} {format_number(row[name], digits)}"
            for word, name in (("HI", "holds_to_high"), ("LO", "holds_to_low"))
            if not math.isnan(row[name])
        ]
        lines.append(
            {
                "Rounds": with_minus(row["contrast"]),
                "Readings": str(int(row["n_off_scale"])),
                "Difference": format_ci(row["estimate_min"], row["estimate_max"], digits),
                CI: format_ci(row["ci_low_min"], row["ci_high_max"], digits),
                "At the end of the scale": row["label_at_scale_end"],
                "Holds up to": ", ".join(reach) or DASH,
                "Wherever they lie": row["label"],
            }
        )
    return lines


REPEATED = (
    "typical_error", "typical_error_ci_low", "typical_error_ci_high", "smallest_detectable_change", "cv_percent", "n_trials",
)  # fmt: skip


@outcome_table(
    "repeatability",
    "How well the outcomes repeat, with 95\N{NO-BREAK SPACE}% intervals.",
    note="Between evenings: repeatability. Rounds of one evening: consistency only. CV: coefficient of variation from "
    "logarithms. ICC: intraclass correlation.",
    numbers=lambda result: result.icc.assign(n=result.n_athletes, **{name: getattr(result, name) for name in REPEATED}),
)
def repeatability_table(result, known) -> list[dict]:
    """How well outcomes repeat: typical error, intraclass correlations."""
    digits, evenings = digits_of(known), result.kind.startswith("reliability")
    error = (result.typical_error, result.typical_error_ci_low, result.typical_error_ci_high)
    detectable = format_number(result.smallest_detectable_change, digits) if evenings else DASH
    line = {
        "Of what": f"{result.n_trials} {'evenings' if evenings else 'rounds'}",
        "n": str(result.n_athletes),
        "Typical error": with_range(*error, digits),
        "Smallest detectable change": detectable,
    }
    for name, row in result.icc.set_index("type").loc[["ICC(2,1)", "ICC(3,1)"]].iterrows():
        known = not math.isnan(row["estimate"])
        line[name] = with_range(row["estimate"], row["ci_low"], row["ci_high"], 2) if known else DASH
    return [line | {"CV (%)": number_cell(result.cv_percent, 1)}]


def _opponent_numbers(answer) -> pd.DataFrame | None:
    found = answer.opponents
    if found is None:
        return None
    ends = {"ci_low": found.within_bout_ci_low, "ci_high": found.within_bout_ci_high}
    return pd.DataFrame([{"r": found.within_bout_correlation, **ends, "n_bouts": found.n_bouts}])


@outcome_table(
    "opponents",
    "Whether the two opponents of a bout are alike, beyond what each does elsewhere.",
    numbers=_opponent_numbers,
)
def opponents_table(answer, known) -> list[dict]:
    """Whether the two opponents of a bout are alike."""
    spread = answer.opponents
    if spread is None:
        return []
    r, ends = spread.within_bout_correlation, (spread.within_bout_ci_low, spread.within_bout_ci_high)
    line = {"Bouts": str(spread.n_bouts), "Correlation in a bout": number_cell(r, 2), CI: range_cell(*ends, 2)}
    return [line | {"Reading": spread.verdict}]


def _note_on_steps(answers: dict) -> str:
    note = (
        "Intervals and p: the wider and the larger of the model's and the robust test; p adjusted over all of them (Shaffer, "
        "1986). The supplement gives the interval that decides equivalence."
    )
    steps = [a.steps for a in answers.values()]
    if any("label_at_scale_end" in s and (s["label_at_scale_end"] != s["label"]).any() for s in steps):
        note += " HI, LO: readings off the analyser's scale; the reading holds if none was beyond the value given."
    return note


def _printed_numbers(answer) -> pd.DataFrame:
    steps = answer.steps.to_dict("records")
    low, high = zip(*(shown_interval(answer, s) for s in steps), strict=True)
    return answer.steps.assign(shown_low=low, shown_high=high, shown_p=[shown_p(s) for s in steps])


@outcome_table(
    "contrasts", "Differences between rounds, later minus earlier.", note=_note_on_steps, numbers=_printed_numbers
)
def contrasts_table(answer, known) -> list[dict]:
    """The steps and the change from first to last that the paper prints: one interval, one p."""
    digits = digits_of(known)
    return [
        {
            "Rounds": with_minus(step["contrast"]),
            "Difference": format_number(step["estimate"], digits, sign=True),
            CI: format_ci(*shown_interval(answer, step), digits),
            "p": p_cell(shown_p(step)),
            "Reading": reading_of_step(step, digits),
        }
        for step in answer.steps.to_dict("records")
    ]


def tabulate_ways(answer):
    """Lay out the other ways of analysing: the change from the first to the last round by each."""
    lines = []
    for way in answer.sensitivity.to_dict("records"):
        known = known_outcome(way["outcome"] if way["outcome"] in OUTCOMES else answer.outcome)
        digits, agrees = digits_of(known), way["agrees"]
        change = "" if pd.isna(way["estimate"]) else format_number(way["estimate"], digits, sign=True, unit=known.unit)
        lines.append(
            {
                "Way of analysing": way["analysis"].replace(way["outcome"], known.label.lower()),
                "Last − first": change,
                CI: _unbroken(range_cell(way["ci_low"], way["ci_high"], digits, empty="")),
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


def tabulate_rests(answer):
    """Lay out rounds that were sat out and the rest before the next."""
    if answer.rests.empty:
        return "Nobody sat a round out."
    return pd.DataFrame(
        {
            "Round": answer.rests["round_no"].astype(str),
            "What": answer.rests["what"],
            "Rest before (s)": ["" if pd.isna(v) else format_number(v, 0) for v in answer.rests["rest_before_s"]],
        }
    )


def tabulate_icc(result):
    """Lay out the intraclass correlations."""
    return pd.DataFrame(
        {
            "Kind": result.icc["type"],
            "Estimate": [format_number(v, 2) for v in result.icc["estimate"]],
            CI: [format_ci(*ends, 2) for ends in zip(result.icc["ci_low"], result.icc["ci_high"], strict=True)],
            "Of what": result.icc["meaning"],
        }
    )


def _unbroken(cell: str) -> str:
    return cell.replace(" ", "\N{NO-BREAK SPACE}")


def _p(value) -> str:
    return _unbroken(p_cell(value, empty=""))
