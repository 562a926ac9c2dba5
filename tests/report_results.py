"""One result of each kind, from the files in examples/: what the report's tests show."""

from __future__ import annotations

import shutil
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from airsense.evidence.planning import PlannedQuantity
from airsense.jobs import audit, channels, check, compare, demo, plan, rescale, screen, tube

FOLDER = Path(__file__).parents[1] / "examples" / "two_boxes"
ENGINE = FOLDER / "engine.toml"
BEFORE = tuple(FOLDER / f"before_{k}.csv" for k in (1, 2, 3))
AFTER = tuple(FOLDER / f"after_{k}.csv" for k in (1, 2, 3))
KINDS = ("audit", "channels", "check", "compare", "demo", "plan", "rescale", "screen", "tube")


@cache
def result_of(kind: str) -> Any:
    """Return a result of a kind."""
    return _MAKERS[kind]()


def _rescale() -> Any:
    return rescale.run(ENGINE, AFTER, FOLDER / "maf_table.csv", baseline=BEFORE[:2])


def _screen() -> Any:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "van").mkdir()
        for month, log in enumerate((*BEFORE, *AFTER), start=1):
            shutil.copy(log, folder / "van" / f"2026-0{month}-11_09-00.csv")
        (folder / "van" / "broken.csv").write_text("a,b\n")
        return screen.run(str(folder), ENGINE, screen.ScreenOptions(workers=1))


def _demo() -> Any:
    with tempfile.TemporaryDirectory() as name:
        return demo.run(Path(name))


_MAKERS = {
    "audit": lambda: audit.run(FOLDER / "claims.toml"),
    "channels": lambda: channels.run(BEFORE[0]),
    "check": lambda: check.run(BEFORE[:1], ENGINE),
    "compare": lambda: compare.run(ENGINE, BEFORE, AFTER),
    "demo": _demo,
    "plan": lambda: plan.run(ENGINE, BEFORE[:2], quantity=PlannedQuantity.AIRFLOW_CHANGE),
    "rescale": _rescale,
    "screen": _screen,
    "tube": lambda: tube.run(bore_before_mm=80.0, bore_after_mm=78.0),
}
