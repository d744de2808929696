// What belongs to the browser alone: theme, address, focus, and signs of work and of faults.
(function () {
  "use strict";
  const PATIENCE = 400; // ms of work before a sign of it is shown
  const SPOKEN = 1500; // ms of work before it is announced
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const same = function () { return window.dash_clientside.no_update; };
  const set = function (id, props) { window.dash_clientside.set_props(id, props); };
  const byId = function (id) { return document.getElementById(id); };

  // ---- theme: the system's until another is chosen ---------------------------------

  function chosen() {
    try { return JSON.parse(window.localStorage.getItem("theme-choice")); } catch (error) { return null; }
  }

  function wanted(choice) {
    return choice === "dark" || choice === "light" ? choice : dark.matches ? "dark" : "light";
  }

  document.documentElement.dataset.theme = wanted(chosen()); // before anything is drawn
  dark.addEventListener("change", function () {
    if (byId("theme-switch")) { set("theme", { data: wanted(chosen()) }); }
  });

  function switchTheme(clicks, theme) {
    if (!clicks) { return same(); }
    const next = theme === "dark" ? "light" : "dark";
    return next === wanted(null) ? null : next; // whoever wants what the system has follows it
  }

  function applyTheme(theme) {
    document.documentElement.dataset.theme = theme || "light";
    return theme === "dark" ? "Light theme" : "Dark theme";
  }

  // ---- address: every view has one, and navigation leads back to the last of an area --

  let kept = null; // the query that an area has written into the address itself
  let before = null; // the path shown last
  let announced = "";

  function remembered() {
    try { return JSON.parse(window.sessionStorage.getItem("last-views")) || {}; } catch (error) { return {}; }
  }

  function remember(path, search) {
    const views = remembered();
    views[path] = search;
    try { window.sessionStorage.setItem("last-views", JSON.stringify(views)); } catch (error) { /* full or forbidden */ }
    document.querySelectorAll("nav a.go").forEach(function (link) {
      const own = JSON.parse(link.id).area;
      const href = own + (own === "/" ? "" : views[own] || "");
      if (link.getAttribute("href") !== href) { set({ type: "go", area: own }, { href: href }); }
      if (own === path) { link.setAttribute("aria-current", "page"); } else { link.removeAttribute("aria-current"); }
    });
  }

  function keepAddress(query) {
    if (typeof query === "string" && query !== window.location.search) {
      window.history.replaceState(window.history.state, "", window.location.pathname + query);
      kept = window.location.search;
      remember(window.location.pathname, kept);
      // All of it: what the address bar's component still holds of the old one it would restore.
      set("address", { search: kept, href: window.location.href });
    }
    return same();
  }

  function arrived(path, search) {
    if (path === undefined || path === null) { return same(); }
    if (path === before && search === kept) { kept = null; return same(); }
    kept = null;
    set("notice", { children: null });
    return { path: path, search: search || "" };
  }

  function drawn(content, view) {
    if (!view) { return same(); }
    remember(view.path, view.search);
    const link = document.querySelector("nav a.go[aria-current=page]");
    const area = link ? link.textContent : "";
    const moved = before !== null && before !== view.path;
    before = view.path;
    window.requestAnimationFrame(function () {
      const heading = document.querySelector("main h1");
      const title = heading ? heading.textContent.trim() : "";
      const named = title.startsWith(area) ? title : [area, title].filter(Boolean).join(" · ");
      document.title = (named ? named + " · " : "") + "ripplefront";
      if (!moved) { return; }
      window.scrollTo(0, 0);
      byId("content").focus({ preventScroll: true });
      announce(named);
    });
    return same();
  }

  // ---- signs of work, of faults, of results ------------------------------------------

  let working = 0;
  let timers = [];

  function announce(text) {
    announced = text;
    if (byId("status")) { set("status", { children: text }); }
  }

  function notice(text) {
    const part = function (type, props) { return { namespace: "dash_html_components", type: type, props: props }; };
    const line = part("Strong", { children: text });
    set("notice", { children: part("Div", { className: "mistake", role: "alert", children: [line] }) });
  }

  function started() {
    working += 1;
    if (working > 1) { return; }
    timers = [
      window.setTimeout(function () { document.documentElement.dataset.busy = "true"; }, PATIENCE),
      window.setTimeout(function () { announce("working"); }, SPOKEN)
    ];
  }

  function finished() {
    working -= 1;
    if (working) { return; }
    timers.forEach(window.clearTimeout);
    delete document.documentElement.dataset.busy;
    if (announced === "working") { announce("ready"); }
  }

  const plainFetch = window.fetch;
  let silent = false; // whether the last question went without an answer
  window.fetch = async function (what, how) {
    const url = typeof what === "string" ? what : what.url || String(what);
    if (!url.includes("_dash-update-component")) { return plainFetch.call(window, what, how); }
    started();
    try {
      const answer = await plainFetch.call(window, what, how);
      if (answer.status >= 400) {
        answer.clone().text().then(function (text) { notice(text.trim().slice(0, 400)); });
      } else if (silent) { set("notice", { children: null }); }
      silent = false;
      return answer;
    } catch (error) {
      if (error.name !== "AbortError") {
        silent = true;
        notice("The page gets no answer. Start it again: ripplefront browse");
      }
      throw error;
    } finally { finished(); }
  };

  document.addEventListener("keydown", function (event) {
    if (event.key === "Escape" && byId("notice") && byId("notice").firstChild) { set("notice", { children: null }); }
  });

  function closeNotice(clicks) { return clicks ? null : same(); }

  // ---- figures: reachable by Tab, named by their title or the heading before them -----

  function headingBefore(node) {
    for (let place = node; place && place.tagName !== "MAIN"; place = place.parentElement) {
      for (let other = place.previousElementSibling; other; other = other.previousElementSibling) {
        if (/^H[1-6]$/.test(other.tagName)) { return other.textContent; }
      }
    }
    return "figure";
  }

  let labelling = 0;
  function labelFigures() {
    document.querySelectorAll(".js-plotly-plot").forEach(function (plot) {
      const title = plot.layout && plot.layout.title && plot.layout.title.text;
      const text = title ? title.replace(/<[^>]*>/g, " ") : headingBefore(plot);
      if (plot.getAttribute("aria-label") === text) { return; }
      plot.setAttribute("tabindex", "0");
      plot.setAttribute("role", "figure");
      plot.setAttribute("aria-label", text);
    });
  }

  new MutationObserver(function () {
    window.clearTimeout(labelling);
    labelling = window.setTimeout(labelFigures, 250);
  }).observe(document, { childList: true, subtree: true });

  // ---- paper is narrower than the window ------------------------------------------

  const PAPER = 690; // px across an upright page between its margins

  function plots() { // the plane of the fronts has a way of its own
    const found = document.querySelectorAll(".js-plotly-plot:not(#fronts-plane *)");
    return window.Plotly ? [...found].filter((p) => p.layout) : [];
  }

  window.addEventListener("beforeprint", () => {
    plots().filter((p) => p.clientWidth > PAPER).forEach((p) => window.Plotly.relayout(p, { width: PAPER }));
  });
  window.addEventListener("afterprint", () => {
    plots().filter((p) => p.layout.width === PAPER).forEach((p) => window.Plotly.relayout(p, { width: null, autosize: true }));
  });

  window.dash_clientside = window.dash_clientside || {};
  window.dash_clientside.page = {
    wanted_theme: wanted,
    switch_theme: switchTheme,
    apply_theme: applyTheme,
    keep_address: keepAddress,
    arrived: arrived,
    drawn: drawn,
    close_notice: closeNotice
  };
})();
