"""Damage files in the ways that copies, radios and people do, and say whether what was read is sound: for fuzzing the readers."""

from __future__ import annotations

import gzip

import numpy as np

from analysis.recordings import RecordingError, inspect_recording, list_labels, read_recording
from analysis.recordings.formats import FORMATS

NASTY = [
    b"", b"\x00", b"\xff" * 8, b"NaN", b"inf", b"-1", b"1e308", b"99999999999999999999", b"\n", b"\r", b";", b",",
    b'"', b"<", b">", b"&a;", b"]]>", b"1989-12-31T00:00:00Z", b"2089-01-01", b"00:00:00", b"\xef\xbb\xbf",
    b"\xff\xfe", b"\x1f\x8b", b"hr", b"time", b"elapsed_s", b"<!DOCTYPE x>", b"PK\x03\x04", b".FIT", b"24:61:61",
    b"31.02.2026 10:00",
]  # fmt: skip


def seeds() -> dict[str, bytes]:
    """A small file of every registered format, and of every other shape of table; the shapes of real devices besides."""
    text = "Start;2026-03-01 19:00:00\n\nelapsed_s;hr\ns;bpm\n" + "".join(f"{s},0;{120 + s % 7}\n" for s in range(40))
    registered = {f"{f.kind}{f.endings[0]}": f.seed() for f in FORMATS}
    return registered | {
        "e.csv": text.encode(),
        "f.txt": b"rr_ms\n" + b"".join(b"%d\n" % (400 + i % 9) for i in range(60)),
        "g.csv.gz": gzip.compress(text.encode()),
        "h.csv": b"athlete,date,time,hr\n"
        + b"".join(b"A%02d,01.03.2026,19:00:%02d,%d\n" % (i % 2, i // 2, 120 + i % 7) for i in range(60)),
        "at_changes.csv": _at_changes(b"time,hr\n", lambda s: b"2026-03-01T18:%02d:%02dZ" % (s // 60, s % 60)),
        "a_minute.csv": b"time,hr\n"
        + b"".join(b"2026-03-01T18:%02d:00Z,%d\n" % (i, 90 + 3 * (i % 20)) for i in range(40)),
        "now_and_then.csv": b"elapsed_s,speed,hr\n"
        + b"".join(b"%d,2.%d,%s\n" % (i, i % 9, b"" if i % 5 else b"%d" % (120 + i % 7)) for i in range(120)),
    }


def _at_changes(head: bytes, stamp) -> bytes:
    """A table written only where the rate changed, with steps of 1 to 45 s."""
    rng, second, rate, lines = np.random.default_rng(4), 0, 120, []
    while second < 900:
        lines.append(stamp(second) + b",%d\n" % rate)
        second += int(rng.choice([1, 2, 3, 5, 8, 13, 20, 45], p=[0.2, 0.2, 0.2, 0.15, 0.1, 0.08, 0.05, 0.02]))
        rate += int(rng.choice([-2, 2]))
    return head + b"".join(lines)


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


def sound(path) -> bool:
    """Whatever the file holds: a sound recording (True) or an error in words (False)."""
    inspect_recording(path)
    try:
        labels = list_labels(path)
        got = read_recording(path, label=labels[-1] if labels else None)
    except RecordingError as fault:
        assert str(fault).startswith(path.name) and len(str(fault)) < 900
        return False
    samples = got.samples
    assert list(samples.columns) == ["time", "elapsed_s", "hr_bpm"]
    assert (np.diff(samples["elapsed_s"]) > 0).all() and samples["elapsed_s"].iloc[0] == 0
    assert 0 <= got.valid_s <= got.duration_s + 1e-6
    rates = samples["hr_bpm"].dropna()
    assert len(rates) and ((rates > 0) & (rates <= 1000)).all()
    mean = got.mean_hr_bpm()
    assert np.isnan(mean) or rates.min() * (1 - 1e-9) <= mean <= rates.max() * (1 + 1e-9)
    return True
