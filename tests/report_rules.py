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
    (r"(at|to|of|by|was|lies) not available|not available (to|bpm)", "a value that is not there in running text"),
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


MAIN = ("answers", "paper")
"""The layers that are read from top to bottom."""

MOST_IN_SENTENCE, MOST_IN_PARAGRAPH, MOST_IN_ANSWERS = 35, 110, 250
LEAST_READING_EASE = 60
OWN_WORDS = ("Sources", "Further sources", "Introduction", "Statements")
"""Sections that hold the words of others: titles of papers, hypotheses as the club wrote them."""


def sentences_of(text):
    """Split a paragraph where a sentence ends."""
    return [s for s in re.split(r"(?<=[.!?])\s+(?=[A-Z\d“(])", text.replace("\N{NO-BREAK SPACE}", "_")) if s]


def syllables_of(word):
    """Count syllables: groups of vowels, without a silent e at the end; a number or a unit counts as one."""
    letters = re.sub(r"[^a-z]", "", word.lower())
    if not letters:
        return 1
    count = len(re.findall(r"[aeiouy]+", letters))
    if letters.endswith("e") and not letters.endswith(("le", "ee")) and count > 1:
        count -= 1
    return max(count, 1)


def reading_ease(sentences):
    """Flesch (1948) J Appl Psychol 32:221-233: 206.835 - 1.015 words a sentence - 84.6 syllables a word."""
    words = [w for s in sentences for w in re.split(r"[\s_]+", s) if w]
    syllables = sum(map(syllables_of, words))
    return 206.835 - 1.015 * len(words) / len(sentences) - 84.6 * syllables / len(words)


def faults_of_length(document):
    """Return sentences and paragraphs of the main text that are too long, and a first screen that is too full."""
    found = []
    for layer in MAIN:
        for section in document.of_layer(layer):
            if section.title in OWN_WORDS:
                continue
            for block in section.blocks:
                if not hasattr(block, "kind"):
                    continue
                text = "".join(words for _, _, words in document.pieces(block.text))
                if len(text.split()) > MOST_IN_PARAGRAPH:
                    found.append(f"[{section.title}] paragraph of {len(text.split())} words: {text[:60]}…")
                for sentence in sentences_of(text):
                    if len(sentence.replace("_", " ").split()) > MOST_IN_SENTENCE:
                        found.append(f"[{section.title}] long sentence: {sentence}")
    words = answers_words(document)
    if len(words) > MOST_IN_ANSWERS:
        found.append(f"[answers] {len(words)} words")
    ease = reading_ease(answers_sentences(document))
    return found + ([f"[answers] reading ease {ease:.0f}"] if ease < LEAST_READING_EASE else [])


def _answers_texts(document):
    for section in document.of_layer("answers"):
        yield section.title
        yield section.verdict
        yield from (block.text for block in section.blocks if hasattr(block, "text"))


def answers_words(document):
    """The words of the first screen, headings and verdicts included."""
    return [w for text in _answers_texts(document) for w in text.split()]


def answers_sentences(document):
    """The sentences of the first screen, headings and verdicts included."""
    return [s for text in _answers_texts(document) for s in sentences_of(text)]


def faults_of_references(document):
    """Return figures and tables that no text points to, and those that a paper may not have so many of."""
    from analysis.telling.document import REFERENCE, Picture, Table

    cited, found = {}, []
    for layer in ("paper", "supplement"):
        text = " ".join(b.text for b in document.blocks(layer=layer) if hasattr(b, "text"))
        cited[layer] = {(m[1], m[2]) for m in REFERENCE.finditer(text)}
        for kind, block in ((Picture, "figure"), (Table, "table")):
            for item in document.blocks(kind, layer=layer):
                if (block, item.key) not in cited["paper"] | cited[layer]:
                    found.append(f"[{layer}] {block} {item.key} is not cited")
    for kind, most in ((Table, 5), (Picture, 4)):
        count = len(list(document.blocks(kind, layer="paper")))
        found += [f"[paper] {count} of {kind.__name__}"] if count > most else []
    return found


