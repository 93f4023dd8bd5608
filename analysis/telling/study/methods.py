"""Sentences about how it was analysed, and with what; and the sources that a write-up names."""

from __future__ import annotations

import re

from ...basics import format_number, format_p, format_percent, join_words, lower_first, plural, upper_first
from ...physiology import known_aerobic_tests
from ...study import OUTCOMES, planned, topics
from ...study.fixed_plan import about_looks, about_multiplicity
from ...study.outcomes import short_question
from . import phrases as say
from .sentences import day

BY_KIT = "proposed by the kit"


def write_up_plan(study, outcomes: tuple[str, ...], questions: tuple = ()) -> list[str]:
    """Say what was asked, when that was fixed, and how large an effect has to be to matter."""
    plan = study.plan
    fixed_on = day(str(plan.frozen.get("date", "an unknown date"))[:10]) if plan.frozen else ""
    said = [say.FIXED.format(date=fixed_on)] if plan.frozen else [say.NOT_FIXED]
    said += [
        say.AMENDED.format(date=entry["fixed_on"], why=str(entry["reason"]).rstrip("."))
        for entry in (plan.frozen or {}).get("amendments", ())
    ]
    said += (
        _hypotheses(planned(study))
        if not any(h.text for h in planned(study).hypotheses) or "hypotheses" in planned(study).proposed
        else [say.EXPECTED if plan.frozen else say.EXPECTED_UNFIXED]
    )
    paragraphs = [" ".join(said)]
    status = _status(questions) if plan.frozen else []
    if any(q.status == "confirmatory" for q in questions):
        status.append(about_multiplicity(planned(study)))
    paragraphs += [" ".join(status)] if status else []
    asked = [o for o in outcomes if o in plan.smallest_effects and o in plan.primary_outcomes.values()]
    if asked:
        by_kit = {smallest_reason(plan, o) for o in asked} == {BY_KIT}
        sizes = join_words([_size(plan, o) for o in asked])
        paragraphs.append((say.SMALLEST_BY_KIT if by_kit else say.SMALLEST).format(sizes=sizes))
    return paragraphs


def _status(questions: tuple) -> list[str]:
    """Say which questions are confirmatory, and why the others are not."""
    reasons: dict[str, list[str]] = {}
    confirmed = []
    for q in questions:
        words = short_question(q.id)
        (confirmed if q.status == "confirmatory" else reasons.setdefault(q.why, [])).append(words)
    said = []
    if confirmed and not reasons and len(confirmed) > 1:
        said.append(say.CONFIRMATORY_ALL.format(count=len(confirmed)))
    elif confirmed:
        phrase = say.CONFIRMATORY_ONE if len(confirmed) == 1 else say.CONFIRMATORY
        said.append(phrase.format(questions="; ".join(confirmed)))
    return said + [say.EXPLORATORY.format(why=why, questions="; ".join(words)) for why, words in reasons.items()]


def write_up_claim(questions: tuple, family: str, outcome: str) -> str:
    """Say where an effect that is shown by itself is not claimed, since several questions were tested together."""
    for q in questions:
        if q.id.startswith(f"{family}.") and q.outcome == outcome and q.shown_alone:
            others = plural(len(q.family) - 1, "other question")
            return say.NOT_CLAIMED.format(others=others, p=format_p(q.p_adjusted))
    return ""


def _hypotheses(plan) -> list[str]:
    if "hypotheses" in plan.proposed:
        return [say.KIT_DIRECTIONS]
    phrases = {
        "rises": say.EXPECTED_RISE,
        "falls": say.EXPECTED_FALL,
        "lower": say.EXPECTED_LOWER,
        "higher": say.EXPECTED_HIGHER,
    }
    said = []
    for direction, phrase in phrases.items():
        asked = [h.outcome for h in plan.hypotheses if h.outcome in OUTCOMES and h.direction == direction]
        labels = [OUTCOMES[outcome].label.lower() for outcome in asked]
        if labels:
            said.append(phrase.format(outcomes=join_words(list(dict.fromkeys(labels)))))
    return said


def _size(plan, outcome: str) -> str:
    return f"{smallest_words(plan, outcome)} for {OUTCOMES[outcome].label.lower()}"


