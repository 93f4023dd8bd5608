"""Texts to numbers, dates and times: what is clear is read, what could be two things is refused."""

import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.study.columns import column_rules
from analysis.study.convert import check_limits
from analysis.study.text_files import Slip, read_number, writes_decimal_comma
from analysis.study.times import clock_seconds, offset_seconds, read_clock, read_date, read_duration, read_offset


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("5.2", 5.2),
        ("5,2", 5.2),
        (" 176 ", 176),
        ("−3,5", -3.5),
        ("1e3", 1000),
        ("1.234,5", 1234.5),
        ("1,234.5", 1234.5),
        ("1 234", 1234),
        ("1\u00a0234", 1234),
        ("0,125", 0.125),
        (".5", 0.5),
        ("+4", 4),
        ("12,5000", 12.5),
    ],
)
def test_numbers_with_point_or_comma(text, value):
    assert read_number(text) == value


@pytest.mark.parametrize(
    "text",
    [
        "1,234",
        "nan",
        "inf",
        "-Infinity",
        "#N/A",
        "12:30",
        "9-4",
        "five",
        "5.2.1",
        "1,2,3",
        "1e999",
        "٣",
        "5 2",
        "=1+1",
        "0x10",
    ],
)
def test_what_is_no_clear_number_is_refused(text):
    with pytest.raises(Slip):
        read_number(text)


def test_a_known_dialect_makes_three_decimals_clear():
    assert read_number("1,234", decimal_comma=True) == 1.234
    assert read_number("1.234", decimal_comma=False) == 1.234
    with pytest.raises(Slip, match="unclear"):
        read_number("1.234", decimal_comma=True)
    with pytest.raises(Slip, match="unclear"):
        read_number("1.234", decimal_comma=None)
    assert writes_decimal_comma(["5,2", "A,07", "7"], otherwise=False) is True
    assert writes_decimal_comma(["5,2", "5.2"], otherwise=False) is None
    assert writes_decimal_comma(["5", "1,234"], otherwise=True) is True


@given(st.floats(-1e6, 1e6), st.integers(0, 2), st.booleans())
def test_written_numbers_read_back(value, digits, comma):
    text = f"{value:.{digits}f}"
    assert read_number(text.replace(".", ",") if comma else text, decimal_comma=comma) == float(text)


@pytest.mark.parametrize(
    ("text", "date"),
    [
        ("2026-03-01", "2026-03-01"),
        ("2026/3/1", "2026-03-01"),
        ("1.3.2026", "2026-03-01"),
        ("25/11/2026", "2026-11-25"),
        ("11/25/2026", "2026-11-25"),
        ("3/3/2026", "2026-03-03"),
        ("1 March 2026", "2026-03-01"),
        ("Mar 1, 2026", "2026-03-01"),
        ("1-Mar-2026", "2026-03-01"),
        ("2026-03-01 00:00:00", "2026-03-01"),
    ],
)
def test_clear_dates_are_read(text, date):
    assert read_date(text) == date


UNCLEAR_DATES = "03/04/2026 3-4-2026 03/04/26 2026-13-01 31.4.2026 46082 May soon 20260301x"


@pytest.mark.parametrize("text", UNCLEAR_DATES.split())
def test_unclear_dates_are_refused(text):
    with pytest.raises(Slip):
        read_date(text)


def test_what_a_date_may_mean_is_said():
    with pytest.raises(Slip, match=r"two digits .perhaps 2026-10-14"):
        read_date("14.10.26")
    with pytest.raises(Slip, match=r"two digits$"):
        read_date("03/04/26")
    assert read_date("14. Oktober 2026") == read_date("14 października 2026") == "2026-10-14"
    with pytest.raises(Slip, match="name of a month"):
        read_date("14. Weinmonat 2026")


def test_a_stated_order_makes_a_date_clear():
    assert read_date("03/04/2026", order="day first") == "2026-04-03"
    assert read_date("03/04/2026", order="month first") == "2026-03-04"
    with pytest.raises(Slip, match="no such day"):
        read_date("25/11/2026", order="month first")


@given(st.dates(dt.date(1990, 1, 1), dt.date(2100, 1, 1)))
def test_iso_dates_are_never_turned_round(date):
    assert read_date(date.isoformat()) == date.isoformat()
    assert read_date(date.isoformat(), order="day first") == date.isoformat()


@given(st.integers(0, 86399))
def test_clock_times_read_back(second):
    text = f"{second // 3600}:{second // 60 % 60:02d}:{second % 60:02d}"
    assert clock_seconds(read_clock(text)) == second


def test_clock_times_in_other_forms():
    assert read_clock("12:15 am") == "00:15:00"
    assert read_clock("7:05 PM") == "19:05:00"
    assert read_clock("19:30:15.250") == "19:30:15.250"
    assert [read_clock(t) for t in ("19.05", "19,30", "7h05", "19.05.30")] == [
        "19:05:00", "19:30:00", "07:05:00", "19:05:30",
    ]  # fmt: skip
    for text in ("24:00", "19:60", "13:00 pm", "1930", "noon", "19.75", "24.00"):
        with pytest.raises(Slip):
            read_clock(text)
    with pytest.raises(Slip, match="19:30"):
        read_clock("0,8125")
    with pytest.raises(Slip, match="could be 19:03, or 19:30"):
        read_clock("19.3")


def test_offsets_and_durations():
    assert [read_offset(t) for t in ("1", "+0530", "-3", "Z", "GMT+2", "5.5")] == [
        "+01:00", "+05:30", "-03:00", "+00:00", "+02:00", "+05:30",
    ]  # fmt: skip
    assert offset_seconds("+05:30") == 19800
    for text in ("+15", "-13:00", "CET", "1 h"):
        with pytest.raises(Slip):
            read_offset(text)
    assert read_duration("10:45") == (645.0, False)
    for text in ("10:75", "ten", "10.45"):
        with pytest.raises(Slip):
            read_duration(text)


LIMITED = [c for table in column_rules().values() for c in table.values() if c.low is not None]


@pytest.mark.parametrize("column", LIMITED, ids=lambda c: f"{c.table}.{c.name}")
def test_limits_of_the_rules_table_hold_one_another(column):
    low, high = column.low, column.high if column.high is not None else column.low + 1
    assert low < high
    assert column.ask_low is None or column.ask_low >= low
    assert column.ask_high is None or column.ask_high <= high
    middle = (max(low, column.ask_low or low) + min(high, column.ask_high or high)) / 2
    assert check_limits(middle, column) is None
    assert check_limits(low - 1e-6, column)[0] == "problem"
    for factor, words in column.slips:  # a slip named in the table is found where a right value was typed that way
        found = check_limits(middle * factor, column)
        assert found is None or words in found[1] or "decimal point" in found[1]
