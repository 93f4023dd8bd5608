"""Text tables at the edges of what is taken for a header, a time, a heart rate or an interval."""

from __future__ import annotations

import numpy as np
import pytest

from analysis.recordings import RecordingError, list_labels, read_recording
from analysis.recordings.table import MAX_LINE, find_layout, list_table_labels, read_table


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
    assert read(lines("0,118", "1,119", "2,121")).rates.tolist() == [118, 119, 121]
    for rows in (
        ("0,118", "1,119"),
        ("2,118", "1,119", "0,121"),
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
