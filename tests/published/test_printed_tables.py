"""Printed tables that do not close: no counts of people give all of their numbers. What is said of
each was read in the abstract, where no other way is named.

The same arithmetic lets in the tables that are handed in as deliveries beside this file.
"""

import pytest
from scipy.stats import chi2_contingency, fisher_exact

from tests.published.printed import count_printed, list_counts


@pytest.mark.parametrize(
    ("percent", "total", "count"),
    [(71, 62, 44), (92, 62, 57), (63, 40, 25), (78, 40, 31), (61, 54, 33), (81, 54, 44)],
)
def test_a_percentage_of_few_people_is_one_count(percent, total, count):
    assert count_printed(percent, total) == count


def test_a_percentage_of_many_people_is_several():
    assert len(list_counts(50, 500)) > 1
    with pytest.raises(ValueError, match="unpack"):
        count_printed(50, 500)


def test_no_two_groups_of_65_patients_give_what_is_printed_of_them():
    # Chen X et al. Front Neurol 2023;14:1328896: 65 patients in two groups; first maneuvers 85 v
    # 63 %, p = .040; of the group with 63 % three maneuvers cleared 86 %
    once = [
        ((one, split), (other, 65 - split))
        for split in range(1, 65)
        for one in list_counts(85, split)
        for other in list_counts(63, 65 - split)
    ]
    assert len(once) > 1
    assert not any(list_counts(86, total) for _, (_, total) in once)
    # only one split has the printed p-value; of its 32 patients 86 % are nobody's number, but of
    # the 28 without the four whose debris moved into another canal they are
    with_p = [pair for pair in once if round(compare(*pair), 3) == 0.040]
    assert with_p == [((28, 33), (20, 32))]
    assert list_counts(86, 32 - 4) == [24]


def compare(one: tuple[int, int], other: tuple[int, int]) -> float:
    """The p-value of Pearson's test of two shares, each as count and total."""
    table = [[count, total - count] for count, total in (one, other)]
    return chi2_contingency(table, correction=False).pvalue


@pytest.mark.parametrize(
    ("percent", "count", "total"),
    [
        # Amor-Dorado JC et al. Otol Neurotol 2012;33:1401-1407: recurrences of two groups
        (35.5, 15, 41),
        (36.6, 9, 31),
        # Kim HA et al. J Neurol 2017;264:848-855: responses of three groups within the hour
        (76.1, 51, 70),
        (71.9, 46, 67),
        (53.5, 38, 72),
    ],
)
def test_a_percentage_that_is_not_that_of_its_counts(percent, count, total):
    assert count not in list_counts(percent, total, decimals=1)


@pytest.mark.parametrize(
    ("percent", "total", "decimals"),
    [
        (24, 40, 0),  # Front Neurol 2021;12:720444: recurrences of the apogeotropic form
        (57.5, 148, 1),  # Acta Otorhinolaryngol Ital 2019 (PMC6843589): residual dizziness
    ],
)
def test_a_percentage_that_no_count_of_the_patients_gives(percent, total, decimals):
    assert not list_counts(percent, total, decimals)


@pytest.mark.parametrize(
    ("percents", "totals"),
    [((76.1, 71.9, 53.5), (67, 64, 71)), ((36.6, 35.5), (41, 31))],
)
def test_other_denominators_or_exchanged_groups_give_these_percentages(percents, totals):
    for percent, total in zip(percents, totals, strict=True):
        assert list_counts(percent, total, decimals=1)


def test_no_test_gives_the_printed_difference_of_persistent_dizziness():
    # Acta Otorhinolaryngol Ital 2021 (PMC8283405), persistent dizziness after three months: of 240
    # patients without and with migraine 3 of 162 and 9 of 78, p = .003, which closes; of those with
    # migraine 6 of 21 with the vestibular form and 3 of 57 without, p = .0016, which does not
    assert fisher_exact([[3, 159], [9, 69]]).pvalue == pytest.approx(0.003, abs=0.0005)
    table = [[6, 15], [3, 54]]
    p_values = [
        fisher_exact(table).pvalue,
        *(chi2_contingency(table, correction=yates).pvalue for yates in (True, False)),
    ]
    assert min(p_values) > 0.0016 + 0.00005
