"""Write the film that a phone would take of a cassette in such a machine, and the truth about it beside it."""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tapewright.faults.applied import Fault, applied
from tapewright.machine.parts import Machine
from tapewright.simulate.film_camera import CLOCK_HZ, Camera, check_camera, frame_times, shown, shown_size, time_base
from tapewright.simulate.film_course import CourseEvent, FilmStep, ReelCourse, Step, film_course, mode_course
from tapewright.simulate.film_drive import RATE_HZ, Hesitation
from tapewright.simulate.film_look import AXES_MM, OPENING_MM, Look, Scene
from tapewright.simulate.film_picture import Painter
from tapewright.simulate.film_scenes import NoReel, cassette_scene, no_reel_scene
from tapewright.simulate.film_words import burn_in
from tapewright.simulate.place import in_the_way
from tapewright.simulate.truth import Simulated
from tapewright.words.plain import plain
from tapewright.words.problem import InputAtFaultError, Problem
from tapewright.words.whole_file import write_whole, written_beside, wrong_place

SAYS: Final = (
    "Simulated: nobody filmed this. The machine's description, its faults and the sizes of what they do are worked out "
    "and partly from memory, and the picture is drawn; use it to try a measurement, never as evidence about a machine."
)
LONGEST_S: Final = 600.0
TRACE_HZ: Final = 10.0
"""How often the truth tells the rates."""
QUALITY: Final = 25
"""Constant quality of the encoder, lower is better; about what a phone's film has left after being sent on."""


@dataclass(frozen=True, slots=True)
class TruthHub:
    """One hub of a film.

    Arguments:
        name: "left" or "right" as the film is shown.
        takes_up: whether it takes the tape up in play.
        centre_x, centre_y: pixels of the picture as shown, from its top left, the hand's sway aside.
        radius_px: of the opening it is seen through.
        symmetry: how many times it looks the same in one turn, weak marks aside.
        mean_rate_hz: over the film, anticlockwise positive.
        moving_rate_hz: mean while it moves; None where it never does.
        pack_start_mm, pack_end_mm: radius of the pack.
        rates_hz: ten a second, means of a tenth of a second each.
    """

    name: str
    takes_up: bool
    centre_x: float
    centre_y: float
    radius_px: float
    symmetry: int
    mean_rate_hz: float
    moving_rate_hz: float | None
    pack_start_mm: float
    pack_end_mm: float
    rates_hz: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class FilmTruth(Simulated):
    """All that is known of a simulated film, after what `Simulated` says of it.

    Arguments:
        scene: "cassette", or what is filmed instead of one.
        duration_s, frames: length, and how many frames there are.
        camera: how it was filmed.
        look: what the cassette looks like.
        steps: the modes, in order.
        tape_m_per_s: mean speed of the tape that is brought, while it moves; None where none does.
        thickness_m: of the tape.
        hubs: both, from left to right; empty where there is no reel.
        loop_m: tape that hangs loose, ten times a second.
        events: what the hubs do.
        happens: a sentence for each mode.
        stops_s: times at which the machine stopped by itself.
    """

    scene: str
    duration_s: float
    frames: int
    camera: Camera
    look: Look | None
    steps: tuple[FilmStep, ...]
    tape_m_per_s: float | None
    thickness_m: float | None
    hubs: tuple[TruthHub, ...]
    loop_m: tuple[float, ...]
    events: tuple[CourseEvent, ...]
    happens: tuple[str, ...]
    stops_s: tuple[float, ...]


