// Hour by hour: fields of the year that are zoomed and read together.

/** Fields of the hourly series: head, parts, whether they are levels or heights from zero. */
function fieldsOf(series) {
  const other = Object.keys(series).filter((key) => DATA.keys[key]);
  const heat = [...DATA.made, ...DATA.used];
  return [
    { name: "Temperatures", key: "dry_bulb_c", parts: DATA.temperatures },
    { name: "Heat", key: "heat_to_taps_kwh", parts: heat, power: true },
    { name: "Purchased", key: "electricity_kwh", parts: [["power_peak_kw", "electricity, maximum 15-minute mean", "grey"], ...DATA.purchased], power: true },
    { name: "Any other series", key: "hot_water_litres", chosen: "hot_water_litres", parts: [], other },
  ];
}

class HourByHour {
  constructor(host, series, fields, draw) {
    this.host = host;
    this.series = series;
    this.range = [0, HOURS];
    this.cursor = 0;
    this.plots = [];
    this.hours = Float64Array.from({ length: HOURS }, (_, hour) => hour);
    this.hidden = new Set();
    this.fields = fields;
    this.drawStrips = draw;
    this.build();
    host.addEventListener("keydown", (event) => this.key(event));
  }

  /** Everything anew: units, paper or width have changed. */
  build() {
    for (const { chart } of this.plots) chart.destroy();
    this.host.replaceChildren();
    this.plots = [];
    const style = getComputedStyle(document.documentElement);
    this.colour = (name) => style.getPropertyValue(`--${name}`).trim();
    for (const one of this.fields) this.host.append(this.pane(one));
    this.read(this.cursor);
  }

  pane(one) {
    const box = tag("div", { class: "pane" });
    const parts = one.other ? [[one.chosen, DATA.keys[one.chosen].label, "blue"]] : one.parts;
    const { unit, of } = unitOf(parts.length ? parts[0][0] : one.key);
    const mixed = rightOf(parts.map(([key]) => key).filter((key) => unitOf(key).unit !== unit), "");
    const shown = (one.power ? perHour(unit) : unit) + (mixed ? ` (1 kW = ${amount(KBTU)} kBtu/h)` : "");
    box.append(tag("h3", {}, one.name));
    if (one.other) {
      const options = one.other.map((key) => tag("option", { value: key }, `${DATA.keys[key].label} (${key})`));
      const choice = tag("select", {}, ...options);
      choice.value = one.chosen;
      choice.addEventListener("change", () => {
        one.chosen = choice.value;
        this.build();
        this.host.querySelector("select").focus();
      });
      box.append(tag("label", {}, "Series ", choice));
    }
    const outputs = [];
    const list = tag("ul", { class: "legend" });
    const plot = { parts, outputs, power: one.power };
    parts.forEach(([key, name, colour], n) => {
      const check = tag("input", { type: "checkbox" });
      check.checked = !this.hidden.has(key);
      check.addEventListener("change", () => {
        this.hidden[check.checked ? "delete" : "add"](key);
        plot.chart.setSeries(n + 1, { show: check.checked });
      });
      const output = tag("output", { "aria-live": "off" });
      outputs.push(output);
      list.append(tag("li", {}, tag("label", {}, check, tag("span", { class: `swatch ${colour}` }), `${name} `), output));
    });
    const place = tag("div", { class: "plot" });
    box.append(list, place);
    plot.values = parts.map(([key]) => {
      const scale = one.power && unitOf(key).unit !== unit ? (value) => value : unitOf(key).of; // fuel beside electricity
      return Array.from(this.series[key], (value) => (Number.isNaN(value) ? null : scale(value)));
    });
    const line = { stroke: this.colour("ink"), grid: { stroke: this.colour("rule"), width: 0.6 }, ticks: { stroke: this.colour("rule") }, font: "12px sans-serif" };
    const options = {
      width: Math.max(280, this.host.clientWidth), height: 190, legend: { show: false },
      scales: { x: { time: false, range: () => this.range } },
      cursor: { sync: { key: "hours", setSeries: false }, drag: { x: true, y: false, setScale: false } },
      axes: [
        { ...line, splits: () => this.begins().map(([at]) => at), values: () => this.begins().map(([, name]) => name) },
        { ...line, label: shown, labelSize: 18, labelFont: "12px sans-serif", size: 58 },
      ],
      series: [{}, ...parts.map(([key, name, colour]) => ({
        label: name, show: !this.hidden.has(key), stroke: this.colour(colour), width: 1.2, points: { show: false },
        paths: uPlot.paths.stepped({ align: 1 }),
      }))],
      hooks: {
        setCursor: [(chart) => { if (chart.cursor.idx !== null && chart.cursor.idx !== undefined) this.read(chart.cursor.idx); }],
        setSelect: [(chart) => this.selected(chart)],
      },
    };
    plot.chart = new uPlot(options, [this.hours, ...plot.values], place);
    place.addEventListener("dblclick", () => this.show(0, HOURS));
    this.plots.push(plot);
    return box;
  }

