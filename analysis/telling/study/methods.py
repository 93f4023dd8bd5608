"""Sentences about how it was analysed, and with what."""

from __future__ import annotations

import re

from ...basics import format_number, format_p, format_percent, join_words, plural
from ...study import OUTCOMES, planned, topics
from ...study.outcomes import short_question
from ...study.plan_rules import about_looks, about_multiplicity

BY_KIT = "proposed by the kit"


def write_up_plan(study, outcomes: tuple[str, ...], questions: tuple = ()) -> list[str]:
    """Say what was asked, when that was fixed, and how large an effect has to be to matter."""
    plan = study.plan
    if plan.frozen:
        text = f"The plan was fixed on {_date(plan)} and has a checksum."
    else:
        text = "No plan was fixed before the data were collected, so that every test below is exploratory, whatever its p."
    paragraphs = [text + _hypotheses(planned(study)) + (_status(questions) if plan.frozen else "")]
    if any(q.status == "confirmatory" for q in questions):
        paragraphs.append(about_multiplicity(planned(study)))
    asked = [o for o in outcomes if o in plan.smallest_effects and _is_primary(plan, o)]
    if asked:
        sizes = [_size(plan, o) for o in asked]
        reasons = [_reason(plan, o) for o in asked]
        if len(set(reasons)) > 1 or len(asked) == 1:
            sizes = [f"{size} ({why})" if why else size for size, why in zip(sizes, reasons, strict=True)]
            alike = ""
        else:
            everyone = "both " if len(asked) == 2 else "all "
            alike = (
                f" ({everyone if reasons[0] == BY_KIT else 'for each: '}{reasons[0]})" if reasons[0] else ""
            )
        paragraphs.append(f"The smallest change that matters was set to {join_words(sizes)}{alike}.")
    return paragraphs


def _status(questions: tuple) -> str:
    """Say which questions are confirmatory, and why the others are not."""
    reasons: dict[str, list[str]] = {}
    confirmed = []
    for q in questions:
        words = short_question(q.id)
        (confirmed if q.status == "confirmatory" else reasons.setdefault(q.why, [])).append(words)
    text = f" Confirmatory are the questions of {join_words(confirmed)}." if confirmed else ""
    for why, words in reasons.items():
        text += f" Exploratory, since {why}: {join_words(words)}."
    return text


def write_up_claim(questions: tuple, family: str, outcome: str) -> list[str]:
    """Say where an effect that is shown by itself is not claimed, since several questions were tested together."""
    for q in questions:
        if q.id.startswith(f"{family}.") and q.outcome == outcome and q.shown_alone:
            others = len(q.family) - 1
            return [
                f"Tested together with {plural(others, 'other question')} by Holm's method, {format_p(q.p_adjusted)}: by "
                "the plan the effect is not claimed."
            ]
    return []


def _date(plan) -> str:
    from .sentences import day

    return day(str(plan.frozen.get("date", "an unknown date"))[:10])


def _hypotheses(plan) -> str:
    if "hypotheses" in plan.proposed:
        return " No direction was written down; the kit's own are taken: rising over the rounds, lower in fitter athletes."
    words = {
        "lower": "is lower in fitter athletes",
        "higher": "is higher in fitter athletes",
        "rises": "rises over the rounds",
        "falls": "falls over the rounds",
    }
    said = [
        f"{OUTCOMES[h.outcome].label.lower()} {words[h.direction]}"
        for h in plan.hypotheses
        if h.outcome in OUTCOMES and h.direction in words
    ]
    return f" It was expected that {join_words(said)}." if said else ""


def _is_primary(plan, outcome: str) -> bool:
    return outcome in plan.primary_outcomes.values()


def _size(plan, outcome: str) -> str:
    known = OUTCOMES[outcome]
    amount = format_number(plan.smallest_effects[outcome], _digits(plan.smallest_effects[outcome]))
    unit = known.unit if amount != "1" else known.unit.removesuffix("s")
    return f"{amount}\N{NO-BREAK SPACE}{unit} for {known.label.lower()}"


