// The answer as people read it: the verdict in words, the set-ups in order, each with its figures and reasons, then what
// was assumed, what was ruled out, and what to be careful about.

import { h } from "./dom.js";
import { ladder } from "./ladder.js";
import { stance } from "./stance.js";

/** What a class lacks, by the code of the reason, that is ruled out before it is asked about a sheet. */
const BEFORE_SENSING = {
  "requirement-missed": "required",
  "outside-rating": "rated",
  "no-room-for-head": "room",
  "no-room-for-face": "room",
  "no-room-beside": "room",
  "no-room-for-support": "room",
  "nothing-to-run-on": "room",
  "does-not-fit": "room",
};

/** Order lines of a recommendation, each with the class it belongs to. */
export function orderLines(recommendation) {
  return recommendation.setups.flatMap((setup) =>
    setup.order_items.map((line) => ({ ...line, setup: setup.index, detector_class: setup.detector_class.id })));
}

export class AnswerView {
  /** `link(recommendation, setup)` is the set-up sheet's address, `choose(recommendation)` is called by the button. */
  constructor({ answer, names, speech, link, choose }) {
    Object.assign(this, { answer, names, speech, link, choose });
  }

  nodes() {
    const { answer, speech } = this;
    const word = this.#verdict();
    this.heading = h("h2", { class: "verdict", part: "verdict", tabindex: "-1" }, this.#headline());
    return [
      h("header", { class: `head-line ${answer.verdict}` }, this.heading,
        h("p", {}, speech.say(`verdictLong.${word}`, this.#figures(answer.recommendations[0]))),
        this.#notServed(answer.recommendations[0]),
        h("p", { class: "understood" }, `${speech.say("understood")} ${this.#understood()}`)),
      answer.recommendations.length
        ? h("section", { "aria-label": speech.say("answer") },
            h("ol", { class: "setups", part: "setups" }, answer.recommendations.map((r, i) => h("li", {}, this.#recommendation(r, i === 0)))))
        : null,
      this.#notes("trial", answer.trial, answer.recommendations.length === 0),
      this.#notes("assumptions", answer.assumptions),
      this.#notes("alternatives", answer.alternatives),
      this.#notes("ruled-out", answer.ruled_out, answer.recommendations.length === 0),
      h("section", { class: "cautions", part: "cautions", "aria-label": speech.say("cautions") },
        h("h3", {}, speech.say("cautions")),
        h("ul", {}, answer.cautions.map(({ text }) => h("li", {}, text)))),
    ].filter((node) => node !== null);
  }

  /** One sentence for screen readers. */
  summary() {
    const { answer, speech } = this;
    const [best] = answer.recommendations;
    const verdict = [this.#headline(), ...this.#notServedTexts(best)].join(" ");
    if (!best) return verdict;
    const [setup] = best.setups;
    return speech.say(answer.recommendations.length === 1 ? "summaryOne" : "summary", {
      verdict,
      n: answer.recommendations.length,
      name: this.#name(setup),
      gap: this.#gap(setup),
      margin: this.#least(best),
    });
  }

  /** The verdict in words, or what every class lacks that none was asked about the sheets at all. */
  #headline() {
    const { answer, speech } = this;
    const lacks = new Set(answer.ruled_out.map(({ code }) => BEFORE_SENSING[code]));
    if (answer.recommendations.length || !lacks.size || lacks.has(undefined)) return speech.say(`verdict.${this.#verdict()}`);
    const order = ["required", "rated", "room"].filter((one) => lacks.has(one));
    return speech.say("nothing", { lacks: order.map((one) => speech.say(`lacks.${one}`)).join(speech.say("and")) });
  }

  /** The key of the verdict's words: a list of which the best set-ups serve a part has words of its own. */
  #verdict() {
    return this.answer.recommendations[0]?.not_served.length ? "partly" : this.answer.verdict;
  }

  #notServedTexts(recommendation) {
    return (recommendation?.not_served ?? []).map(({ index, text }) => `${this.speech.say("notServed", { sheet: this.#sheet(index) })} ${text}`);
  }

  /** What a recommendation does not serve; null where it serves all. */
  #notServed(recommendation) {
    const texts = this.#notServedTexts(recommendation);
    return texts.length ? h("ul", { class: "not-served", part: "not-served" }, texts.map((text) => h("li", {}, text))) : null;
  }

  #changeovers({ setups, changeovers }) {
    if (setups.length < 2) return null;
    const counts = Object.entries(changeovers).filter(([, n]) => n > 0).map(([what, n]) => this.speech.say(`changeover.${what}`, { n }));
    return h("p", { class: "changeovers", part: "changeovers" }, `${this.speech.say("changeovers")} ${counts.join(", ")}`);
  }

  #understood() {
    const { answer, names, speech } = this;
    const sheets = answer.sheets.map((sheet) =>
      `${names[sheet.index]} ${speech.measure(sheet.grammage_gsm, "g/m²")}, ${speech.measure(sheet.thickness_um, "um")}`);
    return `${sheets.join("; ")}.`;
  }

  /** What the words of a verdict may tell of a recommendation. */
  #figures(recommendation) {
    return recommendation && { ...recommendation.serves, chance: this.#chance(recommendation) };
  }

  /** A chance in whole per cent, never more certain than it is told. */
  #chance({ chance }) {
    const whole = Math.round(100 * chance);
    return whole > 99 ? "> 99 %" : whole < 1 ? "< 1 %" : `${whole} %`;
  }

  #recommendation(recommendation, open) {
    const { speech } = this;
    const [setup] = recommendation.setups;
    const button = h("button", { type: "button", class: "choose", part: "choose", click: () => this.choose(recommendation) },
      speech.say("choose"), h("span", { class: "aside" }, ` ${recommendation.rank}`));
    return h("details", { class: "setup", part: "setup", open },
      h("summary", { part: "summary" },
        h("span", { class: "rank", "aria-hidden": "true" }, String(recommendation.rank)),
        h("h3", {}, h("span", { class: "aside" }, `${speech.say("rank", { n: recommendation.rank })}: `), this.#name(setup)),
        h("span", { class: `word ${recommendation.verdict}` }, speech.say(`verdictShort.${recommendation.verdict}`), `, ${this.#chance(recommendation)}`,
          recommendation.not_served.length ? ` ${speech.say("serves", recommendation.serves)}` : null),
        h("span", { class: "glance" },
          [`${speech.say("gap")} ${this.#gap(setup)}`,
            setup.geometry.tilt_deg && `${speech.say("tilt")} ${this.#tilt(setup)}`,
            `${speech.say("margin")} ${this.#least(recommendation)}`].filter(Boolean).join(" · "))),
      this.#notServed(recommendation),
      h("p", { class: "act" }, button, recommendation.setups.map((s) =>
        h("a", { href: this.link(recommendation, s), target: "_blank", rel: "noopener", part: "link" },
          speech.say("sheetLink"), recommendation.setups.length > 1 ? ` ${s.index + 1}` : null,
          h("span", { class: "aside" }, ` ${speech.say("opensNew")}`)))),
      this.#changeovers(recommendation),
      recommendation.setups.map((s) => this.#setup(s, recommendation)),
      h("h4", {}, speech.say("why")),
      h("ul", { class: "reasons", part: "reasons" },
        recommendation.reasons.map((reason) => h("li", {}, this.#reason(reason),
          reason.source ? h("small", {}, ` ${speech.say("source", { source: reason.source })}`) : null))));
  }

  #setup(setup, recommendation) {
    const { speech } = this;
    const band = [setup.profile.band.low, setup.profile.band.high];
    const served = recommendation.sheets.filter((sheet) => sheet.setup === setup.index);
    const unit = served[0]?.signal.unit ?? "";
    const { timing } = setup;
    const facts = [
      ["gap", `${this.#gap(setup)}${this.#window(setup.geometry.gap_mm, "mm")}`],
      ["tilt", setup.geometry.tilt_deg && `${this.#tilt(setup)}${this.#window(setup.geometry.tilt_deg, "°")}`],
      ["band", `${speech.say("from", { low: speech.number(band[0]), high: speech.measure(band[1], unit) })}`],
      ["hold", setup.profile.hold_ms === null ? null : speech.measure(setup.profile.hold_ms, "ms")],
      ["speedMax", timing?.fits === false && timing.speed_max_m_per_min !== null ? speech.measure(timing.speed_max_m_per_min, "m/min") : null],
      ["missedDoubles", this.#misreads(served, "double_as_single")],
      ["falseStops", this.#misreads(served, "single_as_double")],
    ].filter(([, value]) => value !== null);
    const clock = (timing?.notes ?? []).filter(({ code }) => code !== "not-given");
    const list = this.names.length > 1;
    const { id, illustrative } = setup.detector_class;
    return h("div", { class: "setup-body" },
      list ? h("h4", {}, `${setup.index + 1}: ${this.#name(setup)}, ${setup.sheets.map((index) => this.#sheet(index)).join(", ")}`) : null,
      h("p", { class: "hint" }, illustrative ? `${id}: ${speech.say("illustrative")}` : id),
      clock.length ? h("ul", { class: "hint", part: "clock" }, clock.map(({ text }) => h("li", {}, text))) : null,
      h("dl", { class: "facts", part: "facts" }, facts.map(([name, value]) => h("div", {}, h("dt", {}, speech.say(name)), h("dd", {}, value)))),
      h("div", { class: "figures", part: "figures" },
        h("figure", {}, h("figcaption", {}, speech.say("stance")), stance(setup, speech.say("stance"), speech)),
        served.map(({ index, signal, margin }) => {
          const title = this.names.length > 1 ? speech.say("ladderOf", { sheet: this.#sheet(index) }) : speech.say("ladder");
          return h("figure", {}, h("figcaption", {}, title), ladder({ signal, margin, band }, title, speech));
        })));
  }

  #name({ detector_class: c }) {
    const principle = this.speech.say(`principle.${c.principle}`);
    return c.frequency_khz === null ? principle : `${principle}, ${this.speech.measure(c.frequency_khz, "kHz")}`;
  }

  #gap({ geometry }) {
    const { nominal } = geometry.gap_mm;
    return nominal > 0 ? this.speech.measure(nominal, "mm") : this.speech.say("contact");
  }

  #tilt({ geometry }) {
    return geometry.tilt_deg?.nominal > 0 ? this.speech.measure(geometry.tilt_deg.nominal, "°") : this.speech.say("square");
  }

  #window({ min, max }, unit) {
    return min === max ? "" : ` (${this.speech.say("from", { low: this.speech.number(min), high: this.speech.measure(max, unit) })})`;
  }

  /** The worst sheet's misreads of a kind; null until the service computes them. */
  #misreads(sheets, kind) {
    const [worst] = sheets.map((sheet) => sheet.misread_ppm[kind]).filter((m) => m.estimate !== null).sort((a, b) => b.estimate - a.estimate || b.high - a.high);
    if (!worst) return null;
    const [estimate, low, high] = [worst.estimate, worst.low, worst.high].map((value) => this.speech.fine(value));
    // Half of such jobs may be at the floor where a few are far above it.
    const below = worst.floored && worst.high === worst.estimate;
    return this.speech.say(below ? "perMillionBelow" : "perMillion", { estimate, low, high });
  }

  #least(recommendation) {
    const least = recommendation.sheets.flatMap((sheet) => Object.values(sheet.margin).map((margin) => [margin, sheet.signal.unit]));
    const [margin, unit] = least.sort((a, b) => a[0] - b[0])[0];
    return this.speech.measure(margin, unit);
  }

  #sheet(index) {
    const { speech, names } = this;
    return `${speech.say("sheet", { n: index + 1 })} (${names[index]})`;
  }

  /** The service counts sheets from 0 and names states by their codes; here both have names. */
  #reason({ code, text, values }) {
    if (code !== "limiting-margin") return text;
    return this.speech.say("limiting", {
      margin: this.speech.measure(values.margin, values.unit),
      state: this.speech.say(`stateWithin.${values.state}`),
      sheet: this.#sheet(values.sheet),
    });
  }

  #notes(name, notes, open = false) {
    if (notes.length === 0) return null;
    return h("details", { class: "notes", part: name, open },
      h("summary", {}, this.speech.say(name, { n: notes.length })),
      h("ul", {}, notes.map(({ text, source, detector_class: id }) => h("li", {},
        id ? h("b", {}, `${id}: `) : null, text, source ? h("small", {}, ` ${this.speech.say("source", { source })}`) : null))));
  }
}
