"""From a study to its sheets, and from sheets to files."""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from ..basics import KitError, NotYet, Result, check_choice, join_words
from ..planning import Pairing, Timetable, make_timetable, pair_athletes
from ..planning.timetable import sampling_of
from ..study import Study
from ..study.consent import approval_of, blood_is_drawn, minors_among
from ..study.inventory import WORKBOOK
from ..study.new_folder import known_rows, make_codes
from ..study.new_folder import sheet_columns as workbook_columns
from ..study.workbook import fill_workbook
from .content import build_sheets
from .html import sheets_html
from .parts import PAPERS, Sheet
from .pdf import sheets_pdf, texts_pdf

KINDS = ("html", "pdf")
TABLES = ("clock", "athletes", "attendance", "rounds")


def study_athletes(study: Study) -> list[str]:
    """Return the codes of those who may take part, or codes made up for a number of athletes where none are listed yet."""
    # before the evening nobody may have signed yet: the codes that are listed count then
    codes = list(study.athletes["athlete"]) or ([] if len(study.rounds) else sorted(study.known_codes))
    if codes:
        return codes
    n = study.plan.n_athletes
    return make_codes(n) if n else []


def study_sheets(
    study: Study,
    *,
    session: str | None = None,
    pairing: Pairing | None = None,
    timetable: Timetable | None = None,
    sampled: Sequence[str] | None = None,
) -> list[Sheet] | NotYet:
    """Build the sheets of an evening of a study."""
    codes = study_athletes(study)
    if not study.protocol.rounds:
        return NotYet("printing the sheets", "rounds, work and rest in the part [protocol] of study.toml")
    if not codes:
        return NotYet("printing the sheets", "codes in athletes.csv, or n_athletes in the part [plan] of study.toml")
    if sampled is None and not blood_is_drawn(study):
        sampled = ()
    if timetable is None:
        timetable = make_timetable(
            study.protocol,
            athletes=pairing or codes,
            sampling=sampling_of(study.settings.get("sampling")),
            unsampled=never_sampled(study) if sampled is None else [c for c in codes if c not in sampled],
        )
    return build_sheets(
        study.protocol,
        codes,
        session=session or study.plan.primary_session,
        pairing=pairing,
        timetable=timetable,
        sampled=sampled,
        columns={table: workbook_columns(table) for table in TABLES},
        minors=minors_among(study.athletes),
        minors_blood=approval_of(study.settings).minors_blood,
        known=study.athletes,
    )


def never_sampled(study: Study) -> tuple[str, ...]:
    """Return the codes of those who give no blood: under 18, unless study.toml states the approval."""
    return () if approval_of(study.settings).minors_blood else minors_among(study.athletes)


def write_sheets(
    sheets: Sequence[Sheet],
    folder: str | Path,
    *,
    paper: str = "A4",
    kinds: Sequence[str] = KINDS,
    title: str = "Sheets for the evening",
    name: str = "sheets",
) -> list[Path]:
    """Write sheets as a page to print from a browser and as a PDF.

    Parameters
    ----------
    sheets : sequence of Sheet
    folder : path
        Made where it does not exist.
    paper : {"A4", "Letter"}
        Default "A4".
    kinds : sequence of {"html", "pdf"}
        Default both.
    title : str
    name : str
        What the files are called. Default "sheets".

    Returns
    -------
    list of path

    Examples
    --------
    >>> import tempfile
    >>> [p.name for p in write_sheets([Sheet("a", "A")], tempfile.mkdtemp())]
    ['sheets_A4.html', 'sheets_A4.pdf']
    """
    check_choice(paper, PAPERS, name="paper")
    if isinstance(sheets, NotYet) or not sheets:
        raise KitError(str(sheets) if isinstance(sheets, NotYet) else "There are no sheets to write.")
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for kind in kinds:
        path = folder / f"{name}_{paper}.{check_choice(kind, KINDS, name='kinds')}"
        if kind == "html":
            path.write_text(sheets_html(sheets, paper=paper, title=title), encoding="utf-8")
        else:
            sheets_pdf(sheets, path, paper=paper, title=title)
        written.append(path)
    return written


def write_texts(study: Study, folder: str | Path, *, paper: str = "A4") -> list[Path]:
    """Print what stands in the study's texts/: one PDF for each text; "not filled in" across the page while brackets are left.

    Parameters
    ----------
    study : Study
    folder : path
        Made where it does not exist.
    paper : {"A4", "Letter"}
        Default "A4".

    Returns
    -------
    list of path
        Empty where there are no texts. Pages that the write-up fills in (the athlete page) are left to it.

    Examples
    --------
    >>> write_texts(Study(folder=Path("no such folder")), "nowhere")
    []
    """
    check_choice(paper, PAPERS, name="paper")
    texts = [p for p in sorted(Path(study.folder, "texts").glob("*.md")) if p.name != "athlete_page.md"]
    written = []
    for path in texts:
        try:
            text = path.read_text(encoding="utf-8-sig")
        except (OSError, UnicodeDecodeError):
            raise KitError(f"texts/{path.name} cannot be read: save it as a text file in UTF-8.") from None
        Path(folder).mkdir(parents=True, exist_ok=True)
        written.append(texts_pdf(text, Path(folder) / f"{path.stem}_{paper}.pdf", paper=paper))
    return written


