// The verdict's mark and the chance as a picture. The mark is a sheet: whole, half of it open, or an outline that another
// crosses; its shape tells, colour only helps.

import { h, s } from "./dom.js";

const PICTURE_WIDTH = 220;
const PICTURE_HEIGHT = 26;
const SUITABLE_FROM = 0.95; // the contract's own limits of the three verdicts
const TRIAL_FROM = 0.05;

/** A chance in whole per cent, never more certain than it is told. */
export function percent(chance) {
  const whole = Math.round(100 * chance);
  return whole > 99 ? "> 99\u00a0%" : whole < 1 ? "< 1\u00a0%" : `${whole}\u00a0%`;
}

/** The mark of a verdict; words stand beside it. */
export function mark(verdict) {
  const outline = "M4 10 h26 l10 10 v24 h-36 z";
  const parts = {
    suitable: [s("path", { class: "full", d: outline })],
    "trial-needed": [s("path", { class: "open", d: outline }), s("path", { class: "full", d: "M4 27 h36 v17 h-36 z" })],
    unsuitable: [s("path", { class: "open", d: outline }), s("path", { class: "open", d: "M0 48 L44 6" })],
  }[verdict];
  return s("svg", { viewBox: "-2 4 48 46", width: 44, height: 42, class: `mark ${verdict}`, "aria-hidden": "true" }, parts);
}

/** The chance as a picture: how far it reaches, and where the verdicts begin. `before` is what it was. */
export function chancePicture(chance, speech, before = null) {
  const x = (value) => 2 + value * (PICTURE_WIDTH - 4);
  const limit = (value) => s("line", { class: "limit", x1: x(value), x2: x(value), y1: 2, y2: PICTURE_HEIGHT - 2 });
  return h("div", { class: "chance", part: "chance" },
    s("svg", { viewBox: `0 0 ${PICTURE_WIDTH} ${PICTURE_HEIGHT}`, width: PICTURE_WIDTH, height: PICTURE_HEIGHT, role: "img", direction: "ltr",
      "aria-label": speech.say("chanceOf", { chance: percent(chance) }) },
    s("rect", { class: "track", x: x(0), y: 7, width: x(1) - x(0), height: 12 }),
    s("rect", { class: "reach", x: x(0), y: 7, width: Math.max(x(chance) - x(0), 1), height: 12 }),
    limit(TRIAL_FROM), limit(SUITABLE_FROM),
    before === null ? [] : s("path", { class: "before", d: `M${x(before)} 24 l-5 -7 h10 z` })),
    h("b", {}, percent(chance)),
    h("span", { class: "hint" }, before === null ? speech.say("chance") : speech.say("chanceWas", { before: percent(before) })));
}
