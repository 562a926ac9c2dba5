"""Each figure against a stored image. Results and images are frozen digits of our own examples.

`python -m tests.golden.test_report_figures` draws the images anew, to be looked at and committed.
"""

from __future__ import annotations

import copy
import io
import json
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.patches import Rectangle
from numpy.typing import NDArray
from PIL import Image

from airsense.report.as_json import to_plain
from airsense.report.figure import Picture
from airsense.report.figures import pictures_of
from airsense.report.figures.compare import split
from airsense.report.figures.style import styled
from airsense.report.node import node_of
from tests.report_results import COMPARE, JOINT, NEGATIVE, UNMATCHED

pytestmark = pytest.mark.slow

FOLDER = Path(__file__).parent
# Another minor release sets letters, and with them everything, a pixel elsewhere; the dev extra
# brings this one.
DRAWN_WITH = "3.11."
needs_its_release = pytest.mark.skipif(
    not matplotlib.__version__.startswith(DRAWN_WITH),
    reason=f"the stored images were drawn with matplotlib {DRAWN_WITH}x",
)
NAMES = ("audit", "campaign", "check", "compare", "plan", "rescale", "screen", "tube")
DPI = 72
# A pixel differs if a colour does by more than this; softer edges of letters differ by less.
STEP = 64
# Differing pixels, as a share of those with ink, that are let through; each shift gives more than
# twice as many.
TOLERANCE = 0.003
SHIFT = 1.04


@cache
def stored(name: str) -> dict[str, Any]:
    """Return a frozen result."""
    found: dict[str, Any] = json.loads((FOLDER / "results" / f"{name}.json").read_text("utf-8"))
    return found


def draw(picture: Picture) -> NDArray[np.int16]:
    """Return the pixels of a figure."""
    stream = io.BytesIO()
    with styled():
        picture.draw().savefig(stream, format="png", dpi=DPI)
    return pixels(stream)


def pixels(source: Any) -> NDArray[np.int16]:
    """Return the pixels of an image, shape (height, width, 3)."""
    return np.asarray(Image.open(source).convert("RGB"), dtype=np.int16)


def difference(first: NDArray[np.int16], second: NDArray[np.int16]) -> float:
    """Return differing pixels over those with ink in `second`; 1 for images of other size."""
    if first.shape != second.shape:
        return 1.0
    ink = np.count_nonzero(np.any(second < 255 - STEP, axis=2))
    return float(np.count_nonzero(np.any(np.abs(first - second) > STEP, axis=2)) / ink)


def baseline(name: str, picture: Picture) -> Path:
    """Return where the image of a figure is stored."""
    return FOLDER / "figures" / f"{name}_{picture.name}.png"


CASES = [(name, p.name) for name in NAMES for p in pictures_of(stored(name))]


def picture_of(name: str, figure: str, result: dict[str, Any] | None = None) -> Picture:
    """Return one figure of a frozen (or changed) result."""
    return next(p for p in pictures_of(result or stored(name)) if p.name == figure)


@needs_its_release
@pytest.mark.parametrize(("name", "figure"), CASES)
def test_a_figure_is_the_stored_one(name: str, figure: str) -> None:
    picture = picture_of(name, figure)
    found = difference(draw(picture), pixels(baseline(name, picture)))
    assert found <= TOLERANCE, f"{found:.2%} of the ink differs"


def moved(value: Any, *, inside: bool = False) -> Any:
    """Return a result whose every drawn number is larger by the same factor."""
    if isinstance(value, dict):
        return {
            key: moved(item, inside=inside or key in DRAWN) if key not in AXES else item
            for key, item in value.items()
        }
    if isinstance(value, list):
        return [moved(item, inside=inside) for item in value]
    if inside and isinstance(value, float):
        return value * SHIFT
    return value


DRAWN = {
    "before",
    "after",
    "airflow_change",
    "airflow_change_indicated",
    "airflow_change_weather",
    "airflow_change_intake",
    "airflow_change_demand",
    "airflow_change_feedback",
    "demand_feedback_joint",
    "indicated_surplus",
    "surplus",
    "change",
    "sensor_error",
    "brake_power_change",
    "probability",
    "flow_kgps",
    "reading_change",
    "p_manifold_pa",
    "flow_new",
    "measured",
    "expected",
    "by_runs",
    "detectable_change",
}
AXES = {"engine_speed_rpm", "runs_per_configuration"}
# Moved by hand below: a factor alone moves nothing but the numbers on the axis, or no outcome.
BY_HAND = ("correction", "matrix", "reading", "decomposition")


