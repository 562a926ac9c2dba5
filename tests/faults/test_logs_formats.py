"""Every format reads as the same log, and ten malformed variants of each are refused in words."""

from __future__ import annotations

import gzip
import random
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.logs.log import Log
from airsense.logs.read import read_log
from tests.log_writing import Columns, drive

NAMES = {
    "engine_speed": ("Engine RPM [rpm]", 1.0, 0.0),
    "manifold_pressure": ("Intake Manifold Absolute Pressure [kPa]", 1e3, 0.0),
    "mass_air_flow": ("Mass Air Flow [g/s]", 1e-3, 0.0),
    "intake_temperature": ("Intake Air Temperature [degC]", 1.0, 273.15),
}


def split(header: str) -> tuple[str, str]:
    name, _, unit = header.partition(" [")
    return name, unit.rstrip("]")


def assert_same(log: Log, columns: Columns, names: tuple[str, ...] = tuple(NAMES)) -> None:
    for name in names:
        header, factor, offset = NAMES[name]
        channel = log[name]
        assert np.allclose(channel.value, columns[header] * factor + offset, rtol=1e-9), name
        assert np.allclose(channel.time_s, columns["Time [s]"], atol=1e-6), name


# --- Parquet ---


def write_parquet(path: Path, columns: Columns, time: object = None) -> None:
    pa = pytest.importorskip("pyarrow")
    parquet = pytest.importorskip("pyarrow.parquet")
    arrays, fields = [], []
    for header, values in columns.items():
        name, unit = split(header)
        array = pa.array(values) if header != "Time [s]" or time is None else time
        arrays.append(array)
        meta = {"unit": unit} if unit and array.type == pa.float64() else None
        fields.append(pa.field(name, array.type, metadata=meta))
    parquet.write_table(pa.Table.from_arrays(arrays, schema=pa.schema(fields)), path)


def test_parquet_with_units_in_the_meta_data(tmp_path: Path) -> None:
    columns = drive(seconds=30.0)
    write_parquet(tmp_path / "log.parquet", columns)
    log = read_log(tmp_path / "log.parquet")
    assert log.reader == "parquet"
    assert_same(log, columns)


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_parquet_with_time_stamps(tmp_path: Path, unit: str) -> None:
    pa = pytest.importorskip("pyarrow")
    columns = drive(rate_hz=1.0, seconds=60.0)
    per_second = {"s": 1, "ms": 10**3, "us": 10**6, "ns": 10**9}[unit]
    ticks = [(1_900_000_000 + int(t)) * per_second for t in columns["Time [s]"]]
    write_parquet(tmp_path / "log.parquet", columns, pa.array(ticks, pa.timestamp(unit)))
    log = read_log(tmp_path / "log.parquet")
    assert_same(log, columns)
    assert log.started is not None
    assert log.started.startswith("2030-03-17")


def test_parquet_with_a_clock_over_midnight_and_text_columns(tmp_path: Path) -> None:
    pa = pytest.importorskip("pyarrow")
    columns = drive(rate_hz=1.0, seconds=60.0)
    ticks = [(86_370 + int(t)) % 86_400 * 1000 for t in columns["Time [s]"]]
    write_parquet(tmp_path / "log.parquet", columns, pa.array(ticks, pa.time32("ms")))
    assert_same(read_log(tmp_path / "log.parquet"), columns)
    texts = pa.array([f"{t:g}" for t in columns["Time [s]"]])
    write_parquet(tmp_path / "text.parquet", columns, texts)
    assert_same(read_log(tmp_path / "text.parquet"), columns)


# --- MDF ---


