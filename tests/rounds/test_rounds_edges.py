"""The edges of what is claimed about rounds: levels met exactly, one method alone, spread of zero, nobody with both rounds."""

import numpy as np
import pandas as pd
import pytest

from analysis.basics import KitError
from analysis.rounds import compare_rounds, find_plateau
from analysis.rounds.compare import BOUTS_IGNORED, compare_of, contrast_table
from analysis.rounds.plateau import equivalence, equivalence_of, try_candidates
from analysis.rounds.prepare import LIMIT_COLUMN, prepare_rounds

LETTERS = [f"A{i:02d}" for i in range(1, 41)]


def table_of(values):
    """Athletes by rounds as rows; a missing value stays a row without one."""
    values = np.asarray(values, dtype=float)
    return pd.DataFrame(
        [(LETTERS[i], j + 1, values[i, j]) for i in range(len(values)) for j in range(values.shape[1])],
        columns=["athlete", "round_no", "y"],
    )


class TwoMethods:
    """A fit that answers with p of its own, so that the rule alone is tested."""

    def __init__(self, kenward_roger, robust):
        self.p = {"kenward-roger": kenward_roger, "cr2": robust}

    def contrasts(self, factor, *, kind, ddf):
        p = np.asarray(self.p[ddf], dtype=float)
        names = [f"{i + 2}" for i in range(len(p))]
        return pd.DataFrame(
            {"contrast": [f"{n} - 1" for n in names], "later": names, "earlier": "1", "estimate": 1.0, "p_adjusted": p}
        )


def test_a_change_needs_both_methods_below_alpha_and_not_at_it():
    found = contrast_table(
        TwoMethods([0.04, 0.04, 0.06, 0.06, 0.05, 0.05], [0.04, 0.06, 0.04, 0.06, 0.04, 0.05]), kind="first"
    )
    assert found["changed"].tolist() == [True, False, False, False, False, False]
    assert found["agree"].tolist() == [True, False, False, True, False, True]
    assert list(found.columns[:5]) == ["contrast", "later", "earlier", "kind", "estimate"]
    assert set(found["kind"]) == {"first"} and found.index.tolist() == list(range(6))
    stricter = contrast_table(TwoMethods([0.009, 0.04], [0.009, 0.04]), kind="first", alpha=0.01)
    assert stricter["changed"].tolist() == [True, False]


def given(estimate, error, df=9.0, error_cr2=None, df_cr2=None):
    """One contrast as `contrast_table` gives it."""
    return pd.DataFrame(
        {
            "contrast": ["2 - 1"],
            "later": "2",
            "earlier": "1",
            "kind": "successive",
            "estimate": float(estimate),
            "standard_error": error,
            "df": df,
            "standard_error_cr2": error if error_cr2 is None else error_cr2,
            "df_cr2": df if df_cr2 is None else df_cr2,
        }
    )


ROWS = table_of([[160.0, 161], [150, 150.5], [171, 170], [165, 165.5], [158, 159]])


def judged(contrasts, *, alpha=0.05, low=-5, high=5, ordinal=False, data=ROWS):
    rows = prepare_rounds(data, "y")
    found = equivalence_of(rows, None, low=low, high=high, alpha=alpha, ordinal=ordinal, contrasts=contrasts)
    return found.iloc[0]


def test_equivalence_by_hand():
    """Critical t of 9 degrees of freedom: 1.833 one-sided at 5 % (any table of t): 5 - 1.833 x 1 = 3.167."""
    assert judged(given(3.16, 1.0))["equivalent"] and not judged(given(3.17, 1.0))["equivalent"]
    assert judged(given(-3.16, 1.0))["equivalent"] and not judged(given(-3.17, 1.0))["equivalent"]
    line = judged(given(1.0, 1.0))
    assert (line["ci_low"], line["ci_high"]) == pytest.approx((1 - 1.8331, 1 + 1.8331), abs=1e-4)
    assert line["p_low"] < line["p_high"] == line["p"]  # 1 lies nearer to the upper bound
    assert (line["n_athletes"], line["n_observations"]) == (5, 10)
    assert "ranks" not in line["method"]


def test_equivalence_needs_both_methods_and_a_p_below_alpha():
    line = judged(given(0, 1.0, error_cr2=3.0))
    assert line["p"] < 0.05 < line["p_cr2"] and not line["equivalent"]
    line = judged(given(0, 3.0, error_cr2=1.0))
    assert line["p_cr2"] < 0.05 < line["p"] and not line["equivalent"]
    exactly = float(judged(given(3.0, 1.0))["p"])
    assert not judged(given(3.0, 1.0), alpha=exactly)["equivalent"]
    assert judged(given(3.0, 1.0), alpha=np.nextafter(exactly, 1))["equivalent"]


