"""How repeatable is it? Between evenings: reliability; between the rounds of one evening: consistency."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import KitError, Result, left_out_table, plural
from ..basics.errors import need_columns
from .anova import no_residual_spread
from .prepare import label_of, order_rounds, read_numbers

Z95 = 1.959963984540054
EVENINGS = "reliability between evenings"
ROUNDS = "within-evening consistency"

MEANING = {
    "ICC(2,1)": "one {trial}, agreement: a shift between {trials} counts as error",
    "ICC(3,1)": "one {trial}, consistency: a shift shared by all athletes does not count",
    "ICC(2,k)": "mean of the {k} {trials}, agreement",
    "ICC(3,k)": "mean of the {k} {trials}, consistency",
}


@dataclass(frozen=True)
class Reliability(Result):
    """Intraclass correlations and typical error of repeated measurements."""

    outcome: str
    # "reliability between evenings", or "within-evening consistency" for the rounds of one evening, which truly differ
    kind: str
    # type ("ICC(2,1)", "ICC(3,1)", "ICC(2,k)", "ICC(3,k)"), estimate, ci_low, ci_high, statistic, df_num, df_den, p, meaning
    icc: pd.DataFrame
    typical_error: float  # Within-athlete SD of one measurement, all trials pooled, with its 95 % interval
    typical_error_ci_low: float
    typical_error_ci_high: float
    # Typical error as a percentage, from logarithms, all trials pooled; missing where a value is not above 0
    cv_percent: float
    # 1.96 times the square root of 2 times the typical error: the change of one athlete that exceeds error. With several
    # evenings these numbers are of an evening's mean.
    smallest_detectable_change: float
    # Each named: of_what ("an evening's mean", "one round"), typical_error, ci_low, ci_high (95 %),
    # smallest_detectable_change, n_athletes, n_rounds (in the mean, or behind the value of one round)
    errors: pd.DataFrame
    # One line per trial and the one before: trial, minus_trial, estimate, ci_low, ci_high, sd_of_differences, typical_error,
    # typical_error_ci_low, typical_error_ci_high, cv_percent, change_percent, smallest_detectable_change, limit_low,
    # limit_high (95 % limits of agreement), pearson_r, n_athletes
    change_in_mean: pd.DataFrame
    n_athletes: int  # Athletes with every trial, and trials
    n_trials: int
    method: str
    left_out: pd.DataFrame  # Rows without a value, and athletes dropped because a trial is missing
    warnings: tuple[str, ...] = ()
    # Of two evenings, one line per athlete: athlete, mean, difference (second minus first); else empty. What the reader
    # should know.
    pairs: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=["athlete", "mean", "difference"]))


def reliability(data: pd.DataFrame, outcome: str, *, trial: str | None = None) -> Reliability:
    """Estimate how repeatable an outcome is between evenings, or between the rounds of one evening.

    When to use: with two or more evenings, to know which change of one athlete exceeds error. When not: the numbers from
    the rounds of a single evening are no reliability, since rounds truly differ; they are labelled so.

    Parameters
    ----------
    data : DataFrame
        With `athlete`, the outcome, `round_no`, and `session` where there are several evenings. Where a column `phase`
        names evenings before (pre) and after a training, only those before count.
    outcome : str
        A numeric column.
    trial : str, optional
        The column that numbers the repeats. Default: `session` where it has two or more values, else `round_no`.

    Returns
    -------
    Reliability
        icc table, typical_error, change_in_mean, cv_percent, smallest_detectable_change, n_athletes, left_out.

    Raises
    ------
    KitError
        Where fewer than three athletes have two or more trials in common.

    Notes
    -----
    Between evenings, the value of an evening is the athlete's mean over those rounds that this athlete has on every evening.
    Typical error = square root of the error mean square of athlete by trial; for two trials that is SD of differences / sqrt(2).
    That of one round pools the error mean squares of the rounds, each over the evenings; rounds of one evening go together, so
    its interval takes Satterthwaite's degrees of freedom from the two mean squares that it is made of.
    cv_percent = 100 (exp(typical error of logs) - 1). Intervals of the typical error by chi-square.

    References
    ----------
    Shrout & Fleiss 1979, Psychological Bulletin 86:420; McGraw & Wong 1996, Psychological Methods 1:30; Hopkins 2000, Sports
    Medicine 30:1; Bland & Altman 1986, Lancet 327:307; Weir 2005, Journal of Strength and Conditioning Research 19:231.

    Examples
    --------
    >>> import pandas as pd
    >>> data = pd.DataFrame({"athlete": list("ABCDE") * 2, "round_no": 1, "session": ["1"] * 5 + ["2"] * 5,
    ...     "score": [62.0, 78, 81, 55, 66, 67, 76, 87, 55, 63]})
    >>> result = reliability(data, "score")
    >>> result.kind, round(result.typical_error, 2)
    ('reliability between evenings', 2.89)
    """
    need_columns(data, ("athlete", outcome, *([trial] if trial else [])))
    data, other = _one_phase(data, outcome)
    trial = trial or _trial_column(data)
    kind = ROUNDS if trial in ("round_no", "bout_no") else EVENINGS
    wide, by_round, left_out, warnings = _athlete_by_trial(data, outcome, trial)
    left_out = pd.concat([left_out, other], ignore_index=True) if len(other) else left_out
    cases = wide.dropna()
    n, k = cases.shape
    lost = [str(a) for a in wide.index if a not in cases.index]
    if lost:
        warnings.append(
            f"{plural(len(lost), 'athlete')} without every trial {'is' if len(lost) == 1 else 'are'} not counted."
        )
        rows = [{"athlete": a, "measure": outcome, "reason": "a trial is missing"} for a in lost]
        left_out = pd.concat([left_out, left_out_table(rows)], ignore_index=True)
    if n < 3 or k < 2:
        raise KitError(
            f"Repeatability needs at least three athletes with two or more trials each; {plural(n, 'athlete')} "
            f"{'has' if n == 1 else 'have'} all {k} of {trial}."
        )
    if kind == ROUNDS:
        warnings.append(
            "These are rounds of one evening, which truly differ and share the day, the opponents and the fatigue: read it as "
            "within-evening consistency, not as reliability. For reliability, repeat the evening."
        )
    values = cases.to_numpy()
    icc = _icc_table(cases, kind, warnings)
    error, low, high = _typical_error(values)
    logs = np.log(values) if (values > 0).all() else None
    if logs is None:
        warnings.append("Some values are 0 or less, so there is no coefficient of variation from logarithms.")
    return Reliability(
        outcome=outcome,
        kind=kind,
        icc=icc,
        typical_error=error,
        typical_error_ci_low=low,
        typical_error_ci_high=high,
        cv_percent=100 * float(np.expm1(_typical_error(logs)[0])) if logs is not None else np.nan,
        smallest_detectable_change=Z95 * np.sqrt(2) * error,
        errors=_errors(by_round, kind, (error, low, high), n, k),
        change_in_mean=_changes(cases),
        n_athletes=n,
        n_trials=k,
        method=f"two-way analysis of variance of {n} athletes by {k} {'evenings' if kind == EVENINGS else 'rounds'}",
        left_out=left_out,
        warnings=tuple(warnings),
        **({"pairs": _pairs(cases)} if k == 2 and kind == EVENINGS else {}),
    )


def _pairs(cases: pd.DataFrame) -> pd.DataFrame:
    first, second = cases.iloc[:, 0], cases.iloc[:, 1]
    return pd.DataFrame(
        {
            "athlete": cases.index.astype(str),
            "mean": (first + second).to_numpy() / 2,
            "difference": (second - first).to_numpy(),
        }
    )


def _one_phase(data, outcome):
    """Keep the rows before a training where a column `phase` is there: what training changed is no error."""
    if "phase" not in data:
        return data, left_out_table()
    phase = data["phase"].astype("string").fillna("")
    if not phase.isin(["pre", "post"]).any():
        return data, left_out_table()
    rows = data[phase != "pre"]
    return data[phase == "pre"], left_out_table(
        {"athlete": a, "measure": outcome, "reason": f"phase {p or 'blank'}: not before the training"}
        for a, p in zip(rows["athlete"], phase[phase != "pre"], strict=True)
    )


def _trial_column(data) -> str:
    if "session" in data and len(set(data["session"].astype(str))) > 1:
        return "session"
    for name in ("round_no", "trial", "session"):
        if name in data:
            return name
    raise KitError("The table needs a column 'session' (several evenings) or 'round_no' that numbers the repeats.")


def _athlete_by_trial(data, outcome, trial):
    """One value per athlete and trial: the mean over the rounds that the athlete has in every trial."""
    labels, codes, warnings = order_rounds(data[trial])
    several = trial != "round_no" and "round_no" in data
    work = pd.DataFrame(
        {"athlete": data["athlete"].astype(str).to_numpy(), "value": read_numbers(data, outcome), "trial": codes}
    )
    work["round"] = [label_of(v) for v in data["round_no"]] if several else ""
    before = (work["round"] == "0") | (trial == "round_no" and np.array([c >= 0 and labels[c] == "0" for c in codes]))
    nameless = data["athlete"].isna().to_numpy() | (work["athlete"] == "").to_numpy()
    lost = ~before & (work["value"].isna() | (codes < 0) | nameless)
    left_out = left_out_table(
        {
            "athlete": line.athlete,
            "round_no": line.round,
            "measure": outcome,
            "reason": "no athlete" if unknown else f"no value or no {trial}",
        }
        for line, unknown in zip(work[lost].itertuples(), nameless[lost], strict=True)
    )
    work = work[~before & ~lost]
    twice = work[work.duplicated(["athlete", "trial", "round"])]
    if len(twice):
        line = twice.iloc[0]
        where = f"{trial} {labels[line['trial']]}" + (f", round {line['round']}" if line["round"] else "")
        raise KitError(f"Athlete {line['athlete']} has more than one value of {outcome} in {where}.")
    trials, athletes = sorted(work["trial"].unique()), sorted(work["athlete"].unique())
    shared = work.groupby(["athlete", "round"])["trial"].transform("nunique") == len(trials)
    by_round = work[shared] if several else work.iloc[:0]
    wide = (
        work[shared]
        .pivot_table(index="athlete", columns="trial", values="value")
        .reindex(index=athletes, columns=trials)
    )
    wide.columns = pd.Index([labels[c] for c in trials], name="trial")
    return wide.astype(float), by_round, left_out, warnings if trial == "round_no" else []


def _errors(by_round: pd.DataFrame, kind: str, whole: tuple[float, float, float], n: int, k: int) -> pd.DataFrame:
    """The typical error of an evening's mean, and that of one round, each with its smallest detectable change."""
    per_evening = by_round.groupby(["athlete", "trial"]).size().mean() if len(by_round) else 1.0
    first = "one round" if kind == ROUNDS else "an evening's mean"
    lines = [_error_line(first, whole, n, per_evening)]
    if kind == EVENINGS and per_evening > 1:
        one = _round_error(by_round, whole[0], n, k, float(per_evening))
        if one is not None:
            lines.append(_error_line("one round", one, n, 1.0))
    return pd.DataFrame(lines)


