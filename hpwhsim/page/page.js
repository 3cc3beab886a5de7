// Puts the pictures in their places, and follows units, width, paper and keys.

const BASE = "base"; // in the place of a difference from itself

/** A picture in its place, with its readout and its files. */
class Shown {
  constructor(figure, picture, name) {
    Object.assign(this, { figure, picture, name });
    this.host = figure.querySelector(".drawing");
    this.output = figure.querySelector(".readout");
    this.host.addEventListener("pointermove", (event) => this.point(event));
    this.host.addEventListener("keydown", (event) => this.key(event));
    this.draw();
  }

  draw() {
    const drawn = this.picture.draw(widthOf(this.host));
    const { svg } = drawn;
    svg.setAttribute("aria-hidden", "true");
    this.host.replaceChildren(svg);
    this.drawn = drawn;
    if (this.output) this.output.textContent = "";
    if (drawn.counts) this.cell = this.cell || drawn.start;
  }

  get svg() {
    return this.drawn.svg;
  }

  point(event) {
    const { at, counts, svg } = this.drawn;
    if (!counts) return;
    const box = svg.getBoundingClientRect();
    const scale = svg.viewBox.baseVal.width / box.width;
    const [x, y] = [(event.clientX - box.left) * scale, (event.clientY - box.top) * scale];
    if (x < at.left || x > at.left + at.width || y < at.top || y > at.top + at.height) return;
    const i = Math.floor(((x - at.left) / at.width) * counts[0]);
    const j = Math.floor(((at.top + at.height - y) / at.height) * counts[1]);
    this.read(Math.min(Math.max(i, 0), counts[0] - 1), Math.min(Math.max(j, 0), counts[1] - 1));
  }

  key(event) {
    if (!this.drawn.counts) return;
    const move = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
    if (!move) return;
    const far = event.shiftKey ? 10 : 1;
    const [i, j] = this.cell.map((at, n) => Math.min(Math.max(at + far * move[n], 0), this.drawn.counts[n] - 1));
    this.read(i, j);
    event.preventDefault();
  }

  /** Read out a cell, with a cross at its place. */
  read(i, j) {
    this.cell = [i, j];
    this.output.textContent = this.drawn.text(i, j);
    const { at, svg } = this.drawn;
    for (const mark of svg.querySelectorAll(".cursor")) mark.remove();
    const [x, y] = this.drawn.place(i, j);
    const look = { class: "cursor", stroke: hue("ink"), "stroke-width": 1, "stroke-dasharray": "3 3" };
    svg.append(pen("line", { ...look, x1: x, x2: x, y1: at.top, y2: at.top + at.height }));
    if (y !== null) svg.append(pen("line", { ...look, x1: at.left, x2: at.left + at.width, y1: y, y2: y }));
  }
}

/** Figures that know their key follow the units; their unit follows them, or stands in their row or head. */
function figures() {
  document.documentElement.dataset.units = state.us ? "us" : "si";
  for (const data of document.querySelectorAll("data[data-key]")) {
    const { unit, of, same } = unitOf(data.dataset.key);
    data.dataset.own ??= data.textContent;
    const apart = "difference" in data.dataset;
    const value = of(Number(data.value)) - (apart ? of(0) : 0);
    const text = (apart ? signed(value) : amount(value)) + ("unit" in data.dataset ? ` ${unit}` : "");
    data.textContent = same || data.dataset.own === BASE || data.dataset.own === "" ? data.dataset.own : text;
    if ("unit" in data.dataset) continue;
    const row = data.closest("tr");
    const mark = row && row.querySelector("td.unit");
    if (mark) {
      mark.dataset.own ??= mark.textContent;
      mark.textContent = same ? mark.dataset.own : unit;
      continue;
    }
    const head = row && /\]$/.test(row.cells[0].textContent) ? row.cells[0] : row && headOf(data);
    if (head && /\[.*\]$/.test(head.textContent)) head.textContent = head.textContent.replace(/\[[^\]]*\]$/, `[${unit}]`);
    const beside = data.parentElement.querySelector(".card-unit");
    if (beside) beside.textContent = unit;
  }
  for (const option of document.querySelectorAll("#rank-by option")) {
    const { unit } = unitOf(option.value);
    option.textContent = option.textContent.replace(/ \[[^\]]*\]$/, unit ? ` [${unit}]` : "");
  }
}

