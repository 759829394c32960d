"""Small helpers shared by the generators in this folder: vectors, quadrature nodes, JSON.

Nothing here comes from the library under test. Vectors are plain tuples of mpmath numbers.
"""

import json
from pathlib import Path

import mpmath as mp

mp.mp.dps = 34

NM_PER_MM = 1_000_000
UM_PER_MM = 1_000
MAX_BYTES = 60_000


def arcmin(value):
    """An angle in arcminutes, as radians."""
    return mp.mpf(value) * mp.pi / (180 * 60)


def dot(u, v):
    return mp.fdot(u, v)


def scaled(k, u):
    return tuple(k * c for c in u)


def plus(u, v):
    return tuple(a + b for a, b in zip(u, v, strict=True))


def minus(u, v):
    return tuple(a - b for a, b in zip(u, v, strict=True))


def length(u):
    return mp.sqrt(dot(u, u))


def unit(u):
    return scaled(1 / length(u), u)


def mirrored(d, n):
    """The direction d after reflection on a surface of unit normal n."""
    return minus(d, scaled(2 * dot(d, n), n))


_LEGENDRE = {}


def gauss_legendre(count, low=-1, high=1):
    """Gauss-Legendre nodes and weights on [low, high], to the working precision.

    Newton iteration on the three-term recurrence of the Legendre polynomials
    (Abramowitz & Stegun 22.7.10 and 25.4.29).
    """
    key = (count, mp.mp.dps)
    if key not in _LEGENDRE:
        nodes = []
        for k in range(1, count + 1):
            x = mp.cos(mp.pi * (k - mp.mpf(1) / 4) / (count + mp.mpf(1) / 2))
            for _ in range(100):
                before, value = mp.mpf(1), x
                for n in range(2, count + 1):
                    before, value = value, ((2 * n - 1) * x * value - (n - 1) * before) / n
                slope = count * (x * value - before) / (x * x - 1)
                step = value / slope
                x -= step
                if abs(step) < mp.mpf(10) ** (3 - mp.mp.dps):
                    break
            nodes.append((x, 2 / ((1 - x * x) * slope * slope)))
        _LEGENDRE[key] = nodes
    low, high = mp.mpf(low), mp.mpf(high)
    middle, half = (high + low) / 2, (high - low) / 2
    return [(middle + half * x, half * w) for x, w in _LEGENDRE[key]]


def disc_nodes(inner, outer, radial, angles):
    """Nodes (x, y, share of the area) on a ring: Gauss in r^2, uniform angles, half a step off."""
    inner, outer = mp.mpf(inner), mp.mpf(outer)
    spokes = [2 * mp.pi * (k + mp.mpf(1) / 2) / angles for k in range(angles)]
    turns = [(mp.cos(a), mp.sin(a)) for a in spokes]
    span = outer**2 - inner**2
    nodes = []
    for square, weight in gauss_legendre(radial, inner**2, outer**2):
        r = mp.sqrt(square)
        nodes += [(r * c, r * s, weight / (span * angles)) for c, s in turns]
    return nodes


def plain(value):
    """A JSON value; mpmath numbers become the nearest double (17 significant digits)."""
    return float(value) if isinstance(value, mp.mpf) else value


def write(topic, provenance, units, rows):
    """Write <topic>.json beside this file: provenance, units and flat rows, one row a line."""
    lines = [json.dumps({k: plain(v) for k, v in row.items()}, allow_nan=False) for row in rows]
    body = ",\n  ".join(lines)
    text = (
        "{\n"
        f' "provenance": {json.dumps(provenance)},\n'
        f' "units": {json.dumps(units)},\n'
        f' "rows": [\n  {body}\n ]\n}}\n'
    )
    json.loads(text)
    path = Path(__file__).with_name(f"{topic}.json")
    path.write_text(text, encoding="utf-8")
    if path.stat().st_size > MAX_BYTES:
        raise ValueError(f"{path.name} is larger than {MAX_BYTES} bytes: {path.stat().st_size}")
    print(f"{path.name}: {len(rows)} rows, {path.stat().st_size} bytes")
