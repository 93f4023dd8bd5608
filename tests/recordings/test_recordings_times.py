"""Texts of times at their edges: the quick way and the slow one agree, and what is no time is missing."""

import calendar

import numpy as np
import pytest

from analysis.recordings.times import (
    _clock,
    _date_order,
    _fixed_clock,
    _fixed_iso,
    _past_midnight,
    parse_iso_times,
    parse_numbers,
    parse_times,
)

NAN = float("nan")
BASE = calendar.timegm((2026, 3, 1, 18, 4, 30))  # seconds since 1970, by the standard library


def read(*texts, kind="time", unit=""):
    found = parse_times(list(texts), kind=kind, unit=unit)
    return found.seconds.tolist(), found.clock


@pytest.mark.parametrize(
    ("text", "seconds", "zoned"),
    [
        ("2026-03-01T18:04:30Z", BASE, True),
        ("2026-03-01 18:04:30", BASE, False),
        ("2026-03-01T18:04:30.250Z", BASE + 0.25, True),
        ("2026-03-01T18:04:30,5", BASE + 0.5, False),
        ("2026-03-01T18:04:30+01:30", BASE - 5400, True),
        ("2026-03-01T18:04:30-02:15", BASE + 8100, True),
        ("2026-03-01T18:04:30.123456789+01:00", BASE - 3600 + 0.123456789, True),
        ("2026-03-01T18:04Z", BASE - 30, True),
        ("2026-03-01T18:04:30 UTC", BASE, True),
        ("2026-03-01T18:04:30+01", BASE - 3600, True),
        ("2019-12-31T18:04:30Z", calendar.timegm((2019, 12, 31, 18, 4, 30)), True),
        ("1987-10-29T07:36:52Z", calendar.timegm((1987, 10, 29, 7, 36, 52)), True),
        ("2026-03-01T23:59:59Z", BASE + 5 * 3600 + 55 * 60 + 29, True),
    ],
)
def test_one_moment_in_every_writing(text, seconds, zoned):
    found, has_zone, remarks = parse_iso_times([text, text])
    assert found.tolist() == pytest.approx([seconds] * 2, abs=1e-6) and has_zone == zoned and not remarks


@pytest.mark.parametrize(
    "wrong",
    [
        "2026-03-01T24:04:30Z",
        "2026-03-01T18:60:30Z",
        "2026-13-01T18:04:30Z",
        "2026-02-30T18:04:30Z",
        "2026-03-01T18:04:61Z",
        "2026-03-01T18:0x:30Z",
        "2026-03-01T18:04:3:Z",
    ],
)
def test_a_moment_that_is_none_is_missing_and_the_others_stay(wrong):
    found, zoned, _ = parse_iso_times(["2026-03-01T18:04:30Z", wrong])
    assert found[0] == BASE and np.isnan(found[1]) and zoned


def test_zones_in_some_rows_only_are_said():
    found, zoned, remarks = parse_iso_times(["2026-03-01T18:04:30Z", "2026-03-01T18:04:31"])
    assert found.tolist() == [BASE, BASE + 1] and zoned and len(remarks) == 1
    assert parse_iso_times(["2026-03-01T18:04:30", "2026-03-01T18:04:31.5"])[1:] == (False, [])
    assert parse_iso_times(["2026-03-01T18:04:30Z", "2026-03-01T18:04:31.5Z"])[1:] == (True, [])


def test_local_times_keep_their_date():
    assert read("2026-03-01T18:04:30Z", "2026-03-01T18:04:31Z") == ([BASE, BASE + 1], "utc")
    assert read("2026-03-01T18:04:30+01:00", "")[0][0] == BASE - 3600
    found = parse_times(["", "2026-03-01 18:04:30"], kind="time")
    assert (found.clock, found.date) == ("local", "2026-03-01") and "no zone" in found.remarks[0]


def test_clocks():
    assert read("19:04:30", "19:04:31") == ([68670.0, 68671.0], "local")
    assert (
        read("7:04:30 pm") == ([68670.0], "local")
        and read("12:00:00 am")[0] == [0.0]
        and read("12:00:00 PM")[0] == [43200.0]
    )
    assert read("19:04:30,5")[0] == [68670.5]
    assert read("19:04", kind="clock") == ([68640.0], "local")
    assert read("04:30", kind="elapsed") == ([270.0], "none") == read("04:30")
    assert (
        read("00:00:59", "00:01:00")[1] == "none" and read("00:01:00", "00:01:01")[1] == "local"
    )  # from one minute on a clock
    assert read("00:00:10", kind="clock")[1] == "local"
    assert read("1:15:00", kind="elapsed")[0] == [4500.0] and read("0:75:00", kind="elapsed")[0] == [4500.0]


@pytest.mark.parametrize("wrong", ["19:60:30", "19:94:30", "19:04:61", "19:04:99"])
@pytest.mark.parametrize("good", ["19:04:30", "9:04:30"])  # read as one block, and one by one
def test_what_is_no_time_of_day_is_missing_however_it_is_read(good, wrong):
    seconds, _ = read(good, wrong)
    assert np.isfinite(seconds[0]) and np.isnan(seconds[1])


