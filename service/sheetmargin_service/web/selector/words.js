// What the element says, in English and German and in whatever the page adds, and how it writes numbers.

import { shown } from "./sizes.js";

const EN = {
  form: "Your sheets",
  sheet: "Sheet {n}",
  sheetHint: "Write it as you order it, with grammage or thickness. For example:",
  examples: ["80 g/m² office paper", "300 g/m² business card", "bank card", "E flute"],
  examplesUs: ["20 lb bond", "18 pt folding boxboard", "30 mil PVC", "26 gauge steel"],
  readings: "What it may be",
  others: "Something else?",
  meant: "Which one?",
  unread: "No known material. Try another name, such as copy paper, PET film or steel, with its size.",
  sizeMissing: "Add the grammage or thickness of {name}, such as 80 g/m² or 0.3 mm.",
  yours: "Yours",
  add: "Add a sheet for the same machine",
  remove: "Remove sheet {n}",
  machine: "The machine, if you know it",
  privacy: "What you enter goes to the selection service alone. Nothing is stored in this browser, and there are no cookies.",
  clearance_above_mm: "Clearance above the sheet",
  clearance_below_mm: "Clearance below the sheet",
  flutter_mm: "Flutter, up or down",
  speed_m_per_min: "Line speed",
  sheet_length_mm: "Sheet length along travel",
  sheet_spacing_mm: "Sheet spacing",
  scan_ms: "Controller scan time",
  input_filter_ms: "Input filter",
  temperature_min_c: "Coldest air",
  temperature_max_c: "Warmest air",
  waiting: "Enter a sheet. The result appears as you type.",
  incomplete: "Not complete yet: {names}.",
  computing: "Computing the result.",
  stale: "These figures belong to your previous entries.",
  verdictLabel: "Verdict",
  verdict: { suitable: "Suitable", "trial-needed": "Trial needed", unsuitable: "Not suitable" },
  verdictLong: {
    suitable: "All targets are met, with a chance of 95\u00a0% or more.",
    "trial-needed": "The targets may be met. A trial with your own sheets must decide.",
    unsuitable: "The targets are not met.",
    none: "No detector class in this catalogue can tell a single sheet from a double.",
    partly: "The best set-up serves {count} of {of} sheets.",
  },
  nothing: "No detector class in this catalogue {lacks}.",
  lacks: { required: "meets the requirements", rated: "is rated for this air", room: "fits the machine" },
  and: " and ",
  help: "What would help",
  helps: {
    required: "Drop a requirement, or choose another catalogue.",
    rated: "Mount the detector where the air is warmer, cooler or drier.",
    room: "Give more clearance, or another place along the line.",
    sensing: "Check the sheet's grammage and thickness, separate the sheets better, or check for doubles further down the line.",
  },
  chance: "Chance that all targets are met",
  chanceOf: "Chance that all targets are met: {chance}",
  chanceWas: "Chance that all targets are met; it was {before}",
  findOut: "Find out next",
  ifSo: "If it turns out so ({finding}): {verdict}.",
  answer: { yes: "yes", no: "no" },
  below: "below {high}",
  above: "above {low}",
  timing: "At this line speed the times decide:",
  summary: "{verdict} {n} set-ups. First: {name}, gap {gap}.",
  summaryOne: "{verdict} One set-up: {name}, gap {gap}.",
  setups: "Set-ups, best first",
  rank: "Set-up {n}",
  gap: "Gap",
  tilt: "Tilt",
  contact: "in contact",
  from: "{low} to {high}",
  band: "Single-sheet band",
  hold: "Hold time",
  height: "Mounting height",
  speedMax: "Highest line speed",
  reserve: "Reserve",
  reserveScale: "Reserve of the set-ups, in multiples of what is needed",
  reserveMeans: "Target divided by the expected misreads, at the upper end of the estimate. 1\u00a0× just meets the targets; each mark is a factor of 10.",
  compare: "Compare two set-ups side by side",
  compareLeft: "Left set-up",
  compareRight: "Right set-up",
  illustrative: "invented example, not a product",
  missedDoubles: "Missed doubles",
  falseStops: "False stops",
  perMillion: "{n} per million",
  perMillionBelow: "{n} per million or fewer",
  choose: "Choose this set-up",
  chosen: "Chosen: set-up {name}.",
  sheetLink: "Set-up sheet to print",
  opensNew: "(opens in a new window)",
  why: "Why",
  source: "Source: {source}",
  notServed: "Not served: {sheet}.",
  serves: "({count} of {of} sheets)",
  changeovers: "Change-overs when the list runs once:",
  changeover: { class: "{n} of the detector", geometry: "{n} of gap or tilt", profile: "{n} of the profile" },
  state: { no_sheet: "No sheet", single: "Single sheet", double: "Double sheet" },
  ladder: "Readings",
  ladderOf: "Readings of {sheet}",
  ladderText: "{quantity}, median and 98 % of readings.",
  ladderState: "{state}: {p50} ({range}), margin {margin}.",
  window: "A reading of {range} means a single sheet.",
  marginOf: "margin {margin}",
  stance: "Mounting, seen across travel",
  stanceText: "Gap {gap} from face to face, {range} is usable.",
  stanceTilt: "Tilt {tilt} along travel, {range} is usable.",
  stanceSame: "Mounted as set-up {n}; the profile differs.",
  stanceContact: "The roller is in contact with the sheet.",
  toScale: "To scale, the same for all set-ups.",
  sizeUnknown: "Dashed: the size of the head is not known; the gap is to scale.",
  emitter: "emitter",
  receiver: "receiver",
  head: "head",
  roller: "roller",
  counterRoller: "counter-roller",
  travel: "travel",
  free: "{free} free",
  trial: "Trial plan",
  assumptions: "Assumptions ({n})",
  alternatives: "Alternatives that are not listed ({n})",
  "ruled-out": "Why not the other classes ({n})",
  cautions: "Before you rely on it",
  retry: "Try again",
  errors: {
    unreachable: "The service cannot be reached. Your entries are kept; check the connection and try again.",
    offline: "This device is offline. Your entries are kept; the answer comes when the connection is back.",
    slow: "The service took too long. Try again; if it goes on, tell the shop.",
    busy: "The service is busy. Next attempt in {n} s.",
    busyStill: "The service is still busy. Try again in a minute.",
    refused: "The service does not accept this page's key. Please tell the shop.",
    failed: "The service failed. Try again; if it goes on, tell the shop and name request {id}.",
    invalid: "Correct the marked field; it says what is expected.",
    elsewhere: "The service does not accept this job:",
    misplaced: "The service's address in this page is not valid. Please tell the shop.",
  },
  notNumber: "Enter a number.",
  notPositive: "Enter a number above zero.",
  expected: "Expected: {expected}.",
};

