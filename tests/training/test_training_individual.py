"""Individual response and one athlete's change: the printed values, and the honesty of negative variances."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.training import individual_response
from analysis.training.before_after import detectable_change


def test_check_value_3_twelve_athletes():
    result = individual_response(sd_trained=1.3292, n_trained=6, sd_control=1.3784, n_control=6)
    assert result.sd_ir == pytest.approx(-0.365, abs=5e-4)
    assert (result.normal_low, result.normal_high) == pytest.approx((-1.830, 1.756), abs=5e-4)
    assert (result.mover_low, result.mover_high) == pytest.approx((-3.118, 2.967), abs=5e-4)
    assert not result.can_be_told


@pytest.mark.parametrize(("n", "low", "high"), [(6, -3.97, 7.09), (20, -0.95, 3.92), (100, 1.58, 2.88)])
def test_check_value_3_three_and_two(n, low, high):
    result = individual_response(sd_trained=3, n_trained=n, sd_control=2, n_control=n)
    assert result.sd_ir == pytest.approx(2.24, abs=0.005)
    assert (result.mover_low, result.mover_high) == pytest.approx((low, high), abs=0.005)
    assert result.can_be_told is (n >= 20)


def test_check_value_3_from_print():
    """Williamson 2017 Sports Med 47:1501 [R]: 3.7 and 5.6 give -4.20."""
    assert individual_response(sd_trained=3.7, n_trained=20, sd_control=5.6, n_control=20).sd_ir == pytest.approx(
        -4.20, abs=0.005
    )


def test_check_value_5_one_athlete():
    assert detectable_change(2.0) == pytest.approx(5.54, abs=0.005)
    assert detectable_change(2.58) == pytest.approx(7.15, abs=0.005)


@given(a=st.floats(0.1, 10), b=st.floats(0.1, 10), n=st.integers(3, 60))
def test_swapping_the_groups_swaps_the_sign(a, b, n):
    one = individual_response(sd_trained=a, n_trained=n, sd_control=b, n_control=n + 1)
    two = individual_response(sd_trained=b, n_trained=n + 1, sd_control=a, n_control=n)
    assert one.sd_ir == pytest.approx(-two.sd_ir)
    assert one.mover_low == pytest.approx(-two.mover_high)
    assert one.mover_low <= one.sd_ir <= one.mover_high
