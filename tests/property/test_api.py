"""The Python interface: the jobs' own results from paths, logs and DataFrames, and its words."""

from __future__ import annotations

import dataclasses
import inspect
import json
import re
import shutil
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import airsense
from airsense.api.arguments import in_python
from airsense.evidence.planning.resolution import Wish
from airsense.evidence.planning.states import PlannedQuantity
from airsense.evidence.verdict import DEFAULT_MARGIN
from airsense.jobs import audit, channels, check, compare, plan, rescale, tube
from airsense.jobs.demo import DemoResult
from airsense.report.as_json import to_json
from airsense.report.one_line import LONGEST
from airsense.results import InputFile, Presented
from airsense.setup.claims import Claims
from airsense.setup.load import load_model
from airsense.transfer.file import read_table

ROOT = Path(__file__).resolve().parents[2]
BOXES = ROOT / "examples" / "two_boxes"
ENGINE = BOXES / "engine.toml"
TABLE = BOXES / "maf_table.csv"
CLAIMS = BOXES / "claims.toml"
HEAVY = ("CoolProp", "matplotlib", "numpy", "pandas", "pint", "pydantic", "rich", "scipy")


def files(part: str) -> list[Path]:
    return sorted(BOXES.glob(f"{part}_*.csv"))


def frames(part: str) -> list[pd.DataFrame]:
    return [pd.read_csv(path) for path in files(part)]


@pytest.fixture(scope="module")
def compared() -> Any:
    return airsense.compare(files("before"), files("after"), ENGINE)


@pytest.fixture(scope="module")
def rescaled() -> Any:
    return airsense.rescale(files("after"), ENGINE, TABLE, baseline=files("before"))


@pytest.fixture(scope="module")
def results(compared: Any, rescaled: Any) -> dict[str, Presented]:
    """Return a result of each kind that needs no folder of its own."""
    audited = airsense.audit(CLAIMS)
    return {
        "audit": audited,
        "channels": channels.run(files("before")[0]),
        "check": airsense.check(files("before")[0], ENGINE),
        "compare": compared,
        "demo": DemoResult(
            folder="x", files=(), compare=compared, rescale=rescaled, audit=audited, truth=()
        ),
        "plan": airsense.plan(ENGINE, sensors="brake_power", quantity="brake_power_change"),
        "rescale": rescaled,
        "tube": tube.run(bore_before_mm=80.0, bore_after_mm=78.0),
    }


def answer(result: Any) -> Any:
    """Return a result without the names of what it was made from."""
    left = {"inputs": (), "logs": (), "findings": (), "assumptions": (), "curves": None}
    names = {f.name for f in dataclasses.fields(result)}
    return to_json(dataclasses.replace(result, **{k: v for k, v in left.items() if k in names}))


# --- import ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "code",
    [
        "import airsense",
        "import airsense; airsense.compare, airsense.check, airsense.audit, airsense.plan",
        "from airsense import rescale, InputError",
    ],
)
def test_import_stays_light(code: str) -> None:
    probe = f"{code}\nimport sys\nprint([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "[]"


def test_every_name_is_there() -> None:
    for name in airsense.__all__:
        assert getattr(airsense, name) is not None
    assert set(airsense.__all__) <= set(dir(airsense))
    with pytest.raises(AttributeError, match="no attribute 'compair'"):
        airsense.compair  # type: ignore[attr-defined]


def test_defaults_are_those_of_the_jobs() -> None:
    margin = inspect.signature(airsense.compare).parameters["margin"].default
    assert margin == DEFAULT_MARGIN
    asked = inspect.signature(airsense.plan).parameters
    for field in dataclasses.fields(Wish):
        assert asked[field.name].default == field.default


# --- the same answers ------------------------------------------------------------------------


def test_compare_is_the_job(compared: Any) -> None:
    assert compared == compare.run(ENGINE, files("before"), files("after"))
    assert [i.role for i in compared.inputs][:1] == ["setup"]


