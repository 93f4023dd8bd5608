"""Sentences about our results beside published ones: for the coach and for the write-up; the words in `phrases`."""

from __future__ import annotations

import math

from ...basics import format_ci, format_number, format_p, if_answered, join_words, lower_first, plural
from ...basics.words import format_df, format_level
from ...capacity.adjustment import covariate_words
from ...study import known_outcome
from ...study.outcomes import digits_of
from ..words import CI, two_lists
from . import phrases as say

ASPECTS = {
    "sport": "sport",
    "sex": "sex of the athletes",
    "rounds": "number of rounds",
    "work_s": "length of a round",
    "rest_s": "rest between rounds",
    "sample_site": "where blood was taken",
    "sample_delay_s": "delay of the blood sample",
    "clothing": "clothing",
}


def named(finding: str) -> str:
    """Return the name of a published finding in quotation marks."""
    return f"\N{LEFT DOUBLE QUOTATION MARK}{finding}\N{RIGHT DOUBLE QUOTATION MARK}"


def with_interval(value: float, low: float, high: float, digits: int) -> str:
    """Write an estimate with its interval: "−0.4 bpm (95 % interval −1.0 to 0.2)"."""
    text = format_number(value, digits)
    return text if math.isnan(low) else f"{text} (95\N{NO-BREAK SPACE}% interval {format_ci(low, high, digits)})"


def plain_bound(line: dict) -> str:
    """Say what a published p without a correlation means, and where ours lies."""
    words = {
        "outcome": lower_first(known_outcome(line["outcome"]).label),
        "paper": named(line["finding"]),
        "n": line["n_athletes"],
        "size": format_number(line["r_low"], 2),
        "ours": format_number(line["r_new"], 2),
    }
    if line["how"] == "from a bound on p":
        return say.BOUND.format(**words, where=say.INSIDE if line["inside"] else say.BELOW)
    return say.ONLY_P.format(**words)


@if_answered()
def plain_correlations(answer) -> str:
    """Say in plain words, one published relation after the other, how ours lies beside it."""
    said = [plain_correlation(c, answer) for c in answer.correlations]
    said += [plain_bound(line) for line in answer.p_only.to_dict("records")]
    said += [_plain_slope(line) for line in answer.slopes.to_dict("records")]
    return "\n\n".join(said) or say.NO_RELATION


def plain_correlation(c, answer) -> str:
    """Say how our correlation lies beside one published correlation."""
    numbers = {"theirs": c.r, "ours": c.r_new, "low": c.prediction_low, "high": c.prediction_high}
    words = {name: format_number(r, 2) for name, r in numbers.items()}
    words |= {"outcome": lower_first(known_outcome(c.outcome).label), "paper": named(c.finding)}
    words |= {"n": c.n, "people": plural(c.n_new, "athlete")}
    phrase = {"smaller": say.WEAKER, "larger": say.STRONGER, "opposite": say.OTHER_WAY}.get(c.verdict)
    phrase = phrase or (say.FITS_LITTLE if c.says_little else say.FITS)
    sides = (say.HIGHER, say.LOWER) if c.r_new > 0 else (say.LOWER, say.HIGHER)
    said = [say.BESIDE.format(**words), phrase.format(**words, side=sides[0], paper_side=sides[1])]
    if c.verdict == "opposite":
        rows = answer.protocols[(answer.protocols["finding"] == c.finding) & (answer.protocols["same"] == "no")]
        aspects = join_words([ASPECTS[a] for a in rows["aspect"]])
        said.append(say.WHY_APART.format(aspects=aspects) if aspects else say.WHY_UNKNOWN)
    return " ".join([*said, _signal(c)])


def abstract_correlation(c) -> str:
    """Say for an abstract how our correlation lies beside a published one."""
    ours, theirs = format_number(c.r_new, 2), format_number(c.r, 2)
    return say.ABSTRACT[_verdict(c)].format(
        ours=ours, theirs=theirs, outcome=lower_first(known_outcome(c.outcome).label)
    )


