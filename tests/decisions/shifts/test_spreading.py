"""Hours spread over landings: limits hold exactly, and the price of spreading is told."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from spreadnet.decisions.shifts.best_linear import best_for
from spreadnet.decisions.shifts.clash import clash_words
from spreadnet.decisions.shifts.rules import ANYHOW, Limit, PlanRules, Spread

HOURS = 2.0


def rules_of(most, *, shifts, spread=ANYHOW, least=None, worked=None, limits=()):
    most = np.asarray(most)
    least = np.zeros_like(most) if least is None else np.asarray(least)
    worked = np.zeros(most.shape) if worked is None else np.asarray(worked, float)
    cells = np.arange(most.size)
    hours = Limit("hours", "hours", cells, 0, shifts * HOURS, np.full(most.size, HOURS))
    rules = PlanRules(HOURS, least, most, (hours, *limits), worked, cells)
    return rules.shared(spread)


def every_plan(rules):
    ranges = [
        range(low, high + 1)
        for low, high in zip(rules.least.ravel(), rules.most.ravel(), strict=True)
    ]
    for cells in itertools.product(*ranges):
        yield np.array(cells).reshape(rules.most.shape)


def allowed(plan, rules, *, shifts, spread):
    """The rules as their words say them, told once more and without the code under test."""
    if plan.sum() > shifts:
        return False
    for limit in rules.limits[1:]:
        if (
            limit.kind != "share"
            and not limit.least <= plan.ravel()[limit.cells].sum() <= limit.most
        ):
            return False
    worked = rules.worked.sum(axis=1)
    whole = shifts * HOURS + worked.sum()
    here = worked + HOURS * plan.sum(axis=1)
    promised = HOURS * rules.least.sum(axis=1)
    share = np.maximum(spread.most_share * whole, HOURS)
    if spread.evenly:
        share = np.maximum(share, HOURS * np.ceil(whole / HOURS / spread.evenly))
    fair = (here <= share + 1e-9) | (HOURS * plan.sum(axis=1) <= promised)
    if spread.most_share < 1 and not fair.all():
        return False
    if ((plan.sum(axis=1) > 0) | (worked > 0)).sum() < spread.least:
        return False
    return spread.most is None or (plan.sum(axis=1) > 0).sum() <= spread.most


@st.composite
def cases(draw):
    landings, blocks = draw(st.sampled_from([(2, 2), (3, 1), (3, 2), (4, 1), (5, 1)]))
    most = draw(
        st.lists(
            st.lists(st.integers(0, 2), min_size=blocks, max_size=blocks),
            min_size=landings,
            max_size=landings,
        )
    )
    most = np.array(most)
    least = np.minimum(most, draw(st.integers(0, 5)) == 0)
    worked = HOURS * np.array(
        draw(st.lists(st.sampled_from([0, 0, 0, 1]), min_size=most.size, max_size=most.size))
    ).reshape(most.shape)
    shifts = draw(st.integers(0, 6))
    kind = draw(st.sampled_from(["share", "even", "least", "most", "share and least"]))
    share = draw(st.sampled_from([0.2, 0.25, 0.4, 0.5]))
    spread = Spread(
        most_share=share if kind in ("share", "even", "share and least") else 1.0,
        evenly=landings if kind == "even" else 0,
        least=draw(st.integers(1, landings + 1)) if "least" in kind else 0,
        most=draw(st.integers(1, landings)) if kind == "most" else None,
    )
    cells = np.arange(most.size).reshape(most.shape)
    limits = []
    if draw(st.booleans()):
        limits.append(Limit("people", "people", cells[:, 0], 0, draw(st.integers(0, 3))))
    if draw(st.booleans()):
        ward = cells[: landings // 2].ravel()
        limits.append(Limit("ward", "jurisdiction", ward, draw(st.integers(0, 2)), np.inf))
    values = np.array(
        draw(st.lists(st.floats(0, 1), min_size=most.size, max_size=most.size))
    ).round(2)
    return (
        rules_of(most, shifts=shifts, spread=spread, least=least, worked=worked, limits=limits),
        values.reshape(most.shape),
        shifts,
        spread,
    )


@given(cases())
@settings(max_examples=400, deadline=None)
def test_the_program_finds_the_best_plan_of_all_that_keep_to_shares_and_numbers(case):
    rules, values, shifts, spread = case
    plans = [p for p in every_plan(rules) if allowed(p, rules, shifts=shifts, spread=spread)]
    found = best_for(values, rules)
    if not plans:
        assert found is None
        assert spread.most is not None or clash_words(rules)  # no setting asks for so few
        return
    assert clash_words(rules) == ""
    assert allowed(found.astype(int), rules, shifts=shifts, spread=spread)
    assert rules.keeps(found.astype(int))
    assert (values * found).sum() == pytest.approx(max((values * p).sum() for p in plans))


@given(cases())
@settings(max_examples=200, deadline=None)
def test_what_keeps_to_the_rules_is_what_their_words_say(case):
    rules, _, shifts, spread = case
    for plan in every_plan(rules):
        assert rules.keeps(plan) == allowed(plan, rules, shifts=shifts, spread=spread)


@given(cases(), st.integers(0, 3))
@settings(max_examples=200, deadline=None)
def test_a_plan_that_may_lose_few_shifts_is_the_best_of_those_that_lose_no_more(case, moves):
    rules, values, shifts, spread = case
    plans = [p for p in every_plan(rules) if allowed(p, rules, shifts=shifts, spread=spread)]
    for start in plans[:: max(len(plans) // 3, 1)]:
        near = [p for p in plans if np.maximum(start - p, 0).sum() <= moves]
        found = best_for(values, rules, start=start, moves=moves)
        assert (values * found).sum() == pytest.approx(max((values * p).sum() for p in near))
