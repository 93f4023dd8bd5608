"""`answer_replication`: ours beside everything that was published, with a verdict of two fields per correlation."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from ..basics import Result, left_out_table
from .combine import Combined, CorrelationComparison, combine_correlations, compare_correlation
from .findings import Findings, read_findings
from .profiles import compare_profiles, compare_protocols, compare_steps

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
    rows = answer.correlations
    rows = rows[rows["analysis"] == method]
    if rows.empty or not math.isfinite(rows.iloc[0]["estimate"]) or rows.iloc[0]["n_athletes"] < 4:
        return None
    line = rows.iloc[0]
    if abs(line["estimate"]) >= 1:
        return None
    return {
        k: (int(line[k]) if k == "n_athletes" else float(line[k]))
        for k in ("estimate", "ci_low", "ci_high", "p", "n_athletes")
    }


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
