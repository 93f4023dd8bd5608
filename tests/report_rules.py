"""What every sentence of a write-up must keep, whatever the study: rules used by the tests and by the long run."""

import math
import re

NUMBER = re.compile(r"(?<![\w.,])[+−-]?(?:\d+(?:\.\d+)?|\.\d+)(?![\w])")
CITED = re.compile(r"\((?:[^()]*[A-Z][^()]*,? )?(?:19|20)\d\d[a-z]?\)|\b(?:19|20)\d\d\b")
FORBIDDEN = (
    (r"\bnan\b|\bNaN\b|\bNone\b(?! of)|\binf\b|\bNaT\b", "a missing value came through"),
    (r"(?<![\d.])[−-]0(\.0+)?(?![\d.])", "minus zero"),
    (r"p\s*=\s*0?\.?0+(?![\d.]*[1-9])", "p = 0"),
    (r"p\s*=\s*1(\.0+)?(?![\d])", "p = 1"),
    (
        r"\bno (statistically )?(significant )?(difference|change|effect|relation|association|correlation)s?\b",
        "absence claimed",
    ),
    (r"\b(did|do|does) not (differ|change|matter)\b", "absence claimed"),
    (r"\bbecause of the rounds\b|\bcaused by\b|\bdue to (fitness|the rounds)\b", "a cause claimed"),
    (r"\bprove[sd]?\b(?! that training)|\bsignificant(ly)?\b(?!\b)", "too strong a word"),
    (
        r"(at|to|of|by|was|lies) not available|not available (to|bpm)",
        "a value that is not there in running text",
    ),
    (r"[{}]|%\(|<[a-z/]", "a template came through"),
    (r"\b1 (athletes|rounds|points|values|women|men)\b", "singular and plural"),
    (r"  |\s[,;]|\s\.(?!\d)|\.\.|,,", "spacing"),
    (r"\b(\w+) \1\b(?<!that that)(?<!had had)", "a word twice"),
)


def faults_of_words(text):
    """Return what is wrong with the words of a text."""
    found = []
    for pattern, why in FORBIDDEN:
        if why == "too strong a word":
            continue
        for match in re.finditer(pattern, text):
            around = text[max(0, match.start() - 60) : match.end() + 40].replace("\n", " ")
            if why == "absence claimed" and re.search(
                r"(not taken as|no proof|not show|may not|is not|nor|against no)", around
            ):
                continue
            found.append(f"{why}: …{around}…")
    return found


def every_number(value, found=None):
    """Return every number in plain data."""
    found = set() if found is None else found
    if isinstance(value, bool) or value is None:
        return found
    if isinstance(value, int | float):
        found.add(float(value))
    elif isinstance(value, dict):
        for k, v in value.items():
            every_number(v, found)
            found.update(float(m) for m in re.findall(r"\d+", str(k)))
    elif isinstance(value, list):
        found.add(float(len(value)))
        for v in value:
            every_number(v, found)
    elif isinstance(value, str):
        found.update(float(m) for m in re.findall(r"\d+(?:\.\d+)?", value))
    return found


def unknown_numbers(text, numbers, *, allowed=frozenset()):
    """Return the numbers of a text that are no rounding of any number known."""
    text = CITED.sub(" ", text)
    text = re.sub(r"\b(\d+):(\d\d)(?=\N{NO-BREAK SPACE}min)", lambda m: str(60 * int(m[1]) + int(m[2])), text)
    text = re.sub(
        r"\b\d+:[e\d]\d*(-\d+)?\b|\b[ab] = [\d.]+", " ", text
    )  # volume:pages; constants of a published formula
    text = re.sub(r"\b(90|95)\N{NO-BREAK SPACE}%|\b90 and\b|CR2|R2|\bIC\w+|95 %|90 %", " ", text)
    unknown = []
    tables = {}
    for match in NUMBER.finditer(text):
        word = match[0]
        if word in allowed:
            continue
        digits = len(word.split(".")[1]) if "." in word else 0
        if digits not in tables:
            finite = [abs(v) for v in numbers if math.isfinite(v)]
            tables[digits] = {f"{v:.{digits}f}" for v in finite} | {f"{100 * v:.{digits}f}" for v in finite}
        plain = word.lstrip("+−-")
        plain = f"0{plain}" if plain.startswith(".") else plain
        if plain not in tables[digits] and float(plain) not in (0.001, 0.999):
            unknown.append(f"{word} in …{text[max(0, match.start() - 50) : match.end() + 20]}…")
    return unknown


INTERVAL = re.compile(
    r"([+−]?\d+(?:\.\d+)?)(?:[ \N{NO-BREAK SPACE}][^\s();,]+)? \((?:90|95)\N{NO-BREAK SPACE}% interval "
    r"([+−]?\d+(?:\.\d+)?)(?:\N{NO-BREAK SPACE}\S+)? to ([+−]?\d+(?:\.\d+)?)"
)


def intervals_that_miss(text):
    """Return the estimates that do not lie inside the interval printed beside them."""
    missing = []
    for match in INTERVAL.finditer(text):
        value, low, high = (float(g.replace("−", "-").replace("+", "")) for g in match.groups())
        digits = max(len(g.split(".")[1]) if "." in g else 0 for g in match.groups())
        slack = 10.0**-digits
        if not low - slack <= value <= high + slack:
            missing.append(match[0])
    return missing