def _reason(plan, outcome: str) -> str:
    reason = plan.smallest_effect_reasons.get(outcome, "").rstrip(". ")
    if f"smallest_effects.{outcome}" in plan.proposed or reason.startswith("our proposal"):
        return BY_KIT
    return reason[:1].lower() + reason[1:]


def _percent(share: float) -> str:
    return format_percent(share, 0 if round(100 * share, 6).is_integer() else 1)


def _digits(value: float) -> int:
    return next((d for d in (0, 1, 2) if abs(value - round(value, d)) < 1e-9), 3)


def write_up_statistics(
    plan, outcomes: tuple[str, ...], *, with_fitness: bool, with_published: bool
) -> list[str]:
    """Describe the analyses that were done."""
    if not outcomes:
        return []
    alpha = f"α = {format_number(plan.alpha, _digits(plan.alpha)).lstrip('0')}"
    paragraphs = [
        "Each outcome was compared over the rounds in a linear mixed model with a fixed effect of round and a random "
        "intercept for each athlete, fitted by restricted maximum likelihood, with Kenward-Roger standard errors and "
        "degrees of freedom (Kenward and Roger, 1997). The rounds of one athlete are repeated measurements of that "
        "athlete and are nowhere counted as independent; athletes with a missing round stay in the analysis. Because "
        "the model takes all pairs of rounds to be equally related, a change over the rounds is claimed only where the "
        "test also holds with the correction of Greenhouse and Geisser (1959), and cluster-robust (CR2) contrasts "
        "stand beside those of the model. A step, or the change from the first round to the last, is claimed only inside "
        "a change over all rounds and after the sequential adjustment of Shaffer (1986): together they err in no more than "
        f"{_percent(plan.alpha)} of studies without a change. Intervals are not adjusted.",
        "A difference that is not significant is not taken as equality. Two rounds are called equivalent only where two "
        "one-sided tests put their difference inside plus or minus the smallest change that matters (Schuirmann, 1987); "
        "the outcome is said to stop changing from the first round from which on every pair is equivalent. Where neither "
        "a change nor equivalence is shown, the text says so.",
    ]
    paragraphs += about_looks(plan)
    if any(OUTCOMES[o].ordinal for o in outcomes):
        paragraphs.append(
            "Ratings of exertion have an order but no equal steps: a change in them was decided by permutation tests within "
            "athletes on common ranks, which keep athletes with missing rounds; Friedman's test stands beside them."
        )
    if with_fitness:
        paragraphs.append(
            "Whether fitter athletes respond less is a question about athletes, not about rounds. It was answered by the "
            "slope of the outcome on aerobic capacity between athletes, in the same mixed model with the adjustment that "
            "stands with each result, and by correlations over athletes: Pearson with Fisher's interval, Spearman with the "
            "interval of Bonett and Wright (2000), and a bootstrap. What goes together within an athlete from round to "
            "round was analysed apart, by the repeated-measures correlation (Bland and Altman, 1995)."
        )
    if with_published:
        paragraphs.append(
            "Agreement with published findings was judged by whether our estimate lies in the prediction interval of the "
            "published one, and by what our sample could have detected, rather than by whether both are significant."
        )
    asked = [topics()[OUTCOMES[o].question].words for o in outcomes if _is_primary(plan, o)]
    primary = f" The primary outcomes are those of {join_words(list(dict.fromkeys(asked)))}." if asked else ""
    paragraphs.append(
        f"Tests are two-sided at {alpha}, also where a direction was expected; each question has one primary outcome, and the "
        f"other outcomes of a question are adjusted after Holm.{primary} Values are shown as mean and standard deviation (SD), "
        "estimates with their 95\N{NO-BREAK SPACE}% interval; p values are exact unless below .001."
    )
    return paragraphs


