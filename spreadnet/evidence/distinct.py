"""Text cells looked at once for each distinct text: columns of thousands of rows hold few."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray


def marked(cells: pd.Series, test: Callable[[str], object]) -> NDArray[np.bool_]:
    """
    Which cells pass a test.

    Parameters
    ----------
    cells : Series of str
        May hold missing values, which never pass.
    test : callable
        Takes a text; called once for each distinct one.

    Returns
    -------
    marks : array of bool
        In the order of the cells.

    Examples
    --------
    >>> marked(pd.Series(["7", None, "7.0"], dtype="str"), str.isdigit).tolist()
    [True, False, False]
    """
    codes, texts = pd.factorize(cells)
    passed = [bool(test(text)) for text in texts.tolist()]
    return np.array([*passed, False])[codes]  # the code of a missing value is -1
