"""Everything about one outcome over the rounds, in one result: what changed, where it stopped, how sure we are."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, join_words, plural
from ..basics.errors import need_columns
from .anova import RoundsAnova
from .bounds import LimitBounds, bounds_of, find_limits
from .compare import CENSORED, RoundsComparison, compare_of
from .opponents import OpponentSpread, opponents_of, rests_of
from .plateau import Plateau, check_bounds, check_effect, plateau_of
from .prepare import LIMIT_COLUMN, RoundRows, pairs_of, prepare_rounds
from .ranks import RoundsRanks, ranks_of
from .sensitivity import other_ways, sensitivity_table
from .steps import all_steps, gate_steps, label_of_step, with_bounds
from .tipping import TippingPoint, tipping_of

ROLES = ("primary", "secondary", "exploratory")


@dataclass(frozen=True)
class RoundsAnswer(Result):
    """The answer for one outcome: does it change over the rounds, and where does it stop changing?"""

    outcome: str
    # The smallest change that matters, in the outcome's unit; equivalence is tested against plus and minus this
    smallest_effect: float
    alpha: float
    ordinal: bool  # True for ratings: an exact test by their order decides what changed
    role: str  # "primary", "secondary" or "exploratory", from the plan
    labels: tuple[str, ...]  # The rounds that were tested, in order
    # The rows used: athlete, round_no (ordered), value, tested (False for what came before sparring), limit ("high" or "low"
    # for a value off the analyser's scale, which stands at its end)
    rows: pd.DataFrame
    # The main analysis: mixed model with Kenward-Roger and cluster-robust tests; `allows_for` names values off the scale
    # (censored) or bouts (opponents alike or opposed) where it allows for them
    comparison: RoundsComparison
    # Repeated-measures analysis of variance of the complete cases; None where it cannot be computed
    anova: RoundsAnova | None
    # Friedman test and exact signed-rank contrasts; None where they cannot be computed
    ranks: RoundsRanks | None
    # Raw differences first, then d_z, d_av and their Hedges-corrected forms, one line per contrast
    effect_sizes: pd.DataFrame
    equivalence: pd.DataFrame  # Two one-sided tests of every pair of rounds
    # One line per step from a round to the next and for first to last: estimate, intervals, p of each method, `label`;
    # equivalence_low and equivalence_high (the wider of the methods' intervals of level 1 - 2 alpha), smallest_bound (with
    # which the step would pass as equivalent). With values off the analyser's scale also n_off_scale; and, where no model of
    # censored values could be fitted, label_at_scale_end, holds_to_high, holds_to_low of `LimitBounds`.
    steps: pd.DataFrame
    plateau: Plateau  # Where it stops changing, and every candidate that was tried
    # How different the missing rounds would have to be to change a label; None where nothing is missing
    tipping: TippingPoint | None
    # For values off the analyser's scale: the range of every estimate, for sensitivity; None where there are none
    bounds: LimitBounds | None
    opponents: OpponentSpread | None  # Spread between bouts; None where opponents were not noted
    # One line per way of analysing: change from first to last, interval, p, plateau, whether it agrees
    sensitivity: pd.DataFrame
    residuals: pd.DataFrame  # For the assumption checks: athlete, round_no, fitted, residual, standardized
    athlete_effects: pd.DataFrame  # For the assumption checks: athlete, effect (predicted random intercept)
    spread: pd.DataFrame  # SD per round and SD of each step's differences, with the number of athletes
    # Rounds sat out, and rounds whose rest before was changed by one: athlete, round_no, took_part, rest_before_s
    rests: pd.DataFrame
    # True where a change over the rounds is claimed (round test by Kenward-Roger and by its sphericity-corrected form)
    changed: bool | None
    p_change: float  # The largest p of the tests that must agree before a change is claimed
    # "changed", "changed but smaller than matters", "equivalent" or "not shown", for the rounds as a whole
    verdict: str
    last_minus_first: float  # Estimated change from the first to the last round, in the outcome's unit
    plateau_from: str  # Label of the round from which no meaningful change is shown; "" where none
    n_athletes: int  # Of the main analysis
    n_observations: int
    method: str  # The main analysis in words
    left_out: pd.DataFrame  # Every row that was not used, with its reason
    warnings: tuple[str, ...] = ()


def answer_rounds(
    data: pd.DataFrame, outcome: str, *, smallest_effect: float, alpha: float = 0.05,
    limit: tuple[float, float] | None = None, role: str = "primary", ordinal: bool = False,
    flagged_kept: pd.DataFrame | None = None, other_outcomes: Mapping[str, float] | None = None,
    leave_out: Mapping[str, Sequence[str]] | None = None, round_variable: str = "round_no", seed: int = 0,
) -> RoundsAnswer:  # fmt: skip
    """Answer for one outcome: does it change over the rounds, and where does it stop changing?

    When to use: for a whole evening's answer, with everything that belongs beside it. The parts can be called by
    themselves: `compare_rounds`, `find_plateau` and the others.

    Parameters
    ----------
    data : DataFrame
        One row per athlete and round of one session: `athlete`, `round_no`, the outcome; used where present:
        `took_part`, `rest_before_s`, `opponent`, `bout_no`, `lactate_limit`.
    outcome : str
        A numeric column of `data`.
    smallest_effect : float
        The smallest change that matters, above 0, in the outcome's unit.
    alpha : float
        Level of every test, between 0 and 1. Default 0.05.
    limit : (float, float), optional
        Lower and upper end of the lactate analyser's scale in mmol/L; values marked "low" or "high" in the
        column `lactate_limit` lie beyond, a "high" no higher than what is refused when it is typed. Default: the smallest
        and largest value that was read.
    role : {"primary", "secondary", "exploratory"}
        What the plan says of this outcome.
    ordinal : bool
        True for ratings. Default False.
    flagged_kept : DataFrame, optional
        The same table computed with flagged samples kept, for the sensitivity table.
    other_outcomes : mapping of str to float, optional
        Further columns of `data` that measure the same thing, with their smallest effect, for the sensitivity table.
    leave_out : mapping of str to sequence of str, optional
        Name of a further analysis -> athletes whom it leaves out, for the sensitivity table.
    round_variable : {"round_no", "bout_no"}
        Which number orders the rounds, from the plan.
    seed : int
        Of the imputations of the tipping point. Default 0.

    Returns
    -------
    RoundsAnswer

    Raises
    ------
    KitError
        Where the table cannot be analysed, in words that say why.

    Notes
    -----
    A change over the rounds is claimed where the Kenward-Roger test and the same test with the Greenhouse-Geisser epsilon
    both reach alpha (with two rounds: Kenward-Roger and CR2), a plateau where Kenward-Roger and CR2 both do. A step, or the
    change from the first round to the last, is claimed only inside a change over the rounds, after Shaffer's (1986) adjustment
    of all of them: 5 % in all. For
    ratings an exact test by their order decides what changed (`models.shuffle_within`), and equivalence needs the exact signed
    ranks too. Values off the analyser's scale enter as censored (`models.refit_censored`), and `bounds` shows what the
    extremes would give; where a round holds no value that was read, a claim must hold at every extreme instead. Where
    opponents were noted the two of a bout may be alike or opposed (`models.refit_pairs`). Rounds come in order of time:
    nothing here says that rounds cause it.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("AAABBBCCCDDD"), "round_no": [1, 2, 3] * 4,
    ...     "hr_mean_bpm": [160.0, 171, 172, 150, 160, 160, 171, 180, 179, 152, 163, 164]})
    >>> answer = answer_rounds(data, "hr_mean_bpm", smallest_effect=5)
    >>> answer.verdict, answer.plateau_from
    ('changed', '2')
    """
    check_choice(role, ROLES, name="role")
    need_columns(data, ("athlete", outcome))
    smallest_effect = check_effect(smallest_effect)
    check_bounds(-smallest_effect, smallest_effect, alpha)
    timed = data
    if round_variable != "round_no":
        need_columns(data, (round_variable,))
        timed = data.assign(round_no=data[round_variable])
    off = find_limits(timed, outcome, limit=limit) if outcome.startswith("lactate") else None
    working = timed if off is None else off.placed(timed, outcome)
    opponent = ["opponent"] if "opponent" in data else []
    keep = [*opponent, *([LIMIT_COLUMN] if off is not None else [])]
    rows = prepare_rounds(working, outcome, keep=keep)
    main = compare_of(rows, alpha=alpha)
    effect = {"smallest_effect": smallest_effect, "alpha": alpha}
    known = {"successive": main.contrasts, "first": main.versus_first}
    steps = all_steps(rows, main.fit, ordinal=ordinal, known=known, **effect)
    band = {"low": -smallest_effect, "high": smallest_effect}
    plateau = plateau_of(rows, main.fit, **band, alpha=alpha, ordinal=ordinal, pairwise=main.pairwise)
    bounds = None
    censored = main.allows_for == CENSORED
    if off is not None:
        near, level = steps, plateau.starts_at
        if censored:
            near = all_steps(rows, main.plain_fit, **effect)
            level = plateau_of(rows, main.plain_fit, **band, alpha=alpha).starts_at
        options = {"steps": near, "plateau_from": level, "turns": not censored}
        bounds = bounds_of(rows, main.plain_fit, off, **options, **effect)
    ranks = ranks_of(rows, complete=False, ordinal=ordinal)
    tipping = tipping_of(rows, seed=seed, main=main, **effect)
    rests = rests_of(data)
    plateau_from = plateau.starts_at
    if bounds is not None and censored:
        off_scale = bounds.table.set_index("contrast")["n_off_scale"]
        steps = steps.assign(n_off_scale=off_scale.loc[steps["contrast"]].to_numpy())
    elif bounds is not None:
        # of each label only what holds at every extreme of the values off the scale
        names = ["n_off_scale", "changed", "equivalent", "label", "label_at_scale_end", "holds_to_high", "holds_to_low"]
        held = bounds.table.set_index("contrast").loc[steps["contrast"], names]
        steps = steps.assign(**{name: held[name].to_numpy() for name in names})
        plateau_from = bounds.plateau_from
    p_change = _p_change(main, ranks if ordinal else None, None if censored else bounds)
    changed = None if np.isnan(p_change) else bool(p_change < alpha)
    steps = with_bounds(gate_steps(steps, changed), rows.wide if ordinal else None, alpha=alpha)
    checks = (main.fit if censored else main.plain_fit).diagnostics()
    placed = data if off is None else off.placed(data, outcome)
    ways = other_ways(placed, outcome, smallest_effect, flagged_kept, other_outcomes, round_variable, rests, leave_out)
    found = {"rows": rows, "steps": steps, "ranks": ranks, "tipping": tipping, "bounds": bounds}
    sensitivity = sensitivity_table(main=main, plateau_from=plateau_from, ways=ways, ordinal=ordinal, **found, **effect)
    return RoundsAnswer(
        outcome=outcome, smallest_effect=float(smallest_effect), alpha=float(alpha), ordinal=ordinal, role=role,
        labels=rows.labels, rows=_shown_rows(rows), comparison=main, anova=main.anova, ranks=ranks,
        effect_sizes=main.effect_sizes, equivalence=plateau.pairs, steps=steps, plateau=plateau, tipping=tipping,
        bounds=bounds, opponents=opponents_of(rows) if opponent else None, sensitivity=sensitivity,
        residuals=checks.residuals, athlete_effects=checks.random_effects, spread=_spread(rows), rests=rests,
        changed=changed, p_change=p_change, verdict=label_of_step(bool(changed), plateau_from == rows.labels[0]),
        last_minus_first=float(steps["estimate"].iloc[-1]), plateau_from=plateau_from, n_athletes=main.n_athletes,
        n_observations=main.n_observations, method=main.method, left_out=main.left_out,
        warnings=_warnings(main, bounds, rests, rows),
    )  # fmt: skip


def _p_change(main: RoundsComparison, ranks, bounds) -> float:
    """The largest p of the tests over all rounds that must agree; missing where the model gives none."""
    if ranks is not None:
        return float(ranks.shuffles.p)
    overall = main.overall
    needed = [overall.p, overall.p_epsilon]
    if len(main.labels) == 2:
        needed.append(overall.p_cr2)
    if bounds is not None:
        needed.append(bounds.ranks.contrasts["p"].iloc[0] if len(main.labels) == 2 else bounds.ranks.p)
    return float("nan") if np.isnan(needed[0]) else float(np.max(np.nan_to_num(needed, nan=1.0)))


def _shown_rows(rows: RoundRows) -> pd.DataFrame:
    parts = [rows.table.assign(tested=True)]
    order = list(rows.labels)
    if len(rows.before):
        parts.insert(0, rows.before.assign(round_no="0", tested=False))
        order.insert(0, "0")
    shown = pd.concat([p.assign(round_no=p["round_no"].astype(str)) for p in parts], ignore_index=True)
    limit = shown[LIMIT_COLUMN].fillna("").astype(str) if LIMIT_COLUMN in shown else ""
    shown = shown.assign(round_no=pd.Categorical(shown["round_no"], categories=order, ordered=True), limit=limit)
    return shown.sort_values(["athlete", "round_no"], ignore_index=True)[
        ["athlete", "round_no", "value", "tested", "limit"]
    ]


def _spread(rows: RoundRows) -> pd.DataFrame:
    """SD of each round and of each step's differences: equal ones are what the pooled error assumes."""
    columns = [("values", label, rows.wide[label].dropna()) for label in rows.labels]
    for later, earlier in pairs_of(rows.labels, "successive"):
        a, b = rows.labels[later], rows.labels[earlier]
        columns.append(("differences", f"{a} - {b}", (rows.wide[a] - rows.wide[b]).dropna()))
    return pd.DataFrame(
        [{"what": what, "label": label, "sd": float(v.std()), "n_athletes": len(v)} for what, label, v in columns]
    )


