// The element: the form, the answer under it, and what happens between them.

import { AnswerView, orderLines } from "./answer.js";
import { h } from "./dom.js";
import { Form } from "./form.js";
import { jobOf, packed, requestFor, sheetLink, unpacked } from "./question.js";
import { Service } from "./service.js";
import { Speech, addWords } from "./words.js";

const NAME = "sheet-selector";
const SCHEMA = "sheet-selector/1";
const VERSION = "__VERSION__";
const STYLE = "__STYLE__";

const ASK_PAUSE_MS = 350;
const BUSY_AFTER_MS = 400;
const RETRY_S = 5;
const LONGEST_RETRY_S = 60;
const MOST_RETRIES = 3;

/** The language tag of the nearest ancestor that has one, out of shadow trees too. */
function nearestLanguage(element) {
  for (let node = element; node; node = node.parentNode ?? node.host) {
    const tag = node.getAttribute?.("lang");
    if (tag) return tag;
  }
  return "en";
}

// A server that renders pages has no elements: there the module is loaded and does nothing.
export class SheetSelector extends (globalThis.HTMLElement ?? Object) {
  static version = VERSION;
  static formAssociated = true;
  static observedAttributes = ["service", "key", "publishable-key", "catalogue", "limit", "reference"];

  /** Words of another language, for elements that enter the page later. */
  static addWords = addWords;

  #internals = this.attachInternals();
  #form = null;
  #service = null;
  #timers = new Map();
  #retries = 0;
  #settled = true;
  #answer = null;
  #choice = null;
  #before = null;
  #waiting = null;
  #online = () => this.#again();

