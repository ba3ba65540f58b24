"""Which of our own files a module is made of: the code of a step is one of its inputs,
so that an edit anywhere beneath reruns it."""

import ast
import hashlib
import sys
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path, PurePath, PurePosixPath

OWN = Path(__file__).parent
ROOT = OWN.parent
ROOMS = ("environment", "schemas", "pipeline", "synthetic_data")
WORKFLOW = "Snakefile"
OWN_ROOMS = ("schemas", "pipeline", "reports")
OWN_KINDS = (".py", ".smk", ".j2", ".typ", ".css", ".js")


def find_sources(module: str) -> list[str]:
    """The paths of `module` and of everything of ours that it imports, near or far, sorted."""
    paths: set[Path] = set()
    first = locate(module)
    waiting = {first} if first else set()
    while waiting:
        paths |= waiting
        waiting = set().union(*map(_find_imported, waiting)) - paths
    return sorted(map(str, paths))


def list_own_files() -> list[Path]:
    """Every file whose change can change a number or a page: code, templates,
    styles and the workflow itself, sorted."""
    rooms = [path for room in OWN_ROOMS for path in (ROOT / room).rglob("*")]
    return sorted(path for path in [*rooms, ROOT / WORKFLOW] if is_own_file(path.relative_to(ROOT)))


def is_own_file(path: PurePath) -> bool:
    """Whether the change of a file, named from the root of the project, can change a number or a
    page."""
    return (path.parts[0] in OWN_ROOMS and path.suffix in OWN_KINDS) or path.parts == (WORKFLOW,)


@cache
def find_libraries() -> list[str]:
    """The packages of others that a step of the workflow may import, near or far, by the names
    under which they are installed, sorted; those of tools at a terminal alone make no number."""
    from importlib.metadata import packages_distributions

    # analyses are imported by their names, so that no step leads to them
    begun = [path for folder in ("steps", "analyses") for path in (OWN / folder).rglob("*.py")]
    modules = {".".join(path.relative_to(ROOT).with_suffix("").parts) for path in begun}
    files = {Path(path) for module in modules for path in find_sources(module)}
    tops = {name.split(".")[0] for path in files for name in _list_imports(path)}
    foreign = tops - set(ROOMS) - sys.stdlib_module_names
    installed = packages_distributions()  # reads what every package says of itself
    return sorted({distribution for top in foreign for distribution in installed[top]})


@cache
def find_imports(path: Path) -> frozenset[str]:
    """Our own modules that a file imports, with the packages that hold them."""
    names = _list_imports(path)
    ours = {name for name in names if name.split(".")[0] in ROOMS}
    return frozenset(
        ".".join(name.split(".")[:n]) for name in ours for n in range(1, name.count(".") + 2)
    )


@cache
def _find_imported(path: Path) -> frozenset[Path]:
    """The files of ours that a file imports."""
    return frozenset(found for name in find_imports(path) if (found := locate(name)))


@cache
def _list_imports(path: Path) -> frozenset[str]:
    """The full names of everything that a file imports, ours or not."""
    names: set[str] = set()
    for node in _list_statements(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(names)


def _list_statements(tree: ast.Module) -> Iterator[ast.AST]:
    """All statements of a file and what holds them; most of a tree are expressions, which import
    nothing."""
    waiting: list[ast.AST] = [tree]
    while waiting:
        node = waiting.pop()
        yield node
        for part in ("body", "handlers", "orelse", "finalbody", "cases"):
            waiting += getattr(node, part, ())


def fingerprint_files(paths: list[Path], root: Path) -> str:
    """One SHA-256 over the names (relative to `root`) and bytes of files,
    in the order of their names."""
    digests = {}
    for path in paths:
        with path.open("rb") as file:  # piece by piece: a stray file can be larger than the memory
            name = PurePosixPath(path.relative_to(root).as_posix())
            digests[name] = hashlib.file_digest(file, "sha256").digest()
    return combine_digests(digests)


def combine_digests(digests: Mapping[PurePosixPath, bytes]) -> str:
    """One SHA-256 over names and the SHA-256 of what each holds, in the order of the names."""
    total = hashlib.sha256()
    for name in sorted(digests):
        total.update(str(name).encode() + b"\0" + digests[name])
    return total.hexdigest()


def fingerprint_plan(folder: Path) -> str:
    """One SHA-256 over the files of a plan, sites' own names among them: they decide what is read
    of a delivery."""
    return fingerprint_files(list(folder.rglob("*.yaml")), folder)


def fingerprint_code() -> str:
    """One SHA-256 over everything of ours that can change a number or a page."""
    return fingerprint_files(list_own_files(), ROOT)


@cache
def locate(module: str) -> Path | None:
    """The file of a module or package of ours; None for a name inside a module."""
    path = ROOT / Path(*module.split("."))
    return next((p for p in (path.with_suffix(".py"), path / "__init__.py") if p.exists()), None)