def write_mdf(path: Path, columns: Columns, *, version: str = "4.10") -> None:
    asammdf = pytest.importorskip("asammdf")
    mdf = asammdf.MDF(version=version)
    time = columns["Time [s]"]
    slow = slice(None, None, 5)
    quick = [h for h in columns if h not in ("Time [s]", "Intake Air Temperature [degC]")]
    for headers, part in ((quick, slice(None)), (["Intake Air Temperature [degC]"], slow)):
        mdf.append(
            [
                asammdf.Signal(
                    samples=columns[h][part], timestamps=time[part], name=split(h)[0],
                    unit=split(h)[1],
                )
                for h in headers
            ]
        )  # fmt: skip
    mdf.save(path, overwrite=True)
    mdf.close()


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("version", ["4.10", "4.20", "3.30"])
def test_mdf_groups_keep_their_rates(tmp_path: Path, version: str) -> None:
    columns = drive(seconds=30.0)
    path = tmp_path / ("log.mdf" if version < "4" else "log.mf4")
    write_mdf(path, columns, version=version)
    log = read_log(path)
    assert log.reader == "mdf"
    assert_same(log, columns, ("engine_speed", "manifold_pressure", "mass_air_flow"))
    slow = log["intake_temperature"]
    assert slow.rate_hz == pytest.approx(2.0)
    assert np.allclose(slow.value, columns["Intake Air Temperature [degC]"][::5] + 273.15)


