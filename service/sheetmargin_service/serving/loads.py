"""What each worker process has to do, told to the others, so that a connection goes to one that has less."""

from __future__ import annotations

import mmap

PLACES = 64
"""More processes than these share places, and are told less well apart (a choice)."""
_NOBODY = -1


class Loads:
    """A place for each process in memory that all share: to be made before they are forked.

    A process writes its own place only, so that nothing need be locked.
    """

    def __init__(self) -> None:
        self._places = memoryview(mmap.mmap(-1, 4 * PLACES)).cast("i")
        for number in range(PLACES):
            self.leave(number)

    def tell(self, number: int, load: int) -> None:
        self._places[number % PLACES] = load

    def leave(self, number: int) -> None:
        """Take no connections for now, or ever."""
        self._places[number % PLACES] = _NOBODY

    def another_has_less(self, number: int) -> bool:
        mine = self._places[number % PLACES]
        return any(_NOBODY < load < mine for load in self._places)


LOADS = Loads()
"""Those of this instance: loaded with the class of the workers, before there are any."""
