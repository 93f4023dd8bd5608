"""The edges of what is asked about: at which distance, in which company, and with which slip. Limits: our proposal."""

import math
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from analysis.study import stand_out as so
from analysis.study.problems import Findings

NAN = math.nan
ATHLETES = ["A01", "A02", "A03", "A04", "A05"]


def rounds_of(values=None, column="hr_mean_typed_bpm", n_rounds=4, **columns):
    """Five athletes, every round alike; `values` puts (athlete, round) -> value into the column."""
    rows = [(a, k) for a in ATHLETES for k in range(1, n_rounds + 1)]
    table = pd.DataFrame(rows, columns=["athlete", "round_no"]).assign(
        session="1", took_part="yes", lactate_limit="", file="rounds.csv"
    )
    for name in (
        "hr_mean_typed_bpm", "hr_peak_typed_bpm", "lactate_mmol_l", "lactate_bound_mmol_l", "exertion", "lactate_delay_s",
    ):  # fmt: skip
        table[name] = NAN
    table = table.assign(**columns)
    for (athlete, number), value in (values or {}).items():
        table.loc[(table["athlete"] == athlete) & (table["round_no"] == number), column] = value
    return table.assign(row=range(2, len(table) + 2))


def asked(table, scale="6-20"):
    return [(o.line.athlete, o.line.round_no, o.shown, o.slip, o.likely) for o in so._rounds(table, scale)]


def asked_one(value, **more):
    """What is asked where one mean heart rate among 170s is this."""
    return asked(rounds_of({("A02", 3): value}, hr_mean_typed_bpm=170.0, **more))


def test_the_slips_of_a_number():
    found = [(v, kind) for v, kind, _ in so._slips(118, 0)]
    assert found[:2] == [(1180, "point"), (181, "exchanged")]  # 11.8 is no whole number
    digits = {v for v, kind in found if kind == "digit"}
    assert digits == {418, 718, 148, 178, 110, 113, 116, 119}
    assert [v for v, kind in found if kind == "front"] == [1118 + 1000 * k for k in range(9)]
    assert [v for v, kind, _ in so._slips(718, 0) if kind == "exchanged"] == [178, 781]
    found = list(so._slips(0.8, 1))
    assert [(v, w) for v, kind, w in found if kind == "point"] == [
        (8.0, "the decimal point slipped"), (0.08, "the decimal point slipped")]  # fmt: skip
    assert [v for v, kind, _ in found if kind == "exchanged"] == [8.0]
    assert 0.0 in [v for v, kind, _ in found if kind == "digit"]  # 8 for 0, behind the point
    assert [w for _, kind, w in so._slips(170, 0) if kind == "point"] == ["a digit too many or too few"] * 2
    assert 0 not in [v for v, kind, _ in so._slips(8, 0) if kind == "digit"]  # no number begins with 0
    assert [w for v, kind, w in so._slips(17, 0) if v == 117] == ["a 1 lost in front"]
    assert [w for v, _, w in so._slips(19, 0) if v == 17] == ["9 for 7"]


def test_a_slip_must_lead_near_and_a_misread_digit_nearer():
    assert so.likely_slip(118, 186.0, 5.0, 0)[0] == 181 and math.isnan(so.likely_slip(118, 186.1, 5.0, 0)[0])
    # 190 with 9 for 7 is 170, with 1 and 9 exchanged 910; of two that lead near, the commoner kind
    assert so.likely_slip(190, 172, 5.0, 0) == (170, "digit", "9 for 7")
    # 118: 181 exchanged is 6 off, 178 with a digit misread 3 off, which is worth 10 more
    assert so.likely_slip(118, 175, 10.0, 0)[:2] == (181, "exchanged")
    assert so.likely_slip(118, 175, 2.9, 0)[1] == ""


@pytest.mark.parametrize(
    ("value", "is_asked"),
    [(143, True), (144, False), (198, True)],  # no slip leads near 170: 27 bpm, one and a half times 18
)
def test_without_a_slip_a_heart_rate_is_asked_about_from_27_bpm_on(value, is_asked):
    assert asked_one(value) == ([("A02", 3, str(value), "", pytest.approx(NAN, nan_ok=True))] if is_asked else [])


