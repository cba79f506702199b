// Keeps what is seen as a file: charts and drawings as SVG, PNG or CSV. Nothing leaves this machine.
"use strict";
(() => {
  const SCALE = 2; // PNG pixels for each pixel of the screen
  const TOP = 30; // pixels above a drawing, for its title
  const SPACE = "http://www.w3.org/2000/svg";
  // What a drawing takes from the style of the page, and a file has to hold itself.
  const LOOKS = ["fill", "fill-opacity", "stroke", "stroke-opacity", "stroke-width", "stroke-dasharray", "opacity",
    "font-family", "font-size", "font-weight", "font-style", "text-anchor", "paint-order", "vector-effect",
    "display", "visibility", "shape-rendering", "clip-path"];
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

  function flat(svg) {
    const copy = svg.cloneNode(true);
    const from = [svg, ...svg.querySelectorAll("*")], to = [copy, ...copy.querySelectorAll("*")];
    from.forEach((one, i) => {
      const seen = getComputedStyle(one);
      to[i].removeAttribute("style");
      to[i].removeAttribute("class");
      for (const look of LOOKS) {
        const value = seen.getPropertyValue(look).replace(/url\("[^"]*#/g, 'url("#');
        if (value && value !== "none" || look === "fill" || look === "stroke") { to[i].setAttribute(look, value); }
      }
    });
    for (const link of copy.querySelectorAll("a")) { link.removeAttribute("href"); }
    return copy;
  }
  function element(name, attributes, text) {
    const made = document.createElementNS(SPACE, name);
    for (const [key, value] of Object.entries(attributes)) { made.setAttribute(key, value); }
    if (text) { made.textContent = text; }
    return made;
  }
  // One drawing of all layers that lie over each other at a place, under its title.
  function drawing(place, title) {
    const layers = place.matches("svg") ? [place] : [...place.querySelectorAll("svg.main-svg")];
    const { width, height } = place.getBoundingClientRect();
    const whole = element("svg", { xmlns: SPACE, width: Math.round(width), height: Math.round(height) + TOP });
    whole.append(element("rect", { width: "100%", height: "100%", fill: colour("--paper") }),
      element("text", { x: 8, y: 20, fill: colour("--ink"), "font-family": "sans-serif", "font-size": 14, "font-weight": 700 },
        `${document.querySelector("h1").textContent}: ${title}`));
    for (const layer of layers) {
      const copy = flat(layer);
      copy.setAttribute("y", TOP);
      copy.setAttribute("width", width);
      copy.setAttribute("height", height);
      whole.append(copy);
    }
    return new XMLSerializer().serializeToString(whole);
  }
  async function picture(svg) {
    const image = new Image();
    image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(svg)}`;
    await image.decode();
    const canvas = document.createElement("canvas");
    canvas.width = image.width * SCALE;
    canvas.height = image.height * SCALE;
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    return new Promise((done) => { canvas.toBlob(done, "image/png"); });
  }

  // A text that a table program would run as a formula is kept as a text.
  const cell = (value) => {
    if (value === null || value === undefined) { return ""; }
    let text = String(value);
    if (typeof value !== "number" && /^[=+@\t\r-]/.test(text) && Number.isNaN(Number(text))) { text = `'${text}`; }
    return /[",\n\r]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  function table(spec, range) {
    const timed = spec.x_kind === "time";
    const instant = (x) => (typeof x === "string" ? Date.parse(/^\d{4}-\d\d-\d\d$/.test(x) ? x : `${x.replace(" ", "T")}Z`) : x);
    const at = timed ? instant : (x) => x;
    const [low, high] = (range || []).map(at);
    const names = ["what", spec.x_title || (spec.x_kind === "time" ? "time_gps" : "x"), spec.y_title || "y", "low", "high"];
    const rows = [names];
    for (const one of spec.traces) {
      one.x.forEach((x, i) => {
        const place = at(x);
        if (x === null || (range && typeof place === "number" && (place < low || place > high))) { return; }
        const written = timed && typeof x === "number" ? new Date(x).toISOString().slice(0, 23) : x;
        rows.push([one.name || one.kind || "", written, one.y?.[i], one.low?.[i], one.high?.[i]]);
      });
    }
    return `${rows.map((row) => row.map(cell).join(",")).join("\r\n")}\r\n`;
  }

  const asked = async (address) => (await fetch(address)).text();
  // By kind of file: what there is to be kept of a place.
  function waysOf(place, title) {
    const drawn = place.matches("img");
    const svg = drawn ? () => asked(place.getAttribute("src")) : () => drawing(place, title);
    const ways = { SVG: svg, PNG: async () => picture(await svg()) };
    if (place.dataset.csv) { ways.CSV = () => asked(place.dataset.csv); }
    if (place.matches(".chart")) { ways.CSV = () => table(place.spec, place.layout.xaxis.range); }
    return ways;
  }
  const TYPES = { SVG: "image/svg+xml", PNG: "image/png", CSV: "text/csv" };
  function offer(place) {
    const title = place.getAttribute("aria-label") || place.getAttribute("alt") || "drawing";
    const row = document.createElement("div");
    row.className = "keep";
    row.setAttribute("role", "group");
    row.setAttribute("aria-label", `Keep: ${title}`);
    for (const [kind, way] of Object.entries(waysOf(place, title))) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = kind;
      button.title = `Keep what is seen as ${kind}`;
      button.addEventListener("click", async () => {
        const made = await way();
        const link = document.createElement("a");
        link.href = URL.createObjectURL(made instanceof Blob ? made : new Blob([made], { type: TYPES[kind] }));
        const name = `${document.querySelector("h1").textContent} ${title}`.replace(/[^\p{L}\p{N}.]+/gu, "_").slice(0, 70);
        link.download = `${name}.${kind.toLowerCase()}`;
        link.click();
        setTimeout(() => URL.revokeObjectURL(link.href), 10000);
      });
      row.append(button);
    }
    place.after(row);
  }
  for (const place of document.querySelectorAll(".chart, img.drawing, svg[data-csv]")) { offer(place); }
})();
