"""Films of hubs drawn from a formula, read from the file: rates against the angles they were drawn at, and refusals."""

from pathlib import Path
from typing import Any

import av
import numpy as np
import pytest

from tapewright.measure.film_hubs import find_hubs
from tapewright.measure.film_reading import film_bursts, film_frames, film_header, small
from tapewright.measure.film_watching import watch_reels
from tapewright.words.problem import InputAtFaultError
from tapewright.words.reels_seen import HubSeen, ReelsSeen
from tests.measure.hubs_drawn import Drawn, write_film

SIZE = (320, 180)


def two(left: Any, right: Any, mark: float = 0.3) -> list[Drawn]:
    return [Drawn((93.0, 93.0), 26.0, left, mark), Drawn((220.0, 93.0), 26.0, right, mark)]


def holds(seen: ReelsSeen, name: str, rate_hz: float) -> None:
    """See that a mean rate is within a fifth of a per cent, and within what it claims."""
    reading = seen.mean_rate_hz[name]
    assert reading.value is not None
    assert reading.value == pytest.approx(rate_hz, rel=0.002)
    assert abs(reading.value - rate_hz) < (reading.doubt or 0.0)


def test_rates_go_by_the_frames_own_times(tmp_path: Path) -> None:
    draw = np.random.default_rng(1)
    # Half of the film has half the frames: who counts frames is off by a third.
    times = [at for number, at in enumerate(np.arange(80) / 30.0) if number < 40 or number % 2]
    times = [float(at + 0.004 * draw.uniform(-1, 1) + 0.01) for at in times]
    seen = watch_reels(write_film(tmp_path / "a.mp4", two(lambda t: 0.45 * t, lambda t: -0.61 * t), times, size=SIZE))
    holds(seen, "left", 0.45)
    holds(seen, "right", -0.61)
    assert [hub.symmetry for hub in seen.hubs] == [6, 6]
    for hub, x in zip(seen.hubs, (93.0, 220.0), strict=True):
        assert (hub.centre_x, hub.centre_y) == pytest.approx((x, 93.0), abs=0.7)
    assert seen.tape_speed_m_per_s.value is None
    assert "opposite" in (seen.tape_speed_m_per_s.why_not or "")


def test_a_film_of_nothing_that_turns_is_refused(tmp_path: Path) -> None:
    times = np.arange(45) / 30.0
    hubs = two(lambda _: 0.0, lambda _: 0.0)
    path = write_film(
        tmp_path / "still.mp4", hubs, times, size=SIZE, shake=lambda t: (2 * np.sin(9 * t), np.sin(7 * t))
    )
    with pytest.raises(InputAtFaultError, match="turns"):
        watch_reels(path)


def test_what_is_no_film_is_refused_with_what_to_do(tmp_path: Path) -> None:
    text, empty, photo = tmp_path / "a.mp4", tmp_path / "b.mov", tmp_path / "c.png"
    text.write_text("No film at all, only words.\n" * 100)
    empty.touch()
    from matplotlib.image import imsave

    imsave(photo, np.zeros((100, 100)))
    for path in (text, empty, photo, tmp_path / "absent.mp4"):
        with pytest.raises(InputAtFaultError) as error:
            watch_reels(path)
        assert error.value.problems[0].do


def test_a_header_that_states_its_clock_as_its_rate_does_no_harm(tmp_path: Path) -> None:
    made = write_film(tmp_path / "a.mp4", two(lambda t: 0.45 * t, lambda t: t), np.arange(40) / 30.0, size=SIZE)
    with av.open(str(made)) as source, av.open(str(tmp_path / "b.mkv"), "w") as out:
        stream = out.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                out.mux(packet)
    assert film_header(tmp_path / "b.mkv").stated_rate_hz > 1000.0
    assert sum(len(burst) for burst in film_bursts(tmp_path / "b.mkv", 8, 10, 0.5)) >= 20


@pytest.mark.slow
@pytest.mark.parametrize("seed", [102, 106])
def test_noise_is_refused_though_spots_of_it_look_like_hubs(seed: int, tmp_path: Path) -> None:
    """Soft noise of another draw in each frame: a turn that fits best is found in it, but it leads nowhere."""
    draw = np.random.default_rng(seed)
    soft = 3.0 * draw.standard_normal((80, 60, 80)).repeat(4, axis=1).repeat(4, axis=2)
    with av.open(str(tmp_path / "a.mp4"), "w") as container:
        stream = container.add_stream("mpeg4", rate=10)
        stream.width, stream.height, stream.pix_fmt = 320, 240, "yuv420p"
        for picture in soft:
            gray = np.clip(128.0 + 15.0 * picture, 0, 255).astype(np.uint8)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(gray, format="gray")))
        container.mux(stream.encode())
    with pytest.raises(InputAtFaultError, match="turns"):
        watch_reels(tmp_path / "a.mp4")


