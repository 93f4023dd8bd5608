"""Speed of reading, cleaning and summarising, as ratios: by step, by format, and growth with the number of recordings.

    python tests/benchmarks/recordings_speed.py [largest number of recordings]

One-hour recordings at 1 Hz (3,600 samples) with five rounds and some faults, twenty athletes a session. Prints Markdown.
Absolute times depend on the machine; the ratios are what to watch. "plain" is the shortest way of computing the same round
means with pandas: read_csv, a clock per row, a mean per round (no flags, no gaps, no weights).
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

HERE = Path(__file__).resolve()
sys.path[:0] = [str(HERE.parents[1] / "cleaning"), str(HERE.parents[1] / "recordings")]

from made_traces import add_fault, make_trace  # noqa: E402
from make_fit import simple_fit  # noqa: E402

from analysis.cleaning import clean_study  # noqa: E402
from analysis.recordings import read_recording  # noqa: E402
from analysis.study import Protocol, Study  # noqa: E402

PER_SESSION, ROUNDS, WORK_S, REST_S, BEFORE_S = 20, 5, 300, 120, 900
STARTS = [19 * 3600 + BEFORE_S + k * (WORK_S + REST_S) for k in range(ROUNDS)]
COLUMNS = [
    "samples", "read (s)", "clean and summarise (s)", "of reading", "all, samples a second", "plain (s)", "all, of plain",
    "time a recording, of the first row", "peak memory (MB)",
]  # fmt: skip
_KINDS = ["zeros", "flat line", "spike", "halving"]


def clock(seconds: float) -> str:
    """Seconds after midnight as a clock time."""
    return f"{int(seconds) // 3600:02d}:{int(seconds) // 60 % 60:02d}:{int(seconds) % 60:02d}"


def traces(count: int) -> list[np.ndarray]:
    """Some different traces, used again and again."""
    out = []
    for i in range(min(count, 40)):
        rng = np.random.default_rng(i)
        trace = make_trace(rng, rounds=ROUNDS, work_s=WORK_S, rest_s=REST_S, before_s=BEFORE_S, after_s=720)
        add_fault(rng, trace, _KINDS[i % 4], 1200 + 37 * i, 25)
        out.append(np.nan_to_num(trace.rates[:3600]).astype(int))
    return out


def make_study(folder: Path, count: int) -> Study:
    """A study of `count` recordings, twenty a session, as comma-separated tables."""
    made, times = traces(count), [clock(19 * 3600 + i) for i in range(3600)]
    files, rounds, clocks = [], [], []
    for i in range(count):
        session, athlete = str(i // PER_SESSION + 1), f"A{i % PER_SESSION + 1:02d}"
        path = folder / f"{athlete}_s{session}.csv"
        path.write_text("time,hr\n" + "\n".join(f"{t},{h}" for t, h in zip(times, made[i % len(made)], strict=True)))
        files.append((session, athlete, path, "", np.nan, np.nan, "", "file name"))
        rounds += [(session, athlete, k, "yes", np.nan) for k in range(1, ROUNDS + 1)]
        if i % PER_SESSION == 0:
            clocks += [(session, "", k, clock(s), clock(s + WORK_S)) for k, s in enumerate(STARTS, start=1)]
    empty = Study(folder=folder)
    table = pd.DataFrame(rounds, columns=["session", "athlete", "round_no", "took_part", "minutes_done"])
    for column in empty.rounds.columns.difference(table.columns):
        table[column] = "" if empty.rounds[column].dtype == "str" else np.nan
    clock_table = pd.DataFrame(clocks, columns=["session", "group", "round_no", "start_clock", "end_clock"])
    study = Study(
        folder=folder, protocol=Protocol(ROUNDS, float(WORK_S), float(REST_S)), rounds=table, clock=clock_table
    )
    columns = ["session", "athlete", "path", "label", "clock_offset_s", "event_s", "device", "how"]
    object.__setattr__(study, "recording_files", lambda: pd.DataFrame(files, columns=columns))
    return study


def seconds_of(work) -> float:
    """Processor seconds of a call."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def read_and_forget(paths: list[Path]) -> None:
    """Read one recording after the other."""
    for path in paths:
        read_recording(path)