def _error_line(of_what: str, error: tuple[float, float, float], n: int, n_rounds: float) -> dict:
    names = ("typical_error", "ci_low", "ci_high")
    change = Z95 * np.sqrt(2) * error[0]
    return {
        "of_what": of_what,
        **dict(zip(names, error, strict=True)),
        "smallest_detectable_change": change,
        "n_athletes": n,
        "n_rounds": float(n_rounds),
    }


def _round_error(by_round, evening: float, n: int, k: int, per_evening: float) -> tuple[float, float, float] | None:
    """Pool the error of athlete by evening over the rounds; its interval allows for rounds of one evening going together."""
    from scipy import stats

    squares = df = 0.0
    for _, own in by_round.groupby("round"):
        table = own.pivot_table(index="athlete", columns="trial", values="value").dropna().to_numpy()
        if len(table) > 1 and table.shape[1] == k:
            size = (len(table) - 1) * (k - 1)
            squares, df = squares + _typical_error(table)[0] ** 2 * size, df + size
    if not df:
        return None
    variance = squares / df
    # variance = (MS of evenings + (rounds - 1) MS within them) / rounds: Satterthwaite's degrees of freedom
    between = per_evening * evening**2
    within = max(per_evening * variance - between, 0.0) / (per_evening - 1)
    free = (n - 1) * (k - 1)
    parts = (between / per_evening) ** 2 / free
    parts += ((per_evening - 1) * within / per_evening) ** 2 / (free * (per_evening - 1))
    effective = variance**2 / parts if parts > 0 else float(free)
    low, high = np.sqrt(effective / stats.chi2.ppf([0.975, 0.025], effective))
    error = float(np.sqrt(variance))
    return error, error * float(low), error * float(high)


