"""Several clubs analysed together: one mixed model with club, club by club beside it, and the folder it is written to."""

from __future__ import annotations

import math
import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from ..basics import FEWEST_PEOPLE, KitError, Result, left_out_table, plural, rounded
from ..basics.errors import expand_home
from ..capacity import fit_capacity, measure_capacity
from ..capacity.adjustment import choose_covariates
from ..cleaning.clean import summarise_rounds
from ..models import fit_mixed
from ..physiology import capacity_step_to_share
from ..recordings import read_gas_exchange
from ..study import OUTCOMES, Study, load_study
from ..study.fixing import folder_aside
from ..study.privacy import by_lot, hide_in_crowd, not_by_subtraction, secret_labels
from .combine import combine_estimates

NOT_STATED = "not stated"
ROW_COLUMNS = ("club", "athlete", "protocol", "round_no", "bout_no", "took_part", "rest_before_s", *OUTCOMES)
ATHLETE_COLUMNS = (
    "club", "athlete", "protocol", "sex", "age_years", "hr_max_bpm", "hr_max_source", "capacity", "capacity_unit",
    "capacity_step",
)  # fmt: skip
PROTOCOL_COLUMNS = ("rounds", "work_s", "rest_s", "exertion_scale")
CLUB_COLUMNS = ("club", "n_athletes", "n_not_shared", "protocol", *PROTOCOL_COLUMNS, "used")


@dataclass(frozen=True)
class JoinedStudies(Result):
    """Several clubs in one table, in memory; what is written out holds less (see `pool_studies`)."""

    rows: pd.DataFrame
    athletes: pd.DataFrame
    clubs: pd.DataFrame
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()


def join_studies(folders: Sequence[str | Path]) -> JoinedStudies:
    """Read several study folders and join those who agreed that de-identified data are shared."""
    folders = [expand_home(f) for f in folders]
    if len(folders) < 2:
        raise KitError(f"Pooling needs at least two study folders; {len(folders)} given.")
    same = [str(f) for f in folders if sum(f.resolve() == g.resolve() for g in folders) > 1]
    if same:
        raise KitError(f"The folder {same[0]} was given more than once; its athletes would count twice.")
    studies, problems = [], []
    for folder in folders:
        if (folder / "datapackage.json").is_file() and not (folder / "study.toml").is_file():
            instead = "Give the study folder that it was made from, the one with study.toml."
            problems.append(f"{folder} is a data package. {instead}")
            continue
        try:
            studies.append(load_study(folder))
        except KitError as error:
            problems.append(f"{folder}: {error}")
    if problems:
        raise KitError("Nothing was pooled, since not every folder can be used.\n" + "\n".join(problems))
    parts = [_one_club(study, f"C{i}") for i, study in enumerate(studies, start=1)]
    _refuse_same_data(parts, folders)
    warnings = [w for part in parts for w in part.warnings]
    names = ("rows", "athletes", "clubs", "left_out")
    joined = {name: pd.concat([getattr(p, name) for p in parts], ignore_index=True) for name in names}
    joined["clubs"]["used"] = _used(joined["clubs"])
    for protocol in dict.fromkeys(joined["clubs"].loc[joined["clubs"]["used"] == "alone", "protocol"]):
        warnings.append(f"A club with {protocol} stands alone: it is not pooled with clubs of another work or rest.")
    return JoinedStudies(**joined, warnings=tuple(warnings))


def _used(clubs: pd.DataFrame) -> list[str]:
    """Say per line whether it is pooled, stands alone with its protocol, or has too few people."""
    enough = clubs["n_athletes"] >= FEWEST_PEOPLE
    partners = clubs[enough].groupby("protocol")["club"].nunique()
    return [
        "too few" if not there else "alone" if NOT_STATED in protocol or partners[protocol] < 2 else "pooled"
        for there, protocol in zip(enough, clubs["protocol"], strict=True)
    ]


