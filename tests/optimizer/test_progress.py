import io

import pytest
from rich.console import Console

from optimizer.progress import (
    Line,
    LiveReporter,
    PlainReporter,
    Progress,
    duration,
    plain_line,
    reporter,
)

LINE = Line("boost_bridge", 2, 47_200, 0.31, 63, 0.6112, 0.0004, "1 given up")
PROGRESS = Progress(
    118, 400, 134.0, 11_100.0, 47_200, 160_000, 352.0, 0.31, 2, 63, 0.6112, 0.0004, 0.12,
    (LINE,), True,
)  # fmt: skip


@pytest.mark.parametrize(
    ("seconds", "text"),
    [(45, "45 s"), (725, "12 min 05 s"), (11_100, "3 h 05 min"), (59.6, "1 min 00 s")],
)
def test_times_read_as_people_say_them(seconds, text):
    assert duration(seconds) == text


def test_a_line_says_where_the_sweep_stands():
    assert plain_line(PROGRESS) == (
        "02:14 round 118/400  47,200 designs  352/s  feasible 31.0 %  front 63  "
        "hypervolume 0.6112 (+0.0004)  left 3 h 05 min  failed 2"
    )


def test_without_a_terminal_there_is_one_line_a_round():
    stream = io.StringIO()
    with reporter(stream) as report:
        assert isinstance(report, PlainReporter)
        report(PROGRESS)
        report(Progress(**{**PROGRESS.__dict__, "round_ended": False}))
    assert stream.getvalue() == plain_line(PROGRESS) + "\n"


def test_on_a_terminal_a_table_shows_every_topology():
    stream = io.StringIO()
    console = Console(file=stream, force_terminal=True, width=160, no_color=True)
    with LiveReporter(console) as report:
        report(PROGRESS)
    assert "boost_bridge" in stream.getvalue()
    assert "1 given up" in stream.getvalue()


def test_quiet_says_nothing():
    stream = io.StringIO()
    with reporter(stream, quiet=True) as report:
        report(PROGRESS)
    assert stream.getvalue() == ""
