"""The rescale command from files to files, on the demo scenario with its known truth."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from airsense.cli.main import cli
from airsense.errors import InputError
from airsense.transfer.file import read_table
from tests.simulate.demo import DemoScenario, write_demo


@pytest.fixture(scope="module")
def demo(tmp_path_factory) -> DemoScenario:
    return write_demo(tmp_path_factory.mktemp("demo"))


def arguments(demo: DemoScenario, *extra: str) -> list[str]:
    baseline = [a for path in demo.before for a in ("--baseline", str(path))]
    return [
        "rescale",
        *map(str, demo.after),
        "--engine",
        str(demo.engine_toml),
        "--table",
        str(demo.table),
        *baseline,
        *extra,
    ]


def run(args: list[str]) -> str:
    return CliRunner().invoke(cli, args, catch_exceptions=False, standalone_mode=False).output


@pytest.fixture(scope="module")
def answered(demo, tmp_path_factory) -> tuple[dict, Path, str]:
    folder = tmp_path_factory.mktemp("answer")
    out, result = folder / "new.csv", folder / "result.json"
    text = run(arguments(demo, "--out", str(out), "--json", str(result)))
    return json.loads(result.read_text()), out, text


def test_json_holds_the_contract(answered):
    result, _, _ = answered
    assert result["schema"] == "airsense.rescale/2"
    assert result["model"] in {"scale", "shape"}
    assert set(result["scale"]) == {"value", "low", "high"}
    assert result["residual_before"] > result["residual_after"]
    assert isinstance(result["findings"], list)
    assert {log["role"] for log in result["logs"]} == {"before", "after"}
    assert sum(p["probability"] for p in result["priors"]) <= 1.0 + 1e-9
    assert result["decision"] == "change"
    for cell in result["cells"]:
        assert cell["support"] in {"measured", "interpolated", "held"}
        assert cell["low"] < cell["correction"] < cell["high"]
        if cell["flow_old"]:
            assert cell["correction"] == pytest.approx(cell["flow_new"] / cell["flow_old"])


def test_measured_breakpoints_hold_the_truth(answered, demo):
    result, _, _ = answered
    rows = [i for i, c in enumerate(result["cells"]) if c["support"] == "measured"]
    assert len(rows) >= 3
    for i in rows:
        cell = result["cells"][i]
        truth = demo.true_table.mdot_kgps[i] / cell["flow_old"]
        assert cell["low"] <= truth <= cell["high"]
        assert cell["correction"] == pytest.approx(truth, abs=0.015)


def test_the_new_file_keeps_headers_unit_and_breakpoints(answered, demo):
    result, out, _ = answered
    old, new = demo.table.read_text().splitlines(), out.read_text().splitlines()
    assert new[0] == old[0]
    assert [r.split(",")[0] for r in new] == [r.split(",")[0] for r in old]
    flows = read_table(out).flow_kgps
    assert np.all(np.diff(flows) > 0.0)
    np.testing.assert_allclose(
        flows, [c["flow_new"] for c in result["cells"]], rtol=1e-4, atol=2e-6
    )


def test_the_note_beside_the_table_carries_support_and_cautions(answered):
    _, out, _ = answered
    note = out.with_name("new.csv.note.txt").read_text()
    plain = " ".join(note.split())
    for words in (
        "over-fuels",
        "leans the mixture out",
        "smoke limit",
        "Change the table in steps",
        "injure and destroy",
        "measured",
        "held",
        "sha256",
    ):
        assert words in plain
    assert "\x1b" not in note


def test_the_text_names_the_bore_that_would_do_it(answered):
    result, _, text = answered
    bore = result["equivalent_bore_m"]
    assert bore["low"] < 0.0781 < bore["high"]  # what the demo declares
    assert "mm" in text
    assert "breakpoints measured" in " ".join(text.split())


def test_a_second_run_does_not_overwrite(answered, demo):
    _, out, _ = answered
    before = out.read_bytes()
    with pytest.raises(InputError, match="cannot be written"):
        run(arguments(demo, "--out", str(out)))
    assert out.read_bytes() == before


def test_the_present_table_is_never_overwritten(demo):
    before = demo.table.read_bytes()
    with pytest.raises(InputError, match="overwrite"):
        run(arguments(demo, "--out", str(demo.table), "--force"))
    assert demo.table.read_bytes() == before


def test_the_same_answer_without_the_raw_signal(answered, demo, tmp_path):
    """The signal is recovered from the air flow through the present table."""
    logs = []
    for path in demo.after:
        lines = path.read_text().splitlines()
        drop = next(i for i, h in enumerate(lines[0].split(",")) if "signal" in h)
        rows = [",".join(f for i, f in enumerate(r.split(",")) if i != drop) for r in lines]
        logs.append(tmp_path / path.name)
        logs[-1].write_text("\n".join(rows) + "\n")
    result = tmp_path / "r.json"
    args = arguments(demo, "--json", str(result))
    for old, new in zip(demo.after, logs, strict=True):
        args[args.index(str(old))] = str(new)
    run(args)
    again = json.loads(result.read_text())
    assert again["scale"]["value"] == pytest.approx(answered[0]["scale"]["value"], abs=0.003)


def test_without_a_baseline_it_says_so_and_is_wide(demo, tmp_path):
    result = tmp_path / "r.json"
    args = arguments(demo, "--json", str(result))
    args = [*args[: args.index("--baseline")], "--json", str(result)]
    text = run(args)
    answer = json.loads(result.read_text())
    assert answer["scale"]["high"] - answer["scale"]["low"] > 0.06
    assert "no_baseline" in {f["code"] for f in answer["findings"]}
    assert "no baseline logs" in " ".join(text.split()).lower()


def test_the_old_tube_needs_no_new_table(demo, tmp_path):
    result = tmp_path / "r.json"
    one, *others = map(str, demo.before)
    args = ["rescale", one, "--engine", str(demo.engine_toml), "--table", str(demo.table)]
    args += [a for path in others for a in ("--baseline", path)]
    out = tmp_path / "new.csv"
    text = run([*args, "--json", str(result), "--out", str(out)])
    answer = json.loads(result.read_text())
    assert out.read_bytes() == demo.table.read_bytes()
    assert answer["decision"] == "leave_it"
    assert answer["scale"]["low"] < 1.0 < answer["scale"]["high"]
    assert "Leave it" in text
    assert "LEAVE THE TABLE" in text


def test_a_second_pass_with_the_new_table_converges(answered, demo, tmp_path):
    """Logs that a controller with the new table would write: the flow goes through it."""
    first, out, _ = answered
    result = tmp_path / "r.json"
    args = arguments(demo, "--json", str(result))
    args[args.index(str(demo.table))] = str(out)
    text = run(args)
    answer = json.loads(result.read_text())
    assert answer["decision"] == "leave_it"
    assert answer["scale"]["value"] == pytest.approx(1.0, abs=0.004)
    assert "converged" in " ".join(text.split())
    # the logs hold the flow by the old table, and that is said
    assert "other_table_in_force" in {f["code"] for f in answer["findings"]}
    assert first["decision"] == "change"


def test_us_units_change_the_text_only(demo, tmp_path):
    result = tmp_path / "r.json"
    text = run(arguments(demo, "--units", "us", "--json", str(result)))
    assert "lb/min" in text
    assert json.loads(result.read_text())["cells"][-1]["flow_old"] < 1.0


def test_a_part_of_the_correction_is_applied(answered, demo, tmp_path):
    result = tmp_path / "r.json"
    run(arguments(demo, "--apply", "50", "--json", str(result)))
    half = json.loads(result.read_text())["cells"]
    for cell, whole in zip(half, answered[0]["cells"], strict=True):
        assert cell["correction"] == pytest.approx(np.sqrt(whole["correction"]), abs=1e-4)
    with pytest.raises(InputError, match="--apply"):
        run(arguments(demo, "--apply", "0"))


def test_the_baseline_table_may_be_given(answered, demo, tmp_path):
    """The logs hold the flow as well; through its own table the baseline is the same."""
    result = tmp_path / "r.json"
    run(arguments(demo, "--baseline-table", str(demo.table), "--json", str(result)))
    again = json.loads(result.read_text())
    assert again["scale"]["value"] == pytest.approx(answered[0]["scale"]["value"], abs=0.003)
    assert "baseline table" in {i["role"] for i in again["inputs"]}
