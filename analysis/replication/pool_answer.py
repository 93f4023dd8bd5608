"""Several clubs analysed together: one mixed model of all athletes with club, and club by club combined beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from ..basics import KitError, Result, left_out_table
from ..capacity import choose_covariates, fit_capacity
from ..models import fit_mixed
from ..study import OUTCOMES
from .combine import combine_estimates
from .pool_join import JoinedStudies

ONE, TWO = "all athletes together", "club by club"
COLUMNS = [
    "protocol", "outcome", "question", "contrast", "stage", "club", "estimate", "standard_error", "ci_low", "ci_high", "df", "p",
    "tau2", "q_cochran", "p_heterogeneity", "adjusted_for", "n_athletes", "n_observations", "n_clubs", "method",
]  # fmt: skip
CAPACITY_UNIT = "mL/kg/min"


@dataclass(frozen=True)
class PooledAnswer(Result):
    """What several clubs show together.

    Parameters
    ----------
    table : DataFrame
        Per protocol, outcome and question ("rounds": change from round to round; "fitness": change per unit of
        capacity): `stage` "all athletes together" (mixed model with club) or "club by club" (`club` "all" for the
        combined value, else the club's own), estimate with interval; tau2, Cochran's Q and p of heterogeneity between
        clubs; what was adjusted for.
    clubs : DataFrame
        As in `JoinedStudies`.
    n_athletes, n_clubs : int
        Pooled.
    left_out : DataFrame
    warnings : tuple of str
    """

    table: pd.DataFrame
    clubs: pd.DataFrame
    n_athletes: int
    n_clubs: int
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()

    def joint(self, outcome: str, question: str) -> pd.DataFrame:
        """Return the lines of one question for all clubs: both stages."""
        lines = self.table[(self.table["outcome"] == outcome) & (self.table["question"] == question)]
        return lines[lines["club"] == "all"].reset_index(drop=True)


def answer_pooled(joined: JoinedStudies) -> PooledAnswer:
    """Analyse joined studies, each protocol for itself.

    Parameters
    ----------
    joined : JoinedStudies

    Returns
    -------
    PooledAnswer

    Notes
    -----
    One stage: outcome = round + club + (capacity + covariates) + athlete + residual, REML with Kenward-Roger; since club
    is in the model, the slope rests on athletes of one club compared with one another. Two stages: each club's own
    estimate, combined by its standard error (fixed effect for two clubs, random effects from three on). Heterogeneity
    of the rounds: the interaction of round and club; of the slope: Cochran's Q of the clubs' slopes.

    References
    ----------
    Debray and others 2015, Research Synthesis Methods 6:293 (individual participant data, one and two stages).

    Examples
    --------
    >>> empty = pd.DataFrame(columns=["club", "protocol", "used", "n_athletes", "exertion_scale"])
    >>> answer_pooled(JoinedStudies(pd.DataFrame(), pd.DataFrame(), empty, left_out_table())).n_clubs
    0
    """
    lines, left, warnings = [], [], list(joined.warnings)
    pooled = joined.clubs[joined.clubs["used"] == "pooled"]
    for protocol in dict.fromkeys(pooled["protocol"]):
        here = pooled[pooled["protocol"] == protocol]
        for outcome in OUTCOMES:
            for rows, people in _comparable(joined, here, protocol, outcome, left):
                for question in (_rounds, _fitness):
                    try:
                        found = question(rows, people, outcome, left, warnings)
                        lines += [{"protocol": protocol, "outcome": outcome} | line for line in found]
                    except KitError as error:
                        left.append({"measure": outcome, "reason": f"{protocol}: {error}"})
    people = (
        joined.athletes[joined.athletes["club"].isin(pooled["club"])]
        if len(joined.athletes)
        else joined.athletes
    )
    return PooledAnswer(
        table=pd.DataFrame(lines, columns=COLUMNS),
        clubs=joined.clubs,
        n_athletes=len(people),
        n_clubs=int(pooled["club"].nunique()),
        left_out=pd.concat([joined.left_out, left_out_table(left)], ignore_index=True),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _comparable(joined: JoinedStudies, here: pd.DataFrame, protocol: str, outcome: str, left: list):
    """Yield rows and people that can be pooled for one outcome: at least two clubs with three athletes in two rounds."""
    clubs = list(here["club"])
    if outcome == "exertion" and len(set(here["exertion_scale"])) > 1:
        why = "clubs rated exertion on different scales, which cannot be pooled"
        left.append({"measure": outcome, "reason": f"{protocol}: {why}"})
        return
    rows = joined.rows[(joined.rows["protocol"] == protocol) & joined.rows["club"].isin(clubs)].dropna(
        subset=[outcome]
    )
    enough = [
        c for c, r in rows.groupby("club") if r["athlete"].nunique() >= 3 and r["round_no"].nunique() >= 2
    ]
    if len(enough) < 2:
        if len(rows):
            why = "fewer than two clubs have three athletes in two rounds"
            left.append({"measure": outcome, "reason": f"{protocol}: {why}"})
        return
    rows = rows[rows["club"].isin(enough)].reset_index(drop=True)
    yield rows, joined.athletes[joined.athletes["athlete"].isin(rows["athlete"])]


def _rounds(rows: pd.DataFrame, people, outcome: str, left: list, warnings: list) -> list[dict]:
    """Pool the change from round to round, over the rounds that every club sparred."""
    common = set.intersection(*(set(r["round_no"]) for _, r in rows.groupby("club")))
    more = rows[~rows["round_no"].isin(common)]
    if len(more):
        left.append({"measure": outcome, "reason": f"{len(more)} rows of rounds that not every club sparred"})
    rows = rows[rows["round_no"].isin(common)].reset_index(drop=True)
    if len(common) < 2:
        raise KitError("the clubs have fewer than two rounds in common")
    joint = fit_mixed(rows, f"{outcome} ~ C(round_no) + C(club)", group="athlete")
    between = fit_mixed(rows, f"{outcome} ~ C(round_no) * C(club)", group="athlete").test(
        "C(round_no):C(club)"
    )
    own = {
        club: fit_mixed(part, f"{outcome} ~ C(round_no)", group="athlete")
        for club, part in rows.groupby("club")
    }
    steps = {club: fit.contrasts("round_no").set_index("contrast") for club, fit in own.items()}
    lines = []
    for step in joint.contrasts("round_no").to_dict("records"):
        about = {"question": "rounds", "contrast": step["contrast"]}
        each = {
            c: table.loc[step["contrast"]] for c, table in steps.items() if step["contrast"] in table.index
        }
        everyone = _size(joint, len(own)) | {"club": "all"}
        together = {
            "stage": ONE,
            "adjusted_for": "club",
            "p_heterogeneity": between.p,
            "method": joint.method,
        }
        lines.append(about | _numbers(step) | everyone | together)
        for club, line in each.items():
            theirs = {"stage": TWO, "club": club, "method": own[club].method}
            lines.append(about | _numbers(line) | _size(own[club], 1) | theirs)
        lines.append(about | everyone | {"stage": TWO} | _combined(each))
    return lines


def _numbers(line) -> dict:
    return {k: float(line[k]) for k in ("estimate", "standard_error", "ci_low", "ci_high", "df", "p")}


def _size(fit, n_clubs: int) -> dict:
    return {"n_athletes": fit.n_athletes, "n_observations": fit.n_observations, "n_clubs": n_clubs}


def _combined(each: dict) -> dict:
    """Combine the clubs' estimates; empty where fewer than two have a standard error."""
    usable = {c: line for c, line in each.items() if line["standard_error"] > 0}
    if len(usable) < 2:
        return {}
    errors = [v["standard_error"] for v in usable.values()]
    both = combine_estimates([v["estimate"] for v in usable.values()], errors)
    df = math.nan if both.model == "fixed effect" else float(len(usable) - 1)
    numbers = {
        k: both[k] for k in ("estimate", "standard_error", "ci_low", "ci_high", "p", "tau2", "q_cochran")
    }
    return numbers | {
        "df": df,
        "p_heterogeneity": both.p_cochran,
        "method": f"clubs' own estimates combined, {both.model}",
    }


def _fitness(
    rows: pd.DataFrame, people: pd.DataFrame, outcome: str, left: list, warnings: list
) -> list[dict]:
    """Pool the slope on capacity, within clubs."""
    other = people[people["capacity"].notna() & (people["capacity_unit"] != CAPACITY_UNIT)]
    if len(other):
        left.append(
            {"measure": outcome, "reason": f"{len(other)} athletes whose capacity is not in {CAPACITY_UNIT}"}
        )
    tested = people[people["capacity_unit"] == CAPACITY_UNIT].dropna(subset=["capacity"])
    clubs = [c for c, p in tested.groupby("club") if len(p) >= 3]
    tested = tested[tested["club"].isin(clubs)]
    if len(clubs) < 2:
        if people["capacity"].notna().any():
            raise KitError(f"fewer than two clubs have three athletes with a capacity in {CAPACITY_UNIT}")
        return []
    data = rows[["athlete", "round_no", outcome]].merge(tested, on="athlete")
    chosen = choose_covariates(outcome, tested.reset_index(drop=True)).covariates
    joint = fit_capacity(data, "capacity", outcome, covariates=("club", *chosen))
    warnings += [f"{OUTCOMES[outcome].label} and fitness: {w.rstrip('.')}" for w in joint.warnings]
    own, adjusted = _own_slopes(data, outcome, chosen, left)
    combined = _combined({c: vars(fit) for c, fit in own.items()})
    about = {"question": "fitness", "contrast": "per unit"}
    everyone = _size(joint, len(clubs)) | {"club": "all"}
    differ = combined.get("p_heterogeneity", math.nan)
    together = {
        "stage": ONE,
        "adjusted_for": ", ".join(joint.adjusted_for),
        "p_heterogeneity": differ,
        "method": joint.method,
    }
    lines = [about | _numbers(vars(joint)) | everyone | together]
    for club, fit in own.items():
        theirs = {
            "stage": TWO,
            "club": club,
            "adjusted_for": ", ".join(fit.adjusted_for),
            "method": fit.method,
        }
        lines.append(about | _numbers(vars(fit)) | _size(fit, 1) | theirs)
    each = {"stage": TWO, "adjusted_for": ", ".join(adjusted), "n_clubs": len(own)}
    lines.append(about | everyone | each | combined)
    return lines


def _own_slopes(data: pd.DataFrame, outcome: str, covariates, left: list):
    """Fit each club's slope, all with the same covariates: as many of them as every club can bear."""
    for count in range(len(covariates), -1, -1):
        fits, failed = {}, {}
        for club, part in data.groupby("club"):
            try:
                fits[club] = fit_capacity(part, "capacity", outcome, covariates=covariates[:count])
            except KitError as error:
                failed[club] = str(error)
        if not failed:
            break
    left += [{"measure": outcome, "reason": f"{c}: no slope of its own ({why})"} for c, why in failed.items()]
    return fits, covariates[:count]
