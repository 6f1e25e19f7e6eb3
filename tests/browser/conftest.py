"""A real JupyterLab on this machine, and a headless browser that looks at it."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from importlib.util import find_spec
from pathlib import Path

import pytest

FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--disable-dev-shm-usage", "--window-size=1200,1600"),
)
TOKEN = "only-for-this-test"


def pytest_collection_modifyitems(items):
    missing = [name for name in ("chromium", "chromedriver") if shutil.which(name) is None]
    missing += [name for name in ("jupyterlab", "selenium") if find_spec(name) is None]
    if missing:
        mark = pytest.mark.skip(reason=f"not installed: {', '.join(missing)}")
        for item in items:
            if Path(__file__).parent in item.path.parents:
                item.add_marker(mark)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="session")
def lab(tmp_path_factory):
    """Address and folder of a JupyterLab of its own, with no settings of the user's."""
    folder = tmp_path_factory.mktemp("lab")
    port, home = free_port(), tmp_path_factory.mktemp("home")
    environment = os.environ | {
        "HOME": str(home),
        "JUPYTER_CONFIG_DIR": str(home),
        "JUPYTER_RUNTIME_DIR": str(home),
        "PYTHONWARNINGS": "default",
    }
    command = [
        *(sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1"),
        *(f"--port={port}", f"--IdentityProvider.token={TOKEN}", "--allow-root"),
        *(f"--ServerApp.root_dir={folder}", "--expose-app-in-browser"),
    ]
    with (home / "log").open("w") as log:
        server = subprocess.Popen(
            command, cwd=folder, env=environment, stdout=log, stderr=subprocess.STDOUT
        )
    try:
        wait_for(f"http://127.0.0.1:{port}/api?token={TOKEN}", server, home / "log")
        yield f"http://127.0.0.1:{port}", folder
    finally:
        server.terminate()
        server.wait(timeout=20)


def wait_for(address: str, server: subprocess.Popen, log: Path) -> None:
    for _ in range(900):
        if server.poll() is not None:
            break
        try:
            urllib.request.urlopen(address, timeout=2).close()
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
        else:
            return
    raise RuntimeError(f"JupyterLab did not start: {log.read_text()[-2000:]}")


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """Headless Chromium with an empty profile."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium")
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    yield driver
    driver.quit()
