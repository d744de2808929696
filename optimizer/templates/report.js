"use strict";
// Everything is made from text nodes: no name out of a file becomes markup.
(() => {
  const held = JSON.parse(document.getElementById("held").textContent);
  const drawn = new Map(); // place of a figure -> figure in the colours of light ground
  let library = null;
  let paper = false;

  const made = (name, text, kind) => {
    const found = document.createElement(name);
    if (text !== undefined) found.textContent = text;
    if (kind) found.className = kind;
    return found;
  };

  async function unpacked(letters) {
    const bytes = Uint8Array.from(atob(letters), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Response(stream).text();
  }

  function loaded() {
    library ??= (async () => {
      if (!window.Plotly) {
        const script = made("script", await unpacked(document.getElementById("packed").textContent.trim()));
        document.head.append(script);
      }
    })();
    return library;
  }

  // ---- colours ------------------------------------------------------------------------

  const dark = () => !paper && document.documentElement.dataset.theme === "dark";
  const short = (c) => (/^#[0-9a-f]{3}$/.test(c) ? "#" + [...c.slice(1)].map((x) => x + x).join("") : c === "white" ? "#ffffff" : c);

  function swapped(value, colour) {
    if (Array.isArray(value)) return value.map((v) => swapped(v, colour));
    if (value && typeof value === "object") {
      return Object.fromEntries(Object.entries(value).map(([key, v]) => [key, key === "template" ? v : swapped(v, /color(s|scale|way)?$/.test(key))]));
    }
    if (colour && typeof value === "string") return held.dark.swaps[short(value.toLowerCase())] ?? value;
    return value;
  }

  function themed(figure) {
    const plain = structuredClone(figure);
    if (!dark()) return plain;
    const { ground, ink, grid } = held.dark;
    const found = swapped(plain, false);
    const layout = { xaxis: {}, yaxis: {}, ...found.layout, paper_bgcolor: ground, plot_bgcolor: ground };
    layout.font = { ...layout.font, color: ink };
    layout.hoverlabel = { bgcolor: grid, bordercolor: ink, font: { color: ink } };
    for (const key of Object.keys(layout)) {
      if (/^[xy]axis/.test(key)) layout[key] = { gridcolor: grid, ...layout[key], linecolor: ink, tickcolor: ink };
    }
    return { data: found.data, layout };
  }

  async function draw(place, figure) {
    drawn.set(place, figure);
    await loaded();
    const { data, layout } = themed(figure);
    const title = figure.layout.title?.text ?? "";
    place.setAttribute("role", "figure");
    place.setAttribute("aria-label", title.replace(/<[^>]*>/g, " "));
    layout.height = Number(place.dataset.height) || layout.height || 340;
    if (place.dataset.titled) layout.title = { text: "" };
    if (paper) layout.width = PAPER;
    await Plotly.react(place, data, layout, held.config);
  }

  const redraw = () => { for (const [place, figure] of drawn) draw(place, figure); };

  // ---- sheets -------------------------------------------------------------------------

  function table(block) {
    const found = made("table");
    if (block.title) found.append(made("caption", block.title));
    const head = found.createTHead().insertRow();
    block.heads.forEach((text, k) => {
      const cell = made("th", text, block.numbers.includes(k) ? "n" : "");
      cell.scope = "col";
      head.append(cell);
    });
    const body = found.createTBody();
    for (const row of block.rows) {
      const line = body.insertRow();
      row.forEach((text, k) => {
        const cell = made("td", text, block.numbers.includes(k) ? "n" : "");
        if (text.endsWith(" not met")) cell.classList.add("bad");
        line.append(cell);
      });
    }
    const wide = made("div", undefined, "wide");
    wide.append(found);
    return wide;
  }

  function words(block) {
    if (block.kind === "head") return made("h4", block.text);
    if (block.kind === "item") return made("p", "• " + block.text);
    return made("p", block.text, block.kind);
  }

  const PAPER = 680; // px of a figure on paper: A4 and letter less their margins
  const HEIGHTS = { waves: 520, margins: 420, parts: 400, volume: 400, temperatures: 420, life: 220, wear: 300 };

  function pictures(block, sheet, wanted) {
    const found = made("div", undefined, "pictures");
    for (const name of block.names) {
      const figure = sheet.figures[name];
      if (!figure || !figure.data.length) continue;
      const holder = made("figure", undefined, "picture");
      const caption = new DOMParser().parseFromString(figure.layout.title?.text ?? "", "text/html").body.textContent;
      const place = made("div", undefined, "drawing");
      place.dataset.height = HEIGHTS[name] ?? 340;
      place.dataset.titled = "1";
      holder.append(made("figcaption", caption), place);
      found.append(holder);
      wanted.push([place, figure]);
    }
    return found;
  }

  function body(sheet) {
    const found = made("div", undefined, "body");
    const wanted = [];
    found.append(made("p", sheet.about, "soft"));
    for (const text of sheet.remarks) found.append(made("p", text, "bad"));
    const heads = made("div", undefined, "heads");
    for (const [name, value] of sheet.heads) {
      const one = made("div", name);
      one.append(made("b", value));
      heads.append(one);
    }
    found.append(heads, made("pre", sheet.diagram));
    for (const part of sheet.sections) {
      found.append(made("h3", part.title));
      for (const block of part.blocks) {
        if (block.block === "grid") found.append(table(block));
        else if (block.block === "pictures") found.append(pictures(block, sheet, wanted));
        else found.append(words(block));
      }
    }
    return [found, wanted];
  }

  async function open(details) {
    if (details.dataset.state) return;
    details.dataset.state = "opening";
    try {
      const one = held.sheets.find((s) => s.id === details.dataset.design);
      const sheet = held.packed ? JSON.parse(await unpacked(one.held)) : one.held;
      const [found, wanted] = body(sheet);
      details.append(found);
      for (const [place, figure] of wanted) await draw(place, figure);
      details.dataset.state = "drawn";
    } catch (error) {
      details.append(made("p", told(error), "bad"));
      details.dataset.state = "failed";
    }
  }

  const told = (error) => (typeof DecompressionStream === "undefined"
    ? "This browser cannot unpack the figures and sheets. Make the report anew with --plain, or open it in a newer browser."
    : `This could not be drawn: ${error.message}`);

  function follow() {
    const target = location.hash && document.getElementById(location.hash.slice(1));
    if (target && target.matches("details.sheet")) {
      target.open = true;
      target.scrollIntoView();
      target.querySelector("summary").focus({ preventScroll: true });
    }
  }

  // ---- tables that sort ---------------------------------------------------------------

  function sort(head) {
    const table = head.closest("table");
    const k = head.cellIndex;
    const up = head.getAttribute("aria-sort") !== "ascending";
    const value = (row) => { const v = row.cells[k].dataset.v; return v === undefined ? row.cells[k].textContent : Number(v); };
    const rows = [...table.tBodies[0].rows].sort((a, b) => {
      const [x, y] = up ? [value(a), value(b)] : [value(b), value(a)];
      return x < y ? -1 : x > y ? 1 : 0;
    });
    table.tBodies[0].append(...rows);
    for (const other of head.parentNode.cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
  }

  // ---- what the reader does -----------------------------------------------------------

  const button = document.getElementById("theme");
  function wear(name) {
    document.documentElement.dataset.theme = name;
    button.textContent = name === "dark" ? "Light theme" : "Dark theme";
    redraw();
  }
  const system = matchMedia("(prefers-color-scheme: dark)");
  system.addEventListener("change", () => wear(system.matches ? "dark" : "light"));
  button.hidden = false;
  button.addEventListener("click", () => wear(dark() ? "light" : "dark"));
  wear(system.matches ? "dark" : "light");

  addEventListener("beforeprint", () => { paper = true; redraw(); });
  addEventListener("afterprint", () => { paper = false; redraw(); });
  addEventListener("hashchange", follow);
  for (const details of document.querySelectorAll("details.sheet")) {
    details.addEventListener("toggle", () => details.open && open(details));
  }
  for (const head of document.querySelectorAll("th[data-sort]")) {
    head.firstElementChild.addEventListener("click", () => sort(head));
  }

  async function start() {
    for (const place of document.querySelectorAll(".drawing[data-figure]")) {
      try {
        await draw(place, held.figures[place.dataset.figure]);
      } catch (error) {
        place.append(made("p", told(error), "bad"));
      }
    }
    const fronts = document.querySelector(".drawing[data-figure=fronts]");
    if (fronts && fronts.on) {
      fronts.on("plotly_click", (event) => {
        const name = event.points[0].customdata;
        if (name && document.getElementById("sheet-" + name)) location.hash = "sheet-" + name;
      });
    }
    follow();
    document.documentElement.dataset.ready = "1";
  }
  start();
})();