  /** Where months, days or hours begin within the range, as [hour, name]. */
  begins() {
    const [first, end] = this.range;
    const room = Math.max(1, Math.floor((this.host.clientWidth - 70) / 90)); // names that fit
    const inside = (at) => at >= first && at <= end;
    if (end - first > 24 * 60) {
      const every = Math.max(1, Math.ceil((40 * (end - first)) / 730 / (this.host.clientWidth - 70)));
      return MONTH_STARTS.map((at, month) => [at, DATA.months[month]]).filter(([at], month) => month % every === 0 && inside(at));
    }
    const step = end - first > 48 ? 24 * Math.ceil((end - first) / 24 / room) : 4 * Math.ceil((end - first) / 4 / room / 1.5);
    const found = [];
    for (let hour = Math.ceil(first / step) * step; hour <= Math.min(end, HOURS - 1); hour += step) {
      found.push([hour, step >= 24 || hour % 24 === 0 ? when(hour).split(",")[0] : when(hour).split(", ")[1]]);
    }
    return found;
  }

  /** What was dragged over becomes the range of every field. */
  selected(chart) {
    const { left, width } = chart.select;
    if (width < 3) return;
    const [first, end] = [chart.posToVal(left, "x"), chart.posToVal(left + width, "x")];
    chart.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
    this.show(first, end);
  }

  /** Show hours `first` to `end`, at least 12 of them. */
  show(first, end) {
    const wide = Math.min(HOURS, Math.max(12, Math.round(end - first)));
    const from = Math.round(Math.min(Math.max(first, 0), HOURS - wide));
    this.range = [from, from + wide];
    for (const { chart } of this.plots) chart.setScale("x", { min: from, max: from + wide });
    if (this.cursor < from || this.cursor >= from + wide) this.read(from);
    else this.read(this.cursor);
  }

  /** Values of an hour beside the names. */
  read(hour) {
    this.cursor = hour;
    const [first, end] = this.range;
    document.getElementById("hour-read").textContent = `${when(first)} to ${when(end - 1)}; values at ${when(hour)}`;
    for (const { parts, outputs, power: mean } of this.plots) {
      outputs.forEach((output, n) => {
        const value = this.series[parts[n][0]][hour];
        if (Number.isNaN(value)) output.textContent = "idle";
        else output.textContent = mean ? power(parts[n][0], value) : said(parts[n][0], value);
      });
    }
  }

  key(event) {
    if (event.target !== this.host) return;
    const [first, end] = this.range;
    const wide = end - first;
    const step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    const moves = {
      "+": () => this.show(this.cursor - wide / 4, this.cursor + wide / 4),
      "-": () => this.show(first - wide / 2, end + wide / 2),
      PageUp: () => this.show(first - wide / 2, end - wide / 2),
      PageDown: () => this.show(first + wide / 2, end + wide / 2),
      Home: () => this.show(0, HOURS),
    };
    if (step) {
      const hour = Math.min(Math.max(this.cursor + step * (event.shiftKey ? 24 : 1), first), end - 1);
      this.read(hour);
      const { chart } = this.plots[0];
      chart.setCursor({ left: chart.valToPos(hour, "x"), top: 10 });
    } else if (moves[event.key]) moves[event.key]();
    else return;
    event.preventDefault();
  }

  /** What is shown as a drawing of its own, for paper and for files. */
  drawing(width) {
    return this.drawStrips(this.series, ...this.range, width);
  }
}
