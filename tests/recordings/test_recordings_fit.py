"""FIT files: real ones against facts computed elsewhere and against fitdecode, made ones for every oddity."""

from __future__ import annotations

import numpy as np
import pytest
from make_fit import EPOCH_S, EVENT, INTERVALS, RATES, RECORD, U8, U16, U32, FitFile, simple_fit

from analysis.recordings import RecordingError, read_recording
from analysis.recordings.fit import _as_trace, _define, _Message, _numbers, _place_beats, _timer_stops, _Walk

RATES_60 = [120 + i % 7 for i in range(60)]


def read(tmp_path, data: bytes, name="A01.fit", **options):
    path = tmp_path / name
    path.write_bytes(data)
    return read_recording(path, **options)


def test_plain_records(tmp_path):
    got = read(tmp_path, simple_fit(RATES_60).bytes())
    assert got.samples["hr_bpm"].tolist() == RATES_60
    assert got.samples["elapsed_s"].tolist() == list(range(60))
    assert got.samples["time"].iloc[0].timestamp() == EPOCH_S + 1_100_000_000
    assert (got.kind, got.clock, got.remarks) == ("FIT", "utc", ())


@pytest.mark.parametrize("options", [{"big": True}, {"header": 12}, {"big": True, "header": 12}])
def test_byte_order_and_old_header(tmp_path, options):
    got = read(tmp_path, simple_fit(RATES_60, **options).bytes())
    assert got.samples["hr_bpm"].tolist() == RATES_60


def test_no_heart_rate_value_is_missing_and_zero_too(tmp_path):
    got = read(tmp_path, simple_fit([120, 255, 0, 122]).bytes())
    assert np.isnan(got.samples["hr_bpm"].to_numpy()).tolist() == [False, True, True, False]
    assert any("2 of 4 rows without" in r for r in got.remarks)


def test_developer_fields_are_stepped_over(tmp_path):
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)], developer=[(0, 2, 0)])
    for i in range(5):
        fit.write(0, 1_100_000_000 + i, 130 + i, b"\x01\x02")
    assert read(tmp_path, fit.bytes()).samples["hr_bpm"].tolist() == [130, 131, 132, 133, 134]


def test_several_developer_fields_are_stepped_over_with_their_sizes(tmp_path):
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)], developer=[(0, 2, 0), (1, 5, 0), (2, 1, 0)])
    for i in range(5):
        fit.write(0, 1_100_000_000 + i, 130 + i, b"\x01\x02", b"\x41" * 5, b"\x07")
    assert read(tmp_path, fit.bytes()).samples["hr_bpm"].tolist() == [130, 131, 132, 133, 134]


@pytest.mark.parametrize(("little", "numbers"), [(True, [0x0201, 0x0403]), (False, [0x0102, 0x0304])])
def test_numbers_of_a_field_are_read_in_the_order_of_its_message(little, numbers):
    message = _Message(INTERVALS, 5, little, None, 0, -1, {0: (1, 5)})
    assert _numbers(b"\xaa\xbb\x01\x02\x03\x04\x05", 1, message, 0, 2) == numbers  # half a number at the end is none
    assert _numbers(b"", 0, message, 7, 2) == []


def test_compressed_time_stamps_roll_over(tmp_path):
    fit = simple_fit([120], start=1_100_000_030)
    fit.define(1, RECORD, [(3, 1, U8)])
    for second in range(31, 100, 5):
        fit.write(1, 121, compressed=(1_100_000_000 + second) & 0x1F)
    got = read(tmp_path, fit.bytes())
    assert got.samples["elapsed_s"].tolist() == [0, *range(1, 70, 5)]


def test_relative_times_give_no_date(tmp_path):
    got = read(tmp_path, simple_fit(RATES_60, start=17_000_000).bytes())
    assert got.clock == "none" and got.samples["time"].isna().all()
    assert any("no date" in r for r in got.remarks)


