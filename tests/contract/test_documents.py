"""What the documents name exists: paths, commands, options, keys, names in the code; and the table of rooms is the house as it is built."""

import ast
import os
import re
import shlex
import sys
from collections import defaultdict
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pandas as pd
import pytest

from pipeline.__main__ import TOOLS
from pipeline.technical.condense import MOST
from run import list_tools
from schemas import codes
from schemas.study import PARTS
from synthetic_data.sites import TEN as HABITS
from tests.contract.test_floors import AGGREGATES_ONLY, FLOORS, ROOT, names_in
from tests.recovery.scenarios import SCENARIOS

DOCUMENTS = ("README.md", "DEVELOPERS.md", "synthetic_data/README.md", "tests/recovery/README.md")
EXAMPLES = {  # words that the documents quote as what somebody might type or write, and that need not stand in the code
    *("001", "002", "003", "1", "0", "y", "yes", "unknown", "Episode ID", "Alter", "weiblich", "1950 to", "36,500"),
    *(
        "Meier",
        "sometimes",
        "Wright",
        "right",
        "manuever",
        "MEIER01",
        "Epley Meier",
        "PT_1",
        "PT-1",
        "between 1950 and",
    ),
    *(
        "EP-A042",
        "Example Person 12",
        "S03_001.xlsx",
        "S03_001_marked.xlsx",
        "submissions/S03/001",
        "config/sites/S03.yaml",
    ),
}
SUFFIXES = "py|yaml|md|csv|html|pdf|svg|xlsx|parquet|toml|lock|in|smk|typ|css|js|j2|R|jsonl|duckdb"
ANYWHERE = {"pandas", "numpy"}  # libraries that every room may use


@cache
def read(name: str) -> str:
    return (ROOT / name).read_text("utf-8")


@cache
def list_tracked() -> list[str]:
    """The files of the project, those of the invented pool and what is made by running it left out."""
    made = {line.strip("/") for line in read(".gitignore").splitlines()} | {".git"}
    found = []
    for folder, folders, names in os.walk(ROOT):
        here = Path(folder).relative_to(ROOT)
        folders[:] = sorted(
            name for name in folders if name not in made and (here / name).as_posix() != "synthetic_data/pool"
        )
        found += [(here / name).as_posix() for name in sorted(names) if name not in made]
    return found


@cache
def read_sources() -> str:
    """All texts but the documents and this file, in which a name must occur to be one."""
    own = {*DOCUMENTS, Path(__file__).relative_to(ROOT).as_posix()}
    kept = [
        path
        for path in list_tracked()
        if path not in own and Path(path).suffix not in (".csv", ".jsonl", ".lock", ".pdf")
    ]
    return "\n".join((ROOT / path).read_text("utf-8", "replace") for path in kept)  # a workbook made here is no text


def list_code(document: str) -> list[str]:
    """What stands between backticks in a line, and the lines of blocks of code."""
    text = read(document)
    blocks = [
        line.split("#")[0].strip()
        for block in re.findall(r"```\w*\n(.*?)```", text, re.S)
        for line in block.splitlines()
    ]
    inline = re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.S))
    return [told for told in [*inline, *blocks] if told and told not in EXAMPLES]


def is_command(told: str) -> bool:
    return bool(re.match(r"(\./run|py run\.py|python -m|uv |snakemake|pytest|rm -r)( |$)", told))


def find_missing_path(told: str, document: str) -> bool:
    """Whether a path is neither a file of the repository nor named as one that is made."""
    made = {line.strip("/") for line in read(".gitignore").splitlines()}
    if told.split("/")[0] in made | {"submissions", "results"} or re.fullmatch(r"\.\w+", told):
        return False  # tests/whole/test_documents.py looks for those of a run
    near = (ROOT, (ROOT / document).parent, ROOT / "pipeline", ROOT / "synthetic_data", ROOT / "tests" / "recovery")
    if any(list(folder.glob(told.rstrip("/"))) for folder in near):
        return False
    name = re.escape(Path(told).name)
    return "/" in told or not re.search(rf"(?<![\w.]){name}", "\n".join(list_tracked()) + read_sources())


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_path_exists(document):
    paths = [word for told in list_code(document) for word in told.split() if is_path(word, told)]
    assert paths
    assert [path for path in paths if find_missing_path(path, document)] == []


