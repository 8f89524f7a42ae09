"use strict";
// Whatever this page shows was written by the desk; the script opens one box, sends what was typed, and puts parts in anew.
(() => {
  const one = (selector, inside = document) => inside.querySelector(selector);
  const all = (selector, inside = document) => [...inside.querySelectorAll(selector)];
  const box = one("#box");
  const field = one("#box-value");
  let version = Number(document.body.dataset.version);
  let open = null;  // what is edited: its key, where it was chosen, the value that was seen

  const ready = () => {
    for (const place of all(".spot, .key")) {
      place.setAttribute("role", "button");
      place.setAttribute("tabindex", "0");
    }
    sift();
  };

  const find = (key, spot) => all(spot ? ".spot" : ".key").find((each) => each.dataset.key === key);

  const put = (answer) => {
    if (!answer.parts || answer.version < version) return;
    const held = document.activeElement?.closest("[data-part]") && document.activeElement;
    version = answer.version;
    const unfolded = all(".group[open]").map((each) => each.dataset.group);
    for (const [name, html] of Object.entries(answer.parts)) one(`[data-part="${name}"]`).innerHTML = html;
    for (const each of all(".group")) each.open = unfolded.includes(each.dataset.group);
    document.title = `${one("h1").textContent} on the desk`;
    ready();
    if (held?.dataset.key) find(held.dataset.key, held.matches(".spot"))?.focus();
  };

  const ask = async (where, question) => {
    try {
      const answer = await fetch(where, question && {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify(question),
      });
      if (!answer.ok) throw new Error((await answer.text()).trim());
      return await answer.json();
    } catch (error) {
      return { outcome: "failed", words: error instanceof TypeError ? "The desk does not answer." : error.message };
    }
  };

  const entry = (key) => find(key, false);

  const say = (lines) => {
    one("#box-faults").replaceChildren(...lines.map((line) => {
      const words = document.createElement("p");
      words.textContent = line;
      return words;
    }));
  };

  const describe = (told) => {
    const { value, instead, required } = told.dataset;
    const stated = value ? "Stated in the plan." : instead ? `Not stated; ${instead} is assumed.` : "Not stated.";
    one("#box-state").textContent = stated + (required || !value ? "" : " Empty it, and the usual value holds.");
  };

  const edit = (place) => {
    const told = entry(place.dataset.key);
    if (!told) return;
    open = { key: place.dataset.key, spot: place.matches(".spot"), seen: told.dataset.value };
    one("#box-name").textContent = told.dataset.name;
    one("#box-words").textContent = told.dataset.words;
    one("#box-unit").textContent = told.dataset.unit ? `in ${told.dataset.unit}` : "";
    if (["mm", "in"].includes(told.dataset.unit)) one("#box-unit").textContent += ", or with its unit: 25 1/2 in";
    one("#box-key").textContent = open.key;
    one("#box-set").textContent = "Set";
    describe(told);
    say([]);
    field.value = told.dataset.value || told.dataset.instead.replace(/^\[(.*)\]$/, "$1");
    box.showModal();
    field.select();
    const at = place.getBoundingClientRect();
    const wide = window.innerWidth > 640;
    const left = Math.min(Math.max(at.left + at.width / 2 - box.offsetWidth / 2, 16), window.innerWidth - box.offsetWidth - 16);
    const below = at.bottom + 8 + box.offsetHeight < window.innerHeight ? at.bottom + 8 : at.top - 8 - box.offsetHeight;
    Object.assign(box.style, wide && below > 0 ? { margin: "0", left: `${left}px`, top: `${below}px` } : { margin: "", left: "", top: "" });
  };

  const close = () => {
    box.close();
    const { key, spot } = open ?? {};
    open = null;
    const row = key && entry(key);
    if (row && !spot) row.closest("details").open = true;
    find(key, spot)?.focus();
  };

  one("form", box).addEventListener("submit", async (event) => {
    event.preventDefault();
    const asked = open;
    const answer = await ask("edit", { key: asked.key, given: field.value, seen: asked.seen });
    put(answer);
    if (open !== asked) return;
    if (answer.outcome === "done") close();
    else if (answer.outcome === "clash") {
      open.seen = answer.theirs;
      say([`Meanwhile the file says ${answer.theirs || "nothing"} here; you typed ${answer.mine || "nothing"}.`,
        "Set puts yours in its place. Cancel keeps what the file says."]);
      field.focus();
    } else if (answer.outcome === "refused") {
      say(answer.faults.map((fault) => (fault.key === open.key ? fault.words : `${fault.name}: ${fault.words}`)));
      field.focus();
    } else say([answer.words]);
  });
  box.addEventListener("cancel", (event) => { event.preventDefault(); close(); });
  one("#box-leave").addEventListener("click", close);
  box.addEventListener("click", (event) => { if (event.target === box) close(); });

  const go = async (step) => {
    const answer = await ask("step", { step, version });
    put(answer);
    if (answer.outcome === "failed") window.alert(answer.words);
    one(`header [data-step="${step}"]:enabled`)?.focus();
  };

  document.addEventListener("click", (event) => {
    const place = event.target.closest(".spot, .key");
    const step = event.target.closest("[data-step]");
    if (place) edit(place);
    else if (step && !step.disabled) go(Number(step.dataset.step));
  });
  document.addEventListener("keydown", (event) => {
    const place = event.target.closest(".spot, .key");
    if (place && ["Enter", " "].includes(event.key)) {
      event.preventDefault();
      edit(place);
    } else if (event.key.toLowerCase() === "z" && (event.ctrlKey || event.metaKey) && !event.target.matches("input")) {
      const [undo, redo] = all("header [data-step]");
      event.preventDefault();
      (event.shiftKey ? redo : undo).click();
    }
  });

  const search = one("#search");
  const sift = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const each of all(".key")) {
      const said = `${each.dataset.key} ${each.dataset.name} ${each.dataset.words}`.toLowerCase();
      each.hidden = !words.every((word) => said.includes(word));
    }
    for (const group of all(".group")) {
      group.hidden = !one(".key:not([hidden])", group);
      if (words.length) group.open = true;
    }
    one(".none").hidden = Boolean(one(".key:not([hidden])"));
  };
  search.addEventListener("input", sift);

  const news = new EventSource("events");
  news.addEventListener("message", async (event) => {
    one(".closed").hidden = true;
    if (Number(event.data) > version) put(await ask("parts"));
  });
  news.addEventListener("error", () => { one(".closed").hidden = false; });

  document.documentElement.classList.add("on");
  ready();
})();