def test_timer_stops_are_missing_time(tmp_path):
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)])
    fit.define(1, EVENT, [(253, 4, U32), (0, 1, U8), (1, 1, U8)])
    t = 1_100_000_000
    fit.write(1, t, 0, 0)
    for i in range(10):
        fit.write(0, t + i, 100)
    fit.write(1, t + 9, 0, 4)
    fit.write(1, t + 12, 0, 0)
    for i in range(12, 22):
        fit.write(0, t + i, 140)
    fit.write(1, t + 21, 0, 4)
    got = read(tmp_path, fit.bytes())
    assert got.stops[["from_s", "to_s"]].to_numpy().tolist() == [[9.0, 12.0]]
    assert got.valid_s == 18.0 and got.duration_s == 21.0
    assert got.mean_hr_bpm() == 120.0
    assert got.mean_hr_bpm(over="all") == pytest.approx((9 * 100 + 3 * 120 + 9 * 140) / 21)


def test_rates_sent_after_the_session(tmp_path):
    """Heart rate in `hr` messages: one anchor, then times as the last 12 bits of a count of 1/1024 s."""
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32)])
    fit.define(1, RATES, [(253, 4, U32), (0, 2, U16), (6, 1, U8), (9, 4, U32)])
    fit.define(2, RATES, [(6, 8, U8), (10, 12, 0x0D)])
    t = 1_100_000_000
    for i in range(20):
        fit.write(0, t + i)
    fit.write(1, t, 16384, 110, 2_000)
    counts = [2_000 + 1024 * (i + 1) for i in range(16)]
    for block in (counts[:8], counts[8:]):
        packed = bytearray()
        for a, b in zip(block[0::2], block[1::2], strict=True):
            low, high = a & 0xFFF, b & 0xFFF
            packed += bytes([low & 0xFF, (low >> 8) | ((high & 0x0F) << 4), high >> 4])
        fit.write(2, [111 + i for i in range(8)], packed)
    got = read(tmp_path, fit.bytes())
    assert got.samples["elapsed_s"].tolist() == pytest.approx(list(range(17)))
    assert got.samples["time"].iloc[0].timestamp() == EPOCH_S + t + 0.5
    assert got.samples["hr_bpm"].tolist() == [110, *range(111, 119), *range(111, 119)]


def test_packed_counts_go_on_from_the_last_of_several_full_ones(tmp_path):
    """By hand: counts of 10,000 + 1024 x (0, 5, 6, 7); the packed two are the last 12 bits of 16,144 and 17,168."""
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32)])
    fit.define(1, RATES, [(253, 4, U32), (6, 2, U8), (9, 8, U32)])
    fit.define(2, RATES, [(6, 2, U8), (10, 3, 0x0D)])
    fit.write(0, 1_100_000_000)
    fit.write(1, 1_100_000_000, [110, 111], [10_000, 15_120])
    low, high = 16_144 - 3 * 4096, 17_168 - 4 * 4096
    fit.write(2, [112, 113], bytes([low & 0xFF, (low >> 8) | ((high & 0x0F) << 4), high >> 4]))
    got = read(tmp_path, fit.bytes())
    assert got.samples["elapsed_s"].tolist() == [0, 5, 6, 7]
    assert got.samples["hr_bpm"].tolist() == [110, 111, 112, 113]


def test_bytes_of_nothing_after_the_end_are_not_worth_a_word(tmp_path):
    got = read(tmp_path, simple_fit(RATES_60).bytes() + bytes(40))
    assert got.samples["hr_bpm"].tolist() == RATES_60 and got.remarks == ()


def test_intervals_alone_give_a_rate_and_are_not_mixed(tmp_path):
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)])
    fit.define(1, INTERVALS, [(0, 10, U16)])
    t = 1_100_000_000
    for i in range(60):
        fit.write(0, t + i, 255)
        fit.write(1, [500, 500])
    got = read(tmp_path, fit.bytes())
    assert got.hr_source == "intervals" and len(got.beats) == 120
    assert np.diff(got.beats["elapsed_s"]) == pytest.approx(0.5, abs=1e-6)
    assert got.samples["hr_bpm"].dropna().to_numpy() == pytest.approx(120.0)
    fit.write(0, t + 60, 118)
    mixed = read(tmp_path, fit.bytes())
    assert mixed.hr_source == "device" and mixed.samples["hr_bpm"].dropna().tolist() == [118]


def test_chained_files_and_bytes_after_the_end(tmp_path):
    two = simple_fit([120] * 10).bytes() + simple_fit([140] * 10, start=1_100_000_100).bytes()
    got = read(tmp_path, two)
    assert len(got.samples) == 20 and any("chained" in r for r in got.remarks)
    assert got.valid_s == 18.0
    got = read(tmp_path, simple_fit([120] * 10).bytes() + b"left over")
    assert any("after the end" in r for r in got.remarks)


