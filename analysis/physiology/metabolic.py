"""Oxygen cost of steady walking, running, cycling, arm cranking and stepping: the published linear equations."""

from __future__ import annotations

from ..basics import KitError, check_choice
from .estimates import MEMORY, READ, Estimate, cite

_SOURCE = "American College of Sports Medicine, Guidelines for Exercise Testing and Prescription"
ERROR_SHARE = 0.07
"""Standard error of estimate as a share of the value, from memory."""

_ACTIVITIES = {
    "walk": (("speed_m_min", "grade"), READ, "50 to 100 m/min"),
    "run": (("speed_m_min", "grade"), READ, "above 134 m/min, or slower where truly running"),
    "leg_cycle": (("power_kgm_min", "mass_kg"), READ, "50 to 200 W"),
    "arm_cycle": (("power_kgm_min", "mass_kg"), MEMORY, "not read"),
    "step": (("steps_min", "height_m"), READ, "not read"),
}
ACTIVITIES = tuple(_ACTIVITIES)


def metabolic_cost(activity: str, **inputs: float) -> Estimate:
    """Estimate the oxygen uptake of steady submaximal work.

    Parameters
    ----------
    activity : str
        "walk" or "run" (speed_m_min in m/min, grade as a fraction), "leg_cycle" or "arm_cycle" (power_kgm_min in
        kg·m/min, mass_kg), "step" (steps_min per minute, height_m in m).
    **inputs : float
        As named above.

    Returns
    -------
    Estimate
        mL/kg/min with a standard error of about 7 % (from memory).

    Raises
    ------
    KitError
        For missing, unknown or impossible inputs.

    Notes
    -----
    S speed, G grade, W work rate, M mass, f steps a minute, h height. Walk 3.5 + 0.1 S + 1.8 S G; run
    3.5 + 0.2 S + 0.9 S G; legs 7 + 1.8 W / M; arms 3.5 + 3 W / M; step 3.5 + 0.2 f + 1.33 · 1.8 f h. Steady
    submaximal work only.

    Examples
    --------
    >>> metabolic_cost("run", speed_m_min=200, grade=0.05).value
    52.5
    """
    needed, provenance, validity = _ACTIVITIES[check_choice(activity, _ACTIVITIES, name="activity")]
    problems = [f"{name} is missing" for name in needed if name not in inputs and name != "grade"]
    problems += [f"{name} is not an input of {activity}" for name in inputs if name not in needed]
    values = {"grade": 0.0, **{k: float(v) for k, v in inputs.items() if k in needed}}
    limits = {"speed_m_min": (10, 450), "grade": (-0.2, 0.5), "power_kgm_min": (0, 4000), "mass_kg": (20, 250),
              "steps_min": (5, 80), "height_m": (0.02, 0.8)}  # fmt: skip
    for name in needed:
        low, high = limits[name]
        if name in values and not low <= values[name] <= high:
            unit = " (a fraction: 5 % is 0.05)" if name == "grade" else ""
            problems.append(f"{name} is {values[name]:g}, must lie between {low} and {high}{unit}")
    if problems:
        raise KitError("; ".join(problems))
    v = values
    if activity in ("walk", "run"):
        flat, slope = (0.1, 1.8) if activity == "walk" else (0.2, 0.9)
        cost = 3.5 + flat * v["speed_m_min"] + slope * v["speed_m_min"] * v["grade"]
    elif activity == "step":
        cost = 3.5 + 0.2 * v["steps_min"] + 1.33 * 1.8 * v["steps_min"] * v["height_m"]
    else:
        rest, slope = (7.0, 1.8) if activity == "leg_cycle" else (3.5, 3.0)
        cost = rest + slope * v["power_kgm_min"] / v["mass_kg"]
    warnings = ["Steady submaximal work only: at a maximal stage the equation reads too high."]
    warnings += _outside(activity, v)
    return Estimate(
        value=float(cost),
        standard_error=float(ERROR_SHARE * cost),
        unit="mL/kg/min",
        source=cite(_SOURCE, provenance),
        error_kind="prediction",
        equation=activity,
        population=f"adults in steady work; {validity}",
        provenance=provenance,
        error_provenance=MEMORY,
        error_note="about 7 % of the value, from memory",
        label="VO2",
        inputs=tuple((name, v[name]) for name in needed),
        warnings=tuple(warnings),
    )


def _outside(activity: str, v: dict) -> list[str]:
    outside = False
    if activity == "walk":
        outside = not 50 <= v["speed_m_min"] <= 100
    elif activity == "run":
        outside = v["speed_m_min"] <= 134
    elif activity == "leg_cycle":
        outside = not 300 <= v["power_kgm_min"] <= 1224
    return [f"Outside the validity range: {_ACTIVITIES[activity][2]}."] if outside else []
