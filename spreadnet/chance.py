"""Named streams of random numbers, so that one purpose's draws never shift another's."""

from __future__ import annotations

import zlib

import numpy as np


def stream(seed: int, purpose: str, draw: int = 0) -> np.random.Generator:
    """
    Random generator of one purpose and draw.

    Keyed by name and number, never by order of use or worker, so that the same seed gives the
    same bytes on any number of workers and a new purpose leaves the old ones as they were.

    Parameters
    ----------
    seed : int
        Seed of the run, 0 or more.
    purpose : str
        Name of what the numbers are for, e.g. `gap rates`.
    draw : int
        Number of the draw, 0 or more.

    Returns
    -------
    generator : numpy.random.Generator
        A fresh generator; two calls with the same arguments give the same numbers.

    Raises
    ------
    ValueError
        If `seed` or `draw` is negative or not a whole number.

    Notes
    -----
    `SeedSequence` spawn keys as recommended by the NumPy documentation on parallel generation.

    Examples
    --------
    >>> bool(stream(1, "gaps", 3).random() == stream(1, "gaps", 3).random())
    True
    >>> bool(stream(1, "gaps", 3).random() == stream(1, "traffic", 3).random())
    False
    """
    whole = all(isinstance(n, (int, np.integer)) for n in (seed, draw))
    if not whole or seed < 0 or draw < 0:
        message = f"Invalid stream: seed {seed} and draw {draw} must be whole and 0 or more."
        raise ValueError(message)
    key = (zlib.crc32(purpose.encode()), draw)
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(seed, spawn_key=key)))
