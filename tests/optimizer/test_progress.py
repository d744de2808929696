import dataclasses
import io
import json

import pytest
from rich.console import Console

from optimizer.progress import (
    LINE_EVERY,
    Line,
    LiveReporter,
    PlainReporter,
    Progress,
    Trend,
    bars,
    duration,
    plain_line,
    progress_from,
    reporter,
    table,
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


def moved(**changes):
    """Return the progress with some fields changed."""
    return dataclasses.replace(PROGRESS, **changes)


def test_without_a_terminal_there_is_a_line_each_half_minute_and_none_while_nothing_moves():
    stream, clock = io.StringIO(), [0.0]
    assert isinstance(reporter(stream), PlainReporter)
    report = PlainReporter(stream, clock=lambda: clock[0])
    for second in range(100):
        clock[0] = float(second)
        report(moved(designs=50_000 + second))
    assert len(stream.getvalue().splitlines()) == 4  # at 0, 30, 60 and 90 s
    clock[0] = 1000.0
    report(moved(designs=50_090))
    assert len(stream.getvalue().splitlines()) == 4


def test_a_night_of_lines_stays_small():
    line = plain_line(moved(run="n" * 80, number=3, of=6))
    assert len(line) * 12 * 3600 / LINE_EVERY < 500_000


def test_a_sweep_of_several_runs_says_which_one():
    assert plain_line(moved(run="demo", number=2, of=6)).startswith("demo (2 of 6)  02:14 ")


def test_the_status_file_gives_the_progress_back():
    content = json.loads(
        json.dumps({"state": "running", "at": "", **dataclasses.asdict(PROGRESS)})
    )
    assert progress_from(content) == PROGRESS
    assert progress_from({"state": "running"}) is None
    # A later version may say more.
    assert progress_from({**content, "more": 1, "lines": [{**content["lines"][0], "m": 2}]})


def test_a_trend_shows_the_last_rounds_and_their_rate():
    trend = Trend()
    for k in range(40):
        line = dataclasses.replace(LINE, designs=1000 * k, hypervolume=0.1 * k)
        for part in (0.0, 1.0):  # two looks in one round are one bar
            trend.see(moved(barrier=k, elapsed=10.0 * k + part, lines=(line,)))
    assert trend.bars(PROGRESS, LINE) == bars(list(range(28, 40)))
    assert trend.rate(PROGRESS, LINE) == pytest.approx(100.0, rel=1e-6)
    assert trend.rate(moved(run="another"), LINE) is None


def test_bars_reach_from_the_least_to_the_largest():
    assert bars([0.0, 0.5, 1.0]) == "▁▅█"
    assert bars([2.0, 2.0]) == "▅▅"
    assert bars([1.0]) == ""


def test_on_a_terminal_a_table_shows_every_topology():
    stream = io.StringIO()
    console = Console(file=stream, force_terminal=True, width=160, no_color=True)
    with LiveReporter(console) as report:
        report(PROGRESS)
    assert "boost_bridge" in stream.getvalue()
    assert "1 given up" in stream.getvalue()


def test_a_narrow_terminal_shows_what_matters_unfolded():
    console = Console(width=80, no_color=True)
    with console.capture() as drawn:
        console.print(table(PROGRESS, Trend(), 80))
    head, row = drawn.get().splitlines()
    assert head.split() == ["topology", "designs", "feasible", "front", "hypervolume", "trend"]
    assert row.split()[:2] == ["boost_bridge", "47,200"]


def test_quiet_says_nothing():
    stream = io.StringIO()
    with reporter(stream, quiet=True) as report:
        report(PROGRESS)
    assert stream.getvalue() == ""
