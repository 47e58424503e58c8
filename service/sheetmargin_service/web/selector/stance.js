// How the pair is mounted: the sheet, the heads on their axis, the gap between their faces, the tilt against the sheet's
// normal and the room that the machine leaves. All drawings of an answer have one scale, which a bar shows.

import { s } from "./dom.js";
import { WIDTH, figure } from "./ladder.js";

const HEIGHT = 264;
const CENTRE = { x: WIDTH / 2, y: 124 };
const HALF_HEIGHT = 112;
const HALF_WIDTH = 118;
// Drawn where an answer does not tell a head's size: its outline is dashed.
const UNKNOWN = { diameter: 18, length: 30 };
const ROLLER = 30;
const MOST_SCALE = 3;

/** Units a millimetre, so that the largest of the set-ups fits. */
export function scaleOf(setups) {
  const scales = setups.map((setup) => {
    const { degrees, below, above, diameter, length } = sizesOf(setup);
    const [along, half] = [(degrees * Math.PI) / 180, diameter / 2];
    const rear = Math.max(below, above) + length;
    return Math.min(
      HALF_HEIGHT / (rear * Math.cos(along) + half * Math.sin(along)),
      HALF_WIDTH / (rear * Math.sin(along) + half * Math.cos(along)));
  });
  return Math.min(MOST_SCALE, ...scales);
}

/** The pair of a set-up as SVG; `line` is the machine as the job tells it. */
export function stance(setup, title, speech, scale, line = {}) {
  const { gap_mm: gap, tilt_deg: tilt } = setup.geometry;
  const sizes = sizesOf(setup);
  const along = (sizes.degrees * Math.PI) / 180;
  // A point `out` along the axis (up is positive) and `aside` across it, in mm, on the page.
  const at = (out, aside) => [
    CENTRE.x + scale * (out * Math.sin(along) + aside * Math.cos(along)),
    CENTRE.y - scale * (out * Math.cos(along) - aside * Math.sin(along)),
  ].map((value) => value.toFixed(1));
  const half = sizes.diameter / 2;
  return figure({ height: HEIGHT, part: "drawing", title, text: stanceText({ gap, tilt, sizes }, speech) },
    clearances(line, scale, speech),
    sizes.beam ? polygon("beam", [at(-sizes.below, -half), at(sizes.above, -half), at(sizes.above, half), at(-sizes.below, half)]) : [],
    s("line", { class: "sheet", x1: 6, x2: WIDTH - 6, y1: CENTRE.y, y2: CENTRE.y }),
    sizes.heads.map((name, index) => (name === "roller" || name === "counterRoller"
      ? roller(name, index ? 1 : -1, scale, speech)
      : head(at, index ? sizes.above : -sizes.below, index ? 1 : -1, sizes, speech.say(name), 10 / scale))),
    gap.nominal > 0 ? gapLine(at, sizes, half + 10 / scale, speech.measure(gap.nominal, "mm")) : [],
    sizes.degrees > 0 ? angle(along, speech.measure(sizes.degrees, "°")) : [],
    travel(speech), scaleBar(scale, speech),
  );
}

function sizesOf({ geometry, mounting, head: sensor, detector_class: { principle } }) {
  const gap = geometry.gap_mm.nominal;
  const rolls = sensor?.type === "roller";
  // Only sound and light have an emitter and a receiver; coils, electrodes and lasers are heads.
  const heads = rolls ? ["counterRoller", "roller"]
    : ["sound", "light"].includes(sensor?.type) ? ["emitter", "receiver"]
      : principle.endsWith("one-sided") ? ["head"] : ["head", "head"];
  return {
    heads,
    degrees: geometry.tilt_deg?.nominal ?? 0,
    known: mounting !== null,
    beam: heads.length === 2 && !rolls,
    below: mounting?.emitter_to_sheet_mm ?? gap / 2,
    above: mounting?.receiver_to_sheet_mm ?? gap / 2,
    diameter: rolls ? ROLLER : mounting?.body_diameter_mm ?? sensor?.length_mm ?? UNKNOWN.diameter,
    length: rolls ? ROLLER : mounting?.body_length_mm ?? UNKNOWN.length,
  };
}

function polygon(name, corners) {
  return s("polygon", { class: name, points: corners.map((corner) => corner.join(",")).join(" ") });
}

function head(at, face, way, { diameter, length, known }, name, aside) {
  const [half, rear] = [diameter / 2, face + way * length];
  const lip = [at(face, -half), at(face, half)];
  // The name stands beside the rear of the body, on the side to which it leans.
  const [x, y] = at(rear - way * length * 0.2, way * (half + aside));
  return [
    polygon(known ? "head" : "head unknown", [at(face, -half), at(face, half), at(rear, half), at(rear, -half)]),
    s("line", { class: "face", x1: lip[0][0], y1: lip[0][1], x2: lip[1][0], y2: lip[1][1] }),
    s("text", { x, y: Number(y) + 4, "text-anchor": way > 0 ? "start" : "end" }, name),
  ];
}

