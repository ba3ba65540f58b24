"""Secondary suppression: what else is hidden where a hidden count could be worked out, of the
numbers that prove it the one that is worth least. A cover is a cell hidden for this.

A share leaves in coarser steps, if that is enough. Else the whole row of a count or a share is
hidden; of an estimate of many only how many they are, since the estimate does not tell that. Where
all that proves it is that a mark says of a hidden count that it is small, the mark says less.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

import pandas as pd

from pipeline.disclosure.audit import Audit, Exposed
from pipeline.disclosure.known import MANY, Known, Shown, narrow_known, read_shown
from pipeline.disclosure.protect import hide_contrasts, hide_rows
from pipeline.disclosure.rounding import EPISODES, EVENTS, coarsen_shares, drop_counts
from schemas.study import Disclosure

# what it is worth that a mark says that a count is small: more than a number that nobody reads
LOOSER = 2.5
COARSER = 0.5  # what it costs that a share leaves in coarser steps, as a part of what it is worth
WHOLE, FINER = 10, 0.4  # what a set that nothing narrows is worth more, and each variable less
TRIES, SLOW_TRIES = 12, 6  # of covers for one cell; of such as all equations together are asked of
MOST_ROUNDS = 6  # after which all that might cover a cell is hidden, if less does not
FARTHEST = 2  # steps from an exposed cell in which a cover is looked for


class Edit(IntEnum):
    """What is taken from a row; a later one takes more."""

    DIGITS = 1
    COUNTS = 2
    ALL = 3


Edits = Mapping[object, Edit]


@dataclass(frozen=True)
class Option:
    """What may cover a cell.

    Attributes
    ----------
    worth
        What is lost by it.
    cell
        The cell that is then less known.
    edits
        What is taken from rows.
    """

    worth: float
    cell: int
    edits: Edits


@dataclass
class Cover:
    """What is hidden to cover exposed cells, as it is chosen.

    Attributes
    ----------
    audit
        What asks of the cells.
    safe
        The rows as they would leave.
    described
        By label what each row is.
    known
        What is known of each cell, given `edits`.
    rule
        Thresholds.
    edits
        By label what is taken from a row.
    """

    audit: Audit
    safe: pd.DataFrame
    described: pd.Series
    known: Known
    rule: Disclosure
    edits: dict[object, Edit] = field(default_factory=dict)

    def __post_init__(self) -> None:
        cells = self.audit.cells
        self.rows = {
            n: [(label, c) for label, c in rows if label in self.safe.index]
            for n, rows in cells.rows.items()
        }
        self.stated: dict[object, set[int]] = {}
        for n, rows in self.rows.items():
            for label, _ in rows:
                self.stated.setdefault(label, set()).add(n)
        self.parts: dict[int, set[int]] = {}  # cells that rows tell by a share of another
        for label, numbers in self.stated.items():
            group = self.described[label].episodes
            if group in cells.place:
                self.parts.setdefault(cells.place[group], set()).update(numbers)
        self.shown = read_shown(self.safe)
        self.neighbours: dict[int, set[int]] = {}
        for equation in cells.equations:
            members = {n for n, _ in equation}
            for n in members:
                self.neighbours.setdefault(n, set()).update(members)

    def add(self, exposed: Exposed) -> bool:
        """Choose what covers an exposed cell, unless what was chosen before does; where no single
        choice does, several of the least valuable are taken. False if there is nothing to
        choose."""
        if self.is_covered(exposed):
            return True
        options = self.list_options(exposed.cell)
        before = self.known.copy(), dict(self.edits), dict(self.shown)
        for option in options[: TRIES if exposed.quickly else SLOW_TRIES]:
            self.change(option)
            if self.is_covered(exposed):
                return True
            known, edits, shown = before
            self.known, self.edits, self.shown = known.copy(), dict(edits), dict(shown)
        hide = [option for option in options if Edit.ALL in option.edits.values()] or options
        for option in hide[: 1 if exposed.quickly else 1 + len(hide) // MOST_ROUNDS]:
            self.change(option)
        return bool(hide)

    def list_options(self, cell: int) -> list[Option]:
        """What may cover a cell, the least valuable first."""
        around, options = {cell}, []
        for _ in range(FARTHEST):
            if not self.is_shown(cell):
                around |= {n for member in list(around) for n in self.neighbours.get(member, ())}
            options = [option for n in sorted(around) for option in self._list_options_of(n, cell)]
            if any(Edit.ALL in option.edits.values() for option in options):
                break
        return sorted(options, key=lambda option: (option.worth, option.cell))

    def _list_options_of(self, n: int, cell: int) -> list[Option]:
        options = []
        if self.is_shown(n) and self.known.bounds[n, 0] > 0:
            worth = self.find_worth(n)
            options.append(Option(COARSER * worth, n, self.list_coarser(n)))
            options.append(Option(worth, n, self.list_hidden(n)))
        elif n == cell or n in self.neighbours.get(cell, ()):
            options.append(Option(LOOSER, n, self.list_looser(n)))
        return [o for o in options if any(self.edits.get(k, 0) < e for k, e in o.edits.items())]

    def list_hidden(self, n: int) -> Edits:
        """What to take from rows so that nothing tells of a cell."""
        edits = {}
        for label, counted in self.rows[n]:
            what = self.described[label]
            itself = what.quantity.kind == "count" and (
                counted == "told" or what.events == what.episodes
            )
            hides_row = itself or counted != "episodes" or says_small(self.safe, label)
            if self.safe.at[label, "status"] != "suppressed":
                edits[label] = Edit.ALL if hides_row else Edit.COUNTS
        return edits

    def list_coarser(self, n: int) -> Edits:
        """What to take from rows so that a cell is known by coarse shares only;
        nothing if anything else tells of it."""
        rows = [
            (label, counted)
            for label, counted in self.rows[n]
            if self.safe.at[label, "status"] == "ok"
        ]
        shares = all(
            counted != "episodes" and self.described[label].quantity.kind == "share"
            for label, counted in rows
        )
        return dict.fromkeys((label for label, _ in rows), Edit.DIGITS) if shares else {}

    def list_looser(self, n: int) -> Edits:
        """What to take from rows so that no mark says of a cell that it is small."""
        return {
            label: Edit.ALL for label, _ in self.rows.get(n, ()) if says_small(self.safe, label)
        }

    def change(self, option: Option) -> None:
        """Take what an option says."""
        touched = set()
        for label, edit in option.edits.items():
            self.edits[label] = max(edit, self.edits.get(label, edit))
            if edit == Edit.ALL:
                self.shown.pop(label, None)
            elif edit == Edit.DIGITS and label in self.shown:
                self.shown[label] = self._read(coarsen_shares(self.safe.loc[[label]], [label]))
            elif label in self.shown:
                self.shown[label] = self.shown[label]._replace(n_episodes=pd.NA, n_events=pd.NA)
            touched |= self.stated[label]
        touched |= {part for n in touched for part in self.parts.get(n, ())}
        self.known.bounds[list(touched)] = 0.0, MANY
        narrow_known(self.audit.cells, touched, self.known, self.shown, self.described, self.rule)

    @staticmethod
    def _read(row: pd.DataFrame) -> Shown:
        return next(iter(read_shown(row).values()))

    def is_covered(self, exposed: Exposed) -> bool:
        """Whether an exposed cell is given away no more, by single equations or,
        if these did not find it, by all of them."""
        if any(
            exposed.cell == each.cell for each in self.audit.find_quickly(self.known, exposed.eyes)
        ):
            return False
        return exposed.quickly or not self.audit.find(self.known, exposed.eyes, exposed.cell)

    def is_shown(self, n: int) -> bool:
        """Whether some row still tells how many people a cell is, or about how many."""
        shares = any(row in self.known.shares for row in self.rows.get(n, ()))
        return (shares or self.known.bounds[n, 1] < MANY) and bool(self._list_telling(n))

    def _list_telling(self, n: int) -> list[object]:
        return [
            label
            for label, _ in self.rows.get(n, ())
            if label in self.shown and self.shown[label].status not in ("suppressed", "bounded")
        ]

    def find_worth(self, n: int) -> float:
        """What a cell is worth: as much as the most valuable row that states it,
        and more where nothing narrows it; then, how many it counts."""
        key = self.audit.cells.keys[n]
        worth = max(self.described[label].quantity.worth for label, _ in self.rows[n])
        narrowed = len(getattr(key, "narrowed", ()))
        return (
            worth
            + (WHOLE if narrowed == 0 else -FINER * narrowed)
            + min(self.audit.cells.values[n], 1e6) / 1e7
        )

    def apply(self) -> pd.DataFrame:
        """The rows with all of it done."""
        labels = {
            edit: sorted((k for k, e in self.edits.items() if e == edit), key=str) for edit in Edit
        }
        safe = drop_counts(
            coarsen_shares(self.safe, labels[Edit.DIGITS]), labels[Edit.COUNTS], [EPISODES, EVENTS]
        )
        return hide_contrasts(hide_rows(safe, labels[Edit.ALL]))


def says_small(safe: pd.DataFrame, label: object) -> bool:
    """Whether the mark of a row says that what it counts is small."""
    return bool(safe.at[label, "status"] == "bounded")