def test_compare_takes_what_people_have(compared: Any, tmp_path: Path) -> None:
    for part in ("before", "after"):
        (tmp_path / part).mkdir()
        for path in files(part):
            shutil.copy(path, tmp_path / part)
    setup = airsense.load_engine(ENGINE)
    logs = [airsense.read_log(path) for path in files("before")]
    of_folders = airsense.compare(tmp_path / "before", str(tmp_path / "after"), ENGINE)
    mixed = airsense.compare((log for log in logs), frames("after"), setup)
    assert answer(of_folders) == answer(compared)
    assert answer(mixed) == answer(compared)
    assert [log.path for log in mixed.logs][3:] == ["after[0]", "after[1]", "after[2]"]
    assert mixed.inputs[0] == InputFile(path=logs[0].path, sha256=logs[0].sha256, role="before")


def test_compare_hands_its_options_on(compared: Any) -> None:
    tuned = airsense.compare(
        files("before"),
        files("after"),
        ENGINE,
        rpm=(2000, 3500),
        margin=0.02,
        tunes=("mild", "keen"),
    )
    assert compared.pairs[0].question == "intake"
    assert tuned.pairs[0].question == "tune"
    assert tuned.pairs[0].tune == "keen"
    assert tuned.margin == 0.02
    low, high = tuned.window.engine_speed_rpm
    assert 2000.0 <= low < high <= 3500.0


def test_one_log_need_not_be_a_list() -> None:
    path = files("before")[0]
    want = check.run([path], ENGINE, rpm=(1800.0, 3600.0))
    assert airsense.check(path, str(ENGINE), rpm=(1800, 3600)) == want
    frame = pd.read_csv(path)
    assert answer(airsense.check(frame, ENGINE, rpm=(1800, 3600))) == answer(want)


def test_rescale_is_the_job(rescaled: Any) -> None:
    want = rescale.run(ENGINE, files("after"), TABLE, baseline=files("before"))
    assert rescaled == want
    again = airsense.rescale(
        frames("after"), ENGINE, read_table(TABLE), baseline=frames("before"), max_step=0.02
    )
    assert answer(again) != answer(want)
    steps = again.to_frame()
    assert (steps["correction"] - 1.0).abs().max() <= 0.02 + 1e-9


def test_audit_is_the_job() -> None:
    want = audit.run(CLAIMS)
    assert airsense.audit(str(CLAIMS)) == want
    assert airsense.audit(load_model(CLAIMS, Claims)).verdicts == want.verdicts


@pytest.mark.parametrize("logs", [[], files("before")[:1], files("before")])
def test_plan_is_the_job(logs: list[Path]) -> None:
    sensors = ["manifold_pressure", "charge_temperature", "mass_air_flow", "brake_power"]
    power = PlannedQuantity.BRAKE_POWER_CHANGE  # the quick one; the others' intervals stand beside
    wish = Wish(change=0.05)
    want = plan.run(ENGINE, logs, sensors=sensors, still=True, quantity=power, wish=wish)
    got = airsense.plan(
        ENGINE, logs, sensors=sensors, still=True, quantity=power.value, change=0.05
    )
    assert len(want.by_quantity) > 2
    assert got.to_json() == want.to_json()


def test_a_model_stands_for_its_file() -> None:
    setup = airsense.EngineSetup.model_validate(
        {"engine": {"displacement_l": 2.99, "cylinders": 6, "ignition": "compression"}}
    )
    result = airsense.check(files("before")[0], setup)
    assert [i.role for i in result.inputs] == ["log"]
    assert result.sensor_error is not None


# --- DataFrames ------------------------------------------------------------------------------

TIME = "time (s)"


@pytest.fixture(scope="module")
def frame() -> pd.DataFrame:
    return pd.read_csv(files("before")[0])


def as_index(frame: pd.DataFrame, index: Any) -> pd.DataFrame:
    return frame.drop(columns=TIME).set_axis(index, axis=0)


def stamps(frame: pd.DataFrame) -> pd.DatetimeIndex:
    since = pd.to_timedelta((frame[TIME] * 1000).round().astype("int64"), unit="ms")
    return pd.DatetimeIndex(pd.Timestamp("2024-05-04 23:59:58") + since)


