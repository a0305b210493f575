"""What tests need beside Python packages: where it is missing they are skipped with a sentence that says how to get it.

With CI set in the environment a skip is a failure: there everything has to be installed.
"""

import ctypes
import ctypes.util
import os
import shutil
import sys
from pathlib import Path

import pytest

# Any of them is driven alike; the names under which systems install them. The first is Chromium without its windows:
# a page is open in half the time.
BROWSERS = (
    "chromium-headless-shell", "chromium", "chromium-browser", "google-chrome-stable", "google-chrome", "chrome",
    "microsoft-edge",
)  # fmt: skip
IN_FOLDERS = (
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
)


def missing(what, how):
    """Skip the test that asks, or fail it in CI."""
    sentence = f"{what} is not here: {how}"
    if os.environ.get("CI", "").lower() in ("1", "true", "yes"):
        pytest.fail(sentence)
    pytest.skip(sentence)


def program(name, package):
    """Path of a program."""
    return shutil.which(name) or missing(f"the program {name}", f"on Debian, apt-get install {package}.")


def browser():
    """Path of a browser; None where the driver has one of its own."""
    from playwright.sync_api import sync_playwright

    found = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    found = found or next((path for path in IN_FOLDERS if Path(path).exists()), None)
    if found:
        return found
    with sync_playwright() as play:
        if Path(play.chromium.executable_path).exists():
            return None
    return missing(
        "a browser",
        "on Debian, apt-get install chromium-headless-shell; elsewhere, "
        f"{Path(sys.executable).name} -m playwright install chromium.",
    )


def library(name, package):
    """A shared library by its Debian file name, such as libltc.so.11."""
    plain = name.removeprefix("lib").partition(".")[0]
    for each in filter(None, (name, ctypes.util.find_library(plain))):
        try:
            return ctypes.CDLL(each)
        except OSError:
            continue
    return missing(f"the library {name}", f"on Debian, apt-get install {package}.")
