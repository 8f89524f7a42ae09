"""The stiff string: published formulas, its exact equation, and finite elements."""

from functools import cache

import numpy as np
import pytest
from helpers import crossed
from scipy.linalg import eigh_tridiagonal
from scipy.optimize import brentq
from scipy.sparse import lil_matrix
from scipy.sparse.linalg import eigsh

from slotwright.layout.physics.pitch import bracket

B = [1e-4, 1e-3, 0.003, 0.01, 0.02, 0.03]
NEAR = 0.05  # cents


def cents(ratio):
    return 1200 * np.log2(ratio)


@pytest.mark.parametrize("b", B)
def test_hinged_string_of_fletcher(b):
    # H. Fletcher, J. Acoust. Soc. Am. 36, 203 (1964); N. H. Fletcher, T. D. Rossing, "The Physics of Musical
    # Instruments", 2nd ed., 2.18: f = f0 sqrt(1 + B'), B' = pi^3 E d^4 / (64 T L^2), which is pi^2 EI / (T L^2).
    young, d, length = 200e9, 0.4e-3, 0.65
    bending = young * np.pi * d**4 / 64
    tension = bending / (b * length) ** 2
    published = np.sqrt(1 + np.pi**3 * young * d**4 / (64 * tension * length**2))
    assert cents(bracket(np.array(b), 0) / published) == pytest.approx(0, abs=NEAR)


@pytest.mark.parametrize("b", B)
def test_hinged_string_of_feynman(b):
    # R. P. Feynman's letter of 1961, Physics Today 62(12), 46 (2009): hinged, fundamental,
    # f_true = f (1 + pi E A^2 mu f^2 / (2 T^2)), steel of 7.80 g/cm3.
    young, d, length = 200e9, 0.4e-3, 0.65
    area = np.pi * d**2 / 4
    mass = 7800 * area
    tension = young * np.pi * d**4 / 64 / (b * length) ** 2
    f = np.sqrt(tension / mass) / (2 * length)
    published = 1 + np.pi * young * area**2 * mass * f**2 / (2 * tension**2)
    assert cents(bracket(np.array(b), 0) / published) == pytest.approx(0, abs=NEAR)


def exact(b, clamped):
    """Solve ``b^2 y'''' - y'' = w^2 y`` on a unit length for its lowest w, over pi.

    The solution is a sine of wave number k and two exponentials of rate q, ``b^2 (q^2 - k^2) = 1``.
    """

    def q(k):
        return np.sqrt(k**2 + b**-2)

    conditions = {
        0: None,  # hinged, hinged: k = pi
        1: lambda k: np.tan(k) * q(k) - k * np.tanh(q(k)),
        2: lambda k: k * np.tan(k / 2) + q(k) * np.tanh(q(k) / 2),
    }
    condition = conditions[clamped]
    if condition is None:
        k = np.pi
    else:
        # Clamped ends shorten the sounding part by about b each.
        k = brentq(condition, np.pi * (1 + 0.2 * clamped * b), np.pi * (1 + 2 * clamped * b + 0.01), xtol=1e-15)
    return k * np.sqrt(1 + b**2 * k**2) / np.pi


@pytest.mark.parametrize("clamped", [0, 1, 2])
@pytest.mark.parametrize("b", B)
def test_exact_equation(b, clamped):
    assert cents(bracket(np.array(b), clamped) / exact(b, clamped)) == pytest.approx(0, abs=NEAR)


@cache
def finite_elements(b, clamped, elements):
    """Lowest w over pi from cubic beam elements under tension."""
    h = 1 / elements
    beam = np.array([[12, 6 * h, -12, 6 * h], [6 * h, 4 * h**2, -6 * h, 2 * h**2],
                     [-12, -6 * h, 12, -6 * h], [6 * h, 2 * h**2, -6 * h, 4 * h**2]]) / h**3  # fmt: skip
    pull = np.array([[36, 3 * h, -36, 3 * h], [3 * h, 4 * h**2, -3 * h, -(h**2)],
                     [-36, -3 * h, 36, -3 * h], [3 * h, -(h**2), -3 * h, 4 * h**2]]) / (30 * h)  # fmt: skip
    inertia = np.array([[156, 22 * h, 54, -13 * h], [22 * h, 4 * h**2, 13 * h, -3 * h**2],
                        [54, 13 * h, 156, -22 * h], [-13 * h, -3 * h**2, -22 * h, 4 * h**2]]) * h / 420  # fmt: skip
    size = 2 * (elements + 1)
    stiff, mass = lil_matrix((size, size)), lil_matrix((size, size))
    for n in range(elements):
        where = slice(2 * n, 2 * n + 4)
        stiff[where, where] += b**2 * beam + pull
        mass[where, where] += inertia
    held = [0, size - 2] + [1] * (clamped > 0) + [size - 1] * (clamped > 1)
    free = np.setdiff1d(np.arange(size), held)
    lowest = eigsh(
        stiff.tocsc()[free][:, free], k=1, M=mass.tocsc()[free][:, free], sigma=0, return_eigenvectors=False
    )
    return np.sqrt(lowest[0]) / np.pi


@pytest.mark.parametrize(("clamped", "b"), crossed([0, 1, 2], [0.01, 0.02, 0.03]))
def test_finite_elements(b, clamped):
    assert cents(bracket(np.array(b), clamped) / finite_elements(b, clamped, 400)) == pytest.approx(0, abs=NEAR)
    assert cents(exact(b, clamped) / finite_elements(b, clamped, 400)) == pytest.approx(0, abs=0.005)


def test_the_bracket_can_be_wrong():
    # Far outside its range the series fails, so the comparisons above mean something.
    assert abs(cents(bracket(np.array(0.2), 2) / exact(0.2, 2))) > 1
    assert eigh_tridiagonal([2.0, 2.0], [-1.0], eigvals_only=True) == pytest.approx([1, 3])
