"""The jobs in a browser: from dropped files to the answer, and who and what is kept out."""

from __future__ import annotations

import html
import json
import re
import signal
import socket
import subprocess
import sys
import threading
import time
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
import uvicorn

from airsense.report.html import render_page
from airsense.serve.app import make_app
from airsense.serve.kinds import KINDS
from airsense.serve.room import MOST_PIECES, Room, Stands
from airsense.serve.toml_text import toml_text
from airsense.serve.uploads import Limits, safe_name
from tests.end_to_end.test_report_browser import axe_source, browser
from tests.simulate.demo import DemoScenario, write_demo

__all__ = ["browser"]  # a fixture that is shared
pytestmark = pytest.mark.slow
KEY = "the-key-of-this-start"
LONGEST_WAIT_S = 120.0
LIMITS = Limits(file_bytes=200_000, total_bytes=600_000)
FORM = {
    "displacement_l": "2,99",
    "cylinders": "6",
    "ignition": "compression",
    "place": "after_cooler",
}


@dataclass(frozen=True)
class Site:
    """A running server, and a client that has come in by the key."""

    base: str
    folder: Path
    room: Room
    client: httpx.Client

    def stranger(self, **headers: str) -> httpx.Client:
        """Return a client that has no cookie."""
        return httpx.Client(base_url=self.base, headers=headers, timeout=30.0)


def free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    folder = tmp_path_factory.mktemp("room")
    room, port = Room(folder), free_port()
    app = make_app(room, port=port, key=KEY, limits=LIMITS)
    server = uvicorn.Server(
        uvicorn.Config(app, port=port, log_level="error", lifespan="off", access_log=False)
    )
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    base = f"http://127.0.0.1:{port}"
    with httpx.Client(
        base_url=base, headers={"Origin": base}, follow_redirects=True, timeout=60.0
    ) as client:
        assert client.get("/", params={"key": KEY}).status_code == 200
        yield Site(base=base, folder=folder, room=room, client=client)
    server.should_exit = True
    thread.join()
    room.close()


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> DemoScenario:
    return write_demo(tmp_path_factory.mktemp("demo"))


@pytest.fixture(autouse=True)
def empty_table(site: Site) -> Iterator[None]:
    """Remove the work of a test."""
    yield
    for piece in site.room.pieces:
        site.room.remove(piece)


def files(**trays: Sequence[Path]) -> list[tuple[str, tuple[str, bytes]]]:
    return [(key, (p.name, p.read_bytes())) for key, paths in trays.items() for p in paths]


def settled(site: Site, page: httpx.Response) -> httpx.Response:
    """Follow the waiting page until the work is done."""
    until = time.monotonic() + LONGEST_WAIT_S
    while 'http-equiv="refresh"' in page.text:
        assert time.monotonic() < until, "it never ends"
        time.sleep(0.1)
        page = site.client.get(page.url)
    return page


def send(site: Site, address: str, data: dict[str, str], given: Any = ()) -> httpx.Response:
    """Send a form as a browser does, in parts, and wait for what comes of it."""
    given = given or [("engine", ("", b""))]  # an empty file input is sent like this
    return settled(site, site.client.post(address, data=data, files=given))


def answered(site: Site, page: httpx.Response) -> httpx.Response:
    assert "What was recognised" in page.text, page.text
    return send(site, f"{page.url.path}/columns", {"answer": "1"})


def saved(site: Site, page: httpx.Response) -> dict[str, bytes]:
    """Save all files that the bar above an answer offers."""
    links = re.findall(r'href="(/work/\d+/files/([^"]+))" download', page.text)
    assert links, page.text[:500]
    return {name: site.client.get(link).content for link, name in links}


def words(page: httpx.Response) -> str:
    return html.unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]*>", " ", page.text)))


# The whole path