def _one_club(study: Study, club: str) -> JoinedStudies:
    shared = list(study.athletes_to_share())
    athletes = study.athletes.assign(capacity=float("nan"))
    not_shared = len(athletes) - len(shared)
    left = []
    if not_shared:
        left.append({"measure": "all", "reason": f"{club}: {plural(not_shared, 'athlete')} did not agree to sharing"})
    of_group = {a.athlete: study.protocol.for_group(a.group) for a in athletes.itertuples(index=False)}
    everybody = {code: protocol_label(protocol) for code, protocol in of_group.items()}
    inside = []
    for label in dict.fromkeys(everybody.values()):
        among = [code for code, own in everybody.items() if own == label]
        inside += by_lot(study, [code for code in among if code in shared], among=among)
    protocols = {code: everybody[code] for code in athletes["athlete"] if code in inside}
    counts = pd.Series(protocols, dtype=object).value_counts()
    protocols = {code: label for code, label in protocols.items() if counts[label] >= FEWEST_PEOPLE}
    if by_chance := len(shared) - len(inside):
        why = f"{plural(by_chance, 'athlete')} left out by lot, so that nobody who did not agree can be told by subtraction"
        left.append({"measure": "all", "reason": f"{club}: {why}"})
    if len(protocols) < len(inside) or not inside:
        why = f"fewer than {FEWEST_PEOPLE} athletes with one protocol who agreed to sharing"
        left.append({"measure": "all", "reason": f"{club}: {why}"})
    people = athletes[athletes["athlete"].isin(list(protocols))]
    labels = secret_labels(study, people["athlete"], prefix=f"{club}_P", purpose="pooling")
    rows = _rows(study, labels, club, protocols)
    table = _people(study, people, club, protocols, labels)
    lines = []
    for label, n in counts.items():
        protocol = next(p for c, p in of_group.items() if everybody[c] == label)
        lines.append([club, int(n), not_shared, label, *(getattr(protocol, c) for c in PROTOCOL_COLUMNS), ""])
    clubs = pd.DataFrame(lines, columns=list(CLUB_COLUMNS))
    return JoinedStudies(rows, table, clubs, left_out_table(left))


def protocol_label(protocol) -> str:
    """Name a protocol by its work and rest, as clubs say it."""

    def clock(seconds: float) -> str:
        return f"{int(seconds) // 60}:{int(seconds) % 60:02d}" if seconds == seconds else NOT_STATED

    return f"{clock(protocol.work_s)} work, {clock(protocol.rest_s)} rest"


def _rows(study: Study, labels: dict, club: str, protocols: dict) -> pd.DataFrame:
    if study.rounds.empty and not len(study.recording_files()):
        return pd.DataFrame(columns=list(ROW_COLUMNS))
    rows = not_by_subtraction(summarise_rounds(study), labels, session=study.plan.primary_session)[0]
    here = (rows["session"] == study.plan.primary_session) & (rows["round_no"] > 0)
    rows = rows[here & rows["athlete"].isin(list(labels))]
    rows = rows[~rows["took_part"].isin(["sat_out", "left"])]
    prefixed = {"club": club, "protocol": rows["athlete"].map(protocols), "athlete": rows["athlete"].map(labels)}
    return rows.assign(**prefixed).reindex(columns=list(ROW_COLUMNS)).reset_index(drop=True)


def _people(study: Study, people: pd.DataFrame, club: str, protocols: dict, labels: dict) -> pd.DataFrame:
    names = {"unit": "capacity_unit"}
    table = people[["athlete", "sex", "age_years", "hr_max_bpm", "hr_max_source"]].copy()
    if len(study.aerobic_tests):
        tests = study.aerobic_tests
        files = [f for f in dict.fromkeys([*tests["file"], *tests["verification_file"]]) if f]
        gas = {name: read_gas_exchange(study.folder / "aerobic_files" / name) for name in files}
        capacity = measure_capacity(
            study.aerobic_tests, study.athletes, sessions=study.sessions, primary_session=study.plan.primary_session,
            unit=study.plan.capacity_unit, attendance=study.attendance, gas_exchange=gas,
        )  # fmt: skip
        known = capacity.dropna(subset=["capacity"])
        step = capacity_step_to_share(set(known["test"]), equations=set(known["equation"]))
        kept = capacity[["athlete", "capacity", "unit"]].rename(columns=names).assign(capacity_step=step)
        table = table.merge(kept, on="athlete", how="left")
    prefixed = {"club": club, "protocol": table["athlete"].map(protocols), "athlete": table["athlete"].map(labels)}
    return table.assign(**prefixed).reindex(columns=list(ATHLETE_COLUMNS)).reset_index(drop=True)