def verdict_of(c) -> str:
    """The comparison with one published correlation in a few words."""
    return say.VERDICTS[_verdict(c)]


def _verdict(c) -> str:
    return "little" if c.verdict == "consistent" and c.says_little else c.verdict


def _signal(c) -> str:
    if c.r == 0:
        return say.NO_DIRECTION
    if c.signal:
        return say.SAME_WAY
    return say.OWN_OPEN if _open(c) else say.OTHER_DIRECTION


def _open(c) -> bool:
    return c.ci_low_new <= 0 <= c.ci_high_new


def _plain_slope(line: dict) -> str:
    known = known_outcome(line["outcome"])
    shown = line["difference_low"] > 0 or line["difference_high"] < 0
    return (say.SLOPE_APART if shown else say.SLOPE_OPEN).format(
        outcome=lower_first(known.label),
        ours=format_number(line["estimate"], 2),
        per=f"{known.unit} per {line['unit']}",
        paper=named(line["finding"]),
        theirs=format_number(line["published"], 2),
        span=format_ci(line["difference_low"], line["difference_high"], 2),
    )


@if_answered()
def plain_profiles(answer) -> str:
    """Say in plain words where our round means lie beside published ones."""
    if answer.profiles.empty:
        return say.NO_MEAN
    said = []
    for (finding, outcome), rows in answer.profiles.groupby(["finding", "outcome"], sort=False):
        said.append(plain_profile(finding, known_outcome(outcome), rows))
    return " ".join(said)


def plain_profile(finding: str, known, rows) -> str:
    """Say where our round means of one outcome lie beside those of one paper."""
    digits = digits_of(known)
    words = {"outcome": lower_first(known.label), "paper": named(finding)}
    apart = _apart(rows)
    if apart:
        parts = []
        for r in apart:
            side = say.ABOVE_BY if r["estimate"] > 0 else say.BELOW_BY
            size = format_number(abs(r["estimate"]), digits, unit=known.unit)
            parts.append(f"round {r['round_no']:g} ({side.format(size=size)})")
        rest = len(rows) - len(apart)
        phrase = say.APART_SOME if rest else say.APART
        return phrase.format(**words, rounds=join_words(parts), others=plural(rest, "other round"))
    low, high = rows["ci_low"].min(), rows["ci_high"].max()
    if math.isnan(low):
        return say.NO_SPREAD.format(**words)
    span = format_ci(low, high, digits, unit=known.unit)
    return say.NOT_APART.format(**words, rounds=plural(len(rows), "round"), span=span)


def _apart(rows) -> list[dict]:
    return [r for r in rows.to_dict("records") if r["ci_low"] > 0 or r["ci_high"] < 0]


@if_answered()
def plain_protocols(answer) -> str:
    """Say in plain words in what the published studies differ from ours."""
    said = []
    for finding, rows in answer.protocols.groupby("finding", sort=False):
        names = {same: [ASPECTS[a] for a in rows.loc[rows["same"] == same, "aspect"]] for same in ("no", "not stated")}
        paper = named(finding)
        if names["no"]:
            said.append(say.DIFFERS.format(paper=paper, aspects=join_words(names["no"])))
        if names["not stated"]:
            said.append(say.NOT_STATED.format(paper=paper, aspects=join_words(names["not stated"], "or")))
        if not names["no"] and not names["not stated"]:
            said.append(say.SAME_PROTOCOL.format(paper=paper))
    if (answer.protocols["same"] == "no").any():
        said.append(say.ANOTHER_STUDY)
    return " ".join(said)


