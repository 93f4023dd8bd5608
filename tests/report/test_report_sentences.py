"""Write-ups of simulated studies: no sentence contradicts its numbers, and every number stands in the results.

Five studies by default; STUDIES_PER_KIND=40 makes it two hundred (five kinds), as does
`python tests/benchmarks/report_sentences.py 200`, which lists every fault.
"""

import os

import pytest
from report_rules import check_write_up
from report_simulated import KINDS, simulate_answers


@pytest.mark.parametrize("seed", range(1, int(os.environ.get("STUDIES_PER_KIND", "1")) + 1))
@pytest.mark.parametrize("kind", KINDS)
def test_write_up_of_a_simulated_study(kind, seed):
    assert check_write_up(simulate_answers(seed, kind)) == []


def test_the_rules_find_planted_faults():
    from report_rules import faults_of_words, intervals_that_miss, unknown_numbers

    for planted in (
        "There was no significant difference between rounds.",
        "Heart rate did not differ.",
        "It rose by nan bpm.",
        "It rose by −0.0 bpm.",
        "This was clear, p = .000.",
        "1 athletes took part.",
        "It rose {table:means}.",
    ):
        assert faults_of_words(planted), planted
    assert faults_of_words("A change over the rounds was not shown (p = .412).") == []
    assert unknown_numbers("It rose by 4.3 bpm (p = .032).", {4.34, 0.0319}) == []
    assert len(unknown_numbers("It rose by 4.4 bpm (p = .033).", {4.34, 0.0319})) == 2
    assert intervals_that_miss("+4.3_bpm (95_% interval 5.0 to 6.0)".replace("_", "\N{NO-BREAK SPACE}"))