def test_with_a_slip_it_is_asked_about_from_18_bpm_on():
    assert asked_one(190) == [("A02", 3, "190", "9 for 7", 170)]
    assert asked_one(17) == [("A02", 3, "17", "a digit too many or too few", 170)]
    peak = rounds_of({("A02", 3): 190.0}, "hr_peak_typed_bpm", hr_peak_typed_bpm=170.0)
    assert [line[2:4] for line in asked(peak)] == [("190", "9 for 7")]  # a peak from 20 bpm on
    assert asked_one(184) == []  # 8 for 6 leads to 164, yet 14 bpm are no distance
    assert asked_one(117) == [("A02", 3, "117", "two digits exchanged", 171)]


def test_a_partner_makes_a_question_come_sooner_or_later():
    steady = asked_one(184, hr_peak_typed_bpm=185.0)  # the peak did not rise with it
    assert steady == [("A02", 3, "184", "8 for 6", 164)]
    three = rounds_of({("A02", 3): 184.0}, hr_mean_typed_bpm=170.0, hr_peak_typed_bpm=185.0)
    at = three["hr_mean_typed_bpm"] == 184.0
    assert (
        asked(three.assign(hr_peak_typed_bpm=three["hr_peak_typed_bpm"].mask(at, 190.0))) == []
    )  # three scatters of 3 bpm
    assert len(asked(three.assign(hr_peak_typed_bpm=three["hr_peak_typed_bpm"].mask(at, 189.0)))) == 1
    both = rounds_of({("A02", 3): 190.0}, hr_mean_typed_bpm=170.0, hr_peak_typed_bpm=185.0)
    both.loc[(both["athlete"] == "A02") & (both["round_no"] == 3), "hr_peak_typed_bpm"] = 205.0
    assert asked(both) == []  # a harder round, by both
    few = both.assign(hr_peak_typed_bpm=both["hr_peak_typed_bpm"].where(both["athlete"] == "A02"))
    assert asked(few)[0][:3] == ("A02", 3, "190")  # four pairs show no pattern


def test_scatter_of_the_club_makes_questions_rarer():
    """Four athletes go up and down by 12 bpm, each in another order: their scatter is 24 x 1.4826."""
    steps = {"A01": (1, -1, 1, -1), "A03": (-1, 1, -1, 1), "A04": (1, 1, -1, -1), "A05": (-1, -1, 1, 1)}

    def among(value):
        table = rounds_of({("A02", 3): value}, hr_mean_typed_bpm=170.0)
        swing = [12.0 * steps.get(a, (0,) * 4)[k - 1] for a, k in zip(table["athlete"], table["round_no"], strict=True)]
        return [line[2] for line in asked(table.assign(hr_mean_typed_bpm=table["hr_mean_typed_bpm"] + swing))]

    assert among(190.0) == [] and among(17.0) == ["17"]


def test_exertion_is_asked_about_by_its_scale():
    def rated(value, usual, scale):
        return asked(rounds_of({("A02", 3): float(value)}, "exertion", exertion=float(usual)), scale)

    assert rated(6, 14, "6-20") and not rated(7, 14, "6-20")  # 7.5 points
    assert rated(10, 4, "0-10") and not rated(10, 5, "0-10")  # 6 points
    assert rated(55, 2, "0-100") and not rated(54, 2, "0-100")  # 52.5 points
    assert rated(6, 14, "a scale of one's own") and not rated(7, 14, "a scale of one's own")


