"""An evening's devices: event-driven files, clocks that are wrong, straps shared; and every remedy followed to the letter."""

from __future__ import annotations

import re

import numpy as np
import pytest
from made_events import EVENT_RULES, lose_contact, round_errors, seconds_written
from made_studies import MadeStudy
from made_traces import make_trace

from analysis.answers.describe import describe_rests
from analysis.cleaning import CleaningRules, clean_study
from analysis.cleaning.clocks import clock_in_words, find_clock
from analysis.recordings import read_recording
from analysis.study import check_study
from analysis.telling.cleaning.sentences import look_into_recordings, plain_account
from analysis.telling.study.sentences import plain_rests
from analysis.telling.study.tables import tabulate_recovery

RULES = CleaningRules()
DECIDED = {"date": "2026-03-02", "decided_by": "study lead", "table": "recordings", "reason": "looked at the picture"}


def made(folder, **options) -> MadeStudy:
    return MadeStudy(folder, work_s=300, rest_s=120, **options).write_all()


def means(cleaned, code) -> np.ndarray:
    rows = cleaned.rows[cleaned.rows["athlete"] == code]
    return rows.sort_values("round_no")["hr_mean_bpm"].to_numpy()


def truth(one, code) -> np.ndarray:
    return np.array([one.traces[code].true_mean(k) for k in range(one.rounds)])


@pytest.mark.parametrize("rule", EVENT_RULES)
def test_rounds_of_a_device_that_writes_on_events_keep_their_means(rule):
    errors = []
    for i in range(25):
        rng = np.random.default_rng([41, i])
        trace = make_trace(rng, noise_bpm=float(rng.choice([0.5, 0.9, 1.5])))
        errors += list(round_errors(trace, seconds_written(rng, trace, **EVENT_RULES[rule])))
    errors = np.array(errors)
    kept = errors[np.isfinite(errors)]
    assert len(kept) >= 0.98 * len(errors)
    assert abs(kept.mean()) < 0.3 and np.abs(kept).max() < 1.5


def test_lost_contact_in_a_file_written_every_second_stays_missing(tmp_path):
    trace = make_trace(np.random.default_rng(3))
    places = lose_contact(np.random.default_rng(4), np.arange(len(trace.rates)), len(trace.rates), 3, low=20, high=50)
    path = tmp_path / "A01.csv"
    path.write_text("elapsed_s,hr\n" + "".join(f"{i},{trace.rates[i]:.0f}\n" for i in places))
    got = read_recording(path)
    assert got.written == "steadily" and len(got.gaps) == 3
    assert got.valid_s < got.duration_s - 60


@pytest.mark.parametrize("inside", ["0", ""])
def test_a_row_that_says_no_contact_ends_the_joining(tmp_path, inside):
    rows = [(t, 120 + (i % 3) * 2) for i, t in enumerate(np.cumsum([1, 2, 3, 7, 2, 9, 1, 4] * 12))]
    at = rows[40][0]
    later = [(t + 40, h) for t, h in rows[41:]]
    path = tmp_path / "A01.csv"

    def gaps(between):
        path.write_text("elapsed_s,hr\n" + "".join(f"{t},{h}\n" for t, h in [*rows[:41], *between, *later]))
        return len(read_recording(path).gaps)

    assert gaps([(at + 20, inside)]) == 1
    assert gaps([]) in (0, 1)


def test_a_table_with_the_rate_in_every_fifth_row_has_no_gaps(tmp_path):
    path = tmp_path / "A01.csv"
    path.write_text("elapsed_s,hr\n" + "".join(f"{i},{'' if i % 7 else 120 + i % 5}\n" for i in range(700)))
    got = read_recording(path)
    assert len(got.gaps) == 0 and got.valid_s == pytest.approx(got.duration_s - 6, abs=8)


def test_a_heart_rate_a_minute_is_used_for_the_session_and_refused_for_rounds(tmp_path):
    one = made(tmp_path)
    one.write_local("A02", part=slice(None, None, 60))
    cleaned = clean_study(one.load())
    assert np.isnan(means(cleaned, "A02")).all() and np.isfinite(means(cleaned, "A01")).all()
    lost = cleaned.missing
    assert set(lost["athlete"]) == {"A02"} and set(lost["cause"]) == {"too coarse"}
    assert any("too coarse for rounds" in r for r in cleaned.remarks)
    whole = read_recording(tmp_path / "recordings" / "A02.csv")
    assert whole.valid_s == whole.duration_s and 90 < whole.mean_hr_bpm() < 180