const DE = {
  form: "Ihre Bogen",
  sheet: "Bogen {n}",
  sheetHint: "Schreiben Sie ihn so, wie Sie ihn bestellen, mit Flächengewicht oder Dicke. Zum Beispiel:",
  examples: ["Büropapier 80 g/m²", "Visitenkarte 300 g/m²", "Bankkarte", "E-Welle"],
  examplesUs: ["20 lb bond", "Faltschachtelkarton 18 pt", "PVC 30 mil", "Stahlblech 26 gauge"],
  readings: "Was gemeint sein kann",
  others: "Etwas anderes?",
  meant: "Welches?",
  unread: "Kein bekanntes Material. Versuchen Sie einen anderen Namen und geben Sie die Größe an, etwa Kopierpapier, PET-Folie oder Stahlblech.",
  sizeMissing: "Flächengewicht oder Dicke ergänzen: {name}, etwa 80 g/m² oder 0,3 mm.",
  yours: "Ihr Wert",
  add: "Weiteren Bogen für diese Maschine hinzufügen",
  remove: "Bogen {n} entfernen",
  machine: "Die Maschine, soweit bekannt",
  privacy: "Ihre Angaben gehen nur an den Auswahldienst. In diesem Browser wird nichts gespeichert, auch keine Cookies.",
  clearance_above_mm: "Freiraum über dem Bogen",
  clearance_below_mm: "Freiraum unter dem Bogen",
  flutter_mm: "Bogenflattern, nach oben oder unten",
  speed_m_per_min: "Liniengeschwindigkeit",
  sheet_length_mm: "Bogenlänge in Laufrichtung",
  sheet_spacing_mm: "Bogenlücke",
  scan_ms: "Zykluszeit der Steuerung",
  input_filter_ms: "Eingangsfilter",
  temperature_min_c: "Kälteste Luft",
  temperature_max_c: "Wärmste Luft",
  waiting: "Geben Sie einen Bogen ein. Das Ergebnis erscheint während der Eingabe.",
  incomplete: "Noch nicht vollständig: {names}.",
  computing: "Das Ergebnis wird berechnet.",
  stale: "Diese Angaben gehören zu Ihren vorigen Eingaben.",
  verdictLabel: "Urteil",
  verdict: { suitable: "Geeignet", "trial-needed": "Versuch nötig", unsuitable: "Nicht geeignet" },
  verdictLong: {
    suitable: "Alle Zielwerte werden eingehalten, mit einer Wahrscheinlichkeit von 95\u00a0% oder mehr.",
    "trial-needed": "Die Zielwerte können eingehalten werden. Ein Versuch mit Ihren Bogen muss entscheiden.",
    unsuitable: "Die Zielwerte werden nicht eingehalten.",
    none: "Keine Detektorklasse dieses Katalogs trennt Einzelbogen von Doppelbogen.",
    partly: "Die beste Einstellung deckt {count} von {of} Bogen ab.",
  },
  nothing: "Keine Detektorklasse dieses Katalogs {lacks}.",
  lacks: { required: "erfüllt die Anforderungen", rated: "ist für diese Luft zugelassen", room: "passt in die Maschine" },
  and: " und ",
  help: "Was helfen würde",
  helps: {
    required: "Eine Anforderung weglassen oder einen anderen Katalog wählen.",
    rated: "Den Detektor dort montieren, wo die Luft wärmer, kühler oder trockener ist.",
    room: "Mehr Freiraum oder eine andere Stelle der Linie vorsehen.",
    sensing: "Flächengewicht und Dicke des Bogens prüfen, die Bogen besser vereinzeln oder weiter hinten in der Linie auf Doppelbogen prüfen.",
  },
  chance: "Wahrscheinlichkeit, dass alle Zielwerte eingehalten werden",
  chanceOf: "Wahrscheinlichkeit, dass alle Zielwerte eingehalten werden: {chance}",
  chanceWas: "Wahrscheinlichkeit, dass alle Zielwerte eingehalten werden; zuvor {before}",
  findOut: "Als Nächstes klären",
  ifSo: "Wenn es sich so ergibt ({finding}): {verdict}.",
  answer: { yes: "ja", no: "nein" },
  below: "unter {high}",
  above: "über {low}",
  timing: "Bei dieser Liniengeschwindigkeit entscheiden die Zeiten:",
  summary: "{verdict} {n} Einstellungen. Zuerst: {name}, Abstand {gap}.",
  summaryOne: "{verdict} Eine Einstellung: {name}, Abstand {gap}.",
  setups: "Einstellungen, die beste zuerst",
  rank: "Einstellung {n}",
  gap: "Abstand",
  tilt: "Neigung",
  contact: "anliegend",
  from: "{low} bis {high}",
  band: "Einzelbogenfenster",
  hold: "Haltezeit",
  height: "Bauhöhe",
  speedMax: "Höchste Liniengeschwindigkeit",
  reserve: "Reserve",
  reserveScale: "Reserve der Einstellungen, als Vielfaches des Nötigen",
  reserveMeans: "Zielwert geteilt durch die erwarteten Fehlauswertungen, am oberen Ende der Schätzung. 1\u00a0× erfüllt die Zielwerte gerade; jeder Strich ist ein Faktor 10.",
  compare: "Zwei Einstellungen nebeneinander",
  compareLeft: "Linke Einstellung",
  compareRight: "Rechte Einstellung",
  illustrative: "erfundenes Beispiel, kein Produkt",
  missedDoubles: "Übersehene Doppelbogen",
  falseStops: "Fehlstopps",
  perMillion: "{n} je Million",
  perMillionBelow: "{n} je Million oder weniger",
  choose: "Diese Einstellung wählen",
  chosen: "Gewählt: Einstellung {name}.",
  sheetLink: "Einrichteblatt zum Drucken",
  opensNew: "(öffnet ein neues Fenster)",
  why: "Warum",
  source: "Quelle: {source}",
  notServed: "Nicht abgedeckt: {sheet}.",
  serves: "({count} von {of} Bogen)",
  changeovers: "Umstellungen, wenn die Liste einmal läuft:",
  changeover: { class: "{n} × der Detektor", geometry: "{n} × Abstand oder Neigung", profile: "{n} × das Profil" },
  state: { no_sheet: "Kein Bogen", single: "Einzelbogen", double: "Doppelbogen" },
  ladder: "Messwerte",
  ladderOf: "Messwerte von {sheet}",
  ladderText: "{quantity}, Median und 98 % der Messwerte.",
  ladderState: "{state}: {p50} ({range}), Reserve {margin}.",
  window: "Messwerte von {range} bedeuten Einzelbogen.",
  marginOf: "Reserve {margin}",
  stance: "Einbau, quer zur Laufrichtung gesehen",
  stanceText: "Abstand {gap} von Fläche zu Fläche, {range} ist zulässig.",
  stanceTilt: "Neigung {tilt} in Laufrichtung, {range} ist zulässig.",
  stanceSame: "Eingebaut wie Einstellung {n}; das Profil ist ein anderes.",
  stanceContact: "Die Rolle liegt am Bogen an.",
  toScale: "Maßstäblich, für alle Einstellungen gleich.",
  sizeUnknown: "Gestrichelt: Die Größe des Sensorkopfs ist nicht bekannt; der Abstand ist maßstäblich.",
  emitter: "Sender",
  receiver: "Empfänger",
  head: "Sensorkopf",
  roller: "Tastrolle",
  counterRoller: "Gegenrolle",
  travel: "Laufrichtung",
  free: "{free} frei",
  trial: "Versuchsplan",
  assumptions: "Annahmen ({n})",
  alternatives: "Alternativen, die nicht aufgeführt sind ({n})",
  "ruled-out": "Warum nicht die anderen Klassen ({n})",
  cautions: "Bevor Sie sich darauf verlassen",
  retry: "Noch einmal versuchen",
  errors: {
    unreachable: "Der Dienst ist nicht erreichbar. Ihre Eingaben bleiben; Verbindung prüfen und noch einmal versuchen.",
    offline: "Dieses Gerät ist offline. Ihre Eingaben bleiben; die Antwort kommt, sobald die Verbindung wieder da ist.",
    slow: "Der Dienst brauchte zu lange. Noch einmal versuchen; bleibt es dabei, dem Shop Bescheid geben.",
    busy: "Der Dienst ist ausgelastet. Nächster Versuch in {n} s.",
    busyStill: "Der Dienst ist weiter ausgelastet. In einer Minute noch einmal versuchen.",
    refused: "Der Dienst nimmt den Schlüssel dieser Seite nicht an. Bitte dem Shop Bescheid geben.",
    failed: "Der Dienst ist gestört. Noch einmal versuchen; bleibt es dabei, dem Shop die Anfrage {id} nennen.",
    invalid: "Berichtigen Sie das markierte Feld; dort steht, was erwartet wird.",
    elsewhere: "Der Dienst nimmt diesen Auftrag nicht an:",
    misplaced: "Die Adresse des Dienstes auf dieser Seite ist ungültig. Bitte dem Shop Bescheid geben.",
  },
  notNumber: "Geben Sie eine Zahl ein.",
  notPositive: "Geben Sie eine Zahl über null ein.",
  expected: "Erwartet: {expected}.",
};

