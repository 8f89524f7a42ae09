"use strict";
(() => {
  const told = document.querySelector("#refused");
  const ask = async (where, question) => {
    let words = "The desk does not answer.";
    try {
      const answer = await fetch(where, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(question),
      });
      const said = await answer.json();
      if (said.outcome === "done") {
        location.reload();
        return;
      }
      words = said.words;
    } catch { /* said below */ }
    told.textContent = words;
    told.hidden = false;
  };
  for (const each of document.querySelectorAll("[data-name]")) {
    each.addEventListener("click", () => ask("open", { name: each.dataset.name }));
  }
  document.querySelector("#new").addEventListener("submit", (event) => {
    event.preventDefault();
    ask("new", { name: document.querySelector("#name").value, starter: document.querySelector("#starter").value });
  });
  document.documentElement.classList.add("on");
})();
