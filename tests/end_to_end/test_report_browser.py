"""Every page in a real browser: offline, without scripts, on a phone, on paper, for all readers."""

from __future__ import annotations

import base64
import copy
import io
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from airsense.report.as_json import to_plain
from airsense.report.html import render_page
from tests.report_results import KINDS, result_of

pytestmark = pytest.mark.slow
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")
PHONE = (360, 740)
DESK = (1200, 900)
A4_IN = (8.27, 11.69)
LETTER_IN = (8.5, 11.0)
HOSTILE = "<script>document.title='owned'</script><img src=x onerror=\"document.title='owned'\">"
CAMPAIGN = Path(__file__).parents[1] / "golden" / "results" / "campaign.json"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Yield a headless browser without network."""
    if CHROMIUM is None or DRIVER is None:
        pytest.skip("chromium and chromedriver are not installed (Debian: chromium-driver)")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    driver.execute_cdp_cmd("Network.enable", {})
    driver.execute_cdp_cmd(
        "Network.emulateNetworkConditions",
        {"offline": True, "latency": 0, "downloadThroughput": 0, "uploadThroughput": 0},
    )
    yield driver
    driver.quit()


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Return one page of each kind, and one of a campaign of two configurations."""
    folder = tmp_path_factory.mktemp("pages")
    made = {kind: to_plain(result_of(kind)) for kind in KINDS}
    made["campaign"] = json.loads(CAMPAIGN.read_text("utf-8"))
    for name, plain in made.items():
        (folder / f"{name}.html").write_text(render_page(plain), encoding="utf-8")
    return {name: folder / f"{name}.html" for name in made}


NAMES = (*KINDS, "campaign")
each_page = pytest.mark.parametrize("name", NAMES)


def show(browser: Any, page: Path, size: tuple[int, int] = DESK) -> None:
    """Open a page from disk in a window of a size."""
    width, height = size
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": size is PHONE},
    )
    for kind in ("browser", "performance"):
        browser.get_log(kind)
    browser.get(page.as_uri())


@each_page
def test_it_opens_from_disk_without_a_word_on_the_console(
    browser: Any, pages: dict[str, Path], name: str
) -> None:
    show(browser, pages[name])
    assert browser.get_log("browser") == []
    assert browser.execute_script("return document.contentType") == "text/html"
    assert browser.title.startswith("airsense ")


@each_page
def test_it_asks_the_network_for_nothing(browser: Any, pages: dict[str, Path], name: str) -> None:
    show(browser, pages[name])
    asked = [
        message["params"]["request"]["url"]
        for entry in browser.get_log("performance")
        if (message := json.loads(entry["message"])["message"])["method"]
        == "Network.requestWillBeSent"
    ]
    assert [url for url in asked if not url.startswith("data:")] == [pages[name].as_uri()]


@each_page
def test_it_needs_no_script(browser: Any, pages: dict[str, Path], name: str) -> None:
    show(browser, pages[name])
    with_scripts = browser.execute_script("return document.body.innerText")
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        show(browser, pages[name])
        shot = browser.execute_cdp_cmd("Page.captureScreenshot", {})
        image = np.asarray(Image.open(io.BytesIO(base64.b64decode(shot["data"]))).convert("L"))
        assert np.mean(image < 128) > 0.005, "there is ink on the first screen"
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert len(with_scripts) > 500


@each_page
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_it_does_not_scroll_sideways(
    browser: Any, pages: dict[str, Path], name: str, size: tuple[int, int]
) -> None:
    show(browser, pages[name], size)
    wide = browser.execute_script(
        "return Math.max(document.documentElement.scrollWidth, document.body.scrollWidth)"
    )
    assert wide <= size[0]
    outside = browser.execute_script(
        """const wide = document.documentElement.clientWidth;
        return [...document.querySelectorAll('main *')].filter(e => {
          if (e.closest('.scroll, svg')) return false;
          const box = e.getBoundingClientRect();
          return box.width > 0 && (box.right > wide + 1 || box.left < -1);
        }).map(e => e.outerHTML.slice(0, 80));"""
    )
    assert outside == []


