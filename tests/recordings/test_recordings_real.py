"""Real device recordings, where the folder with them is present: facts computed independently of the kit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from analysis.recordings import RecordingError, inspect_recording, read_recording

FOLDER = Path(__file__).resolve().parents[3] / "shared" / "recordings"

# file: samples, with heart rate, lowest, highest, plain mean, mean weighted over all time, seconds with a rate
FACTS = {
    "session_a.fit": (1641, 1641, 80, 179, 131.42, 131.53, 1709),
    "indoor_b.fit": (2263, 2263, 81, 176, 147.75, 147.76, 2263),
    "indoor_paused_c.fit": (3161, 3161, 60, 174, 142.32, 142.33, 3160),
    "beat_to_beat_d.fit": (1072, 1072, 128, 185, 155.97, 156.00, 1072),
    "compressed_time_e.fit": (755, 754, 93, 189, 170.52, 168.96, 3875),
    "truncated_g.fit": (442, 442, 80, 165, 123.55, 123.73, 461),
    "ramp_h.tcx": (924, 924, 114, 202, 173.77, 173.80, 923),
    "gappy_i.tcx": (145, 145, 73, 126, 90.99, 89.23, 1690),
    "missing_hr_j.gpx": (16, 9, 104, 131, 110.67, 111.11, 38),
    "run_k.gpx": (206, 206, 130, 203, 190.01, 188.19, 948),
}

pytestmark = pytest.mark.skipif(
    not FOLDER.is_dir(), reason=f"not read, since the real recordings are not here: {', '.join(FACTS)} and others"
)


@pytest.mark.parametrize("name", FACTS)
def test_facts(name):
    samples, with_rate, low, high, plain, weighted, seconds = FACTS[name]
    got = read_recording(FOLDER / name)
    merged = 1 if name == "run_k.gpx" else 0  # one repeated time
    rates = got.samples["hr_bpm"].dropna()
    assert len(got.samples) == samples - merged and len(rates) == with_rate - merged
    assert (rates.min(), rates.max()) == (low, high)
    assert rates.mean() == pytest.approx(plain, abs=0.006 if not merged else 0.25)
    assert got.mean_hr_bpm(over="all") == pytest.approx(weighted, abs=0.006)
    there = got.samples.dropna(subset=["hr_bpm"])["elapsed_s"]
    assert there.iloc[-1] - there.iloc[0] == pytest.approx(seconds, abs=1.1)
    assert got.valid_s <= seconds + 1.1
    assert np.all(np.diff(got.samples["elapsed_s"]) > 0)


@pytest.mark.parametrize(
    ("name", "mean", "peak"),
    [
        ("session_a.fit", 132, 179),
        ("indoor_b.fit", 148, 176),
        ("indoor_paused_c.fit", 142, 174),
        ("beat_to_beat_d.fit", 156, 185),
        ("compressed_time_e.fit", 170, 190),
    ],
)
def test_agrees_with_what_the_device_states(name, mean, peak):
    got = read_recording(FOLDER / name)
    assert got.mean_hr_bpm() == pytest.approx(mean, abs=0.75)
    assert abs(got.samples["hr_bpm"].max() - peak) <= 1


def test_oddities_are_said():
    said = {n: " ".join(read_recording(FOLDER / n).remarks) for n in FACTS}
    assert "The timer stood" in said["indoor_paused_c.fit"] and "The timer stood" in said["beat_to_beat_d.fit"]
    assert "beat-to-beat intervals kept beside" in said["beat_to_beat_d.fit"]
    assert "1 of 755 rows without a heart rate" in said["compressed_time_e.fit"]
    assert "end of the file is missing" in said["truncated_g.fit"]
    assert "held nothing that was lost and were joined" in said["gappy_i.tcx"] and "repeated time" in said["run_k.gpx"]
    assert "7 of 16 rows without" in said["missing_hr_j.gpx"]


def test_gaps_are_missing_time_not_filled():
    gappy = read_recording(FOLDER / "gappy_i.tcx", gap_limit_s=10)
    steps = np.diff(gappy.samples["elapsed_s"])
    assert (steps > 10).sum() == 60 and steps.max() == 53
    assert gappy.valid_s == steps[steps <= 10].sum()


def test_no_time_stamps_is_an_error_that_says_so():
    with pytest.raises(RecordingError, match="nothing can be placed in time"):
        read_recording(FOLDER / "three_records_f.fit")


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.fit")), ids=lambda p: p.name)
def test_same_samples_as_a_general_decoder(path):
    """Every record of fitdecode, time and rate, is what the kit reads (fitdecode 0.10 or later)."""
    import fitdecode

    times, rates = [], []
    try:
        with fitdecode.FitReader(path, processor=fitdecode.DefaultDataProcessor()) as reader:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage) and frame.name == "record":
                    times.append(frame.get_raw_value("timestamp", fallback=None))
                    rates.append(frame.get_value("heart_rate", fallback=None))
    except fitdecode.FitEOFError:
        pass
    if not any(t is not None for t in times):
        return
    got = read_recording(path).samples
    start = next(t for t in times if t is not None)
    kept = {t - start: r for t, r in zip(times, rates, strict=True) if t is not None}
    assert got["elapsed_s"].tolist() == sorted(kept)
    assert got["hr_bpm"].tolist() == pytest.approx(
        [np.nan if kept[t] is None else kept[t] for t in sorted(kept)], nan_ok=True
    )


def test_inspection_finds_serials_and_no_positions():
    for path in FOLDER.iterdir():
        found = inspect_recording(path)
        assert not found.carries_position
        assert found.carries_identity == (path.suffix == ".fit"), path.name
