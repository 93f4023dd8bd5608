"""Work done in several processes gives what it gives in one."""

import operator

import pytest

from analysis.report.side_by_side import SideBySide


@pytest.mark.parametrize("cores", [1, 2])
def test_results_come_in_order(cores):
    with SideBySide(cores=cores) as helpers:
        helpers.share(10)
        assert helpers.run(operator.add, list(range(20))) == list(range(10, 30))
        assert helpers.run(operator.add, []) == []


@pytest.mark.parametrize("cores", [1, 2])
def test_an_error_of_the_work_comes_out(cores):
    with SideBySide(cores=cores) as helpers, pytest.raises(ZeroDivisionError):
        helpers.share(1)
        helpers.run(operator.truediv, [1, 0, 1, 0])


def test_what_is_shared_can_change():
    with SideBySide(cores=2) as helpers:
        for shared in (1, 100):
            helpers.share(shared)
            assert helpers.run(operator.add, [1, 2, 3, 4]) == [shared + n for n in (1, 2, 3, 4)]
