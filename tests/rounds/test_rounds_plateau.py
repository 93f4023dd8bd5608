"""Where it stops changing: every pair, from the end backwards; the four labels; calibration of both."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.rounds import compare_rounds, find_plateau, rank_rounds
from analysis.rounds.plateau import equivalence, try_candidates
from analysis.rounds.steps import STEP_LABELS, label_of_step, label_steps, reading_of_step


def pairs_table(equivalent):
    """Every pair of four rounds; `equivalent` lists the contrasts that are."""
    names = [(b, a) for b in range(2, 5) for a in range(1, b)]
    return pd.DataFrame(
        {
            "contrast": [f"{b} - {a}" for b, a in names],
            "later": [str(b) for b, _ in names],
            "earlier": [str(a) for _, a in names],
            "p": [0.01 if f"{b} - {a}" in equivalent else 0.5 for b, a in names],
            "equivalent": [f"{b} - {a}" in equivalent for b, a in names],
        }
    )


@pytest.mark.parametrize(
    ("equivalent", "start"),
    [
        ([], ""),
        (["4 - 3"], "3"),
        (["4 - 3", "3 - 2"], "3"),  # successive pairs alone would let a creeping rise through
        (["4 - 3", "3 - 2", "4 - 2"], "2"),
        (["4 - 3", "3 - 2", "4 - 2", "2 - 1", "3 - 1"], "2"),
        (["4 - 3", "3 - 2", "4 - 2", "2 - 1", "3 - 1", "4 - 1"], "1"),
        (["2 - 1", "3 - 1", "3 - 2"], ""),  # level early, but not at the end
    ],
)
def test_rule(equivalent, start):
    table = try_candidates(pairs_table(equivalent), ["1", "2", "3", "4"])
    holding = table.loc[table["tested"] & table["holds"], "from_round"]
    assert (holding.iloc[-1] if len(holding) else "") == start
    assert table["n_pairs"].tolist() == [1, 3, 6]
    assert table["from_round"].tolist() == ["3", "2", "1"]


def test_search_ends_at_the_first_failure():
    table = try_candidates(pairs_table(["3 - 2"]), ["1", "2", "3", "4"])
    assert table["tested"].tolist() == [True, False, False]
    assert table.loc[0, "worst_contrast"] == "4 - 3"


def test_finds_the_plateau_of_a_clear_club(club):
    result = find_plateau(club(means=(150, 170, 170, 170), error_sd=1.5), "hr_mean_bpm", low=-5, high=5)
    assert result.starts_at == "2" and result.found and not result.whole
    flat = find_plateau(club(means=(170, 170, 170, 170), error_sd=1.5), "hr_mean_bpm", low=-5, high=5)
    assert flat.whole and flat.starts_at == "1"
    none = find_plateau(club(means=(150, 160, 170, 180), error_sd=1.5), "hr_mean_bpm", low=-5, high=5)
    assert none.starts_at == "" and not none.found


def test_two_rounds(club):
    assert find_plateau(club(means=(170, 170), error_sd=1), "hr_mean_bpm", low=-5, high=5).whole
    assert not find_plateau(club(means=(170, 180), error_sd=1), "hr_mean_bpm", low=-5, high=5).found


def test_wider_bounds_never_lose_a_plateau(club):
    for seed in range(5):
        data = club(seed=seed)
        starts = [find_plateau(data, "hr_mean_bpm", low=-b, high=b).starts_at or "9" for b in (2, 4, 6, 10, 20)]
        assert starts == sorted(starts, reverse=True)


def test_bounds_are_checked(club):
    with pytest.raises(KitError, match="enclose 0"):
        find_plateau(club(), "hr_mean_bpm", low=0, high=5)


def test_labels():
    assert [label_of_step(c, e) for c, e in ((True, False), (False, True), (True, True), (False, False))] == list(
        STEP_LABELS
    )


def test_steps_of_ratings_are_judged_by_the_ranks(club):
    data = club(means=(12, 14, 15, 15), error_sd=0.8, athlete_sd=1, name="exertion")
    contrasts = compare_rounds(data, "exertion").contrasts
    tested = equivalence(data, "exertion", low=-1, high=1)
    ranks = rank_rounds(data, "exertion").contrasts
    steps = label_steps(contrasts, tested, ranks=ranks, alpha=0.05)
    assert (steps["changed"] == (steps["p_ranks"] < 0.05)).all()
    assert set(steps["label"]) <= set(STEP_LABELS)
    without = label_steps(contrasts, tested, alpha=0.05)
    assert "p_ranks" not in without


@pytest.mark.parametrize("which", ["p_adjusted", "p_adjusted_cr2", "ranks"])
def test_a_step_changed_where_every_test_that_counts_is_below_alpha_and_not_at_it(club, which):
    data = club()
    contrasts = compare_rounds(data, "hr_mean_bpm").contrasts.assign(p_adjusted=0.01, p_adjusted_cr2=0.01)
    tested = equivalence(data, "hr_mean_bpm", low=-1, high=1)
    ranks = contrasts[["contrast"]].assign(p_adjusted=0.01)
    for p, changed in ((0.0499, True), (0.05, False), (0.0501, False)):
        if which == "ranks":  # for ratings the ranks decide, whatever the model says of their means
            steps = label_steps(contrasts.assign(p_adjusted=0.9), tested, ranks=ranks.assign(p_adjusted=p), alpha=0.05)
        else:
            steps = label_steps(contrasts.assign(**{which: p}), tested, alpha=0.05)
        assert (steps["changed"] == changed).all(), p


def test_a_step_that_rests_on_values_off_the_scale_says_how_far_they_may_lie():
    nan = float("nan")
    step = {"label": "not shown", "label_at_scale_end": "changed", "holds_to_high": 15.38, "holds_to_low": nan}
    said = reading_of_step(step, 1, "mmol/L").replace("\N{NO-BREAK SPACE}", " ")
    assert said == "changed if HI ≤ 15.3 mmol/L, else not shown"
    assert reading_of_step(step | {"label_at_scale_end": "not shown"}) == "not shown"
    assert reading_of_step({"label": "changed"}) == "changed"


def test_steps_want_the_same_contrasts(club):
    data = club()
    with pytest.raises(KitError, match="lacks the contrasts"):
        label_steps(
            compare_rounds(data, "hr_mean_bpm").contrasts,
            equivalence(data, "hr_mean_bpm", low=-5, high=5, kind="first"),
            alpha=0.05,
        )


def test_calibration(club):
    """50 clubs: rounds truly apart by the bound are called level in at most 5 %; a creeping rise is not let through."""
    n_studies, wrong, creeping, found = 50, 0, 0, 0
    for seed in range(n_studies):
        at_bound = club(means=(160, 165, 170), error_sd=3, seed=seed)
        wrong += find_plateau(at_bound, "hr_mean_bpm", low=-5, high=5).found
        creep = club(means=(160, 163, 166), error_sd=1.5, seed=seed)
        creeping += find_plateau(creep, "hr_mean_bpm", low=-5, high=5).whole
        level = club(n=16, means=(160, 170, 170), error_sd=3, seed=seed)
        found += find_plateau(level, "hr_mean_bpm", low=-5, high=5).starts_at == "2"
    limit = n_studies * 0.05 + 3 * np.sqrt(n_studies * 0.05 * 0.95)
    assert wrong <= limit
    assert creeping <= limit
    assert found >= 0.9 * n_studies