def test_lactate_is_compared_by_ratio():
    def measured(value, limit="", bound=NAN):
        table = rounds_of({("A02", 3): value}, "lactate_mmol_l", lactate_mmol_l=8.0)
        table.loc[(table["athlete"] == "A02") & (table["round_no"] == 3), ["lactate_limit", "lactate_bound_mmol_l"]] = [
            limit,
            bound,
        ]
        return asked(so._with_ends(table, (0.5, 25.0)))

    assert measured(0.8) == [("A02", 3, "0.8", "the decimal point slipped", 8.0)]
    assert measured(80.0) == [("A02", 3, "80", "the decimal point slipped", 8.0)]
    assert measured(6.0) == measured(12.0) == []
    # 8 by a ratio of e^0.18 reaches to 9.8: 97 is 9.7 with its point slipped, 98 is not
    assert measured(97.0)[0][3:] == ("the decimal point slipped", 9.7) and measured(98.0)[0][3] == ""
    assert measured(NAN, "high") == [("A02", 3, "> 25", "", pytest.approx(NAN, nan_ok=True))]
    assert measured(NAN, "low") == [("A02", 3, "< 0.5", "", pytest.approx(NAN, nan_ok=True))]
    assert measured(NAN, "low", 2.0)[0][2] == "< 2"
    assert measured(NAN, "low", 30.0) == measured(NAN, "high", 2.0) == []  # below 30 or above 2 may well be 8
    assert measured(0.0) == []  # has no ratio; told elsewhere


def test_readings_off_the_scale_stand_at_its_end_or_at_what_was_typed():
    table = rounds_of(lactate_mmol_l=8.0)
    assert so._with_ends(table, (0.5, 25.0)) is table
    table.loc[0:3, "lactate_limit"] = ["high", "low", "low", "high"]
    table.loc[0:2, "lactate_mmol_l"] = NAN
    table.loc[2, "lactate_bound_mmol_l"] = 2.0
    assert so._with_ends(table, (0.5, 25.0))["lactate_mmol_l"].head(5).tolist() == [25.0, 0.5, 2.0, 8.0, 8.0]


def test_of_two_values_either_may_be_right():
    """Two rounds: no question without a slip; with one, or where a partner speaks, there is one."""

    def two(value, **more):
        return asked(rounds_of({("A02", 2): value}, hr_mean_typed_bpm=170.0, n_rounds=2, **more))

    assert two(143.0) == [] and two(190.0) == []  # 9 for 7 would lead to 170, yet two rounds scatter more
    assert [line[:4] for line in two(17.0)] == [
        ("A02", k, v, "a digit too many or too few") for k, v in ((1, "170"), (2, "17"))
    ]
    assert [line[:3] for line in two(143.0, hr_peak_typed_bpm=185.0)] == [("A02", 2, "143")]


def test_one_round_is_compared_with_the_club():
    def one(value, n=5):
        table = rounds_of({("A02", 1): value}, hr_mean_typed_bpm=170.0, n_rounds=1)
        return [line[2] for line in asked(table.head(n))]

    assert one(17.0) == ["17"] and one(17.0, n=4) == []
    assert one(140.0) == []
    wide = rounds_of(hr_mean_typed_bpm=[150.0, 160.0, 170.0, 180.0, 190.0], n_rounds=1)
    assert asked(wide) == []  # among clubs so wide 190 is no slip of 170


def test_few_values_show_no_pattern_and_too_many_are_no_club(monkeypatch):
    table = rounds_of({("A02", 3): 17.0}, hr_mean_typed_bpm=170.0)
    assert asked(table[table["athlete"] == "A02"]) == []
    for fewest, n in ((20, 1), (21, 0)):
        monkeypatch.setattr(so, "FEWEST", fewest)
        assert len(asked(table)) == n
    monkeypatch.undo()
    monkeypatch.setattr(so, "MOST", 20)
    assert len(asked(table)) == 1
    monkeypatch.setattr(so, "MOST", 19)
    assert asked(table) == []
    assert delays_of(600.0, (60.0,) * 18) != [] and delays_of(600.0, (60.0,) * 19) == []


def test_rounds_not_fought_and_before_sparring_are_not_compared():
    for change in ({"took_part": "sat_out"}, {"took_part": "left"}, {"round_no": 0}):
        table = rounds_of({("A02", 3): 17.0}, hr_mean_typed_bpm=170.0)
        table.loc[table["hr_mean_typed_bpm"] == 17.0, list(change)] = list(change.values())
        assert asked(table) == []
    part = rounds_of({("A02", 3): 17.0}, hr_mean_typed_bpm=170.0)
    part.loc[part["hr_mean_typed_bpm"] == 17.0, "took_part"] = "part"
    assert len(asked(part)) == 1