CLOCKS: dict[str, Callable[[pd.DataFrame], pd.DataFrame]] = {
    "numbers": lambda f: f,
    "milliseconds": lambda f: f.assign(**{"time (ms)": f[TIME] * 1e3}).drop(columns=TIME),
    "float index": lambda f: as_index(f, f[TIME].to_numpy()),
    "named index": lambda f: as_index(f, pd.Index((1e3 * f[TIME]).round(), name="time (ms)")),
    "date index": lambda f: as_index(f, stamps(f)),
    "date index with zone": lambda f: as_index(f, stamps(f).tz_localize("Europe/Berlin")),
    "named date index": lambda f: as_index(f, stamps(f).rename("when")),
    "duration index": lambda f: as_index(f, pd.to_timedelta(f[TIME], unit="s")),
    "date column": lambda f: f.assign(**{"time": stamps(f)}).drop(columns=TIME),
    "duration column": lambda f: f.assign(time=pd.to_timedelta(f[TIME], unit="s")).drop(
        columns=TIME
    ),
    "text column": lambda f: f.assign(time=stamps(f).strftime("%H:%M:%S.%f")).drop(columns=TIME),
    "column of clocks": lambda f: f.assign(time=stamps(f).time).drop(columns=TIME),
}


@pytest.mark.parametrize("kind", CLOCKS)
def test_the_time_may_stand_anywhere(kind: str, frame: pd.DataFrame) -> None:
    want = airsense.read_log(files("before")[0])
    log = airsense.Log.from_dataframe(CLOCKS[kind](frame))
    assert log.reader == "dataframe"
    assert set(log.channels) == set(want.channels)
    for name, channel in want.channels.items():
        np.testing.assert_allclose(log[name].time_s, channel.time_s, atol=2e-3)
        np.testing.assert_allclose(log[name].value, channel.value, rtol=1e-12)
        assert log[name].header == channel.header
    assert (log.started is not None) == ("date" in kind or "text" in kind or "clocks" in kind)


@pytest.mark.parametrize("kind", ["range", "filtered rows", "two levels"])
def test_row_numbers_are_no_time(kind: str, frame: pd.DataFrame) -> None:
    bare = frame.drop(columns=TIME)
    if kind == "filtered rows":
        bare = bare[bare.index % 2 == 0]
    elif kind == "two levels":
        bare = bare.set_index([bare.index, bare.index])
    with pytest.raises(airsense.InputError, match="log has no time column") as caught:
        airsense.Log.from_dataframe(bare)
    assert "Index" in caught.value.got
    assert "set_index" in caught.value.fix


def test_a_column_of_time_comes_before_the_index(frame: pd.DataFrame) -> None:
    odd = frame.set_axis(np.linspace(0.0, 9.0, len(frame)), axis=0)
    log = airsense.Log.from_dataframe(odd)
    assert log.span_s[1] == pytest.approx(frame[TIME].iloc[-1] - frame[TIME].iloc[0], abs=0.1)


def test_units_may_be_told_apart_from_headers() -> None:
    bare = pd.DataFrame(
        {
            "time": np.arange(50) / 10.0,
            "engine speed": np.linspace(1500.0, 3000.0, 50),
            "boost": np.linspace(5.0, 20.0, 50),
            "mass air flow": np.linspace(10.0, 20.0, 50),
        }
    )
    units = {"engine speed": "rpm", "boost": "psi", "mass air flow": "lb/min", "time": "s"}
    log = airsense.Log.from_dataframe(bare, units, name="pull 7")
    assert log.path == "pull 7"
    np.testing.assert_allclose(log["boost_pressure"].value, bare["boost"] * 6894.757, rtol=1e-6)
    flow = bare["mass air flow"] * 0.45359237 / 60.0
    np.testing.assert_allclose(log["mass_air_flow"].value, flow, rtol=1e-6)
    with pytest.raises(airsense.InputError, match="column that there is not") as caught:
        airsense.Log.from_dataframe(bare, {"boots": "psi"})
    assert "'boost'" in caught.value.allowed
    with pytest.raises(airsense.InputError, match="unknown unit of mass_air_flow"):
        airsense.Log.from_dataframe(bare, {"mass air flow": "buckets"})


