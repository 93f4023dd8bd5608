"""Which submitted sessions can be used: impossible values, sent twice, sensors at the wrist, other kinds of session."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..basics import LEFT_OUT_COLUMNS, KitError, plural
from ..physiology import intensity_bands
from .against import People, draw_errors
from .files import LOWEST_BPM, FileSummary, Spread

NUMBERS = ("age_years", "minutes", "hr_mean_bpm", "hr_peak_bpm")
TEXTS = ("sex", "device_kind", "session_kind", "file")
SPARRING_KINDS = ("sparring", "class")
"""Kinds of session that hold sparring: the main analysis. Sessions of unknown kind are kept and counted."""
PLAUSIBLE = {"minutes": (10.0, 240.0), "hr_mean_bpm": (60.0, 205.0), "hr_peak_bpm": (80.0, 220.0)}
"""What a session on the mat may show (our proposal); beyond it a number is taken for an artefact or a slip."""
AGE_SPAN_YEARS = 3.0
"""Ages of one person that differ by more are taken as not known: two people may share a code."""

NO_RATE = "no heart rate"
CROSSED = "mean above peak"
IMPLAUSIBLE = "implausible value"
TOO_HIGH = "peak far above any likely maximum"
TWICE_FILE = "the same recording was sent before"
TWICE_ROW = "the same session was sent before"
WRIST = "sensor at the wrist"
OTHER_KIND = "another kind of session"
SCREENS = (NO_RATE, CROSSED, IMPLAUSIBLE, TOO_HIGH, TWICE_FILE, TWICE_ROW, WRIST, OTHER_KIND)
"""Reasons, in the order in which they are asked; a session has the first that fits."""


@dataclass(frozen=True)
class Screened:
    """Sessions with the reason why one is not in the main analysis."""

    sessions: pd.DataFrame
    warnings: tuple[str, ...] = ()

    @property
    def main(self) -> pd.DataFrame:
        """The sessions of the main analysis."""
        return self.sessions[self.sessions["reason"] == ""]


def complete_columns(survey: pd.DataFrame) -> pd.DataFrame:
    """Return the survey with every column that the analysis reads, numbers as numbers and texts as categories."""
    if "person" not in survey:
        raise KitError(
            "the survey has no column person: without it several sessions of one person look like several people"
        )
    out = {"code": pd.factorize(survey["person"])[0]}
    if len(survey) and out["code"].min() < 0:
        raise KitError("a session has no person: give every session the code of its person")
    for name in NUMBERS:
        given = survey[name] if name in survey else pd.Series(np.nan, index=survey.index)
        number = pd.to_numeric(given, errors="coerce").to_numpy(dtype=float, na_value=np.nan)
        out[name] = np.where(np.isfinite(number), number, np.nan)
    for name in TEXTS:
        given = survey[name] if name in survey else pd.Series("", index=survey.index)
        text = given.where(given.notna(), "")
        out[name] = text.to_numpy() if name == "file" else pd.Categorical(text)
    place = {name: survey[name].to_numpy() for name in ("source_file", "row") if name in survey}
    return pd.DataFrame({"person": survey["person"].to_numpy(), **out, **place})


def screen_sessions(sessions: pd.DataFrame, *, kinds=SPARRING_KINDS, digests=None, ceiling=None) -> Screened:
    """Give every session the reason why it is not in the main analysis, or none."""
    mean, peak = sessions["hr_mean_bpm"].to_numpy(), sessions["hr_peak_bpm"].to_numpy()
    implausible = np.zeros(len(sessions), dtype=bool)
    for name, (low, high) in PLAUSIBLE.items():
        values = sessions[name].to_numpy()
        implausible |= (values < low) | (values > high)
    kind, same = sessions["session_kind"], ["code", "minutes", "hr_mean_bpm", "hr_peak_bpm"]
    known = ~kind.isin(["", "unknown"]).to_numpy()
    tests = {
        NO_RATE: np.isnan(mean) & np.isnan(peak),
        CROSSED: mean > peak,
        IMPLAUSIBLE: implausible,
        TOO_HIGH: np.zeros(len(sessions), dtype=bool) if ceiling is None else peak > ceiling,
        TWICE_FILE: _sent_twice(sessions["file"], digests or {}),
        TWICE_ROW: (sessions.duplicated(same) & sessions[same].notna().all(axis=1)).to_numpy(),
        WRIST: sessions["device_kind"].isin(["wrist"]).to_numpy(),
        OTHER_KIND: known & ~kind.isin(list(kinds)).to_numpy(),
    }
    number = np.full(len(sessions), -1, dtype=np.int8)
    for i, reason in reversed(list(enumerate(SCREENS))):
        number[tests[reason]] = i
    sessions = sessions.assign(reason=pd.Categorical.from_codes(number + 1, ["", *SCREENS]))
    return Screened(sessions, tuple(_remarks(sessions, known)))


def _sent_twice(files: pd.Series, digests) -> np.ndarray:
    """Mark all but the first of the rows with one file, by its name or its content."""
    given = (files != "").to_numpy(dtype=bool)
    out = np.zeros(len(files), dtype=bool)
    if given.any():
        content = files[given].map(lambda name: digests.get(name, name))
        out[np.flatnonzero(given)] = content.duplicated().to_numpy()
    return out


def settle_people(sessions: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Give a person one age and one sex over all sessions; contradictory ones count as not known."""
    ages = sessions.groupby("code")["age_years"].agg(["min", "max"])
    unclear = (ages["max"] - ages["min"] > AGE_SPAN_YEARS).to_numpy()
    age = np.where(unclear, np.nan, (ages["min"].to_numpy() + ages["max"].to_numpy()) / 2)
    said = sessions.loc[(sessions["sex"] != "").to_numpy(), ["code", "sex"]].drop_duplicates()
    one = said.drop_duplicates("code", keep=False).set_index("code")["sex"]
    sex = pd.Series("", index=ages.index).astype(object)
    sex.loc[one.index] = one.astype(object)
    mixed = int(said["code"].nunique() - len(one))
    codes = sessions["code"].to_numpy()
    sessions = sessions.assign(age_years=age[codes], sex=pd.Categorical(sex.to_numpy()[codes]))
    warnings = []
    if unclear.any():
        who = plural(int(unclear.sum()), "person", "people")
        warnings.append(f"{who} gave ages that contradict each other: taken as not known.")
    if mixed:
        warnings.append(f"{plural(mixed, 'person', 'people')} gave more than one sex: taken as not known.")
    return sessions, warnings


