"""Workbooks as a coordinator brings them to the page, and a client that talks to it as a browser
would, or as somebody else."""

import http.client
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from urllib.parse import quote, urlsplit

from pipeline.coordinator.example import Row, list_example
from pipeline.coordinator.guide import list_slips
from pipeline.coordinator.steady import write_steadily
from pipeline.coordinator.template import build_template
from pipeline.sources import ROOT
from schemas.study import Config

MAIL = "anna.meier@example.org"  # what identifies somebody
MARKUP = "<img src=x onerror=alert(1)>"


ORDINARY = {  # an ordinary episode as the page sends it
    "episode": {
        "episode_id": "EP-0042",
        "patient_id": "PT-0031",
        "age_years": "57",
        "sex": "female",
    }
    | {"index_year": "2025", "cause": "idiopathic", "onset_day": "-3", "other_diagnosis": "none"}
    | {"recorded_canal": "posterior", "recorded_side": "right", "recorded_arm": "long"}
    | {"recorded_mechanism": "canalolithiasis"},
    "visits": [
        {
            "day": "0",
            "reason": "symptoms",
            "before": [
                {"test": "dix_hallpike", "side": "right", "result": "positive", "vertical": "up"}
                | {"torsion": "right", "horizontal": "none", "vertigo": "moderate"},
                {"test": "dix_hallpike", "side": "left", "result": "negative"},
            ],
            "attempts": [
                {"maneuver": "epley", "side": "right", "setting": "clinic", "completed": "yes"}
                | {"performed_by": "clinician", "adverse": "none", "hold_s": "30"}
            ],
            "after": [{"test": "dix_hallpike", "side": "right", "result": "negative"}],
        }
    ],
    "contacts": [
        {"day": "3", "contact": "telephone", "positional_symptoms": "no", "end_of_followup": "no"}
    ],
}
SURNAME = "Lindqvist"  # a lone word that nobody can tell from a code of a site
OWN_SEX, OWN_SIDE = {"female": "weiblich", "male": "M"}, {"right": "rechts", "left": "L"}


def name_otherwise(rows: dict[str, list[Row]]) -> None:
    """Let a delivery call sexes and sides by words of its own, one maneuver by its name and side,
    and a finding three times by a word that nobody knows."""
    for row in rows["episodes"]:
        row |= {"sex": OWN_SEX[str(row["sex"])], "neck_limitation": SURNAME}
    for row in rows["treatments"]:
        row["side"] = OWN_SIDE[str(row["side"])]
    rows["treatments"][0]["maneuver"] = "Epley rechts"


def make_books(plan: Config) -> dict[str, bytes]:
    """Workbooks of site S99: all right, with two slips, with an identifier, with markup in cells,
    the next delivery, in which an episode is missing, and one in words of its own."""
    maneuvers = {code: maneuver.name for code, maneuver in plan.maneuvers.items()}
    identified, marked_up, later = list_example(), list_slips(), list_example()
    own_words = list_example()
    name_otherwise(own_words)
    identified["episodes"][0]["cause"] = MAIL
    marked_up["episodes"][0]["recorded_canal"] = MARKUP
    later["submission"][0] = {
        name: value for name, value in later["submission"][0].items() if "counted" not in name
    } | {"delivery": "002"}
    gone = later["episodes"][-1]["episode_id"]
    later |= {
        table: [row for row in later[table] if row["episode_id"] != gone]
        for table in ("episodes", "examinations", "treatments", "followups")
    }
    rows = {
        "good": list_example(),
        "slips": list_slips(),
        "identified": identified,
        "marked_up": marked_up,
        "later": later,
        "own_words": own_words,
    }
    return {
        name: write_steadily(build_template(maneuvers, tables)) for name, tables in rows.items()
    }


class Client:
    """Talks to the page's program; `heard` is all that it was answered so far."""

    def __init__(self, first: str):
        self.parts = urlsplit(first)
        self.origin = f"http://{self.parts.netloc}"
        self.cookie = ""
        self.heard = b""

    def ask(
        self, method: str, path: str, body: bytes | str | None = None, **headers: str | None
    ) -> tuple[int, dict[str, str], bytes]:
        """Status, headers and bytes of an answer; a header that is None is not sent."""
        own = {"Cookie": self.cookie} if self.cookie else {}
        own |= {"Origin": self.origin} if method != "GET" else {}
        own |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection(self.parts.hostname, self.parts.port, timeout=120)
        try:
            sent = {name: value for name, value in own.items() if value is not None}
            connection.request(method, path, body, sent)
            answer = connection.getresponse()
            content = answer.read()
        finally:
            connection.close()
        told = {name.lower(): value for name, value in answer.getheaders()}
        self.heard += repr(told).encode() + content
        return answer.status, told, content

    def enter(self) -> tuple[int, dict[str, str]]:
        """Open the first address, as the browser does."""
        status, headers, _ = self.ask("GET", f"/?{self.parts.query}")
        self.cookie = headers.get("set-cookie", "").partition(";")[0]
        return status, headers

    def post(self, path: str, **fields: str) -> tuple[int, dict[str, str], bytes]:
        """Send a form."""
        return self.ask("POST", path, json.dumps(fields))

    def bring(
        self, files: dict[str, bytes], earlier: dict[str, bytes] | None = None, begin: bool = True
    ) -> str:
        """Bring files, begin the check, and tell its path."""
        path = f"/checks/{json.loads(self.ask('POST', '/checks')[2])['check']}"
        for of, brought in (("delivery", files), ("earlier", earlier or {})):
            for name, content in brought.items():
                where = f"{path}/files?of={of}&name={quote(name, safe='')}"
                assert self.ask("POST", where, content)[0] == 204
        if begin:
            assert self.ask("POST", f"{path}/begin")[0] == 204
        return path

    def news(self, path: str) -> dict:
        """How far a check is."""
        return json.loads(self.ask("GET", f"{path}/news")[2])

    def wait(self, path: str, *stages: str, seconds: float = 300) -> dict:
        """How far a check is, once it is there."""
        begun = time.monotonic()
        while (news := self.news(path))["stage"] not in stages:
            assert time.monotonic() - begun < seconds, news
            time.sleep(0.1)
        return news


def start_desk(folder: Path) -> tuple[subprocess.Popen, str, Path, Path]:
    """Start the program without a browser: its process, the address that it says, the folder for
    copies, and the file that holds what it wrote at the terminal."""
    seen, place = folder / "seen.txt", folder / "temporary"
    place.mkdir()
    own = {"BROWSER": "true", "TMPDIR": str(place), "TEMP": str(place)}
    with seen.open("w") as file:
        process = subprocess.Popen(
            [sys.executable, "-m", "pipeline", "desk"],
            cwd=ROOT,
            env=os.environ | own,
            stdout=file,
            stderr=subprocess.STDOUT,
        )
    begun = time.monotonic()
    while not (found := re.search(r"http://127\.0\.0\.1:\d+/\S+\n", seen.read_text("utf-8"))):
        assert time.monotonic() - begun < 240
        assert process.poll() is None, seen.read_text("utf-8")
        time.sleep(0.1)
    return process, found[0].strip(), place, seen


def list_copies(place: Path) -> list[Path]:
    """The files that lie in the folder for copies, but for the one that keeps it."""
    return [path for path in place.rglob("*") if path.is_file() and path.name != "held"]


def wait_until_wiped(place: Path, seconds: float = 120) -> None:
    """Wait until no copy is left: what makes them ends a moment after its last word."""
    begun = time.monotonic()
    while list_copies(place):
        assert time.monotonic() - begun < seconds, list_copies(place)
        time.sleep(0.1)