def test_columns_may_be_named_for_their_channels(frame: pd.DataFrame) -> None:
    odd = frame.rename(columns={"mass air flow (g/s)": "q (g/s)"})
    assert "mass_air_flow" not in airsense.Log.from_dataframe(odd)
    log = airsense.Log.from_dataframe(odd, channels={"mass_air_flow": "q (g/s)"})
    assert log["mass_air_flow"].header == "q (g/s)"
    setup = airsense.load_engine(ENGINE)
    told = setup.model_copy(update={"channels": {"mass_air_flow": "q (g/s)"}})
    assert airsense.check(odd, told).sensor_error is not None


def test_text_and_missing_cells_are_left_out(frame: pd.DataFrame) -> None:
    worn = frame.astype({"lambda (-)": object, "engine speed (rpm)": "Int64"})
    worn.loc[[3, 9], "lambda (-)"] = "---"
    worn.loc[[5], "engine speed (rpm)"] = pd.NA
    log = airsense.Log.from_dataframe(worn)
    assert log["lambda"].value.size == len(frame) - 2
    assert log["engine_speed"].value.size == len(frame) - 1
    (found,) = [f for f in log.findings if f.code == "unreadable_cells"]
    assert "2 cells" in found.message


def test_the_frame_stays_as_it_was(frame: pd.DataFrame) -> None:
    copy = frame.copy(deep=True)
    airsense.Log.from_dataframe(as_index(frame, stamps(frame)))
    airsense.Log.from_dataframe(frame)
    pd.testing.assert_frame_equal(frame, copy)


def test_a_copy_of_a_frame_is_seen(frame: pd.DataFrame) -> None:
    first, second = (airsense.Log.from_dataframe(f) for f in (frame, frame.copy()))
    assert first.sha256 == second.sha256
    assert first.path == second.path == f"DataFrame {first.sha256[:8]}"
    changed = frame.assign(**{"mass air flow (g/s)": frame["mass air flow (g/s)"] * 1.01})
    assert airsense.Log.from_dataframe(changed).sha256 != first.sha256
    result = airsense.check([frame, frame.copy()], ENGINE)
    assert any("copy" in f.code or "same" in f.message for f in result.findings)


@given(
    steps=st.lists(st.floats(0.02, 0.4), min_size=5, max_size=40),
    flow=st.floats(1.0, 300.0),
    data=st.data(),
)
@settings(max_examples=40, deadline=None)
def test_any_samples_come_through(steps: list[float], flow: float, data: st.DataObject) -> None:
    time_s = np.cumsum(steps)
    ripple = st.lists(st.floats(0.8, 1.2), min_size=time_s.size, max_size=time_s.size)
    value = flow * np.array(data.draw(ripple))
    log = airsense.Log.from_dataframe(
        pd.DataFrame({"time (s)": time_s, "mass air flow (g/s)": value})
    )
    kept = log["mass_air_flow"]
    rows = np.searchsorted(time_s - time_s[0], kept.time_s - 1e-9)
    np.testing.assert_allclose(kept.value, 1e-3 * value[rows], rtol=1e-12)
    assert np.all(np.diff(kept.time_s) > 0.0)


@pytest.mark.parametrize("shape", ["rows", "columns"])
def test_an_empty_frame_is_refused(shape: str, frame: pd.DataFrame) -> None:
    empty = frame.iloc[:0] if shape == "rows" else frame[[]]
    with pytest.raises(airsense.InputError, match="the DataFrame is empty"):
        airsense.Log.from_dataframe(empty)
    with pytest.raises(airsense.InputError, match="this is no DataFrame"):
        airsense.Log.from_dataframe({"time": [1, 2]})  # type: ignore[arg-type]


def test_a_log_prints_in_one_line() -> None:
    shown = repr(airsense.read_log(files("before")[0]))
    assert shown.startswith("<airsense log: ")
    assert "12 channels" in shown
    assert len(shown) < 300


# --- results ---------------------------------------------------------------------------------


def test_results_print_in_one_line(results: dict[str, Presented]) -> None:
    for kind, result in results.items():
        shown = repr(result)
        assert shown == str(result)
        assert "\n" not in shown
        assert len(shown) <= LONGEST + len("<airsense >")
        if kind != "demo":
            assert shown.startswith(f"<airsense {kind}: ")
    assert "reading_only" in repr(results["compare"])
    assert "12 channels" in repr(results["channels"])
    assert "2 contradicted" in repr(results["audit"])


