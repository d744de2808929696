import errno
import json
import os

import numpy as np
import pytest

from models.errors import RunError
from optimizer import files
from optimizer.files import Lock, RunInUseError, line_of, lines_in, write_json, write_whole, writer
from optimizer.journal import Journal, events
from optimizer.store import Store, checkpoints, latest_checkpoint, packed, unpacked

CALLS = ("open", "write", "fsync", "replace", "close")


class Failing:
    """The operating system, except that its k-th call of interest fails."""

    def __init__(self, k, code, partial=False):
        self.left, self.code, self.partial = k, code, partial

    def __getattr__(self, name):
        real = getattr(os, name)
        if name not in CALLS:
            return real

        def call(*arguments):
            self.left -= 1
            if self.left == 0:
                if name == "write" and self.partial:
                    real(arguments[0], bytes(arguments[1])[:7])
                if name == "close":
                    real(*arguments)
                raise OSError(self.code, os.strerror(self.code))
            return real(*arguments)

        return call


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EIO])
@pytest.mark.parametrize("partial", [False, True])
def test_a_file_is_the_old_or_the_new_one_whatever_call_fails(
    tmp_path, monkeypatch, code, partial
):
    path = tmp_path / "run" / "status.json"
    path.parent.mkdir()
    old, new = b"old" * 50, b"new" * 90
    failures = 0
    for k in range(1, 20):
        write_whole(path, old)
        monkeypatch.setattr(files, "os", Failing(k, code, partial))
        message = ""
        try:
            write_whole(path, new)
        except RunError as error:
            message = str(error)
        finally:
            monkeypatch.setattr(files, "os", os)
        if message:
            failures += 1
            assert ("disk is full" in message) == (code == errno.ENOSPC)
            assert "\n  " in message  # the way out
            assert path.read_bytes() in (old, new)
        else:
            assert path.read_bytes() == new
        left = sorted(p.name for p in path.parent.iterdir())
        assert left == ["status.json"], k
    assert failures >= 6


def test_a_folder_that_cannot_be_written_is_reported(tmp_path):
    with pytest.raises(RunError, match=r"absent/status.json cannot be written(?s:.*)permissions"):
        write_json(tmp_path / "absent" / "status.json", {})


def test_a_journal_torn_at_every_byte_loses_its_last_line_at_most(tmp_path):
    path = tmp_path / "journal.jsonl"
    journal = Journal(path)
    wanted = [{"event": "barrier", "n": i, "text": "ä\n}"} for i in range(3)]
    for event in wanted:
        journal.append(event)
    journal.close()
    whole = path.read_bytes()
    last = whole.rindex(b"\n", 0, len(whole) - 1) + 1
    for end in range(last, len(whole)):
        path.write_bytes(whole[:end])
        assert events(path) == (wanted[:2], 0)
        again = Journal(path)
        again.append({"event": "resumed"})
        again.close()
        assert events(path) == ([*wanted[:2], {"event": "resumed"}], 0)


def test_a_changed_byte_of_a_journal_line_is_noticed():
    line = line_of({"event": "barrier", "designs": 12345})
    position = line.index(b"12345")
    for i in range(5):
        damaged = bytearray(line)
        damaged[position + i] ^= 1
        assert next(lines_in(bytes(damaged)))[0] is None
    assert next(lines_in(line))[0] == {"event": "barrier", "designs": 12345}


def test_a_damaged_line_in_the_middle_is_counted_and_passed_over(tmp_path):
    path = tmp_path / "journal.jsonl"
    lines = [line_of({"n": i}) for i in range(3)]
    path.write_bytes(lines[0] + lines[1].replace(b'"n":1', b'"n":7') + lines[2])
    assert events(path) == ([{"n": 0}, {"n": 2}], 1)


def test_journal_lines_are_plain_json():
    assert json.loads(line_of({"n": 1}))["event"] == {"n": 1}


def test_one_writer_at_a_time(tmp_path):
    path = tmp_path / "lock"
    lock = Lock(path)
    assert writer(path) == os.getpid()
    with pytest.raises(RunInUseError, match=f"process {os.getpid()}") as caught:
        Lock(path)
    assert caught.value.exit_code == 5
    lock.close()
    assert writer(path) is None
    Lock(path).close()


def test_equal_arrays_pack_to_equal_bytes():
    arrays = {"schema": np.array(1), "a": np.arange(3.0), "b": np.array([True])}
    assert packed(arrays) == packed(arrays)
    back = unpacked(packed(arrays))
    assert (back["a"] == arrays["a"]).all()


def test_a_pickle_is_refused():
    import io

    buffer = io.BytesIO()
    np.savez(buffer, a=np.array([{"x": 1}], dtype=object))
    with pytest.raises(RunError, match="damaged"):
        unpacked(buffer.getvalue())


def test_a_newer_schema_is_refused():
    with pytest.raises(RunError, match="newer version"):
        unpacked(packed({"schema": np.array(99)}))


def test_two_checkpoints_are_kept_and_a_torn_one_is_passed_over(tmp_path):
    with Store(tmp_path / "run") as store:
        for number in range(4):
            store.checkpoint(number, {"n": np.array(number)})
        kept = checkpoints(store.folder)
        assert len(kept) == 2
        newest = kept[-1][1]
        assert latest_checkpoint(store.folder)["n"] == 3
        whole = newest.read_bytes()
        for end in range(0, len(whole), 97):
            newest.write_bytes(whole[:end])
            assert latest_checkpoint(store.folder)["n"] == 2
        store.checkpoint(5, {"n": np.array(5)})
        assert latest_checkpoint(store.folder)["n"] == 5
