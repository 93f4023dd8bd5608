"""Every published check value: tested here, or listed as another room's."""

import json
from pathlib import Path

import pytest

from analysis import physiology as ph
from analysis.physiology.intensity import percent_hr_reserve
from analysis.physiology.published_values import dehydration_hr_rise
from analysis.physiology.running import shuttle_stages

REFERENCES = Path(__file__).parents[1] / "references" / "physiology"
CHECKS = {c["id"]: c for c in json.loads((REFERENCES / "check_values.json").read_text(encoding="utf-8"))}

ELSEWHERE = {
    "te_hopkins": "rounds",
    "tost_two": "models",
    "tost_one": "models",
    "disattenuate": "capacity",
    "rmcorr_bland1995": "capacity",
    "rmcorr_bland1995_ss": "capacity",
    "between_bland1995": "capacity",
    "naive_bland1995": "capacity",
    "pi_r_published": "replication",
    "ci_r_published": "capacity",
    "pi_r_fisher_small": "replication",
    "pi_r_mover_small": "replication",
    "r33_n12": "replication",
    "d33_n20": "replication",
    "small_telescope_n": "replication",
    "crit_r_n12": "planning",
    "n_for_r": "planning",
}
"""Statistics: the room that tests them."""


def vo2(test, **inputs):
    return ph.estimate_vo2max(test, **inputs).value


def litres(test, **inputs):
    return dict(ph.estimate_vo2max(test, mass_kg=70, **inputs).inputs)["vo2max_l_min"]


def hr_max(equation):
    return lambda i: ph.predict_hr_max(i["age"], equation, sex=i.get("sex")).value


def impulse(function, with_sex=True):
    def run(i):
        sex = {"sex": i["sex"]} if with_sex else {}
        return function(i["hr"], 60 * i["min"], hr_max_bpm=i["hrmax"], hr_rest_bpm=i["hrrest"], **sex).value

    return run


def shuttle(equation, **renamed):
    def run(i):
        given = {renamed.get(k, k): v for k, v in i.items() if k in ("speed_kmh", "half_stage", "level")}
        given |= {"age_years": i["age"]} if "age" in i else {}
        return vo2("shuttle_run_20m", equation=equation, sex=i.get("sex"), **given)

    return run


def message(i):
    read = ph.read_heart_rate_message(i["bytes_hex"])
    return {
        "hr": read.hr_bpm,
        "contact_supported": read.contact_supported,
        "contact_detected": read.contact_detected,
        "energy_present": read.energy_kj is not None,
        "rr_raw": list(read.rr_raw),
    }


def jog(i):
    return vo2("jog_1_mile", sex=i["sex"], mass_kg=i["kg"], time_min=i["min"], hr_bpm=i["hr"])


def walk(i):
    sex = "M" if i["male"] else "F"
    return {"mass_lb": i["lb"], "age_years": i["age"], "sex": sex, "time_min": i["min"], "hr_bpm": i["hr"]}


def two_loads(i, sex):
    return litres(
        "cycle_two_loads", sex=sex, age_years=i["age"], power_low_w=30, power_high_w=30 + i["dPO_W"],
        hr_low_bpm=i["HR_std"], hr_high_bpm=i["HR_std"] + i["dHR"],
    )  # fmt: skip


def ratio(equation):
    return lambda i: vo2(
        "hr_ratio", equation=equation, hr_max_source="measured",
        hr_max_bpm=i.get("hrmax", 60 * i.get("ratio", 0)), hr_rest_bpm=i.get("hrrest", 60),
    )  # fmt: skip


def stages(i):
    return shuttle_stages(i["levels"]).to_dict("records")


