"""The values of a hindcast's page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

from spreadnet.decisions.hindcast import ALL
from spreadnet.outputs.charts import calibration_chart, plain_style, svg_of
from spreadnet.outputs.files import version
from spreadnet.outputs.render import Table, render
from spreadnet.words import (
    CAUTIONS,
    auc_words,
    figure,
    finds_words,
    groups_words,
    hindcast_title,
    signed_text,
    whole_percent,
)

if TYPE_CHECKING:
    from datetime import date

    from spreadnet.decisions.hindcast import Hindcast

HEAD = ("foretold by", "in the first 5", "10", "20", "AUC", "Brier", "Brier skill", "expected")
KINDS = ("", "", "", "", "", "more", "", "more")


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
    together = result.groups.loc[[ALL]] if ALL in result.groups.index else None
    return render(
        "pages/hindcast.html.j2",
        title=hindcast_title(result),
        species=[
            _species(result, str(name), row, number)
            for number, (name, row) in enumerate(result.finds.iterrows(), 1)
        ],
        together=None if together is None else _chart(together, label="all species", name="all"),
        notes=[note.text for note in result.notes],
        cautions=CAUTIONS,
        version=version(),
        made_on=made_on.isoformat(),
        seed=result.seed,
        draws=result.draws,
    )


def _species(result: Hindcast, name: str, row: pd.Series, number: int) -> dict[str, Any]:
    """What the page says of one species; scores and chart only where there are finds to score."""
    label, since = str(row["label"]), int(row["since"])
    one = {"label": label, "told": finds_words(row), "since": since, "enough": bool(row["enough"])}
    if not since:
        return one
    chart = _chart(result.groups.loc[[name]], label=label, name=f"species-{number}")
    return one | {"scores": _scores(pd.DataFrame(result.scores.loc[name]), label), "chart": chart}


def _scores(scores: pd.DataFrame, label: str) -> Table:
    """Scores of the model and of the simple rules."""
    rows = [
        (
            str(predictor),
            *(f"{score[f'hits_{k}']:.1f}" for k in (5, 10, 20)),
            auc_words(score),
            f"{score['brier']:.3f}",
            signed_text(score["brier_skill"]),
            figure(score["expected"]),
        )
        for predictor, score in scores.iterrows()
    ]
    return Table(f"Scores for {label}", HEAD, rows, kinds=KINDS)


def _chart(groups: pd.DataFrame, *, label: str, name: str) -> dict[str, Any]:
    """Share found against chance foretold, as a picture and as a table."""
    caption = f"Share of lakes with a find against the chance foretold, {label}"
    with plain_style():
        picture = svg_of(
            calibration_chart(groups), name=name, title=caption, description=groups_words(groups)
        )
    rows = [
        (
            f"{whole_percent(row['from'])} to {whole_percent(row['to'])}",
            f"{row['lakes']:.0f}",
            figure(row["expected"]),
            f"{row['found']:.0f}",
            whole_percent(row["share"]),
            f"{whole_percent(row['low'])} to {whole_percent(row['high'])}",
        )
        for row in groups.to_dict("records")
    ]
    head = ("foretold", "lakes", "expected finds", "found", "share found", "90% interval")
    return {"picture": picture, "groups": Table(caption, head, rows)}
