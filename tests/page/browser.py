"""A headless browser for the tests of a page; what it draws, asks for and saves is read from it."""

import base64
import json
import shutil
import time
from pathlib import Path
from typing import Any

import pytest

LONG = 120.0  # s, for a script that reads the whole page
SHORT = 15.0  # s, until a page is ready or a file is there: many times what either takes


class Browser:
    """Chromium, driven; files that a page saves go to a folder."""

    def __init__(self, folder: Path) -> None:
        webdriver = pytest.importorskip("selenium.webdriver")
        service = pytest.importorskip("selenium.webdriver.chrome.service")
        chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
        if chromium is None or driver is None:
            pytest.skip("chromium and chromedriver are not installed")
        options = webdriver.ChromeOptions()
        options.binary_location = chromium
        for argument in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
            options.add_argument(argument)
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        self.driver = webdriver.Chrome(options=options, service=service.Service(driver))
        self.folder = folder
        self.tabs: dict[Path, str] = {}
        self.driver.set_script_timeout(LONG)
        self.driver.execute_cdp_cmd(
            "Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(folder)}
        )

    def open(self, path: Path, width: int = 1280) -> None:
        """Open a file and wait until its script is done."""
        self.resize(width)
        self.driver.get(path.as_uri())
        end = time.monotonic() + SHORT
        ready = "return !document.scripts.length || document.documentElement.dataset.ready === 'yes'"
        while not self.js(ready):
            assert time.monotonic() < end, self.driver.get_log("browser")
            time.sleep(0.02)

    def show(self, path: Path) -> None:
        """A file in a tab of its own, opened once, at the usual width and on a light screen."""
        if path in self.tabs:
            self.driver.switch_to.window(self.tabs[path])
            self.media()
            self.resize(1280)
            return
        self.driver.switch_to.new_window("tab")
        self.tabs[path] = self.driver.current_window_handle
        self.media()
        self.open(path)

    def resize(self, width: int, height: int = 900) -> None:
        """Give the page a width; its script follows after a moment."""
        metrics = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
        self.driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)

    def media(self, kind: str = "", scheme: str = "light") -> None:
        """Paper or screen, and the reader's choice of dark or light."""
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": kind, "features": features})

    def js(self, code: str, *arguments: Any) -> Any:
        """What a piece of script returns."""
        return self.driver.execute_script(code, *arguments)

    def press(self, selector: str, *keys: str) -> None:
        """Keys on the element of a selector."""
        from selenium.webdriver.common.by import By

        self.driver.find_element(By.CSS_SELECTOR, selector).send_keys(*keys)

    def click(self, selector: str) -> None:
        """A click as a reader's: on what lies there."""
        self.js("document.querySelector(arguments[0]).scrollIntoView({block: 'center'})", selector)
        from selenium.webdriver.common.by import By

        self.driver.find_element(By.CSS_SELECTOR, selector).click()

    def saved(self, selector: str, name: str) -> bytes:
        """The file that a button gives."""
        path = self.folder / name
        path.unlink(missing_ok=True)
        time.sleep(0.12)  # Chromium drops what is saved more than ten times within a second
        self.click(selector)
        end = time.monotonic() + SHORT
        # an empty file holds the place while the browser writes beside it
        while not path.exists() or not path.stat().st_size or [*self.folder.glob("*.crdownload")]:
            assert time.monotonic() < end, f"{name} was not saved"
            time.sleep(0.02)
        return path.read_bytes()

    def printed(self, width: float, height: float) -> bytes:
        """The page on paper, as PDF; sizes in inches."""
        size = {
            "paperWidth": width,
            "paperHeight": height,
            "printBackground": True,
            "preferCSSPageSize": False,
        }
        return base64.b64decode(self.driver.execute_cdp_cmd("Page.printToPDF", size)["data"])

    def asked_for(self) -> list[str]:
        """Addresses that were asked for since the last time, the data within the page left out."""
        found = []
        for entry in self.driver.get_log("performance"):
            message = json.loads(entry["message"])["message"]
            if message["method"] == "Network.requestWillBeSent":
                found.append(message["params"]["request"]["url"])
        return [url for url in found if not url.startswith(("data:", "blob:"))]