def _icc_table(cases, kind, warnings) -> pd.DataFrame:
    from ..models import intraclass_table

    k = cases.shape[1]
    if no_residual_spread(cases.to_numpy()):
        warnings.append(
            "The trials differ by exactly the same amount for everyone, or not at all: no intraclass correlation."
        )
        nothing = np.full(4, np.nan)
        table = pd.DataFrame(
            {"type": list(MEANING)} | dict.fromkeys(("estimate", "ci_low", "ci_high", "statistic", "p"), nothing)
        )
    else:
        long = cases.melt(ignore_index=False, var_name="trial", value_name="value").reset_index()
        table = intraclass_table(long)
    word = "evening" if kind == EVENINGS else "round"
    table["meaning"] = [MEANING[t].format(trial=word, trials=f"{word}s", k=k) for t in table["type"]]
    return table


def _typical_error(values) -> tuple[float, float, float]:
    from scipy import stats

    n, k = values.shape
    residual = values - values.mean(axis=0) - values.mean(axis=1, keepdims=True) + values.mean()
    df = (n - 1) * (k - 1)
    error = float(np.sqrt((residual**2).sum() / df))
    low, high = np.sqrt(df / stats.chi2.ppf([0.975, 0.025], df))
    return error, error * float(low), error * float(high)


