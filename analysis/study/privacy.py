"""Codes only: what looks like a person is refused; and of rows that leave a study, nobody stands alone or can be worked out."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import product

import numpy as np
import pandas as pd

from ..basics import FEWEST_PEOPLE
from .outcomes import OUTCOMES
from .problems import BEGINNINGS, GIVEN_NAMES, ORDINARY_WORDS, PERSONAL_COLUMNS, SIGNS

_PERSONAL_PARTS = frozenset(
    {"surname", "firstname", "lastname", "email", "mail", "phone", "telephone", "birth", "birthdate", "birthday", "dob"}
)
_MAIL = re.compile(r"[^\s@,;]+@[^\s@,;]+\.[a-z]{2,}", re.IGNORECASE)
_PHONE = re.compile(r"(?<![\w.,:-])(?:\+|00)\d[\d ()/-]{7,}\d(?![\w.,:-])|(?<![\w.,:-])0\d{2,4}[ /-]\d{3}[\d -]{2,}\d")
_BIRTH = re.compile(r"(?<!\d)(19[3-9]\d|200\d|201[0-5])[-_.]?(0[1-9]|1[0-2])[-_.]?(0[1-9]|[12]\d|3[01])(?!\d)")
_MONTHS = "jan|feb|mar|mär|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"
_BORN = re.compile(
    rf"(?<![\w.])(?:[0-3]?\d[./-][0-3]?\d[./-]|[0-3]?\d(?:st|nd|rd|th|\.)? (?:{_MONTHS})[a-zä]*\.?,? |"
    rf"(?:{_MONTHS})[a-zä]*\.? [0-3]?\d(?:st|nd|rd|th)?,? )(?:19[3-9]\d|200\d|201[0-5])(?!\d)",
    re.IGNORECASE,
)
"""The same as people write it in a sentence."""
_ORDINARY_CODE = re.compile(r"[A-Za-z]{0,3}[-_]?\d{1,6}")
_WORD = re.compile(r"[^\W\d_]+")


def is_personal_heading(name: str) -> bool:
    """Return True where a heading asks for personal data."""
    if name in PERSONAL_COLUMNS:
        return True
    parts = name.split("_")
    if parts[-1] in ("name", "names"):
        return bool({"athlete", "person", "participant", "subject", "fighter", "player"} & set(parts))
    return bool(_PERSONAL_PARTS & set(parts))


def looks_personal(text: str, *, phones: bool = True) -> str:
    """Say what personal data a text seems to hold: a mail address or a phone number."""
    if _MAIL.search(text):
        return "a mail address"
    if phones and _PHONE.search(text):
        return "a phone number"
    return ""


def looks_like_name(text: str) -> bool:
    """Return True where a text seems to hold a person's name: capitalised words that are not ordinary."""
    words = re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-zß-ÿ])(?=[A-ZÀ-Þ])", "_", text))
    return any(len(w) > 2 and w[0].isupper() and w[1:].islower() and w.lower() not in ORDINARY_WORDS for w in words)


def code_trouble(code: str) -> str:
    """Say what is wrong with a code: it looks like a name, a birth date, a mail address or a phone number."""
    if _ORDINARY_CODE.fullmatch(code):
        return ""
    found = looks_personal(code)
    if found:
        return found
    if _BIRTH.search(code):
        return "a birth date"
    if re.fullmatch(r"\+?[\d /()-]{8,}", code):
        return "a phone number"
    words = _WORD.findall(code)
    if any(w.lower() in ORDINARY_WORDS for w in words):
        return ""
    if re.search(r"\d", code):
        return "a name" if len(words) > 1 and looks_like_name(code) else ""
    long = [w for w in words if len(w) > 3 or (len(w) > 2 and not w.isupper())]
    return "a name" if long else ""


def is_word_of_texts(code: str) -> bool:
    """Whether a code is a word, unit or sign that texts about a study use: labels in its place would spoil them and tell it."""
    words = _WORD.findall(code)
    if re.fullmatch(
        r"(rounds?|bouts?|sessions?|days?|weeks?|evenings?|levels?|tables?|figures?)[ _-]?\d+", code, re.IGNORECASE
    ):
        return True
    return bool(words) and not re.search(r"\d", code) and all(w in SIGNS or w.lower() in ORDINARY_WORDS for w in words)


def file_name_trouble(stem: str) -> str:
    """Say what personal data the name of a file seems to hold."""
    found = looks_personal(stem)
    if found:
        return found
    if _BIRTH.search(stem):
        return "a birth date"
    return "a name" if looks_like_name(stem) else ""