  connectedCallback() {
    if (!this.#form) this.#build();
    else if (!this.#settled) this.#changed();
    window.addEventListener("online", this.#online);
  }

  disconnectedCallback() {
    window.removeEventListener("online", this.#online);
    this.#service?.stop();
    for (const timer of this.#timers.values()) clearTimeout(timer);
  }

  attributeChangedCallback() {
    if (!this.#form) return;
    this.#connect();
    this.#changed();
  }

  formResetCallback() {
    this.reset();
  }

  /** What is entered: `sheets`, texts, and `known`, values by JSON pointer. Entered again by setting it. */
  get value() {
    return this.#form?.value ?? this.#waiting ?? { sheets: [], known: {} };
  }

  set value(value) {
    if (this.#form) this.#form.value = value ?? {};
    else this.#waiting = value;
  }

  /** The answer that is shown and belongs to what is entered; null where there is none. */
  get result() {
    return this.#settled ? this.#answer?.answer ?? null : null;
  }

  /** What was chosen, as the event's detail; null before, and once something else is entered. */
  get choice() {
    return this.#choice;
  }

  /** The form that it belongs to, of whose data the choice is a part under the attribute `name`. */
  get form() {
    return this.#internals.form;
  }

  /** Empty the form and the answer. */
  reset() {
    this.value = { sheets: [], known: {} };
  }

  /** Choose a set-up by its rank, as the button does; whether there is one that may be chosen. */
  choose(rank) {
    const recommendation = this.result?.recommendations.find((one) => one.rank === rank);
    if (recommendation) this.#choose(recommendation);
    return recommendation !== undefined;
  }

  #connect() {
    this.#service?.stop();
    const given = this.getAttribute("service");
    // Without the attribute: where this script came from, <service>/embed/...; in a shop's own bundle that is nowhere.
    const base = parsed(given || (import.meta.url.match(/^.*(?=\/embed\/)/)?.[0] ?? ""));
    // Frameworks keep an attribute `key` for themselves.
    const key = this.getAttribute("publishable-key") ?? this.getAttribute("key");
    this.#service = base && /^https?:$/.test(base.protocol) ? new Service(base.href, key) : null;
  }

  #build() {
    const system = this.getAttribute("units") === "us" ? "us" : "metric";
    const speech = new Speech(nearestLanguage(this), system);
    const style = new CSSStyleSheet();
    style.replaceSync(STYLE);
    const root = this.attachShadow({ mode: "open" });
    root.adoptedStyleSheets = [style];
    this.speech = speech;
    this.#connect();
    this.status = h("p", { class: "status", part: "status" });
    // Live regions are there from the start and never hidden: screen readers hear what changes in them.
    this.whisper = h("p", { role: "status", class: "aside" });
    this.alert = h("div", { role: "alert", class: "alert", part: "alert" });
    this.answer = h("div", { class: "answer", part: "answer" });
    this.#form = new Form({
      speech, system,
      read: (text, purpose) => this.#read(text, purpose),
      changed: () => this.#changed(),
      failed: (error) => this.#failed(error),
    });
    // The page's own content stands in for the answer while the service cannot be reached.
    this.fallback = h("div", { class: "fallback", hidden: true }, h("slot", {}));
    root.append(h("div", { class: "whole", part: "whole", lang: speech.language },
      this.#form.root, h("div", { class: "side" }, this.status, this.whisper, this.alert, this.fallback, this.answer)));
    const kept = this.#waiting ?? this.#shared();
    if (kept) this.#form.value = kept;
    else this.#changed();
  }

  /** What the address carries for this element, where the attribute `share` names a parameter for it. */
  #shared() {
    const name = this.getAttribute("share");
    const text = name && new URLSearchParams(location.hash.slice(1)).get(name);
    const kept = text ? unpacked(text) : null;
    return Array.isArray(kept?.sheets) ? kept : null;
  }

  #share() {
    const name = this.getAttribute("share");
    if (!name) return;
    const parameters = new URLSearchParams(location.hash.slice(1));
    if (this.#form.blank) parameters.delete(name);
    else parameters.set(name, packed(this.#form.value));
    history.replaceState(history.state, "", `#${parameters}`);
  }

  #say(text) {
    this.status.textContent = text;
    this.status.hidden = text === "";
  }

  async #read(text, purpose) {
    if (!this.#service) return [];
    const { service: language, mark } = this.speech;
    const request = { path: "v1/sheets", query: { text, decimal_mark: mark, language } };
    const { readings } = await this.#service.ask(purpose, request, language);
    if (this.alert.hasChildNodes()) this.#alert([]);
    return readings;
  }

  /** Do something after a while; a new time for the same thing replaces the old one. */
  #later(name, milliseconds, act) {
    clearTimeout(this.#timers.get(name));
    this.#timers.set(name, setTimeout(act, milliseconds));
  }

  /** Something else is entered: what is shown belongs to what was entered before, and cannot be chosen. */
  #changed() {
    this.#retries = 0;
    this.#settled = false;
    this.#choice = null;
    this.#internals.setFormValue(null);
    clearTimeout(this.#timers.get("retry"));
    clearTimeout(this.#timers.get("busy"));
    if (!this.#service) return this.#misplaced();
    this.#service.stop("answer");
    this.#stale(true);
    const open = this.#form.open();
    if (this.#form.blank) this.#clear();
    this.#say(this.#form.blank ? this.speech.say("waiting") : open.length ? this.speech.say("incomplete", { names: open.join(", ") }) : "");
    this.#later("ask", ASK_PAUSE_MS, () => this.#ask());
  }

  #misplaced() {
    this.#settled = true;
    this.#say("");
    this.#alert([h("p", {}, this.speech.say("errors.misplaced"))], { fallback: true });
  }

  #again() {
    clearTimeout(this.#timers.get("retry"));
    if (this.alert.hasChildNodes()) this.#retry();
  }

  /** Ask again, and before that read what could not be read. */
  async #retry() {
    await this.#form.again();
    this.#ask();
  }

  async #ask() {
    this.#share();
    if (this.#form.blank || this.#form.open().length > 0) return;
    const limit = Number.parseInt(this.getAttribute("limit"), 10);
    const job = jobOf(this.#form.sheets(), this.#form.known(), {
      catalogue: this.getAttribute("catalogue"),
      limit: limit >= 1 && limit <= 20 ? limit : null,
    });
    const names = this.#form.names();
    this.answer.setAttribute("aria-busy", "true");
    this.#later("busy", BUSY_AFTER_MS, () => {
      this.#say(this.speech.say("computing"));
      if (!this.answer.hasChildNodes()) this.answer.append(skeleton());
    });
    try {
      const language = this.speech.service;
      const answer = await this.#service.ask("answer", requestFor(job, language), language);
      this.#retries = 0;
      this.#answered(answer, job, names);
    } catch (error) {
      if (error.name === "AbortError") return; // another question is on its way
      if (!error.kind) throw error;
      this.#failed(error);
    }
  }

  #answered(answer, job, names) {
    const reference = this.getAttribute("reference");
    const link = ({ rank }, { index }) =>
      sheetLink(this.#service.base, reference ? { reference, ...job } : job, {
        rank, setup: index, answer, key: this.#service.key, language: this.speech.service,
      });
    const view = new AnswerView({
      answer, names, speech: this.speech, link, before: this.#before,
      choose: (recommendation) => this.#choose(recommendation),
      labelOf: (pointer) => this.#form.labelOf(pointer),
      enter: (pointer, text, value) => {
        this.#before = answer.recommendations[0]?.chance ?? null;
        this.#form.enter(pointer, text, value);
      },
    });
    const { activeElement } = this.shadowRoot;
    const lost = this.alert.contains(activeElement) || this.answer.contains(activeElement);
    const pointer = activeElement?.dataset.pointer;
    this.#settled = true;
    this.#answer = { answer, link, view };
    this.#before = null;
    this.#alert([]);
    this.answer.replaceChildren(...view.nodes());
    this.#stale(false);
    this.#say("");
    this.whisper.textContent = view.summary();
    // Focus that stood in what is gone goes to the same field of the new answer, or to its verdict.
    if (lost) (this.answer.querySelector(`[data-pointer="${pointer}"]`) ?? view.heading).focus();
    this.#emit("result", this.#detail(answer.recommendations[0] ?? null, { answer }));
  }

  /** Whether what is shown belongs to earlier entries: said, and no longer to be chosen. */
  #stale(stale) {
    clearTimeout(this.#timers.get("busy"));
    if (!stale) this.answer.removeAttribute("aria-busy");
    const shown = this.answer.querySelector(".verdict") !== null;
    this.answer.classList.toggle("stale", stale && shown);
    for (const button of this.answer.querySelectorAll(".choose")) {
      button.disabled = stale;
      button.removeAttribute("aria-pressed");
    }
    this.answer.querySelector(".stale-note, .chosen")?.remove();
    if (stale && shown) this.answer.prepend(h("p", { class: "stale-note", part: "stale" }, this.speech.say("stale")));
  }

  #clear() {
    this.#answer = null;
    this.answer.replaceChildren();
    this.answer.removeAttribute("aria-busy");
    this.whisper.textContent = "";
  }

