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

  let putting = false;  // parts in: whatever loses the focus then was not left by anybody
  const put = (answer) => {
    if (!answer.parts || answer.version <= version) return;
    const held = document.activeElement?.closest("[data-part]") && document.activeElement;
    version = answer.version;
    const unfolded = all("[data-part] details[open]").map((each) => each.dataset.group);
    const cell = held?.dataset.cell && { value: held.value, at: held.selectionStart, changed: held.value !== held.defaultValue };
    const typed = all("[data-part] select, [data-part] input[id]").map(({ id, value }) => [id, value]);
    putting = true;
    for (const [name, html] of Object.entries(answer.parts)) one(`[data-part="${name}"]`).innerHTML = html;
    putting = false;
    for (const [id, value] of typed) {
      const again = document.getElementById(id);
      if (again) again.value = value;
    }
    for (const each of all("[data-part] details")) each.open = unfolded.includes(each.dataset.group);
    document.title = `${one("h1").textContent} on the desk`;
    ready();
    if (held?.dataset.key) find(held.dataset.key, held.matches(".spot"))?.focus();
    else if (held?.dataset.cell) {
      const again = one(`[data-cell="${held.dataset.cell}"]`);
      again?.focus();
      if (again && cell.changed) {  // typed on while the last reading was taken in
        again.value = cell.value;
        again.setSelectionRange(cell.at, cell.at);
      } else again?.select();
    } else if (held?.id) one(`#${held.id}`)?.focus();
    else if (held?.dataset.job) one(`[data-job="${held.dataset.job}"]`)?.focus();
    papered();
    mark();
  };

  const ask = async (where, question) => {
    const sound = question instanceof Blob;
    try {
      const answer = await fetch(where, question && {
        method: "POST",
        headers: { "Content-Type": sound ? "application/octet-stream" : "application/json" },
        body: sound ? question : JSON.stringify(question),
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
    const { value, instead, required, limits } = told.dataset;
    one("#box-limits").textContent = limits ? `Allowed: ${limits}.` : "";
    const words = limits.startsWith('"') ? limits.match(/"[^"]+"/g).map((word) => word.slice(1, -1)) : limits === "true or false" ? limits.split(" or ") : [];
    one("#box-choices").replaceChildren(...words.map((word) => new Option(word, word)));
    const sketch = document.getElementById(`sketch-${told.dataset.key}`);
    one("#box-sketch").toggleAttribute("hidden", !sketch);
    one("#box-sketch").replaceChildren(...(sketch ? sketch.cloneNode(true).children : []));
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
    open.shown = field.value = told.dataset.value || told.dataset.instead;
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
    const row = find(key, spot);
    const around = !spot && row?.closest("details");
    if (around) around.open = true;
    row?.focus();
  };

  one("form", box).addEventListener("submit", async (event) => {
    event.preventDefault();
    const asked = open;
    // An assumed value that nobody changed stays assumed.
    if (!asked.seen && field.value === asked.shown) return close();
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

  const blame = (answer, told) => {
    if (answer.outcome === "refused" && !answer.faults) told.textContent = answer.words;
    else if (answer.faults) told.textContent = answer.faults.map((fault) => (fault.key ? `${fault.name}: ${fault.words}` : fault.words)).join(" ");
    else if (answer.outcome === "clash") told.textContent = `Meanwhile ${answer.theirs || "nothing"} stands there; you typed ${answer.mine || "nothing"}. Type it again to put it in its place.`;
    else told.textContent = answer.words ?? "";
  };

  // What was done by a button or in the table of readings: one after the other, each with the answer to the last.
  let before = Promise.resolve();
  const act = (where, question, told = one("#bench-faults")) => {
    before = before.then(async () => {
      const answer = await ask(where, question);
      put(answer);
      blame(answer, told);
      return answer;
    });
    return before;
  };

  // Not on change: what was typed on while the table was put in anew is no change to the browser.
  document.addEventListener("focusout", ({ target }) => {
    const { cell } = target.dataset;
    if (!cell || putting) return;
    if (target.value !== target.defaultValue) type(cell, target.value, target.defaultValue, target.getAttribute("aria-label"));
    else if (refused.delete(cell)) {
      target.removeAttribute("aria-invalid");
      tell();
    }
  });

  // What was refused stays in its cell, with the reason, until it is typed anew.
  const refused = new Map();
  const type = async (cell, given, seen, name) => {
    if (refused.get(cell)?.given === given) return;
    const told = document.createElement("p");
    const answer = await act("cell", { cell, given, seen }, told);
    if (answer.outcome === "refused") refused.set(cell, { given, words: `${name}: ${told.textContent}` });
    else refused.delete(cell);
    mark();
    tell();
    if (["clash", "failed"].includes(answer.outcome)) one("#bench-faults").append(told);
  };
  const tell = () => one("#bench-faults").replaceChildren(...[...refused.values()].map(({ words }) => {
    const line = document.createElement("p");
    line.textContent = words;
    return line;
  }));
  const mark = () => {
    for (const [cell, { given }] of refused) {
      const input = one(`[data-cell="${cell}"]`);
      if (!input) continue;
      if (input !== document.activeElement) input.value = given;
      input.setAttribute("aria-invalid", "true");
      input.setAttribute("aria-describedby", "bench-faults");
    }
  };

  document.addEventListener("change", (event) => {
    if (["paper", "measured"].includes(event.target.id)) papered();
    if (event.target.id === "take" && event.target.files.length) hear(event.target.files[0]);
  });

  const papered = () => {
    kept("paper");
    const chosen = new URLSearchParams(["paper", "measured"].map((id) => [id, one(`#${id}`)?.value.trim() ?? ""]).filter(([, value]) => value));
    for (const each of all("a[data-paper]")) {
      const [name, rest = ""] = each.getAttribute("href").split("?");
      const show = rest.split("&").includes("show") ? "show&" : "";
      each.setAttribute("href", `${name}?${show}${chosen}`);
    }
  };

  // The paper that this shop has is remembered by the browser, where it may.
  let remembered = false;
  const kept = (id) => {
    const field = one(`#${id}`);
    try {
      if (field && !remembered && localStorage.getItem(id)) field.value = localStorage.getItem(id);
      else if (field) localStorage.setItem(id, field.value);
    } catch { /* then it is A4 again */ }
    remembered = true;
  };

  const hear = async (file) => {
    const told = one("#heard");
    told.textContent = "Listening\u2026";
    const suffix = /\.\w+$/.exec(file.name ?? "")?.[0].toLowerCase() ?? ".wav";
    const answer = await act(`recording?${new URLSearchParams({ suffix, played: one("#played").value })}`, new Blob([file]), told);
    if (answer.outcome === "done") told.textContent = "";
    one("#take").value = "";
  };

  const sound = one("#sound");
  sound.addEventListener("dragover", (event) => { event.preventDefault(); sound.classList.add("over"); });
  sound.addEventListener("dragleave", () => sound.classList.remove("over"));
  sound.addEventListener("drop", (event) => {
    event.preventDefault();
    sound.classList.remove("over");
    if (event.dataTransfer.files.length) hear(event.dataTransfer.files[0]);
  });

  // A recording as it comes from the microphone: nothing in between may tidy it up.
  let recording = null;
  const longest = 600;  // s
  const record = async () => {
    const stream = await navigator.mediaDevices.getUserMedia({
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 },
    });
    const context = new AudioContext();
    await context.audioWorklet.addModule("recorder.js");
    const node = new AudioWorkletNode(context, "recorder", { numberOfOutputs: 0 });
    const parts = [];
    recording = { stream, context, parts, length: 0 };
    node.port.addEventListener("message", ({ data }) => {
      parts.push(data);
      recording && (recording.length += data.length);
      const seconds = recording ? Math.floor(recording.length / context.sampleRate) : 0;
      one("#length").textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
      if (seconds >= longest) stop();
    });
    node.port.start();
    context.createMediaStreamSource(stream).connect(node);
    one("#record").textContent = "Stop";
  };

  const stop = () => {
    const { stream, context, parts, length } = recording;
    recording = null;
    stream.getTracks().forEach((track) => track.stop());
    context.close();
    one("#record").textContent = "Record";
    hear(new File([header(length, context.sampleRate), ...parts], "recording.wav"));
  };

  // WAV with 32-bit floats, one channel.
  const header = (length, rate) => {
    const view = new DataView(new ArrayBuffer(44));
    const word = (at, text) => [...text].forEach((letter, n) => view.setUint8(at + n, letter.charCodeAt(0)));
    word(0, "RIFF"); view.setUint32(4, 36 + 4 * length, true); word(8, "WAVEfmt ");
    view.setUint32(16, 16, true); view.setUint16(20, 3, true); view.setUint16(22, 1, true);
    view.setUint32(24, rate, true); view.setUint32(28, 4 * rate, true); view.setUint16(32, 4, true); view.setUint16(34, 32, true);
    word(36, "data"); view.setUint32(40, 4 * length, true);
    return view.buffer;
  };

  one("#record").addEventListener("click", async () => {
    if (recording) return stop();
    try {
      await record();
    } catch {
      one("#heard").textContent = "This browser gives no microphone; record with another program and drop the file here.";
    }
  });

  const take = async (name) => {
    await act("job", { name });
    const opens = one(".handful")?.dataset.opens;
    if (opens) one(`#${opens} details`).open = true;
  };

  const prove = async () => {
    const place = one("#programs");
    place.textContent = "Simulating\u2026";
    const answer = await ask("programs");
    if (answer.html) place.innerHTML = answer.html;
    else blame(answer, place);
  };

  const go = (step, by) => {
    before = before.then(async () => {
      step = by ? Number(one(".steps").dataset.at) + by : step;
      const answer = await ask("step", { step, version });
      put(answer);
      if (answer.outcome === "failed") window.alert(answer.words);
      if (answer.outcome === "changed") window.alert("The plan changed meanwhile. Look at it, then choose the step again.");
      if (by) one(`header [data-by="${by}"]:enabled`)?.focus();
    });
  };

  const leave = async () => {
    const answer = await act("leave", {}, one("#tables-faults"));
    if (answer.outcome === "refused") window.alert(answer.words);
  };

  document.addEventListener("click", (event) => {
    const place = event.target.closest(".spot, .key");
    const step = event.target.closest("[data-step]");
    const button = event.target.closest("button");
    if (place) edit(place);
    else if (step) go(Number(step.dataset.step));
    else if (button?.dataset.by) go(0, Number(button.dataset.by));
    else if (button?.id === "leave") leave();
    else if (button?.dataset.add) act("add", { what: button.dataset.add }, one("#tables-faults"));
    else if (button?.dataset.job) take(button.dataset.job);
    else if (button?.dataset.keep) act("keep", { what: button.dataset.keep });
    else if (button?.dataset.remove) act("remove", { path: button.dataset.remove }, one("#tables-faults"));
    else if (button?.id === "add") act("add", { what: one("#addition").value }, one("#tables-faults"));
    else if (button?.id === "add-fret") act("fret", { fret: Math.trunc(Number(one("#another").value)) || 0 });
    else if (button?.id === "next-round") act("round", {});
    else if (button?.id === "save") act("save", {});
    else if (button?.id === "prove") prove();
  });
  document.addEventListener("keydown", (event) => {
    const place = event.target.closest(".spot, .key");
    if (event.target.dataset.cell && event.key === "Enter") {
      const cells = all("[data-cell]").filter(({ dataset }) => /\d$/.test(dataset.cell) || dataset.cell === event.target.dataset.cell);
      (cells[cells.indexOf(event.target) + 1] ?? event.target).focus();
    } else if (place && ["Enter", " "].includes(event.key)) {
      event.preventDefault();
      edit(place);
    } else if (event.key.toLowerCase() === "z" && (event.ctrlKey || event.metaKey) && !event.target.matches("input")) {
      const [undo, redo] = all("header [data-by]");
      event.preventDefault();
      (event.shiftKey ? redo : undo).click();
    }
  });

  const search = one("#search");
  const found = new Set();  // what the search alone unfolded
  const sift = () => {
    const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const each of all(".groups .key")) {
      const said = `${each.dataset.key} ${each.dataset.name} ${each.dataset.words}`.toLowerCase();
      each.hidden = !words.every((word) => said.includes(word));
    }
    for (const group of all(".group")) {
      group.hidden = !one(".key:not([hidden])", group);
      if (words.length && !group.open) {
        group.open = true;
        found.add(group.dataset.group);
      } else if (!words.length && found.delete(group.dataset.group)) group.open = false;
    }
    one(".none").hidden = !words.length || Boolean(one(".groups .key:not([hidden])"));
  };
  search.addEventListener("input", sift);

  // A page that nobody looks at asks for nothing: browsers keep few connections open.
  let news = null;
  const listen = () => {
    news?.close();
    news = null;
    if (document.hidden) return;
    news = new EventSource("events");
    news.addEventListener("message", async (event) => {
      one(".closed").hidden = true;
      if (event.data === "left") location.reload();
      else if (Number(event.data) > version) put(await ask("parts"));
    });
    news.addEventListener("error", () => { one(".closed").hidden = false; });
  };
  document.addEventListener("visibilitychange", listen);
  listen();

  window.addEventListener("beforeunload", (event) => {
    const waiting = all("[data-cell]").some((cell) => cell.value !== cell.defaultValue);
    if (one("#save:enabled") || recording || waiting) event.preventDefault();
  });

  document.documentElement.classList.add("on");
  ready();
  papered();
})();
