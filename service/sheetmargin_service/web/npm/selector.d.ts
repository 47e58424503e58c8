// Types of the element, its events and what they bring. Those of the API are made from its description.

import type { Answer, Job, Problem, Recommendation } from "./api.js";
export type * from "./api.js";

/** What is entered: sheets as texts, and what is known of the machine by JSON pointer into the job, as typed. */
export interface Entries {
  sheets: string[];
  known: Record<string, string | number | boolean>;
}

/** An order line, with the set-up (counted from 0) and the detector class that it belongs to. */
export type ChosenLine = Recommendation["setups"][number]["order_items"][number] & { setup: number; detector_class: string };

interface Detail {
  schema: "sheet-selector/1";
  /** The attribute `reference`. */
  reference: string | null;
  /** The job that was answered, as the API spells it. */
  job: Job;
  order: ChosenLine[];
  /** Addresses of the set-up sheets, one for each set-up of the recommendation. */
  setup_sheets: string[];
}

/** What the visitor chose. */
export interface Choice extends Detail {
  recommendation: Recommendation;
}

/** An answer that is shown. */
export interface Result extends Detail {
  /** The first; null where nothing serves. */
  recommendation: Recommendation | null;
  answer: Answer;
}

/** A question that was not answered. */
export interface Failure {
  schema: "sheet-selector/1";
  kind: "invalid" | "refused" | "busy" | "failed" | "slow" | "unreachable";
  /** RFC 9457; null where none came. */
  problem: Problem | null;
}

/** Texts of a language by name; some have places in braces, some are groups. */
export interface Words {
  [name: string]: string | string[] | { [name: string]: string };
}

export interface SheetSelectorEventMap {
  "sheet-selector:result": CustomEvent<Result>;
  "sheet-selector:choose": CustomEvent<Choice>;
  "sheet-selector:error": CustomEvent<Failure>;
}

/** Attributes as a template writes them. */
export interface SheetSelectorAttributes {
  service?: string;
  "publishable-key"?: string;
  catalogue?: string;
  units?: "metric" | "us";
  limit?: number | string;
  reference?: string;
  share?: string;
  name?: string;
}

export class SheetSelector extends HTMLElement {
  static readonly version: string;
  static readonly formAssociated: true;
  /** Words of another language, for elements that enter a page later. */
  static addWords(language: string, table: Words): void;

  /** What is entered; set it to enter that. */
  value: Entries;
  /** The answer that belongs to what is entered. */
  readonly result: Answer | null;
  /** What was chosen; null before, and once something else is entered. */
  readonly choice: Choice | null;
  readonly form: HTMLFormElement | null;
  /** Choose a set-up by its rank; tells whether there was one to choose. */
  choose(rank: number): boolean;
  /** Empty the entries and the answer. */
  reset(): void;

  addEventListener<K extends keyof SheetSelectorEventMap>(type: K,
    listener: (this: SheetSelector, event: SheetSelectorEventMap[K]) => unknown, options?: boolean | AddEventListenerOptions): void;
  addEventListener(type: string, listener: EventListenerOrEventListenerObject, options?: boolean | AddEventListenerOptions): void;
  removeEventListener<K extends keyof SheetSelectorEventMap>(type: K,
    listener: (this: SheetSelector, event: SheetSelectorEventMap[K]) => unknown, options?: boolean | EventListenerOptions): void;
  removeEventListener(type: string, listener: EventListenerOrEventListenerObject, options?: boolean | EventListenerOptions): void;
}

declare global {
  interface HTMLElementTagNameMap {
    "sheet-selector": SheetSelector;
  }
  // The events bubble and leave shadow trees: a page may listen anywhere.
  interface GlobalEventHandlersEventMap extends SheetSelectorEventMap {}
}
