"""The run folder as a whole: every call of the system may fail, every file be damaged."""

import errno
import json
import multiprocessing
import os
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import optimizer.engine as engine
import optimizer.journal
from models.errors import RunError
from optimizer import files
from optimizer.archive import open_run
from optimizer.budget import Settings
from optimizer.cli import main
from optimizer.engine import resume, sweep
from optimizer.store import Store, checkpoints, latest_checkpoint, packed, unpacked
from tests.optimizer.stand_in import StandIn, store_for

SETTINGS = Settings(seed=4, evaluations=2000, islands=1, round_evaluations=500)


def one():
    return [StandIn()]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory):
    """Folder of a small sweep with two checkpoints."""
    root = tmp_path_factory.mktemp("runs")
    with np.errstate(all="raise", under="ignore"), pytest.MonkeyPatch.context() as patch:
        patch.setattr(engine, "CHECKPOINT_EVERY", 0.0)
        with store_for(root, one(), SETTINGS) as store:
            assert sweep(one(), SETTINGS, store).reason == "done"
    return store.folder


@pytest.fixture
def copy(undisturbed, tmp_path):
    return shutil.copytree(undisturbed, tmp_path / "copy")


class Full:
    """The operating system, except that from the k-th change of a file on none succeeds.

    Nothing waits for the disk: what a lost power supply leaves is not tried here.
    """

    CALLS = ("open", "write", "pwrite", "fsync", "replace", "ftruncate")

    def __init__(self, k=10**9, code=0, partial=False):
        self.left, self.code, self.partial = k, code, partial

    def __getattr__(self, name):
        real = (lambda handle: None) if name == "fsync" else getattr(os, name)
        if name not in self.CALLS:
            return real

        def call(*arguments):
            self.left -= 1
            if self.left > 0:
                return real(*arguments)
            if self.partial and name in ("write", "pwrite") and self.left == 0:
                return real(arguments[0], bytes(arguments[1])[:7], *arguments[2:])
            raise OSError(self.code, os.strerror(self.code))

        return call


@pytest.fixture
def system(monkeypatch):
    """A function that lets the system fail from its k-th change of a file on, or never."""

    def fail(*arguments):
        fault = Full(*arguments)
        for module in (files, optimizer.journal):
            monkeypatch.setattr(module, "os", fault)

    fail()
    return fail


@pytest.mark.parametrize(
    ("code", "partial"), [(errno.ENOSPC, False), (errno.ENOSPC, True), (errno.EIO, False)]
)
def test_whatever_call_fails_first_the_run_is_whole_and_goes_on_to_the_same_bits(
    undisturbed, tmp_path, monkeypatch, system, code, partial
):
    wanted = (undisturbed / "archive.npz").read_bytes()
    monkeypatch.setattr(engine, "CHECKPOINT_EVERY", 0.0)
    monkeypatch.setattr(engine, "STATUS_EVERY", 0.0)
    rng = np.random.default_rng(code + partial)
    failures, k, message = 0, 1, "none yet"
    while message:
        with store_for(tmp_path / str(k), one(), SETTINGS) as store:
            folder = store.folder
        system(k, code, partial)
        message = ""
        try:
            with Store(folder) as again:
                sweep(one(), SETTINGS, again)
        except RunError as error:
            message = str(error)
        system()
        if message:
            failures += 1
            assert ("disk is full" in message) == (code == errno.ENOSPC), message
            assert open_run(folder).status["state"] == "interrupted"
            assert open_run(folder).events()[0][0]["event"] == "created"
            assert not list(folder.rglob(".*.new"))
            with Store(folder) as again:
                assert resume(one(), SETTINGS, again).reason == "done"
        assert (folder / "archive.npz").read_bytes() == wanted
        assert open_run(folder).events()[1] == 0
        k += int(rng.integers(1, 6 + k))
    assert failures > 6


def test_a_journal_line_that_did_not_fit_leaves_no_rubbish_behind(tmp_path, monkeypatch):
    journal = optimizer.journal.Journal(tmp_path / "journal.jsonl")
    journal.append({"n": 1})
    for code in (errno.ENOSPC, errno.EIO):
        for k in (1, 2):
            fault = Full(k, code, partial=True)
            fault.CALLS = ("pwrite", "fsync")
            monkeypatch.setattr(optimizer.journal, "os", fault)
            with pytest.raises(RunError):
                journal.append({"n": 2, "long": "x" * 300})
            monkeypatch.setattr(optimizer.journal, "os", os)
            assert optimizer.journal.events(tmp_path / "journal.jsonl") == ([{"n": 1}], 0)
    journal.append({"n": 3})
    journal.close()
    assert optimizer.journal.events(tmp_path / "journal.jsonl") == ([{"n": 1}, {"n": 3}], 0)