@pytest.mark.parametrize("ahead", [174, -240, 600, 1800, 3600, -3600])
def test_a_clock_that_is_off_is_found_held_back_and_settled_by_each_remedy(tmp_path, ahead):
    one = made(tmp_path, athletes=4)
    one.write_local("A03", ahead_s=ahead)
    cleaned = clean_study(one.load())
    assert np.isnan(means(cleaned, "A03")).all()
    assert set(cleaned.missing["cause"]) == {"clock"}
    (said,) = [w for w in cleaned.warnings if "held back" in w]
    assert said is cleaned.warnings[0] and clock_in_words(ahead) in said.replace("174", "3 min")
    assert plain_account(cleaned) == "12 rounds sparred: 9 with a mean, 3 without: A03 clock (3)."

    offset = re.search(r"clock_offset_s = (-?\d+)", said)[1]
    one.recording_rows = [{"athlete": "A03", "file": "A03.csv", "clock_offset_s": offset}]
    assert means(clean_study(one.load()), "A03") == pytest.approx(truth(one, "A03"), abs=1.5)
    one.recording_rows = []
    (tmp_path / "recordings.csv").unlink()

    one.decisions = [DECIDED | {"session": "1", "athlete": "A03", "action": "trust the trace"}]
    trusted = clean_study(one.load())
    assert means(trusted, "A03") == pytest.approx(truth(one, "A03"), abs=1.5)
    assert trusted.clocks.set_index("athlete").loc["A03", "offset_source"] == "trace, by decision"
    assert not trusted.warnings and any("study lead" in r for r in trusted.remarks)

    one.decisions = [DECIDED | {"session": "1", "athlete": "A03", "action": "trust the log"}]
    as_it_is = clean_study(one.load())
    assert as_it_is.clocks.set_index("athlete").loc["A03", "settled"] == "trust the log (study lead)"
    assert not any("held back" in w for w in as_it_is.warnings)


def test_the_plan_may_trust_the_trace_beforehand(tmp_path):
    one = made(tmp_path, athletes=4)
    one.write_local("A03", ahead_s=174)
    one.settings = "[cleaning]\ntrust_trace_above = 0.9\n"
    cleaned = clean_study(one.load())
    assert means(cleaned, "A03") == pytest.approx(truth(one, "A03"), abs=1.5)
    line = cleaned.clocks.set_index("athlete").loc["A03"]
    assert line["offset_source"] == "trace, by the plan's rule" and line["settled"] == "trust the trace (rule)"
    assert not cleaned.warnings and any("trust_trace_above" in r for r in cleaned.remarks)


def test_a_wrist_sensor_that_lags_is_named_as_lagging(tmp_path):
    one = made(tmp_path, athletes=4)
    one.write_local("A03", ahead_s=20)
    one.attendance_rows = [{"athlete": "A03", "device": "wrist 4"}]
    (said,) = clean_study(one.load()).warnings
    assert "behind the rounds" in said and "a sensor on the wrist lags so" in said
    moved = float(re.search(r"moves its round means by \+?([\d.]+)", said)[1])
    late = make_trace(np.random.default_rng(0), rounds=3, work_s=300, rest_s=120)
    assert 1 < moved < 9 and len(late.starts) == 3


def test_an_evening_that_is_off_as_a_whole_is_the_timekeepers(tmp_path):
    one = made(tmp_path, athletes=4)
    for code in one.codes:
        one.write_local(code, ahead_s=3600)
    said = clean_study(one.load()).warnings[0]
    assert "4 of 4 recordings look 1 h fast alike" in said and "utc_offset" in said


def test_clocks_that_are_right_are_left_alone():
    """A hundred sound evenings: none is held back, whatever is searched."""
    wrong = 0
    for i in range(100):
        trace = make_trace(np.random.default_rng([8, i]), noise_bpm=1.5, bell_sd_s=5)
        good = np.isfinite(trace.rates)
        lag = find_clock(
            trace.elapsed + 68400, trace.rates, good, trace.starts + 68400, trace.starts + 68400 + trace.work_s
        )
        wrong += abs(lag.seconds) > max(RULES.clock_disagreement_s, lag.uncertainty_s) and lag.confidence >= 0.5
    assert wrong == 0


def test_a_shared_strap_is_kept_for_the_one_it_belongs_to(tmp_path):
    one = made(tmp_path)
    one.files["A02.csv"] = one.files["A01.csv"]
    cleaned = clean_study(one.load())
    assert np.isnan(means(cleaned, "A01")).all() and np.isnan(means(cleaned, "A02")).all()
    assert plain_account(cleaned) == "9 rounds sparred: 3 with a mean, 6 without: A01 and A02 share a strap (6)."
    (said,) = cleaned.warnings
    rows = re.findall(r"athlete (\w+), from_s (\d+), to_s (\d+)", said)
    assert [r[0] for r in rows] == ["A01", "A02"]
    code, begin, end = rows[0]
    one.decisions = [DECIDED | {"session": "1", "athlete": code, "from_s": begin, "to_s": end, "action": "keep"}]
    settled = clean_study(one.load())
    assert means(settled, "A01") == pytest.approx(truth(one, "A01"), abs=1)
    assert np.isnan(means(settled, "A02")).all()
    assert settled.overrides["seconds"].iloc[0] > 900
    one.decisions = [DECIDED | {"session": "1", "athlete": "A02", "from_s": 0, "to_s": 9999, "action": "set aside"}]
    assert set(clean_study(one.load()).missing["athlete"]) == {"A01", "A02"}