def _warnings(main, bounds, rests, rows: RoundRows) -> tuple[str, ...]:
    warnings = list(main.warnings)
    if main.anova is None:
        warnings.append(
            "Fewer than two athletes have every round, so there is no analysis of variance of complete cases."
        )
    else:
        warnings += main.anova.warnings
    if bounds is not None:
        count = bounds.n_high + bounds.n_low
        warnings += bounds.warnings
        how = (
            "as lying beyond its end, by a model of censored values that takes the spread there to be as elsewhere"
            + (" in its round, as it differs between rounds." if main.fit._tests.grows else ".")
            if main.allows_for == CENSORED
            else "at the end of the scale; what is claimed holds wherever beyond it they may lie, or says how far."
        )
        warnings.append(f"{plural(count, 'value')} off the analyser's scale entered the main analysis {how}")
    sat = rests[rests["what"] == "sat out"]
    if len(sat):
        warnings.append(
            f"{plural(len(sat), 'round')} of {plural(len(set(sat['athlete'])), 'athlete')} "
            f"{'was' if len(sat) == 1 else 'were'} sat out; the rest before the next round was longer for them."
        )
    if len(rows.before):
        warnings.append(f"{plural(len(rows.before), 'value')} before sparring (round 0) shown, not tested as a round.")
    return tuple(dict.fromkeys(warnings))


