// The answer as people read it: the verdict with its chance, what is not served, what to find out next, the set-ups on one
// scale and in order, each with its figures and reasons, then why not the others, what was assumed, what to be careful about.

import { chancePicture, mark, percent } from "./chance.js";
import { commonRows, multiples, scaleOfReserves, sideBySide } from "./compare.js";
import { h } from "./dom.js";
import { ladder } from "./ladder.js";
import { questions } from "./questions.js";
import { isFloored, reserveOf, targetsOf } from "./reserve.js";
import { scaleOf, stance } from "./stance.js";

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
  /**
   * `link(recommendation, setup)` is the set-up sheet's address, `choose(recommendation)` is called by the button,
   * `enter(pointer, text, value)` by a question's field; `before` is the chance before the last one was answered.
   */
  constructor({ answer, names, speech, link, choose, enter, labelOf, before = null }) {
    Object.assign(this, { answer, names, speech, link, choose, enter, labelOf, before });
    this.targets = targetsOf(answer);
    const setups = answer.recommendations.flatMap((one) => one.setups);
    this.scale = setups.length ? scaleOf(setups) : 1;
    this.titles = titles(setups);
  }

  nodes() {
    const { answer, speech } = this;
    const { recommendations } = answer;
    const none = recommendations.length === 0;
    this.heading = h("h2", { class: "verdict", part: "verdict", tabindex: "-1" }, speech.say(`verdict.${answer.verdict}`));
    this.preview = h("p", { class: "hint preview" });
    // Of a list that is served in part the chance is of that part: it stands with the set-up.
    this.chance = h("div", {}, none || recommendations[0].not_served.length ? null : chancePicture(recommendations[0].chance, speech, this.before));
    return [
      h("header", { class: `head-line ${answer.verdict}` }, mark(answer.verdict),
        h("div", {}, this.heading, h("p", {}, this.#sentence()), this.chance, this.preview),
        this.#notServed(recommendations[0]),
        h("p", { class: "understood" }, this.#understood())),
      none || answer.would_serve?.length ? this.#help(none) : null,
      questions(answer, { speech, labelOf: this.labelOf, enter: this.enter, preview: (finding, button) => this.#preview(finding, button) }),
      this.#notes("assumptions", answer.assumptions),
      recommendations.length > 1 ? scaleOfReserves(recommendations, this.targets, speech, (setup) => this.#title(setup)) : null,
      none ? null : h("section", { "aria-label": speech.say("setups") },
        h("ol", { class: "setups", part: "setups" }, recommendations.map((r, i) => h("li", {}, this.#recommendation(r, i === 0))))),
      sideBySide(recommendations, speech, (setup) => this.#title(setup), (one) => this.#rows(one)),
      this.#notes("trial", answer.trial),
      this.#whyNot("alternatives", answer.alternatives),
      this.#whyNot("ruled-out", answer.ruled_out, none),
      h("section", { class: "cautions", part: "cautions", "aria-label": speech.say("cautions") },
        h("h3", {}, speech.say("cautions")),
        h("ul", {}, answer.cautions.map(({ text }) => h("li", {}, text)))),
    ].filter((node) => node !== null);
  }

  /** One sentence for screen readers. */
  summary() {
    const { answer, speech } = this;
    const [best] = answer.recommendations;
    const verdict = [`${speech.say(`verdict.${answer.verdict}`)}.`, this.#sentence(), ...this.#notServedTexts(best)].join(" ");
    if (!best) return verdict;
    const [setup] = best.setups;
    return speech.say(answer.recommendations.length === 1 ? "summaryOne" : "summary", {
      verdict, n: answer.recommendations.length, name: this.#title(setup), gap: this.#gap(setup),
    });
  }

  /** A set-up as it was chosen, in words. */
  nameOf(recommendation) {
    return `${recommendation.rank}: ${this.#title(recommendation.setups[0])}`;
  }

  /** The verdict in a sentence, or what every class lacks that none was asked about the sheets at all. */
  #sentence() {
    const { answer, speech } = this;
    const [best] = answer.recommendations;
    if (best?.not_served.length) return speech.say("verdictLong.partly", best.serves);
    if (best) return speech.say(`verdictLong.${answer.verdict}`);
    const lacks = this.#lacks();
    if (!lacks.length) return speech.say("verdictLong.none");
    return speech.say("nothing", { lacks: lacks.map((one) => speech.say(`lacks.${one}`)).join(speech.say("and")) });
  }

  /** What all classes lack that were ruled out before sensing; empty where one was ruled out by what it senses. */
  #lacks() {
    const lacks = new Set(this.answer.ruled_out.map(({ code }) => BEFORE_SENSING[code]));
    return lacks.has(undefined) ? [] : ["required", "rated", "room"].filter((one) => lacks.has(one));
  }

  /** Where not all is served: what would help, as computed or else as is known of such cases, and the shop's contact. */
  #help(none) {
    const { speech, answer } = this;
    const lacks = this.#lacks();
    const computed = (answer.would_serve ?? []).map(({ text }) => text);
    const known = none && !computed.length ? (lacks.length ? lacks : ["sensing"]).map((one) => speech.say(`helps.${one}`)) : [];
    return h("section", { class: "help", part: "help", "aria-label": speech.say("help") }, h("h3", {}, speech.say("help")),
      h("ul", {}, [...computed, ...known].map((text) => h("li", {}, text))),
      h("slot", { name: "contact" }));
  }

  #notServedTexts(recommendation) {
    return (recommendation?.not_served ?? []).map(({ index, text }) => `${this.speech.say("notServed", { sheet: this.#sheet(index) })} ${text}`);
  }

  /** What a recommendation does not serve; null where it serves all. */
  #notServed(recommendation) {
    const texts = this.#notServedTexts(recommendation);
    return texts.length ? h("ul", { class: "not-served", part: "not-served" }, texts.map((text) => h("li", {}, text))) : null;
  }

  /** The chance that one of the findings would give, in the place of today's. */
  #preview({ chance, verdict }, button) {
    const { speech, answer } = this;
    const before = answer.recommendations[0]?.chance ?? 0;
    this.chance.replaceChildren(chancePicture(chance, speech, before));
    this.preview.textContent = speech.say("ifSo", { finding: button.firstChild.textContent, verdict: speech.say(`verdict.${verdict}`) });
    for (const other of button.parentNode.children) other.setAttribute("aria-pressed", String(other === button));
  }

  /** What makes a verdict worse than its chance; null where the chance decides. */
  #limit({ limited_by: code, reasons }) {
    const why = reasons.find((reason) => reason.code === code);
    return why ? h("p", { class: "limited", part: "limited" }, why.text) : null;
  }

  #changeovers({ setups, changeovers }) {
    if (setups.length < 2) return null;
    const counts = Object.entries(changeovers).filter(([, n]) => n > 0).map(([what, n]) => this.speech.say(`changeover.${what}`, { n }));
    return h("p", { class: "changeovers", part: "changeovers" }, `${this.speech.say("changeovers")} ${counts.join(", ")}`);
  }

  #understood() {
    const { answer, names, speech } = this;
    return answer.sheets.map((sheet) => speech.sheet(names[sheet.index], sheet)).join("; ");
  }

  #recommendation(recommendation, open) {
    const { speech } = this;
    const [setup] = recommendation.setups;
    const button = h("button", { type: "button", class: "choose", part: "choose", "data-rank": recommendation.rank,
      click: () => this.choose(recommendation) }, speech.say("choose"), h("span", { class: "aside" }, ` ${recommendation.rank}`));
    return h("details", { class: "setup", part: "setup", open },
      h("summary", { part: "summary" },
        h("span", { class: "rank", "aria-hidden": "true" }, String(recommendation.rank)),
        h("h3", {}, h("span", { class: "aside" }, `${speech.say("rank", { n: recommendation.rank })}: `), this.#title(setup)),
        h("span", { class: `word ${recommendation.verdict}` }, `${speech.say(`verdict.${recommendation.verdict}`)}, ${percent(recommendation.chance)}`,
          recommendation.not_served.length ? ` ${speech.say("serves", recommendation.serves)}` : null),
        h("span", { class: "glance" },
          [`${speech.say("gap")} ${this.#gap(setup)}`,
            setup.geometry.tilt_deg && `${speech.say("tilt")} ${this.#tilt(setup)}`,
            `${speech.say("reserve")} ${multiples(reserveOf(recommendation, this.targets), speech)}`].filter(Boolean).join(" · "))),
      open ? null : this.#notServed(recommendation),
      this.#limit(recommendation),
      h("p", { class: "act" }, button, recommendation.setups.map((s) =>
        h("a", { href: this.link(recommendation, s), target: "_blank", rel: "noopener", part: "link" },
          speech.say("sheetLink"), recommendation.setups.length > 1 ? ` ${s.index + 1}` : null,
          h("span", { class: "aside" }, ` ${speech.say("opensNew")}`)))),
      this.#changeovers(recommendation),
      recommendation.setups.map((s) => this.#setup(s, recommendation)),
      h("h4", {}, speech.say("why")),
      h("ul", { class: "reasons", part: "reasons" },
        recommendation.reasons.map((reason) => h("li", {}, reason.text,
          reason.source ? h("small", {}, ` ${speech.say("source", { source: reason.source })}`) : null))));
  }

  /** Label and value of what is set and expected of a set-up; null where it does not apply. */
  #facts(setup, recommendation) {
    const { speech } = this;
    const { geometry: { gap_mm: gap, tilt_deg: tilt }, profile: { band, hold_ms: hold }, timing, mounting } = setup;
    const served = recommendation.sheets.filter((sheet) => sheet.setup === setup.index);
    return [
      ["gap", `${this.#gap(setup)}${this.#range(gap, "mm")}`],
      ["tilt", tilt && `${this.#tilt(setup)}${this.#range(tilt, "°")}`],
      ["band", speech.range(band.low, band.high, band.unit)],
      ["hold", hold === null ? null : speech.measure(hold, "ms")],
      ["speedMax", timing?.fits === false && timing.speed_max_m_per_min !== null ? speech.measure(timing.speed_max_m_per_min, "m/min") : null],
      ["height", mounting && speech.measure(mounting.height_mm, "mm")],
      ["missedDoubles", this.#misreads(served, "double_as_single")],
      ["falseStops", this.#misreads(served, "single_as_double")],
    ].map(([name, value]) => [speech.say(name), value]);
  }

  #rows(recommendation) {
    return [...commonRows(recommendation, this.targets, this.speech), ...this.#facts(recommendation.setups[0], recommendation)];
  }

  #setup(setup, recommendation) {
    const { answer, speech } = this;
    const band = [setup.profile.band.low, setup.profile.band.high];
    const served = recommendation.sheets.filter((sheet) => sheet.setup === setup.index);
    const facts = this.#facts(setup, recommendation).filter(([, value]) => value !== null);
    const clock = (setup.timing?.notes ?? []).filter(({ code }) => code !== "not-given");
    const list = this.names.length > 1;
    const same = recommendation.setups.slice(0, recommendation.setups.indexOf(setup)).find((other) => mounted(other) === mounted(setup));
    const { id, illustrative } = setup.detector_class;
    const title = speech.say("stance");
    const roller = setup.head?.type === "roller";
    return h("div", { class: "setup-body" },
      list ? h("h4", {}, `${setup.index + 1}: ${this.#title(setup)}, ${setup.sheets.map((index) => this.#sheet(index)).join(", ")}`) : null,
      h("p", { class: "hint" }, illustrative ? `${id}: ${speech.say("illustrative")}` : id),
      same ? h("p", {}, speech.say("stanceSame", { n: same.index + 1 })) : null,
      clock.length ? h("ul", { class: "hint", part: "clock" }, clock.map(({ text }) => h("li", {}, text))) : null,
      h("dl", { class: "facts", part: "facts" }, facts.map(([name, value]) => h("div", {}, h("dt", {}, name), h("dd", {}, value)))),
      h("div", { class: "figures", part: "figures" },
        same ? null : h("figure", {}, h("figcaption", {}, title), stance(setup, title, speech, this.scale, answer.job.line),
          setup.mounting && !roller ? null : h("p", { class: "hint" }, speech.say("sizeUnknown"))),
        served.map(({ index, signal, margin }) => {
          const name = list ? speech.say("ladderOf", { sheet: this.#sheet(index) }) : speech.say("ladder");
          return h("figure", {}, h("figcaption", {}, name), ladder({ signal, margin, band }, name, speech));
        })));
  }

  #title({ detector_class: { id } }) {
    return this.titles.get(id);
  }

  #gap({ geometry }) {
    const { nominal } = geometry.gap_mm;
    return nominal > 0 ? this.speech.measure(nominal, "mm") : this.speech.say("contact");
  }

  #tilt({ geometry }) {
    return this.speech.measure(geometry.tilt_deg.nominal, "°");
  }

  #range({ min, max }, unit) {
    return min === max ? "" : ` (${this.speech.range(min, max, unit)})`;
  }

  /** The worst sheet's misreads of a kind; null until the service computes them. */
  #misreads(sheets, kind) {
    const [worst] = sheets.map((sheet) => sheet.misread_ppm[kind]).filter((m) => m.estimate !== null).sort((a, b) => b.estimate - a.estimate || b.high - a.high);
    if (!worst) return null;
    // Half of such jobs may be at the floor where a few are far above it.
    return isFloored(worst) ? this.speech.say("perMillionBelow", { n: this.speech.fine(worst.estimate) }) : this.speech.rates(worst);
  }

  #sheet(index) {
    return this.names.length > 1 ? `${this.speech.say("sheet", { n: index + 1 })} (${this.names[index]})` : this.names[index];
  }

  #notes(name, notes) {
    if (notes.length === 0) return null;
    return h("details", { class: "notes", part: name },
      h("summary", {}, this.speech.say(name, { n: notes.length })),
      h("ul", {}, notes.map(({ text, source }) => h("li", {}, text, source ? h("small", {}, ` ${this.speech.say("source", { source })}`) : null))));
  }

  /** Why not the other classes: each reason once, with the classes that it holds for. */
  #whyNot(name, notes, open = false) {
    if (notes.length === 0) return null;
    const classes = grouped(notes);
    return h("details", { class: "notes", part: name, open },
      h("summary", {}, this.speech.say(name, { n: notes.length })),
      h("ul", {}, [...classes].map(([text, own]) => h("li", {}, h("b", {}, `${own.map(({ detector_class: id }) => id).join(", ")}: `), text))));
  }
}

/** What of a set-up a drawing shows. */
const mounted = ({ detector_class: { id }, geometry: { gap_mm: gap, tilt_deg: tilt } }) => `${id} ${gap.nominal} ${tilt?.nominal}`;

function grouped(notes) {
  const found = new Map();
  for (const note of notes) found.set(note.text, [...(found.get(note.text) ?? []), note]);
  return found;
}

/** A title for each class, its name; the id beside it where two have the same. */
function titles(setups) {
  const classes = new Map(setups.map(({ detector_class: { id, name = id } }) => [id, name[0].toUpperCase() + name.slice(1)]));
  const all = [...classes.values()];
  return new Map([...classes].map(([id, title]) => [id, all.filter((other) => other === title).length > 1 ? `${title} (${id})` : title]));
}
