// The field for a sheet: a combobox with a list (ARIA Authoring Practices) over what the service reads in the text.

import { h, newId } from "./dom.js";

const READ_PAUSE_MS = 250;

export class SheetField {
  #readings = [];
  #active = -1;
  #timer = 0;
  #asked = 0;
  #left = false;
  #text = null; // what the readings are of

  /**
   * `read(text, purpose)` gives readings, best first; `changed()` is called when the sheet is another one, or none; `failed(error)`
   * when the service cannot read; `examples` are texts to pick.
   */
  constructor({ speech, read, changed, failed, examples }) {
    Object.assign(this, { speech, read, changed, failed, sheet: null, name: "" });
    const list = newId("readings");
    this.label = h("label", { for: newId("sheet") });
    this.hint = h("p", { id: newId("hint"), class: "hint" }, `${speech.say("sheetHint")} `,
      examples.map((text) => h("button", { type: "button", class: "quiet", part: "example", click: () => this.enter(text, true) }, text)));
    this.told = h("div", { id: newId("told"), class: "told", part: "understood" });
    this.input = h("input", {
      id: this.label.htmlFor, type: "text", role: "combobox", part: "input", autocomplete: "off", spellcheck: "false", maxlength: 200,
      "aria-autocomplete": "list", "aria-expanded": "false", "aria-controls": list, "aria-describedby": this.told.id,
      input: () => this.#typed(), keydown: (event) => this.#key(event), blur: () => this.#leave(),
    });
    // Focus stays in the input while the list is clicked; a scrolling list must not take it by Tab.
    this.list = h("ul", { id: list, role: "listbox", "aria-label": speech.say("readings"), part: "list", hidden: true, tabindex: "-1",
      mousedown: (event) => event.preventDefault() });
    this.root = h("div", { class: "field" }, this.label, h("div", { class: "box" }, this.input, this.list), this.hint, this.told);
  }

  /** Whether nothing is entered. */
  get blank() {
    return this.input.value.trim() === "";
  }

  /** Enter a text, as typing does. */
  enter(text, focus = false) {
    this.input.value = text;
    this.#left = true;
    this.#close();
    this.#set(null);
    if (focus) this.input.focus();
    return this.#look();
  }

  /** Read the text again, where it was not read: after the service was out of reach. */
  again() {
    return this.sheet === null && !this.blank ? this.#look() : null;
  }

  complain(nodes) {
    this.#tell("error", nodes);
  }

