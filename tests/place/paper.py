"""What is untidy about a sheet of the plan set, by brute force on its SVG text."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator

SVG = "{http://www.w3.org/2000/svg}"
CAP, LETTER = 0.70, 0.602
FRAME = (8.0, 8.0, 412.0, 289.0)
"""The frame of an A3 sheet, mm."""
FOOT, SEVEN_POINT = 266.0, 7 * 25.4 / 72
"""Where the foot of an A3 sheet begins, and the smallest letters of a table, mm."""
HAIR = 0.05
SECTIONS = {"P4", "P5"}
"""Where a near machine stands before a far one, as it should."""
Box = tuple[float, float, float, float]


def texts(root: ET.Element) -> list[tuple[str, Box]]:
    """Every text with the space that its letters fill."""
    found = []
    for text in root.iter(SVG + "text"):
        size, words = float(text.get("font-size", "2")), text.text or ""
        x, y, wide = float(text.get("x", 0)), float(text.get("y", 0)), len(words) * size * LETTER
        left = {"start": 0.0, "middle": wide / 2, "end": wide}[text.get("text-anchor", "start")]
        found.append((words, (x - left, y - size * CAP, x - left + wide, y)))
    return found


def machines(root: ET.Element) -> list[tuple[str, Box]]:
    """Every machine that is drawn as a box, where it is drawn."""
    found = []
    for group in root.iter(SVG + "g"):
        tag = group.get("data-machine")
        rect = group.find(SVG + "rect")
        if tag and rect is not None:
            x, y, w, h = (float(rect.get(k, 0)) for k in ("x", "y", "width", "height"))
            found.append((tag, (x, y, x + w, y + h)))
    return found


def meet(a: Box, b: Box, by: float = 0.0) -> bool:
    """Whether two boxes share more than a hair of space."""
    return (
        a[0] + by < b[2] and b[0] + by < a[2] and a[1] + by < b[3] and b[1] + by < a[3]
    )  # fmt: skip


def untidy(svg: str, key: str) -> Iterator[str]:
    """Words on words, words out of the frame, and a tag on a machine that is not its own."""
    root = ET.fromstring(svg)
    words = texts(root)
    if not any(box[3] < FOOT for _, box in words):
        yield f"{key}: nothing is written on it"
    if key.endswith("-list"):
        for text in root.iter(SVG + "text"):
            if float(text.get("y", 0)) < FOOT and float(text.get("font-size", 0)) < SEVEN_POINT:
                yield f"{key}: {text.text!r} is under 7 points"
    for i, (a, box) in enumerate(words):
        for b, other in words[i + 1 :]:
            if meet(box, other):
                yield f"{key}: {a!r} lies on {b!r}"
        if box[0] < FRAME[0] or box[1] < FRAME[1] or box[2] > FRAME[2] or box[3] > FRAME[3]:
            yield f"{key}: {a!r} leaves the frame"
    if key[:2] in SECTIONS:
        return
    drawn = machines(root)
    own = {tag for tag, _ in drawn}
    for word, box in words:
        if re.sub(r" .*", "", word) in own:
            for tag, there in drawn:
                if not word.startswith(tag) and meet(box, there, HAIR) and _inside(box, there):
                    yield f"{key}: {word!r} stands in {tag}"


def _inside(box: Box, there: Box) -> bool:
    """Whether most of a word lies in a box."""
    wide = min(box[2], there[2]) - max(box[0], there[0])
    tall = min(box[3], there[3]) - max(box[1], there[1])
    return wide * tall > 0.5 * (box[2] - box[0]) * (box[3] - box[1])