@pytest.mark.filterwarnings("ignore")
def test_mdf_with_one_name_in_two_groups_asks_which(tmp_path: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    columns = drive(seconds=30.0)
    time, flow = columns["Time [s]"], columns["Mass Air Flow [g/s]"]
    mdf = asammdf.MDF()
    for part in (slice(None), slice(None, None, 2)):
        mdf.append([asammdf.Signal(flow[part], time[part], name="MAF", unit="g/s")])
    mdf.save(tmp_path / "log.mf4")
    mdf.close()
    with pytest.raises(InputError) as caught:
        read_log(tmp_path / "log.mf4")
    assert "'MAF #2'" in caught.value.got
    log = read_log(tmp_path / "log.mf4", channels={"mass_air_flow": "MAF #2"})
    assert log["mass_air_flow"].rate_hz == pytest.approx(5.0)


# --- raw exchange text ---

RAW = """# time, request -> response
0.00 01 0C -> 41 0C 1A F8
0.05 01 0B -> 41 0B 65
0.10 01 10 -> 41 10 09 C4
0.15 01 33 -> NO DATA
0.20 01 0C -> 41 0C 1B 00
0.25 01 0B -> 41 0B 66
0.30 01 10 -> 41 10 09 D0
0.35 01 2F -> 7F 01 12
"""


def raw(tmp_path: Path, content: str) -> Log:
    path = tmp_path / "raw.txt"
    path.write_text(content)
    return read_log(path)


def test_raw_text_is_decoded_with_its_own_times(tmp_path: Path) -> None:
    log = raw(tmp_path, RAW)
    assert log.reader == "obd"
    assert log["engine_speed"].value.tolist() == [1726.0, 1728.0]
    assert log["manifold_pressure"].value.tolist() == [101e3, 102e3]
    assert log["mass_air_flow"].value == pytest.approx([0.025, 0.02512])
    assert log["mass_air_flow"].time_s == pytest.approx([0.10, 0.30])
    unread = next(f for f in log.findings if f.code == "lines_without_response")
    assert unread.message.startswith("2 lines")
    assert unread.where == "line 5"


@pytest.mark.parametrize(
    "write",
    [
        lambda t, d: f"{t:.3f} 41 {d}",
        lambda t, d: f"{t:.3f}, 41{d.replace(' ', '')}",
        lambda t, d: f"{t:.3f} 7E8 {1 + len(d.split()):02X} 41 {d} 00",
        lambda t, d: f"{t:.3f} 01{d[:2]}: 41{d.replace(' ', '')}",
        lambda t, d: f"13:05:{t:06.3f} 01 {d[:2]} > 41 {d}",
    ],
)
def test_raw_text_in_every_spelling(tmp_path: Path, write: Callable[[float, str], str]) -> None:
    rows = []
    for i in range(40):
        rows.append(write(0.2 * i, f"0C {0x1A + i % 9:02X} F8"))
        rows.append(write(0.2 * i + 0.1, f"0B {100 + i:02X}"))
    log = raw(tmp_path, "\n".join(rows) + "\n")
    assert log["manifold_pressure"].value == pytest.approx(1e3 * (100 + np.arange(40)))
    assert np.diff(log["engine_speed"].time_s) == pytest.approx(np.full(39, 0.2))


def test_raw_text_with_several_parameters_in_one_response(tmp_path: Path) -> None:
    log = raw(tmp_path, "0.0 41 0C 1A F8 0B 65\n0.1 41 0C 1A FC 0B 66\n0.2 41 0C 1A FC 0B 67\n")
    assert log["manifold_pressure"].value.tolist() == [101e3, 102e3, 103e3]
    assert log["engine_speed"].value.tolist() == [1726.0, 1727.0, 1727.0]


def test_a_second_control_unit_does_not_mix_in(tmp_path: Path) -> None:
    rows = [f"{0.1 * i:.1f} 7E8 04 41 0C 1A F8\n{0.1 * i + 0.05:.2f} 7E9 04 41 0C 00 00\n"
            for i in range(20)]  # fmt: skip
    log = raw(tmp_path, "".join(rows) + "9.9 7E8 04 41 0C 1A F8\n")
    assert set(log["engine_speed"].value) == {1726.0}
    assert "Engine RPM (7E9)" in log.ignored


# --- malformed variants ---


def parquet_bytes(tmp_path: Path) -> bytes:
    write_parquet(tmp_path / "good.parquet", drive(seconds=20.0))
    return (tmp_path / "good.parquet").read_bytes()


def mdf_bytes(tmp_path: Path) -> bytes:
    write_mdf(tmp_path / "good.mf4", drive(seconds=20.0))
    return (tmp_path / "good.mf4").read_bytes()


def raw_bytes(tmp_path: Path) -> bytes:
    return RAW.encode() * 20


def variants(good: bytes) -> list[bytes]:
    """Return ten damaged copies that keep the first bytes by which the format is known."""
    rng = random.Random(4)
    head, size = good[:8], len(good)
    cut = [good[:n] for n in (8, 40, size // 3, size - 5)]
    middle = size // 2
    blank = head + b"\0" * (size - 8)
    noise = head + rng.randbytes(size - 8)
    tail = good[:middle] + rng.randbytes(size - middle)
    hole = good[:200] + b"\xff" * (size - 400) + good[-200:]
    double = good[: size // 2] + good
    swapped = head + good[8:][::-1]
    return [*cut, blank, noise, tail, hole, double, swapped]


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("number", range(10))
@pytest.mark.parametrize(
    ("name", "make"), [("a.parquet", parquet_bytes), ("a.mf4", mdf_bytes), ("a.txt", raw_bytes)]
)
def test_damaged_files(
    tmp_path: Path, number: int, name: str, make: Callable[[Path], bytes]
) -> None:
    path = tmp_path / name
    path.write_bytes(variants(make(tmp_path))[number])
    try:
        log = read_log(path)
    except InputError as error:
        assert str(path) in error.where
        assert all((error.what, error.got, error.allowed, error.fix))
        return
    # What still answers must be sound: a whole copy behind a half one, or whole lines.
    for channel in log.channels.values():
        assert np.isfinite(channel.value).all()
        assert (np.diff(channel.time_s) > 0.0).all()


def test_mdf_in_an_archive_is_refused_in_words(tmp_path: Path) -> None:
    path = tmp_path / "log.mf4.gz"
    path.write_bytes(gzip.compress(b"MDF     4.10    " + b"\0" * 500))
    with pytest.raises(InputError) as caught:
        read_log(path)
    assert "unpack it first" in caught.value.fix


@pytest.mark.parametrize(
    ("library", "head", "extra"), [("pyarrow", b"PAR1", "parquet"), ("asammdf", b"MDF     ", "mdf")]
)
def test_a_missing_library_is_named_with_its_extra(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, library: str, head: bytes, extra: str
) -> None:
    import builtins

    real = builtins.__import__

    def without(name: str, *args: object, **kwargs: object) -> object:
        if name.partition(".")[0] == library:
            raise ImportError(name)
        return real(name, *args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", without)
    path = tmp_path / "log.bin"
    path.write_bytes(head + b"\0" * 100)
    with pytest.raises(InputError) as caught:
        read_log(path)
    assert f"airsense[{extra}]" in caught.value.fix
