"""What raters mark: the page they use, one state for each second of a round from it, and rows that could not be used."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

from ..basics import KitError, Result, join_words, plural
from ..basics.errors import expand_home
from ..study import Problem
from ..study.fixing import write_whole
from ..study.times import clock_seconds

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


NOT_RATED = "not rated"
STEP_S = 1.0
MOST_SHIFT_S = 120.0
"""A rater's clock may differ from the timekeeper's by this much before the round is not believed to be the same one."""
REMARK_S = 5.0


@dataclass(frozen=True)
class PaceWords(Result):
    """The states that a rater marks, which of them count as active, and the keys."""

    states: tuple[str, ...] = ("active", "standing grip", "ground control", "apart")  # Two to six words
    active: tuple[str, ...] = ("active",)  # Those that count as activity
    keys: tuple[str, ...] = ("a", "s", "d", "f")  # One key per state for the first and for the second athlete
    second_keys: tuple[str, ...] = ("j", "k", "l", "o")


def pace_words(settings: Mapping) -> PaceWords:
    """Read ``[pace]`` of study.toml.

    Parameters
    ----------
    settings : mapping
        study.toml; keys of [pace]: states, active, keys, second_keys.

    Returns
    -------
    PaceWords

    Raises
    ------
    KitError
        Where words or keys do not go together.

    Examples
    --------
    >>> pace_words({"pace": {"states": ["busy", "still"], "active": ["busy"]}}).keys
    ('a', 's')
    """
    given = settings.get("pace", {})
    if not isinstance(given, Mapping):
        raise KitError("study.toml: pace is a section: write [pace] and below it states and active.")
    known = {"states", "active", "keys", "second_keys"}
    if odd := sorted(set(given) - known):
        raise KitError(f"study.toml [pace]: {join_words(odd)} is not read; known are {join_words(sorted(known))}.")
    own = PaceWords()
    lists = {}
    for name in ("states", "active", "keys", "second_keys"):
        value = given.get(name, getattr(own, name))
        if not isinstance(value, list | tuple) or not all(isinstance(v, str) and v.strip() for v in value):
            raise KitError(f'study.toml [pace]: {name} is a list of words, such as {name} = ["{own.states[0]}"].')
        lists[name] = tuple(v.strip() for v in value)
    n = len(lists["states"])
    if not 2 <= n <= 6 or len(set(lists["states"])) < n or NOT_RATED in lists["states"]:
        raise KitError(f'study.toml [pace]: states needs two to six different words, none of them "{NOT_RATED}".')
    for name, default in (("keys", "asdfgh"), ("second_keys", "jkloiu")):
        if name not in given:
            lists[name] = tuple(default[:n])
        if len(lists[name]) < n or any(len(k) != 1 for k in lists[name]):
            raise KitError(f"study.toml [pace]: {name} needs one key for each of the {n} states.")
        lists[name] = tuple(k.lower() for k in lists[name][:n])
    if len({*lists["keys"], *lists["second_keys"]}) < 2 * n:
        raise KitError("study.toml [pace]: a key stands twice in keys and second_keys.")
    if "active" not in given and "states" in given and own.active[0] not in lists["states"]:
        lists["active"] = lists["states"][:1]
    if not set(lists["active"]) <= set(lists["states"]) or not lists["active"]:
        raise KitError("study.toml [pace]: active names which of the states count as activity.")
    return PaceWords(**lists)


def second_by_second(
    pace: pd.DataFrame, windows: pd.DataFrame, *, states: tuple[str, ...]
) -> tuple[pd.DataFrame, list[dict], list[str]]:
    """Give the state of each second of each rated round."""
    # A rater's clock is set right per evening by the median difference between the starts of his or her
    # rounds and the timekeeper's: the page's clock is that of a phone. A second has the state that covers
    # its middle.
    left_out, remarks, found = [], [], []
    place = {(w.session, w.athlete, w.round_no): (w.start_s, w.end_s) for w in windows.itertuples(index=False)}
    spans = _readable(pace, states, place, left_out)
    shifts, lost = _shifts(spans, place)
    for (rater, session), shift in shifts.items():
        if abs(shift) > REMARK_S:
            way = "ahead of" if shift > 0 else "behind"
            remarks.append(
                f"The clock of rater {rater}, evening {session}, was {abs(shift):.0f} s {way} the timekeeper's and was moved."
            )
    for key, group in spans.groupby(["session", "athlete", "round_no", "rater"], sort=True):
        session, athlete, round_no, rater = key
        if key in lost:
            left_out += [{"row": r, "reason": lost[key]} for r in group["row"]]
            continue
        start, end = place[session, athlete, round_no]
        middle = np.arange(start + STEP_S / 2, end, STEP_S)
        state = np.full(len(middle), "", dtype=object)
        shift = shifts[rater, session]
        for span in group.sort_values("start_s").itertuples(index=False):
            inside = (middle >= span.start_s - shift) & (middle < span.end_s - shift)
            state[inside] = "" if span.state == NOT_RATED else span.state
        found.append(
            pd.DataFrame(
                {
                    "session": session, "athlete": athlete, "round_no": round_no, "rater": rater,
                    "second": np.arange(len(middle)), "state": state,
                }
            )
        )  # fmt: skip
    columns = ["session", "athlete", "round_no", "rater", "second", "state"]
    seconds = pd.concat(found, ignore_index=True) if found else pd.DataFrame(columns=columns)
    return seconds, left_out, remarks


def _readable(pace, states, place, left_out) -> pd.DataFrame:
    """Spans with times in seconds, without rows that cannot be placed."""
    lines = []
    rows = pace["row"] if "row" in pace else pd.Series(np.arange(len(pace)) + 2, index=pace.index)
    for row, line in zip(rows, pace.itertuples(index=False), strict=True):
        start, end = clock_seconds(line.start_clock), clock_seconds(line.end_clock)
        end += 86400.0 if end < start - 43200.0 else 0.0
        if line.state not in states and line.state != NOT_RATED:
            reason = f"the state {line.state!r} is none of {join_words(states, last='or')}"
        elif not end >= start:
            reason = "a time is missing, or the end lies before the start"
        elif (line.session, line.athlete, line.round_no) not in place:
            reason = "no such round on the timekeeper's clock"
        else:
            lines.append((line.session, line.rater, line.athlete, line.round_no, line.state, start, end, row))
            continue
        left_out.append({"row": row, "reason": reason})
    columns = ["session", "rater", "athlete", "round_no", "state", "start_s", "end_s", "row"]
    return pd.DataFrame(lines, columns=columns)


def _shifts(spans: pd.DataFrame, place: Mapping):
    """Seconds that each rater's clock is ahead, and rounds that do not lie where the timekeeper has them."""
    began = spans.groupby(["session", "athlete", "round_no", "rater"])["start_s"].min()
    apart: dict[tuple, list[float]] = {}
    for (session, athlete, round_no, rater), start in began.items():
        apart.setdefault((rater, session), []).append(start - place[session, athlete, round_no][0])
    shifts = {key: float(np.median(values)) for key, values in apart.items()}
    lost = {}
    for (session, athlete, round_no, rater), start in began.items():
        here = start - place[session, athlete, round_no][0]
        shift = shifts[rater, session]
        if abs(shift) > MOST_SHIFT_S and len(apart[rater, session]) < 3:
            lost[session, athlete, round_no, rater] = (
                f"rated {abs(shift):.0f} s away from the timekeeper's round: is it the same evening and round?"
            )
        elif abs(here - shift) > MOST_SHIFT_S / 2:
            lost[session, athlete, round_no, rater] = (
                f"begins {abs(here - shift):.0f} s from where this rater's other rounds put it: is the round number right?"
            )
    return shifts, lost