def test_a_checkpoint_torn_at_any_byte_or_with_any_bit_changed_is_told_from_a_whole_one(tmp_path):
    with Store(tmp_path / "run") as store:
        for number in (1, 2):
            store.checkpoint(number, {"n": np.array(number)})
        newest = checkpoints(store.folder)[-1][1]
        whole = newest.read_bytes()
        assert len(whole) < 2000
        for end in range(len(whole)):
            newest.write_bytes(whole[:end])
            assert latest_checkpoint(store.folder)["n"] == 1, end
        for position in range(0, len(whole), 3):
            changed = bytearray(whole)
            changed[position] ^= 1 << (position % 8)
            newest.write_bytes(changed)
            assert latest_checkpoint(store.folder)["n"] == 1, position


def test_a_damaged_checkpoint_is_set_aside_and_noted_and_the_one_before_is_used(copy, undisturbed):
    newest = checkpoints(copy)[-1][1]
    damage(newest)
    with Store(copy) as store:
        assert resume(one(), SETTINGS, store).reason == "done"
    noted = [e for e in open_run(copy).events()[0] if e["event"] == "damaged"]
    assert [e["file"] for e in noted] == [f"checkpoints/{newest.name}"]
    assert newest.with_name(newest.name + ".damaged").exists()
    assert len(checkpoints(copy)) == 2
    assert (copy / "archive.npz").read_bytes() == (undisturbed / "archive.npz").read_bytes()


@pytest.mark.parametrize("how", ["damaged", "deleted"])
def test_without_any_checkpoint_a_run_begins_again_says_so_and_finds_the_same(
    copy, undisturbed, how
):
    for _, path in checkpoints(copy):
        damage(path) if how == "damaged" else path.unlink()
    with Store(copy) as store:
        assert resume(one(), SETTINGS, store).reason == "done"
    kinds = [e["event"] for e in open_run(copy).events()[0]]
    assert kinds.count("damaged") == (2 if how == "damaged" else 0)
    assert kinds.count("restarted") == 1
    assert "resumed" not in kinds
    assert (copy / "archive.npz").read_bytes() == (undisturbed / "archive.npz").read_bytes()


