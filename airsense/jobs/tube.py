"""What would a change of bore alone do to the reading?"""

from __future__ import annotations

from collections.abc import Sequence

from airsense.errors import InputError
from airsense.results import Interval
from airsense.setup.engine import metres
from airsense.transfer.tube import Tube, TubeResult, tube_result

# From idle to full load of a car engine; bores from a small engine's to a ship's are taken.
DEFAULT_FLOWS_GPS = (20.0, 50.0, 100.0, 200.0)
_BORE_MM = (10.0, 400.0)


def run(
    *,
    bore_before_mm: float,
    bore_after_mm: float | None,
    flows_gps: Sequence[float] = (),
    skew_percent: tuple[float, float] | None = None,
    bore_uncertainty_mm: float = 0.1,
    film_depth_mm: float | None = None,
    straight_mm: float | None = None,
) -> TubeResult:
    """Return the reading factor of a change of bore and the bore that explains a skew.

    Parameters
    ----------
    bore_before_mm, bore_after_mm : float
        Inner diameters at the sensor; the second may be None if a skew is given.
    flows_gps : sequence of float
        True mass flows at which to answer; 20 to 200 g/s if empty.
    skew_percent : (float, float), optional
        A measured skew and its 95 % half-width, both in percent.
    bore_uncertainty_mm : float
        Standard uncertainty of each bore.
    film_depth_mm : float, optional
        Distance of the film from the wall it is fixed to.
    straight_mm : float, optional
        Straight tube ahead of the sensor.

    Raises
    ------
    InputError
        If a size is impossible, or neither a second bore nor a skew is given.
    """
    if bore_after_mm is None and skew_percent is None:
        raise InputError(
            "nothing to compare the bore with",
            where="airsense tube",
            got="--bore-before alone",
            allowed="--bore-after MM, or --skew PERCENT HALF_WIDTH",
            fix="add the bore of the new tube, or the skew that was measured",
        )
    _check("--bore-before", bore_before_mm, *_BORE_MM, "mm")
    for name, value, (low, high), unit in (
        ("--bore-after", bore_after_mm, _BORE_MM, "mm"),
        ("--bore-uncertainty", bore_uncertainty_mm, (0.001, 5.0), "mm"),
        ("--film-depth", film_depth_mm, _depth_range(bore_before_mm, bore_after_mm), "mm"),
        ("--straight", straight_mm, (0.0, 10_000.0), "mm"),
    ):
        if value is not None:
            _check(name, value, low, high, unit)
    for flow in flows_gps:
        _check("--flow", flow, 0.01, 10_000.0, "g/s")
    tube = Tube(
        bore_before_m=bore_before_mm * 1e-3,
        bore_after_m=metres(bore_after_mm),
        u_bore_m=bore_uncertainty_mm * 1e-3,
        depth_m=metres(film_depth_mm),
        straight_m=metres(straight_mm),
    )
    flows = [f * 1e-3 for f in flows_gps or DEFAULT_FLOWS_GPS]
    return tube_result(tube, flows, _skew(skew_percent))


def _depth_range(before_mm: float, after_mm: float | None) -> tuple[float, float]:
    narrow = min(before_mm, after_mm or before_mm)
    return 0.01 * narrow, 0.99 * narrow


def _skew(percent: tuple[float, float] | None) -> Interval | None:
    if percent is None:
        return None
    value, half = percent
    _check("--skew", value, -50.0, 100.0, "%")
    _check("--skew half-width", half, 0.0, 40.0, "%")
    return Interval(value * 1e-2, (value - half) * 1e-2, (value + half) * 1e-2)


def _check(name: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:  # NaN fails too
        raise InputError(
            f"{name} is outside what is possible",
            where=f"airsense tube {name}",
            got=f"{value:g} {unit}",
            allowed=f"{low:g} to {high:g} {unit}",
            fix="check the number and its unit",
        )
