"""Whether a tape is held in the machine: then it comes out first, unharmed, before any check and any repair."""

from collections.abc import Mapping
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.diagnose.cases import complaint_of
from tapewright.diagnose.network import Network

FREE_THE_TAPE: Final = (
    "Before anything else get the tape out unharmed: power off and unplugged, turn the cam or flywheel by hand until "
    "the heads and roller let go, take up the slack at the hub, never pull. From here on a sacrificial cassette only."
)
IN_THE_WAY: Final = {"loop": "yes", "wrap": "yes", "lid": "stuck", "head_base": "part"}
"""What holds a tape in the machine: the function's stem and its word, in any mode."""


def tape_held(network: Network, likelihoods: Mapping[str, NDArray[np.float64]]) -> bool:
    """Tell whether the evidence says that a tape is held.

    It is drawn out, wound round something, behind a shut lid, or between heads and roller that do not go back.

    Arguments:
        network: the machine's belief network.
        likelihoods: what the evidence says, node by node, shape (words,).
    """
    for node in complaint_of(network, likelihoods):
        stem, _, mode = node.partition("@")
        about = stem.partition(":")[0]
        word = network.words[node][int(np.argmax(likelihoods[node]))]
        if IN_THE_WAY.get(about) == word or (about == "head_base" and not _goes_up(network, mode)):
            return True
    return False


def _goes_up(network: Network, mode: str) -> bool:
    entered = network.machine.modes.get(mode)
    return entered is not None and entered.head_base == "up"