def test_what_is_expected_of_a_value():
    """Athlete 0: 100, 110, 120 over three rounds; athlete 1 is 20 higher: the rounds add -10, 0 and 10."""
    values = np.array([100.0, 110, 120, 120, 130, 140])
    expected, lone = so._expected(values, np.array([0, 0, 0, 1, 1, 1]), np.array([0, 1, 2, 0, 1, 2]))
    assert expected.tolist() == values.tolist() and not lone.any()
    # five athletes with one round each: the middle of the four others
    expected, lone = so._expected(np.array([1.0, 2, 3, 4, 50]), np.arange(5), np.zeros(5, dtype=int))
    assert expected.tolist() == [3.5, 3.5, 3.0, 2.5, 2.5] and lone.all()
    expected, _ = so._expected(np.array([1.0, 2, 3, 4]), np.arange(4), np.zeros(4, dtype=int))
    assert np.isnan(expected).all()
    _, lone = so._expected(np.array([1.0, 2, 3, 4, 5]), np.array([0, 0, 1, 1, 1]), np.array([0, 1, 0, 1, 2]))
    assert lone.tolist() == [True, True, False, False, False]


def test_the_spread_is_the_median_deviation():
    assert so._spread(np.array([1.0, 2, 3, 4, 100, NAN])) == pytest.approx(1.4826)
    assert so._spread(np.array([NAN])) == 0.0


def gaps_of(gap, others=15.0, n=5, round_no=1):
    table = rounds_of(hr_mean_typed_bpm=150.0, n_rounds=1).head(n)
    peaks = [150.0 + gap, *[150.0 + others] * (n - 1)]
    return [(o.value, o.why, o.likely) for o in so._gaps(table.assign(hr_peak_typed_bpm=peaks, round_no=round_no))]


def test_a_peak_far_above_its_mean_is_asked_about():
    assert gaps_of(40.0) == [] and len(gaps_of(41.0)) == 1
    assert gaps_of(41.0)[0][1] == "41 bpm below the peak of the same round (191)"
    assert gaps_of(60.0, others=40.0) == [] and len(gaps_of(65.0, others=40.0)) == 1  # 40 + 6 x 4
    assert gaps_of(51.0, n=4) == [] and len(gaps_of(52.0, n=4)) == 1  # 15 + 6 x 6 where there is no pattern
    assert gaps_of(60.0, round_no=0) == []
    table = rounds_of(hr_mean_typed_bpm=[118.0, *[166.0] * 4], hr_peak_typed_bpm=[196.0, *[181.0] * 4], n_rounds=1)
    assert [(o.likely, o.slip) for o in so._gaps(table)] == [(181, "two digits exchanged")]


def test_one_value_of_each_is_asked_about_where_the_point_slipped():
    def rested(values):
        table = rounds_of(n_rounds=1).head(len(values)).assign(lactate_mmol_l=values, round_no=0)
        return [(o.value, o.likely, o.slip) for o in so._rested(table)]

    slipped = "the decimal point slipped"
    assert rested([1.0, 1.1, 0.9, 1.2, 12.0]) == [(12.0, 1.2, slipped)]
    assert rested([10.0, 11, 9, 12, 1.1]) == [(1.1, 11.0, slipped)]
    assert rested([1.0, 1.1, 0.9, 12.0]) == []  # four show no pattern
    assert rested([1.0, 1.1, 0.9, 1.2, 4.0]) == []  # no slip leads there
    assert rested([1.0, 1.1, 0.9, 1.2, 0.0]) == []
    # 4 scatters of at least 0.15: e^0.6 = 1.82 times; a tenth may be off by e^0.225 = 1.25
    assert rested([1.0] * 4 + [12.5]) == [(12.5, 1.25, slipped)] and rested([1.0] * 4 + [12.6]) == []
    assert rested([1.0] * 4 + [7.5]) == [(7.5, 0.75, slipped)] and rested([1.0] * 4 + [7.4]) == []
    assert rested([1.0, 3.0, 0.4, 6.0, 0.3]) == []  # among values so wild 0.3 needs no slip
    table = rounds_of(n_rounds=1).assign(lactate_mmol_l=[1.0] * 4 + [12.0])
    assert list(so._rested(table)) == []  # not before sparring


