// The level ladder: a scale that runs down, the band that counts as one sheet across it, and on it where none, one and
// two sheets read. States differ by shape, not by colour: an open bar, a filled bar, two bars side by side.

import { newId, s } from "./dom.js";

export const WIDTH = 320;
export const HEIGHT = 268;
const TOP = 34;
const BOTTOM = 12;
const AXIS = 44;
const COLUMNS = { no_sheet: 92, single: 172, double: 252 };
const HALF_BAR = 11;

/** Round steps, four to eight of them between two values. */
export function ticks(low, high) {
  const rough = (high - low) / 6;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((n) => n * power).find((n) => n >= rough);
  const first = Math.ceil(low / step) * step;
  return Array.from({ length: Math.floor((high - first) / step) + 1 }, (_, i) => Number((first + i * step).toPrecision(12)));
}

/** The ladder of one sheet on one set-up as SVG; everything in it is one of the answer's numbers. */
export function ladder({ signal, margin, band }, title, speech) {
  const { unit } = signal;
  const states = Object.keys(COLUMNS);
  const all = states.flatMap((state) => [signal[state].p1, signal[state].p99]).concat(band);
  const [least, most] = [Math.min(...all), Math.max(...all)];
  const room = (most - least || 1) * 0.04;
  const [low, high] = [least - room, most + room];
  const y = (value) => TOP + ((value - low) / (high - low)) * (HEIGHT - TOP - BOTTOM);
  const right = WIDTH - 6;
  const ids = { title: newId("ladder"), desc: newId("ladder") };
  return s(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, width: WIDTH, height: HEIGHT, role: "img", direction: "ltr", part: "ladder",
      class: "figure", "aria-labelledby": `${ids.title} ${ids.desc}` },
    s("title", { id: ids.title }, title),
    s("desc", { id: ids.desc }, ladderText({ signal, margin, band }, speech)),
    s("rect", { class: "band", x: AXIS, y: y(band[0]), width: right - AXIS, height: y(band[1]) - y(band[0]) }),
    band.map((edge) => s("line", { class: "edge", x1: AXIS, x2: right, y1: y(edge), y2: y(edge) })),
    s("text", { class: "caption", x: AXIS + 4, y: y(band[1]) - 5 }, speech.say("counts")),
    s("line", { class: "axis", x1: AXIS, x2: AXIS, y1: TOP - 6, y2: HEIGHT - BOTTOM + 6 }),
    ticks(low, high).map((tick) => [
      s("line", { class: "axis", x1: AXIS - 5, x2: AXIS, y1: y(tick), y2: y(tick) }),
      s("text", { class: "scale", x: AXIS - 8, y: y(tick) + 3.5, "text-anchor": "end" }, speech.number(tick)),
    ]),
    s("text", { class: "scale", x: AXIS - 8, y: 14, "text-anchor": "end" }, unit === "um" ? "µm" : unit),
    states.map((state) => [
      s("text", { class: "state", x: COLUMNS[state], y: 15, "text-anchor": "middle" }, speech.say(`state.${state}`)),
      bar(COLUMNS[state], y(signal[state].p1), y(signal[state].p50), y(signal[state].p99), state),
      s("text", { class: "value", x: COLUMNS[state] + HALF_BAR + 5, y: y(signal[state].p50) + 4 }, speech.number(signal[state].p50)),
    ]),
    states.map((state) => reserve(state, { signal, margin, band }, y, speech)),
  );
}

function bar(x, top, middle, bottom, state) {
  const height = Math.max(bottom - top, 3);
  const box = (left, width) => s("rect", { class: `bar ${state}`, x: left, y: top, width, height });
  const boxes =
    state === "double" ? [box(x - HALF_BAR, HALF_BAR - 2), box(x + 2, HALF_BAR - 2)] : [box(x - HALF_BAR, 2 * HALF_BAR)];
  const notch = s("line", { class: `median ${state}`, x1: x - HALF_BAR - 3, x2: x + HALF_BAR + 3, y1: middle, y2: middle });
  return [boxes, notch];
}

/** What is left between a state and the nearest edge of the band, as a dimension line; nothing where it crosses. */
function reserve(state, { signal, margin, band }, y, speech) {
  if (!(margin[state] > 0)) return [];
  const { p1, p99 } = signal[state];
  const outside = { no_sheet: true, single: false, double: true }[state];
  const pairs = outside ? [[p99, band[0]], [band[1], p1]] : [[band[0], p1], [p99, band[1]]];
  const [from, to] = pairs.filter(([a, b]) => b >= a).sort((a, b) => a[1] - a[0] - (b[1] - b[0]))[0];
  const x = COLUMNS[state];
  const [top, bottom] = [y(from), y(to)];
  const arrow = (tip, side) => s("path", { class: "tip", d: `M${x} ${tip} l-3 ${side * 6} h6 z` });
  const tall = bottom - top > 16;
  return [
    s("line", { class: "dimension", x1: x, x2: x, y1: top, y2: bottom }),
    tall ? [arrow(top, 1), arrow(bottom, -1)] : [],
    // Beside a short line the number would lie on the bar; it goes beside the bar as well.
    s("text", { class: "margin", x: x - (tall ? 5 : HALF_BAR + 6), y: (top + bottom) / 2 + 4, "text-anchor": "end" }, speech.number(margin[state])),
  ];
}

function ladderText({ signal, margin, band }, speech) {
  const unit = signal.unit;
  const told = (value) => speech.measure(value, unit);
  const state = (name) =>
    speech.say("ladderState", {
      state: speech.say(`stateLong.${name}`),
      p50: told(signal[name].p50),
      p1: speech.number(signal[name].p1),
      p99: told(signal[name].p99),
    });
  return [
    speech.say("ladderText", { quantity: speech.say(`quantity.${signal.quantity}`), unit: unit === "um" ? "µm" : unit }),
    ...Object.keys(COLUMNS).map(state),
    speech.say("ladderBand", { low: speech.number(band[0]), high: told(band[1]) }),
    speech.say("ladderMargin", Object.fromEntries(Object.entries(margin).map(([name, value]) => [name, told(value)]))),
  ].join(" ");
}