@pytest.mark.parametrize("cut", [20, 30, 100, 151, 200])
def test_truncated_keeps_what_came_before(tmp_path, cut):
    data = simple_fit(RATES_60).bytes()[:cut]
    if cut <= 30:
        with pytest.raises(RecordingError, match="no samples"):
            read(tmp_path, data)
        return
    got = read(tmp_path, data)
    whole = (cut - 14 - 12) // 6
    assert got.samples["hr_bpm"].tolist() == RATES_60[:whole]
    assert any("end of the file is missing" in r for r in got.remarks)


def test_damaged_bytes_are_said(tmp_path):
    data = bytearray(simple_fit(RATES_60).bytes())
    data[14 + 12 + 6 * 30] = 0x07
    got = read(tmp_path, bytes(data))
    assert len(got.samples) == 30
    assert any("damaged at byte" in r for r in got.remarks) and any("checksum" in r for r in got.remarks)


def test_a_file_the_device_never_closed(tmp_path):
    got = read(tmp_path, simple_fit(RATES_60).bytes(size=0)[:-2])
    assert len(got.samples) == 60 and any("did not close" in r for r in got.remarks)


def test_no_times_and_no_samples_say_so(tmp_path):
    fit = FitFile()
    fit.define(0, RECORD, [(3, 1, U8)])
    for _ in range(3):
        fit.write(0, 120)
    with pytest.raises(RecordingError, match="both a time and a heart rate"):
        read(tmp_path, fit.bytes())
    with pytest.raises(RecordingError, match="no samples"):
        read(tmp_path, FitFile().bytes())
    with pytest.raises(RecordingError, match="damaged"):
        read(tmp_path, b"\x0d" + simple_fit(RATES_60).bytes()[1:])


def test_one_wild_time_stamp_does_not_spoil_the_rest(tmp_path):
    fit = simple_fit(RATES_60)
    fit.write(0, 1_900_000_000, 120)
    got = read(tmp_path, fit.bytes())
    assert len(got.samples) == 60 and any("far from the rest" in r for r in got.remarks)


def test_repeated_and_backward_times(tmp_path):
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)])
    t = 1_100_000_000
    for second, rate in ((0, 100), (1, 110), (1, 114), (3, 120), (2, 118)):
        fit.write(0, t + second, rate)
    got = read(tmp_path, fit.bytes())
    assert got.samples["elapsed_s"].tolist() == [0, 1, 2, 3]
    assert got.samples["hr_bpm"].tolist() == [100, 112, 118, 120]
    assert any("backward" in r for r in got.remarks) and any("repeated" in r for r in got.remarks)


@pytest.mark.parametrize(
    ("field", "width", "value", "later"),
    [(0, U16, 8192, 0.25), (0, U16, 0xFFFF, 0.0), (1, U8, 192, 0.75), (1, U8, 0xFF, 0.0)],
)
def test_fractions_of_the_second_of_the_first_count(field, width, value, later, tmp_path):
    """32768ths in 16 bits or 256ths in 8; all bits set means "no value" in the public description of the format."""
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32)])
    fit.define(1, RATES, [(253, 4, U32), (field, 2 if width == U16 else 1, width), (6, 1, U8), (9, 4, U32)])
    t = 1_100_000_000
    for i in range(4):
        fit.write(0, t + i)
        fit.write(1, t, value, 110 + i, 2_000 + 1024 * i)
    times = read(tmp_path, fit.bytes()).samples["time"]
    assert times.iloc[0].timestamp() == EPOCH_S + t + later


def test_the_rates_of_the_records_stay_where_there_are_some(tmp_path):
    """Rates that the strap sent afterwards take their place only where the records hold none at all."""
    fit = simple_fit([120, 255, 122, 123])
    fit.define(1, RATES, [(253, 4, U32), (0, 2, U16), (6, 1, U8), (9, 4, U32)])
    fit.write(1, 1_100_000_000, 0, 99, 2_000)
    got = read(tmp_path, fit.bytes())
    assert got.samples["hr_bpm"].dropna().tolist() == [120, 122, 123]
    assert not any("after the session" in r for r in got.remarks)


