"""Hostile and damaged input: an error in words, bounded memory and time, never another exception."""

from __future__ import annotations

import contextlib
import gzip
import io
import time
import tracemalloc
import zipfile

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from make_fit import FitFile, simple_fit
from mutate import mutate, seeds, sound

from analysis.recordings import RecordingError, inspect_recording, list_labels, read_gas_exchange, read_recording
from analysis.recordings.formats import FORMATS, tell_format

MEGA = 1024 * 1024


def refuse(path, words="", *, seconds=4.0, megabytes=330):
    """Every reader refuses the file in words, within time and memory."""
    begin = time.process_time()
    tracemalloc.start()
    try:
        with pytest.raises(RecordingError, match=words or None) as fault:
            read_recording(path)
        assert inspect_recording(path).file == path.name
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(str(fault.value)) < 900
    assert peak < megabytes * MEGA
    assert time.process_time() - begin < seconds


def test_a_file_of_gigabytes_is_not_opened(tmp_path):
    path = tmp_path / "A01.csv"
    with open(path, "wb") as stream:
        stream.write(b"elapsed_s,hr\n")
        stream.truncate(3 * 1024 * MEGA)
    refuse(path, "larger than", seconds=1.0)


def test_a_line_of_megabytes(tmp_path):
    path = tmp_path / "A01.csv"
    path.write_bytes(b"elapsed_s,hr\n" + b"1" * (24 * MEGA) + b",120\n")
    refuse(path, "a line of")


def test_a_gzip_bomb(tmp_path):
    bomb = gzip.compress(b"0" * (40 * MEGA), 9)
    path = tmp_path / "A01.csv.gz"
    path.write_bytes(bomb * 60)
    refuse(path, "opens to more than")


def test_a_zip_bomb_is_not_opened(tmp_path):
    inside = io.BytesIO()
    with zipfile.ZipFile(inside, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", b"0" * (20 * MEGA))
    path = tmp_path / "A01.xlsx"
    path.write_bytes(inside.getvalue())
    refuse(path, "spreadsheet or zip", seconds=0.5, megabytes=5)


def test_more_than_a_million_rows(tmp_path):
    path = tmp_path / "A01.csv"
    path.write_bytes(b"elapsed_s,hr\n" + b"".join(b"%d,120\n" % i for i in range(10)) + b"5,120\n" * 1_200_000)
    refuse(path, "more than 1,000,000 rows", seconds=1.0)
    rows = b"".join([b"elapsed_s,hr\n", *[b"%.1f,120\n" % (i / 10) for i in range(200)]])
    assert len(read_recording_bytes(tmp_path, rows).samples) == 200


def read_recording_bytes(tmp_path, data, name="ok.csv"):
    path = tmp_path / name
    path.write_bytes(data)
    return read_recording(path)


@pytest.mark.parametrize(
    "text",
    [
        "<gpx>" + "<a>" * 300_000,
        "<gpx" + " a='1'" * 100_000 + "></gpx>",
        "<gpx><trk><trkseg><trkpt><time>" + "9" * 3_000_000 + "</time></trkpt></trkseg></trk></gpx>",
        "<gpx xmlns:x='u'><trkpt>" + "<x:hr>120</x:hr>" * 100_000,
        "<TrainingCenterDatabase>" + "<!-- -->" * 200_000,
    ],
    ids=["deep", "attributes", "long text", "many rates in one point", "comments"],
)
def test_hostile_xml(tmp_path, text):
    path = tmp_path / "A01.gpx"
    path.write_text(text)
    refuse(path)


def test_hostile_fit(tmp_path):
    path = tmp_path / "A01.fit"
    fit = FitFile()
    for local in range(16):
        fit.define(local, 20, [(i, 255, 0x0D) for i in range(255)])
    path.write_bytes(fit.bytes())
    refuse(path, "no samples")
    empty = FitFile()
    empty.define(0, 20, [])
    empty.body += b"\x00" * 20_000
    path.write_bytes(empty.bytes())
    refuse(path, "nothing can be placed|no row has")
    path.write_bytes(simple_fit([120] * 5).bytes(size=0xFFFFFFF0))
    assert len(read_recording(path).samples) == 5


@pytest.mark.parametrize(
    "rows",
    [
        ["NaN,120", "inf,121", "-inf,122"],
        ["0,NaN", "1,inf", "2,-inf"],
        ["0,1e308", "1,-1e308", "2,0"],
        ["1e300,120", "-1e300,121", "0,120"],
        ["24:61:61,120", "99:99:99,121", "::,122"],
        ["2026-02-31T10:00:00Z,120", "2026-13-01T10:00:00Z,121"],
        ["0001-01-01T00:00:00Z,120", "9999-12-31T23:59:59Z,121"],
    ],
)
def test_numbers_and_times_that_cannot_be(tmp_path, rows):
    path = tmp_path / "A01.csv"
    path.write_text("\n".join(["time,hr", *rows]) + "\n")
    try:
        got = read_recording(path)
    except RecordingError:
        return
    assert np.isfinite(got.samples["elapsed_s"]).all()
    rates = got.samples["hr_bpm"].dropna()
    assert np.isfinite(rates).all() and (rates > 0).all()


FILES = seeds()


@pytest.mark.parametrize("name", FILES)
def test_the_seeds_are_sound(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(FILES[name])
    sound(path)
    labels = list_labels(path)
    read_recording(path, label=labels[0] if labels else None)


@pytest.mark.parametrize("name", FILES)
def test_mutants(tmp_path, name):
    path = tmp_path / name
    for i in range(40):
        path.write_bytes(mutate(np.random.default_rng([7, i]), FILES[name]))
        sound(path)


QUICK = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


@QUICK
@given(st.binary(max_size=300))
def test_any_bytes(tmp_path, data):
    path = tmp_path / "x.csv"
    path.write_bytes(data)
    sound(path)


CELLS = st.one_of(st.text(max_size=8), st.integers(0, 300).map(str), st.floats().map(str))
HEADERS = ["time,hr", "elapsed_s;hr", "a,b", "date;time;hr;athlete", "rr"]


@QUICK
@given(
    st.lists(st.lists(CELLS, max_size=4), max_size=12), st.sampled_from([",", ";", "\t", " "]), st.sampled_from(HEADERS)
)
def test_any_table(tmp_path, rows, separator, header):
    path = tmp_path / "x.csv"
    text = "\n".join([header, *[separator.join(r) for r in rows]])
    path.write_bytes(text.encode("utf-8", errors="surrogatepass"))
    sound(path)
    with contextlib.suppress(RecordingError):
        read_gas_exchange(path)


@QUICK
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 255)), min_size=2, max_size=40))
def test_adding_five_moves_the_mean_by_five_and_order_does_not_matter(tmp_path, rows):
    def mean(pairs, add=0):
        path = tmp_path / "x.csv"
        path.write_text("elapsed_s,hr\n" + "".join(f"{t},{h + add if h else 0}\n" for t, h in pairs))
        try:
            return read_recording(path).mean_hr_bpm()
        except RecordingError:
            return float("nan")

    first = dict(rows)
    pairs = list(first.items())
    plain = mean(sorted(pairs))
    assert mean(pairs) == pytest.approx(plain, nan_ok=True)
    assert mean(sorted(pairs), 5) == pytest.approx(plain + 5, nan_ok=True)


