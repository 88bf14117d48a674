"""Templates to pages that open without a network: one escaper, one policy, one style."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from spreadnet.outputs import palette
from spreadnet.outputs.policy import policy
from spreadnet.outputs.safe import for_html

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, slots=True)
class Table:
    """
    A table of a page.

    `head` and `rows` are words as they are read; the first cell of a row names it. `kinds` are
    classes of the first columns: `word` for words, set left, `more` for what a phone leaves out,
    `wrap` for what may take several lines. `below` holds a line for under each row, over its whole
    width, or nothing.
    """

    caption: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    kinds: Sequence[str] = ()
    below: Sequence[str] = ()


def render(template: str, **values: object) -> str:
    """
    A whole page.

    Parameters
    ----------
    template : str
        File below `outputs` that extends `pages/page.html.j2`.
    **values
        What it names. Text is made safe where it is put in; only `Markup` stays as it is.

    Returns
    -------
    page : str
        HTML that needs nothing else, with the rules of `policy` first in its head.

    Raises
    ------
    jinja2.UndefinedError
        If the template names what is not given.
    """
    style = fragment(
        "pages/style.css.j2",
        light=Markup(palette.declarations()),
        dark=Markup(palette.declarations(palette.DARK)),
    )
    head = Markup(policy(styles=[style]))
    return _environment().get_template(template).render(values, policy=head, style=style)


def fragment(template: str, **values: object) -> Markup:
    """
    A part of a page.

    Parameters
    ----------
    template : str
        File below `outputs`.
    **values
        As for `render`.

    Returns
    -------
    part : Markup
        HTML, safe to be put into another template.

    Raises
    ------
    jinja2.UndefinedError
        If the template names what is not given.
    """
    return Markup(_environment().get_template(template).render(values))


@cache
def _environment() -> Environment:
    """The templates of the package, read once."""
    return Environment(
        loader=PackageLoader("spreadnet.outputs", ""),
        autoescape=True,
        finalize=for_html,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
