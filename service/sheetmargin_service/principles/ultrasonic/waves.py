"""Waves through two sheets by their frequency, computed once, whichever settings ask for them."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.poles import Poles

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]


@dataclass(frozen=True, kw_only=True)
class Waves:
    """Samples (C, K, F, S) of a transmission at F frequencies, and its poles by their row of (C, K, F)."""

    samples: Complex
    poles: Poles

    def by_line(self) -> list[Waves]:
        """Each frequency by itself."""
        count = self.samples.shape[2]
        row, line = np.divmod(self.poles.row, count)
        each = (self.poles.some(line == number).moved(row[line == number]) for number in range(count))
        return [Waves(samples=self.samples[:, :, number, None], poles=poles) for number, poles in enumerate(each)]


def joined(each: list[Waves]) -> Waves:
    """Waves of one frequency each, next to each other."""
    poles = Poles.none()
    for number, one in enumerate(each):
        if len(one.poles.row):
            poles = poles.joined(one.poles.moved(one.poles.row * len(each) + number))
    return Waves(samples=np.concatenate([one.samples for one in each], axis=2), poles=poles)


@dataclass(frozen=True, kw_only=True)
class KeptWaves:
    """What was computed of one sheet: by what it passes through, and by frequency."""

    known: dict[tuple[Hashable, float], Waves] = field(default_factory=dict)

    def at(self, what: Hashable, frequency_hz: Array, compute: Callable[[Indices], Waves]) -> Waves:
        """Waves at some frequencies (F,); `compute` is asked for those, by their places, that are not known."""
        keys = [(what, hertz) for hertz in frequency_hz.tolist()]
        # Others may forget meanwhile what is kept.
        each = {key: kept for key in keys if (kept := self.known.get(key)) is not None}
        new = [place for place, key in enumerate(keys) if key not in each]
        if new:
            found = compute(np.array(new))
            computed = dict(zip([keys[place] for place in new], found.by_line(), strict=True))
            self.known.update(computed)
            if len(new) == len(keys):
                return found
            each |= computed
        return joined([each[key] for key in keys])
