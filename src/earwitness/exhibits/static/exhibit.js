/* Draws the exhibits of a page: needs the plotting library as `Plotly`, and asks the network for nothing.
 *
 *   Earwitness.draw(element, spec)        draws a picture into an element; its height follows from its width
 *   Earwitness.mark(element, marks)       marks places: one {panel, from_hz, to_hz, number}, several, or null
 *   Earwitness.dress(mode)                "light" or "dark", for everything drawn and to be drawn
 *   Earwitness.onPoint(callback)          called with {element, exhibit, panel, frequency_hz, chosen} when a reader
 *                                         points at a frequency (null when they leave; `chosen` on click or Enter)
 *   Earwitness.spread(wanted, gap, low, high)   where names stand that must not collide
 */
var Earwitness = (function () {
  "use strict";
  const drawn = new Map();
  const listeners = [];
  const preference = window.matchMedia("(prefers-color-scheme: dark)");
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
  let mode = preference.matches ? "dark" : "light";

  const GLIDE = "left 150ms ease-out, width 150ms ease-out, opacity 150ms ease-out";
  const LEAST_MARK_PX = 6;
  const KEY_OCTAVES = 1 / 24;

  /* ---- where everything stands ---- */

  function frameOf(spec, width) {
    const p = spec.proportion;
    const narrow = width < p.narrow_below;
    const inner = Math.max(60, width - p.left - (narrow ? p.narrow_right : p.right));
    let top = p.top;
    const boxes = p.heights_per_width.map(function (ratio) {
      const box = { left: p.left, top: top, width: inner, height: inner * ratio };
      top += box.height + p.gap;
      return box;
    });
    return { width: width, height: top - p.gap + p.bottom, boxes: boxes, narrow: narrow };
  }

  function axisName(letter, index) {
    return letter + "axis" + (index === 0 ? "" : index + 1);
  }

  /* A place along the x axis is a frequency in Hz, or on a linear axis a time in its unit. */
  function xOf(panel, box, place) {
    const along = panel.logarithmic ? Math.log : Number;
    const low = along(panel.x[0]);
    return box.left + (box.width * (along(place) - low)) / (along(panel.x[1]) - low);
  }

  function placeOf(panel, box, x) {
    return moved(panel, panel.x[0], Math.min(1, Math.max(0, (x - box.left) / box.width)));
  }

  function moved(panel, place, share) {
    const there = panel.logarithmic
      ? place * Math.pow(panel.x[1] / panel.x[0], share)
      : place + (panel.x[1] - panel.x[0]) * share;
    return Math.min(panel.x[1], Math.max(panel.x[0], there));
  }

  function firstPlace(panel) {
    return panel.logarithmic ? 1000 : Math.max(0, panel.x[0]);
  }

  function yOf(panel, box, value) {
    const along = panel.y_logarithmic ? Math.log : Number;
    const high = along(panel.y[1]);
    return box.top + (box.height * (high - along(value))) / (high - along(panel.y[0]));
  }

  function valueOf(panel, box, y) {
    if (panel.y_logarithmic) {
      return panel.y[1] * Math.pow(panel.y[0] / panel.y[1], (y - box.top) / box.height);
    }
    return panel.y[1] - ((y - box.top) / box.height) * (panel.y[1] - panel.y[0]);
  }

  /* ---- names at line ends: the algorithm of earwitness.exhibits.labels ---- */

  function spread(wanted, gap, low, high) {
    const order = wanted.map(function (_, i) { return i; });
    order.sort(function (a, b) { return wanted[a] - wanted[b] || a - b; });
    const pools = [];
    order.forEach(function (index, k) {
      let mean = wanted[index] - gap * k;
      let count = 1;
      while (pools.length && pools[pools.length - 1].mean > mean) {
        const last = pools.pop();
        mean = (last.mean * last.count + mean * count) / (last.count + count);
        count += last.count;
      }
      pools.push({ mean: mean, count: count });
    });
    const ceiling = Math.max(low, high - gap * (wanted.length - 1));
    const placed = new Array(wanted.length);
    let k = 0;
    pools.forEach(function (pool) {
      const free = Math.min(ceiling, Math.max(low, pool.mean));
      for (let i = 0; i < pool.count; i += 1, k += 1) placed[order[k]] = free + gap * k;
    });
    return placed;
  }

  function thatFit(ends, gap, height) {
    const room = Math.floor(height / gap + 1e-9) + 1;
    const kept = ends.slice().sort(function (a, b) { return a.rank - b.rank; }).slice(0, room);
    return ends.filter(function (end) { return kept.indexOf(end) >= 0; });
  }

  function annotations(spec, frame) {
    const colours = spec.dress[mode];
    const notes = [];
    const last = frame.boxes[frame.boxes.length - 1];
    const paper = function (x, y, text, colour, size, anchor) {
      const inner = last.top + last.height - frame.boxes[0].top;
      notes.push({
        xref: "paper", yref: "paper", showarrow: false, text: text, align: "left",
        x: (x - last.left) / last.width, y: 1 - (y - frame.boxes[0].top) / inner,
        xanchor: "left", yanchor: anchor, borderpad: 0, font: { color: colour, size: size },
      });
    };
    spec.panels.forEach(function (panel, i) {
      const box = frame.boxes[i];
      const right = box.left + box.width;
      const gap = spec.proportion.label_gap;
      // The lowest name leaves room for the unit of the frequency axis.
      const height = box.height - gap / 2;
      const ends = thatFit(panel.ends, gap, height);
      const wanted = ends.map(function (end) { return yOf(panel, box, end.y); });
      const placed = spread(wanted, gap, box.top, box.top + height);
      ends.forEach(function (end, k) {
        const name = frame.narrow ? end.short : end.text;
        const text = end.role === "quiet" ? name : "<b>" + name + "</b>";
        paper(right + 6, placed[k], text, colours.roles[end.role], 12, "middle");
      });
      paper(box.left, box.top - 5, panel.heading, colours.quiet, 11, "bottom");
    });
    const unit = spec.panels[spec.panels.length - 1].x_unit;
    paper(last.left + last.width + 14, last.top + last.height + 3, unit, colours.quiet, 11, "top");
    return notes;
  }

  function layoutPatch(spec, frame) {
    const first = frame.boxes[0];
    const last = frame.boxes[frame.boxes.length - 1];
    const inner = last.top + last.height - first.top;
    const patch = {
      width: frame.width,
      height: frame.height,
      "margin.r": frame.width - first.left - first.width,
      annotations: annotations(spec, frame),
    };
    frame.boxes.forEach(function (box, i) {
      const bottom = Math.max(0, 1 - (box.top + box.height - first.top) / inner);
      patch[axisName("y", i) + ".domain"] = [bottom, Math.min(1, bottom + box.height / inner)];
    });
    return patch;
  }

  /* ---- words for what is under the pointer ---- */

  function hertzText(hertz) {
    if (hertz < 999.5) return Math.round(hertz) + " Hz";
    return String(Number((hertz / 1000).toPrecision(3))) + " kHz";
  }

  function placeText(panel, place) {
    return panel.logarithmic ? hertzText(place) : fixed(place, panel.x_decimals) + " " + panel.x_unit;
  }

  function fixed(value, decimals) {
    const text = value.toFixed(decimals);
    return Number(text) === 0 ? text.replace("-", "") : text.replace("-", "−");
  }

  function placed(panel, place) {
    return panel.logarithmic ? String(Math.round(place)) : place.toFixed(panel.x_decimals);
  }

  function rowText(panel, value) {
    if (panel.y_unit !== "°") return "after " + String(value) + " " + panel.y_unit;
    return "at " + (value > 0 ? "+" : value < 0 ? "−" : "") + String(Math.abs(value)) + "°";
  }

  function nearest(values, wanted) {
    let low = 0;
    let high = values.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (values[middle] < wanted) low = middle; else high = middle;
    }
    return wanted - values[low] < values[high] - wanted ? low : high;
  }

  function reading(state, panel, place, value) {
    if (panel.map) {
      const column = nearest(panel.map.x, place);
      const row = nearest(panel.map.y, value);
      const level = panel.map.z[row][column];
      if (level === null) return [];
      const label = rowText(panel, panel.map.y[row]);
      return [{ label: label, short: label, text: fixed(level, 1) + " dB", role: "on axis" }];
    }
    return panel.lines.reduce(function (found, line) {
      const trace = state.spec.data[line.trace];
      const i = nearest(trace.x, place);
      const level = (line.reads || trace.y)[i];
      if (level === null || !line.label) return found;
      const spread = line.uncertainty ? line.uncertainty[i] : null;
      const text = [level, spread].filter(function (one) { return one !== null; })
        .map(function (one) {
          return panel.y_logarithmic ? String(Number(one.toPrecision(2))) : fixed(one, panel.y_decimals);
        }).join(" ± ") + " " + panel.y_unit;
      return found.concat([{ label: line.label, short: line.short, text: text.trim(), role: line.role }]);
    }, []);
  }

  /* ---- the layers of one picture ---- */

  function layer(parent, styles) {
    const made = document.createElement("div");
    Object.assign(made.style, { position: "absolute", pointerEvents: "none" }, styles);
    parent.appendChild(made);
    return made;
  }

  function build(element, spec) {
    element.textContent = "";
    element.style.position = "relative";
    const state = { element: element, spec: spec, bands: [], marks: [], frame: null };
    Object.assign(state, { panel: 0, place: firstPlace(spec.panels[0]), value: 0 });
    state.plot = document.createElement("div");
    state.plot.setAttribute("role", "img");
    state.plot.setAttribute("aria-label", spec.title + ". " + spec.alt);
    Object.assign(state.plot.style, { position: "relative", zIndex: "1" });
    element.appendChild(state.plot);
    state.hand = layer(element, {
      left: "0", top: "0", right: "0", bottom: "0", zIndex: "4", pointerEvents: "auto", touchAction: "pan-y",
    });
    state.hand.tabIndex = 0;
    const say = function (name, text) { state.hand.setAttribute(name, text); };
    say("role", "slider");
    const what = spec.panels[0].logarithmic ? " at a frequency" : " at a time";
    say("aria-label", "Read " + spec.title.toLowerCase() + what);
    say("aria-valuemin", String(spec.panels[0].x[0]));
    say("aria-valuemax", String(spec.panels[0].x[1]));
    say("aria-valuenow", String(state.place));
    state.cursor = layer(element, { width: "1px", zIndex: "2", opacity: "0" });
    state.note = layer(element, {
      zIndex: "5", opacity: "0", padding: "3px 8px", borderWidth: "1px", borderStyle: "solid", borderRadius: "2px",
      fontSize: "12px", lineHeight: "1.35", whiteSpace: "nowrap", fontVariantNumeric: "tabular-nums",
    });
    state.note.style.fontFamily = spec.layout.font.family;
    return state;
  }

  function panelAt(state, y) {
    const boxes = state.frame.boxes;
    let best = 0;
    boxes.forEach(function (box, i) {
      if (y > box.top - state.spec.proportion.gap / 2) best = i;
    });
    return best;
  }

  function point(state, index, place, value, chosen) {
    const panel = state.spec.panels[index];
    const box = state.frame.boxes[index];
    state.panel = index;
    state.place = place;
    state.value = value;
    const rows = reading(state, panel, place, value);
    const x = xOf(panel, box, place);
    Object.assign(state.cursor.style, {
      left: x + "px", top: box.top + "px", height: box.height + "px", opacity: rows.length ? "1" : "0",
    });
    state.note.textContent = "";
    const dress = state.spec.dress[mode];
    const put = function (text, colour, weight) {
      const row = document.createElement("div");
      row.textContent = text;
      row.style.color = colour;
      row.style.fontWeight = weight;
      state.note.appendChild(row);
    };
    put(placeText(panel, place), dress.quiet, "400");
    rows.forEach(function (row) {
      put((state.frame.narrow ? row.short : row.label) + " " + row.text, dress.roles[row.role], "600");
    });
    const told = rows.map(function (row) { return row.label + " " + row.text; }).join("; ");
    state.hand.setAttribute("aria-valuenow", placed(panel, place));
    state.hand.setAttribute("aria-valuetext", placeText(panel, place) + ": " + (told || "not valid here"));
    const toLeft = x > box.left + box.width * 0.55;
    const left = toLeft ? x - state.note.offsetWidth - 10 : x + 10;
    Object.assign(state.note.style, {
      left: Math.max(box.left, Math.min(left, box.left + box.width - state.note.offsetWidth)) + "px",
      top: Math.max(0, box.top + box.height - state.note.offsetHeight - 4) + "px",
      opacity: rows.length ? "1" : "0",
    });
    tell(state, panel.id, panel.logarithmic ? place : null, chosen);
  }

  function leave(state) {
    state.cursor.style.opacity = "0";
    state.note.style.opacity = "0";
    tell(state, null, null, false);
  }

  function tell(state, panel, hertz, chosen) {
    listeners.forEach(function (callback) {
      callback({
        element: state.element, exhibit: state.spec.id, panel: panel, frequency_hz: hertz, chosen: chosen,
      });
    });
  }

  function listen(state) {
    const at = function (event, chosen) {
      const corner = state.element.getBoundingClientRect();
      const y = event.clientY - corner.top;
      const index = panelAt(state, y);
      const panel = state.spec.panels[index];
      const box = state.frame.boxes[index];
      const value = valueOf(panel, box, Math.min(box.top + box.height, Math.max(box.top, y)));
      point(state, index, placeOf(panel, box, event.clientX - corner.left), value, chosen);
    };
    const inStep = function (octaves) {
      const panel = state.spec.panels[state.panel];
      const share = octaves * (panel.logarithmic ? Math.LN2 / Math.log(panel.x[1] / panel.x[0]) : 0.1);
      point(state, state.panel, moved(panel, state.place, share), state.value, false);
    };
    /* A map that is entered from below is entered at its lowest row, from above at its highest. */
    const entry = function (next) {
      const entered = state.spec.panels[next].map;
      if (!entered || next === state.panel) return null;
      return entered.y[next < state.panel ? 0 : entered.y.length - 1];
    };
    const upward = function (steps) {
      const map = state.spec.panels[state.panel].map;
      const next = Math.min(state.spec.panels.length - 1, Math.max(0, state.panel - steps));
      const row = map ? nearest(map.y, state.value) + steps : -1;
      if (map && ((row >= 0 && row < map.y.length) || next === state.panel)) {
        point(state, state.panel, state.place, map.y[Math.min(map.y.length - 1, Math.max(0, row))], false);
      } else {
        const there = entry(next);
        point(state, next, state.place, there === null ? state.value : there, false);
      }
    };
    const keys = {
      ArrowRight: function () { inStep(KEY_OCTAVES); },
      ArrowLeft: function () { inStep(-KEY_OCTAVES); },
      PageUp: function () { inStep(1); },
      PageDown: function () { inStep(-1); },
      ArrowUp: function () { upward(1); },
      ArrowDown: function () { upward(-1); },
      Enter: function () { point(state, state.panel, state.place, state.value, true); },
    };
    state.hand.addEventListener("pointermove", function (event) { at(event, false); });
    state.hand.addEventListener("click", function (event) { at(event, true); });
    state.hand.addEventListener("pointerleave", function () { leave(state); });
    state.hand.addEventListener("blur", function () { leave(state); });
    state.hand.addEventListener("keydown", function (event) {
      if (event.key === "Escape") leave(state);
      if (!keys[event.key]) return;
      event.preventDefault();
      keys[event.key]();
    });
  }

  function placeMarks(state, glide) {
    state.marks.forEach(function (mark, i) {
      const index = state.spec.panels.findIndex(function (panel) { return panel.id === mark.panel; });
      const box = state.frame.boxes[index];
      const panel = state.spec.panels[index];
      const band = state.bands[i];
      const from = xOf(panel, box, Math.max(panel.x[0], mark.from_hz));
      const to = xOf(panel, box, Math.min(panel.x[1], mark.to_hz));
      const width = Math.max(LEAST_MARK_PX, to - from);
      const dress = state.spec.dress[mode];
      Object.assign(band.style, {
        transition: glide && !calm.matches ? GLIDE : "none",
        left: (from + to - width) / 2 + "px", width: width + "px",
        top: box.top + "px", height: box.height + "px", opacity: "1",
        zIndex: panel.map ? "2" : "0", backgroundColor: dress.mark, color: dress.accent,
        boxShadow: panel.map ? "inset 1px 0 " + dress.accent + ", inset -1px 0 " + dress.accent : "none",
      });
      band.firstChild.textContent = mark.number === undefined ? "" : String(mark.number);
      band.firstChild.style.backgroundColor = panel.map ? dress.raised : "transparent";
    });
  }

  function newBand(state) {
    const band = layer(state.element, { opacity: "0" });
    band.className = "ew-mark";
    const number = document.createElement("span");
    Object.assign(number.style, { fontSize: "12px", fontWeight: "600", lineHeight: "18px", padding: "0 3px" });
    Object.assign(number.style, { position: "absolute", left: "50%", transform: "translateX(-50%)" });
    number.style.fontFamily = state.spec.layout.font.family;
    band.appendChild(number);
    return band;
  }

  function dressed(state) {
    const dress = state.spec.dress[mode];
    state.cursor.style.backgroundColor = dress.quiet;
    Object.assign(state.note.style, { backgroundColor: dress.raised, borderColor: dress.rule });
    const patch = Object.assign({ annotations: annotations(state.spec, state.frame) }, dress.layout);
    return Plotly.update(state.plot, dress.traces, patch);
  }

  function resized(state) {
    const width = Math.round(state.element.clientWidth);
    if (!width || (state.frame && state.frame.width === width)) return;
    state.frame = frameOf(state.spec, width);
    Plotly.relayout(state.plot, layoutPatch(state.spec, state.frame));
    placeMarks(state, false);
  }

  /* ---- what the page calls ---- */

  function draw(element, spec) {
    const earlier = drawn.get(element);
    if (earlier) earlier.observer.disconnect();
    const state = build(element, spec);
    state.observer = new ResizeObserver(function () { resized(state); });
    state.frame = frameOf(spec, Math.round(element.clientWidth) || spec.layout.width);
    drawn.set(element, state);
    listen(state);
    const layout = JSON.parse(JSON.stringify(spec.layout));
    return Plotly.newPlot(state.plot, spec.data, layout, { staticPlot: true, displayModeBar: false })
      .then(function () { return Plotly.relayout(state.plot, layoutPatch(spec, state.frame)); })
      .then(function () { return dressed(state); })
      .then(function () {
        state.observer.observe(element);
        placeMarks(state, false);
        return element;
      });
  }

  function mark(element, marks) {
    const state = drawn.get(element);
    if (!state) return;
    const wanted = (marks === null ? [] : Array.isArray(marks) ? marks : [marks]).filter(function (one) {
      return state.spec.panels.some(function (panel) { return panel.id === one.panel; });
    });
    const glide = state.marks.length > 0 && wanted.length === state.marks.length;
    while (state.bands.length < wanted.length) state.bands.push(newBand(state));
    state.bands.forEach(function (band, i) { if (i >= wanted.length) band.style.opacity = "0"; });
    state.marks = wanted;
    placeMarks(state, glide);
  }

  function dress(wanted) {
    mode = wanted;
    drawn.forEach(function (state, element) {
      if (!element.isConnected) { drawn.delete(element); return; }
      dressed(state);
      placeMarks(state, false);
    });
  }

  return {
    draw: draw,
    mark: mark,
    dress: dress,
    onPoint: function (callback) { listeners.push(callback); },
    spread: spread,
  };
})();