  #choose(recommendation) {
    if (!this.#settled) return;
    const told = this.speech.say("chosen", { name: this.#answer.view.nameOf(recommendation) });
    this.#choice = this.#detail(recommendation);
    this.#internals.setFormValue(JSON.stringify(this.#choice));
    this.whisper.textContent = told;
    this.answer.querySelector(".chosen")?.remove();
    for (const button of this.answer.querySelectorAll(".choose")) {
      const own = button.dataset.rank === String(recommendation.rank);
      button.setAttribute("aria-pressed", String(own));
      if (!own) continue;
      button.closest("details").open = true;
      button.closest(".act").after(h("p", { class: "chosen", part: "chosen" }, told));
    }
    this.#emit("choose", this.#choice);
  }

  #detail(recommendation, more = {}) {
    const { answer, link } = this.#answer;
    // A copy: what the shop does with it must not reach the answers that are remembered here.
    return structuredClone({
      schema: SCHEMA,
      reference: this.getAttribute("reference"),
      job: answer.job,
      recommendation,
      order: recommendation ? orderLines(recommendation) : [],
      setup_sheets: recommendation ? recommendation.setups.map((setup) => link(recommendation, setup)) : [],
      ...more,
    });
  }

  #emit(name, detail) {
    this.dispatchEvent(new CustomEvent(`${NAME}:${name}`, { bubbles: true, composed: true, detail }));
  }

  /** Put a problem above the answer; none takes it away. `fallback`: the page's own content stands with it. */
  #alert(nodes, { fallback = false } = {}) {
    this.alert.replaceChildren(...nodes);
    this.fallback.hidden = !fallback;
  }

  #failed(error) {
    const { speech } = this;
    const problem = (name, values, ...more) => {
      const again = !["invalid", "elsewhere", "refused"].includes(name);
      return [
        h("p", {}, speech.say(`errors.${name}`, values), ...more),
        ...(again ? [h("button", { type: "button", part: "button", click: () => this.#retry() }, speech.say("retry"))] : []),
      ];
    };
    this.#say("");
    this.#stale(true);
    this.answer.removeAttribute("aria-busy");
    this.answer.querySelector(".skeleton")?.remove();
    if (error.kind === "invalid") {
      const elsewhere = this.#form.complain(error.errors);
      const list = h("span", { lang: speech.service }, ` ${elsewhere.map((e) => e.detail).join(" ")}`);
      if (elsewhere.length) this.#alert(problem("elsewhere", {}, list));
      else this.#say(speech.say("errors.invalid"));
    } else if (error.kind === "busy" && this.#retries < MOST_RETRIES) {
      this.#retries += 1;
      const seconds = Math.min(Math.ceil(error.retryAfter ?? RETRY_S), LONGEST_RETRY_S);
      this.#alert(problem("busy", { n: seconds }));
      this.#later("retry", seconds * 1000, () => this.#retry());
    } else {
      const name = { unreachable: navigator.onLine ? "unreachable" : "offline", busy: "busyStill" }[error.kind] ?? error.kind;
      this.#alert(problem(name, { id: error.requestId ?? "-" }), { fallback: true });
    }
    this.#emit("error", { schema: SCHEMA, kind: error.kind, problem: error.problem });
  }
}

function parsed(text) {
  try {
    return text && new URL(text.replace(/\/?$/, "/"), document.baseURI);
  } catch {
    return null;
  }
}

/** Where the answer will stand. */
function skeleton() {
  return h("div", { class: "skeleton", "aria-hidden": "true" }, h("span"), h("span"), h("span"), h("span"));
}

const taken = globalThis.customElements?.get(NAME);
if (!taken) {
  globalThis.customElements?.define(NAME, SheetSelector);
} else if (taken.version !== VERSION) {
  console.warn(`<${NAME}>: version ${taken.version} is already on this page; version ${VERSION} is not used.`);
}
