"""The answer of a training study: what the planned analysis says, what stands beside it, and what may be claimed."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from ..basics import KitError, Result, left_out_table, plural
from ..models import fit_mixed, holm
from .allocation import LEAST_PAIRS, RANDOMISED
from .before_after import (
    IndividualResponse,
    detectable_of,
    individual_response,
    one_row_per_athlete,
    typical_error_of,
    with_error,
)
from .compare import GroupComparison, compare_groups
from .randomise import RandomisationTest, randomisation_test

GAIN, MATTERS, OPPOSITE, SMALL, CANNOT_TELL = (
    "a difference in the wanted direction",
    "a difference that matters",
    "a difference in the other direction",
    "smaller than what matters",
    "cannot tell yet",
)
VERDICTS = (MATTERS, GAIN, OPPOSITE, SMALL, CANNOT_TELL)
MOST_MISSING = 0.2
ENOUGH_FOR_EQUIVALENCE = 12
"""Athletes a group below which "smaller than what matters" is not said (our proposal: six and six cannot)."""


@dataclass(frozen=True)
class TrainingOutcome(Result):
    """One outcome of a training study."""

    outcome: str
    label: str
    unit: str
    digits: int
    wanted: int  # 1 where higher is wanted, -1 where lower is
    main: GroupComparison  # everyone as allocated: HC2, Bell-McCaffrey degrees of freedom
    randomisation: RandomisationTest  # over the reference set of the allocation
    beside: pd.DataFrame  # OLS, HC3, mixed model, per protocol: one line each
    individual: IndividualResponse
    smallest: float  # smallest worthwhile gain
    p_claim: float  # the larger of the two p values
    p_adjusted: float  # after Holm over the primary outcomes
    p_equivalence: float  # of two one-sided tests against plus and minus `smallest`
    verdict: str  # one of VERDICTS
    confirmatory: bool
    why_not: tuple[str, ...]  # why no confirmatory claim is made; empty where one may be
    athletes: pd.DataFrame  # athlete, arm, pre, post, change, within_error
    flow: pd.DataFrame  # arm, allocated, baseline, followup, missing
    missing: pd.DataFrame  # athlete, arm, reason
    tipping: float  # how much worse the unmeasured trained athletes would have to end for the claim to vanish
    regression_to_mean: float  # what an athlete who starts one SD below the others gains by that alone
    typical_error: float
    detectable: float  # smallest change of one athlete beyond the error of the test
    typical_error_from: str
    left_out: pd.DataFrame = field(default_factory=left_out_table)
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class TrainingAnswer(Result):
    """Everything a training study says."""

    design: str
    outcomes: dict  # outcome -> TrainingOutcome or BeforeAfter
    adherence: object = None  # of `describe_adherence`
    harms: object = None  # of `describe_harms`
    how_allocated: str = ""
    n_allocated: int = 0
    protocol: str = ""
    weeks: float = float("nan")
    sessions_per_week: float = float("nan")
    conditions: tuple[str, ...] = ()  # what differed between the evenings before and after
    warnings: tuple[str, ...] = ()


def analyse_outcome(
    values,
    allocation,
    *,
    outcome,
    label,
    unit,
    digits=1,
    wanted=1,
    smallest,
    design="parallel",
    reference_set=None,
    covariates=(),
    alpha=0.05,
    known_error=None,
    reasons=None,
    adherent=None,
    seed=0,
) -> TrainingOutcome:
    """Analyse one outcome of a randomised training study, everyone as allocated."""
    wide = one_row_per_athlete(values, allocation)
    shared = {"outcome": "post", "baseline": "pre", "group": "arm", "reference": "control", "covariates": covariates}
    main = compare_groups(wide, **shared)
    paired = design == "matched_pairs"
    chance = randomisation_test(
        wide, **shared, allocations=None if paired else reference_set, pairs="pair" if paired else None, seed=seed
    )
    flow, missing = _flow(wide, reasons or {})
    why = _why_not(design, flow, chance, alpha)
    error, error_from = typical_error_of(wide, known_error)
    p_equivalence = _equivalence_p(main, smallest)
    p_claim = max(main.p, chance.p)
    has_both = wide["pre"].notna() & wide["post"].notna()
    used = wide[has_both]
    spread = used.groupby("arm")["change"].agg(["std", "size"])
    detectable = detectable_of(error, wide)
    sd_baseline = float(used["pre"].std())
    result = TrainingOutcome(
        outcome=outcome,
        label=label,
        unit=unit,
        digits=digits,
        wanted=wanted,
        main=main,
        randomisation=chance,
        beside=_beside(wide, values, allocation, shared, adherent),
        individual=individual_response(
            sd_trained=float(spread.loc["trained", "std"]),
            n_trained=int(spread.loc["trained", "size"]),
            sd_control=float(spread.loc["control", "std"]),
            n_control=int(spread.loc["control", "size"]),
        ),
        smallest=float(smallest),
        p_claim=p_claim,
        p_adjusted=p_claim,
        p_equivalence=p_equivalence,
        verdict=CANNOT_TELL,
        confirmatory=not why,
        why_not=tuple(why),
        athletes=with_error(used, detectable),
        flow=flow,
        missing=missing,
        tipping=float("nan"),
        regression_to_mean=_regression(main, sd_baseline, error, wide),
        typical_error=error,
        detectable=detectable,
        typical_error_from=error_from,
        left_out=main.left_out,
        warnings=tuple(dict.fromkeys([*main.warnings, *chance.warnings])),
    )
    result = _judged(result, p_claim, alpha)
    return replace(result, tipping=_tipping(result, wide, shared, alpha))


def judge(outcomes: dict, *, alpha=0.05) -> dict:
    """Adjust the primary outcomes by Holm and give each its verdict."""
    adjusted = holm([o.p_claim for o in outcomes.values()])
    return {name: _judged(o, float(p), alpha) for (name, o), p in zip(outcomes.items(), adjusted, strict=True)}


def _judged(result, p, alpha):
    main, wanted = result.main, result.wanted
    enough = min(main.n_trained, main.n_reference) >= ENOUGH_FOR_EQUIVALENCE
    verdict = CANNOT_TELL
    if result.p_equivalence <= alpha and enough:
        verdict = SMALL  # also where a difference is shown: it is shown to be smaller than what matters
    elif p <= alpha:
        towards = wanted * main.estimate > 0
        nearest = min(wanted * main.ci_low, wanted * main.ci_high)
        verdict = (MATTERS if nearest > result.smallest else GAIN) if towards else OPPOSITE
    return replace(result, p_adjusted=p, verdict=verdict)


def _equivalence_p(main, smallest):
    from scipy import stats

    low = (main.estimate + smallest) / main.standard_error
    high = (smallest - main.estimate) / main.standard_error
    return float(stats.t.sf(min(low, high), main.df))


def _regression(main, sd, error, wide) -> float:
    """What an athlete who starts one SD low moves up by the error of the baseline alone."""
    baselines = max(sum(c.startswith("pre_") for c in wide), 1)
    return error**2 / baselines / sd if error == error and sd > 0 else (1 - main.slope) * sd


def _flow(wide, reasons):
    lines, gone = [], []
    for arm in ("trained", "control"):
        own = wide[wide["arm"] == arm]
        lost = own[own["post"].isna()]
        lines.append(
            {
                "arm": arm,
                "allocated": len(own),
                "baseline": int(own["pre"].notna().sum()),
                "followup": int(own["post"].notna().sum()),
                "analysed": int((own["pre"].notna() & own["post"].notna()).sum()),
                "missing": len(lost),
            }
        )
        gone += [{"athlete": a, "arm": arm, "reason": reasons.get(a, "no reason noted")} for a in lost["athlete"]]
    return pd.DataFrame(lines), pd.DataFrame(gone, columns=["athlete", "arm", "reason"])


def _why_not(design, flow, chance, alpha):
    why = []
    if design not in RANDOMISED:
        why.append("chance did not decide who trained")
    allocated, missing = flow["allocated"].sum(), flow["missing"]
    if missing.sum() / allocated > MOST_MISSING:
        why.append(f"{missing.sum()} of {allocated} have no follow-up, more than 20 %")
    elif missing.max() >= 2 and missing.max() >= 2 * missing.min():
        why.append("one group lost at least twice as many as the other")
    if design == "matched_pairs":
        pairs = chance.n_athletes // 2
        if pairs < LEAST_PAIRS:
            why.append(f"{plural(pairs, 'whole pair')}, and six are needed")
    if chance.smallest_p > alpha and not (design == "matched_pairs" and why):
        why.append("the possible allocations are so few that no result could be convincing")
    return why


def _beside(wide, values, allocation, shared, adherent):
    lines = []

    def add(name, result):
        lines.append(
            {
                "analysis": name,
                **{
                    c: getattr(result, c)
                    for c in ("estimate", "standard_error", "df", "p", "ci_low", "ci_high", "n_athletes")
                },
            }
        )

    add("planned: HC2, Bell-McCaffrey", compare_groups(wide, **shared))
    for method, name in (("ols", "ordinary standard error"), ("hc3", "HC3 standard error")):
        add(name, compare_groups(wide, **shared, method=method))
    if shared["covariates"]:
        add("without covariates", compare_groups(wide, **{**shared, "covariates": ()}))
    with suppress(KitError, np.linalg.LinAlgError):
        lines.append({"analysis": "mixed model, one common baseline", **constrained_baseline(values, allocation)})
    if adherent is not None:
        kept = wide[wide["athlete"].isin(set(adherent))]
        if len(kept) < len(wide):
            with suppress(KitError):
                add("as trained (confounded)", compare_groups(kept, **shared))
    return pd.DataFrame(lines)


def constrained_baseline(values, allocation) -> dict:
    """Fit the mixed model in which both groups share one baseline, over all occasions."""
    # value ~ occasion + trained after the start + athlete (random). Groups that chance made share their
    # true baseline, so no difference is fitted there (Liang & Zeger 2000 Sankhya B 62:134, from memory).
    # Athletes with one value only still count.
    work = values[values["phase"].isin(("pre", "post"))].merge(allocation[["athlete", "arm"]].astype(str))
    work = work.assign(
        occasion_name=work["phase"].astype(str) + work["occasion"].astype(str),
        trained_after=((work["phase"] == "post") & (work["arm"] == "trained")).astype(float),
        value=pd.to_numeric(work["value"]),
    )
    fit = fit_mixed(work, "value ~ C(occasion_name) + trained_after", group="athlete")
    line = fit.coefficients().set_index("term").loc["trained_after"]
    return {
        **{c: float(line[c]) for c in ("estimate", "standard_error", "df", "p", "ci_low", "ci_high")},
        "n_athletes": fit.n_athletes,
    }


def _tipping(result, wide, shared, alpha):
    """Shift of the unmeasured follow-ups of trained athletes, against the claim, at which the interval reaches 0."""
    lost = wide["post"].isna() & wide["pre"].notna() & (wide["arm"] == "trained")
    if not lost.any() or result.verdict not in (GAIN, MATTERS):
        return float("nan")
    filled = wide.copy()
    parts = result.main.coefficients.set_index("term")["estimate"]
    guess = parts["intercept"] + parts["baseline"] * wide["pre"] + parts[result.main.trained]
    control = wide["post"].isna() & (wide["arm"] != "trained")
    filled.loc[control, "post"] = guess[control] - parts[result.main.trained]
    covariates = ()

    def still(shift):
        filled.loc[lost, "post"] = guess[lost] - result.wanted * shift
        found = compare_groups(filled, **{**shared, "covariates": covariates})
        return found.p <= alpha and found.estimate * result.wanted > 0

    low, high = 0.0, 1.0
    if not still(0.0):
        return 0.0
    while still(high):
        high *= 2
        if high > 1e4:
            return float("inf")
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if still(middle) else (low, middle)
    return high


def answer_training(
    values: dict,
    allocation,
    *,
    described: dict,
    design="parallel",
    reference_set=None,
    covariates=(),
    alpha=0.05,
    known_errors=None,
    reasons=None,
    adherence=None,
    not_confirmatory=(),
    seed=0,
    **told,
) -> TrainingAnswer:
    """Answer a training study: each outcome with what may be claimed, else a warning; `told`: further fields."""
    adherent = None
    if adherence is not None:
        table = adherence.athletes
        low = (table["arm"] == "trained") & (table["share"] < 0.7)
        crossed = (table["arm"] != "trained") & (table["sessions_done"] > 0)
        adherent = list(table.loc[~low & ~crossed, "athlete"])
    found, warnings = {}, []
    for outcome, table in values.items():
        try:
            one = analyse_outcome(
                table,
                allocation,
                outcome=outcome,
                **described[outcome],
                design=design,
                reference_set=reference_set,
                covariates=covariates,
                alpha=alpha,
                known_error=(known_errors or {}).get(outcome),
                reasons=reasons,
                adherent=adherent,
                seed=seed,
            )
        except KitError as error:
            warnings.append(f"{described[outcome]['label']}: {error}")
            continue
        why = tuple(dict.fromkeys([*not_confirmatory, *one.why_not]))
        found[outcome] = replace(one, why_not=why, confirmatory=not why)
    if design == "delayed_start":
        warnings.append(
            "Only the first period answers the question: afterwards both groups train. Waiting may lower the effort of those who "
            "wait, which makes the difference look larger."
        )
    return TrainingAnswer(
        design=design,
        outcomes=judge(found, alpha=alpha),
        adherence=adherence,
        n_allocated=len(allocation),
        warnings=tuple(warnings),
        **told,
    )