@pytest.mark.parametrize("silent", [2, 4, 5, 40])
def test_no_beat_lies_more_than_three_seconds_from_the_time_stamp_before_it(silent, tmp_path):
    """Beats have no times of their own: a running sum would carry every second of lost contact to the end."""
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)])
    fit.define(1, INTERVALS, [(0, 4, U16)])
    stamps = [*range(20), *range(20 + silent, 40 + silent)]
    for second in stamps:
        fit.write(0, 1_100_000_000 + second, 120)
        fit.write(1, [500, 500])
    beats = read(tmp_path, fit.bytes()).beats["elapsed_s"].to_numpy()
    off = beats - np.repeat(stamps, 2)
    assert abs(off).max() <= 3.0
    assert (off[40:] != off[:40]).any() == (silent > 0)
    assert np.diff(beats).max() == pytest.approx(0.5 if silent <= 3 else 0.5 + silent - 1, abs=1.01)


def test_times_count_as_dates_from_the_value_that_the_format_names(tmp_path):
    """0x10000000 is the first date (1998, so that clock was never set); what is smaller counts from switching on."""
    with pytest.raises(RecordingError, match="the dates lie in 1998"):
        read(tmp_path, simple_fit([120] * 3, start=0x10000000 - 1).bytes())
    early = read(tmp_path, simple_fit([120] * 3, start=0x10000000 - 2).bytes())
    assert any("switched on" in r for r in early.remarks)


def test_what_is_missing_at_the_end_is_said_once(tmp_path):
    first = bytearray(simple_fit([120] * 10).bytes())
    first[-1] ^= 1
    second = simple_fit([140] * 10, start=1_100_000_100).bytes()[:-12]
    remarks = read(tmp_path, bytes(first) + second).remarks
    assert sum("The end of the file is missing" in r for r in remarks) == 1
    assert sum("checksum" in r for r in remarks) == 1


def test_wherever_a_file_is_cut_its_rates_are_the_first_ones_of_the_whole(tmp_path):
    """Also inside a definition, its developer fields, or a message."""
    fit = simple_fit(range(100, 106))
    fit.define(1, RECORD, [(3, 1, U8), (253, 4, U32)], developer=[(0, 2, 0), (1, 3, 0)])
    for i in range(6):
        fit.write(1, 106 + i, 1_100_000_006 + i, b"\x01\x02", b"\x03\x04\x05")
    whole, counts = fit.bytes(), []
    for cut in range(14 + 12 + 6 * 2, len(whole) + 1):
        rates = read(tmp_path, whole[:cut]).samples["hr_bpm"].tolist()
        assert rates == list(range(100, 100 + len(rates)))
        counts.append(len(rates))
    assert counts == sorted(counts) and (counts[0], counts[-1]) == (2, 12)
    assert counts.count(6) == 6 + 6 + 1 + 6 + 11  # no rate is made of the second definition


def test_a_compressed_stamp_like_the_last_one_is_the_same_second(tmp_path):
    start = 1_100_000_003
    fit = simple_fit([120], start=start)
    fit.define(1, RECORD, [(3, 1, U8)])
    fit.write(1, 122, compressed=start & 0x1F)
    fit.write(1, 124, compressed=(start + 1) & 0x1F)
    got = read(tmp_path, fit.bytes())
    assert got.samples["elapsed_s"].tolist() == [0, 1] and got.samples["hr_bpm"].tolist() == [121, 124]


def test_a_stamp_with_all_bits_set_is_no_time(tmp_path):
    fit = simple_fit([120, 121])
    fit.write(0, 0xFFFFFFFF, 150)
    fit.write(0, 1_100_000_002, 122)
    got = read(tmp_path, fit.bytes())
    assert got.samples["hr_bpm"].tolist() == [120, 121, 122]
    assert any("1 row without a readable time" in r for r in got.remarks)


def test_rates_sent_afterwards_without_any_time_are_left_out(tmp_path):
    """Their counts are placed by one full count with its date; where none came, nothing can be placed."""
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)])
    fit.define(2, RATES, [(6, 2, U8), (10, 3, 0x0D)])
    fit.write(0, 1_100_000_000, 120)
    fit.write(2, [111, 112], bytes([0, 0x14, 0]))
    fit.write(0, 1_100_000_001, 121)
    assert read(tmp_path, fit.bytes()).samples["hr_bpm"].tolist() == [120, 121]