def test_compare_from_logs_to_the_page_of_the_report(site: Site, demo: DemoScenario) -> None:
    page = send(site, "/new/compare", FORM, files(before=demo.before, after=demo.after))
    assert "intake manifold absolute pressure (kPa)" in words(page)
    page = answered(site, page)
    got = saved(site, page)
    result = json.loads(got["airsense-compare.json"])
    assert result["schema"] == "airsense.compare/2"
    report = got["airsense-compare.html"].decode()
    assert report == render_page(result), "the file is the page that the command writes"
    assert result["pairs"][0]["sentence"] in words(page)
    start, end = page.text.index('<nav class="top" aria-label="This work">'), "</nav>"
    bar_end = page.text.index(end, start) + len(end)
    shown = page.text[:start] + page.text[bar_end:]
    assert shown.split() == report.split(), "and so is what is shown, but for the bar above it"
    assert [log["role"] for log in result["logs"]] == ["before"] * 3 + ["after"] * 3
    assert "/tmp" not in page.text and str(site.folder) not in page.text
    engine = tomllib.loads(got["engine.toml"].decode())["engine"]
    assert engine == {"displacement_l": 2.99, "cylinders": 6, "ignition": "compression"}


def test_check_with_a_setup_file(site: Site, demo: DemoScenario) -> None:
    page = send(site, "/new/check", {}, files(logs=demo.after[:2], engine=[demo.engine_toml]))
    got = saved(site, answered(site, page))
    assert json.loads(got["airsense-check.json"])["schema"] == "airsense.check/1"
    assert got["engine.toml"] == demo.engine_toml.read_bytes()


def test_rescale_gives_the_new_table_or_none_at_all(site: Site, demo: DemoScenario) -> None:
    page = send(
        site,
        "/new/rescale",
        {**FORM, "share": "50"},
        files(logs=demo.after, baseline=demo.before, table=[demo.table]),
    )
    got = saved(site, answered(site, page))
    result = json.loads(got["airsense-rescale.json"])
    assert result["runs"] == result["baseline_runs"] == 3
    assert ("new_maf_table.csv" in got) == (result["decision"] != "refused")
    if result["decision"] == "change":
        lines = got["new_maf_table.csv"].decode().splitlines()
        assert lines[0] == demo.table.read_text().splitlines()[0]
        assert "step, log and stop" in got["new_maf_table.csv.note.txt"].decode()


RESULTS = (
    ("stock box", "2600", "118", "1.32", "139", "41.2"),
    ("open box", "2600", "124", "1.36", "150", "43.0"),
)
RESULT_KEYS = (
    "intake",
    "engine_speed",
    "brake_power",
    "boost_pressure",
    "mass_air_flow",
    "fuel_per_stroke",
)
TYPED = {
    "displacement_l": "2.99",
    "cylinders": "6",
    "ignition": "compression",
    "unit-engine_speed": "rpm",
    "unit-brake_power": "kW",
    "unit-boost_pressure": "bar",
    "unit-mass_air_flow": "g/s",
    "unit-fuel_per_stroke": "mg",
    "claim-0-quantity": "brake_power",
    "claim-0-from": "stock box",
    "claim-0-to": "open box",
    "claim-0-engine_speed": "2600",
    "claim-0-change": "+6 kW",
    "claim-1-quantity": "brake_power",
} | {
    f"result-{row}-{key}": value
    for row, values in enumerate(RESULTS)
    for key, value in zip(RESULT_KEYS, values, strict=True)
}


def test_audit_of_typed_figures(site: Site) -> None:
    got = saved(site, send(site, "/new/audit", TYPED))
    result = json.loads(got["airsense-audit.json"])
    assert len(result["verdicts"]) == 1, "the row with a quantity alone is no claim"
    claims = tomllib.loads(got["claims.toml"].decode())
    assert claims["claim"][0]["engine_speed"] == "2600 rpm"
    assert claims["table"].splitlines()[1] == "stock box,2600,118,1.32,139,41.2"


def test_audit_of_a_file_of_claims(site: Site, demo: DemoScenario) -> None:
    got = saved(site, send(site, "/new/audit", {}, files(claims=[demo.claims_toml])))
    assert len(json.loads(got["airsense-audit.json"])["verdicts"]) == 2


def test_more_rows_keep_what_was_typed(site: Site) -> None:
    page = send(site, "/new/audit", {**TYPED, "more": "1", "rows": "6"})
    assert 'name="result-11-intake"' in page.text and 'name="result-12-intake"' not in page.text
    assert 'name="result-1-brake_power" value="124"' in page.text


# What was recognised, and correcting it