def adjust_outcomes(answers: Mapping[str, RoundsAnswer]) -> pd.DataFrame:
    """Adjust the round tests of several outcomes of one question: the primary one at alpha, Holm for the rest.

    One primary outcome per question is tested at alpha; the others are adjusted by Holm within the question, or labelled
    exploratory, as the plan says.

    Holm 1979, Scandinavian Journal of Statistics 6:65.
    """
    from ..models import holm

    if not answers:
        raise KitError("There is no answer to adjust.")
    table = pd.DataFrame([_line(name, answer) for name, answer in answers.items()])
    named = table.loc[table["role"] == "primary", "outcome"].tolist()
    if len(named) > 1:
        raise KitError(f"A question has one primary outcome; here {join_words(named)} are named primary.")
    adjusted = table["p"].where(table["role"] == "primary")
    second = (table["role"] == "secondary").to_numpy()
    if second.any():
        adjusted[second] = holm(table.loc[second, "p"].to_numpy())
    table.insert(6, "p_adjusted", adjusted)
    table["changed"] = table["changed"] & (table["p_adjusted"] < table["alpha"])
    return table.drop(columns="alpha")


def _line(name: str, answer: RoundsAnswer) -> dict:
    test = answer.comparison.overall
    return {
        "outcome": name, "role": answer.role, "statistic": test.statistic, "df_num": test.df_num, "df_den": test.df_den,
        "p": test.p, "changed": bool(answer.changed) and answer.role != "exploratory", "alpha": answer.alpha,
        "method": test.method,
    }  # fmt: skip
