"""One analysis of the rounds at a time, from a table: what `answer_rounds` computes all together."""

from analysis.rounds.anova import anova_of
from analysis.rounds.bounds import bounds_of, find_limits
from analysis.rounds.compare import compare_of, effects_of, fit_rounds
from analysis.rounds.opponents import opponents_of
from analysis.rounds.plateau import equivalence_of, plateau_of
from analysis.rounds.prepare import LIMIT_COLUMN, prepare_rounds
from analysis.rounds.ranks import ranks_of
from analysis.rounds.steps import all_steps
from analysis.rounds.tipping import tipping_of


def compare_rounds(data, outcome, *, alpha=0.05, round_variable="round_no"):
    return compare_of(prepare_rounds(data, outcome, round_variable=round_variable), alpha=alpha)


def anova_rounds(data, outcome):
    return anova_of(prepare_rounds(data, outcome))


def rank_rounds(data, outcome, *, kind="successive", complete=True):
    return ranks_of(prepare_rounds(data, outcome), kind=kind, complete=complete, ordinal=True)


def paired_effects(data, outcome, *, kind="successive"):
    return effects_of(prepare_rounds(data, outcome), kind=kind)


def equivalence(data, outcome, **options):
    rows = prepare_rounds(data, outcome)
    return equivalence_of(rows, fit_rounds(rows), **{"kind": "successive", "alpha": 0.05, **options})


def find_plateau(data, outcome, **options):
    rows = prepare_rounds(data, outcome)
    return plateau_of(rows, fit_rounds(rows), **{"alpha": 0.05, **options})


def tipping_point(data, outcome, **options):
    return tipping_of(prepare_rounds(data, outcome), **options)


def bound_limits(data, outcome, *, smallest_effect, alpha=0.05, limit=None):
    off = find_limits(data, outcome, limit=limit)
    if off is None:
        return None
    rows = prepare_rounds(off.placed(data, outcome), outcome, keep=[LIMIT_COLUMN])
    fit, effect = fit_rounds(rows), {"smallest_effect": smallest_effect, "alpha": alpha}
    level = plateau_of(rows, fit, low=-smallest_effect, high=smallest_effect, alpha=alpha).starts_at
    return bounds_of(rows, fit, off, steps=all_steps(rows, fit, **effect), plateau_from=level, **effect)


def describe_opponents(data, outcome):
    if "opponent" not in data:
        return None
    return opponents_of(prepare_rounds(data, outcome, keep=("opponent",)))
