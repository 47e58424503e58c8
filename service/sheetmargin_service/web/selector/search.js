// The material field: a combobox with a list (ARIA Authoring Practices), over the service's own search.

import { h, newId } from "./dom.js";

const SEARCH_PAUSE_MS = 180;
const MOST = 8;

export class MaterialField {
  #found = [];
  #active = -1;
  #timer = 0;
  #asked = 0;

  /**
   * `find(text)` gives materials, best first; `changed()` is called when the material is another one; `told(text)` gets
   * what a screen reader should hear.
   */
  constructor({ speech, find, changed, told }) {
    Object.assign(this, { speech, find, changed, told, id: "" });
    const list = newId("materials");
    this.hint = h("p", { id: newId("hint"), class: "hint" }, speech.say("materialHint"));
    this.error = h("p", { id: newId("error"), class: "error", hidden: true });
    this.input = h("input", {
      id: newId("material"), type: "text", role: "combobox", part: "input", autocomplete: "off", spellcheck: "false",
      "aria-autocomplete": "list", "aria-expanded": "false", "aria-controls": list,
      "aria-describedby": `${this.hint.id} ${this.error.id}`,
      input: () => this.#typed(), keydown: (event) => this.#key(event), blur: () => this.#left(),
    });
    // Focus stays in the input while the list is clicked.
    this.list = h("ul", { id: list, role: "listbox", "aria-label": speech.say("material"), part: "list", hidden: true,
      mousedown: (event) => event.preventDefault() });
    this.root = h("div", { class: "field material" },
      h("label", { for: this.input.id }, speech.say("material")),
      h("div", { class: "box" }, this.input, this.list),
      this.hint, this.error);
  }

  /** What the API should be asked: the chosen id, or after leaving the field whatever was typed; empty before. */
  get value() {
    return this.id;
  }

  choose(id, name) {
    this.input.value = name;
    this.#close();
    this.#set(id);
  }

  complain(nodes) {
    this.error.replaceChildren(...nodes);
    this.error.hidden = nodes.length === 0;
    this.input.setAttribute("aria-invalid", String(nodes.length > 0));
  }

  #set(id) {
    if (id === this.id) return;
    this.id = id;
    this.changed();
  }

  #typed() {
    this.#set("");
    clearTimeout(this.#timer);
    const text = this.input.value.trim();
    if (text === "") return this.#close();
    this.#timer = setTimeout(() => this.#look(text), SEARCH_PAUSE_MS);
  }

  async #look(text) {
    const asked = ++this.#asked;
    // Without a list the field still works: what was typed is asked as it is. The answer tells what is wrong.
    const found = await this.find(text, MOST).catch(() => []);
    if (asked !== this.#asked || text !== this.input.value.trim()) return;
    this.#show(found);
    const exact = found.find((m) => [m.id, m.name, ...m.synonyms].some((n) => n.toLowerCase() === text.toLowerCase()));
    if (exact) this.#set(exact.id);
  }

  #show(found) {
    this.#found = found;
    this.#active = -1;
    this.list.replaceChildren(...found.map((material, index) =>
      h("li", { id: newId("option"), role: "option", part: "option", "aria-selected": "false", click: () => this.#take(index) },
        h("span", {}, material.name),
        material.synonyms.length ? h("small", {}, material.synonyms.slice(0, 3).join(", ")) : null)));
    this.list.hidden = found.length === 0;
    this.input.setAttribute("aria-expanded", String(found.length > 0));
    this.input.removeAttribute("aria-activedescendant");
    this.told(found.length ? this.speech.say("found", { n: found.length }) : this.speech.say("foundNone"));
  }

  #close() {
    clearTimeout(this.#timer);
    this.#asked += 1;
    this.#active = -1;
    this.list.hidden = true;
    this.input.setAttribute("aria-expanded", "false");
    this.input.removeAttribute("aria-activedescendant");
  }

  #take(index) {
    this.choose(this.#found[index].id, this.#found[index].name);
  }

  #key(event) {
    const open = !this.list.hidden;
    const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (step && open) {
      event.preventDefault();
      const count = this.#found.length;
      this.#move(this.#active < 0 && step < 0 ? count - 1 : (this.#active + step + count) % count);
    } else if (step > 0 && this.input.value.trim() !== "") {
      event.preventDefault();
      this.#look(this.input.value.trim());
    } else if (event.key === "Enter") {
      event.preventDefault();
      if (open && this.#active >= 0) this.#take(this.#active);
      else this.#left();
    } else if (event.key === "Escape" && open) {
      event.preventDefault();
      this.#close();
    }
  }

  #move(index) {
    const options = [...this.list.children];
    options.forEach((option, i) => option.setAttribute("aria-selected", String(i === index)));
    this.#active = index;
    this.input.setAttribute("aria-activedescendant", options[index].id);
    options[index].scrollIntoView({ block: "nearest" });
  }

  #left() {
    this.#close();
    if (this.id === "") this.#set(this.input.value.trim());
  }
}
