"""A set is divided by the variables that narrow others of its name further."""

from pipeline.disclosure.divisions import list_divisions


def divide(*narrowed: dict) -> list[tuple[dict, list[dict], str]]:
    """The divisions of sets that variables narrow so, as dicts."""
    return [
        (dict(whole), [dict(part) for part in parts], description)
        for whole, parts, description in list_divisions(
            "treated", {frozenset(each.items()) for each in narrowed}
        )
    ]


def test_all_are_divided_by_one_variable_and_by_two():
    parts = [{"canal": canal, "arm": arm} for canal in "ab" for arm in "cd"]
    divisions = divide({}, {"canal": "a"}, {"canal": "b"}, *parts)
    assert ({}, [{"canal": "a"}, {"canal": "b"}], "by canal") in divisions
    assert ({"canal": "a"}, parts[:2], "by arm") in divisions
    assert any(whole == {} and len(found) == 4 for whole, found, _ in divisions)


def test_values_counted_together_are_no_part_beside_each_of_them_alone():
    alone = [{"canal": "a"}, {"canal": "b"}]
    assert divide({}, *alone, {"canal": "a+b"}) == [({}, alone, "by canal")]
    united = divide({}, {"canal": "a"}, {"canal": "b+c"})
    assert united == [({}, [{"canal": "a"}, {"canal": "b+c"}], "by canal")]


def test_those_of_whom_a_variable_is_told_are_the_whole_of_its_values_and_part_of_all():
    values = [{"neck": "no"}, {"neck": "yes"}]
    divisions = divide({}, {"neck": "*"}, *values)
    assert ({"neck": "*"}, values, "by neck") in divisions
    assert ({}, [{"neck": "*"}], "whose neck is told") in divisions


def test_divisions_come_in_the_same_order_whatever_the_seed_of_hashes():
    told = dict.fromkeys("fcaebd", "*")
    less = [{v: told[v] for v in told if v != left_out} for left_out in told]
    described = [description for _, _, description in divide(told, *less)]
    recorded = [each for each in described if each.startswith("whose")]
    assert recorded == [f"whose {variable} is told" for variable in "abcdef"]