def smallest_words(plan, outcome: str) -> str:
    """The smallest change that matters of an outcome, with its unit."""
    known = OUTCOMES[outcome]
    amount = format_number(plan.smallest_effects[outcome], _digits(plan.smallest_effects[outcome]))
    unit = known.unit if amount != "1" else known.unit.removesuffix("s")
    return f"{amount}\N{NO-BREAK SPACE}{unit}"


def smallest_reason(plan, outcome: str) -> str:
    """Why an effect of this size matters, in the words of the plan."""
    reason = plan.smallest_effect_reasons.get(outcome, "").rstrip(". ")
    if f"smallest_effects.{outcome}" in plan.proposed or reason.startswith("our proposal"):
        return BY_KIT
    return lower_first(reason)


def _percent(share: float) -> str:
    return format_percent(share, 0 if round(100 * share, 6).is_integer() else 1)


def _digits(value: float) -> int:
    return next((d for d in (0, 1, 2) if abs(value - round(value, d)) < 1e-9), 3)


def write_up_statistics(
    plan,
    outcomes: tuple[str, ...],
    *,
    with_rounds: bool,
    with_fitness: bool,
    with_published: bool,
    off_scale: bool = False,
    bouts: bool = False,
    step: str = "",
) -> list[str]:
    """Describe the analyses that are reported; `step` is how far apart in fitness athletes are compared."""
    if not outcomes:
        return []
    paragraphs = []
    if with_rounds:
        paragraphs += [
            f"{say.MODEL} {say.BOUTS}" if bouts else say.MODEL,
            say.CLAIM,
            say.STEPS.format(level=_percent(plan.alpha)),
            say.EQUALITY,
        ]
    paragraphs += about_looks(plan)
    if with_rounds and any(OUTCOMES[o].ordinal for o in outcomes):
        paragraphs.append(say.RATINGS)
    if off_scale:
        paragraphs.append(say.OFF_SCALE)
    if with_fitness:
        model = say.SAME_MODEL if with_rounds else say.FITNESS_MODEL
        paragraphs.append(say.FITNESS.format(step=step, model=model))
    if with_published:
        paragraphs.append(say.PUBLISHED)
    alpha = f"α = {format_number(plan.alpha, _digits(plan.alpha)).lstrip('0')}"
    return [*paragraphs, say.LEVELS_OF_TESTS.format(alpha=alpha)]


def write_up_power(design, asked: set[str]) -> list[str]:
    """Say what a study of this size could be expected to show."""
    if not design:
        return []
    questions = design.questions[design.questions["question"].isin(asked)]
    parts = []
    for part, phrase in (("change", say.POWER_CHANGE), ("slope", say.POWER_FITNESS)):
        rows = questions[questions["part"] == part]
        if len(rows):
            words = [topics()[q.split(".")[-1]].words for q in rows["question"]]
            powers = [format_percent(v) for v in rows["power_smallest"]]
            said = [f"{power} for {word}" for power, word in zip(powers, words, strict=True)]
            parts.append(phrase.format(shares=join_words(said)))
    if not parts:
        return []
    start = say.POWER.format(
        people=plural(design.n, "athlete"),
        rounds=plural(design.rounds, "round"),
        whose="of the kit" if design.proposed else "made beforehand",
    )
    return [" ".join([start, *parts])]


def write_up_software(versions: dict[str, str], seed: int) -> list[str]:
    """Name the software and the seed; the packages stand in a table."""
    return [say.SOFTWARE.format(kit=versions["kit"], python=versions["python"], seed=seed)]