def test_a_file_that_was_never_closed_says_where_it_is_damaged(tmp_path):
    data = bytearray(simple_fit(RATES_60).bytes(size=0)[:-2])
    data[14 + 12 + 6 * 30] = 0x07
    got = read(tmp_path, bytes(data))
    assert len(got.samples) == 30
    assert sum("end of the file is missing" in r or "damaged at byte" in r for r in got.remarks) == 1


@pytest.mark.parametrize(
    ("event", "stops"), [(0, False), (1, True), (2, False), (3, False), (4, True), (8, True), (9, True)]
)
def test_five_of_the_timers_events_stand_for_a_stop_or_a_start(event, stops):
    """Event types of the format's profile: 0 start, 1 stop, 4, 8 and 9 the stops of all timers and for good (from memory)."""
    assert _timer_stops([(20, 0), (10, event)]) == ([(10.0, 20.0)] if stops else [])
    assert _timer_stops([(10, event)]) == ([(10.0, float("inf"))] if stops else [])
    assert _timer_stops([(10, event), (15, event), (20, 0), (30, 0)]) == ([(10.0, 20.0)] if stops else [])


def test_beats_run_on_until_they_part_by_more_than_three_seconds():
    """Sums by hand: 11, 12 (3.0 from 15: kept), 13 (3.5 from 16.5: set anew), and from nothing where no time stands."""
    ends, intervals = _place_beats([(10, 1000), (15, 1000), (16.5, 1000), (None, 500)])
    assert ends.tolist() == [11, 12, 16.5, 17] and intervals.dtype == float
    assert _place_beats([(None, 800), (None, 800)])[0].tolist() == [0.8, 1.6] and len(_place_beats([])[0]) == 0


def test_rates_of_the_strap_that_are_none_and_times_from_the_switch_on():
    strap = _as_trace(_Walk(rate_times=[100.0, 101.0], rate_values=[255, 254]), "a")
    assert np.isnan(strap.rates[0]) and strap.rates[1] == 254 and strap.seconds.tolist() == [100, 101]
    assert strap.clock == "none" and len(strap.remarks) == 2
    zero = _as_trace(_Walk(times=[100, 101], rates=[0, 0], rate_times=[100.5, 101.5], rate_values=[118, 119]), "a")
    assert zero.rates.tolist() == [118, 119]
    dated = _as_trace(_Walk(times=[1_100_000_000, None], rates=[120, 255], timer=[(1_100_000_000, 1)]), "a")
    assert dated.seconds[0] == 1_100_000_000 + EPOCH_S and np.isnan(dated.seconds[1]) and np.isnan(dated.rates[1])
    assert dated.clock == "utc" and dated.stops == [(1_100_000_000 + EPOCH_S, float("inf"), "timer stopped")]


@pytest.mark.parametrize("big", [False, True])
def test_a_definition_may_end_with_the_file_and_is_cut_before_it(big):
    fit = FitFile(big=big)
    fit.define(3, RECORD, [(253, 4, U32), (3, 1, U8)])
    data, known = b"\x00" + bytes(fit.body), [None] * 16
    assert _define(data, 1, len(data), known) == len(data) and known[3].kind == RECORD and known[3].size == 5
    assert _define(data, 1, len(data) - 1, [None] * 16) == -1 and _define(data, 1, 6, [None] * 16) == -1
    more = FitFile(big=big)
    more.define(3, RECORD, [(253, 4, U32)], developer=[(0, 2, 0), (1, 3, 0)])
    data = b"\x00" + bytes(more.body)
    assert _define(data, 1, len(data), known) == len(data) and known[3].size == 4 + 2 + 3
    assert [_define(data, 1, len(data) - cut, [None] * 16) for cut in (1, 6, 7)] == [-1, -1, -1]


def test_other_events_than_the_timers_and_events_without_a_type_stop_nothing(tmp_path):
    fit = simple_fit(RATES_60)
    fit.define(1, EVENT, [(253, 4, U32), (0, 1, U8), (1, 1, U8)])
    fit.write(1, 1_100_000_010, 8, 1)  # a workout step that ends
    fit.define(2, EVENT, [(253, 4, U32), (0, 1, U8)])
    fit.write(2, 1_100_000_020, 0)
    fit.define(3, EVENT, [(0, 1, U8), (1, 1, U8)])
    assert len(read(tmp_path, fit.bytes()).stops) == 0