def test_a_column_can_be_named_with_its_unit(site: Site, demo: DemoScenario) -> None:
    text = demo.after[0].read_text().replace("mass air flow (g/s)", "Zeta 7")
    assert "Zeta 7" in text
    given = [("logs", ("odd.csv", text.encode()))]
    page = send(site, "/new/check", FORM, given)
    assert "Zeta 7" in page.text
    row = re.search(r'<tr><th scope="row">mass air flow</th><td>(.*?)</td>', page.text)
    assert row is None, "it is not recognised"
    choice = {"column-mass_air_flow": "Zeta 7", "unit-mass_air_flow": "g/s"}
    page = send(site, f"{page.url.path}/columns", {**choice, "again": "1"})
    row = re.search(r'<tr><th scope="row">mass air flow</th><td>(.*?)</td>', page.text)
    assert row is not None and row[1] == "Zeta 7"
    page = send(site, f"{page.url.path}/columns", {**choice, "answer": "1"})
    setup = tomllib.loads(saved(site, page)["engine.toml"].decode())
    assert setup["channels"] == {"mass_air_flow": "Zeta 7 [g/s]"}
    result = json.loads(saved(site, page)["airsense-check.json"])
    assert any(c["name"] == "mass_air_flow" and c["header"] == "Zeta 7" for c in result["channels"])


def test_a_log_that_needs_a_choice_can_be_mended_on_the_page(
    site: Site, demo: DemoScenario
) -> None:
    text = demo.after[0].read_text().replace("engine speed (rpm)", "engine speed (wibble)")
    page = send(site, "/new/check", FORM, [("logs", ("odd.csv", text.encode()))])
    assert "logs/odd.csv cannot be read yet" in words(page)
    assert "unknown unit of engine_speed" in words(page)
    assert 'name="answer"' not in page.text, "no answer before it can be read"
    choice = {"column-engine_speed": "engine speed (wibble)", "unit-engine_speed": "rpm"}
    page = send(site, f"{page.url.path}/columns", {**choice, "again": "1"})
    assert "cannot be read yet" not in words(page)


def test_a_choice_goes_into_a_setup_file_that_was_given(site: Site, demo: DemoScenario) -> None:
    page = send(site, "/new/check", {}, files(logs=demo.after, engine=[demo.engine_toml]))
    choice = {"column-mass_air_flow": "mass air flow (g/s)", "answer": "1"}
    got = saved(site, send(site, f"{page.url.path}/columns", choice))
    setup = tomllib.loads(got["engine.toml"].decode())
    assert setup.pop("channels") == {"mass_air_flow": "mass air flow (g/s)"}
    assert setup == tomllib.loads(demo.engine_toml.read_text())


def test_files_can_be_taken_out_and_added(site: Site, demo: DemoScenario) -> None:
    page = send(site, "/new/check", FORM, files(logs=demo.after[:2]))
    form = f"{page.url.path}/form"
    data = {**FORM, f"remove-logs-{demo.after[0].name}": "on"}
    page = send(site, form, data, files(logs=[demo.after[1], demo.after[2]]))
    shown = re.findall(r"<summary>(logs/\S+):", page.text)
    assert shown == ["logs/after_2-2.csv", "logs/after_2.csv", "logs/after_3.csv"]


# Bad input, in words


def five(page: httpx.Response) -> list[str]:
    """Return the labels of the parts of an error that stands on a page."""
    return re.findall(r"<dt>(.*?)</dt>", page.text)


PARTS = ["Where", "Found", "Allowed", "To mend it"]


@pytest.mark.parametrize("content", [b"", b"\x00\xff" * 500, b"only words\nno log\n"])
def test_a_bad_file_is_told_in_five_parts(site: Site, content: bytes) -> None:
    page = send(site, "/new/check", FORM, [("logs", ("bad.csv", content))])
    assert five(page) == PARTS
    assert "logs/bad.csv" in words(page)
    assert "Traceback" not in page.text