_NAMING = r"(?:athletes?|persons?|people|codes?|opponents?|partners?|against|without)"
_NAMED = re.compile(
    rf"\b({_NAMING})(\s+)([\w-]+(?:(?:,\s*|\s+(?:and|or)\s+|\s*/\s*)(?!{_NAMING}\b)[\w-]+)*)", re.IGNORECASE
)


_COUNTED = re.compile(
    r"(?:rounds?|bouts?|levels?|stages?|sessions?|evenings?|weeks?|days?|rows?|tables?|sets?|first|last|than|about|n ?=)\s+$",
    re.IGNORECASE,
)
_UNIT = re.compile(
    r"\s*(?:%|°|(?:s|sec|seconds?|min|minutes?|h|hours?|m|km|kg|bpm|beats?|mmol|ml|w|watts?|years?|days?|weeks?|rounds?|bouts?|"
    r"athletes?|people|persons?|women|men|points?|times|steps?|samples?|values?|levels?|shuttles?)\b)",
    re.IGNORECASE,
)
"""What stands before and after a number that counts and names nobody."""


def _counts(number: re.Match) -> bool:
    """Whether a number in a text counts something."""
    text = number.string
    return bool(_COUNTED.search(text[: number.start()]) or _UNIT.match(text, number.end()))


MOST_LETTERS = 20_000
"""Letters of all codes together beyond which only those that stand in a text are looked for in it; clubs have hundreds."""


class Mentions:
    """Finds codes of athletes in running text; a code of digits alone only where it names a person or a file."""

    def __init__(self, codes: Iterable[str], *, most: int = MOST_LETTERS):
        codes = sorted({c for c in codes if c}, key=lambda c: (-len(c), c))
        self.codes = frozenset(codes)
        self._many = sum(map(len, codes)) > most
        if self._many:  # a pattern of them all would take hundreds of megabytes
            return
        telling = [re.escape(c) for c in codes if not c.isdecimal()]
        numbers = [re.escape(c) for c in codes if c.isdecimal()]
        self._telling = re.compile(rf"(?<![^\W_])({'|'.join(telling)})(?![^\W_])") if telling else None
        ends = r"(?=\w*\.(?:csv|tsv|txt|fit|tcx|gpx)\b)"
        start = "|".join(numbers)
        self._file = re.compile(rf"(?<![\w.])({start}){ends}|^({start})(?=[,:] )") if numbers else None
        self._number = re.compile(rf"(?<![\w.])({'|'.join(numbers)})(?![\w.])") if numbers else None
        alone = rf"(?<![\w.,:/-])({start})(?![\w%°]|[.,:/-]\w)"
        self._alone = re.compile(alone) if numbers else None

    def replace(self, text: str, instead: Callable[[str], str], *, typed: bool = False) -> str:
        """Return a text in which `instead(code)` stands for every code; in what people `typed`, any number may be one."""
        if self._many:
            here = Mentions((c for c in self.codes if c in text), most=len(self.codes) * len(text))
            return here.replace(text, instead, typed=typed)
        if typed and self._alone is not None and re.search(r"[^\W\d_]{2}", text):
            text = self._alone.sub(lambda m: m[0] if _counts(m) else instead(m[1]), text)
        if self._telling is not None:
            text = self._telling.sub(lambda m: instead(m[1]), text)
        if self._number is not None:
            text = self._file.sub(lambda m: instead(m[1] or m[2]), text)
            text = _NAMED.sub(lambda m: m[1] + m[2] + self._number.sub(lambda n: instead(n[1]), m[3]), text)
        return text


_CALL = re.compile(r"(?<![\w.])(?:(?:\+|00)\d[\d ()/-]{7,}\d|0\d{2,4}[ /-]\d{3}[\d -]{2,}\d)")
_CAPITAL = r"[^\W\d_a-zß-ÿ](?:[a-zß-ÿ]+(?:['’-][^\W\d_]+)?|\.)"
_RUN = re.compile(rf"(?<![\w.]){_CAPITAL}(?:\s+(?:(?:van|von|de|da|di|del|der|la|le|al|bin)\s+)?{_CAPITAL})*")


_ROW_OF_NAMES = re.compile(r"\s*[,/&]\s*|\s+(?:and|or|und|oder|et|y|e)\s+")
_POSSESSOR = re.compile(r"['’]s$")
_CONTRACTED = frozenset(["it", "that", "what", "there", "here", "let", "he", "she", "who", "how", "where", "when"])


