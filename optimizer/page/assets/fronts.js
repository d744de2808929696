// The fronts in the browser: one view that every control changes, the table twin, the keyboard.
(function () {
  "use strict";
  const MOST = { bars: 8, columns: 12, picked: 6 };
  const FROM = 2; // designs that a comparison takes at least
  let view = {}; // every entry of the address, as text
  let fields = []; // the brushes as the server told them last
  let along = -1; // place of the keyboard on the fronts

  const byId = (id) => document.getElementById(id);
  const same = () => window.dash_clientside.no_update;
  const set = (id, props) => window.dash_clientside.set_props(id, props);
  const announce = (text) => set("status", { children: text });
  const open = (href) => set("address", { href: href });
  const list = (key) => (view[key] || "none").split(",").filter((v) => v !== "none");
  const written = (items) => items.length ? items.join(",") : "none";
  const plotOf = (id) => document.querySelector("#" + id + " .js-plotly-plot");

  function make(tag, props, children) {
    const node = Object.assign(document.createElement(tag), props || {});
    node.append(...(children || []));
    return node;
  }

  function put(entries) {
    view = { ...view, ...entries };
    set("fronts-view", { data: view });
    mark();
  }

  // ---- controls -------------------------------------------------------------------

  function mark() {
    document.querySelectorAll("[data-toggle]").forEach((button) => {
      const on = list(button.dataset.toggle).includes(button.dataset.value);
      button.setAttribute("aria-pressed", String(on === (button.dataset.means === "shown")));
    });
    const whole = byId("fronts-whole");
    if (whole) { whole.classList.toggle("useful", Boolean(view.window)); }
    compare();
  }

  function toggle(key, value) {
    const held = list(key);
    const next = held.includes(value) ? held.filter((v) => v !== value) : [...held, value];
    if (MOST[key] && next.length > MOST[key]) { announce("at most " + MOST[key]); return false; }
    put({ [key]: written(next) });
    return true;
  }

  function chosen(select) {
    if (select.dataset.add) {
      if (select.value) { toggle(select.dataset.add, select.value); }
      select.value = "";
      return;
    }
    const key = select.dataset.view;
    put(key === "x" || key === "y" ? { [key]: select.value, window: "" } : { [key]: select.value });
  }

  function compare() {
    const link = byId("fronts-compare");
    if (!link) { return; }
    const picked = list("picked");
    const enough = picked.length >= FROM;
    if (enough) { link.href = "/compare?" + new URLSearchParams({ designs: picked.join(",") }); } else { link.removeAttribute("href"); }
    byId("fronts-picked").textContent = picked.length ? picked.length + " picked" + (enough ? "" : "; one more at least") : "pick 2 to 6 designs";
  }

  // ---- brushes --------------------------------------------------------------------

  // As fine as anybody can drag: about a hundredth of what was in sight, a round number.
  function rounded(value, width) {
    const step = Math.pow(10, Math.floor(Math.log10(width / 100)));
    return String(Number((Math.round(value / step) * step).toPrecision(10)));
  }

  function brushes() {
    return new Map((view.brushes || "").split(";").filter(Boolean).map((b) => [b.split(":")[0], b]));
  }

  function brush(ranges) {
    const held = brushes();
    ranges.forEach(([name, lo, hi]) => {
      if (lo === "" && hi === "") { held.delete(name); } else { held.set(name, [name, lo, hi].join(":")); }
    });
    const text = Array.from(held.values()).join(";");
    if (text !== (view.brushes || "")) { started = performance.now(); put({ brushes: text }); }
  }

  let started = 0; // when a brush was moved last; tests read how long its answer took

  function answeredBrush() {
    const count = byId("fronts-count");
    if (started && count) { count.dataset.took = String(Math.round(performance.now() - started)); started = 0; }
  }

  function brushed(selection) {
    const range = selection && selection.range;
    const key = range && Object.keys(range).find((k) => k.startsWith("x"));
    if (!key) { return same(); }
    const name = list("bars")[Number(key.slice(1) || 1) - 1];
    const field = fields.find((f) => f.name === name);
    const [lo, hi] = range[key].map(Number).sort((a, b) => a - b);
    if (!field || !field.ends || lo === hi) { return same(); }
    // A box up to the last bar takes what lies beyond it too.
    const width = field.ends[1] - field.ends[0];
    brush([[name, lo <= field.ends[0] ? "" : rounded(lo, width), hi >= field.ends[1] ? "" : rounded(hi, width)]]);
    return same();
  }

  function ends(range) {
    const [lo, hi] = range.map(Number).sort((a, b) => a - b);
    return [rounded(lo, hi - lo), rounded(hi, hi - lo)];
  }

  function boxed(selection) {
    const range = selection && selection.range;
    if (!range || !range.x || !range.y) { return same(); }
    brush([["x", view.x], ["y", view.y]].map(([axis, name]) => [name, ...ends(range[axis])]));
    return same();
  }

  function typed(input) {
    const row = input.closest(".fronts-field");
    const texts = Array.from(row.querySelectorAll("input"), (i) => i.value.trim().replace(",", "."));
    const wrong = texts.map((text) => text !== "" && !Number.isFinite(Number(text)));
    row.querySelectorAll("input").forEach((i, k) => i.setAttribute("aria-invalid", String(wrong[k])));
    if (wrong.some(Boolean)) { announce("not a number"); return; }
    brush([[row.dataset.name, ...texts.map((text) => text === "" ? "" : String(Number(text)))]]);
  }

  function fieldRow(field) {
    const input = (value, hint, words) => make("input", { type: "text", inputMode: "decimal", value: value, placeholder: hint, ariaLabel: field.title + " " + words });
    const held = field.lo || field.hi;
    const off = make("button", { type: "button", className: "quiet", textContent: "×", ariaLabel: (held ? "no brush on " : "remove the histogram of ") + field.title });
    off.title = off.ariaLabel;
    const row = make("div", { className: "fronts-field" + (held ? " held" : "") }, [make("span", { textContent: field.title }), input(field.lo, field.least, "from"), input(field.hi, field.most, "to"), off]);
    row.dataset.name = field.name;
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", "brush on " + field.title);
    off.addEventListener("click", () => held ? brush([[field.name, "", ""]]) : toggle("bars", field.name));
    return row;
  }

  function fielded(told) {
    const place = byId("fronts-fields");
    if (!told || !place) { return same(); }
    answeredBrush();
    fields = told;
    const focused = document.activeElement;
    const row = focused && focused.closest && focused.closest(".fronts-field");
    const at = row ? [row.dataset.name, Array.from(row.children).indexOf(focused)] : null;
    place.replaceChildren(...told.map(fieldRow));
    if (at) {
      const again = Array.from(place.children).find((r) => r.dataset.name === at[0]);
      if (again) { again.children[at[1]].focus({ preventScroll: true }); }
    }
    return same();
  }

  // ---- the plane ------------------------------------------------------------------

  function clicked(event) {
    const point = event && event.points && event.points[0];
    if (point && Array.isArray(point.customdata)) { open("/design?" + new URLSearchParams({ run: point.customdata[0], id: point.customdata[1] })); }
    return same();
  }

  function zoomed(change) {
    const keys = Object.keys(change || {}).filter((k) => /^[xy]axis\./.test(k));
    if (!keys.length) { return same(); }
    const plot = plotOf("fronts-plane");
    const layout = plot.layout;
    const whole = layout.meta || [];
    if (keys.some((k) => k.endsWith("autorange"))) {
      if (view.window) { put({ window: "" }); }
      else { window.Plotly.relayout(plot, { "xaxis.range": whole.slice(0, 2), "yaxis.range": whole.slice(2) }); }
      return same();
    }
    if ([...layout.xaxis.range, ...layout.yaxis.range].join() === whole.join()) { return same(); }
    const text = [...ends(layout.xaxis.range), ...ends(layout.yaxis.range)].join(":");
    if (text !== view.window) { put({ window: text }); }
    return same();
  }

  // All designs of the fronts, front by front, from left to right.
  function places(plot) {
    return plot.data.flatMap((trace, curve) => trace.customdata && trace.mode === "lines+markers" ? trace.customdata.map((name, point) => ({ curve, point, name })) : []);
  }

  function point(plot, place) {
    window.Plotly.Fx.hover(plot, [{ curveNumber: place.curve, pointNumber: place.point }]);
  }

  function walk(event, plot) {
    const every = places(plot);
    const steps = { ArrowRight: 1, ArrowLeft: -1, ArrowUp: 1, ArrowDown: -1, PageUp: 10, PageDown: -10 };
    if (!every.length) { return; }
    if (event.key === "Enter" && every[along]) { clicked({ points: [{ customdata: every[along].name }] }); return; }
    const next = event.key === "Home" ? 0 : event.key === "End" ? every.length - 1 : along + steps[event.key];
    if (!Number.isFinite(next)) { return; }
    event.preventDefault();
    along = Math.max(0, Math.min(every.length - 1, next));
    announce(plot.data[every[along].curve].text[every[along].point].replace(/<[^>]*>/g, ", "));
    point(plot, every[along]);
  }

  // ---- the table twin -------------------------------------------------------------

  function headCell(head, sort) {
    const name = sort.replace(/^-/, "");
    const cell = make("th", { scope: "col", className: head.number ? "n" : "" }, [make("button", { type: "button", textContent: head.text })]);
    cell.firstChild.dataset.sort = head.name;
    if (head.name === name) { cell.setAttribute("aria-sort", sort.startsWith("-") ? "descending" : "ascending"); }
    return cell;
  }

  function bodyRow(row, told) {
    const tick = make("input", { type: "checkbox", checked: row.picked, tabIndex: -1, ariaLabel: "pick " + row.id });
    const link = make("a", { href: row.href, textContent: row.id, tabIndex: -1 });
    const cells = [
      make("td", { className: "fronts-pick" }, [tick]),
      make("th", { scope: "row" }, [link]),
      ...(told.short ? [make("td", { textContent: row.why })] : []),
      ...(told.runs ? [make("td", { textContent: row.run })] : []),
      make("td", { textContent: row.topology }),
      ...row.cells.map((text) => make("td", { className: "n", textContent: text }))
    ];
    const node = make("tr", { tabIndex: -1, className: row.picked ? "picked" : "" }, cells);
    node.dataset.key = row.run + "/" + row.id;
    node.setAttribute("aria-selected", String(row.picked));
    return node;
  }

  function tabled(told) {
    const place = byId("fronts-table");
    if (!told || !place) { return same(); }
    const focused = place.contains(document.activeElement) ? document.activeElement : null;
    const key = focused && focused.closest("tr").dataset.key;
    const sort = focused && focused.dataset.sort;
    const top = place.scrollTop;
    const plain = (text) => make("th", { scope: "col", textContent: text });
    const head = make("tr", {}, [make("th", { scope: "col", className: "fronts-pick" }, [make("span", { className: "unseen", textContent: "pick" })]), plain("design"), ...(told.short ? [plain("why")] : []), ...(told.runs ? [plain("run")] : []), ...told.heads.map((h) => headCell(h, told.sort || ""))]);
    const body = make("tbody", {}, told.rows.map((r) => bodyRow(r, told)));
    const more = told.total > told.rows.length ? ", the first " + told.rows.length : "";
    const caption = make("caption", { className: "unseen", textContent: told.total + " designs" + more + "; arrows move, Enter opens, Space picks" });
    const table = make("table", {}, [caption, make("thead", {}, [head]), body]);
    table.setAttribute("role", "grid");
    table.setAttribute("aria-multiselectable", "true");
    place.replaceChildren(table);
    place.scrollTop = top;
    const again = key && Array.from(body.children).find((r) => r.dataset.key === key);
    const stop = again || body.firstElementChild;
    if (stop) { stop.tabIndex = 0; }
    if (again) { again.focus({ preventScroll: true }); }
    if (sort) { const b = Array.from(head.querySelectorAll("button")).find((x) => x.dataset.sort === sort); if (b) { b.focus(); } }
    along = -1;
    return same();
  }

  function step(row, target) {
    if (!target) { return; }
    row.tabIndex = -1;
    target.tabIndex = 0;
    target.focus();
  }

  function keyed(event, row) {
    const rows = Array.from(row.parentElement.children);
    const at = rows.indexOf(row);
    const to = { ArrowDown: at + 1, ArrowUp: at - 1, PageDown: Math.min(at + 15, rows.length - 1), PageUp: Math.max(at - 15, 0), Home: 0, End: rows.length - 1 }[event.key];
    if (to !== undefined) { event.preventDefault(); step(row, rows[to]); }
    else if (event.key === "Enter") { event.preventDefault(); open(row.querySelector("a").getAttribute("href")); }
    else if (event.key === " ") { event.preventDefault(); pick(row.dataset.key); }
  }

  function pick(key) {
    if (toggle("picked", key)) { announce(list("picked").length + " picked"); }
    else { document.querySelectorAll("#fronts-table tr").forEach((r) => { if (r.dataset.key === key) { r.querySelector("input").checked = false; } }); }
  }

  function sortBy(name) {
    const now = view.sort || "";
    put({ sort: now === name ? "-" + name : now === "-" + name ? "" : name });
  }

  // ---- events ---------------------------------------------------------------------

  function overRuns(names) {
    const query = new URLSearchParams(window.location.search);
    query.set("runs", names);
    query.delete("window");
    open("/fronts?" + query);
  }

  document.addEventListener("change", (event) => {
    const node = event.target;
    if (node.matches(".fronts select")) { chosen(node); }
    else if (node.matches(".fronts-field input")) { typed(node); }
    else if (node.matches(".fronts-table input")) { pick(node.closest("tr").dataset.key); }
  });

  document.addEventListener("click", (event) => {
    const node = event.target.closest && event.target.closest(".fronts button, .fronts-table a, .fronts-button");
    if (!node) { return; }
    if (node.dataset.toggle) { toggle(node.dataset.toggle, node.dataset.value); }
    else if (node.dataset.runs) { overRuns(node.dataset.runs); }
    else if (node.dataset.clear) { put({ [node.dataset.clear]: "" }); }
    else if (node.dataset.sort) { sortBy(node.dataset.sort); }
    else if (node.getAttribute("href") && !event.ctrlKey && !event.metaKey && !event.shiftKey) { event.preventDefault(); open(node.getAttribute("href")); }
  });

  document.addEventListener("keydown", (event) => {
    const node = event.target;
    if (!node.matches || event.ctrlKey || event.metaKey || event.altKey) { return; }
    if (node.matches(".fronts-table tbody tr")) { keyed(event, node); }
    else if (node === plotOf("fronts-plane")) { walk(event, node); }
  });

  document.addEventListener("focusin", (event) => {
    const plot = plotOf("fronts-plane");
    if (!plot || !plot.data || !event.target.matches(".fronts-table tbody tr")) { return; }
    const place = places(plot).find((p) => p.name.join("/") === event.target.dataset.key);
    if (place) { point(plot, place); }
  });

  // The window's height is not the paper's: the figure keeps the one that it was drawn with.
  function held(height) {
    const node = byId("fronts-plane");
    if (node) { node.style.height = height || node.offsetHeight + "px"; }
  }

  let usual = "";
  window.addEventListener("beforeprint", () => { usual = byId("fronts-plane") ? byId("fronts-plane").style.height : ""; held(""); });
  window.addEventListener("afterprint", () => held(usual));

  function viewed(data) {
    if (data) { view = data; mark(); }
    return same();
  }

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.fronts = { viewed, tabled, fielded, brushed, boxed, clicked, zoomed };
})();