def write_up_power(design) -> list[str]:
    """Say what a study of this size could be expected to show."""
    if not design:
        return []
    questions = design.questions
    change = questions[questions["part"] == "change"]
    slope = questions[questions["part"] == "slope"]
    whose = "of the kit" if design.proposed else "that were made beforehand"
    parts = []
    if len(change):
        shown = join_words([f"{_share(r)} for {_question_word(r)}" for r in change.to_dict("records")])
        parts.append(f"a change from the first to the last round, {shown}")
    if len(slope):
        shown = join_words([f"{_share(r)} for {_question_word(r)}" for r in slope.to_dict("records")])
        parts.append(f"a difference between fitter and less fit athletes, {shown}")
    if not parts:
        return []
    start = f"Under the assumptions {whose}, a study of {plural(design.n, 'athlete')} who complete "
    start += f"{plural(design.rounds, 'round')} has these chances to show an effect that is just large enough to matter: "
    return [f"{start}{'; '.join(parts)}."]


def _share(row: dict) -> str:
    return format_percent(row["power_smallest"])


def _question_word(row: dict) -> str:
    return topics()[str(row["question"]).split(".")[-1]].words


def write_up_software(versions: dict[str, str], seed: int) -> list[str]:
    """Name the software and the seed."""
    packages = [f"{name} {v}" for name, v in versions.items() if name not in ("kit", "python")]
    return [
        f"The analysis was run with the club sparring study kit {versions['kit']} in Python {versions['python']} with "
        f"{join_words(packages)}; random numbers start from seed {seed}, so that every number can be reproduced."
    ]


METHODS = {
    r"Bland and Altman,? 1995": "Bland JM, Altman DG (1995) British Medical Journal 310:446.",
    r"Bonett and Wright,? \(?2000": "Bonett DG, Wright TA (2000) Psychometrika 65:23-28.",
    r"Greenhouse and Geisser,? \(?1959": "Greenhouse SW, Geisser S (1959) Psychometrika 24:95-112.",
    r"Holm,? \(?1979": "Holm S (1979) Scandinavian Journal of Statistics 6:65-70.",
    r"Kenward and Roger,? \(?1997": "Kenward MG, Roger JH (1997) Biometrics 53:983-997.",
    r"Loe,? 2013": "Loe H, et al. (2013) PLoS ONE 8:e64319.",
    r"Ly, Verhagen and Wagenmakers,? \(?2016": (
        "Ly A, Verhagen J, Wagenmakers EJ (2016) Journal of Mathematical Psychology 72:19-32."
    ),
    r"Shaffer \(1986": "Shaffer JP (1986) Journal of the American Statistical Association 81:826-831.",
    r"Schuirmann,? \(?1987": "Schuirmann DJ (1987) Journal of Pharmacokinetics and Biopharmaceutics 15:657-680.",
}
"""What a text says -> the source."""


def list_sources(text: str, answers) -> tuple[str, ...]:
    """List the sources of a write-up in order of their names."""
    found = {source for pattern, source in METHODS.items() if re.search(pattern, text)}
    found |= {_sentence(s) for s in _tests(answers)} | {_sentence(s) for s in _published(answers)}
    return tuple(sorted(found, key=str.casefold))


def _sentence(text: str) -> str:
    text = text.strip().rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."


def _tests(answers) -> list[str]:
    tests = answers.description.participants.tests
    if tests.empty:
        return []
    from ...physiology import known_aerobic_tests

    known = known_aerobic_tests()
    used = known[known["test"].isin(tests["test"])]
    if "default" in used:
        used = used[used["default"].astype(bool)]
    return [
        f"{title}: {source}"
        for title, source in zip(used["title"], used["source"], strict=True)
        if re.search(r"\b(19|20)\d\d\b", source)
    ]


def _published(answers) -> list[str]:
    published = answers.study.published
    return [s for s in dict.fromkeys(published["source"]) if s] if answers.published() else []
