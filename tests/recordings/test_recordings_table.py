"""Text tables in every dialect that club exports come in."""

from __future__ import annotations

import gzip

import numpy as np
import pytest

from analysis.recordings import RecordingError, list_labels, read_recording

RATES = [118, 121, 125, 130, 131, 133]


def write(tmp_path, text, name="A01.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def table(header, *columns, separator=","):
    rows = [separator.join(map(str, row)) for row in zip(*columns, strict=True)]
    return "\n".join([header, *rows]) + "\n"


SECONDS = list(range(6))
CLOCKS = [f"19:04:{58 + i if i < 2 else i - 2:02d}" if i < 2 else f"19:05:{i - 2:02d}" for i in SECONDS]
DIALECTS = {
    "comma": (table("elapsed_s,hr_bpm", SECONDS, RATES), "none"),
    "semicolon, decimal comma": (
        table("Zeit [s];Herzfrequenz", [f"{s},0" for s in SECONDS], [f"{r},0" for r in RATES], separator=";"), "none"
    ),
    "tab": (table("Time (s)\tHeart rate (bpm)", SECONDS, RATES, separator="\t"), "none"),
    "pipe": (table("seconds|pulse", SECONDS, RATES, separator="|"), "none"),
    "spaces": (table("t hr", SECONDS, RATES, separator="   "), "none"),
    "milliseconds": (table("ms,hr", [1000 * s for s in SECONDS], RATES), "none"),
    "milliseconds, not said": (table("t,hr", [1000 * s for s in SECONDS] , RATES), "none"),
    "minutes": (table("time (min),hr", [s / 60 for s in SECONDS], RATES), "none"),
    "mm:ss": (table("Time,HR", [f"0:{s:02d}" for s in SECONDS], RATES), "none"),
    "h:mm:ss elapsed": (table("time,HR", [f"0:00:{s:02d}" for s in SECONDS], RATES), "none"),
    "mm:ss.f": (table("elapsed;hr", [f"00:{s:02d}.0" for s in SECONDS], RATES, separator=";"), "none"),
    "clock": (table("time,hr", CLOCKS, RATES), "local"),
    "clock with am and pm": (table("clock time,hr", [c.replace("19", "7", 1) + " PM" for c in CLOCKS], RATES), "local"),
    "date and time in one column": (table("datetime,hr", [f"2026-03-01 {c}" for c in CLOCKS], RATES), "local"),
    "date and time in two columns": (table("Date;Time;FC", ["01.03.2026"] * 6, CLOCKS, RATES, separator=";"), "local"),
    "UTC": (table("timestamp,heart_rate", [f"2026-03-01T{c}Z" for c in CLOCKS], RATES), "utc"),
    "zone": (table("timestamp,heart_rate", [f"2026-03-01T{c}+01:00" for c in CLOCKS], RATES), "utc"),
    "short zone and fraction": (table("timestamp,heart_rate", [f"2026-03-01T{c}.25+0100" for c in CLOCKS], RATES), "utc"),
    "seconds since 1970": (table("time,hr", [1_772_390_000 + s for s in SECONDS], RATES), "utc"),
    "milliseconds since 1970": (table("unix_time,hr", [1_772_390_000_000 + 1000 * s for s in SECONDS], RATES), "utc"),
    "spreadsheet dates": (table("time,hr", [46082.79 + s / 86400 for s in SECONDS], RATES), "local"),
    "quoted": (table('"elapsed_s","hr_bpm"', [f'"{s}"' for s in SECONDS], [f'"{r}"' for r in RATES]), "none"),
    "no header": (table("0,118", SECONDS[1:], RATES[1:]), "none"),
    "row of units": ("time;HR\ns;bpm\n" + table("x", SECONDS, RATES, separator=";")[2:], "none"),
    "other columns": (table("row,elapsed_s,speed,hr,altitude", SECONDS, SECONDS, SECONDS, RATES, SECONDS), "none"),
    "preamble": ("Name,Sport\nstrap 4,Other\n\n" + table("elapsed_s,hr", SECONDS, RATES), "none"),
    "preamble with averages": (
        "Average heart rate;126\nDuration;0:00:05\n" + table("elapsed_s;hr", SECONDS, RATES, separator=";"), "none"
    ),
    "preamble with a start": ("Start,2026-03-01 19:04:58\n" + table("elapsed_s,hr", SECONDS, RATES), "local"),
    "Windows line ends": (table("elapsed_s,hr_bpm", SECONDS, RATES).replace("\n", "\r\n"), "none"),
    "old Mac line ends": (table("elapsed_s,hr_bpm", SECONDS, RATES).replace("\n", "\r"), "none"),
}  # fmt: skip


@pytest.mark.parametrize("name", DIALECTS)
def test_dialects(tmp_path, name):
    text, clock = DIALECTS[name]
    got = read_recording(write(tmp_path, text))
    assert got.samples["hr_bpm"].tolist() == RATES
    assert got.samples["elapsed_s"].to_numpy() == pytest.approx(SECONDS, abs=2e-3)
    assert got.clock == clock
    assert got.samples["time"].notna().all() == (clock == "utc")


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252", "latin-1"])
def test_encodings(tmp_path, encoding):
    text = "Gerät;Größe\nx;y\n" + table("Zeit (s);Herzfrequenz", SECONDS, RATES, separator=";")
    assert read_recording(write(tmp_path, text, encoding=encoding)).samples["hr_bpm"].tolist() == RATES


def test_local_clock_and_date_are_kept_apart_from_utc(tmp_path):
    got = read_recording(write(tmp_path, DIALECTS["preamble with a start"][0]))
    assert (got.local_date, got.local_start_s) == ("2026-03-01", 19 * 3600 + 4 * 60 + 58)
    got = read_recording(write(tmp_path, DIALECTS["zone"][0]))
    assert got.samples["time"].iloc[0].isoformat() == "2026-03-01T18:04:58+00:00"


def test_a_date_that_can_be_read_two_ways_is_not_used(tmp_path):
    two_ways = table("date,time,hr", ["03/04/2026"] * 6, CLOCKS, RATES)
    got = read_recording(write(tmp_path, two_ways))
    assert got.local_date == "" and any("day first or month first" in r for r in got.remarks)
    clear = read_recording(write(tmp_path, two_ways.replace("03/04", "03/14")))
    assert clear.local_date == "2026-03-14"
    assert read_recording(write(tmp_path, two_ways.replace("03/04/2026", "2026/04/03"))).local_date == "2026-04-03"


def test_midnight(tmp_path):
    got = read_recording(write(tmp_path, table("time,hr", ["23:59:58", "23:59:59", "00:00:00", "00:00:01"], RATES[:4])))
    assert got.samples["elapsed_s"].tolist() == [0, 1, 2, 3]


def test_zeros_blanks_and_words_are_missing(tmp_path):
    text = "elapsed_s,hr\n0,120\n1,0\n2,\n3,--\n4,NaN\n5,inf\n6,-4\n7,124\n"
    got = read_recording(write(tmp_path, text)).samples["hr_bpm"]
    assert got.dropna().tolist() == [120, 124] and len(got) == 8


def test_short_long_and_empty_rows(tmp_path):
    got = read_recording(write(tmp_path, "elapsed_s,hr\n0,120\n1\n\n2,121,extra\n,,\n3,122\n"))
    assert got.samples["hr_bpm"].dropna().tolist() == [120, 121, 122]


WIDE = "time;A01;A02;A07\n" + "".join(f"19:00:{i:02d};{100 + i};{150 - i};{120 + i}\n" for i in range(10))
LONG = "athlete,elapsed_s,hr\n" + "".join(f"A{k:02d},{i},{100 + 10 * k + i}\n" for i in range(10) for k in (1, 2))


def test_wide_and_long_tables_by_label(tmp_path):
    wide, long = write(tmp_path, WIDE, "wide.csv"), write(tmp_path, LONG, "long.csv")
    assert list_labels(wide) == ("A01", "A02", "A07") and list_labels(long) == ("A01", "A02")
    assert read_recording(wide, label="a07").samples["hr_bpm"].tolist() == list(range(120, 130))
    assert read_recording(long, label="A02").samples["hr_bpm"].tolist() == list(range(120, 130))
    for path in (wide, long):
        with pytest.raises(RecordingError, match="column_or_label") as fault:
            read_recording(path)
        assert "A02" in str(fault.value)
        with pytest.raises(RecordingError, match="A99"):
            read_recording(path, label="A99")


def test_columns_named_by_athlete_and_rate(tmp_path):
    text = table("elapsed_s,A01_hr_bpm,A02 HR", SECONDS, RATES, RATES[::-1])
    path = write(tmp_path, text)
    assert list_labels(path) == ("A01", "A02")
    assert read_recording(path, label="A02").samples["hr_bpm"].tolist() == RATES[::-1]
    assert list_labels(write(tmp_path, table("elapsed_s,hr,cadence", SECONDS, RATES, RATES))) == ()


def test_one_nameless_column_besides_time(tmp_path):
    assert read_recording(write(tmp_path, table("time,A01", CLOCKS, RATES))).samples["hr_bpm"].tolist() == RATES


@pytest.mark.parametrize("unit", ["ms", "s"])
def test_intervals(tmp_path, unit):
    value = 500 if unit == "ms" else 0.5
    for text in (f"rr ({unit})\n" + f"{value}\n" * 240, f"{value}\n" * 240):
        got = read_recording(write(tmp_path, text))
        assert (got.kind, got.hr_source, len(got.beats)) == ("intervals", "intervals", 240)
        assert got.samples["hr_bpm"].dropna().to_numpy() == pytest.approx(120.0)
        assert got.duration_s == pytest.approx(119, abs=1.1)


def test_intervals_with_times_follow_them(tmp_path):
    lines = [f"2026-03-01T18:00:{i // 2:02d}Z,500" for i in range(60)]
    lines += [f"2026-03-01T18:01:{i // 2:02d}Z,500" for i in range(60)]
    got = read_recording(write(tmp_path, "time,rr_ms\n" + "\n".join(lines)))
    assert got.clock == "utc" and got.duration_s == pytest.approx(89, abs=2)
    assert got.samples["hr_bpm"].isna().sum() >= 25


def test_gzip(tmp_path):
    data = gzip.compress(table("elapsed_s,hr", SECONDS, RATES).encode())
    assert read_recording(write(tmp_path, data, "A01.csv.gz")).samples["hr_bpm"].tolist() == RATES
    cut = read_recording(write(tmp_path, data[:-9], "A01.csv.gz"))
    assert any("ends too early" in r for r in cut.remarks)


def test_the_limit_of_gaps_follows_the_file(tmp_path):
    path = write(tmp_path, table("elapsed_s,hr", [0, 15, 30, 45, 60, 200], RATES))
    got = read_recording(path)
    assert got.gap_limit_s == 30 and got.valid_s == 60
    assert read_recording(path, gap_limit_s=10).valid_s == 0 and np.isnan(
        read_recording(path, gap_limit_s=10).mean_hr_bpm()
    )


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("\n\n  \n", "empty"),
        ("hello world\n", "no column of heart rates with times"),
        ("elapsed_s,speed\n0,1\n1,2\n", "no column of heart rates"),
        ("hr\n120\n121\n122\n", "heart rates with times"),
        ("elapsed_s,hr\n", "heart rates with times"),
        ("elapsed_s,hr\n0,0\n1,0\n2,0\n", "no row has a heart rate"),
        ("elapsed_s,hr\n-5,120\n-4,121\n-3,120\n", "negative time"),
        ("elapsed_s,hr\n0,120\n1,121\n900000,122\n", "hours"),
        ('{"a": 1}', "JSON"),
        ("<html><body>sign in</body></html>", "web page"),
        ("<?xml version='1.0'?><kml></kml>", "neither TCX nor GPX"),
        ("%PDF-1.4 ...", "PDF"),
        (b"PK\x03\x04aaaa", "spreadsheet or zip"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\x00", "neither text"),
        ("timestamp,hr\n1989-12-31T00:00:00Z,120\n1989-12-31T00:00:01Z,121\n", "lie in 1989"),
        ("timestamp,hr\n2089-12-31T00:00:00Z,120\n2089-12-31T00:00:01Z,121\n", "lie in 2089"),
    ],
)
def test_what_is_no_recording_says_why(tmp_path, text, words):
    with pytest.raises(RecordingError, match=words) as fault:
        read_recording(write(tmp_path, text))
    assert str(fault.value).startswith("A01.csv: ")


def test_an_unset_clock_can_be_accepted(tmp_path):
    path = write(tmp_path, "timestamp,hr\n1989-12-31T00:00:00Z,120\n1989-12-31T00:00:01Z,121\n")
    got = read_recording(path, accept_unset_clock=True)
    assert got.clock == "none" and any("clock was not set" in r for r in got.remarks)


def test_missing_file_and_folder(tmp_path):
    with pytest.raises(RecordingError, match="does not exist"):
        read_recording(tmp_path / "A09.csv")
    with pytest.raises(RecordingError, match="is a folder"):
        read_recording(tmp_path)
