"""The page on which a rater marks what two athletes do: one file that needs no network, knows codes and round lengths only."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from ..basics import KitError
from ..basics.errors import expand_home
from ..study.fixing import write_whole
from .marks import PaceWords, pace_words

TEMPLATE = Path(__file__).with_name("page.html")
PAGE_FILE = "pace_page.html"
TITLE = b"<title>What they do in a round</title>"
"""By which such a page is known."""


def pace_page(
    *,
    athletes: Sequence[str],
    work_s: Mapping[int, float],
    sessions: Sequence[str] = ("1",),
    words: PaceWords | None = None,
) -> str:
    """Return the page as text."""
    words = words or PaceWords()
    if not athletes:
        raise KitError("The page needs codes to choose from: fill the athletes table first.")
    setup = {
        "athletes": list(athletes),
        "sessions": list(sessions) or ["1"],
        "work_s": {str(k): float(s) for k, s in work_s.items()},
        "states": list(words.states),
        "keys": [list(words.keys), list(words.second_keys)],
    }
    text = json.dumps(setup, ensure_ascii=False)
    for sign in "<>&\u2028\u2029":  # so that no code or word can end the element that holds them
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return TEMPLATE.read_text(encoding="utf-8").replace("{{SETUP}}", text)


def write_pace_page(study, path: str | Path | None = None, *, athletes: Sequence[str] | None = None) -> Path:
    """Write the page of a study.

    Parameters
    ----------
    study : Study
        Its codes, evenings, rounds and ``[pace]`` words.
    path : path, optional
        Default: pace_page.html in the study folder. It is written anew; nothing else there is touched.
    athletes : sequence of str, optional
        Codes; default those of the athletes table.

    Returns
    -------
    Path

    Examples
    --------
    >>> from pathlib import Path
    >>> from analysis.study import Study
    >>> write_pace_page(Study(folder=Path("nowhere")))
    Traceback (most recent call last):
        ...
    analysis.basics.errors.KitError: The page needs rounds and their length: write [protocol] in study.toml first.
    """
    protocol = study.protocol
    if not protocol.rounds:
        raise KitError("The page needs rounds and their length: write [protocol] in study.toml first.")
    work = {k: protocol.work_s for k in range(1, protocol.most_rounds + 1)}
    text = pace_page(
        athletes=tuple(athletes or study.athletes["athlete"]),
        work_s=work,
        sessions=tuple(study.sessions["session"]) or ("1",),
        words=pace_words(study.settings),
    )
    out = expand_home(path) if path else Path(study.folder) / PAGE_FILE
    try:
        if out.exists() and not (out.is_file() and TITLE in out.read_bytes()[:2000]):
            raise KitError(f"{out} is there already and is no page for raters: give --out another name.")
        write_whole(out, text.encode())
    except OSError as error:
        raise KitError(f"The page could not be written to {out.name}: {error.strerror or error}.") from error
    return out