def delays_of(last, others=(60.0, 60.0, 60.0, 60.0), round_no=1):
    table = rounds_of(n_rounds=4).head(len(others) + 1).assign(lactate_delay_s=[*others, last], round_no=round_no)
    return [(o.value, o.likely, o.slip) for o in so._delays(table)]


def test_a_delay_is_asked_about_beyond_two_minutes_more_than_usual():
    none = pytest.approx(NAN, nan_ok=True)
    assert delays_of(180.0) == [] and delays_of(181.0) == [(181.0, none, "")]
    assert delays_of(500.0, (200.0,) * 4) == [] and delays_of(501.0, (200.0,) * 4) == [(501.0, none, "")]
    assert delays_of(600.0) == [(600.0, 60.0, "a digit too many")]
    assert delays_of(780.0)[0][2] == "a digit too many" and delays_of(790.0)[0][2] == ""  # up to 1.3 of the slowest
    assert delays_of(420.0)[0][2] == "a digit too many" and delays_of(410.0)[0][2] == ""  # down to 0.7 of the quickest
    uneven = (60.0, 60.0, 60.0, 100.0)
    assert delays_of(430.0, uneven)[0][2] == "a digit too many" and delays_of(410.0, uneven)[0][2] == ""
    assert delays_of(600.0, (60.0,) * 3) == [] and delays_of(600.0, round_no=0) == []


def athletes_of(**values):
    columns = {"athlete": "A01", "mass_kg": 70.0, "age_years": 40.0, "hr_max_bpm": 180.0, "hr_limited": ""}
    return pd.DataFrame([{**columns, **values, "file": "athletes.csv", "row": 2}])


def masses_of(*pairs):
    columns = ["athlete", "mass_kg", "usual_mass_kg"]
    return pd.DataFrame(pairs, columns=columns).assign(file="attendance.csv", row=range(2, len(pairs) + 2))


NOBODY = masses_of()


def test_a_maximum_is_asked_about_beyond_35_bpm_of_what_the_age_predicts():
    """Tanaka 2001: 208 - 0.7 x 40 = 180."""
    for value, there in ((215.0, 0), (216.0, 1), (145.0, 0), (144.0, 1)):
        assert len(list(so._athletes(athletes_of(hr_max_bpm=value), NOBODY))) == there, value
    assert list(so._athletes(athletes_of(hr_max_bpm=120.0, hr_limited="yes"), NOBODY)) == []
    one = next(so._athletes(athletes_of(hr_max_bpm=118.0), NOBODY))
    assert (one.likely, one.slip) == (
        181,
        "two digits exchanged",
    ) and "at 40 years most maxima lie about 180 bpm" in one.why
    assert list(so._athletes(athletes_of(hr_max_bpm=NAN), NOBODY)) == []


def test_masses_of_an_athlete_go_together_within_six_per_cent():
    def odd(*pairs, own=70.0):
        return [(o.table, o.column, o.value, o.slip) for o in so._athletes(athletes_of(mass_kg=own), masses_of(*pairs))]

    assert odd(("A01", 83.0, NAN)) == []  # of two that differ either may be right
    assert odd(("A01", 170.0, NAN))[0] == ("athletes", "mass_kg", 70.0, "a 1 lost in front")
    assert odd(("A01", 83.0, 83.0)) == [("athletes", "mass_kg", 70.0, "")]
    assert odd(("A01", 80.0, 86.0)) == []  # the others do not agree with one another
    assert odd(("A01", 74.0, 74.0)) == []  # 70/74 is 5.4 % off
    assert [line[:3] for line in odd(("A01", 75.0, 75.0))] == [("athletes", "mass_kg", 70.0)]
    assert odd(("A01", 70.0, 7.0)) == [("attendance", "usual_mass_kg", 7.0, "the decimal point slipped")]
    assert odd(("A01", 700.0, 70.0)) == [("attendance", "mass_kg", 700.0, "the decimal point slipped")]
    assert odd(("B01", 170.0, NAN)) == [] and odd(("A01", NAN, NAN)) == []
    assert odd(("A01", 80.0, 80.0), own=NAN) == []


