"""Gas exchange: headers, units, and real ramp tests."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.recordings import RecordingError, read_gas_exchange

RAMPS = Path(__file__).resolve().parents[1] / "references" / "physiology" / "ramp_tests"


def write(tmp_path, text, name="A01.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


LAYOUTS = {
    "kit names": "elapsed_s,vo2_ml_min,vco2_ml_min\n0,410,380\n3,430,400\n",
    "litres in brackets": "t (s);VO2 (L/min);VCO2 (L/min)\n0;0,41;0,38\n3;0,43;0,40\n",
    "row of units": "Time\tVO2\tVCO2\tHR\nmin:s\tmL/min\tmL/min\tbpm\n0:00\t410\t380\t90\n0:03\t430\t400\t91\n",
    "litres by their values": "time,V'O2,V'CO2\n0:00,0.41,0.38\n0:03,0.43,0.40\n",
    "preamble": "Subject;A01\nMass;80\n\nZeit;VO2 ml/min;VCO2 ml/min\n0;410;380\n3;430;400\n",
    "per kg beside it": "t,VO2/kg,VO2 mL/min,VCO2 mL/min\n0,5.1,410,380\n3,5.4,430,400\n",
}


@pytest.mark.parametrize("name", LAYOUTS)
def test_layouts(tmp_path, name):
    got = read_gas_exchange(write(tmp_path, LAYOUTS[name]))
    assert got["elapsed_s"].tolist() == [0, 3]
    assert got["vo2_ml_min"].to_numpy() == pytest.approx([410, 430])
    assert got["vco2_ml_min"].to_numpy() == pytest.approx([380, 400])


def test_what_else_there_is_and_what_is_missing(tmp_path):
    got = read_gas_exchange(write(tmp_path, LAYOUTS["row of units"]))
    assert got["hr_bpm"].tolist() == [90, 91] and "Also read: hr_bpm." in got.attrs["remarks"]
    alone = read_gas_exchange(write(tmp_path, "t,VO2 (mL/min)\n0,410\n3,-1\n5,430\n"))
    assert np.isnan(alone["vco2_ml_min"]).all() and len(alone) == 2
    assert any("1 row without" in r for r in alone.attrs["remarks"])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a,b\n1,2\n", "no line names both"),
        ("t,VO2\n0,50\n3,52\n", "unit of VO2"),
        ("t,VO2 (mL/min)\n0,\n3,\n", "no row has both"),
        ("<gpx></gpx>", "not a text table"),
    ],
)
def test_what_cannot_be_read_says_why(tmp_path, text, words):
    with pytest.raises(RecordingError, match=words):
        read_gas_exchange(write(tmp_path, text))


@pytest.mark.skipif(not RAMPS.is_dir(), reason="the ramp tests are kept with the tests of physiology")
@pytest.mark.parametrize("path", sorted(RAMPS.glob("test_*.csv")), ids=lambda p: p.stem)
def test_real_ramp_tests_come_through_unchanged(path):
    """Nolte et al., Sports Medicine, doi 10.1007/s40279-023-01903-3: breath-by-breath data."""
    plain = pd.read_csv(path)
    plain = plain[plain["vo2_ml_min"] > 0].reset_index(drop=True)
    got = read_gas_exchange(path)
    pd.testing.assert_frame_equal(got[list(plain.columns)].astype(float), plain.astype(float), check_exact=True)


def test_a_file_of_a_million_breaths_is_refused_before_it_is_read(tmp_path):
    path = write(tmp_path, "t,VO2\ns,mL/min\n" + "1,2000\n" * 1_000_000)
    start = time.process_time()
    with pytest.raises(RecordingError, match="more than 100,000 rows"):
        read_gas_exchange(path)
    assert time.process_time() - start < 1
