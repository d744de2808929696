// The open design: fields to vary it by hand, groups that fold, pins at hand.
// The fields are drawn here from a description that the page sends once; every change
// asks the server, one question at a time, and the answer marks the fields.
(function () {
  "use strict";
  const PAUSE = 350; // ms without a key before a typed value counts
  const PATIENCE = 5000; // ms after which an answer is no longer waited for
  const RETRY = 40; // ms until what is not there yet is looked for again
  const DETENTS = 1000; // of a slider
  let now = null; // {run, id, fields by path, past, n, waiting since, again}

  function set(id, props) { window.dash_clientside.set_props(id, props); }

  function make(tag, properties, children) {
    const node = document.createElement(tag);
    Object.entries(properties || {}).forEach(([key, value]) => {
      if (key.includes("-") || key === "for" || key === "role") { node.setAttribute(key, value); }
      else { node[key] = value; }
    });
    node.append(...(children || []));
    return node;
  }

  function short(value) { return String(Number(Number(value).toPrecision(4))); }

  // ---- one field ------------------------------------------------------------------

  function toSlider(field, value) {
    const { lo, hi, log } = field.told;
    const share = log ? Math.log(value / lo) / Math.log(hi / lo) : (value - lo) / (hi - lo);
    return Math.round(DETENTS * Math.min(Math.max(share, 0), 1));
  }

  function fromSlider(field, detent) {
    const { lo, hi, log } = field.told;
    const share = detent / DETENTS;
    if (share <= 0) { return String(lo); }
    if (share >= 1) { return String(hi); }
    return short(log ? lo * Math.pow(hi / lo, share) : lo + share * (hi - lo));
  }

  function stepped(field, direction, times) {
    const { lo, hi, log, step, kind } = field.told;
    const value = Number(field.input.value);
    if (!isFinite(value)) { return field.input.value; }
    let size = step * times;
    if (log && kind === "real") {
      const power = Math.pow(10, Math.floor(Math.log10(Math.max(value, lo) / 50)));
      size = Math.max([1, 2, 5].map((m) => m * power).filter((s) => s <= value / 50)[0] || power, 1e-12) * times;
    }
    const next = Math.round((value + direction * size) / size) * size;
    return short(Math.min(Math.max(next, lo), hi));
  }

  function show(field, text) {
    field.input.value = text;
    if (field.slider && isFinite(Number(text))) { field.slider.value = toSlider(field, Number(text)); }
  }

  function changed(field, text, remember) {
    if (remember) { now.past.push(texts()); }
    show(field, text);
    field.last = field.input.value;
    ask(field.told.path);
  }

  function control(field) {
    const told = field.told;
    const id = "design-field-" + told.path;
    const named = { id: id, "aria-describedby": id + "-note" };
    if (told.table) {
      const options = now.tables[told.table].map(([value, text]) => make("option", { value, textContent: text }));
      field.input = make("select", named, options);
      field.input.addEventListener("change", () => changed(field, field.input.value, true));
      return [field.input];
    }
    field.input = make("input", { ...named, type: "text", inputMode: "decimal", autocomplete: "off", spellcheck: false });
    typing(field);
    if (told.kind === "whole") {
      const button = (sign, direction) => {
        const node = make("button", { type: "button", textContent: sign, tabIndex: -1, "aria-label": (direction < 0 ? "one less of " : "one more of ") + told.path });
        node.addEventListener("click", () => changed(field, stepped(field, direction, 1), true));
        return node;
      };
      return [make("span", { className: "design-stepper" }, [button("−", -1), field.input, button("+", 1)])];
    }
    field.slider = make("input", { type: "range", min: 0, max: DETENTS, step: 1, tabIndex: -1, "aria-hidden": "true" });
    let dragging = false;
    field.slider.addEventListener("input", () => {
      const first = !dragging;
      dragging = true;
      changed(field, fromSlider(field, Number(field.slider.value)), first);
    });
    field.slider.addEventListener("change", () => { dragging = false; });
    return [field.input, field.slider];
  }

  function typing(field) {
    const input = field.input;
    const commit = () => {
      clearTimeout(field.timer);
      if (input.value === field.last) { return; }
      const before = texts();
      before[field.told.path] = field.last;
      now.past.push(before);
      changed(field, input.value, false);
    };
    input.addEventListener("input", () => { clearTimeout(field.timer); field.timer = setTimeout(commit, PAUSE); });
    input.addEventListener("change", commit);
    input.addEventListener("keydown", (event) => {
      const direction = { ArrowUp: 1, ArrowDown: -1 }[event.key];
      if (!direction) { return; }
      event.preventDefault();
      changed(field, stepped(field, direction, event.shiftKey ? 10 : 1), true);
    });
  }

  function row(told) {
    const field = { told, last: told.value };
    const id = "design-field-" + told.path;
    const parts = told.path.split(".");
    const range = told.table ? "" : short(told.lo) + " to " + short(told.hi) + (told.unit ? " " + told.unit : "");
    const controls = control(field);
    field.note = make("p", { id: id + "-note", className: "design-note", textContent: range });
    field.range = range;
    field.pin = make("button", { type: "button", className: "design-pin", textContent: "pin", title: "pin " + told.path, "aria-label": "pin " + told.path, "aria-haspopup": "true", "data-pin": told.path, "data-field": "1" });
    const label = make("label", { for: id, title: told.meaning }, [
      make("b", { textContent: parts.slice(1).join(".") || told.path }),
      make("span", { className: "design-meaning", textContent: told.meaning })
    ]);
    field.node = make("div", { className: "design-field" }, [label, ...controls, field.pin, field.note]);
    field.text = (told.path + " " + told.meaning).toLowerCase();
    show(field, told.value);
    return field;
  }

  // ---- all fields -----------------------------------------------------------------

  function all() { return Object.values(now.fields); }

  function texts() {
    return Object.fromEntries(all().map((f) => [f.told.path, f.last]));
  }

  function ask(path) {
    if (now.waiting && performance.now() - now.waiting < PATIENCE) { now.again = path; return; }
    const changes = {};
    all().forEach((f) => { if (f.last.trim() !== f.told.original) { changes[f.told.path] = f.last; } });
    now.n += 1;
    now.waiting = performance.now();
    now.again = null;
    set("design-asked", { data: { run: now.run, id: now.id, changes, path, n: now.n } });
  }

  function restore(values) {
    all().forEach((f) => { f.last = values[f.told.path]; show(f, f.last); });
    ask("");
  }

  function undo() { if (now.past.length) { restore(now.past.pop()); } }

  function back() {
    now.past.push(texts());
    restore(Object.fromEntries(all().map((f) => [f.told.path, f.told.original])));
  }

  function search(query) {
    const words = query.toLowerCase().split(/\s+/).filter(Boolean);
    now.stages.forEach((stage) => {
      let found = 0;
      stage.fields.forEach((f) => {
        f.node.hidden = !words.every((w) => f.text.includes(w));
        found += f.node.hidden ? 0 : 1;
      });
      stage.node.hidden = found === 0;
      if (words.length) { stage.node.open = found > 0; }
    });
  }

  function tools() {
    const find = make("input", { type: "search", placeholder: "find a value", "aria-label": "find a value to vary" });
    find.addEventListener("input", () => search(find.value));
    now.undo = make("button", { type: "button", textContent: "Undo", id: "design-undo" });
    now.undo.addEventListener("click", undo);
    now.back = make("button", { type: "button", textContent: "Back to the original", id: "design-back" });
    now.back.addEventListener("click", back);
    return make("div", { className: "design-tools" }, [find, now.undo, now.back]);
  }

  function mark(marked, messages) {
    all().forEach((f) => {
      const path = f.told.path;
      const reason = messages[path];
      f.node.classList.toggle("changed", marked.includes(path));
      f.node.classList.toggle("wrong", Boolean(reason));
      f.input.setAttribute("aria-invalid", String(Boolean(reason)));
      const was = marked.includes(path) ? (f.range ? ", " : "") + "was " + f.told.original : "";
      f.note.textContent = reason || f.range + was;
    });
    now.stages.forEach((stage) => {
      const count = stage.fields.filter((f) => marked.includes(f.told.path)).length;
      stage.count.textContent = count ? count + " changed" : "";
      if (stage.fields.some((f) => messages[f.told.path])) { stage.node.open = true; }
    });
    now.undo.disabled = now.past.length === 0;
    now.back.disabled = marked.length === 0 && Object.keys(messages).length === 0;
  }

  function build(described) {
    const panel = document.getElementById("design-vary");
    if (!described || !panel) { return window.dash_clientside.no_update; }
    pending.clear();
    now = { run: described.run, id: described.id, tables: described.tables, fields: {}, past: [], stages: [], n: 0, waiting: 0, again: null };
    const stages = {};
    described.fields.forEach((told) => {
      const field = row(told);
      now.fields[told.path] = field;
      const name = told.path.split(".")[0];
      (stages[name] = stages[name] || []).push(field);
    });
    Object.entries(stages).forEach(([name, fields], k) => {
      const count = make("span", { className: "design-count" });
      const node = make("details", { open: k === 0 }, [make("summary", {}, [name + " ", count]), ...fields.map((f) => f.node)]);
      now.stages.push({ node, fields, count });
    });
    panel.replaceChildren(tools(), ...now.stages.map((s) => s.node));
    mark(described.fields.filter((t) => t.value !== t.original).map((t) => t.path), {});
    return window.dash_clientside.no_update;
  }

  function answered(answer) {
    const panel = document.getElementById("design-vary");
    if (!answer || !now || !panel || answer.n !== now.n) { return window.dash_clientside.no_update; }
    panel.dataset.took = String(Math.round(performance.now() - now.waiting));
    panel.dataset.n = String(answer.n);
    now.waiting = 0;
    mark(answer.marked, answer.messages);
    if (now.again !== null) { ask(now.again); }
    return window.dash_clientside.no_update;
  }

  // ---- tables ---------------------------------------------------------------------

  function cell(tag, content, number, scope) {
    const told = typeof content === "string" ? { text: content } : content;
    const node = make(tag, scope ? { scope } : {});
    node.className = [number ? "n" : "", told.look || ""].join(" ").trim();
    if (told.share !== undefined) {
      const filled = make("span");
      filled.style.width = Math.min(100, 100 * told.share) + "%";
      node.append(make("span", { className: "design-meter" + (told.share > 1 ? " over" : ""), "aria-hidden": "true" }, [filled]), " ");
    }
    // A path may break behind its dots and underscores, nowhere else.
    if (scope === "row") { told.text.split(/(?<=[._])/).forEach((piece, i) => node.append(...(i ? [make("wbr"), piece] : [piece]))); }
    else { node.append(told.text); }
    if (told.pin) {
      node.append(" ", make("button", { type: "button", className: "design-pin", textContent: "pin", "aria-label": "pin " + told.pin, "aria-haspopup": "true", "data-pin": told.pin, "data-value": told.value, "data-kind": told.kind }));
    }
    return node;
  }

  function tabled(place) {
    const told = JSON.parse(place.dataset.table);
    const number = (i) => told.numbers.includes(i);
    const head = make("tr", {}, told.heads.map((h, i) => cell("th", h, number(i), "col")));
    const rows = told.rows.map((row) => make("tr", {}, row.map((c, i) => i ? cell("td", c, number(i)) : cell("th", c, false, "row"))));
    place.replaceChildren(make("table", {}, [make("caption", { textContent: told.caption }), make("thead", {}, [head]), make("tbody", {}, rows)]));
  }

  new MutationObserver((records) => {
    const places = new Set();
    records.forEach((record) => {
      if (record.type === "attributes") { places.add(record.target); }
      record.addedNodes.forEach((node) => {
        if (node.nodeType !== 1) { return; }
        if (node.matches("[data-table]")) { places.add(node); }
        node.querySelectorAll("[data-table]").forEach((inner) => places.add(inner));
      });
    });
    places.forEach((place) => { if (place.dataset.table) { tabled(place); } });
  }).observe(document, { childList: true, subtree: true, attributes: true, attributeFilter: ["data-table"] });

  // ---- new data for what is drawn already -----------------------------------------

  const pending = new Map(); // properties by id, the last of several
  let tries = 0;
  let running = false;

  function visible(node) {
    const box = node.getBoundingClientRect();
    return box.bottom > 0 && box.top < window.innerHeight && box.height > 0;
  }

  // A figure is given its data without a detour through the page's state, which costs as
  // much again as drawing it; whenever the page draws a group anew it sends all of it.
  function give(id, props) {
    const node = document.getElementById(id);
    const plot = props.figure && node && node.querySelector(".js-plotly-plot");
    if (plot && plot.layout && window.Plotly) { window.Plotly.react(plot, props.figure.data, props.figure.layout); }
    else if (node) { set(id, props); }
  }

  // Text, tables and the figures in sight at once; the others when the browser has time,
  // and what is not there yet as soon as it is.
  function move(moved) {
    Object.entries(moved || {}).forEach(([id, props]) => {
      const node = document.getElementById(id);
      if (node && (!props.figure || visible(node))) { pending.delete(id); give(id, props); } else { pending.set(id, props); }
    });
    tries = PATIENCE / RETRY;
    if (!running) { running = true; setTimeout(drain, RETRY); }
    return window.dash_clientside.no_update;
  }

  function drain() {
    const there = Array.from(pending.keys()).filter((id) => document.getElementById(id));
    const first = there.find((id) => visible(document.getElementById(id))) || there[0];
    if (!first) { tries -= 1; }
    if (!pending.size || tries < 0) { pending.clear(); running = false; return; }
    if (first) {
      const props = pending.get(first);
      pending.delete(first);
      give(first, props);
    }
    setTimeout(drain, first ? 0 : RETRY);
  }

  // ---- groups and pins ------------------------------------------------------------

  function fold(button, open) {
    const wanted = open === undefined ? button.getAttribute("aria-expanded") !== "true" : open;
    button.setAttribute("aria-expanded", String(wanted));
    document.getElementById(button.getAttribute("aria-controls")).hidden = !wanted;
    const unfolded = Array.from(document.querySelectorAll(".design-fold[aria-expanded=true]"), (b) => b.dataset.group);
    set("design-unfolded", { data: { open: unfolded, last: button.dataset.group } });
  }

  function jump(name) {
    const section = document.getElementById("design-" + name);
    const button = section.querySelector(".design-fold");
    if (button.getAttribute("aria-expanded") !== "true") { fold(button, true); }
    section.scrollIntoView({ block: "start" });
    button.focus({ preventScroll: true });
  }

  function pinsFor(path, value, kind) {
    if (kind === "number") { return [["=", "="], ["<=", "≤"], [">=", "≥"]].map(([op, sign]) => [path + " " + op + " " + value, sign + " " + value]); }
    return [["in", "only"], ["not in", "not"]].map(([op, word]) => [path + " " + op + " [" + value + "]", word + " " + value]);
  }

  function offer(button) {
    const field = button.dataset.field && now && now.fields[button.dataset.pin];
    const value = field ? field.last : button.dataset.value;
    const kind = field ? (field.told.table ? "name" : "number") : button.dataset.kind;
    const component = (type, props) => ({ namespace: "dash_html_components", type, props });
    const choices = pinsFor(button.dataset.pin, value, kind).map(([pin, words]) =>
      component("Button", { id: { type: "pin-add", pin: pin }, children: words, title: pin }));
    set("design-offer", { hidden: false, children: [component("Span", { children: button.dataset.pin }), ...choices] });
    const place = button.getBoundingClientRect();
    setTimeout(() => {
      const box = document.getElementById("design-offer");
      if (!box) { return; }
      box.opener = button;
      box.style.top = Math.min(place.bottom + 4, window.innerHeight - box.offsetHeight - 8) + "px";
      box.style.left = Math.max(8, Math.min(place.left, window.innerWidth - box.offsetWidth - 8)) + "px";
      const first = box.querySelector("button");
      if (first) { first.focus(); }
    }, 60);
  }

  function withdraw(refocus) {
    const box = document.getElementById("design-offer");
    if (!box || box.hidden) { return; }
    set("design-offer", { hidden: true });
    if (refocus && box.opener) { box.opener.focus(); }
  }

  document.addEventListener("click", (event) => {
    const at = (selector) => event.target.closest && event.target.closest(selector);
    if (at(".design-pin")) { offer(at(".design-pin")); return; }
    if (at("#design-offer button")) { setTimeout(() => withdraw(true), 0); return; }
    if (!at("#design-offer")) { withdraw(false); }
    if (at(".design-fold")) { fold(at(".design-fold")); }
    if (at(".design-jump")) { event.preventDefault(); jump(at(".design-jump").dataset.group); }
  });
  document.addEventListener("keydown", (event) => { if (event.key === "Escape") { withdraw(true); } });
  document.addEventListener("scroll", () => withdraw(false), true);

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.design = { build, answered, move };
})();
