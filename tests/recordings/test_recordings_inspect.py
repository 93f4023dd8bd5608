"""A look at a file: what it is, and whether it carries positions or identity."""

from __future__ import annotations

import time

import pytest
from make_fit import DEVICE, FILE_ID, RECORD, U8, U32, FitFile, simple_fit

from analysis.recordings import inspect_recording


def look(tmp_path, content, name="A01.csv"):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    found = inspect_recording(path)
    assert found.file == name and found.size_bytes == path.stat().st_size
    return found.kind, found.carries_position, found.carries_identity


def fit_with(*, position=0x7FFFFFFF, serial=0xFFFFFFFF):
    fit = FitFile()
    fit.define(0, FILE_ID, [(3, 4, U32)])
    fit.define(1, RECORD, [(253, 4, U32), (0, 4, U32), (1, 4, U32), (3, 1, U8)])
    fit.define(2, DEVICE, [(3, 4, U32)])
    fit.write(0, 0)
    fit.write(2, serial)
    for i in range(5):
        fit.write(1, 1_100_000_000 + i, position, position, 120)
    return fit.bytes()


def test_fit_positions_and_serials_count_only_where_they_hold_something(tmp_path):
    assert look(tmp_path, simple_fit([120] * 5).bytes()) == ("FIT", False, False)
    assert look(tmp_path, fit_with()) == ("FIT", False, False)
    assert look(tmp_path, fit_with(position=500_000_000)) == ("FIT", True, False)
    assert look(tmp_path, fit_with(serial=1234)) == ("FIT", False, True)


def test_a_fit_file_is_looked_through_to_its_end(tmp_path):
    """Positions in the last message, and in the last of several files in one, travel with the file as well."""
    plain = simple_fit([120] * 5)
    plain.define(1, RECORD, [(253, 4, U32), (3, 1, U8), (0, 4, U32)])
    plain.write(1, 1_100_000_005, 120, 500_000_000)
    assert look(tmp_path, plain.bytes()) == ("FIT", True, False)
    assert look(tmp_path, plain.bytes()[:-3]) == ("FIT", False, False)  # the message itself is cut
    chained = simple_fit([120] * 5).bytes() + fit_with(serial=1234)
    assert look(tmp_path, chained) == ("FIT", False, True)
    assert look(tmp_path, simple_fit([120] * 5, header=12).bytes() + fit_with(position=5)) == ("FIT", True, False)


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ('<gpx><trk><trkseg><trkpt lat="0" lon="0"></trkpt></trkseg></trk></gpx>', ("GPX", False, False)),
        ('<gpx><trk><trkseg><trkpt lat="48.1" lon="11.5"></trkpt></trkseg></trk></gpx>', ("GPX", True, False)),
        ('<gpx><trk><trkseg><trkpt lat="-0.5" lon="0"></trkpt></trkseg></trk></gpx>', ("GPX", True, False)),
        ("<gpx><metadata><author><name>Some Body</name></author></metadata></gpx>", ("GPX", False, True)),
        (
            "<TrainingCenterDatabase><LatitudeDegrees>48.1</LatitudeDegrees></TrainingCenterDatabase>",
            ("TCX", True, False),
        ),
        (
            "<TrainingCenterDatabase><Creator><UnitId>391</UnitId></Creator></TrainingCenterDatabase>",
            ("TCX", False, True),
        ),
        (
            "<TrainingCenterDatabase><Creator><UnitId>0</UnitId></Creator></TrainingCenterDatabase>",
            ("TCX", False, False),
        ),
        ("<TrainingCenterDatabase><Notes>  </Notes></TrainingCenterDatabase>", ("TCX", False, False)),
        ("elapsed_s,hr\n0,120\n1,121\n", ("table", False, False)),
        ("elapsed_s,hr,Latitude\n0,120,48\n1,121,48\n", ("table", True, False)),
        ("Name;Some Body\n\nelapsed_s;hr\n0;120\n1;121\n", ("table", False, True)),
        ("rr_ms\n400\n402\n404\n", ("intervals", False, False)),
    ],
)
def test_text_formats(tmp_path, text, found):
    assert look(tmp_path, text) == found


def test_what_is_no_recording_has_a_problem_and_raises_nothing(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("nothing here")
    assert "no column of heart rates" in inspect_recording(path).problem
    assert "does not exist" in inspect_recording(tmp_path / "none.fit").problem


def test_a_look_takes_milliseconds(tmp_path):
    path = tmp_path / "A01.csv"
    path.write_text("time,hr\n" + "".join(f"19:{i // 60:02d}:{i % 60:02d},120\n" for i in range(3600)))
    inspect_recording(path)
    begin = time.process_time()
    for _ in range(10):
        inspect_recording(path)
    assert time.process_time() - begin < 0.2
