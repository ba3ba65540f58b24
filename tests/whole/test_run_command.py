"""`./run` on machines of many kinds, with a project of one tiny package,
so that nothing comes from a network."""

import base64
import hashlib
import json
import os
import resource
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from pipeline import __version__

ROOT = Path(__file__).parent.parent.parent
PYTHON = Path(sys.base_prefix) / "bin" / f"python{sys.version_info.major}.{sys.version_info.minor}"
TOOL = """
import importlib.util, json, os, sys
names = ("tiny", "foreign", "pytest_foreign")
print(json.dumps({"found": [name for name in names if importlib.util.find_spec(name)],
                  "here": os.getcwd(), "words": sys.argv[1:],
                  "path": sys.path, "variables": dict(os.environ)}))
"""
pytestmark = pytest.mark.skipif(os.name == "nt", reason="starts a shell")


def write_wheel(folder: Path) -> str:
    """A wheel of one module, `tiny`; its SHA-256."""
    files = {
        "tiny.py": "",
        "tiny-1.0.dist-info/METADATA": "Metadata-Version: 2.1\nName: tiny\nVersion: 1.0\n",
        "tiny-1.0.dist-info/WHEEL": (
            "Wheel-Version: 1.0\nGenerator: test\nRoot-Is-Purelib: true\nTag: py3-none-any\n"
        ),
    }
    digests = {name: hashlib.sha256(text.encode()).digest() for name, text in files.items()}
    records = [
        f"{name},sha256={base64.urlsafe_b64encode(d).decode().rstrip('=')},"
        for name, d in digests.items()
    ]
    files["tiny-1.0.dist-info/RECORD"] = "\n".join([*records, "tiny-1.0.dist-info/RECORD,,\n"])
    folder.mkdir()
    path = folder / "tiny-1.0-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as wheel:
        for name, text in files.items():
            wheel.writestr(name, text)
    return hashlib.sha256(path.read_bytes()).hexdigest()


def link_programs(folder: Path, *names: str) -> Path:
    """A folder for PATH with nothing but these programs of the machine."""
    folder.mkdir()
    for name in names:
        (folder / name).symlink_to(shutil.which(name))
    return folder


class Project:
    """A copy of the starter with a lock of one package and one tool, which says what it sees."""

    def __init__(self, folder: Path, installer: str) -> None:
        self.root = folder / "a päth with blanks"
        (self.root / "pipeline" / "commands").mkdir(parents=True)
        shutil.copytree(
            ROOT / "environment",
            self.root / "environment",
            ignore=shutil.ignore_patterns("__pycache__"),
        )
        for name in ("run", "run.py", "pipeline/__init__.py"):
            shutil.copy(ROOT / name, self.root / name)
        (self.root / "pipeline" / "__main__.py").write_text(TOOL, "utf-8")
        (self.root / "pipeline" / "commands" / "look.py").write_text(
            '"""Look."""\ndef add_to(tools): ...\n', "utf-8"
        )
        self.lock = self.root / "requirements.lock"
        self.lock.write_text(f"tiny==1.0 --hash=sha256:{write_wheel(folder / 'wheels')}\n", "utf-8")
        self.site = self.root / f".venv/lib/{PYTHON.name}/site-packages"
        programs = ("sh", "rm", *(["uv"] if installer == "uv" else []))
        path = link_programs(folder / "bin", *programs)
        (path / "python3").symlink_to(PYTHON)
        wheels = str(folder / "wheels")
        self.variables = {"PATH": str(path), "HOME": str(folder), "LC_ALL": "C", "UV_OFFLINE": "1"}
        self.variables |= {
            f"{tool}_{name}": value
            for tool in ("PIP", "UV")
            for name, value in (("NO_INDEX", "1"), ("FIND_LINKS", wheels))
        }

    def run(self, *words: str, **variables: str) -> subprocess.CompletedProcess:
        """Start it from another folder, with further variables."""
        return subprocess.run(
            [self.root / "run", *words],
            env=self.variables | variables,
            cwd=self.root.parent,
            capture_output=True,
            encoding="utf-8",
        )

    def look(self, **variables: str) -> dict:
        """What the tool sees."""
        done = self.run("look", "ä b", **variables)
        assert done.returncode == 0, done.stderr
        return json.loads(done.stdout)


