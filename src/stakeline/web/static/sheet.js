// The field sheet: each key typed is kept in the browser at once, then by the server; then judged.
"use strict";
(() => {
  const sheet = document.getElementById("sheet");
  const station = sheet.dataset.station;
  const place = `/commission/${station}`;
  const store = `stakeline ${station} ${location.host}`;
  const saved = document.getElementById("saved");
  let token = document.querySelector("meta[name=stakeline-token]").content;
  let sending = false;
  let judging = 0;
  let latest = 0;

  // What was typed stays in the browser for a while after the server has it: a page that was asked
  // for before the server wrote it would otherwise show what stood there before.
  const LONGER = 60000; // ms
  const typedFields = () => JSON.parse(localStorage.getItem(store) || "{}");
  const keep = (fields) => localStorage.setItem(store, JSON.stringify(fields));
  const unsent = () => Object.fromEntries(
    Object.entries(typedFields()).filter(([, field]) => !field.sent),
  );
  const all = () => [...sheet.querySelectorAll("[data-field]")];
  const valueOf = (input) => (input.type === "checkbox" ? (input.checked ? "true" : "") : input.value);
  const show = (input, value) => {
    if (input.type === "checkbox") { input.checked = value === "true"; } else { input.value = value; }
  };

  function say(state, text) {
    saved.dataset.state = state;
    saved.textContent = text;
  }

  // After a restart of the server the page's token is an old one: fetch the page for the new.
  async function write(path, body, method = "POST", type = "application/json") {
    for (let attempt = 0; ; attempt += 1) {
      const answer = await fetch(place + path, {
        method, body, headers: { "content-type": type, "x-stakeline-token": token },
      });
      if (answer.status !== 403 || attempt > 0) {
        const said = await answer.json();
        if (!answer.ok) { throw new Refused(said.problem); }
        return said;
      }
      const fresh = new DOMParser().parseFromString(await (await fetch(place)).text(), "text/html");
      token = fresh.querySelector("meta[name=stakeline-token]").content;
    }
  }
  class Refused extends Error {}

  function typed(event) {
    const input = event.target.closest("[data-field]");
    if (!input) { return; }
    const fields = typedFields();
    latest = Math.max(Date.now(), latest + 1); // two keys in one millisecond are two times
    fields[input.dataset.field] = { value: valueOf(input), at: latest };
    keep(fields);
    say("saving", "Saving");
    const sent = send();
    if (input.dataset.field === "head.kind") { sent.then(anotherSheet); } // its items differ
  }

  function anotherSheet() {
    if (saved.dataset.state === "saved") { location.reload(); }
  }

  async function send() {
    if (sending) { return; }
    const fields = unsent();
    if (!Object.keys(fields).length) { say("saved", "All entries saved"); return; }
    sending = true;
    let again = false;
    try {
      await write("/entries", JSON.stringify({ fields }));
      again = markSent(fields) > 0;
      say(again ? "saving" : "saved", again ? "Saving" : "All entries saved");
      judgeSoon();
    } catch (problem) {
      const count = Object.keys(unsent()).length;
      const why = problem instanceof Refused ? problem.message : "the program is away";
      say("kept", `${count} kept in this browser: ${why}`);
    } finally {
      sending = false;
    }
    if (again) { send(); }
  }

  // Mark what the server has, forget what it has had for long; return how many are still to send.
  function markSent(fields) {
    const now = typedFields();
    for (const [name, field] of Object.entries(now)) {
      if (fields[name] && fields[name].at === field.at) { field.sent = Date.now(); }
      if (field.sent && Date.now() - field.sent > LONGER) { delete now[name]; }
    }
    keep(now);
    return Object.keys(unsent()).length;
  }

  function judgeSoon() {
    clearTimeout(judging);
    judging = setTimeout(judge, 700);
  }

  async function judge() {
    try {
      tell(await write("/verdict", "{}"));
    } catch (problem) {
      if (problem instanceof Refused) { document.getElementById("verdict").textContent = problem.message; }
    }
  }

  function tell(said) {
    for (const id of ["site", "verdict"]) { document.getElementById(id).textContent = said.sentence; }
    list("first", said.first);
    list("notes", said.notes);
    document.getElementById("freeze").disabled = !said.may_leave || said.frozen;
    document.getElementById("amending").hidden = !said.frozen;
    document.getElementById("conditions").textContent = said.conditions.map((c) => c.join(" ")).join(", ");
    for (const row of sheet.querySelectorAll(".row")) {
      const finding = said.findings[row.dataset.key];
      const line = row.querySelector(".said");
      const entered = [...row.querySelectorAll("[data-field^='entry.']")].some((i) => valueOf(i));
      const spoken = entered || row.classList.contains("result");
      const shown = finding && spoken && finding.state !== "missing" && !row.classList.contains("tick");
      line.hidden = !shown;
      if (shown) { line.dataset.state = finding.state; line.textContent = finding.said; }
      const accept = row.querySelector(".accept");
      const asked = finding && (finding.state === "outside" || (finding.stops && reasons()));
      accept.hidden = !(accept.querySelector("input").value || asked);
      const band = row.querySelector(".band");
      if (band && said.bands[row.dataset.key] !== undefined) { band.textContent = said.bands[row.dataset.key]; }
    }
  }

  const reasons = () => document.getElementById("reasons").getAttribute("aria-pressed") === "true";

  function list(id, sentences) {
    const place = document.getElementById(id);
    place.replaceChildren(...sentences.map((sentence) => {
      const item = document.createElement("li");
      item.textContent = sentence;
      return item;
    }));
  }

  async function photograph(event) {
    const input = event.target.closest("[data-photo]");
    if (!input || !input.files.length) { return; }
    const file = input.files[0];
    const kept = input.parentElement.querySelector(".kept");
    const ending = (file.name.split(".").pop() || "").toLowerCase();
    kept.textContent = "saving";
    try {
      const said = await write(`/photo/${input.dataset.photo}?ending=${encodeURIComponent(ending)}`, file, "PUT", "application/octet-stream");
      kept.textContent = said.name;
      judgeSoon();
    } catch (problem) {
      kept.textContent = problem instanceof Refused ? problem.message
        : "not saved, the program is away: keep it on this tablet and choose it again";
    }
  }

  async function record(path, body) {
    const said = document.getElementById("said");
    said.hidden = false;
    try {
      await send();
      const done = await write(path, JSON.stringify(body));
      said.textContent = done.text;
      said.dataset.frozen = done.frozen;
      showVisits(done.visits);
      judgeSoon();
      return true;
    } catch (problem) {
      said.textContent = problem.message;
      return false;
    }
  }

  async function amend() {
    const why = document.getElementById("why");
    if (await record("/amend", { why: why.value })) { why.value = ""; }
  }

  function showVisits(visits) {
    document.getElementById("none-frozen").hidden = visits.length > 0;
    document.getElementById("visits").replaceChildren(...visits.map((visit) => {
      const [one, text, actions, button] = ["div", "pre", "div", "button"].map((name) => document.createElement(name));
      one.className = "frozen";
      text.textContent = visit.text;
      actions.className = "actions";
      button.type = "button";
      button.dataset.visit = visit.name;
      button.textContent = "Take this visit up again";
      actions.append(button);
      one.append(text, actions);
      return one;
    }));
  }

  // Entries are put aside by the server; those of this browser that it has not seen would be lost.
  async function beginWith(question, path, body) {
    if (!window.confirm(question)) { return; }
    await send();
    await write(path, JSON.stringify(body));
    localStorage.removeItem(store);
    location.reload();
  }

  const anew = () => beginWith("Put all entries of this sheet aside and begin an empty one?", "/anew", {});

  function again(event) {
    const visit = event.target.dataset.visit;
    if (visit) { beginWith("Put all entries of this sheet aside and fill it with this visit?", "/again", { visit }); }
  }

  function now() {
    const input = sheet.querySelector("[data-field='head.time']");
    input.value = new Date().toISOString().slice(0, 16);
    input.dispatchEvent(new Event("input", { bubbles: true }));
  }

  // What was typed and not yet saved stands in the browser: put it back, then send it.
  const left = typedFields();
  for (const input of all()) {
    const field = left[input.dataset.field];
    if (field) { show(input, field.value); }
  }
  sheet.addEventListener("input", typed);
  sheet.addEventListener("change", typed);
  sheet.addEventListener("change", photograph);
  document.getElementById("now").addEventListener("click", now);
  document.getElementById("reasons").addEventListener("click", (event) => {
    event.target.setAttribute("aria-pressed", String(!reasons()));
    judge();
  });
  document.getElementById("judge").addEventListener("click", judge);
  document.getElementById("freeze").addEventListener("click", () => record("/freeze", {}));
  document.getElementById("amend").addEventListener("click", amend);
  document.getElementById("visits").addEventListener("click", again);
  document.getElementById("anew").addEventListener("click", anew);
  window.addEventListener("online", send);
  setInterval(() => { if (Object.keys(unsent()).length) { send(); } }, 3000);
  send();
  judgeSoon();
})();