def drift_of(medians, n=2, round_no=(1, 2, 3)):
    rows = [(k, d) for k, d in zip(round_no, medians, strict=False) for _ in range(n)]
    return so.delay_drift(pd.DataFrame(rows, columns=["round_no", "lactate_delay_s"]))


def test_delays_drift_beyond_half_a_minute():
    assert drift_of([60.0, 75.0, 90.0]) is None
    found = drift_of([60.0, 75.0, 91.0])
    assert (found.first_round, found.last_round, found.first_s, found.last_s) == (1, 3, 60.0, 91.0)
    assert drift_of([60.0, 95.0, 94.0]) is None and drift_of([60.0, 60.0, 95.0]) is not None
    assert drift_of([60.0, 95.0]) is not None and drift_of([95.0]) is None
    assert drift_of([60.0, 75.0, 91.0], n=1) is None  # one sample a round shows nothing
    assert drift_of([60.0, 95.0], round_no=(0, 1)) is None  # before sparring there is no delay


def test_sessions_are_compared_each_by_itself():
    first = rounds_of(hr_mean_typed_bpm=170.0, n_rounds=1)
    second = first.assign(session="2", hr_mean_typed_bpm=130.0)
    assert asked(pd.concat([first, second])) == []


def test_one_strap_on_two_athletes_is_asked_about():
    def straps(devices, n=2):
        table = pd.DataFrame({"athlete": [f"A{i:02d}" for i in range(len(devices))], "device": devices, "session": "1"})
        findings = Findings()
        so._ask_about_straps(table.assign(file="attendance.csv", row=range(3, len(devices) + 3)), findings)
        return [(q.row, q.value, q.problem) for q in findings.questions]

    found = straps(["strap 1", "strap 2", "strap 3", "strap 1"])
    assert [line[:2] for line in found] == [(6, "strap 1")]
    assert "also on A00 (row 3) in session 1" in found[0][2]
    assert straps(["strap", "strap", "strap 3", "strap 4"]) == []  # without a number it is a name of a kind
    assert straps(["hub 1"] * 3 + ["strap 2"] * 2) == []  # a receiver of many
    assert straps(["s1", "s1", "s2"]) == [] and len(straps(["s1", "s1", "s2", "s3"])) == 1  # 2 of 3, 3 of 4: 70 %
    ten = [f"s{i}" for i in (1, 1, 2, 2, 3, 3, 4, 5, 6, 7)]
    assert len(straps(ten)) == 3  # seven of ten are enough


def test_a_number_is_no_truth_value():
    assert so._number(25) == 25.0 and math.isnan(so._number(True)) and math.isnan(so._number("25"))


def questions_of(table, *, findings=None, wide=False, athletes=None):
    findings = findings or Findings()
    tables = {
        "rounds": table,
        "athletes": athletes_of() if athletes is None else athletes,
        "attendance": NOBODY.assign(device="", session="1"),
        "aerobic_tests": pd.DataFrame(
            columns=["athlete", "test", "distance_m", "vo2max_ml_kg_min", "vo2max_l_min", "file", "row"]
        ),
    }
    so.ask_what_stands_out(tables, SimpleNamespace(exertion_scale="6-20"), {}, findings, wide=wide)
    return findings


