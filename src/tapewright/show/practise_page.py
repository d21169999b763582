"""The page on which ears are trained: it stands in a folder beside its sounds and needs nothing else."""

import base64
import hashlib
from importlib.resources import files

from tapewright.faults.cautions import cautions
from tapewright.show.paper import template, trusted
from tapewright.words.practise import Practice


def practise_page(practice: Practice) -> str:
    """Write the page as HTML.

    Arguments:
        practice: from `jobs.practise.practise`.
    """
    script = (files(__package__) / "templates" / "practise.js").read_text(encoding="utf-8")
    return template("practise.html.j2").render(
        practice=practice,
        cautions=cautions(("tone",)),
        script=trusted(script),
        # The page may run this one script and no other, whatever a description of a machine holds.
        script_hash=f"sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}",
    )
