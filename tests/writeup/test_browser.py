"""The web page in a real browser without a window: it opens offline, and page one prints on one sheet."""

from __future__ import annotations

import io
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from pypdf import PdfReader
from writeup.test_pdf import dug
from writeup.test_render import hostile

from diag.reason.judge import Engine
from diag.writeup.page.audience import AUDIENCES
from diag.writeup.page.html import render_html
from diag.writeup.story.model import Story

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


def printed(html: str, folder: Path) -> PdfReader:
    """Print a page with the browser and return what came out."""
    if BROWSER is None:
        if os.environ.get("CI"):
            pytest.fail("chromium is not installed")
        pytest.skip("chromium is not installed")
    page, out = folder / "page.html", folder / "page.pdf"
    page.write_text(html, encoding="utf-8")
    subprocess.run(
        [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={folder}/own", f"--print-to-pdf={out}", page.as_uri()],
        check=True, capture_output=True, timeout=120)
    return PdfReader(io.BytesIO(out.read_bytes()))


@pytest.mark.parametrize("audience", ["claim", "customer"])
def test_page_one_prints_alone(story: Story, tmp_path: Path, audience: str) -> None:
    """One sheet with the verdict on it; the appendix stays on the screen."""
    pages = printed(render_html(story, audience), tmp_path).pages
    assert 1 == len(pages)
    text = " ".join(pages[0].extract_text().split())
    assert "20 inH2O" in text
    assert "Fitted one new vacuum seal" in text


def test_pictures_are_drawn(engine: Engine, tmp_path: Path) -> None:
    """The words of the pictures come out of the browser's own print."""
    text = " ".join(printed(render_html(dug(engine, True), "claim"), tmp_path).pages[0].extract_text().split())
    assert "before" in text
    assert "10 ft" in text


@pytest.mark.parametrize("audience", AUDIENCES)
def test_the_page_asks_for_nothing_outside(engine: Engine, story: Story, audience: str) -> None:
    """No address is loaded and no script runs, whatever people wrote; light and dark are both told."""
    for told in (story, hostile(engine)):
        page = render_html(told, audience)
        assert "prefers-color-scheme:dark" in page
        assert "<script" not in page
        assert [] == re.findall(r"<(?:img|link|iframe|a)[^>]+(?:src|href)=\"(?!data:image/jpeg)", page)
        assert "<b>bold</b>" not in page.replace("<p><b>", "<p>")
