"""The plan fixed before the data: written once, dated, with a checksum; read again, and compared by its checksum."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from ..basics import KitError, Result
from .model import Study
from .outcomes import OUTCOMES
from .plan import QUESTIONS, Hypothesis, Plan
from .plan_document import PlanDocument, describe_plan
from .protocol import Protocol

FIXED_FILE = "plan_fixed.json"
FIXED_SETTINGS = ("sampling", "cleaning", "capacity", "rounds", "replication")
"""Sections of study.toml that are fixed with the plan and the protocol."""

Justification = str | Sequence[str] | Mapping | None


@dataclass(frozen=True)
class FixedPlan(Result):
    """A plan as it was fixed.

    Parameters
    ----------
    date : str
        When, as 2026-11-25.
    checksum : str
        SHA-256 of what was fixed.
    intact : bool
        True where file and document still belong to that checksum.
    plan : Plan
    protocol : Protocol
    fixed : dict
        Everything that was fixed, as it stands in the file.
    document_name : str
        The Markdown document beside it.
    """

    date: str
    checksum: str
    intact: bool
    plan: Plan
    protocol: Protocol
    fixed: dict = field(default_factory=dict)
    document_name: str = ""


def checksum_of(fixed: Mapping) -> str:
    """Return the SHA-256 of what a plan fixes, whatever the order of its keys."""
    text = json.dumps(fixed, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def freeze_plan(
    study: Study, *, justification: Justification = None, today: dt.date | None = None
) -> PlanDocument:
    """Fix the plan of a study: write it once into the study folder, dated and with its checksum.

    Parameters
    ----------
    study : Study
        Loaded without problems.
    justification : str, sequence of str or mapping, optional
        Why this number of athletes: paragraphs, or a mapping with "paragraphs" and plain values such as "n_athletes".
    today : datetime.date, optional
        Default: today.

    Returns
    -------
    PlanDocument
        What was written, for other formats; `path` is the Markdown document, `files` all that was written.

    Raises
    ------
    KitError
        Where a plan has been fixed before: it is never overwritten.

    Examples
    --------
    >>> import tempfile
    >>> from analysis.study import load_study, new_study
    >>> study = load_study(new_study(tempfile.mkdtemp() + "/autumn"))
    >>> freeze_plan(study, justification="As many as the club has.", today=dt.date(2026, 11, 25)).path.name
    'plan_2026-11-25.md'
    """
    folder = Path(study.folder)
    date = (today or dt.date.today()).isoformat()
    document_name = f"plan_{date}.md"
    earlier = sorted(p.name for p in folder.glob("plan_*") if p.name == FIXED_FILE or p.suffix == ".md")
    if earlier:
        raise KitError(
            f"A plan has been fixed in this folder before ({', '.join(earlier)}) and is not overwritten. What you do "
            "otherwise is listed as a deviation; for another study start another folder."
        )
    fixed = _what_is_fixed(study, date, justification)
    checksum = checksum_of(fixed)
    document = describe_plan(study, date=date, checksum=checksum, paragraphs=_paragraphs(justification))
    text = document.markdown()
    content = {
        "about": "The plan of this study as it was fixed. Do not change this file: its checksum would no longer fit.",
        "checksum": checksum,
        "document": document_name,
        "document_sha256": hashlib.sha256(text.encode("utf-8")).hexdigest(),
        "fixed": fixed,
    }
    paths = (folder / document_name, folder / FIXED_FILE)
    _write_new(paths[0], text)
    try:
        _write_new(paths[1], json.dumps(content, indent=2, ensure_ascii=False, sort_keys=True) + "\n")
    except OSError:
        paths[0].unlink(missing_ok=True)
        raise
    return replace(document, path=paths[0], files=paths)


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError:
        raise KitError(f"{path.name} is there already and is not overwritten.") from None


def _paragraphs(justification: Justification) -> tuple[str, ...]:
    if justification is None:
        return ()
    if isinstance(justification, str):
        return tuple(filter(None, (part.strip() for part in justification.split("\n\n"))))
    if isinstance(justification, Mapping):
        return _paragraphs(justification.get("paragraphs") or justification.get("text"))
    return tuple(str(part) for part in justification)


def _what_is_fixed(study: Study, date: str, justification: Justification) -> dict:
    plan = study.plan
    dates = sorted(d for d in study.sessions["date"] if d)
    return plain_values(
        {
            "date": date,
            "title": study.title,
            "sport": study.sport,
            "protocol": protocol_values(study.protocol),
            "plan": {
                "primary_session": plan.primary_session,
                "alpha": plan.alpha,
                "hypotheses": [vars(h) for h in plan.hypotheses],
                "primary_outcomes": plan.primary_outcomes,
                "smallest_effects": plan.smallest_effects,
                "smallest_effect_reasons": plan.smallest_effect_reasons,
                "covariates": plan.covariates,
                "exclusions": plan.exclusions,
                "capacity_unit": plan.capacity_unit,
                "round_variable": plan.round_variable,
                "n_athletes": plan.n_athletes,
                "proposed": plan.proposed,
            },
            "settings": {name: study.settings[name] for name in FIXED_SETTINGS if name in study.settings},
            "justification": justification
            if isinstance(justification, Mapping)
            else _paragraphs(justification),
            "session_dates": dates,
            "rows_of_rounds_already_there": len(study.rounds),
        }
    )


def protocol_values(protocol: Protocol) -> dict:
    """Return a protocol as plain values."""
    return {
        "rounds": protocol.rounds,
        "work_s": protocol.work_s,
        "rest_s": protocol.rest_s,
        "exertion_scale": protocol.exertion_scale,
        "groups": {name: protocol_values(p) for name, p in protocol.groups.items()},
    }


def plain_values(value):
    """Return a value in the types of JSON, so that it reads back as it was written."""
    if isinstance(value, Mapping):
        return {str(k): plain_values(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain_values(v) for v in value]
    if value is None or isinstance(value, bool | str):
        return value
    if hasattr(value, "item"):  # a number of numpy
        value = value.item()
    if isinstance(value, float):
        return value if value == value and abs(value) != float("inf") else str(value)
    return value if isinstance(value, int) else str(value)


def load_fixed_plan(folder: str | Path) -> FixedPlan | None:
    """Read the fixed plan of a study folder.

    Parameters
    ----------
    folder : path
        The study folder.

    Returns
    -------
    FixedPlan or None
        None where no plan has been fixed.

    Raises
    ------
    KitError
        Where the file is there but cannot be read.

    Examples
    --------
    >>> load_fixed_plan("no such folder") is None
    True
    """
    path = Path(folder) / FIXED_FILE
    if not path.is_file():
        return None
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        fixed, checksum = content["fixed"], content["checksum"]
        plan, protocol = _read_plan(fixed["plan"], fixed["date"], checksum), _read_protocol(fixed["protocol"])
        document_name, document_sum = content["document"], content["document_sha256"]
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise KitError(
            f"{FIXED_FILE} cannot be read ({type(error).__name__}): it was changed after the plan was fixed. "
            "Put the original back."
        ) from None
    document = Path(folder) / Path(str(document_name)).name
    same = document.is_file() and hashlib.sha256(document.read_bytes()).hexdigest() == document_sum
    return FixedPlan(
        fixed["date"], checksum, same and checksum_of(fixed) == checksum, plan, protocol, fixed, document.name
    )


def _read_plan(part: dict, date: str, checksum: str) -> Plan:
    known = {
        **part,
        "hypotheses": tuple(Hypothesis(**h) for h in part["hypotheses"]),
        "covariates": tuple(part["covariates"]),
        "exclusions": tuple(part["exclusions"]),
        "proposed": tuple(part["proposed"]),
    }
    if not all(h.question in QUESTIONS and h.outcome in OUTCOMES for h in known["hypotheses"]):
        raise ValueError("a hypothesis that the kit cannot have written")
    return Plan(**known, frozen={"date": date, "checksum": checksum})


def _read_protocol(part: dict) -> Protocol:
    groups = {name: _read_protocol(p) for name, p in part["groups"].items()}
    return Protocol(part["rounds"], part["work_s"], part["rest_s"], part["exertion_scale"], groups)
