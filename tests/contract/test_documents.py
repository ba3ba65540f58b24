"""What the documents name exists: paths, keys and names in the code. Their lines are short.

Command lines are asked in test_commands.py.
"""

import os
import re
from functools import cache
from pathlib import Path

import pytest

from tests.contract.test_floors import ROOT

# words that the documents quote as what somebody might type or write, and that need not stand in
# the code
EXAMPLES = {
    *(
        "001",
        "002",
        "003",
        "1",
        "0",
        "y",
        "yes",
        "unknown",
        "Episode ID",
        "Alter",
        "weiblich",
        "1950 to",
        "36,500",
    ),
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


@cache
def read(name: str) -> str:
    return (ROOT / name).read_text("utf-8")


@cache
def list_tracked() -> list[str]:
    """The files of the project, those of the invented pool and what is made by running it left
    out."""
    made = {line.strip("/") for line in read(".gitignore").splitlines()} | {".git"}
    files = []
    for folder, folders, names in os.walk(ROOT):
        here = Path(folder).relative_to(ROOT)
        folders[:] = sorted(
            name
            for name in folders
            if name not in made and (here / name).as_posix() != "synthetic_data/pool"
        )
        files += [(here / name).as_posix() for name in sorted(names) if name not in made]
    return files


TOP = (
    "README.md",
    "DEVELOPERS.md",
    "CONTRIBUTING.md",
)  # not the changelog, which names what is gone, nor what a tool wrote there
MADE = ("docs/estimates.md",)  # of the declarations, and compared with them
DOCUMENTS = tuple(
    path
    for path in list_tracked()
    if path.endswith(".md") and ("/" in path or path in TOP) and path not in MADE
)
PAGES = (*DOCUMENTS, "CHANGELOG.md")
WIDTH = 100  # of a line, as of the code
WIDER = {"tests/recovery/README.md"}


@cache
def read_sources() -> str:
    """All texts but the documents and their tests, in which a name must occur to be one."""
    left_out = {
        *DOCUMENTS,
        *(f"tests/contract/test_{name}.py" for name in ("documents", "commands", "links")),
    }
    kept = [
        path
        for path in list_tracked()
        if path not in left_out and Path(path).suffix not in (".csv", ".jsonl", ".lock", ".pdf")
    ]
    # a workbook made here is no text
    return "\n".join((ROOT / path).read_text("utf-8", "replace") for path in kept)


def list_code(document: str) -> list[str]:
    """What stands between backticks in a line, and the lines of blocks of code."""
    text = read(document)
    blocks = [
        line.split("#")[0].strip()
        for block in re.findall(r"```\w*\n(.*?)```", text, re.S)
        for line in block.splitlines()
    ]
    inline = re.findall(r"`([^`\n]+)`", re.sub(r"```.*?```", "", text, flags=re.S))
    return [code for code in [*inline, *blocks] if code and code not in EXAMPLES]


def is_command(code: str) -> bool:
    return bool(
        re.match(
            r"(\./run|py run\.py|python -m|uv |rm -r"
            r"|(\.venv/bin/)?(snakemake|ruff|snakefmt|mypy|pytest))( |$)",
            code,
        )
    )


def find_missing_path(named: str, document: str) -> bool:
    """Whether a path is neither a file of the repository nor named as one that is made."""
    made = {line.strip("/") for line in read(".gitignore").splitlines()}
    if named.split("/")[0] in made | {"submissions", "results"} or re.fullmatch(r"\.\w+", named):
        return False  # tests/whole/test_documents.py looks for those of a run
    folders = (
        ROOT,
        (ROOT / document).parent,
        ROOT / "pipeline",
        ROOT / "synthetic_data",
        ROOT / "tests" / "recovery",
    )
    if any(list(folder.glob(named.rstrip("/"))) for folder in folders):
        return False
    name = re.escape(Path(named).name)
    return "/" in named or not re.search(
        rf"(?<![\w.]){name}", "\n".join(list_tracked()) + read_sources()
    )


def list_paths(document: str) -> list[str]:
    return [word for code in list_code(document) for word in code.split() if is_path(word, code)]


def list_names(document: str) -> set[str]:
    codes = [code for code in list_code(document) if not is_command(code)]
    matches = [re.fullmatch(r"@?([A-Za-z_]\w+(?:\.\w+)*)(?:\(.*\))?", code) for code in codes]
    return {match[1] for match in matches if match}


def test_the_documents_name_something():
    assert all(
        list_paths(document) for document in ("README.md", "DEVELOPERS.md", "docs/analyst.md")
    )
    assert all(
        list_names(document)
        for document in ("DEVELOPERS.md", "docs/analyst.md", "docs/coordinator.md")
    )


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_path_exists(document):
    assert [path for path in list_paths(document) if find_missing_path(path, document)] == []


def is_path(word: str, code: str) -> bool:
    if word in EXAMPLES or re.search(r"[<>=(),:;{}]|^-|^DIR\b", word):
        return False
    whole = word == code or is_command(code)
    return (
        whole
        and bool(re.search(rf"[\w*]/|\.({SUFFIXES})$", word))
        and not re.fullmatch(r"[\d/ -]+", word)
    )


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_name_stands_in_the_code(document):
    """Keys of the plan, columns, statuses, functions, modules."""
    names = list_names(document)
    sources = read_sources()
    parts = {name: [name] if name in sources else name.split(".") for name in names}
    assert [
        n
        for n in sorted(names)
        if not all(re.search(rf"(?<![A-Za-z]){p}(?![A-Za-z])", sources) for p in parts[n])
    ] == []


def find_long_lines(text: str) -> list[int]:
    """Numbers of lines that are too long. Rows of a table, blocks of code, what links lead to, and
    a line that is all one piece of code cannot be broken."""
    numbers, in_code = [], False
    for number, line in enumerate(text.splitlines(), start=1):
        if line.startswith("```"):
            in_code = not in_code
        whole = in_code or line.lstrip().startswith("|") or re.fullmatch(r" *`[^`]+`[.:]?", line)
        if not whole and len(re.sub(r"\]\([^)]*\)", "]", line)) > WIDTH:
            numbers.append(number)
    return numbers


def test_a_long_line_is_found_unless_it_cannot_be_broken():
    long = "word " * 20 + "."
    kept = ["```", long, "```", f"| {long} |", f"  `{long}`.", f"[there]({long})", long[1:]]
    assert find_long_lines("\n".join([*kept, long, f"- [{long}](here)"])) == [8, 9]


@pytest.mark.parametrize("document", sorted(set(PAGES) - WIDER))
def test_lines_are_short(document):
    assert find_long_lines(read(document)) == []