// Names of principles and of what they read, from their folders.
const NAMES = "__NAMES__";

const WORDS = { en: { ...EN, ...NAMES.en }, de: { ...EN, ...DE, ...NAMES.de } };
const PPM_PER_PERCENT = 10_000; // misreads are told per million below it, as a share from it on
const SERVED = ["en", "de"]; // languages of the service's own texts

/** Take words of another language, or other words of a known one: what the table lacks stays as it was, or English. */
export function addWords(language, table) {
  WORDS[language] = { ...WORDS.en, ...WORDS[language], ...table };
}

/** Language, units and number format of a language tag; English for tags of languages without words. */
export class Speech {
  constructor(tag, system) {
    const language = tag.toLowerCase().split("-")[0];
    this.system = system;
    this.language = language in WORDS ? language : "en";
    this.service = SERVED.includes(this.language) ? this.language : "en";
    this.words = WORDS[this.language];
    // The region decides how numbers look (de-CH, en-IN), where the tag names one of our languages.
    this.#locale = this.language === language && Intl.NumberFormat.supportedLocalesOf([tag]).length ? tag : this.language;
    this.#fine = new Intl.NumberFormat(this.#locale, { maximumSignificantDigits: 2 });
    this.mark = this.#format(1).formatToParts(1.5).find(({ type }) => type === "decimal").value === "," ? "," : ".";
  }
  #locale;
  #fine;
  #formats = new Map();

