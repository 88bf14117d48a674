"""Compiled inner loops of the law of movement: the same numbers as with NumPy, in less time."""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from importlib.util import find_spec
from typing import Any

import numpy as np

# Without the extra `fast` the same code is plain Python: right, and far too slow to be used.
numba: Any = import_module("numba") if find_spec("numba") else None
f4, i4 = np.float32, np.int32
LEAST, MOST = 2.0**-60, 2.0**100  # sums between these lose nothing in single precision


def compiled_for(signature: str, **options: Any) -> Callable[[Any], Any]:
    """
    Compile for one signature, and keep the result on disk where a place can be written to.

    Parameters
    ----------
    signature : str
        Types in numba's notation, so that nothing is compiled in the middle of a run.
    **options
        For `numba.njit`.

    Returns
    -------
    decorate : callable
        Leaves the function as it is where numba is missing.
    """
    if numba is None:
        return lambda function: function

    def decorate(function: Any) -> Any:
        try:
            return numba.njit(signature, nogil=True, cache=True, **options)(function)
        except RuntimeError:  # neither the package nor a home can be written to
            return numba.njit(signature, nogil=True, **options)(function)

    return decorate


# A sum of products may be rounded once in place of twice; sums over a row may be taken in lanes.
FUSED: dict[str, Any] = {"fastmath": {"contract"}}
LANES: dict[str, Any] = {"fastmath": {"contract", "reassoc", "nsz", "nnan"}}


@compiled_for("f4(f4)", **FUSED)
def exp2(x: Any) -> Any:
    """
    2^x for x up to 127; 0 below -126.5.

    2^n is put together from bits and 2^f taken from a polynomial that is 1 at 0 (least largest
    relative error on -1/2 to 1/2: 9e-8), so that LLVM can do many at once.
    """
    x = x if x > f4(-127.0) else f4(-127.0)
    rounded = f4(x + f4(12582912.0))  # 1.5 x 2^23: the last bits are now the nearest whole number
    f = x - (rounded - f4(12582912.0))
    p = f4(0.001326472731307149)
    p = p * f + f4(0.009671512991189957)
    p = p * f + f4(0.05550733581185341)
    p = p * f + f4(0.24022242426872253)
    p = p * f + f4(0.6931470036506653)
    p = p * f + f4(1.0)
    return i4(f4(p).view(i4) + i4(rounded.view(i4) << i4(23))).view(f4)


@compiled_for("f4(f4)", **FUSED)
def log2(x: Any) -> Any:
    """
    Logarithm to the base 2 of a normal number above 0.

    The number is split in bits into 2^e and a factor of sqrt(1/2) to sqrt(2), whose logarithm is
    taken from a polynomial (least largest error: 5e-8).
    """
    bits = f4(x).view(i4)
    e = i4(i4(bits - i4(0x3F3504F3)) >> i4(23))
    f = i4(bits - i4(e << i4(23))).view(f4) - f4(1.0)
    p = f4(-0.1457444727420807)
    p = p * f + f4(0.23689037561416626)
    p = p * f + f4(-0.2500690519809723)
    p = p * f + f4(0.28670746088027954)
    p = p * f + f4(-0.36008721590042114)
    p = p * f + f4(0.48093944787979126)
    p = p * f + f4(-0.7213571667671204)
    p = p * f + f4(1.4426947832107544)
    return p * f + f4(e)


@compiled_for("void(f4, f4, f4[::1], f4[::1], f4[::1])", **FUSED)
def _away(x: Any, y: Any, to_x: Any, to_y: Any, away: Any) -> None:
    """Kilometres from one place to many."""
    for i in range(away.size):
        across, along = to_x[i] - x, to_y[i] - y
        away[i] = np.sqrt(across * across + along * along)


@compiled_for("f4(f4[::1])")
def _least(values: Any) -> Any:
    """Smallest of numbers not below 0, by their bits: LLVM takes whole numbers many at once."""
    bits = values.view(i4)
    least = bits[0]
    for i in range(bits.size):
        least = min(least, bits[i])
    return i4(least).view(f4)


