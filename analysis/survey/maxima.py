"""Predicted maximal heart rates of many people, and what their heart rates say about the error of the prediction."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass

import numpy as np

from ..basics import KitError
from ..physiology import hr_max_equations, predict_hr_max

MAIN_EQUATION = "nes_2013"
"""Read at its source, made from more than three thousand healthy people of both sexes, error published with it."""
FEWEST_PEOPLE = 8
"""With fewer people their spread cannot be told from the error of the prediction: heart rates then say nothing about it."""
LEAST_ERROR_BPM = 7.0
"""Published errors of such equations run from 7 bpm (Robergs & Landwehr 2002, JEPonline 5(2):1-10) to the equation's own."""
RIDGE = 1e-6


def predict_maxima(age_years, sex, equation: str) -> np.ndarray:
    """Predict the maximal heart rate of many people; not-a-number where age or a needed sex is not known."""
    age = np.round(np.asarray(age_years, dtype=float), 2)
    who = np.asarray(sex, dtype=object)
    number = np.select([who == "F", who == "M"], [1, 2], 0)
    known = np.isfinite(age)
    key = np.where(known, np.round(100 * np.nan_to_num(age)) * 3 + number, -1)
    found, place = np.unique(key, return_inverse=True)
    values = np.full(len(found), np.nan)
    for i, one in enumerate(found[found >= 0], start=int((found < 0).sum())):
        with contextlib.suppress(KitError):
            values[i] = predict_hr_max(one // 3 / 100, equation, sex=(None, "F", "M")[int(one % 3)]).value
    return values[place]


def for_whom(equation: str) -> str:
    """Return which sex an equation is for: "any", "F", or "given" where it needs the sex."""
    known = hr_max_equations().set_index("equation")
    return str(known.loc[equation, "sex"])


@dataclass(frozen=True)
class Spread:
    """How the logarithms of heart rate over predicted maximum scatter: people, sessions, error of the prediction."""

    centre: np.ndarray
    observed: np.ndarray
    sessions: np.ndarray
    scatter: np.ndarray
    error2: float
    n_people: int

    def people(self, size: float, observed: np.ndarray | None = None) -> np.ndarray:
        """Return the covariance of true intensity between people, never below zero, at a size of the error (1: full)."""
        left = (self.observed if observed is None else observed) - self.scatter - size**2 * self.error2
        values, vectors = np.linalg.eigh(left)
        return (vectors * np.clip(values, 0.0, None)) @ vectors.T

    def draw(self, size: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
        """Draw a centre and a covariance between people, as uncertain as this many people leave them."""
        k = self.n_people
        centre = rng.multivariate_normal(self.centre, self.observed / k, method="cholesky")
        lower = np.linalg.cholesky(self.observed)
        bartlett = np.array(
            [[np.sqrt(rng.chisquare(k - 1)), 0.0], [rng.normal(), np.sqrt(rng.chisquare(k - 2))]]
        )
        root = lower @ bartlett
        return centre, self.people(size, root @ root.T / (k - 1))


def measure_spread(log_share: np.ndarray, codes: np.ndarray, error: np.ndarray) -> Spread | None:
    """Measure the spread of people and sessions; None with too few people."""
    whole = np.isfinite(log_share).all(axis=1)
    values, who = log_share[whole], codes[whole]
    counts = np.bincount(who, minlength=len(error))
    people = counts > 0
    if people.sum() < FEWEST_PEOPLE:
        return None
    means = (
        np.column_stack([np.bincount(who, v, len(error)) for v in values.T])[people] / counts[people, None]
    )
    place = np.cumsum(people) - 1
    apart = values - means[place[who]]
    spare = len(values) - people.sum()
    sessions = apart.T @ apart / spare if spare > 0 else np.zeros((2, 2))
    scatter = sessions * np.mean(1 / counts[people])
    observed = np.cov(means.T, ddof=1) + RIDGE * np.eye(2)
    error2 = float(np.mean(error[people] ** 2))
    return Spread(means.mean(axis=0), observed, sessions, scatter, error2, int(people.sum()))


def error_given_rates(
    person_log_share, counts, error, centre, people, sessions
) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and SD of the error of each person's predicted maximum, given that person's heart rates."""
    s2 = error**2
    once = 1 / np.maximum(counts, 1)
    a, b, d = (people[i, j] + sessions[i, j] * once + s2 for i, j in ((0, 0), (0, 1), (1, 1)))
    a, d = a + RIDGE, d + RIDGE
    det = a * d - b * b
    first, second = (d - b) / det, (a - b) / det
    y_mean, y_peak = (person_log_share - centre).T
    no_mean, no_peak = np.isnan(y_mean), np.isnan(y_peak)
    if no_mean.any() or no_peak.any():
        first = np.where(no_mean, 0.0, np.where(no_peak, 1 / a, first))
        second = np.where(no_peak, 0.0, np.where(no_mean, 1 / d, second))
        y_mean, y_peak = np.nan_to_num(y_mean), np.nan_to_num(y_peak)
    mean = s2 * (first * y_mean + second * y_peak)
    variance = s2 * (1 - s2 * (first + second))
    return mean, np.sqrt(np.clip(variance, 0.0, None))
