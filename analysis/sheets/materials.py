"""What to pack, counted with spares, and the list that ties codes to people, which stays out of every study folder."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from ..basics import KitError, check_choice, format_percent
from ..basics.errors import expand_home
from .html import sheets_html
from .parts import Sheet, SheetColumn
from .pdf import sheets_pdf


def list_materials(
    n_athletes: int,
    rounds: int,
    *,
    n_sampled: int = 0,
    n_mats: int = 1,
    analysers: int = 1,
    spare: float = 0.25,
) -> pd.DataFrame:
    """List what the evening needs.

    Parameters
    ----------
    n_athletes : int
        Athletes with a strap.
    rounds : int
    n_sampled : int
        Athletes who give blood after every round (0: none, and nothing for blood is listed).
    n_mats : int
    analysers : int
    spare : float
        Share of everything used up that is packed on top. Default 0.25.

    Returns
    -------
    DataFrame
        item, needed, spare (whole pieces), why.

    Notes
    -----
    Spares and duplicates (one sample in ten read twice) are our proposal.

    Examples
    --------
    >>> list_materials(12, 4).loc[0, ["needed", "spare"]].tolist()
    [12, 3]
    """

    def extra(count, least=1):
        return max(least, math.ceil(spare * count))

    rows = [
        ("Chest strap or watch, numbered, charged", n_athletes, extra(n_athletes, 2), "one each"),
        ("Batteries for straps", extra(n_athletes, 2), 2, "some are always flat"),
        ("Stopwatch or wall clock that all can see", 1, 1, "one clock for everything"),
        ("Phone or laptop set to the same clock", 1, 0, "note the difference to each device"),
        ("Scales", 1, 0, "roll call"),
        ("Thermometer and hygrometer", 1, 0, "conditions of the evening"),
        ("Water and paper towels for the straps", 1, 1, "wet straps lose contact less"),
        ("Pens, clipboards", n_mats + 3, 2, "one for each sheet holder"),
        ("First-aid kit, ice, telephone that has a signal", 1, 0, "emergency number on the safety sheet"),
        ("Defibrillator: where it is, checked today", 1, 0, "in the hall"),
        (
            "Cold water and towels, a fan, a blanket",
            1,
            0,
            "cool first, then transport; keep warm after a faint",
        ),
        ("Inhalers of those with asthma, with their codes", 1, 0, "at the edge of the mat"),
        (
            "Drinking water, bottles with codes",
            n_athletes,
            extra(n_athletes),
            "0.5 to 1 litre each; what is drunk is written down",
        ),
        ("Mat disinfectant and cloths", 1, 1, "before, and after any bleeding"),
    ]
    if n_sampled:
        samples = n_sampled * rounds
        twice = math.ceil(samples / 10)
        rows += [
            ("Lactate strips, one lot", samples + twice, extra(samples + twice, 5),
             f"{n_sampled} × {rounds}, and {format_percent(0.1)} read twice"),
            ("Single-use lancets that lock themselves", samples, extra(samples, 5), "a new one for every puncture"),
            ("Pairs of gloves", samples, extra(samples, 5), "new for every person"),
            ("Hand disinfectant", 1, 1, "before and after every person"),
            ("Waste bag for blood, with a label", 1, 1, "gloves, swabs, strips"),
            ("Bottle to rinse eyes and mouth", 1, 0, "after a splash"),
            ("Alcohol wipes", 2 * samples, extra(2 * samples, 10), "skin and sweat"),
            ("Dry swabs", 2 * samples, extra(2 * samples, 10), "first drop, pressure"),
            ("Plasters or tape that hold in a grip", samples, extra(samples, 10), "before gripping again"),
            ("Sharps box", 1, 1, "within reach of the sampler"),
            ("Control solution for the analyser", analysers, 0, "before the first sample"),
            ("Lactate analyser", analysers, 0, "the same one all study"),
        ]  # fmt: skip
    return pd.DataFrame(rows, columns=["item", "needed", "spare", "why"])


KEEP_APART = (
    "This list is the only place where a code meets a name. Print it, fill it in by hand, lock it away apart from the study, "
    "and destroy it on the day written above. No photo, no copy, no upload.",
    "Only the person named above sees it. Coaches do not need it.",
)


def write_code_list(
    codes: Sequence[str],
    folder: str | Path,
    *,
    study_folder: str | Path | None = None,
    paper: str = "A4",
    kind: str = "pdf",
) -> Path:
    """Write the empty list of codes, to be filled in by hand.

    Parameters
    ----------
    codes : sequence of str
        The codes; the kit never sees a name.
    folder : path
        Where to write: outside every study folder and every git work tree.
    study_folder : path, optional
        The study, to make sure that the list does not end up in it.
    paper : {"A4", "Letter"}
    kind : {"pdf", "html"}

    Returns
    -------
    path

    Raises
    ------
    KitError
        Where the folder is, or lies in, a study folder (it holds study.toml) or a git work tree.

    Examples
    --------
    >>> import tempfile
    >>> write_code_list(["A01", "A02"], tempfile.mkdtemp()).name
    'code_list.pdf'
    """
    check_choice(kind, ("pdf", "html"), name="kind")
    folder = expand_home(folder).resolve()
    above = [folder, *folder.parents]
    inside = study_folder is not None and expand_home(study_folder).resolve() in above
    if inside or any((place / "study.toml").exists() for place in above):
        raise KitError(
            f"{folder} belongs to a study folder. Keep the list of codes elsewhere, such as on paper in a locked drawer: "
            "whoever has both knows whose heart rates these are."
        )
    if any((place / ".git").exists() for place in above):
        raise KitError(
            f"{folder} lies in a git work tree, which remembers everything: keep the list of codes elsewhere."
        )
    if not folder.is_dir():
        raise KitError(f"There is no folder {folder}.")
    path = folder / f"code_list.{kind}"
    if path.exists():
        raise KitError(f"{path} exists already and may be filled in: it is not overwritten.")
    sheet = code_sheet(codes)
    if kind == "pdf":
        return sheets_pdf([sheet], path, paper=paper, title=sheet.title)
    path.write_text(sheets_html([sheet], paper=paper, title=sheet.title), encoding="utf-8")
    return path


def code_sheet(codes: Sequence[str]) -> Sheet:
    """Build the empty list of codes as a sheet."""
    columns = (
        SheetColumn("", "Code", "", 0.6), SheetColumn("", "Name", "by hand only", 2.6),
        SheetColumn("", "How to reach", "for results", 2.0), SheetColumn("", "Consent form", "date, place kept", 1.4),
    )  # fmt: skip
    rows = tuple((str(code), "", "", "") for code in codes)
    return Sheet("code_list", "Code list", "kept apart from the study", ("Kept by", "Kept at", "Destroyed on", "Destroyed by"),
                 KEEP_APART, columns, rows)  # fmt: skip