def test_one_device_worn_in_turn(tmp_path):
    one = made(tmp_path)
    cut = int(one.traces["A01"].starts[1]) - 60
    both = one.traces["A01"].rates.copy()
    both[cut:] = one.traces["A02"].rates[cut : len(both)]
    one.traces["A01"].rates = both
    one.write_local("A01", name="strap_3.csv")
    del one.files["A01.csv"], one.files["A02.csv"]
    clock = f"19:{cut // 60:02d}:{cut % 60:02d}"
    one.recording_rows = [
        {"athlete": "A01", "file": "strap_3.csv", "worn_until": clock},
        {"athlete": "A02", "file": "strap_3.csv", "worn_from": clock},
    ]
    cleaned = clean_study(one.load())
    assert means(cleaned, "A01")[0] == pytest.approx(truth(one, "A01")[0], abs=1)
    assert means(cleaned, "A02")[1:] == pytest.approx(truth(one, "A02")[1:], abs=1)
    assert np.isnan(means(cleaned, "A01")[1:]).all() and np.isnan(means(cleaned, "A02")[0])
    assert not any("share" in w or "mixed up" in w for w in cleaned.warnings)
    one.recording_rows[1]["worn_from"] = "19:01:00"
    with pytest.raises(ValueError, match="wears the device"):
        one.load()
    one.recording_rows = [{"athlete": "A01", "file": "strap_3.csv"}, {"athlete": "A02", "file": "strap_3.csv"}]
    with pytest.raises(ValueError, match="worn_from and worn_until"):
        one.load()


def test_check_opens_the_recordings_and_ends_with_the_account(tmp_path):
    one = made(tmp_path, athletes=4)
    one.write_local("A03", ahead_s=200)
    one.files["A04.csv"] = "nothing of the kind\n"
    one.load()

    def look(study):
        return look_into_recordings(study, keep=True)

    first = check_study(tmp_path, look=look)
    assert first.passed and first.opened and "Everything fits" not in first.text()
    lines = first.text().splitlines()
    assert (
        lines[-1]
        == "12 rounds sparred: 6 with a mean, 6 without: A03 clock (3), the recording of A04 cannot be read (3)."
    )
    assert lines[2].startswith("Recordings: to settle first") and "3 min fast" in lines[3]
    kept = sorted(p.name for p in (tmp_path / ".kept").iterdir())
    assert len(kept) == 3
    assert check_study(tmp_path, look=look).text() == first.text()
    one.write_local("A03")
    one.files["A04.csv"] = one.files["A01.csv"].replace(",1", ",2")
    one.load()
    again = check_study(tmp_path, look=look)
    assert again.account.startswith("12 rounds sparred: 9 with a mean")
    closed = check_study(tmp_path)
    assert not closed.opened and "The recordings were not opened." in closed.text()


def test_what_is_kept_is_what_was_read_and_damage_to_it_is_ignored(tmp_path):
    one = made(tmp_path)
    study = one.load()
    plain = clean_study(study)
    for _ in range(2):
        kept = clean_study(study, keep_read=True)
        for key, trace in plain.traces.items():
            assert trace.equals(kept.traces[key])
        assert plain.rows.equals(kept.rows) and plain.remarks == kept.remarks
    for path in (tmp_path / ".kept").iterdir():
        path.write_bytes(path.read_bytes()[:200])
    assert clean_study(study, keep_read=True).rows.equals(plain.rows)


def test_a_recording_much_shorter_or_longer_than_the_evening_is_named(tmp_path):
    one = made(tmp_path)
    one.write_local("A01", part=slice(0, 420))
    long = make_trace(np.random.default_rng(1), rounds=3, work_s=300, rest_s=120, before_s=300, after_s=5 * 3600)
    one.traces["A02"] = long
    one.write_local("A02")
    said = clean_study(one.load()).warnings
    assert any("A01" in w and "Is there a second file" in w for w in said)
    assert any("A02" in w and "Only the rounds are used" in w for w in said)


def with_test(one, code, value) -> MadeStudy:
    (one.folder / "aerobic_tests.csv").write_text(
        f"athlete,date,test,level,shuttle,hr_max_bpm\n{code},2026-02-20,shuttle_run_20m,9,3,{value}\n"
    )
    return one