METHODS = {
    r"Adams,? \(?2014": (
        "Adams WM, Ferraro EM, Huggins RA, Casa DJ (2014) Influence of body mass loss on changes in heart rate during exercise "
        "in the heat: a systematic review. Journal of Strength and Conditioning Research 28:2380-2389."
    ),
    r"Bonett and Wright,? \(?2000": (
        "Bonett DG, Wright TA (2000) Sample size requirements for estimating Pearson, Kendall and Spearman correlations. "
        "Psychometrika 65:23-28."
    ),
    r"Greenhouse and Geisser,? \(?1959": (
        "Greenhouse SW, Geisser S (1959) On methods in the analysis of profile data. Psychometrika 24:95-112."
    ),
    r"Holm,? \(?1979": (
        "Holm S (1979) A simple sequentially rejective multiple test procedure. Scandinavian Journal of Statistics 6:65-70."
    ),
    r"Kenward and Roger,? \(?1997": (
        "Kenward MG, Roger JH (1997) Small sample inference for fixed effects from restricted maximum likelihood. Biometrics "
        "53:983-997."
    ),
    r"Liang and Zeger,? \(?1986": (
        "Liang KY, Zeger SL (1986) Longitudinal data analysis using generalized linear models. Biometrika 73:13-22."
    ),
    r"Loe,? 2013": (
        "Loe H, Rognmo Ø, Saltin B, Wisløff U (2013) Aerobic capacity reference data in 3816 healthy men and women 20-90 "
        "years. PLoS ONE 8:e64319."
    ),
    r"Ly, Verhagen and Wagenmakers,? \(?2016": (
        "Ly A, Verhagen J, Wagenmakers EJ (2016) Harold Jeffreys's default Bayes factor hypothesis tests: explanation, "
        "extension, and application in psychology. Journal of Mathematical Psychology 72:19-32."
    ),
    r"MacKinnon and White,? \(?1985": (
        "MacKinnon JG, White H (1985) Some heteroskedasticity-consistent covariance matrix estimators with improved finite "
        "sample properties. Journal of Econometrics 29:305-325."
    ),
    r"Mancl and DeRouen,? \(?2001": (
        "Mancl LA, DeRouen TA (2001) A covariance estimator for GEE with improved small-sample properties. Biometrics "
        "57:126-134."
    ),
    r"Pustejovsky and Tipton,? \(?2018": (
        "Pustejovsky JE, Tipton E (2018) Small-sample methods for cluster-robust variance estimation and hypothesis testing in "
        "fixed effects models. Journal of Business and Economic Statistics 36:672-683."
    ),
    r"Schuirmann,? \(?1987": (
        "Schuirmann DJ (1987) A comparison of the two one-sided tests procedure and the power approach for assessing the "
        "equivalence of average bioavailability. Journal of Pharmacokinetics and Biopharmaceutics 15:657-680."
    ),
    r"Shaffer,? \(?1986": (
        "Shaffer JP (1986) Modified sequentially rejective multiple test procedures. Journal of the American Statistical "
        "Association 81:826-831."
    ),
    r"Simonsohn,? \(?2015": (
        "Simonsohn U (2015) Small telescopes: detectability and the evaluation of replication results. Psychological Science "
        "26:559-569."
    ),
    r"Spence and Stanley,? \(?2016": (
        "Spence JR, Stanley DJ (2016) Prediction interval: what to expect when you're expecting a replication. PLoS ONE "
        "11:e0162874."
    ),
}
"""What a text says -> the source. Titles from memory; year, journal and pages as noted beside the code that uses them."""

TESTS = {
    "Léger 1988 J Sports Sci 6:93-101": (
        "Léger LA, Mercier D, Gadoury C, Lambert J (1988) The multistage 20 metre shuttle run test for aerobic fitness. "
        "Journal of Sports Sciences 6:93-101."
    )
}
"""Source of an equation as the kit notes it -> the same in full."""


def list_sources(text: str, answers) -> tuple[str, ...]:
    """List the sources of a write-up in order of their names."""
    found = {source for pattern, source in METHODS.items() if re.search(pattern, text)}
    found |= {_sentence(s) for s in _tests(answers)} | {_sentence(s) for s in _published(answers)}
    return tuple(sorted(found, key=str.casefold))


def _sentence(text: str) -> str:
    text = text.strip().rstrip(".")
    return f"{upper_first(text)}."


def _tests(answers) -> list[str]:
    tests = answers.description.participants.tests
    if tests.empty:
        return []
    known = known_aerobic_tests()
    used = known[known["test"].isin(tests["test"])]
    if "default" in used:
        used = used[used["default"].astype(bool)]
    return [TESTS.get(s, s) for s in used["source"] if re.search(r"\b(19|20)\d\d\b", s)]


def _published(answers) -> list[str]:
    published = answers.study.published
    return [s for s in dict.fromkeys(published["source"]) if s] if answers.published() else []