def check_write_up(answers):
    """Return every fault of the write-up of one study: words, numbers, intervals, and claims beside their results."""
    from analysis.report.build import collect_results
    from analysis.report.document import build_document
    from analysis.report.results_json import to_plain
    from analysis.telling.document import Table

    document = build_document(answers)
    results = to_plain(collect_results(answers))
    faults, everything = [], None
    for section in document.sections:
        text = "\n".join(
            "".join(w if kind == "text" else "REF" for kind, _, w in document.pieces(t))
            for t in _texts_of(section)
        )
        part = _results_of(section.title, results)
        if part is results:
            everything = everything or every_number(results)
        known = set(everything) if part is results else every_number(part)
        if section.title == "Measurements":  # seconds of the ledger are printed as minutes
            known |= {v / 60 for v in known}
        if section.title.startswith("Comparison"):  # a Bayes factor below 1 is printed as "1 in ..." too
            known |= {1 / v for v in known if v}
        if section.title.startswith("Fitness and"):  # slopes are printed for a step of capacity
            steps = {a.capacity_step for o in answers.measured_outcomes if (a := answers.fitness(o))}
            known |= {v * step for v in known for step in steps}
        where = f"[{section.title}] "
        faults += [where + f for f in faults_of_words(text)]
        faults += [
            where + f
            for f in unknown_numbers(text, known)
            if section.title not in ("Reporting checklists", "Sources")
        ]
        faults += [where + f for f in intervals_that_miss(text)]
    for table in document.blocks(Table):
        cells = "\n".join(str(c) for row in table.shown.itertuples(index=False) for c in row)
        if table.numbers is not None:
            faults += [
                f"[{table.key}] {f}" for f in unknown_numbers(cells, every_number(to_plain(table.numbers)))
            ]
        faults += [f"[{table.key}] {f}" for f in faults_of_words(cells) if "spacing" not in f]
    return faults + claims_that_contradict(answers, document)


def _texts_of(section):
    for block in section.blocks:
        if hasattr(block, "text"):
            yield block.text
        elif hasattr(block, "items"):
            yield from block.items
        elif hasattr(block, "caption"):
            yield block.caption
            yield getattr(block, "note", "")


def _results_of(title, results):
    """The part of the results that a section may take its numbers from."""
    from analysis.study.outcomes import OUTCOMES

    for name, outcome in OUTCOMES.items():
        if title == f"{outcome.label} over the rounds":
            return [results["rounds"].get(name), results["reliability"].get(name)]
        if title == f"Fitness and {outcome.label.lower()}":
            return [results["fitness"].get(name), results["levels"]]
    return {
        "Comparison with published findings": [results["published"], results["study"]],
        "Plan and size": [results["study"], results["design"]],
        "Protocol and conditions": [results["study"], results["description"]],
        "Measurements": [results["study"], results["description"], results["cleaning"]],
        "Athletes and data": [results["description"], results["cleaning"]],
        "Limitations": [results["description"], results["fitness"]],
        "Departures from the plan": [results["deviations"]],
    }.get(title, results)


def claims_that_contradict(answers, document):
    """Return the claims that the results do not carry."""
    from analysis.telling.fitness.sentences import plain_capacity
    from analysis.telling.rounds.sentences import plain_rounds, write_up_rounds

    faults = []
    for outcome in answers.primary_outcomes:
        answer = answers.rounds(outcome)
        if not answer:
            continue
        plain, long = plain_rounds(answer), " ".join(write_up_rounds(answer))
        if ("A change over the rounds was shown." in long) != (answer.changed is True):
            faults.append(f"{outcome}: claim of a change, changed = {answer.changed}")
        if "stayed level" in plain and answer.verdict != "equivalent":
            faults.append(f"{outcome}: said to stay level, verdict {answer.verdict}")
        if "it was level" in plain.lower() and not answer.plateau_from:
            faults.append(f"{outcome}: said to be level from a round on, none found")
        for word, sign in (("it rose by", 1), ("it fell by", -1)):
            if f"first to the last {word}" in plain and sign * answer.steps.iloc[-1]["estimate"] <= 0:
                faults.append(f"{outcome}: {word}, estimate {answer.steps.iloc[-1]['estimate']}")
    for outcome in answers.measured_outcomes:
        answer = answers.fitness(outcome)
        if not answer:
            continue
        plain = plain_capacity(answer)
        lower = "had a lower" in plain
        if (lower or "had a higher" in plain) != (answer.verdict in ("supported", "opposite")):
            faults.append(f"{outcome}: direction claimed, verdict {answer.verdict}")
        if lower and answer.effect >= 0:
            faults.append(f"{outcome}: said to be lower, effect {answer.effect}")
        if "too little" in plain and answer.verdict != "negligible":
            faults.append(f"{outcome}: said to be too small, verdict {answer.verdict}")
        if "cannot be told" in plain and not answer.contrast_ci_low <= 0 <= answer.contrast_ci_high:
            faults.append(
                f"{outcome}: said to be open, interval {answer.contrast_ci_low} to {answer.contrast_ci_high}"
            )
    return faults