def test_a_stated_maximum_below_the_athletes_own_test_is_settled_before_it_costs_samples(tmp_path):
    one = made(tmp_path)
    true_max = round(one.traces["A01"].hr_max)
    one.athlete_rows["A01"] |= {"hr_max_bpm": true_max - 40}
    without = clean_study(one.load())
    assert "out of range" in set(without.flags_table["flag"])
    cleaned = clean_study(with_test(one, "A01", true_max).load())
    assert means(cleaned, "A01") == pytest.approx(truth(one, "A01"), abs=0.5)
    assert cleaned.rows.query("athlete == 'A01'")["percent_hr_max"].isna().all()
    assert "out of range" not in set(cleaned.flags_table["flag"])
    (said,) = cleaned.warnings
    assert f"hr_max_bpm = {true_max}" in said and "action keep" in said

    one.athlete_rows["A01"] |= {"hr_max_bpm": true_max}
    assert clean_study(one.load()).rows.query("athlete == 'A01'")["percent_hr_max"].notna().all()
    one.athlete_rows["A01"] |= {"hr_max_bpm": true_max - 4}
    one.decisions = [DECIDED | {"table": "athletes", "athlete": "A01", "measure": "hr_max_bpm", "action": "keep"}]
    kept = clean_study(one.load())
    share = kept.rows.query("athlete == 'A01'")["percent_hr_max"].iloc[0]
    assert share == pytest.approx(100 * means(kept, "A01")[0] / (true_max - 4))


def test_the_maximum_of_a_test_stands_in_where_none_was_stated(tmp_path):
    one = made(tmp_path)
    true_max = round(one.traces["A01"].hr_max) + 2
    one.athlete_rows["A01"] |= {"hr_max_bpm": "", "hr_max_source": ""}
    cleaned = clean_study(with_test(one, "A01", true_max).load())
    share = cleaned.rows.query("athlete == 'A01'")["percent_hr_max"].to_numpy()
    assert share == pytest.approx(100 * means(cleaned, "A01") / true_max)
    assert any("the highest of the fitness test" in r for r in cleaned.remarks) and not cleaned.warnings


def test_the_maximum_of_a_gas_exchange_file_is_a_mean_never_one_breath(tmp_path):
    one = made(tmp_path)
    (tmp_path / "aerobic_files").mkdir()
    lines = [f"{3 * i},{900 + 20 * i},{800 + 20 * i},{min(120 + i, 201)}" for i in range(120)]
    lines[60] = "180,2100,2000,226"
    (tmp_path / "aerobic_files" / "A01_ramp.csv").write_text(
        "elapsed_s,vo2_ml_min,vco2_ml_min,hr_bpm\n" + "\n".join(lines) + "\n"
    )
    (tmp_path / "aerobic_tests.csv").write_text(
        "athlete,date,test,file,mass_kg\nA01,2026-02-20,gas_exchange,A01_ramp.csv,80\n"
    )
    one.athlete_rows["A01"] |= {"hr_max_bpm": 170}
    (said,) = [w for w in clean_study(one.load()).warnings if "fitness test" in w]
    assert "201" in said and "A01_ramp.csv" in said


def test_heart_rate_in_the_rests_is_described_and_told(tmp_path):
    one = made(tmp_path, athletes=6)
    rows = clean_study(one.load()).rows
    for code in one.codes:
        trace = one.traces[code]
        mine = rows[rows["athlete"] == code].set_index("round_no")
        for k in (1, 2):
            bell, end = int(trace.starts[k]), int(trace.starts[k - 1] + trace.work_s)
            assert mine.loc[k, "hr_rest_end_bpm"] == pytest.approx(trace.truth[bell - 10 : bell].mean(), abs=1)
            fall = trace.truth[end - 5 : end].mean() - trace.truth[end + 55 : end + 65].mean()
            assert mine.loc[k, "hr_recovery_60s_bpm"] == pytest.approx(fall, abs=1)
        assert np.isnan(mine.loc[3, "hr_rest_end_bpm"])
    rests = describe_rests(rows, "1")
    line = rests.table.query("outcome == 'hr_rest_end_bpm' and round_no == 2").iloc[0]
    assert line["mean"] == pytest.approx(rows.loc[rows["round_no"] == 2, "hr_rest_end_bpm"].mean())
    assert line["n_athletes"] == 6 and line["ci_low"] < line["mean"] < line["ci_high"]
    assert set(rests.table["round_no"]) == {1, 2}
    text = plain_rests(rests)
    assert f"{line['mean']:.0f}\N{NO-BREAK SPACE}bpm after round 2" in text and "heart rate fell by" in text
    assert tabulate_recovery(rests).shape == (2, 3)