@each_page
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_figures_are_seen_and_their_words_can_be_selected(
    browser: Any, pages: dict[str, Path], name: str, size: tuple[int, int]
) -> None:
    if name == "channels":
        pytest.skip("a list of channels has no figure")
    show(browser, pages[name], size)
    boxes = browser.execute_script(
        """return [...document.querySelectorAll('figure svg')].map(s => {
          const box = s.getBoundingClientRect();
          return [box.width, box.height, s.querySelectorAll('text').length];
        });"""
    )
    assert boxes
    for width, height, words in boxes:
        assert width > 280 and height > 80 and words > 3
    shot = browser.execute_cdp_cmd(
        "Page.captureScreenshot", {"captureBeyondViewport": True, "clip": _first_figure(browser)}
    )
    image = np.asarray(Image.open(io.BytesIO(base64.b64decode(shot["data"]))).convert("RGB"))
    assert len(np.unique(image.reshape(-1, 3), axis=0)) > 20, "the figure is drawn"


def _first_figure(browser: Any) -> dict[str, float]:
    box: dict[str, float] = browser.execute_script(
        """const b = document.querySelector('figure svg').getBoundingClientRect();
        return {x: b.x + scrollX, y: b.y + scrollY, width: b.width, height: b.height, scale: 1};"""
    )
    return box


@each_page
def test_words_in_figures_stay_inside_and_apart(
    browser: Any, pages: dict[str, Path], name: str
) -> None:
    """In the browser's own font, which is not the one the figure was laid out with."""
    show(browser, pages[name])
    faults = browser.execute_script(
        """const faults = [];
        for (const svg of document.querySelectorAll('figure svg')) {
          const page = svg.getBoundingClientRect();
          const words = [...svg.querySelectorAll('text')].filter(t => t.textContent.trim());
          const turned = /rotate\\((?!-?0 )/;
          const flat = words.filter(t => !turned.test(t.getAttribute('transform') || ''));
          for (const word of words) {
            const box = word.getBoundingClientRect();
            if (box.left < page.left - 2 || box.right > page.right + 2
                || box.top < page.top - 2 || box.bottom > page.bottom + 2)
              faults.push('outside: ' + word.textContent);
          }
          const boxes = flat.map(t => [t.textContent, t.getBoundingClientRect()]);
          for (let i = 0; i < boxes.length; i++) for (let k = i + 1; k < boxes.length; k++) {
            const [a, b] = [boxes[i][1], boxes[k][1]];
            const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
            const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
            if (across > 2 && down > 0.35 * Math.min(a.height, b.height))
              faults.push(boxes[i][0] + ' over ' + boxes[k][0]);
          }
        }
        return faults;"""
    )
    assert faults == []


@each_page
@pytest.mark.parametrize("paper", [A4_IN, LETTER_IN], ids=["a4", "letter"])
def test_it_prints(
    browser: Any, pages: dict[str, Path], name: str, paper: tuple[float, float]
) -> None:
    show(browser, pages[name])
    printed = browser.execute_cdp_cmd(
        "Page.printToPDF",
        {"paperWidth": paper[0], "paperHeight": paper[1], "printBackground": True},
    )
    data = base64.b64decode(printed["data"])
    assert data.startswith(b"%PDF")
    count = data.count(b"/Type /Page\n") or data.count(b"/Type/Page")
    assert 1 <= count <= 40
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    inner = int((paper[0] - 26.0 / 25.4) * 96)
    show(browser, pages[name], (inner, 900))
    wide = browser.execute_script(
        """return [...document.querySelectorAll('main *')].filter(e => !e.closest('svg'))
        .filter(e => e.getBoundingClientRect().right > document.documentElement.clientWidth + 2)
        .map(e => e.outerHTML.slice(0, 80));"""
    )
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    assert wide == [], "nothing runs off the paper"


