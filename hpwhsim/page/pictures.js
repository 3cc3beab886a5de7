// The pictures of one year. Each draws itself in the units in force and gives its data as rows of CSV.

const LEFT = 56; // room for the numbers of an axis

/** Heights of the three fields of some hours: temperatures, heat, purchases. */
function strips(series, first, end, width) {
  const right = rightOf(DATA.purchased.map(([key]) => key), "kBtu/h");
  const f = { left: LEFT, width: width - LEFT - (right ? RIGHT : 12) };
  const svg = sheet(width, 10);
  const cut = (key, scale) => Array.from(series[key].subarray(first, end), scale);
  const xTicks = hourTicks(first, end, f.width);
  let top = 26;
  const place = (parts, height, kind) => {
    const head = legend(parts, f.width, kind);
    head.group.setAttribute("transform", `translate(${LEFT} ${top - 14})`);
    svg.append(head.group);
    const at = { ...f, top: top + head.height + 4, height };
    top = at.top + height + 44;
    return at;
  };

  const { unit, of } = unitOf("dry_bulb_c");
  const lines = DATA.temperatures.map(([key, name, colour]) => ({ name, colour, values: cut(key, of) }));
  const all = lines.flatMap((one) => one.values).filter((value) => !Number.isNaN(value));
  const at = place(DATA.temperatures, 150, "line");
  const [low, high] = [Math.min(...minmax(all)), Math.max(...minmax(all))];
  const room = 0.05 * (high - low || 1);
  const warm = field(svg, at, [first, end], [low - room, high + room], { xTicks, yLabel: unit });
  for (const one of lines) {
    const path = steps(warm.X, warm.Y, one.values, first);
    svg.append(pen("path", { d: path, fill: "none", stroke: hue(one.colour), "stroke-width": end - first > 1000 ? 0.7 : 1.6 }));
  }

  const heat = unitOf("heat_to_taps_kwh");
  const load = (parts, { of: scale }) => parts.map(([key, name, colour]) => ({ name, colour, values: cut(key, scale) }));
  const [up, down] = [load(DATA.made, heat), load(DATA.used, heat)];
  const total = (parts) => (parts.length ? parts[0].values.map((_, n) => parts.reduce((sum, one) => sum + one.values[n], 0)) : [0]);
  const made_ = place([...DATA.made, ...DATA.used], 150);
  const ends = [-1.08 * minmax(total(down))[1], 1.08 * minmax(total(up))[1]];
  const both = field(svg, made_, [first, end], ends[1] > ends[0] ? ends : [0, 1],
    { xTicks, yLabel: `${perHour(heat.unit)}: heat made up, used down`, absolute: true });
  stack(svg, both, up, first);
  stack(svg, both, down, first, -1);
  svg.append(pen("line", { x1: LEFT, x2: LEFT + f.width, y1: both.Y(0), y2: both.Y(0), stroke: hue("ink") }));

  const bought = load(DATA.purchased, { of: (value) => value }); // kW: fuel too, so that it stacks
  const last = place(DATA.purchased, 120);
  const buy = field(svg, last, [first, end], [0, 1.08 * minmax(total(bought))[1] || 1], { xTicks, yLabel: "kW purchased", right });
  stack(svg, buy, bought, first);
  svg.setAttribute("viewBox", `0 0 ${width} ${top - 14}`);
  return svg;
}

/** Least and most of many numbers. */
function minmax(values) {
  let [low, high] = [Infinity, -Infinity];
  for (const value of values) {
    if (value < low) low = value;
    if (value > high) high = value;
  }
  return [low, high];
}

/** What an hour's energy is as a mean power. */
const perHour = (unit) => ({ kWh: "kW", kBtu: "kBtu/h (MBH)", therm: "therm/h" })[unit] || unit;

/** Names of the series of the strips. */
const stripNames = () => [...DATA.temperatures, ...DATA.made, ...DATA.used, ...DATA.purchased].map(([key]) => key);

function stretch(series, name) {
  const [first, end] = DATA.stretches[name];
  return {
    draw: (width) => ({ svg: strips(series, first, end, width) }),
    rows: () => hourlyRows(series, stripNames(), first, end),
  };
}