def test_a_campaign_prints_its_verdicts(compared: Any) -> None:
    pair = compared.pairs[0]
    many = dataclasses.replace(compared, pairs=(pair, pair, pair))
    assert repr(many) == "<airsense compare: 3 reading_only>"


def test_json_is_what_the_command_line_writes(results: dict[str, Presented]) -> None:
    for kind, result in results.items():
        assert result.to_json() == to_json(result)
        assert json.loads(result.to_json())["schema"].startswith(f"airsense.{kind}/")


def test_a_notebook_shows_the_page(compared: Any) -> None:
    page = compared._repr_html_()
    assert page.startswith("<iframe")
    assert "srcdoc=" in page


def test_main_tables(results: dict[str, Any]) -> None:
    pairs = results["compare"].to_frame()
    surplus = results["compare"].pairs[0].indicated_surplus
    assert pairs.loc[0, "verdict"] == "reading_only"
    assert pairs.loc[0, "indicated_surplus"] == surplus.value
    assert pairs.loc[0, "indicated_surplus_low"] == surplus.low
    assert pairs.loc[0, "indicated_surplus_high"] == surplus.high
    cells = results["rescale"].to_frame()
    assert len(cells) == len(results["rescale"].cells)
    np.testing.assert_allclose(cells["flow_new"], cells["flow_old"] * cells["correction"])
    assert set(cells["support"]) <= {"measured", "interpolated", "held"}
    assert list(results["check"].to_frame()["method"])[:1] == ["speed_density"]
    assert "mass_air_flow" in set(results["check"].to_frame("channels")["name"])
    assert len(results["audit"].to_frame()) == len(results["audit"].verdicts)
    assert results["audit"].to_frame().columns.tolist()[:4] == ["claim", "quantity", "from", "to"]
    assert results["plan"].to_frame()["runs_per_configuration"].is_monotonic_increasing
    assert len(results["tube"].to_frame()) == 4


def test_inner_tables_say_whose_they_are(compared: Any) -> None:
    rows = compared.to_frame("by_speed")
    pair = compared.pairs[0]
    assert len(rows) == len(pair.by_speed)
    assert rows.columns.tolist()[:3] == ["intake", "tune", "baseline"]
    assert set(rows["intake"]) == {"after"}
    assert rows["airflow_change_low"].le(rows["airflow_change"]).all()
    doubled = dataclasses.replace(compared, pairs=(pair, dataclasses.replace(pair, intake="third")))
    assert len(doubled.to_frame("by_speed")) == 2 * len(rows)


def test_every_table_has_its_columns(results: dict[str, Any]) -> None:
    from airsense.report.frames import tables

    for result in results.values():
        for name in tables(result):
            table = result.to_frame(name)
            assert table.columns.is_unique
            if hasattr(result, name):
                assert len(table) == len(getattr(result, name))


def test_an_interval_that_is_not_known_is_nan(compared: Any) -> None:
    pair = dataclasses.replace(compared.pairs[0], sensor_skew=None)
    table = dataclasses.replace(compared, pairs=(pair,)).to_frame()
    assert table[["sensor_skew", "sensor_skew_low", "sensor_skew_high"]].isna().all(axis=None)


def test_an_unknown_table_is_an_error(compared: Any) -> None:
    with pytest.raises(airsense.InputError, match="no such table") as caught:
        compared.to_frame("cells")
    assert "by_speed" in caught.value.allowed
    assert "pairs" in caught.value.allowed


# --- errors ----------------------------------------------------------------------------------

ONE = files("before")[0]


