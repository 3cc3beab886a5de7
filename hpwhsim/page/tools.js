"use strict";
// What all pictures of a page share: the data, units, numbers, elements, files to save.

const DATA = JSON.parse(document.getElementById("data").textContent);
const HOURS = 8760;
const MINUS = "\u2212";
const DAYS = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]; // 1 January of the nominal year is a Monday
const PAPER_WIDTH = 660; // px that a page of A4 or Letter holds at 96 to the inch
const LIGHT = { // what a saved picture is drawn in, whatever the screen
  ink: "#1a1a1a", paper: "#ffffff", rule: "#c4c9ce", shade: "#e8eef4", dim: "#555555", blue: "#0072b2", sky: "#56b4e9",
  green: "#009e73", gold: "#f0e442", orange: "#e69f00", red: "#d55e00", pink: "#cc79a7", grey: "#999999", dark: "#4d4d4d",
};
const state = { us: DATA.us, print: false };

// -- hourly series ------------------------------------------------------------------------------------

/** Series by name, each a Float32Array of 8,760 values, of what `hours.packed` made. */
async function unpacked(pack) {
  const text = atob(pack.deflated);
  const bytes = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  const planes = new Uint8Array(await new Response(stream).arrayBuffer());
  const count = planes.length / 4;
  const whole = new Uint8Array(planes.length);
  for (let plane = 0; plane < 4; plane++) {
    for (let at = 0; at < count; at++) whole[4 * at + plane] = planes[plane * count + at];
  }
  const values = new Float32Array(whole.buffer);
  return Object.fromEntries(pack.names.map((name, n) => [name, values.subarray(n * HOURS, (n + 1) * HOURS)]));
}

/** Sums of a series over stretches of so many hours. */
function sums(values, hours) {
  const found = new Array(Math.floor(values.length / hours)).fill(0);
  for (let at = 0; at < found.length * hours; at++) found[Math.floor(at / hours)] += values[at] || 0;
  return found;
}

const MONTH_DAYS = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31];
const MONTH_STARTS = MONTH_DAYS.map((_, month) => 24 * MONTH_DAYS.slice(0, month).reduce((a, b) => a + b, 0));

/** Sums of a series by month. */
function monthly(values) {
  return MONTH_STARTS.map((start, month) => {
    let sum = 0;
    for (let at = start; at < start + 24 * MONTH_DAYS[month]; at++) sum += values[at] || 0;
    return sum;
  });
}

// -- units and numbers ---------------------------------------------------------------------------------

/** Unit in force of a key, and what turns a value of the record into it; `same`: the record's own unit. */
function unitOf(key) {
  const meaning = DATA.keys[key] || { unit: "" };
  const other = state.us ? meaning.us : meaning.si;
  if (!other) return { unit: meaning.unit, of: (value) => value, same: true };
  const [unit, factor, offset] = other;
  return { unit, of: (value) => value * factor + offset, same: false };
}

const KBTU = DATA.keys.heat_mwh.us[1]; // in a kWh, as MMBtu in a MWh

/** The second axis of a field of power or energy that holds more than electricity, in inch-pound units. */
const rightOf = (keys, unit) => (state.us && keys.some((key) => DATA.keys[key]?.us) ? [unit, KBTU] : null);

/** A difference with its sign. */
const signed = (value) => (value > 0 ? "+" : "") + amount(value);

/** A number for reading: four digits or whole, thousands apart, a true minus. */
function amount(value) {
  if (value === null || value === undefined || Number.isNaN(value)) return "none";
  const text = Math.abs(value) >= 1000
    ? Math.round(value).toLocaleString("en-US")
    : String(Number(value.toPrecision(4)));
  return text.replace("-", MINUS);
}

/** A value of a key with its unit. */
function said(key, value) {
  const { unit, of } = unitOf(key);
  return Number.isNaN(value) ? "none" : `${amount(of(value))} ${unit}`.trim();
}

