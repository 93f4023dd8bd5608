"""The phrases about fitness, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results: {outcome} is its name, {step} a step of fitness ("10 mL/kg/min"), {yardstick}
what that is in the test that was used, {low} and {high} the ends of an interval in words, {matters} the smallest
difference that matters, {people} how many athletes.
"""

from __future__ import annotations

# for the coach
RUN_LOWER = "Fitter athletes run lower"
RUN_HIGHER = "Fitter athletes run higher"
HAVE_LOWER = "Fitter athletes have a lower {outcome}"
HAVE_HIGHER = "Fitter athletes have a higher {outcome}"
SHOWN = "{Finding}: someone {step} fitter{yardstick} by {size} (95 % interval {span})."
AGAINST = "{Finding}, against what was expected: someone {step} fitter{yardstick} by {size} (95 % interval {span})."
TOO_SMALL = (
    "Fitter and less fit athletes are the same within {matters} in {outcome}. Someone {step} fitter{yardstick} could lie anywhere "
    "from {low} to {high} ({level})."
)
OPEN_RUN = "We cannot tell yet whether fitter athletes run lower. Someone {step} fitter{yardstick} could run from {low} to {high} (95 % interval)."
OPEN = "We cannot tell yet whether fitter athletes {asked}. Someone {step} fitter{yardstick} could be anywhere from {low} to {high} (95 % interval)."
OPEN_IS_NOT_NONE = "That does not show that fitness plays no part."
WHO = "That is from {people}{equal}."
EQUAL = ", at equal {beside}"
AT_EQUAL = "At equal {beside}."
LEVELS = " (about {count} shuttle levels)"

ASKED = {"lower": "have a lower {outcome}", "higher": "have a higher {outcome}", "differs": "differ in {outcome}"}

# for the write-up
PLANNED = (
    "We related {outcome} to aerobic capacity in {people} ({values}){adjusted}. An athlete with {step} more had a mean that "
    "differed by {size} (95 % interval {span}; t({df}) = {t}, p {p})."
)
ADJUSTED = ", with {beside} held equal"
NOT_ADJUSTED = ", without adjustment"
OFF_SCALE = "The interval holds for every place that readings off the analyser's scale may have."
BESIDE_SAME = "As {outcome} the difference was {size} ({span}), with the same reading."
BESIDE_OTHER = "In {outcome} the difference was {size} ({span}): {reading}."
ABSTRACT = "Athletes {step} fitter differed by {size} in {outcome} (95 % interval {span}): {reading}."
ABSTRACT_READING = {
    "negligible": "too little to matter",
    "supported": "as expected",
    "opposite": "against what was expected",
    "too imprecise": "neither a relation nor its absence was shown",
}
CORRELATION = "Over athletes, without adjustment, the correlation was r = {r} ({span}; p {p})."
NO_CORRELATION = "A correlation over athletes is not defined, since one of the two does not vary."
READING = {
    "negligible": "The difference was shown to be smaller than the {matters} that would matter.",
    "supported": "The data support {hypothesis}.",
    "opposite": "The data speak against {hypothesis}: the interval lies on the other side of zero.",
    "too imprecise": "The data neither support {hypothesis} nor show that there is none.",
}
HYPOTHESIS = {
    "lower": "a lower {outcome} in fitter athletes",
    "higher": "a higher {outcome} in fitter athletes",
    "differs": "a relation of capacity with {outcome}",
}
CHECKS = (
    "Of {count} other analyses, {same} lead to the same sign, {shown} would call it shown, and {contrary} would call the "
    "contrary shown."
)
ONE_ATHLETE = "Leaving out any one athlete leaves the reading as it is."
ONE_ATHLETE_TURNS = "Leaving out one athlete changes the reading in {changed} of {count} cases."

# beside the answer
WHOEVER = "Whoever is left out, someone {step} fitter differs by between {low} and {high}"
WHOEVER_SAME = "{whoever}, and the conclusion stays the same. Nobody was removed."
WHOEVER_TURNS = "{whoever}; without {who} we would conclude something else. Nobody was removed."
ONE_CERTAIN = "one certain athlete"
ANY_OF = "any of {changed} athletes"
ONLY_ONE_ANALYSIS = "The planned analysis is the only one that these data allow."
MANY_ANALYSES = (
    "There are {count} reasonable ways to analyse these data. Of these, {same} point the same way as the planned one, {shown} "
    "would call that shown, and {contrary} would call the contrary shown."
)
TEST_UNKNOWN = (
    "We cannot say how much of a weak relation is the fitness test's own error, because its error is not known."
)
TEST_HIDES_ALL = (
    "The test's error is as large as the differences in fitness between these athletes: a weak relation here may be the fault "
    "of the test altogether."
)
TEST_HIDES = (
    "The error of the fitness test alone hides about {hidden} of the correlation. Even if fitness decided everything, this "
    "test in this group would show a correlation of about {left} instead of 1."
)
SHRINKS_EFFECT = "It shrinks the effect too, to about {share} of its size."
KEEPS_EFFECT = "This kind of error does not shrink the effect."

FITTER_HAVE = "Fitter athletes have a {lower} {measure}."
SEVERAL_LOOKS = "These were several looks at the same data: take them as hints."
DRIFT_OPEN = "We cannot tell from these data whether fitter athletes differ in {measures}."

WITHIN = {
    "up": "In rounds in which an athlete's {x} is higher, the same athlete's {y} is higher too",
    "down": "In rounds in which an athlete's {x} is higher, the same athlete's {y} is lower",
    "": "We cannot tell whether an athlete's {x} and {y} rise and fall together from round to round",
}
BETWEEN = {
    "up": "athletes with a higher {x} on average have a higher {y}",
    "down": "athletes with a higher {x} on average have a lower {y}",
    "": "we cannot tell whether athletes with a higher {x} on average also differ in {y}",
}
LEVELS_APART = "{within}. Between athletes, which is another question, {between} ({people})."