def test_one_hub_alone_may_be_a_fan(tmp_path: Path) -> None:
    path = write_film(tmp_path / "fan.mp4", two(lambda t: 0.5 * t, lambda t: t)[:1], np.arange(45) / 30.0, size=SIZE)
    with pytest.raises(InputAtFaultError, match="nothing that turns"):
        watch_reels(path)


def test_pictures_are_thinned_by_means() -> None:
    picture = np.arange(64 * 128).reshape(64, 128).astype(np.uint16)
    thin, by = small(picture, 32)
    assert by == 4
    assert thin == pytest.approx(picture.reshape(16, 4, 32, 4).mean(axis=(1, 3)))


# --- with more defects, slower ----------------------------------------------------------------------------------------

DEFECTS: dict[str, dict[str, Any]] = {
    "foreshortened": {"squeeze": 0.75},
    "shaken": {"shake": lambda t: (4.0 * np.sin(9.0 * t), 3.0 * np.sin(6.0 * t + 1.0))},
    "flickering": {"light": lambda t: 1.0 + 0.2 * np.sin(2.0 * np.pi * 9.7 * t)},
    "blurred": {"exposure_s": 0.03},
    "noisy": {"noise": 0.08},
    "in ten bits": {"codec": "libx265", "pixels": "yuv420p10le"},
    "in colours without a brightness plane": {"codec": "libx264rgb", "pixels": "rgb24"},
}


@pytest.mark.slow
@pytest.mark.parametrize("defect", DEFECTS)
def test_rates_hold_under_every_defect(defect: str, tmp_path: Path) -> None:
    hubs = two(lambda t: 0.45 * t, lambda t: 0.61 * t)
    seen = watch_reels(write_film(tmp_path / "a.mov", hubs, np.arange(75) / 30.0, size=SIZE, **DEFECTS[defect]))
    holds(seen, "left", 0.45)
    holds(seen, "right", 0.61)
    assert not [event for event in seen.events if event.kind not in ("starts", "stops")]


@pytest.mark.slow
def test_a_hub_that_stands_is_found_beside_one_that_turns(tmp_path: Path) -> None:
    hubs = two(lambda t: 0.45 * t, lambda _: 0.1)
    path = write_film(tmp_path / "a.mp4", hubs, np.arange(75) / 30.0, size=SIZE)
    seen = watch_reels(path, takes_up="right")
    assert (seen.hubs[1].centre_x, seen.hubs[1].centre_y) == pytest.approx((220.0, 93.0), abs=1.5)
    assert [(event.kind, event.name) for event in seen.events if event.kind == "stands"] == [("stands", "right")]
    pointed = [HubSeen("left", 94.0, 92.0, 26.0, 0, 0.9), HubSeen("right", 220.0, 93.0, 26.0, 0, 0.9)]
    again = watch_reels(path, pointed)
    holds(again, "left", 0.45)
    assert again.mean_rate_hz["right"].value == 0.0


@pytest.mark.slow
def test_a_film_on_its_side_is_watched_upright(tmp_path: Path) -> None:
    upright = write_film(
        tmp_path / "a.mp4", two(lambda t: 0.45 * t, lambda t: 0.61 * t), np.arange(60) / 30.0, size=SIZE
    )
    turned = tmp_path / "b.mp4"
    with av.open(str(upright)) as source, av.open(str(turned), "w") as out:
        stream = out.add_stream_from_template(source.streams.video[0])
        stream.set_display_rotation(90)
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                out.mux(packet)
    assert (film_header(turned).width, film_header(turned).height) == SIZE[::-1]
    first, there = (next(film_frames(path)).luma for path in (upright, turned))
    assert np.array_equal(np.rot90(first), there)
    hubs = find_hubs(list(film_bursts(turned, 4, 10, 0.5)))
    # A quarter turn anticlockwise takes (x, y) to (y, width - 1 - x).
    assert sorted(hub.centre_y for hub in hubs) == pytest.approx([319.0 - 220.0, 319.0 - 93.0], abs=1.0)
