"""How many plies can be counted: the decision fades with their number."""

from __future__ import annotations

from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.configured_pair import DECIMALS, Post

MOST = 16
"""Plies are counted up to this; nothing here tells more apart."""


def counting(post: Post, index: int) -> Fact:
    """The greatest number of plies that the class tells from one fewer and one more, each at its own best setting."""
    largest, margin, asked = 0, 0.0, post.question.sheets[index].plies
    for plies in range(1, min(MOST, asked + 1) + 1):
        survey = post.bench.survey(post.question.pile(index, plies))
        bands = choose_bands([survey], post.bench.receiver, step=post.principle.band_step)
        worst = round(float(bands.worst[post.allowed].max()), DECIMALS)
        if worst <= 0.0:
            break
        largest, margin = plies, worst
    return Fact(code="plies-counted", values={"plies": asked, "largest_plies": largest, "margin": margin})
