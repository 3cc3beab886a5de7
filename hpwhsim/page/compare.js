// The pictures of several scenarios: the same axes for all.

/** Bars from left to right, a row for each scenario, parts on top of each other. */
function rows(columns, parts, unit) {
  const left = (width) => Math.min(0.35 * width, 16 + 7 * Math.max(...columns.map((name) => name.length)));
  const total = columns.map((_, at) => parts.reduce((sum, one) => sum + one.values[at], 0));
  const low = Math.min(0, ...columns.map((_, at) => parts.reduce((sum, one) => sum + Math.min(one.values[at], 0), 0)));
  const high = Math.max(...columns.map((_, at) => parts.reduce((sum, one) => sum + Math.max(one.values[at], 0), 0)), low + 1e-9);
  return (width) => {
    const head = legend(parts.map((one) => ["", one.label, one.colour]), width - 12);
    const at = { left: left(width), top: head.height + 6, width: width - left(width) - 70, height: 30 * columns.length };
    const svg = sheet(width, at.top + at.height + 40);
    if (parts.length > 1) svg.append(head.group);
    const xTicks = ticks(low, high, at.width / 80).map((value) => [value, amount(value)]);
    const f = field(svg, at, [low, high], [0, 1], { xTicks, yTicks: [], xLabel: unit });
    columns.forEach((name, n) => {
      const y = at.top + 30 * n;
      const most = Math.floor(at.left / 7);
      svg.append(label(at.left - 8, y + 19, name.length > most ? `${name.slice(0, most - 1)}\u2026` : name, { "text-anchor": "end" }));
      let [up, down] = [0, 0];
      for (const one of parts) {
        const value = one.values[n];
        if (!value) continue;
        const from = value > 0 ? up : down;
        const [a, b] = [f.X(from), f.X(from + value)];
        const where = { x: round(Math.min(a, b)), y: y + 5, width: round(Math.abs(b - a)), height: 20, fill: hue(one.colour), stroke: hue("dim"), "stroke-width": 0.4 };
        svg.append(pen("rect", where, pen("title", {}, `${name}: ${one.label} ${amount(value)} ${unit}`)));
        if (value > 0) up += value;
        else down += value;
      }
      const missing = parts.every((one) => one.values[n] === null);
      svg.append(label(f.X(up) + 5, y + 19, missing ? "not requested" : amount(total[n])));
    });
    svg.append(pen("line", { x1: f.X(0), x2: f.X(0), y1: at.top, y2: at.top + at.height, stroke: hue("ink") }));
    return {
      svg, counts: [1, columns.length], start: [0, columns.length - 1], at, place: () => [f.X(0), null],
      text: (_, j) => {
        const n = columns.length - 1 - j;
        return `${columns[n]}: ${parts.map((one) => `${one.label} ${amount(one.values[n])}`).join("; ")} ${unit}`;
      },
    };
  };
}

const plantNames = () => DATA.plants.map((plant) => plant.name);

/** A panel of parts that add up. */
function panel(one) {
  const parts = one.parts.map(([key, name, colour]) => ({ key, label: name, colour, values: one.values[key] })).filter((part) => part.values.some(Boolean));
  return {
    draw(width) {
      const { unit, of } = one.quantity ? unitOf(one.quantity) : { unit: one.unit, of: (value) => value };
      const scaled = parts.map((part) => ({ ...part, values: part.values.map((value) => (value === null ? null : of(value))) }));
      return rows(plantNames(), scaled, unit)(width);
    },
    rows: () => [["scenario", ...parts.map((part) => `${part.key} [${one.unit}]`)], ...plantNames().map((name, n) => [name, ...parts.map((part) => part.values[n])])],
  };
}

/** Differences against another scenario: in the tables, and in the sentences that say what drives them. */
function rebase(base) {
  for (const row of document.querySelectorAll("table tr")) {
    const values = {};
    for (const data of row.querySelectorAll("data[data-value]")) values[data.dataset.value] = Number(data.value);
    if (!Object.keys(values).length) continue;
    for (const data of row.querySelectorAll("data[data-apart], data[data-percent]")) {
      const at = data.dataset.apart ?? data.dataset.percent;
      const change = values[at] - values[base];
      const percent = "percent" in data.dataset;
      const none = Number.isNaN(change) || at === base || (percent && values[base] === 0);
      const value = none ? 0 : percent ? Math.round((1000 * change) / values[base]) / 10 : change;
      data.value = value;
      data.dataset.own = none ? (at === base && !percent ? BASE : "") : signed(value);
      data.textContent = data.dataset.own;
    }
  }
  for (const part of document.querySelectorAll("[data-base]")) part.hidden = part.dataset.base !== base;
  figures();
}

/** Scenarios in the order of the chosen figure, the best first, with their distance from it. */
function rank() {
  const chosen = document.getElementById("rank-by");
  const ordered = () => {
    const better = DATA.better.includes(chosen.value);
    const found = DATA.values[chosen.value].map((value, n) => ({ value, name: plantNames()[n] }));
    return found.sort((a, b) => (better ? b.value - a.value : a.value - b.value));
  };
  return {
    draw(width) {
      const found = ordered();
      const { unit, of } = unitOf(chosen.value);
      const values = found.map((one) => of(one.value));
      const names = found.map((one, n) => `${n + 1}. ${one.name}`);
      const drawn = rows(names, [{ label: DATA.keys[chosen.value].label, colour: "blue", values }], unit)(width);
      const text = drawn.text;
      drawn.text = (i, j) => {
        const n = values.length - 1 - j;
        const change = values[n] - values[0];
        return text(i, j) + (n ? `; ${signed(change)} ${unit} from the best` : "; the best");
      };
      return drawn;
    },
    rows: () => [["rank", "scenario", chosen.value], ...ordered().map((one, n) => [n + 1, one.name, one.value])],
  };
}

