"""Open road trips of one car: recirculation in the only route, so that no table is made.

Data: Marc Weber, "Automotive OBD-II Dataset", Karlsruhe Institute of Technology, 2023,
DOI 10.35097/1130, CC BY 4.0.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.jobs.rescale import run
from airsense.transfer.decision import Decision
from tests.kit import TRIPS, needs_trips

pytestmark = needs_trips


@pytest.fixture(scope="module")
def declared(tmp_path_factory) -> Path:
    """The displacement is not published: 1.97 l is an assumption. The table is invented."""
    folder = tmp_path_factory.mktemp("trips")
    (folder / "engine.toml").write_text(
        '[engine]\ndisplacement_l = 1.97\ncylinders = 4\nignition = "compression"\n'
    )
    flow = 160.0 * np.linspace(0.02, 1.0, 20) ** 2
    rows = "".join(f"{1.0 + 0.2 * k:.2f},{f:.2f}\n" for k, f in enumerate(flow))
    (folder / "table.csv").write_text("Signal (V),Flow (g/s)\n" + rows)
    return folder


@pytest.mark.parametrize("trip", ["trip_2017-08-01_short.csv", "trip_2018-02-23_acceleration.csv"])
def test_no_table_is_made_from_trips_with_recirculation(declared, trip):
    result = run(
        declared / "engine.toml",
        [TRIPS / trip],
        declared / "table.csv",
        baseline=[TRIPS / "trip_2017-07-11_long.csv"],
    )
    codes = {f.code for f in result.findings}
    assert result.decision is Decision.REFUSED
    assert {"nothing_to_compare", "recirculation_suspected", "no_match"} <= codes
    assert "leak_after_compressor" not in codes
    assert all(cell.correction == 1.0 for cell in result.cells)
