"""What an ethics committee reads and allows: its word in study.toml, who is under age, texts nobody has filled in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import pandas as pd

from ..basics import KitError, Result, did_you_mean, join_words
from ..physiology import known_aerobic_tests
from .columns import place, source_columns
from .inventory import not_itself
from .problems import Findings, asked
from .settings import Settings

ADULT_YEARS = 18
NEEDS_ALLOWED = {"minors_blood": "blood sampling", "minors_maximal": "maximal tests"}
_TEXTS = ("committee", "approval", "exemption")
_KEYS = (*_TEXTS, *NEEDS_ALLOWED)
_PLACE = re.compile(r"\[(?![ xX]?\])([^\[\]]{1,600})\](?!\()")
"""Words in square brackets; not a box to tick, and not a link."""


@dataclass(frozen=True)
class Approval(Result):
    """What an ethics committee has allowed, as the part [ethics] of study.toml states it."""

    committee: str = ""
    approval: str = ""
    exemption: str = ""  # who wrote, and when, that no approval is needed
    minors_blood: bool = False
    minors_maximal: bool = False

    @property
    def stated(self) -> bool:
        """Whether a number of an approval or a written exemption is there."""
        return bool(self.approval or self.exemption)

    def words(self) -> tuple[str, ...]:
        """Say it in a sentence; none where nothing is stated."""
        by = f" by {self.committee}" if self.committee else ""
        if self.approval:
            return (f"Approved{by} under number {self.approval}.",)
        if self.exemption:
            return (f"Exempted from approval{by}: {self.exemption.rstrip('.')}.",)
        return ()


def approval_of(settings: Mapping) -> Approval:
    """Read what study.toml states of the ethics committee; what cannot be right counts as not stated."""
    part = settings.get("ethics")
    part = part if isinstance(part, Mapping) else {}
    texts = {name: part[name].strip() for name in _TEXTS if isinstance(part.get(name), str)}
    # only an approval can allow something for minors: an exemption says that nobody looked
    flags = {name: part.get(name) is True and bool(texts.get("approval")) for name in NEEDS_ALLOWED}
    return Approval(**texts, **flags)


def check_ethics(settings: Settings, findings: Findings) -> None:
    """Find keys and values of [ethics] that cannot be."""
    part = settings.get("ethics")
    if part is None:
        return
    if not isinstance(part, dict):
        remedy = 'write [ethics] and below it approval = "number"'
        settings.say(findings.problem, ("ethics",), part, "not a section", remedy)
        return
    for key, value in part.items():
        say = partial(settings.say, findings.problem, ("ethics", key))
        if key not in _KEYS:
            near = did_you_mean(key, _KEYS)
            say(value, f"no such setting of [ethics]{asked(near)}", f"write one of {', '.join(_KEYS)}")
        elif key in _TEXTS and not isinstance(value, str):
            say(value, "not a text", f'write {key} = "{value}"')
        elif key in NEEDS_ALLOWED and not isinstance(value, bool):
            say(value, "neither true nor false", f"write {key} = false")
        elif value is True and not str(part.get("approval", "")).strip():
            say(
                "true",
                f"{NEEDS_ALLOWED[key]} of people under {ADULT_YEARS} without the number of the approval that allows it",
                f'write approval = "number" under [ethics], or {key} = false',
            )


HURRIED_S = 45.0
"""Seconds a sample below which gloves are left out (our proposal)."""
UNHURRIED_S = 60.0
"""Seconds a sample, gloves and reading included (our proposal)."""


def check_sampling_pace(settings: Settings, findings: Findings) -> None:
    """Remark on seconds_per_sample that leave no time for new gloves."""
    part = settings.get("sampling")
    given = part.get("seconds_per_sample") if isinstance(part, Mapping) else None
    if isinstance(given, int | float) and not isinstance(given, bool) and 0 < given < HURRIED_S:
        settings.say(
            findings.remark,
            ("sampling", "seconds_per_sample"),
            f"{given:g}",
            f"{given:g} s from one athlete to the next leave no time for new gloves",
            f"write seconds_per_sample = {UNHURRIED_S:g}, gloves and reading included",
        )


def minors_among(athletes: pd.DataFrame) -> tuple[str, ...]:
    """Return the codes of those under 18, and of those without an age for whom a guardian's word stands in the table."""
    if "age_years" not in athletes or not len(athletes):
        return ()
    age = pd.to_numeric(athletes["age_years"], errors="coerce")
    young = age < ADULT_YEARS
    if "guardian_consent" in athletes:
        young |= age.isna() & athletes["guardian_consent"].eq("yes")
    return tuple(athletes.loc[young, "athlete"].astype(str))


def blood_is_drawn(study) -> bool:
    """Tell whether a study plans or has blood samples: a part [sampling], a hypothesis of its own, or a value."""
    written = "hypotheses" not in study.plan.proposed
    planned = written and any(h.outcome.startswith("lactate") for h in study.plan.hypotheses)
    there = study.rounds["lactate_mmol_l"].notna().any() or len(study.lactate) > 0
    return "sampling" in study.settings or planned or bool(there)


def maximal_tests(study) -> tuple[str, ...]:
    """Return the maximal tests of a study: on its sheet or named in [fitness]; "a fitness test" where none is named."""
    tests = fitness_tests(study)
    known = known_aerobic_tests().drop_duplicates("test").set_index("test")
    if tests:
        return tuple(known.loc[t, "title"] for t in tests if t in known.index and bool(known.loc[t, "maximal"]))
    asked = "hypotheses" not in study.plan.proposed and any(
        h.question.startswith("fitness.") for h in study.plan.hypotheses
    )
    return ("a fitness test that study.toml does not name",) if asked else ()


