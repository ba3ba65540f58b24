"""One check that was asked for: the copies it works on, the process that does it, and what it said
so far."""

import multiprocessing
import tempfile
import threading
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from pipeline.coordinator.append import Rows
from pipeline.coordinator.word_list import OwnWord
from pipeline.desk.enter import enter
from pipeline.desk.examine import EARLIER, HANDED, Work, examine, tell
from pipeline.desk.place import name_safely, wipe
from schemas.site_map import SiteMap, write_site_map
from schemas.study import SITES

# from the first file to the last word; the marked copy is still being made when the verdict is told
WAITING, RUNNING, TOLD, OVER = "waiting", "running", "told", "over"
STOPPED, FAILED, NOTHING = "stopped", "failed", "nothing"  # other ends


class Job:
    """A check, to be begun once its files are there.

    Attributes
    ----------
    stage
        How far it is.
    says
        What is being done.
    verdict
        What `pipeline.desk.verdict` describes, once it is told.
    marked
        The marked copy, if there is one.
    words
        What is no word of the dictionary.
    files, earlier
        The delivery, and the one before it, as they were handed in, by name: if it may be saved, or
        checked again with the words of its site.
    site_map
        The list of own names that it was checked with, if it was made on the page.
    entered
        What `pipeline.desk.enter` describes, if rows were added.
    book
        The workbook with them.
    """

    def __init__(self, place: Path):
        self.folder = Path(tempfile.mkdtemp(dir=place))
        self.stage, self.says = WAITING, ""
        self.verdict: dict[str, Any] | None = None
        self.marked: bytes | None = None
        self.words: list[OwnWord] = []
        self.files: dict[str, bytes] = {}
        self.earlier: dict[str, bytes] = {}
        self.site_map: SiteMap | None = None
        self.entered: dict[str, Any] | None = None
        self.book: bytes | None = None
        self._process: multiprocessing.process.BaseProcess | None = None
        self._listener: threading.Thread | None = None

    def name_file(self, name: str, *, earlier: bool) -> Path:
        """Where a file that is called so goes; `earlier` if it is of the delivery before."""
        folder = self.folder / (EARLIER if earlier else HANDED)
        folder.mkdir(exist_ok=True)
        return folder / name_safely(name, {path.name.casefold() for path in folder.iterdir()})

    def repeat(self, site: str, site_map: SiteMap) -> "Job":
        """The same check, to be begun, with a list of own names of its site."""
        again = Job(self.folder.parent)
        for files, earlier in ((self.files, False), (self.earlier, True)):
            for name, content in files.items():
                again.name_file(name, earlier=earlier).write_bytes(content)
        (again.folder / SITES).mkdir()
        (again.folder / SITES / f"{site}.yaml").write_text(write_site_map(site_map), "utf-8")
        again.site_map = site_map
        return again

    def begin(self, plan: Path, rows: Rows | None = None) -> None:
        """Begin the check, or add rows and check them; once it is begun, or without a file, nothing
        happens."""
        if self.stage != WAITING or not (self.folder / HANDED).exists():
            return
        apart = multiprocessing.get_context("spawn")
        ours, theirs = apart.Pipe(duplex=False)
        work: Work = tell if rows is None else partial(enter, rows=rows)
        arguments = (theirs, self.folder, plan, work)
        self._process = apart.Process(target=examine, args=arguments, daemon=True)
        self.stage = RUNNING
        self._process.start()
        theirs.close()
        self._listener = threading.Thread(target=self._listen, args=(ours,), daemon=True)
        self._listener.start()

    def stop(self) -> None:
        """Stop the check, wherever it is, and wipe its copies; what was told stays."""
        if self.stage in (WAITING, RUNNING):
            self.stage = STOPPED
        if self._process and self._listener:
            self._process.kill()
            self._listener.join()
        wipe(self.folder)

    def rank(self) -> tuple[bool, bool]:
        """How much it is still needed, the least first: what came of added rows is told at once."""
        return self.stage == RUNNING, self.entered is None

    def _listen(self, connection: Connection) -> None:
        """Hear what the process tells until it ends, and wipe the copies it worked on."""
        while True:
            try:
                what, content = connection.recv()
            except (EOFError, OSError):
                break
            if what == "says":
                self.says = content
            elif what == "words":
                self.words = content
            elif what == "entered":
                self.entered = content
            elif what == "book":
                self.book = content
            elif what == "marked":
                self.marked = content
                wipe(self.folder)  # before the process has ended, which takes a moment
            elif self.stage == RUNNING:
                self._take(content)
        connection.close()
        wipe(self.folder)
        if self._process:
            self._process.join()
        done = OVER if self.entered else FAILED
        self.stage = {RUNNING: done, TOLD: OVER}.get(self.stage, self.stage)

    def _take(self, verdict: dict[str, Any] | None) -> None:
        """Take in the verdict, and the files before they are wiped."""
        if not verdict:
            wipe(self.folder)
        elif verdict["savable"] or self.words:
            self.files, self.earlier = self._read(HANDED), self._read(EARLIER)
        self.verdict = verdict
        self.stage = TOLD if verdict else NOTHING

    def _read(self, kind: str) -> dict[str, bytes]:
        """The files of one kind, by name."""
        folder = self.folder / kind
        return {path.name: path.read_bytes() for path in sorted(folder.glob("*"))}
