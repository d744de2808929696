"""The command that serves the page, as a process of its own."""

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner

from optimizer.cli import main
from optimizer.page.app import ListenError, listening
from tests.optimizer.made_runs import made_run

START = 60  # s until a page on a busy machine answers
FRONT = {"boost": [(0.3, 96.0), (0.5, 95.0)]}


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    root = tmp_path_factory.mktemp("runs")
    made_run(root, "one", FRONT)
    return root


@pytest.fixture
def started(root):
    """Return a function that starts the page as its own process; all end with the test."""
    running = []

    def start(*options, environment=None):
        process = subprocess.Popen(
            [sys.executable, "-c", "from optimizer.cli import main; main()", "browse", str(root),
             *options],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env={**os.environ, **(environment or {})}, cwd=Path(__file__).parents[2],
        )  # fmt: skip
        running.append(process)
        line = process.stderr.readline()
        found = re.search(r"http://\S+", line)
        assert found, line + process.stderr.read()
        return process, found[0]

    yield start
    for process in running:
        if process.poll() is None:
            process.kill()
        process.wait(timeout=START)
        process.stdout.close()
        process.stderr.close()


def fetched(address, **headers):
    """Return status and text of an answer, whatever it is."""
    request = urllib.request.Request(address, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=START) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()


def ended(process, sign):
    """Return exit code, stdout and stderr of a page after a signal."""
    process.send_signal(sign)
    process.wait(timeout=START)  # both pipes hold a few lines: nothing to drain meanwhile
    return process.returncode, process.stdout.read(), process.stderr.read()


def reachable(address, port):
    with socket.socket() as one:
        one.settimeout(2.0)
        return one.connect_ex((address, port)) == 0


def other_address():
    """Return an address of this machine that is not its own loopback; None without any."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        try:
            one.connect(("192.0.2.1", 9))  # sends nothing
        except OSError:
            return None
        return one.getsockname()[0]


def test_it_serves_at_a_free_port_until_ctrl_c_and_ends_quietly(started):
    process, address = started("--port", "0")
    port = int(address.rstrip("/").rpartition(":")[2])
    assert port > 1023
    status, text = fetched(address)
    assert (status, "react-entry-point" in text) == (200, True)
    code, out, err = ended(process, signal.SIGINT)
    assert code in (0, 130)
    assert out == ""
    assert "Traceback" not in err
    assert len(err.splitlines()) <= 2


def test_it_serves_this_machine_alone_whatever_the_environment_says(started):
    loud = {"HOST": "0.0.0.0", "DASH_DEBUG": "1", "FLASK_DEBUG": "1", "PORT": "1"}
    process, address = started("--port", "0", environment=loud)
    port = int(address.rstrip("/").rpartition(":")[2])
    assert reachable("127.0.0.1", port)
    assert not reachable("127.0.0.2", port)
    elsewhere = other_address()
    if elsewhere:
        assert not reachable(elsewhere, port)
    status, text = fetched(address, Host="attacker.example")
    assert (status, text.count("\n")) == (421, 1)
    ended(process, signal.SIGINT)


def test_a_port_in_use_is_told_with_a_way_out(root):
    with listening("127.0.0.1", 0) as place:
        port = place.getsockname()[1]
        result = CliRunner().invoke(main, ["browse", str(root), "--port", str(port)])
    assert result.exit_code == 2
    assert f"port {port} at 127.0.0.1 cannot be used: address already in use" in result.output
    assert "--port 0" in result.output
    assert "Traceback" not in result.output


@pytest.mark.parametrize("address", ["no.such.name.invalid", "192.0.2.55", "x" * 300, "1.2.3.4.5"])
def test_an_address_that_is_none_of_this_machine_is_told(address):
    with pytest.raises(ListenError, match="cannot be used"):
        listening(address, 0)


def test_a_folder_that_is_none_is_told(tmp_path):
    result = CliRunner().invoke(main, ["browse", str(tmp_path / "nowhere"), "--port", "0"])
    assert result.exit_code == 2
    assert "is no folder" in result.output


def test_other_machines_need_the_token_that_is_printed_with_a_warning(started):
    process, address = started("--port", "0", "--listen", "0.0.0.0")
    port = int(re.search(r":(\d+)/", address)[1])
    token = re.search(r"\?token=(\S+)", address)[1]
    assert len(token) >= 32
    local = f"http://127.0.0.1:{port}/"
    assert fetched(local)[0] == 401
    assert fetched(f"{local}?token={token[:-1]}")[0] == 401
    opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    with opener.open(f"{local}?token={token}", timeout=START) as answer:
        assert answer.status == 200
        assert "token" not in answer.url
    code, _, err = ended(process, signal.SIGINT)
    assert code in (0, 130)
    assert "warning: other machines can reach this address" in err
    assert "ssh" in err


def test_the_token_can_be_asked_for_on_this_machine_too(started):
    process, address = started("--port", "0", "--token")
    assert fetched(address.partition("?")[0])[0] == 401
    ended(process, signal.SIGINT)


def test_a_request_larger_than_the_bound_is_refused_before_it_is_read(started):
    _, address = started("--port", "0")
    host, port = re.search(r"http://(.*):(\d+)/", address).groups()
    with socket.create_connection((host, int(port)), timeout=START) as one:
        one.sendall(
            b"POST /_dash-update-component HTTP/1.1\r\n"
            + f"Host: {host}:{port}\r\n".encode()
            + b"Content-Type: application/json\r\nContent-Length: 900000000\r\n\r\n"
        )
        assert b" 413 " in one.recv(4096)
    with socket.create_connection((host, int(port)), timeout=START) as one:
        one.sendall(f"GET / HTTP/1.1\r\nHost: {host}:{port}\r\nX: ".encode() + b"x" * 100_000)
        answer = one.recv(4096)
    assert b" 431 " in answer
    assert b"Traceback" not in answer