@compiled_for("f4(f4, f4, f4[:, ::1], i8, f4[::1])")
def _nearest(x: Any, y: Any, lakes: Any, own: Any, away: Any) -> Any:
    """Kilometres to all lakes; the distance of the nearest other one is given back."""
    _away(x, y, lakes[0], lakes[1], away)
    away[own] = f4(np.inf)
    nearest = _least(away)
    away[own] = nearest
    return nearest


@compiled_for("void(f4[::1], f4, f4, f4[::1])", **FUSED)
def _logs(away: Any, softening: Any, nearest: Any, logs: Any) -> None:
    """Logarithms of distances, then both less those of the nearest."""
    first = log2(nearest + softening)
    for i in range(away.size):
        logs[i] = log2(away[i] + softening) - first
        away[i] -= nearest


@compiled_for("f4(f4[::1], f4[::1], f4, f4[::1])", **LANES)
def _weigh_power(mass: Any, logs: Any, a: Any, out: Any) -> Any:
    """Weights under a power law and their sum."""
    total = f4(0.0)
    for i in range(out.size):
        weight = exp2(mass[i] + a * logs[i])
        out[i] = weight
        total += weight
    return total


@compiled_for("f4(f4[::1], f4[::1], f4[::1], f4, f4, f4, f4, f4[::1])", **LANES)
def _weigh(mass: Any, logs: Any, away: Any, a: Any, b: Any, c: Any, shift: Any, out: Any) -> Any:
    """Weights under any law and their sum."""
    total = f4(0.0)
    for i in range(out.size):
        x = mass[i] + logs[i] * (a + c * logs[i]) + b * away[i] - shift
        weight = exp2(x if x < f4(127.0) else f4(127.0))
        out[i] = weight
        total += weight
    return total


@compiled_for("f4(f4[::1], f4[::1], f4[::1], f4, f4, f4)", **LANES)
def _greatest(mass: Any, logs: Any, away: Any, a: Any, b: Any, c: Any) -> Any:
    """Greatest exponent of a row: slower than a bound, right wherever the bound is not."""
    top = f4(-np.inf)
    for i in range(mass.size):
        x = mass[i] + logs[i] * (a + c * logs[i]) + b * away[i]
        top = x if x > top else top
    return top


@compiled_for("UniTuple(f4, 2)(f4[::1], f4[::1], f4[::1], f4, f4, f4, f4[::1])", **FUSED)
def _weights(mass: Any, logs: Any, away: Any, a: Any, b: Any, c: Any, out: Any) -> Any:
    """
    Weights of a row; their sum, and what was taken off every exponent first, are given back.

    The heaviest lake at the nearest place bounds the exponents of a law that falls with distance,
    and both lie at 0 here; where that bound is too far off the row's maximum is looked for.
    """
    if b == 0 and c == 0 and a <= 0:
        total = _weigh_power(mass, logs, a, out)
    else:
        total = _weigh(mass, logs, away, a, b, c, f4(0.0), out)
    if total > LEAST and total < MOST:
        return total, f4(0.0)
    shift = _greatest(mass, logs, away, a, b, c)
    if not shift > f4(-np.inf):
        out[:] = f4(0.0)
        return f4(0.0), f4(0.0)
    return _weigh(mass, logs, away, a, b, c, shift, out), shift


@compiled_for(
    "void(f4[:, ::1], f4[:, ::1], i8[::1], f4[::1], f4[::1], f4[::1], f4[:, ::1])", **FUSED
)
def trips_by_origin(
    landings: Any, lakes: Any, group: Any, mass: Any, law: Any, arriving: Any, out: Any
) -> None:
    """Trips from every lake to every landing, see `compiled.trips_by_origin`."""
    away, logs = np.empty(mass.size, f4), np.empty(mass.size, f4)
    for k in range(group.size):
        own = group[k]
        nearest = _nearest(landings[0, k], landings[1, k], lakes, own, away)
        _logs(away, law[3], nearest, logs)
        kept = mass[own]
        mass[own] = f4(-np.inf)
        a = law[0] + f4(2.0) * law[2] * log2(nearest + law[3])
        row = out[k]
        total, _ = _weights(mass, logs, away, a, law[1], law[2], row)
        mass[own] = kept
        scale = arriving[k] / total if total > 0 else f4(0.0)
        for i in range(row.size):
            row[i] *= scale
