"""One complete set of numbers to run the model on: the best estimate, or one draw."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from spreadnet.chance import stream
from spreadnet.evidence.estimating import StatusDraw, TrafficDraw
from spreadnet.model.handover import moved_told, shares_told, traffic_named, traffic_told
from spreadnet.words import short_repr

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from spreadnet.assumptions import Assumptions
    from spreadnet.evidence.estimating import DaysOut
    from spreadnet.evidence.gather import Evidence
    from spreadnet.evidence.species import Species
    from spreadnet.model.finds import Told
    from spreadnet.model.movement import Movement

    Array = NDArray[np.floating]


@short_repr
@dataclass(frozen=True, slots=True, eq=False)
class Estimates:
    """
    Every uncertain quantity at one value, K landings, L lakes.

    Attributes
    ----------
    traffic : TrafficDraw
        Boats launched in the season and an hour, and the share that refuses to talk.
    shares : array, shape (K, 4)
        Where boats launching were last.
    gaps : array, shape (2, G, K)
        Gap rates of boats launching and retrieving.
    ballast : array, shape (K,)
        Share of boats with ballast tanks.
    education_ratio : float
        Gaps left on boats reached, over gaps left without.
    contacts_per_hour : float
        Boats that a crew has hands for in an hour.
    days_out : DaysOut
        Days between two launches.
    coefficients : array, shape (P,)
        Of the law of movement.
    species : mapping of name to Species
        With its values.
    infested : mapping of name to StatusDraw
        Chance that each lake is infested now, from surveys, and in a draw the lake's own number.
    establish_score : mapping of name to float
        Standard normal score at which a stated establishment chance is taken.
    told : Told or None
        What dated finds say, in traffic and shares already; None where they say nothing.
    assumptions : Assumptions
        The rest.
    """

    traffic: TrafficDraw
    shares: Array
    gaps: Array
    ballast: Array
    education_ratio: float
    contacts_per_hour: float
    days_out: DaysOut
    coefficients: Array
    species: Mapping[str, Species]
    infested: Mapping[str, StatusDraw]
    establish_score: Mapping[str, float]
    told: Told | None
    assumptions: Assumptions


def best_estimates(evidence: Evidence, movement: Movement) -> Estimates:
    """
    Posterior means, fitted coefficients and the stated values of assumptions.

    Parameters
    ----------
    evidence : Evidence
        Step one.
    movement : Movement
        The law of movement.

    Returns
    -------
    estimates : Estimates
        In the order of the region's landings and lakes.
    """
    told = movement.finds.best()
    traffic, shares, coefficients = _told(
        evidence.traffic.best(),
        evidence.shares.mean(),
        movement.coefficients,
        told,
        evidence=evidence,
        movement=movement,
    )
    return Estimates(
        traffic=traffic,
        shares=shares,
        gaps=evidence.gaps.mean(),
        ballast=evidence.gaps.ballast,
        education_ratio=evidence.gaps.education_ratio,
        contacts_per_hour=evidence.contacts_per_hour.value,
        days_out=evidence.days_out,
        coefficients=coefficients,
        species=evidence.species,
        infested={
            name: StatusDraw(status.probability, None) for name, status in evidence.status.items()
        },
        establish_score=dict.fromkeys(evidence.species, 0.0),
        told=told,
        assumptions=evidence.assumptions,
    )


def _told(
    traffic: TrafficDraw,
    shares: Array,
    coefficients: Array,
    told: Told | None,
    *,
    evidence: Evidence,
    movement: Movement,
    noise: Array | None = None,
) -> tuple[TrafficDraw, Array, Array]:
    """Traffic, shares and coefficients of movement with what finds and lakes named say."""
    if told is not None:
        coefficients = moved_told(coefficients, told, movement=movement)
        traffic = traffic_told(traffic, told, evidence=evidence, movement=movement)
    traffic = traffic_named(
        traffic, evidence=evidence, movement=movement, coefficients=coefficients, noise=noise
    )
    if told is None:
        return traffic, shares, coefficients
    shares = shares_told(
        shares,
        traffic.launches,
        told,
        evidence=evidence,
        movement=movement,
        coefficients=coefficients,
    )
    return traffic, shares, coefficients


GROUPS = (
    "gap rates",
    "traffic",
    "where boats come from",
    "movement",
    "carriage and survival",
    "establishment",
    "education",
    "status",
)
# What is drawn under each name, by the first word of the purpose; all of it belongs somewhere.
PURPOSES = {
    "gap rates": "gap rates",
    "ballast": "gap rates",
    "traffic": "traffic",
    "named": "traffic",
    "shares": "where boats come from",
    "days out": "where boats come from",
    "movement": "movement",
    "assumptions": "carriage and survival",
    "species": "carriage and survival",
    "establish": "establishment",
    "finds": "establishment",
    "education": "education",
    "contacts": "education",
    "status": "status",
}


def drawn_estimates(
    evidence: Evidence,
    movement: Movement,
    *,
    seed: int,
    draw: int,
    others: Mapping[str, int] | None = None,
) -> Estimates:
    """
    One draw of everything uncertain, from posteriors and stated ranges.

    Each purpose has its own stream, so that a change in one part of the model leaves the draws of
    the others as they were.

    Parameters
    ----------
    evidence : Evidence
        Step one.
    movement : Movement
        The law of movement.
    seed : int
        Seed of the run.
    draw : int
        Number of the draw, 0 or more.
    others : mapping of group to int, optional
        Groups of `GROUPS` that are taken from another draw, so that what one group does to a
        result can be told from what the others do.

    Returns
    -------
    estimates : Estimates
        The same for the same seed and draw, whatever else is drawn.
    """
    from_other = {} if others is None else others

    def rng(purpose: str, of: str = "") -> np.random.Generator:
        number = from_other.get(PURPOSES[purpose], draw)
        return stream(seed, f"{purpose} {of}".strip(), number)

    assumptions = evidence.assumptions.draw(rng("assumptions"))
    species = {name: one.draw(rng("species", name)) for name, one in evidence.species.items()}
    told = movement.finds.draw(lambda name: rng("finds", name))
    traffic, shares, coefficients = _told(
        evidence.traffic.draw(rng("traffic")),
        evidence.shares.draw(rng("shares")),
        movement.draw(rng("movement")),
        told,
        evidence=evidence,
        movement=movement,
        noise=rng("named").standard_normal(len(movement.lakes)),
    )
    return Estimates(
        traffic=traffic,
        shares=shares,
        gaps=evidence.gaps.draw(rng("gap rates")),
        ballast=evidence.gaps.draw_ballast(rng("ballast")),
        education_ratio=evidence.gaps.draw_education(rng("education")),
        contacts_per_hour=evidence.contacts_per_hour.at(float(rng("contacts").standard_normal())),
        days_out=evidence.days_out.draw(rng("days out")),
        coefficients=coefficients,
        species=species,
        infested={
            name: status.draw_chance(
                rng("status", name),
                detection=species[name].values["detection"],
                found_anyway=assumptions["found_anyway"],
            )
            for name, status in evidence.status.items()
        },
        establish_score={
            name: float(rng("establish", name).standard_normal()) for name in evidence.species
        },
        told=told,
        assumptions=assumptions,
    )
