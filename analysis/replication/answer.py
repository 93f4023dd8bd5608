"""`answer_replication`: ours beside all that was published, correlations with a verdict of two fields, and rounds."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..basics import Result, left_out_table
from .combine import Combined, CorrelationComparison, combine_correlations, compare_correlation
from .findings import Findings, mean_limits, read_findings

PROFILE_COLUMNS = [
    "finding", "outcome", "round_no", "published", "published_sd", "n_athletes", "ours", "ours_sd", "ours_low",
    "ours_high", "n_athletes_ours", "estimate",
    "standard_error", "df", "ci_low", "ci_high", "standardised", "standardised_low", "standardised_high", "source",
]  # fmt: skip
STEP_COLUMNS = [
    "finding", "outcome", "contrast", "published", "published_low", "published_high", "estimate", "ci_low", "ci_high",
    "difference", "difference_low", "difference_high", "df", "correlation", "source",
]  # fmt: skip


def round_means(answer) -> pd.DataFrame:
    """Return our means per round: round_no, mean, sd, n."""
    rows = answer.rows[answer.rows["tested"].astype(bool)].dropna(subset=["value"])
    means = rows.groupby("round_no", observed=True)["value"].agg(mean="mean", sd="std", n="count").reset_index()
    means["round_no"] = pd.to_numeric(means["round_no"].astype(str), errors="coerce")
    return means.dropna(subset=["round_no"])


def compare_profiles(means: pd.DataFrame, rounds: Mapping) -> tuple[pd.DataFrame, list[dict]]:
    """Compare our round means with published ones, round by round."""
    # g = J (ours − published) / pooled SD with J = 1 − 3 / (4 df − 1); its interval from the large-sample
    # variance (1/n₁ + 1/n₂ + g² / (2 (n₁ + n₂))), which is rough at club size.
    # Welch 1947, Biometrika 34:28; Hedges & Olkin 1985.
    from scipy.stats import t as student

    lines, missing = [], []
    for line in means.to_dict("records"):
        answer, number = rounds.get(line["outcome"]), line["round_no"]
        ours = round_means(answer) if answer else pd.DataFrame(columns=["round_no"])
        ours = ours[ours["round_no"] == number]
        if ours.empty:
            missing.append({"measure": line["outcome"], "round_no": number if number == number else "",
                            "reason": f"{line['finding']}: we have no mean of {line['outcome']} for this round"})  # fmt: skip
            continue
        mean, sd, n = (ours.iloc[0][k] for k in ("mean", "sd", "n"))
        difference = mean - line["mean"]
        parts = (sd**2 / n, line["sd"] ** 2 / line["n_athletes"])
        se = math.sqrt(sum(parts))
        sizes = (n, line["n_athletes"])
        usable = se > 0 and all(s > 1 for s in sizes)
        df = sum(parts) ** 2 / sum(p**2 / (s - 1) for p, s in zip(parts, sizes, strict=True)) if usable else math.nan
        half = float(student.ppf(0.975, df)) * se if usable else math.nan
        g, g_half = _hedges(difference, (sd, line["sd"]), sizes) if usable else (math.nan, math.nan)
        values = [
            line["finding"], line["outcome"], number, line["mean"], line["sd"], line["n_athletes"], mean, sd,
            *mean_limits(mean, sd, int(n)), int(n), difference,
            se, df, difference - half, difference + half, g, g - g_half, g + g_half, line["source"],
        ]  # fmt: skip
        lines.append(dict(zip(PROFILE_COLUMNS, values, strict=True)))
    return pd.DataFrame(lines, columns=PROFILE_COLUMNS), missing


def compare_steps(means: pd.DataFrame, rounds: Mapping) -> pd.DataFrame:
    """Compare our change from round to round with the published change of means."""
    # Papers do not print how the values of two rounds go together, which the standard error of a change
    # needs: √((s₁² + s₂² − 2 r s₁ s₂) / n). The correlation r of our own athletes in the same two rounds
    # stands in for it.
    if means.empty:
        return pd.DataFrame(columns=STEP_COLUMNS)
    lines = []
    for (finding, outcome), group in means.dropna(subset=["round_no"]).groupby(["finding", "outcome"], sort=False):
        answer = rounds.get(outcome)
        if not answer:
            continue
        published = group.drop_duplicates("round_no").set_index("round_no").sort_index()
        for earlier, later in itertools.pairwise(published.index):
            ours = _our_step(answer, earlier, later)
            if ours is not None:
                r = _correlation_between(answer.rows, earlier, later)
                step = _one_step(published.loc[earlier], published.loc[later], r, ours)
                lines.append([finding, outcome, f"{later:g} - {earlier:g}", *step, r, group["source"].iloc[0]])
    return pd.DataFrame(lines, columns=STEP_COLUMNS)


def _our_step(answer, earlier: float, later: float):
    """Return our change between two rounds: from the model, or, for rounds that are not neighbours, of the athletes in both."""
    from scipy.stats import t as student

    known = answer.comparison.contrasts
    pair = known[(known["earlier"].astype(str) == f"{earlier:g}") & (known["later"].astype(str) == f"{later:g}")]
    if len(pair):
        return pair.iloc[0]
    both = _two_rounds(answer.rows, earlier, later)
    if both.shape[1] < 2 or len(both) < 3:
        return None
    change = (both[later] - both[earlier]).to_numpy()
    df, se = len(change) - 1, float(change.std(ddof=1)) / math.sqrt(len(change))
    half = float(student.ppf(0.975, df)) * se
    mean = float(change.mean())
    return {"estimate": mean, "ci_low": mean - half, "ci_high": mean + half, "standard_error": se, "df": df}


def _two_rounds(rows: pd.DataFrame, earlier: float, later: float) -> pd.DataFrame:
    number = pd.to_numeric(rows["round_no"].astype(str), errors="coerce")
    of_two = rows.assign(number=number)[number.isin([earlier, later])]
    return of_two.pivot_table("value", "athlete", "number", observed=True).dropna()


def _correlation_between(rows: pd.DataFrame, earlier: float, later: float) -> float:
    """Return how our athletes' values of two rounds correlate; not-a-number below four athletes or without spread."""
    both = _two_rounds(rows, earlier, later)
    if both.shape[1] < 2 or len(both) < 4 or (both.std() == 0).any():
        return math.nan
    return float(np.corrcoef(both[earlier], both[later])[0, 1])