def _refuse_same_data(parts: list[JoinedStudies], folders: list[Path]) -> None:
    """Refuse a copy of a folder under another name."""
    seen: dict = {}
    for part, folder in zip(parts, folders, strict=True):
        values = part.rows[["round_no", *OUTCOMES]].apply(pd.to_numeric, errors="coerce").round(6)
        key = pd.util.hash_pandas_object(values, index=False).sum() if len(values) else None
        if key is not None and values[list(OUTCOMES)].notna().any(axis=None) and key in seen:
            raise KitError(f"{seen[key]} and {folder} hold the same values; the same athletes would count twice.")
        seen[key] = folder


ONE, TWO = "all athletes together", "club by club"
COLUMNS = [
    "protocol", "outcome", "question", "contrast", "stage", "club", "estimate", "standard_error", "ci_low", "ci_high", "df", "p",
    "tau2", "q_cochran", "p_heterogeneity", "adjusted_for", "n_athletes", "n_observations", "n_clubs", "method",
]  # fmt: skip
CAPACITY_UNIT = "mL/kg/min"


@dataclass(frozen=True)
class PooledAnswer(Result):
    """What several clubs show together."""

    # Per protocol, outcome and question ("rounds": change from round to round; "fitness": change per unit of capacity):
    # `stage` "all athletes together" (mixed model with club) or "club by club" (`club` "all" for the combined value, else the
    # club's own), estimate with interval; tau2, Cochran's Q and p of heterogeneity between clubs; what was adjusted for
    table: pd.DataFrame
    clubs: pd.DataFrame  # As in `JoinedStudies`
    n_athletes: int  # Pooled
    n_clubs: int
    left_out: pd.DataFrame
    warnings: tuple[str, ...] = ()

    def joint(self, outcome: str, question: str) -> pd.DataFrame:
        """Return the lines of one question for all clubs: both stages."""
        lines = self.table[(self.table["outcome"] == outcome) & (self.table["question"] == question)]
        return lines[lines["club"] == "all"].reset_index(drop=True)


def answer_pooled(joined: JoinedStudies) -> PooledAnswer:
    """Analyse joined studies, each protocol for itself."""
    # One stage: outcome = round + club + (capacity + covariates) + athlete + residual, REML with Kenward-
    # Roger; since club is in the model, the slope rests on athletes of one club compared with one another.
    # Two stages: each club's own estimate, combined by its standard error (fixed effect for two clubs,
    # random effects from three on). Heterogeneity of the rounds: the interaction of round and club; of the
    # slope: Cochran's Q of the clubs' slopes.
    # Debray and others 2015, Research Synthesis Methods 6:293 (individual participant data, one and two
    # stages).
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
    people = joined.athletes[joined.athletes["club"].isin(pooled["club"])] if len(joined.athletes) else joined.athletes
    return PooledAnswer(
        table=pd.DataFrame(lines, columns=COLUMNS),
        clubs=joined.clubs,
        n_athletes=len(people),
        n_clubs=int(pooled["club"].nunique()),
        left_out=pd.concat([joined.left_out, left_out_table(left)], ignore_index=True),
        warnings=tuple(dict.fromkeys(warnings)),
    )


def _comparable(joined: JoinedStudies, here: pd.DataFrame, protocol: str, outcome: str, left: list):
    """Yield rows and people that can be pooled for one outcome: at least two clubs with enough athletes in two rounds."""
    clubs = list(here["club"])
    if outcome == "exertion" and len(set(here["exertion_scale"])) > 1:
        why = "clubs rated exertion on different scales, which cannot be pooled"
        left.append({"measure": outcome, "reason": f"{protocol}: {why}"})
        return
    rows = joined.rows[(joined.rows["protocol"] == protocol) & joined.rows["club"].isin(clubs)].dropna(subset=[outcome])
    counts = rows.groupby("club")[["athlete", "round_no"]].nunique()
    enough = list(counts.index[(counts["athlete"] >= FEWEST_PEOPLE) & (counts["round_no"] >= 2)])
    if len(enough) < 2:
        if len(rows):
            why = f"fewer than two clubs have {FEWEST_PEOPLE} athletes in two rounds"
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
    between = fit_mixed(rows, f"{outcome} ~ C(round_no) * C(club)", group="athlete").test("C(round_no):C(club)")
    own = {club: fit_mixed(part, f"{outcome} ~ C(round_no)", group="athlete") for club, part in rows.groupby("club")}
    steps = {club: fit.contrasts("round_no").set_index("contrast") for club, fit in own.items()}
    lines = []
    for step in joint.contrasts("round_no").to_dict("records"):
        about = {"question": "rounds", "contrast": step["contrast"]}
        each = {c: table.loc[step["contrast"]] for c, table in steps.items() if step["contrast"] in table.index}
        everyone = _size(joint, len(own)) | {"club": "all"}
        together = {"stage": ONE, "adjusted_for": "club", "p_heterogeneity": between.p, "method": joint.method}
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
    numbers = {k: both[k] for k in ("estimate", "standard_error", "ci_low", "ci_high", "p", "tau2", "q_cochran")}
    return numbers | {
        "df": df,
        "p_heterogeneity": both.p_cochran,
        "method": f"clubs' own estimates combined, {both.model}",
    }


