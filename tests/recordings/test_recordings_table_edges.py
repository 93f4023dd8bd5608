"""Text tables at the edges of what is taken for a header, a time, a heart rate or an interval."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.recordings import RecordingError, list_labels, read_recording
from analysis.recordings.table import MAX_LINE, find_layout, kind_of_column, list_table_labels, plain_words, read_table


def read(text, encoding="utf-8", **more):
    return read_table(text if isinstance(text, bytes) else text.encode(encoding), "A01.csv", **more)


def lines(*rows):
    return "\n".join(rows) + "\n"


def beats(*values):
    return lines(*map(str, values))


def test_a_line_may_be_as_long_as_said_and_no_longer():
    note = "x" * (MAX_LINE - len("0,118,"))
    assert read(lines("elapsed_s,hr_bpm,note", f"0,118,{note}", "1,119,")).rates.tolist() == [118, 119]
    with pytest.raises(RecordingError, match=f"a line of {MAX_LINE + 1:,} characters"):
        read(lines("elapsed_s,hr_bpm,note", f"0,118,{note}x", "1,119,"))


@pytest.mark.parametrize("mark", [b"\xff\xfe", b"\xfe\xff"])
def test_sixteen_bits_a_letter_in_either_order(mark):
    order = "utf-16-le" if mark == b"\xff\xfe" else "utf-16-be"
    found = read(mark + lines("elapsed_s;hr_bpm", "0;118", "1;119").encode(order))
    assert found.rates.tolist() == [118, 119] and not found.remarks


def test_old_letters_are_read_and_said():
    found = read(lines("Zeit [s];Puls;Gerät", "0;118;ä", "1;119;"), "cp1252")
    assert found.rates.tolist() == [118, 119]
    assert found.remarks == ["The file is not UTF-8 and was read as Windows-1252."]


@pytest.mark.parametrize("ends", ["\r\n", "\r"])
def test_lines_end_as_three_systems_end_them(ends):
    assert read(lines("elapsed_s,hr_bpm", "0,118", "1,119").replace("\n", ends)).rates.tolist() == [118, 119]


def test_without_a_header_three_rows_that_run_forward_are_needed():
    bare = read(lines("0,118", "1,119", "2,121"))
    assert bare.rates.tolist() == [118, 119, 121] and "no header" in bare.remarks[0]
    for rows in (
        ("0,118", "1,119"),
        ("2,118", "1,119", "0,121"),
        ("0,118", "5,119", "3,121"),
        ("7,118", "7,119", "7,121"),
        ("0,118,1", "1,119,1", "2,121,1"),
    ):
        with pytest.raises(RecordingError, match="no column of heart rates"):
            read(lines(*rows))


@pytest.mark.parametrize(("rate", "taken"), [(30, True), (29, False), (230, True), (231, False)])
def test_a_column_without_a_name_looks_like_heart_rates_from_30_to_230(rate, taken):
    text = lines(*(f"{s},{rate}" for s in range(5)))
    if taken:
        assert read(text).rates.tolist() == [rate] * 5
    else:
        with pytest.raises(RecordingError, match="no column of heart rates"):
            read(text)


def test_lost_contact_does_not_count_for_what_a_column_looks_like():
    assert read(lines("0,0", "1,0", "2,0", "3,118", "4,119")).rates.tolist() == [0, 0, 0, 118, 119]


@pytest.mark.parametrize(
    ("typical", "taken"),
    [(250, True), (249, False), (2500, True), (2501, False), (0.25, True), (0.24, False), (2.5, True)],
)
def test_one_column_is_intervals_between_beats_where_a_heart_can_beat_so(typical, taken):
    text = beats(*[typical] * 9)
    if taken:
        assert read(text).kind == "intervals"
        assert "beat-to-beat" in " ".join(read(text).remarks)
    else:
        with pytest.raises(RecordingError, match="no column of heart rates"):
            read(text)


def test_intervals_differ_less_than_threefold_and_most_of_them_are_numbers():
    """Nine tenths and one tenth of the values decide; four of five must be numbers."""
    assert read(beats(*[500] * 5, *[1499] * 5)).kind == "intervals"
    for values in ([500] * 5 + [1500] * 5, [800] * 7 + ["-"] * 3):
        with pytest.raises(RecordingError, match="no column of heart rates"):
            read(beats(*values))
    assert read(beats(*[800] * 8, "-", "-")).kind == "intervals"
    assert not read(beats("rr_ms", *[800] * 5)).remarks, "a column with a name needs no remark"


def test_intervals_with_times_begin_at_the_first_of_them():
    found = read(lines("time_s,rr_ms", "10.0,800", "10.8,800", "11.6,800"))
    assert found.interval_ends == pytest.approx([10.0, 10.8, 11.6])
    moved = read(lines("time_s,rr_ms", "10.0,800", "14.1,800", "14.9,800"))  # more than 3 s were not recorded
    assert moved.interval_ends == pytest.approx([10.0, 14.1, 14.9])


def test_half_of_the_rows_below_a_header_must_fit_it():
    fits, other = "1,118", "a,b"
    header = "elapsed_s,hr_bpm"
    assert find_layout([header, fits, other], "a").header_at == 0
    with pytest.raises(RecordingError, match="no column of heart rates"):
        find_layout([header, fits, other, other], "a")


def test_rows_may_have_one_cell_more_or_less_than_the_header():
    for row in ("0,118,", "0"):
        assert find_layout(["elapsed_s,hr_bpm", row, row], "a").header_at == 0
    with pytest.raises(RecordingError, match="no column of heart rates"):
        find_layout(["elapsed_s,hr_bpm", "0,118,,", "1,119,,"], "a")


def test_two_rows_below_the_header_may_say_units():
    assert read(lines("time;HR", "s;bpm", "0;118", "1;119")).rates.tolist() == [118, 119]
    assert read(lines("time;HR", "ms;1/min", "0;118", "1000;119")).seconds.tolist() == [0, 1]  # a 1 that is a unit
    assert read(lines("time;HR", "ms;bpm", "measured;measured", "0;118", "1000;119")).seconds.tolist() == [0, 1]


def test_a_start_stands_beside_its_name_or_below_it():
    """Start 19:04:30 is 68,670 s of the day (19 × 3600 + 4 × 60 + 30)."""
    beside = read(lines("Start time;19:04:30", "elapsed_s;hr_bpm", "0;118", "1;119"))
    below = read(lines("Name;Start time", "strap;19:04:30", "elapsed_s;hr_bpm", "0;118", "1;119"))
    for found in (beside, below):
        assert found.clock == "local" and found.seconds.tolist() == [68670, 68671]
        assert "The start stated above the header was used for the time of day." in found.remarks
    dated = read(lines("Date;01.03.2026", "Start time;19:04:30", "elapsed_s;hr_bpm", "0;118", "1;119"))
    assert dated.local_date == "2026-03-01"


def test_the_clock_places_a_trace_before_seconds_do():
    found = read(lines("elapsed_s,time,hr_bpm", "0,19:04:30,118", "1,19:04:31,119"))
    assert found.clock == "local" and found.seconds[0] == 68670


def test_a_time_below_zero_is_refused_with_its_row():
    with pytest.raises(RecordingError, match="a negative time near row 3"):
        read(lines("elapsed_s,hr_bpm", "0,118", "-1,119", "2,120"))
    assert read(lines("elapsed_s,hr_bpm", "0,118", "1,119")).seconds.tolist() == [0, 1]


WIDE = lines("time,A01,A02", *(f"19:04:{s:02d},{118 + s},{150 + s}" for s in range(4)))


def test_of_several_athletes_one_is_named_in_any_letters():
    assert list_table_labels(WIDE.encode(), "a.csv") == ("A01", "A02")
    assert read(WIDE, label="a02").rates[0] == 150 and read(WIDE, label=" A01 ").rates[0] == 118
    with pytest.raises(RecordingError, match=r"holds 2 traces \('A01', 'A02'\)"):
        read(WIDE)
    with pytest.raises(RecordingError, match="nothing is called 'A03'"):
        read(WIDE, label="A03")


def test_rows_of_several_athletes_are_picked_by_name():
    long = lines("athlete,elapsed_s,hr_bpm", "A01,0,118", "A02,0,150", "A01,1,119", "A02,1,151")
    assert read(long, label="a02").rates.tolist() == [150, 151]
    with pytest.raises(RecordingError, match=r"holds 2 traces \('A01', 'A02'\)"):
        read(long)
    one = lines("athlete,elapsed_s,hr_bpm", "A01,0,118", "A01,1,119")
    assert read(one).label == "A01" and list_table_labels(one.encode(), "a") == ()
    blank = lines("athlete,elapsed_s,hr_bpm", ",0,118", ",1,119")
    assert read(blank).rates.tolist() == [118, 119]


def test_twenty_names_are_listed_and_long_ones_cut():
    def wide(n):
        heads = [f"A{i:02d}" for i in range(n)]
        return lines(",".join(["elapsed_s", *heads]), *(",".join([str(s), *["120"] * n]) for s in range(3)))

    for n, more in ((20, False), (21, True)):
        with pytest.raises(RecordingError) as caught:
            read(wide(n))
        assert ("and more" in str(caught.value)) == more and "'A19'" in str(caught.value)
        assert "'A20'" not in str(caught.value)


def test_short_rows_leave_their_last_cells_blank():
    found = read(lines("elapsed_s,hr_bpm", "0,118", "1", "2,121"))
    assert np.isnan(found.rates[1]) and found.rates[[0, 2]].tolist() == [118, 121]


def test_a_file_says_whom_it_holds(tmp_path):
    path = tmp_path / "receiver.csv"
    path.write_text(WIDE)
    assert tuple(list_labels(path)) == ("A01", "A02")
    assert read_recording(path, label="A02").samples["hr_bpm"].iloc[0] == 150


def test_the_first_of_two_starts_counts():
    twice = lines("Start time;19:04:30", "Start time;20:00:00", "elapsed_s;hr_bpm", "0;118", "1;119")
    assert read(twice).seconds[0] == 68670


def test_a_column_of_intervals_without_numbers_is_refused():
    with pytest.raises(RecordingError, match="the column of beat-to-beat intervals holds no numbers"):
        read(lines("time_s,rr_ms", "10.0,-5", "10.8,0", "11.6,-1"))


def test_a_header_is_looked_for_in_eighty_lines():
    """With a row of samples below it, the header is at most line 79."""
    for above, taken in ((78, True), (79, False)):
        text = ["note"] * above + ["elapsed_s,hr_bpm", "0,118", "1,119"]
        if taken:
            assert find_layout(text, "a").header_at == above
        else:
            with pytest.raises(RecordingError, match="no column of heart rates"):
                find_layout(text, "a")


def test_a_table_has_two_to_four_hundred_columns():
    """A single column is read as intervals, and only where four of five of its rows are numbers."""
    with pytest.raises(RecordingError, match="no column of heart rates"):
        read(beats("rr_ms", *[800] * 6, *["-"] * 2))
    for n, taken in ((400, True), (401, False)):
        more = ["x"] * (n - 2)
        text = [",".join(["elapsed_s", "hr_bpm", *more]), ",".join(["0", "118", *more])]
        if taken:
            assert len(find_layout(text, "a").headers) == n
        else:
            with pytest.raises(RecordingError, match="no column of heart rates"):
                find_layout(text, "a")


def test_columns_without_a_known_name_weigh_when_more_than_half_of_them_are_numbers():
    """Otherwise nothing in "time,A01" says that heart rates stand below it."""
    half, more, none = ["0,118", "1,x"], ["0,118", "1,x", "2,119"], ["0,", "1,"]
    assert find_layout(["elapsed_s,A01", *more], "a").kinds[1] == ("", "")
    for rows in (half, none):
        with pytest.raises(RecordingError, match="no column of heart rates"):
            find_layout(["elapsed_s,A01", *rows], "a")


def test_the_header_that_names_most_is_the_header_and_of_equals_the_first():
    """Each known name counts one, each column of numbers a tenth (up to five), and a line further down a thousandth less."""
    told = find_layout(["time,x", "elapsed_s,hr_bpm", "0,118", "1,119"], "a")
    assert (told.header_at, told.headers) == (1, ["elapsed_s", "hr_bpm"])
    assert find_layout(["elapsed_s,hr_bpm", "elapsed_s,hr_bpm", "0,118"], "a").header_at == 0
    many = ["elapsed_s" + 12 * ",x", "elapsed_s,hr_bpm" + 11 * ",speed", "0,118" + 11 * ",1"]
    assert find_layout(many, "a").header_at == 1


def test_columns_of_words_and_columns_without_contact_are_no_athletes():
    notes = lines("time,A01,note,A02,", "19:04:30,118,calm,0,", "19:04:31,119,calm,0,")
    assert read(notes).rates.tolist() == [118, 119] and list_table_labels(notes.encode(), "a") == ()
    nameless = lines("time,A01,", "19:04:30,118,150", "19:04:31,119,151")
    assert list_table_labels(nameless.encode(), "a") == ("A01", "column 3")
    assert read(nameless, label="column 3").rates.tolist() == [150, 151]


def test_numbered_heart_rates_are_two_athletes_and_units_of_one_a_minute_none():
    """Found by a changed line: of "HR 1" and "HR 2" the second was left out in silence, since a 1 may belong to a unit."""
    two = lines("elapsed_s,HR 1,HR 2", "0,118,150", "1,119,151")
    assert list_table_labels(two.encode(), "a") == ("1", "2") and read(two, label="2").rates[0] == 150
    for header in ("HR (1/min)", "HR [min-1]", "HR 1", "HR [bpm]"):
        assert read(lines(f"elapsed_s,{header}", "0,118", "1,119")).rates.tolist() == [118, 119]
    told = [kind_of_column(h)[0] for h in ("HR (1/min)", "HR [min-1]", "HR 1", "min 1")]
    assert told == ["rate", "rate", "", ""]


def test_a_date_beside_a_blank_time_does_not_stop_the_rest():
    """Found by a changed line: such a first row made all times unreadable."""
    found = read(lines("date,time,hr", "2026-03-01,,118", "2026-03-01,19:04:30,119", ",19:04:31,120"))
    assert np.isnan(found.seconds[0]) and found.seconds[1] % 86400 == 68670 and found.local_date == "2026-03-01"


def test_whole_seconds_beside_intervals_do_not_cut_them():
    """Up to 3 s between the stamps and the running sum are the rounding of the stamps."""
    assert read(lines("elapsed (ms),rr_ms", "10000,800", "10800,800")).interval_ends == pytest.approx([10, 10.8])
    stamps = read(lines("time_s,rr_ms", "100,800", "101,800", "102,800", "103,800"))
    assert stamps.interval_ends == pytest.approx([100.0, 100.8, 101.6, 102.4])
    edge = read(lines("time_s,rr_ms", "100,500", "103.5,500", "107.25,500"))
    assert edge.interval_ends == pytest.approx([100.0, 100.5, 107.25])  # 3.0 s off is kept, 6.25 s off is not


def test_a_short_row_late_in_a_long_file_costs_no_other_row(monkeypatch):
    """Found by a changed line: beats before the piece with the short row were lost."""
    monkeypatch.setattr("analysis.recordings.table.CHUNK", 2)
    found = read(lines("rr_ms,marker", "800,a", "801,a", "802,a", "803,a", "804"))
    assert found.intervals_ms.tolist() == [800, 801, 802, 803, 804]
    found = read(lines("marker,rr_ms", "a,800", "a,801", "a,802", "a", "a,804"))
    assert found.intervals_ms.tolist() == [800, 801, 802, 804]


def test_a_short_row_below_a_start_says_nothing_of_it():
    for above in ("Name;Start time\nstrap", "Date;01.03.2026\nStart time;19:04:30\nName"):
        found = read(lines(above, "elapsed_s;hr_bpm", "0;118", "1;119"))
        assert found.clock == ("local" if "19:04:30" in above else "none")
    assert len(plain_words("x" * 300)) == 200


def test_an_athlete_who_comes_late_is_there_all_the_same():
    """Found by a changed line: heart rates or names that begin after 200 rows were no athlete, without a word."""
    late = [f"{s},118,{150 if s > 250 else ''}" for s in range(300)]
    assert list_table_labels(lines("elapsed_s,A01,A02", *late).encode(), "a") == ("A01", "A02")
    named = [f"{s},118,{'' if s < 250 else 'A01' if s % 2 else 'A02'}" for s in range(300)]
    with pytest.raises(RecordingError, match="holds 2 traces"):
        read(lines("elapsed_s,hr,athlete", *named))


def test_rows_that_share_a_time_run_forward_as_well_and_broken_letters_stop_nothing():
    assert read(lines("0,118", "0,119", "1,121")).rates.tolist() == [118, 119, 121]
    assert read(b"elapsed_s,hr_bpm,note\n0,118,\x81\n1,119,\xe4\n").rates.tolist() == [118, 119]


def test_lines_above_and_between_the_rows_do_not_count_up_to_a_thousand(monkeypatch):
    monkeypatch.setattr("analysis.recordings.table.MAX_ROWS", 2)
    rows = lines("elapsed_s,hr_bpm", "0,118", "1,119")
    assert len(read(rows + "\n" * 999).rates) == 2  # 1,002 line ends in all
    with pytest.raises(RecordingError, match="more than 2 rows"):
        read(rows + "\n" * 1000)


@pytest.mark.parametrize("named", ["hr_bpm", "rr_ms", "X9"])
def test_rows_of_several_athletes_are_kept_apart_whatever_stands_beside_them(named):
    """Found by a changed line: of beats, and of a column without a known name, all athletes were read as one."""
    long = lines(
        f"athlete,elapsed_s,{named}",
        *(f"A0{1 + s % 2},{s // 2},{118 + 700 * (named == 'rr_ms') + s}" for s in range(8)),
    )
    assert list_table_labels(long.encode(), "a") == ("A01", "A02")
    with pytest.raises(RecordingError, match=r"holds 2 traces \('A01', 'A02'\)"):
        read(long)
    with pytest.raises(RecordingError, match="nothing is called 'A03'"):
        read(long, label="A03")
    found = read(long, label="A02")
    of = found.intervals_ms if named == "rr_ms" else found.rates
    assert of.tolist() == [x + 700 * (named == "rr_ms") for x in (119, 121, 123, 125)] and found.label == "A02"


def test_numbered_rows_are_not_athletes():
    """A column "id" that counts the rows names nobody: each of its values stands once."""
    numbered = lines("id,elapsed_s,hr_bpm", "1,0,118", "2,1,119", "3,2,120")
    assert read(lines("id,elapsed_s,hr_bpm", "1,0,118", "2,1,119")).rates.tolist() == [118, 119]
    assert read(numbered).rates.tolist() == [118, 119, 120] and list_table_labels(numbered.encode(), "a") == ()


def test_two_columns_that_both_name_heart_rates_are_two_traces():
    both = lines("elapsed_s,HR,Pulse", "0,118,150", "1,119,151")
    assert list_table_labels(both.encode(), "a") == ("HR", "Pulse") and read(both, label="pulse").rates[0] == 150
    named = lines("athlete,elapsed_s,HR,Pulse", "A01,0,118,150", "A01,1,119,151", "A02,2,118,150", "A02,3,119,151")
    assert list_table_labels(named.encode(), "a") == ("HR", "Pulse")


def test_the_date_above_the_header_is_the_date_of_times_without_one():
    assert read(lines("Date;01.03.2026", "time;hr", "19:04:30;118", "19:04:31;119")).local_date == "2026-03-01"


def test_intervals_with_an_unreadable_time_run_on_by_themselves():
    found = read(lines("time_s,rr_ms", "10.0,800", "?,800", "11.6,800"))
    assert found.interval_ends == pytest.approx([0.8, 1.6, 2.4]) and found.clock == "none"


def test_columns_of_numbers_weigh_for_a_header_and_blank_lines_above_do_not():
    text = ["elapsed_s,hr_bpm,speed", "elapsed_s,hr_bpm,A02", "0,118,1"]
    assert find_layout(text, "a").headers[2] == "A02"
    single = find_layout(["", "rr_ms", "800", "801"], "a")
    assert (single.header_at, single.first_row) == (1, 2)


def test_units_beside_a_word_for_time_say_what_counts():
    """Seconds are elapsed where nothing says that they count from 1970."""
    told = {h: kind_of_column(h) for h in ("time (s)", "UTC time [s]", "unix time (ms)", "s", "time")}
    assert list(told.values()) == [("elapsed", "s"), ("time", "s"), ("time", "ms"), ("elapsed", "s"), ("time", "")]


def test_two_rows_of_units_and_no_third():
    found = read(lines("elapsed_s;hr", "s;bpm", "a;b", "c;d", *(f"{s};{118 + s}" for s in range(3))))
    assert len(found.rates) == 4 and np.isnan(found.rates[0]) and found.rates[1:].tolist() == [118, 119, 120]


def test_a_time_above_the_header_is_the_start_and_a_date_beside_seconds_is_not_joined_to_them():
    assert read(lines("Uhrzeit;19:04:30", "elapsed_s;hr", "0;118", "1;119")).seconds.tolist() == [68670, 68671]
    assert read(lines("date,elapsed_s,hr", "2026-03-01,0,118", "2026-03-01,1,119")).seconds.tolist() == [0, 1]


def test_beats_may_stand_in_quotes_with_a_comma_and_blank_lines():
    """What is not above zero is no beat."""
    found = read(lines('"rr_ms"', '"800,5"', "", '"801"', "  ", "1", "0", "-5", "802"))
    assert found.intervals_ms.tolist() == [800.5, 801, 1, 802]


def test_what_a_file_holds_is_named_where_nothing_fits():
    with pytest.raises(RecordingError, match="nothing is called 'A01'; the file holds 'elapsed_s', 'speed', 'heart'"):
        read(lines("elapsed_s,speed,heart", "0,1,900", "1,1,901"), label="A01")
    with pytest.raises(RecordingError, match="no column of heart rates was recognised among 'elapsed_s', 'heart'"):
        read(lines("elapsed_s,heart", "0,900", "1,901"))


def test_a_date_above_the_header_that_can_be_read_two_ways_is_none():
    found = read(lines("Date;03/04/2026", "time;hr", "19:04:30;118", "19:04:31;119"))
    assert found.local_date == "" and found.clock == "local" and found.seconds[0] == 68670


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_a_header_of_three_names_over_one_column_is_not_of_intervals(separator):
    with pytest.raises(RecordingError, match="no column of heart rates"):
        read(lines(f"rr{separator}x{separator}y", *["800"] * 5))


@pytest.mark.parametrize("heads", ["time,HR,HR", "time,A01,A01"])
def test_two_columns_of_one_name_are_one_trace_only_where_they_say_the_same(heads):
    def table(*pairs):
        return lines(heads, *(f"19:00:0{i},{one},{two}" for i, (one, two) in enumerate(pairs)))

    label = heads.split(",")[1]
    for pairs in (((118, 118), (119, 119)), ((118, ""), (119, "")), (("", 118), ("", 119))):
        for how in ({}, {"label": label}):
            assert read(table(*pairs), **how).rates.tolist() == [118, 119], (pairs, how)
    for how in ({}, {"label": label}):
        with pytest.raises(
            RecordingError, match=f"columns 2 and 3 are both called {label!r} and hold different values"
        ):
            read(table((118, 128), (119, 129)), **how)
