"""A stretch chosen by hand is a recording of its own, sample for sample; what it is taken from stays as it is."""

import hashlib
from pathlib import Path

import numpy as np
import pytest
import soundfile

from tapewright.measure.audio import open_recording
from tapewright.web.stretch import write_stretch
from tests.web.visitor import Visitor, seen, tone_with_flutter


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
def test_every_sample_is_that_of_the_whole(tmp_path: Path, subtype: str) -> None:
    samples = np.random.default_rng(7).uniform(-1.0, 1.0, (48_000, 2))
    soundfile.write(str(tmp_path / "whole.wav"), samples, 8000, subtype=subtype)
    write_stretch(open_recording(tmp_path / "whole.wav"), 1.25, 4.0, tmp_path / "cut.wav")
    whole, _ = soundfile.read(str(tmp_path / "whole.wav"), dtype="float64")
    cut, rate_hz = soundfile.read(str(tmp_path / "cut.wav"), dtype="float64")
    assert rate_hz == 8000
    np.testing.assert_array_equal(cut, whole[10_000:32_000])


def test_a_stretch_is_measured_and_the_whole_stays(tmp_path: Path) -> None:
    """The first half of the recording is music to the meter; the second is the tone."""
    tone, rate_hz = soundfile.read(str(tone_with_flutter(tmp_path / "tone.wav", 6.0)))
    noise = 0.3 * np.random.default_rng(3).standard_normal(len(tone))
    soundfile.write(str(tmp_path / "side a.wav"), np.concatenate([noise, tone]), rate_hz, subtype="PCM_16")
    content = (tmp_path / "side a.wav").read_bytes()
    name = hashlib.sha256(content).hexdigest()
    with Visitor(tmp_path / "home") as visitor:
        job = visitor.begin()
        visitor.ask("PUT", f"{job}/recordings?name=side+a.wav&tone=&stage=after", content=content)
        whole = f"{job}/recordings/{name}"
        assert visitor.post(whole, {"do": "stretch", "from": "6,5", "to": ""}).status_code == 303
        page = seen(visitor.measured(job))
        assert "side a, 6.5 to 12 s.wav" in page
        assert "Seconds 6.5 to 12 of side a.wav, chosen by hand." in page
        assert page.count("after the repair") >= 2, "it was made when the whole was made"
        of_stretch = page.partition("side a, 6.5 to 12 s.wav")[2]
        assert "Test tone of 3150" in of_stretch
        assert "from 0.1 s to 5.4 s" in of_stretch
        assert visitor.store.file_path(name).read_bytes() == content


@pytest.mark.parametrize(
    ("start", "stop", "says"),
    [
        ("5", "2", "no stretch"),
        ("-1", "2", "no stretch"),
        ("1", "99", "no stretch"),
        ("", "", "the whole"),
        ("x", "", "'x'"),
    ],
)
def test_what_is_no_stretch_is_refused(tmp_path: Path, start: str, stop: str, says: str) -> None:
    content = tone_with_flutter(tmp_path / "a.wav", 3.0).read_bytes()
    with Visitor(tmp_path / "home") as visitor:
        job = visitor.begin()
        visitor.ask("PUT", f"{job}/recordings?name=a.wav&tone=", content=content)
        answer = visitor.post(
            f"{job}/recordings/{hashlib.sha256(content).hexdigest()}", {"do": "stretch", "from": start, "to": stop}
        )
        assert answer.status_code == 422
        assert says in seen(answer.text)
        assert len(visitor.store.job(job.rpartition("/")[2]).files) == 1