/** The head of the column in which a figure stands. */
function headOf(data) {
  const cell = data.closest("td, th");
  return data.closest("table").tHead.rows[0].cells[cell.cellIndex];
}

const CSV_UNITS = "units as in hourly.csv and annual.json; hourly values to seven significant digits";

/** Buttons that save a picture and its data. */
function files(figure, name, svgOf, rowsOf) {
  figure.addEventListener("click", async (event) => {
    const kind = event.target.dataset && event.target.dataset.save;
    if (!kind) return;
    if (kind === "svg") save(`${name}.svg`, drawingText(svgOf()), "image/svg+xml");
    else if (kind === "png") await savePng(`${name}.png`, svgOf());
    else save(`${name}.csv`, csv(rowsOf(), figure.querySelector(".drawn") ? [] : [CSV_UNITS]), "text/csv");
  });
}

/** The hourly series in their place; `draw` draws what is shown for paper and files. */
function hourly(series, fields, draw) {
  const host = document.getElementById("hours");
  const shown = new HourByHour(host, series, fields, draw);
  for (const button of document.querySelectorAll("[data-range]")) {
    button.addEventListener("click", () => shown.show(...(DATA.stretches[button.dataset.range] || [0, HOURS])));
  }
  for (const button of document.querySelectorAll("[data-key-of]")) {
    button.addEventListener("click", () => shown.key({ key: button.dataset.keyOf, target: host, preventDefault() {} }));
  }
  const drawing = () => shown.drawing(PAPER_WIDTH + 240);
  const all = Object.keys(series).filter((name) => name !== "baseline");
  files(host.closest("figure"), "hours", drawing, () => hourlyRows(series, all, ...shown.range));
  return shown;
}

/** Everything in its place. */
async function start() {
  const begin = { year: () => yearStart(), comparison: () => comparisonStart(), block: () => blockStart() };
  const pictures = await begin[DATA.kind]();
  const { shown, hours } = pictures;
  const redraw = () => {
    figures();
    for (const one of shown) one.draw();
    if (hours) hours.build();
  };
  for (const button of document.querySelectorAll("[name=units]")) {
    button.checked = (button.value === "us") === state.us;
    button.addEventListener("change", () => {
      state.us = button.value === "us";
      redraw();
    });
  }
  figures();
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => hours && hours.build());
  let [width, waits] = [document.body.clientWidth, 0];
  addEventListener("resize", () => {
    clearTimeout(waits);
    waits = setTimeout(() => {
      if (document.body.clientWidth === width || state.print) return;
      width = document.body.clientWidth;
      redraw();
    }, 150);
  });
  const paper = document.getElementById("hours-paper");
  addEventListener("beforeprint", () => {
    state.print = true;
    for (const one of shown) one.draw();
    if (hours) paper.replaceChildren(hours.drawing(PAPER_WIDTH));
  });
  addEventListener("afterprint", () => {
    state.print = false;
    for (const one of shown) one.draw();
  });
  document.documentElement.dataset.ready = "yes";
}

/** Puts each picture in the figure that names it. */
function placed(pictures) {
  const shown = [];
  for (const figure of document.querySelectorAll("figure[data-picture]")) {
    const name = figure.dataset.picture;
    const picture = pictures[name];
    if (picture) {
      const one = new Shown(figure, picture, name);
      shown.push(one);
      files(figure, name, () => one.svg, () => picture.rows());
    } else {
      const svg = () => figure.querySelector(`.drawn:not([data-system]) svg, [data-system=${state.us ? "us" : "si"}] svg`);
      if (svg()) files(figure, name, svg, () => tableRows(figure));
    }
  }
  return shown;
}

/** The first table after a figure as rows: of a drawing whose numbers stand there. */
function tableRows(figure) {
  const table = figure.closest("section").querySelector("table");
  return Array.from(table.rows, (row) => Array.from(row.cells, (cell) => cell.textContent.replaceAll(MINUS, "-")));
}

async function yearStart() {
  const series = await unpacked(DATA.hours);
  const shown = placed(yearPictures(series));
  return { shown, hours: hourly(series, fieldsOf(series), strips) };
}

start();