/** The year as day by hour: a colour for each of 8,760 hours. */
function dayByHour(series, key, limits) {
  const values = series[key];
  const [low, high] = limits || minmax(values.filter((value) => !Number.isNaN(value)));
  return {
    draw(width) {
      const { unit, of } = unitOf(key);
      const at = { left: 40, top: 24, width: width - 52, height: 120 };
      const svg = sheet(width, 206);
      const shown = unit === "kWh" || unit === "kBtu" ? perHour(unit) : unit;
      svg.append(label(0, 12, DATA.keys[key].label + (shown ? ` [${shown}]` : ""), { "font-weight": "bold" }));
      svg.append(pen("rect", { x: at.left, y: at.top, width: at.width, height: at.height, fill: hue("shade") }));
      const rows = Array.from({ length: 24 }, (_, row) => Array.from({ length: 365 }, (_, day) => values[24 * day + 23 - row]));
      svg.append(pen("image", {
        x: at.left, y: at.top, width: at.width, height: at.height, preserveAspectRatio: "none",
        href: raster(rows, low, high), style: "image-rendering: pixelated",
      }));
      const xTicks = monthTicks(at.width).map(([x, ...rest]) => [x / 24, rest[0], ...(rest.length > 1 ? [rest[1] / 24] : [])]);
      field(svg, at, [0, 365], [0, 24], { xTicks, yTicks: [0, 6, 12, 18, 24] });
      colourBar(svg, at.left, 178, Math.min(at.width, 320), of(low), of(high), shown);
      return {
        svg, counts: [365, 24], start: [0, 0], at,
        place: (i, j) => [at.left + ((i + 0.5) / 365) * at.width, at.top + at.height - ((j + 0.5) / 24) * at.height],
        text: (i, j) => `${when(24 * i + j)}: ${Number.isNaN(values[24 * i + j]) ? "idle" : `${amount(of(values[24 * i + j]))} ${shown}`}`,
      };
    },
    rows: () => hourlyRows(series, [key]),
  };
}

/** Energy of an hour as its mean power, in the unit of its key. */
function power(key, value) {
  const { unit, of } = unitOf(key);
  return `${amount(of(value))} ${perHour(unit)}`;
}

/** Hours of the year above a load: every series sorted from the largest. */
function duration(plants, keys) {
  const lines = plants.flatMap(({ name, series, colour, dash }) => keys
    .filter(([key]) => series[key])
    .map(([key, text, own]) => {
      const values = Float32Array.from(series[key], (value) => (Number.isNaN(value) ? 0 : value)).sort().reverse();
      return { key, label: name ? `${name}${keys.length > 1 ? `, ${text}` : ""}` : text, colour: colour || own, dash, values };
    }))
    .filter((line) => line.values[0] > 0);
  return {
    draw(width) {
      const shown = legend(lines.map((line) => [line.key, line.label, line.colour]), width - LEFT - 12, "line");
      const right = rightOf(lines.map((line) => line.key), "kBtu/h");
      const at = { left: LEFT, top: shown.height + 34, width: width - LEFT - (right ? RIGHT : 16), height: 230 };
      const svg = sheet(width, at.top + at.height + 44);
      shown.group.setAttribute("transform", `translate(${LEFT} 2)`);
      const most = Math.max(...lines.map((line) => line.values[0]), 1e-9);
      const xTicks = ticks(0, HOURS, width / 110).map((value) => [value, amount(value)]);
      const f = field(svg, at, [0, HOURS], [0, 1.05 * most], { xTicks, xLabel: "hours of the year", yLabel: "kW, mean of the hour", right });
      svg.append(shown.group);
      for (const line of lines) {
        let path = "";
        for (let n = 0; n < HOURS; n += n < 200 ? 1 : 20) path += `${n ? "L" : "M"}${round(f.X(n))} ${round(f.Y(line.values[n]))}`;
        path += `L${round(f.X(HOURS))} ${round(f.Y(line.values[HOURS - 1]))}`;
        svg.append(pen("path", { d: path, fill: "none", stroke: hue(line.colour), "stroke-width": 1.8, "stroke-dasharray": line.dash || "none" }));
      }
      return {
        svg, counts: [HOURS, 1], start: [0, 0], at,
        place: (i) => [f.X(i), null],
        text: (i) => `${amount(i + 1)} h: ${lines.map((line) => `${line.label} ${power(line.key, line.values[i])}`).join("; ")}`,
      };
    },
    rows: () => [["hours", ...lines.map((line) => line.label)], ...Array.from({ length: HOURS }, (_, n) => [n + 1, ...lines.map((line) => digits(line.values[n]))])],
  };
}

