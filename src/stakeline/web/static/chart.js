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
      margin: { l: 70, r: 16, t: 16 + top, b: 46 }, font: { color: ink, size: 13 },
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
      drawn.set(place, spec);
    }
    await show(place, spec);
  }

  async function show(place, spec) {
    drawn.set(place, spec);
    place.spec = spec;
    const layout = layoutOf(spec);
    if (spec.names_y) { layout.yaxis.automargin = true; layout.yaxis.autorange = "reversed"; layout.margin.l = 20; }
    if (!place.dataset.drawn) { place.textContent = ""; }
    await Plotly.react(place, spec.traces.flatMap(traceOf), layout, { displayModeBar: false, responsive: true });
    place.dataset.drawn = "yes";
  }

  // A long series: the server reduces what is looked at to what the screen can show.
  const range = () => {
    const asked = new URLSearchParams(location.search);
    return [asked.get("from"), asked.get("to")];
  };
  async function series(place) {
    const [from, to] = range();
    const asked = new URLSearchParams({ spans: Math.max(Math.round(place.clientWidth), 200) });
    if (from && to) { asked.set("from", Date.parse(`${from}Z`)); asked.set("to", Date.parse(`${to}Z`)); }
    const answer = await fetch(`${place.dataset.series}?${asked}`);
    if (!answer.ok) { place.textContent = "This series cannot be drawn."; return; }
    const both = new Float64Array(await answer.arrayBuffer());
    const half = both.length / 2;
    const x = Array.from(both.subarray(0, half), (t) => (Number.isNaN(t) ? null : new Date(t).toISOString().slice(0, 23)));
    const y = Array.from(both.subarray(half), (v) => (Number.isNaN(v) ? null : v));
    const spec = { zooms: true, x_kind: "time", y_title: place.dataset.unit, height: 220, traces: [{ x, y }] };
    place.spec = spec;
    const layout = layoutOf(spec);
    if (from && to) { layout.xaxis.range = [from, to]; }
    const first = !place.dataset.drawn;
    if (first) { place.textContent = ""; }
    await Plotly.react(place, spec.traces.flatMap(traceOf), layout, { displayModeBar: false, responsive: true, doubleClick: false });
    place.dataset.drawn = "yes";
    place.dataset.points = String(half);
    if (first) {
      place.on("plotly_relayout", (change) => {
        if (change["xaxis.range[0]"]) { look(change["xaxis.range[0]"], change["xaxis.range[1]"]); }
      });
      place.on("plotly_doubleclick", () => look());
    }
  }
  const all = () => [...document.querySelectorAll("[data-series]")];
  function look(from, to) {
    const address = new URL(location);
    if (from) {
      address.searchParams.set("from", from.replace(" ", "T").slice(0, 19));
      address.searchParams.set("to", to.replace(" ", "T").slice(0, 19));
    } else { address.searchParams.delete("from"); address.searchParams.delete("to"); }
    history.replaceState(null, "", address);
    return Promise.all(all().map(series));
  }
  function step(kind) {
    const times = all()[0].dataset;
    const [from, to] = range();
    let low = from ? Date.parse(`${from}Z`) : Number(times.first), high = to ? Date.parse(`${to}Z`) : Number(times.last);
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