def _one_step(first, last, r: float, ours) -> list[float]:
    """The published change of means with its interval, ours, and their difference (Welch's degrees of freedom)."""
    from scipy.stats import t as student

    n = min(first["n_athletes"], last["n_athletes"])
    variance = (first["sd"] ** 2 + last["sd"] ** 2 - 2 * r * first["sd"] * last["sd"]) / n
    change, se, df = last["mean"] - first["mean"], math.sqrt(variance) if variance >= 0 else math.nan, n - 1
    half = float(student.ppf(0.975, df)) * se
    both = math.hypot(se, ours["standard_error"])
    pooled_df = both**4 / (se**4 / df + ours["standard_error"] ** 4 / ours["df"]) if both > 0 else math.nan
    difference, reach = ours["estimate"] - change, float(student.ppf(0.975, pooled_df)) * both
    return [change, change - half, change + half, ours["estimate"], ours["ci_low"], ours["ci_high"], difference,
            difference - reach, difference + reach, pooled_df]  # fmt: skip


def _hedges(difference, sds, sizes) -> tuple[float, float]:
    df = sum(sizes) - 2
    pooled = math.sqrt(sum((n - 1) * sd**2 for sd, n in zip(sds, sizes, strict=True)) / df)
    g = (1 - 3 / (4 * df - 1)) * difference / pooled
    return g, 1.959963985 * float(np.sqrt(sum(1 / n for n in sizes) + g**2 / (2 * sum(sizes))))


ASPECTS = ("sport", "sex", "rounds", "work_s", "rest_s", "sample_site", "sample_delay_s", "clothing")
"""What is compared, in this order."""
NEAR = {"sample_delay_s": 15.0}
"""Differences up to this count as the same (our proposal; lactate moves little within a quarter of a minute)."""


def compare_protocols(
    protocols: pd.DataFrame,
    protocol,
    *,
    sessions=None,
    sport: str = "",
    sex: str = "",
    sample_delay_s: float = math.nan,
) -> pd.DataFrame:
    """Set the protocols side by side, since another rest makes another study."""
    site = ""
    if sessions is not None and "sample_site" in sessions:
        site = ", ".join(dict.fromkeys(s for s in sessions["sample_site"] if s))
    groups = list(getattr(protocol, "groups", None) or {})
    each = [protocol.for_group(g) for g in groups] or [protocol]
    ours = {"sport": sport, "sex": sex, "sample_site": site, "sample_delay_s": sample_delay_s}
    ours |= {a: _one_or_all([getattr(p, a) for p in each]) for a in ("rounds", "work_s", "rest_s")}
    ours["clothing"] = _one_or_all([getattr(p, "clothing", "") for p in each])
    lines = []
    for line in protocols.to_dict("records"):
        for aspect in ASPECTS:
            theirs, mine = line.get(aspect, ""), ours[aspect]
            lines.append([line["finding"], aspect, theirs, mine, _same(aspect, theirs, mine)])
    return pd.DataFrame(lines, columns=["finding", "aspect", "published", "ours", "same"])


