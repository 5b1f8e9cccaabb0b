/* The live picture of a furnace record, drawn with uPlot over the still one. Points are fetched for
   the span in view only, so that a record of millions of points opens at once. */
"use strict";

(() => {
  const { ink, elapsed, clock, beneath, level } = window.traceMarks;
  const HUES = 8;
  const DASHES = [[], [9, 4], [2, 3], [11, 3, 2, 3], [16, 5]];
  const SHORTEST_VIEW_S = 30;
  const MOST_GROWN = 6000; // Beyond so many points a growing record is thinned anew.
  const STEPS_S = [1, 5, 10, 30, 60, 300, 600, 900, 1800, 3600, 7200, 10800, 14400, 21600, 43200, 86400];

  const hue = (index) => (index % HUES) + 1;
  const dash = (index) => DASHES[Math.floor(index / HUES) % DASHES.length];

  /** An element with class, text and attributes. */
  function make(tag, className, text = "", attributes = {}) {
    const node = document.createElement(tag);
    node.className = className;
    node.textContent = text;
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    return node;
  }

  /** A short sample of a line, for the read-off list. */
  function swatch(className, pattern) {
    const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
    svg.setAttribute("viewBox", "0 0 36 12");
    svg.setAttribute("aria-hidden", "true");
    for (const [name, value] of Object.entries({ x1: 0, x2: 36, y1: 6, y2: 6, class: className })) {
      line.setAttribute(name, value);
    }
    if (pattern.length) line.setAttribute("stroke-dasharray", pattern.join(" "));
    svg.append(line);
    return svg;
  }

  /** Where a value lies in sorted times: the index of the nearest. */
  function nearest(times, value) {
    let [low, high] = [0, times.length - 1];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (times[middle] < value) low = middle;
      else high = middle;
    }
    return value - times[low] <= times[high] - value ? low : high;
  }

  class Picture {
    constructor(box) {
      this.box = box;
      this.still = box.querySelector(".trace__still");
      this.record = null;
      this.view = null;
      this.atBand = false;
      this.plots = [];
      this.asked = null;
    }

    /** Fetch the points of a span (the whole record for null) and draw them. */
    async show(from, to) {
      this.asked?.abort();
      const asked = new AbortController();
      this.asked = asked;
      const address = new URL(this.box.dataset.trace, location.href);
      if (from !== null) {
        address.searchParams.set("from", from.toFixed(1));
        address.searchParams.set("to", to.toFixed(1));
      }
      address.searchParams.set("width", String(Math.round(this.box.clientWidth)));
      this.say("Reading the points …");
      this.fetching = true;
      try {
        const answer = await fetch(address, { signal: asked.signal, headers: { Accept: "application/json" } });
        if (!answer.ok) throw new Error(`answer ${answer.status}`);
        this.record = await answer.json();
      } catch (fault) {
        if (fault.name === "AbortError") return;
        this.say("The points of this span could not be read, so the picture is the earlier one. Try again, or reload the page.");
        return;
      } finally {
        if (this.asked === asked) this.fetching = false;
      }
      this.view = from === null ? [...this.record.whole] : [from, to];
      if (!this.live) this.build();
      this.draw();
    }

    /** Add rows of a record that grows. False where they do not follow: then draw it anew. */
    grow(rows) {
      const { record } = this;
      if (!record || this.fetching || rows.anew || rows.first !== record.next) return false;
      const behind = this.view[1] < record.whole[1];
      // The end of a part is in view: that part follows it, and is fetched anew.
      if (!behind && (this.isZoomed() || record.t.length > MOST_GROWN)) return false;
      record.next = rows.next;
      record.whole[1] = rows.t[rows.t.length - 1];
      record.stages.forEach((stage, index) => Object.assign(stage, rows.stages[index]));
      record.excursions = rows.excursions;
      if (behind) return true;
      record.t.push(...rows.t);
      for (const { name, values } of record.series) values.push(...rows.series[name]);
      if (record.vacuum) {
        record.vacuum.t.push(...rows.t);
        record.vacuum.values.push(...rows.vacuum);
      }
      this.view[1] = record.whole[1];
      this.draw(true);
      return true;
    }

    /** Fetch what is in view again; a view that reached the end follows it. */
    async again(followed) {
      if (this.fetching) return;
      if (!this.view || !this.isZoomed()) await this.show(null, null);
      else await this.show(this.view[0] + followed, this.view[1] + followed);
    }

    say(sentence) {
      if (this.status) this.status.textContent = sentence;
    }

    /** Put tools, plots and read-off in place, once; the still picture is kept for print. */
    build() {
      this.live = make("div", "trace__live");
      this.tools = make("div", "trace__tools", "", { role: "group", "aria-label": "Part of the record shown" });
      this.plotBox = make("div", "trace__plots");
      this.high = make("div", "trace__high", "", { role: "img", "aria-label": this.box.dataset.words });
      this.low = make("div", "trace__low", "", { role: "img", "aria-label": "Vacuum of the bag over the same time" });
      this.low.hidden = !this.record.vacuum;
      this.plotBox.append(this.high, this.low);
      this.status = make("p", "trace__status", "", { role: "status" });
      this.readoff = make("ul", "trace__readoff");
      this.live.append(this.tools, this.plotBox, this.buildKey(), this.buildSlider(), this.readoff, this.status);
      this.box.append(this.live);
      this.still.hidden = true;
      this.buildTools();
      this.buildReadoff();
      new ResizeObserver(() => this.fit()).observe(this.plotBox);
      matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.draw());
    }

    /** What the shading means; only what this record has. */
    buildKey() {
      const key = make("ul", "trace__key");
      const { stages, excursions, gaps, vacuum } = this.record;
      const kinds = [["band", "band", stages], ["fault", "a sensor out of the band", excursions], ["gap", "a sensor without readings", gaps]];
      for (const [kind, words, found] of kinds) {
        if (!found.length) continue;
        const row = make("li", "");
        row.append(make("span", `trace__shade trace__shade--${kind}`, "", { "aria-hidden": "true" }), words);
        key.append(row);
      }
      if (typeof vacuum?.limit === "number") {
        const row = make("li", "");
        row.append(make("span", "trace__shade trace__shade--limit", "", { "aria-hidden": "true" }), `least vacuum, ${vacuum.limit} ${vacuum.unit}`);
        key.append(row);
      }
      return key;
    }

    /** The slider is the reading line for keys and fingers; plus and minus zoom around it. */
    buildSlider() {
      const label = make("label", "trace__slide");
      this.when = make("b", "trace__when figure");
      this.slider = make("input", "trace__slider", "", { type: "range", min: "0", step: "1" });
      this.slider.addEventListener("input", () => this.readAt(Number(this.slider.value)));
      this.slider.addEventListener("keydown", (event) => {
        if (event.key === "+") this.zoom(0.5);
        else if (event.key === "-") this.zoom(2);
        else return;
        event.preventDefault();
      });
      label.append(make("span", "", "Read off at "), this.when, this.slider);
      return label;
    }

    buildTools() {
      const button = (words, act) => {
        const made = make("button", "button button--quiet", words, { type: "button" });
        made.addEventListener("click", act);
        this.tools.append(made);
        return made;
      };
      button("Whole record", () => this.show(null, null));
      this.record.stages.forEach((stage, index) => {
        if (stage.start_s === null || stage.end_s === null) return;
        const margin = Math.max(60, (stage.end_s - stage.start_s) / 50);
        const words = this.record.stages.length > 1 ? `Soak ${index + 1}` : "Soak";
        button(words, () => this.goTo(stage.start_s - margin, stage.end_s + margin));
      });
      button("Zoom in", () => this.zoom(0.5));
      button("Zoom out", () => this.zoom(2));
      button("Earlier", () => this.shift(-0.5));
      button("Later", () => this.shift(0.5));
      const band = button("Close to the band", () => {
        this.atBand = !this.atBand;
        band.setAttribute("aria-pressed", String(this.atBand));
        this.draw();
      });
      band.setAttribute("aria-pressed", "false");
      this.tools.append(make("span", "soft small", "or drag across the picture"));
    }

    buildReadoff() {
      this.values = this.record.series.map((series, index) => {
        const row = make("li", "");
        const value = make("span", "figure");
        row.append(swatch(`trace__${hue(index)}`, dash(index)));
        row.append(make("span", "", series.station ? `${series.name}, ${series.station}` : series.name), value);
        this.readoff.append(row);
        return value;
      });
      if (!this.record.vacuum) return;
      const row = make("li", "");
      this.vacuumValue = make("span", "figure");
      row.append(swatch("trace__vacuum", []), make("span", "", this.record.vacuum.name), this.vacuumValue);
      this.readoff.append(row);
    }

    /** Show a span, moved inside the record and never shorter than the least. */
    goTo(from, to) {
      const [first, last] = this.record.whole;
      const length = Math.min(Math.max(to - from, SHORTEST_VIEW_S), last - first);
      const start = Math.min(Math.max(from, first), last - length);
      if (length >= last - first) this.show(null, null);
      else this.show(start, start + length);
    }

    zoom(factor) {
      const half = ((this.view[1] - this.view[0]) * factor) / 2;
      const middle = this.record.t[this.at] ?? (this.view[0] + this.view[1]) / 2;
      this.goTo(middle - half, middle + half);
    }

    shift(part) {
      const step = (this.view[1] - this.view[0]) * part;
      this.goTo(this.view[0] + step, this.view[1] + step);
    }

    /** Lowest and highest temperature of the picture: all of it, or a little beyond the bands. */
    heights() {
      const { stages, series } = this.record;
      const bands = stages.flatMap((stage) => [stage.low, stage.high]);
      if (this.atBand && bands.length) return [Math.min(...bands) - 4, Math.max(...bands) + 4];
      let [low, high] = bands.length && !this.isZoomed() ? [Math.min(...bands), Math.max(...bands)] : [Infinity, -Infinity];
      for (const { values } of series) {
        for (const value of values) {
          if (value === null) continue;
          if (value < low) low = value;
          if (value > high) high = value;
        }
      }
      if (low > high) return bands.length ? [Math.min(...bands) - 4, Math.max(...bands) + 4] : [0, 1];
      const room = Math.max(1, (high - low) * 0.06);
      return [low - room, high + room];
    }

    isZoomed() {
      return this.view[1] - this.view[0] < this.record.whole[1] - this.record.whole[0];
    }

    axis(label, size, more = {}) {
      return {
        label, size, labelSize: 22, stroke: ink("ink-soft"), font: '12px "IBM Plex Sans", sans-serif',
        labelFont: '12px "IBM Plex Sans", sans-serif', grid: { stroke: ink("hairline"), width: 1 },
        ticks: { stroke: ink("hairline"), width: 1 }, ...more,
      };
    }

    common(box, heights) {
      const along = { values: (plot, splits) => splits.map((at) => elapsed(at)), incrs: STEPS_S, space: 70 };
      return {
        width: box.clientWidth, height: box.clientHeight, legend: { show: false }, padding: [8, 16, 0, 0], along,
        scales: { x: { time: false, range: () => this.view }, y: { range: () => heights } },
        cursor: { y: false, points: { size: 7 }, sync: { key: this.box.dataset.trace, scales: ["x", null] }, drag: { x: true, y: false, setScale: false } },
      };
    }

    draw(quietly = false) {
      for (const plot of this.plots) plot.destroy();
      this.plots = [this.drawTemperatures()];
      if (this.record.vacuum) this.plots.push(this.drawVacuum());
      this.slider.max = String(Math.max(0, this.record.t.length - 1));
      if (!quietly) this.say(`Shown: ${elapsed(this.view[0], true)} to ${elapsed(this.view[1], true)} from the start of the record.`);
    }

    drawTemperatures() {
      const { along, ...common } = this.common(this.high, this.heights());
      const lines = this.record.series.map((series, index) => ({
        label: series.name, stroke: ink(`trace-${hue(index)}`), width: 1.6, dash: dash(index), points: { show: false },
      }));
      const under = this.record.vacuum ? {} : { label: "hours and minutes from the start" };
      return new uPlot({
        ...common,
        series: [{}, ...lines],
        axes: [{ ...this.axis(under.label, 30), ...along }, this.axis("°C", 46)],
        plugins: [beneath(this.record)],
        hooks: { ready: [() => this.readAgain()], setSelect: [(plot) => this.selected(plot)], setCursor: [(plot) => this.pointed(plot)] },
      }, [this.record.t, ...this.record.series.map((series) => series.values)], this.high);
    }

    drawVacuum() {
      const { vacuum } = this.record;
      const top = Math.max(100, vacuum.limit ?? 0, ...vacuum.values.filter((value) => value !== null));
      const { along, ...common } = this.common(this.low, [0, top * 1.04]);
      return new uPlot({
        ...common,
        series: [{}, { label: vacuum.name, stroke: ink("ink"), width: 1.6, points: { show: false } }],
        axes: [{ ...this.axis("hours and minutes from the start", 30), ...along }, this.axis(vacuum.unit, 46, { space: 28 })],
        plugins: vacuum.limit === null || vacuum.limit === undefined ? [] : [level(vacuum.limit)],
      }, [vacuum.t, vacuum.values], this.low);
    }

    /** A span was dragged in either plot: show it. */
    selected(plot) {
      const { left, width } = plot.select;
      if (width < 4) return;
      const [from, to] = [plot.posToVal(left, "x"), plot.posToVal(left + width, "x")];
      for (const each of this.plots) each.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
      this.goTo(from, to);
    }

    /** The pointer moved over a plot: the read-off follows. */
    pointed(plot) {
      const { idx, left } = plot.cursor;
      if (idx === null || idx === undefined || left < 0 || idx === this.at) return;
      this.slider.value = String(idx);
      this.fill(idx);
    }

    /** After drawing: the reading line where it was, or in the middle of the span. */
    readAgain() {
      const inside = this.readTime >= this.view[0] && this.readTime <= this.view[1];
      const time = inside ? this.readTime : (this.view[0] + this.view[1]) / 2;
      if (this.record.t.length) this.readAt(nearest(this.record.t, time));
    }

    /** Move the reading line to a sample, by slider or after drawing. */
    readAt(index) {
      if (index < 0) return;
      this.slider.value = String(index);
      this.fill(index);
      const [plot] = this.plots;
      plot.setCursor({ left: plot.valToPos(this.record.t[index], "x"), top: 0 });
    }

    fill(index) {
      this.at = index;
      const { t, series, excursions, vacuum, start } = this.record;
      const now = t[index];
      this.readTime = now;
      this.when.textContent = [elapsed(now, true), clock(start, now)].filter(Boolean).join("  ·  ");
      series.forEach(({ name, values }, place) => {
        const out = excursions.find((each) => each.from_s <= now && now <= each.to_s && each.sensors.includes(name));
        const value = values[index];
        const words = value === null ? "no reading" : `${value.toFixed(1)} °C`;
        this.values[place].textContent = out ? `${words} ${out.side}` : words;
        this.values[place].classList.toggle("trace__out", Boolean(out));
      });
      if (vacuum) {
        const value = vacuum.t.length ? vacuum.values[nearest(vacuum.t, now)] : null;
        this.vacuumValue.textContent = value === null ? "no reading" : `${value.toFixed(1)} ${vacuum.unit}`;
      }
      this.slider.setAttribute("aria-valuetext", this.inWords(index));
    }

    /** The reading line in one short sentence, for a screen reader on the slider. */
    inWords(index) {
      const values = this.record.series.map((series) => series.values[index]).filter((value) => value !== null);
      const range = values.length ? `${Math.min(...values).toFixed(1)} to ${Math.max(...values).toFixed(1)} °C` : "no readings";
      const vacuum = this.vacuumValue ? `, vacuum ${this.vacuumValue.textContent}` : "";
      return `${elapsed(this.record.t[index], true)} from the start: ${range}${vacuum}`;
    }

    fit() {
      const boxes = [this.high, this.low];
      this.plots.forEach((plot, place) => plot.setSize({ width: boxes[place].clientWidth, height: boxes[place].clientHeight }));
    }
  }

  for (const box of document.querySelectorAll("[data-trace]")) {
    box.picture = new Picture(box);
    box.picture.show(null, null);
  }
})();