@pytest.fixture(scope="module", params=["pip", "uv"])
def project(request, tmp_path_factory) -> Project:
    """A project whose environment is made by pip, or by uv where it is there."""
    if request.param == "uv" and not shutil.which("uv"):
        pytest.skip("uv is not on this machine")
    made = Project(tmp_path_factory.mktemp("project"), request.param)
    done = made.run("look")
    assert done.returncode == 0, done.stderr
    assert "Making the environment" in done.stderr
    return made


@pytest.fixture
def bare(tmp_path) -> Project:
    """A project without an environment."""
    return Project(tmp_path, "pip")


def test_the_tool_sees_its_package_its_words_and_the_folder_of_the_caller(project):
    seen = project.look()
    assert seen["found"] == ["tiny"]
    assert seen["words"] == ["look", "ä b"]
    assert Path(seen["here"]) == project.root.parent


def test_a_later_start_installs_nothing_and_costs_little(project):
    assert project.run("look").stderr == ""
    spent = {}
    for name in ("run", ".venv/bin/python"):
        words = ["look"] if name == "run" else ["-m", "pipeline"]
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        for _ in range(5):
            subprocess.run(
                [project.root / name, *words],
                env=project.variables,
                cwd=project.root,
                capture_output=True,
            )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent[name] = (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / 5
    # seconds of a processor, since others may use the machine
    assert spent["run"] - spent[".venv/bin/python"] < 0.2


def test_nothing_of_the_users_own_python_is_seen(project, tmp_path):
    home = tmp_path / "home"
    user_site = home / f".local/lib/{PYTHON.name}/site-packages"
    for folder in (user_site, tmp_path / "path", project.root.parent):
        folder.mkdir(parents=True, exist_ok=True)
        for name in (
            "foreign.py",
            "pytest_foreign.py",
            "sitecustomize.py",
            "usercustomize.py",
            "json.py",
        ):
            (folder / name).write_text("print('foreign code ran')", "utf-8")
    try:
        seen = project.look(
            HOME=str(home),
            PYTHONPATH=str(tmp_path / "path"),
            PYTHONSTARTUP="foreign.py",
            PYTHONUSERBASE=str(home / ".local"),
            PYTHONHOME=str(tmp_path),
            PYTEST_PLUGINS="pytest_foreign",
            PYTEST_ADDOPTS="-p pytest_foreign",
        )
    finally:
        for name in (
            "foreign.py",
            "pytest_foreign.py",
            "sitecustomize.py",
            "usercustomize.py",
            "json.py",
        ):
            (project.root.parent / name).unlink()
    assert seen["found"] == ["tiny"]
    assert not {"PYTEST_PLUGINS", "PYTEST_ADDOPTS", "PYTHONSTARTUP", "PYTHONHOME"} & set(
        seen["variables"]
    )
    assert not any(str(tmp_path) in entry or str(home) in entry for entry in seen["path"])


def see_whole(project: Project) -> bool:
    asked = [PYTHON, "-c", "from environment.place import is_made; print(is_made())"]
    done = subprocess.run(
        asked,
        env=project.variables,
        cwd=project.root,
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    return done.stdout.strip() == "True"


@pytest.mark.parametrize(
    "part", [".venv/bin/python", ".venv/made_from", "tiny.py", "requirements.lock"]
)
def test_what_is_missing_is_seen(project, part):
    path = project.site / part if part == "tiny.py" else project.root / part
    path.rename(path.with_name("aside"))
    whole = see_whole(project)
    path.with_name("aside").rename(path)
    assert (whole, see_whole(project)) == (False, True)


def test_a_package_that_came_later_is_seen(project):
    (project.site / "foreign.py").touch()
    whole = see_whole(project)
    (project.site / "foreign.py").unlink()
    assert (whole, see_whole(project)) == (False, True)


def test_of_two_starts_at_once_one_mends_a_broken_environment(project):
    (project.root / ".venv/bin/python").unlink()
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "encoding": "utf-8"}
    started = [
        subprocess.Popen([project.root / "run", "look"], env=project.variables, **pipes)
        for _ in range(2)
    ]
    outputs = [process.communicate() for process in started]
    assert [json.loads(out)["found"] for out, _ in outputs] == [["tiny"], ["tiny"]]
    assert sum("Making the environment" in error for _, error in outputs) == 1


def test_a_home_that_takes_no_files_is_replaced(project):
    seen = project.look(HOME="/nonexistent", TMPDIR="/nonexistent/too")
    for name in ("HOME", "MPLCONFIGDIR", "XDG_CACHE_HOME"):
        assert Path(seen["variables"][name]).is_relative_to(project.root / ".venv")
    assert "TMPDIR" not in seen["variables"]


def test_where_packages_come_from_is_left_alone(project):
    places = {
        "PIP_INDEX_URL": "https://mirror.example/simple",
        "UV_DEFAULT_INDEX": "https://mirror.example/simple",
        "UV_INDEX_OURS_PASSWORD": "x",
    }
    assert places.items() <= project.look(**places)["variables"].items()


WEAKER = {
    "PIP_REQUIRE_HASHES": "0",
    "PIP_NO_DEPS": "1",
    "PIP_USER": "1",
    "UV_NO_VERIFY_HASHES": "1",
    "UV_REQUIRE_HASHES": "0",
}


@pytest.mark.parametrize("changed", ["another", "none"])
def test_a_package_with_another_hash_or_none_is_not_installed(project, changed):
    lock = project.lock.read_text("utf-8")
    requirement, _, digest = lock.strip().partition(" --hash=sha256:")
    project.lock.write_text(
        f"{requirement} --hash=sha256:{digest[1:]}{digest[0]}\n"
        if changed == "another"
        else f"{requirement}\n",
        "utf-8",
    )
    try:
        done = project.run("look", **WEAKER)
    finally:
        project.lock.write_text(lock, "utf-8")
    assert done.returncode == 69
    assert done.stdout == ""
    assert "hash" in done.stderr.splitlines()[-1]
    assert not (project.root / ".venv/made_from").exists()
    assert not (project.site / "tiny.py").exists()


def write_program(path: Path, text: str) -> None:
    path.unlink(missing_ok=True)
    path.write_text(f"#!/bin/sh\n{text}\n", "utf-8")
    path.chmod(0o755)


def test_no_python_gives_a_sentence(bare):
    path = Path(bare.variables["PATH"])
    (path / "python3").unlink()
    done = bare.run("look")
    assert done.returncode == 69
    assert "Python 3.11, 3.12 or 3.13 is needed" in done.stderr
    write_program(path / "python3", "echo Python 3.9.2; exit 1")
    write_program(path / "python3.12", "echo 'shim: version 3.12 is not installed' >&2; exit 127")
    message = bare.run("look").stderr
    assert "python3.12 does not start" in message
    assert "sudo apt install python3" in message
    assert "shim" not in message


def test_an_old_python_is_passed_over_for_one_that_fits(bare):
    path = Path(bare.variables["PATH"])
    write_program(path / "python3", "echo Python 3.9.2; exit 1")
    (path / "python3.12").symlink_to(PYTHON)
    assert bare.run("--version").stdout.strip() == __version__


def test_a_python_without_venv_says_what_to_install(bare):
    hidden = (
        'import runpy, sys; sys.modules["ensurepip"] = None; del sys.argv[0]; sys.path.insert(0, '
        'sys.argv[0].rpartition("/")[0]);'
    )
    hidden += 'runpy.run_path(sys.argv[0], run_name="__main__")'
    write_program(
        Path(bare.variables["PATH"]) / "python3",
        f"shift 3; exec '{PYTHON}' -E -s -S -c '{hidden}' \"$@\"",
    )
    done = bare.run("look")
    assert done.returncode == 69
    assert f"sudo apt install {PYTHON.name}-venv" in done.stderr


def test_a_chosen_python_that_is_none_is_named(bare):
    done = bare.run("look", PYTHON="/nowhere/python3")
    assert done.returncode == 69
    assert "/nowhere/python3 does not start" in done.stderr


def test_help_and_version_need_no_environment(bare):
    done = bare.run("--help")
    assert "run look" in done.stdout
    assert bare.run("--version").stdout.strip() == __version__
    assert not (bare.root / ".venv").exists()


def test_a_misspelt_tool_is_named_with_what_was_meant(bare):
    done = bare.run("lok")
    assert done.returncode == 64
    assert "Did you mean look?" in done.stderr
