"""The owner's sheet as one file: it works on a telephone without a network, and loads nothing from elsewhere."""

import base64
import hashlib
import json
from importlib.resources import files
from typing import Any, Final

from tapewright.faults.cautions import cautions
from tapewright.machine.parts import Machine
from tapewright.show.drawing import drawing
from tapewright.show.guided_minute import steps_told
from tapewright.show.paper import inline, template, trusted
from tapewright.show.said import mode_said
from tapewright.show.svg import element, text
from tapewright.words.owner import OwnerSheet, Step
from tapewright.words.plain import plain

MOST_STEPS: Final = 24
"""A code of a minute holds no more."""


def owner_page(sheet: OwnerSheet, machine: Machine) -> str:
    """Write the sheet as one HTML file.

    Arguments:
        sheet: from `owner_sheet`.
        machine: the one it is of, for the drawing.
    """
    folder = files(__package__) / "templates"
    script = "".join((folder / name).read_text(encoding="utf-8") for name in ("owner.js", "owner_minute.js"))
    steps = steps_told(machine)[:MOST_STEPS]
    return template("owner.html.j2").render(
        sheet=sheet,
        picture=inline(
            drawing(machine, "play" if "play" in machine.modes else next(iter(machine.modes)), with_rates=False)
        ),
        tone_cautions=_caution_list(("tone", "tape")),
        minute_cautions=_caution_list(("power", "tape", "nip", "moving")),
        steps=steps,
        data=trusted(_in_a_page(_data(sheet) | {"minute": steps})),
        script=trusted(script),
        # The page may run this one script and no other, whatever a description of a machine holds.
        script_hash=f"sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}",
    )


def _caution_list(hazards: tuple[str, ...]) -> str:
    said = "".join(element("li", text(f"Caution: {one}")) for one in cautions(hazards))
    return trusted(element("ul", said, class_="cautions"))


def _data(sheet: OwnerSheet) -> dict[str, Any]:
    return {
        "fingerprint": sheet.fingerprint,
        "signs": plain(sheet.signs),
        "modes": {sign.mode: mode_said(sign.mode).capitalize() for sign in sheet.signs},
        "complaints": [{"sign": sign, "step": _step(step)} for sign, step in sheet.complaints],
        "verdicts": plain(sheet.verdicts),
        "rescue": sheet.rescue,
        "rescue_cautions": list(sheet.rescue_cautions),
    }


def _step(step: Step) -> dict[str, Any]:
    """Write a place in the tree; one that asks nothing more holds its verdict alone."""
    if step.yes is None or step.no is None or step.unsure is None:
        return {"v": step.verdict}
    return {"s": step.asks, "yes": _step(step.yes), "no": _step(step.no), "unsure": _step(step.unsure)}


def _in_a_page(data: dict[str, Any]) -> str:
    """Write JSON that cannot end the element it stands in."""
    written = json.dumps(data, ensure_ascii=True, separators=(",", ":"))
    return written.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