def preview_sheets(sheets: Sequence[Sheet] | NotYet, *, keys: Sequence[str] = ()):
    """Show sheets in a notebook as they will be printed.

    Parameters
    ----------
    sheets : sequence of Sheet or NotYet
    keys : sequence of str
        Which; default all.

    Returns
    -------
    IPython.display.HTML or NotYet

    Examples
    --------
    >>> "srcdoc" in preview_sheets([Sheet("a", "A")]).data
    True
    """
    from IPython.display import HTML

    if isinstance(sheets, NotYet):
        return sheets
    picked = [s for s in sheets if not keys or s.key in keys]
    if not picked:
        raise KitError(f"There is no sheet {', '.join(keys)}; there are {', '.join(s.key for s in sheets)}.")
    title = html.escape(", ".join(s.title for s in picked), quote=True)
    page = html.escape(sheets_html(picked), quote=True)
    style = "width:100%;height:420px;border:1px solid #8a8a8a"
    return HTML(f'<div><iframe sandbox="" title="{title}" srcdoc="{page}" style="{style}"></iframe></div>')


@dataclass(frozen=True)
class Evening(Result):
    """An evening that is planned."""

    codes: tuple[str, ...]
    pairing: Pairing
    timetable: Timetable
    sheets: tuple[Sheet, ...]
    sampled: tuple[str, ...] = ()  # who gives blood


def fill_tables(evening: Evening | NotYet, study: Study) -> str:
    """Write codes, rounds, planned opponents and the order of sampling into the study's workbook, where nothing is typed yet.

    Parameters
    ----------
    evening : Evening or NotYet
    study : Study

    Returns
    -------
    str
        What was filled in, and what was left alone since something stands there.

    Examples
    --------
    >>> fill_tables(NotYet("planning an evening", "codes"), Study(folder=Path(".")))
    'Nothing was filled in: there is no evening yet.'
    """
    path = study.folder / WORKBOOK
    if not evening:
        return "Nothing was filled in: there is no evening yet."
    if not path.is_file():
        return f"Nothing was filled in: the study has no {WORKBOOK}."
    rounds, session = study.protocol.rounds, study.plan.primary_session
    slots = evening.timetable.slots.sort_values("sample_s", kind="stable")
    order = {}
    for k in range(1, rounds + 1):
        first = [c for c in slots.loc[slots["round_no"] == k, "athlete"] if c in evening.codes]
        order[k] = [*first, *(c for c in evening.codes if c not in first)]
    opponents = {(r.athlete, int(r.round_no)): r.opponent for r in evening.pairing.opponents.itertuples()}
    known = known_rows(evening.codes, rounds, session=session, opponents=opponents, order=order)
    filled, left = fill_workbook(path, known)
    done = f"Filled in: {join_words(filled)}." if filled else "Nothing was filled in."
    return done + (f" Left alone, since something is typed there: {join_words(left)}." if left else "")


def plan_evening(
    study: Study,
    *,
    session: str | None = None,
    start: str = "common",
    start_clock: str = "",
    guests: int = 0,
    avoid: Iterable[tuple[str, str]] = (),
    unavailable: Mapping | None = None,
    mass_limit_kg: float | None = None,
    sampled: Iterable[str] | None = None,
    seed: int = 0,
) -> Evening | NotYet:
    """Plan an evening of a study: pairs, timetable and sheets.

    Parameters
    ----------
    study : Study
        Its athletes (or the planned number, with codes made up), protocol and [sampling].
    session : str, optional
        Default: the primary session of the plan.
    start : {"common", "staggered"}
        Default "common". With staggered starts everyone keeps one opponent all evening, since the rests would differ else.
    start_clock : str
        Such as "19:00"; "" leaves the times blank.
    guests, avoid, unavailable, mass_limit_kg, seed
        As in `pair_athletes`.
    sampled : iterable of str, optional
        Who gives blood; () for nobody. Default: those whose samples lie inside the window, nobody under 18 unless study.toml
        states the approval.

    Returns
    -------
    Evening, or NotYet where the study lacks a protocol or athletes

    Examples
    --------
    >>> from pathlib import Path
    >>> bool(plan_evening(Study(folder=Path("."))))
    False
    """
    codes = study_athletes(study)
    if study.protocol.rounds < 1:
        return NotYet("planning an evening", "rounds, work and rest in the part [protocol] of study.toml")
    if len(codes) < 2:
        two = "at least two codes in athletes.csv, or n_athletes in the part [plan] of study.toml"
        return NotYet("planning an evening", two)
    athletes = study.athletes if len(study.athletes) else codes
    rules = {"guests": guests, "avoid": avoid, "unavailable": unavailable, "mass_limit_kg": mass_limit_kg, "seed": seed}
    kept = pair_athletes(athletes, study.protocol.rounds, keep=True, **rules)
    pairing = kept if start == "staggered" else pair_athletes(athletes, study.protocol.rounds, **rules)
    if sampled is not None or not blood_is_drawn(study):
        sampled = () if sampled is None else tuple(sampled)
    timetable = make_timetable(
        study.protocol,
        athletes=pairing,
        sampling=sampling_of(study.settings.get("sampling")),
        start=start,
        start_clock=start_clock,
        unsampled=never_sampled(study) if sampled is None else [c for c in codes if c not in sampled],
        kept=kept,
    )
    if sampled is None:
        inside = timetable.slots.groupby("athlete")["in_window"].all()
        sampled = tuple(c for c in codes if bool(inside.get(c, False)))
    sheets = study_sheets(study, session=session, pairing=pairing, timetable=timetable, sampled=sampled)
    return Evening(tuple(codes), pairing, timetable, tuple(sheets), sampled)
