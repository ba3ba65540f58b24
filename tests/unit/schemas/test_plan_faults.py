"""What is wrong with a plan is said in sentences: the file, the line, the key,
and what may have been meant."""

import re
import shutil
from pathlib import Path

import pytest
import yaml

from schemas.plan_faults import PlanFault, load_plan_file
from schemas.study import PARTS, read_config

CONFIG = Path(__file__).parents[3] / "config"


def find_fault(tmp_path, file: str, old: str, new: str) -> str:
    """What is said of a plan in which the first `old` of a file is `new`."""
    plan = tmp_path / "plan"
    shutil.copytree(CONFIG, plan)
    text = (plan / file).read_text("utf-8")
    assert old in text
    (plan / file).write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(PlanFault) as fault:
        read_config(plan)
    return str(fault.value)


FAULTS = [
    ("study.yaml", "\n  recurrence_gap:", "\n  recurence_gap:",
     "resolution.recurence_gap is not known. Did you mean recurrence_gap?"),
    ("study.yaml", "\nguards:", "\ngards:", "gards is not known. Did you mean guards?"),
    ("study.yaml", "\n  min_events:", "\n  min_events: ten #",
     "guards.min_events must be a whole number, and is 'ten'."),
    ("study.yaml", "\n  max_share:", "\n  max_share: 1.5 #",
     "disclosure.max_share must be less than or equal to 1, and is 1.5."),
    ("study.yaml", "\nresolution:", "\nresolution: 3\nelse:",
     "resolution must be keys with values, and is 3."),
    ("study.yaml", "weibull", "weibul", "Did you mean weibull?"),
    ("study.yaml", "\n  truncate:", "\n  truncate: [.99, .01] #",
     "first_choice.truncate must be two rising quantiles."),
    ("study.yaml", "\n  days: [", "\n  days: [0, ",
     "curves.days.0 must be greater than or equal to 1, and is 0."),
    ("study.yaml", "\nseed:", "\nseed: 1\nseed:", "seed is stated a second time."),
    ("criteria.yaml", "\n    vertical:", "\n    verticl:",
     "criteria.posterior_free.verticl is not known. Did you mean vertical?"),
    ("maneuvers.yaml", "source:", "sauce:", "epley.sauce is not known. Did you mean source?"),
    ("published.yaml", "measured: no vert", "measurd: no vert",
     "measurd is not known. Did you mean measured?"),
    ("sites/S08.yaml", "\ncolumns:", "\ncolums:", "colums is not known. Did you mean columns?"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("file", "old", "new", "sentence"),
    FAULTS,
    ids=[f"{fault[0]} {fault[2].strip()}" for fault in FAULTS],
)
def test_a_fault_is_told_with_its_line_and_what_was_meant(tmp_path, file, old, new, sentence):
    fault = find_fault(tmp_path, file, old, new)
    assert sentence in fault
    line = int(re.search(rf"{Path(file).name}, line (\d+)", fault)[1])
    lines = (tmp_path / "plan" / file).read_text("utf-8").splitlines()
    # a fault between two entries is told where their section begins
    whole_section = "quantiles" in sentence
    assert (
        "first_choice:" if whole_section else new.strip().splitlines()[-("second time" in sentence)]
    ) in lines[line - 1]
    assert "is missing" not in fault


@pytest.mark.parametrize("text", ["a: [1, 2\nb: 3\n", "a:\n\t- 1\n", "a: 'x\n", "a: {b: 1\n"])
def test_what_is_no_yaml_is_told_with_line_and_column(tmp_path, text):
    path = tmp_path / "study.yaml"
    path.write_text(f"# a plan\n{text}", "utf-8")
    with pytest.raises(PlanFault, match=r"study\.yaml, line [2-4], column \d+: this is no YAML: "):
        load_plan_file(path)


def test_a_missing_file_names_the_one_that_may_be_meant(tmp_path):
    shutil.copytree(CONFIG, tmp_path / "plan")
    (tmp_path / "plan" / "study.yaml").rename(tmp_path / "plan" / "studi.yml")
    with pytest.raises(PlanFault, match=r"study\.yaml does not exist\. Did you mean studi\.yml\?"):
        read_config(tmp_path / "plan")


def test_a_file_that_is_no_text_is_told(tmp_path):
    (tmp_path / "study.yaml").write_bytes(b"title: caf\xe9\n")
    with pytest.raises(PlanFault, match="not text in UTF-8"):
        load_plan_file(tmp_path / "study.yaml")


@pytest.mark.parametrize("part", PARTS)
@pytest.mark.parametrize("change", ["left out", "of another kind"])
def test_every_change_of_a_key_is_accepted_or_told(tmp_path, part, change):
    """Keys of all depths: none ends in an error of a library,
    and each sentence has its file and line."""
    shutil.copytree(CONFIG, tmp_path / "plan")
    path = tmp_path / "plan" / f"{part}.yaml"
    whole = path.read_text("utf-8")
    faults = []
    for place in list_places(yaml.load(whole, yaml.CSafeLoader)):
        plan = yaml.load(whole, yaml.CSafeLoader)
        parent = plan
        for step in place[:-1]:
            parent = parent[step]
        if change == "left out":
            del parent[place[-1]]
        else:
            parent[place[-1]] = {"of another kind": None}
        path.write_text(yaml.dump(plan, Dumper=yaml.CSafeDumper, sort_keys=False), "utf-8")
        faults += list_faults(tmp_path / "plan")
    assert faults
    assert [
        line
        for line in faults
        if not re.match(r".+\.yaml, line \d+: |\.\.\. and |sites/S08.yaml: no maneuvers", line)
    ] == []


def list_faults(plan: Path) -> list[str]:
    try:
        read_config(plan)
    except PlanFault as fault:
        return str(fault).splitlines()
    return []


def list_places(content, above=()) -> list[tuple]:
    """The places of keys; of a mapping within another the first two,
    since its entries are mostly alike."""
    if not isinstance(content, dict):
        return []
    entries = list(content.items())[: 2 if above else 12]
    return [
        place
        for key, value in entries
        for place in ((*above, key), *list_places(value, (*above, key)))
    ]
