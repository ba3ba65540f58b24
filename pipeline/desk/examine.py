"""The check, in a process of its own that can be stopped: the page stays alive beside it, and what
it read is gone with it."""

import os
import tempfile
import threading
from collections.abc import Callable
from multiprocessing import parent_process
from multiprocessing.connection import Connection, wait
from pathlib import Path

from pipeline.coordinator.check import TABLE_FILES, find_folders, judge_folders
from pipeline.coordinator.marked import mark_delivery
from pipeline.coordinator.word_list import list_own_words
from pipeline.desk.place import wipe
from pipeline.desk.verdict import describe_columns, describe_verdict
from pipeline.steps.run import run_guarded
from schemas.site_map import read_site_maps
from schemas.study import SITES, Config, read_config

# where files wait, by what they are; SITES is for a list of own words to check with
HANDED, EARLIER = "handed", "earlier"
FAILED = 3


Work = Callable[[Connection, Path, Path], None]


def examine(connection: Connection, folder: Path, plan: Path, work: Work) -> None:
    """Do what is to be done with what lies in `folder`.

    A fault ends the process with its place at the terminal, and without its message.
    """
    threading.Thread(target=_end_with_parent, args=(folder,), daemon=True).start()
    tempfile.tempdir = str(folder)  # copies of the check stay in the owner's folder, too
    run_guarded(lambda: work(connection, folder, plan), FAILED)


def tell(connection: Connection, folder: Path, plan: Path) -> None:
    """Check what lies in `folder`, and tell of it as pairs: `says` what is being done, `words` what
    is no word of the dictionary, `verdict` what came of it, `marked` the marked copy if there is
    something to mend."""
    config = read_plan(plan, folder / SITES)

    def say(text: str) -> None:
        connection.send(("says", text))

    earlier = folder / EARLIER
    compared = find_named(earlier) if earlier.exists() else None
    if not holds_tables(folder / HANDED) or (compared and not holds_tables(earlier)):
        connection.send(("verdict", None))
        return
    maneuvers = {code: maneuver.name for code, maneuver in config.maneuvers.items()}
    with find_folders(find_named(folder / HANDED), config, notify=say) as folders:
        if compared:
            with find_folders(compared, config, notify=say) as before:
                *_, judged = judge_folders(before | folders, config, say)
        else:
            (judged,) = judge_folders(folders, config, say)
        content = describe_verdict(
            judged, describe_columns(maneuvers), earlier=compared is not None
        )
        if not content["untold"]:
            problems = judged.received.tables["problems"]
            connection.send(("words", list_own_words(judged.handed, problems, config)))
        connection.send(("verdict", content))
        connection.send(("marked", mark_delivery(judged.folder, judged.handed, judged.received)))


def read_plan(plan: Path, lists: Path) -> Config:
    """The plan, with the lists of own names in a folder in place of those of the same sites."""
    config = read_config(plan)
    if not lists.exists():
        return config
    content = {name: getattr(config, name) for name in Config.model_fields}
    return Config.model_validate(content | {"sites": config.sites | read_site_maps(lists)})


def find_named(folder: Path) -> Path:
    """What somebody would name at a terminal: the file if there is one alone, or else the
    folder."""
    files = list(folder.iterdir())
    return files[0] if len(files) == 1 else folder


def holds_tables(folder: Path) -> bool:
    """Whether one of the files may hold tables."""
    return any(path.suffix.lower() in TABLE_FILES for path in folder.iterdir())


def _end_with_parent(folder: Path) -> None:
    """Wipe the copies and end if whoever asked was ended."""
    if asked := parent_process():
        wait([asked.sentinel])
        wipe(folder)
        os._exit(FAILED)
