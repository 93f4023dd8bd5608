"""Before and after in one group: the change, what values move without training, and the error of one test."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result, left_out_table, plural
from .individual import detectable_change
from .occasions import one_row_per_athlete


@dataclass(frozen=True)
class BeforeAfter(Result):
    """Change from before to after in one group: never an effect of training."""

    outcome: str
    label: str
    unit: str
    digits: int
    estimate: float  # mean change after minus before, paired
    ci_low: float
    ci_high: float
    p: float
    df: float
    between_baselines: float  # the same from first to last baseline, without training
    between_low: float
    between_high: float
    n_between: int
    athletes: pd.DataFrame  # athlete, pre, post, change, within_error
    beyond_error: int  # athletes whose change is larger than `detectable`
    typical_error: float
    detectable: float
    typical_error_from: str
    smallest: float
    n_athletes: int
    method: str = "paired differences, t interval"
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


def before_after(
    values, *, outcome, label, unit, digits=1, smallest=float("nan"), known_error=None, level=0.95
) -> BeforeAfter:
    """Describe the change from before to after in one group, beside the change without training."""

    people = pd.DataFrame({"athlete": sorted(set(values["athlete"].astype(str))), "arm": "all"})
    wide = one_row_per_athlete(values, people)
    both = wide["pre"].notna() & wide["post"].notna()
    used = wide[both]
    if len(used) < 3:
        raise KitError(
            f"The change of {label.lower()} needs at least three athletes with both values; {plural(len(used), 'athlete')} "
            f"{'has' if len(used) == 1 else 'have'} both."
        )
    error, error_from = typical_error_of(wide, known_error)
    mean, low, high, p, df = _paired(used["change"].to_numpy(), level)
    first, last = _first_and_last(wide, "pre")
    between = (last - first).dropna() if first is not None else pd.Series(dtype=float)
    nothing = (float("nan"),) * 3
    b_mean, b_low, b_high = _paired(between.to_numpy(), level)[:3] if len(between) >= 3 else nothing
    detectable = detectable_of(error, wide)
    athletes = with_error(used, detectable)
    warnings = []
    if len(between) < 3:
        warnings.append("There is one baseline only, so nothing shows how much values move without training.")
    return BeforeAfter(
        outcome=outcome,
        label=label,
        unit=unit,
        digits=digits,
        estimate=mean,
        ci_low=low,
        ci_high=high,
        p=p,
        df=df,
        between_baselines=b_mean,
        between_low=b_low,
        between_high=b_high,
        n_between=len(between),
        athletes=athletes,
        beyond_error=int((~athletes["within_error"]).sum()) if error == error else 0,
        typical_error=error,
        detectable=detectable,
        typical_error_from=error_from,
        smallest=float(smallest),
        n_athletes=len(used),
        left_out=left_out_table(
            {"athlete": a, "measure": outcome, "reason": "no value before" if gone else "no value after"}
            for a, gone in zip(wide.loc[~both, "athlete"], wide.loc[~both, "pre"].isna(), strict=True)
        ),
        warnings=tuple(warnings),
    )


def _paired(change, level):
    from scipy import stats

    n = len(change)
    mean, error, df = float(change.mean()), float(change.std(ddof=1) / np.sqrt(n)), float(n - 1)
    if not error > 1e-12 * max(1.0, abs(mean)):
        return mean, float("nan"), float("nan"), float("nan"), df
    half = float(stats.t.ppf(0.5 + level / 2, df)) * error
    return mean, mean - half, mean + half, float(2 * stats.t.sf(abs(mean / error), df)), df


def _first_and_last(wide, phase):
    names = sorted((c for c in wide if c.startswith(f"{phase}_")), key=lambda c: int(c.split("_")[1]))
    return (wide[names[0]], wide[names[-1]]) if len(names) > 1 else (None, None)


def typical_error_of(wide, known=None) -> tuple[float, str]:
    """Typical error of one test: from the repeated baselines of this study, else the one given, with where it is from."""
    names = [c for c in wide if c.startswith("pre_")]
    cases = wide[names].dropna().to_numpy(dtype=float) if len(names) > 1 else np.empty((0, 2))
    n, k = cases.shape
    if n >= 5:
        residual = cases - cases.mean(axis=0) - cases.mean(axis=1, keepdims=True) + cases.mean()
        error = float(np.sqrt((residual**2).sum() / ((n - 1) * (k - 1))))
        return error, f"the repeated baselines of {n} athletes of this study"
    if known is not None and known == known:
        return float(known), "published for the test"
    return float("nan"), "not known"


def detectable_of(error, wide) -> float:
    """Smallest detectable change of one athlete, for means of several occasions."""
    counts = [max(sum(c.startswith(f"{p}_") for c in wide), 1) for p in ("pre", "post")]
    return detectable_change(error) * float(np.sqrt(sum(1 / c for c in counts) / 2)) if error == error else float("nan")


def with_error(used, detectable):
    columns = [c for c in ("athlete", "arm", "pre", "post", "change") if c in used]
    return used[columns].assign(within_error=~(used["change"].abs() > detectable)).reset_index(drop=True)
