"""study.toml: read with faults named by line in our own words, and the protocol of the evening in it."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from ..basics import Result, did_you_mean, join_words
from ..environment import python_name
from .problems import Findings, asked, shorten
from .text_files import CANNOT_BE_PRINTED, TYPE_ANEW, UNPRINTABLE, Slip, Unreadable, decode_text, read_bytes
from .times import read_duration

CLOTHING = ("jacket", "no jacket")
"""What is worn: a jacket gives grips, and warmth."""

SCALES = ("6-20", "0-10", "0-100")
"""The exertion scales: numbers only; their words belong to the holders of the rights."""


@dataclass(frozen=True)
class Protocol(Result):
    """Rounds, work and rest of the evening.

    Parameters
    ----------
    rounds : int
        Number of rounds; 0 in a survey of sessions, which has none.
    work_s, rest_s : float
        Length of a round and of the rest after it, in seconds.
    exertion_scale : str
        "6-20", "0-10" or "0-100".
    groups : dict
        Group -> Protocol, where a group differs.
    clothing : str
        "jacket", "no jacket", or "" where study.toml does not say.

    Examples
    --------
    >>> Protocol(4, 300.0, 120.0).for_group("novice").rounds
    4
    """

    rounds: int = 0
    work_s: float = float("nan")
    rest_s: float = float("nan")
    exertion_scale: str = "6-20"
    groups: dict[str, Protocol] = field(default_factory=dict)
    clothing: str = ""

    def for_group(self, group: str) -> Protocol:
        """Return the protocol of a group: its own, or the common one."""
        return self.groups.get(group, self)

    @property
    def most_rounds(self) -> int:
        """The largest number of rounds of any group."""
        return max([self.rounds, *(p.rounds for p in self.groups.values())])


def grades_of(settings: Mapping) -> tuple[str, ...]:
    """Return the grades of the sport in order, the lowest first; none where study.toml does not list them."""
    given = settings.get("grades")
    return tuple(g.strip() for g in given if isinstance(g, str)) if isinstance(given, list) else ()


def rank_grades(athletes: pd.DataFrame, grades: tuple[str, ...]) -> tuple[pd.DataFrame, list[tuple]]:
    """Fill the rank of each grade, 1 the lowest; return the table, and what does not fit: (index, column, problem, remedy)."""
    ranks = {grade.casefold(): rank for rank, grade in enumerate(grades, start=1)}
    typed = athletes["grade"].str.strip().str.casefold()
    wrong = []
    if typed.ne("").any() and not grades:
        remedy = 'write grades = ["the lowest", "the next"] at the top of study.toml, in the words of the sheet'
        wrong.append((None, "grades", "study.toml does not list the grades in order, so they are not ranked", remedy))
    for index in typed.index[typed.ne("") & ~typed.isin(ranks) & bool(grades)]:
        near = did_you_mean(athletes.loc[index, "grade"], grades)
        remedy = f"write {near or join_words(list(grades), 'or')}, or add it to grades in study.toml"
        wrong.append((index, "grade", f"not a grade that study.toml lists{asked(near)}", remedy))
    found = typed.map(ranks)
    for index in athletes.index[found.notna() & athletes["grade_rank"].notna() & found.ne(athletes["grade_rank"])]:
        problem = f"grade and grade_rank disagree: {athletes.loc[index, 'grade']} has rank {found[index]:g}"
        wrong.append((index, "grade_rank", problem, "leave grade_rank blank; it follows from grade"))
    return athletes.assign(grade_rank=found.astype("float64").fillna(athletes["grade_rank"].astype("float64"))), wrong


def protocol_values(protocol: Protocol) -> dict:
    """Return a protocol as plain values."""
    return {
        "rounds": protocol.rounds,
        "work_s": protocol.work_s,
        "rest_s": protocol.rest_s,
        "exertion_scale": protocol.exertion_scale,
        "groups": {name: protocol_values(p) for name, p in protocol.groups.items()},
        **({"clothing": protocol.clothing} if protocol.clothing else {}),
    }


SETTINGS_FILE = "study.toml"
MAX_BYTES = 1_000_000
MAX_LINES = 1_000
SECTIONS = (
    *("title", "sport", "kind", "date_order", "exertion_scale"),
    *("lactate_analyser_low_mmol_l", "lactate_analyser_high_mmol_l"),
    *("protocol", "plan", "sampling", "cleaning", "survey", "ethics", "fitness", "grades", "pace"),
    *("training", "allocation"),
)
"""Keys at the top of study.toml."""

SECTION_KEYS = {
    "sampling": (
        *("analysers", "samplers", "seconds_per_sample", "target_delay_s", "tolerance_s"),
        *("lactate_analyser_low_mmol_l", "lactate_analyser_high_mmol_l"),
    ),
    "survey": ("equation", "session_kinds", "plausible_ages"),
}
"""Section -> its keys; a test compares them with what planning/ and survey/ read."""

_PROTOCOL_KEYS = ("rounds", "work_s", "work", "rest_s", "rest", "exertion_scale", "clothing")
_LIMITS = {"work_s": (10.0, 3600.0), "rest_s": (0.0, 7200.0)}


class Settings(dict):
    """study.toml as a dictionary that also knows on which line each key stands."""

    def __init__(self, content: dict | None = None, lines: list[str] | None = None):
        super().__init__(content or {})
        self.lines = lines or []

    def line_of(self, *path: str) -> int | None:
        """Return the line of a key, given the names on the way to it; None where it is unknown."""
        section: list[str] = []
        found = None
        for number, line in enumerate(self.lines, start=1):
            head = re.match(r"\s*\[{1,2}\s*([^\[\]]+?)\s*\]{1,2}\s*(#.*)?$", line)
            if head:
                section = _split_key(head[1])
                if section == list(path):
                    found = found or number
                continue
            key = re.match(r"\s*([^=#]+?)\s*=", line)
            if key and section + _split_key(key[1]) == list(path):
                return number
        return found

    def say(self, note: Callable, path: tuple[str, ...], value, problem: str, remedy: str) -> None:
        """Note a problem or a remark about a key, at its line."""
        note(SETTINGS_FILE, self.line_of(*path), path[-1], value, problem, remedy)

    def line_of_block(self, name: str, number: int, key: str) -> int | None:
        """Return the line of a key in the block [[name]] of that number, counted from 1, or of the block itself."""
        seen, found = 0, None
        for row, line in enumerate(self.lines, start=1):
            if re.match(r"\s*\[", line):
                seen += bool(re.match(rf"\s*\[\[\s*{re.escape(name)}\s*\]\]", line))
                if seen == number and found is None:
                    found = row
                elif found is not None:
                    break
            elif seen == number and re.match(rf"\s*{re.escape(key)}\s*=", line):
                return row
        return found


def _split_key(text: str) -> list[str]:
    return [part.strip().strip("\"'") for part in re.findall(r"\"[^\"]*\"|'[^']*'|[^.]+", text)]


def _unprintable(value, where: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
    """The keys under which a text stands that cannot be printed."""
    if isinstance(value, str):
        return [where] if UNPRINTABLE.search(value) else []
    if isinstance(value, dict):
        return [w for key, v in value.items() for w in _unprintable(v, (*where, key))]
    return [w for v in value for w in _unprintable(v, where)] if isinstance(value, list) else []


def read_settings(folder: Path, findings: Findings) -> Settings:
    """Read study.toml; what is wrong with it goes to the findings."""
    path = folder / SETTINGS_FILE
    if not path.is_file():
        problem = "there is no study.toml in this folder"
        start = f"start the folder with: {python_name()} -m analysis new FOLDER"
        remedy = f"{start}, or write [protocol] with rounds, work_s and rest_s"
        findings.problem_of(SETTINGS_FILE, problem, remedy)
        return Settings()
    try:
        text, _ = decode_text(read_bytes(path, limit=MAX_BYTES))
    except Unreadable as error:
        findings.problem_of(SETTINGS_FILE, error.problem, error.remedy)
        return Settings()
    lines = text.splitlines()
    if len(lines) > MAX_LINES:
        problem = f"{len(lines):,} lines, which are no settings of a study"
        findings.problem_of(SETTINGS_FILE, problem, f"write at most {MAX_LINES:,} lines")
        return Settings()
    try:
        content = tomllib.loads(text.lstrip("\ufeff"))
        if _holds_a_giant(content):
            raise ValueError
        settings = Settings(content, lines)
    except tomllib.TOMLDecodeError as error:
        findings.problem(SETTINGS_FILE, *_explain_fault(str(error), lines))
        return Settings(lines=lines)
    except ValueError:  # Python refuses to read a number of thousands of digits, and floats end at 308
        row = next((i for i, line in enumerate(lines, 1) if re.search(r"\d{16}", line)), None)
        findings.problem(SETTINGS_FILE, row, "", "", "a number of great length", "write the number that is meant")
        return Settings(lines=lines)
    except RecursionError:
        findings.problem_of(SETTINGS_FILE, "brackets inside brackets without end", "write one pair of brackets")
        return Settings(lines=lines)
    for where in _unprintable(content):
        settings.say(findings.problem, where, "", CANNOT_BE_PRINTED, TYPE_ANEW)
    for key in settings:
        _check_key(settings, (key,), "", SECTIONS, "", "nothing, if that is meant", findings)
    for section, known in SECTION_KEYS.items():
        given = settings.get(section)
        remedy = f"delete it, or write one of {', '.join(known)}"
        for key in given if isinstance(given, dict) else ():
            _check_key(settings, (section, key), shorten(given[key]), known, f" of [{section}]", remedy, findings)
    sampling = settings.get("sampling")
    if isinstance(sampling, dict):  # the analyser's limits may stand there; readers look for them at the top
        for key in ("lactate_analyser_low_mmol_l", "lactate_analyser_high_mmol_l"):
            if key in sampling:
                settings.setdefault(key, sampling[key])
    for key in ("title", "sport"):
        if not isinstance(settings.get(key, ""), str):
            settings.say(findings.problem, (key,), settings[key], "not a text", "put it in quotation marks")
            settings[key] = str(settings[key])
    return settings


def _check_key(settings: Settings, path, value, known, where: str, remedy: str, findings: Findings) -> None:
    """Name a key that no code reads: one that is near a known one as a problem, any other as a remark."""
    if path[-1] in known:
        return
    near = did_you_mean(path[-1], known)
    if near:
        settings.say(findings.problem, path, value, f"no such setting{where}{asked(near)}", f"write {near}")
    else:
        unknown = f"a setting{where} that the kit does not know; it is not read"
        settings.say(findings.remark, path, value, unknown, remedy)


def _holds_a_giant(content) -> bool:
    """True where a whole number has more digits than any setting needs."""
    if isinstance(content, dict | list):
        return any(map(_holds_a_giant, content.values() if isinstance(content, dict) else content))
    return isinstance(content, int) and abs(content) > 10**15


def _explain_fault(message: str, lines: list[str]) -> tuple[int | None, str, str, str, str]:
    """Return row, column, value, problem and remedy for a fault of the TOML text."""
    place = re.search(r"at line (\d+)", message)
    row = int(place[1]) if place else len(lines)
    line = lines[row - 1].strip()
    # the parser often notices a fault one line late: an open quotation or bracket ends on the next line
    key, _, value = (part.strip() for part in line.partition("="))
    value = re.sub(r"\s+#.*$", "", value)
    if re.search("[“”„‘’]", line):
        return row, key, value, "curly quotation marks", 'write straight ones: "'
    if re.search(r"overwrite|already|twice|Cannot (declare|mutate|define)", message):
        return row, key, value, "this key or section stands twice", "keep one of them"
    if "=" not in line and not line.startswith("["):
        if ":" in line:
            return row, "", line, "a colon where an equals sign belongs", "write name = value"
        return (row, "", line, "a line that is neither name = value nor [section]", "complete it, or put # before it")
    if line.startswith("[") and line.count("[") != line.count("]"):
        return row, "", line, "a bracket is missing", "write the section as [name]"
    if re.fullmatch(r"\d{1,30},\d{1,30}", value):
        return row, key, value, "a decimal comma", f"write {value.replace(',', '.')}"
    if re.fullmatch(r"\d{1,9}:\d{2}(:\d{2})?", value):
        return row, key, value, "a time without quotation marks", f'write {key} = "{value}"'
    if value.count('"') % 2 or value.count("'") % 2:
        return row, key, value, "a quotation mark is missing", "put the text between two quotation marks"
    if value.count("[") != value.count("]"):
        return row, key, value, "a bracket is missing", 'write a list as ["one", "two"]'
    if re.fullmatch(r"\d{1,9}-\d{1,9}", value):
        return row, key, value, "text without quotation marks", f'write {key} = "{value}"'
    if not value:
        return row, key, value, "a value is missing", "write one, or put # before the line"
    if re.match(r"[^\W\d]", value):
        whole = f'write {key} = "{value}"' if len(key + value) < 200 else "put it between two quotation marks"
        return row, key, value, "text without quotation marks", whole
    return row, key, value, "a line that cannot be read", "write it as name = value, texts in quotation marks"


def read_seconds(settings: Settings, path: tuple[str, ...], name: str, findings: Findings) -> float | None:
    """Return a time in seconds, written as NAME_s = 300 or NAME = "5:00"."""
    section: dict = settings
    for part in path:
        section = section.get(part, {})
    short = name.removesuffix("_s")
    values = []
    for key in (name, short):
        if key not in section:
            continue
        value = section[key]
        row = settings.line_of(*path, key)
        if isinstance(value, str):
            try:
                values.append((key, row, _text_seconds(value)))
            except Slip as slip:
                remedy = slip.remedy if slip.offer else f'write {short} = "5:00" or {name} = 300'
                findings.problem(SETTINGS_FILE, row, key, value, slip.problem, remedy.replace("KEY", short))
                return None
            continue
        number = isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
        if number and key == name:
            values.append((key, row, float(value)))
            continue
        low, high = _LIMITS[name]
        remedy = f'write {name} = 300 or {short} = "5:00"'
        if number and isinstance(value, int) and low <= value <= high:
            as_minutes = f'{short} = "{value}:00" for minutes, or ' if 60 * value <= high else ""
            remedy = f"write {as_minutes}{name} = {value} for seconds"
        unclear = "seconds or minutes? the name does not say" if number else "not a time"
        findings.problem(SETTINGS_FILE, row, key, value, unclear, remedy)
        return None
    if len(values) == 2 and values[0][2] != values[1][2]:
        key, row, value = values[1]
        findings.problem(SETTINGS_FILE, row, key, f"{value:g}", f"{name} and {key} disagree", "keep one of them")
    return values[0][2] if values else None


def _text_seconds(text: str) -> float:
    if dotted := re.fullmatch(r"(\d{1,2})[.,h](\d{2})", text):
        meant = f"{dotted[1]}:{dotted[2]}"
        if int(dotted[2]) < 60:
            raise Slip(f"a time with a point: was {meant} meant?", f'write KEY = "{meant}"', meant)
    if re.fullmatch(r"\d+", text):
        return float(text)
    return read_duration(text)[0]


def read_protocol(settings: Settings, findings: Findings) -> Protocol:
    """Return the protocol in study.toml."""
    section = settings.get("protocol")
    if not isinstance(section, dict):
        if settings and settings.get("kind") != "survey":
            remedy = "write [protocol] with rounds, work_s, rest_s and exertion_scale"
            settings.say(findings.problem, ("protocol",), "", "there is no section [protocol]", remedy)
        return Protocol()
    common = _one_protocol(settings, ("protocol",), section, None, findings)
    groups = {}
    for name, part in section.items():
        if isinstance(part, dict):
            groups[str(name)] = _one_protocol(settings, ("protocol", name), part, common, findings)
        elif name not in _PROTOCOL_KEYS:
            near = did_you_mean(name, _PROTOCOL_KEYS)
            remedy = f"write {near}" if near else f"write one of {', '.join(_PROTOCOL_KEYS)}"
            problem = f"no such setting of the protocol{asked(near)}"
            settings.say(findings.problem, ("protocol", name), part, problem, remedy)
    return replace(common, groups=groups)


def _one_protocol(settings, path, section, common: Protocol | None, findings: Findings) -> Protocol:
    def complain(key, problem, remedy):
        settings.say(findings.problem, (*path, key), section.get(key, ""), problem, remedy)

    rounds = section.get("rounds", common.rounds if common else None)
    if rounds is None and not any(did_you_mean(k, _PROTOCOL_KEYS) == "rounds" for k in section):
        complain("rounds", "the number of rounds is missing", "write rounds = 4 under [protocol]")
    elif rounds is None:
        pass  # its name was mistyped, which is said beside it
    elif isinstance(rounds, bool) or not isinstance(rounds, int) or not 1 <= rounds <= 30:
        complain("rounds", "not a number of rounds from 1 to 30", "write rounds = 4")
        rounds = None
    times = {}
    for name, (low, high) in _LIMITS.items():
        seconds = read_seconds(settings, path, name, findings)
        known = {name, name.removesuffix("_s")} & set(section)
        if seconds is None and not known:
            if common is None:
                complain(name, f"{name} is missing", f'write {name} = 300, or {name[:-2]} = "5:00"')
            seconds = getattr(common, name, math.nan)
        elif seconds is not None and not low <= seconds <= high:
            minutes = low <= 60 * seconds <= high
            problem = f"outside {low:g} to {high:g} s" + (": minutes typed as seconds?" if minutes else "")
            remedy = "write the time in seconds, or as m:ss in quotation marks"
            complain(sorted(known)[-1], problem, f"write {name} = {60 * seconds:g}" if minutes else remedy)
        times[name] = math.nan if seconds is None else seconds
    scale = section.get("exertion_scale", common.exertion_scale if common else settings.get("exertion_scale", "6-20"))
    if scale not in SCALES:
        complain("exertion_scale", "not a scale that the kit knows", f"write one of {', '.join(map(repr, SCALES))}")
        scale = "6-20"
    elif common and scale != common.exertion_scale:
        problem = "two exertion scales in one study: ratings on different scales cannot be compared or converted"
        remedy = "use one scale for all groups"
        complain("exertion_scale", problem, remedy)
    clothing = section.get("clothing", common.clothing if common else "")
    if clothing and clothing not in CLOTHING:
        complain("clothing", "not a clothing that the kit knows", 'write clothing = "jacket" or clothing = "no jacket"')
        clothing = ""
    return Protocol(rounds or 0, times["work_s"], times["rest_s"], str(scale), clothing=clothing)