HERE = {
    "hrmax_tanaka_25": hr_max("tanaka_2001"),
    "hrmax_tanaka_40": hr_max("tanaka_2001"),
    "hrmax_gellish_40": hr_max("gellish_2007"),
    "hrmax_gellish_unrounded_25": hr_max("gellish_2007_unrounded"),
    "hrmax_gellish_unrounded_40": hr_max("gellish_2007_unrounded"),
    "hrmax_nes_25": hr_max("nes_2013"),
    "hrmax_nes_40": hr_max("nes_2013"),
    "hrmax_gulati_40": hr_max("gulati_2010"),
    "hrmax_cardia_25": hr_max("zhu_2010"),
    "pct_hrr": lambda i: percent_hr_reserve(i["hr"], i["hrmax"], i["hrrest"]),
    "pct_hrmax_error_nes": lambda i: ph.percent_hr_max_error(i["hr"], i["hrmax"], i["see"]),
    "hrr_from_vo2max_swain": lambda i: ph.percent_hr_reserve_from_vo2max(i["pct_vo2max"], mode="cycle").value,
    "hrr_from_vo2max_swain_tm": lambda i: ph.percent_hr_reserve_from_vo2max(
        i["pct_vo2max"], mode="treadmill"
    ).value,
    "trimp_banister_m": impulse(ph.banister_impulse),
    "trimp_banister_f": impulse(ph.banister_impulse),
    "trimp_stagno": impulse(ph.stagno_impulse, with_sex=False),
    "trimp_edwards": lambda i: ph.edwards_from_minutes(i["minutes_z1_to_z5"]).value,
    "srpe_load": lambda i: ph.session_rating_load(i["rpe_cr10"], i["min"], scale="0-10").value,
    "msrt_leger_11_12": shuttle("leger_1988"),
    "msrt_leger_12_18": shuttle("leger_1988"),
    "msrt_leger_gadoury_11": shuttle("leger_gadoury_1989"),
    "msrt_leger_gadoury_13.5": shuttle("leger_gadoury_1989"),
    "msrt_leger_lambert_11": lambda i: vo2("shuttle_run_20m_2min", speed_kmh=i["speed_kmh"]),
    "msrt_leger_lambert_13": lambda i: vo2("shuttle_run_20m_2min", speed_kmh=i["speed_kmh"]),
    "msrt_stickland_m_12": lambda i: shuttle("stickland_2003")({**i, "sex": "M"}),
    "msrt_stickland_f_7.8": lambda i: shuttle("stickland_2003")({**i, "sex": "F"}),
    "msrt_ramsbottom_12.6": shuttle("ramsbottom_1988", level="decimal_level"),
    "msrt_ramsbottom_9.6": shuttle("ramsbottom_1988", level="decimal_level"),
    "msrt_stage_table": stages,
    "msrt_total_shuttles_21": lambda i: float(shuttle_stages(i["levels"])["shuttles"].sum()),
    "cooper_2800": lambda i: vo2("run_12_min", distance_m=i["distance_m"]),
    "cooper_miles_1.75": lambda i: vo2("run_12_min", equation="cooper_1968_miles", distance_mi=i["miles"]),
    "run15_acsm_M": lambda i: vo2("run_1_5_mile", equation="acsm_run_1_5", time_min=i["min"]),
    "run15_george_F": lambda i: vo2("run_1_5_mile", sex=i["sex"], mass_kg=i["kg"], time_min=i["min"]),
    "jog1_george_M": jog,
    "jog1_george_F": jog,
    "run2mi_m": lambda i: vo2("run_2_mile", sex="M", time_min=i["min"]),
    "run2mi_f": lambda i: vo2("run_2_mile", sex="F", time_min=i["min"]),
    "yoyo_ir1_1200": lambda i: vo2("intermittent_recovery_1", distance_m=i["distance_m"]),
    "yoyo_ir1_2000": lambda i: vo2("intermittent_recovery_1", distance_m=i["distance_m"]),
    "yoyo_ir2_400": lambda i: vo2("intermittent_recovery_2", distance_m=i["distance_m"]),
    "walk_kline_lmin_f": lambda i: dict(ph.estimate_vo2max("walk_1_mile", **walk(i)).inputs)["vo2max_l_min"],
    "walk_kline_rel_m": lambda i: vo2("walk_1_mile", equation="kline_1987_relative", **walk(i)),
    "queens_m_132": lambda i: vo2("step_queens_college", sex=i["sex"], recovery_hr_bpm=i["recovery_hr"]),
    "queens_f_152": lambda i: vo2("step_queens_college", sex=i["sex"], recovery_hr_bpm=i["recovery_hr"]),
    "queens_f_168": lambda i: vo2("step_queens_college", sex=i["sex"], recovery_hr_bpm=i["recovery_hr"]),
    "acsm_run": lambda i: ph.submaximal.metabolic_cost("run", speed_m_min=i["m_per_min"], grade=i["grade"]).value,
    "acsm_run_5pct": lambda i: ph.submaximal.metabolic_cost("run", speed_m_min=i["m_per_min"], grade=i["grade"]).value,
    "acsm_leg": lambda i: ph.submaximal.metabolic_cost("leg_cycle", power_kgm_min=i["kgm_min"], mass_kg=i["kg"]).value,
    "acsm_arm": lambda i: ph.submaximal.metabolic_cost("arm_cycle", power_kgm_min=i["kgm_min"], mass_kg=i["kg"]).value,
    "acsm_step": lambda i: ph.submaximal.metabolic_cost("step", **i).value,
    "hr_ratio_190_55": ratio("uth_2004"),
    "hr_ratio_185_60": ratio("uth_2004"),
    "hr_ratio_voutilainen": ratio("voutilainen_ratio"),
    "astrand_F": lambda i: litres(
        "cycle_astrand_ryhming", sex="F", age_years=25, power_kgm_min=i["kgm_min"], hr_bpm=i["hr"]
    ),
    "astrand_age_factor": lambda i: [ph.submaximal.age_factor(a) for a in i["ages"]],
    "ekblom_bak_m": lambda i: two_loads(i, "M"),
    "ekblom_bak_f": lambda i: two_loads(i, "F"),
    "row2k_jensen": lambda i: [
        1000 * litres("row_step", power_w=i["mpo_w"]), 1000 * litres("row_2000_m", power_w=i["w2k_w"])
    ],
    "row2k_klusiewicz": lambda i: [
        litres("row_2000_m", equation="klusiewicz_2003", sex=s, power_w=w) for s, w in (("M", i["w_m"]), ("F", i["w_f"]))
    ],
    "unit_met": lambda i: ph.mets_from_vo2(i["rel"]),
    "unit_allo_067": lambda i: ph.scale_vo2(i["l_min"], i["kg"], exponent=i["b"]),
    "unit_allo_075": lambda i: ph.scale_vo2(i["l_min"], i["kg"], exponent=i["b"]),
    "unit_mph": lambda i: ph.m_min_from_mph(i["mph"]),
    "lac_mgdl": lambda i: ph.lactate_to_mg_dl(i["mmol_l"]),
    "lac_whole_plasma": lambda i: ph.whole_blood_from_plasma(i["plasma"]).value,
    "rr_bpm": lambda i: ph.bpm_from_interval(i["rr_raw"]),
    "hrm_decode": message,
    "hrm_decode_nocontactfeature": message,
    "hypohydration_hr": lambda i: dehydration_hr_rise(i["pct_bm_loss"]).value,
    "vickers_sem": lambda i: ph.aerobic_model.laboratory_sem(i["vo2max"]),
}  # fmt: skip