/** Stacked bars by month. `parts`: [key, label, hue]; `beside`: a series held beside them; `mixed`: not electricity alone. */
function months(series, parts, unit, beside, mixed) {
  return {
    draw(width) {
      const columns = DATA.months;
      const shown = parts.map(([key, name, colour]) => ({ key, label: name, colour, values: monthly(series[key]) }));
      const right = mixed && state.us ? ["kBtu", KBTU] : null;
      const head = legend(parts.concat(beside ? [beside] : []), width - LEFT - 12);
      const at = { left: LEFT, top: head.height + 32, width: width - LEFT - (right ? RIGHT : 12), height: 200 };
      const svg = sheet(width, at.top + at.height + 26);
      head.group.setAttribute("transform", `translate(${LEFT} 2)`);
      const other = beside ? monthly(series[beside[0]]) : [];
      const high = Math.max(...columns.map((_, n) => shown.reduce((sum, one) => sum + Math.max(one.values[n], 0), 0)), ...other, 1e-9);
      const both = (value) => `${amount(value)} ${unit}${right ? ` (${amount(value * KBTU)} kBtu)` : ""}`;
      const xTicks = columns.map((name, n) => [n + 0.5, width < 500 && n % 2 ? "" : name, n + 0.5]);
      const f = field(svg, at, [0, 12], [0, 1.08 * high], { xTicks, yLabel: `${unit} a month`, right });
      svg.append(head.group);
      bars(svg, f, columns, shown, both);
      other.forEach((value, n) => {
        const where = { x1: f.X(n + 0.08), x2: f.X(n + 0.92), y1: f.Y(value), y2: f.Y(value), stroke: hue(beside[2]), "stroke-width": 3 };
        svg.append(pen("line", where, pen("title", {}, `${columns[n]}: ${beside[1]} ${both(value)}`)));
      });
      return {
        svg, counts: [12, 1], start: [0, 0], at, place: (i) => [f.X(i + 0.5), null],
        text: (i) => `${columns[i]}: ${[...shown.map((one) => `${one.label} ${unit === "kWh" ? said(one.key, one.values[i]) : both(one.values[i])}`), ...(beside ? [`${beside[1]} ${both(other[i])}`] : [])].join("; ")}`,
      };
    },
    rows() {
      const every = parts.concat(beside ? [beside] : []);
      const values = every.map(([key]) => monthly(series[key]));
      return [["month", ...every.map(([key]) => key)], ...DATA.months.map((name, n) => [name, ...values.map((one) => digits(one[n]))])];
    },
  };
}

