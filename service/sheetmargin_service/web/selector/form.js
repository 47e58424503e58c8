// What is asked of the visitor: sheets, each in one field, and the machine behind one disclosure.

import { h, newId } from "./dom.js";
import { SheetField } from "./sheet_field.js";
import { MACHINE, toApi, typed, unitOf } from "./sizes.js";

const MOST_SHEETS = 8;
const COMPLAIN_PAUSE_MS = 900;

/** A labelled text field for a number. It says what is wrong once it is left or typing has paused, not at every key. */
export class NumberField {
  #timer = 0;

  constructor({ speech, label, unit = "", signed = false, changed, on = "input" }) {
    Object.assign(this, { speech, signed });
    this.error = h("p", { id: newId("error"), class: "error", hidden: true });
    this.input = h("input", { id: newId("number"), type: "text", inputmode: signed ? "text" : "decimal", autocomplete: "off", part: "input",
      "aria-describedby": this.error.id, [on]: () => this.#typed(changed), blur: () => this.#check() });
    this.root = h("div", { class: "field" },
      h("label", { for: this.input.id }, label, unit ? h("span", { class: "unit" }, ` ${unit}`) : null),
      this.input, this.error);
  }

  /** The number; null where nothing stands, NaN where it cannot be one. */
  read() {
    const value = typed(this.input.value, this.speech.mark);
    return value !== null && !this.signed && !(value > 0) && !Number.isNaN(value) ? NaN : value;
  }

  complain(nodes) {
    this.error.replaceChildren(...nodes);
    this.error.hidden = nodes.length === 0;
    this.input.setAttribute("aria-invalid", String(nodes.length > 0));
  }

  #typed(changed) {
    this.complain([]);
    clearTimeout(this.#timer);
    this.#timer = setTimeout(() => this.#check(), COMPLAIN_PAUSE_MS);
    changed(this.read());
  }

  #check() {
    clearTimeout(this.#timer);
    if (!Number.isNaN(this.read())) return;
    const number = typed(this.input.value, this.speech.mark);
    this.complain([this.speech.say(Number.isNaN(number) ? "notNumber" : "notPositive")]);
  }
}

export class Form {
  #rows = [];
  #extra = new Map();

  constructor({ speech, system, read, changed, failed }) {
    Object.assign(this, { speech, system, read, changed, failed });
    this.rows = h("div", { class: "rows" });
    this.add = h("button", { type: "button", class: "quiet", part: "button", click: () => this.#addRow().field.input.focus() },
      speech.say("add"));
    this.machineFields = MACHINE.map(([pointer, quantity]) => ({
      pointer, quantity,
      field: new NumberField({ speech, label: this.labelOf(pointer), unit: unitOf(quantity, system), signed: quantity === "temperature",
        changed: () => changed() }),
    }));
    this.machine = h("details", { class: "machine", part: "machine" },
      h("summary", {}, speech.say("machine")),
      h("div", { class: "grid" }, this.machineFields.map(({ field }) => field.root)));
    // Nothing is submitted: Enter must not reload the shop's page.
    this.root = h("form", { class: "form", part: "form", "aria-label": speech.say("form"), novalidate: true,
      submit: (event) => event.preventDefault() }, this.rows, this.add, this.machine, h("p", { class: "hint" }, h("slot", { name: "privacy" }, speech.say("privacy"))));
    this.#addRow();
  }

  /** The visitor's name of a field of the job. */
  labelOf(pointer) {
    return this.speech.say(pointer.split("/").at(-1));
  }

  /** Whether anything is entered. */
  get blank() {
    return this.#rows.every(({ field }) => field.blank);
  }

  /** Sheets as the API takes them. */
  sheets() {
    return this.#filled().map(({ field }) => field.sheet);
  }

  /** Names of the sheets, as the visitor knows them. */
  names() {
    return this.#filled().map(({ field }) => field.name);
  }

  /** What is not complete or cannot be right, by the visitor's names; empty where everything can be asked. */
  open() {
    const sheets = this.#rows.flatMap(({ field }, index) => (field.blank || field.sheet ? [] : [this.speech.say("sheet", { n: index + 1 })]));
    const wrong = this.machineFields.filter(({ field }) => Number.isNaN(field.read()));
    return [...sheets, ...wrong.map(({ pointer }) => this.labelOf(pointer))];
  }

  /** What is known beside the sheets: value by pointer. */
  known() {
    const found = this.machineFields.map(({ pointer, quantity, field }) => [pointer, field.read(), quantity]);
    const given = found.filter(([, value]) => value !== null);
    return new Map([...given.map(([pointer, value, quantity]) => [pointer, toApi(quantity, this.system, value)]), ...this.#extra]);
  }

  /** Enter something by its pointer, as a question beside the answer does: `text` as typed, `value` as the API takes it. */
  enter(pointer, text, value) {
    const own = this.machineFields.find((machine) => machine.pointer === pointer);
    if (own) own.field.input.value = text;
    else if (value === null) this.#extra.delete(pointer);
    else this.#extra.set(pointer, value);
    this.changed();
  }

  /** What is entered, to be kept and entered again. */
  get value() {
    const machine = this.machineFields.filter(({ field }) => field.input.value.trim() !== "");
    return {
      sheets: this.#rows.filter(({ field }) => !field.blank).map(({ field }) => field.input.value.trim()),
      known: Object.fromEntries([...machine.map(({ pointer, field }) => [pointer, field.input.value.trim()]), ...this.#extra]),
    };
  }

  set value({ sheets = [], known = {} }) {
    for (const row of [...this.#rows]) row.root.remove();
    this.#rows = [];
    this.#extra.clear();
    for (const { pointer, field } of this.machineFields) field.input.value = known[pointer] ?? "";
    for (const [pointer, value] of Object.entries(known)) {
      if (!this.machineFields.some((machine) => machine.pointer === pointer)) this.#extra.set(pointer, value);
    }
    if (this.machineFields.some(({ field }) => field.input.value)) this.machine.open = true;
    const texts = sheets.slice(0, MOST_SHEETS).map(String);
    for (const text of texts.length ? texts : [""]) {
      const row = this.#addRow();
      if (text) row.field.enter(text);
    }
    this.changed();
  }

  /** Read again what could not be read. */
  again() {
    return Promise.all(this.#rows.map(({ field }) => field.again()));
  }

  /** Mark the fields that the service's errors name; returns the errors that name none of them. */
  complain(errors) {
    for (const { field } of this.machineFields) field.complain([]);
    return errors.filter((error) => {
      const field = this.#fieldOf(error);
      field?.complain([h("span", { lang: this.speech.service }, `${error.detail} `, error.expected ? this.speech.say("expected", { expected: error.expected }) : "")]);
      if (field && this.machine.contains(field.root)) this.machine.open = true;
      return !field;
    });
  }

  #fieldOf({ parameter, pointer = "" }) {
    const machine = this.machineFields.find((one) => one.pointer === pointer);
    if (machine) return machine.field;
    const [, first, index] = pointer.split("/");
    const sheet = first === "sheets" ? Number(index) : parameter && !["limit", "classes", "catalogue"].includes(parameter) ? 0 : -1;
    return this.#filled()[sheet]?.field;
  }

  #filled() {
    return this.#rows.filter(({ field }) => field.sheet !== null);
  }

  #addRow() {
    const { speech, system, read, changed, failed } = this;
    const examples = this.#rows.length ? [] : speech.examples(system);
    const field = new SheetField({ speech, read, changed, failed, examples });
    const row = { field };
    row.remove = h("button", { type: "button", class: "quiet remove", part: "button", click: () => this.#removeRow(row) }, "\u00d7");
    row.root = h("div", { class: "sheet-row", part: "sheet" }, row.remove, field.root);
    this.#rows.push(row);
    this.rows.append(row.root);
    this.#number();
    return row;
  }

  #removeRow(row) {
    const index = this.#rows.indexOf(row);
    this.#rows.splice(index, 1);
    row.root.remove();
    this.#number();
    this.#rows[Math.min(index, this.#rows.length - 1)].field.input.focus();
    this.changed();
  }

  #number() {
    this.#rows.forEach((row, index) => {
      row.field.label.textContent = this.speech.say("sheet", { n: index + 1 });
      row.remove.setAttribute("aria-label", this.speech.say("remove", { n: index + 1 }));
      row.remove.hidden = this.#rows.length === 1;
    });
    this.add.hidden = this.#rows.length >= MOST_SHEETS;
  }
}
