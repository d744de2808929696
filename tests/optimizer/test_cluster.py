"""Where Ray cannot be reached the answer is quick and says what to do."""

import os
import socket
import sys
import threading
import time
import types

import pytest

from models.errors import RunError
from optimizer import cluster


@pytest.fixture
def listener():
    with socket.create_server(("127.0.0.1", 0)) as made:
        yield made, f"127.0.0.1:{made.getsockname()[1]}"


@pytest.fixture
def ray(monkeypatch):
    """A Ray that only says what it is told to."""
    made = types.ModuleType("ray")
    monkeypatch.setitem(sys.modules, "ray", made)
    return made


@pytest.mark.parametrize("address", ["nothing", "ray://head:10001", "head:port", ""])
def test_what_is_no_address_is_refused(address):
    with pytest.raises(RunError, match="HOST:PORT"):
        cluster.Joined(address).open()


def test_a_closed_port_is_told_at_once(listener):
    made, address = listener
    made.close()
    begun = time.monotonic()
    with pytest.raises(RunError, match=rf"(?s)no Ray cluster answers at {address}.*ray start"):
        cluster.Joined(address).open()
    assert time.monotonic() - begun < 2.0 * cluster.KNOCK


def test_a_server_that_keeps_silent_is_told_soon(listener, monkeypatch):
    monkeypatch.setattr(cluster, "KNOCK", 0.2)
    with pytest.raises(RunError, match="timed out"):
        cluster.Joined(listener[1]).open()


def test_another_server_is_told_from_ray(listener):
    made, address = listener

    def answer():
        with made.accept()[0] as line:
            line.recv(100)
            line.sendall(b"HTTP/1.1 400 Bad Request\r\n\r\n")

    answering = threading.Thread(target=answer)
    answering.start()
    with pytest.raises(RunError, match="not Ray"):
        cluster.Joined(address).open()
    answering.join()


def test_other_versions_are_told_with_the_remedy(ray, monkeypatch):
    def init(**settings):
        raise RuntimeError("Version mismatch: The cluster was started with:\n    Ray: 2.1")

    ray.init = init
    monkeypatch.setattr(cluster, "_knock", lambda address: None)
    with pytest.raises(RunError, match=r"(?s)Ray: 2\.1.*Install the versions"):
        cluster.Joined("head:6379").open()


def test_a_ray_that_does_not_start_leaves_no_folder(ray, monkeypatch, tmp_path):
    def init(**settings):
        made.append(settings["_temp_dir"])
        raise OSError("no space left on device")

    made = []
    ray.init, ray.shutdown = init, lambda: None
    monkeypatch.setattr(cluster, "_private", lambda: None)
    with pytest.raises(RunError, match=r"(?s)no space left.*--workers 0"):
        cluster.Embedded(2).open()
    assert made
    assert not os.path.exists(made[0])


def test_the_token_stays_in_memory(monkeypatch):
    for name in ("RAY_AUTH_TOKEN", "RAY_AUTH_TOKEN_PATH", "RAY_USAGE_STATS_ENABLED"):
        monkeypatch.delenv(name, raising=False)
    cluster._private()
    assert len(os.environ["RAY_AUTH_TOKEN"]) == 64
    assert os.environ["RAY_USAGE_STATS_ENABLED"] == "0"
    monkeypatch.setenv("RAY_AUTH_TOKEN", "own")
    cluster._private()
    assert os.environ["RAY_AUTH_TOKEN"] == "own"