def test_one_odd_row_in_a_block_is_missing():
    seconds, _ = read("19:04:30", "19:04:3:", "19:04:3x")
    assert seconds[0] == 68670.0 and np.isnan(seconds[1:]).all()


def test_a_leap_second_and_long_minutes_are_times():
    assert read("19:04:30", "19:04:60")[0] == [68670.0, 68700.0]
    assert read("00:59:00", "00:75:00", kind="elapsed")[0] == [3540.0, 4500.0]


def test_what_is_no_clock_is_missing_and_nothing_is_remarked_of_a_plain_one():
    seconds, _ = read("19:04:30", "x:y", "1:2:3:4", "19:04:3x", "19:04:3:")
    assert seconds[0] == 68670.0 and np.isnan(seconds[1:]).all()
    assert parse_times(["19:04:30", "19:04:31"], kind="time").remarks == []
    assert "near zero" in parse_times(["00:00:01", "00:00:02"], kind="time").remarks[0]
    assert parse_times(["00:00:01", "00:00:02"], kind="elapsed").remarks == []


def test_a_row_with_another_date_that_is_none_is_missing():
    found = parse_times(["13/02/2026 18:04:30", "13/99/2026 18:04:31", "none"], kind="time")
    assert np.isfinite(found.seconds[0]) and np.isnan(found.seconds[1:]).all() and found.date == "2026-02-13"


def test_midnight_is_passed_once_and_back():
    day = 86400.0
    assert _past_midnight(np.array([86399.0, 1.0, 2.0])).tolist() == [0, 1, 1]
    assert _past_midnight(np.array([86399.0, NAN, 1.0])).tolist() == [0, 0, 1]
    assert _past_midnight(np.array([86399.0, 1.0, 86398.0])).tolist() == [0, 1, 0]
    assert _past_midnight(np.array([day / 2 + 5, 5.0])).tolist() == [0, 0]  # half a day is no midnight
    assert _past_midnight(np.array([day / 2 + 5.5, 5.0])).tolist() == [0, 1]
    found = parse_times(["23:59:59", "00:00:01"], kind="clock")
    assert found.seconds.tolist() == [86399.0, 86401.0] and found.remarks == ["The clock passes midnight."]


@pytest.mark.parametrize(
    ("texts", "date", "clock"),
    [
        (["13/02/2026 18:04:30"], "2026-02-13", "local"),
        (["02/13/2026 18:04:30"], "2026-02-13", "local"),
        (["12/02/2026 18:04:30"], "", "local"),  # either way: only the time of day
        (["02/12/2026 18:04:30"], "", "local"),
        (["02/01/0099 18:04:30", "13/01/0099 18:04:30"], "2099-01-02", "local"),
        (["12.02.2026 18:04:30"], "2026-02-12", "local"),  # with points the day stands first
        (["02/02/2026 18:04:30"], "2026-02-02", "local"),
        (["2026/02/13 18:04:30"], "2026-02-13", "local"),
        (["13/02/26 18:04:30"], "2026-02-13", "local"),
        (["12/02/2026 18:04:30", "13/02/2026 18:04:30"], "2026-02-12", "local"),
    ],
)
def test_dates_are_read_one_way_or_not_at_all(texts, date, clock):
    found = parse_times(texts, kind="time")
    assert (found.date, found.clock) == (date, clock)
    assert found.seconds[0] % 86400 == 65070.0 and (found.seconds[0] > 1e9) == bool(date)


@pytest.mark.parametrize(
    ("values", "unit", "first", "clock"),
    [
        ((BASE, BASE + 1), "", BASE, "utc"),
        ((BASE * 1e3, BASE * 1e3 + 1000), "", BASE, "utc"),
        ((BASE * 1e6, BASE * 1e6 + 1e6), "", BASE, "utc"),
        ((BASE * 1e9, BASE * 1e9 + 1e9), "", BASE, "utc"),
        ((0, 1, 2), "min", 0, "none"),
        ((1.5, 2.5), "min", 90, "none"),
        ((0.5, 0.6), "h", 1800, "none"),
        ((1500, 2500), "ms", 1.5, "none"),
        ((46082.75, 46082.75 + 1 / 86400), "", calendar.timegm((2026, 3, 1, 18, 0, 0)), "local"),
        ((0.75, 0.75 + 1 / 86400), "", 64800, "local"),
        ((0.0, 1 / 86400), "", 0, "none"),
        ((1000, 2000, 9000), "", 1.0, "none"),
        ((0, 199, 398, 6000), "", 0, "none"),
        ((12, 13), "s", 12, "none"),
        ((3e8, 3e8), "", 3e8, "none"),
        ((46082, 46082.02), "", 46082, "none"),  # half an hour apart
        ((0.0005, 0.0012), "", 43.2, "none"),  # fractions of a day that begin within 86 s of nothing
        ((0.0012, 0.0019), "", 103.68, "local"),
        ((30000, 30001, 30003), "", 30000, "none"),  # eight hours of seconds are no spreadsheet dates
    ],
)
def test_numbers_are_told_by_their_size_and_steps(values, unit, first, clock):
    found = parse_times([repr(float(v)) for v in values], kind="time", unit=unit)
    assert found.clock == clock and found.seconds[0] == pytest.approx(first, abs=1e-3)
    plain = unit != "" or max(values) in (2, 6000, 30003, 3e8, 46082.02)
    assert bool(found.remarks) == (not plain)  # what was told by size is said


