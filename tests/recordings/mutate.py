"""Damage files in the ways that copies, radios and people do: for fuzzing the readers."""

from __future__ import annotations

import gzip

import numpy as np
from make_fit import EVENT, INTERVALS, RECORD, U8, U16, U32, FitFile

NASTY = [
    b"", b"\x00", b"\xff" * 8, b"NaN", b"inf", b"-1", b"1e308", b"99999999999999999999", b"\n", b"\r", b";", b",",
    b'"', b"<", b">", b"&a;", b"]]>", b"1989-12-31T00:00:00Z", b"2089-01-01", b"00:00:00", b"\xef\xbb\xbf",
    b"\xff\xfe", b"\x1f\x8b", b"hr", b"time", b"elapsed_s", b"<!DOCTYPE x>", b"PK\x03\x04", b".FIT", b"24:61:61",
    b"31.02.2026 10:00",
]  # fmt: skip


def seeds() -> dict[str, bytes]:
    """A small file of every format."""
    fit = FitFile()
    fit.define(0, RECORD, [(253, 4, U32), (3, 1, U8)])
    fit.define(1, EVENT, [(253, 4, U32), (0, 1, U8), (1, 1, U8)])
    fit.define(2, INTERVALS, [(0, 10, U16)])
    fit.define(3, RECORD, [(3, 1, U8)])
    for i in range(40):
        fit.write(0, 1_100_000_000 + i, 120 + i % 5)
        if i % 10 == 5:
            fit.write(1, 1_100_000_000 + i, 0, 4 * (i % 2))
            fit.write(2, [500, 480])
            fit.write(3, 130, compressed=(i + 3) & 0x1F)
    points = "".join(
        f"<Trackpoint><Time>2026-03-01T18:00:{s:02d}Z</Time>"
        f"<HeartRateBpm><Value>{120 + s % 7}</Value></HeartRateBpm></Trackpoint>"
        for s in range(30)
    )
    gpx = "".join(
        f'<trkpt lat="0" lon="0"><time>2026-03-01T18:00:{s:02d}Z</time><extensions><hr>{120 + s % 7}</hr></extensions></trkpt>'
        for s in range(30)
    )
    wide = "time;A01;A02\n" + "".join(f"19:00:{s:02d};{120 + s % 7};{130 + s % 5}\n" for s in range(40))
    text = "Start;2026-03-01 19:00:00\n\nelapsed_s;hr\ns;bpm\n" + "".join(
        f"{s},0;{120 + s % 7}\n" for s in range(40)
    )
    return {
        "a.fit": fit.bytes(),
        "b.tcx": f"<TrainingCenterDatabase><Activity>{points}</Activity></TrainingCenterDatabase>".encode(),
        "c.gpx": f"<gpx><trk><trkseg>{gpx}</trkseg></trk></gpx>".encode(),
        "d.csv": wide.encode(),
        "e.csv": text.encode(),
        "f.txt": b"rr_ms\n" + b"".join(b"%d\n" % (400 + i % 9) for i in range(60)),
        "g.csv.gz": gzip.compress(text.encode()),
        "h.csv": b"athlete,date,time,hr\n"
        + b"".join(b"A%02d,01.03.2026,19:00:%02d,%d\n" % (i % 2, i // 2, 120 + i % 7) for i in range(60)),
    }


def mutate(rng: np.random.Generator, data: bytes) -> bytes:
    """One to six random damages."""
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 7))):
        if not out:
            break
        at = int(rng.integers(0, len(out)))
        length = int(min(rng.geometric(0.05), 400))
        kind = int(rng.integers(0, 8))
        if kind == 0:
            out[at] ^= 1 << int(rng.integers(0, 8))
        elif kind == 1:
            out[at] = int(rng.integers(0, 256))
        elif kind == 2:
            del out[at : at + length]
        elif kind == 3:
            out[at:at] = out[at : at + length]
        elif kind == 4:
            out[at:at] = NASTY[int(rng.integers(0, len(NASTY)))]
        elif kind == 5:
            out[at : at + 4] = NASTY[int(rng.integers(0, len(NASTY)))]
        elif kind == 6:
            del out[at:]
        else:
            to = int(rng.integers(0, len(out)))
            out[at : at + length] = out[to : to + length]
    return bytes(out)
