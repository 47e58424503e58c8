// What to find out next: questions that the visitor can answer beside the answer, and what each would change.

import { percent } from "./chance.js";
import { h } from "./dom.js";
import { NumberField } from "./form.js";
import { MACHINE, TIMING, symbolOf, toApi, unitOf } from "./sizes.js";

/**
 * The questions of an answer: those that would move the chance, then what the line's times lack once its speed is known.
 * `enter(pointer, text, value)` takes an answer, `preview(finding)` shows the chance that one of the findings would give.
 */
export function questions(answer, { speech, labelOf, enter, preview }) {
  const found = answer.find_out ?? [];
  const asked = new Set(found.flatMap(({ pointers }) => pointers));
  const timing = answer.job.line?.speed_m_per_min ? TIMING.filter((pointer) => isMissing(answer, pointer) && !asked.has(pointer)) : [];
  if (found.length + timing.length === 0) return null;
  const field = (pointer, unit, label) => {
    const quantity = MACHINE.find(([known]) => known === pointer)?.[1];
    const one = new NumberField({ speech, label, on: "change", signed: quantity === "temperature" || quantity === undefined,
      unit: quantity ? unitOf(quantity, speech.system) : symbolOf(unit ?? ""),
      changed: (value) => value === null || Number.isNaN(value) || enter(pointer, one.input.value, quantity ? toApi(quantity, speech.system, value) : value) });
    one.input.dataset.pointer = pointer;
    return one.root;
  };
  return h("section", { class: "questions", part: "find-out", "aria-label": speech.say("findOut") },
    h("h3", {}, speech.say("findOut")),
    h("ol", {}, found.map((one) => h("li", {}, h("p", {}, one.text),
      h("div", { class: "findings" }, one.findings.map((finding) => h("button", { type: "button", class: "quiet", part: "finding",
        click: (event) => preview(finding, event.currentTarget) }, h("span", {}, range(finding, one.unit, speech)), ": ",
      h("b", {}, percent(finding.chance)), h("span", {}, `, ${speech.say(`verdict.${finding.verdict}`)}`)))),
      one.unit ? one.pointers.slice(0, 1).map((pointer) => field(pointer, one.unit, speech.say("yours"))) : null)),
    timing.length ? h("li", {}, h("p", {}, speech.say("timing")),
      h("div", { class: "grid" }, timing.map((pointer) => field(pointer, null, labelOf(pointer))))) : null));
}

function isMissing({ recommendations: [best] }, pointer) {
  return (best?.setups ?? []).some(({ timing }) => timing?.notes.some(({ code, values }) => code === "not-given" && values.pointer === pointer));
}

function range({ answer, low, high }, unit, speech) {
  if (answer) return speech.say(`answer.${answer}`);
  if (low === null) return speech.say("below", { high: speech.measure(high, unit) });
  if (high === null) return speech.say("above", { low: speech.measure(low, unit) });
  return speech.range(low, high, unit);
}
