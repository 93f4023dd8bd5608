"""The phrases about pace, apart from the logic that chooses among them: change any of them here.

Words in braces are filled in from results.
"""

from __future__ import annotations

# in plain words
SPREAD = "(SD between athletes {sd})"
ACTIVE = "Athletes were {states} for {share} of a round on average{spread}."
AGREED = "Raters agreed {well}: the same state in {share} of the seconds (kappa {kappa})."

# for the write-up
MARKED = "What {athletes} did was marked second by second in {rounds} as {states}; {active} counts as activity."
BOTH_RATED = "Raters {rater} and {other} both rated {rounds} of {athletes}: kappa {kappa} ({span}, athletes resampled)"
ICC = ", intraclass correlation of active seconds per round {icc} ({span})"
UNUSED = "{rows} of the table pace could not be used: {reasons}."
POINTS_OF_A_ROUND = "percentage points of a round"
BESIDE = "Athletes {apart} fitter differed by {activity} in activity and by {difference} in {outcome} ({athletes}, {rounds})."

DID = {
    "higher": "Fitter athletes did more.",
    "lower": "Fitter athletes did less.",
    "the same": "Fitter athletes did as much as the others.",
    "cannot tell": "We cannot tell yet whether fitter athletes did more.",
}
RAN = {
    "higher": "Their {outcome} was higher.",
    "lower": "Their {outcome} was lower.",
    "the same": "Their {outcome} was the same within {matters}.",
    "cannot tell": "We cannot tell yet whether their {outcome} was lower.",
}
SAME_AND_MORE = "Fitter athletes ran the same {outcome}, within {matters}, and did more."
NOT_ADJUSTED = (
    "Activity may be how fitness shows, so it stands beside {outcome} and is not adjusted away: at equal activity the "
    "difference is {direct}, which answers another question."
)
UNBLINDED = "At least one rater knew the fitness results: such a rating may follow what the rater expects."
ONE_RATER = "One rater alone rated these rounds, so nobody can say how far another would agree."
KAPPA_WORDS = ((0.8, "very well"), (0.6, "well"), (0.4, "moderately"), (-1.0, "poorly"))
"""Lowest kappa -> words; bounds after Landis JR, Koch GG (1977) Biometrics 33:159, the five upper classes made four."""