  #tell(kind, nodes) {
    this.told.replaceChildren(...(nodes.length ? [h("p", { class: kind }, nodes)] : []));
    this.hint.hidden = !this.blank;
    this.input.setAttribute("aria-invalid", String(kind === "error" && nodes.length > 0));
  }

  #set(reading) {
    this.sheet = reading?.sheet ?? null;
    this.name = reading?.text ?? "";
    this.changed();
  }

  #typed() {
    this.#text = null;
    this.#left = false;
    this.#close();
    this.#set(null);
    this.#tell("", []);
    if (!this.blank) this.#timer = setTimeout(() => this.#look(), READ_PAUSE_MS);
  }

  async #look(open = false) {
    const asked = ++this.#asked;
    const text = this.input.value.trim();
    if (text === "") return;
    let readings;
    try {
      readings = await this.read(text, this.list.id);
    } catch (error) {
      if (error.name !== "AbortError" && asked === this.#asked) this.failed(error);
      return;
    }
    if (asked !== this.#asked) return;
    this.#text = text;
    this.#readings = readings;
    const [best] = readings;
    if (best?.certain && best.sheet) this.#take(best, open || undefined);
    else this.#show(readings.length > 0 && this.#focused());
    if (open) this.#show(readings.length > 0);
    if (!best?.certain || !best.sheet) this.#doubt();
  }

  #focused() {
    return this.root.getRootNode().activeElement === this.input;
  }

  /** What is still missing; marked as wrong only once the field is left, so that nothing complains while one types. */
  #doubt() {
    const { speech } = this;
    const [best] = this.#readings;
    this.told.replaceChildren();
    if (!best) this.#tell(this.#left ? "error" : "hint", [speech.say("unread")]);
    else if (best.certain && best.detail) this.#tell("error", [h("span", { lang: speech.service }, `${best.detail} ${speech.say("expected", { expected: best.expected })}`)]);
    else if (best.certain) this.#tell(this.#left ? "error" : "hint", [speech.say("sizeMissing", { name: best.text })]);
    else this.#tell(this.#left ? "error" : "hint", [speech.say("meant"), this.#picks()]);
  }

  #picks() {
    return h("span", { class: "picks" }, this.#readings.slice(0, 3).map((reading) =>
      h("button", { type: "button", class: "quiet", part: "button", click: () => this.#choose(reading, true) }, reading.text)));
  }

  #take(reading) {
    const { speech } = this;
    this.#set(reading);
    const others = this.#readings.filter((other) => other !== reading);
    this.#tell("taken", [h("span", {}, speech.sheet(reading.text, reading)),
      others.length ? h("button", { type: "button", class: "quiet", part: "button", click: () => this.#others() }, speech.say("others")) : null]
      .filter(Boolean));
  }

  #others() {
    this.input.focus();
    this.#show(true);
  }

  /** A reading picked: one without a size goes into the field, to be completed. */
  #choose(reading, focus = false) {
    this.input.value = reading.sheet ? reading.text : `${reading.text} `;
    this.#close();
    if (focus) this.input.focus();
    if (reading.sheet) return this.#take(reading);
    this.#readings = [{ ...reading, certain: true }];
    this.#text = this.input.value.trim();
    this.#left = false;
    this.#doubt();
  }

  #show(open) {
    this.#active = -1;
    this.list.replaceChildren(...(open ? this.#readings : []).map((reading) => {
      const sizes = reading.sheet ? `${this.speech.measure(reading.grammage_gsm, "g/m²")}, ${this.speech.measure(reading.thickness_um, "um")}` : "";
      return h("li", { id: newId("option"), role: "option", part: "option", "aria-selected": "false", click: () => this.#choose(reading) },
        h("span", {}, reading.text), h("small", {}, sizes));
    }));
    this.list.hidden = !open;
    this.input.setAttribute("aria-expanded", String(open));
    this.input.removeAttribute("aria-activedescendant");
  }

  #close() {
    clearTimeout(this.#timer);
    this.#asked += 1; // what is on its way is too late
    this.#show(false);
  }

  #key(event) {
    const open = !this.list.hidden;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step && open) {
      event.preventDefault();
      const count = this.#readings.length;
      this.#move(this.#active < 0 && step < 0 ? count - 1 : (this.#active + step + count) % count);
    } else if (step > 0 && !this.blank) {
      event.preventDefault();
      this.#look(true);
    } else if (event.key === "Enter") {
      event.preventDefault();
      if (open && this.#active >= 0) this.#choose(this.#readings[this.#active]);
      else this.#leave();
    } else if (event.key === "Escape" && open) {
      event.preventDefault();
      this.#show(false);
    }
  }

  #move(index) {
    const options = [...this.list.children];
    options.forEach((option, i) => option.setAttribute("aria-selected", String(i === index)));
    this.#active = index;
    this.input.setAttribute("aria-activedescendant", options[index].id);
    options[index].scrollIntoView({ block: "nearest" });
  }

  #leave() {
    this.#show(false);
    if (this.blank) return;
    this.#left = true;
    if (this.sheet) return;
    if (this.#text === this.input.value.trim()) return this.#blame();
    clearTimeout(this.#timer);
    this.#look();
  }

  /** Mark what is still missing as wrong, and leave it where it stands: focus may just have gone there. */
  #blame() {
    this.told.querySelector("p").className = "error";
    this.input.setAttribute("aria-invalid", "true");
  }
}
