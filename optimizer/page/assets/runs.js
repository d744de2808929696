// The list of runs.  The browser builds it from plain data: as components of the page, two
// hundred rows would make every answer of the page take most of a second.
(function () {
  "use strict";
  let count = 0;
  const same = function () { return window.dash_clientside.no_update; };

  // [tag, attributes, children] as elements; every text stays a text.
  function built(part) {
    if (!Array.isArray(part)) { return document.createTextNode(part); }
    const node = document.createElement(part[0]);
    Object.entries(part[1]).forEach(function (pair) { node.setAttribute(pair[0], pair[1]); });
    part[2].forEach(function (child) { node.appendChild(built(child)); });
    return node;
  }

  const FOCUSABLE = "a, button";

  // Put a node in the place of another, the focus on what stands where it stood.
  function replace(old, fresh) {
    const at = Array.from(old.querySelectorAll(FOCUSABLE)).indexOf(document.activeElement);
    old.replaceWith(fresh);
    const next = at < 0 ? null : fresh.querySelectorAll(FOCUSABLE)[at];
    if (next) { next.focus({ preventScroll: true }); }
  }

  function draw(table) {
    const place = document.getElementById("runs-list");
    if (!place || !table) { return same(); }
    const fresh = built(table);
    if (place.firstChild) { replace(place.firstChild, fresh); } else { place.appendChild(fresh); }
    return same();
  }

  function patch(rows) {
    document.querySelectorAll("#runs-list tr[data-run]").forEach(function (row) {
      const fresh = (rows || {})[row.dataset.run];
      if (fresh) { replace(row, built(fresh)); }
    });
    return same();
  }

  function mark(picks) {
    document.querySelectorAll(".runs-pick").forEach(function (box) {
      box.setAttribute("aria-checked", String((picks || []).includes(box.dataset.pick)));
    });
    return same();
  }

  document.addEventListener("click", function (event) {
    const from = event.target.closest ? event.target : event.target.parentElement;
    const box = from.closest("[data-pick]");
    if (box) {
      count += 1; // so that the same run twice is asked for twice
      window.dash_clientside.set_props("runs-chosen", { data: { run: box.dataset.pick, count: count } });
      return;
    }
    const link = from.closest("#runs-list a");
    if (link && event.button === 0 && !event.ctrlKey && !event.metaKey && !event.shiftKey && !event.altKey) {
      event.preventDefault(); // another view of the same page, not another page
      window.history.pushState({}, "", link.href);
      window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    }
  });

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.runs = { draw: draw, patch: patch, mark: mark };
})();