def _remarks(sessions: pd.DataFrame, known: np.ndarray) -> list[str]:
    main = (sessions["reason"] == "").to_numpy()
    unknown = int((main & ~known).sum())
    shared = sessions[sessions["reason"] == TWICE_FILE]
    remarks = []
    if unknown:
        are = "is" if unknown == 1 else "are"
        remarks.append(f"{plural(unknown, 'session')} of unknown kind {are} in the main analysis.")
    if len(shared):
        remarks.append(f"{plural(len(shared), 'recording')} came more than once; only the first is counted.")
    return remarks


def left_out_sessions(sessions: pd.DataFrame) -> pd.DataFrame:
    """List the sessions that are not in the main analysis by file and row, without codes, each with its reason."""
    aside = sessions[sessions["reason"] != ""]
    blank = np.full(len(aside), "", dtype=object)
    columns = {
        "file": aside["source_file"].to_numpy() if "source_file" in aside else blank,
        "row": aside["row"].to_numpy() if "row" in aside else aside.index.to_numpy() + 1,
        "measure": np.full(len(aside), "heart rate", dtype=object),
        "reason": aside["reason"].astype(object).to_numpy(),
        "decided_by": np.full(len(aside), "rule", dtype=object),
    }
    return pd.DataFrame({c: columns.get(c, blank) for c in LEFT_OUT_COLUMNS})


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


def band_table(shares: np.ndarray, n_people: int, recorded=None):
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
