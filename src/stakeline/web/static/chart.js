// Charts: drawn from what the page's own server tells, in the page's own colours.
"use strict";
(() => {
  const INKS = { light: ["#00466e", "#b45309", "#1d7a55", "#7b3f8c", "#8a1c1c", "#4c5a63"],
    dark: ["#8fc7ea", "#ffb454", "#7fd6ad", "#d8a6e6", "#ff9c8c", "#b4c0c7"] };
  const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "solid"];
  const isDark = matchMedia("(prefers-color-scheme: dark)");
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const drawn = new Map();

  function layoutOf(spec) {
    const ink = colour("--ink"), rule = colour("--rule");
    const axis = { color: ink, gridcolor: rule, zerolinecolor: rule, linecolor: ink, ticks: "outside" };
    const top = Math.min((spec.traces || []).filter((t) => t.name && t.kind !== "band").length, 1) * 22;
    return {
      paper_bgcolor: "rgba(0,0,0,0)", plot_bgcolor: "rgba(0,0,0,0)", height: spec.height || 300,
      margin: { l: 88, r: 16, t: 16 + top, b: 46 }, font: { color: ink, size: 13 },
      xaxis: { ...axis, type: spec.x_kind === "time" ? "date" : "-", title: { text: spec.x_title || "" } },
      yaxis: { ...axis, title: { text: spec.y_title || "" }, fixedrange: Boolean(spec.zooms) },
      showlegend: top > 0 && spec.traces.length > 1, legend: { orientation: "h", y: 1.02, yanchor: "bottom" },
      shapes: (spec.spans || []).map((s) => ({ type: "rect", xref: "x", yref: "paper", x0: s.from, x1: s.to,
        y0: 0, y1: 1, fillcolor: rule, opacity: 0.4, line: { width: 0 }, layer: "below" })),
      annotations: (spec.spans || []).filter((s) => s.text).map((s) => ({ x: s.from, xref: "x", y: 1,
        yref: "paper", text: s.text, showarrow: false, xanchor: "left", yanchor: "top" })),
      hovermode: "closest", dragmode: "zoom",
    };
  }

  function traceOf(one, number) {
    const inks = INKS[isDark.matches ? "dark" : "light"];
    const ink = inks[(one.ink ?? number) % inks.length];
    const base = { x: one.x, y: one.y, name: one.name || "", type: "scatter", connectgaps: false };
    if (one.kind === "band") {
      return [{ ...base, y: one.low, mode: "lines", line: { width: 0 }, showlegend: false, hoverinfo: "skip" },
        { ...base, y: one.high, mode: "lines", line: { width: 0 }, fill: "tonexty", fillcolor: `${ink}44`,
          showlegend: false, hoverinfo: "skip" }];
    }
    if (one.kind === "points") {
      return [{ ...base, mode: "markers", marker: { color: ink, size: one.size || 9, symbol: number },
        ...(one.low ? { error_y: { type: "data", symmetric: false, color: ink,
          array: one.high.map((h, i) => h - one.y[i]), arrayminus: one.low.map((l, i) => one.y[i] - l) } } : {}) }];
    }
    if (one.kind === "across") {
      return [{ ...base, mode: "markers", marker: { color: ink, size: 9 }, error_x: { type: "data",
        symmetric: false, color: ink, array: one.high.map((h, i) => h - one.x[i]),
        arrayminus: one.low.map((l, i) => one.x[i] - l) } }];
    }
    return [{ ...base, mode: "lines", line: { color: ink, width: one.wide || 1.6, dash: DASHES[(one.ink ?? number) % 6] } }];
  }

  async function draw(place) {
    let spec = drawn.get(place);
    if (!spec) {
      const answer = await fetch(place.dataset.chart);
      spec = await answer.json();
      if (!answer.ok || spec.problem) { place.textContent = spec.problem || "This cannot be drawn."; return; }
      if (!spec.traces.some((one) => one.x.length)) { place.textContent = "Nothing of this is there to draw."; place.dataset.drawn = "none"; return; }
      drawn.set(place, spec);
    }
    await show(place, spec);
  }

  async function show(place, spec) {
    drawn.set(place, spec);
    place.spec = spec;
    const timed = spec.x_kind === "time" && place.dataset.chart;
    const layout = layoutOf(timed ? { ...spec, zooms: true } : spec);
    const [from, to] = timed ? range() : [];
    const traces = from && to ? spec.traces.map((one) => within(one, instant(from), instant(to))) : spec.traces;
    if (from && to) { layout.xaxis.range = [from, to]; }
    if (spec.names_y) { layout.yaxis.automargin = true; layout.yaxis.autorange = "reversed"; layout.margin.l = 20; }
    if (!place.dataset.drawn) { place.textContent = ""; }
    await Plotly.react(place, traces.flatMap(traceOf), layout, { displayModeBar: false, responsive: true, doubleClick: timed ? false : "reset" });
    if (timed && !place.dataset.drawn) { follow(place); }
    place.dataset.drawn = "yes";
  }
  // Times as the server writes them, without a zone, are those of the chart.
  const instant = (text) => Date.parse(/^\d{4}-\d\d-\d\d$/.test(text) ? text : `${text.replace(" ", "T")}Z`);
  // What is looked at of a trace, with a neighbour on either side.
  function within(one, low, high) {
    const times = one.x.map(instant);
    let begin = times.findIndex((t) => t >= low), end = times.findLastIndex((t) => t <= high);
    if (begin < 0) { begin = times.length; }
    begin = Math.max(begin - 1, 0);
    end = Math.min(end + 2, times.length);
    const part = { ...one };
    for (const key of ["x", "y", "low", "high"]) { if (one[key]) { part[key] = one[key].slice(begin, end); } }
    return part;
  }
  function follow(place) {
    place.on("plotly_relayout", (change) => {
      if (change["xaxis.range[0]"]) { look(change["xaxis.range[0]"], change["xaxis.range[1]"]); }
    });
    place.on("plotly_doubleclick", () => look());
  }

  // A long series: the server reduces what is looked at to what the screen can show.
  const range = () => {
    const asked = new URLSearchParams(location.search);
    return [asked.get("from"), asked.get("to")];
  };
  const asking = new Map(); // the latest question of a place: answers that come late are not drawn
  async function series(place) {
    const [from, to] = range();
    const asked = new URLSearchParams({ spans: Math.max(Math.round(place.clientWidth), 200) });
    if (from && to) { asked.set("from", instant(from)); asked.set("to", instant(to)); }
    const mine = (asking.get(place) || 0) + 1;
    asking.set(place, mine);
    const answer = await fetch(`${place.dataset.series}?${asked}`);
    if (mine !== asking.get(place)) { return; }
    if (!answer.ok) { place.textContent = "This series cannot be drawn."; return; }
    const both = new Float64Array(await answer.arrayBuffer());
    const half = both.length / 2;
    const told = (part) => Array.from(part, (v) => (Number.isNaN(v) ? null : v));
    const trace = { x: told(both.subarray(0, half)), y: told(both.subarray(half)) };
    const spec = { zooms: true, x_kind: "time", y_title: place.dataset.unit, height: 220, traces: [trace] };
    place.spec = spec;
    const layout = layoutOf(spec);
    if (from && to) { layout.xaxis.range = [from, to]; }
    const first = !place.dataset.drawn;
    if (first) { place.textContent = ""; }
    await Plotly.react(place, spec.traces.flatMap(traceOf), layout, { displayModeBar: false, responsive: true, doubleClick: false });
    place.dataset.drawn = "yes";
    place.dataset.points = String(half);
    place.dataset.view = `${from || ""} ${to || ""}`;
    if (first) { follow(place); }
  }
  const all = () => [...document.querySelectorAll("[data-series]")];
  const timed = () => [...drawn].filter(([place, spec]) => place.dataset.chart && spec.x_kind === "time");
  // First and last time of all charts of the page.
  function ends() {
    const found = all().map((place) => [Number(place.dataset.first), Number(place.dataset.last)]);
    for (const [, spec] of timed()) {
      for (const one of spec.traces.filter((t) => t.x.length)) { found.push([instant(one.x[0]), instant(one.x.at(-1))]); }
    }
    return [Math.min(...found.map((e) => e[0])), Math.max(...found.map((e) => e[1]))];
  }
  function look(from, to) {
    const address = new URL(location);
    if (from) {
      address.searchParams.set("from", from.replace(" ", "T").slice(0, 19));
      address.searchParams.set("to", to.replace(" ", "T").slice(0, 19));
    } else { address.searchParams.delete("from"); address.searchParams.delete("to"); }
    history.replaceState(null, "", address);
    return inOrder();
  }
  // Charts on the screen first, those that are scrolled to later one after the other.
  let turn = 0;
  async function inOrder() {
    const mine = ++turn;
    const draws = [...all().map((place) => [place, () => series(place)]),
      ...timed().map(([place, spec]) => [place, () => show(place, spec)])];
    const seen = ([place]) => { const box = place.getBoundingClientRect(); return box.bottom > 0 && box.top < innerHeight; };
    await Promise.all(draws.filter(seen).map(([, work]) => work()));
    for (const [, work] of draws.filter((one) => !seen(one))) {
      await new Promise(requestAnimationFrame);
      if (mine !== turn) { return; }
      await work();
    }
  }
  function step(kind) {
    const [from, to] = range();
    let [low, high] = from && to ? [instant(from), instant(to)] : ends();
    if (!(high > low)) { return look(); }
    const wide = high - low;
    if (kind === "closer") { low += wide / 4; high -= wide / 4; }
    if (kind === "wider") { low -= wide / 2; high += wide / 2; }
    if (kind === "earlier") { low -= wide / 2; high -= wide / 2; }
    if (kind === "later") { low += wide / 2; high += wide / 2; }
    if (kind === "all") { return look(); }
    const iso = (t) => new Date(t).toISOString().slice(0, 19);
    return look(iso(low), iso(Math.max(high, low + 2000)));
  }
  for (const button of document.querySelectorAll("[data-step]")) {
    button.addEventListener("click", () => step(button.dataset.step));
  }
  function everything() {
    for (const place of document.querySelectorAll("[data-chart]")) { draw(place); }
    all().forEach(series);
  }
  isDark.addEventListener("change", everything);
  window.stakelineCharts = { show };
  everything();
})();
