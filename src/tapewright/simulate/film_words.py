"""The word that is burnt into every frame of a drawn film, so that it says what it is also without its truth."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

CAPTION: Final = "SIMULATED"
LETTERS: Final = {
    "S": "01111 10000 10000 01110 00001 00001 11110",
    "I": "01110 00100 00100 00100 00100 00100 01110",
    "M": "10001 11011 10101 10101 10001 10001 10001",
    "U": "10001 10001 10001 10001 10001 10001 01110",
    "L": "10000 10000 10000 10000 10000 10000 11111",
    "A": "01110 10001 10001 11111 10001 10001 10001",
    "T": "11111 00100 00100 00100 00100 00100 00100",
    "E": "11111 10000 10000 11110 10000 10000 11111",
    "D": "11110 10001 10001 10001 10001 10001 11110",
}
"""Our own letters, seven rows of five points each."""
SHARE: Final = 0.0035
"""Size of a letter's point against the shown picture's width."""
DARK, BRIGHT = 24, 200


def caption(width: int) -> NDArray[np.uint8]:
    """Give the caption for a picture so wide as bytes of luma, shape (rows, columns)."""
    rows = [" ".join(LETTERS[letter].split()[line] for letter in CAPTION).replace(" ", "0") for line in range(7)]
    points = np.array([[int(point) for point in row] for row in rows], dtype=np.uint8)
    points = np.pad(points, 1)
    large = np.kron(points, np.ones((max(1, round(SHARE * width)),) * 2, dtype=np.uint8))
    return np.asarray(DARK + large * (BRIGHT - DARK), dtype=np.uint8)


def burn_in(luma: NDArray[np.uint8], shown: tuple[int, int], rotation: int) -> None:
    """Put the caption into the lower left corner of a frame as it will be shown.

    Arguments:
        luma: the frame as stored, shape (height, width); it is altered.
        shown: width and height as shown.
        rotation: how far a player turns it clockwise, degrees.
    """
    upright = np.rot90(luma, -(rotation // 90))  # a view: what is written there lands in the frame
    words = caption(shown[0])
    rows, columns = min(words.shape[0], upright.shape[0]), min(words.shape[1], upright.shape[1])
    upright[-rows:, :columns] = words[:rows, :columns]