_DOES = re.compile(
    r"\s+(?:is|was|has|had|does|did|says|said|saw|sees|left|fell|felt|came|went|took|told|asked|forgot|lost|broke|hurt|wore|sat|"
    r"got|held|won|wants|thinks|knows|thought|knew|wrote|read|withdrew|agrees|(?:help|stopp|start|slipp|arriv|watch|open|clos|"
    r"complain|report|injur|miss|refus|shout|agre|want|count|typ|call|join|chang|tapp|claim|confirm|not|rat|swapp|train)ed)\b"
)
_THING = re.compile(r"(?:ing|tion|ment|ness|ity|ance|ence)$")
"""What follows a person, and how words end that are none."""


def personal_parts(text: str, *, single: bool = False) -> tuple[str, ...]:
    """Return what in a running text looks like a mail address, a phone number, a birth date or a name of two words or more."""
    # With `single` a capitalised word within a sentence that is no ordinary word counts as a name too; the
    # first word of a sentence only where it is a known given name, a possessor, does what people do, or
    # stands in a row with another name. Where most words are capitalised, as in some titles, none of them tells.
    found = [m[0] for pattern in (_MAIL, _CALL, _BIRTH, _BORN) for m in pattern.finditer(text)]
    words = re.findall(r"[^\W\d_]{4,}", text)
    if len(words) > 2 and sum(w[0].isupper() for w in words) > len(words) / 2:
        return tuple(found)
    runs = list(_RUN.finditer(text))
    named: list[str] = []
    for place in reversed(range(len(runs))):
        run, parts = runs[place], [_POSSESSOR.sub("", w) for w in runs[place][0].split()]
        strange = [w for w in parts if w.strip(".").lower() not in ORDINARY_WORDS and w[0].isupper()]
        alone = single and strange and len(strange[-1]) > 2
        starts = run.start() == 0 or bool(re.search(r"[.!?:;]\s+$", text[: run.start()]))
        if len(strange) > 1 or (alone and (len(parts) > 1 or not starts or _begins(text, runs, place, named))):
            named.insert(0, _POSSESSOR.sub("", run[0]))
    return (*found, *named)


def _begins(text: str, runs: list[re.Match], place: int, named: list[str]) -> bool:
    """Whether the first word of a sentence names a person; `named` are the names that follow it."""
    run = runs[place]
    word = _POSSESSOR.sub("", run[0]).lower()
    if not GIVEN_NAMES.isdisjoint(word.split("-")) or (_POSSESSOR.search(run[0]) and word not in _CONTRACTED):
        return True
    if _DOES.match(text, run.end()) and word not in BEGINNINGS and not _THING.search(word):
        return True
    joint = _ROW_OF_NAMES.match(text, run.end())
    following = runs[place + 1] if place + 1 < len(runs) else None
    return bool(joint and following and named and following.start() == joint.end() and named[0] in following[0])


def secret_labels(study, codes: Sequence[str], *, prefix: str, purpose: str) -> dict[str, str]:
    """Give every code a label in an order that only somebody with the study's own tables could repeat."""
    codes = sorted(set(codes) - {""})
    secret = purpose + study.athletes.to_csv() + study.rounds.to_csv()
    seed = int.from_bytes(hashlib.sha256(secret.encode("utf-8")).digest()[:8], "big")
    order = np.random.default_rng(seed).permutation(len(codes))
    width = len(str(len(codes)))
    return {code: f"{prefix}{n + 1:0{width}d}" for code, n in zip(codes, order, strict=True)}


LEVELS = {
    "age_years": (5, 10, 20, None),
    "mass_kg": (5, 10, 20, None),
    "sex": ("as it is", None),
    "group": ("as it is", None),
}
"""Per column that may tell who somebody is: from fine to coarse; numbers are widths of bands, None drops the column."""

_WORTH = {"age_years": (1.0, 0.75, 0.4, 0.0), "mass_kg": (1.0, 0.75, 0.4, 0.0), "sex": (1.2, 0.0), "group": (0.8, 0.0)}