def check_write_up(answers):
    """Return every fault of the write-up of one study: words, length, numbers, intervals, claims beside their results."""
    from analysis.report.build import build_document, collect_results
    from analysis.report.results_json import to_plain
    from analysis.telling.document import Table

    document = build_document(answers, own=True)
    results = to_plain(collect_results(answers))
    everything = every_number(results)
    faults = faults_of_length(document) + faults_of_references(document)
    for section in document.sections:
        text = "\n".join(
            "".join(w if kind == "text" else "REF" for kind, _, w in document.pieces(t)) for t in _texts_of(section)
        )
        part = _results_of(section, results)
        known = set(everything) if part is results else every_number(part)
        known |= _derived(section, answers, known)
        where = f"[{section.layer}: {section.title}] "
        faults += [where + f for f in faults_of_words(text)]
        if section.title not in ("Reporting checklists", "Sources", "Further sources"):
            faults += [where + f for f in unknown_numbers(text, known, allowed=frozenset({"33"}))]
        faults += [where + f for f in intervals_that_miss(text)]
    for table in document.blocks(Table):
        cells = "\n".join(str(c) for row in table.shown.itertuples(index=False) for c in row)
        if table.numbers is not None:
            known = every_number(to_plain(table.numbers)) | set(everything)
            known |= {1 / v for v in known if v and table.key == "evidence"}
            faults += [f"[{table.key}] {f}" for f in unknown_numbers(cells, known | _scaled(answers, known))]
        faults += [f"[{table.key}] {f}" for f in faults_of_words(cells) if "spacing" not in f]
    return faults + claims_that_contradict(answers, document) + numbers_that_differ(answers, document)


def _scaled(answers, known):
    """Slopes are printed for athletes so far apart."""
    steps = {a.contrast_step for o in answers.measured_outcomes if (a := answers.fitness(o))}
    return {v * step for v in known for step in steps}


def _derived(section, answers, known):
    """What is counted or converted on the way to a sentence."""
    found = set()
    if section.title in ("Measurements", "Athletes and data"):  # seconds of the ledger are printed as minutes
        found |= {v / 60 for v in known}
    if section.title.startswith("Fitness") or section.layer == "answers" or section.title == "Abstract":
        found |= _scaled(answers, known)
        for outcome in answers.measured_outcomes:
            chart = getattr(answers.fitness(outcome), "specifications", None)
            if chart is not None:
                shares = (chart.share_same_sign, chart.share_excluding_zero, chart.share_opposite)
                found |= {float(round(chart.n_specifications * s)) for s in shares}
            answer = answers.fitness(outcome)
            if answer:
                found.add(float((answer.influence["verdict"] != answer.verdict).sum()))
    if section.title == "Change over the rounds":
        for outcome in answers.primary_outcomes:
            if answer := answers.rounds(outcome):
                ways = answer.sensitivity.iloc[1:]
                ways = ways[~ways["analysis"].str.contains("tipping") & ways["agrees"].notna()]
                found |= {float(len(ways)), float((~ways["agrees"].astype(bool)).sum())}
    if section.layer == "answers" and answers.cleaned:
        rows = answers.cleaned.rows
        rows = rows[(rows["round_no"] > 0) & rows["took_part"].isin(["yes", "part"])]
        found |= {float(len(rows)), float(rows["hr_mean_bpm"].notna().sum())}
        found.add(float((rows["hr_source"] == "typed").sum()))
    return found


def _texts_of(section):
    for block in section.blocks:
        if hasattr(block, "text"):
            yield block.text
        elif hasattr(block, "items"):
            yield from block.items
        elif hasattr(block, "caption"):
            yield block.caption
            yield getattr(block, "note", "")


def _results_of(section, results):
    """The part of the results that a section may take its numbers from."""
    if section.layer != "paper":
        return results
    return {
        "Change over the rounds": [results["rounds"], results["reliability"]],
        "Fitness and the response": [results["fitness"], results["levels"]],
        "Comparison with published findings": [results["published"], results["study"]],
        "Plan and size": [results["study"], results["design"]],
        "Protocol and conditions": [results["study"], results["description"]],
        "Measurements": [results["study"], results["description"], results["cleaning"]],
        "Heart-rate processing": [results["cleaning"]],
        "Athletes and data": [results["description"], results["cleaning"]],
        "Limitations": [results["description"], results["fitness"]],
    }.get(section.title, results)


