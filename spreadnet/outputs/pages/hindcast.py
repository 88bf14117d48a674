"""The result of a hindcast as tables and as a page that opens without a network."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from spreadnet.decisions.hindcast.foretell import ALL
from spreadnet.outputs.files.record import plain, version, write_record
from spreadnet.outputs.files.tables import write_csv
from spreadnet.outputs.folders.folder import whole_folder
from spreadnet.outputs.pages.render import page, table
from spreadnet.outputs.safe import for_html as safe
from spreadnet.words.cautions import CAUTIONS
from spreadnet.words.numbers import figure

if TYPE_CHECKING:
    from spreadnet.decisions.hindcast.foretell import Hindcast

WIDTH, HEIGHT, LEFT, TOP, RIGHT, BOTTOM = 560, 400, 74, 24, 30, 62


def write_hindcast(
    result: Hindcast, folder: str | Path, *, force: bool = False, made_on: date | None = None
) -> list[Path]:
    """
    Write the scores, the lakes and the page of a hindcast into one folder.

    Parameters
    ----------
    result : Hindcast
        Result of `hindcast`.
    folder : path
        Where the files go; whole or not there.
    force : bool
        Whether an earlier result there may be replaced.
    made_on : date, optional
        Day printed on the page; today when left out.

    Returns
    -------
    files : list of Path
        `scores.csv`, `lakes.csv`, `groups.csv`, `hindcast.html` and `run.json`.

    Raises
    ------
    OutputError
        If the folder exists and may not be replaced, or can't be written.
    """
    folder, made_on = Path(folder), made_on or date.today()
    ranked = result.lakes.sort_values(
        ["species", "chance", "lake_id"], ascending=[True, False, True], kind="stable"
    )
    with whole_folder(folder, force=force) as staged:
        files = [
            write_csv(
                result.scores.join(result.finds[["before", "since", "enough"]]),
                staged / "scores.csv",
            ),
            write_csv(ranked, staged / "lakes.csv", index=False),
            write_csv(result.groups, staged / "groups.csv"),
        ]
        shown = staged / "hindcast.html"
        shown.write_text(hindcast_page(result, made_on=made_on), encoding="utf-8")
        record = plain(
            {
                "spreadnet": version(),
                "made_on": made_on,
                "hindcast": {
                    "region": result.region,
                    "from_year": result.from_year,
                    "through": result.through,
                    "draws": result.draws,
                    "seed": result.seed,
                },
                "finds": result.finds,
                "scores": result.scores,
                "notes": [asdict(note) for note in result.notes],
            }
        )
        files.append(shown)
        files.append(write_record(record, staged / "run.json", files=files))
    return [folder / file.name for file in files]


def hindcast_page(result: Hindcast, *, made_on: date) -> str:
    """
    One page with the scores, and a chart of what came against what was foretold.

    Parameters
    ----------
    result : Hindcast
        Result of `hindcast`.
    made_on : date
        Day printed on it.

    Returns
    -------
    page : str
        HTML that needs nothing else.
    """
    title = (
        f"{result.region}: finds of {result.from_year} to {result.through}, foretold from what "
        f"was known before {result.from_year}"
    )
    parts = [f"<h1>{safe(title)}</h1>"]
    for name, row in result.finds.iterrows():
        parts += _species(
            row, pd.DataFrame(result.scores.loc[str(name)]), result.groups.loc[[str(name)]]
        )
    if ALL in result.groups.index:
        parts.append("<h2>All species together</h2>")
        parts.append(chart(result.groups.loc[[ALL]], label="all species"))
    parts.append("<h2>How to read this</h2><ul>")
    parts += [f"<li>{safe(line)}</li>" for line in (*_READING, *(n.text for n in result.notes))]
    parts.append("</ul><h2>Cautions</h2><ul>")
    parts += [f"<li>{safe(line)}</li>" for line in CAUTIONS]
    parts.append(
        f"</ul><footer>spreadnet {safe(version())}, {made_on.isoformat()}, seed {result.seed}, "
        f"{result.draws} draws. Chances are for a first find within the years foretold.</footer>"
    )
    return page(title, parts)


_READING = (
    "AUC: the chance that a lake with a find had been given a higher chance than one without; 0.5 "
    "is no better than guessing. In brackets its 90% interval.",
    "Brier skill: how much nearer the chances came to what happened than the same chance for all "
    "lakes; 0 is no nearer, 1 perfect, below 0 worse.",
    "Each simple rule was fitted to the finds before, as the model was.",
    "A lake without a find may hold the species unseen: no find is not no infestation.",
)


def _species(row: pd.Series, scores: pd.DataFrame, groups: pd.DataFrame) -> list[str]:
    """Scores and chart of one species."""
    told = (
        f"{row['since']:.0f} found of {row['lakes']:.0f} lakes, {figure(row['expected'])} "
        f"expected; {row['before']:.0f} finds before"
    )
    label = str(row["label"])
    parts = [f"<h2>{safe(label)}</h2><p>{safe(told)}.</p>"]
    if row["since"] == 0:
        return [
            *parts,
            '<p class="weak">Nothing was found since, so the order cannot be scored.</p>',
        ]
    if not row["enough"]:
        parts.append(
            '<p class="weak">Too few finds to judge: with so few, a good and a bad model can look '
            "alike.</p>"
        )
    head = ("foretold by", "in the first 5", "10", "20", "AUC", "Brier", "Brier skill", "expected")
    rows = [
        (
            str(predictor),
            *(f"{score[f'hits_{k}']:.1f}" for k in (5, 10, 20)),
            f"{score['auc']:.2f} ({score['auc_low']:.2f} to {score['auc_high']:.2f})",
            f"{score['brier']:.3f}",
            f"{score['brier_skill']:+.2f}".replace("-", "\u2212"),
            figure(score["expected"]),
        )
        for predictor, score in scores.iterrows()
    ]
    parts.append(table(f"Scores for {label}", head, rows))
    parts.append(chart(groups, label=label))
    return parts


def chart(groups: pd.DataFrame, *, label: str) -> str:
    """
    Share found against chance foretold, with the numbers of lakes, as SVG and as a table.

    Parameters
    ----------
    groups : DataFrame
        As `foretelling.groups` gives it.
    label : str
        What the chart is about.

    Returns
    -------
    html : str
        Readable in grey, and by a screen reader through its table.
    """
    most = float(groups[["foretold", "high"]].to_numpy().max())
    top = next(t for t in (0.2, 0.4, 0.6, 0.8, 1.0) if most <= t)
    column = (WIDTH - LEFT - RIGHT) / len(groups)

    def up(share: float) -> float:
        return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * share / top

    marks = [
        f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{up(share):.1f}" y2="{up(share):.1f}" '
        f'stroke="#ddd"/><text x="{LEFT - 8}" y="{up(share) + 5:.1f}" text-anchor="end">'
        f"{share:.0%}</text>"
        for share in (top * step / 4 for step in range(5))
    ]
    for place, row in enumerate(groups.to_dict("records")):
        middle = LEFT + column * (place + 0.5)
        wide = min(column * 0.36, 34)
        foretold, share = up(row["foretold"]), up(row["share"])
        marks.append(
            f'<line x1="{middle:.1f}" x2="{middle:.1f}" y1="{up(row["low"]):.1f}" '
            f'y2="{up(row["high"]):.1f}" stroke="#222" stroke-width="1.5"/>'
            f'<line x1="{middle - wide:.1f}" x2="{middle + wide:.1f}" y1="{foretold:.1f}" '
            f'y2="{foretold:.1f}" stroke="#555" stroke-width="3" stroke-dasharray="7 4"/>'
            f'<circle cx="{middle:.1f}" cy="{share:.1f}" r="6" fill="#fff" stroke="#222" '
            'stroke-width="2.5"/>'
            f'<text x="{middle:.1f}" y="{up(row["high"]) - 7:.1f}" text-anchor="middle">'
            f"{row['found']:.0f} of {row['lakes']:.0f}</text>"
            f'<text x="{middle:.1f}" y="{HEIGHT - BOTTOM + 22}" text-anchor="middle">'
            f"{row['from']:.0%}\u2013{row['to']:.0%}</text>"
        )
    caption = f"Share of lakes with a find against the chance foretold, {label}"
    picture = (
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" role="img" '
        f'aria-label="{safe(caption)}" font-size="16" font-family="inherit">'
        f"<title>{safe(caption)}</title><desc>{safe(_told(groups))}</desc>{''.join(marks)}"
        f'<text x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 12}" text-anchor="middle">'
        "lakes grouped by the chance of a find foretold</text>"
        f'<text transform="translate(16 {(HEIGHT - BOTTOM + TOP) / 2}) rotate(-90)" '
        'text-anchor="middle">share of lakes with a find</text></svg>'
    )
    legend = (
        "<p>Circles: share of the lakes that had a find, with how many of how many, and its 90% "
        "interval as an upright line. Dashed bars: the mean chance foretold for the same lakes.</p>"
    )
    head = ("foretold", "lakes", "expected finds", "found", "share found", "90% interval")
    rows = [
        (
            f"{row['from']:.0%} to {row['to']:.0%}",
            f"{row['lakes']:.0f}",
            figure(row["expected"]),
            f"{row['found']:.0f}",
            f"{row['share']:.0%}",
            f"{row['low']:.0%} to {row['high']:.0%}",
        )
        for row in groups.to_dict("records")
    ]
    return picture + legend + table(caption, head, rows)


def _told(groups: pd.DataFrame) -> str:
    """The chart in words, for those who can't see it."""
    parts = [
        f"{row['from']:.0%} to {row['to']:.0%} foretold: {row['found']:.0f} of {row['lakes']:.0f} "
        f"lakes with a find, {figure(row['expected'])} expected"
        for row in groups.to_dict("records")
    ]
    return "Lakes by the chance foretold. " + "; ".join(parts) + "."
