// The units in which a sheet and a machine are given, and the API's fields that they become.

const UM_PER_MIL = 25.4; // exact: a thousandth of the international inch
const MM_PER_INCH = 25.4; // exact
const M_PER_FOOT = 0.3048; // exact

// Binary fractions leave digits behind (3.9 x 25.4 = 99.05999...); nobody measures sheets to nine.
const exact = (value) => Number(value.toPrecision(9));

const basis = (name) => ({ id: `lb-${name}`, fields: (value) => ({ basis_weight_lb: value, basis: name }) });
const gauge = (system) => ({
  id: `gauge-${system}`,
  fields: (value) => ({ sheet_gauge: { system, number: value } }),
});

/** Sizes of a sheet by kind; `fields` makes the API's fields of a number. */
export const SIZES = {
  weight: [
    { id: "gsm", fields: (value) => ({ grammage_gsm: value }) },
    ...["bond", "text", "cover", "index", "bristol", "tag", "msf"].map(basis),
  ],
  thickness: [
    { id: "um", fields: (value) => ({ thickness_um: value }) },
    { id: "mil", fields: (value) => ({ thickness_um: exact(value * UM_PER_MIL) }) },
    { id: "pt", fields: (value) => ({ caliper_pt: value }) },
    ...["steel", "aluminium", "film"].map(gauge),
  ],
};

const ALL = [...SIZES.weight, ...SIZES.thickness];

/** The API's fields for a number in the unit. */
export function sizeFields(unit, value) {
  return ALL.find((size) => size.id === unit).fields(value);
}

export const FIRST_SIZE = { metric: "gsm", us: "lb-text" };

const QUANTITIES = {
  length: { metric: ["mm", (v) => v], us: ["in", (v) => exact(v * MM_PER_INCH)] },
  speed: { metric: ["m/min", (v) => v], us: ["ft/min", (v) => exact(v * M_PER_FOOT)] },
  temperature: { metric: ["°C", (v) => v], us: ["°F", (v) => exact((v - 32) / 1.8)] },
  time: { metric: ["ms", (v) => v], us: ["ms", (v) => v] },
};

/** What may be told of the machine: the job's object and field, and the quantity. */
export const MACHINE = [
  ["line", "clearance_above_mm", "length"],
  ["line", "clearance_below_mm", "length"],
  ["line", "flutter_mm", "length"],
  ["line", "speed_m_per_min", "speed"],
  ["line", "sheet_length_mm", "length"],
  ["line", "sheet_spacing_mm", "length"],
  ["controller", "scan_ms", "time"],
  ["environment", "temperature_min_c", "temperature"],
  ["environment", "temperature_max_c", "temperature"],
];

/** Symbol of the unit in which a quantity is typed. */
export const unitOf = (quantity, system) => QUANTITIES[quantity][system][0];

/** The API's number for one typed in that unit. */
export const toApi = (quantity, system, value) => QUANTITIES[quantity][system][1](value);

/** A number as people of either convention type it, null for an empty text, NaN for anything else. */
export function typed(text) {
  const trimmed = text.trim();
  if (trimmed === "") return null;
  return /^[-+]?(\d+([.,]\d*)?|[.,]\d+)$/.test(trimmed) ? Number(trimmed.replace(",", ".")) : NaN;
}
