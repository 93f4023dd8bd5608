"""Try other cleaning rules on one athlete's trace: what would be flagged, and what would become of the round means."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, check_choice, join_words
from ..recordings.recording import AT_CHANGES, GAP_LIMIT_S, STEADILY
from .clean import CleanedStudy
from .flags import CODE, FLAGS, CleaningRules, flag_codes, spans_of
from .measure import measure_round


@dataclass(frozen=True)
class TriedRules(Result):
    """One athlete's trace under other rules."""

    session: str
    athlete: str
    trace: pd.DataFrame  # As in `CleanedStudy.traces`, with the flags of the tried rules
    windows: pd.DataFrame  # The athlete's rounds
    changed: dict  # Rule -> value tried
    # round_no, valid_share and mean_bpm as cleaned and as tried (mean missing where too little is valid)
    rounds: pd.DataFrame
    flags: pd.DataFrame  # flag, samples as cleaned and as tried


def try_rules(cleaned: CleanedStudy, session: str, athlete: str, **changes: float) -> TriedRules:
    """Flag one trace again with some rules changed; the study stays as it is.

    Parameters
    ----------
    cleaned : CleanedStudy
    session, athlete : str
    **changes : float
        Parameters of the rules, by their names in study.toml.

    Returns
    -------
    TriedRules
        Flags set by hand and straps mixed up stay; the athlete's maximum is not applied again.

    Raises
    ------
    KitError
        For an athlete without a trace, or an unknown rule.

    Examples
    --------
    >>> from analysis.study import load_study, Study
    >>> from analysis.cleaning import clean_study
    >>> cleaned = clean_study(load_study("data_demo"))  # doctest: +SKIP
    >>> try_rules(cleaned, "1", "A05", flat_s=60).flags  # doctest: +SKIP
    """
    if (session, athlete) not in cleaned.traces:
        known = sorted({a for s, a in cleaned.traces if s == session})
        raise KitError(f"{athlete} has no trace in session {session}; there are {join_words(known) or 'none'}.")
    given = {p: v for p, v in zip(cleaned.rules["parameter"], cleaned.rules["value"], strict=True)}
    for name in changes:
        check_choice(name, given, name="rule")
    rules = replace(CleaningRules(**given), **changes)
    before = cleaned.traces[session, athlete]
    clock, rates = before["clock_s"].to_numpy(), before["hr_bpm"].to_numpy()
    old = np.array([CODE[f] for f in before["flag"]], dtype=np.int8)
    new = flag_codes(clock, rates, hr_max_bpm=None, rules=rules)
    fixed = np.isin(old, [CODE["straps mixed up"], CODE["set aside by hand"], CODE["out of range"]])
    new = np.where(fixed, old, new).astype(np.int8)
    windows = cleaned.windows[(cleaned.windows["session"] == session) & (cleaned.windows["athlete"] == athlete)]
    return TriedRules(
        session,
        athlete,
        before.assign(flag=pd.Series(np.array(FLAGS, dtype=object)[new], dtype="str", index=before.index)),
        windows.reset_index(drop=True),
        dict(changes),
        _rounds(before, old, new, windows, (CleaningRules(**given), rules), _written(cleaned, session, athlete)),
        _flags(old, new),
    )


def _written(cleaned: CleanedStudy, session: str, athlete: str) -> str:
    """How the device of a trace wrote its rows."""
    own = cleaned.clocks[(cleaned.clocks["session"] == session) & (cleaned.clocks["athlete"] == athlete)]
    return str(own["written"].iloc[0]) if len(own) else STEADILY


def _rounds(trace: pd.DataFrame, old, new, windows, rules: tuple, written: str) -> pd.DataFrame:
    clock, rates = trace["clock_s"].to_numpy(), trace["hr_bpm"].to_numpy()
    usual = float(np.median(np.diff(clock))) if len(clock) > 1 else 1.0
    place = np.flatnonzero(np.isfinite(rates))
    begins = np.flatnonzero(trace["gap_after"].to_numpy()[place[:-1]])
    lost = [(clock[place[i]], clock[place[i + 1]]) for i in begins.tolist()]
    bells = list(zip(windows["start_s"], windows["end_s"], strict=True))
    parts = {}
    for name, codes, own in zip(("cleaned", "tried"), (old, new), rules, strict=True):
        limit = own.gap_limit_s or max(GAP_LIMIT_S, 2 * usual)
        judged = lost if own.gap_limit_s == rules[0].gap_limit_s else None
        spans = spans_of(clock, rates, codes, limit, lost=judged, bells=bells, at_changes=written == AT_CHANGES)
        found = [measure_round(spans, a, b, own, np.inf)[0] for a, b in bells]
        parts[f"valid_share_{name}"] = [f["valid_share"] for f in found]
        parts[f"mean_bpm_{name}"] = [f["hr_mean_bpm"] for f in found]
    return pd.DataFrame({"round_no": windows["round_no"].to_numpy(), **parts})


def _flags(old: np.ndarray, new: np.ndarray) -> pd.DataFrame:
    counts = {n: np.bincount(c, minlength=len(FLAGS)) for n, c in (("cleaned", old), ("tried", new))}
    table = pd.DataFrame({"flag": FLAGS, **{f"samples_{n}": c for n, c in counts.items()}})
    return table[(table["flag"] != "") & (table.iloc[:, 1:].sum(axis=1) > 0)].reset_index(drop=True)
