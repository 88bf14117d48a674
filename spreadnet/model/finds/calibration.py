"""How readily introductions found populations here, and what that was learned from."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Calibration:
    """
    Establishment chance and what it rests on.

    `basis` is `finds` (learned from dated finds), `range` (too few finds: the stated range) or
    `given` (a number given without a range, kept as it is). `finds` are the dated ones that count,
    from `first_year` to `last_year`.
    """

    establish: float
    finds: int
    first_year: int | None
    last_year: int | None
    basis: str