def fitness_tests(study) -> tuple[str, ...]:
    """Return the aerobic tests of a study: those in [fitness] of study.toml, then those on the sheet."""
    part = study.settings.get("fitness")
    named = part.get("tests", ()) if isinstance(part, Mapping) else ()
    named = [named] if isinstance(named, str) else [t for t in named if isinstance(t, str)]
    return tuple(dict.fromkeys([*named, *study.aerobic_tests["test"]]))


def require_approval(study) -> None:
    """Refuse to fix a plan with blood samples or maximal tests of which no committee has heard."""
    if approval_of(study.settings).stated:
        return
    what = ["blood sampling"] if blood_is_drawn(study) else []
    what += [f"a maximal test ({join_words(maximal_tests(study))})"] if maximal_tests(study) else []
    what += ["training that is assigned"] if study.training is not None else []
    if what:
        raise KitError(
            f"The plan holds {join_words(what)}, and study.toml names no ethics committee. Write under [ethics] in study.toml "
            'either approval = "the number of the approval" (and committee = "its name"), or exemption = "who wrote that no '
            'approval is needed, and when". Then fix the plan again. Nothing was written.'
        )


def check_minors(tables: Mapping[str, pd.DataFrame], settings: Mapping, findings: Findings) -> None:
    """Say who is under 18, what they are kept out of, and what was done to them without a stated approval."""
    young = minors_among(tables["athletes"])
    if not young:
        return
    approval = approval_of(settings)
    athletes = tables["athletes"]
    file = athletes["file"].iloc[0] if "file" in athletes else "athletes.csv"
    kept = [what for flag, what in NEEDS_ALLOWED.items() if not getattr(approval, flag)]
    if kept:
        flags = join_words([f"{flag} = true" for flag in NEEDS_ALLOWED if not getattr(approval, flag)])
        findings.remark_of(
            file,
            f"under {ADULT_YEARS}: kept out of {join_words(kept)}, since study.toml states no approval for it",
            f"nothing; or, only where the committee approved exactly that, write {flags} and approval under [ethics]",
            column="age_years",
            value=join_words(young),
        )
    if not approval.minors_blood:
        rounds, lactate = tables["rounds"], tables["lactate"]
        drawn = rounds[rounds["lactate_mmol_l"].notna() | rounds["lactate_limit"].ne("")]
        for table, rows in (("rounds", drawn), ("lactate", lactate)):
            _complain(table, rows, young, "lactate_mmol_l", "minors_blood", "blood was sampled", findings)
    if not approval.minors_maximal:
        known = known_aerobic_tests()
        hard = set(known.loc[known["maximal"], "test"])
        tests = tables["aerobic_tests"]
        rows = tests[tests["test"].isin(hard) & _has_result(tests)]
        _complain("aerobic_tests", rows, young, "test", "minors_maximal", "a maximal test was done", findings)


def _has_result(tests: pd.DataFrame) -> pd.Series:
    """Tell in which rows of aerobic_tests something was measured, beside what a new folder has filled in."""
    numbers = [c for c in tests.select_dtypes("number") if c not in (*source_columns("aerobic_tests"), "occasion")]
    return tests[numbers].notna().any(axis=1) | tests["file"].ne("")


def _complain(table, rows, young, column, flag, what, findings: Findings) -> None:
    for line in rows[rows["athlete"].isin(young)].itertuples(index=False):
        findings.problem(
            *place(table, line),
            column,
            getattr(line, column),
            f"{what} of somebody under {ADULT_YEARS}, and study.toml states no approval for it",
            f'where the committee approved exactly that, write approval = "number" and {flag} = true under [ethics]; else '
            "set the value aside in decisions and tell the committee",
            keepable=True,
        )


def unfilled_places(text: str) -> list[tuple[int, str]]:
    """List the places in [brackets] that nobody has filled in."""
    return [(text.count("\n", 0, found.start()) + 1, " ".join(found[1].split())) for found in _PLACE.finditer(text)]


def check_texts(folder: Path, findings: Findings) -> None:
    """Name texts in texts/ that cannot be read; remark on those that still have places in brackets."""
    for path in sorted(Path(folder, "texts").glob("*.md")):
        problem, remedy = not_itself(path, Path(folder))
        try:
            if not problem and not path.is_file():
                problem, remedy = "not a file", "put the text itself there, or take this away"
            places = [] if problem else unfilled_places(path.read_text(encoding="utf-8-sig"))
        except OSError as error:
            problem, remedy = f"cannot be read ({error.strerror})", "check that you may read it"
        except UnicodeDecodeError:
            problem, remedy = "not saved as UTF-8", "save it again as UTF-8"
        if problem:
            findings.problem_of(f"texts/{path.name}", problem, remedy)
            continue
        if places:
            lines = ", ".join(dict.fromkeys(str(line) for line, _ in places))
            count = f"{len(places)} places in brackets are" if len(places) > 1 else "1 place in brackets is"
            findings.remark(
                f"texts/{path.name}",
                places[0][0],
                "",
                f"[{places[0][1][:40]}]",
                f"{count} not filled in (lines {lines})" if len(places) > 1 else f"{count} not filled in",
                "fill each in, or delete it with its brackets; until then the text is printed with a mark across every page",
            )