def _one_or_all(values: list):
    one, *others = dict.fromkeys(values)
    return " or ".join(v if isinstance(v, str) else f"{v:g}" for v in (one, *others)) if others else one


def _same(aspect: str, theirs, mine) -> str:
    if any(v == "" or (isinstance(v, float) and math.isnan(v)) for v in (theirs, mine)):
        return "not stated"
    try:
        return "yes" if abs(float(theirs) - float(mine)) <= NEAR.get(aspect, 0.0) else "no"
    except ValueError:
        plain = (" ".join(str(v).casefold().replace("_", " ").split()) for v in (theirs, mine))
        return "yes" if len(set(plain)) == 1 else "no"


SPEARMAN_NOTE = (
    "the published value is Spearman's, and so is ours here; intervals of Fisher's z are slightly too narrow for it"
)


@dataclass(frozen=True)
class ReplicationAnswer(Result):
    """Is our answer consistent with the published ones?"""

    findings: Findings  # What was read from the table of published numbers
    correlations: tuple[CorrelationComparison, ...]  # One per published correlation with a value
    table: pd.DataFrame  # The same as a table
    # Findings that give p only: finding, outcome, r_low, r_high (sizes compatible with it), r_new, inside
    p_only: pd.DataFrame
    # Outcome -> all published correlations and ours together (random effects from three studies on)
    combined: dict[str, Combined]
    # Round means: finding, outcome, round_no, published and ours, raw and standardised difference with intervals
    profiles: pd.DataFrame
    # Changes from round to round: published change of means, ours with its interval, whether inside
    steps: pd.DataFrame
    slopes: pd.DataFrame  # Published slopes beside ours
    # Side by side: finding, aspect, published, ours, same ("yes", "no", "not stated")
    protocols: pd.DataFrame
    n_athletes: int  # Ours, the most in any comparison
    method: str
    # Published rows that could not be compared, with the reason
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


def answer_replication(
    published: pd.DataFrame,
    fitness: Mapping,
    rounds: Mapping,
    protocol,
    *,
    sessions=None,
    sport: str = "",
    sex: str = "",
    sample_delay_s: float = math.nan,
) -> ReplicationAnswer:
    """Hold our answers against the published ones.

    Parameters
    ----------
    published : DataFrame
        The table of published numbers, as in the study folder.
    fitness : mapping of str to CapacityAnswer
        Outcome -> our answer on fitness.
    rounds : mapping of str to RoundsAnswer
        Outcome -> our answer over the rounds.
    protocol : Protocol
        Ours: rounds, work_s, rest_s.
    sessions : DataFrame, optional
        Ours: for the sampling site.
    sport, sex : str
        Ours, for the comparison of protocols.
    sample_delay_s : float
        Ours: seconds from the end of a round to the blood sample.

    Returns
    -------
    ReplicationAnswer

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> row = {"finding": "a", "outcome": "hr_mean_bpm", "statistic": "r", "value": -0.5, "n_athletes": 12, "source": "invented"}
    >>> answer_replication(pd.DataFrame([row]), {}, {}, SimpleNamespace(rounds=4, work_s=300, rest_s=60)).n_athletes
    0
    """
    findings = read_findings(published)
    left_out = [{"measure": u["outcome"], "reason": f"{u['finding']}: {u['reason']}", "row": u["row"], "file": "published"}
                for u in findings.unused.to_dict("records")]  # fmt: skip
    compared, p_only = [], []
    for line in findings.correlations.to_dict("records"):
        ours = our_correlation(fitness.get(line["outcome"]), line["method"])
        if ours is None:
            left_out.append({"measure": line["outcome"], "file": "published",
                             "reason": f"{line['finding']}: we have no correlation with {line['outcome']}"})  # fmt: skip
            continue
        if line["how"] != "printed":
            size = abs(ours["estimate"])
            inside = line["r_low"] <= size <= line["r_high"] if line["how"] == "from a bound on p" else math.nan
            p_only.append({**line, "r_new": ours["estimate"], "n_new": ours["n_athletes"], "inside": inside})
            continue
        note = SPEARMAN_NOTE if line["method"] == "Spearman" else ""
        compared.append(compare_correlation(
            line["r"], line["n_athletes"], ours["estimate"], ours["n_athletes"], finding=line["finding"], outcome=line["outcome"],
            source=line["source"], ci_low=line["r_low"], ci_high=line["r_high"], ci_low_new=ours["ci_low"],
            ci_high_new=ours["ci_high"], p_new=ours["p"], note=note))  # fmt: skip
    combined, warnings = _combine_all(compared)
    profiles, missing = compare_profiles(findings.means, rounds)
    left_out += [{"file": "published", **m} for m in missing]
    slopes = _compare_slopes(findings.slopes, fitness)
    sizes = [c.n_new for c in compared] + [int(n) for n in profiles["n_athletes_ours"]]
    return ReplicationAnswer(
        findings=findings,
        correlations=tuple(compared),
        table=pd.DataFrame([{f: c[f] for f in c.__dataclass_fields__} for c in compared],
                           columns=list(CorrelationComparison.__dataclass_fields__)),
        p_only=pd.DataFrame(p_only),
        combined=combined,
        profiles=profiles,
        steps=compare_steps(findings.means, rounds),
        slopes=slopes,
        protocols=compare_protocols(findings.protocols, protocol, sessions=sessions, sport=sport, sex=sex,
                                    sample_delay_s=sample_delay_s),
        n_athletes=max(sizes, default=0),
        method="Fisher's z; exact distribution of r for detectability; Welch intervals for means",
        left_out=left_out_table(left_out),
        warnings=(*findings.warnings, *warnings),
    )  # fmt: skip


