"""Intensity in the bands of a published position stand: from whole recordings, and what mean and peak alone would say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..physiology import intensity_bands
from .carry import People, draw_errors
from .files import LOWEST_BPM, FileSummary
from .maxima import Spread

EDITION = "position_stand_2011"
BAND_WORDS = {"near_maximal": "near-maximal to maximal"}
BAND_COLUMNS = [
    "band", "words", "low", "high", "time", "time_low", "time_high", "mean_share", "mean_low", "mean_high", "peak_share",
    "peak_low", "peak_high", "n_recordings", "n_athletes_recordings", "n_athletes",
]  # fmt: skip


@dataclass(frozen=True)
class Recorded:
    """Sessions with a recording in the bands, per simulated draw."""

    time: np.ndarray
    mean_band: np.ndarray
    weights: np.ndarray
    n_people: int


def band_edges() -> tuple[float, ...]:
    """Return the inner edges of the bands, per cent of maximal heart rate."""
    return tuple(float(v) for v in intensity_bands(EDITION)["percent_hr_max_low"].iloc[1:])


def band_words(band: str) -> str:
    """Return a band in the words of the position stand: "near_maximal" is "near-maximal to maximal"."""
    return BAND_WORDS.get(band, band.replace("_", " "))


def recorded_bands(
    recordings: list[tuple[int, FileSummary]],
    people: People,
    predicted: np.ndarray,
    spread: Spread | None,
    *,
    n_draws: int,
    seed: int,
) -> Recorded:
    """Return time and session means in the bands, of sessions with a recording; people count once."""
    edges = np.array(band_edges()) / 100
    who = np.array([person for person, _ in recordings])
    seconds = np.array([summary.seconds for _, summary in recordings])
    means = np.array([summary.hr_mean_bpm for _, summary in recordings])
    below = np.column_stack([np.zeros(len(seconds)), seconds.cumsum(axis=1)]) / seconds.sum(axis=1)[:, None]
    weights = 1 / np.bincount(who, minlength=people.n)[who]
    time = np.empty((n_draws, len(who), len(edges) + 1))
    mean_band = np.empty((n_draws, len(who)), dtype=int)
    rows = np.arange(len(who))
    for i, error in enumerate(draw_errors(people, spread, n_draws, np.random.default_rng(seed))):
        cuts = edges[None] * (predicted * np.exp(error))[who][:, None]
        place = np.clip(cuts - LOWEST_BPM, 0, below.shape[1] - 1.001)
        whole = place.astype(int)
        at = below[rows[:, None], whole]
        at = at + (place - whole) * (below[rows[:, None], whole + 1] - at)
        time[i] = np.diff(np.column_stack([np.zeros(len(who)), at, np.ones(len(who))]), axis=1)
        mean_band[i] = (means[:, None] >= cuts).sum(axis=1)
    return Recorded(time, mean_band, weights / weights.sum(), len(np.unique(who)))


def band_table(
    shares: np.ndarray, n_people: int, recorded=None, n_recordings: int = 0, n_recorded_people: int = 0
):
    """Put the bands in a table: time of recordings, and sessions by mean and by peak."""
    bands = intensity_bands(EDITION)
    k = len(bands)
    time = np.full((3, k), np.nan)
    if recorded is not None:
        per_draw = np.einsum("drb,r->db", recorded.time, recorded.weights)
        time = np.quantile(per_draw, [0.5, 0.025, 0.975], axis=0)
    n_recordings, n_senders = (len(recorded.weights), recorded.n_people) if recorded else (0, 0)
    columns = [
        bands["band"], [band_words(b) for b in bands["band"]], bands["percent_hr_max_low"], bands["percent_hr_max_high"], *time,
        *shares[:, 0], *shares[:, 1], [n_recordings] * k, [n_senders] * k, [n_people] * k,
    ]  # fmt: skip
    return pd.DataFrame(dict(zip(BAND_COLUMNS, columns, strict=True)))


def agreement_table(recorded: Recorded) -> pd.DataFrame:
    """Set the band that a session's mean suggests against the time truly spent in each band."""
    names = list(intensity_bands(EDITION)["band"])
    time, lines = recorded.time, []
    for j, name in enumerate(names):
        inside = (recorded.mean_band == j) * recorded.weights
        total = inside.sum()
        if total == 0:
            continue
        spent = np.einsum("drb,dr->b", time, inside) / total
        lines.append([name, band_words(name), total / len(time), *spent, spent[j + 1 :].sum()])
    return pd.DataFrame(lines, columns=["mean_band", "words", "share_sessions", *names, "harder"])
