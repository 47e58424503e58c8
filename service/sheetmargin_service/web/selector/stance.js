// How the pair stands: the sheet, the two heads on their axis, the gap between their faces and the tilt against the
// sheet's normal. Angles are true. Lengths are to scale where the answer tells the heads' size, and a scheme otherwise.

import { newId, s } from "./dom.js";
import { HEIGHT, WIDTH } from "./ladder.js";

const CENTRE = { x: 160, y: 134 };
const SCHEME = { gap: 104, diameter: 34, length: 52 };
const HALF_HEIGHT = 124;
const LEAST_SCALE = 0.6;

/** The pair of a set-up as SVG. */
export function stance(setup, title, speech) {
  const { gap_mm: gap, tilt_deg: tilt } = setup.geometry;
  const degrees = tilt?.nominal ?? 0;
  const sizes = sizesOf(setup);
  const along = (degrees * Math.PI) / 180;
  // A point `out` along the axis (up is positive) and `aside` across it, on the page.
  const at = (out, aside) => [
    (CENTRE.x + out * Math.sin(along) + aside * Math.cos(along)).toFixed(1),
    (CENTRE.y - out * Math.cos(along) + aside * Math.sin(along)).toFixed(1),
  ];
  const half = sizes.diameter / 2;
  const ids = { title: newId("stance"), desc: newId("stance") };
  const roles = setup.order_items.map((line) => line.role);
  const paired = roles.includes("emitter") && roles.includes("receiver");
  const heads = paired ? ["emitter", "receiver"] : ["head", "head"];
  return s(
    "svg",
    { viewBox: `0 0 ${WIDTH} ${HEIGHT}`, width: WIDTH, height: HEIGHT, role: "img", direction: "ltr", part: "drawing",
      class: "figure", "aria-labelledby": `${ids.title} ${ids.desc}` },
    s("title", { id: ids.title }, title),
    s("desc", { id: ids.desc }, stanceText({ gap, tilt, scheme: sizes.scheme }, speech)),
    beam(at, sizes, half),
    s("line", { class: "sheet", x1: 6, x2: WIDTH - 6, y1: CENTRE.y, y2: CENTRE.y }),
    s("path", { class: "tip", d: `M${WIDTH - 6} ${CENTRE.y + 12} l-8 -3 v6 z` }),
    s("line", { class: "dimension", x1: WIDTH - 58, x2: WIDTH - 14, y1: CENTRE.y + 12, y2: CENTRE.y + 12 }),
    s("text", { class: "caption", x: WIDTH - 58, y: CENTRE.y + 27 }, speech.say("travel")),
    head(at, -sizes.below, -sizes.below - sizes.length, half, speech.say(heads[0])),
    gap.nominal > 0 || paired ? head(at, sizes.above, sizes.above + sizes.length, half, speech.say(heads[1])) : [],
    gap.nominal > 0 ? gapLine(at, sizes, half, speech.measure(gap.nominal, "mm")) : [],
    degrees > 0 ? angle(degrees, along, speech.measure(degrees, "°")) : [],
    sizes.scheme ? s("text", { class: "caption", x: 6, y: HEIGHT - 4 }, speech.say("scheme")) : [],
  );
}

function sizesOf({ geometry, mounting }) {
  const gap = geometry.gap_mm.nominal;
  if (mounting) {
    const body = mounting.body_length_mm;
    const scale = HALF_HEIGHT / (Math.max(mounting.emitter_to_sheet_mm, mounting.receiver_to_sheet_mm) + body);
    if (scale * mounting.body_diameter_mm >= 10 && scale >= LEAST_SCALE) {
      return {
        scheme: false,
        below: mounting.emitter_to_sheet_mm * scale,
        above: mounting.receiver_to_sheet_mm * scale,
        diameter: mounting.body_diameter_mm * scale,
        length: body * scale,
      };
    }
  }
  const half = gap > 0 ? SCHEME.gap / 2 : 2;
  return { scheme: true, below: half, above: half, diameter: SCHEME.diameter, length: SCHEME.length };
}

function beam(at, { below, above }, half) {
  const corners = [at(-below, -half), at(above, -half), at(above, half), at(-below, half)];
  return s("polygon", { class: "beam", points: corners.map((c) => c.join(",")).join(" ") });
}

function head(at, face, rear, half, name) {
  const corners = [at(face, -half), at(face, half), at(rear, half), at(rear, -half)];
  const lip = [at(face, -half), at(face, half)];
  // The name stands beside the body, where no tilt up to 45 degrees puts anything else.
  const below = rear < face;
  const [x, y] = at((face + rear) / 2, below ? -half - 6 : half + 6);
  return [
    s("polygon", { class: "head", points: corners.map((c) => c.join(",")).join(" ") }),
    s("line", { class: "face", x1: lip[0][0], y1: lip[0][1], x2: lip[1][0], y2: lip[1][1] }),
    s("text", { class: "name", x, y: Number(y) + 4, "text-anchor": below ? "end" : "start" }, name),
  ];
}

function gapLine(at, { below, above }, half, text) {
  const aside = -half - 16;
  const [from, to] = [at(-below, aside), at(above, aside)];
  const witness = [-below, above].map((out) => {
    const [a, b] = [at(out, -half - 3), at(out, aside - 4)];
    return s("line", { class: "witness", x1: a[0], y1: a[1], x2: b[0], y2: b[1] });
  });
  const [x, y] = at(above * 0.55, aside - 6);
  return [
    witness,
    s("line", { class: "dimension", x1: from[0], y1: from[1], x2: to[0], y2: to[1] }),
    s("text", { class: "value", x, y, "text-anchor": "end" }, text),
  ];
}

/** The normal of the sheet, and the arc from it to the axis. */
function angle(degrees, along, text) {
  const radius = 96;
  const end = { x: CENTRE.x + radius * Math.sin(along), y: CENTRE.y - radius * Math.cos(along) };
  const label = along / 2;
  return [
    s("line", { class: "normal", x1: CENTRE.x, x2: CENTRE.x, y1: CENTRE.y - 118, y2: CENTRE.y + 118 }),
    s("path", { class: "arc", d: `M${CENTRE.x} ${CENTRE.y - radius} A${radius} ${radius} 0 0 1 ${end.x} ${end.y}` }),
    s("text", { class: "value halo", x: CENTRE.x - 5, y: CENTRE.y - radius - 4, "text-anchor": "end" }, text),
  ];
}

function stanceText({ gap, tilt, scheme }, speech) {
  const window = ({ nominal, min, max }, name, unit) => ({
    [name]: speech.measure(nominal, unit),
    low: speech.number(min),
    high: speech.measure(max, unit),
  });
  return [
    gap.nominal > 0 ? speech.say("stanceText", window(gap, "gap", "mm")) : speech.say("stanceContact"),
    tilt?.nominal > 0 ? speech.say("stanceTilt", window(tilt, "tilt", "°")) : speech.say("stanceSquare"),
    scheme ? speech.say("scheme") : "",
  ].join(" ");
}
