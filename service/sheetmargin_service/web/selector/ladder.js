// What the detector reads: a scale from left to right, the window that counts as a single sheet across it, and a row for each
// state. Figures stand above their row, never on a line. States differ by shape: an open bar, a filled bar, two bars.

import { newId, s } from "./dom.js";

export const WIDTH = 320;
const LEFT = 12;
const RIGHT = WIDTH - 12;
const ROW = 48;
const FIRST = 44;
const STATES = ["no_sheet", "single", "double"];

/** Round steps, four to seven of them between two values. */
export function ticks(low, high) {
  const rough = (high - low) / 5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((n) => n * power).find((n) => n >= rough);
  const first = Math.ceil(low / step) * step;
  return Array.from({ length: Math.floor((high - first) / step) + 1 }, (_, i) => Number((first + i * step).toPrecision(12)));
}

/** The readings of one sheet on one set-up as SVG; everything in it is one of the answer's numbers. */
export function ladder({ signal, margin, band }, title, speech) {
  const { unit } = signal;
  const all = STATES.flatMap((state) => [signal[state].p1, signal[state].p99]).concat(band);
  const [least, most] = [Math.min(...all), Math.max(...all)];
  const room = (most - least || 1) * 0.03;
  const [low, high] = [least - room, most + room];
  const x = (value) => LEFT + ((value - low) / (high - low)) * (RIGHT - LEFT);
  const height = FIRST + STATES.length * ROW + 26;
  const axis = FIRST + STATES.length * ROW + 2;
  const told = (value) => speech.measure(value, unit);
  return figure({ height, part: "ladder", title, text: ladderText({ signal, margin, band }, speech) },
    s("text", { class: "caption", x: LEFT, y: 14 }, speech.say("window", { range: speech.range(...band, unit) })),
    STATES.map((state, index) => {
      const top = FIRST + index * ROW;
      const { p1, p50, p99 } = signal[state];
      return [
        s("text", { x: LEFT, y: top - 6 }, s("tspan", { class: "state" }, speech.say(`state.${state}`)), ` ${told(p50)}`),
        s("text", { class: margin[state] < 0 ? "fault" : "margin", x: RIGHT, y: top - 6, "text-anchor": "end" },
          speech.say("marginOf", { margin: told(margin[state]) })),
        s("rect", { class: "band", x: x(band[0]), width: x(band[1]) - x(band[0]), y: top, height: 22 }),
        band.map((edge) => s("line", { class: "edge", x1: x(edge), x2: x(edge), y1: top, y2: top + 22 })),
        bar([x(p1), x(p50), x(p99)], top + 4, state),
        reserve(state, { signal, margin, band }, x, top + 11),
      ];
    }),
    s("line", { class: "axis", x1: LEFT, x2: RIGHT, y1: axis, y2: axis }),
    ticks(low, high).map((tick) => [
      s("line", { class: "axis", x1: x(tick), x2: x(tick), y1: axis, y2: axis + 5 }),
      s("text", { class: "scale", x: x(tick), y: axis + 18, "text-anchor": "middle" }, speech.figure(tick, unit, high)),
    ]));
}

/** A picture with its title and what it shows in words. */
export function figure({ height, width = WIDTH, part, title, text, name = "figure" }, ...children) {
  const ids = { title: newId(part), desc: newId(part) };
  return s("svg", { viewBox: `0 0 ${width} ${height}`, width, height, role: "img", direction: "ltr", part, class: name,
    "aria-labelledby": `${ids.title} ${ids.desc}` },
  s("title", { id: ids.title }, title), s("desc", { id: ids.desc }, text), children);
}

function bar([left, middle, right], top, state) {
  const width = Math.max(right - left, 3);
  const box = (y, height) => s("rect", { class: `bar ${state}`, x: left, width, y, height });
  return [
    state === "double" ? [box(top, 5), box(top + 9, 5)] : box(top, 14),
    // Light within the bar and dark beyond it: seen on every ground.
    s("line", { class: "median", x1: middle, x2: middle, y1: top - 4, y2: top + 18 }),
    state === "no_sheet" ? [] : s("line", { class: "median within", x1: middle, x2: middle, y1: top + 1, y2: top + 13 }),
  ];
}

/** What is left between a state and the nearest edge of the window, as a dimension line; nothing where it crosses. */
function reserve(state, { signal, margin, band }, x, y) {
  if (!(margin[state] > 0)) return [];
  const { p1, p99 } = signal[state];
  const pairs = state === "single" ? [[band[0], p1], [p99, band[1]]] : [[p99, band[0]], [band[1], p1]];
  const [from, to] = pairs.filter(([a, b]) => b >= a).sort((a, b) => a[1] - a[0] - (b[1] - b[0]))[0];
  const [left, right] = [x(from), x(to)];
  const arrow = (tip, side) => s("path", { class: "tip", d: `M${tip} ${y} l${side * 6} -3 v6 z` });
  return [
    s("line", { class: "dimension", x1: left, x2: right, y1: y, y2: y }),
    right - left > 16 ? [arrow(left, 1), arrow(right, -1)] : [],
  ];
}

function ladderText({ signal, margin, band }, speech) {
  const { unit } = signal;
  const told = (value) => speech.measure(value, unit);
  const state = (name) =>
    speech.say("ladderState", {
      state: speech.say(`state.${name}`),
      p50: told(signal[name].p50),
      range: speech.range(signal[name].p1, signal[name].p99, unit),
      margin: told(margin[name]),
    });
  return [
    speech.say("ladderText", { quantity: speech.say(`quantity.${signal.quantity}`) }),
    ...STATES.map(state),
    speech.say("window", { range: speech.range(...band, unit) }),
  ].join(" ");
}
