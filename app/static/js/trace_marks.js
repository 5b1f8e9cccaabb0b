/* What is drawn around the lines of a furnace record: bands, soaks, excursions, gaps, and the times
   in words. Drawing only: what conforms was decided by the program, and arrives with the points. */
"use strict";

window.traceMarks = (() => {
  /** A colour (or any custom property) as the style sheet has it now, light or dark. */
  const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

  const two = (number) => String(number).padStart(2, "0");

  /** Seconds from the start as "12:05", with ":30" where seconds matter. */
  function elapsed(seconds, exact = false) {
    const whole = Math.round(Math.abs(seconds));
    const sign = seconds < 0 && whole > 0 ? "−" : "";
    const minutes = `${sign}${Math.floor(whole / 3600)}:${two(Math.floor(whole / 60) % 60)}`;
    return exact || whole % 60 ? `${minutes}:${two(whole % 60)}` : minutes;
  }

  /** The wall clock at so many seconds from start, in the offset that start itself states. */
  function clock(start, seconds) {
    if (!start) return "";
    const offset = /([+-])(\d\d):?(\d\d)$/.exec(start);
    const minutes = offset ? Number(`${offset[1]}1`) * (Number(offset[2]) * 60 + Number(offset[3])) : 0;
    const there = new Date(Date.parse(start) + seconds * 1000 + minutes * 60000);
    return there.toISOString().slice(0, 19).replace("T", " ");
  }

  /** Spans merged where they overlap, so that a logger's stop over all sensors is drawn once. */
  function merged(spans) {
    const sorted = [...spans].sort((a, b) => a.from_s - b.from_s);
    const out = [];
    for (const span of sorted) {
      const last = out[out.length - 1];
      if (last && span.from_s <= last.to_s) last.to_s = Math.max(last.to_s, span.to_s);
      else out.push({ from_s: span.from_s, to_s: span.to_s });
    }
    return out;
  }

  /** Left edge and width in canvas pixels of a span of time, cut to the picture; null when outside. */
  function across(plot, from, to, least = 0) {
    const { left, width } = plot.bbox;
    const a = Math.max(left, plot.valToPos(from, "x", true));
    const b = Math.min(left + width, plot.valToPos(to, "x", true));
    if (b < left || a > left + width) return null;
    return { x: a, w: Math.max(b - a, least) };
  }

  function hatch(plot, span, colour) {
    const { ctx } = plot;
    const { top, height } = plot.bbox;
    const step = 9 * devicePixelRatio;
    ctx.save();
    ctx.beginPath();
    ctx.rect(span.x, top, span.w, height);
    ctx.clip();
    ctx.strokeStyle = colour;
    ctx.lineWidth = 2 * devicePixelRatio;
    ctx.beginPath();
    for (let x = span.x - height; x < span.x + span.w; x += step) {
      ctx.moveTo(x, top + height);
      ctx.lineTo(x + height, top);
    }
    ctx.stroke();
    ctx.restore();
  }

  /** The shaded bands, one per stage; a soak that was found is fenced by two upright lines. */
  function drawBands(plot, stages) {
    const { ctx } = plot;
    const { top, height } = plot.bbox;
    for (const stage of stages) {
      const found = stage.start_s !== null && stage.end_s !== null;
      const [from, to] = [plot.scales.x.min, plot.scales.x.max];
      const span = found ? across(plot, stage.start_s, stage.end_s) : across(plot, from, to);
      if (!span) continue;
      const high = Math.max(top, plot.valToPos(stage.high, "y", true));
      const low = Math.min(top + height, plot.valToPos(stage.low, "y", true));
      ctx.fillStyle = ink("trace-band");
      if (low > high) ctx.fillRect(span.x, high, span.w, Math.max(low - high, 2));
      if (!found) continue;
      ctx.strokeStyle = ink("ink-soft");
      ctx.lineWidth = devicePixelRatio;
      ctx.setLineDash([]);
      for (const edge of [stage.start_s, stage.end_s]) {
        if (edge < from || edge > to) continue;
        const x = Math.round(plot.valToPos(edge, "x", true)) + 0.5;
        ctx.beginPath();
        ctx.moveTo(x, top);
        ctx.lineTo(x, top + height);
        ctx.stroke();
      }
      ctx.fillStyle = ink("ink-soft");
      ctx.font = `${12 * devicePixelRatio}px "IBM Plex Sans", sans-serif`;
      ctx.textAlign = "left";
      ctx.textBaseline = "top";
      if (span.w > 40 * devicePixelRatio) ctx.fillText("soak", span.x + 6 * devicePixelRatio, top + 4 * devicePixelRatio);
    }
  }

  /** The uPlot plug-in that draws the record's marks beneath the lines. */
  function beneath(record) {
    return {
      hooks: {
        drawClear: [
          (plot) => {
            plot.ctx.save();
            drawBands(plot, record.stages);
            for (const gap of merged(record.gaps)) {
              const span = across(plot, gap.from_s, gap.to_s, 2 * devicePixelRatio);
              if (span) hatch(plot, span, ink("trace-gap"));
            }
            plot.ctx.fillStyle = ink("trace-fault");
            for (const out of merged(record.excursions)) {
              const span = across(plot, out.from_s, out.to_s, 3 * devicePixelRatio);
              if (span) plot.ctx.fillRect(span.x, plot.bbox.top, span.w, plot.bbox.height);
            }
            plot.ctx.restore();
          },
        ],
      },
    };
  }

  /** The uPlot plug-in that draws one level line, for the least vacuum. */
  function level(limit) {
    return {
      hooks: {
        draw: [
          (plot) => {
            const { ctx } = plot;
            const y = Math.round(plot.valToPos(limit, "y", true)) + 0.5;
            ctx.save();
            ctx.strokeStyle = ink("fails");
            ctx.lineWidth = 1.5 * devicePixelRatio;
            ctx.setLineDash([6 * devicePixelRatio, 4 * devicePixelRatio]);
            ctx.beginPath();
            ctx.moveTo(plot.bbox.left, y);
            ctx.lineTo(plot.bbox.left + plot.bbox.width, y);
            ctx.stroke();
            ctx.restore();
          },
        ],
      },
    };
  }

  return { ink, elapsed, clock, beneath, level };
})();
