"""The bill of materials names every library of the lock, with what it was checked against, and each
licence is an open one."""

import json
import re
import sys

import pytest

from environment.bill import describe_libraries, find_licence, list_libraries
from environment.place import LOCK
from pipeline.__main__ import main

# by SPDX's list of licences approved by the Open Source Initiative (spdx.org/licenses), as packages
# write them; a licence text's own words where it is told by its classifier
OPEN = re.compile(
    "MIT|BSD|Apache|MPL|Mozilla|PSF|Python Software|ISC|Zlib|CC0|Artistic|Public Domain"
)


@pytest.fixture(scope="module")
def bill():
    return json.loads(describe_libraries("program", "1"))


def test_every_library_of_the_lock_is_in_it_with_its_hashes(bill):
    lock = LOCK.read_text("utf-8")
    pinned = re.findall(r"^([a-z0-9._-]+)==", lock, re.MULTILINE)
    assert [component["name"] for component in bill["components"]] == pinned
    assert sum(len(c["hashes"]) for c in bill["components"]) == lock.count("--hash=sha256:")
    assert all(c["purl"] == f"pkg:pypi/{c['name']}@{c['version']}" for c in bill["components"])


def test_it_has_what_the_standard_asks_for(bill):
    """CycloneDX 1.6: bomFormat and specVersion; of a component type and name; unique references."""
    assert (bill["bomFormat"], bill["specVersion"]) == ("CycloneDX", "1.6")
    assert all({"type", "name"} <= set(component) for component in bill["components"])
    references = [component["bom-ref"] for component in bill["components"]]
    assert len(set(references)) == len(references)


def test_every_installed_library_has_an_open_licence():
    said = {each["name"]: find_licence(each["name"]) for each in list_libraries()}
    installed = {name: licence for name, licence in said.items() if licence is not None}
    assert len(installed) > 80
    assert {name: licence for name, licence in installed.items() if not OPEN.search(licence)} == {}


def test_it_is_written_the_same_each_time(tmp_path, monkeypatch):
    for folder in ("one", "two"):
        monkeypatch.setattr(sys, "argv", ["run", "bill", "--out", str(tmp_path / folder)])
        main()
    assert (tmp_path / "one" / "bill.json").read_bytes() == (
        tmp_path / "two" / "bill.json"
    ).read_bytes()


def test_what_is_not_installed_has_no_licence_said(tmp_path):
    lock = tmp_path / "lock"
    lock.write_text("no-such-library==1.0 \\\n    --hash=sha256:" + "a" * 64 + "\n")
    (library,) = list_libraries(lock)
    assert library == {"name": "no-such-library", "version": "1.0", "hashes": ["a" * 64]}
    assert find_licence("no-such-library") is None
