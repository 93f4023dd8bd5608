"""The invented club: who the athletes are and how they respond. Every number here is made up for this demonstration."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

ROUNDS = 4
WORK_S = 300
REST_S = 120


@dataclass(frozen=True)
class Truth:
    """What the analysis should recover.

    Slopes are per mL/kg/min of true VO2max, at equal maximal heart rate. Round effects are against round 1.
    """

    hr_share_of_max: float = 0.852
    hr_round_effects_bpm: tuple[float, ...] = (0.0, 5.5, 8.0, 8.4)
    hr_slope_per_ml_kg_min: float = -0.60
    hr_between_sd_bpm: float = 3.4
    hr_within_sd_bpm: float = 2.6
    lactate_first_mmol_l: float = 7.3
    lactate_round_effects_mmol_l: tuple[float, ...] = (0.0, 2.0, 3.1, 3.3)
    lactate_slope_per_ml_kg_min: float = -0.12
    lactate_between_sd_mmol_l: float = 1.3
    lactate_within_sd_mmol_l: float = 0.7
    lactate_rise_per_minute_of_delay: float = 0.5
    exertion_first: float = 4.0
    exertion_round_effects: tuple[float, ...] = (0.0, 1.2, 2.1, 2.6)
    exertion_between_sd: float = 0.9
    exertion_within_sd: float = 0.6
    vo2max_centre_ml_kg_min: float = 47.0
    field_test_error_ml_kg_min: float = 3.0
    laboratory_error_ml_kg_min: float = 2.0
    on_time_constant_s: float = 42.0
    off_time_constant_s: float = 65.0


@dataclass
class Club:
    """Sixteen invented athletes; arrays of length 16, in the order of `codes`."""

    codes: list[str]
    sex: list[str]
    age: np.ndarray
    mass: np.ndarray
    years: np.ndarray
    group: list[str]
    hr_max: np.ndarray
    hr_rest: np.ndarray
    vo2max: np.ndarray
    stage: np.ndarray
    effects: dict[str, np.ndarray] = field(default_factory=dict)


def make_club(rng: np.random.Generator, truth: Truth) -> Club:
    """Draw the athletes. A shuttle run gives a stage; true VO2max scatters around what that stage predicts."""
    sex = list("MFMMFMMFMMFMFMMF")
    age = np.array([23, 27, 19, 34, 22, 41, 26, 20, 29, 24, 38, 21, 25, 31, 22, 28])
    n = len(age)
    woman = np.array([s == "F" for s in sex])
    mass = np.where(woman, rng.normal(62, 6, n), rng.normal(80, 10, n)).round(1)
    expected = 49.5 - 5.5 * woman - 0.20 * (age - 27) + rng.normal(0, 4.0, n)
    stage = np.clip(np.round((expected + 27.4) / 6.0 * 2 - 16).astype(int), 5, 14)  # speed = 8 + stage / 2 km/h
    predicted = -27.4 + 6.0 * (8 + stage / 2)
    effects = {
        "hr": rng.normal(0, truth.hr_between_sd_bpm, n),
        "lactate": rng.normal(0, truth.lactate_between_sd_mmol_l, n),
        "exertion": rng.normal(0, truth.exertion_between_sd, n),
    }
    return Club(
        codes=[f"A{i:02d}" for i in range(1, n + 1)],
        sex=sex,
        age=age,
        mass=mass,
        years=np.clip((rng.gamma(2.2, 2.0, n)).round(1), 0.5, None),
        group=["advanced" if i % 2 == 0 else "intermediate" for i in range(n)],
        hr_max=np.round(206 - 0.68 * age + rng.normal(0, 5.5, n)),
        hr_rest=np.round(rng.normal(58, 5, n)),
        vo2max=predicted + rng.normal(0, truth.field_test_error_ml_kg_min, n),
        stage=stage,
        effects=effects,
    )


def respond(rng: np.random.Generator, truth: Truth, club: Club, bout_effect: np.ndarray) -> dict[str, np.ndarray]:
    """Draw what each athlete truly shows in each round: arrays of athletes x rounds."""
    shape = (len(club.codes), ROUNDS)
    fitter = (club.vo2max - truth.vo2max_centre_ml_kg_min)[:, None]
    heart_rate = (
        truth.hr_share_of_max * club.hr_max[:, None]
        + np.array(truth.hr_round_effects_bpm)
        + truth.hr_slope_per_ml_kg_min * fitter
        + club.effects["hr"][:, None]
        + bout_effect
        + rng.normal(0, truth.hr_within_sd_bpm, shape)
    )
    lactate = (
        truth.lactate_first_mmol_l
        + np.array(truth.lactate_round_effects_mmol_l)
        + truth.lactate_slope_per_ml_kg_min * fitter
        + club.effects["lactate"][:, None]
        + rng.normal(0, truth.lactate_within_sd_mmol_l, shape)
    )
    exertion = (
        truth.exertion_first
        + np.array(truth.exertion_round_effects)
        + club.effects["exertion"][:, None]
        + rng.normal(0, truth.exertion_within_sd, shape)
    )
    return {
        "hr_mean_bpm": np.minimum(heart_rate, club.hr_max[:, None] - 7),
        "lactate_mmol_l": np.maximum(lactate, 1.5),
        "exertion": np.clip(np.round(exertion), 0, 10),
    }


def draw_trace(
    rng: np.random.Generator,
    truth: Truth,
    *,
    round_means: np.ndarray,
    took_part: np.ndarray,
    starts_s: np.ndarray,
    seconds: int,
    hr_max: float,
    hr_rest: float,
) -> np.ndarray:
    """Draw one clean trace at 1 Hz whose mean over each round is `round_means` (bpm), with a slow wobble on top.

    Heart rate moves by first order towards a level for the round and falls back in the rests.
    """
    trace = np.empty(seconds)
    level, position = hr_rest + 35, 0
    for round_no in range(ROUNDS + 1):
        upto = int(starts_s[round_no]) if round_no < ROUNDS else seconds
        quiet = hr_rest + (52 if round_no == 0 else 48 + 5 * round_no)
        t = np.arange(upto - position)
        trace[position:upto] = quiet + (level - quiet) * np.exp(-t / truth.off_time_constant_s)
        if round_no == 0:
            own = int(hr_max + 3 * hr_rest) % 11  # everybody warms up in a way of their own
            trace[position:upto] += (5 + own) * np.sin(2 * np.pi * (t / (290 + 31 * own) + own / 7)) ** 2
        level, position = trace[upto - 1], upto
        if round_no == ROUNDS:
            break
        if not took_part[round_no]:
            continue
        decay = np.exp(-np.arange(WORK_S) / truth.on_time_constant_s)
        target = (round_means[round_no] - level * decay.mean()) / (1 - decay.mean())
        wobble = np.convolve(rng.normal(0, 1, WORK_S + 40), np.ones(41) / 41, mode="valid") * 9
        wobble -= wobble.mean()
        piece = target + (level - target) * decay + wobble * (1 - decay)
        over = piece > hr_max - 1
        if over.any():
            piece[over] = hr_max - 1
            piece[~over] += (round_means[round_no] - piece.mean()) * WORK_S / max((~over).sum(), 1)
        piece += round_means[round_no] - piece.mean()
        trace[upto : upto + WORK_S] = piece
        level, position = piece[-1], upto + WORK_S
    return trace + rng.normal(0, 0.5, seconds)
