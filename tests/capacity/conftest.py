"""The maker of simulated clubs, for the tests of the fitness question."""

import pytest
from capacity_club import make_club


@pytest.fixture
def club():
    """The maker of clubs."""
    return make_club
