// Axes, legends and marks of our own drawings.

/** How wide a picture is drawn: as wide as its place, or as a sheet of paper. */
const widthOf = (host) => (state.print ? PAPER_WIDTH : Math.max(280, Math.min(host.clientWidth, 1100)));

const RIGHT = 56; // room for the numbers of a second axis

/** A new drawing. */
function sheet(width, height) {
  return pen("svg", { viewBox: `0 0 ${width} ${height}`, "font-family": "inherit", focusable: "false" });
}

/** Rows of names with their hues; returns the drawing of it and how high it is. */
function legend(parts, width, kind = "rect") {
  const group = pen("g");
  let [x, y] = [0, 0];
  for (const [, name, colour] of parts) {
    const wide = 26 + 6.6 * name.length;
    if (x > 0 && x + wide > width) [x, y] = [0, y + 18];
    group.append(kind === "line"
      ? pen("line", { x1: x, x2: x + 16, y1: y + 9, y2: y + 9, stroke: hue(colour), "stroke-width": 3 })
      : pen("rect", { x, y: y + 3, width: 14, height: 11, fill: hue(colour), stroke: hue("dim"), "stroke-width": 0.6 }));
    group.append(label(x + 20, y + 13, name));
    x += wide + 10;
  }
  return { group, height: y + 20 };
}

/** A field with axes. `at`: left, top, width, height; `x` and `y`: [low, high]. */
function field(svg, at, x, y, options = {}) {
  const X = (value) => at.left + ((value - x[0]) / (x[1] - x[0])) * at.width;
  const Y = (value) => at.top + at.height - ((value - y[0]) / (y[1] - y[0])) * at.height;
  const grid = pen("g", { stroke: hue("rule"), "stroke-width": 0.7 });
  svg.append(grid);
  for (const value of options.yTicks || ticks(y[0], y[1], Math.max(2, at.height / 30))) {
    grid.append(pen("line", { x1: at.left, x2: at.left + at.width, y1: round(Y(value)), y2: round(Y(value)) }));
    const text = amount(options.absolute ? Math.abs(value) : value);
    svg.append(label(at.left - 6, Y(value) + 4, text, { "text-anchor": "end", "font-size": 11 }));
  }
  for (const [value, text, middle] of options.xTicks || []) {
    if (middle === undefined) {
      grid.append(pen("line", { x1: round(X(value)), x2: round(X(value)), y1: at.top, y2: at.top + at.height }));
    }
    const where = { "text-anchor": "middle", "font-size": 11 };
    if (text) svg.append(label(X(middle ?? value), at.top + at.height + 15, text, where));
  }
  if (options.xLabel) {
    const where = { "text-anchor": "middle" };
    svg.append(label(at.left + at.width / 2, at.top + at.height + 32, options.xLabel, where));
  }
  if (options.right) {
    const [unit, factor] = options.right;
    for (const value of ticks(y[0] * factor, y[1] * factor, Math.max(2, at.height / 30))) {
      const text = amount(options.absolute ? Math.abs(value) : value);
      svg.append(label(at.left + at.width + 6, Y(value / factor) + 4, text, { "font-size": 11 }));
    }
    svg.append(label(at.left + at.width + RIGHT - 4, at.top - 8, unit, { "text-anchor": "end" }));
  }
  if (options.yLabel) svg.append(label(Math.max(0, at.left - 46), at.top - 8, options.yLabel));
  return { X, Y, at, low: y[0], high: y[1] };
}

/** Path through hours: level within each hour, broken where there is no value. */
function steps(X, Y, values, first = 0) {
  let [path, open] = ["", false];
  values.forEach((value, n) => {
    if (value === null || Number.isNaN(value)) {
      open = false;
      return;
    }
    const y = round(Y(value));
    path += `${open ? "V" : `M${round(X(first + n))} `}${y}H${round(X(first + n + 1))}`;
    open = true;
  });
  return path;
}

/** Areas on top of each other, level within each hour. */
function stack(svg, f, parts, first, sign = 1) {
  if (!parts.length) return;
  let base = new Array(parts[0].values.length).fill(0);
  for (const { values, colour } of parts) {
    const top = base.map((value, n) => value + sign * (values[n] || 0));
    let path = steps(f.X, f.Y, top, first);
    for (let n = base.length - 1; n >= 0; n--) {
      path += `${n === base.length - 1 ? "L" : "H"}${round(f.X(first + n + 1))}${n === base.length - 1 ? ` ${round(f.Y(base[n]))}` : `V${round(f.Y(base[n]))}`}`;
    }
    path += `H${round(f.X(first))}Z`;
    svg.append(pen("path", { d: path, fill: hue(colour), stroke: base.length > 1000 ? "none" : hue("dim"), "stroke-width": 0.3 }));
    base = top;
  }
}