@pytest.mark.parametrize(
    ("data", "named"),
    [
        ({**FORM, "displacement_l": "two"}, "displacement_l"),
        ({**FORM, "displacement_l": "2990"}, "displacement_l"),
        ({k: v for k, v in FORM.items() if k != "ignition"}, "ignition"),
        ({**FORM, "weather-barometric_pressure_kpa": "1013"}, "barometric_pressure_kpa"),
        ({**FORM, "fuel": "firewood"}, "firewood"),
        ({**FORM, "rpm_low": "3000", "rpm_high": "2000"}, "window of engine speed"),
        ({**FORM, "rpm_low": "3000"}, "window of engine speed"),
        ({**FORM, "margin": "200"}, "margin"),
    ],
)
def test_a_bad_figure_is_told_in_five_parts(
    site: Site, demo: DemoScenario, data: dict[str, str], named: str
) -> None:
    page = send(site, "/new/compare", data, files(before=demo.before[:1], after=demo.after[:1]))
    if "What was recognised" in page.text:  # what only the job itself looks at
        page = send(site, f"{page.url.path}/columns", {"answer": "1"})
    assert five(page) == PARTS
    assert named in words(page)


def test_an_empty_tray_is_named_and_the_form_kept(site: Site, demo: DemoScenario) -> None:
    page = send(site, "/new/compare", FORM, files(before=demo.before))
    assert page.status_code == 400
    assert five(page) == PARTS and "“After” is empty" in words(page)
    assert 'name="displacement_l" value="2,99"' in page.text
    assert demo.before[0].name in page.text, "files that came need not be sent again"
    address = re.search(r'action="(/work/\d+/form)"', page.text)
    assert address is not None
    assert "What was recognised" in send(site, address[1], FORM, files(after=demo.after)).text


def test_a_large_file_is_refused_in_words(site: Site) -> None:
    before = len(site.room.pieces)
    page = send(site, "/new/check", FORM, [("logs", ("big.csv", b"1" * 300_000))])
    assert page.status_code == 413
    assert five(page) == PARTS and "at most 0.2 MB" in words(page) and "big.csv" in words(page)
    page = send(site, "/new/check", FORM, [("logs", ("huge.csv", b"1" * 30_000_000))])
    assert page.status_code == 413
    assert five(page) == PARTS and "at most 0.6 MB" in words(page)
    assert len(site.room.pieces) == before


def test_a_size_that_is_not_announced_is_counted(site: Site) -> None:
    def body() -> Iterator[bytes]:
        yield b'--x\r\nContent-Disposition: form-data; name="logs"; filename="a.csv"\r\n\r\n'
        yield from (b"1" * 100_000 for _ in range(20))
        yield b"\r\n--x--\r\n"

    kind = {"Content-Type": "multipart/form-data; boundary=x"}
    page = site.client.post("/new/check", content=body(), headers=kind)
    assert page.status_code == 413


def test_too_many_files_and_no_form_at_all(site: Site) -> None:
    many = [("logs", (f"{k}.csv", b"1")) for k in range(300)]
    page = send(site, "/new/check", FORM, many)
    assert page.status_code == 400 and five(page) == PARTS
    kind = {"Content-Type": "multipart/form-data"}
    page = site.client.post("/new/check", content=b"no form", headers=kind)
    assert page.status_code == 400 and five(page) == PARTS


def test_what_is_not_there_is_said_so(site: Site) -> None:
    for address in ("/new/screen", "/work/9999", "/work/9999/files/x", "/nowhere"):
        page = site.client.get(address)
        assert page.status_code == 404 and "There is nothing here" in page.text
        assert "certifies nothing" in page.text


# Who is kept out


def test_no_key_no_entry(site: Site) -> None:
    for address in ("/", "/?key=", "/?key=wrong", "/new/check", "/style.css", "/work/1"):
        with site.stranger() as client:
            answer = client.get(address)
            assert answer.status_code == 403 and "Refused" in answer.text
            assert "set-cookie" not in answer.headers
    with site.stranger(Cookie=f"airsense_{site.base.rpartition(':')[2]}=wrong") as client:
        assert client.get("/").status_code == 403
    with site.stranger(Origin=site.base) as client:
        assert client.post("/new/check", data=FORM).status_code == 403
        assert client.post("/end").status_code == 403


