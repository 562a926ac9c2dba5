"""Transfer tables in every style a person saves them in, and tables that cannot be used."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airsense.errors import InputError
from airsense.transfer.file import read_table, refuse_same_file, table_bytes
from airsense.transfer.model import SignalKind

ROWS = [("0.98", "2.1"), ("1.42", "11.6"), ("2.10", "58.3"), ("3.05", "171.9"), ("4.20", "402.6")]


def write(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    path = folder / "table.csv"
    path.write_bytes(text.encode(encoding))
    return path


def plain(header: str = "Signal (V),Flow (g/s)", delimiter: str = ",") -> str:
    return "\n".join([header, *(delimiter.join(r) for r in ROWS)]) + "\n"


STYLES = {
    "comma": plain(),
    "semicolon": plain("Signal (V);Flow (g/s)", ";"),
    "tab": plain("Signal (V)\tFlow (g/s)", "\t"),
    "decimal comma": plain("Signal (V);Flow (g/s)", ";").replace(".", ","),
    "quoted decimal comma": "Signal (V),Flow (g/s)\n"
    + "".join(f'"{a.replace(".", ",")}","{b.replace(".", ",")}"\n' for a, b in ROWS),
    "square brackets": plain("MAF voltage [V],air mass [g/s]"),
    "unit row": plain("Signal,Flow\nV,g/s"),
    "bare units": plain("V,g/s"),
    "preamble": "Table read on a bench\n\n" + plain(),
    "flow first": "Flow (g/s),Signal (V)\n" + "".join(f"{b},{a}\n" for a, b in ROWS),
    "windows lines": plain().replace("\n", "\r\n"),
    "trailing delimiters": plain().replace("\n", ",\n"),
    "blank end": plain() + "\n",
}


@pytest.mark.parametrize("style", STYLES)
def test_every_style_is_the_same_table(tmp_path, style):
    table = read_table(write(tmp_path, STYLES[style]))
    np.testing.assert_allclose(table.signal, [float(a) for a, _ in ROWS])
    np.testing.assert_allclose(table.flow_kgps, [1e-3 * float(b) for _, b in ROWS])
    assert table.kind is SignalKind.VOLTAGE


@pytest.mark.parametrize("style", STYLES)
def test_writing_keeps_headers_units_breakpoints_and_style(tmp_path, style):
    path = write(tmp_path, STYLES[style])
    table = read_table(path)
    new = tmp_path / "new.csv"
    new.write_bytes(table_bytes(table, table.flow_kgps * 0.93))
    again = read_table(new)
    np.testing.assert_array_equal(again.signal, table.signal)
    np.testing.assert_allclose(again.flow_kgps, table.flow_kgps * 0.93, rtol=1.5e-4)
    assert again.layout.signal_text == table.layout.signal_text
    changed = {line for line, _ in table.layout.places}
    for k, (old, now) in enumerate(zip(table.layout.lines, again.layout.lines, strict=True)):
        assert k in changed or old == now
    assert again.layout.delimiter == table.layout.delimiter
    assert again.layout.decimal == table.layout.decimal
    assert again.layout.newline == table.layout.newline
    assert again.flow_unit == table.flow_unit


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings_are_kept(tmp_path, encoding):
    path = write(tmp_path, plain("Spannung für Luft (V),Flow (g/s)"), encoding)
    table = read_table(path)
    assert "für" in table.layout.lines[0]
    written = table_bytes(table, table.flow_kgps)
    assert written.decode(encoding).startswith("Spannung für")
    assert written[:2] == path.read_bytes()[:2]


@pytest.mark.parametrize(
    ("unit", "factor"),
    # factors of the unit definitions: 1 lb = 0.45359237 kg exactly
    [
        ("g/s", 1e-3),
        ("kg/h", 1.0 / 3600.0),
        ("kg/s", 1.0),
        ("lb/min", 0.45359237 / 60.0),
        ("lb/h", 0.45359237 / 3600.0),
        ("g/min", 1e-3 / 60.0),
    ],
)
def test_any_mass_flow_unit(tmp_path, unit, factor):
    scale = 1e-3 / factor
    rows = "".join(f"{a},{float(b) * scale:.6f}\n" for a, b in ROWS)
    table = read_table(write(tmp_path, f"Signal (V),Flow ({unit})\n{rows}"))
    np.testing.assert_allclose(table.flow_kgps, [1e-3 * float(b) for _, b in ROWS], rtol=1e-5)
    assert table.flow_factor == pytest.approx(factor, rel=1e-9)


@pytest.mark.parametrize(
    ("unit", "kind", "factor"),
    [
        ("V", SignalKind.VOLTAGE, 1.0),
        ("mV", SignalKind.VOLTAGE, 1e-3),
        ("Hz", SignalKind.FREQUENCY, 1.0),
        ("kHz", SignalKind.FREQUENCY, 1e3),
        ("us", SignalKind.PERIOD, 1.0),
        ("µs", SignalKind.PERIOD, 1.0),
        ("ms", SignalKind.PERIOD, 1e3),
        ("counts", SignalKind.COUNTS, 1.0),
    ],
)
def test_any_signal(tmp_path, unit, kind, factor):
    table = read_table(write(tmp_path, plain(f"Sensor ({unit}),Flow (g/s)")))
    assert table.kind is kind
    np.testing.assert_allclose(table.signal, [factor * float(a) for a, _ in ROWS])


def test_a_period_table_falls(tmp_path):
    rows = "520,2\n400,11\n280,60\n190,210\n"
    table = read_table(write(tmp_path, "Period (us),Flow (kg/h)\n" + rows))
    assert float(table.flow_at(340.0)) == pytest.approx(0.5 * (11 + 60) / 3600.0)
    written = table_bytes(table, table.flow_kgps * 1.05).decode()
    assert [line.split(",")[0] for line in written.splitlines()] == [
        "Period (us)",
        "520",
        "400",
        "280",
        "190",
    ]


def test_outside_the_table_there_is_no_flow(tmp_path):
    table = read_table(write(tmp_path, plain()))
    assert np.all(np.isnan(table.flow_at([0.5, 5.0, np.nan])))


def test_rounding_never_breaks_the_order(tmp_path):
    table = read_table(write(tmp_path, "Signal (V),Flow (kg/h)\n1,10.0\n2,11\n3,12\n"))
    close = np.array([10.001, 10.002, 10.004]) / 3600.0
    written = tmp_path / "new.csv"
    written.write_bytes(table_bytes(table, close))
    again = read_table(written)
    assert np.all(np.diff(again.flow_kgps) > 0.0)
    np.testing.assert_allclose(again.flow_kgps, close, rtol=1.1e-4)


BAD = {
    "no header": ("1,2\n2,3\n3,4\n", "header"),
    "no unit": (plain("Signal,Flow"), "units"),
    "one unit": (plain("Signal (V),Flow"), "units"),
    "two flows": (plain("Flow (g/s),Flow (kg/h)"), "units"),
    "volume flow": (plain("Signal (V),Flow (m3/h)"), "units"),
    "formula header": (plain("=cmd(),Flow (g/s)"), "formula"),
    "at header": (plain("@x (V),Flow (g/s)"), "formula"),
    "not rising": ("Signal (V),Flow (g/s)\n1,2\n2,5\n3,4\n", "not monotone"),
    "one flow": ("Signal (V),Flow (g/s)\n1,5\n2,5\n3,5\n", "not monotone"),
    "signal twice": ("Signal (V),Flow (g/s)\n1,2\n1,5\n3,6\n", "not monotone"),
    "two signals": ("Signal (V),Hall (Hz),Flow (g/s)\n1,2,3\n2,3,4\n3,4,5\n", "units"),
    "lengths": ("Signal (V),1,2,3\nFlow (g/s),1,2,3,4\n", "no usable rows"),
    "formula in a row": ("=x (V),1,2,3\nFlow (g/s),1,2,3\n", "formula"),
    "two rows": ("Signal (V),Flow (g/s)\n1,2\n2,5\n", "no usable rows"),
    "empty": ("", "no usable rows"),
    "hole": ("Signal (V),Flow (g/s)\n1,2\n2,\n3,4\n4,5\n", "cannot be read"),
    "word": ("Signal (V),Flow (g/s)\n1,2\n2,n/a\n3,4\n4,5\n", "cannot be read"),
    "infinite": ("Signal (V),Flow (g/s)\n1,2\n2,inf\n3,4\n4,5\n", "cannot be read"),
    "thousands": ("Signal (V);Flow (g/s)\n1;2\n2;1.000,5\n3;4\n4;5\n", "cannot be read"),
    "wrong unit": ("Signal (V),Flow (kg/s)\n1,2\n2,60\n3,400\n", "outside any engine"),
    "all negative": ("Signal (V),Flow (g/s)\n1,-9\n2,-6\n3,-4\n", "outside any engine"),
    "binary": ("a\x00b\x00" * 40, "not text"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_table_is_refused_in_five_parts(tmp_path, name):
    text, what = BAD[name]
    with pytest.raises(InputError) as caught:
        read_table(write(tmp_path, text))
    error = caught.value
    assert what in error.what
    assert "table.csv" in error.where or "line" in error.where
    assert all((error.got, error.allowed, error.fix))


def test_the_broken_row_is_named(tmp_path):
    with pytest.raises(InputError) as caught:
        read_table(write(tmp_path, "Signal (V),Flow (g/s)\n1,2\n2,5\n3,4\n4,9\n"))
    assert "row 3" in caught.value.where


@pytest.mark.parametrize("target", ["missing.csv", "."])
def test_a_missing_file_or_a_folder_is_refused(tmp_path, target):
    with pytest.raises(InputError) as caught:
        read_table(tmp_path / target)
    assert "cannot be read" in caught.value.what


def test_a_log_given_as_a_table_is_refused(tmp_path):
    path = tmp_path / "big.csv"
    path.write_text("1,2\n" * 300_000)
    with pytest.raises(InputError, match="too large"):
        read_table(path)


def test_the_input_is_never_the_output_by_any_name(tmp_path):
    path = write(tmp_path, plain())
    link = tmp_path / "link.csv"
    link.symlink_to(path)
    hard = tmp_path / "hard.csv"
    hard.hardlink_to(path)
    for out in (path, link, hard, tmp_path / "." / "table.csv"):
        with pytest.raises(InputError, match="overwrite"):
            refuse_same_file(out, str(path))
    refuse_same_file(tmp_path / "new.csv", str(path))


SHAPES = {
    "row": "Signal (V),1.0,2.0,3.0\nFlow (g/s),2.5,20.0,60.0\n",
    "row with units apart": "Signal;V;1.0;2.0;3.0\nFlow;g/s;2.5;20.0;60.0\n",
    "row, flow first": "Flow (g/s),2.5,20.0,60.0\nSignal (V),1.0,2.0,3.0\n",
    "index": "No,Signal (V),Flow (g/s)\n1,1.0,2.5\n2,2.0,20.0\n3,3.0,60.0\n",
    "index without header": "Signal (V),Flow (g/s)\n0,1.0,2.5\n1,2.0,20.0\n2,3.0,60.0\n",
    "further column": "Signal (V),Flow (g/s),kept\n1.0,2.5,7\n2.0,20.0,7\n3.0,60.0,8\n",
    "comments": "# bench, 20 C\nSignal (V),Flow (g/s)\n1.0,2.5\n# middle\n"
    "2.0,20.0\n\n3.0,60.0\n// end\n",
    "any order": "Signal (V),Flow (g/s)\n2.0,20.0\n3.0,60.0\n1.0,2.5\n",
    "falling": "Signal (V),Flow (g/s)\n3.0,60.0\n2.0,20.0\n1.0,2.5\n",
    "repeated row": "Signal (V),Flow (g/s)\n1.0,2.5\n2.0,20.0\n2.0,20.0\n3.0,60.0\n",
    "flat start": "Signal (V),Flow (g/s)\n0.0,2.5\n1.0,2.5\n2.0,20.0\n3.0,60.0\n",
    "flat end": "Signal (V),Flow (g/s)\n1.0,2.5\n2.0,20.0\n3.0,60.0\n4.0,60.0\n",
    "underscores": "signal_V,flow_g_s\n1.0,2.5\n2.0,20.0\n3.0,60.0\n",
    "per": "signal V,flow_g_per_s\n1.0,2.5\n2.0,20.0\n3.0,60.0\n",
    "blanks": " Signal (V) , Flow (g/s) \n 1.0 , 2.5 \n 2.0 , 20.0 \n 3.0 , 60.0 \n",
}


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_is_read_and_written_back_to_the_byte(tmp_path, shape):
    table = read_table(write(tmp_path, SHAPES[shape]))
    np.testing.assert_allclose(table.flow_at([1.0, 1.5, 2.0, 3.0]), [2.5e-3, 11.25e-3, 0.02, 0.06])
    assert table_bytes(table, table.flow_kgps).decode() == SHAPES[shape]


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_takes_new_flows_and_keeps_all_else(tmp_path, shape):
    path = write(tmp_path, SHAPES[shape])
    table = read_table(path)
    path.write_bytes(table_bytes(table, 1.1 * table.flow_kgps))
    again = read_table(path)
    np.testing.assert_allclose(again.flow_kgps, 1.1 * table.flow_kgps, rtol=1e-9)
    assert again.layout.signal_text == table.layout.signal_text
    assert len(again.layout.lines) == len(table.layout.lines)


def test_whole_numbers_stay_whole_and_what_does_not_change_stays_as_typed(tmp_path):
    text = "Signal (V),Flow_kg_h\n1,25\n2,180\n3,400\n"
    table = read_table(write(tmp_path, text))
    flow = table.flow_kgps * np.array([0.945, 0.945, 1.0])
    assert table_bytes(table, flow).decode().splitlines()[1:] == ["1,24", "2,170", "3,400"]
    decimal = read_table(write(tmp_path, text.replace("25", "025.00")))
    assert table_bytes(decimal, decimal.flow_kgps).decode() == text.replace("25", "025.00")
