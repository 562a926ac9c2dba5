"""An audit once the program is loaded: the bar is one second."""

from __future__ import annotations

from pathlib import Path

from pytest_benchmark.fixture import BenchmarkFixture

from airsense.jobs.audit import run
from tests.golden.test_audit_check_values import CLAIMS


def test_warm_audit(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    path = tmp_path / "claims.toml"
    path.write_text(CLAIMS, encoding="utf-8")
    run(path)
    result = benchmark.pedantic(run, (path,), rounds=5)
    assert result.verdicts
