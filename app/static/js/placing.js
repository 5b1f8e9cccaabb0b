/* Placing coupons, sensors, finds and panels on a drawing. Each row [data-row] with its number has
   fields for its place; the drawings [data-placing] show them. The script fills fields in and draws
   what they say; nothing is rounded to a station, and the fields work without it. */
"use strict";

(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const STEP_MM = 10;
  const drawings = [...document.querySelectorAll("[data-placing]")];
  const rows = [...document.querySelectorAll("[data-row]")];
  const said = document.querySelector("[data-placing-said]");
  if (!drawings.length || !rows.length) return;
  let chosen = null;

  const names = { coupon: "coupon", sensor: "channel", panel: "panel", find: "find_kind" };

  /** A row's field: of coupon 3 the field "x" is coupon_x_3. */
  function box(row, field) {
    return row.querySelector(`[name="${row.dataset.row}_${field}_${row.dataset.number}"]`);
  }

  function nameOf(row) {
    const own = row.querySelector(`[name="${names[row.dataset.row]}_${row.dataset.number}"]`);
    const words = row.dataset.row === "find" ? row.dataset.number : own?.value.trim();
    return words || `${row.dataset.row} ${row.dataset.number}`;
  }

  function figure(field) {
    const text = field ? field.value.trim().replace(",", ".") : "";
    return /^-?\d+(\.\d+)?$|^-?\.\d+$/.test(text) ? Number(text) : null;
  }

  /** The drawing that a row's place is on. */
  function drawingOf(row) {
    if (row.dataset.row === "panel") return drawings.find((each) => each.dataset.placing === "zone");
    const panels = drawings.filter((each) => each.dataset.placing === "panel");
    if (row.dataset.row === "find") return panels[0];
    const on = box(row, "panel");
    return panels.find((each) => on && on.value === `#${each.dataset.number}`);
  }

  function sizeOf(drawing) {
    const ground = drawing.querySelector(".placing__ground");
    return {
      length: Number(drawing.dataset.length),
      width: Number(drawing.dataset.width),
      x: Number(drawing.dataset.x || 0),
      y: Number(drawing.dataset.y || 0),
      wide: Number(ground.getAttribute("width")),
      high: Number(ground.getAttribute("height")),
    };
  }

  /** Where a row's fields say it is, in mm from the drawing's lower left corner; null if unread. */
  function placeOf(row, drawing) {
    const size = sizeOf(drawing);
    const x = figure(box(row, "x"));
    const y = figure(box(row, "y"));
    if (x === null || y === null) return null;
    if (row.dataset.row === "panel") return { x: x - size.x, y: y - size.y };
    return { x: x * size.length, y: y * size.width };
  }

  /** Write a place into the fields: whole mm in the zone, on a panel the share of that mm. */
  function put(row, drawing, place) {
    const size = sizeOf(drawing);
    const x = Math.min(Math.max(Math.round(place.x), 0), size.length);
    const y = Math.min(Math.max(Math.round(place.y), 0), size.width);
    if (row.dataset.row === "panel") {
      box(row, "x").value = String(x + size.x);
      box(row, "y").value = String(y + size.y);
    } else {
      box(row, "x").value = (x / size.length).toFixed(5);
      box(row, "y").value = (y / size.width).toFixed(5);
    }
    for (const axis of ["x", "y"]) {
      box(row, axis).dispatchEvent(new Event("input", { bubbles: true }));
    }
  }

  function tell(row) {
    const drawing = drawingOf(row);
    const place = drawing && placeOf(row, drawing);
    if (!said || !place) return;
    const [x, y] = [Math.round(place.x), Math.round(place.y)];
    const shares =
      row.dataset.row === "panel" ? "" : ` (shares ${box(row, "x").value} and ${box(row, "y").value})`;
    said.textContent = `${nameOf(row)}: ${x} mm along, ${y} mm across${shares}`;
  }

  function shape(kind) {
    if (kind === "coupon") return [["rect", { x: -9, y: -9, width: 18, height: 18 }]];
    if (kind === "sensor") return [["path", { d: "M-10 8H10L0-11Z" }]];
    return [["circle", { r: 10 }], ["path", { d: "M-7-7 7 7M7-7-7 7", fill: "none" }]];
  }

  function made(name, attributes, parent) {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    parent.append(element);
    return element;
  }

  /** Draw one row where its fields say; take it off where they say nothing. */
  function draw(row) {
    const kind = row.dataset.row;
    const key = `${kind} ${row.dataset.number}`;
    const drawing = drawingOf(row);
    for (const old of document.querySelectorAll(`[data-spot="${key}"]`)) old.remove();
    const place = drawing && placeOf(row, drawing);
    if (!place) return;
    const size = sizeOf(drawing);
    const at = [(size.wide * place.x) / size.length, size.high * (1 - place.y / size.width)];
    const layer = drawing.querySelector("[data-spots]");
    if (kind === "panel") {
      drawPanel(row, layer, size, at, key);
      return;
    }
    const spot = made("g", { class: `placing__spot placing__spot--${kind}`, "data-spot": key }, layer);
    spot.setAttribute("transform", `translate(${at[0].toFixed(1)} ${at[1].toFixed(1)})`);
    if (row === chosen) spot.classList.add("placing__spot--chosen");
    for (const [name, attributes] of shape(kind)) made(name, attributes, spot);
    const anchor = at[0] < 60 ? "start" : at[0] > size.wide - 60 ? "end" : "middle";
    const text = made("text", { y: kind === "sensor" ? 24 : -14, "text-anchor": anchor }, spot);
    text.textContent = nameOf(row);
  }

  function drawPanel(row, layer, size, at, key) {
    const panel = drawings.find(
      (each) => each.dataset.placing === "panel" && each.dataset.number === row.dataset.number,
    );
    if (!panel) return;
    const turned = row.querySelector(`[name="turned_${row.dataset.number}"]`)?.checked;
    const own = [Number(panel.dataset.length), Number(panel.dataset.width)];
    const [length, width] = turned ? [own[1], own[0]] : own;
    const wide = (size.wide * length) / size.length;
    const high = (size.high * width) / size.width;
    const group = made("g", { class: "placing__laid", "data-spot": key }, layer);
    group.setAttribute("transform", `translate(${at[0].toFixed(1)} ${(at[1] - high).toFixed(1)})`);
    if (row === chosen) group.classList.add("placing__spot--chosen");
    made("rect", { width: wide.toFixed(1), height: high.toFixed(1) }, group);
    const text = made("text", { x: wide / 2, y: high / 2, "text-anchor": "middle" }, group);
    text.textContent = nameOf(row);
  }

  function choose(row) {
    const before = chosen;
    chosen = row === chosen ? null : row;
    for (const each of rows) {
      each.classList.toggle("seat--chosen", each === chosen);
      each.querySelector("[data-place]")?.setAttribute("aria-pressed", String(each === chosen));
    }
    for (const each of [before, chosen]) if (each) draw(each);
    dock(chosen ? drawingOf(chosen) : null);
    if (!chosen) {
      if (said) said.textContent = "";
      return;
    }
    const drawing = drawingOf(chosen);
    if (said) {
      said.textContent = drawing
        ? `Touch the drawing where ${nameOf(chosen)} sits.`
        : `Choose the panel that ${nameOf(chosen)} sits on first.`;
    }
    tell(chosen);
  }

  /** Keep the drawing that waits for a touch in sight, at the foot of the window, beside its row. */
  function dock(waiting) {
    for (const each of drawings) {
      each.style.minHeight = each === waiting ? `${each.offsetHeight}px` : "";
      each.classList.toggle("placing--waiting", each === waiting);
    }
    document.body.classList.toggle("page--placing", Boolean(waiting));
    if (waiting) chosen.scrollIntoView({ block: "nearest" });
  }

  function touched(event, drawing) {
    if (!chosen || drawingOf(chosen) !== drawing) return;
    const picture = drawing.querySelector("svg");
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(
      picture.getScreenCTM().inverse(),
    );
    const size = sizeOf(drawing);
    put(chosen, drawing, {
      x: (point.x / size.wide) * size.length,
      y: (1 - point.y / size.high) * size.width,
    });
    tell(chosen);
  }

  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

  function nudge(event, row) {
    const way = ARROWS[event.key];
    if (!way) return;
    event.preventDefault();
    if (row !== chosen) choose(row);
    const drawing = drawingOf(row);
    if (!drawing) return;
    const size = sizeOf(drawing);
    const place = placeOf(row, drawing) || { x: size.length / 2, y: size.width / 2 };
    const step = event.shiftKey ? 1 : STEP_MM;
    put(row, drawing, { x: place.x + way[0] * step, y: place.y + way[1] * step });
    tell(row);
  }

  for (const row of rows) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "button button--quiet";
    button.dataset.place = "";
    button.textContent = "Place";
    const heard = document.createElement("span");
    heard.className = "heard";
    heard.textContent = ` ${row.dataset.row} ${row.dataset.number} on the drawing`;
    button.append(heard);
    button.setAttribute("aria-pressed", "false");
    button.addEventListener("click", () => choose(row));
    button.addEventListener("keydown", (event) => nudge(event, row));
    (row.querySelector(".row") || row).prepend(button);
    row.addEventListener("input", () => draw(row));
    row.addEventListener("change", () => draw(row));
  }
  for (const drawing of drawings) {
    drawing.querySelector("svg").addEventListener("click", (event) => touched(event, drawing));
  }
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && chosen) choose(chosen);
  });
})();
