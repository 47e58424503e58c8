// The element: the form, the answer under it, and what happens between them.

import { AnswerView, orderLines } from "./answer.js";
import { h } from "./dom.js";
import { Form } from "./form.js";
import { jobOf, requestFor, sheetLink } from "./question.js";
import { Service } from "./service.js";
import { Speech } from "./words.js";

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

class SheetSelector extends HTMLElement {
  static version = VERSION;
  static observedAttributes = ["service", "key", "catalogue", "limit", "reference"];

  #form = null;
  #service = null;
  #timers = new Map();
  #retries = 0;
  #online = () => this.#again();

  connectedCallback() {
    if (!this.#form) this.#build();
    window.addEventListener("online", this.#online);
  }

  disconnectedCallback() {
    window.removeEventListener("online", this.#online);
    this.#service.stop();
    for (const timer of this.#timers.values()) clearTimeout(timer);
  }

  attributeChangedCallback() {
    if (!this.#form) return;
    this.#connect();
    this.#changed();
  }

  #connect() {
    this.#service?.stop();
    const given = this.getAttribute("service");
    // Without the attribute: where this script came from, which is <service>/embed/...
    const base = given ? new URL(given.replace(/\/?$/, "/"), document.baseURI) : new URL(import.meta.url.replace(/embed\/.*/, ""));
    this.#service = new Service(base.href, this.getAttribute("key"));
  }

  #build() {
    const speech = new Speech(nearestLanguage(this));
    const style = new CSSStyleSheet();
    style.replaceSync(STYLE);
    const root = this.attachShadow({ mode: "open" });
    root.adoptedStyleSheets = [style];
    this.speech = speech;
    this.#connect();
    this.status = h("p", { class: "status", part: "status" }, speech.say("waiting"));
    // Live regions are there from the start and never hidden: screen readers hear what changes in them.
    this.whisper = h("p", { role: "status", class: "aside" });
    this.alert = h("div", { role: "alert", class: "alert", part: "alert" });
    this.answer = h("div", { class: "answer", part: "answer" });
    this.#form = new Form({
      speech,
      system: this.getAttribute("units") === "us" ? "us" : "metric",
      find: (text, limit) => this.#find(text, limit),
      changed: () => this.#changed(),
      told: (text) => this.#whisper(text),
    });
    // The page's own content stands in for the answer while the service cannot be reached.
    this.fallback = h("div", { class: "fallback", hidden: true }, h("slot", {}));
    root.append(h("div", { class: "whole", part: "whole", lang: speech.language },
      this.#form.root, h("div", { class: "side" }, this.status, this.whisper, this.alert, this.fallback, this.answer)));
  }

  #say(text) {
    this.status.textContent = text;
    this.status.hidden = text === "";
    this.#whisper(text);
  }

  /** What is heard, beside what the page shows anyway. */
  #whisper(text) {
    this.whisper.textContent = text;
  }

  async #find(text, limit) {
    const request = { path: "v1/materials", query: { q: text, limit } };
    return (await this.#service.ask("materials", request, this.speech.language)).materials;
  }

  /** Do something after a while; a new time for the same thing replaces the old one. */
  #later(name, milliseconds, act) {
    clearTimeout(this.#timers.get(name));
    this.#timers.set(name, setTimeout(act, milliseconds));
  }

  #changed() {
    this.#retries = 0;
    clearTimeout(this.#timers.get("retry"));
    this.#service.stop("answer");
    this.#later("ask", ASK_PAUSE_MS, () => this.#ask());
  }

  #again() {
    clearTimeout(this.#timers.get("retry"));
    if (this.alert.hasChildNodes()) this.#ask();
  }

  async #ask() {
    const right = this.#form.check();
    const sheets = this.#form.sheets();
    if (!right || sheets.length === 0) {
      this.#show([]);
      this.#say(this.speech.say(right ? "waiting" : "errors.invalid"));
      return;
    }
    const limit = Number.parseInt(this.getAttribute("limit"), 10);
    const job = jobOf(sheets, this.#form.machineObjects(), {
      catalogue: this.getAttribute("catalogue"),
      limit: limit >= 1 && limit <= 20 ? limit : null,
    });
    const names = this.#form.names();
    this.answer.setAttribute("aria-busy", "true");
    this.#later("busy", BUSY_AFTER_MS, () => {
      this.#say(this.speech.say("computing"));
      this.answer.classList.add("stale");
    });
    try {
      const answer = await this.#service.ask("answer", requestFor(job, this.speech.language), this.speech.language);
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
        rank, setup: index, answer, key: this.#service.key, language: this.speech.language,
      });
    const choose = (recommendation) => {
      this.#whisper(this.speech.say("chosen", { n: recommendation.rank }));
      this.#emit("choose", answer, recommendation, link);
    };
    const view = new AnswerView({ answer, names, speech: this.speech, link, choose });
    const retried = this.alert.contains(this.shadowRoot.activeElement);
    this.#show(view.nodes());
    this.#say("");
    this.#whisper(view.summary());
    if (retried) view.heading.focus();
    this.#emit("result", answer, answer.recommendations[0] ?? null, link);
  }

  #emit(name, answer, recommendation, link) {
    // A copy: what the shop does with it must not reach the answers that are remembered here.
    const detail = structuredClone({
      schema: SCHEMA,
      reference: this.getAttribute("reference"),
      job: answer?.job ?? null,
      recommendation,
      order: recommendation ? orderLines(recommendation) : [],
      setup_sheets: recommendation ? recommendation.setups.map((setup) => link(recommendation, setup)) : [],
      ...(name === "result" ? { answer } : {}),
    });
    this.dispatchEvent(new CustomEvent(`${NAME}:${name}`, { bubbles: true, composed: true, detail }));
  }

  /** Put the answer in place; `problem` stands above it, and the page's own content with it where asked for. */
  #show(nodes, { problem = [], fallback = false } = {}) {
    clearTimeout(this.#timers.get("busy"));
    this.answer.removeAttribute("aria-busy");
    this.answer.classList.remove("stale");
    this.answer.replaceChildren(...nodes);
    this.alert.replaceChildren(...problem);
    this.fallback.hidden = !fallback;
  }

  #failed(error) {
    const { speech } = this;
    const problem = (name, values, ...more) => {
      const again = !["invalid", "elsewhere", "refused"].includes(name);
      return [
        h("p", {}, speech.say(`errors.${name}`, values), ...more),
        ...(again ? [h("button", { type: "button", part: "button", click: () => this.#ask() }, speech.say("retry"))] : []),
      ];
    };
    this.#say("");
    if (error.kind === "invalid") {
      const elsewhere = this.#form.complain(error.errors);
      const list = h("span", { lang: "en" }, ` ${elsewhere.map((e) => e.detail).join(" ")}`);
      this.#show([], { problem: elsewhere.length ? problem("elsewhere", {}, list) : problem("invalid", {}) });
    } else if (error.kind === "busy" && this.#retries < MOST_RETRIES) {
      this.#retries += 1;
      const seconds = Math.min(Math.ceil(error.retryAfter ?? RETRY_S), LONGEST_RETRY_S);
      this.#show([], { problem: problem("busy", { n: seconds }) });
      this.#later("retry", seconds * 1000, () => this.#ask());
    } else {
      const name = { unreachable: navigator.onLine ? "unreachable" : "offline", busy: "busyStill" }[error.kind] ?? error.kind;
      this.#show([], { problem: problem(name, { id: error.requestId ?? "-" }), fallback: true });
    }
  }
}

const taken = customElements.get(NAME);
if (!taken) {
  customElements.define(NAME, SheetSelector);
} else if (taken.version !== VERSION) {
  console.warn(`<${NAME}>: version ${taken.version} is already on this page; version ${VERSION} is not used.`);
}
