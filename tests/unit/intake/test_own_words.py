"""A site's own words are offered for its list of names, if they are more than slips."""

import json

from pipeline.intake.own_words import MOST_OFFERED, offer_words


def offer(entries: list[str], meant: dict[str, str]):
    return offer_words("episodes", "sex", entries, meant)


def test_a_word_is_offered_from_three_cells_on_with_their_number():
    (problem,) = offer(["Frau"] * 3 + ["Mann"] * 2 + ["?"] * 9, {"Frau": "female", "Mann": "male"})
    assert problem.also == "Frau = female? (3 cells)."
    assert problem.lines == 'codes: {episodes: {sex: {"Frau": "female"}}}'


def test_slips_and_words_without_a_meaning_offer_nothing():
    assert offer(["Frau"] * 2, {"Frau": "female"}) == []
    assert offer(["Meier"] * 9, {"Frau": "female"}) == []


def test_the_most_frequent_are_offered_and_no_more_than_fit():
    words = {f"word{n:02d}": "female" for n in range(MOST_OFFERED + 3)}
    cells = [word for n, word in enumerate(words) for _ in range(3 + n)]
    (problem,) = offer(cells, words)
    offered = json.loads(problem.lines.removeprefix("codes: {episodes: {sex: ")[:-2])
    assert list(offered) == list(words)[:2:-1]
