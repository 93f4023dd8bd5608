"""Small study folders made in the tests: protocol, sheets and recordings of invented evenings with known truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from made_traces import MadeTrace, make_trace

from analysis.study import Study, load_study

BEGIN_S = 19 * 3600
"""The recordings start at 19:00:00 local time."""


def clock(seconds: float) -> str:
    """Seconds after midnight -> "19:00:00"."""
    seconds = round(seconds) % 86400
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


class MadeStudy:
    """Collects the tables of a study; `load` writes and loads them."""

    def __init__(self, folder: Path, *, athletes: int = 3, seed: int = 0, rounds: int = 3, work_s=180, rest_s=90):
        self.folder, self.rounds, self.work_s, self.rest_s = folder, rounds, work_s, rest_s
        rng = np.random.default_rng(seed)
        self.codes = [f"A{i + 1:02d}" for i in range(athletes)]
        self.traces: dict[str, MadeTrace] = {
            c: make_trace(rng, rounds=rounds, work_s=work_s, rest_s=rest_s, before_s=300, after_s=120, noise_bpm=0.5)
            for c in self.codes
        }
        self.athlete_rows = {
            c: {"age_years": 25, "sex": "M", "hr_rest_bpm": 55, "hr_max_bpm": round(self.traces[c].hr_max) + 3,
                "hr_max_source": "measured", "consent_measured": "yes", "cleared": "yes"}
            for c in self.codes
        }  # fmt: skip
        self.round_rows = {
            (c, k): {"took_part": "yes", "exertion": 12 + k} for c in self.codes for k in range(1, rounds + 1)
        }
        self.clock_rows = {k: {"start_clock": clock(BEGIN_S + s), "end_clock": clock(BEGIN_S + s + work_s)}
                           for k, s in enumerate(self.traces[self.codes[0]].starts, start=1)}  # fmt: skip
        self.session_row = {"date": "2026-03-01", "utc_offset": "+01:00"}
        self.recording_rows: list[dict] = []
        self.lactate_rows: list[dict] = []
        self.attendance_rows: list[dict] = []
        self.decisions: list[dict] = []
        self.settings = ""
        self.files: dict[str, str] = {}

    def write_local(
        self, code: str, *, name: str | None = None, ahead_s: float = 0.0, part: slice = slice(None)
    ) -> None:
        """A CSV with local date and time of a device that runs ahead by some seconds."""
        trace = self.traces[code]
        lines = ["date,time,hr"]
        for t, h in zip(trace.elapsed[part], trace.rates[part], strict=True):
            lines.append(f"2026-03-01,{clock(BEGIN_S + t + ahead_s)},{'' if np.isnan(h) else int(h)}")
        self.files[name or f"{code}.csv"] = "\n".join(lines) + "\n"

    def write_elapsed(self, code: str, *, name: str | None = None) -> None:
        """A CSV with elapsed seconds only."""
        trace = self.traces[code]
        rows = [f"{t:.0f},{'' if np.isnan(h) else int(h)}" for t, h in zip(trace.elapsed, trace.rates, strict=True)]
        self.files[name or f"{code}.csv"] = "elapsed_s,hr\n" + "\n".join(rows) + "\n"

    def write_all(self) -> MadeStudy:
        """Local recordings of everybody."""
        for code in self.codes:
            self.write_local(code)
        return self

    def load(self) -> Study:
        """Write the folder and load it."""
        folder = self.folder
        (folder / "recordings").mkdir(parents=True, exist_ok=True)
        (folder / "study.toml").write_text(
            f'title = "made"\nsport = "wrestling"\nexertion_scale = "6-20"\n{self.settings}\n[protocol]\nrounds = {self.rounds}\n'
            f'work_s = {self.work_s}\nrest_s = {self.rest_s}\nexertion_scale = "6-20"\n'
        )
        _table(folder / "sessions.csv", [{"session": 1, **self.session_row}])
        _table(folder / "athletes.csv", [{"athlete": c, **r} for c, r in self.athlete_rows.items()])
        _table(folder / "rounds.csv", [{"athlete": c, "round_no": k, **r} for (c, k), r in self.round_rows.items()])
        _table(folder / "clock.csv", [{"round_no": k, **r} for k, r in self.clock_rows.items()])
        _table(folder / "recordings.csv", self.recording_rows)
        _table(folder / "lactate.csv", self.lactate_rows)
        _table(folder / "attendance.csv", self.attendance_rows)
        _table(folder / "decisions.csv", [{"date": "2026-03-02", "decided_by": "lead", **d} for d in self.decisions])
        for name, text in self.files.items():
            (folder / "recordings" / name).write_text(text)
        return load_study(folder)


def _table(path: Path, rows: list[dict]) -> None:
    if not rows:
        return
    names = list(dict.fromkeys(n for r in rows for n in r))
    lines = [",".join(names), *[",".join(str(r.get(n, "")) for n in names) for r in rows]]
    path.write_text("\n".join(lines) + "\n")
