"use strict";
(() => {
  const one = (selector) => document.querySelector(selector);
  const told = one("#refused");
  const value = (id) => one(`#${id}`).value;
  const job = () => one("[name=job]:checked")?.value ?? "";

  const ask = async (where, question) => {
    told.hidden = true;
    let answer = { words: "The desk does not answer." };
    try {
      const got = await fetch(where, {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(question),
      });
      answer = got.ok ? await got.json() : { words: (await got.text()).trim() };
    } catch { /* said below */ }
    if (answer.outcome === "done") location.reload();
    else if (answer.outcome !== "found") {
      told.textContent = answer.words;
      told.hidden = false;
      told.scrollIntoView({ block: "nearest" });
    }
    return answer;
  };

  const show = () => {
    const neck = job() === "Measure a neck";
    for (const each of document.querySelectorAll("[data-for]")) each.hidden = (each.dataset.for === "neck") !== neck;
  };
  for (const each of document.querySelectorAll("[name=job]")) each.addEventListener("change", show);

  for (const each of document.querySelectorAll("[data-name]")) {
    each.addEventListener("click", () => ask("open", { name: each.dataset.name, job: job() }));
  }
  one("#new").addEventListener("submit", (event) => {
    event.preventDefault();
    ask("new", { name: value("name"), job: job(), starter: value("starter"), strings: value("strings"), scale: value("scale") });
  });

  let neck = null;  // what the findings are of
  one("#neck").addEventListener("submit", async (event) => {
    event.preventDefault();
    const asked = { unit: value("unit"), table: value("table") };
    const answer = await ask("measure", asked);
    const found = answer.outcome === "found";
    one("#begin").hidden = !found;
    neck = asked;
    one("#found").replaceChildren(...(found ? answer.lines : []).map((line) => {
      const words = document.createElement("p");
      words.textContent = line;
      return words;
    }));
    if (found) one("#width-fret").textContent = answer.fret;
  });
  one("#begin").addEventListener("submit", (event) => {
    event.preventDefault();
    ask("neck", {
      name: value("neck-name"), job: "Replace a bridge", ...neck, strings: value("neck-strings"),
      nut_width: value("nut-width"), width: value("width"), spread: value("spread"),
    });
  });
  document.documentElement.classList.add("on");
  show();
})();
