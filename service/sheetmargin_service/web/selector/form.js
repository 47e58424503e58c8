// What is asked of the visitor: sheets, each a material and a size in its unit, and the machine behind one disclosure.

import { h, newId } from "./dom.js";
import { MaterialField } from "./search.js";
import { Speech } from "./words.js";
import { FIRST_SIZE, MACHINE, SIZES, sizeFields, toApi, typed, unitOf } from "./sizes.js";

const MOST_SHEETS = 8;

/** A labelled text field for a number; `complain` marks it, `read` gives the number, null or NaN. */
class NumberField {
  constructor({ label, unit = "", changed }) {
    this.error = h("p", { id: newId("error"), class: "error", hidden: true });
    this.input = h("input", { id: newId("number"), type: "text", inputmode: "decimal", autocomplete: "off", part: "input",
      "aria-describedby": this.error.id, input: changed });
    this.root = h("div", { class: "field" },
      h("label", { for: this.input.id }, label, unit ? h("span", { class: "unit" }, ` ${unit}`) : null),
      this.input, this.error);
  }

  read() {
    return typed(this.input.value);
  }

  complain(nodes) {
    this.error.replaceChildren(...nodes);
    this.error.hidden = nodes.length === 0;
    this.input.setAttribute("aria-invalid", String(nodes.length > 0));
  }
}

class SheetRow {
  constructor({ speech, system, find, changed, told, remove }) {
    this.material = new MaterialField({ speech, find, changed, told });
    this.size = new NumberField({ label: speech.say("size"), changed });
    this.unit = h("select", { id: newId("unit"), part: "select", change: changed },
      ["weight", "thickness"].map((kind) => h("optgroup", { label: speech.say(kind) },
        SIZES[kind].map(({ id }) => h("option", { value: id, selected: id === FIRST_SIZE[system] }, speech.say(`unit-${id}`))))));
    this.legend = h("legend", {});
    this.remove = h("button", { type: "button", class: "quiet remove", part: "button", click: () => remove(this) }, "\u00d7");
    this.root = h("fieldset", { class: "sheet-row", part: "sheet" }, this.legend, this.remove, this.material.root,
      h("div", { class: "pair" }, this.size.root,
        h("div", { class: "field" }, h("label", { for: this.unit.id }, speech.say("unit")), this.unit)));
  }

  /** The sheet as the API takes it; null while it is incomplete or wrong. */
  fields() {
    const size = this.size.read();
    if (this.material.value === "" || !(size > 0)) return null;
    return { material: this.material.value, ...sizeFields(this.unit.value, size) };
  }
}

export class Form {
  #rows = [];

  constructor({ speech, system, find, changed, told }) {
    Object.assign(this, { speech, system, find, changed, told });
    this.rows = h("div", { class: "rows" });
    this.add = h("button", { type: "button", class: "quiet", part: "button", click: () => this.#addRow().material.input.focus() },
      speech.say("add"));
    this.machineFields = MACHINE.map(([object, name, quantity]) => ({
      object, name, quantity,
      field: new NumberField({ label: speech.say(name), unit: unitOf(quantity, system), changed }),
    }));
    this.machine = h("details", { class: "machine", part: "machine" },
      h("summary", {}, speech.say("machine")),
      h("div", { class: "grid" }, this.machineFields.map(({ field }) => field.root)));
    // Nothing is submitted: Enter must not reload the shop's page.
    this.root = h("form", { class: "form", part: "form", "aria-label": speech.say("form"), novalidate: true,
      submit: (event) => event.preventDefault() }, this.rows, this.add, this.machine);
    this.#addRow();
  }

  /** Complete sheets, as the API takes them. */
  sheets() {
    return this.#complete().map((row) => row.fields());
  }

  /** Names of the complete sheets, as the visitor knows them. */
  names() {
    return this.#complete().map((row) => row.material.input.value.trim());
  }

  /** The job's objects for the machine, with what was given. */
  machineObjects() {
    const objects = {};
    for (const { object, name, quantity, field } of this.machineFields) {
      const value = field.read();
      if (value !== null) objects[object] = { ...objects[object], [name]: toApi(quantity, this.system, value) };
    }
    return objects;
  }

  /** Mark what is no number or not above zero; whether everything is. */
  check() {
    this.complain([]);
    const size = this.#rows.map((row) => [row.size, true]);
    const machine = this.machineFields.map(({ field, quantity }) => [field, quantity !== "temperature"]);
    let right = true;
    for (const [field, positive] of [...size, ...machine]) {
      const value = field.read();
      const fault = Number.isNaN(value) ? "notNumber" : positive && value !== null && value <= 0 ? "notPositive" : null;
      if (fault) field.complain([this.speech.say(fault)]);
      right &&= fault === null;
    }
    return right;
  }

  /** Mark the fields that the service's errors name; returns the errors that name none of them. */
  complain(errors) {
    for (const row of this.#rows) [row.material, row.size].forEach((field) => field.complain([]));
    for (const { field } of this.machineFields) field.complain([]);
    return errors.filter((error) => {
      const field = this.#fieldOf(error);
      field?.complain(this.#told(error, field));
      if (field && this.machine.contains(field.root)) this.machine.open = true;
      return !field;
    });
  }

  #fieldOf({ parameter, pointer = "" }) {
    const parts = pointer.split("/").slice(1);
    const row = this.#complete()[parts[0] === "sheets" ? Number(parts[1]) : 0];
    const name = parameter ?? (parts[0] === "sheets" ? parts[2] : null);
    if (name === "material") return row?.material;
    if (name && row && name in row.fields()) return row.size;
    return this.machineFields.find((m) => m.object === parts[0] && m.name === parts[1])?.field;
  }

  /** The service's problems come in English; what was expected stands beside in the same words. */
  #told({ detail, expected, suggestions = [] }, field) {
    const { speech } = this;
    const words = h("span", { lang: "en" }, detail, expected ? ` ${new Speech("en").say("expected", { expected })}` : "");
    if (!(field instanceof MaterialField) || suggestions.length === 0) return [words];
    const buttons = suggestions.map((name) =>
      h("button", { type: "button", class: "quiet", part: "button", click: () => {
        field.choose(name, name);
        field.input.focus();
      } }, name));
    return [words, h("span", { class: "meant" }, speech.say("meant"), ...buttons)];
  }

  #complete() {
    return this.#rows.filter((row) => row.fields() !== null);
  }

  #addRow() {
    const { speech, system, find, changed, told } = this;
    const row = new SheetRow({ speech, system, find, changed, told, remove: (gone) => this.#removeRow(gone) });
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
    this.#rows[Math.min(index, this.#rows.length - 1)].material.input.focus();
    this.changed();
  }

  #number() {
    this.#rows.forEach((row, index) => {
      row.legend.textContent = this.speech.say("sheet", { n: index + 1 });
      row.remove.setAttribute("aria-label", this.speech.say("remove", { n: index + 1 }));
      row.remove.hidden = this.#rows.length === 1;
    });
    this.add.hidden = this.#rows.length >= MOST_SHEETS;
  }
}
