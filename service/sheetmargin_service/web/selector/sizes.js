// The units in which a machine is given, and numbers as either convention writes them.

const MM_PER_INCH = 25.4; // exact
const UM_PER_MIL = 25.4; // exact: a thousandth of the international inch
const M_PER_FOOT = 0.3048; // exact

const round3 = (value) => Number(value.toPrecision(3));

/** Down to two digits: a speed that is said to be allowed must be. */
function floor2(value) {
  const step = 10 ** (Math.floor(Math.log10(value)) - 1);
  return Math.floor(value / step + 1e-9) * step;
}

// Binary fractions leave digits behind (3.9 x 25.4 = 99.05999...); nobody measures machines to nine.
const exact = (value) => Number(value.toPrecision(9));

const QUANTITIES = {
  length: { metric: ["mm", (v) => v], us: ["in", (v) => exact(v * MM_PER_INCH)] },
  speed: { metric: ["m/min", (v) => v], us: ["ft/min", (v) => exact(v * M_PER_FOOT)] },
  temperature: { metric: ["°C", (v) => v], us: ["°F", (v) => exact((v - 32) / 1.8)] },
  time: { metric: ["ms", (v) => v], us: ["ms", (v) => v] },
};

/** What may be told of the machine: the pointer of the job's field, and the quantity. */
export const MACHINE = [
  ["/line/clearance_above_mm", "length"],
  ["/line/clearance_below_mm", "length"],
  ["/line/flutter_mm", "length"],
  ["/line/speed_m_per_min", "speed"],
  ["/line/sheet_length_mm", "length"],
  ["/line/sheet_spacing_mm", "length"],
  ["/environment/temperature_min_c", "temperature"],
  ["/environment/temperature_max_c", "temperature"],
  ["/controller/scan_ms", "time"],
  ["/controller/input_filter_ms", "time"],
];

/** What decides only once a line speed is given: asked beside the answer. */
export const TIMING = ["/line/sheet_length_mm", "/line/sheet_spacing_mm", "/controller/scan_ms", "/controller/input_filter_ms"];

/** Symbol of the unit in which a quantity is typed. */
export const unitOf = (quantity, system) => QUANTITIES[quantity][system][0];

/** The API's number for one typed in that unit. */
export const toApi = (quantity, system, value) => QUANTITIES[quantity][system][1](value);

/** Symbol of a unit of the API. */
export const symbolOf = (unit) => unit.replace(/^um/, "µm").replace(/m2$/, "m²").replace(/m3$/, "m³");

/**
 * A quantity of an answer in the visitor's units, with the decimals that can be set or measured: value, unit, decimals. `of`
 * is the largest that it stands beside, which decides between micrometres and millimetres.
 */
export function shown(value, unit, system, of = value) {
  if (system === "us" && unit === "mm") return [value / MM_PER_INCH, "in", 2];
  if (system === "us" && unit === "um") return [value / UM_PER_MIL, "mil", 1];
  if (unit === "m/min") return system === "us" ? [floor2(value / M_PER_FOOT), "ft/min", 0] : [floor2(value), unit, 1];
  if (unit === "um") return Math.abs(of) >= 1000 ? [value / 1000, "mm", 2] : [round3(value), "µm", 2];
  if (unit === "g/m²") return [round3(value), unit, 2];
  if (unit === "dB" || unit === "fF") return [value, unit, Math.abs(value) < 10 ? 1 : 0];
  return [value, symbolOf(unit), 1];
}

/**
 * A number as people type it, null for an empty text, NaN for anything else. "1,200" is what the visitor's decimal mark
 * makes of it; "1.200,5" and "0,76" are the same in both conventions.
 */
export function typed(text, mark) {
  const plain = text.trim().replace(/[\s'\u2019]/g, "").replace("\u2212", "-");
  if (plain === "") return null;
  if (!/^[-+]?(\d+([.,]\d+)*[.,]?|[.,]\d+)$/.test(plain)) return NaN;
  const marks = plain.match(/[.,]/g) ?? [];
  const last = marks.at(-1);
  const other = last === "," ? "." : ",";
  if (new Set(marks).size === 2) return Number(plain.replaceAll(other, "").replace(last, "."));
  const grouped = /^[-+]?[1-9]\d{0,2}([.,]\d{3})+$/.test(plain);
  if (grouped && (last !== mark || marks.length > 1)) return Number(plain.replaceAll(last, ""));
  return Number(plain.replace(",", "."));
}
