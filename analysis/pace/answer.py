"""Everything about pace in one result: activity per round, agreement of raters, heart rate beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import pandas as pd

from ..basics import KitError, Result
from ..models import cohen_kappa, intraclass
from .marks import PaceWords, second_by_second

LEAST_RATED = 0.8
"""A round counts where at least this share of it was rated (our proposal)."""


@dataclass(frozen=True)
class PaceAnswer(Result):
    """What athletes did, how far raters agree, and how hard the heart worked for it."""

    seconds: pd.DataFrame  # session, athlete, round_no, rater, second, state
    # One row per session, athlete and round, the mean of the raters: rated_s, active_s, active_share, changes_per_min,
    # n_raters, hr_mean_bpm, beats_per_active_min (heart beats of the round for each minute of activity)
    rounds: pd.DataFrame
    # The same per rater: session, athlete, round_no, rater, blind, rated_s, active_s, active_share
    by_rater: pd.DataFrame
    # session, round_no, state, share: how the rounds were spent, each athlete counted alike
    states: pd.DataFrame
    # One row per pair of raters: rater, other, n_athletes, n_rounds, n_seconds, percent_same, kappa, ci_low, ci_high (95 %,
    # athletes resampled), icc, icc_low, icc_high (active seconds per round; absolute agreement, single rater), blind ("both",
    # "one", "none")
    agreement: pd.DataFrame
    words: PaceWords  # The states
    # row, reason
    left_out: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["row", "reason"]))
    remarks: tuple[str, ...] = ()


def answer_pace(
    pace: pd.DataFrame, windows: pd.DataFrame, rows: pd.DataFrame, *, words: PaceWords | None = None,
    n_boot: int = 1000, seed: int = 0,
) -> PaceAnswer:  # fmt: skip
    """Join what raters marked with the clock and heart rate.

    Parameters
    ----------
    pace : DataFrame
        The table `pace` of a study.
    windows, rows : DataFrame
        Of a `CleanedStudy`: when each round was, and its heart rate.
    words : PaceWords, optional
        States and which of them are activity.
    n_boot : int
        Resamples of athletes for the interval of kappa. Default 1000.
    seed : int
        Default 0.

    Returns
    -------
    PaceAnswer

    Raises
    ------
    KitError
        Where no row can be placed.

    Notes
    -----
    Agreement is counted over the seconds that both raters rated. Seconds of one athlete are not independent: the interval of
    kappa resamples athletes.

    References
    ----------
    Cohen J (1960) Educational and Psychological Measurement 20:37. Shrout PE, Fleiss JL (1979) Psychological Bulletin 86:420.

    Examples
    --------
    >>> pace = pd.DataFrame({"session": "1", "rater": "R1", "blind": "yes", "athlete": "A1", "round_no": 1,
    ...     "state": ["apart", "active"], "start_clock": ["19:00:00", "19:00:15"], "end_clock": ["19:00:15", "19:01:00"]})
    >>> windows = pd.DataFrame({"session": ["1"], "athlete": ["A1"], "round_no": [1], "start_s": [68400.0], "end_s": [68460.0]})
    >>> rows = pd.DataFrame({"session": ["1"], "athlete": ["A1"], "round_no": [1], "hr_mean_bpm": [150.0]})
    >>> answer_pace(pace, windows, rows).rounds["active_s"].tolist()
    [45.0]
    """
    words = words or PaceWords()
    seconds, left, remarks = second_by_second(pace, windows, states=words.states)
    if seconds.empty:
        why = left[0]["reason"] if left else "the table is empty"
        raise KitError(f"No row of the table pace can be placed on the clock of the rounds: {why}.")
    blind = {
        (r.session, r.rater, r.athlete, r.round_no): r.blind
        for r in pace.itertuples(index=False)
        if hasattr(r, "blind")
    }
    by_rater, few = _by_rater(seconds, words, blind)
    for key, share in few:
        remarks.append(
            f"Athlete {key[1]}, round {key[2]}: only {share:.0%} of the round was rated by {key[3]}; it is not counted."
        )
    kept = {tuple(k) for k in by_rater[["session", "athlete", "round_no", "rater"]].itertuples(index=False)}
    usable = seconds[
        [k in kept for k in seconds[["session", "athlete", "round_no", "rater"]].itertuples(index=False, name=None)]
    ]
    return PaceAnswer(
        seconds=seconds, rounds=_rounds(by_rater, rows), by_rater=by_rater, states=_states(usable, words),
        agreement=_agreement(usable, by_rater, n_boot=n_boot, seed=seed), words=words,
        left_out=pd.DataFrame(left, columns=["row", "reason"]), remarks=tuple(remarks),
    )  # fmt: skip


def _by_rater(seconds: pd.DataFrame, words: PaceWords, blind: Mapping):
    """Activity of each rated round as each rater saw it, and the rounds of which too little was rated."""
    lines, few = [], []
    for key, group in seconds.groupby(["session", "athlete", "round_no", "rater"], sort=True):
        rated = group[group["state"] != ""]
        share = len(rated) / len(group) if len(group) else 0.0
        if share < LEAST_RATED:
            few.append((key, share))
            continue
        active = int(rated["state"].isin(words.active).sum())
        states = rated["state"].to_numpy()
        session, athlete, round_no, rater = key
        lines.append(
            {
                "session": session, "athlete": athlete, "round_no": round_no, "rater": rater,
                "blind": blind.get((session, rater, athlete, round_no), ""),
                "rated_s": float(len(rated)), "active_s": active * len(group) / len(rated), "active_share": active / len(rated),
                "changes_per_min": 60.0 * float((states[1:] != states[:-1]).sum()) / len(rated),
            }
        )  # fmt: skip
    columns = [
        "session", "athlete", "round_no", "rater", "blind", "rated_s", "active_s", "active_share", "changes_per_min",
    ]  # fmt: skip
    return pd.DataFrame(lines, columns=columns), few


def _rounds(by_rater: pd.DataFrame, rows: pd.DataFrame) -> pd.DataFrame:
    """The mean of the raters, with heart rate beside it."""
    keys = ["session", "athlete", "round_no"]
    means = by_rater.groupby(keys, as_index=False).agg(
        rated_s=("rated_s", "mean"), active_s=("active_s", "mean"), active_share=("active_share", "mean"),
        changes_per_min=("changes_per_min", "mean"), n_raters=("rater", "nunique"),
    )  # fmt: skip
    heart = rows[[*keys, "hr_mean_bpm"]].drop_duplicates(keys)
    joined = means.merge(heart, on=keys, how="left", validate="one_to_one")
    active_min = joined["active_s"] / 60.0
    beats = joined["hr_mean_bpm"] * (joined["active_s"] / joined["active_share"]) / 60.0
    joined["beats_per_active_min"] = (beats / active_min).where(joined["active_s"] >= 10.0)
    return joined


def _states(seconds: pd.DataFrame, words: PaceWords) -> pd.DataFrame:
    """How each round was spent: shares per athlete and rater first, then their mean."""
    rated = seconds[seconds["state"] != ""]
    if rated.empty:
        return pd.DataFrame(columns=["session", "round_no", "state", "share"])
    who = ["session", "round_no", "athlete", "rater"]
    total = rated.groupby(who).size()
    per_state = []
    for state in words.states:
        here = rated[rated["state"] == state].groupby(who).size().reindex(total.index, fill_value=0) / total
        per_athlete = here.groupby(["session", "round_no", "athlete"]).mean()
        means = per_athlete.groupby(["session", "round_no"]).mean().rename("share").reset_index()
        per_state.append(means.assign(state=state))
    return pd.concat(per_state, ignore_index=True)[["session", "round_no", "state", "share"]]


def _agreement(seconds: pd.DataFrame, by_rater: pd.DataFrame, *, n_boot: int, seed: int) -> pd.DataFrame:
    columns = [
        "rater", "other", "n_athletes", "n_rounds", "n_seconds", "percent_same", "kappa", "ci_low", "ci_high",
        "icc", "icc_low", "icc_high", "blind",
    ]  # fmt: skip
    lines = []
    keys = ["session", "athlete", "round_no", "second"]
    for one, other in combinations(sorted(seconds["rater"].unique()), 2):
        both = (
            seconds[(seconds["rater"] == one) & (seconds["state"] != "")]
            .merge(seconds[(seconds["rater"] == other) & (seconds["state"] != "")], on=keys, suffixes=("", "_other"))
        )  # fmt: skip
        if both.empty:
            continue
        low, high = _kappa_interval(both, n_boot, seed)
        wide = by_rater[by_rater["rater"].isin([one, other])].pivot_table(
            index=["session", "athlete", "round_no"], columns="rater", values="active_s"
        )
        wide = wide.dropna()
        icc, icc_low, icc_high = (np.nan, np.nan, np.nan)
        if len(wide) >= 5 and wide.to_numpy().std() > 0:
            icc, icc_low, icc_high = intraclass(wide.to_numpy(), kind="ICC(A,1)")
        said = (
            by_rater[by_rater["rater"].isin([one, other])].groupby("rater")["blind"].agg(lambda b: (b == "yes").all())
        )
        lines.append(
            {
                "rater": one, "other": other, "n_athletes": both["athlete"].nunique(),
                "n_rounds": len(both.drop_duplicates(keys[:3])), "n_seconds": len(both),
                "percent_same": 100.0 * float((both["state"] == both["state_other"]).mean()),
                "kappa": cohen_kappa(both["state"], both["state_other"]).estimate, "ci_low": low, "ci_high": high,
                "icc": icc, "icc_low": icc_low, "icc_high": icc_high,
                "blind": {2: "both", 1: "one", 0: "none"}[int(said.sum())],
            }
        )  # fmt: skip
    return pd.DataFrame(lines, columns=columns)


def _kappa_interval(both: pd.DataFrame, n_boot: int, seed: int) -> tuple[float, float]:
    """Percentile interval over resampled athletes: the table of counts per athlete is added up anew each time."""
    words = sorted({*both["state"], *both["state_other"]})
    place = {w: i for i, w in enumerate(words)}
    k, people = len(words), sorted(both["athlete"].unique())
    if len(people) < 3 or k < 2:
        return float("nan"), float("nan")
    codes = both["state"].map(place).to_numpy() * k + both["state_other"].map(place).to_numpy()
    who = pd.Categorical(both["athlete"], people).codes
    tables = np.zeros((len(people), k * k))
    np.add.at(tables, (who, codes), 1.0)
    draw = np.random.default_rng(seed).integers(len(people), size=(n_boot, len(people)))
    sums = tables[draw].sum(axis=1).reshape(n_boot, k, k)
    total = sums.sum(axis=(1, 2))
    same = np.trace(sums, axis1=1, axis2=2) / total
    chance = (sums.sum(axis=2) * sums.sum(axis=1)).sum(axis=1) / total**2
    with np.errstate(all="ignore"):
        kappa = (same - chance) / (1.0 - chance)
    kappa = kappa[np.isfinite(kappa)]
    return (float(np.quantile(kappa, 0.025)), float(np.quantile(kappa, 0.975))) if len(kappa) else (np.nan, np.nan)