def assert_same(got, expected, tolerance):
    if isinstance(expected, dict):
        for key, value in expected.items():
            assert_same(got[key], value, tolerance)
    elif isinstance(expected, list):
        assert len(got) == len(expected)
        for one, value in zip(got, expected, strict=True):
            assert_same(one, value, tolerance)
    elif isinstance(expected, bool) or expected is None:
        assert got is expected
    else:
        assert got == pytest.approx(expected, abs=tolerance, rel=0)


@pytest.mark.parametrize("name", HERE)
def test_published_check_value(name):
    check = CHECKS[name]
    assert_same(HERE[name](check["inputs"]), check["expected"], max(check["tolerance"], 1e-9))


def test_every_check_value_has_a_home():
    assert not set(HERE) & set(ELSEWHERE)
    assert set(HERE) | set(ELSEWHERE) == set(CHECKS)


@pytest.mark.parametrize(
    ("name", "provenance"),
    [
        ("hrmax_gulati_40", ph.predict_hr_max(40, "gulati_2010", sex="F").provenance),
        ("hrmax_nes_25", ph.predict_hr_max(25, "nes_2013").provenance),
        ("cooper_2800", ph.estimate_vo2max("run_12_min", distance_m=2800).provenance),
        ("run2mi_m", ph.estimate_vo2max("run_2_mile", time_min=13, sex="M").provenance),
        ("acsm_arm", ph.submaximal.metabolic_cost("arm_cycle", power_kgm_min=300, mass_kg=75).provenance),
    ],
)
def test_a_value_from_memory_says_so(name, provenance):
    assert provenance == {"memory": ph.MEMORY, "verified": ph.READ}[CHECKS[name]["provenance"]]
