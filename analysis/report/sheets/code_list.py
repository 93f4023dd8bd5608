"""The list that ties codes to people: printed empty, filled in by hand, and never written into a study folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ...basics import KitError, check_choice
from .html import sheets_html
from .parts import Sheet, SheetColumn
from .pdf import sheets_pdf

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
