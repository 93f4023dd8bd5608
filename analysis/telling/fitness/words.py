"""Parts of the sentences about fitness: words of steps and spans, correlations, test error, influence, drift."""

from __future__ import annotations

import math

from ...basics import format_ci, format_df, format_number, format_p, format_percent, join_words
from ...study import known_outcome
from ...study.outcomes import Outcome

COVARIATES = {
    "hr_max_bpm": "measured maximal heart rate",
    "age_years": "age",
    "mass_kg": "body mass",
    "experience_years": "years of training",
}


AGREE = "These agree in sign and in whether zero lies inside the interval."
DISAGREE = "These do not all agree in sign, or in whether zero lies inside the interval: none should be relied on alone."


def digits_of(known: Outcome) -> int:
    """Return the decimals of a difference: at least one."""
    return max(known.digits, 1)


def lower_first(label: str) -> str:
    """Return the label as it stands inside a sentence."""
    return label[:1].lower() + label[1:]


def step_words(step: float, unit: str) -> str:
    """Write a step of capacity with its unit: "5 mL/kg/min"."""
    return format_number(step, 0 if float(step).is_integer() else 2, unit=unit)


def size_words(value: float, known: Outcome) -> str:
    """Write a size that somebody chose, without decimals that were not chosen: "5 bpm"."""
    unit = known.unit.removesuffix("s") if value == 1 and known.unit == "points" else known.unit
    return format_number(value, 0 if float(value).is_integer() else digits_of(known), unit=unit)


def with_minus(words: str) -> str:
    """Give "-1" inside words a real minus sign."""
    return words.replace("-1", "\N{MINUS SIGN}1")


def fine_digits(low: float, high: float) -> int:
    """Decimals that keep a limit close to 0 from reading "0.00"."""
    return 2 if min(abs(low), abs(high)) >= 0.005 else 3


def percent_interval(level: float) -> str:
    """Write the name of an interval: "95 % interval"."""
    return f"{format_percent(level)} interval"


def fitter(answer) -> str:
    """Name who is compared."""
    return "fitter athletes" + (f" at equal {beside(answer)}" if answer.adjusted_for else "")


def beside(answer) -> str:
    """Name what is held equal."""
    return join_words([COVARIATES.get(c, c.replace("_", " ")) for c in answer.adjusted_for])


def span(low: float, high: float, known: Outcome, *, joint: str = "to") -> str:
    """Write a range of changes in words: "7.6 bpm less to 0.9 bpm more"."""
    return f"{_side(low, known)} {joint} {_side(high, known)}"


def _side(value: float, known: Outcome) -> str:
    if value is None or not math.isfinite(value):
        return "no limit"
    digits = digits_of(known)
    size = format_number(abs(value), digits, unit=known.unit)
    if float(f"{abs(value):.{digits}f}") == 0:
        return size
    return f"{size} {'less' if value < 0 else 'more'}"


def write_up_correlations(answer) -> str:
    """Write the correlations over athletes side by side, and whether they agree."""
    table = answer.correlations.set_index("analysis")
    pearson = table.loc["Pearson"]
    if math.isnan(pearson["estimate"]):
        return "Over athletes no correlation is defined, since one of the two does not vary."
    level = percent_interval(answer.planned.level)
    boot, rank, robust = (table.loc[n] for n in ("Pearson, bootstrap", "Spearman", "Percentage bend"))
    n, t = pearson["n_athletes"], f"t({format_df(pearson['df'])}) = {format_number(pearson['statistic'], 2)}"
    text = (
        "Over athletes (means balanced for missed rounds, not adjusted) the correlation was r = "
        f"{format_number(pearson['estimate'], 2)} ({level}: Fisher {format_ci(pearson['ci_low'], pearson['ci_high'], 2)}, "
        f"bootstrap {format_ci(boot['ci_low'], boot['ci_high'], 2)}; {t}, p {format_p(pearson['p'])}; permutation p "
        f"{format_p(table.loc['Pearson, permutation', 'p'])}; n = {n}), by ranks {format_number(rank['estimate'], 2)} "
        f"(Spearman; Bonett-Wright {format_ci(rank['ci_low'], rank['ci_high'], 2)})"
    )
    if not math.isnan(robust["estimate"]):
        text += f", and {format_number(robust['estimate'], 2)} by the robust percentage bend"
    text += ". " + (AGREE if answer.correlations_agree else DISAGREE)
    if "Partial" in table.index:
        row = table.loc["Partial"]
        text += (
            f" At equal {beside(answer)} the partial correlation was {format_number(row['estimate'], 2)} "
            f"({format_ci(row['ci_low'], row['ci_high'], 2)}; t({format_df(row['df'])}) = "
            f"{format_number(row['statistic'], 2)}, p {format_p(row['p'])})."
        )
    return f"{text} {_bayes(table)}"


