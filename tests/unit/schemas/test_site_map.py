"""A site's list of own names is refused where a name means nothing, two things, or another code."""

import pytest
from pydantic import ValidationError

from schemas.plan_faults import PlanFault
from schemas.site_map import SiteMap, read_site_maps


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ({"pseudonyms": ["BPPV-9999", "X99"]}, ""),
        ({"pseudonyms": ["AB"]}, "no shape of a pseudonym"),
        ({"pseudonyms": ["ABCD"]}, "no shape of a pseudonym"),
        ({"pseudonyms": ["bppv-99"]}, "no shape of a pseudonym"),
        ({"tables": {"Tests": "examinations"}}, ""),
        ({"tables": {"Tests": "tests"}}, "'tests' is no table"),
        ({"columns": {"episodes": {"Age": "age_years"}}}, ""),
        ({"columns": {"visits": {"Age": "age_years"}}}, "'visits' is no table"),
        ({"columns": {"episodes": {"Age": "age"}}}, "'age' is no column of episodes"),
        ({"columns": {"episodes": {"Age": "age_years", "age": "sex"}}}, "a header is named twice"),
        ({"columns": {"episodes": {"A": "sex", "B": "sex"}}}, "a column is named twice: sex"),
        ({"codes": {"episodes": {"sex": {"Frau": "female"}}}}, ""),
        ({"codes": {"visits": {}}}, "'visits' is no table"),
        ({"codes": {"episodes": {"gender": {}}}}, "'gender' is no column of episodes"),
        ({"codes": {"episodes": {"sex": {"Frau": "woman"}}}}, "'woman' is no code of sex"),
        (
            {"codes": {"episodes": {"sex": {"F": "female", "f": "female"}}}},
            "an entry is named twice: f",
        ),
        ({"codes": {"episodes": {"sex": {"Male": "female"}}}}, "is a code of sex and cannot stand"),
        ({"codes": {"episodes": {"sex": {"Male": "male"}}}}, ""),
        ({"codes": {"treatments": {"maneuver": {"ours": "any"}}}}, ""),
    ],
)
def test_names_mean_one_known_thing(content, fault):
    if fault:
        with pytest.raises(ValidationError, match=fault):
            SiteMap.model_validate(content)
    else:
        SiteMap.model_validate(content)


def test_entries_are_found_without_regard_to_capitals():
    site_map = SiteMap.model_validate({"codes": {"episodes": {"sex": {"Frau": "female"}}}})
    assert site_map.entries_of("episodes", "sex") == {"frau": "female"}
    assert site_map.entries_of("episodes", "cause") == {}
    assert site_map.entries_of("followups", "day") == {}


def test_lists_are_read_by_the_site_in_their_name(tmp_path):
    (tmp_path / "S01.yaml").write_text("codes: {episodes: {sex: {Frau: female}}}\n", "utf-8")
    (tmp_path / "S002.yaml").write_text("", "utf-8")
    read = read_site_maps(tmp_path)
    assert set(read) == {"S01", "S002"}
    assert read["S01"].entries_of("episodes", "sex") == {"frau": "female"}
    assert read["S002"] == SiteMap()


def test_a_file_that_is_called_otherwise_is_not_passed_over(tmp_path):
    (tmp_path / "site1.yaml").write_text("", "utf-8")
    with pytest.raises(PlanFault, match=r"site1\.yaml: a site's list is named as the site"):
        read_site_maps(tmp_path)


def test_a_fault_is_told_with_its_file(tmp_path):
    (tmp_path / "S01.yaml").write_text("tables: {Tests: tests}\n", "utf-8")
    with pytest.raises(PlanFault, match=r"S01\.yaml"):
        read_site_maps(tmp_path)
