"""The dialects in which straps, watches and receivers hand out heart rate; all invented content, open formats."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np


def group_file(path: Path, begin: datetime, traces: dict[str, np.ndarray]) -> None:
    """One file, a column per athlete, semicolons, decimal comma in the elapsed seconds, local clock."""
    lines = ["Clock;Elapsed (s);" + ";".join(traces)]
    for t in range(len(next(iter(traces.values())))):
        values = ";".join(f"{v[t]:.0f}" for v in traces.values())
        lines.append(f"{begin + timedelta(seconds=t):%H:%M:%S};{t},0;{values}")
    _save(path, lines)


def elapsed_csv(path: Path, begin: datetime, bpm: np.ndarray) -> None:
    """Preamble with the start, then minutes and seconds since the start."""
    lines = ["Recording", f"Start,{begin:%Y-%m-%d %H:%M:%S}", "", "Time,HR"]
    lines += [f"{t // 60}:{t % 60:02d},{v:.0f}" for t, v in enumerate(bpm)]
    _save(path, lines)


def two_column_clock_csv(path: Path, begin: datetime, bpm: np.ndarray) -> None:
    """Date and time in two columns, semicolons, decimal comma."""
    lines = ["Date;Time;Heart rate (bpm)"]
    for t, v in enumerate(bpm):
        now = begin + timedelta(seconds=t)
        lines.append(f"{now:%Y-%m-%d};{now:%H:%M:%S};{v:.1f}".replace(".", ","))
    _save(path, lines)


def stamped_csv(path: Path, begin: datetime, utc_offset_h: int, bpm: np.ndarray) -> None:
    """Time stamps with their offset from UTC, commas."""
    lines = ["timestamp,heart_rate"]
    lines += [
        f"{begin + timedelta(seconds=t):%Y-%m-%dT%H:%M:%S}+{utc_offset_h:02d}:00,{v:.0f}" for t, v in enumerate(bpm)
    ]
    _save(path, lines)


def tcx(path: Path, utc: datetime, bpm: np.ndarray, rng: np.random.Generator) -> None:
    """Training Center XML, UTC, every one to three seconds; no heart rate where contact was lost."""
    t, points = 0, []
    while t < len(bpm):
        stamp = f"{utc + timedelta(seconds=t):%Y-%m-%dT%H:%M:%S}Z"
        rate = "" if np.isnan(bpm[t]) else f"<HeartRateBpm><Value>{bpm[t]:.0f}</Value></HeartRateBpm>"
        points.append(f"<Trackpoint><Time>{stamp}</Time>{rate}</Trackpoint>")
        t += int(rng.choice([1, 1, 1, 2, 3]))
    start = f"{utc:%Y-%m-%dT%H:%M:%S}Z"
    _save(
        path,
        [
            '<?xml version="1.0" encoding="UTF-8"?>',
            '<TrainingCenterDatabase xmlns="urn:demo:training-center">',
            f'<Activities><Activity Sport="Other"><Id>{start}</Id><Lap StartTime="{start}">',
            f"<TotalTimeSeconds>{len(bpm)}</TotalTimeSeconds><Intensity>Active</Intensity><TriggerMethod>Manual</TriggerMethod><Track>",
            *points,
            "</Track></Lap></Activity></Activities></TrainingCenterDatabase>",
        ],
    )


def gpx(path: Path, utc: datetime, bpm: np.ndarray) -> None:
    """GPS exchange format without positions (latitude and longitude 0), UTC, every two seconds."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="demo" xmlns="http://www.topografix.com/GPX/1/1" xmlns:h="urn:demo:heart-rate"><trk><trkseg>',
    ]
    for t in range(0, len(bpm), 2):
        stamp = f"{utc + timedelta(seconds=t):%Y-%m-%dT%H:%M:%S}Z"
        lines.append(
            f'<trkpt lat="0" lon="0"><time>{stamp}</time><extensions><h:hr>{bpm[t]:.0f}</h:hr></extensions></trkpt>'
        )
    _save(path, [*lines, "</trkseg></trk></gpx>"])


def _save(path: Path, lines: list[str]) -> None:
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
