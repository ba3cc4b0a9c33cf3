"""How a page looks, measured in a browser: size, place, colour and contrast of its texts."""

from __future__ import annotations

import json
import math
from functools import cache
from importlib.resources import files
from typing import Any

from playwright.sync_api import Page

PIXEL_MM = 24 * 25.4 / math.hypot(1920, 1080)
"""Millimetres in a pixel of a 24-inch screen with 1920 × 1080 pixels."""
FAR_MM, NEAR_MM = 3000.0, 1000.0

VISIBLE_TEXT = """() => {
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  const solid = (e) => { for (; e; e = e.parentElement) {
    const c = getComputedStyle(e).backgroundColor; if (!c.endsWith(", 0)")) return c; } };
  const seen = (e) => { let a = 1; for (; e; e = e.parentElement) {
    a *= getComputedStyle(e).opacity; } return a; };
  const pen = document.createElement("canvas").getContext("2d");
  while (walker.nextNode()) {
    const node = walker.currentNode, e = node.parentElement, text = node.textContent.trim();
    if (!text || e.closest(".unseen, svg, script") || !e.checkVisibility()) continue;
    const range = document.createRange(); range.selectNodeContents(node);
    const style = getComputedStyle(e);
    pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const boxes = [...range.getClientRects()].map((r) => [r.left, r.top, r.right, r.bottom]);
    let clip = [0, 0, innerWidth, innerHeight];
    for (let p = e; p; p = p.parentElement) if (getComputedStyle(p).overflow !== "visible") {
      const r = p.getBoundingClientRect();
      clip = [Math.max(clip[0], r.left), Math.max(clip[1], r.top),
              Math.min(clip[2], r.right), Math.min(clip[3], r.bottom)]; }
    found.push({ text, boxes, clip, color: style.color, ground: solid(e), opacity: seen(e),
      size: parseFloat(style.fontSize), family: style.fontFamily,
      capital: pen.measureText("H").actualBoundingBoxAscent,
      within: e.closest("footer, small, h2:not(.alone)") ? "near" :
        e.closest(".say, #names.many") ? "mid" :
        e.closest("#asked, #names, .gate, .taken, .stale") ? "far" : "mid" });
  }
  return found;
}"""


def texts(page: Page) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(VISIBLE_TEXT)
    assert len(found) > 10
    return found


def minutes_of_arc(pixels: float, away_mm: float) -> float:
    return math.degrees(math.atan(pixels * PIXEL_MM / away_mm)) * 60


def _linear(colour: str) -> list[float]:
    """Linear red, green and blue of "rgb(…)", as WCAG 2.2 defines them for relative luminance."""
    parts = [float(part) / 255 for part in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    return [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]


def _luminance(colour: str) -> float:
    red, green, blue = _linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


KINDS_OF_SIGHT: dict[str, list[list[float]]] = {
    "full": [[1, 0, 0], [0, 1, 0], [0, 0, 1]],
    "no red": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "no green": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "no blue": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}
"""Machado, Oliveira and Fernandes 2009, full severity, for linear RGB (from memory)."""


def apart(one: str, other: str, sight: str) -> float:
    """How different two colours look: CIE 1976; 2.3 is just noticeable (from memory)."""
    return math.dist(_lab(one, sight), _lab(other, sight))


def _lab(colour: str, sight: str) -> tuple[float, float, float]:
    rgb = [min(1.0, max(0.0, value)) for value in _times(KINDS_OF_SIGHT[sight], _linear(colour))]
    x, y, z = (
        value ** (1 / 3) if value > 0.008856 else 7.787 * value + 16 / 116
        for value in _times(_RGB_TO_XYZ, rgb)
    )
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


_RGB_TO_XYZ = [
    [0.4124 / 0.9505, 0.3576 / 0.9505, 0.1805 / 0.9505],
    [0.2126, 0.7152, 0.0722],
    [0.0193 / 1.089, 0.1192 / 1.089, 0.9505 / 1.089],
]
"""For sRGB (IEC 61966-2-1); each row is divided by the white point D65."""


def _times(matrix: list[list[float]], vector: list[float]) -> list[float]:
    return [sum(a * b for a, b in zip(row, vector, strict=True)) for row in matrix]


@cache
def _axe() -> str:
    return (files("axe_playwright_python") / "axe.min.js").read_text(encoding="utf-8")


def violations(page: Page) -> list[str]:
    """What axe-core finds against WCAG 2.2 A, AA and AAA and against its own best practices."""
    tags = ["wcag2a", "wcag2aa", "wcag2aaa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    page.evaluate(_axe())
    found = page.evaluate(
        "tags => axe.run({ runOnly: { type: 'tag', values: tags }, resultTypes: ['violations'] })",
        tags,
    )
    assert len(found["passes"]) > 10, "axe checked nothing"
    return [
        f"{rule['id']}: {json.dumps([node['html'] for node in rule['nodes']])[:300]}"
        for rule in found["violations"]
    ]
