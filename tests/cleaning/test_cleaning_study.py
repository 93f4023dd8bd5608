"""A whole study through cleaning: rows, clocks, joined files, decisions, typed means, blood, and a ledger that balances."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from made_studies import BEGIN_S, MadeStudy, clock
from made_traces import add_fault

from analysis.basics import KitError
from analysis.cleaning import clean_study
from analysis.cleaning.clean import ROW_COLUMNS, summarise_rounds


def made(tmp_path, **options) -> MadeStudy:
    return MadeStudy(tmp_path / "study", **options)


def balance(cleaned, measure, unit=None):
    table = cleaned.ledger.balance()
    line = table[table["measure"] == measure]
    return line.iloc[0]


def check_conservation(cleaned):
    """Seconds of every round with a recording = used + set aside; one entry per row of rounds."""
    ledger = cleaned.ledger.table
    seconds = ledger[ledger["measure"] == "round seconds"]
    lengths = cleaned.windows.assign(length=cleaned.windows["end_s"] - cleaned.windows["start_s"])
    have = set(cleaned.traces)
    lengths = lengths[[k in have for k in zip(lengths["session"], lengths["athlete"], strict=True)]]
    summed = seconds.groupby(["session", "athlete", "round_no"])["amount"].sum()
    for row in lengths.itertuples(index=False):
        assert summed[row.session, row.athlete, row.round_no] == pytest.approx(row.length)
    assert len(summed) == len(lengths) and (seconds["amount"] >= 0).all()
    values = ledger[(ledger["measure"] == "hr_mean_bpm") & (ledger["unit"] == "values")]
    rows = cleaned.rows[cleaned.rows["round_no"] > 0]
    assert len(values) == len(rows) and values["used"].sum() == rows["hr_mean_bpm"].notna().sum()
    assert (values.loc[~values["used"], "cause"] != "").all()
    used = seconds[seconds["used"]]["amount"].sum()
    with_mean = rows[rows["hr_source"] == "trace"]
    assert used == pytest.approx(with_mean["valid_s"].sum())


def test_rows_have_the_truth_and_the_columns(tmp_path):
    made_study = made(tmp_path).write_all()
    cleaned = clean_study(made_study.load())
    rows = cleaned.rows
    assert tuple(rows.columns) == ROW_COLUMNS and len(rows) == 9
    assert rows["round_no"].dtype == "int64" and rows["session"].tolist() == ["1"] * 9
    for row in rows.itertuples(index=False):
        truth = made_study.traces[row.athlete].true_mean(row.round_no - 1)
        assert row.hr_mean_bpm == pytest.approx(truth, abs=0.4)
        assert row.valid_share == 1.0 and row.hr_source == "trace"
        assert row.hr_mean_bpm < row.hr_late_bpm < row.hr_peak_bpm
    assert rows["bout_no"].tolist() == [1, 2, 3] * 3
    assert rows["rest_before_s"].dropna().tolist() == [90.0] * 6
    bands = rows[["very_light_s", "light_s", "moderate_s", "vigorous_s", "near_maximal_s"]].sum(axis=1)
    assert bands.to_numpy() == pytest.approx(rows["valid_s"].to_numpy())
    assert cleaned.warnings == ()
    check_conservation(cleaned)
    pd.testing.assert_frame_equal(summarise_rounds(made_study.load()), rows)


def test_shuffled_rows_change_nothing(tmp_path):
    one = made(tmp_path).write_all()
    first = summarise_rounds(one.load())
    one.round_rows = dict(reversed(one.round_rows.items()))
    one.athlete_rows = dict(reversed(one.athlete_rows.items()))
    pd.testing.assert_frame_equal(summarise_rounds(one.load()), first)


def test_five_more_beats_move_every_mean_by_five(tmp_path):
    one = made(tmp_path).write_all()
    first = summarise_rounds(one.load())
    for trace in one.traces.values():
        trace.rates = trace.rates + 5
    for row in one.athlete_rows.values():
        row["hr_max_bpm"] += 5
    more = summarise_rounds(one.write_all().load())
    for column in ("hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm"):
        assert (more[column] - first[column]).to_numpy() == pytest.approx(5.0)
    assert (more["hr_drift_bpm_min"] - first["hr_drift_bpm_min"]).to_numpy() == pytest.approx(0.0, abs=1e-9)


def test_faults_are_set_aside_and_counted(tmp_path):
    one = made(tmp_path)
    trace = one.traces["A01"]
    rng = np.random.default_rng(3)
    add_fault(rng, trace, "doubling", int(trace.starts[0]) + 120, 10)
    add_fault(rng, trace, "zeros", int(trace.starts[1]) + 130, 20)
    add_fault(rng, trace, "no contact", int(trace.starts[2]) + 60, 60)
    cleaned = clean_study(one.write_all().load())
    rows = cleaned.rows[cleaned.rows["athlete"] == "A01"].set_index("round_no")
    assert rows["valid_s"].tolist() == pytest.approx([170, 160, 120], abs=1.1)
    assert np.isnan(rows.loc[3, "hr_mean_bpm"]) and rows.loc[3, "hr_source"] == ""
    assert rows.loc[1, "hr_mean_bpm"] == pytest.approx(trace.true_mean(0), abs=1)
    ledger = cleaned.ledger.table
    mine = ledger[(ledger["athlete"] == "A01") & (ledger["measure"] == "round seconds") & ~ledger["used"]]
    assert set(mine["cause"]) == {"out of range", "no contact", "too little valid time"} or set(mine["cause"]) == {
        "doubled or halved", "no contact", "too little valid time"}  # fmt: skip
    bounds = cleaned.bounds[cleaned.bounds["athlete"] == "A01"].set_index("round_no")
    assert bounds.loc[1, "mean_kept_bpm"] > bounds.loc[1, "mean_bpm"] + 3
    truth = [trace.true_mean(k) for k in range(3)]
    assert (bounds["mean_low_bpm"] <= truth).all() and (bounds["mean_high_bpm"] >= truth).all()
    check_conservation(cleaned)


def test_missing_time_at_the_start_of_a_round_gives_no_mean_but_a_late_mean(tmp_path):
    one = made(tmp_path, work_s=300, rest_s=120)
    start = int(one.traces["A02"].starts[0])
    one.write_all()
    one.write_local("A02", part=slice(start + 50, None))
    cleaned = clean_study(one.load())
    row = cleaned.rows[(cleaned.rows["athlete"] == "A02") & (cleaned.rows["round_no"] == 1)].iloc[0]
    assert row["valid_share"] == pytest.approx(250 / 300, abs=0.01)
    assert np.isnan(row["hr_mean_bpm"]) and row["hr_late_bpm"] > 100
    causes = cleaned.ledger.set_aside().query("athlete == 'A02' and round_no == 1")["cause"]
    assert {"recording not yet started", "a gap where heart rate changed"} <= set(causes)
    check_conservation(cleaned)


def test_clock_offsets_are_applied_and_a_device_that_disagrees_is_held_back(tmp_path):
    one = made(tmp_path, work_s=300, rest_s=120)
    one.write_local("A01", ahead_s=75)
    one.write_local("A02", ahead_s=75)
    one.write_local("A03")
    one.recording_rows = [{"athlete": "A01", "file": "A01.csv", "clock_offset_s": 75}]
    cleaned = clean_study(one.load())
    rows = cleaned.rows.set_index(["athlete", "round_no"])["hr_mean_bpm"]
    for k in (1, 2, 3):
        assert rows["A01", k] == pytest.approx(one.traces["A01"].true_mean(k - 1), abs=0.5)
        assert np.isnan(rows["A02", k])
    clocks = cleaned.clocks.set_index("athlete")
    assert clocks["agrees"].to_dict() == {"A01": "yes", "A02": "no", "A03": "yes"}
    assert clocks.loc["A02", "offset_s"] == 0 and clocks.loc["A02", "found_offset_s"] == pytest.approx(75, abs=12)
    assert len(cleaned.warnings) == 1 and "A02" in cleaned.warnings[0] and "held back" in cleaned.warnings[0]
    assert clocks["settled"].to_dict() == {"A01": "", "A02": "held back", "A03": ""}


def test_a_common_event_puts_every_device_on_the_clock(tmp_path):
    """All press start at a signal, or mark it: also for a device without a clock and one that ran ahead."""
    one = made(tmp_path, work_s=300, rest_s=120)
    one.write_local("A01", ahead_s=75)
    one.write_elapsed("A02")
    one.write_local("A03", ahead_s=75)
    one.session_row["event_clock"] = "19:01:00"
    one.recording_rows = [
        {"athlete": "A01", "file": "A01.csv", "event_s": 60},
        {"athlete": "A02", "file": "A02.csv", "event_s": "1:00"},
        {"athlete": "A03", "file": "A03.csv", "event_s": 60, "clock_offset_s": -75},
    ]
    cleaned = clean_study(one.load())
    rows = cleaned.rows.set_index(["athlete", "round_no"])["hr_mean_bpm"]
    for athlete in ("A01", "A02"):
        for k in (1, 2, 3):
            assert rows[athlete, k] == pytest.approx(one.traces[athlete].true_mean(k - 1), abs=0.5)
    clocks = cleaned.clocks.set_index("athlete")
    assert clocks["offset_source"].to_dict() == {"A01": "common event", "A02": "common event", "A03": "log"}
    assert clocks.loc["A01", "offset_s"] == 75 and clocks.loc[["A01", "A02"], "agrees"].tolist() == ["yes"] * 2
    (wrong,) = [w for w in cleaned.warnings if "common event" in w]
    assert "A03" in wrong and "+75\u00a0s" in wrong and "\u221275\u00a0s" in wrong
    one.recording_rows = [{"athlete": "A02", "file": "A02.csv", "event_s": 160}]
    wrong = clean_study(one.load())
    assert wrong.clocks.set_index("athlete").loc["A02", "agrees"] == "no"
    assert any("A02" in w and "Correct event_s" in w for w in wrong.warnings)


def test_an_event_after_midnight_places_a_device_without_a_clock(tmp_path):
    one = made(tmp_path)
    first = BEGIN_S + 4.95 * 3600
    one.clock_rows = {
        k: {"start_clock": clock(first + s), "end_clock": clock(first + s + 180)}
        for k, s in enumerate(one.traces["A01"].starts, start=1)
    }
    assert one.clock_rows[1]["start_clock"] == "00:02:00"
    one.session_row["event_clock"] = "23:57:00"
    one.write_elapsed("A01")
    one.recording_rows = [{"athlete": "A01", "file": "A01.csv", "event_s": 0}]
    rows = clean_study(one.load()).rows.query("athlete == 'A01'")
    truth = [one.traces["A01"].true_mean(k) for k in range(3)]
    assert rows["hr_mean_bpm"].to_numpy() == pytest.approx(truth, abs=0.5)


def test_utc_recordings_need_the_offset_of_the_session(tmp_path):
    one = made(tmp_path)
    trace = one.traces["A01"]
    lines = [
        f"2026-03-01T{clock(BEGIN_S - 3600 + t)}Z,{h:.0f}" for t, h in zip(trace.elapsed, trace.rates, strict=True)
    ]
    one.files["A01.csv"] = "time,hr\n" + "\n".join(lines)
    rows = summarise_rounds(one.load()).set_index(["athlete", "round_no"])["hr_mean_bpm"]
    assert rows["A01", 2] == pytest.approx(trace.true_mean(1), abs=0.4)
    one.session_row["utc_offset"] = ""
    cleaned = clean_study(one.load())
    assert any("utc_offset" in w for w in cleaned.warnings)
    assert cleaned.rows.query("athlete == 'A01'")["hr_mean_bpm"].isna().all()


def test_a_recording_of_another_day_is_set_aside(tmp_path):
    one = made(tmp_path).write_all()
    one.files["A01.csv"] = one.files["A01.csv"].replace("2026-03-01", "2026-02-22")
    cleaned = clean_study(one.load())
    assert ("1", "A01") not in cleaned.traces
    assert any("7 days before the session" in w for w in cleaned.warnings)
    files = cleaned.ledger.table.query("measure == 'files'")
    assert files[~files["used"]]["cause"].tolist() == ["of another day"]


def test_another_day_is_seen_without_a_logged_clock_too(tmp_path):
    one = made(tmp_path, work_s=300, rest_s=120).write_all()
    one.clock_rows = {}
    one.files["A01.csv"] = one.files["A01.csv"].replace("2026-03-01", "2026-03-03")
    cleaned = clean_study(one.load())
    assert set(cleaned.traces) == {("1", "A02"), ("1", "A03")} and any("2 days after" in w for w in cleaned.warnings)


def test_two_files_of_one_athlete_are_joined(tmp_path):
    one = made(tmp_path).write_all()
    del one.files["A01.csv"]
    one.write_local("A01", name="A01_a.csv", part=slice(0, 700))
    one.write_local("A01", name="A01_b.csv", part=slice(680, None))
    cleaned = clean_study(one.load())
    trace = cleaned.traces["1", "A01"]
    assert (np.diff(trace["clock_s"]) > 0).all() and len(trace) == len(one.traces["A01"].rates)
    assert any("overlaps" in r for r in cleaned.remarks) and any("2 files joined" in r for r in cleaned.remarks)
    rows = cleaned.rows.query("athlete == 'A01'")["hr_mean_bpm"].tolist()
    assert rows == pytest.approx([one.traces["A01"].true_mean(k) for k in range(3)], abs=0.4)
    check_conservation(cleaned)


def test_one_file_with_a_column_per_athlete(tmp_path):
    one = made(tmp_path)
    lines = ["time;" + ";".join(one.codes)]
    for i, t in enumerate(one.traces["A01"].elapsed):
        lines.append(f"{clock(BEGIN_S + t)};" + ";".join(f"{one.traces[c].rates[i]:.0f}" for c in one.codes))
    one.files["receiver.csv"] = "\n".join(lines)
    one.recording_rows = [{"athlete": c, "file": "receiver.csv", "column_or_label": c} for c in one.codes]
    rows = summarise_rounds(one.load())
    assert rows["hr_mean_bpm"].notna().all() and rows.groupby("athlete").size().tolist() == [3, 3, 3]


def test_who_sat_out_or_left_or_did_part(tmp_path):
    one = made(tmp_path).write_all()
    one.round_rows["A01", 2] = {"took_part": "sat_out"}
    one.round_rows["A02", 3] = {"took_part": "left"}
    one.round_rows["A03", 1] = {"took_part": "part", "minutes_done": 2, "exertion": 13}
    cleaned = clean_study(one.load())
    rows = cleaned.rows.set_index(["athlete", "round_no"])
    assert rows.loc["A01", "bout_no"].to_numpy() == pytest.approx([1, np.nan, 2], nan_ok=True)
    assert rows.loc[("A01", 3), "rest_before_s"] == 90 + 180 + 90
    assert np.isnan(rows.loc[("A02", 3), "hr_mean_bpm"])
    assert rows.loc[("A03", 1), "valid_s"] == 120 and rows.loc[("A03", 2), "rest_before_s"] == 150
    causes = set(cleaned.ledger.set_aside().query("measure == 'hr_mean_bpm'")["cause"])
    assert causes == {"sat the round out", "had left"}
    check_conservation(cleaned)


def test_attendance_says_who_left(tmp_path):
    one = made(tmp_path).write_all()
    one.round_rows = {}
    one.attendance_rows = [{"athlete": "A01", "left_after": 2}]
    cleaned = clean_study(one.load())
    rows = cleaned.rows.set_index(["athlete", "round_no"])
    assert rows.loc[("A01", 3), "took_part"] == "left" and len(rows) == 9
    assert any("without rows in rounds.csv" in r for r in cleaned.remarks)


def test_typed_means_stand_in_and_are_marked(tmp_path):
    one = made(tmp_path).write_all()
    del one.files["A03.csv"]
    for k in (1, 2):
        one.round_rows["A03", k] |= {"hr_mean_typed_bpm": 150 + k, "hr_peak_typed_bpm": 165}
    one.round_rows["A01", 1] |= {"hr_mean_typed_bpm": 99}
    cleaned = clean_study(one.load())
    rows = cleaned.rows.set_index(["athlete", "round_no"])
    assert rows.loc["A03", "hr_source"].tolist() == ["typed", "typed", ""]
    assert rows.loc["A03", "hr_mean_bpm"].tolist()[:2] == [151, 152]
    assert rows.loc[("A03", 1), "percent_hr_max"] == pytest.approx(100 * 151 / one.athlete_rows["A03"]["hr_max_bpm"])
    assert rows.loc["A03", ["valid_s", "vigorous_s", "hr_late_bpm"]].isna().all(axis=None)
    assert rows.loc[("A01", 1), "hr_source"] == "trace"
    assert any("typed from a device" in r for r in cleaned.remarks)
    check_conservation(cleaned)


def test_measured_and_predicted_maximum_are_never_mixed(tmp_path):
    one = made(tmp_path).write_all()
    one.athlete_rows["A02"] |= {"hr_max_source": "predicted", "hr_max_bpm": 195}
    one.athlete_rows["A03"] |= {"hr_max_source": "", "hr_max_bpm": ""}
    rows = summarise_rounds(one.load()).groupby("athlete").first()
    assert rows["percent_hr_max"].notna().tolist() == [True, False, False]
    assert rows.loc["A02", "percent_hr_max_predicted"] == pytest.approx(100 * rows.loc["A02", "hr_mean_bpm"] / 195)
    nes = 211 - 0.64 * 25
    assert rows.loc["A03", "percent_hr_max_predicted"] == pytest.approx(100 * rows.loc["A03", "hr_mean_bpm"] / nes)
    assert rows.loc[["A02", "A03"], ["percent_hr_reserve", "vigorous_s", "training_impulse"]].isna().all(axis=None)


def test_a_peak_above_the_maximum_is_a_problem_never_104_percent(tmp_path):
    one = made(tmp_path).write_all()
    peak = summarise_rounds(one.load()).query("athlete == 'A01'")["hr_peak_bpm"].max()
    one.athlete_rows["A01"]["hr_max_bpm"] = int(peak) - 4
    cleaned = clean_study(one.load())
    mine = cleaned.rows.query("athlete == 'A01'")
    assert mine["percent_hr_max"].isna().all() and mine["near_maximal_s"].isna().all()
    assert mine["hr_mean_bpm"].notna().all()
    assert len(cleaned.warnings) == 1 and "above the stated maximum" in cleaned.warnings[0]
    assert not (cleaned.rows["percent_hr_max"] > 100).any()


def test_decisions_overrule_rules_and_are_listed(tmp_path):
    one = made(tmp_path)
    trace = one.traces["A01"]
    start = int(trace.starts[0])
    trace.rates[start + 100 : start + 140] = trace.rates[start + 99]
    one.decisions = [
        {"table": "recordings", "session": 1, "athlete": "A01", "measure": "heart_rate", "from_s": start + 90,
         "to_s": start + 145, "action": "keep", "reason": "the athlete held a pin"},
        {"table": "recordings", "session": 1, "athlete": "A02", "measure": "heart_rate", "from_s": 500, "to_s": 520,
         "action": "set aside", "reason": "strap in the hand"},
        {"table": "recordings", "session": 1, "athlete": "A03", "round_no": 2, "measure": "hr_mean_bpm",
         "action": "set aside", "reason": "bout stopped for an injury"},
    ]  # fmt: skip
    cleaned = clean_study(one.write_all().load())
    flags = {k: t["flag"] for k, t in cleaned.traces.items()}
    assert (flags["1", "A01"] == "").all()
    assert (flags["1", "A02"] == "set aside by hand").sum() == 21
    row = cleaned.rows.query("athlete == 'A03' and round_no == 2").iloc[0]
    assert np.isnan(row["hr_mean_bpm"]) and row["valid_s"] == pytest.approx(0, abs=1)
    assert cleaned.overrides["seconds"].tolist() == pytest.approx([40, 21, 180], abs=2)
    ledger = cleaned.ledger.table
    kept = ledger.query("cause == 'flagged, kept by hand'")
    assert kept["decided_by"].tolist() == ["lead"] and kept["amount"].sum() == pytest.approx(40, abs=2)
    by_hand = ledger.query("cause == 'set aside by hand' and measure == 'round seconds'")
    assert set(by_hand["decided_by"]) == {"lead"}
    check_conservation(cleaned)


def test_a_decision_that_fits_nothing_is_said(tmp_path):
    one = made(tmp_path).write_all()
    del one.files["A01.csv"]
    one.decisions = [{"table": "recordings", "session": 1, "athlete": "A01", "measure": "heart_rate", "from_s": 1, "to_s": 2,
                      "action": "set aside", "reason": "x"}]  # fmt: skip
    assert any("fits this decision" in w for w in clean_study(one.load()).warnings)


def test_lactate_table_is_merged_with_its_delays(tmp_path):
    one = made(tmp_path).write_all()
    end = BEGIN_S + one.traces["A01"].starts[0] + 180
    one.round_rows["A02", 1] |= {"lactate_mmol_l": 7.5}
    one.lactate_rows = [
        {"athlete": "A01", "after_round": 0, "lactate_mmol_l": 1.5},
        {"athlete": "A01", "after_round": 1, "lactate_mmol_l": 6.0, "replicate": 1, "sample_clock": clock(end + 60)},
        {"athlete": "A01", "after_round": 1, "lactate_mmol_l": 7.0, "replicate": 2, "sample_clock": clock(end + 70)},
        {"athlete": "A01", "after_round": 2, "lactate_mmol_l": "HI"},
        {"athlete": "A02", "after_round": 1, "lactate_mmol_l": 9.9},
    ]
    cleaned = clean_study(one.load())
    rows = cleaned.rows.set_index(["athlete", "round_no"])
    assert rows.loc[("A01", 0), "lactate_mmol_l"] == 1.5
    assert rows.loc[("A01", 1), "lactate_mmol_l"] == 6.5 and rows.loc[("A01", 1), "lactate_delay_s"] == 65
    assert np.isnan(rows.loc[("A01", 2), "lactate_mmol_l"]) and rows.loc[("A01", 2), "lactate_limit"] == "high"
    assert rows.loc[("A02", 1), "lactate_mmol_l"] == 7.5
    line = balance(cleaned, "lactate_mmol_l")
    assert (line["rows_in"], line["used"], line["set_aside"]) == (5, 4, 1)


def test_a_bad_file_stops_nothing_else(tmp_path):
    one = made(tmp_path).write_all()
    one.files["A01.csv"] = "not a recording"
    cleaned = clean_study(one.load())
    assert set(cleaned.traces) == {("1", "A02"), ("1", "A03")}
    assert any(w.startswith("A01, session 1: A01.csv:") for w in cleaned.warnings)
    assert cleaned.rows.query("athlete == 'A01'")["hr_mean_bpm"].isna().all()


def test_without_any_recording_the_rows_are_those_of_the_sheet(tmp_path):
    cleaned = clean_study(made(tmp_path).load())
    assert len(cleaned.rows) == 9 and cleaned.rows["exertion"].notna().all() and cleaned.traces == {}
    check_conservation(cleaned)


def test_without_a_clock_the_rounds_are_found(tmp_path):
    one = made(tmp_path, work_s=300, rest_s=120).write_all()
    one.clock_rows = {}
    cleaned = clean_study(one.load())
    assert set(cleaned.windows["found_by"]) == {"trace"} and (cleaned.windows["confidence"] > 0.8).all()
    for row in cleaned.windows.itertuples(index=False):
        assert row.start_s - BEGIN_S == pytest.approx(one.traces[row.athlete].starts[row.round_no - 1], abs=10)
    assert any("nobody logged the clock" in w for w in cleaned.warnings)
    check_conservation(cleaned)


def test_a_recording_without_a_clock_is_lined_up(tmp_path):
    one = made(tmp_path, work_s=300, rest_s=120).write_all()
    one.write_elapsed("A02")
    cleaned = clean_study(one.load())
    rows = cleaned.rows.query("athlete == 'A02'")["hr_mean_bpm"].tolist()
    assert rows == pytest.approx([one.traces["A02"].true_mean(k) for k in range(3)], abs=2)
    line = cleaned.clocks.query("athlete == 'A02'").iloc[0]
    assert line["offset_source"] == "lined up with the rounds"
    assert any("A02" in w and "no clock" in w for w in cleaned.warnings)


def test_a_round_missing_in_the_log_is_worked_out(tmp_path):
    one = made(tmp_path).write_all()
    del one.clock_rows[2]
    cleaned = clean_study(one.load())
    middle = cleaned.windows.query("round_no == 2")
    assert set(middle["found_by"]) == {"protocol"} and any("worked out from round" in r for r in cleaned.remarks)
    assert cleaned.rows.query("round_no == 2")["hr_mean_bpm"].notna().all()


def test_straps_mixed_up_are_flagged_in_both(tmp_path):
    one = made(tmp_path)
    one.traces["A02"].rates[400:520] = one.traces["A01"].rates[400:520]
    cleaned = clean_study(one.write_all().load())
    for athlete in ("A01", "A02"):
        marked = cleaned.traces["1", athlete]["flag"] == "straps mixed up"
        assert marked.iloc[400:520].mean() >= 0.95 and marked.drop(range(400, 520)).mean() <= 0.01
    assert not (cleaned.traces["1", "A03"]["flag"] == "straps mixed up").any()
    assert any("A01 and A02" in w for w in cleaned.warnings)
    check_conservation(cleaned)


def test_rules_come_from_the_settings(tmp_path):
    one = made(tmp_path).write_all()
    one.settings = "[cleaning]\nleast_valid_share = 0.5\n"
    cleaned = clean_study(one.load())
    line = cleaned.rules.set_index("parameter").loc["least_valid_share"]
    assert line["value"] == 0.5 and line["changed"]
    one.settings = "[cleaning]\nleast_valid_shar = 0.5\n"
    with pytest.raises(KitError, match="least_valid_share"):
        clean_study(one.load())


def test_traces_can_be_left_out(tmp_path):
    study = made(tmp_path).write_all().load()
    slim = clean_study(study, keep_traces=False)
    assert slim.traces == {} and slim.rows["hr_mean_bpm"].notna().all()


def test_a_common_event_outweighs_the_wrong_date_of_a_device(tmp_path):
    one = made(tmp_path, work_s=300, rest_s=120).write_all()
    one.files["A01.csv"] = one.files["A01.csv"].replace("2026-03-01", "2021-02-22")
    set_aside = clean_study(one.load())
    assert any("give the common event" in w for w in set_aside.warnings)
    one.session_row["event_clock"] = "19:01:00"
    one.recording_rows = [{"athlete": "A01", "file": "A01.csv", "event_s": 60}]
    found = clean_study(one.load())
    assert any("The common event was believed" in w for w in found.warnings)
    rows = found.rows.set_index(["athlete", "round_no"])["hr_mean_bpm"]
    for k in (1, 2, 3):
        assert rows["A01", k] == pytest.approx(one.traces["A01"].true_mean(k - 1), abs=0.5)
