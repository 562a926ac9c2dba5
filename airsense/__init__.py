"""airsense: prove whether an engine's airflow figures are true.

The jobs are functions here: `compare`, `check`, `rescale`, `audit`, `plan`. In a checkout:

    from pathlib import Path
    import airsense

    folder = Path("examples/two_boxes")
    before, after = (sorted(folder.glob(f"{part}_*.csv")) for part in ("before", "after"))
    result = airsense.compare(before, after, folder / "engine.toml")
    print(result)  # verdict and sentence
    print(result.to_frame("by_speed")[["engine_speed_rpm", "airflow_change"]])

Nothing is loaded before it is used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from airsense.api import audit, check, compare, plan, rescale
    from airsense.errors import InputError
    from airsense.logs.log import Log
    from airsense.logs.read import read_log
    from airsense.setup.engine import EngineSetup
    from airsense.setup.load import load_engine

__version__ = "0.1.0"
__all__ = [
    "EngineSetup",
    "InputError",
    "Log",
    "__version__",
    "audit",
    "check",
    "compare",
    "load_engine",
    "plan",
    "read_log",
    "rescale",
]
_HOMES = {
    "EngineSetup": "airsense.setup.engine",
    "InputError": "airsense.errors",
    "Log": "airsense.logs.log",
    "load_engine": "airsense.setup.load",
    "read_log": "airsense.logs.read",
    **dict.fromkeys(("audit", "check", "compare", "plan", "rescale"), "airsense.api"),
}


def __getattr__(name: str) -> Any:
    """Load a name of the Python interface when it is first used."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
