"""What a browser lets a page of ours do: run and wear what we wrote into it, and nothing else."""

from __future__ import annotations

import base64
import hashlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


def policy(*, scripts: Sequence[str] = (), styles: Sequence[str] = (), images: bool = False) -> str:
    """
    Content security policy of a page, as the element that stands first in its head.

    A rule for the browser, not a hope: nothing is asked from the network, and scripts and styles
    are named by their digests, so what comes in with somebody's text does not run even if it
    gets in.

    Parameters
    ----------
    scripts, styles : sequences of str
        Text of each script and style element of our own, just as it stands in the page.
    images : bool
        Whether pictures written into the page as data are shown.

    Returns
    -------
    element : str
        A `meta` element.

    Examples
    --------
    >>> print(policy())
    <meta http-equiv="Content-Security-Policy"
    content="default-src 'none'; base-uri 'none'; form-action 'none'">
    """
    rules = ["default-src 'none'"]
    rules += [f"script-src {_digests(scripts)}"] if scripts else []
    rules += [f"style-src {_digests(styles)}"] if styles else []
    rules += ["img-src data:"] if images else []
    rules += ["base-uri 'none'", "form-action 'none'"]
    return f'<meta http-equiv="Content-Security-Policy" content="{"; ".join(rules)}">'


def _digests(texts: Sequence[str]) -> str:
    """Source words for the texts."""
    digests = (hashlib.sha256(text.encode("utf-8")).digest() for text in texts)
    return " ".join(f"'sha256-{base64.b64encode(one).decode('ascii')}'" for one in digests)