@pytest.mark.parametrize(
    "filling", [b" " * 2_000_000 + b"<", b"0" * 2_000_000, b"lat='" + b"0" * 2_000_000, b"<Notes " * 100_000]
)
def test_a_look_at_a_file_stays_quick_whatever_it_holds(tmp_path, filling):
    path = tmp_path / "A01.gpx"
    path.write_bytes(b"<gpx><Notes>" + filling + b"</Notes></gpx>")
    begin = time.process_time()
    inspect_recording(path)
    assert time.process_time() - begin < 1.0


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("members.csv.gz", lambda: gzip.compress(b"") * (40 * MEGA // 20), "more than 16 parts"),
        ("attribute.gpx", lambda: b"<gpx a='" + b"x" * (60 * MEGA) + b"'></gpx>", "an element of 62,914,569"),
        ("deep.gpx", lambda: b"<gpx>" + b"<a>" * (15 * MEGA), "nested 60 deep"),
        (
            "points.gpx",
            lambda: b"<gpx><trk>" + b"<trkpt/>" * (5 * MEGA) + b"</trk></gpx>",
            "more than 1,000,000 points",
        ),
        ("beats.csv", lambda: b"rr\r" + b"400\r" * (9 * MEGA), "more than 1,000,000 rows"),
        ("beats.fit", lambda: beats_without_end(), "more than 1,000,000 beats"),
    ],
    ids=lambda v: v if isinstance(v, str) and "." in v else "",
)
def test_bombs_are_answered_in_words_within_seconds_and_memory(tmp_path, name, content, words):
    path = tmp_path / name
    path.write_bytes(content())
    refuse(path, words, seconds=10.0, megabytes=450)


def beats_without_end() -> bytes:
    """38 MB of messages with 127 beats each."""
    fit = FitFile()
    fit.define(0, 78, [(0, 254, 0x84)])
    body = bytes(fit.body) + (b"\x00" + b"\x90\x01" * 127) * (38 * MEGA // 255)
    return b"\x0e\x20\x5c\x08" + len(body).to_bytes(4, "little") + b".FIT\x00\x00" + body + b"\x00\x00"


def test_the_seeds_hold_every_registered_format():
    kinds = {inspect_kind(content) for content in FILES.values()}
    assert {f.kind for f in FORMATS} <= kinds
    assert all(any(name.endswith(f.endings[0]) for name in FILES) for f in FORMATS)


def inspect_kind(content: bytes) -> str:
    return "" if content[:2] == b"\x1f\x8b" else tell_format(content, "x").kind


def test_heart_rates_beyond_all_numbers_are_taken_as_missing_and_said(tmp_path):
    """Found by fuzzing: the mean of rates of 1e308 overflowed, and stood above the highest rate."""
    path = tmp_path / "a.csv"
    path.write_text("elapsed_s,hr\n" + "".join(f"{s},{'1e308' if s == 30 else 120}\n" for s in range(0, 60, 3)))
    got = read_recording(path)
    assert got.mean_hr_bpm() == 120 and "1 value that cannot be a heart rate" in " ".join(got.remarks)
    path.write_text("elapsed_s,hr\n" + "".join(f"{s},1001\n" for s in range(0, 60, 3)))
    with pytest.raises(RecordingError, match="no row has both a time and a heart rate"):
        read_recording(path)
    path.write_text("elapsed_s,hr\n" + "".join(f"{s},1000\n" for s in range(0, 60, 3)))
    assert read_recording(path).mean_hr_bpm() == 1000  # cleaning says what is out of range
