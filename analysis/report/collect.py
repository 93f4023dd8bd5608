"""Everything that the study answers, under names, for results.json."""

from __future__ import annotations

from .about import versions
from .sentences.closing import deviations


def collect_results(answers) -> dict:
    """Gather every result of a study."""
    study, outcomes = answers.study, answers.measured_outcomes
    return {
        "study": {
            "title": study.title,
            "sport": study.sport,
            "protocol": study.protocol,
            "plan": study.plan,
            "seed": answers.seed,
        },
        "description": answers.description,
        "deviations": [
            dict(zip(("part", "planned", "done"), line, strict=True)) for line in deviations(answers)
        ],
        "software": versions(),
        "cleaning": _cleaning(answers),
        "rounds": {outcome: answers.rounds(outcome) for outcome in outcomes},
        "reliability": {outcome: answers.reliability(outcome) for outcome in outcomes},
        "capacity": answers.capacity,
        "fitness": {outcome: answers.fitness(outcome) for outcome in outcomes},
        "levels": answers.levels(),
        "published": answers.published(),
        "design": answers.design(),
        "survey": answers.survey(),
    }


def _cleaning(answers):
    cleaned = answers.cleaned
    if not cleaned:
        return cleaned
    return {
        "rows": cleaned.rows,
        "clocks": cleaned.clocks,
        "flags": cleaned.flags_table,
        "overrides": cleaned.overrides,
        "bounds": cleaned.bounds,
        "rules": cleaned.rules,
        "balance": cleaned.ledger.balance(),
        "remarks": cleaned.remarks,
        "warnings": cleaned.warnings,
    }
