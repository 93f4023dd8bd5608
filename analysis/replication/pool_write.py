"""`pool_studies`: joined, analysed and written into a new folder, whole or not at all; nobody can be told from it."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import pandas as pd

from ..basics import KitError, rounded
from ..basics.errors import expand_home
from ..study import OUTCOMES
from ..study.crowd import hide_in_crowd
from ..study.fixing import folder_aside
from .pool import JoinedStudies, PooledAnswer, answer_pooled, join_studies

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
        o.name: f"{o.meaning or o.label}{', ' if o.unit else ''}{o.unit}"
        for o in OUTCOMES.values()
        if not o.name.startswith(SHARE)
    },
    "sex": "as the equations use it; blank where with the age only one athlete of a club has it",
    "age_years": "age in bands, years; blank where with the sex only one athlete of a club is in it",
    "capacity": "aerobic capacity, in steps; blank where its equation takes sex or body mass",
    "capacity_unit": "its unit",
}
"""Columns of rows.csv and athletes.csv, and what they hold."""


def pool_studies(
    folders: Sequence[str | Path],
    out: str | Path,
    *,
    describe: Callable[[PooledAnswer], list[str]] | None = None,
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
    parts = [
        "# Several clubs together",
        "Only athletes who agreed that de-identified data are shared.",
        "\n".join(clubs),
    ]
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