def _combine_all(compared: list[CorrelationComparison]) -> tuple[dict[str, Combined], list[str]]:
    """Combine the published correlations of each outcome and ours, every published study once."""
    combined, warnings = {}, []
    for outcome in dict.fromkeys(c.outcome for c in compared):
        pairs = [c for c in compared if c.outcome == outcome]
        once = list({c.finding: c for c in reversed(pairs)}.values())[::-1]
        if len(once) < len(pairs):
            warnings.append(
                f"{outcome}: a finding gives several correlations; athletes of one study are not new athletes, so that "
                "only its first is combined with others."
            )
        r, n = [*(c.r for c in once), once[0].r_new], [*(c.n for c in once), once[0].n_new]
        combined[outcome] = combine_correlations(r, n)
    return combined, warnings


def our_correlation(answer, method: str) -> dict | None:
    """Return our correlation of athlete means (unadjusted, as papers print it), or None."""
    if not answer:
        return None
    rows = answer.correlations[answer.correlations["analysis"] == method]
    line = rows.iloc[0] if len(rows) else {"estimate": math.nan}
    if not abs(line["estimate"]) < 1 or line["n_athletes"] < 4:
        return None
    numbers = {name: float(line[name]) for name in ("estimate", "ci_low", "ci_high", "p")}
    return numbers | {"n_athletes": int(line["n_athletes"])}


def _compare_slopes(slopes: pd.DataFrame, fitness: Mapping) -> pd.DataFrame:
    """Set published slopes beside ours, with Welch's degrees of freedom."""
    from scipy.stats import t as student

    lines = []
    for line in slopes.to_dict("records"):
        answer = fitness.get(line["outcome"])
        if not answer:
            continue
        ours = answer.planned
        se = math.hypot(line["standard_error"], ours.standard_error)
        parts = ((line["standard_error"], line["n_athletes"] - 2), (ours.standard_error, ours.df))
        df = se**4 / sum(one**4 / d for one, d in parts) if se > 0 else math.nan
        difference = ours.estimate - line["slope"]
        half = float(student.ppf(0.975, df)) * se
        lines.append({
            "finding": line["finding"], "outcome": line["outcome"], "published": line["slope"], "published_low": line["ci_low"],
            "published_high": line["ci_high"], "estimate": ours.estimate, "ci_low": ours.ci_low, "ci_high": ours.ci_high,
            "difference": difference, "difference_low": difference - half, "difference_high": difference + half, "df": df,
            "p": float(2 * student.sf(abs(difference) / se, df)) if se > 0 else math.nan,
            "unit": ours.unit, "adjusted_for": ", ".join(ours.adjusted_for), "source": line["source"],
        })  # fmt: skip
    return pd.DataFrame(lines)