def test_without_a_standard_error_nothing_is_shown():
    for error in (0.0, np.nan):
        line = judged(given(0, error))
        assert not line["equivalent"]
        assert line[["p", "p_low", "p_high", "ci_low", "ci_high"]].isna().all()


def test_ratings_need_the_signed_ranks_too():
    """Five differences, all inside the bounds: each side 1/2^5, below 0.05; four: 1/16, and nothing is shown."""
    line = judged(given(0, 0.5), ordinal=True)
    assert line["p_ranks"] == pytest.approx(1 / 32) and line["equivalent"]
    assert "signed ranks" in line["method"]
    line = judged(given(0, 0.5), ordinal=True, data=ROWS[ROWS["athlete"] < "A05"])
    assert line["p_ranks"] == pytest.approx(1 / 16) and not line["equivalent"]
    # the larger of the two sides counts: a difference at +6 of 5 lies beyond the upper bound alone
    beyond = table_of([[160.0, 166], [150, 150.5], [171, 170], [165, 165.5], [158, 159]])
    assert judged(given(0, 0.5), ordinal=True, data=beyond)["p_ranks"] == pytest.approx(2 / 32)
    below = table_of([[166.0, 160], [150, 150.5], [171, 170], [165, 165.5], [158, 159]])
    assert judged(given(0, 0.5), ordinal=True, data=below)["p_ranks"] == pytest.approx(2 / 32)
    apart = table_of([[160.0, np.nan], [150, np.nan], [np.nan, 170], [np.nan, 165]])
    line = judged(given(0, 0.5), ordinal=True, data=apart)
    assert np.isnan(line["p_ranks"]) and not line["equivalent"]


def test_what_equivalence_takes_for_granted():
    """Successive rounds at 5 %, ranks only where they are asked for."""
    data = table_of(np.array([[160.0, 161, 160], [150, 150.5, 151], [171, 170, 170.5], [165, 165.5, 165]]))
    found = equivalence(data, "y", low=-5, high=5)
    assert found["contrast"].tolist() == ["2 - 1", "3 - 2"] and "p_ranks" not in found
    asked = equivalence(data, "y", low=-5, high=5, kind="successive", alpha=0.05, ordinal=False)
    pd.testing.assert_frame_equal(found, asked)
    plateau = find_plateau(data, "y", low=-5, high=5)
    assert plateau.alpha == 0.05 and "p_ranks" not in plateau.pairs and len(plateau.pairs) == 3
    assert "p_ranks" in find_plateau(data, "y", low=-5, high=5, ordinal=True).pairs
    for alpha in (0, 0.5, 0.7):
        with pytest.raises(KitError, match="alpha"):
            equivalence(data, "y", low=-5, high=5, alpha=alpha)
    for low, high in ((0, 5), (-5, 0), (5, -5), (1, 5)):
        with pytest.raises(KitError, match="enclose 0"):
            equivalence(data, "y", low=low, high=high)


def test_a_candidate_without_a_p_has_p_one_and_the_worst_is_named():
    pairs = pd.DataFrame(
        {
            "contrast": ["2 - 1", "3 - 1", "3 - 2"],
            "later": ["2", "3", "3"],
            "earlier": ["1", "1", "2"],
            "p": [0.01, np.nan, 0.02],
            "p_cr2": [0.03, 0.01, 0.01],
            "equivalent": [True, False, True],
        }
    )
    found = try_candidates(pairs, ["1", "2", "3"])
    assert found["p"].tolist() == [0.02, 1.0]
    assert found["worst_contrast"].tolist() == ["3 - 2", "3 - 1"]
    assert found["holds"].tolist() == [True, False] and found["tested"].tolist() == [True, True]


def test_the_level_of_a_comparison_lies_between_0_and_1(club):
    data = club(n=6)
    for alpha in (0, 1, 1.5, -0.1):
        with pytest.raises(KitError, match="alpha"):
            compare_rounds(data, "hr_mean_bpm", alpha=alpha)