/** The map of COP of one module, and the squares of source and inlet at which the year's heat was made. */
function copMap() {
  const map = DATA.map;
  const met = map.squares.map(([x, y]) => {
    const i = Math.round(((x + map.side / 2 - map.source[0]) / (map.source[1] - map.source[0])) * (map.cop[0].length - 1));
    const j = Math.round(((y + map.side / 2 - map.water[0]) / (map.water[1] - map.water[0])) * (map.cop.length - 1));
    return map.cop[j]?.[i];
  });
  const all = map.cop.flat().filter((value) => value !== null);
  const seen = met.filter((value) => value !== null && value !== undefined);
  const low = Math.floor(2 * minmax(all)[0]) / 2;
  const high = Math.max(low + 0.5, Math.ceil(2 * minmax(seen.length ? seen : all)[1]) / 2); // a map may go far beyond the year
  const levels = Math.max(1, Math.round((high - low) / (high - low > 4 ? 0.5 : 0.25)));
  return {
    draw(width) {
      const { unit, of } = unitOf("source_c");
      const at = { left: LEFT, top: 30, width: width - LEFT - 14, height: 330 };
      const svg = sheet(width, at.top + at.height + 112);
      svg.append(pen("rect", { x: at.left, y: at.top, width: at.width, height: at.height, fill: hue("shade") }));
      svg.append(pen("image", {
        x: at.left, y: at.top, width: at.width, height: at.height, preserveAspectRatio: "none",
        href: raster([...map.cop].reverse(), low, high, levels), style: "image-rendering: pixelated",
      }));
      const [x, y] = [map.source.map(of), map.water.map(of)];
      const xTicks = ticks(...x, width / 90).map((value) => [value, amount(value)]);
      const f = field(svg, at, x, y, { xTicks, xLabel: `source [${unit}]`, yLabel: `water entering the heat pump [${unit}]` });
      const most = Math.max(...map.squares.map((one) => one[2]), 1e-9);
      const side = map.side * Math.abs(f.X(of(1)) - f.X(of(0)));
      const heat = unitOf("heat_pump_heat_kwh");
      for (const [sx, sy, kwh] of map.squares) {
        const where = { cx: round(f.X(of(sx + map.side / 2))), cy: round(f.Y(of(sy + map.side / 2))), r: round(Math.max(0.8, 0.5 * Math.min(side, 26) * Math.sqrt(kwh / most))) };
        svg.append(pen("circle", { ...where, fill: "#ffffff", "fill-opacity": 0.8, stroke: "#000000", "stroke-width": 0.8 },
          pen("title", {}, `${amount(heat.of(kwh))} ${heat.unit} at source ${amount(of(sx))} to ${amount(of(sx + map.side))} ${unit}`)));
      }
      const lock = f.X(of(map.lowest));
      svg.append(pen("line", { x1: lock, x2: lock, y1: at.top, y2: at.top + at.height, stroke: hue("red"), "stroke-width": 2 }));
      const bottom = at.top + at.height + 52;
      for (const [rx, ry] of map.rated) {
        const [cx, cy] = [f.X(of(rx)), f.Y(of(ry))];
        const d = `M${round(cx - 6)} ${round(cy - 6)}l12 12m0 -12l-12 12`;
        svg.append(pen("path", { d, stroke: "#ffffff", "stroke-width": 6 }), pen("path", { d, stroke: "#d55e00", "stroke-width": 3 }));
      }
      colourBar(svg, at.left, bottom, Math.min(at.width, 320), low, high, "COP", levels);
      const said_ = [`red line: locked out below ${amount(of(map.lowest))} ${unit}`, `largest circle: ${amount(heat.of(most))} ${heat.unit} a year`, ...(map.rated.length ? ["cross: rated"] : [])];
      if (width > 620) svg.append(label(at.left, bottom + 44, said_.join("; ")));
      else said_.forEach((text, n) => svg.append(label(at.left - 40, bottom + 38 + 14 * n, text, { "font-size": 11 })));
      const [wide, high_] = [map.cop[0].length, map.cop.length];
      const value = (range, n, count) => of(range[0] + (n / (count - 1)) * (range[1] - range[0]));
      return {
        svg, counts: [wide, high_], start: [0, 0], at,
        place: (i, j) => [f.X(value(map.source, i, wide)), f.Y(value(map.water, j, high_))],
        text: (i, j) => `source ${amount(value(map.source, i, wide))} ${unit}, water ${amount(value(map.water, j, high_))} ${unit}: ${map.cop[j][i] === null ? "does not work here" : `COP ${amount(map.cop[j][i])}`}`,
      };
    },
    rows: () => [["source_c", "water_in_c", "heat_pump_heat_kwh", "cop"], ...map.squares.map(([x, y, kwh], n) => [x + map.side / 2, y + map.side / 2, kwh, met[n] ?? ""])],
  };
}

