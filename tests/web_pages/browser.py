"""A real browser without a window: what a page logs, asks the network for, and shows."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import axe_selenium_python
import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

AXE = Path(axe_selenium_python.__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
"""Rules of accessibility (WCAG 2), the engine axe-core as the package axe-selenium-python ships it."""


def require_browser() -> None:
    """Skips where no Chromium is found; fails in CI, which installs it."""
    if shutil.which("chromium") and shutil.which("chromedriver"):
        return
    if os.environ.get("CI"):
        pytest.fail("Chromium and its driver are needed in CI")
    pytest.skip("Chromium and its driver are not installed")


@contextmanager
def opened(page: Path, *, dark: bool = False) -> Iterator[webdriver.Chrome]:
    """The page in headless Chromium."""
    require_browser()
    options = webdriver.ChromeOptions()
    for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=1200,1600"):
        options.add_argument(argument)
    if dark:
        options.add_argument("--blink-settings=preferredColorScheme=0")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    try:
        driver.get(page.resolve().as_uri())
        yield driver
    finally:
        driver.quit()


def asked_for(driver: webdriver.Chrome) -> list[str]:
    """What the page asked for, besides itself."""
    messages = [json.loads(entry["message"])["message"] for entry in driver.get_log("performance")]
    urls = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
    return [url for url in urls if url != driver.current_url and not url.startswith(("data:", "chrome"))]


def violations(driver: webdriver.Chrome) -> list[str]:
    """Serious and critical violations of accessibility."""
    driver.execute_script(AXE.read_text(encoding="utf-8"))
    found: dict[str, Any] = driver.execute_async_script("axe.run(document).then(arguments[arguments.length - 1])")
    return [
        f"{fault['id']}: {fault['nodes'][0]['html'][:200]}"
        for fault in found["violations"]
        if fault["impact"] in ("serious", "critical")
    ]
