"""Signals in every unit, sensors at their limit, and input that cannot be rescaled."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from airsense.cli.main import cli
from airsense.errors import InputError
from airsense.jobs.rescale import rescale_logs, run, write_table
from airsense.logs.log import Channel, Log
from airsense.transfer.decision import Decision
from airsense.transfer.model import SignalKind, TransferTable
from airsense.transfer.signal import through_table
from tests.simulate.campaign import simulate_campaigns
from tests.simulate.case import Case
from tests.simulate.demo import engine_toml, table_csv
from tests.simulate.engines import TURBO_DIESEL
from tests.simulate.sensor import transfer_table
from tests.simulate.writing import write_csv

VOLTS = np.array([1.0, 1.6, 2.2, 2.8, 3.4, 4.0, 4.6])
FLOWS = np.array([0.002, 0.010, 0.030, 0.070, 0.130, 0.210, 0.320])


def table(signal=VOLTS, kind=SignalKind.VOLTAGE) -> TransferTable:
    return TransferTable(
        signal=np.asarray(signal),
        flow_kgps=FLOWS,
        kind=kind,
        flow_unit="kg/s",
        flow_factor=1.0,
        path="table.csv",
    )


def log_of(signal, unit: str, name: str = "maf_signal", **others) -> Log:
    time_s = 0.1 * np.arange(np.size(signal))
    channels = {
        key: Channel(name=key, header=key, unit_read=u, time_s=time_s, value=np.asarray(v, float))
        for key, (v, u) in {name: (signal, unit), **others}.items()
    }
    return Log(path="run.csv", reader="made", sha256="", channels=channels)


def flow_of(log: Log, of_table: TransferTable) -> np.ndarray:
    return through_table(log, of_table).log["mass_air_flow"].value


RAMP = np.linspace(1.3, 4.2, 40)
TRUE = np.interp(RAMP, VOLTS, FLOWS)


@pytest.mark.parametrize(("scale", "unit"), [(1.0, "V"), (1e3, "mV"), (1.0, "")])
def test_a_voltage_in_any_unit(scale, unit):
    np.testing.assert_allclose(flow_of(log_of(scale * RAMP, unit), table()), TRUE)


@pytest.mark.parametrize(
    ("logged", "unit", "kind"),
    [
        (1000.0 * RAMP, "Hz", SignalKind.FREQUENCY),
        (RAMP, "kHz", SignalKind.FREQUENCY),
        (1e3 / RAMP, "us", SignalKind.FREQUENCY),
        (1.0 / RAMP, "ms", SignalKind.FREQUENCY),
        (1e3 / RAMP, "us", SignalKind.PERIOD),
        (1000.0 * RAMP, "Hz", SignalKind.PERIOD),
        (200.0 * RAMP, "counts", SignalKind.COUNTS),
    ],
)
def test_frequency_period_and_counts(logged, unit, kind):
    axis = {
        SignalKind.FREQUENCY: 1000.0 * VOLTS,
        SignalKind.PERIOD: 1e3 / VOLTS,
        SignalKind.COUNTS: 200.0 * VOLTS,
    }[kind]
    of_table = table(axis, kind)
    want = TRUE
    if kind is SignalKind.PERIOD:  # linear in period, not in frequency
        want = np.interp(1e3 / RAMP, (1e3 / VOLTS)[::-1], FLOWS[::-1])
    np.testing.assert_allclose(flow_of(log_of(logged, unit), of_table), want)


@pytest.mark.parametrize("unit", ["Hz", "counts", "kPa", "g/s"])
def test_a_signal_of_another_kind_is_refused(unit):
    with pytest.raises(InputError) as caught:
        through_table(log_of(RAMP, unit), table())
    assert "unit of the logged signal" in caught.value.what


def test_a_signal_of_another_sensor_is_refused():
    with pytest.raises(InputError) as caught:
        through_table(log_of(RAMP + 4.0, "V"), table())
    assert "does not fit" in caught.value.what
    assert "1 and 4.6 V" in caught.value.allowed


def test_a_log_without_sensor_is_refused():
    with pytest.raises(InputError) as caught:
        through_table(log_of(RAMP, "rpm", name="engine_speed"), table())
    assert "neither the sensor's signal nor its air flow" in caught.value.what


def test_samples_beyond_the_table_are_left_out_and_counted():
    signal = np.concatenate([RAMP, np.linspace(4.65, 4.9, 6)])
    seen = through_table(log_of(signal, "V"), table())
    assert seen.log["mass_air_flow"].value.size == RAMP.size
    (finding,) = [f for f in seen.findings if f.code == "table_end"]
    assert "6 of 46" in finding.message


def test_a_flat_top_is_no_measurement():
    signal = np.concatenate([RAMP, np.full(12, 4.3), RAMP[::-1]])
    seen = through_table(log_of(signal, "V"), table())
    assert seen.log["mass_air_flow"].value.size == 2 * RAMP.size
    assert "sensor_ceiling" in {f.code for f in seen.findings}


def test_every_flat_top_is_left_out_and_no_shorter_one():
    top = np.full(8, RAMP[-1])
    short = np.full(4, RAMP[-1])
    signal = np.concatenate([RAMP[:-1], top, RAMP[:-1], short, RAMP[:-1], top])
    seen = through_table(log_of(signal, "V"), table())
    kept = 3 * (RAMP.size - 1) + short.size
    assert seen.log["mass_air_flow"].value.size == kept, "four samples are a peak"
    (finding,) = [f for f in seen.findings if f.code == "sensor_ceiling"]
    assert finding.message.startswith("16 samples")


def test_a_single_peak_is_a_measurement():
    seen = through_table(log_of(np.concatenate([RAMP, RAMP[::-1]]), "V"), table())
    assert not seen.findings
    assert seen.log["mass_air_flow"].value.size == 2 * RAMP.size


def test_another_table_in_force_is_noticed():
    flows = {"mass_air_flow": (1.06 * TRUE, "kg/s")}
    seen = through_table(log_of(RAMP, "V", **flows), table())
    (finding,) = seen.findings
    assert finding.code == "other_table_in_force"
    assert "+6.0 %" in finding.message
    np.testing.assert_allclose(seen.log["mass_air_flow"].value, TRUE)


def test_the_air_flow_stands_for_the_signal():
    seen = through_table(log_of(TRUE, "kg/s", name="mass_air_flow"), table())
    np.testing.assert_allclose(seen.log["mass_air_flow"].value, TRUE)


@pytest.fixture(scope="module")
def leaky(tmp_path_factory) -> dict:
    """Files of a campaign with a leak behind the compressor and no change at the sensor."""
    folder = tmp_path_factory.mktemp("leak")
    case = Case(log_maf_signal=True, leak_after_compressor=0.05)
    campaign = simulate_campaigns(TURBO_DIESEL, [case], 5)[0]
    paths = write_csv(campaign, folder)
    (folder / "engine.toml").write_text(engine_toml(TURBO_DIESEL))
    (folder / "table.csv").write_text(table_csv(transfer_table(TURBO_DIESEL)))
    return {"folder": folder, "before": paths[:3], "after": paths[3:]}


def command(files: dict, *extra: str) -> list[str]:
    folder: Path = files["folder"]
    args = ["rescale", *map(str, files["after"]), "--engine", str(folder / "engine.toml")]
    args += ["--table", str(folder / "table.csv")]
    args += [a for p in files["before"] for a in ("--baseline", str(p))]
    return [*args, *extra]


def test_a_leak_is_refused_and_no_table_is_written(leaky, tmp_path):
    out = tmp_path / "new.csv"
    answer = CliRunner().invoke(cli, command(leaky, "--out", str(out)), standalone_mode=False)
    assert isinstance(answer.exception, InputError)
    assert answer.exception.got
    assert "--force-cause" in answer.exception.fix
    assert "Refused" in answer.output
    assert "log again" in " ".join(answer.output.split())
    assert not list(tmp_path.iterdir())


def test_a_forced_leak_is_written_with_the_finding_in_its_note(leaky, tmp_path):
    out = tmp_path / "new.csv"
    answer = CliRunner().invoke(
        cli, command(leaky, "--out", str(out), "--force-cause"), standalone_mode=False
    )
    assert answer.exception is None
    assert out.exists()
    assert "baked into the table as asked" in " ".join(
        out.with_name("new.csv.note.txt").read_text().split()
    )


def test_a_refused_result_writes_nothing(leaky, tmp_path):
    folder = leaky["folder"]
    result = run(
        folder / "engine.toml", leaky["after"], folder / "table.csv", baseline=leaky["before"]
    )
    assert result.decision is Decision.REFUSED
    with pytest.raises(InputError, match="no new table"):
        write_table(result, folder / "table.csv", tmp_path / "x.csv")


@pytest.mark.parametrize("percent", ["0", "-5", "500", "nan"])
def test_a_senseless_step_limit_is_refused(leaky, percent):
    answer = CliRunner().invoke(cli, command(leaky, "--max-step", percent), standalone_mode=False)
    assert isinstance(answer.exception, InputError)
    assert "--max-step" in answer.exception.where


@pytest.mark.parametrize("what", ["engine", "table", "log", "out folder"])
def test_a_missing_file_is_refused_in_five_parts(leaky, tmp_path, what):
    args = command(leaky)
    if what == "engine":
        args[args.index("--engine") + 1] = str(tmp_path / "no.toml")
    elif what == "table":
        args[args.index("--table") + 1] = str(tmp_path / "no.csv")
    elif what == "log":
        args[1] = str(tmp_path / "no_log.csv")
    else:
        args += ["--out", str(tmp_path / "nowhere" / "new.csv")]
    answer = CliRunner().invoke(cli, args, standalone_mode=False)
    assert isinstance(answer.exception, InputError)
    error = answer.exception
    assert all((error.what, error.where, error.got, error.allowed, error.fix))


def test_a_log_without_any_route_is_refused():
    campaign = simulate_campaigns(TURBO_DIESEL, [Case(log_maf_signal=True)], 3)[0]
    bare = [
        replace(
            log,
            channels={
                k: c
                for k, c in log.channels.items()
                if k in {"engine_speed", "mass_air_flow", "maf_signal", "pedal"}
            },
        )
        for log in campaign.after
    ]
    made = transfer_table(TURBO_DIESEL)
    of_table = replace(table(), signal=made.signal_v, flow_kgps=made.mdot_kgps)
    with pytest.raises(InputError, match="no route"):
        rescale_logs(bare, campaign.setup, of_table)
