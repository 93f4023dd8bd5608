"""Recordings: summarised from their samples, gaps and artefacts left out, in parallel as one by one."""

import numpy as np
import pandas as pd
import pytest

from analysis.physiology import seconds_per_band
from analysis.survey.against import people_of
from analysis.survey.files import LOWEST_BPM, summarise_file, summarise_files
from analysis.survey.screen import agreement_table, band_edges, recorded_bands


def write(folder, name, rates, step=1):
    """A recording with one row every `step` seconds; a blank where there was no contact."""
    (folder / "recordings").mkdir(exist_ok=True)
    shown = ["" if np.isnan(v) else f"{v:.0f}" for v in rates]
    table = pd.DataFrame({"seconds": step * np.arange(len(rates)), "heart_rate": shown})
    table.to_csv(folder / "recordings" / name, index=False)
    return name


def session(seed=0, minutes=30):
    rng = np.random.default_rng(seed)
    t = np.arange(60 * minutes)
    return np.round(135 + 22 * np.sin(t / 160) + 4 * np.sin(t / 17) + rng.normal(0, 0.4, len(t)))


def test_mean_peak_and_windows_agree_with_pandas(tmp_path):
    rates = session()
    found = summarise_file(tmp_path, write(tmp_path, "a.csv", rates), (120.0,))
    middles = pd.Series((rates[1:] + rates[:-1]) / 2)
    assert found.valid_s == len(rates) - 1 and found.problem == ""
    assert found.hr_mean_bpm == pytest.approx(middles.mean())
    assert found.hr_peak_bpm == pytest.approx(middles.rolling(5).mean().max())
    assert found.windows[120.0] == pytest.approx(middles.rolling(120).mean().max())
    assert found.seconds.sum() == pytest.approx(found.valid_s)


def test_gaps_and_artefacts_are_no_time(tmp_path):
    rates = session()
    rates[300:360] = np.nan  # contact lost for a minute
    rates[900:904] = 235.0  # a spike
    found = summarise_file(tmp_path, write(tmp_path, "a.csv", rates))
    clean = summarise_file(tmp_path, write(tmp_path, "b.csv", session()))
    assert found.missing_s > 55 and found.valid_s < clean.valid_s - 55
    assert found.hr_peak_bpm == pytest.approx(clean.hr_peak_bpm, abs=1.0)


def test_another_step_gives_the_same_summary(tmp_path):
    every = summarise_file(tmp_path, write(tmp_path, "a.csv", session()), (300.0,))
    fifth = summarise_file(tmp_path, write(tmp_path, "b.csv", session()[::5], step=5), (300.0,))
    assert fifth.hr_mean_bpm == pytest.approx(every.hr_mean_bpm, abs=0.3)
    assert fifth.windows[300.0] == pytest.approx(every.windows[300.0], abs=0.5)


@pytest.mark.parametrize(
    "content", [b"", b"not a recording", b"seconds,heart_rate\n0,\n1,\n", b"seconds,heart_rate\n0,140\n"]
)
def test_what_cannot_be_read_says_why(tmp_path, content):
    (tmp_path / "recordings").mkdir()
    (tmp_path / "recordings" / "a.csv").write_bytes(content)
    assert summarise_file(tmp_path, "a.csv").problem
    assert summarise_file(tmp_path, "nowhere.csv").problem


def test_the_fingerprint_is_of_the_content_not_the_name(tmp_path):
    write(tmp_path, "a.csv", session())
    write(tmp_path, "b.csv", session())
    write(tmp_path, "c.csv", session(1))
    a, b, c = summarise_files(tmp_path, ["a.csv", "b.csv", "c.csv"])
    assert a.digest == b.digest != c.digest


def test_workers_give_the_same_in_the_same_order(tmp_path):
    names = [write(tmp_path, f"{i}.csv", session(i, minutes=5)) for i in range(6)]
    alone, together = (list(summarise_files(tmp_path, names, windows=(60.0,), n_jobs=n)) for n in (1, 2))
    assert [s.file for s in together] == names
    assert [s.hr_mean_bpm for s in alone] == [s.hr_mean_bpm for s in together]


def test_time_in_the_bands_agrees_with_physiology(tmp_path):
    """With no error of the maximum the bands are those of seconds_per_band, to the second at each edge."""
    rates = session()
    found = summarise_file(tmp_path, write(tmp_path, "a.csv", rates))
    people = people_of([found.hr_mean_bpm], [found.hr_peak_bpm], [0], [190.0], 1e-9)
    bands = recorded_bands([(0, found)], people, np.array([190.0]), None, n_draws=1, seed=0)
    percents = 100 * np.floor((rates[1:] + rates[:-1]) / 2) / 190
    table = seconds_per_band(percents).table
    assert bands.time[0, 0] == pytest.approx(table["share"].to_numpy(), abs=0.02)
    assert bands.time[0, 0].sum() == pytest.approx(1.0)
    assert bands.mean_band[0, 0] == int((100 * found.hr_mean_bpm / 190 >= np.array(band_edges())).sum())
    agreement = agreement_table(bands).iloc[0]
    harder = table["share"].to_numpy()[bands.mean_band[0, 0] + 1 :].sum()
    assert agreement["harder"] == pytest.approx(harder, abs=0.02)
    assert LOWEST_BPM + len(found.seconds) - 1 == 250


def test_people_with_many_recordings_count_once(tmp_path):
    hard, easy = np.full(600, 178.0) + np.arange(600) % 2, np.full(600, 110.0) + np.arange(600) % 2
    names = [write(tmp_path, "h.csv", hard), *(write(tmp_path, f"e{i}.csv", easy + i) for i in range(3))]
    found = list(summarise_files(tmp_path, names))
    people = people_of([s.hr_mean_bpm for s in found], [s.hr_peak_bpm for s in found], [0, 1, 1, 1], [190.0] * 4, 1e-9)
    listed = list(zip([0, 1, 1, 1], found, strict=True))
    bands = recorded_bands(listed, people, np.array([190.0, 190.0]), None, n_draws=1, seed=0)
    assert bands.weights.tolist() == pytest.approx([1 / 2, 1 / 6, 1 / 6, 1 / 6]) and bands.n_people == 2
    vigorous = (bands.time[0] * bands.weights[:, None]).sum(axis=0)[3]
    assert vigorous == pytest.approx(0.5, abs=0.01)