/** Greenhouse gases added up over the years of service. `lines`: {label, colour, values in kg}. */
function cumulative(lines, turns) {
  const years = lines[0].values.length - 1;
  return {
    draw(width) {
      const us = state.us;
      const of = (kg) => (us ? kg / 907.18474 : kg / 1000);
      const unit = us ? "short tons CO2e" : "t CO2e";
      const head = legend(lines.map((line) => ["", line.label, line.colour]), width - LEFT - 12, "line");
      const at = { left: LEFT, top: head.height + 32, width: width - LEFT - 24, height: 230 };
      const svg = sheet(width, at.top + at.height + 44);
      head.group.setAttribute("transform", `translate(${LEFT} 2)`);
      const [low, high] = minmax(lines.flatMap((line) => line.values.map(of)));
      const xTicks = ticks(0, years, Math.min(years, width / 60)).filter(Number.isInteger).map((value) => [value, String(value)]);
      const f = field(svg, at, [0, years], [Math.min(low, 0), 1.05 * high || 1], { xTicks, xLabel: "years of service", yLabel: `${unit} since the start` });
      svg.append(head.group);
      lines.forEach((line, n) => {
        const d = line.values.map((value, year) => `${year ? "L" : "M"}${round(f.X(year))} ${round(f.Y(of(value)))}`).join("");
        svg.append(pen("path", { d, fill: "none", stroke: hue(line.colour), "stroke-width": 2, "stroke-dasharray": ["none", "6 3", "2 3", "8 3 2 3"][n % 4] }));
      });
      for (const turn of turns) {
        const y = f.Y(of(lines[0].values[turn]));
        svg.append(pen("circle", { cx: f.X(turn), cy: y, r: 5, fill: hue("paper"), stroke: hue("ink"), "stroke-width": 2 }));
        svg.append(label(f.X(turn) + 8, y + 18, `crossover year ${turn}`));
      }
      return {
        svg, counts: [years + 1, 1], start: [years, 0], at, place: (i) => [f.X(i), null],
        text: (i) => `year ${i}: ${lines.map((line) => `${line.label} ${amount(of(line.values[i]))}`).join("; ")} ${unit}`,
      };
    },
    rows: () => [["years of service", ...lines.map((line) => `${line.label} [kg CO2e]`)], ...lines[0].values.map((_, n) => [n, ...lines.map((line) => line.values[n])])],
  };
}

/** All pictures of a year by name. */
function yearPictures(series) {
  const found = {
    "coldest-week": stretch(series, "coldest week"),
    "peak-use-day": stretch(series, "peak-use day"),
    duration: duration([{ name: "", series }], [
      ["electricity_kwh", "electricity", "blue"], ["fuel_kwh", "fuel", "orange"],
      ["heat_to_taps_kwh", "hot water delivered", "green"], ["backup_heat_kwh", series.heat_pump_heat_kwh ? "heat from the backup" : "heat from the heater", "red"],
    ]),
    months: months(series, DATA.purchased, "kWh", series.baseline_electricity_kwh && ["baseline", "baseline, electricity and fuel", "ink"],
      [series.fuel_kwh, series.baseline_fuel_kwh].some((fuel) => fuel && fuel.some(Boolean))),
  };
  if (found.months && series.baseline_electricity_kwh) {
    series.baseline = series.baseline_electricity_kwh.map((value, n) => value + series.baseline_fuel_kwh[n]);
  }
  for (const key of ["source_c", "cop_hour", "electricity_kwh", "fuel_kwh", "backup_heat_kwh", "store_mean_c"]) {
    if (series[key]) found[`map-${key}`] = dayByHour(series, key);
  }
  if (DATA.causes.length) found.causes = months(series, DATA.causes, "h of backup at full power");
  if (DATA.map) found["cop-map"] = copMap();
  if (DATA.carbon) {
    const { energy, total, baseline, family, turns } = DATA.carbon;
    const lines = [{ label: "plant", colour: "blue", values: total }, { label: "of it energy", colour: "green", values: energy }];
    if (baseline) lines.push({ label: `baseline (${family})`, colour: "red", values: baseline });
    found.carbon = cumulative(lines, turns);
  }
  return found;
}
