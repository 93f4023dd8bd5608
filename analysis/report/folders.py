"""Where each file of an output belongs: what may be passed on lies apart from what is for the owner of the study."""

from __future__ import annotations

from pathlib import Path, PurePosixPath

TO_SHARE = "to_share"
FOR_YOU = "for_you"

PASSED_ON = frozenset(
    {
        "report.html",
        "report.docx",
        "manuscript.docx",
        "supplement.docx",
        "one_page.pdf",
        "contact_sheet.html",
        "figures",
        "tables",
        "data_package",
    }
)
"""What may leave the club. Whatever is not named here is for the owner of the study alone."""

ABOUT = f"{FOR_YOU}/about.json"
"""The file by which an output of the kit is known."""


class Folders:
    """The two folders of an output.

    Parameters
    ----------
    out : path
        The output.
    may_share : bool
        False in a club so small that nothing may be passed on: then everything is for the owner.

    Examples
    --------
    >>> out = Folders("output")
    >>> out.place("report.html").as_posix(), out.place("results.json").as_posix(), out.place("tables/means.csv").as_posix()
    ('output/to_share/report.html', 'output/for_you/results.json', 'output/to_share/tables/means.csv')
    >>> Folders("output", may_share=False).place("report.html").as_posix()
    'output/for_you/report.html'
    """

    def __init__(self, out: str | Path, *, may_share: bool = True):
        self.out, self.may_share = Path(out), may_share

    def place(self, name: str) -> Path:
        """Return where a file or folder of this name (with forward slashes) belongs."""
        shared = self.may_share and PurePosixPath(name).parts[0] in PASSED_ON
        return self.out / (TO_SHARE if shared else FOR_YOU) / name
