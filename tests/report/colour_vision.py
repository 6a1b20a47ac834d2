"""How far apart colours look, also to red-green blind readers."""

import math

from simulator.report.palette import linear

VISION = {
    "usual": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
}
"""Matrices on linear RGB at full severity (Machado, Oliveira & Fernandes 2009, table; from memory)."""


def difference(first, second, vision="usual"):
    """Return how far apart two colours look: the distance in CIE L*a*b* (CIE 1976), D65 white."""
    return math.dist(_lab(first, vision), _lab(second, vision))


def _lab(colour, vision):
    parts = linear(colour)
    seen = [min(1.0, max(0.0, sum(m * p for m, p in zip(row, parts, strict=True)))) for row in VISION[vision]]
    to_xyz = ((0.4124564, 0.3575761, 0.1804375), (0.2126729, 0.7151522, 0.0721750), (0.0193339, 0.1191920, 0.9503041))
    white = (0.95047, 1.0, 1.08883)
    x, y, z = (
        _root(sum(m * p for m, p in zip(row, seen, strict=True)) / whole)
        for row, whole in zip(to_xyz, white, strict=True)
    )
    return 116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)


def _root(value):
    return math.cbrt(value) if value > 216.0 / 24389.0 else (24389.0 / 27.0 * value + 16.0) / 116.0