def damage(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 4
    path.write_bytes(data)


def read_all(folder: Path) -> None:
    """Read everything that any command reads."""
    run = open_run(folder)
    assert run.settings.evaluations
    assert run.specification
    assert run.status["state"]
    assert run.fronts[0].size + run.clouds[0].size >= 0
    run.nearest(0)
    run.events()


JSONS = ("manifest.json", "candidates.json", "columns.json", "status.json")


@pytest.mark.parametrize("name", [*JSONS, "specification.toml", "archive.npz"])
@pytest.mark.parametrize("how", ["deleted", "empty", "garbled", "a folder"])
def test_a_damaged_file_gives_one_clear_error_with_file_reason_and_remedy(copy, name, how):
    path = copy / name
    path.unlink()
    if how == "empty":
        path.touch()
    elif how == "garbled":
        path.write_bytes(b"PK\x03\x04\xff\xfe{" * 40)
    elif how == "a folder":
        path.mkdir()
    if (name, how) == ("specification.toml", "empty"):
        return  # an empty text is a text: what it means is for the specification to say
    with pytest.raises(RunError, match=name) as caught:
        read_all(copy)
    assert "\n  " in str(caught.value)


@pytest.mark.parametrize("name", JSONS)
@pytest.mark.parametrize("content", ["[]", "null", "3", '{"schema": 1}', '{"schema": "one"}',
    '{"schema": 1, "settings": {"sed": 1}, "candidates": 3, "columns": [{"name": 1}]}',
    '{"schema": 1, "settings": 1, "candidates": [{"name": "a"}], "columns": [3]}',
    "[" * 100_000])  # fmt: skip
def test_a_file_with_other_content_gives_one_clear_error(copy, name, content):
    (copy / name).write_text(content)
    if name == "status.json" and content.startswith("{"):
        return  # a status without state is that of a run which nobody writes
    with pytest.raises(RunError, match=name) as caught:
        read_all(copy)
    assert "\n  " in str(caught.value)


def test_arrays_of_another_run_are_refused(copy, tmp_path):
    row = json.loads((copy / "columns.json").read_text())
    row["columns"].append({"name": "more", "unit": "", "meaning": ""})
    (copy / "columns.json").write_text(json.dumps(row))
    with pytest.raises(RunError, match=r"archive.npz cannot be read(?s:.*)do not fit"):
        read_all(copy)


def test_an_archive_with_any_byte_changed_is_refused_or_reads_the_same():
    wanted = {"a": np.arange(6.0).reshape(2, 3), "b": np.array([1, 2])}
    whole = packed({"schema": np.array(1), **wanted})
    refused = 0
    for position in range(len(whole)):
        changed = bytearray(whole)
        changed[position] ^= 1 << (position % 8)
        try:
            found = unpacked(bytes(changed), "run/archive.npz")
        except RunError as error:
            refused += 1
            assert "run/archive.npz" in str(error)  # noqa: PT017
        else:
            assert {k: v.tolist() for k, v in found.items()} == {
                k: v.tolist() for k, v in wanted.items()
            }, position
    assert refused > len(whole) // 2
    for end in range(len(whole)):
        with pytest.raises(RunError):
            unpacked(whole[:end])


def rename_results(folder: Path) -> None:
    """Call the results of the invented problem what the list of runs shows."""
    text = (folder / "columns.json").read_text()
    text = text.replace("loss_w", "weighted_efficiency_pct")
    (folder / "columns.json").write_text(text.replace("volume_l", "power_density_kw_l"))


def test_the_list_of_runs_shows_the_broken_among_the_whole(copy, tmp_path):
    rename_results(copy)
    for name in JSONS[1:]:
        broken = shutil.copytree(copy, tmp_path / f"broken-{name.split('.')[0]}")
        (broken / name).write_text("{")
    found = CliRunner().invoke(main, ["runs", "--runs", str(tmp_path), "--json"])
    assert found.exit_code == 0, found.output
    states = {row["name"]: row["state"] for row in json.loads(found.stdout)["runs"]}
    broken = {f"broken-{name}" for name in ("candidates", "columns", "status")}
    assert {k for k, v in states.items() if v == "broken"} == broken
    assert states["copy"] == "ended"


def test_what_a_killed_writer_left_half_written_is_cleared(copy):
    (copy / ".status.json.new").write_bytes(b"{")
    (copy / "checkpoints" / ".000009-000001-00.npz.new").write_bytes(b"PK")
    with Store(copy):
        assert not list(copy.rglob(".*.new"))


def test_a_folder_whose_making_was_cut_short_is_no_run_or_a_whole_one(tmp_path, system):
    whole, k, failed = 0, 0, True
    while failed:
        k += 1
        system(k, errno.ENOSPC)
        try:
            store_for(tmp_path / str(k), one(), SETTINGS).close()
            failed = False
        except RunError:
            system()
        for folder in (tmp_path / str(k)).glob("*"):
            try:
                read_all(folder)
            except RunError as error:
                assert "no run folder" in str(error)  # noqa: PT017
            else:
                whole += 1
    assert k > 30
    assert 1 <= whole <= 4  # the manifest is the last file


def test_readers_at_the_same_time_neither_fool_each_other_nor_keep_a_writer_out(copy):
    readers = [os.open(copy / "lock", os.O_RDONLY) for _ in range(2)]
    import fcntl

    for handle in readers:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    assert open_run(copy).pid is None
    for handle in readers:
        os.close(handle)
    with Store(copy):
        assert open_run(copy).pid == os.getpid()


def written(folder: str, stop) -> None:
    """Write a run folder again and again; everything in a file says which round it is of."""
    files.os = optimizer.journal.os = Full()  # never waits for the disk
    rng = np.random.default_rng(1)
    with Store(Path(folder)) as made:
        k = 0
        while not stop.is_set():
            k += 1
            size = int(rng.integers(1, 2000))
            made.status({"state": "running", "k": k, "text": f"{k} " * size})
            if k < 200:
                made.journal("barrier", k=k, text="x" * size)
            arrays = {
                f"c0.front.{name}": np.full((size, width), float(k))
                for name, width in (("genes", 7), ("objectives", 2), ("columns", 2))
            }
            made.archive(arrays, [["k"], *[[k]] * size])
            if k % 5 == 0:
                made.checkpoint(k, {"k": np.full(size, k)})


def test_a_reader_at_any_moment_sees_whole_files_of_one_writing_each(copy):
    context = multiprocessing.get_context("forkserver")
    stop = context.Event()
    writer = context.Process(target=written, args=(str(copy), stop))
    writer.start()
    try:
        rounds = set()
        looks = 0
        while looks < 500 or len(rounds) < 10:
            looks += 1
            run = open_run(copy)
            status = run.status
            if "k" not in status or writer.pid != run.pid:
                assert looks < 20_000
                continue
            assert status["state"] == "running"
            assert set(status["text"].split()) == {str(status["k"])}
            front = run.fronts[0]
            if len(np.unique(front.genes)) == 1:
                rounds.add(front.genes[0, 0])
                assert (front.genes == front.objectives[0, 0]).all()
                assert (front.columns == front.objectives[0, 0]).all()
            rows = (copy / "front.csv").read_text().split()
            assert rows[0] != "k" or len(set(rows[1:])) == 1
            events, damaged = run.events()
            assert damaged == 0
            numbers = [e["k"] for e in events if "k" in e]
            assert numbers == list(range(1, len(numbers) + 1))
            last = latest_checkpoint(copy)
            assert last is None or "k" not in last or len(np.unique(last["k"])) == 1
    finally:
        stop.set()
        writer.join(20)
    assert writer.exitcode == 0
