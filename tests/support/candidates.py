"""Tables of candidates for tests of job lists."""

import numpy as np
from sheetmargin_service.selection.list_cover.candidates import Candidates


def candidates_of(entries, sheets):
    """Candidates from {(class, position, profile): {sheet: margin}}."""
    keys = sorted(entries)
    margin = np.full((len(keys), sheets), -np.inf)
    for row, key in enumerate(keys):
        for sheet, value in entries[key].items():
            margin[row, sheet] = value
    return Candidates(
        classes=tuple(k[0] for k in keys),
        positions=tuple(k[1] for k in keys),
        profiles=tuple(k[2] for k in keys),
        margin=margin,
    )