@pytest.mark.parametrize(("name", "figure"), [c for c in CASES if not c[1].startswith(BY_HAND)])
def test_a_shifted_curve_breaks_the_image(name: str, figure: str) -> None:
    picture = picture_of(name, figure, moved(stored(name)))
    found = difference(draw(picture), pixels(baseline(name, picture)))
    assert found > 2.0 * TOLERANCE, f"only {found:.2%} of the ink differs"


def test_a_shifted_split_breaks_the_image() -> None:
    result = copy.deepcopy(stored("compare"))
    for key in ("value", "low", "high"):
        result["pairs"][0]["airflow_change_intake"][key] += 0.004
    picture = picture_of("compare", "decomposition", result)
    assert difference(draw(picture), pixels(baseline("compare", picture))) > 2.0 * TOLERANCE


def test_each_part_of_the_split_begins_where_the_last_one_led() -> None:
    for result in (COMPARE, NEGATIVE, JOINT):
        steps = split(node_of(result).pairs[0])
        *parts, whole, reading, shown = steps
        at = 0.0
        for step in parts:
            assert step.start == at
            at = step.end
        assert abs(at - whole.value.value) < 0.001 and whole.start == 0.0
        assert reading.start == whole.value.value
        assert abs(reading.end - shown.value.value) < 0.001 and shown.start == 0.0


def test_a_part_that_takes_air_away_is_drawn_to_the_left() -> None:
    with styled():
        (axes,) = picture_of("compare", "decomposition", to_plain(NEGATIVE)).draw().axes
    rectangles = [bar for bar in axes.patches if isinstance(bar, Rectangle)]
    bars = {
        label.get_text(): (bar.get_x(), bar.get_width())
        for label, bar in zip(axes.get_yticklabels(), rectangles, strict=True)
    }
    start, width = bars["the intake"]
    assert abs(start - 0.02) < 1e-9 and width < -0.03
    assert bars["weather"][1] > 0.0 > bars["in the reading only"][1]
    assert axes.get_xlim()[0] < -0.05, "the whole of a negative change is seen"


def test_what_was_not_looked_at_is_not_drawn() -> None:
    names = [p.name for p in pictures_of(to_plain(UNMATCHED))]
    assert "routes" in names and not {"decomposition", "by-speed"} & set(names)
    routes = picture_of("compare", "routes", to_plain(UNMATCHED))
    assert "was not looked at" in routes.caption and "engine's air" not in routes.alt


def test_a_shifted_correction_breaks_the_image() -> None:
    result = copy.deepcopy(stored("rescale"))
    for cell in result["cells"]:
        for key in ("correction", "low", "high"):
            cell[key] += 0.002
    picture = picture_of("rescale", "correction", result)
    assert difference(draw(picture), pixels(baseline("rescale", picture))) > 2.0 * TOLERANCE


def test_another_outcome_breaks_the_image() -> None:
    result = copy.deepcopy(stored("audit"))
    for finding in result["findings"]:
        if finding["outcome"] == "contradicted":
            finding["outcome"] = "supported"
    picture = picture_of("audit", "matrix", result)
    assert difference(draw(picture), pixels(baseline("audit", picture))) > 2.0 * TOLERANCE


def test_a_shifted_reading_breaks_the_image() -> None:
    result = copy.deepcopy(stored("tube"))
    for point in result["by_flow"]:
        for key in ("value", "low", "high"):
            point["reading_factor"][key] += 0.002
    picture = picture_of("tube", "reading", result)
    assert difference(draw(picture), pixels(baseline("tube", picture))) > 2.0 * TOLERANCE


@pytest.mark.parametrize(("name", "figure"), CASES)
def test_nothing_is_cut_off_or_empty_and_no_labels_overlap(name: str, figure: str) -> None:
    with styled():
        drawn = picture_of(name, figure).draw()
        FigureCanvasAgg(drawn).draw()
        page = drawn.bbox
        whole = drawn.get_tightbbox().transformed(drawn.dpi_scale_trans)
        slack = 3.0
        assert whole.x0 >= page.x0 - slack and whole.y0 >= page.y0 - slack
        assert whole.x1 <= page.x1 + slack and whole.y1 <= page.y1 + slack
        for axes in drawn.axes:
            if axes.get_visible():
                assert axes.has_data(), "an empty panel"
            # Slanted labels share their boxes without touching; those are looked at by eye.
            for ticks in (axes.get_xticklabels(), axes.get_yticklabels()):
                boxes = [
                    t.get_window_extent()
                    for t in ticks
                    if t.get_text() and t.get_visible() and t.get_rotation() == 0.0
                ]
                for first, second in pairwise(boxes):
                    assert not first.overlaps(second)


def main() -> None:
    """Draw the stored images anew."""
    for name in NAMES:
        for picture in pictures_of(stored(name)):
            Image.fromarray(draw(picture).astype(np.uint8)).save(
                baseline(name, picture), optimize=True
            )


if __name__ == "__main__":
    main()
