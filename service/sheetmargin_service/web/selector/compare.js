// Set-ups on one scale, and two of them side by side.

import { percent } from "./chance.js";
import { h, s } from "./dom.js";
import { reserveOf } from "./reserve.js";

const TRACK_WIDTH = 160;
const DECADES = [-2, 3]; // from a hundredth of what is needed to a thousand times it

/** A reserve in words: multiples of what is needed, no less than it is where misreads are too rare to be resolved. */
export function multiples({ times, least }, speech) {
  return times < 0.01 ? `< ${speech.number(0.01, 2)}\u00a0×` : `${least ? "≥ " : ""}${speech.fine(times)}\u00a0×`;
}

/** Every set-up's reserve on one scale whatever it senses with. */
export function scaleOfReserves(recommendations, targets, speech, titleOf) {
  const [least, most] = DECADES;
  const x = (value) => 6 + ((Math.min(Math.max(Math.log10(value), least), most) - least) / (most - least)) * (TRACK_WIDTH - 12);
  return h("figure", { class: "reserves", part: "reserves" }, h("figcaption", {}, speech.say("reserveScale")),
    h("ol", {}, recommendations.map((recommendation) => {
      const reserve = reserveOf(recommendation, targets);
      const told = multiples(reserve, speech);
      return h("li", {}, h("span", {}, `${recommendation.rank} ${titleOf(recommendation.setups[0])}`),
        s("svg", { viewBox: `0 0 ${TRACK_WIDTH} 18`, width: TRACK_WIDTH, height: 18, role: "img", direction: "ltr", "aria-label": told },
          s("line", { class: "axis", x1: 6, x2: TRACK_WIDTH - 6, y1: 9, y2: 9 }),
          s("line", { class: "limit", x1: x(1), x2: x(1), y1: 1, y2: 17 }),
          Array.from({ length: most - least + 1 }, (_, i) => s("line", { class: "axis", x1: x(10 ** (least + i)), x2: x(10 ** (least + i)), y1: 6, y2: 12 })),
          s("rect", { class: reserve.times < 1 ? "point short" : "point", x: x(reserve.times) - 4, y: 5, width: 8, height: 8 })),
        h("b", { "aria-hidden": "true" }, told));
    })),
    h("p", { class: "hint" }, speech.say("reserveMeans")));
}

/** Two set-ups side by side; the visitor picks which. `rowsOf(recommendation)` gives label and value of each row. */
export function sideBySide(recommendations, speech, titleOf, rowsOf) {
  if (recommendations.length < 2) return null;
  const [first] = recommendations;
  const second = recommendations.find(({ setups }) => setups[0].detector_class.principle !== first.setups[0].detector_class.principle) ?? recommendations[1];
  const table = h("div", { class: "scroll" });
  const pick = (chosen, name) => h("select", { part: "select", "aria-label": speech.say(name), change: () => fill() },
    recommendations.map((one) => h("option", { value: one.rank, selected: one === chosen }, `${one.rank} ${titleOf(one.setups[0])}`)));
  const picks = [pick(first, "compareLeft"), pick(second, "compareRight")];
  const fill = () => {
    const two = picks.map((select) => recommendations.find(({ rank }) => String(rank) === select.value));
    const rows = two.map(rowsOf);
    const told = rows[0].map(([label], row) => [label, rows.map((own) => own[row][1])]).filter(([, own]) => own.some(Boolean));
    table.replaceChildren(h("table", {}, h("thead", {}, h("tr", {}, h("td", {}), two.map((one) => h("th", { scope: "col" }, `${one.rank} ${titleOf(one.setups[0])}`)))),
      h("tbody", {}, told.map(([label, own]) => h("tr", {}, h("th", { scope: "row" }, label), own.map((value) => h("td", {}, value ?? "\u2013")))))));
  };
  fill();
  return h("details", { class: "notes", part: "compare" }, h("summary", {}, speech.say("compare")), h("div", { class: "pair" }, picks), table);
}

/** Rows that two set-ups are compared by, beside those of the set-up itself. */
export function commonRows(recommendation, targets, speech) {
  return [
    [speech.say("verdictLabel"), speech.say(`verdict.${recommendation.verdict}`)],
    [speech.say("chance"), percent(recommendation.chance)],
    [speech.say("reserve"), multiples(reserveOf(recommendation, targets), speech)],
  ];
}