@pytest.mark.parametrize(
    ("call", "where", "words"),
    [
        (lambda: airsense.compare([], ONE, ENGINE), "before", "before holds no log"),
        (lambda: airsense.compare(ONE, (), ENGINE), "after", "after holds no log"),
        (lambda: airsense.compare(7, ONE, ENGINE), "before", "int 7"),
        (lambda: airsense.compare(ONE, [ONE, None], ENGINE), "after[1]", "NoneType"),
        (lambda: airsense.compare(ONE, "no.csv", ENGINE), "after: no.csv", "no such file"),
        (lambda: airsense.compare(ONE, ONE, "no.toml"), "engine: no.toml", "No such file"),
        (lambda: airsense.compare(ONE, ONE, 5), "engine", "EngineSetup"),
        (lambda: airsense.compare(ONE, ONE, ENGINE, margin=1), "margin", "0.0001 to 0.2"),
        (lambda: airsense.compare(ONE, ONE, ENGINE, rpm=(3000, 2000)), "rpm", "1600"),
        (lambda: airsense.compare(ONE, ONE, ENGINE, rpm=2000), "rpm", "1600"),
        (lambda: airsense.check({"a": 1}, ENGINE), "logs", "dict"),
        (lambda: airsense.check(ROOT / "examples", ENGINE), "logs: ", "folder holds no log"),
        (lambda: airsense.check(frames("before")[0][[TIME]], ENGINE), "logs", "engine speed"),
        (lambda: airsense.rescale(ONE, ENGINE, None), "table", "path of a table"),
        (lambda: airsense.rescale(ONE, ENGINE, "no.csv"), "table: no.csv", "no.csv"),
        (lambda: airsense.rescale(ONE, ENGINE, TABLE, share=50), "share", "0.05 to 1"),
        (lambda: airsense.rescale(ONE, ENGINE, TABLE, max_step=0), "max_step", "fraction"),
        (lambda: airsense.audit("no.toml"), "claims: no.toml", "No such file"),
        (lambda: airsense.audit(None), "claims", "NoneType"),
        (lambda: airsense.plan(ENGINE, change=3), "change", "0.001 to 1"),
        (lambda: airsense.plan(ENGINE, quantity="torque"), "quantity", "airflow_change"),
        (lambda: airsense.plan(ENGINE, sensors=["nose"]), "sensors", "nose"),
        (lambda: airsense.plan(ENGINE, sensors=["throttle"]), "sensors, or", "throttle"),
    ],
)
def test_errors_speak_of_arguments(call: Callable[[], object], where: str, words: str) -> None:
    with pytest.raises(airsense.InputError) as caught:
        call()
    error = caught.value
    assert error.where.startswith(where)
    assert words in str(error)
    assert not re.search(r"(^|\s)--[a-z]", re.sub(r"`[^`]*`", "", str(error)))
    assert all((error.what, error.got, error.allowed, error.fix))


def test_a_baseline_of_signals_asks_for_its_table() -> None:
    """The job knows an option; here the message names the argument."""
    bare = [f.drop(columns="mass air flow (g/s)") for f in frames("before")]
    with pytest.raises(airsense.InputError, match="what flow it meant") as caught:
        airsense.rescale(files("after"), ENGINE, TABLE, baseline=bare)
    assert caught.value.where == "baseline[0]"
    assert caught.value.fix.startswith("add baseline_table OLD.csv")
    told = airsense.rescale(files("after"), ENGINE, TABLE, baseline=bare, baseline_table=TABLE)
    assert told.baseline_runs == 3


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("add --max-step", "add max_step"),
        ("with --sensor, or --apply", "with sensors, or share"),
        ("run `airsense new engine --out e.toml`", "run `airsense new engine --out e.toml`"),
        ("1600--3800 and a-b", "1600--3800 and a-b"),
    ],
)
def test_options_become_arguments(text: str, shown: str) -> None:
    assert in_python(text) == shown


# --- the example -----------------------------------------------------------------------------


def example() -> str:
    lines = (airsense.__doc__ or "").splitlines()
    code = textwrap.dedent("\n".join(x for x in lines if x.startswith("    ") or not x))
    return code.strip()


def test_the_example_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture) -> None:
    monkeypatch.chdir(ROOT)
    exec(compile(example(), "airsense", "exec"), {})
    shown = capsys.readouterr().out
    assert shown.startswith("<airsense compare: reading_only. ")
    assert "engine_speed_rpm" in shown


def test_the_readme_shows_the_example_and_all_of_it_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    blocks = re.findall(
        r"^```python\n(.*?)^```", (ROOT / "README.md").read_text("utf-8"), re.M | re.S
    )
    assert any(example() in block for block in blocks)
    for block in blocks:
        exec(compile(block, "README.md", "exec"), {})
