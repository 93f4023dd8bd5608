"""What papers give, read into comparable numbers: a correlation, a p bound only, a mean with its spread, a slope.

A spread is turned into an SD by what it is; a standard error entered as an SD is caught where it cannot be one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result, check_number, format_number
from ..study.outcomes import known_outcome
from .evidence import fisher_limits

CORRELATION_NAMES = ("r", "rho", "correlation", "pearson", "spearman")
MEAN_NAMES = ("mean", "median")
SLOPE_NAMES = ("slope", "b", "beta")


@dataclass(frozen=True)
class Findings(Result):
    """Published numbers in comparable form."""

    # finding, outcome, r (missing where only p is given), r_low, r_high (the values that are compatible with what is
    # printed), n_athletes, how ("printed", "from p", "from a bound on p"), method, source
    correlations: pd.DataFrame
    # finding, outcome, round_no, mean, sd (missing where it cannot be had), standard_error, ci_low, ci_high (95 % of the
    # mean, t), n_athletes, how, source
    means: pd.DataFrame
    slopes: pd.DataFrame  # finding, outcome, slope, standard_error, ci_low, ci_high, n_athletes, source
    # finding, sport, sex, work_s, rest_s, rounds, sample_site, sample_delay_s, n_athletes, source
    protocols: pd.DataFrame
    unused: pd.DataFrame = field(default_factory=pd.DataFrame)  # Rows that could not be read, with the reason
    warnings: tuple[str, ...] = ()  # Suspected slips


def read_findings(published: pd.DataFrame) -> Findings:
    """Read the table of published numbers into comparable form.

    SD from a standard error: SEM √n. From an interval of a mean: half its width √n / t(.975, n − 1). From an interquartile
    range: width / 1.35, for values that scatter evenly (Wan et al. 2014). r from p: t / √(t² + n − 2).

    Wan, Wang, Liu & Tong 2014, BMC Medical Research Methodology 14:135.
    """
    published = _complete(published)
    correlations, means, slopes, unused, warnings = [], [], [], [], []
    for row in published.to_dict("records"):
        kind = str(row.get("statistic", "")).strip().lower()
        try:
            if kind in CORRELATION_NAMES:
                correlations.append(_correlation(row, kind))
            elif kind in MEAN_NAMES:
                line, warning = _mean(row)
                means.append(line)
                warnings += [warning] if warning else []
            elif kind in SLOPE_NAMES:
                slopes.append(_slope(row))
            else:
                raise _CannotRead(f"the kit does not compare a {kind or 'number without a statistic'}")
        except _CannotRead as problem:
            unused.append({"finding": row.get("finding", ""), "outcome": row.get("outcome", ""), "statistic": kind,
                           "row": row.get("row", ""), "reason": str(problem)})  # fmt: skip
    return Findings(
        correlations=pd.DataFrame(correlations, columns=_CORRELATION_COLUMNS),
        means=pd.DataFrame(means, columns=_MEAN_COLUMNS),
        slopes=pd.DataFrame(slopes, columns=_SLOPE_COLUMNS),
        protocols=_protocols(published),
        unused=pd.DataFrame(unused, columns=["finding", "outcome", "statistic", "row", "reason"]),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def r_from_p(p: float, n: int) -> float:
    """Return the size of a correlation from its two-sided p."""
    from scipy.stats import t as student

    check_number(p, name="p", low=0, high=1, ends=True)
    check_number(n, name="n", low=3, ends=True)
    if p == 0:
        return math.nan
    t = float(student.isf(p / 2, n - 2))
    return t / math.sqrt(t * t + n - 2)


def sd_from_spread(spread: float, kind: str, n: int, *, ci_low: float = math.nan, ci_high: float = math.nan) -> float:
    """Turn what a paper prints beside a mean into an SD."""
    from scipy.stats import t as student

    if kind == "sd":
        return spread
    if kind == "sem":
        return spread * math.sqrt(n)
    if kind == "iqr":
        return spread / 1.35
    half = (ci_high - ci_low) / 2 if math.isfinite(ci_low) and math.isfinite(ci_high) else spread
    if kind == "ci" or math.isfinite(half):
        return half * math.sqrt(n) / float(student.ppf(0.975, n - 1))
    return math.nan


def mean_limits(mean: float, sd: float, n: int) -> tuple[float, float]:
    """Return the 95 % limits of a mean of n athletes (t); not-a-number where the SD is not known."""
    from scipy.stats import t as student

    half = float(student.ppf(0.975, n - 1)) * sd / math.sqrt(n) if n > 1 else math.nan
    return mean - half, mean + half


class _CannotRead(Exception):
    """Why a row is not used."""


_CORRELATION_COLUMNS = ["finding", "outcome", "r", "r_low", "r_high", "n_athletes", "how", "method", "source"]
_MEAN_COLUMNS = [
    "finding", "outcome", "round_no", "mean", "sd", "standard_error", "ci_low", "ci_high", "n_athletes", "how", "source",
]  # fmt: skip
_SLOPE_COLUMNS = ["finding", "outcome", "slope", "standard_error", "ci_low", "ci_high", "n_athletes", "source"]
_TEXT = ("finding", "outcome", "statistic", "spread_kind", "p_is_bound", "sport", "sex", "sample_site", "source")
_PROTOCOL_COLUMNS = ["finding", "sport", "sex", "rounds", "work_s", "rest_s", "sample_site", "sample_delay_s"]
_PROTOCOL_COLUMNS += ["clothing", "n_athletes", "source"]


def _complete(published: pd.DataFrame) -> pd.DataFrame:
    """Return the table with every text column there and blank where nothing stands; a row without a name is "row N"."""
    table = published.copy()
    for column in _TEXT:
        given = table[column] if column in table else pd.Series("", index=table.index)
        table[column] = given.astype("object").where(given.notna(), "").astype("str").str.strip()
    names = [f"row {i}" for i in range(1, len(table) + 1)]
    return table.assign(finding=table["finding"].where(table["finding"] != "", names))


def _number(row, name) -> float:
    value = row.get(name)
    if value is None or value == "" or pd.isna(value):
        return math.nan
    try:
        return float(value)
    except (TypeError, ValueError):
        raise _CannotRead(f"{name} is {value!r}, which is no number") from None


def _size(row, *, least: int) -> int:
    n = _number(row, "n_athletes")
    if not n >= least:
        raise _CannotRead(f"it needs the number of athletes, at least {least}")
    return int(n)


def _correlation(row, kind) -> dict:
    n, r, p = _size(row, least=4), _number(row, "value"), _number(row, "p")
    low, high = _number(row, "ci_low"), _number(row, "ci_high")
    how = "printed"
    if math.isfinite(r):
        if not -1 < r < 1:
            raise _CannotRead(f"a correlation of {r} does not lie between -1 and 1")
        if not (math.isfinite(low) and math.isfinite(high)):
            low, high = fisher_limits(r, n, 0.95)
    elif 0 < p < 1:
        smallest = r_from_p(p, n)
        bound = row["p_is_bound"].lower() in ("yes", "true", "1", "1.0")
        low, high, how = (smallest, 1.0, "from a bound on p") if bound else (smallest, smallest, "from p")
    else:
        raise _CannotRead("it needs the correlation, or its p")
    method = "Spearman" if kind in ("rho", "spearman") else "Pearson"
    line = [row["finding"], row["outcome"], r, low, high, n, how, method, row["source"]]
    return dict(zip(_CORRELATION_COLUMNS, line, strict=True))


def _mean(row) -> tuple[dict, str]:
    n, mean = _size(row, least=2), _number(row, "value")
    if not math.isfinite(mean):
        raise _CannotRead("it needs the mean")
    kind, spread = row["spread_kind"].lower(), _number(row, "spread")
    if kind not in ("", "sd", "sem", "iqr", "ci"):
        raise _CannotRead(f"the kind of its spread, {kind!r}, is none of sd, sem, iqr and ci")
    sd = sd_from_spread(spread, kind, n, ci_low=_number(row, "ci_low"), ci_high=_number(row, "ci_high"))
    how = {"sd": "SD as printed", "sem": "SD from the standard error", "iqr": "SD from the interquartile range",
           "ci": "SD from the interval"}.get(kind, "no spread given" if math.isnan(sd) else "SD from the interval")  # fmt: skip
    if row["statistic"].strip().lower() == "median":
        how = f"{how}; median taken as the mean"
    round_no = _number(row, "round_no")
    low, high = mean_limits(mean, sd, n)
    line = [row["finding"], row["outcome"], round_no, mean, sd, sd / math.sqrt(n), low, high, n, how, row["source"]]
    return dict(zip(_MEAN_COLUMNS, line, strict=True)), _suspect(row, kind, spread, n)


def _suspect(row, kind, spread, n) -> str:
    """Return a warning where an SD looks like a standard error, or a standard error like an SD."""
    typical = known_outcome(row["outcome"]).spread
    if not typical or not math.isfinite(spread) or kind not in ("sd", "sem"):
        return ""
    (low, high), root, where = typical, math.sqrt(n), f"{row['finding']}, {row['outcome']}"
    if kind == "sd" and spread < 0.6 * low and 0.7 * low <= spread * root <= 1.5 * high:
        return (
            f"{where}: an SD of {format_number(spread, 2)} between {n} athletes would be unusually small; if it is a standard "
            f"error, the SD is {format_number(spread * root, 1)}. Look at the paper and set spread_kind to sem if so."
        )
    if kind == "sem" and spread * root > 1.7 * high and 0.7 * low <= spread <= 1.5 * high:
        return (
            f"{where}: a standard error of {format_number(spread, 2)} from {n} athletes would mean an SD of "
            f"{format_number(spread * root, 1)}, which is unusually large; is it the SD itself?"
        )
    return ""


def _slope(row) -> dict:
    n, slope = _size(row, least=4), _number(row, "value")
    low, high = _number(row, "ci_low"), _number(row, "ci_high")
    if not math.isfinite(slope):
        raise _CannotRead("it needs the slope")
    from scipy.stats import t as student

    se = (high - low) / (2 * float(student.ppf(0.975, n - 2)))
    if math.isnan(se) and row["spread_kind"].lower() == "sem":
        se = _number(row, "spread")
        half = se * float(student.ppf(0.975, n - 2))
        low, high = slope - half, slope + half
    if not se > 0:
        raise _CannotRead("a slope needs its interval (ci_low and ci_high) or its standard error")
    line = [row["finding"], row["outcome"], slope, se, low, high, n, row["source"]]
    return dict(zip(_SLOPE_COLUMNS, line, strict=True))


def _protocols(published: pd.DataFrame) -> pd.DataFrame:
    lines = []
    for finding, rows in published.groupby("finding", sort=False):
        line = {"finding": finding}
        for column in _PROTOCOL_COLUMNS[1:]:
            values = rows.get("round_no" if column == "rounds" else column, ())
            given = [v for v in values if not (pd.isna(v) or v == "")]
            if column == "rounds":
                line[column] = max((float(v) for v in given), default="")
            else:
                line[column] = given[0] if given else ""
        lines.append(line)
    return pd.DataFrame(lines, columns=_PROTOCOL_COLUMNS)
