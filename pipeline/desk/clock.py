"""When the page's program ends by itself: some minutes after its window, or after an hour in which
nobody did anything."""

import time
from collections.abc import Callable

QUIET = 300  # seconds without a word of the page: a browser calls from hidden windows once a minute
UNUSED = 3_600  # seconds without anybody doing anything
ASLEEP = 30  # seconds between two looks that the machine slept through


class Clock:
    """Hears the page, and says when it is over. `now` counts seconds."""

    def __init__(self, now: Callable[[], float] = time.monotonic):
        self._now, self._ended = now, False
        self._heard = self._used = self._looked = now()

    def hear(self) -> None:
        """The page is still there."""
        self._heard = self._now()

    def use(self) -> None:
        """Somebody did something."""
        self._heard = self._used = self._now()

    def end(self) -> None:
        """Somebody is done."""
        self._ended = True

    def is_over(self) -> bool:
        """Whether it is time to end; to be asked every few seconds."""
        now = self._now()
        if now - self._looked > ASLEEP:  # the page slept, too
            self._heard = now
        self._looked = now
        return self._ended or now - self._heard > QUIET or now - self._used > UNUSED