def _fitness(rows: pd.DataFrame, people: pd.DataFrame, outcome: str, left: list, warnings: list) -> list[dict]:
    """Pool the slope on capacity, within clubs."""
    other = people[people["capacity"].notna() & (people["capacity_unit"] != CAPACITY_UNIT)]
    if len(other):
        left.append({"measure": outcome, "reason": f"{len(other)} athletes whose capacity is not in {CAPACITY_UNIT}"})
    tested = people[people["capacity_unit"] == CAPACITY_UNIT].dropna(subset=["capacity"])
    clubs = [c for c, p in tested.groupby("club") if len(p) >= FEWEST_PEOPLE]
    tested = tested[tested["club"].isin(clubs)]
    if len(clubs) < 2:
        if people["capacity"].notna().any():
            raise KitError(f"fewer than two clubs have {FEWEST_PEOPLE} athletes with a capacity in {CAPACITY_UNIT}")
        return []
    data = rows[["athlete", "round_no", outcome]].merge(tested, on="athlete")
    chosen = choose_covariates(outcome, tested.reset_index(drop=True)).covariates
    joint = fit_capacity(data, "capacity", outcome, covariates=("club", *chosen))
    warnings += [f"{OUTCOMES[outcome].label} and fitness: {w.rstrip('.')}" for w in joint.warnings]
    own, adjusted = _own_slopes(data, outcome, chosen, left)
    combined = _combined({c: vars(fit) for c, fit in own.items()})
    about = {"question": "fitness", "contrast": "per unit"}
    everyone = _size(joint, len(clubs)) | {"club": "all"}
    together = {"stage": ONE, "adjusted_for": ", ".join(joint.adjusted_for), "method": joint.method}
    together["p_heterogeneity"] = combined.get("p_heterogeneity", math.nan)
    lines = [about | _numbers(vars(joint)) | everyone | together]
    for club, fit in own.items():
        theirs = {"stage": TWO, "club": club, "adjusted_for": ", ".join(fit.adjusted_for), "method": fit.method}
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


WRITE_UP = "## For the write-up"
SHARE = "percent_"
"""How outcomes begin that, beside the heart rate, give the maximal or resting one back, and so the age: not written."""

CODEBOOK = {
    "club": "C1, C2 ... in the order of the folders; who is which stands nowhere in this folder",
    "athlete": "label drawn for this folder; no other output of a club uses it",
    "protocol": "work and rest; different protocols are never pooled",
    "round_no": "round on the club's clock",
    "bout_no": "rounds that the athlete had sparred, this one included",
    "took_part": "yes or part",
    "rest_before_s": "rest before the round, s",
    **{
        name: ", ".join(filter(None, (o.meaning or o.label, o.unit)))
        for name, o in OUTCOMES.items()
        if not name.startswith(SHARE)
    },
    "sex": "as the equations use it; blank where with the age only one athlete of a club has it",
    "age_years": "age in bands, years; blank where with the sex only one athlete of a club is in it",
    "capacity": "aerobic capacity, in steps; blank where its equation takes sex or body mass",
    "capacity_unit": "its unit",
}
"""Columns of rows.csv and athletes.csv, and what they hold."""