  #format(decimals) {
    if (!this.#formats.has(decimals)) this.#formats.set(decimals, new Intl.NumberFormat(this.#locale, { maximumFractionDigits: decimals }));
    return this.#formats.get(decimals);
  }

  /** A text by its name ("errors.busy"), its places filled from `values`; the last part of an unknown name itself. */
  say(name, values = {}) {
    const [first, ...rest] = name.split(".");
    const key = rest.join(".");
    const text = rest.length ? this.words[first]?.[key] ?? key : this.words[first] ?? first;
    return text.replace(/\{(\w+)\}/g, (_, place) => values[place]);
  }

  /** Sheets to pick in the visitor's units. */
  examples(system) {
    return this.words[system === "us" ? "examplesUs" : "examples"];
  }

  /** A number as the region writes it, to one decimal unless another is asked for. */
  number(value, decimals = 1) {
    // A minus sign proper, which screen readers say and hyphens do not promise.
    return this.#format(decimals).format(value).replace(/^-(0)$/, "$1").replace("-", "\u2212");
  }

  /** A number to two significant digits. */
  fine(value) {
    return this.#fine.format(value);
  }

  /** Misreads of a million; a share from one in a hundred on. */
  rate(value) {
    return value < PPM_PER_PERCENT ? this.say("perMillion", { n: this.fine(value) }) : `${this.fine(value / PPM_PER_PERCENT)}\u00a0%`;
  }