MOST_LISTED = 5
"""So many rows of one kind are listed; further ones are counted."""


def list_pace_problems(study) -> list[Problem]:
    """List the rows of the table `pace` that a study could not use.

    Parameters
    ----------
    study : Study

    Returns
    -------
    list of Problem
        File, row, column, value, problem, remedy: unknown states (one line per word), rounds that nobody has, times that are
        missing or run backwards. Nothing where [pace] itself cannot be read; that is a problem of study.toml.

    Examples
    --------
    >>> from analysis.study import Study
    >>> list_pace_problems(Study(folder=None))
    []
    """
    table = study.pace
    if not len(table):
        return []
    try:
        states = pace_words(study.settings).states
    except KitError:
        return []
    return [*_states(table, states), *_rounds(table, study.rounds), *_times(table)]


def _states(table, states) -> list[Problem]:
    odd = table[~table["state"].isin([*states, NOT_RATED])]
    remedy = f"write {join_words(list(states), last='or')}, or add the word to states in [pace] of study.toml"
    found = []
    for word, rows in odd.groupby("state", sort=False):
        first, more = rows.iloc[0], len(rows) - 1
        what = "the state is blank" if not word else "no state of [pace] in study.toml"
        what += f" ({plural(more, 'further row')} alike)" if more else ""
        found.append(Problem(first["file"], int(first["row"]), "state", word, what, remedy))
    return found


def _rounds(table, rounds) -> list[Problem]:
    """Rounds that were rated and that the table rounds does not have for that athlete."""
    if not len(rounds):
        return []
    keys = ["session", "athlete", "round_no"]
    there = set(rounds[keys].itertuples(index=False, name=None))
    first = table.drop_duplicates([*keys, "rater"])
    found = []
    for line in first.itertuples(index=False):
        if (line.session, line.athlete, line.round_no) not in there:
            what = f"{line.athlete} has no round {line.round_no} of session {line.session} in the table rounds"
            remedy = "correct the round, the athlete or the session, or add the round to the table rounds"
            found.append(Problem(line.file, int(line.row), "round_no", str(line.round_no), what, remedy))
    return _cut(found)


def _times(table) -> list[Problem]:
    found = []
    for line in table.itertuples(index=False):
        start, end = clock_seconds(line.start_clock), clock_seconds(line.end_clock)
        end += 86400.0 if end < start - 43200.0 else 0.0  # past midnight
        if end >= start:
            continue
        column = "start_clock" if math.isnan(start) else "end_clock"
        value = getattr(line, column)
        what = (
            f"the end lies before the start, {line.start_clock}"
            if value and start == start
            else "a time is missing, so this mark has no length"
        )
        remedy = "type the time as 19:30:15, or delete the row: the seconds then count as not rated"
        found.append(Problem(line.file, int(line.row), column, value, what, remedy))
    return _cut(found)


def _cut(found: list[Problem]) -> list[Problem]:
    """The first of many; the last of them counts the rest."""
    if len(found) <= MOST_LISTED:
        return found
    *kept, last = found[:MOST_LISTED]
    more = plural(len(found) - MOST_LISTED, "further row")
    return [*kept, Problem(last.file, last.row, last.column, last.value, f"{last.problem} ({more} alike)", last.remedy)]