def film(
    machine: Machine,
    faults: Sequence[Fault],
    out_path: str | Path,
    mode: str | Sequence[Step] = "play",
    seconds: float = 20.0,
    seed: int = 1,
    position_s: float = 0.0,
    camera: Camera | None = None,
    look: Look | None = None,
    given: Sequence[Hesitation] = (),
    running: bool = False,
    quality: int = QUALITY,
    progress: Callable[[float], None] | None = None,
) -> FilmTruth:
    """Write the film of a cassette in a machine with these faults, and the truth beside it.

    Both files are written beside their places and put there in one step.

    Arguments:
        machine: as described.
        faults: what is wrong with it; none for a machine as it stands.
        out_path: a name that ends in .mp4 or .mov; the truth goes into the same name with .json.
        mode: a mode of the machine, filmed from the key on; or several steps, such as those of the guided minute.
        seconds: length, where one mode is filmed.
        seed: the same seed gives the same film.
        position_s: how far into the side it begins, seconds at the right speed.
        camera: how it is filmed; None for a phone that is held well.
        look: what the cassette looks like.
        given: moments to put in besides what the faults bring.
        running: whether the key was pressed before the film began.
        quality: of the encoder, 0 to 51, lower is better.
        progress: is told the share that is done.

    Raises:
        InputAtFaultError: when something asked for cannot be, or the file cannot be written there.
    """
    camera, look, path = camera or usual_camera(), look or Look(), Path(out_path)
    lasts_s = seconds if isinstance(mode, str) else max(step.at_s + step.lasts_s for step in mode)
    _check(path, lasts_s, seed, quality, camera)
    worn = applied(machine, faults)
    if isinstance(mode, str):
        course = mode_course(worn, mode, seconds + 0.5, seed, position_s, given, running)
    else:
        course = film_course(worn, mode, seed, position_s, given, running)
    scene = cassette_scene(course, look, camera, seed)
    ticks, truly = frame_times(camera, lasts_s, seed)
    truth = FilmTruth(
        True, SAYS, worn.id, worn.invented, tuple(faults), seed, path.name, "cassette", ticks[-1] / CLOCK_HZ,
        len(ticks), camera, look, course.steps, _tape_speed(course, lasts_s), course.tape.thickness_m,
        tuple(_hub(course, name, look, camera, lasts_s) for name in ("left", "right")),
        tuple(course.loop_m[:: round(RATE_HZ / TRACE_HZ)].tolist()),
        tuple(one for one in course.events if one.start_s < lasts_s), course.says, course.stops,
    )  # fmt: skip
    _write(path, Painter(scene, camera, seed, look.gradient), ticks, truly, truth, quality, progress)
    return truth


def film_without_reel(
    what: NoReel, out_path: str | Path, seconds: float = 8.0, seed: int = 1, camera: Camera | None = None,
    quality: int = QUALITY,
) -> FilmTruth:  # fmt: skip
    """Write a film in which there is no reel: a turning fan, a still desk, hands; arguments as for `film`.

    Raises:
        InputAtFaultError: when something asked for cannot be, or the file cannot be written there.
    """
    camera, path = camera or usual_camera(), Path(out_path)
    _check(path, seconds, seed, quality, camera)
    scene: Scene = no_reel_scene(what, camera, seed)
    ticks, truly = frame_times(camera, seconds, seed)
    truth = FilmTruth(
        True, SAYS, "", True, (), seed, path.name, what, ticks[-1] / CLOCK_HZ, len(ticks), camera, None, (), None, None,
        (), (), (), (f"There is no reel in it: {what}.",), (),
    )  # fmt: skip
    _write(path, Painter(scene, camera, seed, 0.2), ticks, truly, truth, quality, None)
    return truth


def usual_camera() -> Camera:
    """Give a phone that is held well in a room with lamps; sizes from memory."""
    return Camera(tilt_deg=8.0, turn_deg=-5.0, roll_deg=2.0, shake_px=1.0, flicker=0.05, noise=0.015, jitter_s=5e-4)


# --- what is known of it ----------------------------------------------------------------------------------------------


def _tape_speed(course: ReelCourse, lasts_s: float) -> float | None:
    fed = np.abs(course.fed_m_per_s[course.times_s <= lasts_s])
    return float(fed[fed > 1e-3].mean()) if np.any(fed > 1e-3) else None


