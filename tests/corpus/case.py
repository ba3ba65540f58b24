"""One case: how its delivery is built, and what may and may not come of it."""

import hashlib
import random
from collections.abc import Callable
from dataclasses import dataclass, replace

from tests.corpus.delivery import Delivery

KINDS = ("identifiers", "clean", "messy", "first")


@dataclass(frozen=True)
class Case:
    """A case. `build(site)` gives its deliveries, the last being the one that is judged.

    `needles` are texts that must be found nowhere afterwards. `told` are facts that the person must
    be told: each a regular expression, any case. `never` are expressions that must not be told. A
    `trap` has an entry, the code that a careless reader would make of it, and the codes that it may
    mean. `blocks` is how many entries the list of things to mend may have. `skipped`: the folder is
    none of a delivery. `silent`: it may be read without a word. `path` gives what the check is
    pointed at, from the site's folder.
    """

    kind: str
    name: str
    group: str
    build: Callable[[str], list[Delivery]]
    needles: tuple[str, ...] = ()
    told: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    trap: "Trap | None" = None
    detail: str = ""
    path: Callable[[Delivery], str] | None = None
    blocks: int = 0
    skipped: bool = False
    silent: bool = False

    def stripped(self) -> "Case":
        """The case without its functions, which cannot go from one process to another."""
        return replace(self, build=None, path=None)


@dataclass(frozen=True)
class Trap:
    """An entry that is no code, in a coded column: the wrong reading that is near,
    and the right ones, if any."""

    table: str
    column: str
    entry: str
    wrong: str
    right: tuple[str, ...] = ()


def draw_for(name: str) -> random.Random:
    """A generator of random numbers that depends on the name alone."""
    return random.Random(hashlib.sha256(name.encode()).hexdigest())