def plain(paths: list[Path]) -> list[float]:
    """The plainest round means with pandas."""
    means = []
    for path in paths:
        table = pd.read_csv(path)
        second = pd.to_timedelta(table["time"]).dt.total_seconds()
        means += [table["hr"][(second >= s) & (second < s + WORK_S)].mean() for s in STARTS]
    return means


def by_format(folder: Path) -> list[str]:
    """Lines of the table of formats: samples per second of reading one recording."""
    rates, rows = traces(1)[0], ["| format | samples a second | of the table's |", "|---|---|---|"]
    stamps = [f"2026-03-01T18:{i // 60:02d}:{i % 60:02d}Z" for i in range(3600)]
    tcx = "".join(f"<Trackpoint><Time>{t}</Time><HeartRateBpm><Value>{h}</Value></HeartRateBpm></Trackpoint>"
                  for t, h in zip(stamps, rates, strict=True))  # fmt: skip
    gpx = "".join(f'<trkpt lat="0" lon="0"><time>{t}</time><extensions><hr>{h}</hr></extensions></trkpt>'
                  for t, h in zip(stamps, rates, strict=True))  # fmt: skip
    contents = {
        "table, clock times": "time,hr\n" + "\n".join(f"{clock(68400 + i)},{h}" for i, h in enumerate(rates)),
        "table, dates in UTC": "time,hr\n" + "\n".join(f"{t},{h}" for t, h in zip(stamps, rates, strict=True)),
        "FIT": simple_fit(rates.tolist()).bytes(),
        "TCX": f"<TrainingCenterDatabase><Activity>{tcx}</Activity></TrainingCenterDatabase>",
        "GPX": f"<gpx><trk><trkseg>{gpx}</trkseg></trk></gpx>",
        "intervals": "rr_ms\n" + "\n".join(str(int(60000 / max(h, 60))) for h in rates),
    }
    base = None
    for name, content in contents.items():
        path = folder / "one"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        read_recording(path)
        speed = 3600 * 10 / seconds_of(lambda p=path: [read_recording(p) for _ in range(10)])
        base = base or speed
        rows.append(f"| {name} | {speed:,.0f} | {speed / base:.2f} |")
    return rows


def peak_mb() -> float:
    """Largest memory of this process so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def by_count(folder: Path, largest: int):
    """Yield the lines of the table of growth."""
    yield "| recordings | " + " | ".join(COLUMNS) + " |"
    yield "|---" * (len(COLUMNS) + 1) + "|"
    first = None
    for count in (largest // 10, largest // 3, largest):
        study = make_study(folder, count)
        paths = list(study.recording_files()["path"])
        reading = seconds_of(lambda p=paths: read_and_forget(p))
        total = seconds_of(lambda s=study: clean_study(s, keep_traces=False))
        simple = seconds_of(lambda p=paths: plain(p))
        cleaning = total - reading
        first = first or total / count
        samples = 3600 * count
        cells = [f"{count}", f"{samples:,}", f"{reading:.2f}", f"{cleaning:.2f}", f"{cleaning / reading:.2f}",
                 f"{samples / total:,.0f}", f"{simple:.2f}", f"{total / simple:.2f}", f"{total / count / first:.2f}",
                 f"{peak_mb():.0f}"]  # fmt: skip
        yield "| " + " | ".join(cells) + " |"


def main(largest: int = 1000) -> None:
    """Print the tables, and save them after a full run."""
    lines = [
        "Processor seconds on one core, by `python tests/benchmarks/recordings_speed.py`; the ratios are what to watch.",
        "",
    ]
    with tempfile.TemporaryDirectory() as scratch:
        lines += by_format(Path(scratch))
        print("\n".join(lines), end="\n\n", flush=True)
        lines.append("")
        for line in by_count(Path(scratch), largest):
            print(line, flush=True)
            lines.append(line)
    if largest >= 1000:
        out = HERE.parents[1] / "references" / "recordings" / "speed.md"
        out.write_text("# Speed of reading and cleaning\n\n" + "\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