/** An hour of the year as readers write it. */
function when(hour) {
  const day = Math.floor(hour / 24);
  let month = 11;
  while (24 * day < MONTH_STARTS[month]) month -= 1;
  const date = day - MONTH_STARTS[month] / 24 + 1;
  return `${DAYS[day % 7]} ${date} ${DATA.months[month]}, ${String(hour % 24).padStart(2, "0")}:00`;
}

/** An hour as hourly.csv stamps it. */
function stamp(hour) {
  return new Date(Date.UTC(2001, 0, 1, hour)).toISOString().slice(0, 16);
}

/** Ticks at round numbers that cover `low` to `high`, about `count` of them. */
function ticks(low, high, count) {
  if (!(high > low)) return [low];
  const rough = (high - low) / Math.max(count, 1);
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 2.5, 5, 10].map((by) => by * power).find((size) => size >= rough * 0.999);
  const found = [];
  for (let at = Math.ceil(low / step - 1e-9); at * step <= high + 1e-9 * step; at++) found.push(at * step);
  return found;
}

// -- elements ------------------------------------------------------------------------------------------

const SVG = "http://www.w3.org/2000/svg";

function made(element, attributes, inside) {
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...inside);
  return element;
}

/** An element of HTML. */
const tag = (name, attributes = {}, ...inside) => made(document.createElement(name), attributes, inside);

/** An element of SVG. */
const pen = (name, attributes = {}, ...inside) => made(document.createElementNS(SVG, name), attributes, inside);

/** A text of a picture. */
function label(x, y, text, attributes = {}) {
  return pen("text", { x: round(x), y: round(y), fill: "var(--ink)", "font-size": 12, ...attributes }, text);
}

const hue = (name) => `var(--${name})`;
const round = (value) => Math.round(value * 10) / 10;

// -- files to save -------------------------------------------------------------------------------------

/** Hand a file to the reader. */
function save(name, content, type) {
  const address = URL.createObjectURL(content instanceof Blob ? content : new Blob([content], { type }));
  const link = tag("a", { href: address, download: name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 10000);
}

/** A picture as the text of a file of its own: light, its colours written out. */
function drawingText(svg) {
  const copy = svg.cloneNode(true);
  const box = svg.viewBox.baseVal;
  copy.setAttribute("xmlns", SVG);
  copy.setAttribute("width", box.width);
  copy.setAttribute("height", box.height);
  copy.setAttribute("font-family", "DejaVu Sans, Arial, sans-serif");
  for (const mark of copy.querySelectorAll(".cursor")) mark.remove();
  const paper = { x: box.x, y: box.y, width: box.width, height: box.height, fill: LIGHT.paper };
  copy.prepend(pen("rect", paper));
  return new XMLSerializer().serializeToString(copy)
    .replace(/var\(--(\w+)\)/g, (_, name) => LIGHT[name])
    .replaceAll("currentColor", LIGHT.ink);
}

/** Save a picture as PNG, two points to the pixel. */
async function savePng(name, svg) {
  const image = new Image();
  image.src = `data:image/svg+xml;charset=utf-8,${encodeURIComponent(drawingText(svg))}`;
  await image.decode();
  const box = svg.viewBox.baseVal;
  const canvas = tag("canvas", { width: Math.round(2 * box.width), height: Math.round(2 * box.height) });
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  canvas.toBlob((blob) => save(name, blob, "image/png"), "image/png");
}

/** Rows as CSV text. */
function csv(rows, comments = []) {
  const cell = (value) => {
    const text = typeof value === "number" ? (Number.isNaN(value) ? "" : String(value)) : String(value);
    return /[",\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
  };
  const above = [`# ${DATA.run}`, ...comments.map((text) => `# ${text}`)];
  return [...above, ...rows.map((row) => row.map(cell).join(","))].join("\n") + "\n";
}

/** Seven significant digits: what the page holds of an hourly value. */
const digits = (value) => (Number.isNaN(value) ? NaN : Number(value.toPrecision(7)));

/** Hourly series as rows of CSV, in the units of hourly.csv. */
function hourlyRows(series, names, first = 0, end = HOURS) {
  const rows = [["time", ...names]];
  for (let hour = first; hour < end; hour++) rows.push([stamp(hour), ...names.map((n) => digits(series[n][hour]))]);
  return rows;
}