def numbers_that_differ(answers, document):
    """Return quantities that first screen, paper and tables do not all give alike: one number, one unit."""
    from analysis.basics import format_ci, format_number
    from analysis.study.outcomes import OUTCOMES, digits_of
    from analysis.telling.document import Table
    from analysis.telling.rounds.sentences import shown_interval

    faults = []
    paper = document.text("paper").replace("\N{NO-BREAK SPACE}", " ")
    tables = {t.key: t.shown for t in document.blocks(Table)}
    for outcome in answers.primary_outcomes:
        answer = answers.rounds(outcome)
        if not answer:
            continue
        step, digits = answer.steps.iloc[-1], digits_of(OUTCOMES[outcome])
        low, high = shown_interval(answer, step)
        table = tables["contrasts"]
        row = table[table["Outcome"].replace("", None).ffill() == OUTCOMES[outcome].axis_label].iloc[-1]
        if row.iloc[2] != format_number(step["estimate"], digits, sign=True):
            faults.append(f"{outcome}: {row.iloc[2]} in the table of steps")
        if row.iloc[3] != format_ci(low, high, digits):
            faults.append(f"{outcome}: {row.iloc[3]} in the table of steps, {format_ci(low, high, digits)} in the text")
        falling = step["label"] == "changed" and step["estimate"] < 0
        said = format_ci(-high, -low, digits) if falling else format_ci(low, high, digits)
        if said not in paper:
            faults.append(f"{outcome}: {said} is not in the paper")
    for outcome in answers.measured_outcomes:
        answer = answers.fitness(outcome)
        if not answer or outcome not in answers.primary_outcomes or "capacity" not in tables:
            continue
        known = OUTCOMES[outcome]
        rows = tables["capacity"][tables["capacity"]["Outcome"] == known.axis_label]
        said = format_ci(answer.contrast_ci_low, answer.contrast_ci_high, digits_of(known))
        if len(rows) and (rows.iloc[0, 3] != said or said not in paper):
            faults.append(f"{outcome}: {rows.iloc[0, 3]} in the table of fitness, {said} in the text")
    return faults


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
        if ("changed over the rounds (" in long) != (answer.changed is True):
            faults.append(f"{outcome}: claim of a change, changed = {answer.changed}")
        if ("was not shown (" in long) == (answer.changed is True):
            faults.append(f"{outcome}: change left open, changed = {answer.changed}")
        if "were the same within" in plain and " if " not in plain and not answer.plateau_from:
            faults.append(f"{outcome}: said to be level from a round on, none found")
        for word, sign in (("rose", 1), ("fell", -1)):
            first, last = answer.labels[0], answer.labels[-1]
            ends = rf"{word} \S+ from round {first} to round {last}\b(?! {last})"
            if re.search(ends, plain) and sign * answer.steps.iloc[-1]["estimate"] <= 0:
                faults.append(f"{outcome}: {word}, estimate {answer.steps.iloc[-1]['estimate']}")
    for outcome in answers.measured_outcomes:
        answer = answers.fitness(outcome)
        if not answer:
            continue
        plain = plain_capacity(answer)
        lower = plain.startswith(("Fitter athletes run lower", "Fitter athletes have a lower"))
        higher = plain.startswith(("Fitter athletes run higher", "Fitter athletes have a higher"))
        if (lower or higher) != (answer.verdict in ("supported", "opposite")):
            faults.append(f"{outcome}: direction claimed, verdict {answer.verdict}")
        if (lower and answer.contrast >= 0) or (higher and answer.contrast <= 0):
            faults.append(f"{outcome}: said to be {'lower' if lower else 'higher'}, effect {answer.contrast}")
        if "are the same within" in plain and answer.verdict != "negligible":
            faults.append(f"{outcome}: said to be too small, verdict {answer.verdict}")
        if "We cannot tell yet" in plain and not answer.contrast_ci_low <= 0 <= answer.contrast_ci_high:
            faults.append(f"{outcome}: said to be open, interval {answer.contrast_ci_low} to {answer.contrast_ci_high}")
    return faults
