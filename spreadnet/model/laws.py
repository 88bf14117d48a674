"""Distance laws: how the pull of a lake falls with distance, in terms that a fit can weigh."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Array = NDArray[np.floating]

# The term that decides what happens far away comes first.
TERMS = ("distance", "log_distance_squared", "log_distance")
SOFTENING_KM = 1.0  # without it two lakes at one place have an infinite pull on each other


@dataclass(frozen=True, slots=True)
class DistanceLaw:
    """
    A law f(d) = exp(sum of coefficient x term), with the coefficients left to the fit.

    Attributes
    ----------
    name : str
        Name as shown to the reader.
    terms : tuple of str
        Which of `distance` (km), `log_distance` and `log_distance_squared` it is made of.
    softening_km : float
        Added to the distance before its logarithm, 0 or more. 0 only where no two places
        coincide, as in published tables.

    Examples
    --------
    >>> POWER.features(np.array([0.0, np.e - 1]))
    array([[0., 1.]])
    """

    name: str
    terms: tuple[str, ...]
    softening_km: float = SOFTENING_KM

    def __post_init__(self) -> None:
        unknown = [term for term in self.terms if term not in TERMS]
        if unknown or not self.terms:
            message = f"Invalid terms '{self.terms}' of law '{self.name}'. Some of {TERMS}."
            raise ValueError(message)
        if not self.softening_km >= 0:
            message = f"Invalid softening_km '{self.softening_km}'. It must be 0 or more."
            raise ValueError(message)

    def softened(self, softening_km: float) -> DistanceLaw:
        """The same law with another softening distance."""
        return replace(self, softening_km=softening_km)

    def features(self, distance_km: Array) -> Array:
        """
        Terms of the law at each distance.

        Parameters
        ----------
        distance_km : array, any shape
            Kilometres, 0 or more.

        Returns
        -------
        features : array, shape (M, *distance_km.shape)
            One layer a term, in the dtype of `distance_km`.

        Raises
        ------
        ValueError
            If a distance is negative or missing, or is 0 without softening.
        """
        return np.stack(self._layers(np.asarray(distance_km)))

    def _layers(self, distance_km: Array) -> list[Array]:
        """The terms one by one."""
        lowest = distance_km.min(initial=np.inf)
        if not lowest >= 0 or (lowest + self.softening_km == 0 and self.terms != ("distance",)):
            message = f"Invalid distance_km '{lowest}'. It must be 0 or more, and above 0 when "
            raise ValueError(f"{message}softening_km is 0.")
        layers: dict[str, Array] = {"distance": distance_km}
        if self.terms != ("distance",):
            layers["log_distance"] = np.log(distance_km + distance_km.dtype.type(self.softening_km))
            layers["log_distance_squared"] = layers["log_distance"] ** 2
        return [layers[term] for term in self.terms]

    def log_pull(self, distance_km: Array, coefficients: Array) -> Array:
        """
        Logarithm of the law, one layer at a time so that no more memory is held than needed.

        Parameters
        ----------
        distance_km : array, any shape
            Kilometres, 0 or more.
        coefficients : array, shape (M,)
            One a term.

        Returns
        -------
        log_pull : array
            In the shape of `distance_km`.

        Examples
        --------
        >>> POWER.log_pull(np.array([0.0, np.e - 1]), np.array([-2.0]))
        array([-0., -2.])
        """
        layers = self._layers(np.asarray(distance_km))
        total = layers[0] * coefficients[0]
        for layer, coefficient in zip(layers[1:], coefficients[1:], strict=True):
            total += layer * coefficient
        return total

    def bounded(self, coefficients: Array) -> Array:
        """
        Coefficients of the law's terms, clipped so that the pull never grows without bound.

        A chance draw can put the far end of a poorly known law upside down, and one such draw
        would send every boat to the farthest lake. The term that rules far away may not be
        positive; where it is clipped to 0, the next one may not be either.

        Parameters
        ----------
        coefficients : array, shape (M,)
            One a term.

        Returns
        -------
        bounded : array, shape (M,)
            The same where nothing had to be clipped.

        Examples
        --------
        >>> LOGNORMAL.bounded(np.array([1.2, -0.3]))
        array([ 1.2, -0.3])
        >>> LOGNORMAL.bounded(np.array([1.2, 0.3]))
        array([0., 0.])
        """
        clipped = np.array(coefficients, float)
        for term in TERMS:
            if term in self.terms:
                position = self.terms.index(term)
                if clipped[position] < 0:
                    break
                clipped[position] = 0.0
        return clipped


POWER = DistanceLaw("power", ("log_distance",))
EXPONENTIAL = DistanceLaw("exponential", ("distance",))
POWER_EXPONENTIAL = DistanceLaw("power_exponential", ("log_distance", "distance"))
LOGNORMAL = DistanceLaw("lognormal", ("log_distance", "log_distance_squared"))
LAWS = (POWER, EXPONENTIAL, POWER_EXPONENTIAL, LOGNORMAL)
