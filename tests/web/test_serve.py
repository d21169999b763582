"""The bench begins on a free port of this computer only, and ends cleanly."""

import contextlib
import http.client
import os
import re
import shutil
import signal
import socket
import ssl
import subprocess
import sys
from pathlib import Path

import pytest

from tapewright.web.serve import serve
from tapewright.words.problem import InputAtFaultError
from tests.web.attacker import CERTIFICATE, PASSWORD


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


@pytest.mark.skipif(os.name == "nt", reason="Windows has no Ctrl-C that one process can send another")
def test_on_a_network_it_speaks_tls_to_whoever_signs_in(tmp_path: Path) -> None:
    """With the client of the standard library, which checks the certificate and its name."""
    for name in ("certificate.pem", "key.pem"):
        shutil.copyfile(CERTIFICATE / name, tmp_path / name)
        (tmp_path / name).chmod(0o600)
    (tmp_path / "bench.toml").write_text(
        'host = "0.0.0.0"\nnames = ["bench.example"]\ncertificate = "certificate.pem"\nkey = "key.pem"\n', "utf-8"
    )
    people = [sys.executable, "-m", "tapewright", "people", "add", "Ana", "--role", "bench"]
    environment = os.environ | {"TAPEWRIGHT_DATA": str(tmp_path)}
    subprocess.run(people, env=environment, input=PASSWORD + "\n", text=True, check=True, stdout=subprocess.DEVNULL)
    code = "from tapewright.web.serve import serve; serve(0, lambda text: print(text, flush=True))"
    command = [sys.executable, "-W", "error", "-c", code]
    with subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as bench:
        assert bench.stdout
        said = re.search(r"https://bench\.example:(\d+) for everybody", bench.stdout.readline())
        assert said
        port = int(said[1])
        assert ask(tmp_path, port, "GET", "/")[:2] == (303, "/sign-in")
        form = f"name=Ana&password={PASSWORD.replace(' ', '+')}"
        status, to, cookie = ask(tmp_path, port, "POST", "/sign-in", form)
        assert (status, to) == (303, "/")
        assert ask(tmp_path, port, "GET", "/", cookie=cookie.partition(";")[0])[0] == 200
        with socket.create_connection(("127.0.0.1", port), timeout=10) as plain:
            plain.sendall(b"GET / HTTP/1.1\r\nHost: bench.example\r\n\r\n")
            with contextlib.suppress(ConnectionError):
                assert b"HTTP" not in plain.recv(4096), "without TLS nobody is answered"
        bench.send_signal(signal.SIGINT)
        _, complaints = bench.communicate(timeout=30)
    assert (bench.returncode, complaints) == (0, "")


def ask(folder: Path, port: int, method: str, path: str, form: str = "", cookie: str = "") -> tuple[int, str, str]:
    """Ask over TLS as `bench.example`; give status, where it leads, and the cookie."""
    trusted = ssl.create_default_context(cafile=str(folder / "certificate.pem"))
    with (
        socket.create_connection(("127.0.0.1", port), timeout=30) as line,
        trusted.wrap_socket(line, server_hostname="bench.example") as wrapped,
    ):
        assert wrapped.version() in ("TLSv1.2", "TLSv1.3")
        here = f"bench.example:{port}"
        page = http.client.HTTPConnection(here)
        page.sock = wrapped
        headers = {"Host": here, "Origin": f"https://{here}", "Cookie": cookie}
        kind = {"Content-Type": "application/x-www-form-urlencoded"} if form else {}
        page.request(method, path, form or None, headers | kind)
        answer = page.getresponse()
        return answer.status, answer.headers.get("location", ""), answer.headers.get("set-cookie", "")