def _bayes(table) -> str:
    factor, directed = table.loc["Bayes factor"], None
    if "Bayes factor, expected direction" in table.index:
        directed = table.loc["Bayes factor, expected direction"]
    value = factor["bayes_factor"]
    if math.isnan(value):
        return ""
    text = (
        f"Bayes factor for a correlation against none {_factor(value)}, prior {with_minus(factor['prior'])}"
    )
    if directed is not None and not math.isnan(directed["bayes_factor"]):
        text += f"; with the prior on the expected side only {_factor(directed['bayes_factor'])}"
    return text + "."


def _factor(value: float) -> str:
    if value > 1000:
        return "above 1000"
    return "below 0.01" if value < 0.01 else format_number(value, 2)


def write_up_error(answer) -> str:
    """Write what the error of the fitness test does to the correlation and to the effect."""
    known, found = known_outcome(answer.outcome), answer.correction
    rows = answer.errors.set_index("quantity") if len(answer.errors) else None
    texts = []
    if found is not None:
        texts.append(_error_sentence(answer, found, rows.loc["correlation"], rows.loc["effect"], known))
    if rows is not None and "correlation in a wider range" in rows.index:
        row = rows.loc["correlation in a wider range"]
        wider = (
            f"{format_number(row['reference_sd'], 1)}, as {row['method'].split(';')[0].removeprefix('as ')},"
        )
        texts.append(
            f"The athletes' capacities spread by an SD of {format_number(row['capacity_sd'], 1)} {answer.capacity_unit}; in a "
            f"group with an SD of {wider} the same line would give r of about {format_number(row['estimate'], 2)} instead of "
            f"{format_number(row['observed'], 2)}."
        )
    if texts:
        texts.append("These are estimates, not tests.")
    return " ".join(texts)


def _error_sentence(answer, found, r, effect, known) -> str:
    digits, per = digits_of(known), step_words(answer.capacity_step, answer.capacity_unit)
    what = {
        "retest": "retest error, which shrinks both correlation and slope",
        "prediction": "prediction error, which shrinks the correlation but not the slope",
    }[found.kind]
    unit = answer.capacity_unit
    text = (
        f"The fitness test errs by {format_number(found.error_sd, 2)} {unit} ({what}), against an SD between athletes of "
        f"{format_number(found.capacity_sd, 2)} {unit} (n = {found.n_athletes}; reliability "
        f"{format_number(found.reliability, 2)}, {format_ci(found.reliability_low, found.reliability_high, 2)})."
    )
    if r["corrected"]:
        text += (
            f" It leaves {format_percent(found.attenuation)} of the correlation: from {format_number(r['observed'], 2)} as "
            f"measured to {format_number(r['estimate'], 2)} without it ({format_ci(r['ci_low'], r['ci_high'], 2)})."
        )
    else:
        text += " With that, the correlation cannot be corrected."
    if found.kind == "prediction":
        return f"{text} The effect stays as it is."
    if not effect["corrected"]:
        return (
            f"{text} The effect cannot be corrected either."
            if not r["corrected"]
            else f"{text} The effect cannot be corrected."
        )
    return (
        f"{text} The effect of {per} goes from {format_number(effect['observed'], digits, sign=True)} to "
        f"{format_number(effect['estimate'], digits, sign=True, unit=known.unit)} "
        f"({format_ci(effect['ci_low'], effect['ci_high'], digits)})."
    )
