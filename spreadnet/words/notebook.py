"""How things show themselves in a notebook or a terminal: short, whatever they hold."""

from __future__ import annotations

import html
import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    import pandas as pd

Class = TypeVar("Class", bound=type)

WIDTH = 96
MOST_LINES = 8
MOST_TEXT = 40  # characters of one value
MOST_NAMES = 4  # names of a mapping or sequence


def short_repr(kind: Class) -> Class:
    """
    Dataclass whose repr is a few lines: sizes of arrays and tables in place of what they hold.

    Parameters
    ----------
    kind : type
        A dataclass, decorated outermost.

    Returns
    -------
    kind : type
        The same.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> import numpy as np
    >>> @short_repr
    ... @dataclass
    ... class Pair:
    ...     share: np.ndarray
    ...     names: tuple
    >>> Pair(np.zeros((3, 4)), ("north", "south"))
    Pair(share=float64 (3, 4), names=[2: north, south])
    """
    kind.__repr__ = _few_lines  # type: ignore[assignment]
    return kind


def _few_lines(self: Any) -> str:
    """Name and fields of a dataclass, wrapped and cut."""
    parts = [f"{field.name}={shown(getattr(self, field.name))}" for field in fields(self)]
    text = f"{type(self).__name__}({', '.join(parts)})"
    lines = textwrap.wrap(text, WIDTH, subsequent_indent="    ", break_on_hyphens=False)
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES - 1], "    ...)"]
    return "\n".join(lines)


def shown(value: Any) -> str:
    """
    One value in a few words.

    Parameters
    ----------
    value : object
        Anything.

    Returns
    -------
    text : str
        Arrays by type and shape, tables by rows and columns, mappings and sequences by their number
        and first names, what shows itself otherwise by its kind.

    Examples
    --------
    >>> shown({"quiet bay": 1, "busy bay": 2}), shown(0.123456789), shown(())
    ('{2: quiet bay, busy bay}', '0.123457', '[]')
    """
    if hasattr(value, "shape") and hasattr(value, "columns"):
        return f"table {value.shape[0]:,} x {value.shape[1]}"
    if hasattr(value, "shape") and hasattr(value, "dtype"):
        return f"{value.dtype} {tuple(value.shape)}" if value.shape else _cut(f"{value:.6g}")
    if isinstance(value, Mapping):
        return "{" + _names(value) + "}"
    if isinstance(value, Sequence) and not isinstance(value, (str, bytes)):
        return "[" + _names(value) + "]"
    if hasattr(value, "isoformat"):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.6g}"
    if hasattr(value, "__dataclass_fields__"):
        return f"<{type(value).__name__}>"
    return _cut(repr(value))


def _names(values: Mapping | Sequence) -> str:
    """Number and first names."""
    if not len(values):
        return ""
    first = [shown(one).strip("'") for _, one in zip(range(MOST_NAMES), values, strict=False)]
    more = ", ..." if len(values) > MOST_NAMES else ""
    return f"{len(values):,}: {', '.join(first)}{more}"


def _cut(text: str) -> str:
    """Text in one line of no more than `MOST_TEXT` characters."""
    text = " ".join(text.split())
    return text if len(text) <= MOST_TEXT else f"{text[: MOST_TEXT - 3]}..."


def card(
    title: str,
    *,
    lines: Sequence[str] = (),
    table: pd.DataFrame | None = None,
    cautions: Sequence[str] = (),
) -> str:
    """
    A short piece of HTML for a notebook; all text is escaped.

    Parameters
    ----------
    title : str
        What it is.
    lines : sequence of str
        Sentences under the title.
    table : DataFrame, optional
        Shown without its index.
    cautions : sequence of str
        What it is not, in small letters under it.

    Returns
    -------
    html : str
        One `div`.

    Examples
    --------
    >>> card("Lakes <b>", lines=["5 lakes"])
    '<div><p><strong>Lakes &lt;b&gt;</strong></p><p>5 lakes</p></div>'
    """
    parts = [f"<p><strong>{html.escape(title)}</strong></p>"]
    parts += [f"<p>{html.escape(line)}</p>" for line in lines]
    if table is not None:
        parts.append(table.to_html(index=False, border=0, escape=True))
    if cautions:
        parts.append(f"<p><small>{html.escape(' '.join(cautions))}</small></p>")
    return f"<div>{''.join(parts)}</div>"
