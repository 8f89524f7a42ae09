// Reads out the distances of a fret, keeps the middle of the picture when it grows, and spares
// the keyboard a stop at frames that need no scrolling.
// Without it the page only lacks that: everything stands in its tables.
(() => {
  const figure = document.querySelector(".instrument");
  const view = figure.querySelector(".view");
  const reader = figure.querySelector(".reader");
  const slider = reader.querySelector("input");
  const output = reader.querySelector("output");
  const heads = [...document.querySelectorAll(".frets thead th")];

  const read = (fret) => {
    const row = document.getElementById("fret-" + fret);
    const said = [...row.cells].slice(1, -1).flatMap((cell, i) => {
      const name = heads[i + 1].firstChild.textContent.trim();
      const unit = heads[i + 1].querySelector(".unit").textContent.split(" ")[0];
      const main = cell.querySelector(".main");
      if (!main) return [];
      return [[name, main.textContent + " " + unit + " " + cell.querySelector(".other").textContent]];
    });
    output.replaceChildren(...said.map(([name, length]) => {
      const part = document.createElement("span");
      const label = document.createElement("small");
      label.textContent = name;
      part.append(label, length);
      return part;
    }));
    reader.querySelector("b").textContent = fret;
    figure.querySelectorAll(".now").forEach((other) => other.classList.remove("now"));
    document.querySelectorAll(".frets .now").forEach((other) => other.classList.remove("now"));
    figure.querySelector('[data-fret="' + fret + '"]').classList.add("now");
    row.classList.add("now");
    slider.value = fret;
  };

  const point = (event) => {
    const fret = event.target.closest("[data-fret]");
    if (fret) read(fret.dataset.fret);
  };
  view.addEventListener("pointerover", point);
  view.addEventListener("click", point);
  slider.addEventListener("input", () => read(slider.value));

  let middle = [0.5, 0.5];
  const settle = () => {
    middle = [
      (view.scrollLeft + view.clientWidth / 2) / view.scrollWidth,
      (view.scrollTop + view.clientHeight / 2) / view.scrollHeight,
    ];
  };
  view.addEventListener("scroll", settle);
  figure.querySelector(".sizes").addEventListener("change", () => {
    const [x, y] = middle;
    view.scrollTo(x * view.scrollWidth - view.clientWidth / 2, y * view.scrollHeight - view.clientHeight / 2);
  });

  const frames = new ResizeObserver((seen) => seen.forEach(({ target }) => {
    target.tabIndex = target.scrollWidth > target.clientWidth || target.scrollHeight > target.clientHeight ? 0 : -1;
  }));
  document.querySelectorAll(".wide").forEach((frame) => frames.observe(frame));

  figure.querySelectorAll("[hidden]").forEach((part) => { part.hidden = false; });
  read(slider.value);
})();
