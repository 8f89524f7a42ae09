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
    const shown = { plan: !neck, neck, board: job() === "Refret" };
    for (const each of document.querySelectorAll("[data-for]")) each.hidden = !shown[each.dataset.for];
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
    one("#found").replaceChildren(...lines(found ? answer.lines : []));
    if (found) one("#width-fret").textContent = answer.fret;
  });
  // What was found is of the table as it was.
  one("#neck").addEventListener("input", () => { one("#begin").hidden = true; one("#found").replaceChildren(); });
  one("#begin").addEventListener("submit", (event) => {
    event.preventDefault();
    ask("neck", {
      name: value("neck-name"), job: "Replace a bridge", ...neck, strings: value("neck-strings"),
      nut_width: value("nut-width"), width: value("width"), spread: value("spread"),
    });
  });
  const cells = (tag, texts) => {
    const row = document.createElement("tr");
    row.append(...texts.map((text) => {
      const cell = document.createElement(tag);
      cell.textContent = text;
      return cell;
    }));
    return row;
  };
  const lines = (texts) => texts.map((text) => {
    const words = document.createElement("p");
    words.textContent = text;
    return words;
  });
  one("#board").addEventListener("submit", async (event) => {
    event.preventDefault();
    const names = ["tang_width", "bead_width", "tang_depth", "height", "length", "binding", "plane"];
    const answer = await ask("board", {
      unit: value("board-unit"), table: value("board-table"), ...Object.fromEntries(names.map((name) => [name, value(name)])),
    });
    if (answer.outcome !== "found") return one("#wire").replaceChildren();
    const table = document.createElement("table");
    table.createTHead().append(cells("th", answer.head));
    table.createTBody().append(...answer.rows.map((row) => cells("td", row)));
    one("#wire").replaceChildren(...lines(answer.lines), table);
  });
  document.documentElement.classList.add("on");
  show();
})();