def _changes(cases) -> pd.DataFrame:
    from scipy import stats

    names, values = list(cases.columns), cases.to_numpy()
    n = len(values)
    t = float(stats.t.ppf(0.975, n - 1))
    lines = []
    for j in range(1, len(names)):
        pair = values[:, [j - 1, j]]
        difference = pair[:, 1] - pair[:, 0]
        mean, sd = float(difference.mean()), float(difference.std(ddof=1))
        error, low, high = _typical_error(pair)
        positive = bool((pair > 0).all())
        logs = np.log(pair) if positive else None
        varies = bool((pair.std(axis=0) > 0).all())
        lines.append(
            {
                "trial": names[j],
                "minus_trial": names[j - 1],
                "estimate": mean,
                "ci_low": mean - t * sd / np.sqrt(n),
                "ci_high": mean + t * sd / np.sqrt(n),
                "sd_of_differences": sd,
                "typical_error": error,
                "typical_error_ci_low": low,
                "typical_error_ci_high": high,
                "cv_percent": 100 * float(np.expm1(_typical_error(logs)[0])) if positive else np.nan,
                "change_percent": 100 * float(np.expm1((logs[:, 1] - logs[:, 0]).mean())) if positive else np.nan,
                "smallest_detectable_change": Z95 * np.sqrt(2) * error,
                "limit_low": mean - Z95 * sd,
                "limit_high": mean + Z95 * sd,
                "pearson_r": float(np.corrcoef(pair.T)[0, 1]) if varies else np.nan,
                "n_athletes": n,
            }
        )
    return pd.DataFrame(lines)
