"""How often the interval of a share holds the true share, when every maximum is predicted: ours and two simpler ways.

Run: python tests/benchmarks/survey_calibration.py [repeats]
"""

import sys

import numpy as np

from analysis.survey.against import carry_error, people_of


def draw_club(seed: int, *, people: int, extra: int, error_bpm: float, spread: float, skewed: bool):
    """Sessions of people with true maxima; return them with the true shares of peaks at or above 90 and 96 %."""
    rng = np.random.default_rng(seed)
    predicted = 211 - 0.64 * rng.uniform(19, 45, people)
    maximum = predicted + rng.normal(0, error_bpm, people)
    who = np.concatenate([np.arange(people), rng.integers(0, people, extra)])
    level = 1 - rng.gamma(0.09**2 / spread**2, spread**2 / 0.09, people) if skewed else rng.normal(0.91, spread, people)
    share = level[who] + rng.normal(0, 0.015, len(who))
    share = np.where(share > 1, 2 - share, share)
    mean = np.minimum(rng.normal(0.72, 0.05, people)[who] + rng.normal(0, 0.03, len(who)), share)
    counts = np.bincount(who)[who]
    true = {t: float(((share >= t / 100) / counts).sum() / people) for t in (90, 96)}
    rates = people_of(mean * maximum[who], share * maximum[who], who, predicted[who], 10.8)
    return rates, true


def main(repeats: int) -> None:
    """Print coverage of 95 % intervals, for peaks at or above 90 and 96 % of maximum."""
    print("people  error bpm  spread  skewed  threshold  ours  rates say nothing  taken as exact off by")
    for people, extra in ((30, 10), (90, 50)):
        for error_bpm in (7.0, 9.0, 10.8):
            for spread, skewed in ((0.025, False), (0.045, False), (0.045, True)):
                hits = {t: np.zeros(3) for t in (90, 96)}
                for seed in range(repeats):
                    rates, true = draw_club(
                        seed, people=people, extra=extra, error_bpm=error_bpm, spread=spread, skewed=skewed
                    )
                    ways = [carry_error(rates, n_draws=200, seed=seed, learn=learn) for learn in (True, False)]
                    for t, value in true.items():
                        at = [way.at("percent_peak", t) for way in ways]
                        inside = [a["low"] <= value <= a["high"] for a in at]
                        hits[t] += [*inside, abs(at[0]["exact"] - value)]
                for t, counted in hits.items():
                    ours, naive, off = counted / repeats
                    setting = f"{people:6d}  {error_bpm:9.1f}  {spread:6.3f}  {skewed!s:6}  {t:9d}"
                    print(f"{setting}  {ours:.2f}  {naive:17.2f}  {off:21.3f}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
