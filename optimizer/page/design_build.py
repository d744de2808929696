"""The group "How to build it"."""

from __future__ import annotations

from typing import Any

from dash import html

from optimizer.page.design_bits import Shown, live, more, table
from optimizer.quantities import quantity, significant
from optimizer.sheet_data import SECTIONS, detail_data

NAME, TITLE = "build", "How to build it"
# What a part is called in its own facts; the first of them names the line of the bill.
NAMES = ("part", "transistor", "diode", "core", "choke")
# Variables that a line of the bill may pin: the row of a part's table.
ROWS = ("row", "core", "y")


def drawn(shown: Shown) -> list[Any]:
    """Return the group."""
    item = shown.item
    bill = SECTIONS["bill"](item)
    cost = {r["path"]: r["value"] for r in SECTIONS["cost"](item)}
    detail = detail_data(item)
    wound = [i for i in bill if any(f["name"] == "core" for f in i["build"])]
    return [
        html.H3("Bill of materials"),
        _bill(shown, bill, cost),
        html.P("Prices are invented; board, box and assembly are in the cost above.",
               className="soft"),
        html.H3("Windings") if wound else None,
        _windings(wound) if wound else None,
        html.H3("Start values of the control loops"),
        table(
            ["loop", "plant", "Kp", "Ki", "crossover", "phase margin", "gain margin", "note"],
            [_loop(loop) for loop in detail["loops"]], (2, 3, 4, 5, 6),
            "start values of the control loops",
        ),
        html.H3("Protections to provide"),
        live("protections", html.Ul([html.Li(p) for p in detail["protections"]],
                                    className="design-list")),
        html.H3("Prototype checks to plan"),
        live("checks", html.Ol([html.Li(p) for p in detail["checks"]], className="design-list")),
        more("Block diagram", html.Pre(item.topology.diagram)),
        more("Other figures at full power", table(
            ["figure", "meaning", "value"],
            [[f["path"], f["meaning"], quantity(f["value"], "" if f["unit"] == "1" else f["unit"])]
             for f in SECTIONS["figures"](item)], (2,), "other figures")),
    ]  # fmt: skip


def _loop(loop: dict[str, Any]) -> list[str]:
    """Return a control loop as cells; a gain of none or a margin that does not exist is –."""
    gain = loop["unit"]
    return [
        loop["name"],
        loop["plant"],
        f"{significant(loop['kp'])} {gain}" if loop["kp"] else "–",
        f"{significant(loop['ki'])} {gain}/s" if loop["ki"] else "–",
        *(
            "–" if loop[key] is None else quantity(loop[key], unit)
            for key, unit in (("crossover", "Hz"), ("phase_margin", "°"), ("gain_margin", "dB"))
        ),
        loop["note"],
    ]


def _bill(shown: Shown, bill: list[dict[str, Any]], cost: dict[str, float]) -> Any:
    rows = []
    for line in bill:
        facts = {f["name"]: f for f in line["build"]}
        name = next((str(facts[n]["value"]) for n in NAMES if n in facts), "")
        rest = [f for f in line["build"] if f["name"] not in NAMES]
        price = cost.get(line["path"])
        rows.append(
            [
                line["path"],
                f"{line['quantity']} ×",
                line["what"],
                {"text": name, "look": "design-part", **_row_pin(shown, line["path"], name)},
                "" if price is None else f"{price:.2f} €",
                "see the windings below" if "core" in facts else _facts(rest),
            ]
        )
    heads = ["where", "pieces", "what", "part", "cost, all pieces", "build"]
    return table(heads, rows, (1, 4), "bill of materials")


def _row_pin(shown: Shown, path: str, name: str) -> dict[str, str]:
    """Return the pin on the row of a part, where the part has one to choose.

    Parts that come several times share one design: ``boost.switch_2`` is ``boost.switch``.
    """
    item = shown.item
    known = {v.path: v for v in item.variables}
    stems = [path, path.rstrip("0123456789").rstrip("_"), path.rpartition(".")[0]]
    own = [known[p] for p in (f"{stem}.{row}" for stem in stems for row in ROWS) if p in known]
    # A part may be called otherwise than its design: diode_1 is placed from the rectifier.
    stage = path.partition(".")[0] + "."
    others = [v for v in item.variables if v.kind == "row" and v.path.startswith(stage)]
    for variable in [*own, *others]:
        if variable.shown(item.values[variable.field]) == name:
            return {"pin": variable.path, "value": name, "kind": "name"}
    return {}


def _facts(facts: list[dict[str, Any]]) -> str:
    return "; ".join(f"{f['name']} {quantity(f['value'], f['unit'])}" for f in facts)


def _windings(wound: list[dict[str, Any]]) -> Any:
    """Return what a winder needs, one column a part."""
    names = list(dict.fromkeys(f["name"] for i in wound for f in i["build"]))
    rows = []
    for name in names:
        cells = []
        for item in wound:
            fact = next((f for f in item["build"] if f["name"] == name), None)
            cells.append("–" if fact is None else _fact(fact))
        rows.append([name, *cells])
    heads = ["", *(f"{i['quantity']} × {i['path']}" for i in wound)]
    return table(heads, rows, range(1, len(heads)), "windings, one column a part")


def _fact(fact: dict[str, Any]) -> str:
    """Return a fact of a winding, shares in per cent and against their limit."""
    value, bound = fact["value"], fact["bound"]
    if bound is not None and not fact["unit"] and not isinstance(value, str):
        limit = "" if bound == 1.0 else f" of at most {100 * bound:.0f} %"
        return f"{100 * value:.0f} %{limit}"
    if fact["name"].startswith("tolerance") and not isinstance(value, str):
        return f"± {100 * value:.0f} %"
    return quantity(value, fact["unit"])