/** A roller that measures, above, and the one that it runs against, below: the sheet passes between them. */
function roller(name, way, scale, speech) {
  const radius = (ROLLER / 2) * scale;
  const y = CENTRE.y - way * (radius + 1.5);
  return [
    s("circle", { class: name === "roller" ? "head unknown" : "head unknown counter", cx: CENTRE.x, cy: y, r: radius }),
    s("circle", { class: "hub", cx: CENTRE.x, cy: y, r: 2.5 }),
    s("text", { x: CENTRE.x + radius + 8, y: y + 4 }, speech.say(name)),
  ];
}

function gapLine(at, { below, above }, aside, text) {
  const [from, to] = [at(-below, -aside), at(above, -aside)];
  const witness = [-below, above].map((out) => {
    const [a, b] = [at(out, -aside * 0.6), at(out, -aside * 1.15)];
    return s("line", { class: "witness", x1: a[0], y1: a[1], x2: b[0], y2: b[1] });
  });
  const [x, y] = at(0, -aside);
  return [
    witness,
    s("line", { class: "dimension", x1: from[0], y1: from[1], x2: to[0], y2: to[1] }),
    s("text", { class: "value", x: Number(x) - 7, y: Number(y) - 6, "text-anchor": "end" }, text),
  ];
}

/** The normal of the sheet, and the arc from it to the axis. */
function angle(along, text) {
  const radius = 100;
  const end = { x: CENTRE.x + radius * Math.sin(along), y: CENTRE.y - radius * Math.cos(along) };
  return [
    s("line", { class: "normal", x1: CENTRE.x, x2: CENTRE.x, y1: CENTRE.y - HALF_HEIGHT, y2: CENTRE.y + HALF_HEIGHT }),
    s("path", { class: "arc", d: `M${CENTRE.x} ${CENTRE.y - radius} A${radius} ${radius} 0 0 1 ${end.x} ${end.y}` }),
    s("text", { class: "value", x: CENTRE.x - 6, y: CENTRE.y - radius + 2, "text-anchor": "end" }, text),
  ];
}

/** The room that the machine leaves, as far as it is given: a dashed line where it ends, or words where that is far away. */
function clearances(line, scale, speech) {
  return [["clearance_above_mm", -1], ["clearance_below_mm", 1]].map(([name, way]) => {
    const free = line[name];
    if (free === undefined || free === null) return [];
    const y = CENTRE.y + way * Math.min(free * scale, HALF_HEIGHT);
    const told = speech.say("free", { free: speech.measure(free, "mm") });
    return [
      free * scale <= HALF_HEIGHT ? s("line", { class: "clearance", x1: 6, x2: WIDTH - 6, y1: y, y2: y }) : [],
      s("text", { class: "caption", x: way < 0 ? 6 : WIDTH - 6, y: way < 0 ? y + 15 : y - 5, "text-anchor": way < 0 ? "start" : "end" }, told),
    ];
  });
}

function travel(speech) {
  const y = HEIGHT - 8;
  return [
    s("text", { class: "caption", x: WIDTH - 62, y: y + 4, "text-anchor": "end" }, speech.say("travel")),
    s("line", { class: "dimension", x1: WIDTH - 56, x2: WIDTH - 12, y1: y, y2: y }),
    s("path", { class: "tip", d: `M${WIDTH - 6} ${y} l-8 -3 v6 z` }),
  ];
}

function scaleBar(scale, speech) {
  const mm = speech.system === "us" ? 25.4 : [50, 20, 10, 5].find((length) => length * scale <= 80) ?? 5;
  const y = HEIGHT - 8;
  return [
    s("path", { class: "scale-bar", d: `M6 ${y - 4} v8 m0 -4 h${mm * scale} m0 -4 v8` }),
    s("text", { class: "caption", x: 12 + mm * scale, y: y + 4 }, speech.measure(mm, "mm")),
  ];
}

function stanceText({ gap, tilt, sizes }, speech) {
  const range = ({ nominal, min, max }, name, unit) => ({
    [name]: speech.measure(nominal, unit),
    range: speech.range(min, max, unit),
  });
  return [
    gap.nominal > 0 ? speech.say("stanceText", range(gap, "gap", "mm")) : speech.say("stanceContact"),
    tilt?.nominal > 0 ? speech.say("stanceTilt", range(tilt, "tilt", "°")) : "",
    speech.say("toScale"), sizes.known ? "" : speech.say("sizeUnknown"),
  ].filter(Boolean).join(" ");
}
