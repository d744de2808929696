// Tables of what is compared, made from one attribute: as components of the page, two
// thousand cells would take seconds to draw.
(function () {
  "use strict";

  function make(tag, properties, children) {
    const node = document.createElement(tag);
    Object.entries(properties || {}).forEach(([key, value]) => {
      if (key === "scope") { node.setAttribute(key, value); } else { node[key] = value; }
    });
    node.append(...(children || []));
    return node;
  }

  function head(told) {
    const parts = [];
    if (told.mark !== undefined) {
      parts.push(make("span", { className: "compare-mark compare-mark-" + told.mark, textContent: told.letter }), " ");
    }
    parts.push(told.text);
    (told.more || []).forEach((line) => parts.push(make("span", { className: "compare-from", textContent: line })));
    return make("th", { scope: "col", className: "n" }, parts);
  }

  function row(told) {
    const name = [told.name];
    if (told.meaning) { name.push(make("span", { className: "compare-meaning", textContent: told.meaning })); }
    const cells = told.cells.map((text, k) => {
      const step = (told.steps || [])[k];
      const look = (told.looks || [])[k];
      const parts = [make("span", { textContent: text })];
      if (step) { parts.push(" ", make("span", { className: ("compare-step " + (look || "")).trim(), textContent: step })); }
      return make("td", { className: "n" }, parts);
    });
    const properties = told.alike ? { className: "alike" } : {};
    return make("tr", properties, [make("th", { scope: "row" }, name), ...cells]);
  }

  function draw(place) {
    const told = JSON.parse(place.dataset.compare);
    const first = make("th", { scope: "col", textContent: told.first });
    place.replaceChildren(make("table", {}, [
      make("caption", { textContent: told.caption }),
      make("thead", {}, [make("tr", {}, [first, ...told.heads.map(head)])]),
      make("tbody", {}, told.rows.map(row))
    ]));
  }

  // Whoever removed the last one by keyboard goes on from the list, not from the top.
  function keepFocus(children, id) {
    window.requestAnimationFrame(() => {
      const list = document.getElementById(id);
      if (list && document.activeElement === document.body) { list.focus({ preventScroll: true }); }
    });
    return window.dash_clientside.no_update;
  }

  function fold(rows) { return (rows || []).length ? "compare" : "compare folded"; }

  new MutationObserver((records) => {
    const places = new Set();
    records.forEach((record) => {
      if (record.type === "attributes") { places.add(record.target); }
      record.addedNodes.forEach((node) => {
        if (node.nodeType !== 1) { return; }
        if (node.matches("[data-compare]")) { places.add(node); }
        node.querySelectorAll("[data-compare]").forEach((inner) => places.add(inner));
      });
    });
    places.forEach(draw);
  }).observe(document, { childList: true, subtree: true, attributes: true, attributeFilter: ["data-compare"] });

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.compare = { keep_focus: keepFocus, fold: fold };
})();
