"""What has room on one page of two columns: by lines as the style sheet sets them, near enough to hold in any browser.

Split here and not by the renderer: not all of them balance columns, and none leaves out what matters least.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from textwrap import wrap

LETTERS_A_LINE = 60
"""Of a column, by the sizes of the style sheet."""
TITLE, ITEM = 1.5, 0.25
"""Lines of a title with its space, and of the space after an item."""


@dataclass(frozen=True, kw_only=True)
class Block:
    """A list under a title; without one it goes on from the column before. `more`: what stands in place of items that
    have no room, from the last on, by their count and those `elsewhere`; None of one whose items all stay."""

    title: str | None
    items: Sequence[str]
    ticked: bool = False
    more: Callable[[int], str] | None = None
    elsewhere: int = 0


@dataclass(frozen=True, kw_only=True)
class Columns:
    """Two columns of blocks, and whether they have room."""

    left: Sequence[Block]
    right: Sequence[Block]
    fit: bool


def lines_of(text: str, *, letters: int = LETTERS_A_LINE) -> int:
    """Lines that a text takes."""
    return len(wrap(text, letters))


def in_two_columns(
    blocks: Sequence[Block], *, left: float, right: float, left_out: Callable[[Sequence[str]], str]
) -> Columns:
    """The blocks over a column of `left` lines and one of `right`, in order.

    Where there is no room for all, items of the last blocks are left out first; `left_out` names the blocks of which
    nothing stays, by their titles.
    """
    told = [block for block in blocks if block.items]
    dropped = [0] * len(told)
    while True:
        kept = [_without(*each) for each in zip(told, dropped, strict=True)]
        titles = [block.title for block in kept if block.title and not block.items]
        rest = [Block(title=None, items=[left_out(titles)])] if titles else []
        columns = _split([*(block for block in kept if block.items), *rest], left=left, right=right)
        shorter = [n for n, block in enumerate(told) if block.more is not None and dropped[n] < len(block.items)]
        if columns.fit or not shorter:
            return columns
        dropped[shorter[-1]] += 1


def _without(block: Block, count: int) -> Block:
    """A block without its last items."""
    missing, kept = count + block.elsewhere, list(block.items[: len(block.items) - count])
    more = [block.more(missing)] if kept and missing and block.more is not None else []
    return replace(block, items=[*kept, *more])


def _split(blocks: Sequence[Block], *, left: float, right: float) -> Columns:
    """What follows an item that has no room on the left goes to the right too."""
    columns: tuple[list[Block], list[Block]] = ([], [])
    used, side = [0.0, 0.0], 0
    for block in blocks:
        title, here = block.title, list[str]()
        for item in block.items:
            lines = lines_of(item) + ITEM
            if side == 0 and used[0] + lines + (TITLE if title and not here else 0.0) > left:
                if here:
                    columns[0].append(replace(block, title=title, items=here))
                    title, here = None, []
                side = 1
            used[side] += lines + (TITLE if title and not here else 0.0)
            here.append(item)
        columns[side].append(replace(block, title=title, items=here))
    return Columns(left=columns[0], right=columns[1], fit=used[1] <= right)
