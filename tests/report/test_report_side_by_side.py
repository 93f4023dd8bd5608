"""Work done in several processes gives what it gives in one."""

import operator

import pytest

from analysis.report.side_by_side import SideBySide


@pytest.mark.parametrize("cores", [1, 2])
def test_results_come_in_order(cores):
    with SideBySide(10, cores=cores) as helpers:
        assert helpers.run(operator.add, list(range(20))) == list(range(10, 30))
        assert helpers.run(operator.add, []) == []


@pytest.mark.parametrize("cores", [1, 2])
def test_an_error_of_the_work_comes_out(cores):
    with SideBySide(1, cores=cores) as helpers, pytest.raises(ZeroDivisionError):
        helpers.run(operator.truediv, [1, 0, 1, 0])
