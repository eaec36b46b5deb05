"""What a page of ours is looked at with: Chromium without a driver package, and a small list of demands.

The demands are those that can be checked by counting: nothing is wider than the window, everything has the
contrast, the names and the heads that a reader who sees little or nothing relies on (WCAG 2.2: 1.1.1, 1.3.1,
1.4.3, 1.4.10, 2.4.2, 3.1.1), and every link inside the page leads somewhere.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

__all__ = ["FAULTS", "faults_of", "open_browser", "opened"]

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

FAULTS = r"""
(everything) => {
  const faults = [], say = (rule, e) => faults.push(rule + ": " + (e.outerHTML || "").slice(0, 120));
  const all = [...document.querySelectorAll("body *")];
  const shown = e => e.checkVisibility() && !e.closest("[aria-hidden=true]");
  if (document.documentElement.lang !== "en") faults.push("language of the page");
  if (!document.title.trim()) faults.push("title of the page");
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth)
    faults.push(`page is ${root.scrollWidth} wide in ${root.clientWidth}`);
  for (const e of all) {
    if (e.ownerSVGElement || !shown(e)) continue;
    if (!everything && e.parentElement.closest(".wide")) continue;
    const box = e.getBoundingClientRect();
    if (box.width && (box.right > root.clientWidth + 1 || box.left < -1)) say("outside the window", e);
  }
  let level = 0;
  const heads = [...document.querySelectorAll("h1,h2,h3,h4,h5,h6")];
  if (heads.filter(h => h.tagName === "H1").length !== 1) faults.push("not one h1");
  for (const h of heads) {
    const own = Number(h.tagName[1]);
    if (own > level + 1) say("level of heading skipped", h);
    if (!h.textContent.trim()) say("empty heading", h);
    level = own;
  }
  for (const e of document.querySelectorAll("svg,img"))
    if (!e.closest("[aria-hidden=true]") && !(e.getAttribute("aria-label") || e.alt || "").trim())
      say("picture without words", e);
  for (const t of document.querySelectorAll("table")) {
    if (!t.caption || !t.caption.textContent.trim()) say("table without a caption", t);
    const cells = [...t.querySelectorAll("thead th")];
    if (!cells.length || cells.some(c => c.scope !== "col" || !c.textContent.trim()))
      say("heads of a table", t);
    for (const row of t.tBodies[0] ? t.tBodies[0].rows : [])
      if ([...row.cells].some(c => c.tagName === "TH" && !c.scope)) say("head of a row", row);
  }
  const ids = all.map(e => e.id).filter(Boolean);
  const twice = ids.filter((id, i) => ids.indexOf(id) !== i);
  if (ids.length < 5000 && twice.length) faults.push("the same id twice: " + twice.slice(0, 5));
  const known = new Set(ids);
  for (const a of document.querySelectorAll("a")) {
    if (!a.textContent.trim()) say("link without words", a);
    if (a.hash && !known.has(decodeURIComponent(a.hash.slice(1)))) say("link to nowhere", a);
  }
  for (const e of document.querySelectorAll("[role=region]"))
    if (!(e.getAttribute("aria-label") || "").trim()) say("region without a name", e);
  const parse = c => { const m = c.match(/[\d.]+/g).map(Number); return m.length < 4 ? [...m, 1] : m; };
  const linear = v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => [r, g, b].map(v => linear(v / 255))
    .reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
  const behind = e => {
    for (; e; e = e.parentElement) {
      const c = parse(getComputedStyle(e).backgroundColor);
      if (c[3] > 0) return c;
    }
    return [255, 255, 255, 1];
  };
  const told = new Set();
  for (const e of all) {
    if (e.ownerSVGElement || e.tagName === "svg" || !shown(e)) continue;
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
    const style = getComputedStyle(e), a = light(parse(style.color)), b = light(behind(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05), px = parseFloat(style.fontSize);
    const big = px >= 24 || (px >= 18.66 && Number(style.fontWeight) >= 700);
    const key = style.color + behind(e);
    if (ratio < (big ? 3 : 4.5) && !told.has(key)) { told.add(key); say(`contrast ${ratio.toFixed(2)}`, e); }
  }
  return faults;
}
"""


@contextmanager
def open_browser() -> Iterator[Any]:
    """Give a Chromium with a new empty profile, or skip where there is none."""
    sync_api = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no Chromium (Debian: apt-get install chromium)")
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=FLAGS, headless=True)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def opened(
    browser: Any, file: Path, *, width: int, scheme: str = "light", media: str = "screen"
) -> Iterator[Any]:
    """Open a file and hold that it says nothing to the console and asks for nothing else."""
    page = browser.new_page(viewport={"width": width, "height": 1080})
    noises: list[str] = []
    page.on("console", lambda message: noises.append(f"console: {message.text}"))
    page.on("pageerror", lambda error: noises.append(f"error: {error}"))
    page.on("request", lambda request: noises.append(f"request: {request.url[:200]}"))
    page.emulate_media(color_scheme=scheme, media=media)
    try:
        page.goto(file.as_uri())
        yield page
        others = [noise for noise in noises if noise != f"request: {file.as_uri()[:200]}"]
        assert not others, others
    finally:
        page.close()


def faults_of(page: Any, *, everything: bool = False) -> list[str]:
    """Return what the page does not keep of the demands; `everything`: what may scroll on a screen too."""
    found: list[str] = page.evaluate(FAULTS, everything)
    return found