@if_answered("no paragraphs")
def write_up_replication(answer) -> list[str]:
    """Write the comparison with published findings: one short paragraph per finding; the rest stands in tables."""
    paragraphs = [_correlation(c) for c in answer.correlations]
    combined = [_combined(o, c) for o, c in answer.combined.items() if c.n_studies > 2]
    bounds = [plain_bound(line) for line in answer.p_only.to_dict("records")]
    slopes = [_plain_slope(line) for line in answer.slopes.to_dict("records")]
    profiles = []
    for (finding, outcome), rows in answer.profiles.groupby(["finding", "outcome"], sort=False):
        steps = answer.steps[(answer.steps["finding"] == finding) & (answer.steps["outcome"] == outcome)]
        profiles.append(_profile(finding, known_outcome(outcome), rows, steps))
    paragraphs += [*combined, *bounds, *slopes, *profiles]
    if paragraphs and (answer.protocols["same"] == "no").any():
        paragraphs.append(say.ANOTHER_STUDY)
    return paragraphs


def _correlation(c) -> str:
    parts = [
        say.REPORTED.format(
            paper=named(c.finding),
            kind=say.KIND_RANKS if "Spearman" in c.note else say.KIND,
            outcome=lower_first(known_outcome(c.outcome).label),
            theirs=with_interval(c.r, c.ci_low, c.ci_high, 2),
            n=c.n,
        ),
        say.OURS.format(
            ours=with_interval(c.r_new, c.ci_low_new, c.ci_high_new, 2),
            p=format_p(c.p_new),
            n=c.n_new,
            inside=say.IN if c.verdict == "consistent" else say.OUT,
            expected=format_ci(c.prediction_low, c.prediction_high, 2),
        ),
    ]
    if not math.isnan(c.smallest_detectable_r):
        phrase = say.DETECT_SMALLER if c.p_undetectable < 0.05 else say.DETECT_OPEN
        parts.append(phrase.format(size=format_number(c.smallest_detectable_r, 2), p=format_p(c.p_undetectable)))
    return " ".join(parts)


def _combined(outcome: str, c) -> str:
    return say.COMBINED.format(
        count=c.n_studies,
        outcome=lower_first(known_outcome(outcome).label),
        both=with_interval(c.estimate, c.ci_low, c.ci_high, 2),
        athletes=c.n_athletes,
    )


def _profile(finding: str, known, rows, steps) -> str:
    digits, unit = digits_of(known), known.unit
    apart = _apart(rows)
    words = {
        "paper": named(finding),
        "n": rows.iloc[0]["n_athletes"],
        "outcome": lower_first(known.label),
        "rounds": plural(len(rows), "round"),
    }
    if rows["ci_low"].isna().all():
        text = say.NO_SPREAD.format(**words)
    else:
        text = (say.PROFILE_SOME if apart else say.PROFILE_ALL).format(**words, differ=len(apart))
    tested = [s for s in steps.to_dict("records") if not math.isnan(s["difference_low"])]
    if not tested:
        return text
    differ = [s for s in tested if s["difference_low"] > 0 or s["difference_high"] < 0]
    if not differ:
        return f"{text} {say.STEPS_OPEN}"
    parts = []
    for s in differ:
        later, _, earlier = s["contrast"].partition(" - ")
        ours, theirs = (format_number(s[c], digits, sign=True, unit=unit) for c in ("estimate", "published"))
        apart = format_ci(s["difference_low"], s["difference_high"], digits)
        parts.append(say.ONE_STEP.format(earlier=earlier, later=later, ours=ours, theirs=theirs, difference=apart))
    return f"{text} " + say.STEPS_DIFFER.format(steps=join_words(parts))


@if_answered()
def may_say_replication(answer) -> str:
    """List what may and what may not be concluded from the comparison."""
    may, may_not = [], [say.MAY_NOT_RIGHT]
    if answer.correlations:
        may_not.append(say.MAY_NOT_SAME_FITNESS)
    phrases = {
        "consistent": say.MAY_FITS,
        "smaller": say.MAY_WEAKER,
        "larger": say.MAY_STRONGER,
        "opposite": say.MAY_OTHER,
    }
    for c in answer.correlations:
        what = f"{named(c.finding)}, {lower_first(known_outcome(c.outcome).label)}"
        may.append(phrases[c.verdict].format(what=what))
        if c.verdict == "consistent" and c.says_little:
            may_not.append(say.MAY_NOT_CONFIRM.format(what=what))
        if not c.signal and _open(c):
            may_not.append(say.MAY_NOT_NOTHING.format(what=what))
    if len(answer.profiles):
        may_not.append(say.MAY_NOT_ATHLETES)
    return two_lists("May be said", may or [say.MAY_MEANS], "May not be said", may_not)