/** Bars on top of each other; `columns`: name of each; `parts`: {label, colour, values}; `text`: a value with its unit. */
function bars(svg, f, columns, parts, text) {
  const wide = f.at.width / columns.length;
  columns.forEach((name, at) => {
    let [up, down] = [0, 0];
    for (const one of parts) {
      const value = one.values[at];
      if (!value) continue;
      const from = value > 0 ? up : down;
      const [y0, y1] = [f.Y(from), f.Y(from + value)];
      svg.append(pen("rect", {
        x: round(f.at.left + (at + 0.14) * wide), y: round(Math.min(y0, y1)), width: round(0.72 * wide),
        height: round(Math.abs(y1 - y0)), fill: hue(one.colour), stroke: hue("dim"), "stroke-width": 0.4,
      }, pen("title", {}, `${name}: ${one.label} ${text(value)}`)));
      if (value > 0) up += value;
      else down += value;
    }
  });
}

// Colours of a map: cividis (Nunez, Anderton, Renslow 2018), which any colour vision reads in the same order.
const CIVIDIS = ["#00224e", "#123570", "#3b496c", "#575d6d", "#707173", "#8a8678", "#a59c74", "#c3b369", "#e1cc55", "#fee838"]
  .map((text) => [1, 3, 5].map((at) => parseInt(text.slice(at, at + 2), 16)));

/** Colour of a share of 0 to 1, as red, green and blue. */
function cividis(share) {
  const at = Math.min(Math.max(share, 0), 1) * (CIVIDIS.length - 1);
  const low = Math.min(Math.floor(at), CIVIDIS.length - 2);
  return CIVIDIS[low].map((value, n) => Math.round(value + (at - low) * (CIVIDIS[low + 1][n] - value)));
}

/** Values by row from the top as an image, a pixel each; what is no number is left clear. */
function raster(rows, low, high, levels = 0) {
  const canvas = tag("canvas", { width: rows[0].length, height: rows.length });
  const context = canvas.getContext("2d");
  const image = context.createImageData(canvas.width, canvas.height);
  let at = 0;
  for (const row of rows) {
    for (const value of row) {
      if (value !== null && !Number.isNaN(value)) {
        let share = high > low ? (value - low) / (high - low) : 0.5;
        if (levels) share = Math.min(Math.floor(share * levels), levels - 1) / Math.max(levels - 1, 1);
        const [red, green, blue] = cividis(share);
        image.data.set([red, green, blue, 255], at);
      }
      at += 4;
    }
  }
  context.putImageData(image, 0, 0);
  return canvas.toDataURL("image/png");
}

/** A bar of the colours with its ends and middle named. */
function colourBar(svg, left, top, width, low, high, unit, levels = 0) {
  const count = levels || 60;
  for (let n = 0; n < count; n++) {
    const [red, green, blue] = cividis(n / (count - 1));
    const wide = width / count;
    svg.append(pen("rect", { x: round(left + n * wide), y: top, width: round(wide + 0.4), height: 9, fill: `rgb(${red},${green},${blue})` }));
  }
  [[0, "start"], [0.5, "middle"], [1, "end"]].forEach(([share, anchor]) => {
    const text = amount(low + share * (high - low)) + (share === 1 ? ` ${unit}` : "");
    svg.append(label(left + share * width, top + 22, text, { "text-anchor": anchor, "font-size": 11 }));
  });
}

/** Marks of months along an axis of hours; names where they fit. */
function monthTicks(width) {
  const every = width / 12 > 26 ? 1 : 3;
  return MONTH_STARTS.map((start, month) => [start, month % every ? "" : DATA.months[month], start + 12 * MONTH_DAYS[month]])
    .flatMap(([start, text, middle]) => [[start, ""], [middle, text, middle]]);
}

/** Marks along an axis of some hours: days, or every few hours of a day. */
function hourTicks(first, end, width) {
  if (end - first > 24 * 60) return monthTicks(width).filter(([at]) => at >= first && at <= end);
  const found = [];
  const apart = Math.max(1, Math.ceil(((end - first) / 24) * 90 / width));
  if (end - first > 48) {
    for (let hour = Math.ceil(first / 24) * 24; hour <= end; hour += 24) {
      found.push([hour, ""]);
      if ((hour / 24) % apart === 0 && hour + 24 <= end) found.push([hour + 12, when(hour).split(",")[0], hour + 12]);
    }
  } else {
    for (let hour = Math.ceil(first / 4) * 4; hour <= end; hour += 4) found.push([hour, hour < end ? `${String(hour % 24).padStart(2, "0")}:00` : ""]);
  }
  return found;
}
