// The pictures of a block of buildings.

const PARTS_OF_DAY = ["blue", "orange", "green", "red", "sky", "pink", "gold", "grey"];

/** A sheet with a legend above the field, and so much room below it. */
function belowLegend(parts, width, height, foot) {
  const head = legend(parts.map((one) => ["", one.label, one.colour]), width - LEFT - 12);
  head.group.setAttribute("transform", `translate(${LEFT} 2)`);
  const at = { left: LEFT, top: head.height + 32, width: width - LEFT - 12, height };
  return { head, at, svg: sheet(width, at.top + height + foot) };
}

/** The coincident peak of each month beside the sum of the plants' own. */
function monthPeaks() {
  const all = DATA.peaks;
  return {
    draw(width) {
      const { head, at, svg } = belowLegend(all, width, 220, 26);
      const most = Math.max(...all.flatMap((one) => one.values), 1e-9);
      const xTicks = DATA.months.map((name, n) => [n + 0.5, width < 500 && n % 2 ? "" : name, n + 0.5]);
      const f = field(svg, at, [0, 12], [0, 1.06 * most], { xTicks, yLabel: "kW, 15-minute mean" });
      svg.append(head.group);
      const wide = 0.84 / all.length;
      all.forEach((one, n) => one.values.forEach((value, month) => {
        const where = { x: round(f.X(month + 0.08 + n * wide)), width: round(f.X(wide) - f.X(0)), y: round(f.Y(value)), height: round(f.Y(0) - f.Y(value)), fill: hue(one.colour), stroke: hue("dim"), "stroke-width": 0.3 };
        svg.append(pen("rect", where, pen("title", {}, `${one.label}, ${DATA.months[month]}: ${amount(value)} kW`)));
      }));
      return {
        svg, counts: [12, 1], start: [0, 0], at, place: (i) => [f.X(i + 0.5), null],
        text: (i) => `${DATA.months[i]}: ${all.map((one) => `${one.label} ${amount(one.values[i])}`).join("; ")} kW`,
      };
    },
    rows: () => [["month", ...all.map((one) => `${one.label} [kW]`)], ...DATA.months.map((name, n) => [name, ...all.map((one) => one.values[n])])],
  };
}

/** The day of the peak, quarter by quarter: the plants on top of each other. */
function peakDay() {
  const parts = DATA.day.parts.map((one, n) => ({ ...one, colour: PARTS_OF_DAY[n % PARTS_OF_DAY.length] }));
  const total = parts[0].values.map((_, n) => parts.reduce((sum, one) => sum + one.values[n], 0));
  const clock = (n) => `${String(Math.floor(n / 4)).padStart(2, "0")}:${String(15 * (n % 4)).padStart(2, "0")}`;
  return {
    draw(width) {
      const { head, at, svg } = belowLegend(parts, width, 240, 40);
      const step = width < 500 ? 24 : 12;
      const xTicks = Array.from({ length: 96 / step + 1 }, (_, n) => [n * step, n * step < 96 ? clock(n * step) : ""]);
      const f = field(svg, at, [0, 96], [0, 1.06 * Math.max(...total, 1e-9)], { xTicks, yLabel: "kW, mean of the quarter hour" });
      svg.append(head.group);
      stack(svg, f, parts, 0);
      const peak = total.indexOf(Math.max(...total));
      svg.append(pen("circle", { cx: round(f.X(peak + 0.5)), cy: round(f.Y(total[peak])), r: 4, fill: hue("paper"), stroke: hue("ink"), "stroke-width": 1.6 }));
      return {
        svg, counts: [96, 1], start: [peak, 0], at, place: (i) => [f.X(i + 0.5), null],
        text: (i) => `${DATA.day.day} ${clock(i)}: ${amount(total[i])} kW: ${parts.map((one) => `${one.label} ${amount(one.values[i])}`).join("; ")}`,
      };
    },
    rows: () => [["time", ...parts.map((one) => `${one.label} [kW]`)], ...total.map((_, n) => [clock(n), ...parts.map((one) => one.values[n])])],
  };
}

async function blockStart() {
  const series = await unpacked(DATA.hours);
  const lines = [["electricity_kwh", "block", "blue"]];
  if (series.baseline_electricity_kwh) lines.push(["baseline_electricity_kwh", "baselines", "red"]);
  const shown = placed({
    rank: rank(),
    "month-peaks": monthPeaks(),
    "peak-day": peakDay(),
    duration: duration([{ name: "", series }], lines),
    map: dayByHour(series, "electricity_kwh"),
  });
  document.getElementById("rank-by").addEventListener("change", () => shown.find((one) => one.name === "rank").draw());
  return { shown, hours: null };
}