/** Purchases of each scenario by month, beside each other. */
function monthsOfAll(series) {
  const none = new Float32Array(HOURS);
  const all = DATA.plants.map((plant, n) => {
    const [power, fuel] = ["electricity_kwh", "fuel_kwh"].map((key) => monthly(series[`${n}:${key}`] || none));
    return { ...plant, fuel: fuel.some(Boolean), values: power.map((value, month) => value + fuel[month]) };
  });
  return {
    draw(width) {
      const head = legend(all.map((one) => ["", one.name, one.colour]), width - LEFT - 12);
      const right = state.us && all.some((one) => one.fuel) ? ["kBtu", KBTU] : null;
      const both = (value) => `${amount(value)} kWh${right ? ` (${amount(value * KBTU)} kBtu)` : ""}`;
      const at = { left: LEFT, top: head.height + 32, width: width - LEFT - (right ? RIGHT : 12), height: 220 };
      const svg = sheet(width, at.top + at.height + 26);
      head.group.setAttribute("transform", `translate(${LEFT} 2)`);
      const most = Math.max(...all.flatMap((one) => one.values), 1e-9);
      const xTicks = DATA.months.map((name, n) => [n + 0.5, width < 500 && n % 2 ? "" : name, n + 0.5]);
      const f = field(svg, at, [0, 12], [0, 1.06 * most], { xTicks, yLabel: "kWh a month", right });
      svg.append(head.group);
      const wide = 0.84 / all.length;
      all.forEach((one, n) => one.values.forEach((value, month) => {
        const where = { x: round(f.X(month + 0.08 + n * wide)), width: round(f.X(wide) - f.X(0)), y: round(f.Y(value)), height: round(f.Y(0) - f.Y(value)), fill: hue(one.colour), stroke: hue("dim"), "stroke-width": 0.3 };
        svg.append(pen("rect", where, pen("title", {}, `${one.name}, ${DATA.months[month]}: ${both(value)}`)));
      }));
      return {
        svg, counts: [12, 1], start: [0, 0], at, place: (i) => [f.X(i + 0.5), null],
        text: (i) => `${DATA.months[i]}: ${all.map((one) => `${one.name} ${both(one.values[i])}`).join("; ")}`,
      };
    },
    rows: () => [["month", ...all.map((one) => `${one.name} [kWh]`)], ...DATA.months.map((name, n) => [name, ...all.map((one) => digits(one.values[n]))])],
  };
}

/** Lines of each field over some hours, for paper and for files. */
function lineStrips(series, first, end, width) {
  const svg = sheet(width, 10);
  let top = 26;
  for (const one of DATA.fields) {
    const head = legend(one.parts, width - LEFT - 12, "line");
    head.group.setAttribute("transform", `translate(${LEFT} ${top})`);
    const at = { left: LEFT, top: top + head.height + 16, width: width - LEFT - 12, height: 110 };
    const { unit, of } = unitOf(one.key);
    const lines = one.parts.map(([key, , colour]) => ({ colour, values: Array.from(series[key].subarray(first, end), of) }));
    const [low, high] = minmax(lines.flatMap((line) => line.values).filter((value) => !Number.isNaN(value)));
    const shown = one.power ? perHour(unit) : unit;
    const f = field(svg, at, [first, end], [one.power ? 0 : low, high > low ? high : low + 1],
      { xTicks: hourTicks(first, end, at.width), yLabel: `${one.name} [${shown}]` });
    svg.append(head.group);
    for (const line of lines) {
      svg.append(pen("path", { d: steps(f.X, f.Y, line.values, first), fill: "none", stroke: hue(line.colour), "stroke-width": end - first > 1000 ? 0.6 : 1.4 }));
    }
    top = at.top + at.height + 30;
  }
  svg.setAttribute("viewBox", `0 0 ${width} ${top}`);
  return svg;
}

async function comparisonStart() {
  const series = await unpacked(DATA.hours);
  const plants = DATA.plants.map((plant, n) => ({ ...plant, series: { electricity_kwh: series[`${n}:electricity_kwh`] } }));
  const pictures = {
    rank: rank(),
    months: monthsOfAll(series),
    duration: duration(plants, [["electricity_kwh", "electricity", "blue"]]),
  };
  DATA.panels.forEach((one, n) => { pictures[`panel-${n}`] = panel(one); });
  const limits = minmax(plants.flatMap((plant) => minmax(plant.series.electricity_kwh)));
  plants.forEach((_, n) => { pictures[`map-${n}`] = dayByHour(series, `${n}:electricity_kwh`, limits); });
  if (DATA.carbon.length) pictures.carbon = cumulative(DATA.carbon, []);
  const shown = placed(pictures);
  const base = document.getElementById("base");
  base.addEventListener("change", () => rebase(base.value));
  rebase(base.value);
  document.getElementById("rank-by").addEventListener("change", () => shown.find((one) => one.name === "rank").draw());
  return { shown, hours: hourly(series, DATA.fields, lineStrips) };
}
