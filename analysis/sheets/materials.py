"""What to pack, with spares: counted from athletes, rounds and samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import pandas as pd

from ..basics import KitError, check_choice, format_number, format_percent
from .parts import Sheet, SheetColumn, sheets_html
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
        ("First-aid kit, ice, telephone", 1, 0, "emergency number on the safety sheet"),
        ("Defibrillator: where it is, checked today", 1, 0, "in the hall"),
        ("Drinking water", n_athletes, extra(n_athletes), "0.5 to 1 litre each"),
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
    folder = Path(folder).expanduser().resolve()
    above = [folder, *folder.parents]
    inside = study_folder is not None and Path(study_folder).expanduser().resolve() in above
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


DEFER = (
    "Local codes, the ethics committee and licensed practice come before anything printed here. Where they are stricter, "
    "they hold."
)

ANYBODY_STOPS = (
    "Anybody may stop a round at any moment: the athlete, the opponent, the coach, the timekeeper, whoever takes the samples. "
    "A tap or the word “stop” is enough. Nobody has to give a reason, and no round is repeated for the study."
)

STOP_NOW = (
    "Stop and get help at once for pain or pressure in the chest, fainting or nearly fainting, a heartbeat that races or "
    "stumbles without effort, breathlessness that does not settle, a pale or bluish face, confusion, unsteadiness, vomiting or a "
    "knock-down. Call the emergency number, send somebody for the defibrillator, and let nobody go home alone."
)

HEAD = (
    "After a blow to the head, or when somebody seems dazed, slow, sick, forgetful or unsteady: suspect a concussion. Out for "
    "the day, not left alone, seen by a doctor, and no training before somebody qualified gives clearance. If it gets worse, "
    "call the emergency number."
)

NOT_TODAY = (
    "Not today: fever or illness, a blow to the head not yet cleared, a skin infection, an injury, a heart, lung or kidney "
    "complaint without a doctor’s clearance, more than 2\N{NO-BREAK SPACE}% below the usual body mass, or in the middle of "
    "cutting weight. Whoever is in doubt watches today."
)

BLOOD = (
    "Blood is drawn only by people who are trained for it and allowed to by local rules. A new single-use lancet that locks "
    "itself for every puncture, never a shared lancing device; new gloves for every person; wipe off sweat, clean, let it "
    "dry; wipe away the first drop; no hard squeezing; lancet straight into the sharps box."
)

BLOOD_SHORT = (
    "A new lancet and new gloves for every person, never a shared lancing device; sweat off, clean, dry, first drop away; the "
    "lancet goes straight into the sharps box."
)

COVER = (
    "Cover the puncture before gripping again, and check that the cover holds. Whoever bleeds leaves the mat until it has "
    "stopped and is covered; the mat is disinfected before anyone goes on."
)

NEEDLE_STICK = (
    "Pricked by a used lancet: let it bleed, wash with soap and water, write it in the incident log, see a doctor "
    "the same evening."
)

NO_LICENCE = "Where you are not licensed to draw blood, run the study on heart rate and exertion; everything else works."

HEAT = (
    "Heat: write down temperature and humidity, keep water at the mat, open doors. When it is hotter than your federation or "
    "local rules allow, or somebody stops sweating, shivers, is confused or has a headache: stop, cool, call for help."
)

MINORS = (
    "Under 18: written consent of a parent or guardian and the young person’s own yes; no maximal test and no blood sample "
    "unless the ethics committee has approved exactly that; no weight cutting; the club’s child-protection person is there."
)

HARD = (
    "Sparring is hard and people get hurt in it: same rules as every evening, mats checked, nails cut, jewellery off, "
    "first-aider and defibrillator in the hall, and the coach decides who spars whom."
)

RATING = (
    "The rating is for the round just finished, given alone, before coach or partner can hear it, and asked in the same words "
    "every time. Use the scale and its instruction as its owner provides them; only the number is written here."
)

LEAST_SHARE = 0.98
"""Share of the usual mass below which nobody is measured (more than 2 % under it: our proposal)."""


def lowest_masses(masses=(50, 55, 60, 65, 70, 75, 80, 85, 90, 95, 100, 110, 120)) -> str:
    """Write the lowest body mass at which somebody takes part, for usual masses."""
    pairs = [f"{format_number(m, 0, unit='kg')} → {format_number(LEAST_SHARE * m, 1)}" for m in masses]
    return f"Lowest mass for today: usual {'; '.join(pairs)}."