def test_steps_below_200_are_seconds_and_from_200_on_milliseconds():
    assert read(*[str(199 * k) for k in range(40)])[0][-1] == 199 * 39
    assert read(*[str(200 * k) for k in range(40)])[0][-1] == 200 * 39 / 1000
    assert read(*[str(200 * k) for k in range(25)])[0][-1] == 4800.0  # too short to be told


def test_numbers_with_commas_and_words():
    assert parse_numbers(["1", "2.5"]).tolist() == [1.0, 2.5]
    found = parse_numbers(["1,5", "\N{MINUS SIGN}2", "word", "", "1,000.5", "9" * 41])
    assert np.isnan(parse_numbers(["1,2,3"])).all()
    assert found[:2].tolist() == [1.5, -2.0] and np.isnan(found[2:]).all()


@pytest.mark.parametrize("ending", ["", "Z", ".125Z", ",125+01:00", "-03:30", ".000000001Z"])
def test_columns_laid_out_alike_are_read_the_quick_way(ending):
    """The value by the standard library; every digit of date, time and fraction counts."""
    for stamp in (
        (1987, 12, 31, 23, 59, 58),
        (2026, 3, 1, 18, 4, 30),
        (2024, 2, 29, 0, 0, 60),
        (2035, 10, 9, 7, 46, 51),
    ):
        text = "{:04d}-{:02d}-{:02d}T{:02d}:{:02d}:{:02d}".format(*stamp)
        away = {",125+01:00": -3600, "-03:30": 12600}.get(ending, 0)
        fraction = 0.125 if "125" in ending else 1e-9 if "000" in ending else 0.0
        seconds, zoned = _fixed_iso([text + ending] * 3)
        assert seconds == pytest.approx([calendar.timegm(stamp) + away + fraction] * 3, abs=1e-6) and zoned == bool(
            ending
        )
        hours, minutes, past = stamp[3:]
        assert _fixed_clock([text[11:]] * 2).tolist() == [3600 * hours + 60 * minutes + past] * 2


@pytest.mark.parametrize(
    "odd",
    [
        "2026-13-01T18:04:30Z",
        "2026-03-01T24:04:30Z",
        "2026-03-01T18:60:30Z",
        "2026-03-01T18:04:61Z",
        "2026-03-01T18:04",
    ],
)
def test_what_is_no_time_leaves_the_quick_way(odd):
    assert _fixed_iso([odd]) is None and _fixed_iso([]) is None
    fits = ["2026-03-01T18:04:30Z", "2027-11-23T09:56:41Z"]
    assert _fixed_iso(fits)[0][0] == BASE and _fixed_iso([fits[0], fits[1].replace("T", " ")]) is None
    assert _fixed_clock(["19:60:00"]) is None and _fixed_clock(["19:04:61"]) is None and _fixed_clock([]) is None


def test_sixty_minutes_stand_behind_no_hour_alone_and_zones_of_hours_are_read():
    assert _clock("0:60:00", False) == 3600 and np.isnan(_clock("1:60:00", False)) and _clock("1:59:60", False) == 7200
    seconds, zoned, said = parse_iso_times(["2026-03-01 18:04:30+01", "2026-03-01T18:04-05"])
    assert seconds.tolist() == [BASE - 3600, BASE - 30 + 5 * 3600] and zoned and not said


def test_one_year_that_stands_first_says_that_years_do():
    assert _date_order([(5, "-", 3, 2026), (2026, "-", 3, 1)]) == ("ymd", [])
    assert _date_order([(12, "/", 12, 2026)]) == ("dmy", []) and _date_order([(11, "/", 12, 2026)]) == ("", [])
    assert _date_order([(31, "/", 12, 2026)])[0] == "dmy" and _date_order([(32, "/", 12, 2026)])[0] == "ymd"
    assert _date_order([(13, "/", 12, 2026)]) == ("dmy", []) and _date_order([(12, "/", 13, 2026)]) == ("mdy", [])


def test_fractions_of_a_day_lie_from_nothing_to_two_and_years_of_two_digits_in_this_century():
    for values in ((-0.0005, 0.0002), (1.9995, 2.0002)):
        assert read(*map(str, values)) == (list(values), "none")
    assert read("1.9985", "1.9992") == ([172670.4, 172730.88], "local")
    assert read("01.03.99 00:00:00")[0] == [calendar.timegm((2099, 3, 1, 0, 0, 0))]
    assert read("01.03.100 00:00:00")[0][0] < -5e10