def is_path(word: str, told: str) -> bool:
    if word in EXAMPLES or re.search(r"[<>=(),:;{}]|^-|^DIR\b", word):
        return False
    whole = word == told or is_command(told)
    return whole and bool(re.search(rf"[\w*]/|\.({SUFFIXES})$", word)) and not re.fullmatch(r"[\d/ -]+", word)


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_name_stands_in_the_code(document):
    """Keys of the plan, columns, statuses, functions, modules."""
    said = [told for told in list_code(document) if not is_command(told)]
    found = [re.fullmatch(r"@?([A-Za-z_]\w+(?:\.\w+)*)(?:\(.*\))?", told) for told in said]
    names = {match[1] for match in found if match}
    assert names
    sources = read_sources()
    parts = {name: [name] if name in sources else name.split(".") for name in names}
    assert [
        n for n in sorted(names) if not all(re.search(rf"(?<![A-Za-z]){p}(?![A-Za-z])", sources) for p in parts[n])
    ] == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_is_understood(document):
    commands = [told for told in list_code(document) if is_command(told)]
    known = set(re.findall(r"config(?:\.get\(|\[)\"(\w+)\"", read("Snakefile")))
    for told in commands:
        words = shlex.split(re.split(r"\s{2,}", told)[0])
        keys = {word.partition("=")[0] for word in words if re.match(r"\w+=", word)}
        assert keys <= known, told
        if words[0] == "./run":
            assert words[1:2] == [] or words[1].startswith("-") or words[1] in {"test", *list_tools()}, told
        if told.startswith("python -m"):
            module = words[2]
            assert find_spec(module), told
            options = {word.partition("=")[0] for word in words[3:] if word.startswith("--")}
            if module == "pipeline":
                assert words[3:] in ([], ["--help"]) or words[3] in {
                    tool.__name__.rpartition(".")[2] for tool in TOOLS
                }, told
            own = "\n".join(read(path) for path in list_tracked() if path.startswith(module.replace(".", "/")))
            assert all(option in own or option == "--help" for option in options), told


def test_options_that_are_named_alone_exist():
    told = [word for document in DOCUMENTS for word in list_code(document) if re.fullmatch(r"--[a-z-]+", word)]
    assert told
    assert [option for option in told if option not in read_sources()] == []


def read_rooms() -> list[dict[str, str]]:
    """The rows of the table of rooms: room, does, libraries."""
    table = re.search(r"\| room \|.*?\n\n", read("DEVELOPERS.md"), re.S)[0].splitlines()
    names = [cell.strip() for cell in table[0].strip("|").split("|")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in table[2:] if line]
    return [dict(zip(names, row, strict=True)) for row in cells]


def name_rooms(row: dict[str, str]) -> list[str]:
    return [
        told.removeprefix("pipeline/").removesuffix(".py").rstrip("/") for told in re.findall(r"`([^`]+)`", row["room"])
    ]


def test_the_table_lists_the_rooms_of_the_pipeline_in_the_order_of_their_floors():
    rooms = [name for row in read_rooms() if "`pipeline/" in row["room"] for name in name_rooms(row)]
    assert [name for name in rooms if name not in ("Snakefile", "rules")] == FLOORS


def test_the_table_names_the_libraries_of_each_room():
    """Each library from outside, but for those that any room may use, with every room that imports it."""
    told, found = defaultdict(set), defaultdict(set)
    for row in read_rooms():
        for room in name_rooms(row):
            told[room] |= set(re.findall(r"`([^`]+)`", row["libraries"]))
    ours = {"pipeline", "schemas", "synthetic_data"}
    for path in (ROOT / name for name in list_tracked() if name.endswith(".py") and name.split("/")[0] in ours):
        here = path.relative_to(ROOT).parts
        room = here[0] if here[0] != "pipeline" else here[1].removesuffix(".py")
        tops = {n.split(".")[0] for node in ast.walk(ast.parse(path.read_text("utf-8"))) for n in names_in(node)}
        found[room] |= {top for top in tops - ours - ANYWHERE if top not in sys.stdlib_module_names}
    assert {room: libraries for room, libraries in told.items() if libraries} == {
        room: libraries for room, libraries in found.items() if libraries
    }


