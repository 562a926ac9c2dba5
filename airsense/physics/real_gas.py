"""Compressibility of charge air, read from a table that CoolProp builds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from airsense.arrays import FloatArray
from airsense.physics.arguments import positive
from airsense.reference import reference_path

TABLE_NAME = "compressibility_air.csv"
# Steps that keep the error of linear interpolation below 2e-5.
TABLE_P_PA = np.arange(0.0, 1.0e6 + 1.0, 50e3)
TABLE_T_K = np.arange(220.0, 500.0 + 1.0, 5.0)


@dataclass(frozen=True, slots=True)
class _Table:
    p_pa: FloatArray
    t_k: FloatArray
    z: FloatArray


def compressibility_charge_air(p_pa: ArrayLike, t_k: ArrayLike) -> FloatArray:
    """Return the compressibility factor Z of dry air.

    Parameters
    ----------
    p_pa, t_k : array_like, shape (n,)
        Absolute pressure, up to 1 MPa [Pa], and temperature, 220 to 500 K.

    Returns
    -------
    ndarray, shape (n,)
        Z in rho = p / (Z R T). NaN outside the table and where an input is NaN.

    Raises
    ------
    InputError
        If a pressure or temperature is not above zero.

    Notes
    -----
    Against CoolProp Air: within 1.6e-5 over the table, 8e-6 below 600 kPa. Z itself departs from
    1 by at most 0.16 % over 150-450 kPa, 20-120 C. There is no table for humid air: with the
    gas constant of the moist mixture, this dry Z is within 0.05 % of CoolProp HumidAir up to
    450 kPa, 30-120 C and a mole fraction of vapour of 0.045.

    References
    ----------
    .. [1] E. W. Lemmon et al., J. Phys. Chem. Ref. Data 29 (2000) 331, by way of CoolProp.
    """
    p, t = np.broadcast_arrays(positive(p_pa, "p_pa"), positive(t_k, "t_k"))
    table = _table()
    i, u = _cell(table.p_pa, p)
    j, v = _cell(table.t_k, t)
    low = (1.0 - v) * table.z[j, i] + v * table.z[j + 1, i]
    high = (1.0 - v) * table.z[j, i + 1] + v * table.z[j + 1, i + 1]
    return np.asarray((1.0 - u) * low + u * high)


def _cell(axis: FloatArray, x: FloatArray) -> tuple[np.ndarray, FloatArray]:
    """Index of the cell of an even axis that holds x, and the place in it; NaN outside."""
    place = (x - axis[0]) / (axis[1] - axis[0])
    inside = (place >= 0.0) & (place <= axis.size - 1)
    index = np.where(inside, np.minimum(place, axis.size - 2), 0.0).astype(np.intp)
    return index, np.where(inside, place - index, np.nan)


@lru_cache(maxsize=1)
def _table() -> _Table:
    raw = np.loadtxt(reference_path(TABLE_NAME), delimiter=",", comments="#")
    return _Table(p_pa=raw[0, 1:], t_k=raw[1:, 0], z=raw[1:, 1:])


def build_compressibility_table() -> str:
    """Return the text of the table file, computed with CoolProp.

    Returns
    -------
    str
        Comment lines with source and grid, then a row of pressures and one row a temperature.
    """
    from CoolProp import __version__
    from CoolProp.CoolProp import PropsSI

    p, t = np.meshgrid(TABLE_P_PA[1:], TABLE_T_K)
    z = PropsSI("Z", "P", p.ravel(), "T", t.ravel(), "Air").reshape(p.shape)
    lines = [
        "# Compressibility factor Z of dry air.",
        f"# Source: CoolProp {__version__}, fluid Air (Lemmon et al., J. Phys. Chem. Ref. Data",
        "# 29 (2000) 331); Z = 1 at zero pressure by definition. Built by",
        "# airsense.physics.real_gas.build_compressibility_table.",
        "# First row: pressure [Pa]; first column: temperature [K].",
        ",".join(["0", *(f"{x:g}" for x in TABLE_P_PA)]),
    ]
    rows = zip(TABLE_T_K, z, strict=True)
    lines += [",".join([f"{tk:g}", "1", *(f"{x:.8f}" for x in row)]) for tk, row in rows]
    return "\n".join(lines) + "\n"
