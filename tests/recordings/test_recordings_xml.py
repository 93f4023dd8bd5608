"""TCX and GPX: several activities, missing heart rate, backward time, any namespace, damage, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest
from mutate import mutate

from analysis.recordings import RecordingError, list_labels, read_recording, xml_files
from analysis.recordings.formats import FORMATS
from analysis.recordings.times import parse_iso_times


def point(second, rate, kind="TCX", minute=0, hour=18):
    stamp = f"2026-03-01T{hour:02d}:{minute:02d}:{second:02d}Z"
    if kind == "GPX":
        heart = "" if rate is None else f"<extensions><x:hr>{rate}</x:hr></extensions>"
        return f'<trkpt lat="0" lon="0"><time>{stamp}</time>{heart}</trkpt>'
    heart = "" if rate is None else f"<HeartRateBpm><Value>{rate}</Value></HeartRateBpm>"
    return f"<Trackpoint><Time>{stamp}</Time><DistanceMeters>1</DistanceMeters>{heart}</Trackpoint>"


def tcx(*activities):
    body = "".join(
        f"<Activity><Id>2026-03-01T18:00:00Z</Id><Lap><AverageHeartRateBpm><Value>200</Value></AverageHeartRateBpm>"
        f"<Track>{''.join(points)}</Track></Lap></Activity>"
        for points in activities
    )
    return f"<TrainingCenterDatabase><Activities>{body}</Activities></TrainingCenterDatabase>"


def gpx(points, prefix="x"):
    body = "".join(points).replace("x:", f"{prefix}:" if prefix else "").replace("<:", "<")
    head = f'<gpx version="1.1" xmlns:{prefix or "y"}="urn:any"><metadata><time>2026-03-01T01:00:00Z</time></metadata>'
    return f"{head}<trk><trkseg>{body}</trkseg></trk></gpx>"


def read(tmp_path, text, name="A01.tcx", **options):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_recording(path, **options)


def test_tcx_takes_points_not_summaries(tmp_path):
    got = read(tmp_path, tcx([point(s, 120 + s) for s in range(5)]))
    assert got.samples["hr_bpm"].tolist() == [120, 121, 122, 123, 124]
    assert got.samples["time"].iloc[0].isoformat() == "2026-03-01T18:00:00+00:00" and got.kind == "TCX"
    assert got.remarks == ()


def test_missing_rate_and_backward_time(tmp_path):
    got = read(tmp_path, tcx([point(0, 120), point(3, None), point(2, 122), point(2, 126), point(4, 125)]))
    assert got.samples["elapsed_s"].tolist() == [0, 2, 3, 4]
    assert got.samples["hr_bpm"].to_numpy() == pytest.approx([120, 124, np.nan, 125], nan_ok=True)
    assert any("backward" in r for r in got.remarks)


def test_activities_close_together_are_joined_and_far_ones_are_named(tmp_path):
    near = tcx([point(s, 120) for s in range(5)], [point(s, 140, minute=2) for s in range(5)])
    got = read(tmp_path, near)
    assert len(got.samples) == 10 and got.valid_s == 8 and any("2 activities" in r for r in got.remarks)
    far = tcx([point(s, 120, hour=3) for s in range(5)], [point(s, 140, hour=19) for s in range(5)])
    with pytest.raises(RecordingError, match="activities hours apart"):
        read(tmp_path, far)
    labels = list_labels(tmp_path / "A01.tcx")
    assert labels == ("2026-03-01T03:00:00Z", "2026-03-01T19:00:00Z")
    assert read(tmp_path, far, label=labels[1]).samples["hr_bpm"].tolist() == [140] * 5
    with pytest.raises(RecordingError, match="no activity that starts"):
        read(tmp_path, far, label="2026-03-02T00:00:00Z")


@pytest.mark.parametrize("prefix", ["x", "gpxtpx", "ns3", ""])
def test_gpx_with_any_namespace(tmp_path, prefix):
    got = read(tmp_path, gpx([point(s, 120 + s, "GPX") for s in range(5)], prefix), "A01.gpx")
    assert got.samples["hr_bpm"].tolist() == [120, 121, 122, 123, 124] and got.kind == "GPX"


def test_the_name_of_the_file_does_not_matter_and_a_mark_before_the_first_line_neither(tmp_path):
    got = read(tmp_path, "\ufeff\n" + gpx([point(s, 120, "GPX") for s in range(3)]), "A01.csv")
    assert got.kind == "GPX"


def test_times_without_zone_are_local(tmp_path):
    got = read(tmp_path, tcx([point(s, 120) for s in range(3)]).replace("Z</Time>", "</Time>"))
    assert (got.clock, got.local_date, got.local_start_s) == ("local", "2026-03-01", 18 * 3600)


def test_a_cut_file_keeps_its_points(tmp_path):
    whole = tcx([point(s, 120 + s) for s in range(20)])
    got = read(tmp_path, whole[: whole.index("18:00:12")])
    assert got.samples["hr_bpm"].tolist() == list(range(120, 132)) and "ends too early" in got.remarks[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("<gpx></gpx>", "holds no points"),
        ("<TrainingCenterDatabase><Activities>", "damaged"),
        (tcx([point(s, None) for s in range(3)]), "no row has a heart rate"),
        (tcx([point(s, 120) for s in range(3)]).replace("2026-03-01T18", "yesterday"), "both a time and a heart rate"),
        ("<gpx>" + "<a>" * 200 + "</a>" * 200 + "</gpx>", "nested"),
        ('<?xml version="1.0" encoding="foo-17"?><gpx></gpx>', "unknown encoding: foo-17"),
        ('<?xml version="1.0" encoding="punycode"?><gpx></gpx>', "damaged"),
    ],
)
def test_what_gives_no_trace_says_why(tmp_path, text, words):
    with pytest.raises(RecordingError, match=words):
        read(tmp_path, text)


BOMB = """<?xml version="1.0"?>
<!DOCTYPE gpx [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>
<gpx><trk><name>&c;</name></trk></gpx>"""
OUTSIDE = """<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/hostname">]><gpx><trk><name>&x;</name></trk></gpx>"""


@pytest.mark.parametrize("text", [BOMB, OUTSIDE, '<!DOCTYPE gpx SYSTEM "http://example.org/x.dtd"><gpx></gpx>'])
def test_entities_and_document_types_are_refused(tmp_path, text):
    with pytest.raises(RecordingError, match="declares entities or a document type"):
        read(tmp_path, text)


@pytest.mark.parametrize("kind", ["TCX", "GPX"])
def test_points_by_pattern_are_the_points_by_calls(kind):
    """Whatever the damage: where the quick way takes a file, it finds what the guarded parser finds call by call."""
    seed = next(f.seed() for f in FORMATS if f.kind == kind)
    taken = 0
    for i in range(400):
        data = mutate(np.random.default_rng([31, i]), seed) if i else seed
        quick, slow = (xml_files._Points("x", kind) for _ in range(2))
        try:
            problem, end, hidden = xml_files._walk_whole(data.lstrip(), "x")
        except RecordingError:
            continue
        data = data.lstrip()
        if hidden or not xml_files._is_plain(data) or not xml_files._take_by_pattern(data[:end], quick):
            continue
        taken += 1
        assert bool(xml_files._take_by_calls(data, slow, "x")) == bool(problem)
        assert (len(quick.times), quick.parts) == (len(slow.times), slow.parts)
        seconds = [parse_iso_times(way.times)[0] if way.times else np.empty(0) for way in (quick, slow)]
        assert np.array_equal(*seconds, equal_nan=True)
        assert np.array_equal(xml_files._rates(quick.rates), xml_files._rates(slow.rates), equal_nan=True)
    assert taken > 40


HIDDEN = "<!-- what patterns must not look into, so that every element is called -->"


@pytest.mark.parametrize("more", ["", HIDDEN])
def test_a_rate_is_only_what_stands_as_one(more, tmp_path):
    """Other values of a point, and a rate without anything around it, on both ways of reading."""
    odd = "<Other><Value>7</Value></Other>"
    text = tcx([point(s, 120 + s).replace("</Trackpoint>", odd + "</Trackpoint>") for s in range(4)])
    assert read(tmp_path, text + more).samples["hr_bpm"].tolist() == [120, 121, 122, 123]
    bare = gpx([point(s, 120 + s, "GPX").replace("extensions>", "b>") for s in range(4)])
    bare = bare.replace("<b>", "").replace("</b>", "")
    assert read(tmp_path, bare + more, "A01.gpx").samples["hr_bpm"].tolist() == [120, 121, 122, 123]
    mixed = gpx([point(0, 120, "GPX"), point(1, 121, "GPX").replace("x:hr", "hr"), point(2, 122, "GPX")])
    assert read(tmp_path, mixed + more, "A01.gpx").samples["hr_bpm"].tolist() == [120, 121, 122]


@pytest.mark.parametrize("name", ["a", "z", "_a"])
@pytest.mark.parametrize("more", ["", HIDDEN])
def test_elements_may_be_nested_sixty_deep(name, more, tmp_path):
    """Names that begin with a letter are counted before the parser sees them, others by the parser."""
    points = gpx([point(s, 120, "GPX") for s in range(3)])

    def nested(n):  # the gpx element is one level
        return points.replace("<trk>", f"<{name}>" * (n - 1) + f"</{name}>" * (n - 1) + "<trk>") + more

    assert len(read(tmp_path, nested(60), "A01.gpx").samples) == 3
    if name != "_a" or more:
        with pytest.raises(RecordingError, match="nested 60 deep"):
            read(tmp_path, nested(61), "A01.gpx")


def test_both_ways_of_reading_find_the_same_activities(tmp_path):
    near = tcx([point(s, 120) for s in range(5)], [point(s, 140, minute=2) for s in range(5)])
    for more in ("", HIDDEN):
        got = read(tmp_path, near + more)
        assert len(got.samples) == 10 and any("2 activities" in r for r in got.remarks)
        one = tcx([point(s, 120) for s in range(5)])
        assert len(read(tmp_path, one + more).samples) == 5 and list_labels(tmp_path / "A01.tcx") == ()


def test_one_unreadable_time_leaves_the_day_of_the_others(tmp_path):
    text = tcx([point(s, 120 + s) for s in range(5)]).replace("Z</Time>", "</Time>")
    got = read(tmp_path, text.replace("2026-03-01T18:00:03", "soon"))
    assert (got.clock, got.local_date) == ("local", "2026-03-01")
    assert got.samples["hr_bpm"].tolist() == [120, 121, 122, 124]


def test_what_is_nested_in_the_second_megabyte_is_refused_as_well(tmp_path):
    points = [point(s % 60, 120, "GPX", minute=s // 60 % 60, hour=18 + s // 3600) for s in range(10_600)]
    text = gpx(points)
    assert len(text) > 1_100_000 and len(read(tmp_path, text, "A01.gpx").samples) == 10_600
    deep = text.replace("</trkseg>", "<a>" * 61 + "</a>" * 61 + "</trkseg>")
    with pytest.raises(RecordingError, match="nested 60 deep"):
        read(tmp_path, deep, "A01.gpx")


@pytest.mark.parametrize("more", ["", HIDDEN])
def test_tracks_that_follow_without_a_space_are_two(more, tmp_path):
    """Found by a changed line: 36 characters from the end of a point to the next track were taken for too few to hold one."""
    points = ["".join(point(s, 120, "GPX", hour=h) for s in range(3)) for h in (3, 19)]
    text = gpx(["</trkseg></trk><trk><trkseg>".join(points)])
    with pytest.raises(RecordingError, match="2 activities hours apart"):
        read(tmp_path, text + more, "A01.gpx")
    assert len(list_labels(tmp_path / "A01.gpx")) == 2


@pytest.mark.parametrize("more", ["", HIDDEN])
def test_an_empty_rate_beside_one_does_not_take_its_place(more, tmp_path):
    text = gpx([point(s, 120 + s, "GPX").replace("</extensions>", "<x:hr></x:hr></extensions>") for s in range(3)])
    assert read(tmp_path, text + more, "A01.gpx").samples["hr_bpm"].tolist() == [120, 121, 122]


def test_points_without_a_rate_or_a_time_keep_the_quick_way_and_odd_ones_leave_it():
    """What is written otherwise than in the first point is left to the parser."""
    whole = tcx([point(0, 120), point(1, None), point(2, 122).replace("Time>", "Other>"), point(3, 123)]).encode()
    taken = xml_files._Points("x", "TCX")
    assert xml_files._take_by_pattern(whole.replace(b"<Other>2026", b"<Other>"), taken) is True
    assert taken.rates == ["120", "", "122", "123"] and [t[17:19] for t in taken.times] == ["00", "01", "", "03"]
    odd = whole.replace(b"<HeartRateBpm><Value>123", b"<HeartRateBpm ><Value>123")
    assert xml_files._take_by_pattern(odd, xml_files._Points("x", "TCX")) is False
    odd = whole.replace(b"<Time>2026-03-01T18:00:03Z", b"<Time >2026-03-01T18:00:03Z")
    assert xml_files._take_by_pattern(odd, xml_files._Points("x", "TCX")) is False


@pytest.mark.parametrize("piece", [7, 16, 1 << 20])
def test_long_and_deep_elements_are_counted_over_the_pieces_of_a_file(piece, monkeypatch):
    """From one > to the next, the last counted; in pieces of any size."""
    monkeypatch.setattr(xml_files, "CHUNK", piece)
    monkeypatch.setattr(xml_files, "MAX_ELEMENT", 50)
    monkeypatch.setattr(xml_files, "MAX_DEPTH", 3)
    points = xml_files._Points("x", "GPX")
    for text in ("<a>" + "x" * 46 + "</a>", "x" * 50 + ">", "<a>" + "x" * 49, "<a><b></b><c/><b><c></c></b></a>"):
        xml_files._refuse_endless(text.encode(), points, "x")
    for text, words in (
        ("<a>" + "x" * 47 + "</a>", "an element of 51 characters"),
        ("<a></a>" + "x" * 60 + "><a></a>", "an element of 61 characters"),
        ("x" * 51 + ">", "an element of 51 characters"),
        ("<a>" + "x" * 50, "an element of 51 characters"),
        ("<a><b></b><c/><b><c><d></d></c></b></a>", "nested 3 deep"),
        ("<z><z><z></z><z><z></z></z></z></z>", "nested 3 deep"),
    ):
        with pytest.raises(RecordingError, match=words):
            xml_files._refuse_endless(text.encode(), points, "x")


def test_the_slow_way_refuses_document_types_by_itself_and_long_texts_are_no_rate():
    with pytest.raises(RecordingError, match="declares entities or a document type"):
        xml_files._take_by_calls(b"<!DOCTYPE gpx []><gpx></gpx>", xml_files._Points("x", "GPX"), "x")
    assert xml_files._rates(["0" * 27 + "99", "0" * 27 + "120", "x"])[0] == 99
    assert np.isnan(xml_files._rates(["0" * 27 + "120", "x"])).all()