def _hub(course: ReelCourse, name: str, look: Look, camera: Camera, lasts_s: float) -> TruthHub:
    side = -1.0 if name == "left" else 1.0
    x, y = shown(camera, side * AXES_MM / 2, 0.0)
    edges = np.arange(0.0, lasts_s + 1e-9, 1.0 / TRACE_HZ)
    rates = np.diff(course.turns_at(name, edges)) * TRACE_HZ
    moving = np.abs(rates) > 0.01
    turned = course.turns_at(name, np.array([0.0, lasts_s]))
    radius = np.interp([0.0, lasts_s], course.times_s, 1000.0 * course.radius_m(name))
    return TruthHub(
        name, name == course.takeup_side, x, y, OPENING_MM * camera.px_per_mm, look.symmetry,
        float(turned[1] - turned[0]) / lasts_s, float(rates[moving].mean()) if moving.any() else None,
        float(radius[0]), float(radius[1]), tuple(rates.tolist()),
    )  # fmt: skip


# --- writing ----------------------------------------------------------------------------------------------------------


def _check(path: Path, seconds: float, seed: int, quality: int, camera: Camera) -> None:
    check_camera(camera)
    rules = (
        ("--seconds", seconds, 0.5 <= seconds <= LONGEST_S, f"Give 0.5 to {LONGEST_S:g} s."),
        ("--seed", seed, seed >= 0, "Give a whole number from 0."),
        ("quality", quality, 0 <= quality <= 51, "Give 0 to 51."),
    )
    wrong = [Problem(where, f"is {value:g}.", do) for where, value, holds, do in rules if not holds]
    misplaced = wrong_place(path, (".mp4", ".mov"), "the truth goes beside it with .json")
    wrong += in_the_way(path, "film") if misplaced is None else [misplaced]
    if wrong:
        raise InputAtFaultError(wrong)


def _write(
    path: Path, painter: Painter, ticks: list[int], truly: NDArray[np.float64], truth: FilmTruth, quality: int,
    progress: Callable[[float], None] | None,
) -> None:  # fmt: skip
    with written_beside(path) as part:
        try:
            _encode(part, painter, ticks, truly, quality, progress)
        except OSError as error:
            said = error.strerror or str(error)
            do = "Give another place, or make room there."
            raise InputAtFaultError(Problem(str(path), f"cannot be written: {said}.", do)) from error
        write_whole(path.with_suffix(".json"), json.dumps(plain(truth), indent=1, ensure_ascii=False) + "\n")
        part.replace(path)


def _encode(
    part: Path, painter: Painter, ticks: list[int], truly: NDArray[np.float64], quality: int,
    progress: Callable[[float], None] | None,
) -> None:  # fmt: skip
    import av

    camera = painter.camera
    part.open("wb").close()  # says why when it cannot be
    with av.open(str(part), "w", format="mov" if part.suffix == ".mov" else "mp4") as container:
        container.metadata["comment"] = SAYS
        container.metadata["title"] = "Simulated film of a cassette's hubs"
        stream = container.add_stream("libx264", rate=max(1, round(camera.rate_hz)))
        stream.width, stream.height, stream.pix_fmt = camera.width, camera.height, "yuv420p"
        # The tree of macroblocks reads memory that nobody wrote: with it the same film is not the same bytes twice.
        stream.options = {"crf": str(quality), "preset": "veryfast", "threads": "1", "x264-params": "mbtree=0"}
        stream.codec_context.time_base = stream.time_base = time_base()
        if camera.rotation:
            stream.set_display_rotation(-camera.rotation)
        planes = np.full((camera.height * 3 // 2, camera.width), 128, dtype=np.uint8)
        for number, (tick, moment) in enumerate(zip(ticks, truly, strict=True)):
            planes[: camera.height] = painter.frame(float(moment))
            burn_in(planes[: camera.height], shown_size(camera), camera.rotation)
            frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
            frame.pts, frame.time_base = tick, time_base()
            container.mux(stream.encode(frame))
            if progress is not None:
                progress((number + 1) / len(ticks))
        container.mux(stream.encode())