def axe_source() -> str:
    """Return the code of axe-core: of the file that AXE_CORE_JS names, or of axe-core-python."""
    named = os.environ.get("AXE_CORE_JS")
    if named:
        return Path(named).read_text("utf-8")
    package = pytest.importorskip("axe_core_python", reason="axe-core-python is not installed")
    return (Path(package.__file__).parent / "axe.min.js").read_text("utf-8")


@each_page
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_it_can_be_read_by_everyone(
    browser: Any, pages: dict[str, Path], name: str, size: tuple[int, int]
) -> None:
    show(browser, pages[name], size)
    browser.execute_script(axe_source())
    found = browser.execute_async_script(
        """const done = arguments[arguments.length - 1];
        axe.run().then(r => done({violations: r.violations.map(v =>
          [v.id, v.impact, v.nodes.slice(0, 3).map(n => n.html.slice(0, 120))]),
          passes: r.passes.length}));"""
    )
    assert found["passes"] > 10
    assert [v for v in found["violations"] if v[1] in ("serious", "critical")] == []


def test_the_reader_of_faults_sees_a_fault(browser: Any, tmp_path: Path) -> None:
    page = tmp_path / "bad.html"
    page.write_text("<html><body><img src='x.png'><p style='color:#ccc'>pale</p></body></html>")
    show(browser, page)
    browser.execute_script(axe_source())
    found = browser.execute_async_script(
        """const done = arguments[arguments.length - 1];
        axe.run().then(r => done(r.violations.map(v => v.impact)));"""
    )
    assert {"serious", "critical"} & set(found)


def test_markup_in_names_stays_text(browser: Any, tmp_path: Path) -> None:
    plain = copy.deepcopy(to_plain(result_of("check")))
    plain["engine"] = HOSTILE
    plain["channels"][0]["header"] = HOSTILE
    plain["inputs"][0]["path"] = HOSTILE
    plain["estimates"][0]["reason"] = HOSTILE
    for curve in plain["curves"]["flows"]:
        curve["configuration"] = HOSTILE
    page = tmp_path / "hostile.html"
    page.write_text(render_page(plain), encoding="utf-8")
    show(browser, page)
    assert "owned" not in browser.title.replace(HOSTILE, "")
    assert browser.execute_script("return document.images.length") == 0
    assert browser.execute_script("return document.scripts.length") == 1
    assert HOSTILE in browser.execute_script("return document.body.innerText")
    assert browser.get_log("browser") == []


def test_the_policy_stops_what_slips_through(browser: Any, tmp_path: Path) -> None:
    """Even markup that somebody puts into the file by hand neither runs nor calls home."""
    page = tmp_path / "planted.html"
    planted = "<script>document.title='owned'</script><img src='http://example.invalid/x.png'>"
    page.write_text(
        render_page(result_of("tube")).replace("</main>", planted + "</main>"), encoding="utf-8"
    )
    show(browser, page)
    assert browser.title != "owned"
    assert any(
        "Content Security Policy" in entry["message"] for entry in browser.get_log("browser")
    )


def test_the_saved_result_is_the_result(browser: Any, pages: dict[str, Path]) -> None:
    show(browser, pages["compare"])
    link = browser.execute_script("return document.querySelector('a[download]').href")
    held = browser.execute_script("return document.getElementById('result').textContent")
    saved = base64.b64decode(link.partition(",")[2]).decode("utf-8")
    assert json.loads(saved) == json.loads(held) == to_plain(result_of("compare"))


@each_page
def test_the_answer_is_on_the_first_screen_of_a_phone(
    browser: Any, pages: dict[str, Path], name: str
) -> None:
    if name == "channels":
        pytest.skip("a list of channels has no answer in a sentence")
    show(browser, pages[name], PHONE)
    bottom = browser.execute_script(
        "return document.querySelector('.sentence').getBoundingClientRect().bottom"
    )
    assert bottom < PHONE[1]
