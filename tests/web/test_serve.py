"""The bench begins on a free port of this computer only, and ends cleanly."""

import http.client
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from tapewright.web.serve import serve
from tapewright.words.problem import InputAtFaultError


def test_a_taken_port_is_said_to_be_taken(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        told: list[str] = []
        with pytest.raises(InputAtFaultError) as caught:
            serve(port, told.append, tmp_path)
    (problem,) = caught.value.problems
    assert (problem.where, str(port) in problem.found, "--port" in problem.do) == ("--port", True, True)
    assert told == []


def test_a_folder_that_cannot_be_used_is_said_so(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_bytes(b"")
    with pytest.raises(InputAtFaultError) as caught:
        serve(0, lambda _text: None, file / "home")
    assert "TAPEWRIGHT_DATA" in caught.value.problems[0].do


@pytest.mark.skipif(os.name == "nt", reason="Windows has no Ctrl-C that one process can send another")
def test_it_serves_until_told_to_stop(tmp_path: Path) -> None:
    code = "from tapewright.web.serve import serve; serve(0, lambda text: print(text, flush=True))"
    environment = os.environ | {"TAPEWRIGHT_DATA": str(tmp_path)}
    command = [sys.executable, "-W", "error", "-c", code]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as bench:
        assert bench.stdout
        address = re.search(r"http://127\.0\.0\.1:(\d+) ", bench.stdout.readline())
        assert address
        assert str(tmp_path) in bench.stdout.readline()
        page = http.client.HTTPConnection("127.0.0.1", int(address[1]), timeout=30)
        page.request("GET", "/")
        assert page.getresponse().status == 200
        page.close()
        bench.send_signal(signal.SIGINT)
        rest, complaints = bench.communicate(timeout=30)
    assert (bench.returncode, complaints) == (0, "")
    assert "closed" in rest
