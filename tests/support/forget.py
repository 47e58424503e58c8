"""What the service keeps from one question to the next, where a test changes what it rests on."""

from __future__ import annotations

from sheetmargin_service.principles.ultrasonic import films, pair, pair_group, receiver


def forget_draws() -> None:
    """What rests on the draws of what is not known."""
    for kept in (films.drawn_film_weights, receiver.bypass_steps, pair_group.sheet_levels):
        kept.cache_clear()


def forget_settings() -> None:
    """What rests on the settings that are searched."""
    for kept in (pair.pair_in_air, pair.row_in_air, pair_group.pair_group_under, pair_group.sheet_levels):
        kept.cache_clear()
