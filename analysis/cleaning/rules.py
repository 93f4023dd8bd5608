"""The rules of cleaning: one parameter each, its default, and where the default comes from."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

import pandas as pd

from ..basics import KitError, did_you_mean

PROPOSAL = "our proposal"


def _rule(default, rule: str, unit: str, source: str, meaning: str, low: float = 0.0, high: float = math.inf):
    from dataclasses import field

    notes = {"rule": rule, "unit": unit, "source": source, "meaning": meaning, "low": low, "high": high}
    return field(default=default, metadata=notes)


@dataclass(frozen=True)
class CleaningRules:
    """The values of the cleaning rules, read from [cleaning] in study.toml.

    Parameters
    ----------
    lowest_bpm, highest_bpm, above_max_bpm : float
        Outside 40 to 220 bpm, or more than 10 bpm above the athlete's maximum: "out of range".
    flat_s : float
        The same value for at least this long: "flat line".
    jump_bpm, steep_bpm_s, steep_s : float
        A larger change from one sample to the next, or a steeper one kept up this long, breaks the trace in pieces.
    most_change_bpm, change_time_s : float
        How far heart rate can move over a gap: most_change * (1 - exp(-gap / change_time)).
    double_tolerance : float
        A piece whose level is within this share of twice or half the level around it: "doubled or halved".
    spike_s : float
        A piece that does not fit and is shorter is a "spike"; a longer one an "impossible change".
    fewest_samples : int
        A piece between two jumps with fewer samples is not trusted.
    start_lag_s, steady_s : float
        Until contact has been steady for `steady_s`, looked for in the first `start_lag_s`: "start lag".
    gap_limit_s : float
        A longer time without a heart rate is missing time; 0 leaves the choice to the file.
    crossed_s : float
        The same rates in two athletes' traces for this long: "straps mixed up".
    least_valid_share : float
        Rounds with less valid time give no heart rate.
    gap_shift_bpm : float
        Missing time that could move the mean of the round by more (as judged by bridging it) gives no mean.
    late_from_s : float
        The late part of a round starts this long after its start (at most half the round).
    peak_window_s : float
        The peak is the highest mean over this window.
    clock_disagreement_s : float
        A clock found from the trace that is further from the stated one holds the device back.
    trust_trace_above : float
        A clock found from the trace with a confidence from this on is used where it disagrees; 1 (the default) leaves every
        disagreement to a decision. State it before the data: `freeze` fixes it with the plan.
    peak_tolerance_bpm : float
        A peak above the stated maximum by more is a problem to resolve.
    bands : str
        Edition of the intensity bands.
    predicted_hr_max : str
        Equation where no maximum was measured.
    accept_unset_clock : bool
        Use recordings whose dates cannot be right by their elapsed seconds.
    """

    lowest_bpm: float = _rule(40.0, "out of range", "bpm", PROPOSAL, "lower values are flagged", 20, 80)
    highest_bpm: float = _rule(220.0, "out of range", "bpm", PROPOSAL, "higher values are flagged", 150, 260)
    above_max_bpm: float = _rule(
        10.0,
        "out of range",
        "bpm",
        PROPOSAL,
        "a rate further above the athlete's stated maximum is flagged",
        0,
        60,
    )
    flat_s: float = _rule(
        20.0,
        "flat line",
        "s",
        PROPOSAL,
        "the same value for this long is flagged; 5 to 10 s are normal",
        5,
        600,
    )
    flat_usual: float = _rule(
        8.0, "flat line", "times", PROPOSAL,
        "a run that ends without a step must last this many times the usual run of one value in the trace", 1, 50,
    )  # fmt: skip
    jump_bpm: float = _rule(
        10.0,
        "spike",
        "bpm",
        PROPOSAL,
        "a larger change between samples a second apart breaks the trace",
        3,
        60,
    )
    steep_bpm_s: float = _rule(
        7.0, "spike", "bpm/s",
        "80 bpm with a time constant of 25 s start at 3.2 bpm/s, and a real onset reached 5.3; the limit is " + PROPOSAL,
        "a steeper change kept up for steep_s breaks the trace", 1, 30,
    )  # fmt: skip
    steep_s: float = _rule(3.0, "spike", "s", PROPOSAL, "how long a steep change lasts", 2, 15)
    most_change_bpm: float = _rule(
        120.0,
        "impossible change",
        "bpm",
        PROPOSAL,
        "the most that heart rate moves, however long the gap",
        40,
        200,
    )
    change_time_s: float = _rule(
        15.0, "impossible change", "s",
        "time constants of 20 to 60 s at the start of exercise (from memory); a shorter one is the limit, " + PROPOSAL,
        "time constant of the fastest change over a gap", 5, 120,
    )  # fmt: skip
    double_tolerance: float = _rule(
        0.12,
        "doubled or halved",
        "share",
        PROPOSAL,
        "how close to twice or half the level around it",
        0.02,
        0.3,
    )
    spike_s: float = _rule(
        15.0, "spike", "s", PROPOSAL, "longer pieces are an impossible change, not a spike", 1, 120
    )
    fewest_samples: int = _rule(
        3, "spike", "samples", PROPOSAL, "shorter pieces between two jumps are not trusted", 1, 30
    )
    start_lag_s: float = _rule(
        180.0, "start lag", "s", "dry electrodes disturb the first 1 to 3 min (common practice, no source)",
        "the beginning in which steady contact is looked for", 0, 900,
    )  # fmt: skip
    steady_s: float = _rule(
        30.0, "start lag", "s", PROPOSAL, "contact is steady after this long without a fault", 3, 120
    )
    gap_limit_s: float = _rule(
        0.0, "no contact", "s",
        PROPOSAL + ": 5 s, or twice the usual step; in a file written on events up to 60 s where both ends agree",
        "a longer time without a heart rate is missing time, never filled in; 0 leaves the choice to the file", 0, 60,
    )  # fmt: skip
    crossed_s: float = _rule(
        45.0,
        "straps mixed up",
        "s",
        PROPOSAL,
        "the same rates in two athletes' traces for this long are flagged",
        15,
        600,
    )
    least_valid_share: float = _rule(
        0.8,
        "too little valid time",
        "share",
        PROPOSAL,
        "rounds with less valid time give no heart rate",
        0.0,
        1.0,
    )
    gap_shift_bpm: float = _rule(
        1.0, "gap where heart rate changed", "bpm", PROPOSAL,
        "missing time that would move the mean of the round by more, were it bridged by a straight line, gives no mean", 0.1, 30,
    )  # fmt: skip
    late_from_s: float = _rule(
        120.0, "late part", "s", "heart rate needs about 2 min to settle (time constants 30 to 60 s)",
        "the late part starts this long into the round, at most half of it", 0, 1800,
    )  # fmt: skip
    peak_window_s: float = _rule(
        5.0,
        "peak",
        "s",
        "a mean of 5 to 15 s, never one sample (convention, from memory)",
        "the peak is the highest mean",
        1,
        30,
    )
    clock_disagreement_s: float = _rule(
        15.0,
        "clock",
        "s",
        PROPOSAL,
        "a clock found from the trace that is further from the stated one holds the device back until somebody decides",
        3,
        300,
    )
    trust_trace_above: float = _rule(
        1.0,
        "clock",
        "confidence",
        PROPOSAL,
        "a disagreeing clock found from the trace is used from this confidence on; 1 leaves it to a decision",
        0.5,
        1.0,
    )
    peak_tolerance_bpm: float = _rule(
        1.0,
        "peak above maximum",
        "bpm",
        PROPOSAL,
        "a peak above the stated maximum by more is a problem to resolve",
        0,
        10,
    )
    bands: str = _rule(
        "position_stand_2011", "intensity bands", "", "American College of Sports Medicine position stand, edition of 2011",
        "the published bands, half-open [low, high)",
    )  # fmt: skip
    predicted_hr_max: str = _rule(
        "nes_2013", "predicted maximum", "", "Nes 2013 Scand J Med Sci Sports 23:697-704 (standard error 10.8 bpm)",
        "equation where no maximum was measured; its column is never mixed with the measured one",
    )  # fmt: skip
    accept_unset_clock: bool = _rule(
        False, "clock", "", PROPOSAL, "use recordings whose dates cannot be right by their elapsed seconds"
    )

    @classmethod
    def from_settings(cls, settings: Mapping | None) -> CleaningRules:
        """Take the rules from the parsed study.toml (its [cleaning] part), or from that part itself.

        `settings`: none gives the defaults.

        Examples
        --------
        >>> CleaningRules.from_settings({"cleaning": {"flat_s": 30}}).flat_s
        30.0
        """
        given = dict(settings or {})
        given = dict(given.get("cleaning", {} if "protocol" in given or "title" in given else given) or {})
        known = {f.name: f for f in fields(cls)}
        faults, values = [], {}
        for name, value in given.items():
            if name not in known:
                near = did_you_mean(name, known)
                faults.append(
                    f"{name} is not a rule of cleaning." + (f" Did you mean {near}?" if near else "")
                )
                continue
            fault, values[name] = _checked(known[name], value)
            faults += [fault] if fault else []
        if faults:
            raise KitError("[cleaning] in study.toml: " + " ".join(faults))
        return cls(**values)

    def change_over(self, gap_s):
        """The most that heart rate can move over a gap, in bpm (never less than `jump_bpm`)."""
        import numpy as np

        moved = self.most_change_bpm * (1.0 - np.exp(-np.asarray(gap_s) / self.change_time_s))
        return np.maximum(self.jump_bpm, moved)


def _checked(known, value) -> tuple[str, object]:
    """Return what is wrong with a value ("" where nothing) and the value in its own type."""
    name, default, notes = known.name, known.default, known.metadata
    if isinstance(default, bool):
        return ("" if isinstance(value, bool) else f"{name} must be true or false."), value
    if isinstance(default, str):
        allowed = _allowed(name)
        if value in allowed:
            return "", value
        near = did_you_mean(str(value), allowed)
        return f"{name} is {value!r}, not one of {', '.join(allowed)}." + (
            f" Did you mean {near}?" if near else ""
        ), value
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        return f"{name} must be a number ({notes['unit']}).", value
    if not notes["low"] <= value <= notes["high"]:
        return (
            f"{name} is {value:g}, but must lie between {notes['low']:g} and {notes['high']:g} {notes['unit']}.",
            value,
        )
    return "", type(default)(value)


def _allowed(name: str) -> list[str]:
    from ..physiology import hr_max_equations
    from ..physiology.intensity import _EDITIONS

    if name == "bands":
        return list(_EDITIONS)
    return hr_max_equations()["equation"].tolist()


def cleaning_rules(settings: Mapping | CleaningRules | None = None) -> pd.DataFrame:
    """Describe every cleaning rule."""
    rules = settings if isinstance(settings, CleaningRules) else CleaningRules.from_settings(settings)
    lines = []
    for f in fields(CleaningRules):
        value = getattr(rules, f.name)
        notes = f.metadata
        lines.append(
            (
                notes["rule"],
                f.name,
                value,
                notes["unit"],
                f.default,
                value != f.default,
                notes["source"],
                notes["meaning"],
            )
        )
    names = ["rule", "parameter", "value", "unit", "default", "changed", "source", "meaning"]
    return pd.DataFrame(lines, columns=names).astype({"value": object, "default": object})