def test_the_key_becomes_a_cookie_that_no_script_reads(site: Site) -> None:
    with site.stranger() as client:
        answer = client.get("/", params={"key": KEY})
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        cookie = answer.headers["set-cookie"].lower()
        assert "httponly" in cookie and "samesite=strict" in cookie
        assert client.get("/").status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:1", "[::1]:80", ""])
def test_a_foreign_host_is_refused(site: Site, host: str) -> None:
    cookie = "; ".join(f"{k}={v}" for k, v in site.client.cookies.items())
    with site.stranger(Cookie=cookie) as client:
        assert client.get("/").status_code == 200, "it is the host alone that is refused"
        for address in ("/", f"/?key={KEY}"):
            answer = client.get(address, headers={"Host": host})
            assert answer.status_code == 403 and "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:1", "http://127.0.0.1", "file://"]
)
def test_a_foreign_origin_is_refused(site: Site, origin: str) -> None:
    before = len(site.room.pieces)
    answer = site.client.post("/new/check", data=FORM, headers={"Origin": origin})
    assert answer.status_code == 403
    assert site.client.get("/", headers={"Origin": origin}).status_code == 403
    assert len(site.room.pieces) == before


def test_a_form_without_an_origin_or_from_another_port_is_refused(site: Site) -> None:
    cookie = "; ".join(f"{k}={v}" for k, v in site.client.cookies.items())
    with site.stranger(Cookie=cookie) as client:
        assert client.get("/").status_code == 200
        assert client.post("/new/check", data=FORM).status_code == 403
    other = {"Sec-Fetch-Site": "same-site"}
    assert site.client.get("/", headers=other).status_code == 403


def test_every_answer_is_hardened(site: Site) -> None:
    answer = send(site, "/new/audit", TYPED)
    assert "airsense audit" in words(answer)
    pages = [answer, *(site.client.get(a) for a in ("/", "/new/compare", "/style.css", "/x"))]
    with site.stranger() as client:
        pages.append(client.get("/"))
    for page in pages:
        policy = page.headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "script-src" not in policy and "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert page.headers["x-content-type-options"] == "nosniff"
        assert page.headers["cache-control"] == "no-store"


# Paths


TRICKS = (
    "../../../etc/passwd",
    "..\\..\\windows\\system.ini",
    "/etc/passwd",
    "C:\\autoexec.bat",
    ".bashrc",
    "..",
    "con.csv",
    "a\x00b.csv",
    "x" * 1000 + ".csv",
    "\u202egnp.csv",
    "\U0001f697" * 300,
    "form.toml",
)


@pytest.mark.parametrize("name", TRICKS, ids=lambda n: ascii(n[:20]))
def test_a_name_is_made_safe(name: str) -> None:
    plain = safe_name(name)
    assert plain and plain == Path(plain).name and not plain.startswith(".")
    assert len(plain.encode()) < 255 and not re.search(r'[/\\:\x00<>"|?*]', plain)


def test_a_name_keeps_what_is_harmless() -> None:
    assert safe_name("../../etc/run 1 (hot).csv") == "run 1 (hot).csv"
    assert safe_name("C:\\logs\\Zug_ü-2.csv.gz") == "Zug_ü-2.csv.gz"


def test_a_name_is_never_a_path(site: Site, demo: DemoScenario) -> None:
    outside = set(site.folder.parent.iterdir())
    data = demo.after[0].read_bytes()
    page = send(site, "/new/check", FORM, [("logs", (name, data)) for name in TRICKS])
    assert "What was recognised" in page.text
    [piece] = site.room.pieces
    kept = [p for p in site.folder.rglob("*") if p.is_file() and p.name != "form.toml"]
    assert len(kept) == len(TRICKS)
    assert {p.parent for p in kept} == {piece.folder / "logs"}
    assert {p.read_bytes() for p in kept} == {data}
    assert set(site.folder.parent.iterdir()) == outside


