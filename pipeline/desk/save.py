"""What a coordinator saves from the page besides the marked copy: the empty workbook, a delivery
that is named as it must be, and the list of those who withdrew."""

import io
import re
import tempfile
import zipfile
from collections.abc import Mapping
from pathlib import Path

from pipeline.coordinator.example import Row
from pipeline.coordinator.steady import write_steadily
from pipeline.coordinator.template import build_template
from pipeline.intake.folders import WITHDRAWN
from pipeline.intake.problem import phrase
from pipeline.intake.withdrawals import COLUMN, read_withdrawn
from schemas.rules import RULES

BEGINNING = (1980, 1, 1, 0, 0, 0)  # of the times that such a file can hold: it tells no other


class NotSaved(Exception):
    """What was asked for cannot be saved; the message is a sentence that quotes nothing."""


class NobodyWithdrew(Exception):
    """No pseudonym was entered."""


def make_workbook(maneuvers: Mapping[str, str], site: str) -> bytes:
    """The empty workbook of a site."""
    rows: dict[str, list[Row]] = {"submission": [{"site_code": site}]}
    return write_steadily(build_template(maneuvers, rows))


def pack_delivery(site: str, delivery: str, form: str, files: Mapping[str, bytes]) -> bytes:
    """A delivery as a .zip file of the folders <site>/<delivery>: its bytes as they were handed in,
    a workbook by the name of its site and delivery."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            called = f"{site}_{delivery}.xlsx" if form == "workbook" else name
            entry = zipfile.ZipInfo(f"{site}/{delivery}/{called}", BEGINNING)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o600 << 16
            archive.writestr(entry, content)
    return packed.getvalue()


def make_withdrawn(text: str, place: Path) -> bytes:
    """The list of those who withdrew, of pseudonyms parted by commas, semicolons or lines.

    The workflow reads it once, in a folder of `place`. Raises NobodyWithdrew if
    there is none, and NotSaved with what it says of them.
    """
    # a blank within an entry stays: it is a name, say, and no two pseudonyms
    entries = (entry.strip().upper() for entry in re.split(r"[,;\r\n]", text))
    codes = dict.fromkeys(filter(None, entries))
    if not codes:
        raise NobodyWithdrew
    content = "\n".join([COLUMN, *codes, ""]).encode()
    with tempfile.TemporaryDirectory(dir=place) as folder:
        (Path(folder) / WITHDRAWN).write_bytes(content)
        read, problems = read_withdrawn(Path(folder))
    if problems or read != set(codes):
        raise NotSaved(" ".join(phrase(RULES["withdrawals_unclear"], WITHDRAWN, None, "", "")))
    return content
