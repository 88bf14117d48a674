"""Several things in one sentence."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spreadnet.words.numbers import share_text

if TYPE_CHECKING:
    from collections.abc import Sequence

SMALL = 0.005  # shares below half a percent are not worth a word


def listed(names: Sequence[str]) -> str:
    """
    Names as a sentence lists them.

    Examples
    --------
    >>> listed(["Ovrin", "Tal", "Vesk"]), listed(["Ovrin"])
    ('Ovrin, Tal and Vesk', 'Ovrin')
    """
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def listed_shares(parts: Sequence[tuple[str, float]]) -> str:
    """
    Names with their shares, and what is left for the others.

    Parameters
    ----------
    parts : sequence of (name, share)
        The largest first; shares 0 to 1, all together 1 at most.

    Returns
    -------
    words : str
        Empty where no share is worth a word.

    Examples
    --------
    >>> listed_shares([("Tal", 0.6), ("Vesk", 0.3), ("Ovrin", 0.001)])
    'Tal (60% of it), Vesk (30%) and others (10%)'
    """
    named = [(name, share) for name, share in parts if share >= SMALL]
    rest = 1 - sum(share for _, share in named)
    words = [f"{name} ({share_text(share)} of it)" for name, share in named[:1]]
    words += [f"{name} ({share_text(share)})" for name, share in named[1:]]
    if words and rest >= SMALL:
        words.append(f"others ({share_text(rest)})")
    return listed(words)
