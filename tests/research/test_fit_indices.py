"""Fit indices on a toy table worked by hand, PyTDLM 0.2.2 and spint 1.0.7 agreeing."""

import numpy as np
import pytest

from spreadnet.research.indices import (
    common_part_of_links,
    common_part_of_trips,
    fit_indices,
    off_diagonal,
    poisson_deviance,
    similarity,
    srmse,
)

OBSERVED = np.array([[0.0, 30, 10], [20, 0, 0], [5, 15, 0]])
MODELLED = np.array([[0.0, 25, 15], [24, 0, 2], [0, 14, 0]])
SEEN, MODEL = off_diagonal(OBSERVED), off_diagonal(MODELLED)


def test_common_parts():
    assert common_part_of_trips(SEEN, MODEL) == pytest.approx(0.8625, abs=1e-12)
    assert common_part_of_links(SEEN, MODEL) == pytest.approx(0.8, abs=1e-12)


def test_structural_zeros_change_srmse():
    """0.300 over the six cells that can hold trips, 0.367 with the diagonal."""
    assert srmse(SEEN, MODEL) == pytest.approx(0.3, abs=1e-12)
    assert srmse(OBSERVED, MODELLED) == pytest.approx(0.3674234614, abs=1e-10)


def test_similarity_as_spint_computes_it():
    assert similarity(SEEN, MODEL) == pytest.approx(0.5972831766, abs=1e-10)


def test_deviance():
    assert poisson_deviance(SEEN, MODEL) == np.inf  # a zero prediction met a count of 5
    mended = np.where(MODEL == 0, 0.5, MODEL)
    assert poisson_deviance(SEEN, mended) == pytest.approx(21.63276605, abs=1e-8)
    assert poisson_deviance(SEEN, SEEN) == 0


def test_all_indices_at_once():
    indices = fit_indices(SEEN, MODEL)
    assert indices["common_part_of_trips"] == pytest.approx(0.8625)
    assert indices["srmse"] == pytest.approx(0.3)
    assert indices["r_squared"] == pytest.approx(0.839400647, abs=1e-9)
    assert indices["cells"] == 6


def test_tables_that_do_not_match_are_refused():
    with pytest.raises(ValueError, match="same shape"):
        srmse(SEEN, MODEL[:-1])
    with pytest.raises(ValueError, match="0 or more"):
        common_part_of_trips([-1.0, 2.0], [1.0, 1.0])
    with pytest.raises(ValueError, match="some observed"):
        common_part_of_trips([0.0, 0.0], [1.0, 1.0])