def test_rooms_that_see_no_patient_are_named():
    sentence = re.search(r"\.([^.]*)import no room that sees patients", read("DEVELOPERS.md"))[1]
    assert set(re.findall(r"`([^`]+)`", sentence)) == AGGREGATES_ONLY


def test_lists_of_the_documents_are_complete():
    readme, pool = read("README.md"), read("synthetic_data/README.md")
    assert {path.stem for path in (ROOT / "config").glob("*.yaml")} == set(PARTS)
    assert all(f"`config/{part}.yaml`" in readme for part in PARTS)
    assert all(f"`{status}`" in readme for status in codes.ESTIMATE_STATUS if status != "ok")
    assert f"at most {MOST:,} rows of an analysis" in read("DEVELOPERS.md")
    assert all(re.search(rf"^\| {code} \|", pool, re.M) for code in [site.code for site in HABITS])
    forms = dict(re.findall(r"^\| (S\d+) \| (\.\w+) \|", pool, re.M))
    handed = {p.parent.parent.name: p.suffix for p in (ROOT / "synthetic_data" / "pool").glob("S*/*/*")}
    assert forms == handed
    assert "eleven scenarios" in read("tests/recovery/README.md")
    assert len(SCENARIOS) == 11


FOLLOWED_AS_PLANNED = (
    "benign",
    "eight_sites",
    "twenty_sites",
    "frail_patients",
    "channelled",
    "weibull",
    "irregular_looks",
)


@cache
def read_study() -> pd.DataFrame:
    return pd.read_csv(ROOT / "tests" / "recovery" / "recovery.csv", comment="#").query("stance == 'honest'")


def test_the_study_says_what_its_table_says():
    """The mean coverage of each analysis, and what is said of the second line's difference."""
    text = read("tests/recovery/README.md")
    rows = read_study()
    judged = rows[rows["scenario"].isin(FOLLOWED_AS_PLANNED) & (rows["answered"] >= rows["pools"] / 2)]
    found = judged.groupby("analysis")["coverage"].mean()
    said = re.search(r"\*\*All in all\*\*.*?mean coverage\n(.*?)\n- ", text, re.S)[1]
    told = {name: float(number) for number, name in re.findall(r"(\.\d+) `(\w+)`", said)}
    assert told == {name: pytest.approx(coverage, abs=0.0006) for name, coverage in found.items()}


def test_the_second_line_is_as_good_as_is_said():
    rows = read_study()
    rows = rows[rows["answered"] >= rows["pools"] / 2].set_index("term")
    by_day = {day: rows.loc[f"all risk_difference_day_{day} against repeat"] for day in (7, 30)}
    said = re.search(
        r"difference by day 30 in (\d+) to (\d+) %.*?by day 7 it is (\.\d+) to (\.\d+) too great in most",
        read("DEVELOPERS.md"),
        re.S,
    )
    least, most, low, high = (float(number) for number in said.groups())
    coverage = 100 * by_day[30]["coverage"]
    assert [coverage.min(), coverage.max()] == pytest.approx([least, most], abs=0.6)
    assert by_day[7]["bias"].between(low - 0.005, high + 0.005).mean() > 0.5


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "Snakefile", "run.py"])
def test_config_keys_that_are_named_exist(name):
    known = re.search(r"set\(config\) - \{(.+?)\}", read("Snakefile"))
    named = [
        key for told in re.findall(r"--config ((?:\w+=\S+ ?)+)", read(name)) for key in re.findall(r"(\w+)=", told)
    ]
    assert set(named) <= set(re.findall(r"\w+", known[1]))
