// Decisions by hand: each form is one; it needs who and why, and is written into the journal.
"use strict";
(() => {
  const token = document.querySelector("meta[name=stakeline-token]").content;
  const KEPT = "stakeline who";
  for (const form of document.querySelectorAll("form[data-decision]")) {
    const field = (name) => form.elements.namedItem(name);
    field("who").value = localStorage.getItem(KEPT) || "";
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const all = Object.fromEntries(new FormData(form));
      const { who, why, ...about } = all;
      localStorage.setItem(KEPT, who);
      const answer = await fetch("/journal", { method: "POST",
        body: JSON.stringify({ kind: form.dataset.decision, who, why, about }),
        headers: { "content-type": "application/json", "x-stakeline-token": token } });
      const said = await answer.json();
      const place = form.querySelector("[role=status]");
      place.textContent = said.problem || `Decision ${said.number} stands in the journal; stakeline run takes it in.`;
      if (!said.problem) { form.dataset.done = String(said.number); field("why").value = ""; }
    });
  }
})();