  /** An estimate of misreads with its range; the range has the unit of the estimate before it, or each number its own. */
  rates({ estimate, low, high }) {
    const own = high < PPM_PER_PERCENT ? this.fine(low) : this.rate(low);
    return `${this.rate(estimate)} (${this.say("from", { low: own, high: high < PPM_PER_PERCENT ? this.fine(high) : this.rate(high) })})`;
  }

  /** A quantity in the visitor's units without its unit, beside others of which `of` is the largest. */
  figure(value, unit, of = value) {
    const [own, , decimals] = shown(value, unit, this.system, of);
    return this.number(own, decimals);
  }

  /** A range with its unit once, at the end. */
  range(low, high, unit) {
    return this.say("from", { low: this.figure(low, unit, high), high: this.measure(high, unit) });
  }

  /** A sheet by its name and what of its sizes the name does not tell. */
  sheet(name, { grammage_gsm: grammage, thickness_um: thickness }) {
    const plain = (text) => text.replace(/\s/g, "");
    const sizes = [this.measure(grammage, "g/m²"), this.measure(thickness, "um")].filter((size) => !plain(name).includes(plain(size)));
    return sizes.length ? `${name} (${sizes.join(", ")})` : name;
  }

  /** A quantity in the visitor's units with its unit, kept on one line. */
  measure(value, unit) {
    const [own, symbol, decimals] = shown(value, unit, this.system);
    return `${this.number(own, decimals)}${symbol === "°" ? "" : "\u00a0"}${symbol}`;
  }
}
