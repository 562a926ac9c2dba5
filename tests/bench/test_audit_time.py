"""An audit takes under a second once the program is loaded."""

import time

from airsense.jobs.audit import run
from tests.golden.test_audit_check_values import CLAIMS


def test_a_warm_audit_takes_under_a_second(tmp_path):
    path = tmp_path / "claims.toml"
    path.write_text(CLAIMS, encoding="utf-8")
    run(path)
    start = time.perf_counter()
    run(path)
    assert time.perf_counter() - start < 1.0
