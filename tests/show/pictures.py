"""Read a picture back from its SVG: parts, paths, names. Independent of how it was drawn."""

import math
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass

SVG = "{http://www.w3.org/2000/svg}"
LETTER, LINE = 0.5, 1.0
"""Mean width of a letter and height of a line of a plain face, in font sizes."""


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)


def parts(root: ET.Element) -> list[str]:
    return [found for node in root.iter() if (found := node.get("data-part"))]


def group(root: ET.Element, part: str) -> ET.Element:
    (found,) = [node for node in root.iter() if node.get("data-part") == part]
    return found


def belt_line(root: ET.Element, part: str) -> str:
    (found,) = [node.get("d", "") for node in group(root, part).iter() if node.get("class") == "belt-line"]
    return found


def length(path: str) -> float:
    """Measure a path of M, L, small A and Z, in the picture's own unit: chords exactly, arcs by radius and chord."""
    words = re.findall(r"[MLAZ]|-?[\d.]+", path)
    total, at, first, k = 0.0, (0.0, 0.0), (0.0, 0.0), 0
    while k < len(words):
        command, k = words[k], k + 1
        if command == "Z":
            total += math.dist(at, first)
            continue
        radius = float(words[k]) if command == "A" else 0.0
        k += 5 if command == "A" else 0
        there, k = (float(words[k]), float(words[k + 1])), k + 2
        if command == "M":
            first = there
        elif command == "L":
            total += math.dist(at, there)
        else:
            total += 2 * radius * math.asin(min(1.0, math.dist(at, there) / (2 * radius)))
        at = there
    return total


@dataclass(frozen=True)
class Name:
    key: str
    says: str
    box: tuple[float, float, float, float]


def names(root: ET.Element) -> Iterator[Name]:
    """Give every name with a box around each of its lines, estimated from its letters."""
    for node in root.iter(f"{SVG}g"):
        if key := node.get("data-label"):
            for words in node.iter(f"{SVG}text"):
                says, size = words.text or "", float(words.get("font-size", "nan"))
                x, y, half = float(words.get("x", "nan")), float(words.get("y", "nan")), len(says) * LETTER * size / 2
                yield Name(key, says, (x - half, y - 0.8 * size, x + half, y + (LINE - 0.8) * size))


def overlap(one: Name, other: Name) -> bool:
    a, b = one.box, other.box
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
