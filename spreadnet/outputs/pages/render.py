"""Parts of a page that opens without a network: frame, tables, text of anybody's."""

from __future__ import annotations

from typing import TYPE_CHECKING

from spreadnet.outputs.policy import policy
from spreadnet.outputs.safe import for_html as safe

if TYPE_CHECKING:
    from collections.abc import Sequence

STYLE = """
body{font:16px/1.5 system-ui,sans-serif;margin:0 auto;max-width:72rem;padding:1rem;color:#1c1c1c;
background:#fff}h1{font-size:1.35rem;line-height:1.25}h2{font-size:1.1rem;margin-top:2rem}
.wide{overflow-x:auto}table{border-collapse:collapse;font-size:.9rem}
th,td{padding:.25rem .6rem;border-bottom:1px solid #c8c8c8;text-align:right;white-space:nowrap}
th:first-child,td:first-child,caption{text-align:left}svg{max-width:100%;height:auto}
td.word,th.word{text-align:left}tr:has(+.below)>*{border-bottom:0;padding-bottom:0}
.below td{white-space:normal;text-align:left;padding-left:1.6rem;color:#333}.lead{font-size:1.1rem}
.weak{background:#f1f1f1;border-left:4px solid #555;padding:.5rem .8rem}
@media (max-width:45rem){th,td{white-space:normal;padding:.25rem .25rem;font-size:.8rem}
.below td{padding-left:.6rem}th.more,td.more{display:none}}
footer{margin-top:2rem;font-size:.85rem;color:#333}
@media print{body{font-size:10pt;padding:0;max-width:none}h2{break-after:avoid}
svg,tr{break-inside:avoid}thead{display:table-header-group}.wide{overflow:visible}
th,td{white-space:normal;padding:.15rem .35rem}}
"""


def page(title: str, parts: Sequence[str]) -> str:
    """
    A whole page.

    Parameters
    ----------
    title : str
        Of the window; not yet escaped.
    parts : sequence of str
        HTML of its sections.

    Returns
    -------
    page : str
        HTML that needs nothing else.
    """
    return (
        f'<!doctype html><html lang="en"><head>{policy(styles=[STYLE])}<meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{safe(title)}</title><style>{STYLE}</style></head><body><main>"
        + "\n".join(parts)
        + "</main></body></html>\n"
    )


def listed(lines: Sequence[str]) -> str:
    """Lines as a list of points; not yet escaped."""
    return "<ul>" + "".join(f"<li>{safe(line)}</li>" for line in lines) + "</ul>"


def table(
    caption: str,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    kinds: Sequence[str] = (),
    below: Sequence[str] = (),
) -> str:
    """
    Table that scrolls by itself on a narrow screen.

    Parameters
    ----------
    caption : str
        What it shows.
    head : sequence of str
        Headings.
    rows : sequence of sequences of str
        Cells, not yet escaped.
    kinds : sequence of str
        Class of each column: `word` for words, set left, `more` for what a phone leaves out, else
        empty.
    below : sequence of str
        A line that stands under each row, over its whole width.

    Returns
    -------
    html : str
        With row and column headings for screen readers.
    """
    kinds = [*kinds, *[""] * (len(head) - len(kinds))]
    marks = [f' class="{kind}"' if kind else "" for kind in kinds]
    heading = "".join(
        f'<th scope="col"{mark}>{safe(cell)}</th>' for cell, mark in zip(head, marks, strict=True)
    )
    lines = [
        f'<tr class="below"><td colspan="{len(head)}">{safe(line)}</td></tr>' for line in below
    ]
    body = "".join(
        f'<tr><th scope="row"{marks[0]}>{safe(row[0])}</th>'
        + "".join(
            f"<td{mark}>{safe(cell)}</td>" for cell, mark in zip(row[1:], marks[1:], strict=True)
        )
        + "</tr>"
        + under
        for row, under in zip(rows, lines or [""] * len(rows), strict=True)
    )
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{safe(caption)}"><table>'
        f"<caption>{safe(caption)}</caption><thead><tr>{heading}</tr></thead>"
        f"<tbody>{body}</tbody></table></div>"
    )
