// The plan page: each number changed is answered; the address keeps the numbers.
"use strict";
(() => {
  const plan = document.getElementById("plan");
  const place = `/plan/${encodeURIComponent(plan.dataset.station)}`;
  const token = document.querySelector("meta[name=stakeline-token]").content;
  const at = (id) => document.getElementById(id);
  const inputs = [...plan.querySelectorAll("[data-knob]")];
  const asked = new URLSearchParams(location.search);
  let latest = 0, waiting = 0;
  for (const input of inputs) {
    if (asked.has(input.dataset.knob)) { input.value = asked.get(input.dataset.knob); }
    input.addEventListener("input", () => { clearTimeout(waiting); waiting = setTimeout(ask, 200); });
  }
  function changes() {
    const found = {};
    for (const input of inputs) {
      const value = Number(input.value.replace(",", "."));
      if (input.value !== input.dataset.was && input.value.trim() !== "" && !Number.isNaN(value)) {
        found[input.dataset.knob] = value;
      }
    }
    return found;
  }
  async function post(path, body) {
    const answer = await fetch(place + path, { method: "POST", body: JSON.stringify(body),
      headers: { "content-type": "application/json", "x-stakeline-token": token } });
    return answer.json();
  }
  async function ask() {
    const mine = ++latest;
    const made = changes();
    history.replaceState(null, "", `${location.pathname}${Object.keys(made).length ? `?${new URLSearchParams(made)}` : ""}`);
    const said = await post("/answer", { changes: made });
    if (mine !== latest) { return; }
    at("problem").hidden = !said.problem;
    at("problem").textContent = said.problem || "";
    if (said.problem) { return; }
    const percent = (share) => `${(100 * share).toFixed(0)} %`;
    at("chance").textContent = `${percent(said.chance)} (${percent(said.low)} to ${percent(said.high)})`;
    at("mass").textContent = `${said.mass_kg.toFixed(0)} kg`;
    at("load").textContent = `${said.load_W.toFixed(2)} W`;
    at("lost").textContent = `${said.lost_h.toFixed(0)} h`;
    at("why").textContent = said.why ? `What ends most of the years that end: ${said.why}` : "";
    at("when").textContent = said.when;
    at("cautions").replaceChildren(...said.cautions.map((one) => {
      const line = document.createElement("li");
      line.textContent = one;
      return line;
    }));
    stakelineCharts.show(at("charge"), said.chart);
    plan.dataset.answered = String(mine);
  }
  at("save").addEventListener("click", async () => {
    const said = await post("/save", { changes: changes(), name: at("name").value });
    at("saved").textContent = said.problem || `Saved as ${said.path}`;
  });
  ask();
})();