def test_a_setup_cannot_point_at_the_disk(site: Site, demo: DemoScenario, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("top secret\n1\n")
    base = demo.engine_toml.read_text()
    for named in (str(secret), f"../../../..{secret}", "../table/maf_table.csv"):
        broken = base + f'\n[compressor_map]\nfile = "{named}"\n'
        breathing = base.replace("\n[engine]\n", f'\n[engine]\nvolumetric_efficiency = "{named}"\n')
        for text in (broken, breathing):
            given = [("engine", ("e.toml", text.encode())), *files(logs=demo.after[:1])]
            page = send(site, "/new/check", {}, given)
            assert five(page) == PARTS and "top secret" not in page.text
            assert "names a file that was not given with it" in words(page)
    claims = f'table = "{secret}"\n[engine]\ndisplacement_l = 2.0\ncylinders = 4\n'
    claims += 'ignition = "spark"\n'
    page = send(site, "/new/audit", {}, [("claims", ("c.toml", claims.encode()))])
    assert "names a file that was not given with it" in words(page)


def test_a_table_beside_the_setup_is_found(site: Site, demo: DemoScenario) -> None:
    claims = 'table = "results.csv"\n[engine]\ndisplacement_l = 2.99\ncylinders = 6\n'
    claims += 'ignition = "compression"\n'
    table = "intake,engine speed [rpm],power [kW]\nstock,3000,120\nopen,3000,131\n"
    given = [
        ("claims", ("c.toml", claims.encode())),
        ("claims", ("results.csv", table.encode())),
    ]
    got = saved(site, send(site, "/new/audit", {}, given))
    assert len(json.loads(got["airsense-audit.json"])["verdicts"]) == 1


def test_a_file_is_given_by_listed_names_only(site: Site) -> None:
    page = send(site, "/new/audit", TYPED)
    for name in ("..%2f..%2fform.toml", "%2e%2e", "..%2Fclaims%2Fform.toml", "form.toml", "%00"):
        answer = site.client.get(f"{page.url.path}/files/{name}")
        assert answer.status_code == 404, name


def test_markup_stays_text(site: Site, demo: DemoScenario) -> None:
    hostile = "<script>alert(1)</script>"
    text = demo.after[0].read_text().replace("lambda (-)", hostile)
    given = [("logs", (f"{hostile}.csv", text.encode()))]
    page = send(site, "/new/check", {**FORM, "name": hostile}, given)
    assert "What was recognised" in page.text and hostile not in page.text
    assert html.escape(hostile) in page.text or "&lt;script&gt;" in page.text
    form = site.client.get(f"{page.url.path}/form")
    assert hostile not in form.text


def test_no_page_needs_a_script(site: Site) -> None:
    for address in ("/", "/new/compare", "/new/check", "/new/rescale", "/new/audit"):
        page = site.client.get(address)
        assert "<script" not in page.text and " on" + "click" not in page.text
        assert "certifies nothing" in page.text and "can injure and destroy" in page.text


# The end


def test_removed_work_is_gone(site: Site, demo: DemoScenario) -> None:
    page = site.client.post("/new/check", data=FORM, files=files(logs=demo.after))
    piece = site.room.pieces[0]
    assert piece.stands is Stands.BUSY and "At work" in page.text
    site.client.post(f"/work/{piece.number}/remove")
    assert not piece.folder.exists()
    assert site.client.get(f"/work/{piece.number}").status_code == 404


START = "from airsense.cli.main import main; main()"


def test_the_table_holds_so_much_and_no_more(site: Site) -> None:
    for _ in range(MOST_PIECES):
        site.room.new(KINDS["check"])
    page = send(site, "/new/check", FORM)
    assert page.status_code == 400 and "too many pieces of work" in words(page)
    assert len(site.room.pieces) == MOST_PIECES


def test_a_crash_of_the_work_is_told(site: Site, demo: DemoScenario) -> None:
    page = site.client.post("/new/check", data=FORM, files=files(logs=demo.after))
    piece = site.room.pieces[0]
    while piece.process is None:
        time.sleep(0.01)
    piece.process.kill()
    page = settled(site, page)
    assert five(page) == PARTS and "not your mistake" in words(page)
    assert "What was recognised" in send(site, f"/work/{piece.number}/form", FORM).text


def started(*options: str) -> tuple[subprocess.Popen[str], str]:
    process = subprocess.Popen(
        [sys.executable, "-c", START, "serve", "--no-open", *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    return process, process.stdout.readline().strip()


def folders(folder: Path) -> list[Path]:
    return list(folder.glob("airsense-*"))


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP, "page"])
def test_nothing_is_left_at_the_end(
    how: Any, demo: DemoScenario, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    process, address = started()
    try:
        base, _, key = address.partition("/?key=")
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+", base) and len(key) >= 32
        assert len(folders(tmp_path)) == 1
        assert folders(tmp_path)[0].stat().st_mode & 0o077 == 0, "nobody else may look"
        with httpx.Client(base_url=base, headers={"Origin": base}, timeout=30.0) as client:
            client.get("/", params={"key": key})
            given = files(logs=demo.after)
            page = client.post("/new/check", data=FORM, files=given, follow_redirects=True)
            assert "At work" in page.text, "it is ended in the middle of its work"
            if how == "page":
                assert "has ended" in client.post("/end").text
            else:
                process.send_signal(how)
            assert process.wait(timeout=20) == 0
        assert list(tmp_path.iterdir()) == []
    finally:
        process.kill()
        out, err = process.communicate()
    assert out == "", "the first line is the only one"
    assert "Traceback" not in err and key not in err


def test_it_listens_on_this_computer_only_and_takes_a_port() -> None:
    port = free_port()
    process, address = started("--port", str(port))
    try:
        assert address.startswith(f"http://127.0.0.1:{port}/?key=")
        with socket.socket() as door, pytest.raises(OSError):
            door.connect(("127.0.0.2", port))
        second, nothing = started("--port", str(port))
        _, err = second.communicate(timeout=30)
        assert nothing == "" and second.returncode == 1
        assert "the port cannot be used" in err and "fix: " in err
    finally:
        process.terminate()
        process.communicate(timeout=20)


def test_values_go_to_toml_and_back() -> None:
    data = {
        "plain": 'a "quoted" \\ text\nof two lines\x7f\u20ac',
        "engine": {"x": 1, "y": 2.5, "on": True, "list": [1, "b"]},
        "weather": {"before": {"t": -3.0}, "after": {"t": 4}},
        "claim": [{"from": "a b", "quantity": "q"}, {"from": "c"}],
        "odd key.": {"Air [g/s]": "x", "": "y"},
    }
    assert tomllib.loads(toml_text(data)) == data


# In a real browser


def drop(browser: Any, selector: str, paths: Sequence[Path]) -> None:
    """Drop files on a tray, as a person does with the mouse."""
    x, y = browser.execute_script(
        """const e = document.querySelector(arguments[0]); e.scrollIntoView({block: 'center'});
        const b = e.getBoundingClientRect(); return [b.x + b.width * .8, b.y + b.height / 2];""",
        selector,
    )
    data = {"items": [], "files": [str(p) for p in paths], "dragOperationsMask": 1}
    for kind in ("dragEnter", "dragOver", "drop"):
        browser.execute_cdp_cmd(
            "Input.dispatchDragEvent", {"type": kind, "x": x, "y": y, "data": data}
        )
    count = browser.execute_script(
        "return document.querySelector(arguments[0]).files.length", selector
    )
    assert count == len(paths), "the tray took them"


def wait_for(browser: Any, selector: str) -> Any:
    from selenium.common.exceptions import StaleElementReferenceException, WebDriverException
    from selenium.webdriver.support.ui import WebDriverWait

    waiting = WebDriverWait(
        browser, LONGEST_WAIT_S, ignored_exceptions=(StaleElementReferenceException,)
    )
    try:
        return waiting.until(lambda b: b.find_element("css selector", selector))
    except WebDriverException:
        pytest.fail(f"no {selector} on {browser.find_element('tag name', 'body').text[:500]}")


def press(browser: Any, selector: str) -> None:
    browser.find_element("css selector", selector).click()


def faults(browser: Any) -> list[Any]:
    browser.execute_script(axe_source())
    found = browser.execute_async_script(
        """const done = arguments[arguments.length - 1];
        axe.run().then(r => done({violations: r.violations.map(v =>
          [v.id, v.impact, v.nodes.slice(0, 3).map(n => n.html.slice(0, 160))]),
          passes: r.passes.length}));"""
    )
    assert found["passes"] > 10
    return [v for v in found["violations"] if v[1] in ("serious", "critical")]


def fits(browser: Any) -> bool:
    """Whether the page can be read on a phone without scrolling sideways."""
    size = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    size |= {"width": 1200, "height": 900, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    return bool(wide <= 360)


@pytest.fixture
def online(browser: Any, site: Site) -> Iterator[Any]:
    """Yield the browser with this computer within reach, inside the door."""
    network = {"offline": False, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
    browser.execute_cdp_cmd("Network.emulateNetworkConditions", network)
    browser.get(f"{site.base}/?key={KEY}")
    assert browser.current_url == f"{site.base}/"
    for kind in ("browser", "performance"):
        browser.get_log(kind)
    yield browser


def typed(browser: Any, values: dict[str, str]) -> None:
    for name, value in values.items():
        field = browser.find_element("name", name)
        if field.tag_name == "input":
            field.clear()
        field.send_keys(value)


WORDS_OF_THE_FORM = {
    "displacement_l": "2,99",
    "cylinders": "6",
    "ignition": "compression",
    "place": "after",
}


@pytest.mark.parametrize(
    ("kind", "trays", "script"),
    [
        ("compare", {"before": "before", "after": "after"}, True),
        ("compare", {"before": "before", "after": "after"}, False),
        ("check", {"logs": "after"}, True),
        ("check", {"logs": "after"}, False),
        ("rescale", {"logs": "after", "baseline": "before", "table": "tables"}, True),
        ("rescale", {"logs": "after", "baseline": "before", "table": "tables"}, False),
    ],
    ids=[
        f"{kind}{tail}"
        for kind in ("compare", "check", "rescale")
        for tail in ("", " without script")
    ],
)
def test_in_the_browser_from_dropped_logs_to_the_verdict(
    online: Any, demo: DemoScenario, kind: str, trays: dict[str, str], script: bool
) -> None:
    given = {"before": demo.before, "after": demo.after, "tables": (demo.table,)}
    press(online, f'a[href="/new/{kind}"]')
    online.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not script})
    try:
        online.refresh()
        for tray, of in trays.items():
            drop(online, f"#tray-{tray}", given[of])
        typed(online, WORDS_OF_THE_FORM)
        if script:
            assert faults(online) == [] and fits(online)
        press(online, ".go button")
        wait_for(online, 'button[name="answer"]')
        if script:
            assert faults(online) == [] and fits(online)
        press(online, 'button[name="answer"]')
        verdict = wait_for(online, "article .verdict").text
        assert verdict and wait_for(online, ".sentence").text
        assert "Save" in online.find_element("css selector", 'nav[aria-label="This work"]').text
        assert "certifies nothing" in online.find_element("tag name", "body").text
        if script:
            assert faults(online) == [] and fits(online)
    finally:
        online.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert [e for e in online.get_log("browser") if "favicon" not in e["message"]] == []


@pytest.mark.parametrize("script", [True, False], ids=["", "without script"])
def test_in_the_browser_typed_claims(online: Any, script: bool) -> None:
    press(online, 'a[href="/new/audit"]')
    online.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": not script})
    try:
        online.refresh()
        quiet = {k: v for k, v in TYPED.items() if not k.startswith("claim-1")}
        typed(online, {k: v.replace("_", " ") for k, v in quiet.items()})
        if script:
            assert faults(online) == [] and fits(online)
        press(online, ".go button")
        assert wait_for(online, "article .verdict").text
        if script:
            assert faults(online) == []
    finally:
        online.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})


def test_in_the_browser_bad_and_large_files_are_told(
    online: Any, site: Site, tmp_path: Path
) -> None:
    bad, large = tmp_path / "bad.csv", tmp_path / "large.csv"
    bad.write_bytes(b"\x00\x01 no log")
    large.write_bytes(b"1,2\n" * 5_000_000)
    for file in (bad, large):
        online.get(f"{site.base}/new/check")
        drop(online, "#tray-logs", [file])
        typed(online, WORDS_OF_THE_FORM)
        press(online, ".go button")
        told = wait_for(online, '[role="alert"]').text
        assert all(part in told for part in PARTS)
        assert faults(online) == [] and fits(online)
    assert "at most 0.6 MB" in told


def test_in_the_browser_the_start_page_is_for_everyone(online: Any) -> None:
    assert faults(online) == [] and fits(online)