def pool_studies(
    folders: Sequence[str | Path], out: str | Path, *, describe: Callable[[PooledAnswer], list[str]] | None = None
) -> Path:
    """Join de-identified studies of several clubs, analyse them together and write a new folder.

    Parameters
    ----------
    folders : sequence of path
        Two or more study folders.
    out : path
        The folder to write. It must not exist, and is written whole or not at all.
    describe : callable, optional
        Turns the PooledAnswer into paragraphs for README.md.

    Returns
    -------
    path
        `out`, with rows.csv, athletes.csv, clubs.csv, results.csv, left_out.csv, codebook.csv and README.md.

    Raises
    ------
    KitError
        Where `out` exists or lies inside a study, a folder cannot be used, or nobody agreed to sharing.

    Notes
    -----
    The rules are those of the data package of one study. Exact ages, capacities and maximal heart rates enter the analysis
    in memory and are not written, nor are shares of maximal heart rate, which give it back: ages stand in bands, capacities
    in steps, other values and estimates rounded. Dates,
    places, opponents, notes, devices and recordings are not written. A club counts with five athletes or more. Where few
    of a club did not agree, more are left out by lot: what the club tells of everybody, minus these rows, tells about five.

    Examples
    --------
    >>> pool_studies(["one", "two"], ".")
    Traceback (most recent call last):
    ...
    analysis.basics.errors.KitError: . exists already; give the name of a new folder.
    """
    out = expand_home(out)
    if out.exists() or out.is_symlink():
        raise KitError(f"{out} exists already; give the name of a new folder.")
    inside = [f for f in map(Path, folders) if out.resolve().is_relative_to(expand_home(f).resolve())]
    if inside:
        raise KitError(f"{out} lies inside the study {inside[0]}; give a folder elsewhere.")
    joined = join_studies(folders)
    if not len(joined.rows):
        raise KitError("There is nothing to pool: no club has enough athletes who agreed that their data are shared.")
    answer = answer_pooled(joined)
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        aside = folder_aside(out)
    except OSError as error:
        raise KitError(f"Cannot write into {out.parent}: {error.strerror or error}.") from error
    try:
        aside.chmod(0o755)
        _write(aside, joined, answer, describe)
        aside.rename(out)
    except OSError as error:
        raise KitError(f"{out} could not be written ({error.strerror or error}); nothing was left behind.") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return out


def _write(folder: Path, joined: JoinedStudies, answer: PooledAnswer, describe) -> None:
    rows = joined.rows.drop(columns=[name for name in joined.rows if name.startswith(SHARE)])
    tables = {
        "rows": rows.round({"rest_before_s": 0, **{name: o.digits for name, o in OUTCOMES.items()}}),
        "athletes": hide_people(joined.athletes),
        "clubs": joined.clubs,
        "results": rounded(answer.table),
        "left_out": answer.left_out[["measure", "reason"]],
    }
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, encoding="utf-8", lineterminator="\n")
    book = pd.DataFrame(CODEBOOK.items(), columns=["column", "meaning"])
    book.to_csv(folder / "codebook.csv", index=False, encoding="utf-8", lineterminator="\n")
    (folder / "README.md").write_text(_read_me(answer, describe), encoding="utf-8", newline="\n")


def hide_people(athletes: pd.DataFrame) -> pd.DataFrame:
    """Return the athletes as they may be written: nobody of a club alone with age and sex, capacities in steps."""
    step = athletes["capacity_step"].where(athletes["capacity_step"] < float("inf"))
    told = athletes.assign(capacity=(athletes["capacity"] / step).round() * step)
    clubs = [hide_in_crowd(people)[0] for _, people in told.groupby("club", sort=False)]
    table = pd.concat(clubs, ignore_index=True).sort_values(["club", "athlete"], ignore_index=True)
    return table[["club", "athlete", *(c for c in CODEBOOK if c in table and c not in ("club", "athlete"))]]


def _read_me(answer: PooledAnswer, describe) -> str:
    clubs = [f"* {line.club}: {line.n_athletes} athletes, {line.rounds} rounds, {line.protocol} ({line.used})"
             for line in answer.clubs.itertuples(index=False)]  # fmt: skip
    agreed = "Only athletes who agreed that de-identified data are shared."
    parts = ["# Several clubs together", agreed, "\n".join(clubs)]
    plain, *written = describe(answer) if describe else [""]
    parts += [plain] if plain else []
    parts += [WRITE_UP, *written] if written else []
    parts += [f"Note: {w.rstrip('.')}." for w in answer.warnings]
    parts.append(
        "`results.csv` holds every estimate, `rows.csv` and `athletes.csv` the data, `codebook.csv` what the columns mean, "
        "`left_out.csv` what was not pooled and why. The labels of athletes were drawn for this folder. Somebody who was there "
        "may still recognise a person by the rounds that he or she missed. Check that consent and ethics approval name this "
        "sharing."
    )
    return "\n\n".join(parts) + "\n"
