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


def listed_shares(parts: Sequence[tuple[str, float, str]]) -> str:
    """
    Names with their shares, and what is left for the others.

    Parameters
    ----------
    parts : sequence of (name, share, more)
        The largest first; shares 0 to 1, all together 1 at most; what else is to be said of it,
        mostly nothing.

    Returns
    -------
    words : str
        Empty where no share is worth a word.

    Examples
    --------
    >>> listed_shares([("Tal", 0.6, ""), ("Vesk", 0.3, "never seen"), ("Ovrin", 0.001, "")])
    'Tal (60% of it), Vesk (30%, never seen) and others (10%)'
    """
    named = [part for part in parts if part[1] >= SMALL]
    rest = 1 - sum(share for _, share, _ in named)
    words: list[str] = []
    for name, share, more in named:
        told = share_text(share) + ("" if words else " of it")
        words.append(f"{name} ({told}, {more})" if more else f"{name} ({told})")
    if words and rest >= SMALL:
        words.append(f"others ({share_text(rest)})")
    return listed(words)
