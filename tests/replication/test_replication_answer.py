"""Published numbers read, compared and judged: the whole comparison, from a table to a verdict."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.physiology import published_combat_values, published_example
from analysis.replication import answer_replication
from analysis.replication.answer import compare_protocols
from analysis.replication.combine import compare_correlation, judge_consistency
from analysis.replication.findings import r_from_p, read_findings, sd_from_spread
from analysis.rounds import answer_rounds
from analysis.study import Protocol

PROTOCOL = Protocol(4, 300.0, 120.0, "6-20")


def published(*rows):
    return pd.DataFrame([{"finding": "paper", "source": "invented"} | row for row in rows])


def r_row(**more):
    return {"outcome": "hr_mean_bpm", "statistic": "r", "value": -0.6, "n_athletes": 12} | more


def mean_row(round_no, value, **more):
    spread = {"spread": 9.0, "spread_kind": "sd", "n_athletes": 12}
    return {"outcome": "hr_mean_bpm", "statistic": "mean", "round_no": round_no, "value": value} | spread | more


def our_fitness(r=-0.3, n=16, slope=-0.5):
    """What the comparison reads of an answer on fitness."""
    half = 1.96 / math.sqrt(n - 3)
    limits = {"ci_low": math.tanh(math.atanh(r) - half), "ci_high": math.tanh(math.atanh(r) + half)}
    line = {"estimate": r, **limits, "p": 0.2, "n_athletes": n}
    table = pd.DataFrame([{"analysis": a} | line for a in ("Pearson", "Spearman")])
    fit = SimpleNamespace(estimate=slope, standard_error=0.3, ci_low=slope - 0.6, ci_high=slope + 0.6, df=n - 2,
                          unit="mL/kg/min", adjusted_for=("age_years",))  # fmt: skip
    return {"hr_mean_bpm": SimpleNamespace(correlations=table, planned=fit)}


def our_rounds(means=(160.0, 167.0, 170.0), n=14, seed=3):
    rng = np.random.default_rng(seed)
    level = rng.normal(0, 8, n)
    rows = [(f"A{i}", j + 1, m + level[i] + rng.normal(0, 3)) for i in range(n) for j, m in enumerate(means)]
    table = pd.DataFrame(rows, columns=["athlete", "round_no", "hr_mean_bpm"])
    return table, {"hr_mean_bpm": answer_rounds(table, "hr_mean_bpm", smallest_effect=5)}


def compare(table, fitness=None, rounds=None, **more):
    return answer_replication(table, fitness or {}, rounds or {}, PROTOCOL, **more)


def test_a_bound_on_p_gives_the_sizes_that_are_compatible_with_it():
    # published tables of critical correlations: n = 12, two-sided .05: .576
    assert r_from_p(0.05, 12) == pytest.approx(0.576, abs=0.0005)
    answer = compare(published(r_row(value=np.nan, p=0.05, p_is_bound="yes")), our_fitness(r=-0.3))
    line = answer.p_only.iloc[0]
    assert (line["r_low"], line["r_high"]) == pytest.approx((0.576, 1.0), abs=0.0005)
    assert not line["inside"] and answer.table.empty
    exact = read_findings(published(r_row(value=np.nan, p=0.03))).correlations.iloc[0]
    assert exact["r_low"] == exact["r_high"] == pytest.approx(r_from_p(0.03, 12)) and exact["how"] == "from p"


@pytest.mark.parametrize(
    ("spread", "kind", "n", "limits", "sd"),
    [
        (1.8, "sem", 16, {}, 7.2),  # Degoutte 2003: 12.3 +/- 1.8 is a standard error
        (2.7, "iqr", 20, {}, 2.0),
        (np.nan, "", 16, {"ci_low": 10.0, "ci_high": 14.0}, 2.0 * 4 / 2.13145),  # t table, 15 degrees of freedom
        (2.0, "ci", 16, {}, 2.0 * 4 / 2.13145),
        (3.1, "sd", 9, {}, 3.1),
    ],
)
def test_every_kind_of_spread_becomes_an_sd(spread, kind, n, limits, sd):
    assert sd_from_spread(spread, kind, n, **limits) == pytest.approx(sd, rel=1e-4)


def test_a_standard_error_entered_as_sd_is_noticed():
    wrong = read_findings(published(mean_row(1, 170, spread=2.4, n_athletes=14)))
    assert "standard error" in wrong.warnings[0] and "9.0" in wrong.warnings[0]
    assert not read_findings(published(mean_row(1, 170, spread=9.0, n_athletes=14))).warnings
    turned = read_findings(published(mean_row(1, 170, spread=9.0, spread_kind="sem", n_athletes=14)))
    assert "unusually large" in turned.warnings[0]


def test_none_of_the_published_sds_is_suspected():
    values = published_combat_values()
    fair = values[(values["statistic"] == "mean") & (values["spread_kind"] == "sd")]
    assert len(fair) > 10 and not read_findings(fair).warnings


def test_the_copyable_example_is_read_whole():
    example = published_example()
    found = read_findings(example)
    assert len(found.correlations) + len(found.means) + len(found.unused) == len(example)
    assert len(found.means) > 10 and (found.means["source"] != "").all()


def test_rows_that_cannot_be_compared_are_listed_with_the_reason():
    table = published(
        r_row(value=1.4), r_row(n_athletes=3), r_row(statistic="odds ratio"), r_row(value="much"), r_row(value=np.nan),
        mean_row(1, np.nan), mean_row(1, 150, spread_kind="range"), r_row(statistic="slope", value=-0.4),
    )  # fmt: skip
    found = read_findings(table)
    assert len(found.unused) == len(table) and (found.unused["reason"] != "").all()
    assert len(compare(table, our_fitness()).left_out) == len(table)


def test_a_table_with_only_the_columns_that_are_needed():
    bare = pd.DataFrame([{"outcome": "hr_mean_bpm", "statistic": "r", "value": -0.5, "n_athletes": 12}])
    answer = compare(bare, our_fitness())
    assert answer.correlations[0].finding == "row 1"
    assert compare(pd.DataFrame()).table.empty


@pytest.mark.parametrize(
    ("r", "r_new", "n", "verdict"),
    [
        (-0.6, -0.2, 14, "consistent"),
        (-0.6, 0.4, 40, "opposite"),
        (0.5, 0.95, 40, "larger"),
        (-0.9, -0.1, 40, "smaller"),
    ],
)
def test_the_four_verdicts(r, r_new, n, verdict):
    found = compare_correlation(r, n, r_new, n)
    assert found.verdict == verdict
    assert found.says_little is (verdict == "consistent")


def test_a_verdict_has_two_fields_and_the_signal_has_a_direction():
    clear = compare_correlation(-0.5, 30, -0.6, 30)
    assert clear.signal and clear.verdict == "consistent"
    against = compare_correlation(0.1, 12, -0.7, 30)  # clear, but not in the published direction
    assert not against.signal
    quiet = compare_correlation(-0.6, 12, -0.2, 16)
    assert not quiet.signal and quiet.verdict == "consistent" and quiet.says_little
    assert quiet.impossible_form and quiet.other_form_low == pytest.approx(-1.1278, abs=5e-4)


def test_a_correlation_exactly_on_the_edge_counts_as_consistent():
    assert judge_consistency(-0.6, 0.1, -0.9, 0.1) == "consistent"


def test_published_zero_has_no_direction_to_test():
    found = compare_correlation(0.0, 20, 0.3, 16)
    assert math.isnan(found.smallest_detectable_r) and found.verdict == "consistent"


def test_one_study_counts_once_when_correlations_are_combined():
    table = published(
        r_row(),
        r_row(statistic="rho", value=-0.5),
        r_row(finding="other", value=-0.4),
        r_row(finding="third", value=-0.1),
    )
    answer = compare(table, our_fitness())
    assert len(answer.correlations) == 4
    combined = answer.combined["hr_mean_bpm"]
    assert combined.n_studies == 4 and combined.model == "random effects"  # three papers and ours
    assert any("only its first" in w for w in answer.warnings)


def test_round_means_and_steps_beside_published_ones():
    from scipy.stats import ttest_ind_from_stats, ttest_rel

    table, rounds = our_rounds()
    answer = compare(published(mean_row(1, 158), mean_row(2, 168), mean_row(3, 172), mean_row(7, 180)), rounds=rounds)
    wide = table.pivot_table(index="athlete", columns="round_no", values="hr_mean_bpm")
    first = answer.profiles.iloc[0]
    welch = ttest_ind_from_stats(wide[1].mean(), wide[1].std(), len(wide), 158, 9.0, 12, equal_var=False)
    assert first["estimate"] / first["standard_error"] == pytest.approx(welch.statistic)
    assert welch.pvalue == pytest.approx(two_sided(first["estimate"] / first["standard_error"], first["df"]))
    assert (first["ci_low"], first["ci_high"]) == pytest.approx(tuple(welch_interval(wide[1], 158, 9.0, 12)))
    assert len(answer.profiles) == 3 and "no mean" in answer.left_out["reason"].str.cat()
    assert answer.left_out["round_no"].tolist() == [7.0]

    step = answer.steps.iloc[0]
    r = np.corrcoef(wide[1], wide[2])[0, 1]
    assert step["correlation"] == pytest.approx(r)
    half = 2.20099 * math.sqrt((81 + 81 - 2 * r * 81) / 12)  # t table, 11 degrees of freedom
    assert (step["published_low"], step["published_high"]) == pytest.approx((10 - half, 10 + half), rel=1e-4)
    assert step["difference"] == pytest.approx(step["estimate"] - 10)

    skipping = compare(published(mean_row(1, 158), mean_row(3, 172)), rounds=rounds).steps.iloc[0]
    assert skipping["contrast"] == "3 - 1"
    paired = ttest_rel(wide[3], wide[1]).confidence_interval()
    assert (skipping["ci_low"], skipping["ci_high"]) == pytest.approx((paired.low, paired.high))


def two_sided(statistic, df):
    from scipy.stats import t

    return 2 * t.sf(abs(statistic), df)


def welch_interval(values, mean, sd, n):
    from scipy.stats import t

    a, b = values.var() / len(values), sd**2 / n
    df = (a + b) ** 2 / (a**2 / (len(values) - 1) + b**2 / (n - 1))
    half = t.ppf(0.975, df) * math.sqrt(a + b)
    return values.mean() - mean - half, values.mean() - mean + half


def test_a_published_mean_without_spread_is_shown_without_an_interval():
    _, rounds = our_rounds()
    answer = compare(published(mean_row(1, 158, spread=np.nan, spread_kind="")), rounds=rounds)
    assert math.isnan(answer.profiles["ci_low"].item()) and math.isfinite(answer.profiles["estimate"].item())


def test_rounds_without_any_spread_do_not_break_it():
    rows = pd.DataFrame(
        [(f"A{i}", j, 160.0, True) for i in range(5) for j in (1, 2)],
        columns=["athlete", "round_no", "value", "tested"],
    )
    contrasts = pd.DataFrame(
        {"earlier": [1], "later": [2], "estimate": 0.0, "standard_error": 0.0, "ci_low": 0.0, "ci_high": 0.0, "df": 4}
    )
    rounds = {"hr_mean_bpm": SimpleNamespace(rows=rows, comparison=SimpleNamespace(contrasts=contrasts))}
    answer = compare(published(mean_row(1, 158, spread=0.0), mean_row(2, 168, spread=0.0)), rounds=rounds)
    assert answer.profiles["ci_low"].isna().all() and answer.profiles["estimate"].tolist() == [2.0, -8.0]
    assert len(answer.steps) == 1 and answer.steps["difference"].item() == -10.0


def test_a_published_slope_beside_ours():
    table = published(r_row(statistic="slope", value=-0.9, ci_low=-1.5, ci_high=-0.3))
    line = compare(table, our_fitness(slope=-0.5)).slopes.iloc[0]
    assert line["difference"] == pytest.approx(0.4) and line["difference_low"] < 0 < line["difference_high"]
    se = 0.6 / 2.22814  # t table, 10 degrees of freedom
    assert line["difference_high"] - 0.4 > 1.96 * math.hypot(se, 0.3)  # t, not normal
    assert 10 < line["df"] < 24


def test_protocols_side_by_side():
    theirs = read_findings(published(mean_row(1, 158, sport="Judo", work_s=300.0, rest_s=600.0, sample_site="ear lobe",
                                              sample_delay_s=180.0))).protocols  # fmt: skip
    sessions = pd.DataFrame({"sample_site": ["ear_lobe", "ear_lobe"]})
    table = compare_protocols(theirs, PROTOCOL, sessions=sessions, sport="judo", sample_delay_s=60.0)
    assert dict(zip(table["aspect"], table["same"], strict=True)) == {
        "sport": "yes", "sex": "not stated", "rounds": "no", "work_s": "yes", "rest_s": "no", "sample_site": "yes",
        "sample_delay_s": "no", "clothing": "not stated",
    }  # fmt: skip


def test_groups_with_protocols_of_their_own_are_all_shown():
    ours = Protocol(4, 300.0, 120.0, "6-20", {"women": Protocol(4, 240.0, 120.0, "6-20")})
    theirs = read_findings(published(mean_row(1, 158, work_s=300.0))).protocols
    table = compare_protocols(theirs, ours).set_index("aspect")
    assert table.loc["work_s", "same"] == "no" and "240" in str(table.loc["work_s", "ours"])


def test_order_of_the_published_rows_changes_nothing():
    table = published(r_row(), r_row(finding="b", value=-0.3), mean_row(1, 150), mean_row(2, 160))
    _, rounds = our_rounds()
    one = compare(table, our_fitness(), rounds)
    two = compare(table.iloc[::-1].reset_index(drop=True), our_fitness(), rounds)
    assert one.combined["hr_mean_bpm"].estimate == pytest.approx(two.combined["hr_mean_bpm"].estimate)
    assert one.steps["difference"].item() == pytest.approx(two.steps["difference"].item())
