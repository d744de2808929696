"""Write designs of a run's fronts to tests/data, where the tests take them as references.

    python tests/front/collect.py RUN_FOLDER [RUN_FOLDER …] [count] [missing]

For each topology of a run, ``count`` designs (default 3) spread over its front from the
densest to the most efficient replace tests/data/front_<topology>_<n>.json; further runs,
as of other structures, add theirs.  With ``missing``, topologies that have designs keep
them.  Take runs of runs/demo.toml: that is the case in which
the tests evaluate them.  Values are
rounded to six figures, as somebody would type them, and evaluated again; a design that the
rounding pushes over a limit gives way to its neighbour on the front.
"""

import dataclasses
import json
import sys
from pathlib import Path

from models.results import NAMES
from models.topologies import TOPOLOGIES
from models.variables import variables
from optimizer.archive import Run, open_run
from optimizer.launch import stored_case
from optimizer.opened import Opened, opened, read_value

DATA = Path(__file__).parent.parent / "data"
HEADLINES = (
    "power_density_kw_l", "weighted_efficiency_pct", "conversion_efficiency_pct", "cost",
    "life_years", "height_mm", "box_surface_max_c", "loss_full_w", "worst_margin",
)  # fmt: skip


def rounded(value):
    """A value with six figures; names and whole numbers as they are."""
    return float(f"{value:.6g}") if isinstance(value, float) else value


def reread(stored, case) -> tuple[dict[str, object], Opened]:
    """A stored design as the file will have it, and that evaluated."""
    topology, static = TOPOLOGIES[stored.candidate.topology], stored.candidate.structure
    shown = {path: rounded(value) for path, value in stored.shown().items()}
    known = variables(topology.design, case.catalogue.names(), static=static)
    values = {v.field: read_value(v, str(shown[v.path])) for v in known}
    return shown, opened(topology, static, values, case)


def chosen(run: Run, topology: str, count: int, case):
    """Designs spread over a front that meet every limit after rounding."""
    front = sorted(run.front_of(topology), key=lambda d: -d.columns[0])
    kept = [(d, *reread(d, case)) for d in front]
    kept = [row for row in kept if row[2].feasible]
    last = len(kept) - 1
    steps = range(min(count, len(kept)))
    return [kept[round(k * last / max(len(steps) - 1, 1))] for k in steps]


def document(run: Run, stored, shown, item: Opened):
    """What a file holds."""
    columns = dict(zip(NAMES, item.evaluation.columns[0].tolist(), strict=True))
    settings = dataclasses.asdict(run.settings)
    pins = f", pins: {'; '.join(run.pins)}" if run.pins else ""
    return {
        "topology": stored.candidate.topology,
        "structure": dict(stored.candidate.structure),
        "made": f"ripplefront sweep of runs/demo.toml, {settings['evaluations']} designs{pins}",
        "results": {name: rounded(columns[name]) for name in HEADLINES},
        "variables": shown,
    }


def collected(run: Run, count: int) -> dict[str, list[str]]:
    """The texts of a run's files by topology."""
    case = stored_case(run)
    found = {}
    for topology in sorted({c.topology for c in run.candidates}):
        rows = chosen(run, topology, count, case)
        found[topology] = [
            json.dumps(document(run, *row), indent=2, ensure_ascii=False) + "\n" for row in rows
        ]
    return found


def main(words: list[str]) -> None:
    counts = [int(word) for word in words if word.isdigit()]
    folders = [Path(word) for word in words if not word.isdigit() and word != "missing"]
    kept = {path.stem for path in DATA.glob("front_*.json")} if "missing" in words else set()
    texts: dict[str, list[str]] = {}
    for folder in folders:
        for topology, more in collected(open_run(folder), *counts or (3,)).items():
            if f"front_{topology}_1" not in kept:
                texts[topology] = texts.get(topology, []) + more
    for topology, files in texts.items():
        for old in DATA.glob(f"front_{topology}_*.json") if files else ():
            old.unlink()
        for n, text in enumerate(files, start=1):
            (DATA / f"front_{topology}_{n}.json").write_text(text, encoding="utf-8")
        sys.stdout.write(f"{topology}: {len(files)} designs\n")


if __name__ == "__main__":
    main(sys.argv[1:])