def hide_in_crowd(people: pd.DataFrame, *, least: int = 2) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Coarsen, drop or mask what may tell who somebody is, until no combination is rarer than `least`."""
    columns = [c for c in LEVELS if c in people and not _blank(people[c])]
    dropped_blank = [c for c in LEVELS if c in people and c not in columns]
    best = None
    for choice in product(*(range(len(LEVELS[c])) for c in columns)):
        made = {c: _coarse(people[c], LEVELS[c][i]) for c, i in zip(columns, choice, strict=True)}
        kept = [c for c in columns if made[c] is not None]
        masked = _too_rare([made[c] for c in kept], len(people), least)
        if masked is None:
            continue
        worth = (len(people) - len(masked)) * sum(_WORTH[c][i] for c, i in zip(columns, choice, strict=True))
        if best is None or worth > best[0]:
            best = (worth, choice, made, kept, masked)
    _, choice, made, kept, masked = best
    table = people.drop(columns=[c for c in LEVELS if c in people and c not in kept])
    for c in kept:
        table[c] = ["" if i in masked else v for i, v in enumerate(made[c])]
    return table, _said(columns, choice, len(masked)) + tuple(f"{_WORDS[c][0]} was blank" for c in dropped_blank)


def _blank(values: pd.Series) -> bool:
    return bool((values.isna() | (values.astype(str) == "")).all())


def _coarse(values: pd.Series, level) -> list[str] | None:
    if level is None:
        return None
    if isinstance(level, str):
        return [str(v) for v in values]
    return [_band(float(v), level) for v in values]


def _band(value: float, width: int) -> str:
    if value != value:
        return "unknown"
    low = int(value // width) * width
    return f"{low}-{low + width - 1}"


def _too_rare(columns: list[list[str]], size: int, least: int) -> set[int] | None:
    """Return who must be masked so that no combination is too rare; None where masking cannot do it."""
    if not columns:
        return set()
    combinations = list(zip(*columns, strict=True))
    counts = Counter(combinations)
    masked = {i for i, c in enumerate(combinations) if counts[c] < least}
    return masked if not masked or least <= len(masked) < size else None


_WORDS = {"age_years": ("age", " years"), "mass_kg": ("body mass", " kg"), "sex": ("sex", ""), "group": ("group", "")}


def _said(columns, choice, n_masked: int) -> tuple[str, ...]:
    said = []
    for c, i in zip(columns, choice, strict=True):
        level = LEVELS[c][i]
        if level is None:
            said.append(f"{_WORDS[c][0]} was dropped")
        elif not isinstance(level, str):
            said.append(f"{_WORDS[c][0]} is given in bands of {level}{_WORDS[c][1]}")
    if n_masked:
        said.append(f"for {n_masked} people these columns are blank, since their combination was too rare")
    return tuple(said)


_HEART_RATE = (
    "hr_mean_bpm", "hr_late_bpm", "hr_peak_bpm", "hr_recovery_60s_bpm", "hr_drift_bpm_min", "valid_s", "valid_share",
)  # fmt: skip
_LACTATE = ("lactate_mmol_l", "lactate_limit", "lactate_delay_s")
_TOGETHER = {**dict.fromkeys(_HEART_RATE, _HEART_RATE), **dict.fromkeys(_LACTATE, _LACTATE)}
"""A column -> what is left out with a value of it."""


def by_lot(study, shared: Sequence[str], *, among: Collection[str]) -> list[str]:
    """Leave out more people where means of everybody `among`, minus those shared, would tell about the few who did not agree."""
    few = len(set(among) - set(shared))
    if not 0 < few < FEWEST_PEOPLE:
        return list(shared)
    order = secret_labels(study, shared, prefix="", purpose="left out by lot")
    return sorted(shared, key=lambda code: int(order[code]))[FEWEST_PEOPLE - few :]


def not_by_subtraction(
    rows: pd.DataFrame, labels: Mapping[str, str], *, session: str
) -> tuple[pd.DataFrame, set[tuple]]:
    """Blank values of the session that a write-up tells about where those of people without a label are few."""
    rows, silent = rows.copy(), set()
    inside = rows["athlete"].isin(list(labels))
    for outcome in [o for o in OUTCOMES if o in rows]:
        together = [c for c in _TOGETHER.get(outcome, (outcome,)) if c in rows]
        known = rows[outcome].notna()  # a mean is of values; one beyond the scale of the analyser is in none
        for _, here in rows[known & rows["session"].eq(session)].groupby("round_no"):
            outside = int((~inside[here.index]).sum())
            if not 0 < outside < FEWEST_PEOPLE:
                continue
            there = here[inside[here.index]].sort_values("athlete", key=lambda codes: codes.map(labels))
            for index in there.index[: FEWEST_PEOPLE - outside]:
                for column in together:
                    rows.loc[index, column] = "" if column == "lactate_limit" else float("nan")
                silent.add((together[0], *rows.loc[index, ["session", "athlete", "round_no"]]))
    return rows, silent