def test_a_question_names_the_slip_and_is_asked_once():
    table = rounds_of({("A02", 3): 117.0}, hr_mean_typed_bpm=170.0)
    asked = questions_of(table).questions
    assert [(q.row, q.column, q.value, q.offer) for q in asked] == [(8, "hr_mean_typed_bpm", "117", "171")]
    assert "171 with two digits exchanged?" in asked[0].problem and "or write 171" in asked[0].remedy
    plain = questions_of(rounds_of({("A02", 3): 143.0}, hr_mean_typed_bpm=170.0)).questions[0]
    assert plain.offer == "" and "write" not in plain.remedy and plain.problem.endswith("about 170 bpm?")
    assert questions_of(table, wide=True).questions[0].column == "hr_mean_typed_bpm_3"
    told = Findings()
    told.question("rounds.csv", 8, "hr_mean_typed_bpm", "117", "is asked already", "look")
    assert len(questions_of(table, findings=told).questions) == 1
    aged = Findings()
    aged.problem("athletes.csv", 2, "age_years", "2x", "no number", "write one")
    young = athletes_of(hr_max_bpm=120.0)
    assert len(questions_of(rounds_of(), athletes=young).questions) == 1
    assert questions_of(rounds_of(), findings=aged, athletes=young).questions == []


def test_a_wrong_value_and_a_giant_say_nothing_of_the_others():
    """Two means of 17 beside 170 and 170: with the 17s known as wrong the rest is unremarkable."""
    table = rounds_of({("A02", 3): 143.0}, hr_mean_typed_bpm=170.0)
    wrong = Findings()
    wrong.problem("rounds.csv", 8, "hr_mean_typed_bpm", "143", "cannot be", "look")
    masked = so._without_wrong(table, wrong, wide=False)
    assert masked["hr_mean_typed_bpm"].isna().sum() == 1 and math.isnan(masked["hr_mean_typed_bpm"][6])
    later = so._without_wrong(table.set_axis(range(100, 120)), wrong, wide=False)
    assert later["hr_mean_typed_bpm"].isna().sum() == 1 and math.isnan(later["hr_mean_typed_bpm"][106])
    wide = Findings()
    wide.problem("rounds.csv", 8, "hr_mean_typed_bpm_3", "143", "cannot be", "look")
    assert so._without_wrong(table, wide, wide=True)["hr_mean_typed_bpm"].isna().sum() == 1
    assert (
        so._without_wrong(table, wide, wide=False) is table
        and so._without_wrong(table, Findings(), wide=False) is table
    )
    giant = table.assign(lactate_mmol_l=[1e9, *[8.0] * 19])
    assert so._without_giants(giant)["lactate_mmol_l"].isna().sum() == 1 and so._without_giants(table) is table
    assert so._without_giants(table.assign(exertion=-2e9))["exertion"].isna().all()


def test_blood_taken_later_and_later_is_said_once_an_evening():
    table = rounds_of(lactate_delay_s=60.0)
    later = table.assign(lactate_delay_s=60.0 + 15 * table["round_no"])
    asked = questions_of(later).questions
    assert [(q.row, q.column) for q in asked] == [(None, "lactate_delay_s")]
    assert "about 75 s after round 1 and 120 s after round 4" in asked[0].problem
    assert questions_of(table).questions == []


def test_a_value_is_asked_about_once_and_with_its_slip_where_one_explains_it():
    table = rounds_of({("A02", 3): 118.0}, hr_mean_typed_bpm=180.0, hr_peak_typed_bpm=190.0)
    tables = {
        "rounds": table, "athletes": athletes_of(), "attendance": NOBODY,
        "aerobic_tests": pd.DataFrame(columns=["test", "distance_m", "vo2max_ml_kg_min", "vo2max_l_min"]),
    }  # fmt: skip
    found = so.find_values_that_stand_out(tables, "6-20")
    assert [(o.value, o.slip) for o in found] == [(118.0, "two digits exchanged")]
    assert len(list(so._all(tables, "6-20", (NAN, NAN)))) == 2  # beside the other rounds, and beside its peak


def test_results_of_a_test_are_compared_within_it():
    values = pd.DataFrame({"test": ["run"] * 5 + ["ramp"], "distance_m": [2400.0, 2500, 2600, 2550, 250, 25]})
    values = values.assign(
        athlete=list("ABCDEF"), vo2max_ml_kg_min=NAN, vo2max_l_min=NAN, file="t.csv", row=range(2, 8)
    )
    assert [(o.value, o.likely) for o in so._tests(values)] == [(250.0, 2500.0)]