def test_the_classical_analysis_stands_beside_from_two_complete_athletes_on(club):
    """Greenhouse and Geisser (1959): epsilon is at least 1/(k - 1), taken where fewer than three are complete."""
    data = club(n=6, means=(160, 166, 168))
    holes = data["athlete"].isin(["A03", "A04", "A05", "A06"]) & (data["round_no"] == 3)
    two = compare_rounds(data[~holes], "hr_mean_bpm")
    assert two.anova.n_athletes == 2 and two.overall.epsilon == 0.5
    assert two.overall.p_gg == two.anova.p_gg
    assert two.overall.p_epsilon > two.overall.p
    one = compare_rounds(data[~(holes | ((data["athlete"] == "A02") & (data["round_no"] == 3)))], "hr_mean_bpm")
    assert one.anova is None and np.isnan(one.overall.p_gg) and one.overall.epsilon == 0.5
    three = compare_rounds(data[~(holes & (data["athlete"] != "A03"))], "hr_mean_bpm")
    assert three.overall.epsilon == three.anova.epsilon_gg > 0.5


def test_the_unit_of_an_outcome_changes_no_p(club):
    data = club(n=6, means=(160, 166, 168))
    plain = compare_rounds(data, "hr_mean_bpm")
    small = compare_rounds(data.assign(hr_mean_bpm=data["hr_mean_bpm"] * 1e-14), "hr_mean_bpm")
    assert small.contrasts["p"].tolist() == pytest.approx(plain.contrasts["p"].tolist(), rel=1e-6)
    with pytest.raises(KitError, match="Every value of hr_mean_bpm is the same"):
        compare_rounds(data.assign(hr_mean_bpm=170.0), "hr_mean_bpm")


def test_marks_of_the_scale_change_the_model_only_where_there_are_some(club):
    data = club(n=6, means=(8.0, 10.0, 11.0), athlete_sd=1, error_sd=0.5, name="y").assign(**{LIMIT_COLUMN: ""})
    none = compare_rounds_marked(data)
    assert none.allows_for == "" and none.fit is none.plain_fit
    data.loc[data["y"].idxmax(), LIMIT_COLUMN] = "high"
    high = compare_rounds_marked(data)
    assert high.allows_for == "values off the scale"
    # the marked value may lie higher, so the mean of its round can only rise; marked low it can only fall
    marked = data.loc[data["y"].idxmax(), "round_no"]
    low = compare_rounds_marked(data.replace({LIMIT_COLUMN: {"high": "low"}}))
    at = [result.means.set_index("round_no")["estimate"][str(marked)] for result in (low, none, high)]
    assert at[0] < at[1] < at[2]


def compare_rounds_marked(data):
    """Compare rows that carry the marks of the scale."""
    return compare_of(prepare_rounds(data, "y", keep=(LIMIT_COLUMN,)))


def test_bouts_are_allowed_for_or_said_to_be_ignored(club):
    data = club(n=6, means=(160, 166, 168), seed=3)
    numbers = data["athlete"].str[1:].astype(int)
    turns = {1: [(1, 2), (3, 4), (5, 6)], 2: [(1, 3), (2, 5), (4, 6)], 3: [(1, 4), (2, 6), (3, 5)]}
    against = {(r, a): b for r, pairs in turns.items() for x, y in pairs for a, b in ((x, y), (y, x))}
    data["opponent"] = [f"A{against[r, a]:02d}" for r, a in zip(data["round_no"], numbers, strict=True)]
    result = compare_of(prepare_rounds(data, "hr_mean_bpm", keep=("opponent",)))
    assert result.allows_for == "bouts" and BOUTS_IGNORED not in result.warnings


def test_before_sparring_has_a_t_interval_of_its_own(club):
    """Values 88, 90, 92: mean 90, SD 2, t(2) = 4.303: half-width 4.303 x 2 / sqrt 3 = 4.968."""
    data = club(n=6)
    before = pd.DataFrame({"athlete": LETTERS[:3], "round_no": 0, "hr_mean_bpm": [88.0, 90, 92]})
    line = compare_rounds(pd.concat([before, data]), "hr_mean_bpm").means.iloc[0]
    assert (line["estimate"], line["observed_sd"], line["df"], line["n_athletes"]) == (90, 2, 2, 3)
    assert (line["ci_low"], line["ci_high"]) == pytest.approx((90 - 4.968, 90 + 4.968), abs=1e-3)
    line = compare_rounds(pd.concat([before.head(1), data]), "hr_mean_bpm").means.iloc[0]
    assert line["n_athletes"] == 1 and np.isnan(line["ci_low"]) and np.isnan(line["observed_sd"])


def test_of_two_rounds_there_is_one_step(club):
    two = compare_rounds(club(n=6, means=(160, 166)), "hr_mean_bpm")
    assert set(two.effect_sizes["contrast"]) == {"2 - 1"}
    assert (two.effect_sizes["measure"] == "difference").sum() == 1