def plain_pool(answer) -> str:
    """Say in plain words what several clubs show together."""
    if not answer.n_clubs:
        return "No two clubs share a protocol with enough athletes who agreed to sharing, so that nothing was pooled."
    said = [f"{plural(answer.n_clubs, 'club')} with {plural(answer.n_athletes, 'athlete')} were pooled."]
    together = answer.table[(answer.table["club"] == "all") & (answer.table["stage"] == "all athletes together")]
    asked = together[together["question"] == "fitness"]
    asked = asked.assign(asked=[known_outcome(name).question or name for name in asked["outcome"]])
    several = len(set(asked["protocol"])) > 1
    # one outcome for each question; the others stand in the paragraphs for the write-up
    for line in asked.drop_duplicates(["protocol", "asked"]).to_dict("records"):
        known, fits = known_outcome(line["outcome"]), f"fits the data at {format_level(0.95)}"
        way = "lower" if line["ci_high"] < 0 else "higher" if line["ci_low"] > 0 else ""
        what = lower_first(known.label) + (f" ({line['protocol']})" if several else "")
        if way:
            size = format_number(abs(line["estimate"]), 2, unit=known.unit)
            span = format_ci(*sorted(abs(line[c]) for c in ("ci_low", "ci_high")), 2, unit=known.unit)
            each = f"by {size} for each mL/kg/min (anything from {span} {fits})"
            said.append(f"Fitter athletes had a {way} {what}: {each}.")
        else:
            less, more = (format_number(abs(line[c]), 2, unit=known.unit) for c in ("ci_low", "ci_high"))
            said.append(
                f"We cannot tell yet whether fitness and {what} go together: anything from {less} less to {more} more for "
                f"each mL/kg/min {fits}."
            )
    return " ".join(said)


def write_up_pool(answer) -> list[str]:
    """Write the pooled results for a journal."""
    paragraphs = [plain_pool(answer)]
    if not answer.n_clubs:
        return paragraphs
    whole = answer.table[answer.table["club"] == "all"]
    for (protocol, outcome, question), lines in whole.groupby(["protocol", "outcome", "question"], sort=False):
        known = known_outcome(outcome)
        told = "; ".join(_pooled(part, known, question) for _, part in lines.groupby("contrast", sort=False))
        about = "change from round to round" if question == "rounds" else "change for each mL/kg/min of capacity"
        paragraphs.append(f"{known.label} ({protocol}), {about}: {told}.")
    return paragraphs


def _pooled(lines, known, question: str) -> str:
    digits = digits_of(known) + (question == "fitness")
    by_stage = {line["stage"]: line for line in lines.to_dict("records")}
    together, each = by_stage["all athletes together"], by_stage.get("club by club")
    later, dash, earlier = together["contrast"].partition(" - ")
    text = f"round {later} minus {earlier}, " if dash else ""
    text += f"one mixed model of {together['n_athletes']} athletes with club, "
    text += _with_p(together, known, digits)
    adjusted = [w for w in together["adjusted_for"].split(", ") if w not in ("", "club")]
    if adjusted:
        text += f", adjusted for {covariate_words(adjusted)}"
    if each and not math.isnan(each["estimate"]):
        text += f"; club by club, {_with_p(each, known, digits)}"
    if not math.isnan(together["p_heterogeneity"]):
        text += f"; clubs differ: p {format_p(together['p_heterogeneity'])}"
    return text


def _with_p(line: dict, known, digits: int) -> str:
    df = "" if math.isnan(line["df"]) else f"; df = {format_df(line['df'])}"
    return (
        f"{format_number(line['estimate'], digits, sign=True, unit=known.unit)} ({CI} "
        f"{format_ci(line['ci_low'], line['ci_high'], digits)}{df}; p {format_p(line['p'])})"
    )
